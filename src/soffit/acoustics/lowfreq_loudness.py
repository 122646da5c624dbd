"""How much more low end an ear wants when it listens at less than the level of the mix."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.decibel import power_ratio, power_ratio_db
from soffit.errors import DomainError
from soffit.tables.load import load_table

FloatArray = NDArray[np.float64]

_PHON: Final = (20.0, 90.0)


def equal_loudness_level_db(*, frequency_hz: ArrayLike, loudness_level_phon: float) -> FloatArray:
    """Sound pressure level of pure tones as loud as a 1 kHz tone of a given level.

    Parameters
    ----------
    frequency_hz : (...)
        Nominal third-octave frequencies of the table. [Hz]
    loudness_level_phon
        Level of the 1 kHz tone, 20 to 90. [phon]

    Returns
    -------
    (...)
        Sound pressure level. [dB]

    Raises
    ------
    DomainError
        If the loudness level lies outside the range of the contours.
    TableError
        If a frequency is not in the table; nothing is interpolated.

    Notes
    -----
    A = 4.47e-3 (10^(0.025 L_N) - 1.15) + (0.4 × 10^((T + L_U)/10 - 9))^α;
    L_p = 10 lg(A)/α - L_U + 94.

    References
    ----------
    ISO 226:2003, 4.1 Eq. (1) and Table 1 (from memory, to be confirmed).

    Examples
    --------
    >>> float(equal_loudness_level_db(frequency_hz=1000, loudness_level_phon=60.0).round(1))
    60.0
    """
    if not _PHON[0] <= loudness_level_phon <= _PHON[1]:
        msg = f"a loudness level of {loudness_level_phon!r} phon has no contour"
        raise DomainError(
            msg,
            where="loudness_level_phon",
            why=f"the contours hold from {_PHON[0]:.0f} to {_PHON[1]:.0f} phon",
            do="give a level in that range",
        )
    table = load_table("loudness_contours")
    wanted = np.asarray(frequency_hz, dtype=np.float64)
    names = [f"{value:g}" for value in wanted.ravel()]
    exponent, transfer_db, threshold_db = (
        np.array([table.number(column, mid_hz=name) for name in names])
        for column in ("exponent", "transfer_db", "threshold_db")
    )
    loudness = 4.47e-3 * (power_ratio(0.25 * loudness_level_phon) - 1.15)
    threshold = (0.4 * power_ratio(threshold_db + transfer_db - 90.0)) ** exponent
    level_db = power_ratio_db(loudness + threshold) / exponent - transfer_db + 94.0
    return np.asarray(level_db.reshape(wanted.shape))


def loudness_tilt_db(*, frequency_hz: ArrayLike, mix_phon: float, listening_phon: float) -> float:
    """Lift of the low band that keeps its balance when music is played below its mixing level.

    Parameters
    ----------
    frequency_hz : (n,)
        Nominal third-octave bands of the low end. [Hz]
    mix_phon
        Level at which music is mixed. [phon]
    listening_phon
        Level at which it will be heard. [phon]

    Returns
    -------
    float
        Mean over the bands of the loudness difference; negative when heard louder. [dB]

    Raises
    ------
    DomainError
        If a level lies outside the range of the contours.

    Notes
    -----
    A band that lay on the contour of the mix has to fall by L(mix) - L(listening) on its contours,
    which is less than the 1 kHz band falls. The tilt is what is left of the difference.

    References
    ----------
    ISO 226:2003 (from memory); the rule that the contours of pure tones steer bands of music is
    common practice, no published source.

    Examples
    --------
    >>> loudness_tilt_db(frequency_hz=[63], mix_phon=80.0, listening_phon=70.0) > 3.0
    True
    """
    loud = equal_loudness_level_db(frequency_hz=frequency_hz, loudness_level_phon=mix_phon)
    quiet = equal_loudness_level_db(frequency_hz=frequency_hz, loudness_level_phon=listening_phon)
    return float(mix_phon - listening_phon - np.mean(loud - quiet))
