"""Arrival times: echoes between speakers or zones, and delays that mend them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import BoolArray, FloatArray
from soffit.decibel import power_ratio
from soffit.errors import DomainError


def travel_time_s(distance_m: ArrayLike, *, speed_m_s: float = 343.2) -> FloatArray:
    """Travel time of sound.

    Parameters
    ----------
    distance_m : (...)
        Distance. [m]
    speed_m_s
        Speed of sound. [m/s]

    Returns
    -------
    (...)
        Time. [s]
    """
    return np.asarray(np.asarray(distance_m, dtype=np.float64) / speed_m_s)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LateArrivals:
    """Where a second loud sound comes late enough to be heard as an echo.

    Parameters
    ----------
    is_late : (n_points,)
        Whether there is one.
    lag_s : (n_points,)
        Longest lag between the first loud arrival and a later loud one. [s]
    speaker : (n_points,)
        Which speaker comes last.
    first_speaker : (n_points,)
        Which comes first.
    """

    is_late: BoolArray
    lag_s: FloatArray
    speaker: FloatArray
    first_speaker: FloatArray


def late_arrivals(
    *,
    energy: ArrayLike,
    arrival_s: ArrayLike,
    limit_s: float = 0.030,
    within_db: float = 10.0,
) -> LateArrivals:
    """Find ears at which arrivals of comparable level lie further apart than a limit.

    Parameters
    ----------
    energy : (n_points, n_speakers)
        Direct energy in one band or A-weighted.
    arrival_s : (n_points, n_speakers)
        Travel time plus electrical delay. [s]
    limit_s
        Lag that counts as late. [s]
    within_db
        Arrivals weaker than the strongest by more than this are not counted. [dB]

    Returns
    -------
    LateArrivals
        Per point.
    """
    strength = np.asarray(energy, dtype=np.float64)
    arrival = np.asarray(arrival_s, dtype=np.float64)
    loud = strength >= strength.max(axis=1, keepdims=True) * float(power_ratio(-within_db))
    loud &= strength > 0.0
    first = np.where(loud, arrival, np.inf)
    last = np.where(loud, arrival, -np.inf)
    any_loud = loud.any(axis=1)
    lag = np.where(any_loud, last.max(axis=1) - np.where(any_loud, first.min(axis=1), 0.0), 0.0)
    return LateArrivals(
        is_late=lag > limit_s,
        lag_s=lag,
        speaker=last.argmax(axis=1),
        first_speaker=first.argmin(axis=1),
    )


def suggested_zone_delay_s(
    *,
    lead_energy: ArrayLike,
    lead_arrival_s: ArrayLike,
    zone_energy: ArrayLike,
    zone_arrival_s: ArrayLike,
    extra_s: float = 0.0,
) -> float:
    """Delay of a zone that brings its sound in line with that of a leading zone.

    Parameters
    ----------
    lead_energy : (n_points,)
        Energy of the leading zone where both are heard.
    lead_arrival_s : (n_points,)
        Its first arrival. [s]
    zone_energy : (n_points,)
        Energy of the zone to delay.
    zone_arrival_s : (n_points,)
        Its first arrival without delay. [s]
    extra_s
        Added so that the leading zone is heard first. [s]

    Returns
    -------
    float
        Delay, never negative. [s]

    Raises
    ------
    DomainError
        If the zones share no point.

    Notes
    -----
    Derived here: mean difference of the arrivals, each point weighted with the smaller of the two
    energies, because an echo needs both.
    """
    weight = np.minimum(np.asarray(lead_energy, float), np.asarray(zone_energy, float))
    if weight.size == 0 or not np.any(weight > 0.0):
        msg = "the two zones are heard together nowhere"
        raise DomainError(msg, where="zones", why="no common point", do="leave the delay at zero")
    gap = np.asarray(lead_arrival_s, float) - np.asarray(zone_arrival_s, float)
    return max(0.0, float(np.average(gap, weights=weight)) + extra_s)
