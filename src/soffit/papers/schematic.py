"""The schematic of one line: its drawing, and beside it what it amounts to and how it is read."""

import itertools
import math
from collections.abc import Sequence
from typing import Final

from soffit.papers import fonts, words
from soffit.papers.legend import Legend
from soffit.papers.scene import ACCENT, FINE, HAIR, SOFT, Anchor, Box, Path, Pen, Scene, Text
from soffit.papers.sheet import (
    SIZES_MM,
    Sheet,
    heading,
    open_sheet,
    paragraph,
    paragraph_height,
)
from soffit.papers.stations import ROW, Drawing, rows_of
from soffit.papers.views import LineView, SpeakerView, TitleView

_TALLEST: Final = 105.0
_READ_STEP: Final = 5.2
_TWO_COLUMNS: Final = 140.0
_CHART: Final = 46.0
"""Height from which the curve stands under the drawing rather than in the column. [mm]"""


def rows_per_sheet(title: TitleView) -> int:
    """Return how many rows of stations fit on one sheet.

    Parameters
    ----------
    title
        The job's title block.
    """
    return int((SIZES_MM[title.paper][1] - 20.0) / ROW)


def schematic_sheets(
    line: LineView, speakers: Sequence[SpeakerView], title: TitleView, *, number: str
) -> tuple[Scene, ...]:
    """Draw the schematic of a line on as many sheets as it needs.

    Parameters
    ----------
    line
        The line.
    speakers
        Its speakers.
    title
        The job's title block.
    number
        Drawing number, such as ``S-01``; later sheets add a letter.
    """
    if not line.nodes:
        return ()
    probe = open_sheet(title, paper=title.paper, number=number, name="", scale="")
    rows = rows_of(line, width_mm=probe.area[2] - probe.area[0])
    known = {item.key: item for item in speakers}
    per = rows_per_sheet(title)
    pieces = [range(start, min(start + per, len(rows))) for start in range(0, len(rows), per)]
    scenes: list[Scene] = []
    for index, piece in enumerate(pieces):
        more = f"{number}{_letter(index)}" if len(pieces) > 1 else number
        name = f"Line {line.label}: schematic"
        if len(pieces) > 1:
            name += f", sheet {index + 1} of {len(pieces)}"
        is_last = piece.stop == len(rows)
        for has_curve in (is_last, False):
            sheet = open_sheet(title, paper=title.paper, number=more, name=name, scale="")
            drawing = Drawing(sheet.scene, sheet.area, known, imperial=title.is_imperial)
            below = drawing.draw(rows[piece.start : piece.stop]) + 1.0
            under = (sheet.area[0], below, sheet.area[2], sheet.area[3])
            is_under = has_curve and under[3] - under[1] >= _CHART
            column = _column(
                sheet,
                line,
                speakers,
                imperial=title.is_imperial,
                has_curve=has_curve and not is_under,
            )
            if is_under:
                under = _wide_curve(sheet.scene, under, line)
            if not has_curve or _notes(sheet.scene, under, column, line):
                break
        scenes.append(sheet.scene)
        if is_last and not has_curve:
            scenes.append(_second(line, title, number=f"{number}{_letter(len(scenes))}"))
    return tuple(scenes)


def _letter(number: int) -> str:
    return chr(ord("a") + number)


def _second(line: LineView, title: TitleView, *, number: str) -> Scene:
    """Draw what the schematic of a long line leaves no room for: the curve, notes, readings."""
    name = f"Line {line.label}: curve and notes"
    sheet = open_sheet(title, paper=title.paper, number=number, name=name, scale="")
    at = (sheet.column[0], sheet.column[1] + 4.0)
    sheet.scene.add(
        Text(at=at, text=f"Line {line.label}", layer="notes", cap=3.6, weight="light"),
        Text(
            at=(at[0], at[1] + 4.4),
            text=fonts.fit(line.title, room_mm=sheet.column[2] - at[0], cap_mm=1.8),
            layer="notes",
            cap=1.8,
            colour=SOFT,
        ),
    )
    _notes(sheet.scene, _wide_curve(sheet.scene, sheet.area, line), sheet.column, line)
    return sheet.scene


def _wide_curve(scene: Scene, under: Box, line: LineView) -> Box:
    """Draw the curve on the left under the drawing, and return what is left beside it."""
    if not line.curve:
        return under
    middle = under[0] + 0.48 * (under[2] - under[0])
    low = min(under[3], under[1] + _TALLEST)
    box = heading(scene, (under[0], under[1], middle, low), "Impedance at the amplifier end")
    curve_chart(scene, box, line)
    return middle + 6.0, under[1], under[2], under[3]


def _column(
    sheet: Sheet,
    line: LineView,
    speakers: Sequence[SpeakerView],
    *,
    imperial: bool,
    has_curve: bool,
) -> Box:
    scene, column = sheet.scene, sheet.column
    scene.add(
        Text(
            at=(column[0], column[1] + 4.0),
            text=f"Line {line.label}",
            layer="notes",
            cap=3.6,
            weight="light",
        ),
        Text(
            at=(column[0], column[1] + 8.4),
            text=fonts.fit(line.title, room_mm=column[2] - column[0], cap_mm=1.8),
            layer="notes",
            cap=1.8,
            colour=SOFT,
        ),
    )
    box: Box = (column[0], column[1] + 11.5, column[2], column[3])
    box = facts(scene, box, _facts(line, speakers, imperial=imperial))
    if line.curve and has_curve:
        box = heading(
            scene, (box[0], box[1] + 1.0, box[2], box[3]), "Impedance at the amplifier end"
        )
        curve_chart(scene, (box[0], box[1], box[2], box[1] + 30.0), line)
        box = (box[0], box[1] + 34.0, box[2], box[3])
    opened = [node for node in line.nodes if node.open_here]
    if opened and box[3] - box[1] > 12.0:
        box = heading(scene, box, "Where to open the line for tests")
        for node in opened:
            bottom = paragraph(scene, box, f"{node.label}: {node.open_here}")
            box = (box[0], bottom + 0.6, box[2], box[3])
    kinds = {node.kind for node in line.nodes}
    legend = Legend(scene, (box[0], box[1] - 1.0, box[2], box[3]))
    legend.kinds(item.kind for item in speakers)
    legend.marks(kinds - {"speaker"})
    colours = next((node.colours for node in line.nodes if node.colours), "")
    legend.pair(f"Pair of cores, upper +, lower −{f'; in the cable {colours}' if colours else ''}")
    legend.terminals("Terminals: in on the left, out on the right, plus above minus")
    if opened:
        legend.gap("Good place to open the line")
    return legend.below


def _notes(scene: Scene, under: Box, column: Box, line: LineView) -> bool:
    """Set the notes beside the curve or in the column; return whether they had room."""
    notes = [note[0].upper() + note[1:] for note in (line.route_note, *line.notes) if note]
    box = under
    if notes:
        spots = [
            spot
            for spot in (under, column)
            if sum(paragraph_height(note, room_mm=spot[2] - spot[0]) + 0.6 for note in notes) + 5.0
            < spot[3] - spot[1]
        ]
        if not spots:
            return False
        box = heading(scene, spots[0], "Notes")
        for note in notes:
            bottom = paragraph(scene, box, note)
            box = (box[0], bottom + 0.6, box[2], box[3])
        if spots[0] is column:
            return True
    _to_write(scene, (under[0], box[1] + 2.0, under[2], under[3]), line)
    return True


def _to_write(scene: Scene, box: Box, line: LineView) -> None:
    """Leave room to write what a meter reads at every place, if all of them fit."""
    places = [node for node in line.nodes if node.meter_out is not None]
    columns = 2 if box[2] - box[0] > _TWO_COLUMNS else 1
    rows = -(-len(places) // columns)
    if not places or box[3] - box[1] < 6.0 + rows * _READ_STEP:
        return
    left, top, right, _ = heading(
        scene, box, "Read onward at 1 kHz, looking away from the amplifier"
    )
    wide = (right - left) / columns
    for number, node in enumerate(places):
        x = left + wide * (number // rows)
        y = top + 3.0 + _READ_STEP * (number % rows)
        label = fonts.fit(node.label, room_mm=14.0, cap_mm=1.8, weight="semibold")
        scene.add(Text(at=(x, y), text=label, layer="notes", cap=1.8, weight="semibold"))
        should = words.meter(node.meter_out, node.impedance_out_ohm or 0.0)
        scene.add(Text(at=(x + 15.0, y), text=should, layer="notes", cap=1.8, colour=SOFT))
        end = x + wide - 4.0
        scene.line((x + 48.0, y + 0.6), (end, y + 0.6), layer="notes", pen=Pen(0.1, SOFT))


def _facts(
    line: LineView, speakers: Sequence[SpeakerView], *, imperial: bool
) -> list[tuple[str, str]]:
    return [
        ("Amplifier", line.channel_text),
        ("Line voltage", words.volts(line.voltage_v)),
        ("Loudspeakers", words.tally(speakers)),
        ("Load of taps", words.watts(line.load_w)),
        ("Drawn, losses in", words.watts(line.drawn_w)),
        ("Meter, 1 kHz", words.meter(line.meter, line.impedance_ohm)),
        ("By the taps", words.ohms(line.impedance_ohm) if line.meter else ""),
        ("Worst loss", f"{words.decibels(line.worst_loss_db)} at {line.worst_label}"),
        ("Limit", line.loss_limit_text),
        ("Cable", f"{words.run_length(line.length_m, imperial=imperial)}, {line.cable_text}"),
        ("Terminals", next((node.terminals for node in line.nodes if node.terminals), "")),
        ("Copper at", f"{line.conductor_degc:g} °C"),
        ("High-pass", words.hertz(line.high_pass_hz) or "not decided"),
        ("Zones", line.zones_text),
    ]


def facts(scene: Scene, box: Box, rows: Sequence[tuple[str, str]]) -> Box:
    """Set names and values in two columns, values wrapped, and return the box below.

    Parameters
    ----------
    scene
        Where to draw.
    box
        Left, top, right, bottom.
    rows
        Name and value; rows without a value are left out.
    """
    left, y, right, bottom = box
    for name, value in rows:
        if not value or y + 3.0 > bottom:
            continue
        scene.add(Text(at=(left, y + 1.8), text=name, layer="notes", cap=1.8, colour=SOFT))
        after = paragraph(scene, (left + 23.0, y, right, bottom), value)
        y = max(after, y + 3.15) + 0.35
    return left, y, right, bottom


def _nice_ohms(least: float, most: float) -> list[float]:
    ticks = [
        head * 10.0**power
        for power in range(-1, 6)
        for head in (1.0, 2.0, 5.0)
        if least <= head * 10.0**power <= most
    ]
    return ticks if len(ticks) <= 6 else ticks[:: math.ceil(len(ticks) / 6)]


def curve_chart(scene: Scene, box: Box, line: LineView) -> None:
    """Draw impedance over frequency, both on ratio scales.

    Parameters
    ----------
    scene
        Where to draw.
    box
        Left, top, right, bottom, with room for the figures.
    line
        The line.
    """
    left, top, right, bottom = box[0] + 11.0, box[1] + 1.0, box[2] - 1.0, box[3] - 5.0
    hertz = [point[0] for point in line.curve]
    ohm = [point[1] for point in line.curve]
    low, high = min(ohm) / 1.25, max(ohm) * 1.25
    wide = math.log(hertz[-1] / hertz[0])

    def place(frequency: float, value: float) -> tuple[float, float]:
        x = left + (right - left) * math.log(frequency / hertz[0]) / wide
        y = bottom - (bottom - top) * math.log(value / low) / math.log(high / low)
        return x, y

    scene.box((left, top, right, bottom), layer="curve", pen=FINE)
    for frequency in (20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0, 20000.0):
        if hertz[0] <= frequency <= hertz[-1]:
            x, _ = place(frequency, low)
            scene.line((x, top), (x, bottom), layer="curve", pen=HAIR)
            if frequency in {100.0, 1000.0, 10000.0}:
                text = words.hertz(frequency)
                anchor: Anchor = "end" if x > right - 4.0 else "middle"
                scene.add(
                    Text(at=(x, bottom + 3.6), text=text, layer="curve", cap=1.8, anchor=anchor)
                )
    for value in _nice_ohms(low, high):
        _, y = place(hertz[0], value)
        scene.line((left, y), (right, y), layer="curve", pen=HAIR)
        scene.add(
            Text(
                at=(left - 1.0, y + 0.9), text=f"{value:g} Ω", layer="curve", cap=1.8, anchor="end"
            )
        )
    points = tuple(itertools.starmap(place, line.curve))
    scene.add(Path(rings=(points,), layer="curve", pen=Pen(0.4, ACCENT)))
