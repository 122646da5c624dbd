"""All lines that a plan file draws, walls or not, thinned to what a person can draw rooms on."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.plans.proposal import DrawnLines

FloatArray = NDArray[np.float64]

_MOST: Final = 40_000
"""Lines of one storey: more than a page of A0 has in walls, doors and furniture."""

_SHORTEST_M: Final = 0.005


def drawn_lines(storey_key: str, parts: Sequence[FloatArray]) -> DrawnLines:
    """Return lines to draw rooms on: whole millimetres, each once, the long ones where too many.

    Parameters
    ----------
    storey_key
        Storey that they belong to.
    parts : (n, 2, 2) each
        Ends of lines, in plan. [m]

    Returns
    -------
    DrawnLines
        At most 40 000 lines.
    """
    kept = [np.asarray(part, dtype=np.float64).reshape(-1, 4) for part in parts if len(part)]
    if not kept:
        return DrawnLines(storey_key=storey_key, lines=())
    ends = np.concatenate(kept)
    ends = ends[np.all(np.isfinite(ends), axis=1) & np.all(np.abs(ends) < 1e5, axis=1)]
    mm = np.rint(ends * 1e3).astype(np.int64)
    is_turned = (mm[:, 0] > mm[:, 2]) | ((mm[:, 0] == mm[:, 2]) & (mm[:, 1] > mm[:, 3]))
    mm[is_turned] = mm[is_turned][:, [2, 3, 0, 1]]
    mm = np.unique(mm, axis=0)
    length = np.hypot(mm[:, 2] - mm[:, 0], mm[:, 3] - mm[:, 1])
    is_long = length >= _SHORTEST_M * 1e3
    mm, length = mm[is_long], length[is_long]
    if len(mm) > _MOST:
        mm = mm[np.sort(np.argsort(-length, kind="stable")[:_MOST])]
    rows = np.round(mm / 1e3, 3).tolist()
    return DrawnLines(storey_key=storey_key, lines=tuple((a, b, c, d) for a, b, c, d in rows))


def section(corners: FloatArray, faces: NDArray[np.int64], level_m: float) -> FloatArray:
    """Cut triangles by a level and return the cut in plan.

    Parameters
    ----------
    corners : (n, 3)
        Corners of the body. [m]
    faces : (m, 3)
        Corners of each triangle.
    level_m
        Height of the cut. [m]

    Returns
    -------
    (k, 2, 2)
        Ends of the cut's lines. [m]
    """
    over = corners[:, 2] > level_m
    count = over[faces].sum(axis=1)
    cut = faces[(count == 1) | (count == 2)]
    if not len(cut):
        return np.zeros((0, 2, 2))
    side = over[cut]
    alone_is_over = side.sum(axis=1) == 1
    alone = np.argmax(np.where(alone_is_over[:, None], side, ~side), axis=1)
    rows = np.arange(len(cut))
    tip = corners[cut[rows, alone]]
    ends = []
    for step in (1, 2):
        other = corners[cut[rows, (alone + step) % 3]]
        share = (level_m - tip[:, 2]) / (other[:, 2] - tip[:, 2])
        ends.append(tip[:, :2] + (other[:, :2] - tip[:, :2]) * share[:, None])
    found: FloatArray = np.stack(ends, axis=1)
    return found
