"""Cables that run over each other, drawn side by side; a cable alone keeps its place."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from soffit.papers.scene import Point

LANE_MM: Final = 0.8
"""Between two cables side by side. [mm]"""

_NEAR_MM: Final = 0.7
_SHARE_MM: Final = 0.6
_LEAN: Final = 0.06


@dataclass(slots=True, kw_only=True)
class _Piece:
    """A straight piece of one cable: along x or y at ``across``, or slanted (empty axis)."""

    cable: int
    order: tuple[str, int]
    axis: str
    across: float
    low: float
    high: float
    start: Point
    end: Point
    shift: float = 0.0

    def touches(self, other: "_Piece") -> bool:
        """Return whether two pieces would lie over each other."""
        return (
            self.axis == other.axis
            and abs(self.across - other.across) < _NEAR_MM
            and min(self.high, other.high) - max(self.low, other.low) > _SHARE_MM
        )


def side_by_side(
    cables: Sequence[Sequence[Point]], names: Sequence[str], *, lane_mm: float = LANE_MM
) -> list[tuple[Point, ...]]:
    """Move cables that share a way beside each other.

    Parameters
    ----------
    cables
        Their polylines on paper. [mm]
    names
        The line of each; cables of one line stay neighbours.
    lane_mm
        Between two of them. [mm]

    Returns
    -------
    list
        A polyline each. A piece that nothing else runs over stays where it was; pieces that lean
        less than a hair are straightened.
    """
    pieces = [
        _pieces(index, points, name)
        for index, (points, name) in enumerate(zip(cables, names, strict=True))
    ]
    flat = [piece for row in pieces for piece in row if piece.axis]
    for group in _groups(flat):
        _spread(group, lane_mm)
    return [_joined(row) if row else tuple(cables[index]) for index, row in enumerate(pieces)]


def _pieces(cable: int, points: Sequence[Point], name: str) -> list[_Piece]:
    out: list[_Piece] = []
    for start, end in itertools.pairwise(points):
        dx, dy = end[0] - start[0], end[1] - start[1]
        if math.hypot(dx, dy) < 1e-6:
            continue
        if abs(dy) <= max(_LEAN * abs(dx), 1e-6):
            axis, across, ends = "x", (start[1] + end[1]) / 2, (start[0], end[0])
        elif abs(dx) <= _LEAN * abs(dy):
            axis, across, ends = "y", (start[0] + end[0]) / 2, (start[1], end[1])
        else:
            axis, across, ends = "", 0.0, (0.0, 0.0)
        out.append(
            _Piece(
                cable=cable,
                order=(name, cable),
                axis=axis,
                across=across,
                low=min(ends),
                high=max(ends),
                start=start,
                end=end,
            )
        )
    return out


def _groups(pieces: Sequence[_Piece]) -> list[list[_Piece]]:
    """Return sets of pieces of which each lies over another of the same set."""
    left = sorted(pieces, key=lambda piece: (piece.axis, piece.across, piece.low, piece.order))
    groups: list[list[_Piece]] = []
    while left:
        group, waiting = [], [left.pop(0)]
        while waiting:
            piece = waiting.pop()
            group.append(piece)
            touching = [other for other in left if piece.touches(other)]
            left = [other for other in left if not piece.touches(other)]
            waiting += touching
        groups.append(group)
    return groups


def _spread(group: list[_Piece], lane_mm: float) -> None:
    """Give every piece of a group the first lane that is free along it."""
    if len(group) == 1:
        return
    lanes: list[list[_Piece]] = []
    for piece in sorted(group, key=lambda item: (item.order, item.low)):
        for lane in lanes:
            if not any(piece.touches(other) for other in lane):
                lane.append(piece)
                break
        else:
            lanes.append([piece])
    for number, lane in enumerate(lanes):
        for piece in lane:
            piece.shift = (number - (len(lanes) - 1) / 2) * lane_mm


def _joined(pieces: Sequence[_Piece]) -> tuple[Point, ...]:
    """Put the moved pieces of one cable together again."""
    points = [_moved(pieces[0], pieces[0].start)]
    for before, after in itertools.pairwise(pieces):
        if before.axis and after.axis and before.axis != after.axis:
            along_x, along_y = (before, after) if before.axis == "x" else (after, before)
            points.append((along_y.across + along_y.shift, along_x.across + along_x.shift))
        else:
            points += [_moved(before, before.end), _moved(after, after.start)]
    points.append(_moved(pieces[-1], pieces[-1].end))
    return tuple(
        point for index, point in enumerate(points) if not index or point != points[index - 1]
    )


def _moved(piece: _Piece, point: Point) -> Point:
    if piece.axis == "x":
        return point[0], piece.across + piece.shift
    if piece.axis == "y":
        return piece.across + piece.shift, point[1]
    return point
