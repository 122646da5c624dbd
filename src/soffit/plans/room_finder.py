"""Rooms from sloppy linework: gaps are bridged and grown shut, step by step, until names part.

The free ground between walls falls into pieces. A piece with one name is a room; one with several
is looked at again with larger gaps closed. What no step parts is proposed as an open area.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import LineString, MultiLineString, Polygon, box
from shapely.geometry import Point as PlanPoint

from soffit.model.survey import Point
from soffit.plans.labels import RoomLabel

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

FloatArray = NDArray[np.float64]

STEPS: Final[tuple[tuple[float, float], ...]] = (
    (0.6, 0.05),
    (1.05, 0.05),
    (1.55, 0.06),
    (1.55, 0.2),
    (1.85, 0.35),
    (1.85, 0.55),
    (1.85, 0.8),
)
"""Longest gap in a line that is bridged, and half the gap that is grown shut. [m]"""

_JAMB_M: Final = 0.6
_TOUCH_M: Final = 0.045
_ASIDE_M: Final = 0.05
_COS: Final = math.cos(math.radians(4.0))
_THIN_M: Final = 0.22
_SLIT_M: Final = 0.05
_LEAST_M2: Final = 0.3
_LEAST_NAMELESS_M2: Final = 1.5
_SIMPLE_M: Final = 0.012
_WALL_M: Final = 0.06
_MOST_NAMELESS: Final = 400
_PRINTED: Final = 0.05
_ON_GROUND: Final = 0.93
_MOST_OPEN: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundRoom:
    """One room or open area.

    Parameters
    ----------
    shape
        Its polygon. [m]
    labels
        Names in it; one for a room.
    gap_m
        Widest gap that had to be closed to part it from others. [m]
    open_ratio
        Share of its outline along which no wall is drawn.
    """

    shape: Polygon
    labels: tuple[RoomLabel, ...]
    gap_m: float
    open_ratio: float


@dataclass(slots=True)
class _State:
    walls: FloatArray
    frame: Polygon
    rooms: list[FoundRoom] = field(default_factory=list)
    nameless: list[FoundRoom] = field(default_factory=list)
    areas: list[FoundRoom] = field(default_factory=list)
    stranded: list[tuple[Polygon, RoomLabel]] = field(default_factory=list)


def find_rooms(
    walls: FloatArray, labels: Sequence[RoomLabel], *, nameless: bool = True
) -> tuple[list[FoundRoom], list[FoundRoom], list[FoundRoom]]:
    """Find rooms between lines.

    Parameters
    ----------
    walls : (n, 2, 2)
        Segments that bound rooms: faces of walls, windows, closed doors. [m]
    labels
        Names of rooms with their places.
    nameless
        Also return closed pieces without a name.

    Returns
    -------
    tuple
        Rooms with one name; closed pieces without a name; open areas with several names.
    """
    if not len(walls):
        return [], [], []
    walls = _tidy(walls)
    low, high = walls.min(axis=(0, 1)) - 2.0, walls.max(axis=(0, 1)) + 2.0
    frame = box(low[0], low[1], high[0], high[1])
    state = _State(walls, frame)
    bridges = _bridges(state.walls, STEPS[-1][0])
    open_pieces: list[tuple[Polygon, tuple[RoomLabel, ...]]] = [(frame, tuple(labels))]
    for reach, half in STEPS:
        lines = _with_bridges(state.walls, bridges, reach)
        rest = []
        for piece, names in open_pieces:
            rest += _part(state, lines, piece, names, (reach, half))
        open_pieces = rest
        if not open_pieces:
            break
    for piece, names in [*open_pieces, *((piece, (one,)) for piece, one in state.stranded)]:
        if _touches(piece, frame):
            continue
        shape = _regrown(piece, STEPS[-1][1])
        if shape is not None:
            state.areas.append(_found(state, shape, names, STEPS[-1][0]))
    return state.rooms, state.nameless if nameless else [], state.areas


def _tidy(walls: FloatArray) -> FloatArray:
    keep = np.isfinite(walls).all(axis=(1, 2))
    walls = walls[keep]
    length = np.linalg.norm(walls[:, 1] - walls[:, 0], axis=1)
    walls = walls[length > 1e-4]
    return np.unique(np.round(walls, 4), axis=0)


def _line_shapes(lines: FloatArray) -> list[LineString]:
    return [LineString(line) for line in lines]


def _with_bridges(walls: FloatArray, bridges: FloatArray, reach: float) -> FloatArray:
    if not len(bridges):
        return walls
    length = np.linalg.norm(bridges[:, 1] - bridges[:, 0], axis=1)
    return np.concatenate([walls, bridges[length <= reach]])


def _bridges(walls: FloatArray, reach: float) -> FloatArray:
    """Return segments that close gaps between lines that go on in one another's direction."""
    tree = STRtree(_line_shapes(walls))
    ends = np.concatenate([walls[:, 0], walls[:, 1]])
    away = np.concatenate([walls[:, 0] - walls[:, 1], walls[:, 1] - walls[:, 0]])
    length = np.linalg.norm(away, axis=1)
    away = away / length[:, None]
    count = len(walls)
    free = np.array([_is_end(tree, walls, index, ends, away) for index in range(2 * count)])
    chosen = np.nonzero(free)[0]
    if not len(chosen):
        return np.empty((0, 2, 2))
    points = [PlanPoint(end) for end in ends[chosen]]
    near = STRtree(points)
    found: list[list[list[float]]] = []
    one, two = near.query(points, predicate="dwithin", distance=reach)
    for a, b in zip(chosen[one], chosen[two], strict=True):
        if a >= b or a % count == b % count:
            continue
        step = ends[b] - ends[a]
        size = float(np.hypot(*step))
        if size < 1e-6:
            continue
        ahead = float(step @ away[a])
        back = float(-step @ away[b])
        side = abs(float(step[0] * away[a][1] - step[1] * away[a][0]))
        if ahead > 0 and back > 0 and float(-away[a] @ away[b]) > _COS and side < _ASIDE_M:
            found.append([ends[a].tolist(), ends[b].tolist()])
    if not found:
        return np.empty((0, 2, 2))
    return _uncrossed(tree, np.array(found))


def _uncrossed(tree: STRtree, bridges: FloatArray) -> FloatArray:
    """Drop bridges that run over other walls."""
    shorter = bridges.copy()
    step = bridges[:, 1] - bridges[:, 0]
    length = np.linalg.norm(step, axis=1, keepdims=True)
    cut = np.minimum(2 * _TOUCH_M, 0.3 * length) / length
    shorter[:, 0] += step * cut
    shorter[:, 1] -= step * cut
    hit, _ = tree.query(shapely.linestrings(shorter), predicate="intersects")
    keep = np.ones(len(bridges), dtype=bool)
    keep[hit] = False
    return bridges[keep]


def _is_end(
    tree: STRtree, walls: FloatArray, index: int, ends: FloatArray, away: FloatArray
) -> bool:
    """Tell whether a line ends here: nothing goes on, or only a short jamb across."""
    count = len(walls)
    at = PlanPoint(ends[index])
    for other in tree.query(at, predicate="dwithin", distance=_TOUCH_M):
        if other == index % count:
            continue
        step = walls[other, 1] - walls[other, 0]
        size = float(np.hypot(*step))
        along = abs(float(step @ away[index])) / size
        if along > _COS:
            # a line in the same direction: does it go on beyond this end?
            beyond = max(float((walls[other, k] - ends[index]) @ away[index]) for k in (0, 1))
            if beyond > _TOUCH_M:
                return False
        elif size > _JAMB_M:
            return False
    return True


def _part(
    state: _State,
    lines: FloatArray,
    piece: Polygon,
    names: tuple[RoomLabel, ...],
    step: tuple[float, float],
) -> list[tuple[Polygon, tuple[RoomLabel, ...]]]:
    """Split one piece of free ground; return what still holds several names or the outside."""
    reach, half = step
    inside = lines[_within(lines, piece)]
    if not len(inside):
        return []
    grown = shapely.union_all(shapely.buffer(shapely.linestrings(inside), half, cap_style="square"))
    free = piece.difference(grown)
    rest = []
    points = shapely.points([label.at for label in names]) if names else np.array([])
    homes: set[RoomLabel] = set()
    for part in getattr(free, "geoms", [free]):
        if not isinstance(part, Polygon) or part.is_empty:
            continue
        inside_it = shapely.dwithin(part, points, half + 0.02) if names else ()
        held = tuple(label for label, is_in in zip(names, inside_it, strict=True) if is_in)
        homes |= set(held)
        if not _touches(part, state.frame):
            rest += _sorted_in(state, part, held, reach, half)
        elif held:
            rest.append((part, held))
    state.stranded += [(piece, label) for label in names if label not in homes]
    return rest


def _within(lines: FloatArray, piece: Polygon) -> NDArray[np.bool_]:
    low_x, low_y, high_x, high_y = piece.bounds
    low_x, low_y, high_x, high_y = low_x - 1.0, low_y - 1.0, high_x + 1.0, high_y + 1.0
    low, high = lines.min(axis=1), lines.max(axis=1)
    near: NDArray[np.bool_] = (
        (low[:, 0] <= high_x)
        & (low[:, 1] <= high_y)
        & (high[:, 0] >= low_x)
        & (high[:, 1] >= low_y)
    )
    return near


def _touches(part: Polygon, frame: Polygon) -> bool:
    low, high = part.bounds[:2], part.bounds[2:]
    f_low, f_high = frame.bounds[:2], frame.bounds[2:]
    return any(a - b < 0.01 for a, b in zip(low, f_low, strict=True)) or any(
        b - a < 0.01 for a, b in zip(high, f_high, strict=True)
    )


def _sorted_in(
    state: _State, part: Polygon, held: tuple[RoomLabel, ...], reach: float, half: float
) -> list[tuple[Polygon, tuple[RoomLabel, ...]]]:
    if len(held) > 1:
        return [(part, held)]
    shape = _regrown(part, half, held[0].at if held else None)
    if shape is None:
        return []
    if held:
        state.rooms.append(_found(state, shape, held, max(reach, 2 * half)))
    elif (
        half <= STEPS[2][1]
        and shape.area >= _LEAST_NAMELESS_M2
        and not shape.buffer(-2 * _THIN_M).is_empty
        and len(state.nameless) < _MOST_NAMELESS
    ):
        state.nameless.append(_found(state, shape, (), max(reach, 2 * half)))
    return []


def _regrown(part: Polygon, half: float, at: Point | None = None) -> Polygon | None:
    """Grow a piece back to the faces of its walls, without what leaked into the walls.

    The piece is first shrunk until the hollow of a wall is gone; only then does it grow, since
    growing from both sides of a line would join them.
    """
    shrink = max(_THIN_M / 2 - half, 0.0)
    core = part.buffer(-shrink, join_style="mitre") if shrink else part
    pieces = [
        p for p in getattr(core, "geoms", [core]) if isinstance(p, Polygon) and not p.is_empty
    ]
    if not pieces:
        return None
    best = max(pieces, key=lambda item: item.area)
    if at is not None and best.distance(PlanPoint(at)) > half + shrink + 0.02:
        best = min(pieces, key=lambda item: item.distance(PlanPoint(at)))
    grown = best.buffer(half + shrink + _SLIT_M, join_style="mitre", mitre_limit=3.0).buffer(
        -_SLIT_M, join_style="mitre", mitre_limit=3.0
    )
    parts = [p for p in getattr(grown, "geoms", [grown]) if isinstance(p, Polygon)]
    if not parts:
        return None
    largest = max(parts, key=lambda item: item.area)
    holes = [ring for ring in largest.interiors if Polygon(ring).area > 0.04]
    simple = Polygon(largest.exterior, holes).simplify(_SIMPLE_M)
    if not isinstance(simple, Polygon) or not simple.is_valid or simple.area < _LEAST_M2:
        return None
    return simple


def _found(state: _State, shape: Polygon, labels: tuple[RoomLabel, ...], gap_m: float) -> FoundRoom:
    return FoundRoom(
        shape=shape, labels=labels, gap_m=gap_m, open_ratio=open_ratio(state.walls, shape)
    )


def open_ratio(walls: FloatArray, shape: Polygon) -> float:
    """Return the share of an outline along which no wall is drawn.

    Parameters
    ----------
    walls : (n, 2, 2)
        Segments. [m]
    shape
        Polygon. [m]
    """
    near = walls[_within(walls, shape)]
    if not len(near):
        return 1.0
    lines = MultiLineString([LineString(line) for line in near]).buffer(_WALL_M, quad_segs=2)
    edge = shape.exterior
    return float(edge.difference(lines).length / edge.length)


def rectangle_of(
    walls: FloatArray, label: RoomLabel, ground: Polygon, *, slack_m: float = 0.25
) -> FoundRoom | None:
    """Fit the rectangle of a printed size round its name, its sides on drawn lines.

    Parameters
    ----------
    walls : (n, 2, 2)
        Segments. [m]
    label
        Name with a printed size.
    ground
        Open area in which it lies. [m]
    slack_m
        How far a printed size may be from the drawn one. [m]

    Returns
    -------
    FoundRoom or None
        The rectangle with most wall along its sides; ``None`` if none has enough.
    """
    if label.size_m is None:
        return None
    xs, ys = _face_lines(walls, ground)
    upright, level = _axis_lines(walls, ground)
    best: tuple[float, Polygon] | None = None
    for wide, deep in sorted({label.size_m, label.size_m[::-1]}):
        for left, right in _spans(xs, label.at[0], wide, slack_m):
            for low, high in _spans(ys, label.at[1], deep, slack_m):
                shape = box(left, low, right, high)
                error = abs(shape.area - wide * deep) / (wide * deep)
                if error > _PRINTED:
                    continue
                closed = (
                    _covered(upright, left, low, high)
                    + _covered(upright, right, low, high)
                    + _covered(level, low, left, right)
                    + _covered(level, high, left, right)
                )
                score = closed / shape.length - 2.0 * error
                if best is not None and score <= best[0] + 1e-9:
                    continue
                if shape.intersection(ground).area > _ON_GROUND * shape.area:
                    best = (score, shape)
    if best is None:
        return None
    shape = best[1]
    ratio = open_ratio(walls, shape)
    if ratio > _MOST_OPEN:
        return None
    return FoundRoom(shape=shape, labels=(label,), gap_m=math.inf, open_ratio=ratio)


def _face_lines(walls: FloatArray, ground: Polygon) -> tuple[list[float], list[float]]:
    upright, level = _axis_lines(walls, ground)
    xs = sorted({round(float(x), 2) for x in upright[:, 0]})
    ys = sorted({round(float(y), 2) for y in level[:, 0]})
    return xs, ys


def _axis_lines(walls: FloatArray, ground: Polygon) -> tuple[FloatArray, FloatArray]:
    """Return upright and level lines near some ground: place across, lower and upper end."""
    near = walls[_within(walls, ground)]
    step = np.abs(near[:, 1] - near[:, 0])
    found = []
    for across, along in ((0, 1), (1, 0)):
        kept = near[(step[:, across] < 0.02) & (step[:, along] > 0.15)]
        ends = np.sort(kept[:, :, along], axis=1)
        found.append(np.column_stack([kept[:, :, across].mean(axis=1), ends]))
    return found[0], found[1]


def _covered(lines: FloatArray, place: float, low: float, high: float) -> float:
    """Return how much of a side is drawn. [m]."""
    near = lines[np.abs(lines[:, 0] - place) < _WALL_M]
    done, total = low, 0.0
    for start, end in sorted((float(a), float(b)) for _, a, b in near):
        begin, stop = max(start, done), min(end, high)
        if stop > begin:
            total += stop - begin
            done = stop
    return total


def _spans(
    values: list[float], middle: float, size: float, slack_m: float
) -> list[tuple[float, float]]:
    """Return spans of about ``size`` round the name with a line at one end, or at both."""
    slack = min(slack_m, 0.05 * size + 0.02)
    both = [
        (a, b) for i, a in enumerate(values) for b in values[i + 1 :] if abs(b - a - size) <= slack
    ]
    tied = {end for span in both for end in span}
    single = [(a, a + size) for a in values if a not in tied]
    single += [(b - size, b) for b in values if b not in tied]
    return [
        (low, high)
        for low, high in (*both, *single)
        if low + 0.1 * size < middle < high - 0.1 * size
    ]


def without_overlap(rooms: Sequence[FoundRoom]) -> list[FoundRoom]:
    """Drop rooms that lie on ground that a surer one has.

    Parameters
    ----------
    rooms
        The surest first.

    Returns
    -------
    list of FoundRoom
        Those that are left, cut where they overlap a little.
    """
    kept: list[FoundRoom] = []
    for room in rooms:
        shape: BaseGeometry = room.shape
        for other in kept:
            if shape.intersects(other.shape):
                shape = shape.difference(other.shape)
        parts = [p for p in getattr(shape, "geoms", [shape]) if isinstance(p, Polygon)]
        largest = max(parts, key=lambda item: item.area, default=None)
        if largest is None or largest.area < 0.8 * room.shape.area:
            continue
        clean = largest.simplify(_SIMPLE_M)
        if isinstance(clean, Polygon) and clean.is_valid:
            kept.append(replace(room, shape=clean))
    return kept


def middle_of(ring: Sequence[Point]) -> Point:
    """Return the mean of points. [m].

    Parameters
    ----------
    ring
        Points. [m]
    """
    return sum(x for x, _ in ring) / len(ring), sum(y for _, y in ring) / len(ring)
