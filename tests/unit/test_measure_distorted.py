"""Distorted and rattling loudspeakers: evidence where a cause is on the list, words beside it."""

import numpy as np

from soffit.measure.evidence import distorted_probability
from soffit.tables.settings import DEFAULT_LIMITS
from soffit.work.trace import advice_dict, advice_text, plan_of_description
from soffit.work.trace_book import TraceBook

NOW = "2026-01-01T00:00:00+00:00"
TOLD = {"speakers": 8, "tap": "5 W", "volts": "70.7", "feed": "20 m", "spacing": "6 m",
        "cable": "16 AWG"}  # fmt: skip
OVERDRIVEN = {"tap", "bypass", "other voltage"}


def book(*entries: str) -> TraceBook:
    made = TraceBook(plan=plan_of_description(TOLD), source=TOLD)
    for entry in entries:
        made.add(entry, now=NOW)
    return made


def test_a_distorted_loudspeaker_is_suspected_of_what_drives_it_too_hard() -> None:
    before = book("L1-05 heard").hunt().posterior()
    after = book("L1-05 distorted").hunt().posterior()
    assert after.by_place()[4] > 3.0 * before.by_place()[4]
    assert set(list(after.kinds_at(4))[:2]) <= OVERDRIVEN
    ranked = [place for place in after.by_place() if place >= 0]
    assert ranked[0] == 4


def test_a_whole_line_that_distorts_points_at_its_transformers() -> None:
    before = book().hunt().posterior().by_kind()
    after = book("rack distorted").hunt().posterior().by_kind()
    assert after["all other voltage"] > before["all other voltage"]


def test_causes_without_ohms_are_said_beside_the_posterior() -> None:
    plain, odd = advice_dict(book()), advice_dict(book("L1-03 rattle", "L1-05 distorted"))
    assert plain["heard_too"] == []
    assert [(row["place"], row["word"]) for row in odd["heard_too"]] == [
        ("L1-03", "rattle"),
        ("L1-05", "distorted"),
    ]
    text = advice_text(odd)
    assert "loose tile" in text
    assert "damaged cone" in text
    assert book("L1-03 rattle").hunt().evidence.listened == ()


def test_more_drive_never_sounds_less_distorted_and_silence_does_not_distort() -> None:
    told = distorted_probability(np.linspace(-60.0, 30.0, 200), DEFAULT_LIMITS)
    assert np.all(np.diff(told) >= -1e-12)
    assert told[0] < 0.01
    assert 0.4 < told[-1] < 0.6
