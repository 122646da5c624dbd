"""A whole hunt on a practice line without a person: for the calibration page, tests and docs.

Beside it stands what people do without soffit: a walk along the floor with noise on the line, then
half-splitting with the meter. Both are counted in the same minutes.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from soffit.measure.evidence import Evidence, Listened, Shown
from soffit.measure.hunt import ONE_KILOHERTZ, Hunt, Outcome
from soffit.measure.line_plan import LinePlan, Place
from soffit.measure.next_test import Test, distance_m, joint_looks, seconds_of
from soffit.measure.practice import PracticeBench
from soffit.measure.practice_line import Look as PracticeLook
from soffit.measure.practice_line import PracticeLine, PracticePlan
from soffit.measure.predict import Direction, Look
from soffit.tables.settings import DEFAULT_LIMITS, Limits

LOOKS: Final[dict[Direction, PracticeLook]] = {
    "whole": "rack",
    "out": "away",
    "in": "back",
    "alone": "speaker",
}
STEPS_MOST: Final = 60
COPPER_40_DEGC: Final = 1.0 + 0.00393 * 20.0
TOLD_LOSS_DB: Final = 0.7
WRONG_SIDE: Final = 0.20
WRONG_PIECE: Final = 0.35
SHORTED: Final = 0.35
"""What somebody without soffit takes for wrong: ohms 20 % off at a joint, 35 % off at a piece,
a line at a third of its ohms (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HuntResult:
    """How a hunt went.

    Parameters
    ----------
    outcome
        How it ended.
    place, kind
        What was named, or suspected most.
    share
        Its probability.
    is_right
        Whether the fault is there.
    visits
        Ladder visits, each with a joint opened and read.
    minutes
        Work.
    """

    outcome: Outcome
    place: int
    kind: str
    share: float
    is_right: bool
    visits: int
    minutes: float

    @property
    def is_named(self) -> bool:
        """Whether a place, or a sound line, was named."""
        return self.outcome in {"found", "sound"}


def plan_of_practice(plan: PracticePlan) -> LinePlan:
    """Turn the papers of a practice line into a plan for the meter.

    Parameters
    ----------
    plan
        Papers of the practice line.
    """
    return LinePlan(
        key="l1",
        label="L1",
        voltage_v=plan.line_voltage_v,
        places=tuple(
            Place(
                key=speaker.label,
                label=speaker.label,
                parent=speaker.parent,
                length_m=speaker.length_m,
                wire_ohm_m=plan.wire_ohm_m * COPPER_40_DEGC,
                tap_w=speaker.tap_w,
                taps_w=speaker.taps_w,
                loss_db=TOLD_LOSS_DB,
                is_delivered=plan.is_delivered,
            )
            for speaker in plan.speakers
        ),
    )


def read_display(look: Look, text: str) -> Shown:
    """Turn what a practice meter shows into a reading.

    Parameters
    ----------
    look
        What was read.
    text
        Such as ``51.6``, ``> 20000`` or ``< 1``.
    """
    if text[0] == ">":
        return Shown(look=look, value=float(text[1:]), bound=">")
    if text[0] == "<":
        return Shown(look=look, value=float(text[1:]), bound="<")
    return Shown(look=look, value=float(text))


def take(bench: PracticeBench, looks: tuple[Look, ...]) -> list[Shown]:
    """Read some looks on a practice line.

    Parameters
    ----------
    bench
        What answers.
    looks
        What is read.
    """
    return [
        read_display(look, bench.ohms(LOOKS[look.direction], look.place, [look.tone_hz])[0])
        for look in looks
    ]


def hand_over_log(
    before: PracticeLine, rng: np.random.Generator, tones_hz: tuple[float, ...] = ONE_KILOHERTZ
) -> tuple[Shown, ...]:
    """Read the sound line at hand-over: rack, every joint out, every piece alone.

    Parameters
    ----------
    before
        The line on that day.
    rng
        Source of chance for the instrument.
    tones_hz
        Tones. [Hz]
    """
    bench = PracticeBench(before, rng)
    looks = [Look(direction="whole", place=-1, tone_hz=t) for t in tones_hz]
    for i in range(len(before.plan.speakers)):
        for way in ("out", "alone"):
            looks += [Look(direction=way, place=i, tone_hz=t) for t in tones_hz]
    return tuple(shown for shown in take(bench, tuple(looks)) if shown.bound == "=")


def open_hunt(
    line: PracticeLine,
    bench: PracticeBench,
    *,
    tones_hz: tuple[float, ...] = ONE_KILOHERTZ,
    log: tuple[Shown, ...] = (),
    can_listen: bool = True,
    limits: Limits = DEFAULT_LIMITS,
) -> Hunt:
    """Begin a hunt with a reading at the rack.

    Parameters
    ----------
    line
        The practice line.
    bench
        What answers.
    tones_hz
        Tones of the meter. [Hz]
    log
        Hand-over log; may be empty.
    can_listen
        Whether noise may be put on the line.
    limits
        Settings.
    """
    hunt = Hunt(
        plan=plan_of_practice(line.plan),
        limits=limits,
        tones_hz=tones_hz,
        can_listen=can_listen,
        evidence=Evidence(log=log),
    )
    hunt.read(take(bench, tuple(Look(direction="whole", place=-1, tone_hz=t) for t in tones_hz)))
    return hunt


def do_test(hunt: Hunt, bench: PracticeBench, test: Test, *, is_protecting: bool) -> None:
    """Do one test on a practice line and take its readings in.

    Parameters
    ----------
    hunt, bench
        The hunt and what answers.
    test
        What to do.
    is_protecting
        Whether the amplifier gives up on this line.
    """
    if test.kind not in {"walk", "listen"}:
        hunt.read(take(bench, test.looks))
        return
    if is_protecting:
        hunt.hear([Listened(place=-1, word="silent")])
        return
    places = list(hunt.plan.speakers) if test.kind == "walk" else [test.place]
    words = bench.heard(places)
    hunt.hear([Listened(place=i, word=word) for i, word in zip(places, words, strict=True)])


def hunt_practice(
    line: PracticeLine,
    seed: int,
    *,
    before: PracticeLine | None = None,
    tones_hz: tuple[float, ...] = ONE_KILOHERTZ,
    can_listen: bool = True,
    limits: Limits = DEFAULT_LIMITS,
) -> HuntResult:
    """Hunt on a practice line until it ends.

    Parameters
    ----------
    line
        The line with its faults.
    seed
        Seed of instruments and ears.
    before
        The line on the day of hand-over, if it was logged then.
    tones_hz
        Tones of the meter. [Hz]
    can_listen
        Whether noise may be put on the line.
    limits
        Settings.

    Returns
    -------
    HuntResult
        What was named, and the work it took.
    """
    rng = np.random.default_rng([seed, 1])
    log = hand_over_log(before, np.random.default_rng([seed, 2]), tones_hz) if before else ()
    bench = PracticeBench(line, rng)
    hunt = open_hunt(line, bench, tones_hz=tones_hz, log=log, can_listen=can_listen, limits=limits)
    is_protecting = bench.is_protecting()
    seconds = seconds_of(hunt.plan, "rack", -1, -1, limits)
    visits = 0
    advice = hunt.advice()
    for _ in range(STEPS_MOST):
        if advice.next_test is None:
            break
        seconds += advice.next_test.seconds_s
        visits += advice.next_test.kind == "joint"
        do_test(hunt, bench, advice.next_test, is_protecting=is_protecting)
        advice = hunt.advice()
    best = advice.ranked[0]
    truth = {fault.place for fault in line.faults} or {-1}
    return HuntResult(
        outcome=advice.outcome,
        place=best.place,
        kind=best.kinds[0][0],
        share=best.share,
        is_right=best.place in truth,
        visits=visits,
        minutes=seconds / 60.0,
    )


class _Walker:
    """Somebody with ears and a meter, without soffit."""

    def __init__(self, line: PracticeLine, seed: int, limits: Limits) -> None:
        self.plan = plan_of_practice(line.plan)
        self.bench = PracticeBench(line, np.random.default_rng([seed, 1]))
        self.limits = limits
        self.seconds = 0.0
        self.visits = 0
        self.here = -1

    def go(self, place: int) -> dict[Direction, float]:
        """Open a joint and read both ways and the piece: over the plan, as ratios."""
        self.seconds += distance_m(self.plan, self.here, place) / self.limits["walk_speed_m_s"]
        self.seconds += self.limits["ladder_s"] + self.limits["open_joint_s"]
        self.visits += 1
        self.here = place
        looks = joint_looks(self.plan, place, ONE_KILOHERTZ)
        values = {shown.look.direction: shown.value for shown in take(self.bench, looks)}
        beyond = sum(self.plan.places[i].drawn_w for i in self.plan.beyond(place))
        planned = self.plan.voltage_v**2 / beyond
        return {
            "out": values["out"] / planned,
            "alone": values["alone"] / float(self.plan.nominal_ohm[place]),
        }

    def halve(self, *, is_low: bool) -> int:
        """Find the place after which the line reads right, by halving what is left."""
        left = sorted(range(len(self.plan.places)), key=lambda i: self.plan.reach_m[i])
        while len(left) > 1:
            middle = left[len(left) // 2]
            ratio = self.go(middle)["out"]
            is_beyond = ratio < SHORTED if is_low else abs(ratio - 1.0) > WRONG_SIDE
            beyond = set(self.plan.beyond(middle))
            left = [i for i in left if (i in beyond) is is_beyond] or [middle]
            if is_beyond and left == [middle]:
                break
        return left[0]


def walk_and_halve(line: PracticeLine, seed: int, *, limits: Limits = DEFAULT_LIMITS) -> HuntResult:
    """Do what people do without soffit: walk with noise on the line, then halve it with a meter.

    Parameters
    ----------
    line
        The line with its faults.
    seed
        Seed of instruments and ears.
    limits
        Settings.

    Returns
    -------
    HuntResult
        What was named, and the work it took.
    """
    walker = _Walker(line, seed, limits)
    plan = walker.plan
    whole = float(read_display(_RACK, walker.bench.ohms("rack", -1, [1000.0])[0]).value)
    ratio = whole * sum(place.drawn_w for place in plan.places) / plan.voltage_v**2
    walker.seconds += seconds_of(plan, "rack", -1, -1, limits)
    walker.seconds += seconds_of(plan, "walk", -1, -1, limits)
    place = -1
    if walker.bench.is_protecting():
        place = walker.halve(is_low=True)
    else:
        words = walker.bench.heard()
        place = _look_at_odd_ones(walker, words)
        if place < 0 and abs(ratio - 1.0) > 0.3:
            place = walker.halve(is_low=ratio < SHORTED)
    truth = {fault.place for fault in line.faults} or {-1}
    return HuntResult(
        outcome="sound" if place < 0 else "found",
        place=place,
        kind="",
        share=1.0,
        is_right=place in truth,
        visits=walker.visits,
        minutes=walker.seconds / 60.0,
    )


_RACK: Final = Look(direction="whole", place=-1, tone_hz=1000.0)


def _look_at_odd_ones(walker: _Walker, words: tuple[str, ...]) -> int:
    """Go to the first silent of a silent stretch, and to every other odd one, and read it."""
    plan = walker.plan
    silent = {i for i, word in enumerate(words) if word == "silent"}
    firsts = [i for i in sorted(silent) if plan.places[i].parent not in silent]
    odd = [i for i, word in enumerate(words) if word in {"loud", "faint"}]
    for place in [*firsts, *odd]:
        ratios = walker.go(place)
        is_stretch = place in silent and set(plan.beyond(place)) <= silent
        if abs(ratios["alone"] - 1.0) > WRONG_PIECE:
            return place
        if is_stretch and len(plan.beyond(place)) > 1:
            return place
    return -1
