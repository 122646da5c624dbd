"""A line transformer with its loudspeaker over frequency: impedance, saturation, high-pass."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from soffit.circuit.arrays import ComplexArray, FloatArray, positive
from soffit.decibel import field_ratio
from soffit.errors import DomainError

TALLY_HZ: Final = 1000.0
"""Frequency at which a tap's impedance is quoted and measured (common practice). [Hz]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loudspeaker:
    """Electrical side of a moving-coil loudspeaker, by its small-signal parameters.

    Parameters
    ----------
    coil_ohm
        Direct-current resistance of the voice coil. [Ω]
    coil_inductance_h
        Inductance of the voice coil. [H]
    resonance_hz
        Resonance frequency in its box. [Hz]
    mechanical_quality_factor, electrical_quality_factor
        Quality factors at resonance of the mechanical losses and of the motor.
    """

    coil_ohm: float
    coil_inductance_h: float
    resonance_hz: float
    mechanical_quality_factor: float
    electrical_quality_factor: float


def loudspeaker_impedance_ohm(loudspeaker: Loudspeaker, *, frequency_hz: ArrayLike) -> ComplexArray:
    """Impedance at the terminals of a loudspeaker.

    Parameters
    ----------
    loudspeaker
        Small-signal parameters.
    frequency_hz : (n_frequencies,)
        Frequencies. [Hz]

    Returns
    -------
    (n_frequencies,)
        Complex impedance. [Ω]

    Raises
    ------
    DomainError
        If a frequency is not positive.

    Notes
    -----
    Z = R_E + j w L_E + R_ES / (1 + j Q_MS (f/f_S - f_S/f)) with R_ES = R_E Q_MS/Q_ES.

    References
    ----------
    Small, Closed-box loudspeaker systems, J. Audio Eng. Soc. 20 (1972), from memory.

    Examples
    --------
    >>> cone = Loudspeaker(
    ...     coil_ohm=6.4, coil_inductance_h=0.5e-3, resonance_hz=80.0,
    ...     mechanical_quality_factor=4.0, electrical_quality_factor=0.8,
    ... )
    >>> float(abs(loudspeaker_impedance_ohm(cone, frequency_hz=80.0)).round(1))
    38.4
    """
    frequency = _frequency(frequency_hz)
    resonant = (
        loudspeaker.coil_ohm
        * loudspeaker.mechanical_quality_factor
        / loudspeaker.electrical_quality_factor
    )
    detuning = frequency / loudspeaker.resonance_hz - loudspeaker.resonance_hz / frequency
    return np.asarray(
        loudspeaker.coil_ohm
        + 2j * math.pi * frequency * loudspeaker.coil_inductance_h
        + resonant / (1.0 + 1j * loudspeaker.mechanical_quality_factor * detuning)
    )


def _frequency(frequency_hz: ArrayLike) -> FloatArray:
    return positive(
        frequency_hz, "frequency_hz", why="a transformer passes no direct current", do="check it"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Transformer:
    """One tap of a line transformer, all elements referred to the primary side.

    Parameters
    ----------
    turns_ratio
        Primary over secondary turns of this tap.
    primary_winding_ohm
        Resistance of the primary. [Ω]
    secondary_winding_ohm
        Resistance of the secondary, times the turns ratio squared. [Ω]
    leakage_h
        Leakage inductance of both windings together. [H]
    shunt_h
        Magnetising inductance. [H]
    core_ohm
        Core loss as a resistance across the shunt inductance. [Ω]
    series_capacitor_f
        Capacitor in series with the primary, infinite if there is none. [F]
    """

    turns_ratio: float
    primary_winding_ohm: float
    secondary_winding_ohm: float
    leakage_h: float
    shunt_h: float
    core_ohm: float
    series_capacitor_f: float = math.inf


def generic_transformer(
    *,
    drawn_power_w: float,
    line_voltage_v: float,
    nominal_ohm: float,
    insertion_loss_db: float,
    low_limit_hz: float,
) -> Transformer:
    """Build a plausible transformer from what a data sheet prints, for sweeps.

    Parameters
    ----------
    drawn_power_w
        Power the tap takes from the line at its marked voltage. [W]
    line_voltage_v
        Voltage the tap is marked for. [V]
    nominal_ohm
        Nominal impedance of the loudspeaker. [Ω]
    insertion_loss_db
        Loss of the transformer, zero or more. [dB]
    low_limit_hz
        Lowest frequency it is rated for. [Hz]

    Returns
    -------
    Transformer
        Elements referred to the primary.

    Raises
    ------
    DomainError
        If a value is out of range.

    Notes
    -----
    Derived here. With a resistive nominal load the resistances reproduce the drawn power and the
    insertion loss exactly: the tap's impedance Z = U²/P; nine tenths of the lost power warm the
    windings, half in each, and one tenth the core. The shunt reactance equals 3 Z and the leakage
    reactance Z/100 at the low limit and at 1 kHz (common practice, no source), so a real unit may
    differ: a sweep of this model is a picture, its 1 kHz value is the plan.

    Examples
    --------
    >>> unit = generic_transformer(
    ...     drawn_power_w=10.0, line_voltage_v=100.0, nominal_ohm=8.0, insertion_loss_db=1.0,
    ...     low_limit_hz=60.0,
    ... )
    >>> round(unit.turns_ratio, 2)
    10.2
    """
    drawn, voltage, nominal, limit = (
        float(positive(value, name, why="a data sheet gives it above zero", do="check the sheet"))
        for name, value in (
            ("drawn_power_w", drawn_power_w),
            ("line_voltage_v", line_voltage_v),
            ("nominal_ohm", nominal_ohm),
            ("low_limit_hz", low_limit_hz),
        )
    )
    if not 0.0 <= insertion_loss_db <= 6.0:
        msg = f"insertion_loss_db {insertion_loss_db!r} is outside 0 ... 6 dB"
        raise DomainError(
            msg,
            where="insertion_loss_db",
            why="line transformers lose 0.5 to 1.5 dB",
            do="give the loss as a positive number of decibels",
        )
    impedance = voltage**2 / drawn
    lost = 1.0 - float(field_ratio(-insertion_loss_db)) ** 2
    # core takes 0.1 of the loss at the shunt branch; each winding 0.45 of it in series
    core_share, winding_share = 0.1 * lost, 0.45 * lost
    primary = winding_share * impedance
    inner = impedance - primary
    core = math.inf if lost == 0.0 else ((1.0 - winding_share) ** 2 / core_share) * impedance
    through = inner if lost == 0.0 else 1.0 / (1.0 / inner - 1.0 / core)
    share_left = 1.0 - winding_share - core_share
    secondary = through * winding_share / share_left
    load = through - secondary
    return Transformer(
        turns_ratio=math.sqrt(load / nominal),
        primary_winding_ohm=primary,
        secondary_winding_ohm=secondary,
        leakage_h=0.01 * impedance / (2.0 * math.pi * TALLY_HZ),
        shunt_h=3.0 * impedance / (2.0 * math.pi * limit),
        core_ohm=core,
    )


def transformer_load_ohm(
    transformer: Transformer, *, secondary_ohm: ArrayLike, frequency_hz: ArrayLike
) -> ComplexArray:
    """Impedance that a transformer with its loudspeaker shows the line.

    Parameters
    ----------
    transformer
        Elements of the tap.
    secondary_ohm : (n_frequencies,)
        Impedance of the loudspeaker. [Ω]
    frequency_hz : (n_frequencies,)
        Frequencies. [Hz]

    Returns
    -------
    (n_frequencies,)
        Complex impedance at the primary. [Ω]

    Raises
    ------
    DomainError
        If a frequency is not positive.

    Examples
    --------
    >>> unit = generic_transformer(
    ...     drawn_power_w=10.0, line_voltage_v=100.0, nominal_ohm=8.0, insertion_loss_db=1.0,
    ...     low_limit_hz=60.0,
    ... )
    >>> load = transformer_load_ohm(unit, secondary_ohm=8.0, frequency_hz=1000.0)
    >>> bool(abs(abs(load) - 1000.0) < 5.0)
    True
    """
    first, shunt, second = _branches(transformer, secondary_ohm, frequency_hz)
    return np.asarray(first + 1.0 / (shunt + 1.0 / second))


def transformer_gain_ratio(
    transformer: Transformer, *, secondary_ohm: ArrayLike, frequency_hz: ArrayLike
) -> ComplexArray:
    """Voltage at the loudspeaker over the voltage of the line.

    Parameters
    ----------
    transformer
        Elements of the tap.
    secondary_ohm : (n_frequencies,)
        Impedance of the loudspeaker. [Ω]
    frequency_hz : (n_frequencies,)
        Frequencies. [Hz]

    Returns
    -------
    (n_frequencies,)
        Complex ratio.

    Raises
    ------
    DomainError
        If a frequency is not positive.
    """
    first, shunt, second = _branches(transformer, secondary_ohm, frequency_hz)
    inner = 1.0 / (shunt + 1.0 / second)
    at_core = inner / (first + inner)
    loud = np.asarray(secondary_ohm) * transformer.turns_ratio**2
    return np.asarray(at_core * loud / second / transformer.turns_ratio)


def _branches(
    transformer: Transformer, secondary_ohm: ArrayLike, frequency_hz: ArrayLike
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    omega = 2.0 * math.pi * _frequency(frequency_hz)
    half_leak = 0.5j * omega * transformer.leakage_h
    first = transformer.primary_winding_ohm + half_leak
    if math.isfinite(transformer.series_capacitor_f):
        first = first + 1.0 / (1j * omega * transformer.series_capacitor_f)
    shunt = 1.0 / transformer.core_ohm + 1.0 / (1j * omega * transformer.shunt_h)
    loud = np.asarray(secondary_ohm) * transformer.turns_ratio**2
    second = transformer.secondary_winding_ohm + half_leak + loud
    return np.asarray(first), np.asarray(shunt), np.asarray(second)


def saturation_voltage_v(
    *, frequency_hz: ArrayLike, rated_voltage_v: ArrayLike, low_limit_hz: ArrayLike
) -> FloatArray:
    """Sine voltage at which a transformer's core is as full as at its rated voltage and low limit.

    Parameters
    ----------
    frequency_hz : (...)
        Frequency. [Hz]
    rated_voltage_v : (...)
        Voltage the transformer is rated for. [V]
    low_limit_hz : (...)
        Lowest frequency at which it is rated for that voltage. [Hz]

    Returns
    -------
    (...)
        U_rated f / f_limit. [V]

    Raises
    ------
    DomainError
        If a value is not positive.

    Notes
    -----
    Flux is the time integral of voltage, so its peak goes with U/f (induction law).

    Examples
    --------
    >>> limit = saturation_voltage_v(frequency_hz=30.0, rated_voltage_v=100.0, low_limit_hz=60.0)
    >>> float(limit)
    50.0
    """
    why, do = "flux goes with voltage over frequency", "check the transformer's sheet"
    frequency = positive(frequency_hz, "frequency_hz", why=why, do=do)
    rated = positive(rated_voltage_v, "rated_voltage_v", why=why, do=do)
    limit = positive(low_limit_hz, "low_limit_hz", why=why, do=do)
    return np.asarray(rated * frequency / limit)


def flux_limit_hz(
    *, line_voltage_v: ArrayLike, rated_voltage_v: ArrayLike, low_limit_hz: ArrayLike
) -> FloatArray:
    """Lowest frequency at which the full line voltage does not saturate a transformer.

    Parameters
    ----------
    line_voltage_v : (...)
        Sine voltage on the line. [V]
    rated_voltage_v : (...)
        Voltage the transformer is rated for. [V]
    low_limit_hz : (...)
        Lowest frequency at which it is rated for that voltage. [Hz]

    Returns
    -------
    (...)
        f_limit U_line / U_rated. [Hz]

    Raises
    ------
    DomainError
        If a value is not positive.

    Examples
    --------
    >>> limit = flux_limit_hz(line_voltage_v=100.0, rated_voltage_v=70.7, low_limit_hz=70.7)
    >>> float(limit.round(6))
    100.0
    """
    why, do = "flux goes with voltage over frequency", "check the transformer's sheet"
    line = positive(line_voltage_v, "line_voltage_v", why=why, do=do)
    rated = positive(rated_voltage_v, "rated_voltage_v", why=why, do=do)
    limit = positive(low_limit_hz, "low_limit_hz", why=why, do=do)
    return np.asarray(limit * line / rated)


def high_pass_flux_ratio(*, cutoff_hz: float, flux_limit_hz: float, order: int) -> float:
    """Greatest flux behind a high-pass, over the flux that just does not saturate.

    Parameters
    ----------
    cutoff_hz
        Frequency at which the filter is 3 dB down. [Hz]
    flux_limit_hz
        Result of :func:`flux_limit_hz` for the transformer. [Hz]
    order
        Order of the Butterworth filter: 6 dB/octave each.

    Returns
    -------
    float
        More than 1 means that a full-voltage sine of some frequency saturates the core.

    Raises
    ------
    DomainError
        If the order is below 1 or a frequency not positive.

    Notes
    -----
    Derived here. Behind |H| = 1/sqrt(1 + (fc/f)^2n) the flux goes with |H|/f, which is greatest at
    (f/fc)^2n = n - 1, where |H| fc/f = (n - 1)^((n-1)/2n) / sqrt(n); for n = 1 it is 1, at f = 0.

    Examples
    --------
    >>> round(high_pass_flux_ratio(cutoff_hz=60.0, flux_limit_hz=60.0, order=2), 4)
    0.7071
    """
    if order < 1 or not (cutoff_hz > 0.0 and flux_limit_hz > 0.0):
        msg = f"a high-pass of order {order} at {cutoff_hz!r} Hz does not exist"
        raise DomainError(
            msg,
            where="order",
            why="orders are 1, 2, 3 ...: 6, 12, 18 dB an octave",
            do="give an order of at least 1 and frequencies above zero",
        )
    peak = 1.0 if order == 1 else (order - 1.0) ** ((order - 1.0) / (2.0 * order))
    return float(flux_limit_hz / cutoff_hz * peak / math.sqrt(order))
