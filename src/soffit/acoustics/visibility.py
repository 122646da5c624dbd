"""Who sees whom inside a room with columns and corners, in plan.

A point is hidden when the straight line to it crosses a wall. Lines that only touch a wall or a
corner see past it; a line that enters a column exactly at its corner is stopped.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.acoustics.bands import BoolArray, FloatArray
from soffit.errors import DomainError

_TOUCH = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """Walls of a room in plan: an outer ring and holes (columns, cores).

    Parameters
    ----------
    outer_m : (n, 2)
        Corners of the room, counter-clockwise, not closed. [m]
    holes_m : tuple of (n, 2)
        Corners of each hole, clockwise, not closed. [m]
    walls_m : (n_walls, 2, 2)
        All walls: from, to, the room on the left. [m]
    wall_before : (n_walls,)
        Index of the wall that ends where a wall begins.
    is_convex
        Whether every point sees every other.
    """

    outer_m: FloatArray
    holes_m: tuple[FloatArray, ...]
    walls_m: FloatArray
    wall_before: NDArray[np.intp]
    is_convex: bool


def _signed_area(ring: FloatArray) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _ring(corners: ArrayLike, name: str, *, clockwise: bool) -> FloatArray:
    ring = np.asarray(corners, dtype=np.float64).reshape(-1, 2)
    if len(ring) > 1 and np.allclose(ring[0], ring[-1]):
        ring = ring[:-1]
    if len(ring) < 3 or not np.all(np.isfinite(ring)) or abs(_signed_area(ring)) < 1e-6:
        msg = f"{name} with {len(ring)} corners encloses nothing"
        raise DomainError(
            msg, where=name, why="three corners or more are wanted", do="check the outline"
        )
    return ring if (_signed_area(ring) < 0) == clockwise else np.asarray(ring[::-1].copy())


def _turns(ring: FloatArray) -> FloatArray:
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    return np.asarray(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])


def outline(outer_m: ArrayLike, holes_m: Sequence[ArrayLike] = ()) -> Outline:
    """Return the walls of a room.

    Parameters
    ----------
    outer_m : (n, 2)
        Corners, in either sense. [m]
    holes_m : sequence of (n, 2)
        Corners of columns and cores. [m]

    Returns
    -------
    Outline
        Rings in order, with all walls.

    Raises
    ------
    DomainError
        If a ring has fewer than three corners or no area.

    Examples
    --------
    >>> outline([(0, 0), (4, 0), (4, 3), (0, 3)]).is_convex
    True
    """
    outer = _ring(outer_m, "outer_m", clockwise=False)
    holes = tuple(_ring(hole, "holes_m", clockwise=True) for hole in holes_m)
    rings = (outer, *holes)
    before: list[int] = []
    for ring in rings:
        first = len(before)
        before += [first + (place - 1) % len(ring) for place in range(len(ring))]
    return Outline(
        outer_m=outer,
        holes_m=holes,
        walls_m=np.concatenate(
            [np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in rings]
        ),
        wall_before=np.array(before, dtype=np.intp),
        is_convex=not holes and not np.any(_turns(outer) < -1e-12),
    )


def is_inside(room: Outline, point_m: ArrayLike) -> BoolArray:
    """Whether points lie in the room and in none of its holes (walls count as either).

    Parameters
    ----------
    room
        Walls.
    point_m : (..., 2)
        Points. [m]

    Returns
    -------
    (...)
        True inside.

    Examples
    --------
    >>> is_inside(outline([(0, 0), (4, 0), (4, 3), (0, 3)]), [(1, 1), (5, 1)]).tolist()
    [True, False]
    """
    point = np.asarray(point_m, dtype=np.float64)
    x, y = point[..., 0], point[..., 1]
    inside = np.zeros(x.shape, dtype=bool)
    for ring in (room.outer_m, *room.holes_m):
        for (x0, y0), (x1, y1) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            if y0 == y1:
                continue
            crosses = (y0 > y) != (y1 > y)
            inside ^= crosses & (x < (x1 - x0) * (y - y0) / (y1 - y0) + x0)
    return inside


def wall_distance_m(room: Outline, point_m: ArrayLike) -> FloatArray:
    """Distance of points from the nearest wall or column.

    Parameters
    ----------
    room
        Walls.
    point_m : (..., 2)
        Points. [m]

    Returns
    -------
    (...)
        Distance. [m]
    """
    point = np.asarray(point_m, dtype=np.float64)
    nearest = np.full(point.shape[:-1], np.inf)
    for ring in (room.outer_m, *room.holes_m):
        for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            along = end - start
            share = np.clip((point - start) @ along / float(along @ along), 0.0, 1.0)
            foot = start + share[..., None] * along
            nearest = np.minimum(nearest, np.linalg.norm(point - foot, axis=-1))
    return nearest


def hidden_by_walls(room: Outline, eye_m: ArrayLike, x_m: FloatArray, y_m: FloatArray) -> BoolArray:
    """Which points one eye cannot see; ``x_m`` and ``y_m`` broadcast, so a grid stays separable.

    Parameters
    ----------
    room
        Walls.
    eye_m : (2,)
        Where the eye or the speaker is. [m]
    x_m : (...)
        First coordinates, for a grid (1, n_x). [m]
    y_m : (...)
        Second coordinates, for a grid (n_y, 1). [m]

    Returns
    -------
    (...)
        True where a wall is in the way.

    Notes
    -----
    Derived here: a line leaves the room through a wall a-b that shows its inner side to the eye s,
    so only these walls are asked. Such a wall hides p when p lies in the wedge s-a, s-b and beyond
    a-b: three signs of cross products, linear in p. A corner belongs to the wall that begins there
    if both its walls face the eye (a line to it ends in the solid), and to none if only one does
    (a line past it goes on).
    """
    ex, ey = np.asarray(eye_m, dtype=np.float64)
    hidden = np.zeros(np.broadcast_shapes(x_m.shape, y_m.shape), dtype=bool)
    if room.is_convex:
        return hidden
    px, py = x_m - ex, y_m - ey
    walls = room.walls_m - np.array([ex, ey])
    start, end = walls[:, 0], walls[:, 1]
    length = np.hypot(*(end - start).T)
    faces = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0] > _TOUCH * length
    reach = np.hypot(*start.T), np.hypot(*end.T)
    for wall in np.flatnonzero(faces):
        (ax, ay), (bx, by) = start[wall], end[wall]
        edge = -_TOUCH if faces[room.wall_before[wall]] else _TOUCH
        behind = ax * py - ay * px > edge * reach[0][wall]
        behind &= px * by - py * bx > _TOUCH * reach[1][wall]
        behind &= (bx - ax) * (py - ay) - (by - ay) * (px - ax) < -_TOUCH * length[wall]
        hidden |= behind
    return hidden


def is_visible(room: Outline, eye_m: ArrayLike, point_m: ArrayLike) -> BoolArray:
    """Which points see which eyes.

    Parameters
    ----------
    room
        Walls.
    eye_m : (n_eyes, 2)
        Speakers in plan. [m]
    point_m : (n_points, 2)
        Ears in plan. [m]

    Returns
    -------
    (n_points, n_eyes)
        True where nothing is in the way.

    Examples
    --------
    >>> room = outline([(0, 0), (6, 0), (6, 2), (2, 2), (2, 6), (0, 6)])
    >>> is_visible(room, [(5, 1)], [(1, 1), (1, 5)]).tolist()
    [[True], [False]]
    """
    eyes = np.asarray(eye_m, dtype=np.float64).reshape(-1, 2)
    points = np.asarray(point_m, dtype=np.float64).reshape(-1, 2)
    seen = np.ones((len(points), len(eyes)), dtype=bool)
    if room.is_convex:
        return seen
    for column, eye in enumerate(eyes):
        seen[:, column] = ~hidden_by_walls(room, eye, points[:, 0], points[:, 1])
    return seen
