"""The second demo job: an invented covered market, metric, 100 V."""

from pathlib import Path

import pytest

from soffit.design.place import choose_layouts
from soffit.job.read import read_job
from soffit.work.demo import make_demo


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory):
    folder: Path = tmp_path_factory.mktemp("market") / "job"
    make_demo("market", folder)
    return read_job(folder)


def test_the_market_says_that_it_is_invented_and_is_large(job) -> None:
    assert job.survey.site.is_invented
    assert job.survey.site.line_voltage_v == 100.0
    hall = job.survey.room("hall")
    xs, ys = zip(*hall.outline, strict=True)
    assert (max(xs) - min(xs), max(ys) - min(ys)) == (60.0, 40.0)
    assert [area.key for area in hall.listening_areas if area.is_excluded] == ["stage"]


@pytest.mark.parametrize("key", ["office", "kiosk"])
def test_its_small_rooms_meet_their_briefs(job, key: str) -> None:
    survey = job.survey
    result = choose_layouts(
        survey.room(key),
        speaker_type=job.catalogue.speaker("ceiling-6"),
        line_voltage_v=survey.site.line_voltage_v,
        obstacles=survey.obstacles,
        limits=survey.limits,
    )
    assert result.chosen.meets_brief
    assert not [f for f in result.findings if f.severity == "stop"]
