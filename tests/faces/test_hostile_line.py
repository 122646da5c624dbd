"""Numbers and options with which ``soffit line`` could have answered nonsense, or not at all."""

import json
from pathlib import Path

import pytest

from soffit.cli.main import SHOWN, run
from soffit.cli.show import show_json

CHAIN = ["--speakers", "3", "--tap", "5 W", "--feed", "3 m", "--cable", "18 AWG"]


@pytest.mark.parametrize(
    "words",
    [
        [*CHAIN, "--spacing", "1e300 m"],  # had answered with infinite ohms, which is no JSON
        [*CHAIN, "--insertion-loss", "1e6 dB", "--tap-watt", "delivered"],
        [*CHAIN, "--insertion-loss", "1000 dB"],
        [*CHAIN, "--schematic", "same.svg", "--curve", "same.svg"],
    ],
)
def test_it_refuses_in_four_parts(words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["line", *words, "--json"]) == 2
    error = json.loads(capsys.readouterr().out)["error"]
    assert all(error[part] for part in ("what", "where", "why", "do"))
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "words",
    [
        ["--spacing", "100 km"],
        ["--tap", "0.001 mW"],
        ["--tap", "100 kW"],
        ["--insertion-loss", "20 dB", "--tap-watt", "delivered"],
    ],
)
def test_its_numbers_stay_finite_at_the_ends_of_what_it_takes(words, capsys):
    assert run(["line", *CHAIN, *words, "--json"]) in (0, 1)

    def refuse(word):
        raise AssertionError(word)

    json.loads(capsys.readouterr().out, parse_constant=refuse)


@pytest.mark.parametrize(
    "words", [["--volts", "25"], ["--cable", "18 AWG"], ["--schematic", "x.svg"]]
)
def test_on_a_job_it_refuses_what_it_would_not_read(words, tmp_path, capsys):
    assert run(["line", str(tmp_path), "--line", "L1", "--add", "2", *words, "--json"]) == 2
    assert words[0] in json.loads(capsys.readouterr().out)["error"]["what"]


def test_a_wall_of_problems_is_cut_on_a_terminal_and_whole_in_json(tmp_path, capsys):
    file = tmp_path / "odd.txt"
    file.write_text("nonsense\n" * 500, encoding="utf-8")
    assert run(["line", str(file), "--cable", "18 AWG"]) == 2
    text = capsys.readouterr().err
    assert text.count("is not a run") == SHOWN
    assert "500 problems" in text
    assert run(["line", str(file), "--cable", "18 AWG", "--json"]) == 2
    assert len(json.loads(capsys.readouterr().out)["more"]) == 499


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only some systems have it")
def test_a_full_disk_is_named(capsys):
    assert run(["line", *CHAIN, "--curve", "/dev/full", "--json"]) == 2
    error = json.loads(capsys.readouterr().out)["error"]
    assert all(error[part] for part in ("what", "where", "why", "do"))


@pytest.mark.parametrize(
    "words",
    [
        ["trace", "--practice", "--seed", "-1"],
        ["trace", "--practice", "--speakers", "-4"],
        ["trace", "--practice", "--speakers", "100000"],
        ["trace", "--practice", "--speakers", "0"],
        ["design", "nowhere", "--seed", "-1"],
        ["batch", "nowhere", "--draws", "0"],
        ["batch", "nowhere", "--draws", "2", "--seed", "-1"],
    ],
)
def test_counts_and_seeds_that_no_search_takes(words, capsys):
    code = run([*words, "--json"])
    body = json.loads(capsys.readouterr().out)
    if words[2:] == ["--speakers", "0"]:
        assert code == 0  # as if not given
        return
    assert code == 2
    assert all(body["error"][part] for part in ("what", "where", "why", "do"))


def test_json_has_no_word_for_infinity(capsys):
    show_json({"a": [float("inf"), (1.0, float("nan"))], "b": {"c": -float("inf")}, "d": 2})
    assert json.loads(capsys.readouterr().out) == {
        "a": [None, [1.0, None]],
        "b": {"c": None},
        "d": 2,
    }


def test_a_hunt_is_never_kept_over_another_file(tmp_path, capsys):
    file = tmp_path / "design.json"
    file.write_text('{"format": 1, "speakers": []}', encoding="utf-8")
    words = ["trace", "--practice", "--speakers", "4", "--session", str(file), "--add", "rack 90"]
    assert run([*words, "--json"]) == 2
    assert "no session" in json.loads(capsys.readouterr().out)["error"]["what"]
    assert file.read_text(encoding="utf-8") == '{"format": 1, "speakers": []}'
