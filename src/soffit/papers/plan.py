"""The plan of a room: what hangs where, in wiring order, over the tiles a person sees.

A room that cannot be read on one sheet of the chosen paper is drawn over several, after a key plan
that shows which sheet covers what.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from soffit.papers import fonts
from soffit.papers.legend import Legend
from soffit.papers.maps import colour_bar, map_drawing
from soffit.papers.plan_drawing import Drawing, inside
from soffit.papers.plan_key import draw_key, key_inset, label_ranges, match_lines
from soffit.papers.plan_parts import LEAST_SPACING_MM, Part, cut_room, largest_scale, nearest_m
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
_INSET_MM: Final = 62.0
_TRIES: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSheet:
    """One sheet of a plan.

    Parameters
    ----------
    number
        Drawing number, such as ``P-01`` or ``P-01b``.
    name
        What it shows, such as "Market hall, part b".
    scene
        The sheet.
    labels
        Loudspeakers drawn on it with their label; none on a key plan.
    """

    number: str
    name: str
    scene: Scene
    labels: tuple[str, ...]


def plan_sheets(
    room: RoomView, speakers: Sequence[SpeakerView], title: TitleView, *, number: str
) -> tuple[PlanSheet, ...]:
    """Draw the plan of a room on the job's own paper: one sheet, or a key plan and its parts.

    Parameters
    ----------
    room
        The room.
    speakers
        Its speakers.
    title
        The job's title block.
    number
        Drawing number, such as ``P-01``; parts add a letter.

    Returns
    -------
    tuple
        Sheets; every speaker has its label on exactly one of them.
    """
    most = largest_scale(room, speakers)
    projection = fit_plan(room.outline, _inner(title, title.paper), imperial=title.is_imperial)
    if projection.scale <= most:
        scene, drawing = _whole(room, speakers, title, number, title.paper, projection)
        if not drawing.unplaced:
            labels = tuple(item.label for item in speakers)
            return (PlanSheet(number=number, name=room.label, scene=scene, labels=labels),)
        most = projection.scale * 0.99
    for last in reversed(range(_TRIES)):
        left, top, right, bottom = _inner(title, title.paper)
        scale, parts = cut_room(
            room, speakers, (right - left, bottom - top), most=most, imperial=title.is_imperial
        )
        made = [_part(room, speakers, title, number, scale, part, parts) for part in parts]
        if last == 0 or not any(drawing.unplaced for _, drawing in made):
            break
        most = scale * 0.99
    sheets = [
        PlanSheet(
            number=number + part.letter,
            name=f"{room.label}, part {part.letter}",
            scene=scene,
            labels=tuple(item.label for item in drawing.speakers),
        )
        for part, (scene, drawing) in zip(parts, made, strict=True)
    ]
    if len(sheets) == 1:
        return tuple(sheets)
    key = _key_sheet(room, speakers, title, number, parts)
    return (PlanSheet(number=number, name=f"{room.label}, key plan", scene=key, labels=()), *sheets)


def plan_sheet(
    room: RoomView, speakers: Sequence[SpeakerView], title: TitleView, *, number: str
) -> Scene:
    """Draw a whole room on one sheet, whatever size it takes: for screens and pipes.

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
    paper: Paper = title.paper
    while True:
        projection = fit_plan(room.outline, _inner(title, paper), imperial=title.is_imperial)
        spacing_m = nearest_m(speakers)
        if LARGER[paper] == paper or projection.mm(spacing_m) >= LEAST_SPACING_MM:
            break
        paper = LARGER[paper]
    return _whole(room, speakers, title, number, paper, projection)[0]


def _inner(title: TitleView, paper: Paper) -> Box:
    """Return what is left of a sheet for the room itself."""
    left, top, right, bottom = open_sheet(title, paper=paper, number="", name="", scale="").area
    return left + _NEAR_MM, top + _NEAR_MM, right - _FAR_MM, bottom - _FAR_MM


def _whole(
    room: RoomView,
    speakers: Sequence[SpeakerView],
    title: TitleView,
    number: str,
    paper: Paper,
    projection: Projection,
) -> tuple[Scene, Drawing]:
    imperial = title.is_imperial
    sheet = open_sheet(
        title,
        paper=paper,
        number=number,
        name=f"{room.label}: ceiling plan",
        scale=scale_text(round(projection.scale), imperial=imperial),
    )
    drawing = Drawing(
        sheet.scene,
        room,
        speakers,
        projection,
        imperial=imperial,
        area=sheet.area,
        has_letters=True,
    )
    drawing.draw()
    _key_column(sheet, room, speakers, drawing, title)
    return sheet.scene, drawing


def _part(
    room: RoomView,
    speakers: Sequence[SpeakerView],
    title: TitleView,
    number: str,
    scale: int,
    part: Part,
    parts: Sequence[Part],
) -> tuple[Scene, Drawing]:
    from shapely import Polygon, box  # noqa: PLC0415 - only plans need it

    imperial = title.is_imperial
    sheet = open_sheet(
        title,
        paper=title.paper,
        number=number + part.letter,
        name=f"{room.label}: ceiling plan, part {part.letter}",
        scale=scale_text(scale, imperial=imperial),
    )
    left, low, right, high = Polygon(room.outline).intersection(box(*part.window)).bounds
    projection = fit_plan(
        ((left, low), (right, high)), _inner(title, title.paper), imperial=imperial, scale=scale
    )
    drawing = Drawing(
        sheet.scene,
        room,
        speakers,
        projection,
        imperial=imperial,
        area=sheet.area,
        window=part.window,
        has_letters=True,
    )
    match_lines(drawing, room, part, parts, number)
    drawing.draw()
    here = [item for item in speakers if inside(item.position, part.window)]
    _key_column(sheet, room, here, drawing, title, parts=parts, part=part)
    return sheet.scene, drawing


def _key_sheet(
    room: RoomView,
    speakers: Sequence[SpeakerView],
    title: TitleView,
    number: str,
    parts: Sequence[Part],
) -> Scene:
    projection = fit_plan(room.outline, _inner(title, title.paper), imperial=title.is_imperial)
    sheet = open_sheet(
        title,
        paper=title.paper,
        number=number,
        name=f"{room.label}: key plan",
        scale=scale_text(round(projection.scale), imperial=title.is_imperial),
    )
    scene = sheet.scene
    lines = draw_key(
        scene,
        room,
        speakers,
        projection,
        parts,
        number,
        imperial=title.is_imperial,
        area=sheet.area,
    )
    box = _name(sheet, room, speakers, title, projection)
    legend = Legend(scene, box)
    legend.dot("Loudspeaker; filled: subwoofer")
    legend.lines(lines)
    legend.marks(item.kind for item in room.marks if item.kind != "test point")
    legend.match("Match line: the next sheet goes on here")
    box = heading(scene, legend.below, "Sheets")
    foot = sheet.column[3] - 8.0
    for part in parts:
        here = [item for item in speakers if inside(item.position, part.window)]
        text = f"{number}{part.letter}: {label_ranges(here) or 'no loudspeakers'}"
        bottom = paragraph(scene, (box[0], box[1], box[2], foot), text)
        box = (box[0], bottom + 0.6, box[2], box[3])
    scale_bar(
        scene,
        (sheet.column[0] + 1.0, sheet.column[3] - 4.5),
        scale=round(projection.scale),
        imperial=title.is_imperial,
    )
    return scene


# -- key column -----------------------------------------------------------------------------


def _name(
    sheet: Sheet,
    room: RoomView,
    speakers: Sequence[SpeakerView],
    title: TitleView,
    projection: Projection,
) -> Box:
    """Set the room's name, needle and first facts, and return what is left of the column."""
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
    north_arrow(scene, (column[2] - 6.0, column[1] + 8.0), projection.vector(title.north_angle_rad))
    box: Box = (x, y + 8.0, column[2] - 13.0, column[3])
    watts = sum(item.tap_w for item in speakers)
    count = f"{len(speakers)} loudspeakers, {watts:g} W of taps" if speakers else "No loudspeakers"
    if len(speakers) == 1:
        count = count.replace("loudspeakers", "loudspeaker")
    bottom = paragraph(scene, box, count)
    box = (x, max(bottom + 0.8, y + 12.0), column[2], column[3])
    for text in (room.pattern, room.ceiling_text):
        if text:
            bottom = paragraph(scene, box, text[0].upper() + text[1:], colour=SOFT)
            box = (x, bottom + 0.6, column[2], column[3])
    return box


def _key_column(
    sheet: Sheet,
    room: RoomView,
    speakers: Sequence[SpeakerView],
    drawing: Drawing,
    title: TitleView,
    *,
    parts: Sequence[Part] = (),
    part: Part | None = None,
) -> None:
    scene, column = sheet.scene, sheet.column
    legend = Legend(scene, _name(sheet, room, speakers, title, drawing.to_paper))
    legend.types(speakers)
    drawn = drawing.lines_drawn
    legend.lines(drawn, {label: drawing.dashes(label) for label in drawn})
    legend.marks(item.kind for item in drawing.marked)
    legend.obstacles(drawing.obstacles_drawn, drawing.holes_drawn)
    legend.ceiling(room, speakers)
    if part is not None:
        legend.match("Match line: another sheet goes on here")
    box = legend.below
    foot = column[3] - 8.0
    room_mm = column[2] - column[0]
    notes = (
        [f"Not drawn for want of room: {', '.join(drawing.unplaced)}"] if drawing.unplaced else []
    )
    notes += room.plan_notes
    tall = sum(paragraph_height(note, room_mm=room_mm) + 0.8 for note in notes)
    level = next((item for item in room.maps if item.kind == "level"), None)
    if part is not None:
        box = key_inset(scene, (box[0], box[1], box[2], foot - tall), room, parts, part)
    elif level is not None:
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
    left, top, right, bottom = column[0], column[1] + 5.1, column[2], column[3]
    note = paragraph_height(level.note, room_mm=right - left) if level.note else 0.0
    tall = min(bottom - top - 14.0 - note, 46.0)
    if tall < 14.0:
        return column
    heading(scene, (column[0], column[1] + 0.5, column[2], column[3]), level.title)
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
