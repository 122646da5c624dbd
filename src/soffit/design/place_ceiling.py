"""Search one ceiling of a room: screen, mend, hand rules, and energies for whoever joins them."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.design.place_engine import (
    Engine,
    SeparableEngine,
    TensorEngine,
    ear_grid,
    filled,
    is_large,
    make_engine,
)
from soffit.design.place_family import Family
from soffit.design.place_field import Field
from soffit.design.place_hand import HandRule, footprint_m, hand_rules
from soffit.design.place_search import (
    Layout,
    Scope,
    Scored,
    best_by_count,
    exact_spreads,
    mended,
    screen,
    spans,
    spread_of,
)
from soffit.design.tiles import Sites

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_SCREENED_EARS: Final = 7000
"""Ears beyond which screening uses every second one along each axis."""

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
    """

    part: Span2
    best: dict[int, list[Scored]]
    mended: list[Scored]
    hand: list[tuple[HandRule, float]]
    footprint_m: float
    n_tried: int
    thinning: int
    energy_of: Callable[[IntArray, IntArray], FloatArray]

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
    if engine.thinning == 1:
        return engine.energy_of
    large = is_large(part.field, part.sites)
    grid = ear_grid(part.field, part.sites, are_walls_ignored=large)
    if grid is not None:
        return SeparableEngine(part.field, part.sites, grid, thinning=1).energy_of

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
    engine = make_engine(field, sites, most_ears=_SCREENED_EARS)
    energy_of = exact_energy(part, engine)
    axes = spans(sites, part.walls_local)
    x0, x1, y0, y1 = part.walls_local
    area = min(
        (x1 - x0) * (y1 - y0), sites.is_inside.sum() * sites.pitch_x_m * sites.pitch_y_m * 1.5
    )
    usual = max(1.0, float(area) / diameter**2)
    full = _full_engine(part, engine)
    low, high = max(1, int(_LEAST_SHARE * usual)), ceil(_MOST_SHARE * usual) + 3
    best: dict[int, list[Scored]] = {}
    fixed: list[Scored] = []
    tried = 0
    while True:
        scope = Scope(
            least_count=low,
            most_count=min(high, most_speakers),
            least_pitch_m=family.least_spacing_ratio * diameter,
            share=share,
        )
        screened = screen(
            sites, axes, engine, family=family, scope=scope, n_all=field.ears.count, tick=tick
        )
        tried += len(screened.count)
        exact = None
        if engine.thinning > 1:

            def exact(which: IntArray, screened=screened) -> FloatArray:  # type: ignore[no-untyped-def]  # noqa: ANN001
                if full is not None:
                    return exact_spreads(screened, which, full, share=share)
                return np.array(
                    [
                        spread_of(energy_of(lay.column, lay.row), share)
                        for lay in (screened.layout(int(k)) for k in which)
                    ]
                )

        best.update(
            best_by_count(
                screened,
                exact,
                most=6 if full is not None else 2,
                within_db=0.25 if full is not None else 0.0,
            )
        )
        front = {count: items[0].spread_db for count, items in best.items()}
        fixed += mended(
            screened,
            sites,
            energy_of,
            engine.energy_of,
            front,
            family=family,
            share=share,
        )
        reached = min([*front.values(), *(item.spread_db for item in fixed), np.inf])
        if high >= min(most_speakers, sites.count_free) or reached <= enough_db:
            break
        low, high = high + 1, 2 * high
    hand = []
    for rule in hand_rules(sites, part.walls_local, footprint=diameter):
        spread = spread_of(energy_of(rule.layout.column, rule.layout.row), share)
        hand.append((rule, spread))
    return CeilingSearch(
        part=part,
        best=best,
        mended=fixed,
        hand=hand,
        footprint_m=diameter,
        n_tried=tried,
        thinning=engine.thinning,
        energy_of=energy_of,
    )


def _full_engine(part: Span2, engine: Engine) -> Engine | None:
    if engine.thinning == 1:
        return engine
    if isinstance(engine, TensorEngine):
        return None
    large = is_large(part.field, part.sites)
    grid = ear_grid(part.field, part.sites, are_walls_ignored=large)
    return None if grid is None else SeparableEngine(part.field, part.sites, grid, thinning=1)


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
