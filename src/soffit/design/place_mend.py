"""Mend lattices that are in the way of something: nudge speakers one site, or leave them out."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio_db
from soffit.design.place_family import Family, most_of
from soffit.design.place_mirror import Mirror, Place, images_of_step, mirrors_of, orbits
from soffit.design.place_search import Layout, Scored, Screened, spread_of
from soffit.design.tiles import Sites

FloatArray = NDArray[np.float64]
SingleArray = NDArray[np.float32]
IntArray = NDArray[np.int64]

_MOST_MENDED: Final = 8
"""Blocked lattices that are mended per count, best first."""

_MANY_EARS: Final = 4500
"""Ears above which the side of a nudge is chosen at some of them."""

_SAME_SHARE: Final = 1e-3
"""Where sides differ by less than this share at an ear, they are taken as the same there."""


def mended(
    screened: Screened,
    sites: Sites,
    energy_of: Callable[[IntArray, IntArray], FloatArray],
    coarse: Callable[[IntArray, IntArray], FloatArray],
    front: dict[int, float],
    *,
    family: Family,
    share: float,
) -> list[Scored]:
    """Mend lattices that are in the way of something: nudge speakers one site, or leave them out.

    Parameters
    ----------
    screened
        From :func:`screen`.
    sites
        Candidate positions.
    energy_of
        Energy of any set of sites at all ears.
    coarse
        The same at the ears of the screening, which choose the side of a nudge.
    front
        Best spread by count so far; only lattices that could improve it are mended. [dB]
    family
        How many may be nudged or left out.
    share
        Share of the ears that the spread holds.

    Returns
    -------
    list of Scored
        Mended layouts.
    """
    out: list[Scored] = []
    tight = np.flatnonzero(screened.blocked > 0)
    order = tight[np.lexsort((screened.spread_db[tight], screened.count[tight]))]
    counts = screened.count[order]
    best = np.full(int(max([*counts.tolist(), *front], default=0)) + 1, np.inf)
    for count, spread in front.items():
        best[count] = min(best[count], spread)
    near = screened.spread_db[order] <= np.minimum.accumulate(best)[counts] + 0.2
    done: dict[int, int] = {}
    columns = _Columns(coarse)
    for index in order[near]:
        count = int(screened.count[index])
        if done.get(count, 0) >= _MOST_MENDED:
            continue
        done[count] = done.get(count, 0) + 1
        out += _mend_one(screened.layout(int(index)), sites, energy_of, columns, family, share)
    return out


class _Columns:
    """Energy of single sites at the ears that choose a side, each computed once."""

    def __init__(self, coarse: Callable[[IntArray, IntArray], FloatArray]) -> None:
        self._coarse = coarse
        self._kept: dict[tuple[int, int], SingleArray] = {}
        none = np.zeros(0, np.int64)
        every = coarse(none, none)
        # The side of a nudge shows at half of many ears too; spreads are taken at all of them.
        self.step = -(-len(every) // _MANY_EARS)
        self.base = every[:: self.step]

    def of(self, place: tuple[int, int]) -> SingleArray:
        if place not in self._kept:
            made = self.all(np.array([place[0]]), np.array([place[1]])) - self.base
            self._kept[place] = made.astype(np.float32)
        return self._kept[place]

    def all(self, column: IntArray, row: IntArray) -> FloatArray:
        return self._coarse(column, row)[:: self.step]


_STEPS: Final = ((-1, 0), (1, 0), (0, -1), (0, 1), (-1, -1), (1, -1), (-1, 1), (1, 1))


def _mend_one(
    layout: Layout,
    sites: Sites,
    energy_of: Callable[[IntArray, IntArray], FloatArray],
    columns: _Columns,
    family: Family,
    share: float,
) -> list[Scored]:
    every = list(zip(layout.column.tolist(), layout.row.tolist(), strict=True))
    mirrors = mirrors_of(every) if family.is_symmetric else ()
    stuck = orbits([place for place in every if not sites.is_free[place]], mirrors)
    moved = {place for images in stuck for place in images}
    kept = _with_places(layout, [place for place in every if place not in moved])
    out: list[Scored] = []
    if kept.count and len(moved) <= most_of(family.omit_ratio, layout.count):
        energy = energy_of(kept.column, kept.row)
        out.append(
            Scored(layout=replace(kept, omitted=len(moved)), spread_db=spread_of(energy, share))
        )
    if len(moved) <= most_of(family.nudge_ratio, layout.count):
        places = _nudged(kept, stuck, mirrors, sites, columns)
        if places:
            nudged = replace(_with_places(layout, places), nudged=len(moved))
            energy = energy_of(nudged.column, nudged.row)
            out.append(Scored(layout=nudged, spread_db=spread_of(energy, share)))
    return out


def _with_places(layout: Layout, places: Sequence[Place]) -> Layout:
    array = np.array(places, dtype=np.int64).reshape(-1, 2)
    return replace(layout, column=array[:, 0], row=array[:, 1])


def _nudged(
    kept: Layout,
    stuck: Sequence[tuple[Place, ...]],
    mirrors: Sequence[Mirror],
    sites: Sites,
    columns: _Columns,
) -> list[Place]:
    """Places of a layout whose stuck speakers moved one site; none where one cannot."""
    taken = set(zip(kept.column.tolist(), kept.row.tolist(), strict=True))
    energy = columns.all(kept.column, kept.row)
    for images in stuck:
        sides = [images_of_step(images[0], step, mirrors) for step in _STEPS]
        free = [
            side
            for side in sides
            if side is not None
            and all(_is_free(sites, place) and place not in taken for place in side)
        ]
        if not free:
            return []
        # The variance of the levels chooses the side; the spread is what is reported.
        brings = [_sum(columns.of(place) for place in side) for side in free]
        scores = _variances(energy, np.stack(brings), is_local=columns.step > 1).tolist()
        best = 0
        for number, score in enumerate(scores):
            if score < scores[best] - 1e-9:
                best = number
        taken.update(free[best])
        energy = energy + brings[best]
    return sorted(taken, key=lambda place: (place[1], place[0]))


def _sum(some: Iterable[SingleArray]) -> SingleArray:
    first, *rest = some
    for other in rest:
        first = first + other
    return first


def _variances(energy: FloatArray, sides: SingleArray, *, is_local: bool) -> FloatArray:
    """Variance of the levels with each of some columns added; where all bring the same, once."""
    n = energy.shape[0]
    if not is_local:
        levels = power_ratio_db(np.maximum(energy + sides, 1e-30))
        return np.asarray(np.var(levels, axis=1))
    low, high = sides.min(axis=0), sides.max(axis=0)
    differs = high - low > _SAME_SHARE * (energy + low)
    levels = power_ratio_db(np.maximum(energy[~differs] + low[~differs], 1e-30))
    near = power_ratio_db(np.maximum(energy[differs] + sides[:, differs], 1e-30))
    # About the mean of the rest, so that nothing cancels.
    middle = float(levels.mean()) if levels.size else 0.0
    total = float(np.sum(levels - middle)) + np.sum(near - middle, axis=1)
    square = float(np.sum((levels - middle) ** 2)) + np.sum((near - middle) ** 2, axis=1)
    return np.asarray(square / n - (total / n) ** 2)


def _is_free(sites: Sites, place: tuple[int, int]) -> bool:
    columns, rows = sites.shape
    column, row = place
    return 0 <= column < columns and 0 <= row < rows and bool(sites.is_free[column, row])
