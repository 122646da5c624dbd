"""The certificate's integer program for one interval of the level, solved by HiGHS in a child.

Sites (or mirror images of sites taken together) are 0/1 variables; the level T that the quietest
counted ear must reach is continuous inside the interval. Every constraint is necessary for a layout
that meets the brief, so a bound of the program bounds the count of every such layout.
"""

import os
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from soffit.design.place_search import spread_of

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

INFINITE: Final = 1e30

_MOST_CUTS: Final = 200
"""Layouts that miss the brief by the interpolation of percentiles, cut off one by one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Program:
    """Sites, ears and what the brief allows.

    Parameters
    ----------
    gain : (n_sites, n_ears)
        Energy per watt, all mirror images of a site together, over the strongest single value.
    weight : (n_sites,)
        Speakers per site variable.
    ear_weight : (n_ears,)
        Ears that each represents.
    spread_db, share
        Spread that the brief allows, and the share of the ears that it holds. [dB]
    ratio
        The same as a ratio of energies.
    allowed
        Ears that may lie below, and as many that may lie above.
    fixed : (n_ears,)
        Energy of what is placed by hand.
    ear_m : (n_ears, 2)
        Where the ears are. [m]
    site_m : (n_sites, 2)
        Where the first image of each site is. [m]
    """

    gain: FloatArray
    weight: IntArray
    ear_weight: IntArray
    spread_db: float
    share: float
    ratio: float
    allowed: int
    fixed: FloatArray
    ear_m: FloatArray
    site_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalAnswer:
    """What is known about one interval of the level.

    Parameters
    ----------
    low, high
        The interval, over the strongest single level.
    bound
        No layout in it has fewer speakers.
    chosen
        Site variables of a layout with fewer speakers than asked; empty if none was found.
    is_finished
        False where the solver ran out of nodes or time.
    is_by_clock
        True where time, not counted work, ended it.
    """

    low: float
    high: float
    bound: int
    chosen: tuple[int, ...]
    is_finished: bool
    is_by_clock: bool = False


def level_range(program: Program, most: int) -> tuple[float, float]:
    """Return the levels at which a layout with at most ``most`` speakers could meet the brief.

    Parameters
    ----------
    program
        The program.
    most
        Most speakers.

    Returns
    -------
    tuple of float
        Least and greatest T. Below, any speaker alone makes too many ears too loud; above, so few
        speakers have not the energy.
    """
    n = int(program.ear_weight.sum())
    per_speaker = (program.gain @ program.ear_weight) / program.weight
    total = most * float(per_speaker.max()) + float(program.fixed @ program.ear_weight)
    high = total / max(1, n - program.allowed)
    # The allowed-th loudest ear of the mildest site must not exceed ratio x T.
    least = np.inf
    for row in program.gain + program.fixed:
        order = np.argsort(-row, kind="stable")
        above = np.cumsum(program.ear_weight[order])
        first = int(np.searchsorted(above, program.allowed, side="right"))
        least = min(least, float(row[order[min(first, len(order) - 1)]]))
    return least / program.ratio, high


def solve_interval(
    program: Program, low: float, high: float, most: int, nodes: int, seconds: float
) -> IntervalAnswer:
    """Look for a layout with at most ``most`` speakers whose level lies in one interval.

    Parameters
    ----------
    program
        The program.
    low, high
        The interval of T.
    most
        Most speakers.
    nodes
        Branch-and-bound nodes at most; 0 for the program without whole numbers.
    seconds
        Time at most; the child is killed some time after it. [s]

    Returns
    -------
    IntervalAnswer
        ``bound = most + 1`` where there is none.
    """
    from importlib import import_module  # noqa: PLC0415 loaded in the child only

    highspy: Any = import_module("highspy")

    with no_output():
        return _solve(highspy, program, (low, high), most, nodes, seconds)


@contextmanager
def no_output() -> Iterator[None]:
    """Keep the solver's banner off the standard output, whatever its options say."""
    sys.stdout.flush()
    kept = os.dup(1)
    with Path(os.devnull).open("w", encoding="utf-8") as nothing:
        os.dup2(nothing.fileno(), 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def solve_intervals(
    program: Program,
    intervals: Sequence[tuple[float, float]],
    most: int,
    nodes: int,
    seconds: float,
) -> list[IntervalAnswer]:
    """Look at several intervals one after the other, the time left shared among them.

    Parameters
    ----------
    program, most, nodes, seconds
        As in :func:`solve_interval`. [s]
    intervals
        Intervals of T.

    Returns
    -------
    list of IntervalAnswer
        As many as time allowed; stops at the first layout found.
    """
    end = time.monotonic() + seconds
    out: list[IntervalAnswer] = []
    for number, (low, high) in enumerate(intervals):
        left = end - time.monotonic()
        if left <= 0.0:
            break
        # Most intervals end at once; what they leave goes to the others.
        share = min(left, max(4.0 * left / (len(intervals) - number), 1.0))
        out.append(solve_interval(program, low, high, most, nodes, share))
        if out[-1].chosen:
            break
    return out


def _solve(
    highspy: Any,  # noqa: ANN401 a module without types
    program: Program,
    interval: tuple[float, float],
    most: int,
    nodes: int,
    seconds: float,
) -> IntervalAnswer:
    low, high = interval
    solver = highspy.Highs()
    for name, value in (
        ("log_to_console", False),
        ("output_flag", False),
        ("threads", 1),
        ("random_seed", 1),
        ("mip_max_nodes", nodes),
        ("time_limit", seconds),
        ("mip_rel_gap", 0.0),
        ("mip_abs_gap", 0.999),
        ("mip_feasibility_tolerance", 1e-7),
    ):
        solver.setOptionValue(name, value)
    model = _model(highspy, program, low, high, most)
    if nodes == 0:
        model.integrality_ = []
    solver.passModel(model)
    if nodes == 0:
        return _relaxed(highspy, solver, (low, high), most)
    n_sites = len(program.weight)
    chosen: tuple[int, ...] = ()
    for _ in range(_MOST_CUTS):
        solver.run()
        if solver.getInfo().primal_solution_status != 2:
            break
        values = np.array(solver.getSolution().col_value[:n_sites])
        found = tuple(np.flatnonzero(values > 0.5).tolist())
        if meets(program, found):
            chosen = found
            break
        if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            break
        _forbid(solver, found, n_sites)
    status = solver.getModelStatus()
    if status == highspy.HighsModelStatus.kInfeasible:
        return IntervalAnswer(low=low, high=high, bound=most + 1, chosen=(), is_finished=True)
    info = solver.getInfo()
    finished = status == highspy.HighsModelStatus.kOptimal
    dual = info.mip_dual_bound
    bound = int(np.ceil(dual - 1e-6)) if np.isfinite(dual) and abs(dual) < INFINITE / 10 else 1
    return IntervalAnswer(
        low=low,
        high=high,
        bound=max(bound, 1),
        chosen=chosen,
        is_finished=finished,
        is_by_clock=status == highspy.HighsModelStatus.kTimeLimit,
    )


def _relaxed(
    highspy: Any,  # noqa: ANN401 a module without types
    solver: Any,  # noqa: ANN401
    interval: tuple[float, float],
    most: int,
) -> IntervalAnswer:
    """Bound of the program without whole numbers; no layout comes out of it."""
    solver.run()
    status = solver.getModelStatus()
    low, high = interval
    if status == highspy.HighsModelStatus.kInfeasible:
        return IntervalAnswer(low=low, high=high, bound=most + 1, chosen=(), is_finished=True)
    bound = 1
    if status == highspy.HighsModelStatus.kOptimal:
        bound = max(1, int(np.ceil(solver.getInfo().objective_function_value - 1e-5)))
    return IntervalAnswer(
        low=low,
        high=high,
        bound=bound,
        chosen=(),
        is_finished=bound > most,
        is_by_clock=status == highspy.HighsModelStatus.kTimeLimit,
    )


def meets(program: Program, chosen: Sequence[int]) -> bool:
    """Return whether site variables give a layout that meets the brief exactly.

    Parameters
    ----------
    program
        The program.
    chosen
        Site variables that are one.
    """
    energy = program.gain[list(chosen)].sum(axis=0) + program.fixed
    every = np.repeat(energy, program.ear_weight)
    return spread_of(every, program.share) <= program.spread_db + 1e-6


def _forbid(solver: Any, found: tuple[int, ...], n_sites: int) -> None:  # noqa: ANN401
    """Cut off one layout that meets the relaxed program but not the brief."""
    sign = -np.ones(n_sites)
    sign[list(found)] = 1.0
    index = np.arange(n_sites, dtype=np.int32)
    solver.addRow(-INFINITE, float(len(found) - 1), n_sites, index, sign)


def _model(highspy: Any, program: Program, low: float, high: float, most: int) -> Any:  # noqa: ANN401
    """Minimise the count subject to coverage, loudness, outliers and the cut-off."""
    n_sites, n_ears = program.gain.shape
    ratio, weight = program.ratio, program.weight.astype(np.float64)
    images = program.weight.astype(np.float64)
    # A site whose every image alone makes too many ears too loud at T = high cannot be used.
    loud = (program.gain + program.fixed > ratio * high) @ program.ear_weight
    usable = loud <= program.allowed
    order = -np.sort(-program.gain / images[:, None], axis=0)
    most_energy = order[:most].sum(axis=0) * float(images.max()) + program.fixed
    # columns: sites, T, below (per ear), above (per ear)
    n = n_sites + 1 + 2 * n_ears
    level, below, above = n_sites, n_sites + 1, n_sites + 1 + n_ears
    upper = np.ones(n)
    upper[:n_sites] = usable
    lower = np.zeros(n)
    lower[level], upper[level] = low, high
    free_below = program.fixed >= high
    upper[below : below + n_ears] = ~free_below
    table = _Rows()
    every = np.arange(n_ears)
    # Coverage: counted energy, clipped at what one constraint can use, reaches T or is left out.
    clipped = np.minimum(program.gain.T, high)
    table.add_dense(clipped, [(level, -1.0)], (below + every, high), (-program.fixed, INFINITE))
    # Loudness: energy stays under ratio x T, or the ear is left out.
    slack = np.maximum(0.0, most_energy - ratio * low)
    tight = slack > 0.0
    table.add_dense(
        program.gain.T[tight],
        [(level, -ratio)],
        (above + every[tight], -slack[tight]),
        (-INFINITE, -program.fixed[tight]),
    )
    # A site that alone makes an ear too loud at any T here needs that ear to be left out.
    pairs = np.argwhere((program.gain + program.fixed > ratio * high) & usable[:, None])
    table.add_pairs(pairs[:, 0], above + pairs[:, 1])
    for start in (below, above):
        table.add_one(start + every, program.ear_weight, -INFINITE, float(program.allowed))
    table.add_one(np.arange(n_sites), weight, 1.0, float(most))
    return _packed(highspy, table, (lower, upper), level, weight)


class _Rows:
    """Rows of the program as triplets."""

    def __init__(self) -> None:
        self.count = 0
        self.row: list[IntArray] = []
        self.column: list[IntArray] = []
        self.value: list[FloatArray] = []
        self.low: list[FloatArray] = []
        self.high: list[FloatArray] = []

    def _bounds(self, number: int, low: float | FloatArray, high: float | FloatArray) -> None:
        self.low.append(np.broadcast_to(np.asarray(low, np.float64), (number,)))
        self.high.append(np.broadcast_to(np.asarray(high, np.float64), (number,)))
        self.count += number

    def _put(self, row: IntArray, column: IntArray, value: FloatArray) -> None:
        self.row.append(row)
        self.column.append(column)
        self.value.append(value)

    def add_dense(
        self,
        block: FloatArray,
        shared: list[tuple[int, float]],
        own: tuple[IntArray, float | FloatArray],
        bounds: tuple[float | FloatArray, float | FloatArray],
    ) -> None:
        """Add one row per line of a block, with shared columns and one of its own each."""
        number = len(block)
        line, column = np.nonzero(block)
        rows = self.count + np.arange(number)
        self._put(self.count + line, column, block[line, column])
        for place, value in shared:
            self._put(rows, np.full(number, place), np.full(number, value))
        self._put(rows, own[0], np.broadcast_to(np.asarray(own[1], np.float64), (number,)))
        self._bounds(number, *bounds)

    def add_pairs(self, smaller: IntArray, larger: IntArray) -> None:
        """Add rows that say that one column is no larger than another."""
        rows = self.count + np.arange(len(smaller))
        self._put(rows, smaller, np.ones(len(smaller)))
        self._put(rows, larger, -np.ones(len(smaller)))
        self._bounds(len(smaller), -INFINITE, 0.0)

    def add_one(
        self, column: IntArray, value: FloatArray | IntArray, low: float, high: float
    ) -> None:
        """Add a single row."""
        self._put(np.full(len(column), self.count), column, np.asarray(value, np.float64))
        self._bounds(1, low, high)


def _packed(
    highspy: Any,  # noqa: ANN401 a module without types
    table: _Rows,
    bounds: tuple[FloatArray, FloatArray],
    level: int,
    weight: FloatArray,
) -> Any:  # noqa: ANN401
    n = len(bounds[0])
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = n, table.count
    cost = np.zeros(n)
    cost[: len(weight)] = weight
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = cost, bounds[0], bounds[1]
    lp.row_lower_, lp.row_upper_ = np.concatenate(table.low), np.concatenate(table.high)
    row, column = np.concatenate(table.row), np.concatenate(table.column)
    order = np.lexsort((column, row))
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    starts = np.searchsorted(row[order], np.arange(table.count + 1))
    lp.a_matrix_.start_ = starts.astype(np.int32)
    lp.a_matrix_.index_ = column[order].astype(np.int32)
    lp.a_matrix_.value_ = np.concatenate(table.value)[order]
    kinds = [highspy.HighsVarType.kInteger] * n
    kinds[level] = highspy.HighsVarType.kContinuous
    lp.integrality_ = kinds
    return lp
