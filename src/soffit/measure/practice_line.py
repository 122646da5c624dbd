"""A made-up line with everything that real lines have wrong, and its own nodal solution.

The solver is a dense nodal one on purpose: it shares no code with the folding of trees that the
inference uses, so that an error in one of them shows. Pairs are folded into one conductor (both
legs in series), as everywhere in soffit.
"""

import math
from dataclasses import dataclass, replace
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from soffit.measure.practice_ranges import PracticeRanges
from soffit.measure.practice_speaker import (
    ComplexArray,
    FloatArray,
    HiddenSpeaker,
    draw,
    draw_batch,
    draw_piece,
)

HiddenKind = Literal[
    "none",
    "open",
    "short",
    "corroded",
    "missing",
    "burnt",
    "coil_short",
    "tap",
    "bypass",
    "other_voltage",
    "capacitor",
    "turned_down",
    "extra",
    "wrong_cable",
    "all_other_voltage",
]
HIDDEN_KINDS: Final[tuple[HiddenKind, ...]] = get_args(HiddenKind)
WHOLE_LINE: Final = frozenset({"none", "wrong_cable", "all_other_voltage"})

Look = Literal["rack", "away", "back", "speaker", "rack_opened"]
Heard = Literal["heard", "silent", "loud", "faint"]

BREAK_OHM: Final = 5e7
STRAY_S: Final = 1e-9
EAR_HZ: Final = (500.0, 1000.0, 2000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSpeaker:
    """What the papers say about one loudspeaker.

    Parameters
    ----------
    label
        What is written on the plan.
    parent
        Index of the loudspeaker its pair comes from, -1 for the amplifier.
    length_m
        Planned length of that run. [m]
    tap_w
        Planned tap. [W]
    taps_w
        Taps that the transformer offers. [W]
    """

    label: str
    parent: int
    length_m: float
    tap_w: float
    taps_w: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticePlan:
    """The papers of a practice line.

    Parameters
    ----------
    line_voltage_v
        Nominal line voltage. [V]
    wire_ohm_m
        Tabled resistance of one conductor at 20 °C. [Ω/m]
    is_delivered
        Whether the papers take tap watts as delivered ones.
    speakers
        In the order of the papers; a parent comes before its children.
    """

    line_voltage_v: float
    wire_ohm_m: float
    is_delivered: bool
    speakers: tuple[PlannedSpeaker, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenFault:
    """What is wrong; known to the simulator only.

    Parameters
    ----------
    kind
        One of ``HIDDEN_KINDS``.
    place
        Index of the loudspeaker, or of the run that ends there; -1 for the whole line.
    value
        Ohms, tap watts, volts, microfarads or a factor, by kind.
    """

    kind: HiddenKind
    place: int
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenMeter:
    """One instrument with its own errors.

    Parameters
    ----------
    gain
        Reading over truth.
    lead_ohm
        Resistance of its leads. [Ω]
    """

    gain: float
    lead_ohm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeLine:
    """A real line: the plan, what really hangs, what is wrong, and the instrument in hand.

    Parameters
    ----------
    plan
        The papers.
    ranges
        Ranges it was drawn from.
    pieces
        What hangs at each place.
    is_delivered
        Whether the transformers truly deliver their tap watts.
    run_ohm : (n,)
        Loop resistance of each run, terminals included. [Ω]
    run_h, run_f : (n,)
        Loop inductance and capacitance of each run. [H], [F]
    faults
        What is wrong.
    meter
        Instrument in hand.
    """

    plan: PracticePlan
    ranges: PracticeRanges
    pieces: tuple[HiddenSpeaker, ...]
    is_delivered: bool
    run_ohm: FloatArray
    run_h: FloatArray
    run_f: FloatArray
    faults: tuple[HiddenFault, ...]
    meter: HiddenMeter

    def tap_ohm(self, place: int, tap_w: float | None = None) -> float:
        """Impedance printed on a tap: U²/P at the nominal line voltage.

        Parameters
        ----------
        place
            Index of the loudspeaker.
        tap_w
            Tap; the planned one if omitted. [W]

        Returns
        -------
        float
            Printed impedance. [Ω]
        """
        power = self.plan.speakers[place].tap_w if tap_w is None else tap_w
        return self.plan.line_voltage_v**2 / power

    def mended(self, place: int) -> "PracticeLine":
        """Return the line with the faults at one place put right."""
        return replace(self, faults=tuple(f for f in self.faults if f.place != place))

    def faults_at(self, place: int) -> tuple[HiddenFault, ...]:
        """Return the faults that touch one place, those of the whole line included."""
        return tuple(f for f in self.faults if f.place in {place, -1})

    def speaker_ohm(self, place: int, frequency_hz: FloatArray) -> ComplexArray:
        """Impedance of what hangs at one place, its own fault included.

        Parameters
        ----------
        place
            Index of the loudspeaker.
        frequency_hz : (n,)
            Frequencies. [Hz]

        Returns
        -------
        (n,)
            Complex impedance. [Ω]
        """
        piece, tap_ohm, raise_ratio = self._as_hung(place)
        if any(f.kind == "missing" for f in self.faults_at(place)):
            return np.full(len(frequency_hz), BREAK_OHM, dtype=np.complex128)
        if any(f.kind == "bypass" for f in self.faults_at(place)):
            return piece.coil_ohm(frequency_hz)
        ohm = piece.line_ohm(frequency_hz, tap_ohm=tap_ohm, is_delivered=self.is_delivered)
        return np.asarray(ohm * raise_ratio, dtype=np.complex128)

    def _as_hung(self, place: int) -> tuple[HiddenSpeaker, float, float]:
        """Piece, tap impedance and the factor of a volume control, at one place."""
        piece, tap_ohm, raise_ratio = self.pieces[place], self.tap_ohm(place), 1.0
        for fault in self.faults_at(place):
            match fault.kind:
                case "tap":
                    tap_ohm = self.tap_ohm(place, fault.value)
                case "other_voltage" | "all_other_voltage":
                    tap_ohm = fault.value**2 / self.plan.speakers[place].tap_w
                case "burnt":
                    piece = replace(piece, voice_coil_ohm=math.inf)
                case "coil_short":
                    piece = replace(
                        piece,
                        voice_coil_ohm=fault.value,
                        resonances=(),
                        coil_inductance_h=1e-6,
                    )
                case "capacitor":
                    piece = replace(piece, capacitor_f=fault.value * 1e-6)
                case "turned_down":
                    raise_ratio = fault.value
                case _:
                    pass
        return piece, tap_ohm, raise_ratio

    def _runs_s(self, frequency_hz: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Series admittance and half the shunt admittance of the runs: (n, n_freq) each."""
        omega = 2.0 * np.pi * frequency_hz
        ohm = self.run_ohm.copy()
        for fault in self.faults:
            if fault.kind == "open":
                ohm[fault.place] = BREAK_OHM
            elif fault.kind == "corroded":
                ohm[fault.place] += fault.value
            elif fault.kind == "wrong_cable":
                ohm = ohm * fault.value
        series = np.asarray(
            1.0 / (ohm[:, None] + 1j * omega * self.run_h[:, None]), dtype=np.complex128
        )
        half_shunt = np.asarray(0.5j * omega * self.run_f[:, None], dtype=np.complex128)
        return series, half_shunt

    def nodal_s(self, frequency_hz: FloatArray, *, removed: int | None = None) -> ComplexArray:
        """Nodal admittance matrix; node 0 is the amplifier end, node k + 1 is place k.

        Parameters
        ----------
        frequency_hz : (n,)
            Frequencies. [Hz]
        removed
            Run that is taken off at its far end, if any.

        Returns
        -------
        (n, n_nodes, n_nodes)
            Admittances. [S]
        """
        count = len(self.plan.speakers)
        matrix = np.zeros((len(frequency_hz), count + 1, count + 1), dtype=np.complex128)
        series, half_shunt = self._runs_s(frequency_hz)
        for k, speaker in enumerate(self.plan.speakers):
            near, far = speaker.parent + 1, k + 1
            matrix[:, near, near] += half_shunt[k]
            if k == removed:
                matrix[:, near, near] += half_shunt[k]
            else:
                matrix[:, far, far] += half_shunt[k] + series[k]
                matrix[:, near, near] += series[k]
                matrix[:, near, far] -= series[k]
                matrix[:, far, near] -= series[k]
            matrix[:, far, far] += 1.0 / self.speaker_ohm(k, frequency_hz)
        for fault in self.faults:
            if fault.kind == "short":
                matrix[:, fault.place + 1, fault.place + 1] += 1.0 / fault.value
            elif fault.kind == "extra":
                matrix[:, fault.place + 1, fault.place + 1] += 1.0 / self.pieces[
                    fault.place
                ].line_ohm(
                    frequency_hz,
                    tap_ohm=self.tap_ohm(fault.place, fault.value),
                    is_delivered=self.is_delivered,
                )
        diagonal = np.arange(count + 1)
        matrix[:, diagonal, diagonal] += STRAY_S
        return matrix

    def true_ohm(self, look: Look, place: int, frequency_hz: FloatArray) -> ComplexArray:
        """Impedance a perfect meter would show.

        Parameters
        ----------
        look
            ``rack``: the whole line; ``away``: at the joint, the run from the amplifier taken off;
            ``back``: there into that run, both legs off the amplifier;
            ``speaker``: one loudspeaker alone; ``rack_opened``: at the rack, that run taken off.
        place
            Index of the loudspeaker at the joint; ignored for ``rack``.
        frequency_hz : (n,)
            Frequencies. [Hz]

        Returns
        -------
        (n,)
            Complex impedance. [Ω]
        """
        if look == "speaker":
            return self.speaker_ohm(place, frequency_hz)
        matrix = self.nodal_s(frequency_hz, removed=None if look == "rack" else place)
        node = place + 1 if look == "away" else 0
        if look == "back":
            node = self.plan.speakers[place].parent + 1
        source = np.zeros((matrix.shape[1], 1), dtype=np.complex128)
        source[node] = 1.0
        ohm = np.linalg.solve(matrix, source)[:, node, 0]
        if look == "back":
            ohm = ohm + 1.0 / self._runs_s(frequency_hz)[0][place]
        return np.asarray(ohm, dtype=np.complex128)

    def true_volts(self, drive_v: float, frequency_hz: FloatArray) -> ComplexArray:
        """Voltage at every place with the line driven from the rack.

        Parameters
        ----------
        drive_v
            Voltage at the amplifier end. [V]
        frequency_hz : (n,)
            Frequencies. [Hz]

        Returns
        -------
        (n, n_places)
            Complex voltages. [V]
        """
        matrix = self.nodal_s(frequency_hz)
        right = -matrix[:, 1:, :1] * drive_v
        volts = np.linalg.solve(matrix[:, 1:, 1:], right)[:, :, 0]
        return np.asarray(volts, dtype=np.complex128)

    def true_amps(self, place: int, drive_v: float, frequency_hz: FloatArray) -> ComplexArray:
        """Return the current in one core of the run that ends at a place.

        Parameters
        ----------
        place
            Index of the loudspeaker at the far end of the run.
        drive_v
            Voltage at the amplifier end. [V]
        frequency_hz : (n,)
            Frequencies. [Hz]

        Returns
        -------
        (n,)
            Complex current. [A]
        """
        volts = self.true_volts(drive_v, frequency_hz)
        parent = self.plan.speakers[place].parent
        near: complex | NDArray[np.complex128] = drive_v if parent < 0 else volts[:, parent]
        series, _ = self._runs_s(frequency_hz)
        return np.asarray((near - volts[:, place]) * series[place], dtype=np.complex128)

    def excess_db(self) -> FloatArray:
        """Level of every loudspeaker over its plan, as an ear would judge it: (n_places,). [dB]."""
        frequency_hz = np.asarray(EAR_HZ)
        volts = np.abs(self.true_volts(1.0, frequency_hz)) ** 2
        watts = np.zeros(len(self.pieces))
        for k in range(len(self.pieces)):
            watts[k] = float(np.mean(volts[:, k] * self._delivered(k, frequency_hz)))
        planned = np.asarray([1.0 / self.tap_ohm(k) for k in range(len(self.pieces))])
        # The simulator keeps its own logarithm: it must not share code with what it tests.
        return np.asarray(4.342944819 * np.log(np.maximum(watts / planned, 1e-12)))

    def _delivered(self, place: int, frequency_hz: FloatArray) -> FloatArray:
        piece, tap_ohm, raise_ratio = self._as_hung(place)
        kinds = {fault.kind for fault in self.faults_at(place)}
        if kinds & {"missing", "coil_short"}:
            return np.zeros(len(frequency_hz))
        if "bypass" in kinds:
            coil = piece.coil_ohm(frequency_hz)
            return np.asarray(coil.real / np.abs(coil) ** 2, dtype=np.float64)
        share = piece.delivered_share(frequency_hz, tap_ohm=tap_ohm, is_delivered=self.is_delivered)
        return share / raise_ratio


def draw_plan(
    rng: np.random.Generator, *, count: int, ranges: PracticeRanges, branch_share: float = 0.3
) -> PracticePlan:
    """Draw the papers of a line.

    Parameters
    ----------
    rng
        Source of chance.
    count
        Number of loudspeakers.
    ranges
        Ranges (none is used today; kept so that plans can follow them).
    branch_share
        Part of the plans that have one branch.

    Returns
    -------
    PracticePlan
        A chain, now and then with one branch.
    """
    del ranges
    voltage = float(rng.choice([100.0, math.sqrt(5000.0)]))
    taps = (1.0, 2.0, 4.0, 8.0) if rng.random() < 0.5 else (1.25, 2.5, 5.0, 10.0)
    common = int(rng.integers(0, 4))
    mixed = rng.random() < 0.3
    branch = int(rng.integers(1, count)) if count > 3 and rng.random() < branch_share else -1
    pitch = float(rng.uniform(3.0, 8.0))
    # 18, 16, 14 and 12 AWG at 20 °C: ASTM B258 law, chosen so that the far end stays audible.
    total_w = taps[common] * count
    wires = (0.02095, 0.01317, 0.008286, 0.005211)
    reach_m = 0.5 * pitch * count + 20.0
    wanted = 0.06 * voltage**2 / total_w / (2.0 * reach_m)
    wire = next((r for r in wires if r <= wanted), wires[-1])
    speakers = []
    for k in range(count):
        index = common
        if mixed and rng.random() < 0.3:
            index = int(np.clip(common + rng.choice([-1, 1]), 0, 3))
        parent = k - 1
        if k == branch:
            parent = int(rng.integers(0, k))
        length = float(rng.uniform(8.0, 50.0)) if k == 0 else pitch * float(rng.uniform(0.7, 1.4))
        speakers.append(
            PlannedSpeaker(
                label=f"L1-{k + 1:02d}",
                parent=parent,
                length_m=round(length, 1),
                tap_w=taps[index],
                taps_w=taps,
            )
        )
    return PracticePlan(
        line_voltage_v=voltage,
        wire_ohm_m=wire,
        is_delivered=bool(rng.random() < 0.5),
        speakers=tuple(speakers),
    )


def draw_meter(rng: np.random.Generator, ranges: PracticeRanges) -> HiddenMeter:
    """Draw one instrument."""
    return HiddenMeter(
        gain=math.exp(ranges.meter_gain_sd * rng.standard_normal()),
        lead_ohm=draw(rng, ranges.meter_lead_ohm),
    )


def hang(rng: np.random.Generator, plan: PracticePlan, ranges: PracticeRanges) -> PracticeLine:
    """Draw a healthy real line for a plan.

    Parameters
    ----------
    rng
        Source of chance.
    plan
        The papers.
    ranges
        Ranges to draw from.

    Returns
    -------
    PracticeLine
        A line without faults, but with all its imperfections.
    """
    count = len(plan.speakers)
    cuts = sorted(int(c) for c in rng.integers(0, count + 1, rng.integers(0, ranges.batches)))
    batches = [draw_batch(rng, ranges) for _ in range(len(cuts) + 1)]
    if rng.random() < ranges.capacitor_share:
        chosen = int(rng.integers(0, len(batches)))
        capacitor = draw(rng, ranges.capacitor_uf) * 1e-6
        batches[chosen] = replace(batches[chosen], capacitor_f=capacitor)
    pieces = [draw_piece(rng, batches[sum(k >= cut for cut in cuts)], ranges) for k in range(count)]
    length_m = np.asarray([s.length_m for s in plan.speakers])
    length_m = length_m * draw(rng, ranges.length_common)
    length_m = length_m * np.exp(ranges.length_sd * rng.standard_normal(count))
    length_m = length_m + rng.uniform(*ranges.slack_m, count)
    copper = 1.0 + 0.00393 * (draw(rng, ranges.conductor_degc) - 20.0)
    wire_ohm_m = plan.wire_ohm_m * draw(rng, ranges.wire_common) * copper
    is_wrong = bool(rng.random() < ranges.convention_wrong_share)
    return PracticeLine(
        plan=plan,
        ranges=ranges,
        pieces=tuple(pieces),
        is_delivered=plan.is_delivered is not is_wrong,
        run_ohm=2.0 * length_m * wire_ohm_m + 2.0 * rng.uniform(*ranges.joint_ohm, count),
        run_h=length_m * draw(rng, ranges.cable_inductance_uh_m) * 1e-6,
        run_f=length_m * draw(rng, ranges.cable_capacitance_pf_m) * 1e-12,
        faults=(),
        meter=draw_meter(rng, ranges),
    )
