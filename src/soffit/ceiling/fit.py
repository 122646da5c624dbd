"""Does a unit go into its hole, under what is above it, and past what is beside it."""

import numpy as np
from numpy.typing import ArrayLike

from soffit.ceiling.plane import FloatArray
from soffit.errors import DomainError


def void_need_m(
    *,
    depth_m: float,
    box_depth_m: float,
    bend_radius_m: float,
    margin_m: float,
    extra_ratio: float,
) -> float:
    """Void that a unit needs over the ceiling face.

    Parameters
    ----------
    depth_m, box_depth_m
        Unit and its back box above the ceiling face; the deeper counts. [m]
    bend_radius_m
        Least bend of the cable that leaves it. [m]
    margin_m
        To spare over depth and bend. [m]
    extra_ratio
        Least to spare as a share of the depth.

    Returns
    -------
    float
        Depth of void. [m]

    References
    ----------
    Common practice, no source: 50 mm over depth and bend radius, or a third over the unit's depth,
    whichever is more.

    Examples
    --------
    >>> round(void_need_m(depth_m=0.16, box_depth_m=0.0, bend_radius_m=0.04, margin_m=0.05,
    ...                   extra_ratio=1 / 3), 3)
    0.25
    """
    depth = max(depth_m, box_depth_m)
    return max(depth + bend_radius_m + margin_m, depth * (1.0 + extra_ratio))


def void_at_m(
    point: tuple[float, float],
    *,
    void_depth_m: float | None,
    reach_m: float,
    survey_m: ArrayLike = (),
) -> float | None:
    """Void over a place, from the ceiling's own figure and from points that somebody measured.

    Parameters
    ----------
    point
        Plan position. [m]
    void_depth_m
        Figure for the whole ceiling; ``None`` if unknown. [m]
    reach_m
        How far around a measured point its figure is trusted. [m]
    survey_m : (n, 3)
        Measured points: x, y and depth. [m]

    Returns
    -------
    float or None
        The least of the measured depths within reach; else the ceiling's own figure; else the
        nearest measured one; ``None`` if nothing is known. [m]

    Notes
    -----
    The least, because an obstacle beside the measured point may reach over the unit. Derived here.
    """
    measured = np.asarray(survey_m, dtype=np.float64).reshape(-1, 3)
    if not len(measured):
        return void_depth_m
    away = np.hypot(measured[:, 0] - point[0], measured[:, 1] - point[1])
    near = away <= reach_m
    if near.any():
        return float(measured[near, 2].min())
    return void_depth_m if void_depth_m is not None else float(measured[int(away.argmin()), 2])


def sprinkler_clearance_m(
    largest_dimension_m: ArrayLike, *, factor: float = 3.0, cap_m: float = 0.6
) -> FloatArray:
    """Clear distance between a sprinkler and a thing that hangs below the ceiling near it.

    Parameters
    ----------
    largest_dimension_m : (n,)
        Largest dimension of the thing. [m]
    factor
        3 for standard spray, 4 for extended coverage and residential.
    cap_m
        Distance that is enough in any case: 0.6 m (24 in), 0.9 m (36 in) with a factor of 4. [m]

    Returns
    -------
    (n,)
        Distance from the near edge. [m]

    References
    ----------
    NFPA 13, obstructions to spray pattern, as retold by trade articles (cap and 4 x from memory).

    Examples
    --------
    >>> sprinkler_clearance_m([0.15, 0.3]).tolist()
    [0.44999999999999996, 0.6]
    """
    size = np.asarray(largest_dimension_m, dtype=np.float64)
    if not (np.all(size >= 0.0) and factor > 0.0 and cap_m > 0.0):
        msg = "sizes must be zero or more, factor and cap greater than zero"
        raise DomainError(msg, where="largest_dimension_m", why="a distance", do="check them")
    return np.asarray(np.minimum(size * factor, cap_m))


def hole_area_m2(diameter_m: float) -> float:
    """Area of a round hole.

    Parameters
    ----------
    diameter_m
        Its diameter. [m]

    Returns
    -------
    float
        Area. [m²]
    """
    return float(np.pi) * diameter_m**2 / 4.0


def hole_diameter_m(area_m2: float) -> float:
    """Diameter of a round hole of given area.

    Parameters
    ----------
    area_m2
        Its area. [m²]

    Returns
    -------
    float
        Diameter. [m]
    """
    return float(np.sqrt(4.0 * area_m2 / np.pi))


def flange_overlap_m(*, cutout_diameter_m: float, flange_diameter_m: float) -> float:
    """Width of trim that covers the edge of the hole.

    Parameters
    ----------
    cutout_diameter_m, flange_diameter_m
        Hole, and trim outside. [m]

    Returns
    -------
    float
        Overlap on each side; negative if the hole shows. [m]
    """
    return (flange_diameter_m - cutout_diameter_m) / 2.0
