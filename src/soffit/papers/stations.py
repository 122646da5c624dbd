"""The schematic's drawing: stations along a pair of cores, in the order in which it is wired.

A strand is one way outwards without side branches. It runs left to right, turns back at the end of
the row, and goes on below; a side branch begins a row of its own and names where it comes from.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from soffit.papers import fonts, symbols, words
from soffit.papers.scene import (
    ACCENT,
    INK,
    SOFT,
    THIN,
    WHITE,
    Box,
    Disc,
    Path,
    Pen,
    Scene,
    Text,
)
from soffit.papers.views import LineView, NodeView, SpeakerView

ROW: Final = 39.0
"""Height of a row of stations. [mm]"""

_STATION: Final = 32.5
_ENTRY: Final = 8.0
_EXIT: Final = 4.0
_PLUS_Y: Final = 8.6
_GAP: Final = 3.2
_BLOCK: Final = 8.0
_PLUS: Final = Pen(0.35, ACCENT)
_MINUS: Final = Pen(0.35, INK)
_INNER: Final = Pen(0.2, INK)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """One place on the line.

    Parameters
    ----------
    node
        The place.
    onward
        Labels that the cable goes on to, the straight way first.
    """

    node: NodeView
    onward: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Stations side by side.

    Parameters
    ----------
    stops
        From left to right.
    origin
        Where the first run comes from, where it is not the row before; empty for the rack.
    is_turn
        Whether the row goes on from the end of the row before.
    goes_on
        Label of the first station of the next row of the same strand; empty at its end.
    """

    stops: tuple[Stop, ...]
    origin: str
    is_turn: bool
    goes_on: str


def strands(line: LineView) -> tuple[tuple[str, tuple[Stop, ...]], ...]:
    """Divide the tree of a line into strands; the longest way goes straight on.

    Parameters
    ----------
    line
        The line.

    Returns
    -------
    tuple
        Label where each strand comes from, and its places.
    """
    children: dict[str, list[NodeView]] = {}
    for node in line.nodes:
        if node.parent_key:
            children.setdefault(node.parent_key, []).append(node)
    size: dict[str, int] = {}
    for node in reversed(line.nodes):
        size[node.key] = 1 + sum(size.get(child.key, 1) for child in children.get(node.key, ()))
    found: list[tuple[str, tuple[Stop, ...]]] = []
    seen: set[str] = set()
    waiting: list[tuple[str, NodeView]] = [("", line.nodes[0])]
    while waiting:
        origin, node = waiting.pop(0)
        stops: list[Stop] = []
        branches: list[tuple[str, NodeView]] = []
        at: NodeView | None = node
        while at is not None:
            below = [] if at.key in seen else children.get(at.key, [])  # a ring comes home once
            seen.add(at.key)
            ways = sorted(below, key=lambda child: -size[child.key])
            stops.append(Stop(node=at, onward=tuple(way.label for way in ways)))
            branches += [(at.label, way) for way in ways[1:]]
            at = ways[0] if ways else None
        found.append((origin, tuple(stops)))
        waiting = branches + waiting
    return tuple(found)


def rows_of(line: LineView, *, width_mm: float) -> tuple[Row, ...]:
    """Lay the strands of a line out in rows.

    Parameters
    ----------
    line
        The line.
    width_mm
        Width that there is. [mm]
    """
    per = stations_per_row(width_mm)
    rows: list[Row] = []
    for origin, stops in strands(line):
        for start in range(0, len(stops), per):
            rest = stops[start + per : start + per + 1]
            rows.append(
                Row(
                    stops=stops[start : start + per],
                    origin=origin if start == 0 else stops[start - 1].node.label,
                    is_turn=start > 0,
                    goes_on=rest[0].node.label if rest else "",
                )
            )
    return tuple(rows)


def stations_per_row(width_mm: float) -> int:
    """Return how many stations stand side by side.

    Parameters
    ----------
    width_mm
        Width that there is. [mm]
    """
    return max(int((width_mm - _ENTRY - _EXIT) / _STATION), 2)


class Drawing:
    """Rows of stations on one sheet."""

    def __init__(
        self, scene: Scene, area: Box, known: dict[str, SpeakerView], *, imperial: bool
    ) -> None:
        self.scene, self.area, self.known, self.imperial = scene, area, known, imperial
        self.per = stations_per_row(area[2] - area[0])
        self.wide = (area[2] - area[0] - _ENTRY - _EXIT) / self.per
        self.cable = ""

    def draw(self, rows: Sequence[Row]) -> float:
        """Draw rows from the top of the area, and return the y below them.

        Parameters
        ----------
        rows
            Rows of this sheet.
        """
        for index, row in enumerate(rows):
            top = self.area[1] + index * ROW
            self._row(row, top, is_first=index == 0, is_last=index + 1 == len(rows))
        return self.area[1] + len(rows) * ROW

    def _row(self, row: Row, top: float, *, is_first: bool, is_last: bool) -> None:
        left = self.area[0] + _ENTRY
        is_rack = row.stops[0].node.kind == "rack" and not row.origin
        if not is_rack:
            if row.is_turn and not is_first:
                self._signs(self.area[0] + 5.0, top)
            else:
                self._word((self.area[0], top + 4.0), f"from {row.origin}", colour=ACCENT, room=30)
                self._pair((self.area[0], left), top)
                self._signs(self.area[0] + 1.5, top)
        self.cable = "" if not row.is_turn or is_first else self.cable
        for index, stop in enumerate(row.stops):
            x = left + index * self.wide
            before = left if index == 0 else x - 2.0
            ends = index + 1 == len(row.stops) and not row.goes_on
            self._station(stop, x, top, before, is_end=ends, has_flag=index == 0 and not is_rack)
        if row.goes_on:
            right = left + len(row.stops) * self.wide - 2.0
            if is_last:
                self._pair((right, self.area[2]), top)
                self._word(
                    (self.area[2], top + ROW - 2.8),
                    f"to {row.goes_on}, next sheet",
                    colour=ACCENT,
                    anchor="end",
                    room=40,
                )
            else:
                self._turn(right, top)

    def _turn(self, right: float, top: float) -> None:
        """Lead both cores back to the left under the row; they never cross."""
        plus, minus = top + _PLUS_Y, top + _PLUS_Y + _GAP
        low = top + ROW - 3.4
        edge, start = self.area[2], self.area[0]
        for y, out, gutter, back, pen in (
            (plus, edge - 0.5, low + 0.8, start + 3.2, _PLUS),
            (minus, edge - 2.1, low - 0.8, start + 1.6, _MINUS),
        ):
            points = (
                (right, y),
                (out, y),
                (out, gutter),
                (back, gutter),
                (back, y + ROW),
                (start + _ENTRY, y + ROW),
            )
            self.scene.line(*points, layer="cores", pen=pen)

    def _pair(self, span: tuple[float, float], top: float) -> None:
        for shift, pen in ((0.0, _PLUS), (_GAP, _MINUS)):
            y = top + _PLUS_Y + shift
            self.scene.line((span[0], y), (span[1], y), layer="cores", pen=pen)

    def _signs(self, x: float, top: float) -> None:
        self._word((x, top + _PLUS_Y - 0.8), "+", colour=ACCENT)
        self._word((x, top + _PLUS_Y + _GAP + 2.6), "−")

    def _word(
        self,
        at: tuple[float, float],
        text: str,
        *,
        colour: str = INK,
        cap: float = 1.8,
        weight: fonts.Weight = "regular",
        anchor: str = "start",
        room: float | None = None,
    ) -> None:
        short = text if room is None else fonts.fit(text, room_mm=room, cap_mm=cap, weight=weight)
        self.scene.add(
            Text(
                at=at,
                text=short,
                layer="stations",
                cap=cap,
                weight=weight,
                anchor="end" if anchor == "end" else "start",
                colour=colour,
            )
        )

    def _station(
        self, stop: Stop, x: float, top: float, before: float, *, is_end: bool, has_flag: bool
    ) -> None:
        node = stop.node
        centre = x + self.wide - 2.0 - _BLOCK / 2
        if node.parent_key:
            self._pair((before, centre), top)
            self._run(node, x, top, centre - _BLOCK / 2 - x, has_flag=has_flag)
        if not is_end:
            self._pair((centre, x + self.wide - 2.0), top)
        if node.kind == "rack":
            self._source(centre, top)
        elif node.kind == "speaker":
            self._block(node, centre, top)
        else:
            symbols.mark(self.scene, (centre, top + _PLUS_Y + _GAP / 2), "splice")
            if node.kind == "volume control":
                symbols.mark(self.scene, (centre, top + _PLUS_Y + _GAP / 2), node.kind)
        if node.open_here and not is_end:
            self._open(x + self.wide - 0.2, top)
        self._words(stop, x, top)

    def _run(self, node: NodeView, x: float, top: float, room: float, *, has_flag: bool) -> None:
        length = words.run_length(node.run_length_m, imperial=self.imperial)
        text = f"{node.run_label}  {length}".strip()
        self._word((x + 1.0, top + _PLUS_Y - 1.4), text, room=room - 2.0)
        if node.cable != self.cable and not has_flag:
            size = node.cable  # the jacket, which comes last, stands in the column, too
            while " " in size and fonts.width_mm(size, cap_mm=1.8) > room + 4.0:
                size = size.rpartition(" ")[0]
            self._word((x + 1.0, top + _PLUS_Y - 4.6), size, colour=SOFT, room=room + 4.0)
            self.cable = node.cable

    def _source(self, x: float, top: float) -> None:
        y = top + _PLUS_Y + _GAP / 2
        symbols.mark(self.scene, (x - 4.0, y), "rack")
        for shift, text, colour in ((0.0, "+", ACCENT), (_GAP, "−", INK)):
            here = top + _PLUS_Y + shift
            pen = _PLUS if text == "+" else _MINUS
            self.scene.line((x - 1.8, here), (x, here), layer="cores", pen=pen)
            at = (x + 0.4, here - 0.7 if text == "+" else here + 2.5)
            self._word(at, text, colour=colour)

    def _block(self, node: NodeView, x: float, top: float) -> None:
        """Draw four terminals, in on the left and out on the right, and what hangs on them."""
        plus, minus = top + _PLUS_Y, top + _PLUS_Y + _GAP
        half = _BLOCK / 2
        self.scene.box(
            (x - half, plus - 1.8, x + half, minus + 1.8), layer="stations", pen=THIN, fill=WHITE
        )
        down = minus + 4.6
        for y, shift, pen in ((plus, -0.6, _PLUS), (minus, 0.6, _MINUS)):
            self.scene.line((x - 2.5, y), (x + 2.5, y), layer="stations", pen=_INNER)
            self.scene.line((x + shift, y), (x + shift, down), layer="stations", pen=pen)
            for side in (-2.5, 2.5):
                self.scene.add(
                    Disc(centre=(x + side, y), radius=0.75, layer="stations", pen=THIN, fill=WHITE)
                )
        speaker = self.known.get(node.key)
        kind = speaker.kind if speaker else "ceiling"
        existing = speaker is not None and speaker.state == "existing"
        symbols.speaker(self.scene, (x, down + 1.4), 2.4, kind, existing=existing)

    def _open(self, x: float, top: float) -> None:
        """Mark a good place to open the line: a break across both cores after the place."""
        plus, minus = top + _PLUS_Y, top + _PLUS_Y + _GAP
        self.scene.box(
            (x - 0.8, plus - 1.0, x + 0.8, minus + 1.0), layer="stations", pen=None, fill=WHITE
        )
        for shift in (-0.8, 0.8):
            ends = ((x + shift, plus - 1.6), (x + shift, minus + 1.6))
            self.scene.add(Path(rings=(ends,), layer="stations", pen=THIN))

    def _words(self, stop: Stop, x: float, top: float) -> None:
        node = stop.node
        speaker = self.known.get(node.key)
        beside = self.wide - _BLOCK - 4.5
        whole = self.wide - 3.0
        self._word((x + 1.0, top + 16.2), node.label, cap=2.2, weight="semibold", room=beside)
        lines: list[tuple[str, str]] = []
        if speaker is not None:
            lines.append((f"tap {speaker.tap_text}", INK))
            lines.append(
                (f"{words.volts(node.voltage_v)}  {words.watts(speaker.delivered_w)}", INK)
            )
            lines.append((f"loss {words.decibels(node.loss_db)}", INK))
        else:
            lines += [(node.kind, INK)] if node.kind != "rack" else []
            lines.append((words.volts(node.voltage_v), INK))
        out_ohm = node.meter_out.middle_ohm if node.meter_out else node.impedance_out_ohm
        if stop.onward:
            lines.append((f"onward {words.ohms(out_ohm)}", INK))
        elif node.kind == "speaker":
            lines.append((f"end, alone {words.ohms(out_ohm)}", INK))
        if len(stop.onward) > 1:
            lines.append((f"also to {', '.join(stop.onward[1:])}", ACCENT))
        if node.open_here and stop.onward:
            lines.append(("open here", ACCENT))
        for index, (text, colour) in enumerate(lines[:5]):
            y = top + 19.6 + 3.1 * index
            room = beside if y < top + 22.0 else whole
            self._word((x + 1.0, y), text, colour=colour, room=room)
