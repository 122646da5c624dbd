"""Sound absorption by air and speed of sound.

References
----------
ISO 9613-1:1993, Eqs. (3) to (5), annexes A and B.
"""

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import MID_HZ, FloatArray
from soffit.errors import DomainError

_REFERENCE_KELVIN = 293.15
_TRIPLE_POINT_KELVIN = 273.16
_REFERENCE_KPA = 101.325


def speed_of_sound_m_s(temperature_degc: float) -> float:
    """Speed of sound in air.

    Parameters
    ----------
    temperature_degc
        Air temperature, -20 to 50. [°C]

    Returns
    -------
    float
        Speed of sound. [m/s]

    Raises
    ------
    DomainError
        If the temperature lies outside -20 to 50 °C.

    References
    ----------
    ISO 9613-1:1993, Eq. (A.5): c = 343.2 sqrt(T / 293.15).

    Examples
    --------
    >>> round(speed_of_sound_m_s(20.0), 1)
    343.2
    """
    _check_air(temperature_degc, 50.0, 101.325)
    return 343.2 * float(np.sqrt((temperature_degc + 273.15) / _REFERENCE_KELVIN))


def _check_air(temperature_degc: float, humidity_percent: float, pressure_kpa: float) -> None:
    limits = (
        ("temperature_degc", temperature_degc, -20.0, 50.0, "°C"),
        ("humidity_percent", humidity_percent, 1.0, 100.0, "%"),
        ("pressure_kpa", pressure_kpa, 50.0, 200.0, "kPa"),
    )
    for name, value, least, most, unit in limits:
        if not least <= value <= most:
            msg = f"{name} is {value:g} {unit}"
            raise DomainError(
                msg,
                where=name,
                why=f"ISO 9613-1 is used from {least:g} to {most:g} {unit}",
                do="state the air of an occupied room",
            )


def air_absorption_db_m(
    *,
    temperature_degc: float = 20.0,
    humidity_percent: float = 50.0,
    pressure_kpa: float = _REFERENCE_KPA,
    frequency_hz: ArrayLike = MID_HZ,
) -> FloatArray:
    """Attenuation of a pure tone by air, at the exact mid-band frequencies by default.

    Parameters
    ----------
    temperature_degc
        Air temperature. [°C]
    humidity_percent
        Relative humidity. [%]
    pressure_kpa
        Ambient pressure. [kPa]
    frequency_hz : (n,)
        Frequencies. [Hz]

    Returns
    -------
    (n,)
        Attenuation. [dB/m]

    Raises
    ------
    DomainError
        If the air is outside the range of use.

    References
    ----------
    ISO 9613-1:1993, Eq. (5) with the relaxation frequencies of Eqs. (3) and (4) and the
    saturation pressure of Eqs. (B.2) and (B.3).

    Examples
    --------
    >>> (air_absorption_db_m()[4:6] * 1000).round(2).tolist()
    [4.66, 9.86]
    """
    _check_air(temperature_degc, humidity_percent, pressure_kpa)
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    kelvin = temperature_degc + 273.15
    t = kelvin / _REFERENCE_KELVIN
    p = pressure_kpa / _REFERENCE_KPA
    saturation = 10.0 ** (-6.8346 * (_TRIPLE_POINT_KELVIN / kelvin) ** 1.261 + 4.6151)
    h = humidity_percent * saturation / p
    oxygen_hz = p * (24.0 + 4.04e4 * h * (0.02 + h) / (0.391 + h))
    nitrogen_hz = p * t**-0.5 * (9.0 + 280.0 * h * np.exp(-4.170 * (t ** (-1.0 / 3.0) - 1.0)))
    f2 = frequency**2
    return np.asarray(
        8.686
        * f2
        * (
            1.84e-11 / p * np.sqrt(t)
            + t**-2.5
            * (
                0.01275 * np.exp(-2239.1 / kelvin) / (oxygen_hz + f2 / oxygen_hz)
                + 0.1068 * np.exp(-3352.0 / kelvin) / (nitrogen_hz + f2 / nitrogen_hz)
            )
        )
    )


def air_energy_attenuation_per_m(attenuation_db_m: ArrayLike) -> FloatArray:
    """Energy attenuation constant m of the reverberation formulas.

    Parameters
    ----------
    attenuation_db_m : (...)
        Attenuation. [dB/m]

    Returns
    -------
    (...)
        m = attenuation / (10 lg e). [1/m]

    Examples
    --------
    >>> float(air_energy_attenuation_per_m(4.342944819).round(6))
    1.0
    """
    return np.asarray(np.asarray(attenuation_db_m, dtype=np.float64) * (np.log(10.0) / 10.0))
