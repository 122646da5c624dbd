"""The simulator of imperfect lines: its physics in closed form, its chance kept by seeds."""

import math
from dataclasses import replace

import numpy as np
import pytest

from soffit.measure.practice import PracticeBench, draw_fault, draw_line
from soffit.measure.practice_line import HIDDEN_KINDS, HiddenFault
from soffit.measure.practice_ranges import PRACTICE_RANGES

TONE = np.asarray([1000.0])


def test_one_speaker_line_is_run_plus_speaker_in_series() -> None:
    line, _ = draw_line(1, count=1, kind="none")
    line = replace(line, run_f=line.run_f * 0.0)
    series = line.run_ohm[0] + 2j * math.pi * 1000.0 * line.run_h[0]
    expected = series + line.speaker_ohm(0, TONE)[0]
    # Relative 1e-5: the simulator leaks 1 nS at each node so that broken parts stay solvable.
    assert line.true_ohm("rack", -1, TONE)[0] == pytest.approx(expected, rel=1e-5)


def test_two_speaker_chain_matches_the_hand_calculation() -> None:
    line, _ = draw_line(2, count=2, kind="none")
    line = replace(line, run_f=line.run_f * 0.0)
    z = line.run_ohm + 2j * math.pi * 1000.0 * line.run_h
    s0, s1 = (line.speaker_ohm(k, TONE)[0] for k in (0, 1))
    far = z[1] + s1
    expected = z[0] + s0 * far / (s0 + far)
    assert line.true_ohm("rack", -1, TONE)[0] == pytest.approx(expected, rel=1e-5)
    assert line.true_ohm("rack_opened", 1, TONE)[0] == pytest.approx(z[0] + s0, rel=1e-5)
    assert line.true_ohm("away", 1, TONE)[0] == pytest.approx(s1, rel=1e-5)
    assert line.true_ohm("back", 1, TONE)[0] == pytest.approx(z[1] + s0, rel=1e-5)


def test_tap_draws_about_its_watts_at_one_kilohertz() -> None:
    ratios = []
    for seed in range(40):
        line, _ = draw_line(seed, count=4, kind="none")
        ratios += [abs(line.speaker_ohm(k, TONE)[0]) / line.tap_ohm(k) for k in range(4)]
    assert 0.5 < min(ratios) < 0.95
    assert 0.7 < float(np.median(ratios)) < 1.2


def test_seed_is_kept_and_the_day_of_hand_over_has_no_fault() -> None:
    one, before = draw_line(7, count=12)
    two, _ = draw_line(7, count=12)
    assert np.array_equal(one.run_ohm, two.run_ohm)
    assert one.faults == two.faults
    assert before.faults == ()


@pytest.mark.parametrize("kind", HIDDEN_KINDS)
def test_every_fault_changes_what_the_perfect_meter_shows(kind: str) -> None:
    line, _ = draw_line(11, count=6, kind="none")
    rng = np.random.default_rng(5)
    fault = draw_fault(rng, line, kind)  # type: ignore[arg-type]
    broken = replace(line, faults=(fault,))
    tones = np.asarray([100.0, 1000.0])
    healthy = line.true_ohm("rack", -1, tones)
    change = float(np.max(np.abs(broken.true_ohm("rack", -1, tones) / healthy - 1.0)))
    assert (change > 1e-3) is (kind != "none")


def test_bypassed_speaker_pulls_the_line_to_a_few_ohms_and_open_run_raises_it() -> None:
    line, _ = draw_line(3, count=10, kind="none")
    healthy = abs(line.true_ohm("rack", -1, TONE)[0])
    bypass = replace(line, faults=(HiddenFault(kind="bypass", place=4, value=0.0),))
    opened = replace(line, faults=(HiddenFault(kind="open", place=5, value=0.0),))
    assert abs(bypass.true_ohm("rack", -1, TONE)[0]) < 15.0
    assert abs(opened.true_ohm("rack", -1, TONE)[0]) > 1.5 * healthy


def test_displays_are_censored_and_ears_hear_an_open_run() -> None:
    line, _ = draw_line(3, count=10, kind="none")
    broken = replace(line, faults=(HiddenFault(kind="open", place=5, value=0.0),))
    bench = PracticeBench(broken, np.random.default_rng(0))
    words = bench.heard()
    assert words[5:].count("silent") >= 4
    assert "silent" not in words[:5]
    gone = replace(line, faults=(HiddenFault(kind="missing", place=2, value=0.0),))
    shown = PracticeBench(gone, np.random.default_rng(0)).ohms("speaker", 2, [1000.0])
    assert shown == (f"> {PRACTICE_RANGES.meter_ceiling_ohm:g}",)
    short = replace(line, faults=(HiddenFault(kind="short", place=9, value=0.1),))
    assert PracticeBench(short, np.random.default_rng(0)).ohms("away", 9, [1000.0]) == ("< 1",)


def test_current_into_the_line_is_drive_over_impedance() -> None:
    line, _ = draw_line(9, count=5, kind="none")
    line = replace(line, run_f=line.run_f * 0.0)
    current = line.true_amps(0, 7.07, TONE)[0]
    assert current == pytest.approx(7.07 / line.true_ohm("rack", -1, TONE)[0], rel=1e-5)
