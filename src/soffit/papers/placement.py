"""Place lettering so that no two words touch: candidates around each anchor, leaders when far."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.papers.scene import Box, Point

Floats = NDArray[np.float64]

_DIRECTIONS: Final = np.array(
    [(1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1)], dtype=float
)
_PREFERENCE: Final = np.array([0.0, 0.6, 0.3, 0.4, 0.2, 0.5, 0.35, 0.65])
_RINGS_MM: Final = (0.0, 2.5, 5.0, 8.0, 12.0, 17.0, 23.0, 30.0, 40.0, 55.0, 75.0)
_LINE_COST: Final = 3.0
_SOFT_COST: Final = 1.0
_FAR_COST: Final = 2.0
_ANCHOR_COST: Final = 0.4
_PASSES: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A word block that wants a place near its anchor."""

    anchor: Point
    radius: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """The place found: its box, and whether it needs a leader line."""

    box: Box
    has_leader: bool


@dataclass(slots=True)
class Field:
    """What lettering must keep clear of (boxes) and had better avoid (lines, soft boxes)."""

    sheet: Box
    boxes: list[Box] = field(default_factory=list)
    soft: list[Box] = field(default_factory=list)
    lines: list[tuple[Point, Point]] = field(default_factory=list)
    gap: float = 0.5

    def hits(self, box: Box) -> int:
        """Return how many things a box would touch or be crossed by; a box in the way counts most.

        Parameters
        ----------
        box
            Left, top, right, bottom.
        """
        one = np.array([box], dtype=float)
        lines = np.array([(*a, *b) for a, b in self.lines], dtype=float).reshape(-1, 4)
        hard = np.array(self.boxes, dtype=float).reshape(-1, 4)
        return int(100 * _hits(one, hard, self.gap)[0] + _crossings(one, lines)[0])


def _candidates(wanted: Wanted, ring: float) -> Floats:
    reach = wanted.radius + 0.6 + ring
    offset = _DIRECTIONS * reach
    diagonal = np.abs(_DIRECTIONS).sum(axis=1) > 1
    offset[diagonal] *= 0.75
    centre = np.array(wanted.anchor) + offset
    centre += _DIRECTIONS * np.array([wanted.width, wanted.height]) / 2.0
    half = np.array([wanted.width, wanted.height]) / 2.0
    return np.hstack([centre - half, centre + half])


def _hits(boxes: Floats, others: Floats, gap: float) -> NDArray[np.int64]:
    """Count for every box how many others it touches."""
    if not len(others):
        return np.zeros(len(boxes), dtype=np.int64)
    touch = (
        (boxes[:, None, 0] < others[None, :, 2] + gap)
        & (others[None, :, 0] < boxes[:, None, 2] + gap)
        & (boxes[:, None, 1] < others[None, :, 3] + gap)
        & (others[None, :, 1] < boxes[:, None, 3] + gap)
    )
    return np.asarray(touch.sum(axis=1), dtype=np.int64)


def _crossings(boxes: Floats, lines: Floats) -> NDArray[np.int64]:
    """Count for every box how many line pieces pass through it (slab clipping)."""
    if not len(lines):
        return np.zeros(len(boxes), dtype=np.int64)
    start, delta = lines[:, :2], lines[:, 2:] - lines[:, :2]
    enter = np.zeros((len(boxes), len(lines)))
    leave = np.ones((len(boxes), len(lines)))
    for axis in (0, 1):
        step = np.where(np.abs(delta[:, axis]) < 1e-9, 1e-9, delta[:, axis])
        first = (boxes[:, None, axis] - start[None, :, axis]) / step
        second = (boxes[:, None, axis + 2] - start[None, :, axis]) / step
        enter = np.maximum(enter, np.minimum(first, second))
        leave = np.minimum(leave, np.maximum(first, second))
    return np.asarray((enter < leave).sum(axis=1), dtype=np.int64)


def _outside(boxes: Floats, sheet: Box) -> NDArray[np.bool_]:
    return (
        (boxes[:, 0] < sheet[0])
        | (boxes[:, 1] < sheet[1])
        | (boxes[:, 2] > sheet[2])
        | (boxes[:, 3] > sheet[3])
    )


class _Placer:
    def __init__(self, room: Field, count: int) -> None:
        self.room = room
        self.hard = np.array(room.boxes, dtype=float).reshape(-1, 4)
        self.soft = np.array(room.soft, dtype=float).reshape(-1, 4)
        self.lines = np.array([(*a, *b) for a, b in room.lines], dtype=float).reshape(-1, 4)
        self.placed = np.full((count, 4), np.nan)

    def best(self, index: int, wanted: Wanted, *, reach: int) -> tuple[float, Floats, int] | None:
        others = np.delete(self.placed, index, axis=0)
        others = others[~np.isnan(others[:, 0])]
        found: tuple[float, Floats, int] | None = None
        for number, ring in enumerate(_RINGS_MM[:reach]):
            if found is not None and found[0] <= _FAR_COST * number:
                break
            boxes = _candidates(wanted, ring)
            free = (
                (_hits(boxes, self.hard, self.room.gap) == 0)
                & (_hits(boxes, others, self.room.gap) == 0)
                & ~_outside(boxes, self.room.sheet)
            )
            if not free.any():
                continue
            cost = (
                _PREFERENCE
                + _FAR_COST * number
                + _LINE_COST * _crossings(boxes, self.lines)
                + _SOFT_COST * _hits(boxes, self.soft, 0.0)
            )
            cost[~free] = np.inf
            pick = int(np.argmin(cost))
            if found is None or cost[pick] < found[0]:
                found = (float(cost[pick]), boxes[pick], number)
        return found


def place_all(wanted: Sequence[Wanted], room: Field) -> tuple[Place | None, ...]:
    """Find a place for every word block.

    Parameters
    ----------
    wanted
        The blocks.
    room
        What is in the way.

    Returns
    -------
    tuple
        A place each, none touching another or a hard box; ``None`` where the sheet is full.
    """
    placer = _Placer(room, len(wanted))
    rings: list[int] = [0] * len(wanted)
    for turn in range(_PASSES):
        moved = False
        for index, item in enumerate(wanted):
            found = placer.best(index, item, reach=len(_RINGS_MM))
            box = np.full(4, np.nan) if found is None else found[1]
            rings[index] = 0 if found is None else found[2]
            if not np.array_equal(box, placer.placed[index], equal_nan=True):
                moved = True
            placer.placed[index] = box
        if turn and not moved:
            break
    return tuple(
        None
        if np.isnan(box[0])
        else Place(
            box=(float(box[0]), float(box[1]), float(box[2]), float(box[3])), has_leader=ring > 0
        )
        for box, ring in zip(placer.placed, rings, strict=True)
    )


def place_near(
    wanted: Sequence[Wanted], room: Field, *, anchor_cost: float = _ANCHOR_COST
) -> Place | None:
    """Find the best place of one word block that may stand at any of several anchors.

    Parameters
    ----------
    wanted
        The same block at each anchor, the dearest first.
    room
        What is in the way.
    anchor_cost
        What each later anchor costs more than the one before it.
    """
    found: tuple[float, Floats, int] | None = None
    placer = _Placer(room, 1)
    for turn, item in enumerate(wanted):
        here = placer.best(0, item, reach=len(_RINGS_MM))
        if here is not None and (found is None or here[0] + anchor_cost * turn < found[0]):
            found = (here[0] + anchor_cost * turn, here[1], here[2])
    if found is None:
        return None
    left, top, right, bottom = (float(value) for value in found[1])
    return Place(box=(left, top, right, bottom), has_leader=found[2] > 0)
