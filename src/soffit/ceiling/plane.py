"""Plan polygons as arrays: local axes, rays to walls, and the height of a sloped ceiling."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import acos, hypot

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.errors import DomainError

FloatArray = NDArray[np.float64]
Ring = Sequence[tuple[float, float]]


def local_xy(points: ArrayLike, *, origin: tuple[float, float], angle_rad: float) -> FloatArray:
    """Turn plan coordinates into coordinates along and across a grid.

    Parameters
    ----------
    points : (n, 2)
        Plan positions. [m]
    origin
        Plan position of the local zero. [m]
    angle_rad
        Direction of the local x axis from the plan's x axis. [rad]

    Returns
    -------
    (n, 2)
        Local positions. [m]

    Examples
    --------
    >>> local_xy([(1.0, 2.0)], origin=(1.0, 1.0), angle_rad=np.pi / 2).round(6).tolist()
    [[1.0, 0.0]]
    """
    shifted = np.atleast_2d(np.asarray(points, dtype=np.float64)) - np.asarray(origin)
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    return np.asarray(shifted @ np.array([[cosine, -sine], [sine, cosine]]))


def plan_xy(points: ArrayLike, *, origin: tuple[float, float], angle_rad: float) -> FloatArray:
    """Turn coordinates along and across a grid into plan coordinates.

    Parameters
    ----------
    points : (n, 2)
        Local positions. [m]
    origin
        Plan position of the local zero. [m]
    angle_rad
        Direction of the local x axis from the plan's x axis. [rad]

    Returns
    -------
    (n, 2)
        Plan positions. [m]
    """
    turned = np.atleast_2d(np.asarray(points, dtype=np.float64))
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    return np.asarray(turned @ np.array([[cosine, sine], [-sine, cosine]]) + np.asarray(origin))


def height_at_m(
    points: ArrayLike,
    *,
    height_m: float,
    slope_ratio: float,
    slope_angle_rad: float,
    slope_at: tuple[float, float],
) -> FloatArray:
    """Height of a sloped plane ceiling over plan positions.

    Parameters
    ----------
    points : (n, 2)
        Plan positions. [m]
    height_m
        Height at ``slope_at``. [m]
    slope_ratio
        Rise per metre of plan.
    slope_angle_rad
        Direction in which it rises, from the plan's x axis. [rad]
    slope_at
        Where ``height_m`` was measured. [m]

    Returns
    -------
    (n,)
        Heights. [m]

    Notes
    -----
    A plane: h = h0 + s (x cos a + y sin a), x and y from ``slope_at``. Derived here.
    """
    shifted = np.atleast_2d(np.asarray(points, dtype=np.float64)) - np.asarray(slope_at)
    along = shifted @ np.array([np.cos(slope_angle_rad), np.sin(slope_angle_rad)])
    return np.asarray(height_m + slope_ratio * along)


def down_vector(*, slope_ratio: float, slope_angle_rad: float) -> tuple[float, float, float]:
    """Direction in which a unit flush in a sloped ceiling looks, as a unit vector.

    Parameters
    ----------
    slope_ratio
        Rise per metre of plan.
    slope_angle_rad
        Direction in which it rises. [rad]

    Returns
    -------
    tuple
        x, y, z of the downward normal of the plane.

    Examples
    --------
    >>> down_vector(slope_ratio=0.0, slope_angle_rad=0.0)
    (0.0, 0.0, -1.0)
    """
    normal = np.array(
        [slope_ratio * np.cos(slope_angle_rad), slope_ratio * np.sin(slope_angle_rad), -1.0]
    )
    unit = normal / np.linalg.norm(normal)
    return float(unit[0]), float(unit[1]), float(unit[2])


@dataclass(frozen=True, slots=True, kw_only=True)
class WallHit:
    """Where a ray first meets a wall.

    Parameters
    ----------
    ring
        0 for the outline, 1, 2, ... for the holes.
    edge
        Edge of that ring, from corner ``edge`` to the next.
    distance_m
        From the start of the ray. [m]
    obliquity_rad
        Angle between the ray and the wall's normal. [rad]
    """

    ring: int
    edge: int
    distance_m: float
    obliquity_rad: float


def first_wall(
    point: tuple[float, float], *, direction: tuple[float, float], rings: Sequence[Ring]
) -> WallHit | None:
    """Find the first wall that a ray meets.

    Parameters
    ----------
    point
        Start of the ray. [m]
    direction
        Its direction; need not be a unit vector.
    rings
        Outline first, then the holes. [m]

    Returns
    -------
    WallHit or None
        ``None`` if the ray leaves without meeting any wall.

    Raises
    ------
    DomainError
        If the direction has no length.
    """
    length = hypot(*direction)
    if length == 0.0:
        msg = "a ray needs a direction"
        raise DomainError(msg, where="direction", why="its length is 0", do="give a direction")
    along_x, along_y = direction[0] / length, direction[1] / length
    best: WallHit | None = None
    # plain numbers: a room has few edges, and arrays of four cost more than they save
    for number, ring in enumerate(rings):
        for edge, (start, end) in enumerate(zip(ring, (*ring[1:], ring[0]), strict=True)):
            edge_x, edge_y = end[0] - start[0], end[1] - start[1]
            offset_x, offset_y = start[0] - point[0], start[1] - point[1]
            cross = along_x * edge_y - along_y * edge_x
            if abs(cross) <= 1e-12:
                continue
            distance = (offset_x * edge_y - offset_y * edge_x) / cross
            share = (offset_x * along_y - offset_y * along_x) / cross
            is_hit = distance > 1e-9 and -1e-9 <= share <= 1.0 + 1e-9
            if is_hit and (best is None or distance < best.distance_m - 1e-9):
                sine = min(abs(cross) / hypot(edge_x, edge_y), 1.0)
                best = WallHit(
                    ring=number, edge=edge, distance_m=distance, obliquity_rad=acos(sine)
                )
    return best
