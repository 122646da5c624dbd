"""What people type: read, refused, or asked about, never swallowed."""

import pytest

from soffit.errors import JobError
from soffit.measure.doubts import doubts_about
from soffit.measure.entry import drive_volts, parse_entry, value_text
from soffit.model.readings import Reading

NOW = "2026-03-01T12:00:00+00:00"
PLACES = {"l1": "L1", "s1": "L1-01", "s2": "L1-02"}
PLAN = {("l1", "whole", 1000.0): 100.0, ("s1", "out", 1000.0): 120.0}


def read(text: str, key: str = "k1") -> Reading:
    return parse_entry(text, key=key, taken_at="2026-03-01T10:00:00+00:00")


def placed(text: str, place_key: str, key: str = "k1", taken_at: str = "") -> Reading:
    from dataclasses import replace

    reading = read(text, key)
    way = reading.direction or ("whole" if place_key == "l1" else "")
    when = taken_at or reading.taken_at
    return replace(reading, place_key=place_key, direction=way, taken_at=when)


@pytest.mark.parametrize(
    ("text", "quantity", "value", "bound"),
    [
        ("L1 whole 98", "impedance", 98.0, "="),
        ("L1 whole 0.098 k", "impedance", 98.0, "="),
        ("L1-03 alone OL", "impedance", 20_000.0, ">"),
        ("L1-03 out > 10k", "impedance", 10_000.0, ">"),
        ("L1 < 1", "impedance", 1.0, "<"),
        ("L1 dc 3.1 ohm", "dc resistance", 3.1, "="),
        ("L1 insulation 2 Mohm", "insulation", 2e6, "="),
        ("L1-02 6.9 V", "voltage", 6.9, "="),
        ("L1-02 140 mA", "current", 0.14, "="),
        ("'hall table' 58.5 dBA", "level dba", 58.5, "="),
        ("L1-02 minus", "polarity", -1.0, "="),
    ],
)
def test_entries_are_understood(text: str, quantity: str, value: float, bound: str) -> None:
    reading = read(text)
    assert (reading.quantity, reading.bound) == (quantity, bound)
    assert reading.value == pytest.approx(value)


def test_words_and_tones() -> None:
    assert read("L1-02 Silent").word == "silent"
    assert read("L1 100 Hz 340").frequency_hz == 100.0
    assert read("L1 340").frequency_hz == 1000.0
    assert read("L1 set high-pass 80 Hz").word.startswith("high-pass")
    assert read("L1-02 6.9 V drive=7.07V").drive == "7.07V"
    assert drive_volts("7.07V", nominal_v=70.7) == pytest.approx(7.07)
    assert drive_volts("", nominal_v=70.7) == pytest.approx(7.07)
    assert value_text(read("L1-03 out 12 k")) == "12 kΩ"


@pytest.mark.parametrize("text", ["L1", "", "L1 whole banana", "L1 'x", "L1 whole", "L1 98 W"])
def test_what_is_not_understood_is_refused_in_four_parts(text: str) -> None:
    with pytest.raises(JobError) as caught:
        read(text)
    problem = caught.value.problems[0]
    assert problem.what
    assert problem.where
    assert problem.why
    assert problem.do


@pytest.mark.parametrize(
    ("reading", "code", "must"),
    [
        (placed("L1 0.098", "l1"), "kilo", False),
        (placed("L1-01 out 130000", "s1"), "kilo", False),
        (placed("L1 0", "l1"), "zero", True),
        (placed("L1 -98", "l1"), "negative", True),
        (placed("L9-01 silent", ""), "unknown place", True),
        (placed("L1-01 98", "s1"), "no way", True),
        (placed("L1-01 whole 98", "s1"), "no way", True),
        (placed("L1 98", "l1", taken_at="2027-01-01T00:00:00+00:00"), "future", False),
    ],
)
def test_odd_readings_are_asked_about(reading: Reading, code: str, must: bool) -> None:
    doubts = doubts_about([reading], known=[], places=PLACES, expected=PLAN, now=NOW)
    assert [doubt.code for doubt in doubts] == [code]
    assert doubts[0].must_answer is must
    assert doubts[0].what
    assert doubts[0].why
    assert doubts[0].do


def test_a_repeat_and_a_contradiction_are_asked_about() -> None:
    old = placed("L1 98", "l1", key="old")
    same, other = placed("L1 98", "l1", key="a"), placed("L1 140", "l1", key="b")
    near = placed("L1 99", "l1", key="c")
    codes = [
        [d.code for d in doubts_about([r], known=[old], places=PLACES, expected=PLAN, now=NOW)]
        for r in (same, other, near)
    ]
    assert codes == [["duplicate"], ["contradiction"], []]


def test_a_plain_reading_is_not_asked_about() -> None:
    reading = placed("L1 98", "l1")
    assert doubts_about([reading], known=[], places=PLACES, expected=PLAN, now=NOW) == ()
