"""Clean polygons from the triangles and lines of plan files."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

import shapely
from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from soffit.model.survey import Ring

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_CLEAN_M = 0.004
_LEAST_M2 = 0.05


def clean_polygons(shapes: "Iterable[BaseGeometry]") -> list[Polygon]:
    """Join shapes and return simple polygons, largest first.

    Parameters
    ----------
    shapes
        Triangles or polygons that touch or overlap. [m]

    Returns
    -------
    list of Polygon
        Without slivers, spikes and points on straight walls; counter-clockwise.
    """
    joined = shapely.union_all(
        [
            shape.buffer(_CLEAN_M, join_style="mitre")
            for shape in shapes
            if not shape.is_empty and shape.is_valid
        ]
    ).buffer(-_CLEAN_M, join_style="mitre")
    parts = list(getattr(joined, "geoms", [joined]))
    found = []
    for part in parts:
        if not isinstance(part, Polygon) or part.area < _LEAST_M2:
            continue
        holes = [ring for ring in part.interiors if Polygon(ring).area >= _LEAST_M2]
        simple = Polygon(part.exterior, holes).simplify(_CLEAN_M)
        if simple.is_valid and not simple.is_empty and isinstance(simple, Polygon):
            found.append(orient(simple))
    return sorted(found, key=lambda polygon: -polygon.area)


def sound(polygon: Polygon, *, step_m: float = 1e-4) -> Polygon:
    """Return a polygon on a fine raster that is simple after rounding; its largest part.

    Parameters
    ----------
    polygon
        Any polygon. [m]
    step_m
        Step of the raster. [m]

    Returns
    -------
    Polygon
        Valid, counter-clockwise.
    """
    snapped = shapely.set_precision(polygon.buffer(0), step_m)
    parts = [part for part in getattr(snapped, "geoms", [snapped]) if isinstance(part, Polygon)]
    largest = max(parts, key=lambda part: part.area, default=polygon)
    holes = [ring for ring in largest.interiors if Polygon(ring).area >= _LEAST_M2]
    return orient(Polygon(largest.exterior, holes))


def ring_of(coordinates: "Iterable[tuple[float, ...]]") -> Ring:
    """Return a ring without its repeated first point, to a tenth of a millimetre.

    Parameters
    ----------
    coordinates
        Closed coordinates of a polygon. [m]

    Returns
    -------
    Ring
        Corners. [m]
    """
    points = [(round(float(x), 4), round(float(y), 4)) for x, y, *_ in coordinates]
    if len(points) > 1 and points[0] == points[-1]:
        points.pop()
    return tuple(points)


def without_holes(polygons: "Iterable[Polygon]") -> list[Polygon]:
    """Cut polygons with holes into ones without.

    Parameters
    ----------
    polygons
        Simple polygons. [m]

    Returns
    -------
    list of Polygon
        They cover the same ground.
    """
    from shapely.geometry import box

    found: list[Polygon] = []
    work = list(polygons)
    while work:
        polygon = work.pop()
        if not polygon.interiors:
            found.append(polygon)
            continue
        low_x, low_y, high_x, high_y = polygon.bounds
        cut = Polygon(polygon.interiors[0]).centroid.x
        for side in (box(low_x, low_y, cut, high_y), box(cut, low_y, high_x, high_y)):
            part = polygon.intersection(side)
            work += [
                piece
                for piece in getattr(part, "geoms", [part])
                if isinstance(piece, Polygon) and piece.area >= _LEAST_M2
            ]
    return sorted((orient(polygon) for polygon in found), key=lambda polygon: -polygon.area)
