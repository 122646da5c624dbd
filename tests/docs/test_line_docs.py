"""The pages on lines: every option explained, examples run, formulas' headline numbers hold."""

import json
import re
import shlex
from pathlib import Path

import pytest

from soffit.cli.line import command
from soffit.cli.main import run
from soffit.tables import limits_line

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGE = (DOCS / "how-to" / "line.md").read_text(encoding="utf-8")
THEORY = (DOCS / "theory" / "circuit.md").read_text(encoding="utf-8")


def test_every_option_is_on_the_page():
    options = {name for entry in command.params for name in entry.opts if name.startswith("--")}
    assert options
    assert not [name for name in options if name not in PAGE]


def test_examples_run_and_every_key_is_on_the_page(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    description = re.search(r"(    # corridor\.txt.*?)\n\n", PAGE, re.DOTALL)
    assert description is not None
    lines = [line.strip() for line in description[1].splitlines()]
    (tmp_path / "corridor.txt").write_text("\n".join(lines), encoding="utf-8")
    calls = [line.strip() for line in PAGE.splitlines() if line.startswith("    soffit line ")]
    ran = 0
    for call in calls:
        words = shlex.split(call)[1:]
        if "chapel" in words:
            continue
        assert run([*words, "--json"]) == 0
        body = json.loads(capsys.readouterr().out)
        keys = [*body, *body["speakers"][0]]
        assert not [key for key in keys if f"`{key}`" not in PAGE]
        ran += 1
    assert ran == 2
    assert (tmp_path / "corridor.svg").exists()


@pytest.mark.parametrize(
    "name", [row.name for row in limits_line.ROWS if f"`{row.name}`" in THEORY + PAGE]
)
def test_settings_named_on_the_pages_exist(name):
    assert name in {row.name for row in limits_line.ROWS}


def test_names_in_code_marks_that_look_like_settings_are_settings():
    known = {row.name for row in limits_line.ROWS}
    named = set(re.findall(r"`([a-z]+(?:_[a-z]+)*_(?:m|ratio|most|w|degc))`", THEORY))
    functions = {"voltage_drop_ratio", "delivered_power_ratio"}
    assert named - functions <= known


def test_settings_on_the_page_of_wiring_exist_with_the_defaults_it_prints():
    page = (DOCS / "how-to" / "wiring.md").read_text(encoding="utf-8")
    rows = {row.name: row.default for row in limits_line.ROWS}
    named = set(re.findall(r"`([a-z]+(?:_[a-z]+)+)`", page))
    assert named - {"cable_ways"} <= set(rows)
    printed = re.findall(r"`([a-z_]+)`[a-z ]*\((\d+(?:\.\d+)?)(?: [mW])?\)", page)
    assert len(printed) >= 3
    for name, value in printed:
        assert rows[name] == float(value)
