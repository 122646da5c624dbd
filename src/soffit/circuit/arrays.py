"""Checks on arrays that the electrical formulas share."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.errors import DomainError

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Array = NDArray[np.inexact[Any]]
"""Real or complex values; what goes in real comes out real."""
IntArray = NDArray[np.int64]


def positive(values: ArrayLike, name: str, *, why: str, do: str) -> FloatArray:
    """Return the values as floats, all of which must be finite and above zero.

    Parameters
    ----------
    values : (...)
        Numbers to check.
    name
        Argument to name in the error.
    why, do
        Reason and cure to name in the error.

    Returns
    -------
    (...)
        The same numbers.

    Raises
    ------
    DomainError
        If one is zero, negative or not finite.
    """
    array = np.asarray(values, dtype=np.float64)
    bad = ~((array > 0.0) & np.isfinite(array))
    if np.any(bad):
        msg = f"{name} must be greater than zero, got {float(array[bad].flat[0])!r}"
        raise DomainError(msg, where=name, why=why, do=do)
    return array


def not_negative(values: ArrayLike, name: str, *, why: str, do: str) -> FloatArray:
    """Return the values as floats, all of which must be finite and zero or more.

    Parameters
    ----------
    values : (...)
        Numbers to check.
    name
        Argument to name in the error.
    why, do
        Reason and cure to name in the error.

    Returns
    -------
    (...)
        The same numbers.

    Raises
    ------
    DomainError
        If one is negative or not finite.
    """
    array = np.asarray(values, dtype=np.float64)
    bad = ~((array >= 0.0) & np.isfinite(array))
    if np.any(bad):
        msg = f"{name} must be zero or more, got {float(array[bad].flat[0])!r}"
        raise DomainError(msg, where=name, why=why, do=do)
    return array


def inexact(values: ArrayLike) -> Array:
    """Return values as float64 or complex128, never narrower.

    Parameters
    ----------
    values : (...)
        Numbers.

    Returns
    -------
    (...)
        The same numbers.
    """
    array = np.asarray(values)
    kind = np.complex128 if np.iscomplexobj(array) else np.float64
    return array.astype(kind, copy=False)
