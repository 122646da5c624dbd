"""Searching rooms in processes, within a time, until stopped: same answers, nothing half done."""

from pathlib import Path

import pytest

from soffit.errors import NoSolutionError, StoppedError
from soffit.job.api import open_job
from soffit.work.demo import make_demo
from soffit.work.make_design import decide, make_design
from soffit.work.many_rooms import Effort

SMALL = ("meeting", "workroom")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_demo("library", tmp_path_factory.mktemp("rooms") / "library")


def test_processes_find_what_one_process_finds(folder: Path) -> None:
    job = open_job(folder)
    alone, _ = decide(job, rooms=SMALL)
    together, _ = decide(job, rooms=SMALL, effort=Effort(workers=2))
    assert alone == together


@pytest.mark.parametrize("workers", [1, 2])
def test_a_room_that_is_not_done_in_time_stays_and_says_so(folder: Path, workers: int) -> None:
    job = open_job(folder)
    late = Effort(workers=workers, seconds=1e-6)
    design, _ = decide(job, rooms=["meeting"], effort=late)
    (decision,) = design.rooms
    assert not decision.is_reproducible
    assert "did not end" in decision.not_kept[0]
    assert not design.speakers


@pytest.mark.parametrize("workers", [1, 2])
def test_a_stopped_design_writes_nothing(folder: Path, workers: int) -> None:
    before = (folder / "history.jsonl").read_bytes()
    stop = Effort(workers=workers, is_stopped=lambda: True)
    with pytest.raises(StoppedError):
        make_design(folder, rooms=SMALL, effort=stop)
    assert not (folder / "design.json").exists()
    assert (folder / "history.jsonl").read_bytes() == before


def test_what_cannot_be_placed_is_named_from_a_process_too(folder: Path, tmp_path: Path) -> None:
    text = (folder / "job.toml").read_text(encoding="utf-8")
    blocked = text.replace(
        "[[rooms.workroom.obstacles]]",
        '[[rooms.workroom.obstacles]]\nkind = "hatch"\nlabel = "all of it"\n'
        'corner = ["22.5 ft", "38.5 ft"]\nsize = ["27.5 ft", "12 ft"]\n\n'
        "[[rooms.workroom.obstacles]]",
        1,
    )
    (tmp_path / "job.toml").write_text(blocked, encoding="utf-8")
    job = open_job(tmp_path)
    for workers in (1, 2):
        with pytest.raises(NoSolutionError, match="Workroom"):
            decide(job, rooms=["workroom"], effort=Effort(workers=workers))
