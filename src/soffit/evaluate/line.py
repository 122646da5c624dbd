"""The electrical state of a line: records to arrays, solved exactly, back to named results."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from soffit.circuit.cable import (
    Standard,
    conductor_area_m2,
    conductor_resistance_ohm_m,
    copper_mass_kg_m,
    line_loss_db,
    loop_resistance_ohm,
    resistance_source,
)
from soffit.circuit.network import solve_network
from soffit.circuit.tap import tap_load_ohm
from soffit.circuit.tree import Tree, solve_tree, tree_of
from soffit.decibel import FloatArray, field_ratio
from soffit.errors import DomainError
from soffit.model.catalogue import CableType, Catalogue, TapWatt
from soffit.model.lines import Line, Run
from soffit.model.speakers import Speaker

_STANDARDS: Mapping[tuple[str, str], Standard] = {
    ("AWG", "solid"): "ASTM B258",
    ("AWG", "stranded"): "NEC Table 8 stranded",
    ("mm2", "class 1"): "IEC 60228 class 2",
    ("mm2", "class 2"): "IEC 60228 class 2",
    ("mm2", "class 5"): "IEC 60228 class 5",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeakerOnLine:
    """What one speaker gets.

    Parameters
    ----------
    key, label
        Of the speaker.
    tap_power_w
        As marked. [W]
    voltage_v, loss_db
        At its terminals with the amplifier at nominal voltage; loss positive. [V, dB]
    drawn_w, delivered_w
        Taken from the line there, and reaching the loudspeaker. [W]
    load_ohm
        Impedance of the tap at 1 kHz. [Ω]
    outward_ohm
        Seen at its joint, looking away from the amplifier, this speaker included. [Ω]
    distance_m
        Cable from the amplifier to it. [m]
    order
        Place in the wiring order, from 1.
    """

    key: str
    label: str
    tap_power_w: float
    voltage_v: float
    loss_db: float
    drawn_w: float
    delivered_w: float
    load_ohm: float
    outward_ohm: float
    distance_m: float
    order: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RunState:
    """What one run carries.

    Parameters
    ----------
    current_a, power_w
        At nominal voltage: current, and heat in both conductors. [A, W]
    loop_ohm
        Loop resistance at conductor temperature. [Ω]
    end_voltage_v, end_outward_ohm
        At its far end, and looking outward there. [V, Ω]
    """

    key: str
    label: str
    start_key: str
    end_key: str
    cable_id: str
    length_m: float
    loop_ohm: float
    current_a: float
    power_w: float
    end_voltage_v: float
    end_outward_ohm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LineArrays:
    """A line as arrays; position 0 is the amplifier, then the ends of the runs in their order.

    Parameters
    ----------
    keys, labels : (n,)
        Of rack, joints and speakers.
    tree
        Which position feeds which; ``None`` if the line has a ring.
    run_ends : (m, 2)
        Positions of the ends of each run.
    run_ohm : (m,)
        Loop resistance of each run. [Ω]
    load_siemens : (n,)
        Admittance of the taps at 1 kHz. [S]
    step_ratio : (n,)
        Voltage ratio of a volume control at each position, else 1.
    """

    keys: tuple[str, ...]
    labels: tuple[str, ...]
    tree: Tree | None
    run_ends: tuple[tuple[int, int], ...]
    run_ohm: FloatArray
    load_siemens: FloatArray
    step_ratio: FloatArray

    def position(self, key: str) -> int:
        """Return the position of a rack, joint or speaker by its key."""
        return self.keys.index(key)

    def feeding_ohm(self) -> FloatArray:
        """Loop resistance (n,) of the run that feeds each position; 0 for the amplifier. [Ω]."""
        feeding = np.zeros(len(self.keys))
        for (_, end), resistance in zip(self.run_ends, self.run_ohm, strict=True):
            feeding[end] = resistance
        return feeding


@dataclass(frozen=True, slots=True, kw_only=True)
class LineState:
    """Everything about one line at nominal voltage and 1 kHz.

    Parameters
    ----------
    load_w, drawn_w, delivered_w
        Sum of taps as marked; taken by the taps; reaching loudspeakers. [W]
    amplifier_w, cable_w
        Leaving the amplifier, and lost in copper. [W]
    impedance_ohm
        What the amplifier, or a meter at 1 kHz, sees. [Ω]
    worst_loss_db, worst_key
        Greatest loss and the speaker that has it. [dB]
    cable_power_share, worst_voltage_drop_ratio
        Loss by its two other names, each said by name.
    copper_kg
        Copper in the line. [kg]
    frequency_hz, conductor_degc
        For which all of this holds. [Hz, °C]
    resistance_sources
        Tables in use, by cable id.
    """

    key: str
    label: str
    voltage_v: float
    speakers: tuple[SpeakerOnLine, ...]
    runs: tuple[RunState, ...]
    load_w: float
    drawn_w: float
    delivered_w: float
    amplifier_w: float
    cable_w: float
    impedance_ohm: float
    worst_loss_db: float
    worst_key: str
    cable_power_share: float
    worst_voltage_drop_ratio: float
    length_m: float
    copper_kg: float
    conductor_degc: float
    resistance_sources: tuple[tuple[str, str], ...]
    frequency_hz: float = 1000.0

    def speaker(self, key: str) -> SpeakerOnLine:
        """Return one speaker by key; an unknown one raises ``KeyError``."""
        for entry in self.speakers:
            if entry.key == key:
                return entry
        raise KeyError(key)


def cable_standard(cable: CableType) -> Standard:
    """Return the table that a cable's resistance is taken from.

    Parameters
    ----------
    cable
        Catalogue entry.

    Returns
    -------
    str
        Name of the table.

    Raises
    ------
    DomainError
        If its conductor does not belong to its system of sizes.
    """
    standard = _STANDARDS.get((cable.gauge_system, cable.conductor))
    if standard is None:
        msg = f"cable {cable.id!r}: {cable.conductor} is no conductor of {cable.gauge_system} sizes"
        raise DomainError(
            msg,
            where=f"catalogue cable {cable.id}",
            why="AWG is solid or stranded; mm² is class 1, 2 or 5",
            do="correct the catalogue entry",
        )
    return standard


@lru_cache(maxsize=256)  # a line asks for each of its runs, a drag for each of its steps
def cable_ohm_m(cable: CableType, *, conductor_degc: float) -> float:
    """Return the resistance of one conductor of a cable.

    Parameters
    ----------
    cable
        Catalogue entry.
    conductor_degc
        Temperature of the copper. [°C]

    Returns
    -------
    float
        Not the loop: one conductor. [Ω/m]
    """
    return conductor_resistance_ohm_m(
        cable.gauge_system,
        cable.gauge,
        conductor_degc=conductor_degc,
        standard=cable_standard(cable),
        metal=cable.material,
    )


def line_arrays(
    line: Line, speakers: Sequence[Speaker], catalogue: Catalogue, *, conductor_degc: float
) -> LineArrays:
    """Turn a line into arrays.

    Parameters
    ----------
    line
        The line with its runs.
    speakers
        All speakers of the design, or at least those of the line.
    catalogue
        Types they refer to.
    conductor_degc
        Temperature of the copper. [°C]

    Returns
    -------
    LineArrays
        Positions, tree, resistances and admittances.

    Raises
    ------
    DomainError
        If a speaker is not reached by any run, or a run starts nowhere.
    """
    by_key = {speaker.key: speaker for speaker in speakers}
    joints = {joint.key: joint for joint in line.joints}
    keys = [line.rack_key]
    for run in line.runs:
        if run.end_key not in keys:
            keys.append(run.end_key)
    place = {key: index for index, key in enumerate(keys)}
    _check_reached(line, by_key, place)
    load = np.zeros(len(keys))
    step = np.ones(len(keys))
    for key, index in place.items():
        if key in by_key:
            load[index] = 1.0 / _load_ohm(by_key[key], catalogue)
        elif key in joints and joints[key].attenuation_db:
            step[index] = float(field_ratio(-joints[key].attenuation_db))
    ends = tuple((place[run.start_key], place[run.end_key]) for run in line.runs)
    is_tree = len(ends) == len(keys) - 1 and len({end for _, end in ends}) == len(ends)
    labels = [_label(key, line, by_key) for key in keys]
    tree = None
    if is_tree:
        parent = [-1] * len(keys)
        for start, end in ends:
            parent[end] = start
        tree = tree_of(parent, labels=labels)
    return LineArrays(
        keys=tuple(keys),
        labels=tuple(labels),
        tree=tree,
        run_ends=ends,
        run_ohm=np.array([_run_ohm(run, catalogue, conductor_degc) for run in line.runs]),
        load_siemens=load,
        step_ratio=step,
    )


def _label(key: str, line: Line, by_key: Mapping[str, Speaker]) -> str:
    if key in by_key:
        return by_key[key].label
    return next((joint.label for joint in line.joints if joint.key == key), key)


def _check_reached(line: Line, by_key: Mapping[str, Speaker], place: Mapping[str, int]) -> None:
    lost = [by_key[key].label for key in line.speaker_keys if key not in place and key in by_key]
    loose = [run.label or run.key for run in line.runs if run.start_key not in place]
    if lost or loose:
        msg = f"{line.label}: {', '.join(lost or loose)} not connected to the amplifier"
        raise DomainError(
            msg,
            where=f"design.json lines.{line.key}.runs",
            why="every run must start at the rack or at the end of another run",
            do="add the missing run, or run the design again",
        )


def _load_ohm(speaker: Speaker, catalogue: Catalogue) -> float:
    entry = catalogue.speaker(speaker.type_id)
    return _tap_ohm(
        speaker.tap.power_w,
        speaker.tap.voltage_v,
        entry.transformer.insertion_loss_db,
        entry.tap_watt,
    )


@lru_cache(maxsize=1024)
def _tap_ohm(
    tap_power_w: float,
    line_voltage_v: float,
    insertion_loss_db: float,
    tap_watt: TapWatt,
) -> float:
    """Return the load of a tap; a line has many alike. [Ω]."""
    return float(
        tap_load_ohm(
            tap_power_w=tap_power_w,
            line_voltage_v=line_voltage_v,
            insertion_loss_db=insertion_loss_db,
            tap_watt=tap_watt,
        )
    )


def _run_ohm(run: Run, catalogue: Catalogue, conductor_degc: float) -> float:
    resistance = cable_ohm_m(catalogue.cable(run.cable_id), conductor_degc=conductor_degc)
    return float(loop_resistance_ohm(resistance_ohm_m=resistance, length_m=run.length_m))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Solved:
    """What both kinds of solution have in common, all real at 1 kHz."""

    voltage: FloatArray
    outward: FloatArray
    run_current: FloatArray
    amplifier_w: float
    impedance: float


def _solve(arrays: LineArrays, voltage_v: float) -> _Solved:
    if arrays.tree is not None:
        state = solve_tree(
            arrays.tree,
            run_ohm=arrays.feeding_ohm(),
            load_siemens=arrays.load_siemens,
            amplifier_voltage_v=voltage_v,
            step_ratio=arrays.step_ratio,
        )
        ends = [end for _, end in arrays.run_ends]
        return _Solved(
            voltage=np.real(state.voltage_v),
            outward=np.real(state.outward_ohm),
            run_current=np.real(state.run_current_a)[ends],
            amplifier_w=float(state.amplifier_power_w),
            impedance=float(np.real(state.impedance_ohm)),
        )
    if np.any(arrays.step_ratio != 1.0):
        msg = "a line with a ring has a volume control in it"
        raise DomainError(
            msg,
            where="lines",
            why="both ends of a ring are at the amplifier's level, a control would be bridged",
            do="open the ring, or put the control before it",
        )
    net = solve_network(
        arrays.run_ends,
        run_ohm=arrays.run_ohm,
        load_siemens=arrays.load_siemens,
        amplifier_voltage_v=voltage_v,
    )
    return _Solved(
        voltage=np.real(net.voltage_v),
        outward=np.full(len(arrays.keys), np.nan),
        run_current=np.abs(np.real(net.run_current_a)),
        amplifier_w=float(net.amplifier_power_w),
        impedance=float(np.real(net.impedance_ohm)),
    )


def _distances(line: Line, arrays: LineArrays) -> FloatArray:
    reach = np.full(len(arrays.keys), np.inf)
    reach[0] = 0.0
    for _ in range(len(arrays.run_ends)):
        before = reach.copy()
        for run, (start, end) in zip(line.runs, arrays.run_ends, strict=True):
            reach[end] = min(reach[end], reach[start] + run.length_m)
        if np.array_equal(before, reach):
            break
    return reach


def evaluate_line(
    line: Line, speakers: Sequence[Speaker], catalogue: Catalogue, *, conductor_degc: float
) -> LineState:
    """Solve a line at nominal voltage and 1 kHz.

    Parameters
    ----------
    line
        The line with its runs.
    speakers
        All speakers of the design, or at least those of the line.
    catalogue
        Types they refer to.
    conductor_degc
        Temperature of the copper. [°C]

    Returns
    -------
    LineState
        Complete result.

    Raises
    ------
    DomainError
        If the line is not connected or empty.
    TableError
        If a type is unknown.
    """
    if not line.speaker_keys:
        msg = f"{line.label} has no speaker"
        raise DomainError(
            msg,
            where=f"design.json lines.{line.key}",
            why="an empty line has no load",
            do="remove the line or give it a speaker",
        )
    arrays = line_arrays(line, speakers, catalogue, conductor_degc=conductor_degc)
    solved = _solve(arrays, line.voltage_v)
    placed = _speaker_states(line, speakers, catalogue, arrays, solved)
    worst = max(placed, key=lambda entry: entry.loss_db)
    cable_w = float(np.sum(solved.run_current**2 * arrays.run_ohm))
    used = sorted({run.cable_id for run in line.runs})
    return LineState(
        key=line.key,
        label=line.label,
        voltage_v=line.voltage_v,
        speakers=placed,
        runs=tuple(
            _run_state(run, ends, index, arrays, solved)
            for index, (run, ends) in enumerate(zip(line.runs, arrays.run_ends, strict=True))
        ),
        load_w=sum(entry.tap_power_w for entry in placed),
        drawn_w=sum(entry.drawn_w for entry in placed),
        delivered_w=sum(entry.delivered_w for entry in placed),
        amplifier_w=solved.amplifier_w,
        cable_w=cable_w,
        impedance_ohm=solved.impedance,
        worst_loss_db=worst.loss_db,
        worst_key=worst.key,
        cable_power_share=cable_w / solved.amplifier_w,
        worst_voltage_drop_ratio=1.0 - worst.voltage_v / line.voltage_v,
        length_m=sum(run.length_m for run in line.runs),
        copper_kg=sum(_run_copper_kg(run, catalogue) for run in line.runs),
        conductor_degc=conductor_degc,
        resistance_sources=tuple(
            (cable_id, _cable_source(catalogue.cable(cable_id))) for cable_id in used
        ),
    )


def _cable_source(cable: CableType) -> str:
    return resistance_source(cable.gauge_system, cable_standard(cable), size=cable.gauge)


def _run_copper_kg(run: Run, catalogue: Catalogue) -> float:
    return _copper_kg_m(catalogue.cable(run.cable_id)) * run.length_m


@lru_cache(maxsize=256)
def _copper_kg_m(cable: CableType) -> float:
    return copper_mass_kg_m(conductor_area_m2(cable.gauge_system, cable.gauge))


def _run_state(
    run: Run, ends: tuple[int, int], index: int, arrays: LineArrays, solved: _Solved
) -> RunState:
    current = float(solved.run_current[index])
    resistance = float(arrays.run_ohm[index])
    return RunState(
        key=run.key,
        label=run.label,
        start_key=run.start_key,
        end_key=run.end_key,
        cable_id=run.cable_id,
        length_m=run.length_m,
        loop_ohm=resistance,
        current_a=current,
        power_w=current**2 * resistance,
        end_voltage_v=float(solved.voltage[ends[1]]),
        end_outward_ohm=float(solved.outward[ends[1]]),
    )


def _speaker_states(
    line: Line,
    speakers: Sequence[Speaker],
    catalogue: Catalogue,
    arrays: LineArrays,
    solved: _Solved,
) -> tuple[SpeakerOnLine, ...]:
    by_key = {speaker.key: speaker for speaker in speakers}
    distance = _distances(line, arrays)
    losses = line_loss_db(amplifier_voltage_v=line.voltage_v, speaker_voltage_v=solved.voltage)
    states = []
    for order, key in enumerate(line.speaker_keys, 1):
        speaker, index = by_key[key], arrays.position(key)
        entry = catalogue.speaker(speaker.type_id)
        voltage = float(solved.voltage[index])
        power_ratio_here = (voltage / speaker.tap.voltage_v) ** 2
        states.append(
            SpeakerOnLine(
                key=key,
                label=speaker.label,
                tap_power_w=speaker.tap.power_w,
                voltage_v=voltage,
                loss_db=float(losses[index]),
                drawn_w=entry.drawn_w(speaker.tap) * power_ratio_here,
                delivered_w=entry.delivered_w(speaker.tap) * power_ratio_here,
                load_ohm=float(1.0 / arrays.load_siemens[index]),
                outward_ohm=float(solved.outward[index]),
                distance_m=float(distance[index]),
                order=order,
            )
        )
    return tuple(states)
