"""Evenness of levels over many ears: exact percentiles, by sorting.

Notes
-----
Derived here. The spread of 95 % of the ears is the distance between the 2.5 % and 97.5 %
percentiles of the levels. Percentiles interpolate linearly between order statistics at
h = (n - 1) p (type 7 of Hyndman and Fan, The American Statistician 50, 1996, p. 361).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import FloatArray
from soffit.decibel import mean_energy_db
from soffit.errors import DomainError


@dataclass(frozen=True, slots=True, kw_only=True)
class Evenness:
    """How even one level is over the listening area.

    Parameters
    ----------
    n_points
        Ears counted.
    spread_db
        Distance between the 2.5 % and 97.5 % percentiles. [dB]
    spread_90_db
        Distance between the 5 % and 95 % percentiles. [dB]
    std_db
        Standard deviation of the levels. [dB]
    mean_db
        Level of the mean energy. [dB]
    median_db
        Median. [dB]
    worst_db
        Lowest level. [dB]
    best_db
        Highest level. [dB]
    worst_point
        Position of the lowest level in the array that was given.
    """

    n_points: int
    spread_db: float
    spread_90_db: float
    std_db: float
    mean_db: float
    median_db: float
    worst_db: float
    best_db: float
    worst_point: int

    @property
    def plus_minus_db(self) -> float:
        """Half the spread of 95 % of the ears, the "±" of a specification. [dB]."""
        return self.spread_db / 2.0


def percentile_sorted(values_sorted: FloatArray, share: float) -> FloatArray:
    """Percentile of values that are sorted along their last axis.

    Parameters
    ----------
    values_sorted : (..., n)
        Rising values.
    share
        0 to 1.

    Returns
    -------
    (...)
        Value below which that share lies, linear between neighbours.

    Examples
    --------
    >>> import numpy as np
    >>> float(percentile_sorted(np.arange(5.0), 0.5))
    2.0
    """
    place = (values_sorted.shape[-1] - 1) * share
    low = int(place)
    high = min(low + 1, values_sorted.shape[-1] - 1)
    part = place - low
    return np.asarray(
        values_sorted[..., low] * (1.0 - part) + values_sorted[..., high] * part,
    )


def spread_ratio(energy: FloatArray, *, share: float = 0.95) -> FloatArray:
    """Ratio of energies that bound the middle share of the ears, for many layouts at once.

    Parameters
    ----------
    energy : (..., n_points)
        Energies, greater than zero.
    share
        Share of the ears inside, 0.95 by default.

    Returns
    -------
    (...)
        Upper over lower percentile of the energy; `decibel.power_ratio_db` makes it a spread.

    Notes
    -----
    Percentiles of levels and of energies differ only inside one gap between neighbours in rank;
    `evenness` works on levels. Only four order statistics are needed, so this partitions.

    Examples
    --------
    >>> import numpy as np
    >>> float(spread_ratio(np.array([1.0, 1.0, 2.0, 2.0])).round(3))
    2.0
    """
    n = energy.shape[-1]
    tail = (1.0 - share) / 2.0
    places = [(n - 1) * tail, (n - 1) * (1.0 - tail)]
    needed = sorted({min(int(place) + step, n - 1) for place in places for step in (0, 1)})
    part = np.partition(energy, needed, axis=-1)
    low, high = (
        part[..., int(place)] * (1.0 - (place - int(place)))
        + part[..., min(int(place) + 1, n - 1)] * (place - int(place))
        for place in places
    )
    return np.asarray(high / low)


def evenness(level_db: ArrayLike) -> Evenness:
    """Return how even levels are.

    Parameters
    ----------
    level_db : (n_points,)
        Levels at the ears. [dB]

    Returns
    -------
    Evenness
        Exact percentiles, standard deviation, mean energy and worst point.

    Raises
    ------
    DomainError
        If there is no point, or a level is not a number or +inf.

    Examples
    --------
    >>> evenness([60.0, 61.0, 62.0]).spread_db
    1.9
    """
    levels = np.asarray(level_db, dtype=np.float64).ravel()
    if levels.size == 0 or np.any(np.isnan(levels)) or np.any(levels == np.inf):
        msg = "evenness needs levels at one ear or more, all of them numbers"
        raise DomainError(
            msg,
            where="level_db",
            why=f"{levels.size} levels, {int(np.isnan(levels).sum())} of them not numbers",
            do="check the listening area and the speaker data",
        )
    ordered = np.sort(levels)
    if not np.isfinite(ordered[0]):
        return _silent_somewhere(levels, ordered)
    low, high = percentile_sorted(ordered, 0.025), percentile_sorted(ordered, 0.975)
    low90, high90 = percentile_sorted(ordered, 0.05), percentile_sorted(ordered, 0.95)
    return Evenness(
        n_points=levels.size,
        spread_db=round(float(high - low), 12),
        spread_90_db=round(float(high90 - low90), 12),
        std_db=float(np.std(levels)),
        mean_db=float(mean_energy_db(levels)),
        median_db=float(percentile_sorted(ordered, 0.5)),
        worst_db=float(ordered[0]),
        best_db=float(ordered[-1]),
        worst_point=int(np.argmin(levels)),
    )


def _silent_somewhere(levels: FloatArray, ordered: FloatArray) -> Evenness:
    """Return percentiles by the nearest rank where some ears get nothing at all."""

    def rank(share: float) -> float:
        return float(ordered[round((ordered.size - 1) * share)])

    def gap(low: float, high: float) -> float:
        return 0.0 if low == high else high - low

    return Evenness(
        n_points=levels.size,
        spread_db=gap(rank(0.025), rank(0.975)),
        spread_90_db=gap(rank(0.05), rank(0.95)),
        std_db=float("inf"),
        mean_db=float(mean_energy_db(levels)),
        median_db=rank(0.5),
        worst_db=float("-inf"),
        best_db=float(ordered[-1]),
        worst_point=int(np.argmin(levels)),
    )
