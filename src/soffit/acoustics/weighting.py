"""Frequency weightings A and C, and levels in dBA of octave-band levels.

References
----------
IEC 61672-1:2013, 5.5 and annex E (analytical form), Table 3 (rounded octave values).
"""

from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import BAND_HZ, FloatArray
from soffit.decibel import field_ratio_db, power_ratio, power_ratio_db
from soffit.tables.load import load_table

_F1, _F2, _F3, _F4 = 20.598997, 107.65265, 737.86223, 12194.217


def _a_response(frequency: FloatArray) -> FloatArray:
    f2 = frequency**2
    return _F4**2 * f2**2 / ((f2 + _F1**2) * np.sqrt((f2 + _F2**2) * (f2 + _F3**2)) * (f2 + _F4**2))


def _c_response(frequency: FloatArray) -> FloatArray:
    f2 = frequency**2
    return np.asarray(_F4**2 * f2 / ((f2 + _F1**2) * (f2 + _F4**2)))


def a_weighting_db(frequency_hz: ArrayLike) -> FloatArray:
    """A-weighting at any frequency.

    Parameters
    ----------
    frequency_hz : (...)
        Frequency. [Hz]

    Returns
    -------
    (...)
        Weighting, 0 at 1 kHz. [dB]

    References
    ----------
    IEC 61672-1:2013, Eq. (E.6), poles of annex E.

    Examples
    --------
    >>> float(a_weighting_db(1000.0).round(6)), float(a_weighting_db(63.0957).round(1))
    (0.0, -26.2)
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    return field_ratio_db(_a_response(frequency) / _a_response(np.asarray(1000.0)))


def c_weighting_db(frequency_hz: ArrayLike) -> FloatArray:
    """C-weighting at any frequency.

    Parameters
    ----------
    frequency_hz : (...)
        Frequency. [Hz]

    Returns
    -------
    (...)
        Weighting, 0 at 1 kHz. [dB]

    References
    ----------
    IEC 61672-1:2013, Eq. (E.1), poles of annex E.

    Examples
    --------
    >>> float(c_weighting_db(7943.28).round(1))
    -3.0
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    return field_ratio_db(_c_response(frequency) / _c_response(np.asarray(1000.0)))


@cache
def _octave_weights(weighting: Literal["a", "c"]) -> FloatArray:
    table = load_table("weighting")
    assert table.values("band_hz") == BAND_HZ  # noqa: S101 - our own data file
    weights = np.array(table.values(f"{weighting}_db"))
    weights.flags.writeable = False
    return weights


def octave_a_weights_db() -> FloatArray:
    """A-weights of the eight octave bands, rounded as printed in the standard.

    Returns
    -------
    (n_bands,)
        Weights, read-only. [dB]
    """
    return _octave_weights("a")


def octave_c_weights_db() -> FloatArray:
    """C-weights of the eight octave bands, rounded as printed in the standard.

    Returns
    -------
    (n_bands,)
        Weights, read-only. [dB]
    """
    return _octave_weights("c")


def level_dba(octave_level_db: ArrayLike) -> FloatArray:
    """A-weighted level of octave-band levels.

    Parameters
    ----------
    octave_level_db : (..., n_bands)
        Octave levels; -inf for a silent band. [dB]

    Returns
    -------
    (...)
        A-weighted level. [dB]

    Examples
    --------
    >>> float(level_dba([57, 48, 41, 35, 31, 29, 28, 27]).round(1))
    39.8
    """
    levels = np.asarray(octave_level_db, dtype=np.float64)
    return power_ratio_db(np.sum(power_ratio(levels + octave_a_weights_db()), axis=-1))


def level_dbc(octave_level_db: ArrayLike) -> FloatArray:
    """C-weighted level of octave-band levels.

    Parameters
    ----------
    octave_level_db : (..., n_bands)
        Octave levels; -inf for a silent band. [dB]

    Returns
    -------
    (...)
        C-weighted level. [dB]

    Examples
    --------
    >>> float(level_dbc([0, 0, 0, 0, 60, 0, 0, 0]).round(1))
    60.0
    """
    levels = np.asarray(octave_level_db, dtype=np.float64)
    return power_ratio_db(np.sum(power_ratio(levels + octave_c_weights_db()), axis=-1))
