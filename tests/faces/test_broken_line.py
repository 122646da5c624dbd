"""One rule for a line whose wiring makes no sense: refused alike wherever it is asked for."""

import json
import shutil
from pathlib import Path

import pytest

from soffit.cli.main import run as run_cli
from soffit.work.demo import make_demo


@pytest.fixture(scope="module")
def wired(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("broken") / "job"
    make_demo("trouble", folder)
    return folder


@pytest.fixture
def broken(wired: Path, tmp_path: Path) -> Path:
    """The second line loses its run from the rack; the others are as they were."""
    folder = tmp_path / "job"
    shutil.copytree(wired, folder)
    path = folder / "design.json"
    design = json.loads(path.read_text(encoding="utf-8"))
    line = design["lines"][1]
    line["runs"][0]["start_key"] = "nowhere"
    path.write_text(json.dumps(design), encoding="utf-8")
    return folder


def labels(folder: Path) -> tuple[str, str]:
    design = json.loads((folder / "design.json").read_text(encoding="utf-8"))
    return design["lines"][0]["label"], design["lines"][1]["label"]


@pytest.mark.parametrize(
    "words",
    [
        ("papers", "{job}"),
        ("quote", "{job}"),
        ("prove", "{job}", "--expect"),
        ("trace", "{job}", "--line", "{bad}"),
    ],
)
def test_the_broken_line_is_refused_by_name_in_the_same_words(
    broken: Path, words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    _, bad = labels(broken)
    call = [word.format(job=broken, bad=bad) for word in words]
    assert run_cli(call) == 2
    said = capsys.readouterr().err
    assert said.startswith(bad)
    assert "its wiring makes no sense" in said
    assert "every run must start at the rack or at the end of another run" in said
    assert "soffit check names it" in said
    assert not list(broken.glob("papers/*.pdf")), "nothing half made"


def test_check_names_it_and_a_sound_line_is_traced_all_the_same(
    broken: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    good, bad = labels(broken)
    run_cli(["check", str(broken), "--json"])
    found = json.loads(capsys.readouterr().out)["findings"]
    assert any(f["code"] == "JOB-24" and f["place"].startswith(bad) for f in found)
    assert run_cli(["trace", str(broken), "--line", good]) in {0, 1}
    assert capsys.readouterr().out.startswith(f"{good}:")


def test_a_reading_of_a_sound_line_is_judged_all_the_same(
    broken: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    good, bad = labels(broken)
    assert run_cli(["prove", str(broken), "--add", f"{good}-02 silent"]) in {0, 1}
    said = capsys.readouterr().out
    assert f"{good}-02" in said
    assert f"{bad} cannot be read or traced" in said
