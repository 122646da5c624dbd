"""What a line asks of its amplifier: load, drawn power, headroom, VA, and crest factor."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from soffit.circuit.arrays import FloatArray, not_negative, positive
from soffit.decibel import power_ratio
from soffit.errors import DomainError

SINE_CREST_FACTOR_DB: Final = 3.0102999566398120
"""Peak over r.m.s. of a sine, 20 lg(sqrt 2). [dB]"""


def amplifier_power_min_w(*, load_w: ArrayLike, headroom_ratio: float) -> FloatArray:
    """Least rated power of an amplifier channel for a load.

    Parameters
    ----------
    load_w : (...)
        Sum of the taps. [W]
    headroom_ratio
        Part of the load that is kept free on top, zero or more.

    Returns
    -------
    (...)
        load x (1 + headroom). [W]

    Raises
    ------
    DomainError
        If a load or the headroom is negative.

    References
    ----------
    Common practice, no published source: 10 to 25 % on the sum of the taps.

    Examples
    --------
    >>> round(float(amplifier_power_min_w(load_w=100.0, headroom_ratio=0.1)), 9)
    110.0
    """
    why, do = "a load takes power", "write headroom as a share such as 20 %"
    load = not_negative(load_w, "load_w", why=why, do=do)
    headroom = not_negative(headroom_ratio, "headroom_ratio", why=why, do=do)
    return np.asarray(load * (1.0 + headroom))


def load_ratio(*, drawn_w: ArrayLike, rated_power_w: ArrayLike) -> FloatArray:
    """Power drawn over the amplifier's rated power.

    Parameters
    ----------
    drawn_w : (...)
        Power that leaves the amplifier, insertion and cable loss included. [W]
    rated_power_w : (...)
        Rated power of the channel. [W]

    Returns
    -------
    (...)
        Above 1 it is overloaded.

    Raises
    ------
    DomainError
        If a rating is not positive.

    Examples
    --------
    >>> float(load_ratio(drawn_w=96.0, rated_power_w=120.0))
    0.8
    """
    rated = positive(rated_power_w, "rated_power_w", why="an amplifier has power", do="check it")
    return np.asarray(np.asarray(drawn_w, dtype=np.float64) / rated)


def programme_power_ratio(crest_factor_db: ArrayLike) -> FloatArray:
    """Mean power of a programme that just reaches the peak of the rated sine, over rated power.

    Parameters
    ----------
    crest_factor_db : (...)
        Peak over r.m.s. of the programme, at least that of a square wave, 0. [dB]

    Returns
    -------
    (...)
        10^((3.01 - crest)/10).

    Raises
    ------
    DomainError
        If a crest factor is negative.

    Notes
    -----
    Rated power is that of a sine, whose crest factor is 3.01 dB. This says how warm an amplifier
    gets, never how large it must be: crest factor goes into tap and level, headroom into the size.

    Examples
    --------
    >>> float(programme_power_ratio(12.0).round(3))
    0.126
    """
    crest = not_negative(
        crest_factor_db, "crest_factor_db", why="a peak is no less than the mean", do="check it"
    )
    return power_ratio(SINE_CREST_FACTOR_DB - crest)


def amplifier_va_max(
    *, line_voltage_v: float, impedance_ohm: ArrayLike, frequency_hz: ArrayLike, high_pass_hz: float
) -> tuple[float, float]:
    """Greatest apparent power that a line can ask above its high-pass, and where.

    Parameters
    ----------
    line_voltage_v
        Full line voltage. [V]
    impedance_ohm : (n_frequencies,)
        Impedance of the line at the amplifier, complex or magnitude. [Ω]
    frequency_hz : (n_frequencies,)
        Frequencies. [Hz]
    high_pass_hz
        Cut-off of the line's high-pass: lower frequencies are not counted. [Hz]

    Returns
    -------
    tuple of float
        U²/min |Z| [VA] and the frequency of that minimum [Hz].

    Raises
    ------
    DomainError
        If no frequency lies above the high-pass.

    Examples
    --------
    >>> amplifier_va_max(
    ...     line_voltage_v=100.0, impedance_ohm=[20.0, 90.0, 100.0],
    ...     frequency_hz=[20.0, 80.0, 1000.0], high_pass_hz=70.0,
    ... )
    (111.11111111111111, 80.0)
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    size = np.abs(np.asarray(impedance_ohm))
    above = frequency >= high_pass_hz
    if not np.any(above):
        msg = f"no frequency of the sweep lies above the high-pass of {high_pass_hz:g} Hz"
        raise DomainError(
            msg,
            where="frequency_hz",
            why=f"the sweep ends at {float(frequency.max(initial=0.0)):g} Hz",
            do="sweep up to at least 1 kHz",
        )
    place = int(np.argmin(np.where(above, size, np.inf)))
    return float(line_voltage_v**2 / size[place]), float(frequency[place])
