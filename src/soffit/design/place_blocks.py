"""Divide a ceiling of square corners into rectangles: one lattice per arm of an L or T."""

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.design.place_ceiling import Span2

FloatArray = NDArray[np.float64]

Box = tuple[float, float, float, float]

_MOST_BOXES: Final = 4
_LEAST_SHARE: Final = 0.04
"""Smaller boxes than this share of the whole are niches, not rooms."""


def rectangles(part: Span2) -> list[tuple[Box, ...]]:
    """Return the ways to cut a ceiling with inner corners into a few rectangles.

    Parameters
    ----------
    part
        Its walls in the frame of its sites.

    Returns
    -------
    list of tuple
        Boxes as least and greatest local x, then y; empty for convex rooms, rooms with slanting
        walls, and rooms that need more than four boxes.
    """
    from soffit.design.tiles import to_local  # noqa: PLC0415 keeps the module free of a cycle

    ring = part.field.walls.outer_m
    x, y = to_local(ring, origin=part.sites.origin, angle_rad=part.sites.angle_rad)
    corners = np.stack([x, y], axis=1)
    edges = np.roll(corners, -1, axis=0) - corners
    length = np.hypot(edges[:, 0], edges[:, 1])
    corners, edges = corners[length > 1e-6], edges[length > 1e-6]
    slant = np.minimum(np.abs(edges[:, 0]), np.abs(edges[:, 1]))
    if len(corners) <= 4 or np.any(slant > 0.02 * np.hypot(edges[:, 0], edges[:, 1])):
        return []
    found = {cut for first in ("x", "y") if 2 <= len(cut := _slabs(corners, first)) <= _MOST_BOXES}
    return sorted(found)


def _slabs(corners: FloatArray, first: str) -> tuple[Box, ...]:
    """Cut along all wall lines of one direction, then join what has the same cross-section."""
    import shapely  # noqa: PLC0415 keeps `soffit line` free of shapely

    polygon = shapely.Polygon(corners).buffer(0)
    axis = 0 if first == "x" else 1
    lines = np.unique(np.round(corners[:, axis], 3))
    x0, y0, x1, y1 = polygon.bounds
    boxes: list[Box] = []
    for low, high in pairwise(lines.tolist()):
        slab = (
            shapely.box(low, y0 - 1, high, y1 + 1)
            if axis == 0
            else shapely.box(x0 - 1, low, x1 + 1, high)
        )
        pieces = polygon.intersection(slab)
        for piece in getattr(pieces, "geoms", [pieces]):
            if piece.geom_type == "Polygon" and piece.area > _LEAST_SHARE * polygon.area:
                a, b, c, d = piece.bounds
                boxes.append((a, c, b, d))
    return tuple(sorted(_merged(boxes, axis)))


def _merged(boxes: list[Box], axis: int) -> list[Box]:
    """Join neighbours along the cut that have the same extent across it."""
    out: list[Box] = []
    for box in boxes:
        for index, other in enumerate(out):
            same = (
                abs(other[2] - box[2]) < 0.05 and abs(other[3] - box[3]) < 0.05
                if axis == 0
                else abs(other[0] - box[0]) < 0.05 and abs(other[1] - box[1]) < 0.05
            )
            touches = abs(other[1] - box[0]) < 0.05 if axis == 0 else abs(other[3] - box[2]) < 0.05
            if same and touches:
                out[index] = (
                    (other[0], box[1], other[2], other[3])
                    if axis == 0
                    else (other[0], other[1], other[2], box[3])
                )
                break
        else:
            out.append(box)
    return out
