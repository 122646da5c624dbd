"""Prove how few speakers can meet a brief, or say how far the proof came.

For every interval of the level an integer program looks for a layout with fewer speakers; where all
intervals are shown to hold none, no arrangement of the given sites meets the brief with fewer.
"""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import floor
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.child import run_within
from soffit.decibel import power_ratio
from soffit.design.certificate_model import (
    IntervalAnswer,
    Program,
    level_range,
    solve_intervals,
)
from soffit.design.certificate_relaxed import relax_intervals
from soffit.design.place_ceiling import Span2
from soffit.design.place_field import Field
from soffit.design.place_search import spread_of
from soffit.design.tiles import Sites, to_local
from soffit.errors import ChildError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

INTERVAL_RATIO: Final = 1.12
"""Upper over lower end of one interval of the level."""

_FIRST_NODES: Final = 400
"""Branch-and-bound nodes of the first look at every interval."""

_AT_ONCE: Final = 4
"""Intervals that one child looks at with few nodes."""

_RELAX_SHARE: Final = 0.95
"""Share of the time for bounds without whole numbers; small rooms need little of it."""

_KILL_AFTER: Final = 5.0
"""Seconds after its own limit at which a solver is killed."""

_MEMORY_BYTES: Final = 3 * 1024**3

MirrorText = {
    (True, True): "mirror-symmetric about both axes",
    (True, False): "mirror-symmetric about one axis",
    (False, True): "mirror-symmetric about one axis",
    (False, False): "any arrangement",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """What is proven about the count.

    Parameters
    ----------
    best_count
        Fewest speakers of a layout that was found to meet the brief at these ears; ``None`` if
        none was found.
    bound
        No arrangement within the scope meets the brief with fewer.
    is_proven
        Whether the two are equal, or no arrangement exists at all.
    gap_ratio
        (best - bound) / best.
    scope
        Sites, symmetry, levels and listener grid for which it holds.
    text
        One sentence for the papers.
    column, row
        Sites of the best layout found.
    is_reproducible
        False where time, not counted work, ended a solve.
    n_intervals
        Intervals of the level that were looked at.
    """

    best_count: int | None
    bound: int
    is_proven: bool
    gap_ratio: float
    scope: str
    text: str
    column: tuple[int, ...]
    row: tuple[int, ...]
    is_reproducible: bool
    n_intervals: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fold:
    """Sites and ears folded by mirrors.

    Parameters
    ----------
    orbits
        Site indices of each variable.
    ears
        Representative ears.
    ear_weight : (n,)
        Ears that each represents.
    mirrors
        Whether folded along x and y.
    """

    orbits: tuple[tuple[tuple[int, int], ...], ...]
    ears: IntArray
    ear_weight: IntArray
    mirrors: tuple[bool, bool]


def prove_count(
    part: Span2,
    *,
    spread_db: float,
    share: float,
    known: tuple[IntArray, IntArray] | None = None,
    is_folded: bool = True,
    nodes: int = 20_000,
    seconds: float = 60.0,
    progress: Callable[[float, str], None] | None = None,
) -> Certificate:
    """Prove the least number of speakers, or bound it.

    Parameters
    ----------
    part
        Sites, and the field at the ears of the proof (a 0.5 m listener grid is usual).
    spread_db
        Spread that the brief allows. [dB]
    share
        Share of the ears that it holds.
    known
        Columns and rows of a layout to start from, such as the best lattice.
    is_folded
        Whether mirror-symmetric rooms are folded; the proof then holds for mirror-symmetric
        arrangements.
    nodes
        Branch-and-bound nodes per interval.
    seconds
        Time for all intervals together, after which the proof is left open. [s]
    progress
        Told the share done and what is being done.

    Returns
    -------
    Certificate
        Bound with its scope.
    """
    tell = progress or (lambda _done, _text: None)
    fold = _folded(part, is_folded=is_folded)
    program = _program(part.field, part.sites, fold, spread_db, share)
    run = _Run(part, fold, program, spread_db, share, _Clock(seconds), tell)
    run.start(known)
    run.look(nodes)
    bound = run.bound()
    best = run.best
    proven = not run.open
    scope = (
        f"{len(fold.orbits)} free places, {MirrorText[fold.mirrors]}, all levels, "
        f"{part.field.ears.text}"
    )
    return Certificate(
        best_count=best,
        bound=bound,
        is_proven=proven,
        gap_ratio=0.0 if not best else (best - bound) / best,
        scope=scope,
        text=_text(best, bound, spread_db, share, scope, is_proven=proven),
        column=tuple(int(c) for c, _ in run.places),
        row=tuple(int(r) for _, r in run.places),
        is_reproducible=not run.is_by_clock,
        n_intervals=run.looked,
    )


class _Clock:
    """Time left; a wall-clock stop is the exception and is reported."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self._end = time.monotonic() + seconds

    def left(self) -> float:
        return self._end - time.monotonic()


class _Run:
    """Intervals still open, with their bounds; the lowest is looked at next."""

    def __init__(
        self,
        part: Span2,
        fold: _Fold,
        program: Program,
        spread_db: float,
        share: float,
        clock: _Clock,
        tell: Callable[[float, str], None],
    ) -> None:
        self.part, self.fold, self.program = part, fold, program
        self.spread_db, self.share, self.clock, self.tell = spread_db, share, clock, tell
        self.best: int | None = None
        self.most = part.sites.count_free
        self.places: list[tuple[int, int]] = []
        self.open: dict[tuple[float, float], int] = {}
        self.looked = 0
        self.is_by_clock = False

    def start(self, known: tuple[IntArray, IntArray] | None) -> None:
        if known is not None and len(known[0]):
            self.accept(list(zip(known[0].tolist(), known[1].tolist(), strict=True)))
        for low, high in _intervals(self.program, self.most):
            self.open[low, high] = _energy_bound(self.program, low)

    def accept(self, places: list[tuple[int, int]]) -> bool:
        """Take a layout as the best where it meets the brief at these ears."""
        array = np.array(places, dtype=np.int64)
        energy = self.part.field.energy(self.part.sites.site_m(array[:, 0], array[:, 1]))
        if spread_of(energy, self.share) > self.spread_db + 1e-6:
            return False
        self.best, self.most, self.places = len(places), len(places) - 1, places
        return True

    def look(self, nodes: int) -> None:
        """Bound all intervals without whole numbers, then with few nodes, then one by one."""
        self.relax()
        steps = (min(_FIRST_NODES, nodes), nodes)
        stage = dict.fromkeys(self.open, 0)
        while self.prune():
            left = self.clock.left()
            if left <= 0.0:
                self.is_by_clock = True
                return
            now = min(stage[key] for key in self.open)
            if now >= len(steps):
                return
            keys = [k for _, k in sorted((self.open[k], k) for k in self.open if stage[k] == now)]
            keys = keys[: _AT_ONCE if now == 0 else 1]
            self.tell(1.0 - left / self.clock.seconds, f"proving: {len(self.open)} levels open")
            share = (0.6 if now < len(steps) - 1 else 1.0) * left
            answers = _solved(self.program, keys, self.most, steps[now], share)
            broke_off = bool(answers) and bool(answers[-1].chosen)
            for key in keys[: len(answers)] if broke_off else keys:
                stage[key] += 1
            self.is_by_clock |= len(answers) < len(keys) and not broke_off
            for key, answer in zip(keys, answers, strict=False):
                self.take(key, answer)
                if answer.chosen:
                    stage[key] = now
                elif answer.is_finished:
                    stage[key] = len(steps)
                self.is_by_clock |= answer.is_by_clock and now == len(steps) - 1

    def relax(self) -> None:
        """Bound all intervals by linear programs, narrowing the weakest."""
        left = self.clock.left()
        if not self.prune() or left <= 0.0:
            return
        self.tell(0.0, f"bounding: {len(self.open)} levels open")
        keys = [(low, high, bound) for (low, high), bound in self.open.items()]
        share = _RELAX_SHARE * left
        try:
            answers = run_within(
                share + _KILL_AFTER,
                _MEMORY_BYTES,
                relax_intervals,
                self.program,
                keys,
                self.most,
                share,
            )
        except ChildError:
            self.is_by_clock = True
            return
        self.looked += len(answers)
        self.open = {(answer.low, answer.high): answer.bound for answer in answers}
        self.is_by_clock |= any(answer.is_by_clock for answer in answers)

    def take(self, key: tuple[float, float], answer: IntervalAnswer) -> None:
        """Note what was found in one interval."""
        self.looked += 1
        if answer.chosen:
            self.accept([p for index in answer.chosen for p in self.fold.orbits[index]])
        self.open[key] = max(self.open[key], answer.bound)

    def prune(self) -> bool:
        """Close intervals whose bound leaves no room for fewer speakers."""
        for key in [key for key, bound in self.open.items() if bound > self.most]:
            del self.open[key]
        return bool(self.open)

    def bound(self) -> int:
        return min([self.most + 1, *self.open.values()])


def _text(
    best: int | None, bound: int, spread_db: float, share: float, scope: str, *, is_proven: bool
) -> str:
    brief = f"±{round(spread_db / 2, 2):g} dB over {share:.0%} of the ears"
    if is_proven and best is None:
        return f"no arrangement meets {brief} ({scope})."
    if is_proven:
        return f"no arrangement with fewer than {best} speakers meets {brief} ({scope})."
    if best is None:
        return f"{brief} takes at least {bound} speakers, none found so far ({scope})."
    gap = (best - bound) / best
    return (
        f"{best} speakers meet {brief}, fewer than {bound} cannot: a gap of {gap:.0%} is open"
        f" ({scope})."
    )


def _intervals(program: Program, most: int) -> Iterator[tuple[float, float]]:
    low, high = level_range(program, most)
    while low < high:
        yield low, min(low * INTERVAL_RATIO, high)
        low *= INTERVAL_RATIO


def _energy_bound(program: Program, level: float) -> int:
    """Speakers that the counted ears need at a level by their energy alone."""
    n = int(program.ear_weight.sum())
    per_speaker = float(((program.gain @ program.ear_weight) / program.weight).max())
    needed = (n - program.allowed) * level - float(program.fixed @ program.ear_weight)
    return max(1, int(np.ceil(needed / per_speaker - 1e-9)))


def _solved(
    program: Program,
    intervals: list[tuple[float, float]],
    most: int,
    nodes: int,
    seconds: float,
) -> list[IntervalAnswer]:
    """Answers of a child that is killed when it overruns; none then."""
    try:
        return run_within(
            seconds + _KILL_AFTER,
            _MEMORY_BYTES,
            solve_intervals,
            program,
            intervals,
            most,
            nodes,
            seconds,
        )
    except ChildError:
        return []


def _folded(part: Span2, *, is_folded: bool) -> _Fold:
    """Fold sites and ears along each axis about which both are mirror-symmetric."""
    sites, ears = part.sites, part.field.ears.point_m
    x, y = to_local(ears[:, :2], origin=sites.origin, angle_rad=sites.angle_rad)
    free = sites.is_free
    mirrors = (False, False)
    if is_folded and not np.any(part.field.fixed_energy) and sites.seat_m is None:
        flat = bool(np.ptp(sites.height_m[sites.is_inside]) < 1e-9)
        walls = part.field.walls.outer_m
        mirrors = (
            flat and _is_mirrored(sites, x, y, walls, axis=0),
            flat and _is_mirrored(sites, x, y, walls, axis=1),
        )
        if part.field.walls.holes_m:
            mirrors = (False, False)
    seen: set[tuple[int, int]] = set()
    orbits: list[tuple[tuple[int, int], ...]] = []
    n_columns, n_rows = _ends(free, 0), _ends(free, 1)
    for column, row in np.argwhere(free).tolist():
        if (column, row) in seen:
            continue
        columns = {column, n_columns - column} if mirrors[0] else {column}
        rows = {row, n_rows - row} if mirrors[1] else {row}
        orbit = tuple(sorted((c, r) for c in columns for r in rows))
        seen |= set(orbit)
        orbits.append(orbit)
    keep = np.ones(len(ears), dtype=bool)
    weight = np.ones(len(ears), dtype=np.int64)
    for is_on, values in zip(mirrors, (x, y), strict=True):
        if is_on:
            middle = (values.min() + values.max()) / 2
            keep &= values <= middle + 1e-6
            weight *= np.where(np.abs(values - middle) < 1e-6, 1, 2)
    return _Fold(
        orbits=tuple(orbits),
        ears=np.flatnonzero(keep),
        ear_weight=weight[keep],
        mirrors=mirrors,
    )


def _ends(free: BoolArray, axis: int) -> int:
    """First plus last index that has a free site along one axis."""
    lines = np.flatnonzero(free.any(axis=1 - axis))
    return int(lines[0] + lines[-1])


def _is_mirrored(
    sites: Sites, x: FloatArray, y: FloatArray, walls: FloatArray, *, axis: int
) -> bool:
    """Whether free sites, ears and walls are their own mirror images about one middle."""
    free = sites.is_free if axis == 0 else sites.is_free.T
    lines = np.flatnonzero(free.any(axis=1))
    inner = free[lines[0] : lines[-1] + 1]
    if not np.array_equal(inner, inner[::-1]):
        return False
    local = sites.local_m()[axis]
    middle = (local[lines[0]] + local[lines[-1]]) / 2
    wx, wy = to_local(walls, origin=sites.origin, angle_rad=sites.angle_rad)
    for values, others in (
        ((x, y) if axis == 0 else (y, x)),
        ((wx, wy) if axis == 0 else (wy, wx)),
    ):
        here = {(round(a, 4), round(b, 4)) for a, b in zip(values, others, strict=True)}
        there = {
            (round(2 * middle - a, 4), round(b, 4)) for a, b in zip(values, others, strict=True)
        }
        if len(here ^ there) > 0 and not _is_same(here, there):
            return False
    return True


def _is_same(here: set[tuple[float, float]], there: set[tuple[float, float]]) -> bool:
    """Whether two sets of points agree within a millimetre."""
    a = np.array(sorted(here))
    b = np.array(sorted(there))
    return a.shape == b.shape and bool(np.all(np.abs(a - b) < 1e-3))


def _program(field: Field, sites: Sites, fold: _Fold, spread_db: float, share: float) -> Program:
    keep = np.zeros(field.ears.count, dtype=bool)
    keep[fold.ears] = True
    some = field.thinned(keep)
    flat = np.array([place for orbit in fold.orbits for place in orbit], dtype=np.int64)
    columns = some.columns(sites.site_m(flat[:, 0], flat[:, 1]))
    starts = np.cumsum([0, *(len(orbit) for orbit in fold.orbits)])[:-1]
    gain = np.add.reduceat(columns, starts, axis=0)
    scale = float(columns.max())
    n = int(fold.ear_weight.sum())
    return Program(
        gain=gain / scale,
        weight=np.array([len(orbit) for orbit in fold.orbits], dtype=np.int64),
        ear_weight=fold.ear_weight,
        spread_db=spread_db,
        share=share,
        ratio=float(power_ratio(spread_db)),
        # T is the interpolated percentile: the order statistics at and below it may be lower.
        allowed=floor((n - 1) * (1.0 - share) / 2.0) + 1,
        fixed=some.fixed_energy / scale,
        ear_m=some.ears.point_m[:, :2],
        site_m=sites.site_m(flat[starts, 0], flat[starts, 1])[:, :2],
    )
