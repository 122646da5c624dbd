"""The only module that takes logarithms: ratios to decibels and back, and the two kinds of sum."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.errors import DomainError

FloatArray = NDArray[np.float64]


def _checked(values: ArrayLike, name: str, *, allow_zero: bool) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    bad = ~(array >= 0.0) if allow_zero else ~(array > 0.0)
    if np.any(bad):
        least = "zero or more" if allow_zero else "greater than zero"
        msg = f"{name} must be {least}, got {float(array[bad].flat[0])!r}"
        raise DomainError(
            msg, where=name, why="a level is the logarithm of a ratio", do="check the value"
        )
    return array


def power_ratio_db(ratio: ArrayLike) -> FloatArray:
    """Level of a ratio of powers, intensities or mean squares.

    Parameters
    ----------
    ratio : (...)
        Ratio; zero gives -inf.

    Returns
    -------
    (...)
        10 lg(ratio). [dB]

    Raises
    ------
    DomainError
        If a ratio is negative or not a number.

    Examples
    --------
    >>> float(power_ratio_db(2.0).round(2))
    3.01
    """
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(_checked(ratio, "ratio", allow_zero=True)))


def field_ratio_db(ratio: ArrayLike) -> FloatArray:
    """Level of a ratio of voltages, currents or pressures.

    Parameters
    ----------
    ratio : (...)
        Ratio; zero gives -inf.

    Returns
    -------
    (...)
        20 lg(ratio). [dB]

    Raises
    ------
    DomainError
        If a ratio is negative or not a number.

    Examples
    --------
    >>> float(field_ratio_db(2.0).round(2))
    6.02
    """
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(_checked(ratio, "ratio", allow_zero=True)))


def power_ratio(level_db: ArrayLike) -> FloatArray:
    """Ratio of powers that a level stands for.

    Parameters
    ----------
    level_db : (...)
        Level; -inf gives zero. [dB]

    Returns
    -------
    (...)
        10^(L/10).

    Examples
    --------
    >>> float(power_ratio(10.0))
    10.0
    """
    return np.asarray(np.power(10.0, np.asarray(level_db, dtype=np.float64) / 10.0))


def field_ratio(level_db: ArrayLike) -> FloatArray:
    """Ratio of voltages or pressures that a level stands for.

    Parameters
    ----------
    level_db : (...)
        Level; -inf gives zero. [dB]

    Returns
    -------
    (...)
        10^(L/20).

    Examples
    --------
    >>> float(field_ratio(20.0))
    10.0
    """
    return np.asarray(np.power(10.0, np.asarray(level_db, dtype=np.float64) / 20.0))


def sum_incoherent_db(level_db: ArrayLike, *, axis: int | None = None) -> FloatArray:
    """Level of sounds whose powers add: different signals, or the same one arriving scattered.

    Parameters
    ----------
    level_db : (...)
        Levels. [dB]
    axis
        Axis to sum over; all of them by default.

    Returns
    -------
    (...)
        10 lg(sum of 10^(L/10)), without ``axis``. [dB]

    Examples
    --------
    >>> float(sum_incoherent_db([60.0, 60.0, 60.0, 60.0]).round(2))
    66.02
    """
    return power_ratio_db(np.sum(power_ratio(level_db), axis=axis))


def sum_coherent_db(level_db: ArrayLike, *, axis: int | None = None) -> FloatArray:
    """Level of equal signals that arrive in phase, so that their pressures add.

    Parameters
    ----------
    level_db : (...)
        Levels. [dB]
    axis
        Axis to sum over; all of them by default.

    Returns
    -------
    (...)
        20 lg(sum of 10^(L/20)), without ``axis``. [dB]

    Examples
    --------
    >>> float(sum_coherent_db([60.0, 60.0]).round(2))
    66.02
    """
    return field_ratio_db(np.sum(field_ratio(level_db), axis=axis))


def mean_energy_db(level_db: ArrayLike, *, axis: int | None = None) -> FloatArray:
    """Level of the mean power, as an average over seats or over time.

    Parameters
    ----------
    level_db : (...)
        Levels. [dB]
    axis
        Axis to average over; all of them by default.

    Returns
    -------
    (...)
        10 lg(mean of 10^(L/10)), without ``axis``. [dB]

    Examples
    --------
    >>> float(mean_energy_db([60.0, 60.0]).round(2))
    60.0
    """
    return power_ratio_db(np.mean(power_ratio(level_db), axis=axis))
