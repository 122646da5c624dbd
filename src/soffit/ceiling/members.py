"""Tees, main runners and joists as lines over a plan, and what a hole would meet."""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import ArrayLike

from soffit.ceiling.plane import FloatArray, Ring, local_xy, plan_xy
from soffit.ceiling.tiles import GridLines, ceiling_polygon
from soffit.errors import DomainError


def _parallel_lines(
    outline: Ring,
    *,
    holes: Sequence[Ring],
    region: Ring | None,
    origin: tuple[float, float],
    angle_rad: float,
    spacing_m: float,
) -> FloatArray:
    if not spacing_m > 0.0:
        msg = f"members {spacing_m} m apart cannot be"
        raise DomainError(msg, where="spacing_m", why="it must be positive", do="measure it")
    shape = ceiling_polygon(outline, holes=holes, region=region)
    local = local_xy(outline, origin=origin, angle_rad=angle_rad)
    first, last = np.ceil(local[:, 1].min() / spacing_m), np.floor(local[:, 1].max() / spacing_m)
    if last - first > 20_000:
        msg = f"members {spacing_m} m apart are too many"
        raise DomainError(msg, where="spacing_m", why="over 20 000 of them", do="check the unit")
    offsets = np.arange(first, last + 1.0) * spacing_m
    ends = np.empty((len(offsets), 2, 2))
    ends[:, 0, 0], ends[:, 1, 0] = local[:, 0].min() - 1.0, local[:, 0].max() + 1.0
    ends[:, :, 1] = offsets[:, None]
    plan = plan_xy(ends.reshape(-1, 2), origin=origin, angle_rad=angle_rad).reshape(-1, 2, 2)
    pieces = shapely.get_parts(shapely.intersection(shapely.linestrings(plan), shape))
    pieces = pieces[shapely.length(pieces) > 1e-6]
    return np.asarray(
        [shapely.get_coordinates(piece)[[0, -1]] for piece in pieces], dtype=np.float64
    ).reshape(-1, 2, 2)


def tee_lines(
    outline: Ring, *, grid: GridLines, holes: Sequence[Ring] = (), region: Ring | None = None
) -> tuple[FloatArray, FloatArray]:
    """Centre lines of all tees, cut to the ceiling.

    Parameters
    ----------
    outline, holes, region
        The room, what is cut out of it, and the part that the ceiling covers. [m]
    grid
        Lines of the grid.

    Returns
    -------
    (n, 2, 2), (m, 2, 2)
        Start and end of each piece along local x, and of each along local y. [m]
    """
    along_x = _parallel_lines(
        outline,
        holes=holes,
        region=region,
        origin=grid.origin,
        angle_rad=grid.angle_rad,
        spacing_m=grid.pitch_y_m,
    )
    along_y = _parallel_lines(
        outline,
        holes=holes,
        region=region,
        origin=grid.origin,
        angle_rad=grid.angle_rad + np.pi / 2.0,
        spacing_m=grid.pitch_x_m,
    )
    return along_x, along_y


def joist_lines(
    outline: Ring,
    *,
    offset: tuple[float, float],
    angle_rad: float,
    spacing_m: float,
    holes: Sequence[Ring] = (),
    region: Ring | None = None,
) -> FloatArray:
    """Centre lines of joists, or of main runners, cut to the ceiling.

    Parameters
    ----------
    outline, holes, region
        The room, what is cut out of it, and the part that the ceiling covers. [m]
    offset
        A point on the centre line of one of them. [m]
    angle_rad
        Direction in which they run. [rad]
    spacing_m
        Centre to centre. [m]

    Returns
    -------
    (n, 2, 2)
        Start and end of each piece. [m]
    """
    return _parallel_lines(
        outline,
        holes=holes,
        region=region,
        origin=offset,
        angle_rad=angle_rad,
        spacing_m=spacing_m,
    )


def joist_distance_m(
    points: ArrayLike,
    *,
    offset: tuple[float, float],
    angle_rad: float,
    spacing_m: float,
    width_m: float,
) -> FloatArray:
    """Distance from points to the nearest side of a joist; negative inside one.

    Parameters
    ----------
    points : (n, 2)
        Plan positions. [m]
    offset
        A point on the centre line of one joist. [m]
    angle_rad
        Direction in which they run. [rad]
    spacing_m, width_m
        Centre to centre, and width of one. [m]

    Returns
    -------
    (n,)
        Distances; a hole of that radius would just touch. [m]

    Raises
    ------
    DomainError
        If spacing or width cannot be.

    Examples
    --------
    >>> joist_distance_m([(0.0, 0.2)], offset=(0.0, 0.0), angle_rad=0.0, spacing_m=0.4,
    ...                  width_m=0.04).round(3).tolist()
    [0.18]
    """
    if not 0.0 <= width_m < spacing_m:
        msg = f"joists {width_m} m wide and {spacing_m} m apart cannot be"
        raise DomainError(
            msg, where="joists", why="the width must be less than the spacing", do="measure them"
        )
    across = local_xy(points, origin=offset, angle_rad=angle_rad)[:, 1]
    beside = np.abs(across - np.round(across / spacing_m) * spacing_m)
    return np.asarray(beside - width_m / 2.0)


def clear_between_joists_m(*, spacing_m: float, width_m: float) -> float:
    """Clear width between two joists.

    Parameters
    ----------
    spacing_m, width_m
        Centre to centre, and width of one. [m]

    Returns
    -------
    float
        Widest hole that meets neither. [m]
    """
    return spacing_m - width_m
