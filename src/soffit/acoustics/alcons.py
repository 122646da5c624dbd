"""Articulation loss of consonants, %ALcons.

References
----------
Peutz, J. Audio Eng. Soc. 19 (1971) 915, in the form with Q, N and M used in the trade (read on
definition pages).
"""

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import FloatArray
from soffit.errors import DomainError


def alcons_percent(
    *,
    distance_m: ArrayLike,
    reverberation_time_s: ArrayLike,
    volume_m3: float,
    directivity_factor: ArrayLike,
    n_groups: ArrayLike = 1.0,
    directivity_modifier: ArrayLike = 1.0,
) -> FloatArray:
    """%ALcons, the smaller of the two branches.

    Parameters
    ----------
    distance_m : (...)
        Distance to the nearest speaker. [m]
    reverberation_time_s : (...)
        T, usually at 2 kHz. [s]
    volume_m3
        Volume. [m³]
    directivity_factor : (...)
        Q.
    n_groups : (...)
        N: total power of all speakers over that of those which serve this ear.
    directivity_modifier : (...)
        M: how much less the reverberant field is fed because listeners absorb; 1 if not known.

    Returns
    -------
    (...)
        min(200 D² T² N / (V Q M), 9 T). [%]

    Raises
    ------
    DomainError
        If a quantity is not positive.

    Notes
    -----
    Branches join at D = 0.2121 sqrt(V Q M / (N T)); a limiting distance of 3.16 critical distances
    makes the curve jump, so the smaller branch is taken (derived here).

    Examples
    --------
    >>> float(alcons_percent(distance_m=10, reverberation_time_s=1.5, volume_m3=3000,
    ...                      directivity_factor=5))
    3.0
    """
    distance = np.asarray(distance_m, dtype=np.float64)
    time = np.asarray(reverberation_time_s, dtype=np.float64)
    q = np.asarray(directivity_factor, dtype=np.float64)
    n = np.asarray(n_groups, dtype=np.float64)
    m = np.asarray(directivity_modifier, dtype=np.float64)
    if not (volume_m3 > 0 and all(np.all(a > 0) for a in (distance, time, q, n, m))):
        msg = "%ALcons of something that is zero or negative"
        raise DomainError(msg, where="alcons", why="all quantities are positive", do="check them")
    return np.minimum(200.0 * distance**2 * time**2 * n / (volume_m3 * q * m), 9.0 * time)


def alcons_from_sti_percent(sti: ArrayLike) -> FloatArray:
    """%ALcons that an STI corresponds to.

    Parameters
    ----------
    sti : (...)
        STI.

    Returns
    -------
    (...)
        170.54 exp(-5.419 STI). [%]

    References
    ----------
    Farrel Becker's fit as printed in IEC 60268-16, annex (read in a second source).

    Examples
    --------
    >>> float(alcons_from_sti_percent(0.6).round(1))
    6.6
    """
    return np.asarray(170.5405 * np.exp(-5.419 * np.asarray(sti, dtype=np.float64)))
