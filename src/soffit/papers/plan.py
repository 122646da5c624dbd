"""The plan of one room: what hangs where, in wiring order, over the tiles a person sees."""

import math
from collections.abc import Sequence
from typing import Final

from soffit.papers import fonts
from soffit.papers.legend import Legend
from soffit.papers.maps import colour_bar, map_drawing
from soffit.papers.plan_drawing import Drawing
from soffit.papers.projection import Projection, bounds, fill_plan, fit_plan
from soffit.papers.scene import (
    ACCENT,
    INK,
    SOFT,
    Box,
    Scene,
    Text,
)
from soffit.papers.sheet import (
    LARGER,
    Sheet,
    heading,
    north_arrow,
    open_sheet,
    paragraph,
    paragraph_height,
    scale_bar,
    scale_text,
)
from soffit.papers.views import MapView, Paper, RoomView, SpeakerView, TitleView

_NEAR_MM: Final = 15.0
_FAR_MM: Final = 6.0
_LEAST_SPACING_MM: Final = 9.0
_INSET_MM: Final = 62.0


def plan_sheet(
    room: RoomView, speakers: Sequence[SpeakerView], title: TitleView, *, number: str
) -> Scene:
    """Draw the plan sheet of a room.

    Parameters
    ----------
    room
        The room.
    speakers
        Its speakers.
    title
        The job's title block.
    number
        Drawing number, such as ``P-01``.

    Returns
    -------
    Scene
        A whole sheet; a larger one than the job's where speakers would stand too close.
    """
    paper, projection = _paper_and_projection(room, speakers, title)
    imperial = title.is_imperial
    scale = round(projection.scale)
    sheet = open_sheet(
        title,
        paper=paper,
        number=number,
        name=f"{room.label}: ceiling plan",
        scale=scale_text(scale, imperial=imperial),
    )
    drawing = Drawing(sheet.scene, room, speakers, projection, imperial=imperial, area=sheet.area)
    drawing.draw()
    _key_column(sheet, room, speakers, drawing, title)
    return sheet.scene


def _area(title: TitleView, paper: Paper) -> Box:
    sheet = open_sheet(title, paper=paper, number="", name="", scale="")
    return sheet.area


def _paper_and_projection(
    room: RoomView, speakers: Sequence[SpeakerView], title: TitleView
) -> tuple[Paper, Projection]:
    paper: Paper = title.paper
    while True:
        left, top, right, bottom = _area(title, paper)
        area = (left + _NEAR_MM, top + _NEAR_MM, right - _FAR_MM, bottom - _FAR_MM)
        projection = fit_plan(room.outline, area, imperial=title.is_imperial)
        if LARGER[paper] == paper or projection.mm(_nearest_m(speakers)) >= _LEAST_SPACING_MM:
            return paper, projection
        paper = LARGER[paper]


def _nearest_m(speakers: Sequence[SpeakerView]) -> float:
    """Return the least distance between two speakers."""
    places = sorted(item.position for item in speakers)
    least = math.inf
    for index, place in enumerate(places):
        for other in places[index + 1 :]:
            if other[0] - place[0] > least:
                break
            least = min(least, math.dist(place, other))
    return least


# -- key column -----------------------------------------------------------------------------


def _key_column(
    sheet: Sheet,
    room: RoomView,
    speakers: Sequence[SpeakerView],
    drawing: Drawing,
    title: TitleView,
) -> None:
    scene, column = sheet.scene, sheet.column
    x, y = column[0], column[1] + 4.0
    scene.add(
        Text(
            at=(x, y),
            text=fonts.fit(room.label, room_mm=44.0, cap_mm=3.6, weight="light"),
            layer="notes",
            cap=3.6,
            weight="light",
        )
    )
    under = " · ".join(part for part in (room.storey, room.use) if part)
    scene.add(
        Text(
            at=(x, y + 4.4),
            text=fonts.fit(under, room_mm=44.0, cap_mm=1.8),
            layer="notes",
            cap=1.8,
            colour=SOFT,
        )
    )
    north_arrow(
        scene, (column[2] - 6.0, column[1] + 8.0), drawing.to_paper.vector(title.north_angle_rad)
    )
    box: Box = (x, y + 8.0, column[2] - 13.0, column[3])
    watts = sum(item.tap_w for item in speakers)
    count = f"{len(speakers)} loudspeakers, {watts:g} W of taps" if speakers else "No loudspeakers"
    bottom = paragraph(scene, box, count)
    box = (x, max(bottom + 0.8, y + 12.0), column[2], column[3])
    for text in (room.pattern, room.ceiling_text):
        if text:
            bottom = paragraph(scene, box, text, colour=SOFT)
            box = (x, bottom + 0.6, column[2], column[3])
    legend = Legend(scene, box)
    legend.types(speakers)
    legend.lines(drawing.lines)
    legend.marks(item.kind for item in room.marks)
    legend.obstacles(item.kind for item in room.obstacles)
    legend.ceiling(room, speakers)
    box = legend.below
    foot = column[3] - 8.0
    room_mm = column[2] - column[0]
    notes = (
        [f"Not drawn for want of room: {', '.join(drawing.unplaced)}"] if drawing.unplaced else []
    )
    notes += room.notes
    tall = sum(paragraph_height(note, room_mm=room_mm) + 0.8 for note in notes)
    level = next((item for item in room.maps if item.kind == "level"), None)
    if level is not None:
        if foot - box[1] - tall < _INSET_MM and not drawing.unplaced:
            notes, tall = [], 0.0  # the map sheet carries them, too
        box = _inset(scene, (box[0], box[1], box[2], foot - tall), room, speakers, level, drawing)
    for note in notes:
        colour = ACCENT if drawing.unplaced and note is notes[0] else INK
        bottom = paragraph(scene, (box[0], box[1], box[2], foot), note, colour=colour)
        box = (box[0], bottom + 0.8, box[2], box[3])
    scale_bar(
        scene,
        (column[0] + 1.0, column[3] - 4.5),
        scale=round(drawing.to_paper.scale),
        imperial=title.is_imperial,
    )


def _inset(
    scene: Scene,
    column: Box,
    room: RoomView,
    speakers: Sequence[SpeakerView],
    level: MapView,
    drawing: Drawing,
) -> Box:
    """Draw the level map small in the key column, if there is room for it."""
    left, top, right, bottom = heading(
        scene, (column[0], column[1] + 0.5, column[2], column[3]), level.title
    )
    note = paragraph_height(level.note, room_mm=right - left) if level.note else 0.0
    tall = min(bottom - top - 14.0 - note, 46.0)
    if tall < 14.0:
        return column
    area = (left, top + 1.0, right, top + 1.0 + tall)
    projection = fill_plan(room.outline, area, turned=drawing.to_paper.turned)
    map_drawing(scene, room, speakers, level, projection)
    ring = bounds(projection.ring(room.outline))
    y = ring[3] + 3.0
    colour_bar(scene, level, (left, y, right, y + 7.0))
    y += 8.0
    if level.note:
        y = paragraph(scene, (left, y, right, bottom), level.note, colour=SOFT)
    return left, y + 1.0, right, bottom
