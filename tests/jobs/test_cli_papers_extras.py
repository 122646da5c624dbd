"""``soffit papers``: building models, refused models, and letters that the font lacks."""

import json
import sys
from pathlib import Path
from shutil import copytree

import pytest

from soffit.cli.main import run


@pytest.fixture
def folder(library: Path, tmp_path: Path) -> Path:
    return copytree(library, tmp_path / "job")


def test_a_building_model_is_written_and_a_given_one_added_to(folder, tmp_path, capsys):
    ifcopenshell = pytest.importorskip("ifcopenshell")
    first, second = tmp_path / "one", tmp_path / "two"
    ask = ["papers", str(folder), "--pack", "commissioner", "--extra", "ifc", "--json"]
    assert run([*ask, "--out", str(first)]) == 0
    made = first / "loudspeakers.ifc"
    assert str(made) in json.loads(capsys.readouterr().out)["files"]
    before = made.read_bytes()
    assert run([*ask, "--out", str(second), "--model", str(made)]) == 0
    assert made.read_bytes() == before
    one, two = (ifcopenshell.open(str(path / made.name)) for path in (first, second))
    count = len(one.by_type("IfcAudioVisualAppliance"))
    assert count == 24
    assert len(two.by_type("IfcAudioVisualAppliance")) == 2 * count


@pytest.mark.parametrize("text", ["hello", None])
def test_a_model_that_is_none_is_refused_before_anything_is_written(folder, tmp_path, capsys, text):
    pytest.importorskip("ifcopenshell")
    model = tmp_path / "model.ifc"
    if text:
        model.write_text(text, encoding="utf-8")
    out = tmp_path / "out"
    ask = ["papers", str(folder), "--extra", "ifc", "--model", str(model), "--out", str(out)]
    assert run(ask) == 2
    assert "building model" in capsys.readouterr().err
    assert not out.exists()


def test_a_model_without_the_extra_is_refused(folder, capsys):
    assert run(["papers", str(folder), "--model", "any.ifc", "--extra", "csv"]) == 2
    assert "add --extra ifc" in capsys.readouterr().err


def test_a_missing_package_is_named_in_words(folder, tmp_path, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "ifcopenshell", None)
    code = run(["papers", str(folder), "--extra", "ifc", "--out", str(tmp_path / "out")])
    assert code == 2
    assert "soffit[ifc]" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_letters_that_the_font_lacks_are_named_by_papers_and_check(folder, tmp_path, capsys):
    job = folder / "job.toml"
    text = job.read_text(encoding="utf-8")
    old = next(line for line in text.splitlines() if line.startswith("customer"))
    job.write_text(text.replace(old, 'customer = "図書館"'), encoding="utf-8")
    out = tmp_path / "out"
    ask = ["papers", str(folder), "--pack", "commissioner", "--extra", "none", "--out", str(out)]
    assert run(ask) == 0
    assert "U+56F3" in capsys.readouterr().err
    run(["check", str(folder), "--json"])
    (finding,) = [
        item
        for item in json.loads(capsys.readouterr().out)["findings"]
        if item["code"] == "PAPER-01"
    ]
    assert finding["severity"] == "warn"
    assert "図書館" in finding["what"]
