"""Surveys that contradict themselves: what is a wall's thickness, a seam or a court is silent."""

from dataclasses import replace
from pathlib import Path

import pytest

from soffit.check.registry import CHECKS
from soffit.job.api import open_job
from soffit.model.decisions import Job
from soffit.model.survey import Storey
from soffit.work.demo import make_demo
from soffit_checked_job import clean_job, findings_of, with_room, with_survey

NEW = {entry.code for entry in CHECKS} & {f"JOB-{number}" for number in range(18, 25)}

Box = tuple[tuple[float, float], ...]


def box(x0: float, y0: float, x1: float, y1: float) -> Box:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def codes(job: Job) -> set[str]:
    return {item.code for item in findings_of(job, without_sound=True)} & NEW


def with_other(outline: Box, **more: object) -> Job:
    job = clean_job()
    own = job.survey.room("r")
    other = replace(own, **({"key": "r2", "label": "Other", "outline": outline} | more))
    return with_survey(
        job,
        rooms=(own, other),
        storeys=(*job.survey.storeys, Storey(key="up", label="Up", elevation_m=4.0)),
    )


def test_a_wall_drawn_twice_is_no_overlap() -> None:
    assert codes(with_other(box(6.9, 0.0, 12.0, 6.0))) == set()
    assert codes(with_other(box(6.7, 0.0, 12.0, 6.0))) == {"JOB-19"}


def test_one_room_over_the_other_is_no_overlap() -> None:
    assert codes(with_other(box(0.0, 0.0, 7.2, 6.0), storey_key="up")) == set()
    assert codes(with_other(box(0.0, 0.0, 7.2, 6.0))) == {"JOB-18"}


def test_a_room_in_the_court_of_another_is_no_overlap() -> None:
    job = with_other(box(3.0, 3.0, 5.0, 5.0))
    first, second = job.survey.rooms
    holed = replace(first, holes=(box(3.0, 3.0, 5.0, 5.0),))
    assert "JOB-19" in codes(job)
    assert codes(with_survey(job, rooms=(holed, second))) == set()


@pytest.mark.parametrize(
    ("split", "found"),
    [(0.0, set()), (0.08, set()), (-0.08, set()), (0.3, {"JOB-21"}), (-0.3, {"JOB-20"})],
)
def test_the_seam_between_two_ceilings(split: float, found: set[str]) -> None:
    own = clean_job().survey.ceiling("r", "c")
    job = with_room(
        clean_job(),
        ceilings=(
            replace(own, region=box(0.0, 0.0, 3.6, 6.0)),
            replace(own, key="c2", region=box(3.6 + split, 0.0, 7.2, 6.0)),
        ),
    )
    assert codes(job) == found


def test_a_column_in_a_room_or_at_its_wall_splits_nothing() -> None:
    holes = (box(3.0, 2.0, 3.4, 2.4), box(5.0, -0.2, 5.4, 0.3))
    assert codes(with_room(clean_job(), holes=holes)) == set()


def test_a_lost_end_is_named_by_the_labels_people_read() -> None:
    job = clean_job()
    line = job.design.lines[0]
    runs = (*line.runs[:-1], replace(line.runs[-1], end_key="s99"))
    lost = replace(job, design=replace(job.design, lines=(replace(line, runs=runs),)))
    found = [item for item in findings_of(lost, without_sound=True) if item.code == "JOB-24"]
    assert [item.place for item in found] == ["L1/4"]
    assert "'s99'" in found[0].what
    assert "L1" in found[0].what


@pytest.mark.parametrize("name", ["library", "market"])
def test_the_demos_raise_none(name: str, tmp_path: Path) -> None:
    folder = tmp_path / name
    make_demo(name, folder)
    assert codes(open_job(folder)) == set()
