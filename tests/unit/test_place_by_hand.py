"""Speakers that hang by hand: weighed with the watts that they have beside the taps chosen."""

from dataclasses import replace
from pathlib import Path

import pytest

from soffit.design.place import choose_layouts, option_speakers
from soffit.evaluate.sound import room_sound
from soffit.job.api import open_job
from soffit.model.catalogue import Catalogue
from soffit.model.speakers import Speaker
from soffit.model.survey import Brief, PlacedSpeaker
from soffit.tables.settings import DEFAULT_LIMITS
from soffit.work.demo import make_demo
from soffit.work.make_design import decide
from soffit_place_cases import rectangle, room, speaker_type

KIND = speaker_type()
HORN = speaker_type(
    75.0, id="horn", sensitivity_db=(80.0, 88.0, 92.0, 93.0, 93.0, 93.0, 92.0, 90.0)
)
CATALOGUE = Catalogue(speaker_types=(KIND, HORN))


def hung(*taps: tuple[str, float | None]) -> tuple[PlacedSpeaker, ...]:
    places = [(1.5, 1.5), (4.5, 3.9), (8.1, 6.3)]
    return tuple(
        PlacedSpeaker(
            key=f"p{n}",
            room_key="room",
            type_id=type_id,
            position=place,
            tap_w=tap_w,
            mount_height_m=3.0,
        )
        for n, ((type_id, tap_w), place) in enumerate(zip(taps, places, strict=False))
    )


def by_hand(placed: PlacedSpeaker, option) -> Speaker:
    """As it hangs: on its named tap, or on the one nearest to the others' watts."""
    kind = CATALOGUE.speaker(placed.type_id)
    wanted = placed.tap_w if placed.tap_w is not None else option.tap_w
    tap = min(kind.taps, key=lambda item: (abs(item.power_w - wanted), item.power_w))
    return Speaker(
        key=placed.key,
        label=placed.key,
        room_key="room",
        ceiling_key="c",
        type_id=placed.type_id,
        position=placed.position,
        mount_height_m=3.0,
        tap=tap,
    )


@pytest.mark.parametrize(
    "placed",
    [
        hung((KIND.id, 3.0), (KIND.id, 3.0)),
        hung((KIND.id, None)),
        hung(("horn", 12.0), (KIND.id, None)),
        hung(("horn", 1.5)),
    ],
    ids=["named", "free", "a loud one and a free one", "a faint one"],
)
@pytest.mark.parametrize("measure", ["direct 4 kHz", "whole 2 kHz"])
def test_every_alternative_is_what_one_would_hear(placed, measure) -> None:
    made = room(
        rectangle(9.0, 7.2),
        brief=Brief(margin_db=25.0, evenness_measure=measure, evenness_db=3.0),
    )
    found = choose_layouts(
        made, speaker_type=KIND, line_voltage_v=100.0, placed=placed, catalogue=CATALOGUE
    )
    assert found.n_placed == len(placed)
    for option in found.options:
        speakers = (
            *option_speakers(
                made,
                option,
                speaker_type=KIND,
                line_voltage_v=100.0,
                keys=[f"s{n}" for n in range(len(option.positions))],
            ),
            *(by_hand(item, option) for item in placed),
        )
        sound = room_sound(made, CATALOGUE, speakers, limits=DEFAULT_LIMITS, line_voltage_v=100.0)
        whole = sound.evenness["whole 4 kHz" if measure == "direct 4 kHz" else measure]
        assert option.count == len(speakers)
        assert option.spread_db == pytest.approx(sound.evenness[measure].spread_db, abs=5e-3)
        assert option.whole_spread_db == pytest.approx(whole.spread_db, abs=5e-3)
        assert option.watts_w == pytest.approx(sum(s.tap.power_w for s in speakers))


def test_the_others_may_follow_a_named_tap_that_is_louder_than_they_need() -> None:
    made = room(rectangle(9.0, 7.2))
    plain = choose_layouts(made, speaker_type=KIND, line_voltage_v=100.0)
    placed = hung((KIND.id, 3.0), (KIND.id, 3.0))
    found = choose_layouts(made, speaker_type=KIND, line_voltage_v=100.0, placed=placed)
    assert plain.chosen.tap_w == 1.5
    assert found.chosen.tap_w == 3.0
    assert found.chosen.meets_brief
    assert found.chosen.count <= plain.chosen.count + 2


def test_a_speaker_put_by_hand_without_a_tap_gets_that_of_the_others(tmp_path: Path) -> None:
    folder = make_demo("library", tmp_path / "library")
    job = open_job(folder)
    room_key = "meeting"
    x, y = zip(*job.survey.room(room_key).outline, strict=True)
    placed = PlacedSpeaker(
        key="hand", room_key=room_key, type_id="ceiling-6", position=(min(x) + 1.0, min(y) + 1.0)
    )
    survey = replace(job.survey, placed=(*job.survey.placed, placed))
    rooms = tuple(
        replace(item, brief=replace(item.brief, speaker_type="ceiling-6", level_dba=88.0))
        if item.key == room_key
        else item
        for item in survey.rooms
    )
    job = replace(job, survey=replace(survey, rooms=rooms))
    design, _ = decide(job, rooms=[room_key])
    here = [speaker for speaker in design.speakers if speaker.room_key == room_key]
    assert len({speaker.tap.power_w for speaker in here}) == 1
    (chosen,) = [
        option
        for decision in design.rooms
        if decision.room_key == room_key
        for option in decision.options
        if option.mark == "chosen"
    ]
    sound = room_sound(
        job.survey.room(room_key),
        job.catalogue,
        here,
        limits=job.survey.limits,
        line_voltage_v=job.survey.site.line_voltage_v,
    )
    measure = job.survey.room(room_key).brief.evenness_measure
    assert chosen.spread_db == pytest.approx(sound.evenness[measure].spread_db, abs=5e-3)
    assert chosen.watts_w == pytest.approx(sum(speaker.tap.power_w for speaker in here))
