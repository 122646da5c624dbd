"""Legends: every sheet explains the signs that it uses, and only those."""

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from soffit.model.survey import Obstacle, Ring
from soffit.papers import fonts, symbols
from soffit.papers.plan_drawing import LINE_DASHES
from soffit.papers.scene import ACCENT, FAINT, HAIR, INK, TINT, WHITE, Box, Disc, Pen, Scene, Text
from soffit.papers.sheet import heading
from soffit.papers.views import RoomView, SpeakerView

_KIND_NAMES: Final = {
    "ceiling": "Ceiling loudspeaker",
    "pendant": "Pendant loudspeaker",
    "surface": "Surface loudspeaker",
    "subwoofer": "Ceiling subwoofer",
}
_MARK_NAMES: Final = {
    "rack": "Rack",
    "tee": "Tee box",
    "splice": "Splice box",
    "volume control": "Volume control",
    "test point": "Place to measure",
}
_INDENT: Final = 9.0


class Legend:
    """A legend under work, from the top of a column downwards."""

    def __init__(self, scene: Scene, column: Box) -> None:
        left, top, right, bottom = column
        self.scene = scene
        self.left, self.y, self.right, self.bottom = heading(
            scene, (left, top + 1.5, right, bottom), "Legend"
        )
        self.y += 2.4

    @property
    def below(self) -> Box:
        """What is left of the column."""
        return self.left, self.y, self.right, self.bottom

    def _entry(self, words: str) -> None:
        room_mm = self.right - self.left - _INDENT
        for number, line in enumerate(fonts.wrap(words, room_mm=room_mm, cap_mm=1.8)[:2]):
            self.y += 2.9 if number else 0.0
            at = (self.left + _INDENT, self.y + 0.9)
            self.scene.add(Text(at=at, text=line, layer="notes", cap=1.8))
        self.y += 4.4

    def types(self, speakers: Sequence[SpeakerView]) -> None:
        """Explain the loudspeakers by type, with their number, and their letter if they differ."""
        found: dict[tuple[str, str, str], int] = {}
        for item in speakers:
            key = (item.type_mark, item.kind, item.type_name or _KIND_NAMES[item.kind])
            found[key] = found.get(key, 0) + 1
        for (mark, kind, name), count in sorted(found.items()):
            symbols.speaker(self.scene, (self.left + 3.0, self.y), 1.7, kind)
            letter = f"{mark}: " if mark and len(found) > 1 else ""
            self._entry(f"{letter}{count} × {name}")

    def kinds(self, kinds: Iterable[str]) -> None:
        """Explain kinds of loudspeakers."""
        for kind in sorted(set(kinds)):
            symbols.speaker(self.scene, (self.left + 3.0, self.y), 1.7, kind)
            self._entry(_KIND_NAMES[kind])

    def lines(
        self,
        labels: Sequence[str],
        dashes: Mapping[str, tuple[float, ...]] | None = None,
        more: Mapping[str, str] | None = None,
    ) -> None:
        """Explain the cable of each line: by its dashes, or in the order that chose them."""
        for index, label in enumerate(labels):
            dash = dashes[label] if dashes else LINE_DASHES[index % len(LINE_DASHES)]
            start, end = (self.left, self.y), (self.left + 7.0, self.y)
            self.scene.line(start, end, layer="key", pen=Pen(0.3, ACCENT, dash))
            self._entry(f"{label}: {more[label]}" if more else f"Cable of line {label}, outwards")

    def match(self, words: str) -> None:
        """Explain the line where sheets meet."""
        pen = Pen(0.5, INK, (3.0, 0.8, 0.8, 0.8))
        self.scene.line((self.left, self.y), (self.left + 7.0, self.y), layer="key", pen=pen)
        self._entry(words)

    def marks(self, kinds: Iterable[str]) -> None:
        """Explain racks, boxes, controls and places to measure."""
        for kind in sorted(set(kinds)):
            symbols.mark(self.scene, (self.left + 3.0, self.y), kind)
            self._entry(_MARK_NAMES[kind])

    def obstacles(self, items: Iterable[Obstacle], holes: Sequence[Ring] = ()) -> None:
        """Explain what else is in, under or above the ceiling."""
        x = self.left + 3.0
        for kind, is_round in sorted({(item.kind, len(item.outline) > 4) for item in items}):
            y = self.y
            if kind in {"sprinkler", "detector"} or is_round:
                radius = 0.9 if kind in {"sprinkler", "detector"} else 1.5
                turns = [math.tau * step / 24 for step in range(24)]
                ring = tuple((x + radius * math.cos(t), y + radius * math.sin(t)) for t in turns)
            else:
                high = 0.8 if kind == "curtain" else 1.3
                ring = ((x - 2.6, y - high), (x + 2.6, y - high), (x + 2.6, y + high))
                ring = (*ring, (x - 2.6, y + high))
            symbols.obstacle(self.scene, ring, kind)
            self._entry(kind[0].upper() + kind[1:])
        if holes:
            box = (x - 1.4, self.y - 1.4, x + 1.4, self.y + 1.4)
            self.scene.box(box, layer="key", pen=Pen(0.35, INK), fill=FAINT)
            self._entry("Column, shaft or court")

    def ceiling(self, room: RoomView, speakers: Sequence[SpeakerView]) -> None:
        """Explain the tint of a tile, or the joists."""
        if any(item.tile for item in speakers):
            x, y = self.left + 3.0, self.y
            box = (x - 1.6, y - 1.6, x + 1.6, y + 1.6)
            self.scene.box(box, layer="key", pen=HAIR, fill=TINT)
            self._entry("Tile that carries one")
        elif any(ceiling.joists for ceiling in room.ceilings):
            pen = Pen(0.13, FAINT, (3.0, 1.2))
            self.scene.line((self.left, self.y), (self.left + 7.0, self.y), layer="key", pen=pen)
            self._entry("Joist")

    def dot(self, words: str) -> None:
        """Explain the small ring of maps."""
        at = (self.left + 3.0, self.y)
        self.scene.add(Disc(centre=at, radius=0.7, layer="key", pen=Pen(0.2, INK), fill=WHITE))
        self._entry(words)

    def contour(self, words: str) -> None:
        """Explain the thin line of maps."""
        start, end = (self.left, self.y), (self.left + 7.0, self.y)
        self.scene.line(start, end, layer="key", pen=Pen(0.1, INK))
        self._entry(words)

    def cross(self, words: str) -> None:
        """Explain the cross of maps."""
        x, y = self.left + 3.0, self.y
        for turn in (-1.2, 1.2):
            start, end = (x - 1.2, y - turn), (x + 1.2, y + turn)
            self.scene.line(start, end, layer="key", pen=Pen(0.3, INK))
        self._entry(words)

    def pair(self, words: str) -> None:
        """Explain the pair of cores of a schematic."""
        x, y = self.left + 3.0, self.y
        for shift, colour in ((-0.7, ACCENT), (0.7, INK)):
            self.scene.line(
                (x + shift, y - 2.0), (x + shift, y + 2.0), layer="key", pen=Pen(0.3, colour)
            )
        self._entry(words)

    def terminals(self, words: str) -> None:
        """Explain the four terminals of a unit."""
        x, y = self.left + 3.0, self.y
        self.scene.box(
            (x - 2.4, y - 1.9, x + 2.4, y + 1.9), layer="key", pen=Pen(0.18, INK), fill=WHITE
        )
        for up in (-0.9, 0.9):
            for side in (-1.3, 1.3):
                self.scene.add(
                    Disc(centre=(x + side, y + up), radius=0.5, layer="key", pen=Pen(0.13, INK))
                )
        self._entry(words)

    def gap(self, words: str) -> None:
        """Explain the gap across both cores of a schematic."""
        x, y = self.left + 3.0, self.y
        for shift, colour in ((-0.7, ACCENT), (0.7, INK)):
            for start, end in ((-2.0, -0.8), (0.8, 2.0)):
                self.scene.line(
                    (x + shift, y + start), (x + shift, y + end), layer="key", pen=Pen(0.3, colour)
                )
        for shift in (-0.75, 0.75):
            self.scene.line(
                (x - 1.5, y + shift), (x + 1.5, y + shift), layer="key", pen=Pen(0.18, INK)
            )
        self._entry(words)
