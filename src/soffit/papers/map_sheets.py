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

_PER_SHEET: Final = 4
_HEAD: Final = 7.0
_FOOT: Final = 16.0
_KEY: Final = 11.5
"""From a map to the note under its colours. [mm]"""
_GAP: Final = 5.0
_NARROW: Final = 50.0
_WIDE: Final = 150.0
_BESIDE: Final = 1.15
"""How much smaller maps may be side by side than below each other: it leaves room for notes."""
_TITLE: Final = 62.0
"""Least width of a column of notes, and of a map with its title."""


def map_sheets(
    room: RoomView, speakers: Sequence[SpeakerView], title: TitleView, *, number: str
) -> tuple[Scene, ...]:
    """Draw all maps of a room, up to four to a sheet.

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
        legend = _legend(sheet.scene, sheet.column, room, has_marks=any(v.marks for v in group))
        if index == 0:
            legend = _brief(sheet.scene, legend, room)
        notes = room.notes if index == len(starts) - 1 else ()
        cells = _cells(room, sheet.area, len(group))
        spot, cells = _spot(room, sheet.area, legend, cells, notes)
        low = max(
            _one(sheet.scene, cell, room, speakers, view)
            for view, cell in zip(group, cells, strict=True)
        )
        if notes:
            under = (sheet.area[0], low + 6.0, sheet.area[2], sheet.area[3])
            fits = _notes_height(notes, under) <= under[3] - under[1]
            _notes(sheet.scene, under if fits else spot, notes)
        scenes.append(sheet.scene)
    return tuple(scenes)


def _in_columns(notes: Sequence[str], box: Box) -> list[tuple[Box, Sequence[str]]]:
    """Return notes in one column, or in two about as high where the box is wide."""
    left, top, right, bottom = box
    if right - left < _WIDE or len(notes) < 4:
        return [(box, notes)]
    middle = (left + right) / 2
    pair = ((left, top, middle - 3.0, bottom), (middle + 3.0, top, right, bottom))
    cut = min(
        range(1, len(notes)),
        key=lambda at: max(
            _column_height(notes[:at], pair[0]), _column_height(notes[at:], pair[1])
        ),
    )
    return [(pair[0], notes[:cut]), (pair[1], notes[cut:])]


def _column_height(notes: Sequence[str], box: Box) -> float:
    room_mm = box[2] - box[0]
    return sum(paragraph_height(note, room_mm=room_mm) + 1.0 for note in notes)


def _notes_height(notes: Sequence[str], box: Box) -> float:
    """Return how high the notes run in a box."""
    return 5.0 + max(_column_height(part, column) for column, part in _in_columns(notes, box))


def _spot(
    room: RoomView, area: Box, column: Box, cells: list[Box], notes: Sequence[str]
) -> tuple[Box, list[Box]]:
    """Return where the notes go: an empty cell, the column, or a strip that the maps leave free."""
    empty = (cells[-1][2] + _GAP, cells[-1][1], area[2], cells[-1][3])
    for box in (empty, column):
        if box[2] - box[0] > _NARROW and _notes_height(notes, box) <= box[3] - box[1]:
            return box, cells
    strip = (area[0], area[3] - _notes_height(notes, area), area[2], area[3])
    return strip, _cells(room, (*area[:3], strip[1] - _GAP), len(cells))


def _cells(room: RoomView, area: Box, count: int) -> list[Box]:
    """Split the area into columns and rows so that the maps come out largest."""
    left, top, right, bottom = area
    low_x, low_y, high_x, high_y = bounds(room.outline)
    wide, tall = max(high_x - low_x, 1e-3), max(high_y - low_y, 1e-3)

    def scale(columns: int) -> float:
        rows = -(-count // columns)
        width = (right - left - _GAP * (columns - 1)) / columns
        height = (bottom - top - _GAP * (rows - 1)) / rows - _HEAD - _FOOT
        return min(width / wide, height / tall)

    most = max(1, int((right - left + _GAP) / (_TITLE + _GAP)))
    columns = max(
        range(1, min(count, most) + 1),
        key=lambda number: scale(number) * _BESIDE ** min(number - 1, 1),
    )
    rows = -(-count // columns)
    step_x = (right - left + _GAP) / columns
    step_y = (bottom - top + _GAP) / rows
    return [
        (
            left + step_x * (number % columns),
            top + step_y * (number // columns),
            left + step_x * (number % columns + 1) - _GAP,
            top + step_y * (number // columns + 1) - _GAP,
        )
        for number in range(count)
    ]


def _one(
    scene: Scene, cell: Box, room: RoomView, speakers: Sequence[SpeakerView], view: MapView
) -> float:
    """Draw one map with its title, colours and note; return the y below it."""
    left, top, right, bottom = cell
    word = fonts.fit(view.title, room_mm=right - left, cap_mm=2.3, weight="semibold")
    scene.add(Text(at=(left, top + 3.0), text=word, layer="notes", cap=2.3, weight="semibold"))
    note = paragraph_height(view.note, room_mm=right - left) if view.note else 0.0
    area = (left, top + _HEAD, right, min(bottom - _FOOT, bottom + 1.5 - _KEY - note))
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
    return paragraph(scene, (ring[0], y + _KEY - 3.5, right, bottom + 2.0), view.note, colour=SOFT)


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


def _notes(scene: Scene, box: Box, notes: Sequence[str]) -> None:
    """Set the room's notes on the last sheet of its maps."""
    box = heading(scene, box, "Notes")
    for column, part in _in_columns(notes, box):
        y = column[1]
        for note in part:
            y = paragraph(scene, (column[0], y, column[2], column[3]), note, colour=SOFT) + 1.0
