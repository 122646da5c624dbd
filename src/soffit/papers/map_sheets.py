"""Sheets of maps: level, evenness, speech and low end, large enough to read a band off."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from soffit.papers import fonts
from soffit.papers.legend import Legend
from soffit.papers.maps import colour_bar, map_drawing
from soffit.papers.projection import bounds, fill_plan
from soffit.papers.scene import ACCENT, INK, SOFT, Box, Scene, Text
from soffit.papers.sheet import heading, open_sheet, paragraph, paragraph_height
from soffit.papers.views import MapView, RoomView, SpeakerView, TitleView

_PER_SHEET: Final = 2
_HEAD: Final = 7.0
_FOOT: Final = 16.0


def map_sheets(
    room: RoomView, speakers: Sequence[SpeakerView], title: TitleView, *, number: str
) -> tuple[Scene, ...]:
    """Draw all maps of a room, two to a sheet.

    Parameters
    ----------
    room
        The room.
    speakers
        Its speakers.
    title
        The job's title block.
    number
        Drawing number, such as ``L-01``; later sheets add a letter.
    """
    starts = range(0, len(room.maps), _PER_SHEET)
    scenes = []
    for index, start in enumerate(starts):
        more = f"{number}{chr(ord('a') + index)}" if len(starts) > 1 else number
        group = room.maps[start : start + _PER_SHEET]
        sheet = open_sheet(
            title, paper=title.paper, number=more, name=f"{room.label}: maps", scale=""
        )
        cells = _cells(room, sheet.area, len(group))
        low = max(
            _one(sheet.scene, cell, room, speakers, view)
            for view, cell in zip(group, cells, strict=True)
        )
        legend = _legend(sheet.scene, sheet.column, room, has_marks=any(v.marks for v in group))
        if index == 0:
            legend = _brief(sheet.scene, legend, room)
        if index == len(starts) - 1:
            left, _, right, bottom = sheet.area
            _notes(sheet.scene, (left, low + 6.0, right, bottom), legend, room)
        scenes.append(sheet.scene)
    return tuple(scenes)


def _cells(room: RoomView, area: Box, count: int) -> list[Box]:
    """Split the area along the side that leaves the maps larger."""
    left, top, right, bottom = area
    if count == 1:
        return [area]
    low_x, low_y, high_x, high_y = bounds(room.outline)
    wide, tall = max(high_x - low_x, 1e-3), max(high_y - low_y, 1e-3)

    def scale(width: float, height: float) -> float:
        return min(width / wide, (height - _HEAD - _FOOT) / tall)

    beside = scale((right - left) / 2, bottom - top)
    stacked = scale(right - left, (bottom - top) / 2)
    if beside >= stacked:
        middle = (left + right) / 2
        return [(left, top, middle - 3.0, bottom), (middle + 3.0, top, right, bottom)]
    middle = (top + bottom) / 2
    return [(left, top, right, middle - 2.0), (left, middle + 2.0, right, bottom)]


def _one(
    scene: Scene, cell: Box, room: RoomView, speakers: Sequence[SpeakerView], view: MapView
) -> float:
    """Draw one map with its title, colours and note; return the y below it."""
    left, top, right, bottom = cell
    word = fonts.fit(view.title, room_mm=right - left, cap_mm=2.3, weight="semibold")
    scene.add(Text(at=(left, top + 3.0), text=word, layer="notes", cap=2.3, weight="semibold"))
    area = (left, top + _HEAD, right, bottom - _FOOT)
    centred = fill_plan(room.outline, area)
    ring = bounds(centred.ring(room.outline))
    at = (centred.at[0] - ring[0] + left + 0.5, centred.at[1] - ring[1] + area[1])
    projection = replace(centred, at=at)
    map_drawing(scene, room, speakers, view, projection)
    ring = bounds(projection.ring(room.outline))
    y = ring[3] + 3.5
    colour_bar(
        scene, view, (ring[0], y, min(max(ring[2], left + 60.0), right, left + 140.0), y + 7.0)
    )
    return paragraph(scene, (ring[0], y + 8.0, right, bottom + 2.0), view.note, colour=SOFT)


def _legend(scene: Scene, column: Box, room: RoomView, *, has_marks: bool) -> Box:
    left, top, right, bottom = column
    name = fonts.fit(room.label, room_mm=right - left, cap_mm=3.6, weight="light")
    scene.add(Text(at=(left, top + 4.0), text=name, layer="notes", cap=3.6, weight="light"))
    legend = Legend(scene, (left, top + 5.5, right, bottom))
    legend.dot("Loudspeaker")
    legend.contour("Where one band of colour meets the next")
    if has_marks:
        legend.cross("Named on the map")
    return legend.below


def _brief(scene: Scene, column: Box, room: RoomView) -> Box:
    """Set the brief against the result."""
    if not room.brief:
        return column
    box = heading(scene, column, "Brief against result")
    for row in room.brief:
        word = {"met": ": met", "missed": ": missed", "open": ": open"}[row.verdict]
        colour = ACCENT if row.verdict == "missed" else INK
        got = f"{row.got} for {row.asked}{word}" if row.asked else row.got
        y = box[1]
        for text, tint in ((row.what, SOFT), (got, colour), (row.note, SOFT)):
            if text:
                y = paragraph(scene, (box[0], y, box[2], box[3]), text, colour=tint)
        box = (box[0], y + 1.6, box[2], box[3])
    return box


def _notes(scene: Scene, under: Box, column: Box, room: RoomView) -> None:
    """Set the room's notes on the last sheet of its maps: below them, or beside."""
    if not room.notes:
        return
    tall = sum(paragraph_height(note, room_mm=under[2] - under[0]) + 1.0 for note in room.notes)
    box = heading(scene, under if tall + 5.0 < under[3] - under[1] else column, "Notes")
    for note in room.notes:
        y = paragraph(scene, box, note, colour=SOFT)
        box = (box[0], y + 1.0, box[2], box[3])
