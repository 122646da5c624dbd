"""What a light ceiling lets through to the void at low frequencies."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.constants import SPEED_OF_SOUND_20_DEGC_M_S
from soffit.errors import DomainError

FloatArray = NDArray[np.float64]

AIR_DENSITY_KG_M3: Final = 1.204
"""Dry air at 20 °C and 101.325 kPa. [kg/m³]"""


def tile_transmission_ratio(*, frequency_hz: ArrayLike, mass_kg_m2: float) -> FloatArray:
    """Share of the energy that meets a limp ceiling and goes through it.

    Parameters
    ----------
    frequency_hz : (...)
        Frequency. [Hz]
    mass_kg_m2
        Mass of the infill. [kg/m²]

    Returns
    -------
    (...)
        1/(1 + (ωm/2ρc)²), the most that a leaky ceiling can take out of the room.

    Raises
    ------
    DomainError
        If the mass or a frequency is not positive.

    References
    ----------
    Mass law at normal incidence; derived here from the pressure on both sides of a limp sheet.
    Kuttruff, Room Acoustics, has the same expression for a curtain (from memory).

    Examples
    --------
    >>> float(tile_transmission_ratio(frequency_hz=50.0, mass_kg_m2=4.5).round(2))
    0.25
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if not (mass_kg_m2 > 0.0 and np.all(frequency > 0.0)):
        msg = f"a ceiling of {mass_kg_m2!r} kg/m² has no mass law"
        raise DomainError(
            msg, where="mass_kg_m2", why="mass and frequency must be positive", do="weigh a tile"
        )
    impedance = AIR_DENSITY_KG_M3 * SPEED_OF_SOUND_20_DEGC_M_S
    return np.asarray(1.0 / (1.0 + (np.pi * frequency * mass_kg_m2 / impedance) ** 2))


def leak_absorption_ratio(
    *,
    frequency_hz: ArrayLike,
    mass_kg_m2: float,
    known_absorption: ArrayLike,
    share_lost: float,
) -> FloatArray:
    """Absorption coefficient to add to a light ceiling for what leaks to the void.

    Parameters
    ----------
    frequency_hz : (...)
        Frequency. [Hz]
    mass_kg_m2
        Mass of the infill. [kg/m²]
    known_absorption : (...)
        Coefficient that the reverberation time already counts for this ceiling.
    share_lost
        Share of what goes through that never comes back: 0 for an empty hard void, 1 for an endless
        or a damped one.

    Returns
    -------
    (...)
        share × transmission less what is known, never negative.

    Raises
    ------
    DomainError
        If the share is not between 0 and 1, or the mass is not positive.

    References
    ----------
    Derived here; the share is an assumption, so results are shown for 0, the middle and 1.

    Examples
    --------
    >>> float(leak_absorption_ratio(frequency_hz=50.0, mass_kg_m2=4.5, known_absorption=0.1,
    ...                             share_lost=1.0).round(2))
    0.15
    """
    if not 0.0 <= share_lost <= 1.0:
        msg = f"a share of {share_lost!r} cannot be lost"
        raise DomainError(msg, where="share_lost", why="shares lie in 0..1", do="give 0 to 1")
    through = tile_transmission_ratio(frequency_hz=frequency_hz, mass_kg_m2=mass_kg_m2)
    return np.maximum(share_lost * through - np.asarray(known_absorption, np.float64), 0.0)
