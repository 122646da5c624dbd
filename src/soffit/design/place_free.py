"""Free form for odd rooms: swap annealing from the best lattice, one speaker fewer at a time.

One move takes a speaker to another free place, which swaps one column of the energy; moves are
judged on the variance of the levels, results on the spread of the brief. Work is counted, chance
is seeded.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio_db
from soffit.design.place_ceiling import Span2
from soffit.design.place_search import Layout, Scored, spread_of

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_MOVES_PER_COUNT: Final = 5000
_MOST_TRIES: Final = 3
"""Anneals of one count before it is given up."""

_MOST_EARS: Final = 700
_MOST_STEPS: Final = 12
_HOT_DB2: Final = 0.25
"""Variance by which a move may be worse at the start. [dB²]"""
_COLD_RATIO: Final = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Board:
    """Free sites with their columns at the ears in use."""

    site: IntArray
    column: FloatArray
    base: FloatArray
    near_m: FloatArray


def free_form(
    part: Span2,
    start: Layout,
    energy_of: Callable[[IntArray, IntArray], FloatArray],
    *,
    share: float,
    target_db: float,
    rng: np.random.Generator,
) -> list[Scored]:
    """Look for layouts without a pattern that meet a spread with fewer speakers.

    Parameters
    ----------
    part
        Sites and ears.
    start
        Layout to start from, best one that meets the spread.
    energy_of
        Energy of any set of sites at all ears.
    share
        Share of the ears that the spread holds.
    target_db
        Spread asked for. [dB]
    rng
        Source of chance; the same seed gives the same layouts.

    Returns
    -------
    list of Scored
        One layout of each smaller count that was tried, the last one perhaps missing the spread.
    """
    board = _board(part)
    where = {(int(c), int(r)): k for k, (c, r) in enumerate(board.site)}
    places = zip(start.column.tolist(), start.row.tolist(), strict=True)
    held = [where[place] for place in places if place in where]
    out: list[Scored] = []
    for _ in range(_MOST_STEPS):
        if len(held) < 2:
            break
        fewer = _without_one(board, held)
        spread = float("inf")
        for _try in range(_MOST_TRIES):
            trial = _annealed(board, fewer, rng)
            array = board.site[trial]
            found = spread_of(energy_of(array[:, 0], array[:, 1]), share)
            if found < spread:
                held, spread = trial, found
            if spread <= target_db + 1e-6:
                break
        array = board.site[held]
        order = np.lexsort((array[:, 0], array[:, 1]))
        layout = Layout(
            column=array[order, 0],
            row=array[order, 1],
            kind="free",
            pitch_x_m=0.0,
            pitch_y_m=0.0,
            is_even=False,
            off_middle_m=0.0,
            lines=(len(held), 1),
        )
        out.append(Scored(layout=layout, spread_db=spread))
        if spread > target_db + 1e-6:
            break
    return out


def _board(part: Span2) -> _Board:
    free = np.argwhere(part.sites.is_free)
    step = max(1, -(-part.field.ears.count // _MOST_EARS))
    keep = np.zeros(part.field.ears.count, dtype=bool)
    keep[::step] = True
    some = part.field.thinned(keep)
    position = part.sites.site_m(free[:, 0], free[:, 1])
    apart = np.hypot(
        position[:, None, 0] - position[None, :, 0], position[:, None, 1] - position[None, :, 1]
    )
    return _Board(
        site=free,
        column=some.columns(position),
        base=some.fixed_energy,
        near_m=apart,
    )


def _variance(energy: FloatArray) -> float:
    return float(np.var(power_ratio_db(np.maximum(energy, 1e-30))))


def _without_one(board: _Board, held: list[int]) -> list[int]:
    """Take away the speaker that is missed least."""
    energy = board.base + board.column[held].sum(axis=0)
    scores = [(round(_variance(energy - board.column[k]), 9), n) for n, k in enumerate(held)]
    gone = min(scores)[1]
    return [k for n, k in enumerate(held) if n != gone]


def _annealed(board: _Board, held: list[int], rng: np.random.Generator) -> list[int]:
    now = list(held)
    energy = board.base + board.column[now].sum(axis=0)
    score = _variance(energy)
    best, best_score = list(now), score
    taken = set(now)
    count = len(board.site)
    if len(now) >= count:
        return now
    reach = float(
        np.median(np.min(board.near_m[np.ix_(now, now)] + 1e9 * np.eye(len(now)), axis=1))
    )
    for move in range(_MOVES_PER_COUNT):
        heat = _HOT_DB2 * _COLD_RATIO ** (move / _MOVES_PER_COUNT)
        number = int(rng.integers(len(now)))
        if rng.random() < 0.8:
            near = np.flatnonzero(board.near_m[now[number]] < max(reach, 1.0))
            to = int(near[int(rng.integers(len(near)))])
        else:
            to = int(rng.integers(count))
        if to in taken:
            continue
        trial = energy - board.column[now[number]] + board.column[to]
        found = _variance(trial)
        if found < score or rng.random() < float(np.exp(-(found - score) / heat)):
            taken.discard(now[number])
            taken.add(to)
            now[number], energy, score = to, trial, found
            if score < best_score - 1e-12:
                best, best_score = list(now), score
    return best
