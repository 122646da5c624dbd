"""From the plan in metres to millimetres on paper, turned where that draws larger."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from soffit.papers.scene import Box, Point
from soffit.papers.sheet import choose_scale

_WORTH_TURNING: Final = 1.5
"""A plan is turned only where it then draws at least so much larger: north up reads easier."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Projection:
    """Where plan points fall on paper.

    Parameters
    ----------
    scale
        Denominator.
    origin_m
        Plan point that falls on ``at``. [m]
    at
        On paper.
    turned
        Whether the plan's x axis points up the sheet.
    """

    scale: float
    origin_m: Point
    at: Point
    turned: bool = False

    def __call__(self, point: Point) -> Point:
        """Return a plan point on paper."""
        factor = 1e3 / self.scale
        dx, dy = (point[0] - self.origin_m[0]) * factor, (point[1] - self.origin_m[1]) * factor
        if self.turned:
            dx, dy = -dy, dx
        return self.at[0] + dx, self.at[1] - dy

    def ring(self, points: Iterable[Point]) -> tuple[Point, ...]:
        """Return many plan points on paper.

        Parameters
        ----------
        points
            On the plan.
        """
        return tuple(self(point) for point in points)

    def vector(self, angle_rad: float) -> Point:
        """Return a plan direction on paper.

        Parameters
        ----------
        angle_rad
            From the plan's x axis. [rad]
        """
        x, y = math.cos(angle_rad), math.sin(angle_rad)
        return (-y, -x) if self.turned else (x, -y)

    def mm(self, length_m: float) -> float:
        """Return a length on paper.

        Parameters
        ----------
        length_m
            Length on the plan. [m]
        """
        return length_m * 1e3 / self.scale

    def metres(self, length_mm: float) -> float:
        """Return a length on paper in metres on the plan.

        Parameters
        ----------
        length_mm
            Length on paper. [mm]
        """
        return length_mm * self.scale / 1e3


def bounds(points: Iterable[Point]) -> Box:
    """Return the least and greatest x and y of points.

    Parameters
    ----------
    points
        At least one.
    """
    known = list(points)
    xs, ys = [p[0] for p in known], [p[1] for p in known]
    return min(xs), min(ys), max(xs), max(ys)


def fit_plan(
    points: Iterable[Point], area: Box, *, imperial: bool, scale: float | None = None
) -> Projection:
    """Put a plan into the middle of an area at the largest usual scale.

    Parameters
    ----------
    points
        Everything that must be inside. [m]
    area
        Left, top, right, bottom on paper.
    imperial
        Scales in inches to the foot.
    scale
        Denominator to use instead, unturned and for insets without a stated scale.
    """
    left, low, right, high = bounds(points)
    size = (max(right - left, 1e-3), max(high - low, 1e-3))
    room = (area[2] - area[0], area[3] - area[1])
    turned = False
    if scale is None:
        upright = choose_scale(size, room, imperial=imperial)
        sideways = choose_scale((size[1], size[0]), room, imperial=imperial)
        turned = sideways * _WORTH_TURNING <= upright
        scale = float(sideways if turned else upright)
    return Projection(
        scale=scale,
        origin_m=((left + right) / 2, (low + high) / 2),
        at=((area[0] + area[2]) / 2, (area[1] + area[3]) / 2),
        turned=turned,
    )


def fill_plan(points: Iterable[Point], area: Box, *, turned: bool = False) -> Projection:
    """Put a plan into an area as large as it goes, for insets without a stated scale.

    Parameters
    ----------
    points
        Everything that must be inside. [m]
    area
        Left, top, right, bottom on paper.
    turned
        Turn it as the main drawing is.
    """
    left, low, right, high = bounds(points)
    wide, tall = right - left, high - low
    if turned:
        wide, tall = tall, wide
    need = max(wide * 1e3 / (area[2] - area[0]), tall * 1e3 / (area[3] - area[1]), 1e-3)
    return Projection(
        scale=need,
        origin_m=((left + right) / 2, (low + high) / 2),
        at=((area[0] + area[2]) / 2, (area[1] + area[3]) / 2),
        turned=turned,
    )
