"""A reading that the commissioning sheet expects passes, and both print the same band."""

import math

import pytest

from soffit.measure.entry import figure_text
from soffit.measure.evidence import Evidence, Shown
from soffit.measure.expected import expected_line
from soffit.measure.hunt import Hunt
from soffit.measure.line_of_job import guessed_line
from soffit.measure.line_plan import LinePlan, Place
from soffit.measure.predict import Look
from soffit.measure.verdict import LineJudge, Verdict
from soffit.model.readings import Reading
from soffit.tables.settings import DEFAULT_LIMITS

PLAN = LinePlan(
    key="l1",
    label="L1",
    voltage_v=100.0 / math.sqrt(2.0),
    places=tuple(
        Place(
            key=f"s{i}",
            label=f"L1-{i + 1:02d}",
            parent=i - 1,
            length_m=8.0,
            wire_ohm_m=0.0132,
            tap_w=5.0,
            taps_w=(1.25, 2.5, 5.0, 10.0),
        )
        for i in range(10)
    ),
    amplifier_w=52.0,
)


def verdict(**values: object) -> Verdict:
    given = {"key": "r", "place_key": "l1", "place": "L1", "taken_at": ""} | values
    return LineJudge(plan=PLAN, limits=DEFAULT_LIMITS).verdict(Reading(**given))  # type: ignore[arg-type]


def whole(value: float) -> Verdict:
    return verdict(quantity="impedance", direction="whole", value=value, frequency_hz=1000.0)


def test_the_middle_of_the_band_is_no_overload_of_a_channel_that_carries_the_taps() -> None:
    rows = expected_line(PLAN, DEFAULT_LIMITS)
    sheet = next(row for row in rows if row.direction == "whole" and row.middle)
    assert sheet.middle is not None
    assert PLAN.voltage_v**2 / sheet.middle > PLAN.amplifier_w  # U²/Z alone would be an overload
    assert whole(sheet.middle).status == "pass"
    over = whole(0.9 * sheet.middle)
    assert over.status == "look"
    assert over.reasons[-1].startswith("overload")


def test_sheet_and_verdict_print_one_band() -> None:
    rows = expected_line(PLAN, DEFAULT_LIMITS)
    sheet = next(row for row in rows if row.direction == "whole" and row.middle)
    assert sheet.low is not None
    assert sheet.high is not None
    shown = whole(1.25 * (sheet.middle or 0.0))
    assert shown.status == "look"
    assert (shown.low, shown.high) == pytest.approx((sheet.low, sheet.high))
    assert f"({figure_text(sheet.low)} to {figure_text(sheet.high)}) Ω" in shown.expected
    assert shown.reasons[0].startswith("most sound lines read")


def test_one_silent_speaker_of_a_chain_is_not_sent_to_a_tee() -> None:
    silent = verdict(quantity="ear", place_key="s3", place="L1-04", value=None, word="silent")
    assert silent.status == "fail"
    assert "tee" not in silent.next_step
    assert "joint" in silent.reasons[0]


def test_dc_ohms_of_small_taps_are_not_promised_to_be_few() -> None:
    # Two 1.5 W taps of 70.7 V: a tenth of the tap's 3333 ohm in the winding is 170 ohm in parallel.
    row = next(r for r in expected_line(PLAN, DEFAULT_LIMITS) if r.quantity == "dc resistance")
    assert row.text == "far below the ohms at 1 kHz; never compare"


def test_numbers_carry_no_power_of_ten() -> None:
    for value in (2314.2, 98_765.4, 0.0212, 0.000_04, 12.0):
        assert "e" not in figure_text(value)


def test_a_line_that_reads_odd_is_not_listed_as_sound_alone() -> None:
    """61 ohm where 24 units of 5 W at 70.7 V should read 36: half of it is not 'nothing'."""
    plan = guessed_line(
        label="L1", voltage_v=70.7107, count=24, tap_w=5.0, spacing_m=6.0, feed_m=30.0,
        wire_ohm_m=0.0214,
    )  # fmt: skip
    shown = Shown(look=Look(direction="whole", place=-1, tone_hz=1000.0), value=61.0)
    hunt = Hunt(plan=plan, limits=DEFAULT_LIMITS, evidence=Evidence(shown=(shown,)))
    whole_line = next(entry for entry in hunt.advice().ranked if entry.place < 0)
    assert dict(whole_line.kinds).get("none", 0.0) < 0.8
    assert ", or " in whole_line.words
