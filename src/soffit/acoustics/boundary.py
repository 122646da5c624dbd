"""What hard surfaces close by do to the power and pressure of a small low-frequency source."""

from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.constants import SPEED_OF_SOUND_20_DEGC_M_S
from soffit.decibel import field_ratio_db, power_ratio_db
from soffit.errors import DomainError

FloatArray = NDArray[np.float64]


def boundary_power_gain_db(
    *,
    frequency_hz: ArrayLike,
    distances_m: ArrayLike,
    speed_of_sound_m_s: float = SPEED_OF_SOUND_20_DEGC_M_S,
) -> FloatArray:
    """Gain of radiated power over free field beside one, two or three perpendicular hard planes.

    Parameters
    ----------
    frequency_hz : (...)
        Frequency. [Hz]
    distances_m : (n_planes,)
        Distance of the source from each plane; one to three planes. [m]
    speed_of_sound_m_s
        Speed of sound. [m/s]

    Returns
    -------
    (...)
        10 lg of the power with the planes over the power without. [dB]

    Raises
    ------
    DomainError
        If a frequency is not positive, a distance is negative, or there are not 1-3 planes.

    Notes
    -----
    W/W₀ = 1 + Σ sin(k r)/(k r) over the mirror images, r = 2 sqrt(Σ d²) over any of the planes.
    This is power of a source of given volume velocity; the coherent gain of pressure close to the
    planes is :func:`boundary_pressure_gain_db`, twice as many decibels.

    References
    ----------
    Waterhouse, R. V., "Output of a sound source in a reverberation chamber and other reflecting
    environments", J. Acoust. Soc. Am. 30, 1958 (from memory); sum over images derived here.

    Examples
    --------
    >>> flush_in_ceiling = boundary_power_gain_db(frequency_hz=50.0, distances_m=[0.0])
    >>> float(flush_in_ceiling.round(2))
    3.01
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    distances = np.atleast_1d(np.asarray(distances_m, dtype=np.float64))
    if not np.all(frequency > 0.0):
        msg = "frequencies must be greater than zero"
        raise DomainError(msg, where="frequency_hz", why="no wave stands still", do="check them")
    if distances.ndim != 1 or not 1 <= distances.size <= 3 or not np.all(distances >= 0.0):
        msg = f"give one to three distances of zero or more, got {distances_m!r}"
        raise DomainError(
            msg, where="distances_m", why="three planes meet in a corner", do="check them"
        )
    wavenumber = 2.0 * np.pi * frequency / speed_of_sound_m_s
    gain = np.ones_like(frequency)
    for count in range(1, distances.size + 1):
        for chosen in combinations(distances.tolist(), count):
            path_m = 2.0 * float(np.linalg.norm(chosen))
            gain = gain + np.sinc(wavenumber * path_m / np.pi)
    return power_ratio_db(gain)


def boundary_pressure_gain_db(*, planes: int) -> float:
    """Gain of pressure over free field for a source and an ear both close to hard planes.

    Parameters
    ----------
    planes
        How many perpendicular planes: one, two or three.

    Returns
    -------
    float
        20 lg(2ⁿ): the images add in phase. [dB]

    Raises
    ------
    DomainError
        If there are not one to three planes.

    References
    ----------
    Derived here: each plane doubles the number of sources that arrive together.

    Examples
    --------
    >>> round(boundary_pressure_gain_db(planes=1), 2)
    6.02
    """
    if planes not in (1, 2, 3):
        msg = f"one to three planes meet in a corner, got {planes!r}"
        raise DomainError(msg, where="planes", why="others cannot all be perpendicular", do="1-3")
    return float(field_ratio_db(2.0**planes))
