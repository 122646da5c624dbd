"""One line without a job: load, amplifier, ohms, and the loss at every loudspeaker."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from soffit.circuit.amplifier import amplifier_power_min_w
from soffit.circuit.arrays import FloatArray
from soffit.circuit.cable import (
    Metal,
    Standard,
    cable_power_share,
    conductor_resistance_ohm_m,
    delivered_power_ratio,
    line_loss_db,
    loop_resistance_ohm,
    resistance_source,
    voltage_drop_ratio,
)
from soffit.circuit.tap import TapWatt, tap_load_ohm, wrong_line_power_ratio
from soffit.circuit.tree import solve_tree, tree_of
from soffit.decibel import power_ratio_db
from soffit.errors import JobError, Problem
from soffit.tables.load import load_table
from soffit.tables.settings import DEFAULT_LIMITS, Limits
from soffit.work.quick_line_text import AMPLIFIER, QuickRun

_DIGITS: Final = 9
_LONGEST_RUN_M: Final = 1e5
_LARGEST_TAP_W: Final = 1e5
_LARGEST_INSERTION_LOSS_DB: Final = 20.0
"""What no line has; beyond, floating point gives infinite numbers instead of an answer."""

_THICKER: Final[dict[str, tuple[str, ...]]] = {
    "AWG": ("24", "22", "20", "18", "16", "14", "12", "10"),
    "mm2": ("0.5", "0.75", "1", "1.5", "2.5", "4", "6"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickLine:
    """A question about one line.

    Parameters
    ----------
    line_voltage_v
        Nominal voltage. [V]
    runs
        Pieces of cable in any order.
    conductor_degc
        Temperature of the copper. [°C]
    headroom_ratio
        Part of the load that the amplifier keeps free.
    insertion_loss_db
        Of every transformer. [dB]
    tap_watt
        Whether tap watts are drawn or delivered.
    tap_voltage_v
        Line voltage that the taps are marked for; ``None`` for that of the line. [V]
    metal
        Metal of the conductors.
    standard
        Table of conductor resistance; ``None`` for the usual one of each system of sizes.
    limits
        Limits in force.
    """

    line_voltage_v: float
    runs: tuple[QuickRun, ...]
    conductor_degc: float
    headroom_ratio: float
    insertion_loss_db: float = 0.0
    tap_watt: TapWatt = "drawn"
    tap_voltage_v: float | None = None
    metal: Metal = "copper"
    standard: Standard | None = None
    limits: Limits = field(default_factory=lambda: DEFAULT_LIMITS)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickSpeaker:
    """What one loudspeaker gets.

    Parameters
    ----------
    name
        As in the question.
    tap_w
        Tap. [W]
    distance_m
        Cable between it and the amplifier, the way the line was described. [m]
    voltage_v
        Voltage at its terminals at full line voltage. [V]
    power_w
        Power it takes from the line there. [W]
    loss_db
        Line loss, positive. [dB]
    """

    name: str
    tap_w: float
    distance_m: float
    voltage_v: float
    power_w: float
    loss_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickFinding:
    """A limit that the line does not keep.

    Parameters
    ----------
    code, severity
        Code with its page, and ``stop`` or ``warn``.
    what, limit, limit_source, do
        The fact, the limit and where it comes from, and what would cure it.
    """

    code: str
    severity: Literal["stop", "warn"]
    what: str
    limit: str
    limit_source: str
    do: str


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickAnswer:
    """Everything about the line.

    Parameters
    ----------
    question
        What was asked.
    load_w
        Sum of the taps, as they ask it of this line. [W]
    drawn_w
        What leaves the amplifier: taps, transformers and copper. [W]
    amplifier_w_min
        Least rated power of the channel: taps with headroom, or what is drawn where lossy
        transformers take more than that. [W]
    impedance_ohm
        What a meter reads at the amplifier's end at 1 kHz. [Ω]
    cable_w
        What warms the copper. [W]
    cable_m
        Cable in all runs. [m]
    speakers
        What each one gets, in the order of the question.
    findings
        Limits that are not kept.
    resistance_sources
        Table of each conductor size in use.
    """

    question: QuickLine
    load_w: float
    drawn_w: float
    amplifier_w_min: float
    impedance_ohm: float
    cable_w: float
    cable_m: float
    speakers: tuple[QuickSpeaker, ...]
    findings: tuple[QuickFinding, ...]
    resistance_sources: tuple[str, ...]

    @property
    def worst(self) -> QuickSpeaker:
        """The loudspeaker that loses most."""
        return max(self.speakers, key=lambda speaker: speaker.loss_db)

    def as_dict(self) -> dict[str, Any]:
        """Return the answer as JSON shows it; lengths in metres, loss positive."""
        worst = self.worst
        question = self.question
        return {
            "line_voltage_v": _tidy(question.line_voltage_v),
            "load_w": _tidy(self.load_w),
            "drawn_w": _tidy(self.drawn_w),
            "amplifier_w_min": _tidy(self.amplifier_w_min),
            "headroom_ratio": _tidy(question.headroom_ratio),
            "impedance_ohm": _tidy(self.impedance_ohm),
            "speakers": [
                {
                    "name": speaker.name,
                    "tap_w": _tidy(speaker.tap_w),
                    "distance_m": _tidy(speaker.distance_m),
                    "voltage_v": _tidy(speaker.voltage_v),
                    "power_w": _tidy(speaker.power_w),
                    "loss_db": _tidy(speaker.loss_db),
                }
                for speaker in self.speakers
            ],
            "worst_loss_db": _tidy(worst.loss_db),
            "worst_speaker": worst.name,
            "worst_voltage_drop_ratio": _tidy(float(voltage_drop_ratio(worst.loss_db))),
            "worst_delivered_power_ratio": _tidy(float(delivered_power_ratio(worst.loss_db))),
            "cable_power_share": _tidy(
                float(cable_power_share(cable_power_w=self.cable_w, amplifier_power_w=self.drawn_w))
            ),
            "cable_w": _tidy(self.cable_w),
            "cable_m": _tidy(self.cable_m),
            "conductor_degc": _tidy(question.conductor_degc),
            "frequency_hz": 1000.0,
            "resistance_sources": list(self.resistance_sources),
            "findings": [
                {
                    "code": finding.code,
                    "severity": finding.severity,
                    "what": finding.what,
                    "limit": finding.limit,
                    "limit_source": finding.limit_source,
                    "do": finding.do,
                }
                for finding in self.findings
            ],
        }


def _tidy(value: float) -> float:
    return round(value, _DIGITS)


def solve_quick_line(question: QuickLine) -> QuickAnswer:
    """Solve one line exactly.

    Parameters
    ----------
    question
        The line.

    Returns
    -------
    QuickAnswer
        Load, amplifier, ohms, and what each loudspeaker gets.

    Raises
    ------
    JobError
        If a length is not positive, a loudspeaker hangs nowhere, or nothing draws power.
    DomainError, TableError
        If a temperature, gauge or headroom is outside its range.
    """
    return _with_findings(_solve(question))


def _solve(question: QuickLine) -> QuickAnswer:
    _check_question(question)
    names, feeding, closing = _tree_parts(question.runs)
    loop = _loop_ohm(question)
    taps = {run.end: run.tap_w for run in question.runs if run.tap_w > 0.0}
    load = np.zeros(len(names))
    for place, name in enumerate(names):
        if name in taps:
            load[place] = 1.0 / float(tap_ohm(question, taps[name]))
    if closing:
        voltage, drawn, cable_w, impedance = _solve_ring(question, names, loop, load)
    else:
        voltage, drawn, cable_w, impedance = _solve_branches(question, names, feeding, loop, load)
    losses = line_loss_db(amplifier_voltage_v=voltage[0], speaker_voltage_v=voltage)
    distances = _distances(question.runs, names, feeding)
    speakers = tuple(
        QuickSpeaker(
            name=name,
            tap_w=taps[name],
            distance_m=distances[place],
            voltage_v=float(voltage[place]),
            power_w=float(voltage[place] ** 2 * load[place]),
            loss_db=float(losses[place]),
        )
        for place, name in enumerate(names)
        if name in taps
    )
    load_w = _tap_factor(question) * sum(speaker.tap_w for speaker in speakers)
    return QuickAnswer(
        question=question,
        load_w=load_w,
        drawn_w=drawn,
        amplifier_w_min=max(
            drawn,
            float(amplifier_power_min_w(load_w=load_w, headroom_ratio=question.headroom_ratio)),
        ),
        impedance_ohm=impedance,
        cable_w=cable_w,
        cable_m=sum(run.length_m for run in question.runs),
        speakers=speakers,
        findings=(),
        resistance_sources=tuple(
            sorted({resistance_source(run.gauge[0], question.standard) for run in question.runs})
        ),
    )


def _check_question(question: QuickLine) -> None:
    problems = [
        Problem(
            what=f"the run {run.start} - {run.end} is {run.length_m:g} m long",
            where=f"run {run.start} - {run.end}",
            why="a run is longer than nothing, and no line is longer than 100 km",
            do="give its route length, such as 8 m or 26 ft",
        )
        for run in question.runs
        if not 0.0 < run.length_m <= _LONGEST_RUN_M
    ]
    problems += [
        Problem(
            what=f"{run.end} has a tap of {run.tap_w:g} W",
            where=f"run {run.start} - {run.end}",
            why="a tap draws power, and no line carries more than 100 kW",
            do="give the tap in watts",
        )
        for run in question.runs
        if not 0.0 <= run.tap_w <= _LARGEST_TAP_W
    ]
    if not any(run.tap_w > 0.0 for run in question.runs):
        problems.append(
            Problem(
                what="nothing on the line draws power",
                where="tap",
                why="no run ends at a loudspeaker with a tap",
                do="give at least one tap, such as 5 W",
            )
        )
    tapped = Counter(run.end for run in question.runs if run.tap_w > 0.0)
    problems += [
        Problem(
            what=f"{name} is given a tap twice",
            where=f"end {name}",
            why="a loudspeaker has one tap; the run that closes a ring names none",
            do="leave the tap of the second run empty",
        )
        for name, count in sorted(tapped.items())
        if count > 1
    ]
    if not 0.0 <= question.insertion_loss_db <= _LARGEST_INSERTION_LOSS_DB:
        problems.append(
            Problem(
                what=f"insertion loss of {question.insertion_loss_db:g} dB",
                where="--insertion-loss",
                why="a transformer only takes power: 0 to 20 dB make sense, 0.5 to 2 are usual",
                do="give the loss on its data sheet as a positive number",
            )
        )
    if not 0.0 <= question.headroom_ratio <= 2.0:
        problems.append(
            Problem(
                what=f"headroom of {question.headroom_ratio:.0%}",
                where="--headroom",
                why="from 0 to 200 % of the load make sense; 10 to 25 % are common practice",
                do="write a share such as 20%",
            )
        )
    if problems:
        raise JobError.of(problems)


def tap_ohm(question: QuickLine, tap_w: ArrayLike) -> FloatArray:
    """Impedance that taps of the question show its line.

    Parameters
    ----------
    question
        The line.
    tap_w : (n,)
        Taps as marked. [W]

    Returns
    -------
    (n,)
        Impedance at 1 kHz, insertion loss counted once. [Ω]
    """
    return tap_load_ohm(
        tap_power_w=tap_w,
        line_voltage_v=question.tap_voltage_v or question.line_voltage_v,
        insertion_loss_db=question.insertion_loss_db,
        tap_watt=question.tap_watt,
    )


def _tap_factor(question: QuickLine) -> float:
    """Power that a tap takes on this line over its mark."""
    if question.tap_voltage_v is None:
        return 1.0
    return float(
        wrong_line_power_ratio(
            tap_line_voltage_v=question.tap_voltage_v, line_voltage_v=question.line_voltage_v
        )
    )


def _loop_ohm(question: QuickLine) -> FloatArray:
    per_metre = {
        gauge: conductor_resistance_ohm_m(
            *gauge,
            conductor_degc=question.conductor_degc,
            standard=question.standard,
            metal=question.metal,
        )
        for gauge in {run.gauge for run in question.runs}
    }
    return loop_resistance_ohm(
        resistance_ohm_m=[per_metre[run.gauge] for run in question.runs],
        length_m=[run.length_m for run in question.runs],
    )


def _tree_parts(
    runs: Sequence[QuickRun],
) -> tuple[tuple[str, ...], dict[str, int], tuple[int, ...]]:
    """Return node names, the run that feeds each, and the runs that close a ring."""
    names = [AMPLIFIER]
    feeding: dict[str, int] = {}
    closing: list[int] = []
    for place, run in enumerate(runs):
        if run.end == AMPLIFIER or run.end in feeding:
            closing.append(place)
            continue
        feeding[run.end] = place
        names.append(run.end)
    return tuple(names), feeding, tuple(closing)


def _unknown_starts(runs: Sequence[QuickRun], names: Sequence[str]) -> list[Problem]:
    return [
        Problem(
            what=f"{run.end} hangs on {run.start!r}, which nothing feeds",
            where=f"run {run.start} - {run.end}",
            why=f"no run ends at {run.start}; the line begins at {AMPLIFIER!r}",
            do=f"add the run to {run.start}, or correct the name",
        )
        for run in runs
        if run.start not in names
    ]


def _solve_branches(
    question: QuickLine,
    names: tuple[str, ...],
    feeding: dict[str, int],
    loop: FloatArray,
    load: FloatArray,
) -> tuple[FloatArray, float, float, float]:
    if problems := _unknown_starts(question.runs, names):
        raise JobError.of(problems)
    place_of = {name: place for place, name in enumerate(names)}
    parent = [-1] + [place_of[question.runs[feeding[name]].start] for name in names[1:]]
    run_ohm = np.concatenate([[0.0], [loop[feeding[name]] for name in names[1:]]])
    state = solve_tree(
        tree_of(parent, labels=names),
        run_ohm=run_ohm,
        load_siemens=load,
        amplifier_voltage_v=question.line_voltage_v,
    )
    return (
        np.real(state.voltage_v),
        float(state.amplifier_power_w),
        float(np.sum(state.run_power_w)),
        float(np.real(state.impedance_ohm)),
    )


def _solve_ring(
    question: QuickLine, names: tuple[str, ...], loop: FloatArray, load: FloatArray
) -> tuple[FloatArray, float, float, float]:
    from soffit.circuit.network import solve_network

    if problems := _unknown_starts(question.runs, names):
        raise JobError.of(problems)
    place_of = {name: place for place, name in enumerate(names)}
    state = solve_network(
        [[place_of[run.start], place_of[run.end]] for run in question.runs],
        run_ohm=loop,
        load_siemens=load,
        amplifier_voltage_v=question.line_voltage_v,
    )
    return (
        np.real(state.voltage_v),
        float(state.amplifier_power_w),
        float(np.sum(state.run_power_w)),
        float(np.real(state.impedance_ohm)),
    )


def _distances(
    runs: Sequence[QuickRun], names: Sequence[str], feeding: dict[str, int]
) -> tuple[float, ...]:
    known = {AMPLIFIER: 0.0}

    def distance(name: str) -> float:
        path: list[str] = []
        while name not in known:
            path.append(name)
            name = runs[feeding[name]].start
            if name in path:
                return 0.0
        for entry in reversed(path):
            run = runs[feeding[entry]]
            known[entry] = known[run.start] + run.length_m
        return known[path[0]] if path else known[name]

    return tuple(distance(name) for name in names)


def _with_findings(answer: QuickAnswer) -> QuickAnswer:
    found = (*_loss_findings(answer), *_tap_findings(answer), *_metal_findings(answer))
    return replace(answer, findings=found)


def _loss_findings(answer: QuickAnswer) -> tuple[QuickFinding, ...]:
    limits = answer.question.limits
    worst = answer.worst
    for severity, name in (("stop", "line_loss_stop_db"), ("warn", "line_loss_warn_db")):
        limit = limits[name]
        if worst.loss_db > limit:
            finding = QuickFinding(
                code="LINE-02" if severity == "stop" else "LINE-01",
                severity="stop" if severity == "stop" else "warn",
                what=f"loudspeaker {worst.name} loses {worst.loss_db:.2f} dB in the cable",
                limit=f"{limit:.2f} dB",
                limit_source=limits.source(name),
                do=_cure(answer.question, limits["line_loss_warn_db"]),
            )
            return (finding,)
    return ()


def _tap_findings(answer: QuickAnswer) -> tuple[QuickFinding, ...]:
    question, factor = answer.question, _tap_factor(answer.question)
    if abs(factor - 1.0) < 1e-6:
        return ()
    change = float(power_ratio_db(factor))
    return (
        QuickFinding(
            code="LINE-04",
            severity="stop" if factor > 1.0 else "warn",
            what=f"taps marked for {question.tap_voltage_v:.1f} V take {factor:.2f} times their "
            f"watts on {question.line_voltage_v:.1f} V ({change:+.2f} dB)",
            limit="taps of the line's own voltage",
            limit_source="U²/Z",
            do="use the taps of this line voltage, or set the amplifier to theirs",
        ),
    )


def _metal_findings(answer: QuickAnswer) -> tuple[QuickFinding, ...]:
    if answer.question.metal != "copper-clad aluminium":
        return ()
    return (
        QuickFinding(
            code="CABLE-05",
            severity="warn",
            what="copper-clad aluminium has 1.6 times the resistance of copper of its size",
            limit="copper",
            limit_source=load_table("conductor_metals").source.cite(),
            do="use copper; a size sold by its outside says nothing of its metal",
        ),
    )


def _cure(question: QuickLine, limit_db: float) -> str:
    """Name the thinnest single size that keeps the limit, found by solving with each."""
    system = question.runs[0].gauge[0]
    if all(run.gauge[0] == system for run in question.runs) and question.standard is None:
        sizes = _THICKER[system]
        present = max(
            sizes.index(run.gauge[1]) if run.gauge[1] in sizes else 0 for run in question.runs
        )
        for size in sizes[present + 1 :]:
            runs = tuple(replace(run, gauge=(system, size)) for run in question.runs)
            thicker = _solve(replace(question, runs=runs))
            if thicker.worst.loss_db <= limit_db:
                shown = f"{size} AWG" if system == "AWG" else f"{size} mm²"
                return f"use {shown} ({thicker.worst.loss_db:.2f} dB)"
    return "split the line, shorten it, lower the taps, or raise the line voltage"
