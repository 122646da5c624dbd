"""Search over taps: every combination where there are few, an integer program, steepest descent.

The field is linear in the watts, so a change of one tap is a change of one column; choices are
judged by many at once.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice, product
from math import prod
from typing import Final

from soffit.design.taps_field import Score, TapProblem
from soffit.design.taps_program import proposed

_MOST_EXHAUSTIVE: Final = 60_000
"""Combinations of taps up to which every one is tried."""

_MOST_JUDGED: Final = 40_000_000
"""Combinations times ears up to which every one is tried."""

_MOST_SWEEPS: Final = 60
_PAIRED: Final = 16
"""Best single steps that are also tried two at a time."""

_PAIRS_AT_ONCE: Final = 4_000_000
"""Choices times ears judged at a time."""

Choice = list[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The best choice of a search.

    Parameters
    ----------
    choice
        Place of each speaker's tap.
    is_exhaustive
        Whether every combination was tried.
    """

    choice: tuple[int, ...]
    is_exhaustive: bool


def best_choice(problem: TapProblem, start: Sequence[int]) -> Found:
    """Return the best choice found; never worse than the start.

    Parameters
    ----------
    problem
        What may be chosen.
    start
        Taps given.
    """
    number = prod(len(watts) for watts in problem.watts)
    ears = sum(area.even.shape[1] for area in problem.areas)
    if number <= _MOST_EXHAUSTIVE and number * ears <= _MOST_JUDGED:
        return Found(choice=_exhausted(problem), is_exhaustive=True)
    starts = [list(start)]
    starts += [
        _stepped(problem, start, every, step) for every in _groups(problem) for step in (-1, 1)
    ]
    unique = [list(one) for one in dict.fromkeys(tuple(one) for one in starts)]
    found = [_descended(problem, one) for one in unique[:_PAIRED]]
    best = min(found, key=lambda choice: (problem.score(choice), choice))
    asked = proposed(problem, best)
    if asked is not None:
        polished = _descended(problem, asked)
        best = min((best, polished), key=lambda choice: (problem.score(choice), choice))
    return Found(choice=tuple(best), is_exhaustive=False)


def _judged(problem: TapProblem, choices: Sequence[Sequence[int]]) -> list[Score]:
    ears = max(area.even.shape[1] for area in problem.areas)
    step = max(1, _PAIRS_AT_ONCE // ears)
    out: list[Score] = []
    for first in range(0, len(choices), step):
        out += problem.scores(choices[first : first + step])
    return out


def _exhausted(problem: TapProblem) -> tuple[int, ...]:
    every: Iterator[tuple[int, ...]] = product(*(range(len(watts)) for watts in problem.watts))
    best: tuple[Score, tuple[int, ...]] | None = None
    while some := list(islice(every, 4000)):
        ranked = min(zip(_judged(problem, some), some, strict=True))
        if best is None or ranked < best:
            best = ranked
    return best[1] if best is not None else ()


def _groups(problem: TapProblem) -> list[list[int]]:
    """Speakers that are stepped together: all, each room's, and those with the same taps in it."""
    every = range(len(problem.watts))
    out = [list(every)]
    for area in sorted(set(problem.room_of)):
        mine = [i for i in every if problem.room_of[i] == area]
        out.append(mine)
        kinds = dict.fromkeys(problem.taps[i] for i in mine)
        out += [[i for i in mine if problem.taps[i] == taps] for taps in kinds]
    return [list(one) for one in dict.fromkeys(tuple(one) for one in out if one)]


def _stepped(problem: TapProblem, choice: Sequence[int], some: Sequence[int], step: int) -> Choice:
    out = list(choice)
    for i in some:
        out[i] = min(max(out[i] + step, 0), len(problem.watts[i]) - 1)
    return out


def _descended(problem: TapProblem, start: Sequence[int]) -> Choice:
    """Steepest descent: one step, a room's or a type's steps at once, then two steps together."""
    now, score = list(start), problem.score(start)
    groups = _groups(problem)
    for _ in range(_MOST_SWEEPS):
        singles = [
            (i, step)
            for i in range(len(now))
            for step in (-1, 1)
            if 0 <= now[i] + step < len(problem.watts[i])
        ]
        trials = [_stepped(problem, now, [i], step) for i, step in singles]
        trials += [_stepped(problem, now, some, step) for some in groups for step in (-1, 1)]
        ranked = sorted(zip(_judged(problem, trials), trials, strict=True)) if trials else []
        if ranked and ranked[0][0] < score:
            score, now = ranked[0]
            continue
        scored = _judged(problem, trials[: len(singles)]) if singles else []
        order = sorted(zip(scored, singles, strict=True))[:_PAIRED]
        pairs = [
            _stepped(problem, _stepped(problem, now, [i], a), [j], b)
            for (_, (i, a)), (_, (j, b)) in combinations(order, 2)
            if i != j
        ]
        ranked = sorted(zip(_judged(problem, pairs), pairs, strict=True)) if pairs else []
        if not ranked or ranked[0][0] >= score:
            break
        score, now = ranked[0]
    return now
