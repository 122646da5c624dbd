"""Exhaustive search of the family: every lattice screened, the best of every count made exact.

Screening sorts the energies of each layout. Where ears are thinned, order statistics of the thinned
set bound the spread over all ears from below, so what is dropped is proven not to be on the front.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio_db
from soffit.design.place_engine import Engine
from soffit.design.place_family import (
    Family,
    Kind,
    Pair,
    Progression,
    Span,
    membership,
    most_of,
    pairs,
    progressions,
)
from soffit.design.place_mirror import mirrors_of
from soffit.design.tiles import Sites

FloatArray = NDArray[np.float64]
SingleArray = NDArray[np.float32]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_CHUNK: Final = 3_000_000
"""Energies sorted at a time."""

Tick = Callable[[float], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """A set of sites, and the pattern that it belongs to.

    Parameters
    ----------
    column, row : (n,)
        Site indices.
    kind
        Pattern.
    pitch_x_m, pitch_y_m
        Mean pitches along local x and y; 0 for a single line. [m]
    is_even
        Whether each axis has one pitch only.
    off_middle_m
        How far its middle lies from the room's. [m]
    lines
        Speakers along x and y, as people count them.
    nudged, omitted
        Speakers one site beside the pattern; places left empty.
    """

    column: IntArray
    row: IntArray
    kind: Kind
    pitch_x_m: float
    pitch_y_m: float
    is_even: bool
    off_middle_m: float
    lines: tuple[int, int]
    nudged: int = 0
    omitted: int = 0

    @property
    def count(self) -> int:
        """Number of speakers."""
        return len(self.column)


def keeps_limits(layout: Layout, family: Family) -> bool:
    """Return whether a layout has no more speakers beside its pattern, or left out, than allowed.

    Parameters
    ----------
    layout
        A mended lattice or a hand pattern.
    family
        Shares allowed.
    """
    wanted = layout.count + layout.omitted
    if family.is_symmetric and layout.nudged + layout.omitted > 0:
        places = zip(layout.column.tolist(), layout.row.tolist(), strict=True)
        if not mirrors_of(list(places)):
            return False
    return layout.nudged <= most_of(family.nudge_ratio, wanted) and layout.omitted <= most_of(
        family.omit_ratio, wanted
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scored:
    """A layout with its exact spread."""

    layout: Layout
    spread_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """What is searched and how far.

    Parameters
    ----------
    least_count, most_count
        Counts of interest.
    least_pitch_m
        Smallest pitch. [m]
    share
        Share of the ears that the spread holds.
    """

    least_count: int
    most_count: int
    least_pitch_m: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Screened:
    """All lattices of the family that were screened.

    Parameters
    ----------
    count, blocked : (n,)
        Speakers, and how many of them are in the way of something.
    spread_db, bound_db : (n,)
        Spread at the ears used, and what the spread over all ears cannot be below. [dB]
    first, second : (n,)
        Index of the pair and of the progression; with ``table`` they name the layout.
    tables
        Pairs and progressions by search.
    table : (n,)
        Which of the tables.
    """

    count: IntArray
    blocked: IntArray
    spread_db: FloatArray
    bound_db: FloatArray
    first: IntArray
    second: IntArray
    table: IntArray
    tables: tuple["_Table", ...]

    def layout(self, index: int) -> Layout:
        """Return a layout by its place in the arrays.

        Parameters
        ----------
        index
            Place.
        """
        table = self.tables[int(self.table[index])]
        return table.layout(int(self.first[index]), int(self.second[index]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Table:
    sites: Sites
    is_swapped: bool
    pairs: tuple[Pair, ...]
    seconds: tuple[Progression, ...]
    pitch_m: tuple[float, float]
    """Site pitch along the first and the second axis. [m]"""

    def layout(self, first: int, second: int) -> Layout:
        pair, lines = self.pairs[first], self.seconds[second]
        other = pair.other or pair.main
        places = [
            (a, b)
            for number, b in enumerate(lines.sites)
            for a in (other if number % 2 else pair.main).sites
        ]
        array = np.array(places, dtype=np.int64)
        column, row = (array[:, 1], array[:, 0]) if self.is_swapped else (array[:, 0], array[:, 1])
        inside = self.sites.is_inside[column, row]
        pitch = (pair.main.pitch * self.pitch_m[0], lines.pitch * self.pitch_m[1])
        off = (pair.main.off_middle * self.pitch_m[0], lines.off_middle * self.pitch_m[1])
        if pair.is_offset and pair.other is not None:
            both = sorted((*pair.main.sites, *pair.other.sites))
            ends = (pair.main.sites[0] + pair.main.sites[-1]) / 2.0 - pair.main.off_middle
            off = (((both[0] + both[-1]) / 2.0 - ends) * self.pitch_m[0], off[1])
        number = (max(len(pair.main.sites), len(other.sites)), len(lines.sites))
        kind: Kind = "aligned"
        if pair.is_offset:
            kind = "columns offset" if self.is_swapped else "rows offset"
        turn = -1 if self.is_swapped else 1
        return Layout(
            column=column[inside],
            row=row[inside],
            kind=kind,
            pitch_x_m=pitch[::turn][0],
            pitch_y_m=pitch[::turn][1],
            is_even=pair.main.is_even and lines.is_even,
            off_middle_m=float(np.hypot(*off)),
            lines=(number[::turn][0], number[::turn][1]),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Planned:
    """Lattices of one table that are to be screened.

    Parameters
    ----------
    table
        Pairs and progressions.
    lines
        Their line sets.
    counts, blocked : (n_pairs, n_seconds)
        Speakers, and how many of them are in the way.
    wanted : (n_pairs, n_seconds)
        Which are screened.
    """

    table: "_Table"
    lines: "_Lines | None"
    counts: IntArray
    blocked: IntArray
    wanted: BoolArray

    @property
    def number(self) -> int:
        """Lattices to screen."""
        return int(self.wanted.sum())


def spread_of(energy: FloatArray, share: float) -> float:
    """Return the spread that holds a share of the ears, percentiles as in ``acoustics.evenness``.

    Parameters
    ----------
    energy : (n_ears,)
        Energies.
    share
        Share inside.

    Returns
    -------
    float
        Distance of the percentiles. [dB]
    """
    ordered = np.sort(energy)
    return float(_spread_db(ordered[None, :], share)[0])


def spreads_of(energy: FloatArray, share: float) -> FloatArray:
    """Return the spread of several layouts, or of one layout with several taps.

    Parameters
    ----------
    energy : (n_layouts, n_ears)
        Energies.
    share
        Share inside.

    Returns
    -------
    (n_layouts,)
        Distances of the percentiles. [dB]
    """
    return _spread_db(np.sort(energy, axis=1), share)


def _spread_db(ordered: NDArray[np.floating], share: float) -> FloatArray:
    """Spread of rows that are sorted; levels interpolate between neighbours."""
    n = ordered.shape[1]
    tail = (1.0 - share) / 2.0
    ends = []
    for place in ((n - 1) * tail, (n - 1) * (1.0 - tail)):
        low = int(place)
        part = place - low
        pair = ordered[:, [low, min(low + 1, n - 1)]].astype(np.float64)
        levels = power_ratio_db(np.maximum(pair, 1e-300))
        ends.append(levels[:, 0] * (1.0 - part) + levels[:, 1] * part)
    return np.asarray(ends[1] - ends[0])


def _bound_db(ordered: NDArray[np.floating], share: float, n_all: int) -> FloatArray:
    """Return what the spread over all ears is at least: order statistics of a subset."""
    n = ordered.shape[1]
    rank = ceil((n_all - 1) * (1.0 - share) / 2.0)
    if n - 1 - rank <= rank:
        return np.zeros(len(ordered))
    low = ordered[:, rank].astype(np.float64)
    high = ordered[:, n - 1 - rank].astype(np.float64)
    return power_ratio_db(np.maximum(high, 1e-300) / np.maximum(low, 1e-300))


def spans(sites: Sites, walls_local: tuple[float, float, float, float]) -> tuple[Span, Span]:
    """Return the two axes of a lattice of sites.

    Parameters
    ----------
    sites
        Candidate positions.
    walls_local
        Least and greatest local x, then y, of the ceiling. [m]

    Returns
    -------
    tuple of Span
        Along local x and y.
    """
    columns = np.flatnonzero(sites.is_inside.any(axis=1))
    rows = np.flatnonzero(sites.is_inside.any(axis=0))
    x0, x1, y0, y1 = walls_local
    out = []
    for index, low, high, pitch, first in (
        (columns, x0, x1, sites.pitch_x_m, sites.first_column),
        (rows, y0, y1, sites.pitch_y_m, sites.first_row),
    ):
        out.append(
            Span(
                first=int(index[0]),
                last=int(index[-1]),
                wall_low=low / pitch - 0.5 - first,
                wall_high=high / pitch - 0.5 - first,
                pitch_m=pitch,
            )
        )
    return out[0], out[1]


def plan_lattices(
    sites: Sites, axes: tuple[Span, Span], *, family: Family, scope: Scope
) -> tuple[Planned, ...]:
    """List every lattice of the family, so that the work is known before it is done.

    Parameters
    ----------
    sites
        Candidate positions.
    axes
        From :func:`spans`.
    family, scope
        What is searched.

    Returns
    -------
    tuple of Planned
        Aligned ones, then rows and columns offset.
    """
    work = [(False, False), (False, True), (True, True)] if family.has_offset else [(False, False)]
    out = []
    for is_swapped, is_offset in work:
        along, across = axes[::-1] if is_swapped else axes
        table = _table(sites, along, across, family, scope, is_swapped, is_offset)
        if table.pairs and table.seconds:
            lines: _Lines | None = (every_line := _Lines.of(table))
            counts, blocked = _counts(table, every_line)
            wanted = _wanted(table, counts, blocked, family, scope, every_line.is_offset)
            # Lines of no lattice of interest are not prepared.
            keep, held = np.flatnonzero(wanted.any(axis=1)), np.flatnonzero(wanted.any(axis=0))
            table = replace(
                table,
                pairs=tuple(table.pairs[k] for k in keep),
                seconds=tuple(table.seconds[k] for k in held),
            )
            lines = _Lines.of(table) if table.pairs else None
            every = np.ix_(keep, held)
            counts, blocked, wanted = counts[every], blocked[every], wanted[every]
        else:
            lines, none = None, np.zeros((0, 0), np.int64)
            counts, blocked, wanted = none, none, none.astype(bool)
        out.append(Planned(table=table, lines=lines, counts=counts, blocked=blocked, wanted=wanted))
    return tuple(out)


def screen(
    sites: Sites,
    axes: tuple[Span, Span],
    engine: Engine,
    *,
    family: Family,
    scope: Scope,
    n_all: int,
    tick: Tick | None = None,
    planned: tuple[Planned, ...] | None = None,
) -> Screened:
    """Screen every lattice of the family.

    Parameters
    ----------
    sites
        Candidate positions.
    axes
        From :func:`spans`.
    engine
        Energies.
    family, scope
        What is searched.
    n_all
        Ears in all, of which the engine may use a part.
    tick
        Told the share done.
    planned
        From :func:`plan_lattices` where it was asked for before.

    Returns
    -------
    Screened
        Every lattice with its spread; blocked ones as if nothing were in the way.
    """
    parts: list[list[NDArray[np.generic]]] = []
    plan = planned or plan_lattices(sites, axes, family=family, scope=scope)
    tables = [item.table for item in plan]
    for number, item in enumerate(plan):
        engine_now = engine.swapped() if item.table.is_swapped else engine
        parts += _screen_table(item, engine_now, scope, n_all, number, len(plan), tick)
    if not parts:
        none, empty = np.zeros(0, np.int64), np.zeros(0)
        parts = [[none, none, empty, empty, none, none, none]]
    count, blocked, spread, bound, first, second, which = (
        np.concatenate([part[k] for part in parts]) for k in range(7)
    )
    return Screened(
        count=count.astype(np.int64),
        blocked=blocked.astype(np.int64),
        spread_db=spread.astype(np.float64),
        bound_db=bound.astype(np.float64),
        first=first.astype(np.int64),
        second=second.astype(np.int64),
        table=which.astype(np.int64),
        tables=tuple(tables),
    )


def _table(
    sites: Sites,
    along: Span,
    across: Span,
    family: Family,
    scope: Scope,
    is_swapped: bool,
    is_offset: bool,
) -> _Table:
    def least(span: Span) -> float:
        return scope.least_pitch_m / span.pitch_m

    firsts = progressions(along, least_pitch=least(along), family=family)
    if is_offset:
        chosen = pairs(along, firsts, family, least_pitch=least(along))
        seconds = tuple(
            line
            for line in progressions(
                across, least_pitch=least(across) / 2.0, family=family, is_short=True
            )
            if len(line.sites) >= 2
        )
    else:
        chosen = tuple(Pair(line, None) for line in firsts)
        seconds = progressions(across, least_pitch=least(across), family=family)
    return _Table(
        sites=sites,
        is_swapped=is_swapped,
        pairs=chosen,
        seconds=seconds,
        pitch_m=(along.pitch_m, across.pitch_m),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lines:
    """Line sets of a table by number, so that an engine prepares each once."""

    lines: list[tuple[int, ...]]
    halves: list[tuple[int, ...]]
    main: IntArray
    other: IntArray
    is_offset: bool

    @classmethod
    def of(cls, table: _Table) -> "_Lines":
        is_offset = table.pairs[0].is_offset
        every = {p.main.sites for p in table.pairs}
        every |= {p.other.sites for p in table.pairs if p.other}
        lines = sorted(every)
        where = {line: index for index, line in enumerate(lines)}
        whole = [s.sites for s in table.seconds]
        return cls(
            lines=lines,
            halves=[s[0::2] for s in whole] + [s[1::2] for s in whole] if is_offset else whole,
            main=np.array([where[p.main.sites] for p in table.pairs]),
            other=np.array([where[p.other.sites] if p.other else 0 for p in table.pairs]),
            is_offset=is_offset,
        )

    def prepare(self, engine: Engine) -> None:
        engine.first_axis(self.lines)
        engine.second_axis(self.halves)

    def ordered(self, engine: Engine, pair: int, some: IntArray) -> SingleArray:
        """Energies of some lattices at all ears of the engine, sorted."""
        energy = engine.energy(int(self.main[pair]), some)
        if self.is_offset:
            n_second = len(self.halves) // 2
            energy = energy + engine.energy(int(self.other[pair]), some + n_second)
        if engine.fixed is not None:
            energy = energy + engine.fixed
        energy.sort(axis=1)
        return energy


def _screen_table(
    planned: Planned,
    engine: Engine,
    scope: Scope,
    n_all: int,
    number: int,
    of: int,
    tick: Tick | None,
) -> list[list[NDArray[np.generic]]]:
    table, lines = planned.table, planned.lines
    if lines is None:
        return []
    counts, blocked, wanted = planned.counts, planned.blocked, planned.wanted
    lines.prepare(engine)
    out: list[list[NDArray[np.generic]]] = []
    step = max(1, _CHUNK // engine.n_ears)
    twin, twin_line = _twins(table, engine)
    kept: dict[int, tuple[FloatArray, FloatArray]] = {}
    for pair in range(len(table.pairs)):
        chosen = np.flatnonzero(wanted[pair])
        first = int(twin[pair])
        if first < pair:
            known, lower = kept[first]
            spread, bound = known[twin_line[chosen]], lower[twin_line[chosen]]
        else:
            asked = wanted[pair] | wanted[twin == pair].any(axis=0)
            kept[pair] = _screened(lines, engine, pair, asked, twin_line, scope, n_all, step)
            spread, bound = (values[chosen] for values in kept[pair])
        out.append(
            [
                counts[pair, chosen],
                blocked[pair, chosen],
                spread,
                bound,
                np.full(len(chosen), pair),
                chosen,
                np.full(len(chosen), number),
            ]
        )
        if tick is not None and pair % 16 == 0:
            tick((number + pair / len(table.pairs)) / of)
    return out


def _screened(
    lines: _Lines,
    engine: Engine,
    pair: int,
    asked: BoolArray,
    twin_line: IntArray,
    scope: Scope,
    n_all: int,
    step: int,
) -> tuple[FloatArray, FloatArray]:
    """Spread and bound of one pair with every progression that is asked for; mirror twins once."""
    spread = np.full(len(twin_line), np.nan)
    bound = spread.copy()
    once = np.unique(twin_line[asked])
    for start in range(0, len(once), step):
        some = once[start : start + step]
        energy = lines.ordered(engine, pair, some)
        spread[some] = _spread_db(energy, scope.share)
        bound[some] = (
            spread[some] if engine.thinning == 1 else _bound_db(energy, scope.share, n_all)
        )
    return spread[twin_line], bound[twin_line]


def _twins(table: _Table, engine: Engine) -> tuple[IntArray, IntArray]:
    """First of the mirror images of every pair and of every progression: they have one spread.

    Where the ears are no mirror image of themselves nothing has a twin but itself. Offset lines
    are mirrored along themselves only: across, lines of even number change places.
    """
    twin, line = np.arange(len(table.pairs)), np.arange(len(table.seconds))
    along, across = engine.mirror
    if along is not None:
        keys = [
            (_mirrored(p.main, along), None if p.other is None else _mirrored(p.other, along))
            for p in table.pairs
        ]
        place = {
            (p.main.sites, None if p.other is None else p.other.sites): k
            for k, p in enumerate(table.pairs)
        }
        twin = np.array([min(k, place.get(key, k)) for k, key in enumerate(keys)], dtype=np.int64)
    if across is not None and not table.pairs[0].is_offset:
        where = {s.sites: k for k, s in enumerate(table.seconds)}
        line = np.array(
            [min(k, where.get(_mirrored(s, across), k)) for k, s in enumerate(table.seconds)],
            dtype=np.int64,
        )
    return twin, line


def _mirrored(line: Progression, total: int) -> tuple[int, ...]:
    """Sites of a progression mirrored about the middle of the ears, site i at total - i."""
    return tuple(total - site for site in reversed(line.sites))


def _counts(table: _Table, lines: _Lines) -> tuple[IntArray, IntArray]:
    """Speakers of every pair with every progression, and how many of them are in the way."""
    inside = table.sites.is_inside.astype(np.float32)
    in_way = (table.sites.is_inside & ~table.sites.is_free).astype(np.float32)
    if table.is_swapped:
        inside, in_way = inside.T, in_way.T
    first = membership(lines.lines, inside.shape[0])
    second = membership(lines.halves, inside.shape[1])
    n = len(table.seconds)
    result = []
    for plane in (inside, in_way):
        product = first @ plane @ second.T
        both = product[lines.main][:, :n]
        if lines.is_offset:
            both = both + product[lines.other][:, n:]
        result.append(np.rint(both).astype(np.int64))
    return result[0], result[1]


def _wanted(
    table: _Table,
    counts: IntArray,
    blocked: IntArray,
    family: Family,
    scope: Scope,
    is_offset: bool,
) -> BoolArray:
    pitch_a = np.array([p.main.pitch for p in table.pairs]) * table.pitch_m[0]
    pitch_b = np.array([s.pitch for s in table.seconds]) * table.pitch_m[1]
    low, high = 1.0 / family.aspect_ratio, family.aspect_ratio
    if is_offset:  # rows offset at half the pitch are a square turned by 45 degrees
        low, high = 1.6 * low, 1.3 * high
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = pitch_a[:, None] / pitch_b[None, :]
    fits = (
        (pitch_a[:, None] == 0.0) | (pitch_b[None, :] == 0.0) | ((ratio >= low) & (ratio <= high))
    )
    mendable = np.ceil(max(family.nudge_ratio, family.omit_ratio) * counts - 1e-9)
    return np.asarray(
        fits
        & (counts >= scope.least_count)
        & (counts <= scope.most_count + mendable)
        & (blocked <= mendable)
    )


def exact_spreads(
    screened: Screened, which: IntArray, engine: Engine, *, share: float
) -> FloatArray:
    """Return the spread of some screened lattices at all ears of an engine.

    Parameters
    ----------
    screened
        From :func:`screen`.
    which : (n,)
        Places in its arrays.
    engine
        Usually the one that leaves out no ear.
    share
        Share of the ears inside.

    Returns
    -------
    (n,)
        Spreads. [dB]
    """
    out = np.full(len(which), np.inf)
    step = max(1, _CHUNK // engine.n_ears)
    for number in np.unique(screened.table[which]):
        table = screened.tables[int(number)]
        now = engine.swapped() if table.is_swapped else engine
        lines = _Lines.of(table)
        lines.prepare(now)
        mine = np.flatnonzero(screened.table[which] == number)
        mine = mine[np.argsort(screened.first[which[mine]], kind="stable")]
        firsts = screened.first[which[mine]]
        for pair in np.unique(firsts):
            group = mine[firsts == pair]
            for start in range(0, len(group), step):
                some = group[start : start + step]
                energy = lines.ordered(now, int(pair), screened.second[which[some]])
                out[some] = _spread_db(energy, share)
    return out


def best_by_count(
    screened: Screened,
    exact: Callable[[IntArray], FloatArray] | None,
    *,
    most: int = 6,
    within_db: float = 0.25,
) -> dict[int, list[Scored]]:
    """Return the best lattices of every count with their exact spread.

    Parameters
    ----------
    screened
        From :func:`screen`; only lattices with nothing in the way are used.
    exact
        Spreads over all ears of lattices by their place; ``None`` where screening was exact. [dB]
    most
        So many of each count, for their look.
    within_db
        Every lattice that was screened within this of the front is made exact too; screening
        on thinned ears errs by less, see docs/theory/placing.md. [dB]

    Returns
    -------
    dict
        Layouts by count, best first.
    """
    free = np.flatnonzero(screened.blocked == 0)
    order = free[np.lexsort((screened.spread_db[free], screened.count[free]))]
    if not len(order):
        return {}
    count = screened.count[order]
    starts = np.flatnonzero(np.diff(count, prepend=-1))
    rank = np.arange(len(order)) - np.repeat(starts, np.diff(np.append(starts, len(order))))
    spread = screened.spread_db[order].copy()
    if exact is not None and len(order):
        sure = rank < most
        spread[sure] = exact(order[sure])
        spread[~sure] = np.inf
        if within_db > 0.0:
            front = np.minimum.accumulate(np.minimum.reduceat(spread, starts))
            allowed = np.repeat(front, np.diff(np.append(starts, len(order))))
            near = screened.spread_db[order] < allowed + within_db
            late = np.flatnonzero(~sure & near & (screened.bound_db[order] < allowed))
            spread[late] = exact(order[late])
    out: dict[int, list[Scored]] = {}
    again = np.lexsort((np.round(spread, 6), count))
    for start, stop in zip(starts, np.append(starts[1:], len(order)), strict=True):
        chosen = [k for k in again[start:stop][: 2 * most] if np.isfinite(spread[k])]
        scored = [
            Scored(layout=screened.layout(int(order[k])), spread_db=float(spread[k]))
            for k in chosen
        ]
        scored.sort(key=_rank)
        if scored:
            out[int(count[start])] = scored[:most]
    return out


def _rank(item: Scored) -> tuple[float, float, str, tuple[int, ...]]:
    layout = item.layout
    return (
        round(item.spread_db, 6),
        round(layout.off_middle_m, 6),
        layout.kind,
        (*layout.column.tolist(), *layout.row.tolist()),
    )
