"""A drawing in millimetres on paper, y downwards: lines, discs, lettering, pictures, layers."""

import math
from dataclasses import dataclass, field
from typing import Final, Literal

from soffit.errors import DomainError
from soffit.papers import fonts

Point = tuple[float, float]
Box = tuple[float, float, float, float]
Anchor = Literal["start", "middle", "end"]

INK: Final = "#1d2329"
SOFT: Final = "#5b646d"
FAINT: Final = "#b3bac0"
PALE: Final = "#eceef0"
ACCENT: Final = "#b5371c"
TINT: Final = "#f8e6df"
WHITE: Final = "#ffffff"


@dataclass(frozen=True, slots=True)
class Pen:
    """How a line is drawn: width in millimetres, colour, dashes in millimetres."""

    width: float = 0.18
    colour: str = INK
    dash: tuple[float, ...] = ()


HAIR: Final = Pen(0.09, FAINT)
FINE: Final = Pen(0.13, SOFT)
THIN: Final = Pen(0.18, INK)
FIRM: Final = Pen(0.35, INK)
HEAVY: Final = Pen(0.7, INK)


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """A polyline, a polygon, or a polygon with holes."""

    rings: tuple[tuple[Point, ...], ...]
    layer: str
    pen: Pen | None = THIN
    fill: str | None = None
    closed: bool = False
    clip: tuple[tuple[Point, ...], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A circle, filled or not."""

    centre: Point
    radius: float
    layer: str
    pen: Pen | None = THIN
    fill: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One line of lettering: ``at`` on its baseline, ``cap`` high, a white ground where asked."""

    at: Point
    text: str
    layer: str
    cap: float = 1.9
    weight: fonts.Weight = "regular"
    anchor: Anchor = "start"
    colour: str = INK
    angle_deg: float = 0.0
    halo: bool = False

    @property
    def box(self) -> Box:
        """Box that the word covers: left, top, right, bottom."""
        width = fonts.width_mm(self.text, cap_mm=self.cap, weight=self.weight)
        left = {"start": 0.0, "middle": -width / 2.0, "end": -width}[self.anchor]
        below = 0.25 * self.cap if any(c in "gjpqy(),;Q/[]|" for c in self.text) else 0.0
        corners = (
            (left, -self.cap),
            (left + width, -self.cap),
            (left, below),
            (left + width, below),
        )
        turn = math.radians(self.angle_deg)
        cos, sin = math.cos(turn), math.sin(turn)
        xs = [self.at[0] + x * cos - y * sin for x, y in corners]
        ys = [self.at[1] + x * sin + y * cos for x, y in corners]
        return min(xs), min(ys), max(xs), max(ys)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A small PNG stretched over a box and clipped to rings."""

    png: bytes
    box: Box
    layer: str
    clip: tuple[tuple[Point, ...], ...] = ()


Item = Path | Disc | Text | Picture


@dataclass(slots=True)
class Scene:
    """A sheet or a part of one; items are drawn in the order in which they come."""

    width: float
    height: float
    title: str = ""
    items: list[Item] = field(default_factory=list)

    def add(self, *items: Item) -> None:
        """Put items on top; lettering under the least height raises ``DomainError``.

        Parameters
        ----------
        *items
            What to draw.
        """
        for item in items:
            if isinstance(item, Text) and item.cap < fonts.MIN_CAP_MM:
                msg = f"lettering of {item.cap} mm: {item.text!r}"
                raise DomainError(
                    msg,
                    where="papers.scene",
                    why=f"nobody on a ladder reads less than {fonts.MIN_CAP_MM} mm",
                    do="draw it larger, or leave it to the schedule",
                )
        self.items.extend(items)

    def line(self, *points: Point, layer: str, pen: Pen = THIN) -> None:
        """Draw a polyline.

        Parameters
        ----------
        *points
            Its corners.
        layer
            Name of its layer.
        pen
            How to draw it.
        """
        self.add(Path(rings=(points,), layer=layer, pen=pen))

    def box(self, box: Box, *, layer: str, pen: Pen | None = THIN, fill: str | None = None) -> None:
        """Draw a rectangle.

        Parameters
        ----------
        box
            Left, top, right, bottom.
        layer
            Name of its layer.
        pen, fill
            How to draw it.
        """
        left, top, right, bottom = box
        ring = ((left, top), (right, top), (right, bottom), (left, bottom))
        self.add(Path(rings=(ring,), layer=layer, pen=pen, fill=fill, closed=True))

    def texts(self) -> tuple[Text, ...]:
        """Return all lettering, for checks."""
        return tuple(item for item in self.items if isinstance(item, Text))


def overlap(first: Box, second: Box, *, slack: float = 0.0) -> bool:
    """Return whether two boxes share more than their edges.

    Parameters
    ----------
    first, second
        Boxes: left, top, right, bottom.
    slack
        Distance that must stay free between them. [mm]
    """
    return (
        first[0] < second[2] + slack
        and second[0] < first[2] + slack
        and first[1] < second[3] + slack
        and second[1] < first[3] + slack
    )


def grown(box: Box, by: float) -> Box:
    """Return a box grown on all sides.

    Parameters
    ----------
    box
        Left, top, right, bottom.
    by
        How far. [mm]
    """
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by
