"""Wiring after an edit by hand: untouched lines stay as they are, changed ones are laid anew."""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from line_sample import key_maker, sample_catalogue, six_rooms, speakers_in
from soffit.design.route import Wired, wire
from soffit.evaluate.line import evaluate_line
from soffit.model.decisions import Design, Job, Survey
from soffit.model.lines import Line
from soffit.model.speakers import Speaker
from soffit.model.zones import Zone
from soffit.tables.settings import Limits
from soffit.work.edit import HandEdit, edited_design

CATALOGUE = sample_catalogue()


def as_design(result: Wired) -> Design:
    return Design(speakers=result.speakers, lines=result.lines, amplifiers=result.amplifiers)


def again(
    survey: Survey, before: Design, speakers: Sequence[Speaker], *, lines: tuple[Line, ...] = ()
) -> Wired:
    return wire(
        survey,
        CATALOGUE,
        speakers,
        previous=replace(before, speakers=tuple(speakers), lines=lines or before.lines),
        new_key=key_maker(start=9000),
        before=before,
    )


@pytest.fixture(scope="module")
def survey() -> Survey:
    floor = six_rooms()
    return replace(floor, limits=Limits((("amplifier_headroom_ratio", 0.1),)))


@pytest.fixture(scope="module")
def before(survey: Survey) -> Design:
    speakers = speakers_in(survey, 12, tap_w=12.0)
    return as_design(
        wire(survey, CATALOGUE, speakers, previous=Design(), new_key=key_maker(start=1))
    )


def with_one(design: Design, key: str, **change: object) -> list[Speaker]:
    return [replace(s, **change) if s.key == key else s for s in design.speakers]  # type: ignore[arg-type]


def step(speaker: Speaker, x: float) -> tuple[float, float]:
    return (round(speaker.position[0] + x, 6), speaker.position[1])


def test_the_floor_has_several_lines(before: Design):
    assert len(before.lines) >= 3


def test_no_edit_changes_nothing(survey: Survey, before: Design):
    result = again(survey, before, before.speakers)
    assert (result.lines, result.amplifiers, result.speakers) == (
        before.lines,
        before.amplifiers,
        before.speakers,
    )
    assert result.notes == ()


def test_a_moved_loudspeaker_has_its_own_line_laid_again_and_no_other(
    survey: Survey, before: Design
):
    line = before.lines[1]
    key = line.speaker_keys[len(line.speaker_keys) // 2]
    moved = with_one(before, key, position=step(before.speaker(key), 0.6))
    result = again(survey, before, moved)
    assert [one.key for one in result.lines] == [one.key for one in before.lines]
    for old, new in zip(before.lines, result.lines, strict=True):
        assert (old == new) == (old.key != line.key)
    changed = result.lines[1]
    assert sorted(changed.speaker_keys) == sorted(line.speaker_keys)
    ends = {run.end_key: run.route[-1] for run in changed.runs}
    assert ends[key] == pytest.approx(step(before.speaker(key), 0.6))
    others = {s.key: s for s in before.speakers if s.line_key != line.key}
    assert all(others[s.key] == s for s in result.speakers if s.key in others)
    assert "1 of" in result.notes[0]


def test_the_changed_line_is_the_best_chain_of_its_members_as_in_a_new_design(
    survey: Survey, before: Design
):
    line = before.lines[0]
    key = line.speaker_keys[-1]
    moved = with_one(before, key, position=step(before.speaker(key), 0.6))
    result = again(survey, before, moved)
    assert "proven the shortest chain" in result.lines[0].route_note
    twice = again(survey, before, moved)
    assert twice.lines == result.lines
    assert twice.amplifiers == result.amplifiers


def test_a_higher_tap_keeps_load_and_loss_within_their_limits(survey: Survey, before: Design):
    key = before.lines[0].speaker_keys[0]
    tap = CATALOGUE.speaker(before.speaker(key).type_id).taps_at(survey.site.line_voltage_v)[-1]
    result = again(survey, before, with_one(before, key, tap=tap))
    degc = survey.limits["conductor_degc"]
    for line in result.lines:
        state = evaluate_line(line, result.speakers, CATALOGUE, conductor_degc=degc)
        assert state.worst_loss_db <= survey.limits["line_loss_warn_db"] + 1e-9


def test_a_removed_and_a_new_loudspeaker(survey: Survey, before: Design):
    gone = before.lines[0].speaker_keys[0]
    near = before.speaker(before.lines[2].speaker_keys[0])
    fresh = replace(
        near, key="fresh", label="new", line_key=None, position=step(near, 0.6), tap=near.tap
    )
    left = [speaker for speaker in before.speakers if speaker.key != gone]
    result = again(survey, before, [*left, fresh])
    hung = [key for line in result.lines for key in line.speaker_keys]
    assert sorted(hung) == sorted([*(s.key for s in left), "fresh"])
    assert len({run.key for line in result.lines for run in line.runs}) == len(hung)
    assert result.lines[1] == before.lines[1]


def test_what_no_line_can_take_has_the_group_wired_anew(survey: Survey, before: Design):
    near = before.speaker(before.lines[0].speaker_keys[0])
    many = [
        replace(near, key=f"f{n}", label="new", line_key=None, position=step(near, 0.6 + 0.01 * n))
        for n in range(40)
    ]
    speakers = [*before.speakers, *many]
    result = again(survey, before, speakers)
    anew = wire(
        survey,
        CATALOGUE,
        speakers,
        previous=replace(before, speakers=tuple(speakers)),
        new_key=key_maker(start=9000),
    )
    assert result.lines == anew.lines


def test_a_line_that_went_renumbers_the_later_ones_with_their_runs(survey: Survey, before: Design):
    gone = set(before.lines[0].speaker_keys)
    left = [speaker for speaker in before.speakers if speaker.key not in gone]
    result = again(survey, before, left)
    assert [line.key for line in result.lines] == [line.key for line in before.lines[1:]]
    for number, line in enumerate(result.lines, 1):
        assert line.label == f"L{number}"
        assert all(run.label.startswith(f"L{number}-") for run in line.runs)
    labels = {speaker.key: speaker.label for speaker in result.speakers}
    assert labels[result.lines[0].speaker_keys[0]] == "L1-01"


def test_an_order_fixed_by_hand_is_laid_in_that_order(survey: Survey, before: Design):
    line = before.lines[1]
    wanted = tuple(reversed(line.speaker_keys))
    lines = tuple(
        replace(one, speaker_keys=wanted) if one.key == line.key else one for one in before.lines
    )
    speakers = [
        replace(one, fixed_order=True) if one.key in wanted else one for one in before.speakers
    ]
    result = again(survey, before, speakers, lines=lines)
    assert result.lines[1].speaker_keys == wanted
    assert result.lines[0] == before.lines[0]


def test_zones_on_one_floor_do_not_take_each_others_lines(survey: Survey):
    rooms = [room.key for room in survey.rooms]
    zones = (
        Zone(key="a", label="A", room_keys=tuple(rooms[:3]), has_volume_control=True),
        Zone(key="b", label="B", room_keys=tuple(rooms[3:])),
    )
    floor = replace(survey, zones=zones)
    speakers = speakers_in(floor, 4, tap_w=3.0)
    first = as_design(
        wire(floor, CATALOGUE, speakers, previous=Design(), new_key=key_maker(start=1))
    )
    key = first.lines[0].speaker_keys[1]
    result = again(floor, first, with_one(first, key, position=step(first.speaker(key), 0.6)))
    assert [line.key for line in result.lines] == [line.key for line in first.lines]
    assert [line.joints for line in result.lines] == [line.joints for line in first.lines]
    assert result.lines[1] == first.lines[1]
    # a tap that asks for a larger control has all lines of the zone wired anew
    more = [replace(s, tap=replace(s.tap, power_w=12.0)) for s in first.speakers]
    larger = again(floor, first, more)
    assert larger.lines[0].joints[0].rated_power_w != first.lines[0].joints[0].rated_power_w


def test_the_edit_of_a_current_design_keeps_lines_and_that_of_an_older_survey_does_not(
    survey: Survey, before: Design
):
    key = before.lines[0].speaker_keys[0]
    edit = HandEdit(kind="tap", target_key=key, value="6 W")
    current = Job(
        survey=survey, catalogue=CATALOGUE, design=replace(before, job_hash="a"), job_hash="a"
    )
    kept = edited_design(current, [edit])
    assert kept.lines[1:] == before.lines[1:]
    assert "laid again after an edit" in kept.wiring_notes[0]
    older = replace(current, job_hash="b")
    assert not any("laid again" in note for note in edited_design(older, [edit]).wiring_notes)
