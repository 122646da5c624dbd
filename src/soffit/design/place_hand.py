"""What a person with a rule of thumb would draw: spacing by footprint, snapped to free tiles."""

from dataclasses import dataclass
from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio
from soffit.design.place_field import Field
from soffit.design.place_search import Layout
from soffit.design.tiles import Sites

FloatArray = NDArray[np.float64]

HAND_RATIOS: Final = (1.0, 0.71, 0.5)
"""Spacing over footprint: edge to edge, least overlap, full overlap. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HandRule:
    """A hand pattern and the layout that it gives in one room.

    Parameters
    ----------
    text
        The rule in words.
    spacing_m
        Spacing that it asks for. [m]
    layout
        What becomes of it on the free tiles.
    """

    text: str
    spacing_m: float
    layout: Layout


def footprint_m(field: Field, throw_m: float) -> float:
    """Return the diameter of the circle on the ear plane inside which one speaker keeps -6 dB.

    Parameters
    ----------
    field
        Type and measure.
    throw_m
        Height of the speaker over the ears. [m]

    Returns
    -------
    float
        Diameter. [m]

    Notes
    -----
    -6 dB on the plane, distance included; the circle by coverage angle alone is wider.
    """
    kernel = field.kernel(throw_m)
    radius = np.linspace(0.0, 12.0 * throw_m, 4801)
    energy = kernel.at(radius**2)
    below = np.flatnonzero(energy < energy[0] * float(power_ratio(-6.0)))
    return 2.0 * float(radius[below[0]]) if len(below) else 24.0 * throw_m


def hand_layout(
    sites: Sites,
    walls_local: tuple[float, float, float, float],
    *,
    spacing_m: float,
    is_offset: bool,
    is_exact_pitch: bool = False,
) -> Layout | None:
    """Lay a grid with at most a spacing, each speaker on the free site nearest to its place.

    Parameters
    ----------
    sites
        Candidate positions.
    walls_local
        Least and greatest local x, then y. [m]
    spacing_m
        Spacing asked for. [m]
    is_offset
        Every second row shifted by half a pitch.
    is_exact_pitch
        Keep the spacing as specified from the middle outwards instead of shrinking it to fit.

    Returns
    -------
    Layout or None
        None where no site is free.
    """
    x0, x1, y0, y1 = walls_local
    free = np.argwhere(sites.is_free)
    if not len(free):
        return None
    counts = [max(1, ceil((high - low) / spacing_m - 1e-9)) for low, high in ((x0, x1), (y0, y1))]
    steps = [(x1 - x0) / counts[0], (y1 - y0) / counts[1]]
    if is_exact_pitch:
        steps = [spacing_m, spacing_m]
    xs = (x0 + x1) / 2 + (np.arange(counts[0]) - (counts[0] - 1) / 2) * steps[0]
    ys = (y0 + y1) / 2 + (np.arange(counts[1]) - (counts[1] - 1) / 2) * steps[1]
    lx, ly = sites.local_m()
    wanted: list[tuple[float, float]] = []
    for number, y in enumerate(ys):
        line = xs
        if is_offset and number % 2:
            line = xs[:-1] + steps[0] / 2 if counts[0] > 1 else xs
        wanted += [(float(x), float(y)) for x in line]
    chosen: dict[tuple[int, int], None] = {}
    nudged = omitted = 0
    for x, y in wanted:
        column = int(np.argmin(np.abs(lx - x)))
        row = int(np.argmin(np.abs(ly - y)))
        if not sites.is_inside[column, row] and not _is_near_inside(sites, column, row):
            continue
        place = (column, row)
        if not sites.is_free[place] or place in chosen:
            nearest = _nearest_free(free, lx, ly, x, y, chosen, reach_m=max(steps) / 2)
            if nearest is None:
                omitted += 1
                continue
            place = nearest
            nudged += 1
        chosen[place] = None
    if not chosen:
        return None
    array = np.array(list(chosen), dtype=np.int64)
    return Layout(
        column=array[:, 0],
        row=array[:, 1],
        kind="rows offset" if is_offset else "aligned",
        pitch_x_m=steps[0] if counts[0] > 1 else 0.0,
        pitch_y_m=steps[1] if counts[1] > 1 else 0.0,
        is_even=True,
        off_middle_m=0.0,
        lines=(counts[0], counts[1]),
        nudged=nudged,
        omitted=omitted,
    )


def _is_near_inside(sites: Sites, column: int, row: int) -> bool:
    """Whether a neighbour lies inside: a place on a cut tile belongs to the next full one."""
    part = sites.is_inside[max(0, column - 1) : column + 2, max(0, row - 1) : row + 2]
    return bool(part.any())


def _nearest_free(
    free: NDArray[np.int64],
    lx: FloatArray,
    ly: FloatArray,
    x: float,
    y: float,
    chosen: dict[tuple[int, int], None],
    *,
    reach_m: float,
) -> tuple[int, int] | None:
    away_m = np.hypot(lx[free[:, 0]] - x, ly[free[:, 1]] - y)
    near = np.flatnonzero(away_m <= reach_m)
    for index in near[np.argsort(np.round(away_m[near], 9), kind="stable")]:
        place = (int(free[index, 0]), int(free[index, 1]))
        if place not in chosen:
            return place
    return None


def hand_rules(
    sites: Sites, walls_local: tuple[float, float, float, float], *, footprint: float
) -> tuple[HandRule, ...]:
    """Return the six usual hand patterns of a ceiling.

    Parameters
    ----------
    sites
        Candidate positions.
    walls_local
        Least and greatest local x, then y. [m]
    footprint
        Diameter of the -6 dB circle on the ear plane. [m]
    """
    rules: list[HandRule] = []
    for ratio in HAND_RATIOS:
        for is_offset in (False, True):
            spacing = ratio * footprint
            layout = hand_layout(sites, walls_local, spacing_m=spacing, is_offset=is_offset)
            if layout is not None:
                rows = "rows offset" if is_offset else "rows aligned"
                text = f"hand rule {ratio:.2f} footprint, {rows}"
                rules.append(HandRule(text=text, spacing_m=spacing, layout=layout))
    return tuple(rules)
