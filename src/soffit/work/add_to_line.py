"""May I add four more? One line of a job with further loudspeakers hung on it, solved exactly."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from soffit.circuit.amplifier import amplifier_power_min_w
from soffit.circuit.arrays import FloatArray
from soffit.circuit.cable import line_loss_db, loop_resistance_ohm
from soffit.circuit.tap import tap_load_ohm
from soffit.circuit.tree import solve_tree, tree_of
from soffit.errors import JobError
from soffit.evaluate.line import LineArrays, cable_ohm_m, line_arrays
from soffit.model.catalogue import Tap
from soffit.model.decisions import Job
from soffit.model.lines import Line
from soffit.model.speakers import Speaker
from soffit.units import FOOT_M
from soffit.work.quick_line import QuickFinding
from soffit.work.quick_line_text import number_or

_MOST: Final = 200
"""Further loudspeakers tried when asking how many there could be."""


_SHOWN: Final = (
    "line",
    "after",
    "count",
    "tap_w",
    "spacing_m",
    "load_before_w",
    "load_w",
    "channel_load_w",
    "channel_rated_w",
    "channel_w_min",
    "impedance_before_ohm",
    "impedance_ohm",
    "loss_before_db",
    "loss_db",
    "worst",
    "most",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AddQuestion:
    """What somebody wants to hang on a line.

    Parameters
    ----------
    line
        Label of the line, such as ``L3``; may be empty where the job has one only.
    count
        Further loudspeakers, one after the other.
    tap
        Their tap, such as ``5 W``; that of the loudspeaker they follow if empty.
    after
        Label of the loudspeaker they follow; the last of the line if empty.
    spacing
        Cable from one to the next; the mean of the line's runs if empty.
    """

    line: str = ""
    count: int = 0
    tap: str = ""
    after: str = ""
    spacing: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AddAnswer:
    """What the line would become.

    Parameters
    ----------
    line, after, count
        Labels and number, as taken.
    tap_w, spacing_m
        Tap of the new ones and cable between them. [W, m]
    load_before_w, load_w
        Sum of taps before and after. [W]
    channel_load_w, channel_rated_w, channel_w_min
        Load on the amplifier channel with all its lines, its rating (0 if the line has no channel),
        and what it must have. [W]
    impedance_before_ohm, impedance_ohm
        At the amplifier's end at 1 kHz. [Ω]
    loss_before_db, loss_db, worst
        Greatest loss before and after, and where it is then. [dB]
    most
        How many more the line could take at this tap and spacing, all limits kept.
    is_imperial
        Whether the job writes lengths in feet.
    findings
        Limits that would not be kept.
    """

    line: str
    after: str
    count: int
    tap_w: float
    spacing_m: float
    load_before_w: float
    load_w: float
    channel_load_w: float
    channel_rated_w: float
    channel_w_min: float
    impedance_before_ohm: float
    impedance_ohm: float
    loss_before_db: float
    loss_db: float
    worst: str
    most: int
    is_imperial: bool
    findings: tuple[QuickFinding, ...]

    @property
    def is_yes(self) -> bool:
        """Whether all limits are kept."""
        return not self.findings

    def as_dict(self) -> dict[str, Any]:
        """Return the answer as JSON shows it."""
        body: dict[str, Any] = {
            name: round(value, 9) if isinstance(value, float) else value
            for name in _SHOWN
            for value in [getattr(self, name)]
        }
        body["answer"] = "yes" if self.is_yes else "no"
        body["findings"] = [
            {
                "code": finding.code,
                "severity": finding.severity,
                "what": finding.what,
                "limit": finding.limit,
                "limit_source": finding.limit_source,
                "do": finding.do,
            }
            for finding in self.findings
        ]
        return body

    def text(self) -> str:
        """Return the answer in words, one fact a line."""
        far, unit = (1.0 / FOOT_M, "ft") if self.is_imperial else (1.0, "m")
        rated = f"{self.channel_rated_w:.0f} W" if self.channel_rated_w else "no"
        rows = [
            f"{'yes' if self.is_yes else 'no'}: {self.count} more of {self.tap_w:g} W after "
            f"{self.after} on {self.line}, {self.spacing_m * far:.1f} {unit} of cable each",
            f"load       {self.load_before_w:.1f} W -> {self.load_w:.1f} W on the line, "
            f"{self.channel_load_w:.1f} W on its channel",
            f"channel    needs {self.channel_w_min:.1f} W with headroom, has {rated}",
            f"impedance  {self.impedance_before_ohm:.1f} -> {self.impedance_ohm:.1f} ohm by taps",
            f"worst loss {self.loss_before_db:.2f} -> {self.loss_db:.2f} dB at {self.worst}",
            f"at most    {self.most} more, all limits kept",
        ]
        rows += [
            f"{finding.severity}: {finding.what} (limit {finding.limit}, "
            f"{finding.limit_source}); {finding.do}"
            for finding in self.findings
        ]
        return "\n".join(rows)


def add_to_line(folder: Path, question: AddQuestion) -> AddAnswer:
    """Answer for a job on disk; nothing is changed.

    Parameters
    ----------
    folder
        Folder of the job.
    question
        What is to be hung where.

    Returns
    -------
    AddAnswer
        The line before and after.

    Raises
    ------
    JobError
        If the job, the line, the loudspeaker or the tap do not exist.
    """
    from soffit.job.api import read_job

    return answer_for(read_job(folder), question)


def answer_for(job: Job, question: AddQuestion) -> AddAnswer:
    """Answer for a job in memory.

    Parameters
    ----------
    job
        The job with its design.
    question
        What is to be hung where.

    Returns
    -------
    AddAnswer
        The line before and after.

    Raises
    ------
    JobError
        If the line, the loudspeaker or the tap do not exist.
    """
    if not 0 <= question.count <= _MOST:
        raise JobError(
            what=f"{question.count} further loudspeakers",
            where="--add",
            why=f"from 0 to {_MOST} are tried",
            do="give how many you want to hang",
        )
    case = _Case(job, _line(job, question.line), question)
    most = 0
    while most < _MOST and not case.findings(most + 1):
        most += 1
    return case.answer(question.count, most)


def _line(job: Job, label: str) -> Line:
    lines = job.design.lines
    if not label and len(lines) == 1:
        return lines[0]
    for line in lines:
        if line.label == label:
            return line
    known = ", ".join(line.label for line in lines) or "none yet: run soffit design"
    raise JobError(
        what=f"there is no line {label!r}" if label else "the job has several lines",
        where="--line",
        why=f"the design has {known}",
        do="name one of its lines, such as --line L1",
    )


def _controls_before(
    line: Line, key: str, speakers: dict[str, Speaker]
) -> tuple[tuple[str, float, float], ...]:
    """Label, rating and taps downstream of every volume control on the way to a loudspeaker."""
    parent = {run.end_key: run.start_key for run in line.runs}

    def way(end: str) -> set[str]:
        found: set[str] = set()
        while end in parent and end not in found:
            found.add(end)
            end = parent[end]
        return found

    return tuple(
        (
            joint.label,
            joint.rated_power_w,
            sum(speakers[one].tap.power_w for one in line.speaker_keys if joint.key in way(one)),
        )
        for joint in line.joints
        if joint.kind == "volume control" and joint.key in way(key)
    )


class _Case:
    """One line, and what hangs on it for a number of further loudspeakers."""

    def __init__(self, job: Job, line: Line, question: AddQuestion) -> None:
        self._job, self._line = job, line
        speakers = {speaker.key: speaker for speaker in job.design.speakers}
        self._after = self._speaker(speakers, question.after)
        self._tap = self._choose_tap(question.tap)
        mean = float(np.mean([run.length_m for run in line.runs]))
        spacing = number_or(question.spacing, "length", "--spacing") if question.spacing else mean
        if not spacing > 0.0:
            raise JobError(
                what=f"--spacing {question.spacing} is not above zero",
                where="--spacing",
                why="cable is longer than nothing",
                do="give the cable from one to the next",
            )
        self._spacing_m = spacing
        self._limits = job.survey.limits
        self._arrays = line_arrays(
            line,
            job.design.speakers,
            job.catalogue,
            conductor_degc=self._limits["conductor_degc"],
        )
        if self._arrays.tree is None:
            raise JobError(
                what=f"{line.label} is a ring",
                where="--line",
                why="what is added to a ring depends on where it is opened",
                do="open the ring in the design first",
            )
        self._load_before_w = sum(speakers[key].tap.power_w for key in line.speaker_keys)
        self._channel_load_w, self._channel_drawn_w, self._rated_w = self._channel(speakers)
        self._new_drawn_w = job.catalogue.speaker(self._after.type_id).drawn_w(self._tap)
        self._controls = _controls_before(line, self._after.key, speakers)

    def _speaker(self, speakers: dict[str, Speaker], label: str) -> Speaker:
        here = [speakers[key] for key in self._line.speaker_keys]
        if not label:
            return here[-1]
        for speaker in here:
            if speaker.label == label:
                return speaker
        raise JobError(
            what=f"there is no {label!r} on {self._line.label}",
            where="--after",
            why=f"it has {', '.join(speaker.label for speaker in here)}",
            do="name one of these",
        )

    def _choose_tap(self, text: str) -> Tap:
        entry = self._job.catalogue.speaker(self._after.type_id)
        taps = entry.taps_at(self._line.voltage_v)
        wanted = number_or(text, "power", "--tap") if text else self._after.tap.power_w
        for tap in taps:
            if abs(tap.power_w - wanted) < 1e-9:
                return tap
        offered = ", ".join(f"{tap.power_w:g}" for tap in taps) or "no"
        raise JobError(
            what=f"{entry.name} has no tap of {wanted:g} W",
            where="--tap",
            why=f"its transformer offers {offered} W at {self._line.voltage_v:.1f} V",
            do="choose one of its taps",
        )

    def _channel(self, speakers: dict[str, Speaker]) -> tuple[float, float, float]:
        """Taps on the channel, what they draw, and its rating. [W]."""
        design = self._job.design

        def drawn(keys: Sequence[str]) -> float:
            return sum(
                self._job.catalogue.speaker(speakers[key].type_id).drawn_w(speakers[key].tap)
                for key in keys
            )

        for amplifier in design.amplifiers:
            for channel in amplifier.channels:
                if self._line.key in channel.line_keys:
                    rated = self._job.catalogue.amplifier(amplifier.type_id).channel_power_w
                    keys = [
                        key for one in channel.line_keys for key in design.line(one).speaker_keys
                    ]
                    load = sum(speakers[key].tap.power_w for key in keys)
                    return load, drawn(keys), rated[channel.number - 1]
        return self._load_before_w, drawn(self._line.speaker_keys), 0.0

    def _solve(self, count: int) -> tuple[FloatArray, list[str], float]:
        """Losses and labels of all loudspeakers, and the impedance."""
        arrays: LineArrays = self._arrays
        if arrays.tree is None:  # refused before
            return np.zeros(0), [], 0.0
        entry = self._job.catalogue.speaker(self._after.type_id)
        load = float(
            tap_load_ohm(
                tap_power_w=self._tap.power_w,
                line_voltage_v=self._tap.voltage_v,
                insertion_loss_db=entry.transformer.insertion_loss_db,
                tap_watt=entry.tap_watt,
            )
        )
        last = next(run for run in self._line.runs if run.end_key == self._after.key)
        cable = self._job.catalogue.cable(last.cable_id)
        run_ohm = float(
            loop_resistance_ohm(
                resistance_ohm_m=cable_ohm_m(cable, conductor_degc=self._limits["conductor_degc"]),
                length_m=self._spacing_m,
            )
        )
        have = arrays.tree.n_nodes
        start = arrays.position(self._after.key)
        parent = [*arrays.tree.parent.tolist(), *([start] if count else [])]
        parent += list(range(have, have + count - 1))
        state = solve_tree(
            tree_of(parent),
            run_ohm=np.concatenate([arrays.feeding_ohm(), np.full(count, run_ohm)]),
            load_siemens=np.concatenate([arrays.load_siemens, np.full(count, 1.0 / load)]),
            amplifier_voltage_v=self._line.voltage_v,
            step_ratio=np.concatenate([arrays.step_ratio, np.ones(count)]),
        )
        loud = state.load_siemens > 0.0
        losses = line_loss_db(
            amplifier_voltage_v=self._line.voltage_v,
            speaker_voltage_v=np.real(state.voltage_v)[loud],
        )
        labels = [*arrays.labels, *(f"new {number}" for number in range(1, count + 1))]
        named = [label for label, is_loud in zip(labels, loud.tolist(), strict=True) if is_loud]
        return losses, named, float(np.real(state.impedance_ohm))

    def findings(self, count: int) -> tuple[QuickFinding, ...]:
        """Limits that are not kept with so many more."""
        limits = self._limits
        found: list[QuickFinding] = []
        losses, labels, _ = self._solve(count)
        worst = int(np.argmax(losses))
        for severity, name in (("stop", "line_loss_stop_db"), ("warn", "line_loss_warn_db")):
            if losses[worst] > limits[name]:
                found.append(
                    QuickFinding(
                        code="LINE-02" if severity == "stop" else "LINE-01",
                        severity="stop" if severity == "stop" else "warn",
                        what=f"{labels[worst]} would lose {losses[worst]:.2f} dB in the cable",
                        limit=f"{limits[name]:.2f} dB",
                        limit_source=limits.source(name),
                        do="feed them from another line, or lower their tap",
                    )
                )
                break
        return (*found, *self._channel_findings(count), *self._control_findings(count))

    def _control_findings(self, count: int) -> tuple[QuickFinding, ...]:
        return tuple(
            QuickFinding(
                code="LINE-13",
                severity="stop",
                what=f"the volume control {label} would have {load:g} W of taps behind it",
                limit=f"{rated_w:g} W",
                limit_source="the control's own rating",
                do="feed them from before the control, use a larger one, or hang fewer",
            )
            for label, rated_w, taps_w in self._controls
            for load in (taps_w + count * self._tap.power_w,)
            if load > rated_w * 1.001
        )

    def _channel_findings(self, count: int) -> tuple[QuickFinding, ...]:
        load = self._channel_load_w + count * self._tap.power_w
        drawn = self._channel_drawn_w + count * self._new_drawn_w
        needed = self._needed_w(count)
        if needed <= self._rated_w + 1e-9:
            return ()
        is_over = max(load, drawn) > self._rated_w
        code = "AMP-03" if not self._rated_w else "AMP-01" if is_over else "AMP-02"
        source = self._limits.source("amplifier_headroom_ratio")
        return (
            QuickFinding(
                code=code,
                severity="stop" if is_over else "warn",
                what=f"the channel of {self._line.label} would carry {load:.1f} W of taps that "
                f"draw {drawn:.1f} W, and need {needed:.1f} W",
                limit=f"{self._rated_w:.0f} W" if self._rated_w else "a channel",
                limit_source=f"rating in the catalogue; headroom: {source}",
                do="use a larger channel, lower taps, or hang fewer",
            ),
        )

    def _needed_w(self, count: int) -> float:
        """Taps with headroom, or what lossy transformers draw where that is more. [W]."""
        with_headroom = float(
            amplifier_power_min_w(
                load_w=self._channel_load_w + count * self._tap.power_w,
                headroom_ratio=self._limits["amplifier_headroom_ratio"],
            )
        )
        return max(with_headroom, self._channel_drawn_w + count * self._new_drawn_w)

    def answer(self, count: int, most: int) -> AddAnswer:
        """Write everything down for a number of further loudspeakers."""
        before, _, ohm_before = self._solve(0)
        losses, labels, ohm = self._solve(count)
        worst = int(np.argmax(losses))
        return AddAnswer(
            line=self._line.label,
            after=self._after.label,
            count=count,
            tap_w=self._tap.power_w,
            spacing_m=self._spacing_m,
            load_before_w=self._load_before_w,
            load_w=self._load_before_w + count * self._tap.power_w,
            channel_load_w=self._channel_load_w + count * self._tap.power_w,
            channel_rated_w=self._rated_w,
            channel_w_min=self._needed_w(count),
            impedance_before_ohm=ohm_before,
            impedance_ohm=ohm,
            loss_before_db=float(np.max(before)),
            loss_db=float(losses[worst]),
            worst=labels[worst],
            most=most,
            is_imperial=self._job.survey.site.is_imperial,
            findings=self.findings(count),
        )
