"""Join layouts of several parts of one room: several ceilings, or one lattice per rectangle."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio_db
from soffit.design.place_ceiling import CeilingSearch
from soffit.design.place_field import Field
from soffit.design.place_mix import Mix
from soffit.design.place_search import Layout, Scored, spread_of

FloatArray = NDArray[np.float64]
SingleArray = NDArray[np.float32]
IntArray = NDArray[np.int64]

_MOST_PER_COUNT: Final = 8
_MOST_PER_PART: Final = 320
_MOST_EARS: Final = 2500
_MOST_EARS_MIXED: Final = 1200
_BEAM: Final = 12
_LAST: Final = 6
_LAST_MIXED: Final = 3
"""Joints of a count that are made exact; with several types, for every ratio of their taps."""
_CHUNK: Final = 4_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Joint:
    """One layout per part of a room; ``None`` where a part gets none."""

    layouts: tuple[Layout | None, ...]
    spread_db: float
    gains: tuple[float, ...] = (1.0,)
    """Watts of every type against the first."""

    @property
    def count(self) -> int:
        """Speakers of all parts."""
        return sum(layout.count for layout in self.layouts if layout is not None)


def _short_list(search: CeilingSearch) -> list[Layout | None]:
    """Return the best of every count by the spread at the part's own ears, and nothing."""
    by_count: dict[int, list[Scored]] = {}
    for item in search.every():
        by_count.setdefault(item.layout.count, []).append(item)
    out: list[Layout | None] = [None]
    per_count = max(1, min(_MOST_PER_COUNT, _MOST_PER_PART // max(1, len(by_count))))
    for count in sorted(by_count):
        best = sorted(by_count[count], key=lambda item: round(item.spread_db, 6))[:per_count]
        out += [item.layout for item in best]
    return out[:_MOST_PER_PART]


def _energies(field: Field, search: CeilingSearch, layouts: Sequence[Layout | None]) -> SingleArray:
    """Energy of each layout at the ears of ``field``, hand-placed speakers left out."""
    places = sorted(
        {
            place
            for layout in layouts
            if layout is not None
            for place in zip(layout.column.tolist(), layout.row.tolist(), strict=True)
        }
    )
    where = {place: index for index, place in enumerate(places)}
    out = np.zeros((len(layouts), field.ears.count), np.float32)
    if not places:
        return out
    array = np.array(places, dtype=np.int64)
    member = np.zeros((len(layouts), len(places)), np.float32)
    for row, layout in enumerate(layouts):
        if layout is not None:
            for place in zip(layout.column.tolist(), layout.row.tolist(), strict=True):
                member[row, where[place]] = 1.0
    sites = search.part.sites.site_m(array[:, 0], array[:, 1])
    return np.asarray(member @ field.columns(sites).astype(np.float32))


def join_parts(
    mix: Mix,
    searches: Sequence[CeilingSearch],
    part_voice: Sequence[int],
    gains: Sequence[float],
    *,
    share: float,
    most_count: int,
) -> list[Joint]:
    """Combine the best layouts of the parts and rank them at all ears of the room.

    Parameters
    ----------
    mix
        Types, measure and all ears of the room.
    searches
        What was found in each part.
    part_voice
        Type of each part, as a place in the mix.
    gains
        Watts of every type against the first.
    share
        Share of the ears that the spread holds.
    most_count
        Most speakers.

    Returns
    -------
    list of Joint
        The best of every count, exact.
    """
    is_mixed = len(mix.fields) > 1
    ears = mix.first.ears.count
    step = max(1, -(-ears // (_MOST_EARS_MIXED if is_mixed else _MOST_EARS)))
    keep = np.zeros(ears, dtype=bool)
    keep[::step] = True
    some = [field.thinned(keep) for field in mix.fields]
    fixed = some[0].fixed_energy.astype(np.float32)
    lists = [_short_list(search) for search in searches]
    energies = [
        _energies(some[voice], search, items) * np.float32(gains[voice])
        for search, items, voice in zip(searches, lists, part_voice, strict=True)
    ]
    chosen: list[tuple[int, ...]] = [(k,) for k in range(len(lists[0]))]
    energy = energies[0]
    for number in range(1, len(lists)):
        is_last = number == len(lists) - 1
        chosen, energy = _pairs(
            chosen,
            energy,
            energies[number],
            lists,
            fixed,
            share=share,
            most_count=most_count,
            most=(_LAST_MIXED if is_mixed else _LAST) if is_last else _BEAM,
        )
    out: list[Joint] = []
    for places in chosen:
        layouts = tuple(items[k] for items, k in zip(lists, places, strict=True))
        if any(layout is not None for layout in layouts):
            out.append(joint_of(mix, searches, part_voice, gains, layouts, share=share))
    return out


def joint_of(
    mix: Mix,
    searches: Sequence[CeilingSearch],
    part_voice: Sequence[int],
    gains: Sequence[float],
    layouts: tuple[Layout | None, ...],
    *,
    share: float,
) -> Joint:
    """Return layouts of all parts with the spread of the public field at all ears.

    Parameters
    ----------
    mix, searches, part_voice, gains, share
        As for :func:`join_parts`.
    layouts
        One a part; at least one speaker in all.
    """
    energy = mix.first.fixed_energy.copy()
    for search, voice, layout in zip(searches, part_voice, layouts, strict=True):
        if layout is not None:
            site_m = search.part.sites.site_m(layout.column, layout.row)
            bare = replace(mix.fields[voice], fixed_energy=np.zeros(len(energy)))
            energy += gains[voice] * bare.energy(site_m)
    return Joint(layouts=layouts, spread_db=spread_of(energy, share), gains=tuple(gains))


def laid_by_rule(
    mix: Mix,
    searches: Sequence[CeilingSearch],
    part_voice: Sequence[int],
    every_gain: Sequence[Sequence[float]],
    layouts: tuple[Layout | None, ...],
    *,
    share: float,
) -> Joint | None:
    """Return one rule laid in every part, with the gains that suit it best; None if it lays none.

    Parameters
    ----------
    mix, searches, part_voice, share
        As for :func:`join_parts`.
    every_gain
        Gains to choose from.
    layouts
        What the rule gives in each part.
    """
    if all(layout is None for layout in layouts):
        return None
    joints = [
        joint_of(mix, searches, part_voice, gains, layouts, share=share) for gains in every_gain
    ]
    return min(joints, key=lambda joint: round(joint.spread_db, 6))


def _pairs(
    chosen: list[tuple[int, ...]],
    energy: SingleArray,
    more: SingleArray,
    lists: Sequence[Sequence[Layout | None]],
    fixed: SingleArray,
    *,
    share: float,
    most_count: int,
    most: int,
) -> tuple[list[tuple[int, ...]], SingleArray]:
    """All pairs of what was joined so far with the next part; the best of every count stay."""
    number = len(chosen[0])
    have = np.array([_count(lists, places) for places in chosen])
    add = np.array([0 if item is None else item.count for item in lists[number]])
    spread = np.full((len(chosen), len(more)), np.inf)
    n = energy.shape[1]
    tail = (1.0 - share) / 2.0
    low, high = int((n - 1) * tail), min(n - 1, round((n - 1) * (1.0 - tail)))
    rows = max(1, _CHUNK // (n * len(more)))
    for start in range(0, len(chosen), rows):
        part = energy[start : start + rows, None, :] + more[None, :, :] + fixed
        part.sort(axis=2)
        spread[start : start + rows] = power_ratio_db(
            np.maximum(part[..., high], 1e-30) / np.maximum(part[..., low], 1e-30)
        )
    total = have[:, None] + add[None, :]
    spread[(total > most_count) | (total == 0)] = np.inf
    kept: list[tuple[int, ...]] = []
    index: list[tuple[int, int]] = []
    flat = np.lexsort((np.round(spread, 5).ravel(), total.ravel()))
    seen: dict[int, int] = {}
    for place in flat:
        first, second = divmod(int(place), len(more))
        count = int(total[first, second])
        if not np.isfinite(spread[first, second]) or seen.get(count, 0) >= most:
            continue
        seen[count] = seen.get(count, 0) + 1
        kept.append((*chosen[first], second))
        index.append((first, second))
    joined = np.stack([energy[a] + more[b] for a, b in index]) if index else energy[:0]
    return kept, joined


def _count(lists: Sequence[Sequence[Layout | None]], places: tuple[int, ...]) -> int:
    total = 0
    for items, place in zip(lists, places, strict=False):
        layout = items[place]
        total += 0 if layout is None else layout.count
    return total
