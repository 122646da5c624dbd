"""Units that rest on one span of a main runner together."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from soffit.ceiling.plane import FloatArray
from soffit.evaluate.ceiling import SpeakerFit
from soffit.model.survey import Ceiling, Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanGroup:
    """Units that one span of a main runner may have to carry together.

    Parameters
    ----------
    room_key, ceiling_key
        Where.
    labels
        The units, along the runner.
    mass_kg, capacity_kg
        Together, and what the span carries. [kg]
    """

    room_key: str
    ceiling_key: str
    labels: tuple[str, ...]
    mass_kg: float
    capacity_kg: float

    @property
    def is_over(self) -> bool:
        """Whether it is more than the span carries."""
        return self.mass_kg > self.capacity_kg + 1e-9


def span_groups(
    ceiling: Ceiling, fits: Sequence[SpeakerFit], *, hanger_spacing_m: float
) -> tuple[SpanGroup, ...]:
    """Find units under one ceiling that may rest on one span of a main runner.

    Parameters
    ----------
    ceiling
        With its grid.
    fits
        Units that rest on it.
    hanger_spacing_m
        Hanger to hanger along a main runner. [m]

    Returns
    -------
    tuple of SpanGroup
        Groups of two and more, none within another, the heaviest first.

    Notes
    -----
    Nobody surveys where hangers are and which tee is a main runner, so the worst is taken: units
    closer than a span along the runners and closer than the runners' spacing across them share one
    span of one runner, all their mass on it and at mid-span. Derived here.
    """
    grid = ceiling.grid
    if ceiling.kind != "grid" or grid is None or len(fits) < 2:
        return ()
    along, across = _axes(grid, fits)
    groups: set[frozenset[int]] = set()
    for first in range(len(fits)):
        span = np.flatnonzero(
            (along >= along[first] - 1e-9) & (along < along[first] + hanger_spacing_m - 1e-9)
        )
        for start in span:
            low = across[start] - 1e-9
            near = span[
                (across[span] >= low) & (across[span] < low + grid.main_runner_spacing_m - 1e-9)
            ]
            if len(near) > 1:
                groups.add(frozenset(near.tolist()))
    found = [_group(fits, group, along) for group in _largest(groups)]
    return tuple(sorted(found, key=lambda item: (-item.mass_kg, item.labels)))


def _axes(grid: Grid, fits: Sequence[SpeakerFit]) -> tuple[FloatArray, FloatArray]:
    """Return the places of units along and across the main runners (n,). [m]."""
    turn = np.array(
        [
            [np.cos(grid.angle_rad), -np.sin(grid.angle_rad)],
            [np.sin(grid.angle_rad), np.cos(grid.angle_rad)],
        ]
    )
    local = np.array([fit.position for fit in fits], dtype=np.float64) @ turn
    first = 0 if grid.main_runner_axis == "x" else 1
    return local[:, first], local[:, 1 - first]


def _largest(groups: Iterable[frozenset[int]]) -> list[frozenset[int]]:
    kept: list[frozenset[int]] = []
    by_unit: dict[int, list[frozenset[int]]] = {}
    for group in sorted(groups, key=len, reverse=True):
        anyone = next(iter(group))
        if any(group <= other for other in by_unit.get(anyone, ())):
            continue
        kept.append(group)
        for unit in group:
            by_unit.setdefault(unit, []).append(group)
    return kept


def _group(fits: Sequence[SpeakerFit], group: frozenset[int], along: FloatArray) -> SpanGroup:
    members = [fits[index] for index in sorted(group, key=lambda index: (along[index], index))]
    return SpanGroup(
        room_key=members[0].room_key,
        ceiling_key=members[0].ceiling_key,
        labels=tuple(fit.label for fit in members),
        mass_kg=sum(fit.mass_kg for fit in members),
        capacity_kg=members[0].grid_capacity_kg or 0.0,
    )
