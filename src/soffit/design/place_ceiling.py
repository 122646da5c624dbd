"""Search one ceiling of a room: screen, mend, hand rules, and energies for whoever joins them."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.design.place_engine import (
    Engine,
    TensorEngine,
    ear_grid,
    filled,
    full_engine,
    is_large,
    make_engine,
)
from soffit.design.place_family import LONG_AXIS, Family, Span
from soffit.design.place_field import Field
from soffit.design.place_hand import HandRule, footprint_m, hand_rules
from soffit.design.place_mend import mended
from soffit.design.place_search import (
    Layout,
    Planned,
    Scope,
    Scored,
    Screened,
    best_by_count,
    exact_spreads,
    plan_lattices,
    screen,
    spans,
    spread_of,
)
from soffit.design.tiles import Sites

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_SCREENED_EARS: Final = 7000
"""Ears beyond which screening uses every second one along each axis."""

_MOST_WORK: Final = 600_000_000
"""Energies of one round of screening: lattices times ears; beyond, ears are thinned."""

_LEAST_EARS: Final = 700
"""Ears that screening uses in any case; if that is not enough, pitches are even only."""

_MOST_EXACT: Final = 400_000_000
"""Energies of lattices made exact on separable ears; beyond, fewer of each count are."""

_MOST_PUBLIC: Final = 150_000_000
"""Pairs of speaker and ear made exact without a product; beyond, figures stay as screened."""

_LEAST_SHARE: Final = 0.4
"""Counts from this share of the edge-to-edge hand rule on are tried first."""

_MOST_SHARE: Final = 1.3
"""Up to this multiple of it, and further while the brief is not met."""

Tick = Callable[[float], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Span2:
    """What is searched in one ceiling.

    Parameters
    ----------
    sites
        Candidate positions.
    walls_local
        Least and greatest local x, then y, of the part searched. [m]
    field
        Type, measure, ears.
    """

    sites: Sites
    walls_local: tuple[float, float, float, float]
    field: Field


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CeilingSearch:
    """What was found in one ceiling.

    Parameters
    ----------
    part
        What was searched.
    best
        Layouts by count, best first, nothing in the way.
    mended
        Layouts with nudged or omitted speakers.
    hand
        Hand patterns with their spread.
    footprint_m
        Circle on the ear plane inside which one speaker keeps -6 dB. [m]
    n_tried
        Lattices screened.
    thinning
        Every how many-th ear screening used.
    energy_of
        Energy of any set of sites at all ears of the part.
    is_rough
        Whether spreads are those at the ears of the screening: the choice is then made exact.
    limited
        What the limit of work left out, in words; empty if nothing.
    """

    part: Span2
    best: dict[int, list[Scored]]
    mended: list[Scored]
    hand: list[tuple[HandRule, float]]
    footprint_m: float
    n_tried: int
    thinning: int
    energy_of: Callable[[IntArray, IntArray], FloatArray]
    is_rough: bool = False
    limited: tuple[str, ...] = ()

    def every(self) -> list[Scored]:
        """Return all layouts, mended ones and hand patterns included."""
        found = [item for items in self.best.values() for item in items]
        found += self.mended
        found += [Scored(layout=rule.layout, spread_db=spread) for rule, spread in self.hand]
        return found


def throw_m(part: Span2) -> float:
    """Return the usual height of the speakers over the ears. [m].

    Parameters
    ----------
    part
        Sites and ears.
    """
    inside = part.sites.height_m[part.sites.is_inside]
    return float(np.median(inside) - np.median(part.field.ears.point_m[:, 2]))


def exact_energy(part: Span2, engine: Engine) -> Callable[[IntArray, IntArray], FloatArray]:
    """Return a function for the energy of any set of sites at all ears.

    Parameters
    ----------
    part
        Sites and field.
    engine
        Used where it leaves out no ear; else the field itself.
    """
    full = _full_engine(part, engine)
    if full is not None:
        return full.energy_of

    def direct(column: IntArray, row: IntArray) -> FloatArray:
        return part.field.energy(part.sites.site_m(column, row))

    return direct


def search_ceiling(
    part: Span2,
    *,
    family: Family,
    share: float,
    enough_db: float,
    most_speakers: int,
    tick: Tick | None = None,
) -> CeilingSearch:
    """Try every lattice of one ceiling.

    Parameters
    ----------
    part
        What to search.
    family
        Which lattices.
    share
        Share of the ears that the spread holds.
    enough_db
        Finer layouts than this spread are not looked for. [dB]
    most_speakers
        Most speakers tried.
    tick
        Told the share done.

    Returns
    -------
    CeilingSearch
        Everything found.
    """
    large = is_large(part.field, part.sites)
    if ear_grid(part.field, part.sites, are_walls_ignored=large) is not None:
        part = replace(part, sites=filled(part.sites))
    sites, field = part.sites, part.field
    diameter = footprint_m(field, throw_m(part))
    axes = spans(sites, part.walls_local)
    usual = _usual_count(part, diameter)
    search = _Rounds(part, make_engine(field, sites, most_ears=_SCREENED_EARS), share)
    low, high = max(1, int(_LEAST_SHARE * usual)), ceil(_MOST_SHARE * usual) + 3
    while True:
        scope = Scope(
            least_count=low,
            most_count=min(high, most_speakers),
            least_pitch_m=family.least_spacing_ratio * diameter,
            share=share,
        )
        search.round(axes, scope, family, tick)
        if high >= min(most_speakers, sites.count_free) or search.reached <= enough_db:
            break
        low, high = high + 1, 2 * high
    energy_of = search.energy_of
    hand = []
    for rule in hand_rules(sites, part.walls_local, footprint=diameter):
        spread = spread_of(energy_of(rule.layout.column, rule.layout.row), share)
        hand.append((rule, spread))
    return CeilingSearch(
        part=part,
        best=search.best,
        mended=search.fixed,
        hand=hand,
        footprint_m=diameter,
        n_tried=search.tried,
        thinning=search.engine.thinning,
        energy_of=energy_of,
        is_rough=search.is_rough,
        limited=search.limited(sites),
    )


def _usual_count(part: Span2, diameter_m: float) -> float:
    """Speakers of the edge-to-edge hand rule."""
    sites = part.sites
    x0, x1, y0, y1 = part.walls_local
    area = min(
        (x1 - x0) * (y1 - y0), sites.is_inside.sum() * sites.pitch_x_m * sites.pitch_y_m * 1.5
    )
    return max(1.0, float(area) / diameter_m**2)


class _Rounds:
    """Screens counts range by range, within a limit of counted work."""

    def __init__(self, part: Span2, engine: Engine, share: float) -> None:
        self.part = part
        self.engine = engine
        self.share = share
        self.full = _full_engine(part, engine)
        self.best: dict[int, list[Scored]] = {}
        self.fixed: list[Scored] = []
        self.tried = 0
        self.is_rough = False
        self._is_even_only = False
        self._is_short = False

    @property
    def energy_of(self) -> Callable[[IntArray, IntArray], FloatArray]:
        """Energy of any set of sites: at all ears, or where that is too much work, at some."""
        if self.full is not None:
            return self.full.energy_of
        return self.engine.energy_of if self.is_rough else exact_energy(self.part, self.engine)

    @property
    def reached(self) -> float:
        """Least spread so far. [dB]."""
        found = [items[0].spread_db for items in self.best.values()]
        return min([*found, *(item.spread_db for item in self.fixed), np.inf])

    def round(
        self, axes: tuple[Span, Span], scope: Scope, family: Family, tick: Tick | None
    ) -> None:
        """Screen a range of counts.

        Parameters
        ----------
        axes, scope, family, tick
            As :func:`soffit.design.place_search.screen` takes them.
        """
        part = self.part
        planned, family = self._planned(axes, scope, family)
        screened = screen(
            part.sites,
            axes,
            self.engine,
            family=family,
            scope=scope,
            n_all=part.field.ears.count,
            tick=tick,
            planned=planned,
        )
        self.tried += len(screened.count)
        most, within_db = self._exact_most(screened)
        exact = None
        if self.engine.thinning > 1 and not self.is_rough:

            def exact(which: IntArray) -> FloatArray:
                return self._exact(screened, which)

        self.best.update(best_by_count(screened, exact, most=most, within_db=within_db))
        front = {count: items[0].spread_db for count, items in self.best.items()}
        self.fixed += mended(
            screened,
            part.sites,
            self.energy_of,
            self.engine.energy_of,
            front,
            family=family,
            share=self.share,
        )

    def _planned(
        self, axes: tuple[Span, Span], scope: Scope, family: Family
    ) -> tuple[tuple[Planned, ...], Family]:
        """Lattices within the limit of work: ears are thinned first, then pitches even only."""
        part = self.part
        if self._is_even_only:
            family = replace(family, has_near_regular=False)
        planned = plan_lattices(part.sites, axes, family=family, scope=scope)
        number = sum(item.number for item in planned)
        if number * _LEAST_EARS > _MOST_WORK and family.has_near_regular:
            self._is_even_only = True
            family = replace(family, has_near_regular=False)
            planned = plan_lattices(part.sites, axes, family=family, scope=scope)
            number = sum(item.number for item in planned)
        if number * self.engine.n_ears > _MOST_WORK:
            most = max(_LEAST_EARS, _MOST_WORK // number)
            if most < self.engine.n_ears:
                self.engine = make_engine(part.field, part.sites, most_ears=most)
        longest = max(axis.last - axis.first for axis in axes)
        self._is_short = family.has_near_regular and longest >= LONG_AXIS
        return planned, family

    def _exact_most(self, screened: Screened) -> tuple[int, float]:
        """How many of each count are made exact, and how near to the front others are. [dB]."""
        if self.engine.thinning == 1:
            return 6, 0.25
        counts = np.unique(screened.count[screened.blocked == 0])
        n_ears = self.part.field.ears.count
        if self.full is not None:
            work = len(counts) * n_ears
            if 12 * work <= _MOST_EXACT:
                return 6, 0.25
            return (2 if 6 * work <= _MOST_EXACT else 1), 0.0
        self.is_rough = self.is_rough or 2 * int(counts.sum()) * n_ears > _MOST_PUBLIC
        return 2, 0.0

    def _exact(self, screened: Screened, which: IntArray) -> FloatArray:
        if self.full is not None:
            return exact_spreads(screened, which, self.full, share=self.share)
        energy_of = self.energy_of
        layouts = (screened.layout(int(k)) for k in which)
        return np.array([spread_of(energy_of(lay.column, lay.row), self.share) for lay in layouts])

    def limited(self, sites: Sites) -> tuple[str, ...]:
        """Return what the limit of work left out, in words.

        Parameters
        ----------
        sites
            Candidate positions.
        """
        out = []
        if self._is_even_only:
            out.append("even pitches only, as the room is too large for all near-regular ones")
        elif self._is_short:
            out.append(f"near-regular pitches along {max(sites.shape)} places are equal parts only")
        if self.is_rough:
            out.append("alternatives as screened, the choice made exact")
        return tuple(out)


def _full_engine(part: Span2, engine: Engine) -> Engine | None:
    if engine.thinning == 1:
        return engine
    return None if isinstance(engine, TensorEngine) else full_engine(part.field, part.sites)


def one_speaker(part: Span2, energy_of: Callable[[IntArray, IntArray], FloatArray]) -> Layout:
    """Return the single free site with the least spread, for rooms smaller than any lattice.

    Parameters
    ----------
    part
        Sites and ears.
    energy_of
        Energy of a set of sites.
    """
    free = np.argwhere(part.sites.is_free)
    middle = np.array(part.walls_local).reshape(2, 2).mean(axis=1)
    lx, ly = part.sites.local_m()
    away = np.hypot(lx[free[:, 0]] - middle[0], ly[free[:, 1]] - middle[1])
    order = np.argsort(np.round(away, 6), kind="stable")[:24]
    scored = [
        (round(spread_of(energy_of(free[k : k + 1, 0], free[k : k + 1, 1]), 0.95), 9), int(k))
        for k in order
    ]
    index = min(scored)[1]
    return Layout(
        column=free[index : index + 1, 0],
        row=free[index : index + 1, 1],
        kind="aligned",
        pitch_x_m=0.0,
        pitch_y_m=0.0,
        is_even=True,
        off_middle_m=float(away[index]),
        lines=(1, 1),
    )
