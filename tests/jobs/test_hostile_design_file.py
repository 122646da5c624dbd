"""A design.json that somebody edited: named errors and findings, never a trace of our own code."""

import json
import shutil
from pathlib import Path

import pytest

from soffit.cli.main import run
from soffit.job.api import create_job
from soffit_job_texts import ONE_ROOM


@pytest.fixture(scope="module")
def designed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hostile") / "job"
    create_job(folder, ONE_ROOM)
    assert run(["design", str(folder)]) in (0, 1)
    return folder


@pytest.fixture
def job(designed: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "job"
    shutil.copytree(designed, folder)
    return folder


def edit(folder: Path, change) -> bytes:
    file = folder / "design.json"
    body = json.loads(file.read_text(encoding="utf-8"))
    change(body)
    file.write_text(json.dumps(body), encoding="utf-8")
    return file.read_bytes()


def first_run_cut(body):
    body["lines"][0]["runs"].pop(0)


def unknown_rack(body):
    body["lines"][0]["rack_key"] = "nope"


@pytest.mark.parametrize("change", [first_run_cut, unknown_rack])
def test_a_line_that_cannot_be_solved_is_named_and_not_printed(job, change, capsys):
    left = edit(job, change)
    label = json.loads(left)["lines"][0]["label"]
    assert run(["check", str(job), "--json"]) == 1
    findings = json.loads(capsys.readouterr().out)["findings"]
    assert any(label in item["place"] for item in findings if item["severity"] == "stop")
    assert run(["papers", str(job), "--json"]) == 2
    error = json.loads(capsys.readouterr().out)["error"]
    assert all(error[part] for part in ("what", "where", "why", "do"))
    assert label in error["what"]
    assert (job / "design.json").read_bytes() == left
    assert not any((job / "papers").iterdir())
