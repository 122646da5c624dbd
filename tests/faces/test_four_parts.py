"""Every refusal says where; options that would not be read are refused; drawings land whole."""

import json
from pathlib import Path

import pytest

from soffit.cli.main import run
from soffit.errors import DomainError, SoffitError, UnitError
from soffit.evaluate.sound_ears import find_ears
from soffit.model.survey import ListeningArea
from soffit.tables.load import load_table
from soffit.tables.settings import setting
from soffit.units import Quantity, parse, parse_gauge
from soffit_checked_job import clean_job, with_room
from soffit_job_texts import ONE_ROOM

LINE = ["line", "--speakers", "3", "--tap", "5 W", "--feed", "10 m", "--cable", "1.5 mm2"]


@pytest.mark.parametrize(
    ("text", "quantity"),
    [("nonsense", "frequency"), ("3", "length"), ("3 parsec", "length"), ("1e999 m", "length")],
)
def test_a_value_that_is_none_says_where(text: str, quantity: Quantity) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, quantity)
    assert all(caught.value.problems[0].as_dict().values())


@pytest.mark.parametrize(
    "ask",
    [
        lambda: setting("line_loss_stop"),
        lambda: parse_gauge("thick"),
        lambda: load_table("grid_classes").number("nonsense", load_class="heavy"),
        lambda: load_table("grid_classes").number("uniform_load_lb_ft", load_class="x"),
    ],
)
def test_settings_and_tables_say_where(ask) -> None:
    with pytest.raises(SoffitError) as caught:
        ask()
    assert all(caught.value.problems[0].as_dict().values())


def test_a_mistyped_setting_is_told_its_neighbour() -> None:
    with pytest.raises(SoffitError, match="line_loss_stop_db"):
        setting("line_loss_stop")


@pytest.mark.parametrize("command", [["prove", ".", "--expect"], ["trace", "--units", "3"]])
def test_a_tone_that_is_none_names_its_option(command, capsys) -> None:
    assert run([*command, "--tone", "nonsense", "--json"]) == 2
    error = json.loads(capsys.readouterr().out)["error"]
    assert all(error.values())


@pytest.mark.parametrize(
    ("words", "unread"),
    [
        (["--expect", "--drive", "nonsense"], "--drive"),
        (["--expect", "--who", "me", "--sure"], "--sure, --who"),
        (["--tone", "1 kHz"], "--tone"),
        (["--strike", "r1", "--add", "L1 whole 98"], "--add"),
    ],
)
def test_options_that_would_not_be_read_are_refused(words, unread, capsys, tmp_path: Path) -> None:
    assert run(["prove", str(tmp_path), *words]) == 2
    assert f"{unread} would not be read" in capsys.readouterr().err


def test_a_drawing_goes_to_the_standard_output_alone(capsys) -> None:
    assert run([*LINE, "--schematic", "-"]) == 0
    assert capsys.readouterr().out.lstrip().startswith("<")
    assert run([*LINE, "--curve", "-", "--json"]) == 2
    assert "standard output" in capsys.readouterr().out


def test_a_drawing_is_written_whole_or_not_at_all(capsys, tmp_path: Path, monkeypatch) -> None:
    target = tmp_path / "line.svg"
    assert run([*LINE, "--schematic", str(target)]) == 0
    before = target.read_bytes()
    assert before.rstrip().endswith(b"</svg>")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    assert run([*LINE, "--speakers", "5", "--schematic", str(target)]) == 2
    assert "No space left" in capsys.readouterr().err
    assert target.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["line.svg"]


@pytest.mark.parametrize("name", ["missing/line.svg", "."])
def test_a_drawing_that_cannot_be_written_is_refused(name, capsys, tmp_path: Path) -> None:
    assert run([*LINE, "--curve", str(tmp_path / name)]) == 2
    assert "do" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("areas", "why"),
    [
        ([(2.0, 2.0, 0.005)], "less than a head"),
        ([(0.1, 0.1, 0.3)], "0.50 m from the walls"),
        ([(9.0, 9.0, 1.0)], "outside the room"),
        ([(1.0, 1.0, 3.0), (2.0, 2.0, 0.5)], "take all of it"),
    ],
)
def test_a_listening_area_without_ears_says_the_true_cause(areas, why) -> None:
    room = with_room(
        clean_job(),
        listening_areas=tuple(
            ListeningArea(
                key=f"a{number}", outline=((x, y), (x + s, y), (x + s, y + s), (x, y + s))
            )
            for number, (x, y, s) in enumerate(areas)
        ),
    ).survey.room("r")
    with pytest.raises(DomainError) as caught:
        find_ears(room)
    assert why in caught.value.problems[0].why
    assert caught.value.problems[0].where.startswith("rooms.r.listening.")


@pytest.mark.parametrize(
    "words",
    [
        ["check", "--list", "--mend", "CEIL-01"],
        ["check", "--place", "L1-01"],
        ["papers", "--svg", "plan.svg"],
        ["papers", "--only", "plan", "--room", "hall", "--pack", "all"],
        ["papers", "--only", "plan", "--room", "hall", "--svg", "."],
    ],
)
def test_no_option_is_passed_over_in_silence(words, capsys, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(words) == 2
    assert "command line" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_a_room_in_millimetres_is_told_so_at_once(capsys, tmp_path: Path) -> None:
    text = ONE_ROOM.replace("size = [5, 5]", "size = [9000, 5000]")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    assert run(["design", str(tmp_path)]) == 2
    told = capsys.readouterr().err
    assert "rooms.hall" in told
    assert "9000 m long" in told
