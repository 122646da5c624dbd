"""What instruments should show on every line, at every joint and loudspeaker, before anyone climbs.

Every value carries the band in which a sound line reads, and where that band comes from: the
spread of pieces and batches, the length of runs, copper and instrument of the settings. A flat
band such as -15/+25 % would fail sound lines with lossy transformers and pass one missing
loudspeaker of ten.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from soffit.circuit.tree import solve_tree
from soffit.decibel import field_ratio
from soffit.measure.entry import OVER_RANGE_OHM
from soffit.measure.evidence import noise_matrix
from soffit.measure.line_plan import LinePlan
from soffit.measure.posterior import coordinates
from soffit.measure.predict import Direction, LineModel, Look
from soffit.measure.suspects import Suspect
from soffit.model.readings import ReadingQuantity

HEALTHY: Final = Suspect(kind="none", place=-1, size=1.0, weight=1.0)
DRIVE_DB: Final = -20.0
"""Drive under nominal at which lines are read with a tone or noise: 7.07 V on 70.7 V."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """One reading with the band of a sound line.

    Parameters
    ----------
    place, place_key
        Label and permanent key.
    quantity, direction, frequency_hz
        As in readings. [Hz]
    plan
        Value from the plan alone: taps as printed, wire as tabled. [SI]
    middle, low, high
        Likeliest value of a sound line, and its band. [SI]
    unit
        Unit of the value.
    drive
        What is on the line.
    tolerance
        Where the band comes from, in words.
    text
        Words where there is no number.
    """

    place: str
    place_key: str
    quantity: ReadingQuantity
    direction: str
    frequency_hz: float | None
    plan: float | None
    middle: float | None
    low: float | None
    high: float | None
    unit: str
    drive: str
    tolerance: str
    text: str = ""

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "place": self.place,
            "place_key": self.place_key,
            "quantity": self.quantity,
            "direction": self.direction,
            "frequency_hz": self.frequency_hz,
            "plan": self.plan,
            "middle": self.middle,
            "low": self.low,
            "high": self.high,
            "unit": self.unit,
            "drive": self.drive,
            "tolerance": self.tolerance,
            "text": self.text,
        }


def tolerance_text(limits: Mapping[str, float], sds: float) -> str:
    """Say where the band of a sound line comes from.

    Parameters
    ----------
    limits
        Settings by name.
    sds
        Standard deviations of the band.
    """
    return (
        f"{sds:g} standard deviations: batch and piece of the loudspeakers, runs"
        f" {limits['run_length_sd']:.0%} each and {limits['run_length_common_sd']:.0%} together,"
        f" instrument {limits['meter_gain_sd']:.1%} (common practice, no source)"
    )


def looks_to_take(plan: LinePlan, tones_hz: Sequence[float]) -> tuple[Look, ...]:
    """Return every look of a whole line: rack, both ways at each joint, each piece alone.

    Parameters
    ----------
    plan
        The line.
    tones_hz
        Tones. [Hz]
    """
    looks = [Look(direction="whole", place=-1, tone_hz=t) for t in tones_hz]
    ways: tuple[Direction, ...] = ("out", "in", "alone")
    for i, place in enumerate(plan.places):
        for way in ways:
            if way != "alone" or place.tap_w > 0.0:
                looks += [Look(direction=way, place=i, tone_hz=t) for t in tones_hz]
    return tuple(looks)


def bands(
    model: LineModel, looks: Sequence[Look], *, is_logged: bool = False
) -> list[tuple[float, float]]:
    """Return mean of ln(reading) and its standard deviation for a sound line.

    Parameters
    ----------
    model
        The line with what is known about it.
    looks
        What is read.
    is_logged
        Whether the model has learnt a hand-over log.
    """
    if not looks:
        return []
    prediction = model.predict([HEALTHY], looks)
    own = np.diag(noise_matrix(looks, model.limits, is_logged=is_logged))
    axes = coordinates(model, prediction.slope)[0]
    sd = np.sqrt(np.sum(axes**2, axis=1) + own)
    return [(float(m), float(s)) for m, s in zip(prediction.mean[0], sd, strict=True)]


def plan_value(model: LineModel, look: Look) -> float:
    """Return a reading by the plan alone, taps as resistances of U²/P.

    Parameters
    ----------
    model
        The line.
    look
        What is read.
    """
    plan = model.plan
    if look.direction == "alone":
        return float(plan.nominal_ohm[look.place])
    load = np.concatenate([[0.0], 1.0 / plan.nominal_ohm])
    run = np.concatenate([[0.0], plan.run_loop_ohm])
    if look.direction == "in":
        turned = plan.turned(look.place)
        load = load[list(turned.old)]
        load[0] = 0.0
        run = np.concatenate([[0.0], plan.run_loop_ohm[list(turned.run[1:])]])
        return float(solve_tree(turned.tree, run_ohm=run, load_siemens=load).outward_ohm[0])
    state = solve_tree(plan.tree, run_ohm=run, load_siemens=load)
    match look.direction:
        case "whole":
            return float(state.outward_ohm[0])
        case "out":
            return float(state.outward_ohm[look.place + 1])
        case "volts":
            return float(state.voltage_v[look.place + 1])
        case _:
            return float(state.run_current_a[look.place + 1])


def expected_line(
    plan: LinePlan,
    limits: Mapping[str, float],
    *,
    tones_hz: Sequence[float] = (1000.0,),
    model: LineModel | None = None,
    is_logged: bool = False,
) -> tuple[Expected, ...]:
    """Expect every reading of one line.

    Parameters
    ----------
    plan
        The line.
    limits
        Settings by name.
    tones_hz
        Tones of the impedance meter. [Hz]
    model
        Model of the line that has learnt a log; made from the plan by default.
    is_logged
        Whether it has.

    Returns
    -------
    tuple of Expected
        Rack first, then joint by joint.
    """
    model = model or LineModel(plan, tones_hz, limits)
    sds = limits["verdict_fail_sd"]
    words = tolerance_text(limits, sds)
    rows = [_dead_test(plan, text) for text in _DEAD_TESTS]
    looks = looks_to_take(plan, tones_hz)
    for look, (mean, sd) in zip(looks, bands(model, looks, is_logged=is_logged), strict=True):
        rows.append(_row(plan, look, plan_value(model, look), mean, sds * sd, words))
    drive_v = plan.voltage_v * float(field_ratio(DRIVE_DB))
    live: list[Look] = [Look(direction="amps", place=i, tone_hz=1000.0) for i in _first_runs(plan)]
    live += [Look(direction="volts", place=i, tone_hz=1000.0) for i in plan.speakers]
    for look, (mean, sd) in zip(live, bands(model, live, is_logged=is_logged), strict=True):
        row = _row(plan, look, plan_value(model, look), mean, sds * sd, words, drive_v=drive_v)
        rows.append(row)
    rows += [_ear_row(plan, i, drive_v) for i in plan.speakers]
    rows += [
        replace(
            _ear_row(plan, i, drive_v),
            quantity="polarity",
            tolerance="pulse, or noise on two neighbours: thin bass between them is a swapped pair",
            text="same as its neighbours",
        )
        for i in plan.speakers
    ]
    return tuple(rows)


def _first_runs(plan: LinePlan) -> tuple[int, ...]:
    return tuple(i for i, place in enumerate(plan.places) if place.parent < 0)


_DEAD_TESTS: Final = (
    ("insulation", "each leg to earth, amplifier off and both legs off", "open (no reading)"),
    (
        "dc resistance",
        "loop, dc: windings in parallel",
        "far below the ohms at 1 kHz; never compare",
    ),
)


def _dead_test(plan: LinePlan, test: tuple[str, str, str]) -> Expected:
    quantity, what, text = test
    return Expected(
        place=plan.label,
        place_key=plan.key,
        quantity="insulation" if quantity == "insulation" else "dc resistance",
        direction="whole",
        frequency_hz=None,
        plan=None,
        middle=None,
        low=None,
        high=None,
        unit="Ω",
        drive="nothing: amplifier off",
        tolerance=what,
        text=text,
    )


def _ear_row(plan: LinePlan, index: int, drive_v: float) -> Expected:
    place = plan.places[index]
    return Expected(
        place=place.label,
        place_key=place.key,
        quantity="ear",
        direction="",
        frequency_hz=None,
        plan=None,
        middle=None,
        low=None,
        high=None,
        unit="",
        drive=f"pink noise, line at {drive_v:.2f} V r.m.s.",
        tolerance="by ear from the floor",
        text="heard, like its neighbours",
    )


def _row(
    plan: LinePlan,
    look: Look,
    planned: float,
    mean: float,
    reach: float,
    words: str,
    *,
    drive_v: float = 1.0,
) -> Expected:
    quantity: ReadingQuantity = "impedance"
    unit, direction = "Ω", str(look.direction)
    drive = "meter's own tone; amplifier off, both legs off"
    if look.direction in {"amps", "volts"}:
        quantity = "current" if look.direction == "amps" else "voltage"
        unit, direction = ("A" if look.direction == "amps" else "V"), ""
        drive = f"tone of {look.tone_hz:g} Hz, line at {drive_v:.2f} V r.m.s."
    return Expected(
        place=plan.label if look.place < 0 else plan.places[look.place].label,
        place_key=plan.key if look.place < 0 else plan.places[look.place].key,
        quantity=quantity,
        direction=direction,
        frequency_hz=look.tone_hz,
        plan=planned * drive_v,
        middle=math.exp(mean) * drive_v,
        low=math.exp(mean - reach) * drive_v,
        high=math.exp(mean + reach) * drive_v,
        unit=unit,
        drive=drive,
        tolerance=words,
        text="over range" if unit == "Ω" and math.exp(mean) > OVER_RANGE_OHM else "",
    )
