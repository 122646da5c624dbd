"""The schematic of one line: the pair of cores down the sheet, a row for every place on it."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from soffit.papers import fonts, symbols, words
from soffit.papers.legend import Legend
from soffit.papers.scene import (
    ACCENT,
    FINE,
    HAIR,
    INK,
    PALE,
    SOFT,
    THIN,
    WHITE,
    Anchor,
    Box,
    Path,
    Pen,
    Scene,
    Text,
)
from soffit.papers.sheet import (
    SIZES_MM,
    Sheet,
    heading,
    open_sheet,
    paragraph,
    paragraph_height,
)
from soffit.papers.views import LineView, NodeView, SpeakerView, TitleView

_ROW: Final = 6.4
_HEAD: Final = 12.0
_INDENT: Final = 8.0
_CORE: Final = 0.7
_PLUS: Final = Pen(0.3, ACCENT)
_MINUS: Final = Pen(0.3, INK)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One place on the line with its column in the tree."""

    node: NodeView
    depth: int
    parent: int | None


def _rows(line: LineView) -> tuple[_Row, ...]:
    """Order the tree: side branches first, below their place; the longest goes straight on."""
    children: dict[str, list[NodeView]] = {}
    for node in line.nodes:
        children.setdefault(node.parent_key, []).append(node)
    size: dict[str, int] = {}
    for node in reversed(line.nodes):
        size[node.key] = 1 + sum(size.get(child.key, 1) for child in children.get(node.key, ()))
    rows: list[_Row] = []
    seen: set[str] = set()
    stack: list[tuple[NodeView, int, int | None]] = [(line.nodes[0], 0, None)]
    while stack:
        node, depth, parent = stack.pop()
        rows.append(_Row(node=node, depth=depth, parent=parent))
        here = len(rows) - 1
        if node.key in seen:  # a ring comes home: do not go round again
            continue
        seen.add(node.key)
        below = sorted(children.get(node.key, ()), key=lambda child: -size[child.key])
        for index, child in enumerate(below):
            stack.append((child, depth + index, here))
    return tuple(rows)


def rows_per_sheet(title: TitleView) -> int:
    """Return how many places fit on one sheet.

    Parameters
    ----------
    title
        The job's title block.
    """
    return int((SIZES_MM[title.paper][1] - 20.0 - _HEAD - 6.0) / _ROW)


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
    rows = _rows(line)
    known = {item.key: item for item in speakers}
    per = rows_per_sheet(title)
    pieces = [range(start, min(start + per, len(rows))) for start in range(0, len(rows), per)]
    scenes = []
    for index, piece in enumerate(pieces):
        more = f"{number}{chr(ord('a') + index)}" if len(pieces) > 1 else number
        name = f"Line {line.label}: schematic"
        if len(pieces) > 1:
            name += f", sheet {index + 1} of {len(pieces)}"
        sheet = open_sheet(title, paper=title.paper, number=more, name=name, scale="")
        _Tree(sheet, rows, known, imperial=title.is_imperial).draw(piece)
        box = _column(sheet, line, speakers, imperial=title.is_imperial)
        if piece.stop == len(rows):
            under = sheet.area[1] + _HEAD + (len(piece) + 0.6) * _ROW
            _notes(sheet, (sheet.area[0], under, sheet.area[2], sheet.area[3]), box, line)
        scenes.append(sheet.scene)
    return tuple(scenes)


class _Tree:
    """Tree and table of one sheet."""

    def __init__(
        self, sheet: Sheet, rows: Sequence[_Row], known: dict[str, SpeakerView], *, imperial: bool
    ) -> None:
        self.scene, self.area, self.rows, self.known = sheet.scene, sheet.area, rows, known
        self.imperial = imperial
        self.deepest = max(row.depth for row in rows)
        self.indent = min(_INDENT, 34.0 / max(self.deepest, 1))
        self.left = self.area[0] + 6.0
        self.table = self.left + self.indent * self.deepest + 8.0

    def draw(self, piece: range) -> None:
        self.piece = piece
        self._heads()
        for index in range(len(self.rows)):
            self._pair(index)
        for index in piece:
            self._place(index)

    def _y(self, index: int) -> float:
        return self.area[1] + _HEAD + (index - self.piece.start + 0.5) * _ROW

    def _x(self, depth: int) -> float:
        return self.left + self.indent * depth

    def _columns(self) -> list[tuple[str, float, Anchor]]:
        room = self.area[2] - self.table
        shares: list[tuple[str, float, Anchor]] = [
            ("Place", 0.0, "start"),
            ("Tap", 0.19, "end"),
            ("Volts", 0.29, "end"),
            ("Loss", 0.40, "end"),
            ("Arrives", 0.50, "end"),
            ("Run", 0.59, "end"),
            ("Cable", 0.61, "start"),
            ("Ohms onward", 0.92, "end"),
        ]
        return [(name, self.table + share * room, anchor) for name, share, anchor in shares]

    def _heads(self) -> None:
        y = self.area[1] + _HEAD - 4.0
        for name, x, anchor in self._columns():
            self.scene.add(
                Text(
                    at=(x, y),
                    text=name,
                    layer="table",
                    cap=1.8,
                    weight="semibold",
                    anchor=anchor,
                    colour=SOFT,
                )
            )
        y += 2.0
        self.scene.line((self.area[0], y), (self.area[2], y), layer="table", pen=THIN)
        if self.piece.start:
            self._turnover(self.area[1] + 3.0, "from the sheet before")
        if self.piece.stop < len(self.rows):
            self._turnover(self._y(self.piece.stop) + 0.6, "goes on")

    def _turnover(self, y: float, text: str) -> None:
        self.scene.add(Text(at=(self.area[0], y), text=text, layer="table", cap=1.8, colour=ACCENT))

    def _pair(self, index: int) -> None:
        """Draw both cores from the parent's row to this one, as far as they are on the sheet."""
        row = self.rows[index]
        if row.parent is None:
            return
        first, last = row.parent, index
        if last < self.piece.start or first >= self.piece.stop:
            return
        high = self.area[1] + _HEAD - 1.5
        low = self._y(self.piece.stop - 1) + 0.5 * _ROW
        top = max(self._y(first), high)
        bottom = min(self._y(last), low)
        here, before = self._x(row.depth), self._x(self.rows[row.parent].depth)
        for shift, pen in ((-_CORE, _PLUS), (_CORE, _MINUS)):
            if here == before:
                self.scene.line((here + shift, top), (here + shift, bottom), layer="cores", pen=pen)
                continue
            points = [(here + shift, bottom)]
            if first >= self.piece.start:
                level = self._y(first) - shift
                points = [(before, level), (here + shift, level), *points]
            else:
                points = [(here + shift, top), *points]
            self.scene.line(*points, layer="cores", pen=pen)

    def _place(self, index: int) -> None:
        row = self.rows[index]
        node, y = row.node, self._y(index)
        at = (self._x(row.depth), y)
        speaker = self.known.get(node.key)
        if node.kind == "speaker":
            symbols.speaker(self.scene, at, 1.9, speaker.kind if speaker else "ceiling")
        else:
            symbols.mark(self.scene, at, node.kind)
        line = Pen(0.13, PALE)
        self.scene.line(
            (self.area[0], y + _ROW / 2), (self.area[2], y + _ROW / 2), layer="table", pen=line
        )
        if self.table - at[0] > 8.0:
            self.scene.line((at[0] + 3.2, y), (self.table - 2.0, y), layer="table", pen=HAIR)
        self._cells(node, speaker, y + 0.9)
        if node.open_here:
            self._open(at, y)

    def _open(self, at: tuple[float, float], y: float) -> None:
        """Mark a good place to open the line: a break across both cores below the place."""
        gap = y + 0.5 * _ROW
        self.scene.box(
            (at[0] - 1.3, gap - 0.75, at[0] + 1.3, gap + 0.75), layer="cores", pen=None, fill=WHITE
        )
        for shift in (-0.75, 0.75):
            self.scene.line(
                (at[0] - 1.5, gap + shift), (at[0] + 1.5, gap + shift), layer="cores", pen=THIN
            )

    def _cells(self, node: NodeView, speaker: SpeakerView | None, y: float) -> None:
        is_start = not node.parent_key
        values = [
            node.label,
            speaker.tap_text if speaker else "",
            words.volts(node.voltage_v),
            words.decibels(node.loss_db) if node.kind == "speaker" else "",
            words.watts(speaker.delivered_w) if speaker else "",
            "" if is_start else words.run_length(node.run_length_m, imperial=self.imperial),
            "" if is_start else "  ".join(part for part in (node.run_label, node.cable) if part),
            words.ohms(node.impedance_out_ohm),
        ]
        columns = self._columns()
        room = columns[7][1] - 18.0 - columns[6][1]
        values[6] = fonts.fit(values[6], room_mm=room, cap_mm=1.8)
        for (name, x, anchor), value in zip(columns, values, strict=True):
            strong = name == "Place"
            self.scene.add(
                Text(
                    at=(x, y),
                    text=value,
                    layer="table",
                    cap=2.0 if strong else 1.8,
                    weight="semibold" if strong else "regular",
                    anchor=anchor,
                )
            )
        if node.open_here:
            self.scene.add(
                Text(
                    at=(self.area[2], y),
                    text="open",
                    layer="table",
                    cap=1.8,
                    anchor="end",
                    colour=ACCENT,
                )
            )


def _column(
    sheet: Sheet, line: LineView, speakers: Sequence[SpeakerView], *, imperial: bool
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
    if line.curve:
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
    legend.pair(f"Pair of cores, plus red, minus black{f' ({colours})' if colours else ''}")
    if opened:
        legend.gap("Good place to open the line")
    return legend.below


def _notes(sheet: Sheet, under: Box, column: Box, line: LineView) -> None:
    """Set the notes under the table, or in the column where the table leaves no room."""
    notes = [note[0].upper() + note[1:] for note in (line.route_note, *line.notes) if note]
    if not notes:
        return
    tall = sum(paragraph_height(note, room_mm=under[2] - under[0]) + 0.6 for note in notes)
    box = heading(sheet.scene, under if tall + 5.0 < under[3] - under[1] else column, "Notes")
    for note in notes:
        bottom = paragraph(sheet.scene, box, note)
        box = (box[0], bottom + 0.6, box[2], box[3])


def _facts(
    line: LineView, speakers: Sequence[SpeakerView], *, imperial: bool
) -> list[tuple[str, str]]:
    expected = words.ohms(line.impedance_ohm)
    if line.impedance_low_ohm is not None and line.impedance_high_ohm is not None:
        low, high = words.ohms(line.impedance_low_ohm), words.ohms(line.impedance_high_ohm)
        expected += f" ({low} to {high})"
    return [
        ("Amplifier", line.channel_text),
        ("Line voltage", words.volts(line.voltage_v)),
        ("Loudspeakers", words.tally(speakers)),
        ("Load of taps", words.watts(line.load_w)),
        ("Drawn, losses in", words.watts(line.drawn_w)),
        ("Ohms at 1 kHz", expected),
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
