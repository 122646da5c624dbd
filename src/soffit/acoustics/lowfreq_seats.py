"""Tones and third octaves of the low end, and how even, strong and smooth the seats get them."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.decibel import power_ratio_db
from soffit.errors import DomainError

FloatArray = NDArray[np.float64]

THIRD_OCTAVE_LABELS: Final = ("25", "31.5", "40", "50", "63", "80", "100", "125", "160")
"""Nominal third octaves of the low end. IEC 61260-1."""

THIRD_OCTAVE_HZ: Final[tuple[float, ...]] = tuple(10.0 ** (n / 10.0) for n in range(14, 23))
"""Their exact mid-band frequencies, base ten. IEC 61260-1. [Hz]"""


_SILENCE: Final = 1e-30
"""What is left of two equal sounds that cancel, so that a level stays a number."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LowTones:
    """Tones at which the low end is computed, a fixed number in each third octave.

    Parameters
    ----------
    labels
        Third octaves covered.
    mid_hz : (n_bands,)
        Exact mid-band frequencies. [Hz]
    frequency_hz : (n_bands × per_band,)
        Tones, rising. [Hz]
    per_band
        Tones in each third octave.
    """

    labels: tuple[str, ...]
    mid_hz: FloatArray
    frequency_hz: FloatArray
    per_band: int

    def by_band(self, values: NDArray[Any]) -> NDArray[Any]:
        """Return ``(..., n_tones)`` as ``(..., n_bands, per_band)``."""
        return values.reshape(*values.shape[:-1], len(self.labels), self.per_band)


def low_tones(*, low_hz: float, high_hz: float, per_band: int) -> LowTones:
    """Tones for the third octaves whose mid-band frequencies lie in a range.

    Parameters
    ----------
    low_hz, high_hz
        Range; bands are taken by nominal name, 25 to 160 Hz. [Hz]
    per_band
        Tones in each third octave, evenly spaced on the axis of octaves.

    Returns
    -------
    LowTones
        Tones and bands.

    Raises
    ------
    DomainError
        If the range holds no third octave or there is no tone.

    References
    ----------
    IEC 61260-1:2014, exact mid-band frequencies 10^(n/10), edges a factor 10^(1/20) off.

    Examples
    --------
    >>> low_tones(low_hz=40.0, high_hz=100.0, per_band=6).labels
    ('40', '50', '63', '80', '100')
    """
    kept = [n for n, label in enumerate(THIRD_OCTAVE_LABELS) if low_hz <= float(label) <= high_hz]
    if not kept or per_band < 1:
        msg = f"no third octave lies between {low_hz:g} and {high_hz:g} Hz"
        raise DomainError(
            msg,
            where="low_hz",
            why=f"the low end has {', '.join(THIRD_OCTAVE_LABELS)} Hz",
            do="choose a subwoofer and a crossover with at least one of these between them",
        )
    mid = np.array([THIRD_OCTAVE_HZ[n] for n in kept])
    steps = (np.arange(per_band) + 0.5) / per_band - 0.5
    return LowTones(
        labels=tuple(THIRD_OCTAVE_LABELS[n] for n in kept),
        mid_hz=mid,
        frequency_hz=(mid[:, None] * 10.0 ** (steps / 10.0)).ravel(),
        per_band=per_band,
    )


def seat_spread_db(transfer: ArrayLike) -> FloatArray:
    """Seat-to-seat deviation: spread of level over seats, root mean square over tones.

    Parameters
    ----------
    transfer : (..., n_seats, n_tones)
        Complex transfer of what plays together.

    Returns
    -------
    (...)
        sqrt(mean over tones of the variance over seats of the level). [dB]

    References
    ----------
    The mean spatial variance of published subwoofer studies, as its root (common practice);
    derived here.

    Examples
    --------
    >>> float(seat_spread_db([[1.0, 10.0], [10.0, 1.0]]))
    10.0
    """
    level = power_ratio_db(np.abs(np.asarray(transfer)) ** 2 + _SILENCE)
    return np.asarray(np.sqrt(np.mean(np.var(level, axis=-2), axis=-1)))


def support_db(transfer: ArrayLike, *, sources: int = 1) -> FloatArray:
    """Level at the seats per watt, over the level at 1 m in half space.

    Parameters
    ----------
    transfer : (..., n_seats, n_tones)
        Complex transfer of what plays together, each source at its full watt.
    sources
        How many sources share the power.

    Returns
    -------
    (...)
        10 lg of the mean square over seats and tones, per source. [dB]

    References
    ----------
    Derived here: energy mean, pink weighting because tones are even on the axis of octaves.

    Examples
    --------
    >>> float(support_db([[1.0, 1.0]]))
    0.0
    """
    return power_ratio_db(np.mean(np.abs(np.asarray(transfer)) ** 2, axis=(-2, -1)) / sources)


def smoothness_db(transfer: ArrayLike) -> FloatArray:
    """How rough the low end is along the notes, mean over the seats.

    Parameters
    ----------
    transfer : (..., n_seats, n_tones)
        Complex transfer of what plays together.

    Returns
    -------
    (...)
        Mean over seats of the standard deviation over tones of the level. [dB]

    References
    ----------
    Derived here.

    Examples
    --------
    >>> float(smoothness_db([[1.0, 10.0], [1.0, 1.0]]))
    5.0
    """
    level = power_ratio_db(np.abs(np.asarray(transfer)) ** 2 + _SILENCE)
    return np.asarray(np.mean(np.std(level, axis=-1), axis=-1))


def third_octave_levels_db(transfer: ArrayLike, tones: LowTones) -> FloatArray:
    """Level per third octave of pink noise at each seat.

    Parameters
    ----------
    transfer : (..., n_seats, n_tones)
        Complex transfer of what plays together.
    tones
        Its tones.

    Returns
    -------
    (..., n_seats, n_bands)
        Energy mean over the tones of each band, re 1 m in half space. [dB]

    References
    ----------
    Derived here.
    """
    square = np.abs(np.asarray(transfer)) ** 2
    return power_ratio_db(np.mean(tones.by_band(square), axis=-1))
