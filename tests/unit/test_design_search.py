"""Free form, all offsets and proofs of a design; what a customer's count or spacing gets."""

from dataclasses import replace
from pathlib import Path

import pytest

from soffit.job.api import open_job
from soffit.model.decisions import Job
from soffit.model.survey import PlacedSpeaker
from soffit.work.demo import make_demo
from soffit.work.layout_question import Search
from soffit.work.make_design import decide


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    return open_job(make_demo("library", tmp_path_factory.mktemp("search") / "library"))


def with_brief(job: Job, key: str, **changes: object) -> Job:
    rooms = tuple(
        replace(room, brief=replace(room.brief, **changes)) if room.key == key else room
        for room in job.survey.rooms
    )
    return replace(job, survey=replace(job.survey, rooms=rooms))


def decision_of(job: Job, key: str, search: Search = Search()):  # noqa: B008 a frozen record
    design, _ = decide(job, rooms=[key], search=search)
    return next(item for item in design.rooms if item.room_key == key), design


def test_a_proof_is_kept_with_the_decision_and_never_exceeds_the_count(job: Job) -> None:
    decision, design = decision_of(job, "meeting", Search(proof_s=10.0))
    assert decision.bound
    count = sum(speaker.room_key == "meeting" for speaker in design.speakers)
    chosen = next(item for item in decision.options if item.mark == "chosen")
    assert chosen.count == count
    plain, _ = decision_of(job, "meeting")
    assert not plain.bound
    assert plain.options == decision.options


def test_a_larger_family_never_needs_more_speakers(job: Job) -> None:
    plain, _ = decision_of(job, "workroom")
    wide, _ = decision_of(job, "workroom", Search(has_free=True, has_all_offsets=True))
    counts = [
        next(item.count for item in decision.options if item.mark == "chosen")
        for decision in (plain, wide)
    ]
    assert counts[1] <= counts[0]


def test_the_customer_wants_24(job: Job) -> None:
    decision, design = decision_of(with_brief(job, "hall", count=24), "hall")
    chosen = next(item for item in decision.options if item.mark == "chosen")
    assert "the brief names 24 speakers" in decision.reason or "no pattern has" in decision.reason
    assert ("it passes" in decision.reason) == chosen.meets_brief
    assert ("does not pass" in decision.reason) != chosen.meets_brief
    assert chosen.count == sum(speaker.room_key == "hall" for speaker in design.speakers)


@pytest.mark.parametrize("spacing_m", [1.8288, 4.8768])
def test_the_specification_names_a_spacing(job: Job, spacing_m: float) -> None:
    decision, _ = decision_of(with_brief(job, "hall", spacing_m=spacing_m), "hall")
    chosen = next(item for item in decision.options if item.mark == "chosen")
    assert "the specification names its spacing" in decision.reason
    assert ("it passes" in decision.reason) == chosen.meets_brief


def test_taps_are_chosen_one_by_one_beside_what_hangs_by_hand(job: Job) -> None:
    hall = job.survey.room("meeting")
    x, y = zip(*hall.outline, strict=True)
    here = PlacedSpeaker(
        key="hand1",
        room_key="meeting",
        type_id=job.catalogue.speaker_types[0].id,
        position=(min(x) + 1.0, min(y) + 1.0),
        tap_w=job.catalogue.speaker_types[0].taps_at(job.survey.site.line_voltage_v)[0].power_w,
    )
    moved = replace(job, survey=replace(job.survey, placed=(*job.survey.placed, here)))
    design, _ = decide(moved, rooms=["meeting"])
    kept = next(speaker for speaker in design.speakers if speaker.key == "hand1")
    assert kept.fixed_tap
    assert kept.tap.power_w == here.tap_w


def test_the_command_offers_them(tmp_path: Path) -> None:
    from click.testing import CliRunner

    from soffit.cli.design import command

    text = CliRunner().invoke(command, ["--help"]).output
    for name in ("--free", "--all-offsets", "--prove", "--proof-seconds"):
        assert name in text
