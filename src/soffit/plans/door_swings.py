"""Doors drawn with their swing, and the lines that close them."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import LineString, Point

FloatArray = NDArray[np.float64]
Swing = tuple[FloatArray, FloatArray, FloatArray]
"""Hinge and both ends of the arc. [m]"""

_JAMB_M: Final = 0.3
_LEAVES_M: Final = 0.12


def closed_doors(swings: Sequence[Swing], walls: FloatArray) -> FloatArray:
    """Return lines that close doors: from the hinge to where the swing meets a wall or a leaf.

    Parameters
    ----------
    swings
        Doors as drawn. [m]
    walls : (n, 2, 2)
        Segments of walls. [m]

    Returns
    -------
    (m, 2, 2)
        Segments. [m]
    """
    if not len(walls) or not swings:
        return np.zeros((0, 2, 2))
    lines = [LineString(wall) for wall in walls]
    tree = STRtree(lines)
    found: list[list[FloatArray]] = []
    for index, (hinge, *ends) in enumerate(swings):
        if math.isinf(_gap(tree, lines, hinge)):
            continue
        others = [end for k, swing in enumerate(swings) if k != index for end in swing[1:]]
        met = [end for end in ends if any(np.hypot(*(end - o)) < _LEAVES_M for o in others)]
        if met:  # two leaves that meet in the middle
            found += [[hinge, end] for end in met]
            continue
        gaps = [_gap(tree, lines, end) for end in ends]
        best = min(gaps)
        if not math.isinf(best):
            found += [[hinge, e] for e, gap in zip(ends, gaps, strict=True) if gap <= best + 0.02]
    return np.array(found) if found else np.zeros((0, 2, 2))


def _gap(tree: STRtree, lines: list[LineString], at: FloatArray) -> float:
    point = Point(at)
    near = tree.query(point, predicate="dwithin", distance=_JAMB_M)
    return min((float(lines[i].distance(point)) for i in near), default=math.inf)
