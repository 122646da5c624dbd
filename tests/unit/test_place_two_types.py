"""Two ceilings of one room with a type each: searched in turn, figures of both together exact."""

from dataclasses import replace
from pathlib import Path

import pytest

from soffit.errors import JobError
from soffit.evaluate.sound import room_sound
from soffit.job.api import open_job
from soffit.model.decisions import Job
from soffit.work.decide_room import layout_questions
from soffit.work.demo import make_demo
from soffit.work.layout_question import Search
from soffit.work.make_design import decide

TYPES = ("ceiling-8", "ceiling-6")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_demo("library", tmp_path_factory.mktemp("two") / "library")


@pytest.fixture(scope="module")
def job(folder: Path) -> Job:
    """The workroom with its ceiling cut in two halves, a type each."""
    made = open_job(folder)
    room = made.survey.room("workroom")
    x, y = zip(*room.outline, strict=True)
    middle = (min(x) + max(x)) / 2
    halves = []
    for number, (left, right) in enumerate(((min(x), middle), (middle, max(x)))):
        ring = ((left, min(y)), (right, min(y)), (right, max(y)), (left, max(y)))
        halves.append(
            replace(room.ceilings[0], key=f"half{number}", region=ring, speaker_type=TYPES[number])
        )
    cut = replace(room, ceilings=tuple(halves))
    rooms = tuple(cut if item.key == "workroom" else item for item in made.survey.rooms)
    return replace(made, survey=replace(made.survey, rooms=rooms))


def test_each_ceiling_gets_its_type_and_the_figures_are_those_of_both(job: Job) -> None:
    design, _ = decide(job, rooms=["workroom"], search=Search(proof_s=1.0))
    here = [speaker for speaker in design.speakers if speaker.room_key == "workroom"]
    assert {(s.ceiling_key, s.type_id) for s in here} == {
        ("half0", TYPES[0]),
        ("half1", TYPES[1]),
    }
    decision = next(item for item in design.rooms if item.room_key == "workroom")
    (chosen,) = [item for item in decision.options if item.mark == "chosen"]
    assert chosen.count == len(here)
    room = job.survey.room("workroom")
    sound = room_sound(
        room,
        job.catalogue,
        here,
        limits=job.survey.limits,
        line_voltage_v=job.survey.site.line_voltage_v,
    )
    exact = sound.evenness[room.brief.evenness_measure].spread_db
    assert chosen.spread_db == pytest.approx(exact, abs=1e-3)
    assert "All types together hold" in decision.reason
    assert decision.bound.startswith("none: a proof covers one type")


def test_what_the_other_type_brings_is_counted(job: Job) -> None:
    (question,) = layout_questions(job, job.survey.room("workroom"))
    found = question.answer()
    assert found.is_mixed
    assert found.n_placed == len(found.wished) > 0
    assert {item.type_id for item in found.wished} != {found.type_id}


def test_a_type_that_is_not_in_the_catalogue_is_refused(folder: Path, tmp_path: Path) -> None:
    text = (folder / "job.toml").read_text(encoding="utf-8")
    at = text.index("[[rooms.workroom.ceilings]]") if "[[rooms.workroom.ceilings]]" in text else -1
    line = '[[rooms.workroom.ceilings]]\nspeaker_type = "no-such"\n'
    if at < 0:
        text += "\n" + line
    else:
        text = text.replace("[[rooms.workroom.ceilings]]\n", line, 1)
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    with pytest.raises(JobError) as caught:
        open_job(tmp_path)
    assert any("speaker_type" in problem.where for problem in caught.value.problems)
