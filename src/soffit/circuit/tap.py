"""Taps as loads: impedance, what is drawn and delivered, and taps on the wrong line."""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from soffit.circuit.arrays import FloatArray, not_negative, positive
from soffit.decibel import power_ratio

TapWatt = Literal["drawn", "delivered"]
"""Whether the watt on the tap is taken from the line or reaches the loudspeaker."""


def tap_impedance_ohm(*, tap_power_w: ArrayLike, line_voltage_v: ArrayLike) -> FloatArray:
    """Nominal impedance of a tap.

    Parameters
    ----------
    tap_power_w : (...)
        Power of the tap. [W]
    line_voltage_v : (...)
        Line voltage for which the tap is marked. [V]

    Returns
    -------
    (...)
        U²/P. [Ω]

    Raises
    ------
    DomainError
        If a power or voltage is not positive.

    Examples
    --------
    >>> from soffit.constants import LINE_70_V
    >>> float(tap_impedance_ohm(tap_power_w=10.0, line_voltage_v=LINE_70_V).round(9))
    500.0
    """
    power = positive(
        tap_power_w, "tap_power_w", why="a tap draws power", do="leave out a switched-off tap"
    )
    voltage = positive(
        line_voltage_v, "line_voltage_v", why="a line has a voltage", do="give 25, 70.7 or 100"
    )
    return voltage**2 / power


def drawn_power_w(
    *, tap_power_w: ArrayLike, insertion_loss_db: ArrayLike, tap_watt: TapWatt
) -> FloatArray:
    """Power that a tap takes from the line at its marked voltage; insertion loss counted once.

    Parameters
    ----------
    tap_power_w : (...)
        Power marked on the tap. [W]
    insertion_loss_db : (...)
        Loss of the transformer, zero or more. [dB]
    tap_watt
        ``drawn``: the mark already holds the loss; ``delivered``: the loss comes on top.

    Returns
    -------
    (...)
        P, or P x 10^(IL/10). [W]

    Raises
    ------
    DomainError
        If a power is not positive or a loss negative.

    Examples
    --------
    >>> float(drawn_power_w(tap_power_w=10.0, insertion_loss_db=1.0, tap_watt="delivered").round(2))
    12.59
    """
    power, loss = _tap(tap_power_w, insertion_loss_db)
    return power * power_ratio(loss) if tap_watt == "delivered" else power + 0.0 * loss


def delivered_power_w(
    *, tap_power_w: ArrayLike, insertion_loss_db: ArrayLike, tap_watt: TapWatt
) -> FloatArray:
    """Power that reaches the loudspeaker at the marked voltage; insertion loss counted once.

    Parameters
    ----------
    tap_power_w : (...)
        Power marked on the tap. [W]
    insertion_loss_db : (...)
        Loss of the transformer, zero or more. [dB]
    tap_watt
        ``drawn``: the loss comes off; ``delivered``: the mark is what arrives.

    Returns
    -------
    (...)
        P x 10^(-IL/10), or P. [W]

    Raises
    ------
    DomainError
        If a power is not positive or a loss negative.

    Examples
    --------
    >>> float(delivered_power_w(tap_power_w=10.0, insertion_loss_db=1.0, tap_watt="drawn").round(2))
    7.94
    """
    power, loss = _tap(tap_power_w, insertion_loss_db)
    return power * power_ratio(-loss) if tap_watt == "drawn" else power + 0.0 * loss


def _tap(tap_power_w: ArrayLike, insertion_loss_db: ArrayLike) -> tuple[FloatArray, FloatArray]:
    power = positive(
        tap_power_w, "tap_power_w", why="a tap draws power", do="leave out a switched-off tap"
    )
    loss = not_negative(
        insertion_loss_db,
        "insertion_loss_db",
        why="a transformer only takes power",
        do="give the loss as a positive number of decibels",
    )
    return power, loss


def tap_load_ohm(
    *,
    tap_power_w: ArrayLike,
    line_voltage_v: ArrayLike,
    insertion_loss_db: ArrayLike = 0.0,
    tap_watt: TapWatt = "drawn",
) -> FloatArray:
    """Impedance a tap really shows the line at 1 kHz, insertion loss counted once.

    Parameters
    ----------
    tap_power_w : (...)
        Power marked on the tap. [W]
    line_voltage_v : (...)
        Line voltage for which the tap is marked. [V]
    insertion_loss_db : (...)
        Loss of the transformer, zero or more. [dB]
    tap_watt
        Whether the mark is drawn or delivered.

    Returns
    -------
    (...)
        U²/P_drawn. [Ω]

    Raises
    ------
    DomainError
        If a power or voltage is not positive or a loss negative.

    Examples
    --------
    >>> load = tap_load_ohm(
    ...     tap_power_w=10.0, line_voltage_v=100.0, insertion_loss_db=1.0, tap_watt="delivered"
    ... )
    >>> float(load.round(1))
    794.3
    """
    drawn = drawn_power_w(
        tap_power_w=tap_power_w, insertion_loss_db=insertion_loss_db, tap_watt=tap_watt
    )
    return tap_impedance_ohm(tap_power_w=drawn, line_voltage_v=line_voltage_v)


def wrong_line_power_ratio(
    *, tap_line_voltage_v: ArrayLike, line_voltage_v: ArrayLike
) -> FloatArray:
    """Power that a tap takes on another line than its own, over its marked power.

    Parameters
    ----------
    tap_line_voltage_v : (...)
        Line voltage for which the tap is marked. [V]
    line_voltage_v : (...)
        Voltage of the line it hangs on. [V]

    Returns
    -------
    (...)
        (U_line / U_tap)².

    Raises
    ------
    DomainError
        If a voltage is not positive.

    Examples
    --------
    >>> float(wrong_line_power_ratio(tap_line_voltage_v=25.0, line_voltage_v=70.7).round(1))
    8.0
    """
    marked = positive(
        tap_line_voltage_v, "tap_line_voltage_v", why="a tap has a voltage", do="check it"
    )
    line = positive(line_voltage_v, "line_voltage_v", why="a line has a voltage", do="check it")
    return (line / marked) ** 2


def asked_power_w(*, line_voltage_v: ArrayLike, impedance_ohm: ArrayLike) -> FloatArray:
    """Power that an impedance asks of a line, such as a loudspeaker left in its 8 Ω bypass.

    Parameters
    ----------
    line_voltage_v : (...)
        Voltage of the line. [V]
    impedance_ohm : (...)
        Magnitude of the impedance. [Ω]

    Returns
    -------
    (...)
        U²/Z. [W]

    Raises
    ------
    DomainError
        If a voltage or impedance is not positive.

    Examples
    --------
    >>> float(asked_power_w(line_voltage_v=100.0, impedance_ohm=8.0))
    1250.0
    """
    impedance = positive(
        impedance_ohm, "impedance_ohm", why="a dead short asks everything", do="check the reading"
    )
    voltage = positive(line_voltage_v, "line_voltage_v", why="a line has a voltage", do="check it")
    return voltage**2 / impedance


def parallel_ohm(impedance_ohm: ArrayLike, *, axis: int = 0) -> FloatArray:
    """Impedance of resistive loads in parallel.

    Parameters
    ----------
    impedance_ohm : (n, ...)
        Loads. [Ω]
    axis
        Axis that holds the loads.

    Returns
    -------
    (...)
        1 / sum(1/Z). [Ω]

    Raises
    ------
    DomainError
        If a load is not positive.

    Examples
    --------
    >>> float(parallel_ohm([50.0, 8.0]).round(3))
    6.897
    """
    loads = positive(impedance_ohm, "impedance_ohm", why="loads draw power", do="check them")
    return np.asarray(1.0 / np.sum(1.0 / loads, axis=axis))
