"""One line without a job: questions, answers, drawings, refusals."""

import numpy as np
import pytest

from soffit.constants import LINE_70_V
from soffit.errors import JobError, SoffitError
from soffit.work.quick_line import solve_quick_line
from soffit.work.quick_line_drawing import draw_impedance, draw_schematic, impedance_curve_ohm
from soffit.work.quick_line_question import LineWords, question_from_words
from soffit.work.quick_line_text import line_voltage_v, read_description

ODD = """\
start, end, length, tap, cable
# corridor
amplifier, A1, 20 m, 5 W
A1, A2, 8 m, 5 W
A2, T, 6 m
T, B1, 4 m, 10 W, 1 mm2
B1, B2, 4 m, 10 W, 1 mm2
T, C1, 12 m, 10 W
"""


def ask(text: str, **words: str):
    return solve_quick_line(
        question_from_words(LineWords(**{"cable": "2.5 mm2", **words}), text=text, name="odd.txt")
    )


def test_70_7_names_100_over_root_two_and_others_are_literal():
    assert line_voltage_v("70.7") == LINE_70_V
    assert line_voltage_v("70.7 V") == LINE_70_V
    assert line_voltage_v("70") == 70.0
    assert line_voltage_v("100") == 100.0


def test_odd_chain_by_hand():
    answer = ask(ODD, temperature="20")
    assert answer.load_w == 40.0
    assert [speaker.name for speaker in answer.speakers] == ["A1", "A2", "B1", "B2", "C1"]
    assert answer.speakers[3].distance_m == 42.0
    assert answer.cable_m == 54.0
    # the joint T draws nothing; B2 hangs behind thin cable and loses most
    assert answer.worst.name == "B2"
    spent = sum(speaker.power_w for speaker in answer.speakers) + answer.cable_w
    assert answer.drawn_w == pytest.approx(spent, rel=1e-12)


def test_a_second_run_to_the_same_end_closes_a_ring():
    opened, closed = ask(ODD), ask(ODD + "C1, amplifier, 30 m\n")
    assert closed.worst.loss_db < opened.worst.loss_db
    assert closed.cable_m == opened.cable_m + 30.0


def test_feet_and_metres_give_the_same_line():
    words = {"speakers": 4, "tap": "5 W", "cable": "18 AWG"}
    feet = solve_quick_line(question_from_words(LineWords(feed="100 ft", spacing="20 ft", **words)))
    metres = solve_quick_line(
        question_from_words(LineWords(feed="30.48 m", spacing="6.096 m", **words))
    )
    assert feet.worst.loss_db == pytest.approx(metres.worst.loss_db, rel=1e-12)


def test_insertion_loss_of_delivered_taps_raises_what_is_drawn_but_not_the_load():
    words = {"speakers": 4, "tap": "5 W", "cable": "18 AWG", "feed": "10 m"}
    plain = solve_quick_line(question_from_words(LineWords(**words)))
    lossy = solve_quick_line(
        question_from_words(LineWords(insertion_loss="1 dB", tap_watt="delivered", **words))
    )
    assert lossy.load_w == plain.load_w == 20.0
    assert lossy.drawn_w / plain.drawn_w == pytest.approx(1.259, abs=0.01)
    assert lossy.impedance_ohm < plain.impedance_ohm
    # 20 % over 20 W are 24 W; a channel of 24 W cannot give the 25 W that are drawn
    assert plain.amplifier_w_min == pytest.approx(24.0)
    assert lossy.amplifier_w_min == lossy.drawn_w > 24.0


def test_temperature_and_headroom_come_from_the_limits_unless_given():
    words = {"speakers": 1, "tap": "100 W", "cable": "16 AWG", "feed": "50 m"}
    question = question_from_words(LineWords(**words))
    assert question.conductor_degc == 40.0
    assert question.headroom_ratio == 0.20
    answer = solve_quick_line(question_from_words(LineWords(headroom="10%", **words)))
    assert answer.as_dict()["amplifier_w_min"] == 110.0


def test_limits_that_are_not_kept_are_findings_with_a_cure():
    words = {"speakers": 20, "tap": "10 W", "feed": "30 m", "spacing": "5 m", "volts": "70.7"}
    answer = solve_quick_line(question_from_words(LineWords(cable="18 AWG", **words)))
    (finding,) = answer.findings
    assert finding.severity == "stop"
    assert "no source" in finding.limit_source
    size = finding.do.split("use ")[1].split(" AWG")[0]
    cured = solve_quick_line(question_from_words(LineWords(cable=f"{size} AWG", **words)))
    assert not cured.findings
    hopeless = solve_quick_line(question_from_words(LineWords(cable="10 AWG", **words)))
    assert not hopeless.findings or "split" in hopeless.findings[0].do


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("amplifier, A, -3 m, 5 W", "amplifier - A"),
        ("amplifier, A, 0 m, 5 W", "amplifier - A"),
        ("amplifier, A, 3 m, -5 W", "odd.txt:1"),
        ("amplifier, A, 3 m, 5 W\nX, B, 3 m, 5 W", "X - B"),
        ("amplifier, A, 3 m, 5 W\nX, Y, 3 m, 5 W\nY, X, 3 m, 5 W", "parent"),
        ("amplifier, A, 3 m, 5 W, 77 mm2", "iec_60228"),
        ("amplifier, A, 3 m, 5 W, thick", "odd.txt:1"),
        ("amplifier, A, three, 5 W", "odd.txt:1"),
        ("amplifier, A, 3 m", "tap"),
        ("amplifier, A, 3 m, 5 W\namplifier, A, 3 m, 5 W", "end A"),
        ("amplifier, A", "odd.txt:1"),
        ("# nothing", "odd.txt"),
    ],
)
def test_bad_descriptions_are_refused_by_line_or_name(text, where):
    with pytest.raises(SoffitError) as caught:
        ask(text)
    problems = caught.value.problems
    assert any(where in problem.where for problem in problems)
    assert all(problem.why and problem.do for problem in problems)


def test_all_bad_lines_are_told_at_once():
    with pytest.raises(JobError) as caught:
        read_description("a, b\nc, d, e\nf", name="odd.txt", gauge=("AWG", "18"))
    assert len(caught.value.problems) == 3


def test_all_bad_options_are_told_at_once():
    with pytest.raises(JobError) as caught:
        question_from_words(LineWords(volts="x", temperature="warm", headroom="much"))
    assert len(caught.value.problems) == 4


def test_description_and_even_chain_do_not_mix():
    with pytest.raises(JobError):
        question_from_words(LineWords(speakers=3, cable="18 AWG"), text=ODD)


def test_schematic_names_every_loudspeaker_once_and_is_well_formed():
    from xml.etree import ElementTree as ET

    answer = ask(ODD + "C1, amplifier, 30 m\n")
    root = ET.fromstring(draw_schematic(answer))  # noqa: S314 our own text
    words = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    for speaker in answer.speakers:
        assert words.count(speaker.name) == 1
    assert "back to amplifier" in words
    assert "from T" in words
    sizes = [float(e.get("font-size", "9")) for e in root.iter("{http://www.w3.org/2000/svg}text")]
    assert min(sizes) >= 1.8


def test_long_chains_go_on_in_a_further_row():
    words = LineWords(speakers=25, tap="2 W", feed="10 m", spacing="3 m", cable="16 AWG")
    drawing = draw_schematic(solve_quick_line(question_from_words(words)), imperial=True)
    assert "from 10" in drawing
    assert "from 20" in drawing
    assert "33 ft" in drawing


def test_impedance_curve_is_near_the_tap_at_1_khz_and_drawn_with_its_assumptions():
    words = LineWords(
        volts="70.7", speakers=10, tap="10 W", feed="1 m", spacing="1 m", cable="14 AWG"
    )
    answer = solve_quick_line(question_from_words(words))
    size = impedance_curve_ohm(answer.question, np.array([1000.0]))
    assert size[0] == pytest.approx(answer.impedance_ohm, rel=0.02)
    assert "Assumed" in draw_impedance(answer)


def test_conductor_table_can_be_chosen():
    words = {"speakers": 1, "tap": "100 W", "cable": "18 AWG", "feed": "10 m", "temperature": "75"}
    nominal = solve_quick_line(question_from_words(LineWords(**words)))
    stranded = solve_quick_line(
        question_from_words(LineWords(conductor="NEC Table 8 stranded", **words))
    )
    # 7.95 stranded against 7.77 solid
    ratio = stranded.worst.loss_db / nominal.worst.loss_db
    assert ratio == pytest.approx(7.95 / 7.77, rel=0.005)


def test_taps_of_another_voltage_take_the_square_of_it_and_are_stopped():
    words = {"speakers": 2, "tap": "5 W", "cable": "12 AWG", "feed": "1 m", "volts": "70.7"}
    answer = solve_quick_line(question_from_words(LineWords(tap_volts="25", **words)))
    # derived: (70.7107/25)² = 8.00, +9.03 dB
    assert answer.load_w == pytest.approx(80.0)
    assert answer.speakers[0].power_w == pytest.approx(40.0, rel=0.01)
    (finding,) = answer.findings
    assert (finding.code, finding.severity) == ("LINE-04", "stop")
    assert "8.00" in finding.what
    assert "+9.03 dB" in finding.what
    weak = solve_quick_line(question_from_words(LineWords(tap_volts="100", **words)))
    assert weak.findings[0].severity == "warn"
    assert weak.load_w == pytest.approx(5.0)


def test_copper_clad_aluminium_is_warned_of_and_loses_more():
    words = {"speakers": 2, "tap": "5 W", "cable": "18 AWG", "feed": "20 m"}
    plain = solve_quick_line(question_from_words(LineWords(**words)))
    clad = solve_quick_line(question_from_words(LineWords(metal="copper-clad aluminium", **words)))
    assert clad.worst.loss_db / plain.worst.loss_db == pytest.approx(1.0 / 0.62, rel=0.01)
    assert [finding.code for finding in clad.findings] == ["CABLE-05"]
