"""An old line from a walk: bounds, meter, spare capacity, what to measure."""

import json
import math
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.cli.main import run
from soffit.cli.walk import command
from soffit.constants import LINE_70_V
from soffit.errors import JobError
from soffit.job.api import open_job
from soffit.job.catalogue import load_demo_catalogue
from soffit.model.findings import DEFER
from soffit.work.as_found import FoundLine, FoundUnit, judge_found, parse_walk, read_walk
from soffit.work.found_job import keep_found
from soffit.work.make_design import make_design
from soffit.work.make_papers import make_papers
from soffit.work.run_checks import check_job

CATALOGUE = load_demo_catalogue()

WALK = """unit,type,tap,count,place,state,note
A1,ceiling-8,8 W,1,foyer,works,
A2,ceiling-8,8,1,foyer,works,
A3,ceiling-8,?,2,bar,works,label painted over
old,,,1,bar,abandoned,cable end above the hatch
"""


def line(text: str = WALK, **more: float) -> FoundLine:
    return FoundLine(voltage_v=LINE_70_V, units=parse_walk(text, CATALOGUE), **more)


def test_unknown_taps_widen_the_answer() -> None:
    state = judge_found(line(), CATALOGUE)
    # ceiling-8: taps are watts drawn, 2 to 32 W at 70.7 V
    assert state.known_w == pytest.approx(16.0)
    assert state.least_w == pytest.approx(16.0 + 2 * 2.0)
    assert state.most_w == pytest.approx(16.0 + 2 * 32.0)
    assert (state.n_units, state.n_unknown) == (4, 2)
    assert state.load_w == state.most_w
    assert state.spare_w is None
    assert any("d.c. ohms" in step for step in state.measure)


def test_a_meter_narrows_it_and_names_combinations() -> None:
    """U²/Z: 5000 / 125 is 40 W; 24 W are left for two units."""
    state = judge_found(line(measured_ohm=5000 / 40, amplifier_w=60.0), CATALOGUE)
    assert state.measured_w == pytest.approx(40.0)
    assert state.guesses == ((8.0, 16.0),)
    assert state.spare_w == pytest.approx(60.0 / 1.2 - 40.0)
    assert state.replacement_w == pytest.approx(48.0)
    assert state.replacement_id == "amp-60"
    assert {item.code for item in state.findings} == {"LINE-16", "CODE-10"}


def test_delivered_taps_draw_more_than_they_say() -> None:
    entry = CATALOGUE.speaker("ceiling-6")
    state = judge_found(line("unit,type,tap\nA1,ceiling-6,15 W\n"), CATALOGUE)
    assert state.known_w == pytest.approx(15.0 * 10 ** (entry.transformer.insertion_loss_db / 10))


@pytest.mark.parametrize(
    ("ohm", "amplifier", "code"),
    [(5000 / 70, 60.0, "AMP-01"), (5000 / 55, 60.0, "AMP-02"), (5000 / 200, 500.0, "LINE-16")],
)
def test_findings_use_the_codes_of_any_plan(ohm: float, amplifier: float, code: str) -> None:
    state = judge_found(line(measured_ohm=ohm, amplifier_w=amplifier), CATALOGUE)
    found = [item for item in state.findings if item.code == code]
    assert found
    assert all(item.do for item in found)


def test_wrong_taps_and_types_are_found_by_unit() -> None:
    text = "unit,type,tap\nA1,ceiling-8,7 W\nA2,pendant-6,5 W\n"
    state = judge_found(FoundLine(voltage_v=25.0, units=parse_walk(text, CATALOGUE)), CATALOGUE)
    assert {(item.code, item.place) for item in state.findings} >= {
        ("LINE-05", "A1"),
        ("LINE-06", "A2"),
    }


def test_text_and_data_end_by_deferring() -> None:
    state = judge_found(line(measured_ohm=125.0), CATALOGUE)
    assert state.text().endswith(DEFER)
    assert state.as_dict()["n_unknown"] == 2


def test_an_amplifier_too_large_for_the_catalogue_is_said() -> None:
    state = judge_found(line("unit,type,tap,count\nA,ceiling-8,32 W,100\n"), CATALOGUE)
    assert state.replacement_id == ""
    assert "none of the catalogue" in state.text()


BAD = {
    "no header": "A1,ceiling-8,8 W\n",
    "empty": "",
    "unknown column": "unit,watt\nA1,8\n",
    "unknown type": "unit,type\nA1,horn-99\n",
    "letters": "unit,tap\nA1,loud\n",
    "too large": "unit,tap\nA1,9000 W\n",
    "negative": "unit,tap\nA1,-5 W\n",
    "count": "unit,count\nA1,two\n",
    "state": "unit,state\nA1,broken\n",
}


@pytest.mark.parametrize("name", sorted(BAD))
def test_bad_notes_are_refused_in_four_parts(name: str) -> None:
    with pytest.raises(JobError) as caught:
        parse_walk(BAD[name], CATALOGUE)
    problem = caught.value.problems[0]
    assert problem.what
    assert "walk.csv" in problem.where
    assert problem.why
    assert problem.do


def test_all_wrong_rows_are_reported_together() -> None:
    with pytest.raises(JobError) as caught:
        parse_walk("unit,type,tap\nA,horn-99,8\nB,,loud\n", CATALOGUE)
    assert len(caught.value.problems) == 2


@pytest.mark.parametrize("more", [{"measured_ohm": 0.0}, {"amplifier_w": -1.0}])
def test_impossible_numbers(more: dict[str, float]) -> None:
    with pytest.raises(JobError):
        judge_found(line(**more), CATALOGUE)
    with pytest.raises(JobError):
        judge_found(FoundLine(voltage_v=100.0, units=()), CATALOGUE)


def test_a_file(tmp_path: Path) -> None:
    path = tmp_path / "walk.csv"
    path.write_text(WALK, encoding="utf-8")
    assert read_walk(path, CATALOGUE, voltage_v=LINE_70_V).n_units == 4
    with pytest.raises(JobError):
        read_walk(tmp_path / "none.csv", CATALOGUE, voltage_v=LINE_70_V)


@given(
    taps=st.lists(st.sampled_from([2.0, 4.0, 8.0, 16.0, 32.0]), min_size=1, max_size=5),
    hidden=st.integers(0, 4),
)
@settings(max_examples=40, deadline=None)
def test_the_true_taps_are_always_among_the_guesses(taps: list[float], hidden: int) -> None:
    units = tuple(
        FoundUnit(label=f"U{n}", type_id="ceiling-8", tap_w=None if n < hidden else tap)
        for n, tap in enumerate(taps)
    )
    ohm = LINE_70_V**2 / sum(taps)
    state = judge_found(FoundLine(voltage_v=LINE_70_V, units=units, measured_ohm=ohm), CATALOGUE)
    assert state.least_w - 1e-9 <= sum(taps) <= state.most_w + 1e-9
    if 0 < hidden <= len(taps):
        truth = tuple(sorted(taps[:hidden]))
        assert truth in state.guesses or len(state.guesses) == 10
    assert math.isclose(state.load_w, sum(taps), rel_tol=1e-9)


def test_the_command(tmp_path: Path) -> None:
    path = tmp_path / "walk.csv"
    path.write_text(WALK, encoding="utf-8")
    runner = CliRunner()
    shown = runner.invoke(
        command,
        [str(path), "--volts", "70.7", "--measured", "125 ohm", "--amp", "60 W", "--json"],
        standalone_mode=False,
    )
    assert shown.exception is None
    assert json.loads(shown.output)["measured_w"] == pytest.approx(40.0)
    assert shown.return_value == 0
    full = runner.invoke(
        command, [str(path), "--volts", "70.7", "--amp", "20"], standalone_mode=False
    )
    assert full.return_value == 1
    wrong = runner.invoke(command, [str(path), "--volts", "many"], standalone_mode=False)
    assert isinstance(wrong.exception, JobError)


NOTED = """unit,type,tap,count,place,state,note,x,y
A1,ceiling-8,8 W,1,foyer,works,,2,2
A2,ceiling-8,8,1,foyer,works,,16 ft,2 m
A3,ceiling-8,?,2,bar,works,label painted over,,
A4,,?,1,bar,silent,,?,?
old,,,1,bar,abandoned,cable end above the hatch,,
"""


@pytest.fixture
def walked(tmp_path: Path) -> Path:
    table = tmp_path / "walk.csv"
    table.write_text(NOTED, encoding="utf-8")
    folder = tmp_path / "old"
    words = [str(table), "--volts", "70.7", "--measured", "125 ohm", "--into", str(folder)]
    result = CliRunner().invoke(command, words, standalone_mode=False)
    assert result.exception is None, result.output
    assert "2 stand where the walk says" in result.output
    assert "assumed: places of 3 units" in result.output
    return folder


def test_a_walk_becomes_a_job_with_a_line_as_found(walked: Path) -> None:
    job = open_job(walked)
    assert [item.state for item in job.design.speakers] == ["existing"] * 5
    assert all(item.is_existing for item in job.survey.placed)
    assert job.survey.placed[1].position == pytest.approx((16 * 0.3048, 2.0))
    assert job.survey.site.line_voltage_v == LINE_70_V
    assert "abandoned cable" in walked.joinpath("job.toml").read_text(encoding="utf-8")
    line = job.design.lines[0]
    assert line.topology == "as found"
    assert len(line.runs) == len(line.speaker_keys) == 5
    assert "type not read" in job.design.speakers[4].note
    report = check_job(job)
    assert not report.has_stop
    assert {"JOB-13", "LINE-16"} <= {item.code for item in report.findings}
    assert not {"JOB-07", "JOB-16", "JOB-18", "JOB-19"} & {item.code for item in report.findings}


def test_its_schematic_is_drawn_and_its_faults_can_be_hunted(walked: Path) -> None:
    make_papers(walked)
    assert (walked / "papers" / "drawings" / "line-L1.svg").stat().st_size > 1000
    assert run(["trace", str(walked), "--line", "L1", "--json"]) in {0, 1}


def test_a_design_keeps_the_old_units_where_they_hang(walked: Path) -> None:
    before = {item.key: item.position for item in open_job(walked).design.speakers}
    make_design(walked)
    after = {item.key: item for item in open_job(walked).design.speakers}
    for key, position in before.items():
        assert after[key].position == pytest.approx(position)
        assert after[key].state == "existing"


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [(",2,2", ",2,", "length"), (",2,2", ",left,2", "length"), (",2,2", ",1e9,2", "not possible")],
)
def test_places_that_are_none_are_refused(old: str, new: str, word: str) -> None:
    with pytest.raises(JobError, match=word):
        parse_walk(NOTED.replace(old, new, 1), CATALOGUE)


def test_a_folder_in_use_is_left_as_it_is(walked: Path, tmp_path: Path) -> None:
    before = {path: path.read_bytes() for path in walked.rglob("*") if path.is_file()}
    assert run(["walk", str(tmp_path / "walk.csv"), "--volts", "70.7", "--into", str(walked)]) == 2
    assert {path: path.read_bytes() for path in walked.rglob("*") if path.is_file()} == before


def test_one_place_twice_gets_one_room_and_odd_names_get_keys(tmp_path: Path) -> None:
    text = "unit,place\na,Bär 1\nb,bar-1\nc,1\nd,Bär 1\n"
    state = judge_found(FoundLine(voltage_v=100.0, units=parse_walk(text, CATALOGUE)), CATALOGUE)
    kept = keep_found(state, CATALOGUE, tmp_path / "job")
    assert kept.units == 4
    assert {room.label for room in open_job(tmp_path / "job").survey.rooms} == {
        "Bär 1",
        "bar-1",
        "1",
    }


def test_a_place_as_wide_as_a_town_is_refused(tmp_path: Path) -> None:
    table = tmp_path / "walk.csv"
    table.write_text("unit,x,y\nA,0,0\nB,9000,0\n", encoding="utf-8")
    assert run(["walk", str(table), "--into", str(tmp_path / "job")]) == 2
    assert not (tmp_path / "job").exists()
    assert run(["walk", str(table), "--job", str(tmp_path / "none")]) == 2


def test_a_full_channel_is_not_offered_minus_watts() -> None:
    """60 W with 20 % of headroom carry 50 W; 83 W are 33 W over."""
    state = judge_found(line(measured_ohm=60.0, amplifier_w=60.0), CATALOGUE)
    assert "nothing may be added: 33 W over, headroom kept" in state.text()
    assert ": -" not in state.text()


def test_a_unit_of_unknown_type_is_taken_for_one_that_has_its_tap(tmp_path: Path) -> None:
    """ceiling-6, the commonest here, has no 5 W tap: the job must not stop on our own guess."""
    text = "unit,type,tap,count,place\n1,ceiling-6,7.5,4,hall\n2,?,5,1,corridor\n3,?,,1,store\n"
    state = judge_found(
        FoundLine(voltage_v=LINE_70_V, units=parse_walk(text, CATALOGUE)), CATALOGUE
    )
    kept = keep_found(state, CATALOGUE, tmp_path / "job")
    speakers = open_job(tmp_path / "job").design.speakers
    assert [item.type_id for item in speakers[:4]] == ["ceiling-6"] * 4
    guess = CATALOGUE.speaker(speakers[4].type_id)
    assert 5.0 in {tap.power_w for tap in guess.taps_at(LINE_70_V)}
    assert speakers[5].type_id == "ceiling-6"
    assert any(text.startswith("type of one unit: ") for text in kept.assumed)
    assert not [f for f in check_job(open_job(tmp_path / "job")).findings if f.code == "LINE-05"]
