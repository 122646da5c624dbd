"""A tap over frequency from the few numbers a catalogue has, exact at 1 kHz."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from soffit.circuit.arrays import ComplexArray, FloatArray, positive
from soffit.circuit.transformer import TALLY_HZ
from soffit.decibel import power_ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class TapModel:
    """Taps with their loudspeakers, one entry a speaker; scalars hold for all.

    Parameters
    ----------
    load_ohm : (n,)
        |Z| at 1 kHz: what :func:`soffit.circuit.tap.tap_load_ohm` gives. [Ω]
    insertion_loss_db : (n,)
        Loss of the transformer at 1 kHz, zero or more. [dB]
    lf_limit_hz : (n,)
        Lowest frequency at which the transformer is rated. [Hz]
    shunt_h : (n,)
        Magnetising inductance seen on the primary; zero or less where the sheet has none: then
        its reactance is three times the load at the low limit (common practice, no source). [H]
    leakage_ratio : (n,)
        Leakage inductance over magnetising inductance.
    copper_share : (n,)
        Part of the insertion loss in the windings; the rest is in the core.
    resonance_hz : (n,)
        Resonance of the loudspeaker; zero or less where unknown: then it is a resistance. [Hz]
    quality_factor : (n,)
        Total quality factor of that resonance.
    resonance_rise : (n,)
        |Z| of the loudspeaker at resonance over that at 1 kHz, at least 1.
    """

    load_ohm: ArrayLike
    insertion_loss_db: ArrayLike = 0.0
    lf_limit_hz: ArrayLike = 60.0
    shunt_h: ArrayLike = 0.0
    leakage_ratio: ArrayLike = 0.002
    copper_share: ArrayLike = 0.7
    resonance_hz: ArrayLike = 0.0
    quality_factor: ArrayLike = 1.0
    resonance_rise: ArrayLike = 1.0


def tap_sweep_ohm(model: TapModel, *, frequency_hz: ArrayLike) -> ComplexArray:
    """Impedance of taps over frequency, with |Z| at 1 kHz exactly the tap's own.

    Parameters
    ----------
    model
        Taps with their loudspeakers.
    frequency_hz : (n_frequencies,)
        Frequencies. [Hz]

    Returns
    -------
    (n, n_frequencies)
        Complex impedance at the primary, (n_frequencies,) for a model of scalars. [Ω]

    Raises
    ------
    DomainError
        If a load or frequency is not positive.

    Notes
    -----
    Derived here: half the winding resistance and leakage, then core and magnetising inductance in
    parallel, then the other half and the loudspeaker r (1 + (g - 1)/(1 + j Q g (f/f0 - f0/f)))
    with g the rise and Q the total quality factor (Q_MS = g Q_TS). One factor brings |Z| at 1 kHz
    to the tap's impedance, because that is what is printed, summed and measured.

    Examples
    --------
    >>> model = TapModel(load_ohm=[500.0], resonance_hz=90.0, resonance_rise=4.0)
    >>> float(abs(tap_sweep_ohm(model, frequency_hz=1000.0))[0, 0].round(6))
    500.0
    """
    frequency = positive(frequency_hz, "frequency_hz", why="no tap passes dc", do="check it")
    load = positive(model.load_ohm, "load_ohm", why="a tap draws power", do="check the tap")
    per_speaker = np.ndim(load) > 0
    column = _columns(model, load, per_speaker=per_speaker)
    frequency = np.atleast_1d(frequency) if per_speaker else frequency
    wanted = _shape(column, frequency)
    at_tally = np.abs(_shape(column, np.asarray(TALLY_HZ)))
    return np.asarray(wanted * (column["load"] / at_tally))


def _columns(model: TapModel, load: FloatArray, *, per_speaker: bool) -> dict[str, FloatArray]:
    fields = {
        "load": load,
        "loss": model.insertion_loss_db,
        "limit": model.lf_limit_hz,
        "shunt": model.shunt_h,
        "leak": model.leakage_ratio,
        "copper": model.copper_share,
        "resonance": model.resonance_hz,
        "quality": model.quality_factor,
        "rise": model.resonance_rise,
    }
    arrays = {name: np.asarray(value, dtype=np.float64) for name, value in fields.items()}
    if not per_speaker:
        return arrays
    return {name: array[:, np.newaxis] if array.ndim else array for name, array in arrays.items()}


def _shape(column: dict[str, FloatArray], frequency: FloatArray) -> ComplexArray:
    """Impedance before it is scaled to the tap."""
    load = column["load"]
    lost = 1.0 - power_ratio(-column["loss"])
    omega = 2.0 * math.pi * frequency
    shunt_h = np.where(
        column["shunt"] > 0.0, column["shunt"], 3.0 * load / (2.0 * math.pi * column["limit"])
    )
    series = 0.5 * lost * column["copper"] * load
    series = series + 0.5j * omega * column["leak"] * shunt_h
    core = lost * (1.0 - column["copper"]) / load
    known = column["resonance"] > 0.0
    resonance = np.where(known, column["resonance"], 1.0)
    detuning = frequency / resonance - resonance / frequency
    peak = np.where(known, column["rise"] - 1.0, 0.0)
    loud = (
        load
        * (1.0 - lost)
        * (1.0 + peak / (1.0 + 1j * column["quality"] * column["rise"] * detuning))
    )
    shunt = core + 1.0 / (1j * omega * shunt_h)
    return np.asarray(series + 1.0 / (shunt + 1.0 / (series + loud)))
