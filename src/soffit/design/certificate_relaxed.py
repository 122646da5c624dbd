"""The certificate without whole numbers: quick bounds for narrow intervals of the level.

Rows of neighbouring ears are added up (which stays necessary) until the linear program is small, so
that every interval gets a bound in a second or two; the weakest interval is halved, then looked at
with finer rows, then with lifted ones, until nothing is left to do or time is over.
"""

import heapq
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from math import ceil, gcd
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from soffit.design.certificate_lift import Lift, make_lift
from soffit.design.certificate_model import INFINITE, IntervalAnswer, Program, no_output

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_COARSE: Final = 160
"""Coverage rows of the first look at an interval."""

_MOST_EARS: Final = 700
"""Up to so many ears can have a row each."""

_FEW: Final = ((_COARSE, 1.13), (350, 1.06), (700, 1.06), (700, 1.03), (700, 1.015))
"""Looks at an interval where the ears are few: coverage rows, and upper over lower end at most."""

_MANY: Final = ((_COARSE, 1.13), (250, 1.06), (350, 1.06), (350, 1.03), (350, 1.015))
"""The same where they are many."""

_LIFTED: Final = 3
"""First look with lifted rows."""

_DEAR: Final = 4.0
"""Cost of giving up the whole level, over the most speakers."""

_LEAST_SECONDS: Final = 0.2
_ROUNDING: Final = 1e-4
"""Taken off a bound before it is rounded up, against the solver's tolerances."""


@dataclass(order=True, slots=True)
class _Open:
    """One interval in the queue, the lowest bound first."""

    bound: int
    low: float
    high: float
    look: int
    """Next look; 0 where the interval is new."""


def whole_bound(program: Program, value: float) -> int:
    """Return the least count that layouts can have which is not under a bound.

    Parameters
    ----------
    program
        Its site variables stand for one, two or four speakers.
    value
        Bound as the solver gave it.
    """
    step = reduce(gcd, (int(w) for w in program.weight))
    return max(1, step * ceil((value - _ROUNDING) / step))


def relax_intervals(
    program: Program, intervals: Sequence[tuple[float, float, int]], most: int, seconds: float
) -> list[IntervalAnswer]:
    """Bound intervals of the level by linear programs, the weakest first.

    Parameters
    ----------
    program
        The program.
    intervals
        Lower end, upper end, and what is known of each.
    most
        Bounds above this end an interval.
    seconds
        Time at most. [s]

    Returns
    -------
    list of IntervalAnswer
        Together they cover the same levels; wide intervals may have been split.
    """
    end = time.monotonic() + seconds
    looks = _FEW if len(program.ear_m) <= _MOST_EARS else _MANY
    queue = [_Open(bound, low, high, 0) for low, high, bound in intervals]
    with no_output():
        return _weakest_first(program, queue, most, (looks, end))


def _weakest_first(
    program: Program, queue: list[_Open], most: int, how: tuple[Sequence[tuple[int, float]], float]
) -> list[IntervalAnswer]:
    looks, end = how
    heapq.heapify(queue)
    done: list[IntervalAnswer] = []
    lift: Lift | None = None
    is_by_clock = False
    while queue:
        item = heapq.heappop(queue)
        left = end - time.monotonic()
        spent = item.look >= len(looks)
        if item.bound > most or spent or left < _LEAST_SECONDS:
            is_by_clock |= item.bound <= most and not spent
            done.append(_answer(item, most, is_by_clock=is_by_clock))
            if spent:  # nothing more can be done about the weakest, so the others can wait
                break
            continue
        if item.look >= _LIFTED and lift is None:
            lift = make_lift(program, item.low, item.high, left / 3.0)
            left = end - time.monotonic()
        used = lift if item.look >= _LIFTED else None
        rows = looks[item.look][0]
        bound = _relaxed(program, (item.low, item.high), most, (rows, used, left))
        item.bound = max(item.bound, bound)
        for part in _next(item, looks):
            heapq.heappush(queue, part)
    done.extend(_answer(item, most, is_by_clock=False) for item in queue)
    return done


def _next(item: _Open, looks: Sequence[tuple[int, float]]) -> list[_Open]:
    """Halve what is too wide for the next look."""
    look = item.look + 1
    if look == len(looks) or item.high / item.low <= looks[look][1]:
        return [_Open(item.bound, item.low, item.high, look)]
    middle = float(np.sqrt(item.low * item.high))
    return [
        _Open(item.bound, item.low, middle, item.look),
        _Open(item.bound, middle, item.high, item.look),
    ]


def _answer(item: _Open, most: int, *, is_by_clock: bool) -> IntervalAnswer:
    return IntervalAnswer(
        low=item.low,
        high=item.high,
        bound=min(item.bound, most + 1),
        chosen=(),
        is_finished=item.bound > most,
        is_by_clock=is_by_clock,
    )


def blocks_of(program: Program, most_rows: int) -> Any:  # noqa: ANN401 a sparse matrix
    """Return which ears are added up in which row.

    Parameters
    ----------
    program
        Ears with their places.
    most_rows
        Rows at most.

    Returns
    -------
    scipy.sparse.csr_array
        (n_rows, n_ears), the ears that each represents as values.
    """
    from scipy.sparse import csr_array  # noqa: PLC0415 loaded in the child only

    n = len(program.ear_m)
    if n <= most_rows:
        label = np.arange(n)
    else:
        size = float(np.sqrt(np.prod(np.ptp(program.ear_m, axis=0) + 0.5) / most_rows))
        while True:
            cell = np.floor((program.ear_m - program.ear_m.min(axis=0) + 1e-6) / size)
            label = np.unique(cell, axis=0, return_inverse=True)[1].reshape(-1)
            if label.max() < most_rows:
                break
            size *= 1.05
    weight = program.ear_weight.astype(np.float64)
    return csr_array((weight, (label, np.arange(n))), shape=(int(label.max()) + 1, n))


def _relaxed(
    program: Program, interval: tuple[float, float], most: int, how: tuple[int, Lift | None, float]
) -> int:
    """Bound of one interval; 1 where time ended it."""
    from importlib import import_module  # noqa: PLC0415 loaded in the child only

    highspy: Any = import_module("highspy")
    rows, lift, seconds = how
    table = _linear(program, interval, rows, lift, most)
    if table is None:
        return most + 1
    solver = highspy.Highs()
    for name, value in (
        ("output_flag", False),
        ("threads", 1),
        ("random_seed", 1),
        ("solver", "simplex" if rows == _COARSE else "ipm"),
        ("run_crossover", "off"),
        ("time_limit", seconds),
    ):
        solver.setOptionValue(name, value)
    solver.passModel(_packed(highspy, table))
    solver.run()
    solution = solver.getSolution()
    if not solution.dual_valid:
        return 1
    value = table.bound(np.array(solution.row_dual))
    return most + 1 if value > most + 1.0 else whole_bound(program, value)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Table:
    """A linear program: minimise cost, rows and columns within limits.

    Parameters
    ----------
    matrix
        Sparse (n_rows, n_columns).
    cost, lower, upper : (n_columns,)
        Of the columns.
    least, greatest : (n_rows,)
        Of the rows.
    n_true
        Columns that the certificate knows; the last one only keeps the solver's program feasible.
    """

    matrix: Any
    cost: FloatArray
    lower: FloatArray
    upper: FloatArray
    least: FloatArray
    greatest: FloatArray
    n_true: int

    def bound(self, dual: FloatArray) -> float:
        """Return the bound that multipliers prove, whatever the solver's tolerances were.

        Parameters
        ----------
        dual : (n_rows,)
            Any multipliers; those of the wrong sign are dropped.

        Returns
        -------
        float
            min over the box of the columns of cost + multipliers times what rows lack.
        """
        up = np.where(self.least > -INFINITE / 10, np.maximum(dual, 0.0), 0.0)
        down = np.where(self.greatest < INFINITE / 10, np.minimum(dual, 0.0), 0.0)
        constant = float(up[up > 0.0] @ self.least[up > 0.0])
        constant += float(down[down < 0.0] @ self.greatest[down < 0.0])
        reduced = (self.cost - self.matrix.T @ (up + down))[: self.n_true]
        ends = np.where(reduced > 0.0, self.lower[: self.n_true], self.upper[: self.n_true])
        return constant + float(reduced @ ends)


def _packed(highspy: Any, table: _Table) -> Any:  # noqa: ANN401 a module without types
    lp = highspy.HighsLp()
    lp.num_row_, lp.num_col_ = table.matrix.shape
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = table.cost, table.lower, table.upper
    lp.row_lower_, lp.row_upper_ = table.least, table.greatest
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = table.matrix.indptr.astype(np.int32)
    lp.a_matrix_.index_ = table.matrix.indices.astype(np.int32)
    lp.a_matrix_.value_ = table.matrix.data
    return lp


def _linear(
    program: Program,
    interval: tuple[float, float],
    most_rows: int,
    lift: Lift | None,
    most: int,
) -> _Table | None:
    """Minimise the count subject to coverage, outliers and what is too loud; no whole numbers.

    Columns: sites, T, one per ear below, one per row of ears for those above.
    """
    from scipy.sparse import csr_array, eye_array, hstack, vstack  # noqa: PLC0415

    low, high = interval
    weight, ears = program.weight.astype(np.float64), program.ear_weight.astype(np.float64)
    total = program.gain.T + program.fixed[:, None]
    loud = total > program.ratio * high
    usable = usable_sites(program, low, loud)
    if not usable.any():
        return None
    loud &= usable
    cover, relief = np.minimum(program.gain.T, high), None
    if lift is not None:
        cover, relief = lift.rows(program, low, high)
    cover = cover * usable
    block = blocks_of(program, most_rows)
    size = np.asarray(block.sum(axis=1)).reshape(-1)
    left_out = high * block if relief is None else high * (block + block @ csr_array(relief))
    hit = np.flatnonzero((block @ loud.astype(np.float64)).any(axis=1))
    n_sites, n_ears, n_above = len(weight), len(ears), len(hit)
    n_rows, fixed = block.shape[0], block @ program.fixed
    level, below = n_sites, n_sites + 1
    above = below + n_ears
    n = above + n_above
    tables = [_coverage(block @ cover, size, left_out, csr_array((n_rows, n_above)))]
    least, greatest = [-fixed], [np.full(n_rows, INFINITE)]
    if n_above:
        # An ear that a site alone makes too loud is not covered by it: it is left out instead.
        own = high * eye_array(n_above)
        quiet = (block @ np.where(loud, 0.0, cover))[hit]
        tables.append(_coverage(quiet, size[hit], left_out[hit], own))
        tables.append(_above(block, loud, hit, n_ears))
        least += [-fixed[hit], np.zeros(tables[-1].shape[0])]
        greatest += [np.full(len(rows), INFINITE) for rows in least[1:]]
    budget = np.zeros((2, n))
    budget[0, below:above], budget[1, above:] = ears, 1.0
    tables.append(csr_array(budget))
    least.append(np.full(2, -INFINITE))
    greatest.append(np.full(2, float(program.allowed)))
    # Levels that no layout reaches would make the program infeasible; giving T up costs too much.
    spare = np.zeros(sum(len(rows) for rows in least))
    spare[:n_rows] = size
    spare[n_rows : n_rows + n_above] = size[hit]
    matrix = hstack([vstack(tables), csr_array(spare[:, None])]).tocsr()
    return _Table(
        matrix=matrix,
        cost=np.concatenate([weight, np.zeros(n - n_sites), [_DEAR * most / high]]),
        lower=np.concatenate([np.zeros(level), [low], np.zeros(n - level)]),
        upper=np.concatenate([usable, [high], np.ones(n_ears), size[hit], [high]]),
        least=np.concatenate(least),
        greatest=np.concatenate(greatest),
        n_true=n,
    )


def _coverage(sites: FloatArray, size: FloatArray, below: Any, above: Any) -> Any:  # noqa: ANN401
    """Rows that say that ears are covered up to T, or left out."""
    from scipy.sparse import csr_array, hstack  # noqa: PLC0415

    return hstack([csr_array(sites), csr_array(-size[:, None]), below, above]).tocsr()


def _above(block: Any, loud: BoolArray, hit: IntArray, n_ears: int) -> Any:  # noqa: ANN401
    """Rows that say that a chosen site leaves the ears out that it alone makes too loud."""
    from scipy.sparse import coo_array  # noqa: PLC0415

    loud_in = (block @ loud.astype(np.float64))[hit]
    row, site = np.nonzero(loud_in > 0.0)
    one, first = np.arange(len(row)), loud.shape[1] + 1 + n_ears
    values = np.concatenate([-loud_in[row, site], np.ones(len(one))])
    places = (np.tile(one, 2), np.concatenate([site, first + row]))
    return coo_array((values, places), shape=(len(one), first + len(hit))).tocsr()


def usable_sites(program: Program, low: float, loud: BoolArray) -> BoolArray:
    """Return the sites that a layout can use in an interval of the level.

    Parameters
    ----------
    program
        The program.
    low
        Lower end of the interval.
    loud : (n_ears, n_sites)
        Ears that a site alone makes too loud, whatever the level in the interval.

    Returns
    -------
    (n_sites,)
        False where a site alone, or together with any others that go with it, leaves too many
        ears too loud or not covered.
    """
    ears = program.ear_weight.astype(np.float64)
    alone = ears @ loud
    usable = alone <= program.allowed
    shared = (loud * ears[:, None]).T.astype(np.float32) @ loud.astype(np.float32)
    goes = alone[:, None] + alone[None, :] - shared <= program.allowed + 1e-3
    gain = program.gain.T.astype(np.float32)
    while usable.any():
        mates = (goes & usable[None, :]).astype(np.float32)
        reach = gain @ mates.T + program.fixed[:, None]
        bare = ears @ (reach < low * (1.0 - 1e-4))
        still = usable & (bare <= program.allowed)
        if np.array_equal(still, usable):
            break
        usable = still
    return usable
