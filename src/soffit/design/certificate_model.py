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
    single : (n_sites, n_ears)
        Largest energy of one image alone, same unit.
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
    """

    gain: FloatArray
    single: FloatArray
    weight: IntArray
    ear_weight: IntArray
    spread_db: float
    share: float
    ratio: float
    allowed: int
    fixed: FloatArray


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
    for row in program.single + program.fixed:
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
        Branch-and-bound nodes at most.
    seconds
        Time at most; the child is killed some time after it. [s]

    Returns
    -------
    IntervalAnswer
        ``bound = most + 1`` where there is none.
    """
    from importlib import import_module  # noqa: PLC0415 loaded in the child only

    highspy: Any = import_module("highspy")

    with _quiet():
        return _solve(highspy, program, (low, high), most, nodes, seconds)


@contextmanager
def _quiet() -> Iterator[None]:
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
        share = max(left / (len(intervals) - number), min(left, 1.0))
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
    solver.passModel(_model(highspy, program, low, high, most))
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
    loud = (program.single + program.fixed > ratio * high) @ program.ear_weight
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
    rows: list[FloatArray] = []
    row_low: list[float] = []
    row_high: list[float] = []

    def add(row: FloatArray, least: float, greatest: float) -> None:
        rows.append(row)
        row_low.append(least)
        row_high.append(greatest)

    for ear in range(n_ears):
        row = np.zeros(n)
        row[:n_sites] = np.minimum(program.gain[:, ear], high)
        row[level], row[below + ear] = -1.0, high
        add(row, -float(program.fixed[ear]), INFINITE)
        slack = max(0.0, float(most_energy[ear]) - ratio * low)
        if slack > 0.0:
            row = np.zeros(n)
            row[:n_sites] = program.gain[:, ear]
            row[level], row[above + ear] = -ratio, -slack
            add(row, -INFINITE, -float(program.fixed[ear]))
    for start in (below, above):
        row = np.zeros(n)
        row[start : start + n_ears] = program.ear_weight
        add(row, -INFINITE, float(program.allowed))
    row = np.zeros(n)
    row[:n_sites] = weight
    add(row, 1.0, float(most))
    return _packed(highspy, np.array(rows), (row_low, row_high), (lower, upper), level, weight)


def _packed(
    highspy: Any,  # noqa: ANN401 a module without types
    matrix: FloatArray,
    row_bounds: tuple[list[float], list[float]],
    bounds: tuple[FloatArray, FloatArray],
    level: int,
    weight: FloatArray,
) -> Any:  # noqa: ANN401
    n = matrix.shape[1]
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = n, len(matrix)
    cost = np.zeros(n)
    cost[: len(weight)] = weight
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = cost, bounds[0], bounds[1]
    lp.row_lower_, lp.row_upper_ = np.array(row_bounds[0]), np.array(row_bounds[1])
    row, column = np.nonzero(matrix)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    starts = np.searchsorted(row, np.arange(len(matrix) + 1))
    lp.a_matrix_.start_ = starts.astype(np.int32)
    lp.a_matrix_.index_ = column.astype(np.int32)
    lp.a_matrix_.value_ = matrix[row, column]
    kinds = [highspy.HighsVarType.kInteger] * n
    kinds[level] = highspy.HighsVarType.kContinuous
    lp.integrality_ = kinds
    return lp
