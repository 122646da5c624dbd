"""A line over frequency: impedance curve, saturation, and what the amplifier must supply."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soffit.circuit.amplifier import amplifier_va_max
from soffit.circuit.sweep import TapModel, tap_sweep_ohm
from soffit.circuit.transformer import flux_limit_hz
from soffit.circuit.tree import solve_tree
from soffit.decibel import FloatArray
from soffit.errors import DomainError
from soffit.evaluate.line import LineArrays, line_arrays
from soffit.model.catalogue import Catalogue
from soffit.model.lines import Line
from soffit.model.speakers import Speaker


def octave_steps_hz(*, low_hz: float, high_hz: float, per_octave: int) -> FloatArray:
    """Return frequencies in even steps of pitch, both ends included.

    Parameters
    ----------
    low_hz, high_hz
        Ends. [Hz]
    per_octave
        Steps an octave.

    Returns
    -------
    (n,)
        Rising frequencies. [Hz]
    """
    count = max(2, round(float(np.log2(high_hz / low_hz)) * per_octave) + 1)
    return np.geomspace(low_hz, high_hz, count)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSweep:
    """Impedance of a line over frequency.

    Parameters
    ----------
    frequency_hz, impedance_ohm : (n,)
        Frequency, and magnitude at the amplifier end. [Hz, Ω]
    flux_limit_hz, flux_limit_key
        Lowest frequency at which full line voltage saturates none of the transformers, and the
        speaker that sets it. [Hz]
    high_pass_hz
        High-pass in force: the line's own, else the flux limit. [Hz]
    va_max, va_max_hz
        Apparent power at the lowest impedance above the high-pass, and where. [VA, Hz]
    """

    key: str
    label: str
    frequency_hz: tuple[float, ...]
    impedance_ohm: tuple[float, ...]
    flux_limit_hz: float
    flux_limit_key: str
    high_pass_hz: float
    va_max: float
    va_max_hz: float


def speaker_siemens(
    arrays: LineArrays,
    speakers: Sequence[Speaker],
    catalogue: Catalogue,
    frequency_hz: FloatArray,
) -> "np.ndarray[tuple[int, int], np.dtype[np.complex128]]":
    """Return the admittance of what hangs at each position of a line, over frequency.

    Parameters
    ----------
    arrays
        The line as arrays.
    speakers
        At least those of the line.
    catalogue
        Types they refer to.
    frequency_hz : (n_frequencies,)
        Frequencies. [Hz]

    Returns
    -------
    (n, n_frequencies)
        Complex admittance, 0 where nothing hangs. [S]
    """
    by_key = {speaker.key: speaker for speaker in speakers}
    load = np.zeros((len(arrays.keys), frequency_hz.size), dtype=np.complex128)
    for index, key in enumerate(arrays.keys):
        if key not in by_key:
            continue
        entry = catalogue.speaker(by_key[key].type_id)
        block = entry.transformer
        power = by_key[key].tap.power_w
        model = TapModel(
            load_ohm=float(1.0 / arrays.load_siemens[index]),
            insertion_loss_db=block.insertion_loss_db,
            lf_limit_hz=block.lf_limit_hz,
            shunt_h=block.magnetising_henry_w / power if block.magnetising_henry_w else 0.0,
            leakage_ratio=block.leakage_ratio,
            copper_share=block.copper_share,
            resonance_hz=block.resonance_hz or 0.0,
            quality_factor=block.quality_factor,
            resonance_rise=block.resonance_rise,
        )
        load[index] = 1.0 / tap_sweep_ohm(model, frequency_hz=frequency_hz)
    return load


def sweep_line(
    line: Line,
    speakers: Sequence[Speaker],
    catalogue: Catalogue,
    *,
    conductor_degc: float,
    frequency_hz: FloatArray | None = None,
) -> LineSweep:
    """Sweep a line over frequency.

    Parameters
    ----------
    line
        The line with its runs; a tree.
    speakers
        At least those of the line.
    catalogue
        Types they refer to.
    conductor_degc
        Temperature of the copper. [°C]
    frequency_hz : (n,)
        Frequencies; 25 Hz to 20 kHz, twelve an octave, by default. [Hz]

    Returns
    -------
    LineSweep
        Complete result.

    Raises
    ------
    DomainError
        If the line has a ring.
    """
    wanted = (
        octave_steps_hz(low_hz=25.0, high_hz=20000.0, per_octave=12)
        if frequency_hz is None
        else frequency_hz
    )
    arrays = line_arrays(line, speakers, catalogue, conductor_degc=conductor_degc)
    if arrays.tree is None:
        msg = f"{line.label} has a ring"
        raise DomainError(
            msg,
            where=f"design.json lines.{line.key}",
            why="a sweep is made of trees",
            do="open the ring at one run",
        )
    state = solve_tree(
        arrays.tree,
        run_ohm=arrays.feeding_ohm()[:, np.newaxis],
        load_siemens=speaker_siemens(arrays, speakers, catalogue, wanted),
        amplifier_voltage_v=line.voltage_v,
        step_ratio=arrays.step_ratio[:, np.newaxis],
    )
    impedance = np.abs(state.impedance_ohm)
    by_key = {speaker.key: speaker for speaker in speakers}
    limits = {
        key: float(
            flux_limit_hz(
                line_voltage_v=line.voltage_v,
                rated_voltage_v=by_key[key].tap.voltage_v,
                low_limit_hz=catalogue.speaker(by_key[key].type_id).transformer.lf_limit_hz,
            )
        )
        for key in line.speaker_keys
    }
    worst = max(sorted(limits), key=lambda key: limits[key])
    high_pass = line.high_pass_hz or limits[worst]
    va, va_hz = amplifier_va_max(
        line_voltage_v=line.voltage_v,
        impedance_ohm=impedance,
        frequency_hz=wanted,
        high_pass_hz=high_pass,
    )
    return LineSweep(
        key=line.key,
        label=line.label,
        frequency_hz=tuple(wanted.tolist()),
        impedance_ohm=tuple(impedance.tolist()),
        flux_limit_hz=limits[worst],
        flux_limit_key=worst,
        high_pass_hz=high_pass,
        va_max=va,
        va_max_hz=va_hz,
    )
