"""A clamp and a voltmeter in the bag: proposed where they can resolve it, with the warning."""

import pytest

from soffit.measure.next_test import (
    clamp_tone_hz,
    least_clamp_a,
    live_looks,
    next_tests,
    readable,
)
from soffit.work.trace import advice_dict, plan_of_description, steps_for
from soffit.work.trace_book import TraceBook

NOW = "2026-01-01T00:00:00+00:00"
TOLD = {"speakers": 12, "tap": "5 W", "volts": "70.7", "feed": "20 m", "spacing": "6 m",
        "cable": "16 AWG"}  # fmt: skip


def book(*have: str, **limits: float) -> TraceBook:
    made = TraceBook(plan=plan_of_description(TOLD), source=TOLD)
    made.instruments = frozenset(have)
    made.limits = {**made.limits, **limits}
    return made


def live_tests(made: TraceBook, kind: str) -> list:
    hunt = made.hunt()
    found = next_tests(hunt.posterior(), here=-1, tones_hz=(1000.0,), instruments=made.instruments)
    return [test for test in found if test.kind == kind]


def test_nothing_live_is_proposed_without_the_instrument() -> None:
    assert live_tests(book(), "clamp") == live_tests(book(), "volts") == []


def test_a_clamp_is_proposed_only_where_it_can_resolve_the_current() -> None:
    made = book("clamp")
    at = {test.place for test in live_tests(made, "clamp")}
    # 7.07 V over 1 kΩ each: k loudspeakers beyond draw about 7 mA k; 20 mA need three and more.
    assert 0 in at
    assert at
    assert max(at) <= 9
    model = made.hunt().posterior().model
    kept, small = readable(
        model, live_looks(made.plan, made.instruments, made.limits), drive_v=7.07
    )
    assert {look.place for look in kept} | set(small) == set(made.plan.speakers)
    assert all(current < least_clamp_a(made.limits) for current in small.values())
    assert small[11] == pytest.approx(0.007, rel=0.3)
    assert "cannot read" in advice_dict(made)["clamp"]


def test_a_coarse_clamp_is_never_proposed_and_a_fine_one_everywhere() -> None:
    assert live_tests(book("clamp", clamp_least_a=0.5), "clamp") == []
    assert live_tests(book("clamp", clamp_resolution_a=0.05), "clamp") == []
    fine = book("clamp", clamp_least_a=0.001, clamp_resolution_a=0.0001)
    assert len(live_tests(fine, "clamp")) == 12
    assert advice_dict(fine)["clamp"] == ""


def test_the_tone_stays_in_the_band_of_the_clamp() -> None:
    assert clamp_tone_hz(book().limits) == 400.0
    assert clamp_tone_hz(book("clamp", clamp_high_hz=20_000.0).limits) == 1000.0
    assert clamp_tone_hz(book("clamp", clamp_low_hz=2000.0, clamp_high_hz=9000.0).limits) == 2000.0


def test_the_steps_warn_of_the_pair_and_of_the_voltage() -> None:
    made = book("clamp", "volts")
    clamp, volts = live_tests(made, "clamp")[0], live_tests(made, "volts")[0]
    text = " ".join(steps_for(made, clamp))
    assert "ONE core" in text
    assert "reads nothing" in text
    assert "400 Hz" in text
    assert "band" in text
    for test in (clamp, volts):
        assert "more than 50 V" in " ".join(steps_for(made, test))


def test_a_break_is_found_with_clamp_and_volts_alone() -> None:
    made = book("clamp", "volts")
    for entry in ("L1-05 1 kHz 7.0 V drive=7.07V", "L1-06 1 kHz 0.01 V drive=7.07V",
                  "L1-08 1 kHz 0.01 V drive=7.07V", "L1-03 400 Hz 21 mA drive=7.07V"):  # fmt: skip
        made.add(entry, now=NOW)
    posterior = made.hunt().posterior()
    assert next(iter(posterior.by_place())) == 5
    assert next(iter(posterior.by_kind())) == "open"
