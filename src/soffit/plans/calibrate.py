"""From places in a picture or on a page to places on the plan, by known points."""

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.errors import DomainError
from soffit.units import INCH_M, parse

FloatArray = NDArray[np.float64]
Corner = tuple[float, float, float, float]

POINT_M: Final = INCH_M / 72.0
"""Length of a typographic point on paper. [m]"""

_RATIO: Final = re.compile(r"1\s*[:/]\s*(\d{1,4})(?!\d|\s*['\"])")
_INCHES: Final = re.compile(
    r"(\d+(?:\s*\d*/\d+)?|\d+/\d+)\s*(?:\"|″|''|in\.?)\s*=\s*"
    r"(\d+)\s*(?:'|′|ft\.?|-)\s*-?\s*(\d+)?\s*(?:\"|″|'')?"
)
_USUAL: Final = frozenset(
    (10, 20, 24, 25, 32, 48, 50, 64, 75, 96, 100, 125, 128, 150, 192, 200, 250, 500, 1000)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Similar:
    """A similarity: scale, turn and shift. [rad]."""

    scale: float
    turn_rad: float
    shift: tuple[float, float]

    def __call__(self, points: FloatArray) -> FloatArray:
        """Return points (n, 2) on the plan."""
        cos, sin = math.cos(self.turn_rad), math.sin(self.turn_rad)
        turned = points @ np.array([[cos, sin], [-sin, cos]])
        return np.asarray(self.scale * turned + np.array(self.shift))


def similar_by(corners: Sequence[Corner]) -> Similar:
    """Return the similarity that fits two or more known points best.

    Parameters
    ----------
    corners : (n, 4)
        Place in the file, place on the plan.

    Returns
    -------
    Similar
        By least squares.

    Raises
    ------
    DomainError
        If there are fewer than two points, or two in one place.
    """
    known = np.array(corners, dtype=np.float64).reshape(-1, 4)
    here = known[:, 0] + 1j * known[:, 1]
    there = known[:, 2] + 1j * known[:, 3]
    spread = here - here.mean() if len(here) else here
    if (
        len(known) < 2
        or float(np.abs(spread).max()) < 1e-9
        or np.ptp(np.abs(there - there[0])) == 0
    ):
        msg = "two known points in different places are needed"
        raise DomainError(
            msg,
            where="--corner",
            why=f"{len(known)} point(s) are given, or they coincide",
            do="give two corners far apart as X,Y=X,Y: place in the file = place in metres",
        )
    factor = np.vdot(spread, there - there.mean()) / np.vdot(spread, spread)
    shift = there.mean() - factor * here.mean()
    return Similar(
        scale=float(abs(factor)),
        turn_rad=float(np.angle(factor)),
        shift=(float(shift.real), float(shift.imag)),
    )


def homography_by(corners: Sequence[Corner]) -> FloatArray:
    """Return the projective map that fits four or more known points.

    Parameters
    ----------
    corners : (n, 4)
        Place in the picture, place on the plan; at least four, no three in line.

    Returns
    -------
    (3, 3)
        Maps homogeneous places of the picture to the plan.

    Raises
    ------
    DomainError
        If the points do not fix a map.

    Notes
    -----
    Direct linear transformation on normalised points: two equations a point, the right singular
    vector of the least singular value. Derived in docs/theory/plans.md.
    """
    known = np.array(corners, dtype=np.float64).reshape(-1, 4)
    here, from_here = _normal(known[:, :2])
    there, from_there = _normal(known[:, 2:])
    rows = []
    for (x, y), (u, v) in zip(here, there, strict=True):
        rows.append([-x, -y, -1, 0, 0, 0, u * x, u * y, u])
        rows.append([0, 0, 0, -x, -y, -1, v * x, v * y, v])
    matrix = np.array(rows) if rows else np.zeros((1, 9))
    _, sizes, right = np.linalg.svd(matrix)
    if len(known) < 4 or sizes[7] < 1e-4 * sizes[0]:
        msg = "four corners, no three of them in one line, are needed"
        raise DomainError(
            msg,
            where="--corner",
            why=f"{len(known)} point(s) are given, or three lie in one line",
            do="give the four corners of something that is a rectangle in the building",
        )
    found = np.linalg.inv(from_there) @ right[8].reshape(3, 3) @ from_here
    return np.asarray(found / found[2, 2])


def _normal(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return points moved to their middle and scaled to unit size, and the map that does it."""
    if not len(points):
        return points, np.eye(3)
    middle = points.mean(axis=0)
    size = max(float(np.abs(points - middle).mean()), 1e-12)
    matrix = np.array(
        [[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]]
    )
    return (points - middle) / size, matrix


def project(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Return points (n, 2) under a projective map.

    Parameters
    ----------
    matrix : (3, 3)
        The map.
    points : (n, 2)
        Places.
    """
    lifted = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(lifted[:, :2] / lifted[:, 2:])


def scale_notes(texts: Sequence[str]) -> list[tuple[float, int]]:
    """Return the scales that texts name and how often, the most frequent first.

    Parameters
    ----------
    texts
        Texts of a page.

    Examples
    --------
    >>> scale_notes(["Scale 1:100", "1/4\\" = 1'-0\\""])
    [(100.0, 1), (48.0, 1)]
    """
    counts: Counter[float] = Counter()
    for text in texts:
        for found in _RATIO.finditer(text):
            value = float(found.group(1))
            if value in _USUAL:
                counts[value] += 1
        for found in _INCHES.finditer(text):
            paper = parse(f'{found.group(1)}"', "length")
            real = float(found.group(2)) * 12 * INCH_M + float(found.group(3) or 0) * INCH_M
            if paper > 0:
                counts[round(real / paper, 3)] += 1
    return counts.most_common()
