"""Taps of a few speakers by an integer program: what the brief asks, with the least watts.

One binary per speaker and tap, one level T per room, and two binaries per ear for those left out:

    T_r - M z_i <= E_i = Σ_s Σ_k w_sk g_si x_sk <= R_r T_r + M' z'_i,   Σ_k x_sk = 1.

Everything but R_r is linear, so a spread is either met or not; the least one is found by halving.
Ears are thinned and the percentile is not interpolated: what comes out is a proposal that the
search judges at all ears. Derived here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor
from typing import Any, Final

import highspy
import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio
from soffit.design.solver import quiet_solver
from soffit.design.taps_field import TapArea, TapProblem

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int32]

_MOST_SPEAKERS: Final = 14
_MOST_BINARIES: Final = 56
_MOST_EARS: Final = 100
"""Ears of all rooms together."""

_NODES: Final = 300
"""Branches that the solver looks at; counted, so that the same problem ends the same way."""

_HALVINGS: Final = 3
_HANGS_S: Final = 600.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Part:
    """Some ears of one room, energies scaled to one."""

    even: FloatArray
    out: int
    need: float
    loud: FloatArray


def proposed(problem: TapProblem, best: Sequence[int]) -> list[int] | None:
    """Return taps that an integer program proposes; None for problems that are not small.

    Parameters
    ----------
    problem
        What may be chosen.
    best
        The best choice so far; its spreads are what the program must better where the brief
        is missed.
    """
    free = [i for i, watts in enumerate(problem.watts) if len(watts) > 1]
    binaries = sum(len(problem.watts[i]) for i in free)
    if not free or len(problem.watts) > _MOST_SPEAKERS or binaries > _MOST_BINARIES:
        return None
    parts = [_part(area, len(problem.areas)) for area in problem.areas]
    asked = np.array([area.target_db for area in problem.areas])
    found = _solved(problem, parts, asked)
    if found is not None:
        return found
    reached = np.maximum(np.array(problem.spreads_db(best)), asked)
    low, high, kept = 0.0, 1.0, None
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        found = _solved(problem, parts, asked + middle * (reached - asked))
        if found is None:
            low = middle
        else:
            high, kept = middle, found
    return kept


def _part(area: TapArea, n_areas: int) -> _Part:
    count = area.even.shape[1]
    step = max(1, -(-count // (_MOST_EARS // n_areas)))
    even = area.even[:, step // 2 :: step]
    scale = float(np.median(even.sum(axis=0)))
    return _Part(
        even=even / scale,
        out=floor((even.shape[1] - 1) * (1.0 - area.share) / 2.0),
        need=float(power_ratio(area.wanted_dba)),
        loud=area.loud.mean(axis=1),
    )


def _solved(problem: TapProblem, parts: Sequence[_Part], spread_db: FloatArray) -> list[int] | None:
    """Least watts with which every room keeps to a spread and its level; None if there are none."""
    program = _Program(problem, parts, power_ratio(spread_db))
    return program.run()


class _Program:
    """One integer program; columns are taps first, then levels and ears of each room."""

    def __init__(self, problem: TapProblem, parts: Sequence[_Part], ratio: FloatArray) -> None:
        self._problem = problem
        self._first = np.cumsum([0, *(len(watts) for watts in problem.watts)])
        self._solver: Any = quiet_solver(seconds=_HANGS_S)
        self._solver.setOptionValue("mip_max_nodes", _NODES)
        self._solver.setOptionValue("random_seed", 1)
        cost = [tap.power_w for taps in problem.taps for tap in taps]
        self._columns(len(cost), 1.0, cost=np.array(cost), is_whole=True)
        for number, taps in enumerate(problem.taps):
            places = range(self._first[number], self._first[number] + len(taps))
            self._row(1.0, 1.0, places, np.ones(len(taps)))
        for part, one in zip(parts, ratio, strict=True):
            self._room(part, float(one))

    def _columns(
        self, count: int, upper: float, *, cost: FloatArray | None = None, is_whole: bool
    ) -> int:
        first = int(self._solver.getNumCol())
        self._solver.addVars(count, np.zeros(count), np.full(count, upper))
        index = np.arange(first, first + count, dtype=np.int32)
        if cost is not None:
            self._solver.changeColsCost(count, index, cost)
        if is_whole:
            kind = np.full(count, highspy.HighsVarType.kInteger.value, dtype=np.uint8)
            self._solver.changeColsIntegrality(count, index, kind)
        return first

    def _row(self, low: float, high: float, index: Sequence[int], value: FloatArray) -> None:
        self._solver.addRow(low, high, len(index), np.asarray(index, np.int32), value)

    def _weights(self, per_watt: FloatArray) -> FloatArray:
        """Coefficients of every tap's binary for a sum that is linear in the watts."""
        return np.concatenate([watts * per_watt[i] for i, watts in enumerate(self._problem.watts)])

    def _room(self, part: _Part, ratio: float) -> None:
        infinite = highspy.kHighsInf
        taps = range(self._first[-1])
        n_ears = part.even.shape[1]
        rows = [self._weights(part.even[:, ear]) for ear in range(n_ears)]
        most = np.array([self._most(row) for row in rows])
        least = np.array([self._most(-row) for row in rows]) * -1.0
        ceiling = float(np.sort(most)[part.out])
        level = self._columns(1, ceiling, is_whole=False)
        below = self._columns(n_ears, 1.0, is_whole=True)
        above = self._columns(n_ears, 1.0, is_whole=True)
        for ear, row in enumerate(rows):
            slack = max(ceiling - least[ear], 0.0)
            self._row(0.0, infinite, [*taps, level, below + ear], np.array([*row, -1.0, slack]))
            over = max(most[ear], 0.0)
            self._row(-infinite, 0.0, [*taps, level, above + ear], np.array([*row, -ratio, -over]))
        for first in (below, above):
            self._row(0.0, float(part.out), range(first, first + n_ears), np.ones(n_ears))
        loud = self._weights(part.loud)
        # Where no taps reach the level it cannot be asked for; the search takes what is loudest.
        need = min(part.need, 0.999 * self._most(loud))
        self._row(1.0, infinite, taps, loud / need)

    def _most(self, row: FloatArray) -> float:
        """Greatest sum with one tap per speaker."""
        return float(
            sum(row[a:b].max() for a, b in zip(self._first[:-1], self._first[1:], strict=True))
        )

    def run(self) -> list[int] | None:
        """Return the place of every speaker's tap; None if nothing keeps to it."""
        self._solver.run()
        solution = np.asarray(self._solver.getSolution().col_value)
        info = self._solver.getInfo()
        if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible.value:
            return None
        return [
            int(np.argmax(solution[a:b]))
            for a, b in zip(self._first[:-1], self._first[1:], strict=True)
        ]
