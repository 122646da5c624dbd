"""Coverage geometry of ceiling speakers: circles, spacings of the hand patterns, counts.

References
----------
Circle D = 2 (H - h) tan(α/2): read in certification study notes. Spacings: derived here from
circles on a square or a hexagonal lattice.
"""

from math import cos, sqrt, tan
from typing import Final, Literal

import numpy as np

from soffit.decibel import field_ratio_db, power_ratio
from soffit.errors import DomainError

Pattern = Literal[
    "square edge to edge",
    "square minimum overlap",
    "square full overlap",
    "hexagonal edge to edge",
    "hexagonal minimum overlap",
]

SPACING_RATIO: Final[dict[Pattern, float]] = {
    "square edge to edge": 1.0,
    "square minimum overlap": sqrt(0.5),
    "square full overlap": 0.5,
    "hexagonal edge to edge": 1.0,
    "hexagonal minimum overlap": sqrt(0.75),
}
"""Spacing over the diameter of the coverage circle."""


def coverage_diameter_m(*, throw_m: float, coverage_angle_rad: float) -> float:
    """Diameter of the circle that the coverage angle cuts out of the ear plane.

    Parameters
    ----------
    throw_m
        Ceiling height less ear height. [m]
    coverage_angle_rad
        Full -6 dB angle, less than π. [rad]

    Returns
    -------
    float
        D = 2 throw tan(α/2). [m]

    Raises
    ------
    DomainError
        If the ears are not below the ceiling or the angle reaches 180°.

    Examples
    --------
    >>> from math import radians
    >>> round(coverage_diameter_m(throw_m=1.5, coverage_angle_rad=radians(90)), 3)
    3.0
    """
    _check_throw(throw_m)
    if not 0.0 < coverage_angle_rad < np.pi - 1e-6:
        msg = f"a coverage angle of {np.degrees(coverage_angle_rad):.0f}°"
        raise DomainError(
            msg, where="coverage_angle_rad", why="its circle would be endless", do="use < 180°"
        )
    return 2.0 * throw_m * tan(coverage_angle_rad / 2.0)


def _check_throw(throw_m: float) -> None:
    if not throw_m > 0.0:
        msg = f"the ceiling is {throw_m:g} m above the ears"
        raise DomainError(
            msg, where="throw_m", why="ceiling height less ear height", do="check both heights"
        )


def spacing_m(*, pattern: Pattern, diameter_m: float) -> float:
    """Spacing of a hand pattern.

    Parameters
    ----------
    pattern
        Its name.
    diameter_m
        Coverage circle. [m]

    Returns
    -------
    float
        Centre to centre. [m]

    Examples
    --------
    >>> round(spacing_m(pattern="square minimum overlap", diameter_m=3.0), 3)
    2.121
    """
    return SPACING_RATIO[pattern] * diameter_m


def cell_area_m2(*, pattern: Pattern, spacing_m: float) -> float:
    """Floor area that one speaker of a pattern serves.

    Parameters
    ----------
    pattern
        Its name.
    spacing_m
        Centre to centre. [m]

    Returns
    -------
    float
        s² on a square, 0.866 s² on a hexagonal lattice. [m²]

    Examples
    --------
    >>> round(100 / cell_area_m2(pattern="square edge to edge", spacing_m=3.0), 1)
    11.1
    """
    return spacing_m**2 * (sqrt(0.75) if pattern.startswith("hex") else 1.0)


def edge_level_db(*, coverage_angle_rad: float, drop_db: float = 6.0) -> float:
    """Level on the ear plane at the edge of the coverage circle, re straight below.

    Parameters
    ----------
    coverage_angle_rad
        Full angle between the directions that are ``drop_db`` down. [rad]
    drop_db
        Drop that defines the angle. [dB]

    Returns
    -------
    float
        -drop + 20 lg cos(α/2): the edge is also farther away. [dB]

    Examples
    --------
    >>> from math import radians
    >>> round(edge_level_db(coverage_angle_rad=radians(90)), 2)
    -9.01
    """
    return -drop_db + float(field_ratio_db(cos(coverage_angle_rad / 2.0)))


def plane_coverage_angle_rad(*, exponent: float, drop_db: float = 6.0) -> float:
    """Full angle between the points of the ear plane that are ``drop_db`` down, for D² = cos^n.

    Parameters
    ----------
    exponent
        n.
    drop_db
        Drop on the plane. [dB]

    Returns
    -------
    float
        2 acos(10^(-drop / (10 (n + 2)))), distance included. [rad]

    Examples
    --------
    >>> from math import degrees
    >>> round(degrees(plane_coverage_angle_rad(exponent=3.99)))
    75
    """
    return 2.0 * float(np.arccos(power_ratio(-drop_db / (exponent + 2.0))))
