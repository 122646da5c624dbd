"""A verdict on every reading: expected, band, pass, look or fail, likely reasons, next step."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from soffit.decibel import power_ratio, power_ratio_db
from soffit.measure.entry import drive_volts, figure_text, unit_of, value_text
from soffit.measure.evidence import Evidence, Listened, Shown
from soffit.measure.expected import bands, plan_value, tolerance_text
from soffit.measure.line_plan import LinePlan
from soffit.measure.posterior import judge, line_model
from soffit.measure.predict import Direction, LineModel, Look
from soffit.measure.suspects import fault_kinds, suspects_of
from soffit.measure.symptoms import symptom
from soffit.model.readings import Reading

Status = Literal["pass", "look", "fail", "noted"]

BESIDE_OHMS: Final[Mapping[str, str]] = {
    "distorted": "transformer saturated (no high-pass, or made for a lower voltage), tap beyond the"
    " loudspeaker, or a damaged cone",
    "rattle": "loose tile, grille, bridge screw, or a wire that touches the cone",
}
"""What is heard and has causes that no ohms show."""
UP_AND_LOOK: Final = "go up and look; press the tile, feel the grille"
REASONS: Final = 3
LIKELY: Final = 0.05
FAR_PART: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One reading judged.

    Parameters
    ----------
    key, place
        Of the reading.
    status
        ``pass``, ``look``, ``fail``, or ``noted`` where there is nothing to hold it against.
    measured, expected
        As people write them.
    low, high
        Band of a sound line, the same as on the commissioning sheet. [SI]
    off_sd
        Standard deviations from the middle of the band.
    tolerance
        Where the band comes from.
    reasons
        In the trade's words, likeliest first.
    next_step
        What to do now.
    """

    key: str
    place: str
    status: Status
    measured: str
    expected: str = ""
    low: float | None = None
    high: float | None = None
    off_sd: float | None = None
    tolerance: str = ""
    reasons: tuple[str, ...] = ()
    next_step: str = ""

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "key": self.key,
            "place": self.place,
            "status": self.status,
            "measured": self.measured,
            "expected": self.expected,
            "low": self.low,
            "high": self.high,
            "off_sd": self.off_sd,
            "tolerance": self.tolerance,
            "reasons": list(self.reasons),
            "next_step": self.next_step,
        }

    def text(self) -> str:
        """Return the verdict as lines of text."""
        head = f"{self.status:<5} {self.place:<10} {self.measured}"
        if self.expected:
            head += f"   expected {self.expected}"
        parts = [head]
        parts += [f"      likely: {reason}" for reason in self.reasons]
        if self.next_step:
            parts.append(f"      next:   {self.next_step}")
        return "\n".join(parts)


def look_of(reading: Reading, plan: LinePlan) -> Look | None:
    """Return what an instrument looked at; ``None`` if it is no line reading.

    Parameters
    ----------
    reading
        A reading with a resolved place.
    plan
        Its line.
    """
    index = plan.index(reading.place_key)
    if index is None or reading.value is None:
        return None
    way: Direction
    match reading.quantity:
        case "impedance":
            way = "whole" if index < 0 else (reading.direction or "out")
            if index >= 0 and reading.direction == "whole":
                return None
        case "voltage":
            way = "volts"
        case "current":
            # A clamp on one core at the rack sees what the first run carries.
            way, index = "amps", max(index, 0)
        case _:
            return None
    if way == "volts" and index < 0:
        return None
    return Look(direction=way, place=index, tone_hz=reading.frequency_hz or 1000.0)


def evidence_of(
    readings: Sequence[Reading],
    plan: LinePlan,
    *,
    log: Sequence[Reading] = (),
    sound: frozenset[int] = frozenset(),
) -> Evidence:
    """Turn the readings of a line into evidence.

    Parameters
    ----------
    readings
        Readings since the last mend.
    plan
        The line.
    log
        Readings of the healthy line at hand-over.
    sound
        Places that are no longer suspected.
    """
    return Evidence(
        shown=_all_shown(readings, plan),
        listened=tuple(e for r in readings if (e := _listened(r, plan)) is not None),
        log=_all_shown(log, plan),
        sound=sound,
    )


def _all_shown(readings: Sequence[Reading], plan: LinePlan) -> tuple[Shown, ...]:
    return tuple(s for r in readings if (s := _shown(r, plan)) is not None)


def _shown(reading: Reading, plan: LinePlan) -> Shown | None:
    look = look_of(reading, plan)
    if look is None or reading.value is None or reading.value <= 0.0:
        return None
    value = reading.value
    if look.direction in {"volts", "amps"}:
        value /= drive_volts(reading.drive, nominal_v=plan.voltage_v)
    return Shown(look=look, value=value, bound=reading.bound)


def _listened(reading: Reading, plan: LinePlan) -> Listened | None:
    index = plan.index(reading.place_key)
    if index is None or reading.quantity != "ear":
        return None
    if reading.word in {"heard", "silent", "loud", "faint", "distorted"}:
        return Listened(place=index, word=reading.word)  # type: ignore[arg-type] # narrowed above
    return None


@dataclass(slots=True)
class LineJudge:
    """Gives verdicts on the readings of one line.

    Parameters
    ----------
    plan
        The line.
    limits
        Settings by name.
    log
        Hand-over log as evidence; may be empty.
    """

    plan: LinePlan
    limits: Mapping[str, float]
    log: tuple[Shown, ...] = ()
    _models: dict[float, LineModel] = field(default_factory=dict)

    def verdict(self, reading: Reading) -> Verdict:
        """Judge one reading.

        Parameters
        ----------
        reading
            A reading of this line with a resolved place.
        """
        if reading.quantity == "dc resistance":
            said = symptom("few-ohms-dc")
            return self._noted(reading, (said.first,), said.look)
        if reading.quantity == "insulation":
            return self._insulation(reading)
        if reading.quantity == "ear":
            return self._ear(reading)
        if reading.quantity == "polarity":
            return self._polarity(reading)
        shown = _shown(reading, self.plan)
        if shown is None:
            return self._noted(reading, (), "")
        return self._number(reading, shown)

    def _noted(self, reading: Reading, reasons: tuple[str, ...], next_step: str) -> Verdict:
        return Verdict(
            key=reading.key,
            place=reading.place,
            status="noted",
            measured=value_text(reading),
            reasons=reasons,
            next_step=next_step,
        )

    def _model(self, tone_hz: float) -> LineModel:
        if tone_hz not in self._models:
            model = LineModel(self.plan, [tone_hz], self.limits)
            exact = [s for s in self.log if s.bound == "=" and s.look.tone_hz in model.tones_hz]
            if exact:
                model = line_model(self.plan, Evidence(log=tuple(exact)), self.limits, [tone_hz])
            self._models[tone_hz] = model
        return self._models[tone_hz]

    def _number(self, reading: Reading, shown: Shown) -> Verdict:
        model = self._model(shown.look.tone_hz)
        ((mean, sd),) = bands(model, [shown.look], is_logged=bool(self.log))
        off = (math.log(shown.value) - mean) / sd
        fail, look = self.limits["verdict_fail_sd"], self.limits["verdict_look_sd"]
        scale = 1.0
        if shown.look.direction in {"volts", "amps"}:
            scale = drive_volts(reading.drive, nominal_v=self.plan.voltage_v)
        low, high = (scale * math.exp(mean + sign * fail * sd) for sign in (-1.0, 1.0))
        middle = scale * math.exp(mean)
        if reading.bound == ">" and shown.value < math.exp(mean):
            off = 0.0  # "> 10k" says nothing where more than that is expected
        status: Status = "pass" if abs(off) <= look else "look" if abs(off) <= fail else "fail"
        unit = unit_of(reading.quantity)
        reasons, step = ((), "") if status == "pass" else self._reasons(reading, shown, off)
        if status == "look":
            near, far = (scale * math.exp(mean + sign * look * sd) for sign in (-1.0, 1.0))
            inner = f"{figure_text(near)} to {figure_text(far)} {unit}"
            reasons = (f"most sound lines read {inner} here", *reasons)
        overload = self._overload(shown)
        if overload:
            status = "look" if status == "pass" else status
            reasons = (*reasons, overload)
            step = step or symptom("cuts-out-later").look
        return Verdict(
            key=reading.key,
            place=reading.place,
            status=status,
            measured=value_text(reading),
            expected=f"{figure_text(middle)} ({figure_text(low)} to {figure_text(high)}) {unit}",
            low=low,
            high=high,
            off_sd=off,
            tolerance=tolerance_text(self.limits, fail),
            reasons=reasons,
            next_step=step,
        )

    def _overload(self, shown: Shown) -> str:
        if shown.look.direction != "whole" or self.plan.amplifier_w <= 0.0:
            return ""
        if not math.isclose(shown.look.tone_hz, 1000.0):
            return ""
        # At 1 kHz a loudspeaker shows less than its rated ohms, so U²/Z of a sound line is more
        # than its taps draw: the reading is held against what the plan lets expect, in watts.
        model = LineModel(self.plan, [shown.look.tone_hz], self.limits)
        ((mean, _),) = bands(model, [shown.look])
        planned = self.plan.voltage_v**2 / plan_value(model, shown.look)
        drawn = planned * math.exp(mean) / shown.value
        if drawn <= self.plan.amplifier_w:
            return ""
        return (
            f"overload: taps that draw {planned:.0f} W read {figure_text(math.exp(mean))} Ω here,"
            f" so {figure_text(shown.value)} Ω stand for {drawn:.0f} W, and the channel is rated"
            f" {self.plan.amplifier_w:.0f} W"
        )

    def _reasons(self, reading: Reading, shown: Shown, off: float) -> tuple[tuple[str, ...], str]:
        """Say what may be behind an odd number, and what to do."""
        found: list[str] = []
        step = ""
        if reading.quantity == "impedance":
            said = symptom("ohms-low" if off < 0.0 else "ohms-high")
            found.append(said.first)
            step = said.look
            if shown.look.tone_hz < 150.0 and off < 0.0:
                said = symptom("trips-on-bass")
                found.insert(0, said.first)
                step = said.look
        elif reading.quantity == "voltage":
            name = "quieter-far" if self._is_far(shown.look.place) else "all-quiet"
            said = symptom(name if off < 0.0 else "one-loud")
            found.append(said.first)
            step = said.look
        found += self._suspicions(shown)
        if reading.quantity == "impedance" and shown.look.direction == "whole":
            planned = self.plan.voltage_v**2 / max(self.plan.load_w, 1e-9)
            if shown.value < self.limits["dc_over_ac_ratio"] * planned:
                found.append("or it is a dc reading: " + symptom("few-ohms-dc").first)
        return tuple(found), step

    def _is_far(self, place: int) -> bool:
        reach = self.plan.reach_m
        return bool(reach[place] > FAR_PART * max(reach))

    def _suspicions(self, shown: Shown) -> list[str]:
        """Words for the likeliest faults by this reading alone."""
        model = self._model(shown.look.tone_hz)
        posterior = judge(
            self.plan,
            Evidence(shown=(shown,), log=self.log),
            self.limits,
            model=model,
            suspects=suspects_of(self.plan, is_logged=bool(self.log)),
        )
        if posterior.other > self.limits["trace_misfit_share"]:
            return ["no single fault on the list gives this reading: read it again"]
        found: list[str] = []
        for kind, share in posterior.by_kind().items():
            if share < LIKELY or len(found) == REASONS or kind == "none":
                continue
            words = fault_kinds()[kind].words.format(place="one loudspeaker")
            found.append(f"{share:.0%} {words}")
        return found

    def _insulation(self, reading: Reading) -> Verdict:
        is_open = reading.bound == ">" or (reading.value or 0.0) >= 1e6
        return Verdict(
            key=reading.key,
            place=reading.place,
            status="pass" if is_open else "fail",
            measured=value_text(reading),
            expected="open, or 1 MΩ and more",
            tolerance="BS 7671 table 64 asks 1 MΩ at 500 V of fixed wiring; test cable only, with"
            " amplifiers and transformers disconnected; defer to the local code",
            reasons=() if is_open else ("a leg touches earth: staple, gland, wet box",),
            next_step=""
            if is_open
            else "halve the line and test each half; keep the amplifier off until it is clear",
        )

    def _ear(self, reading: Reading) -> Verdict:
        if reading.word == "heard":
            return Verdict(
                key=reading.key,
                place=reading.place,
                status="pass",
                measured="heard",
                expected="heard, like its neighbours",
            )
        at_line = self.plan.index(reading.place_key) == -1
        name = {
            "loud": "one-loud",
            "faint": "all-quiet" if at_line else "one-faint",
            "silent": "trips-at-once" if at_line else "one-silent",
        }.get(reading.word)
        said = symptom(name) if name else None
        return Verdict(
            key=reading.key,
            place=reading.place,
            status="look" if reading.word == "rattle" else "fail",
            measured=reading.word,
            expected="heard, like its neighbours",
            reasons=(said.first if said else BESIDE_OHMS.get(reading.word, ""),),
            next_step=said.look if said else UP_AND_LOOK,
        )

    def _polarity(self, reading: Reading) -> Verdict:
        same = (reading.value or 0.0) > 0.0
        return Verdict(
            key=reading.key,
            place=reading.place,
            status="pass" if same else "fail",
            measured=value_text(reading),
            expected="same as its neighbours",
            reasons=() if same else ("legs swapped: thin bass between two loudspeakers",),
            next_step="" if same else "swap the two legs at this loudspeaker",
        )


def level_verdict(
    reading: Reading, expected_db: float, *, drive_text: str, limits: Mapping[str, float]
) -> Verdict:
    """Judge a level at a test point.

    Parameters
    ----------
    reading
        The level.
    expected_db
        What the plan gives with the drive. [dB]
    drive_text
        The drive in words.
    limits
        Settings by name.
    """
    tolerance = limits["level_tolerance_db"]
    off = (reading.value or 0.0) - expected_db
    status: Status = "pass" if abs(off) <= tolerance else "fail"
    if tolerance < abs(off) <= 1.5 * tolerance:
        status = "look"
    reasons: tuple[str, ...] = ()
    if off < -tolerance:
        reasons = (
            "drive under plan, a silent loudspeaker near by, or more absorption than planned",
        )
    elif off > tolerance:
        reasons = ("drive over plan, a higher tap near by, noise of the room, or a live room",)
    return Verdict(
        key=reading.key,
        place=reading.place,
        status=status,
        measured=value_text(reading),
        expected=f"{expected_db:.1f} ± {tolerance:g} {unit_of(reading.quantity)}, {drive_text}",
        low=expected_db - tolerance,
        high=expected_db + tolerance,
        off_sd=None,
        tolerance=f"± {tolerance:g} dB (limit level_tolerance_db; common practice, no source)",
        reasons=reasons,
        next_step="check the drive at the rack first, then walk the room" if reasons else "",
    )


def background_corrected_db(level_db: float, noise_db: float) -> float | None:
    """Level without the background noise; ``None`` within 3 dB of it. [dB].

    Parameters
    ----------
    level_db
        Level with the line driven. [dB]
    noise_db
        Level with the line silent. [dB]

    Returns
    -------
    float or None
        10 lg(10^(L/10) - 10^(N/10)); within 3 dB no correction is trusted.

    References
    ----------
    ISO 3744:2010, 8.2.3 corrects from 6 to 15 dB apart; the 3 dB floor is that of its survey grade
    ISO 3746 (both from memory).

    Examples
    --------
    >>> round(background_corrected_db(60.0, 54.0), 2)
    58.74
    """
    if level_db - noise_db < 3.0:
        return None
    return float(power_ratio_db(power_ratio(level_db) - power_ratio(noise_db)))


def points_prove(count: int, *, share: float = 0.95) -> float:
    """Confidence that at least a share of all places passes when so many that were drawn pass.

    Parameters
    ----------
    count
        Test points that all passed, chosen by chance.
    share
        Share of all places.

    Returns
    -------
    float
        1 - share^count: 59 passing points prove 95 % of the places at 95 % confidence.

    Examples
    --------
    >>> round(points_prove(59), 4)
    0.9515
    """
    return 1.0 - share**count
