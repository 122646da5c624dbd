"""Background noise: NC and NR curves and ratings, and octaves of a level known in dBA only.

References
----------
ANSI/ASA S12.2, Table 1 (NC; the edition is named in the table file: cells differ between editions).
ISO/R 1996:1971 (NR, L = a + b NR).
"""

from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import BAND_HZ, BAND_TEXT, N_BANDS, FloatArray, per_band
from soffit.acoustics.weighting import level_dba
from soffit.errors import DomainError
from soffit.tables.load import load_table

NoiseShape = Literal["ventilation", "people", "traffic"]


@cache
def _nc_table() -> tuple[FloatArray, FloatArray]:
    table = load_table("nc_curves")
    curves = np.array([table.values(f"l{band:.0f}_db") for band in BAND_HZ]).T
    return np.array(table.values("nc")), curves


def nc_curve_db(nc: float) -> FloatArray:
    """Octave levels of an NC curve; between printed rows linearly.

    Parameters
    ----------
    nc
        Curve, 15 to 65.

    Returns
    -------
    (n_bands,)
        Octave levels. [dB]

    Raises
    ------
    DomainError
        If it lies outside the printed rows.

    References
    ----------
    ANSI/ASA S12.2, Table 1. Linear between rows: common practice.

    Examples
    --------
    >>> nc_curve_db(30).tolist()
    [57.0, 48.0, 41.0, 35.0, 31.0, 29.0, 28.0, 27.0]
    """
    names, curves = _nc_table()
    if not names[0] <= nc <= names[-1]:
        msg = f"there is no curve NC-{nc:g}"
        raise DomainError(
            msg,
            where="nc",
            why=f"the table has NC-{names[0]:.0f} to NC-{names[-1]:.0f}",
            do="give octave levels or a level in dBA instead",
        )
    return np.array([np.interp(nc, names, curves[:, band]) for band in range(N_BANDS)])


def nc_rating(octave_level_db: ArrayLike) -> tuple[float, str]:
    """NC rating by the tangent method: the curve that no octave exceeds.

    Parameters
    ----------
    octave_level_db : (n_bands,)
        Octave levels. [dB]

    Returns
    -------
    rating
        NC, linear between rows.
    band
        Label of the octave that decides.

    Raises
    ------
    DomainError
        If an octave lies above the highest or all below the lowest curve.

    Examples
    --------
    >>> nc_rating([57, 48, 41, 35, 31, 29, 28, 27])[0]
    30.0
    """
    levels = per_band(octave_level_db, "octave_level_db")
    names, curves = _nc_table()
    if np.any(levels > curves[-1]):
        band = int(np.argmax(levels - curves[-1]))
        msg = f"{levels[band]:.1f} dB at {BAND_TEXT[band]} is above NC-{names[-1]:.0f}"
        raise DomainError(msg, where="octave_level_db", why="the table ends", do="state dBA")
    touched = [
        float(np.interp(levels[band], curves[:, band], names, left=-np.inf))
        for band in range(N_BANDS)
    ]
    band = int(np.argmax(touched))
    if not np.isfinite(touched[band]):
        msg = f"every octave is below NC-{names[0]:.0f}"
        raise DomainError(msg, where="octave_level_db", why="the table ends", do="state dBA")
    return touched[band], BAND_TEXT[band]


@cache
def _nr_table() -> tuple[FloatArray, FloatArray]:
    table = load_table("nr_curves")
    return np.array(table.values("a_db")), np.array(table.values("b_ratio"))


def nr_curve_db(nr: float) -> FloatArray:
    """Octave levels of an NR curve.

    Parameters
    ----------
    nr
        Curve, 0 to 130.

    Returns
    -------
    (n_bands,)
        Octave levels. [dB]

    Raises
    ------
    DomainError
        If it lies outside 0 to 130.

    References
    ----------
    ISO/R 1996:1971: L = a + b NR.

    Examples
    --------
    >>> nr_curve_db(30).round(1).tolist()[4]
    30.0
    """
    if not 0.0 <= nr <= 130.0:
        msg = f"there is no curve NR-{nr:g}"
        raise DomainError(msg, where="nr", why="NR runs from 0 to 130", do="choose one of these")
    constant, slope = _nr_table()
    return np.asarray(constant + slope * nr)


def nr_rating(octave_level_db: ArrayLike) -> tuple[float, str]:
    """NR rating: the highest curve that an octave touches.

    Parameters
    ----------
    octave_level_db : (n_bands,)
        Octave levels. [dB]

    Returns
    -------
    rating
        NR = max (L - a) / b.
    band
        Label of the octave that decides.

    Examples
    --------
    >>> rating, band = nr_rating([0, 0, 0, 0, 42, 0, 0, 0])
    >>> rating, band
    (42.0, '1 kHz')
    """
    constant, slope = _nr_table()
    touched = (per_band(octave_level_db, "octave_level_db") - constant) / slope
    band = int(np.argmax(touched))
    return float(touched[band]), BAND_TEXT[band]


def noise_octaves_db(level_dba_db: float, shape: NoiseShape = "ventilation") -> FloatArray:
    """Octave levels of noise that is known in dBA only, by a stated shape.

    Parameters
    ----------
    level_dba_db
        A-weighted level. [dB]
    shape
        "ventilation", "people" or "traffic"; shapes of our own, common practice.

    Returns
    -------
    (n_bands,)
        Octave levels with that A-weighted level. [dB]

    Examples
    --------
    >>> from soffit.acoustics.weighting import level_dba
    >>> float(level_dba(noise_octaves_db(45.0)).round(6))
    45.0
    """
    levels = np.array(load_table("noise_spectrum").values(f"{shape}_db"))
    return np.asarray(levels - level_dba(levels) + level_dba_db)
