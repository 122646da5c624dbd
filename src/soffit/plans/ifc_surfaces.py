"""Flat parts of meshes: floors of spaces, undersides of ceilings and slabs, tops of spaces."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from shapely.geometry import Polygon

from soffit.plans.ifc_model import Mesh
from soffit.plans.shape import clean_polygons

if TYPE_CHECKING:
    from collections.abc import Iterable

    from shapely.geometry.base import BaseGeometry

_SAME_M: Final = 0.02
_SAME_SLOPE: Final = 0.01
_LEVEL_SLOPE: Final = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """A flat part in plan, with the level z = a x + b y + c over it.

    Parameters
    ----------
    outline
        Where it is. [m]
    level : (3,)
        a, b and c.
    """

    outline: Polygon
    level: tuple[float, float, float]

    @property
    def slope_ratio(self) -> float:
        """Rise per metre; 0 for what is level."""
        slope = math.hypot(self.level[0], self.level[1])
        return slope if slope > _LEVEL_SLOPE else 0.0

    @property
    def slope_angle_rad(self) -> float:
        """Direction of rise. [rad]."""
        return math.atan2(self.level[1], self.level[0]) if self.slope_ratio else 0.0

    def level_at(self, x: float, y: float) -> float:
        """Return the level at a place. [m].

        Parameters
        ----------
        x, y
            The place.
        """
        return self.level[0] * x + self.level[1] * y + self.level[2]

    @property
    def middle_m(self) -> float:
        """Level over the middle. [m]."""
        point = self.outline.centroid
        return self.level_at(point.x, point.y)


def _parts(mesh: Mesh, least_cosine: float) -> list[Plane]:
    """Return all flat parts that are not upright, joined by plane, whichever way they look."""
    one, two, three = (mesh.corners[mesh.faces[:, place]] for place in range(3))
    normal = np.cross(two - one, three - one)
    size = np.linalg.norm(normal, axis=1)
    chosen = np.nonzero((size > 1e-9) & (np.abs(normal[:, 2]) > least_cosine * size))[0]
    slots: dict[tuple[int, int, int], list[int]] = {}
    level: dict[int, tuple[float, float, float]] = {}
    for index in (int(item) for item in chosen):
        nx, ny, nz = normal[index]
        a, b = -nx / nz, -ny / nz
        corner = mesh.corners[mesh.faces[index, 0]]
        level[index] = (float(a), float(b), float(corner[2] - a * corner[0] - b * corner[1]))
        key = (round(a / _SAME_SLOPE), round(b / _SAME_SLOPE), round(_key_level(mesh, index, a, b)))
        slots.setdefault(key, []).append(index)
    found = []
    for members in slots.values():
        heaviest = max(members, key=lambda item: size[item])
        shapes = [Polygon(triangle) for triangle in mesh.corners[mesh.faces[members]][:, :, :2]]
        found += [
            Plane(outline=part, level=level[heaviest]) for part in clean_polygons(list(shapes))
        ]
    return found


def _key_level(mesh: Mesh, index: int, a: float, b: float) -> float:
    """Return where a triangle's plane stands under the middle of its body, in steps."""
    middle = (mesh.corners.min(axis=0) + mesh.corners.max(axis=0)) / 2.0
    corner = mesh.corners[mesh.faces[index, 0]]
    level = corner[2] + a * (middle[0] - corner[0]) + b * (middle[1] - corner[1])
    return float(level / _SAME_M)


def flat_parts(mesh: Mesh, *, up: bool, least_cosine: float = 0.3) -> list[Plane]:
    """Return what is seen of a body from straight above or below, by plane.

    Parameters
    ----------
    mesh
        The body; its faces may look either way, as those of many exports do.
    up
        Seen from above; else from below.
    least_cosine
        Cosine of the steepest slope that still counts.

    Returns
    -------
    list of Plane
        Parts of at least a twentieth of a square metre.
    """
    sign = -1.0 if up else 1.0
    parts = sorted(_parts(mesh, least_cosine), key=lambda part: sign * part.middle_m)
    seen: list[Plane] = []
    taken: BaseGeometry = Polygon()
    for part in parts:
        seen += [
            Plane(outline=piece, level=part.level)
            for piece in clean_polygons([part.outline.difference(taken)])
        ]
        taken = taken.union(part.outline)
    return seen


def footprint(mesh: Mesh) -> tuple[list[Polygon], float, bool]:
    """Return the plan of a space: what its flat floors cover, or all that looks down.

    Parameters
    ----------
    mesh
        Body of the space.

    Returns
    -------
    tuple
        Polygons, largest first; level of the floor; whether the floor is one level.
    """
    floors = flat_parts(mesh, up=False)
    level = [part for part in floors if not part.slope_ratio and part.middle_m < _half(mesh)]
    whole = clean_polygons([part.outline for part in floors])
    area = sum(part.area for part in whole)
    flat = clean_polygons([part.outline for part in level])
    if level and sum(part.area for part in flat) >= 0.9 * area:
        largest = max(level, key=lambda part: part.outline.area)
        levels = {round(part.middle_m, 2) for part in level if part.outline.area > 0.05 * area}
        return flat, largest.middle_m, len(levels) == 1
    lowest = min(floors, key=lambda part: part.middle_m, default=None)
    return whole, lowest.middle_m if lowest else mesh.low, False


def _half(mesh: Mesh) -> float:
    return (mesh.low + mesh.high) / 2.0


def hull_of(meshes: "Iterable[Mesh]") -> Polygon | None:
    """Return the smallest simple shape in plan round some bodies.

    Parameters
    ----------
    meshes
        Bodies.

    Returns
    -------
    Polygon or None
        Rectangle where that fits, else the convex hull; ``None`` for nothing.
    """
    from shapely.geometry import MultiPoint

    points = [mesh.corners[:, :2] for mesh in meshes]
    if not points:
        return None
    hull = MultiPoint(np.vstack(points)).convex_hull
    if not isinstance(hull, Polygon):
        hull = hull.buffer(0.01)
    box = hull.minimum_rotated_rectangle
    if isinstance(box, Polygon) and hull.area > 0.97 * box.area:
        return box
    simple = hull.simplify(0.01)
    return simple if isinstance(simple, Polygon) else None
