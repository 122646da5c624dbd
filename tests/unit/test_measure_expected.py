"""Expected readings: bands that pass sound lines and stop faulty ones; what points prove."""

import numpy as np
import pytest

from soffit.decibel import power_ratio_db
from soffit.errors import DomainError
from soffit.measure.balance import balance, room_correction_db
from soffit.measure.expected import expected_line
from soffit.measure.line_of_job import guessed_line
from soffit.measure.practice import draw_line
from soffit.measure.practice_hunt import plan_of_practice
from soffit.measure.verdict import background_corrected_db, points_prove
from soffit.tables.settings import DEFAULT_LIMITS


def test_every_joint_is_expected_both_ways_and_every_speaker_alone_and_by_ear() -> None:
    line, _ = draw_line(1, count=5, kind="none")
    rows = expected_line(plan_of_practice(line.plan), DEFAULT_LIMITS)
    ways = [row.direction for row in rows if row.quantity == "impedance"]
    assert [ways.count(way) for way in ("whole", "out", "in", "alone")] == [1, 5, 5, 5]
    assert sum(row.quantity == "ear" for row in rows) == 5
    assert sum(row.quantity == "voltage" for row in rows) == 5
    for row in rows:
        if row.middle is not None:
            assert row.low is not None
            assert row.high is not None
            assert row.low < row.middle < row.high
            assert row.tolerance


def test_rack_band_holds_sound_practice_lines() -> None:
    inside = 0
    for seed in range(30):
        line, _ = draw_line(80_000 + seed, count=12, kind="none")
        rows = expected_line(plan_of_practice(line.plan), DEFAULT_LIMITS)
        rack = next(row for row in rows if row.direction == "whole" and row.middle)
        ohm = abs(line.true_ohm("rack", -1, np.asarray([1000.0]))[0])
        inside += (rack.low or 0.0) <= ohm <= (rack.high or 0.0)
    assert inside >= 27  # the band is stated as three standard deviations of its own model


def test_background_correction_and_what_points_prove() -> None:
    assert background_corrected_db(60.0, 50.0) == pytest.approx(59.54, abs=0.01)
    assert background_corrected_db(60.0, 58.0) is None
    assert points_prove(58) < 0.95 <= points_prove(59)


def test_guessed_line_needs_a_speaker() -> None:
    with pytest.raises(DomainError):
        guessed_line(
            label="L1", voltage_v=100, count=0, tap_w=5, spacing_m=5, feed_m=20, wire_ohm_m=0.01
        )


FIELD = np.asarray(
    [[1.0, 0.1, 0.05], [0.1, 1.0, 0.1], [0.05, 0.1, 1.0], [0.5, 0.5, 0.1], [0.1, 0.5, 0.5]]
)


def test_room_correction_finds_the_weak_speaker() -> None:
    truth = np.asarray([0.4, 1.0, 1.0])
    seen = power_ratio_db(FIELD @ truth)
    found = room_correction_db(FIELD, np.ones(3), seen, limit_db=6.0)
    assert found[0] < -2.5
    assert abs(found[1]) < 1.0
    with pytest.raises(DomainError):
        room_correction_db(FIELD[:2], np.ones(3), seen[:2], limit_db=6.0)


def test_balance_raises_the_weak_tap_and_never_exceeds_the_load() -> None:
    seen = power_ratio_db(FIELD @ np.asarray([0.25, 1.0, 1.0]))
    given = {
        "ears_per_w": FIELD,
        "tap_w": np.full(3, 2.0),
        "taps_w": [(1.0, 2.0, 4.0, 8.0)] * 3,
        "limit_db": 6.0,
    }
    free = balance(FIELD, np.ones(3), seen, load_limit_w=20.0, **given)
    assert free.tap_w[0] > 2.0
    assert free.spread_after_db < free.spread_before_db
    held = balance(FIELD, np.ones(3), seen, load_limit_w=6.0, **given)
    assert float(np.sum(held.tap_w)) <= 6.0
    fixed = balance(FIELD, np.ones(3), seen, load_limit_w=20.0, fixed=[True] * 3, **given)
    assert fixed.changed == ()
