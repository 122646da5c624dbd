"""A row over the counter: laid first, counted at the ears, the rest searched round it."""

from dataclasses import replace
from pathlib import Path

import pytest

from soffit.errors import JobError
from soffit.job.api import open_job
from soffit.work.demo import make_demo
from soffit.work.make_design import decide

ROW = """
[[rooms.meeting.wishes]]
kind = "row"
label = "the table"
from = ["{x0} m", "{y} m"]
to = ["{x1} m", "{y} m"]
count = 2
"""


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = make_demo("library", tmp_path_factory.mktemp("wish") / "library")
    return (folder / "job.toml").read_text(encoding="utf-8")


def corners(text: str, tmp_path: Path) -> tuple[float, float, float, float]:
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    x, y = zip(*open_job(tmp_path).survey.room("meeting").outline, strict=True)
    return min(x), max(x), min(y), max(y)


def test_a_row_is_laid_and_the_rest_is_searched_round_it(text: str, tmp_path: Path) -> None:
    x0, x1, y0, y1 = corners(text, tmp_path)
    row = ROW.format(x0=x0 + 1.0, x1=x1 - 1.0, y=(y0 + y1) / 2)
    (tmp_path / "job.toml").write_text(text + row, encoding="utf-8")
    job = open_job(tmp_path)
    (wish,) = job.survey.room("meeting").wishes
    assert wish.count == 2
    design, _ = decide(job, rooms=["meeting"])
    (decision,) = [item for item in design.rooms if item.room_key == "meeting"]
    here = [speaker for speaker in design.speakers if speaker.room_key == "meeting"]
    chosen = next(item for item in decision.options if item.mark == "chosen")
    assert "a row of 2 for the table" in decision.reason
    assert chosen.count == len(here)
    for end in (wish.start, wish.end):
        away = min(abs(item.position[0] - end[0]) + abs(item.position[1] - end[1]) for item in here)
        assert away < 1.3
    assert len({item.position for item in here}) == len(here)
    again, _ = decide(replace(job, design=design), rooms=["meeting"])
    assert {item.key for item in again.speakers} == {item.key for item in design.speakers}


def test_a_row_of_another_type_hangs_in_the_same_ceiling(text: str, tmp_path: Path) -> None:
    x0, x1, y0, y1 = corners(text, tmp_path)
    row = ROW.format(x0=x0 + 1.0, x1=x1 - 1.0, y=(y0 + y1) / 2)
    places: dict[str, set[str]] = {}
    for named in ("ceiling-6", "ceiling-8"):
        more = f'speaker_type = "{named}"\n'
        (tmp_path / "job.toml").write_text(text + row + more, encoding="utf-8")
        job = open_job(tmp_path)
        design, _ = decide(job, rooms=["meeting"])
        here = [speaker for speaker in design.speakers if speaker.room_key == "meeting"]
        assert len({speaker.ceiling_key for speaker in here}) == 1
        places[named] = {speaker.type_id for speaker in here}
        middle = sorted(here, key=lambda s: abs(s.position[1] - (y0 + y1) / 2))[:2]
        assert {speaker.type_id for speaker in middle} == {named}
    assert any(len(types) == 2 for types in places.values())


def test_a_row_of_a_type_that_is_not_in_the_catalogue_is_refused(text: str, tmp_path: Path) -> None:
    x0, x1, y0, y1 = corners(text, tmp_path)
    row = ROW.format(x0=x0 + 1.0, x1=x1 - 1.0, y=(y0 + y1) / 2)
    (tmp_path / "job.toml").write_text(text + row + 'speaker_type = "none-such"\n', "utf-8")
    with pytest.raises(JobError) as caught:
        open_job(tmp_path)
    assert any("wishes[0].speaker_type" in problem.where for problem in caught.value.problems)


def test_a_row_that_cannot_be_laid_is_said(text: str, tmp_path: Path) -> None:
    x0, x1, y0, y1 = corners(text, tmp_path)
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    row = ROW.format(x0=middle[0], x1=middle[0] + 0.1, y=middle[1]).replace("= 2", "= 40")
    (tmp_path / "job.toml").write_text(text + row, encoding="utf-8")
    design, _ = decide(open_job(tmp_path), rooms=["meeting"])
    (decision,) = [item for item in design.rooms if item.room_key == "meeting"]
    assert "a row of 40 for the table: no free place" in decision.not_kept[0]


def test_a_row_outside_its_room_is_refused(text: str, tmp_path: Path) -> None:
    row = ROW.format(x0=-500, x1=-400, y=-500)
    (tmp_path / "job.toml").write_text(text + row, encoding="utf-8")
    with pytest.raises(JobError) as caught:
        open_job(tmp_path)
    assert any("wishes" in problem.where for problem in caught.value.problems)
