"""The story corner of the invented library: its subwoofer chosen, against the one put by hand."""

import re
from pathlib import Path

import numpy as np
import pytest

from soffit.design.subs_job import RoomSubs, placed_subs, plan_room_subs
from soffit.evaluate.sound import sound_state
from soffit.job.api import read_job
from soffit.model.decisions import Job
from soffit.model.speakers import Speaker
from soffit.work.demo import make_demo

FEET_M = 0.3048


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    folder: Path = tmp_path_factory.mktemp("subs") / "library"
    make_demo("library", folder)
    return read_job(folder)


def story(job: Job, **options: object) -> RoomSubs:
    voltage = job.survey.site.line_voltage_v
    mains = job.catalogue.speaker("ceiling-6")
    tap = mains.taps_at(voltage)[2]
    speakers = tuple(
        Speaker(
            key=f"s{n}",
            label=f"S-{n}",
            room_key="story",
            ceiling_key="grid",
            type_id="ceiling-6",
            position=(x * FEET_M, y * FEET_M),
            mount_height_m=9 * FEET_M,
            tap=tap,
        )
        for n, (x, y) in enumerate(((4, 42.5), (14, 42.5), (4, 50.5), (14, 50.5)))
    )
    sound = sound_state(job.survey, job.catalogue, speakers).room("story")
    return plan_room_subs(
        job.survey,
        job.catalogue,
        room_key="story",
        type_id="ceiling-sub",
        speakers=speakers,
        sound=sound,
        **options,  # type: ignore[arg-type]
    )


@pytest.fixture(scope="module")
def plan(job: Job) -> RoomSubs:
    return story(job)


def test_the_recommended_tile_is_free_and_evener_than_the_one_placed_by_hand(plan: RoomSubs):
    design = plan.design
    assert design is not None
    by_hand = next(o for o in design.options if o.words == "as placed by hand")
    one = design.options[0]
    assert by_hand.spread_db - one.spread_db > 0.5
    assert one.support_db > by_hand.support_db
    assert one.places[0].tile is not None
    assert one.is_proven
    assert one.spread_db >= design.tiles.best_db - 1e-6
    assert design.chosen in design.options[:4]
    for row in design.rows:
        assert row.before_spread_db is not None


def test_the_papers_get_maps_in_metres_over_the_whole_room(plan: RoomSubs):
    design = plan.design
    assert design is not None
    low_map = design.low_map
    assert low_map.x_m[0] < 0.2
    assert low_map.x_m[-1] > 21.5 * FEET_M
    assert low_map.y_m[0] < 39.0 * FEET_M
    assert low_map.y_m[-1] > 56.0 * FEET_M
    assert low_map.level_db.shape == (len(design.bands), low_map.y_m.size, low_map.x_m.size)
    assert np.isfinite(low_map.level_db).all()  # a plain rectangle: no point lies outside
    assert low_map.ear_height_m == pytest.approx(3 * FEET_M)


def test_findings_say_what_it_is_worth_and_how_to_move_it(plan: RoomSubs):
    codes = {finding.code for finding in plan.findings}
    assert {"SUB-01", "SUB-02", "SUB-03", "SUB-04", "SUB-06", "SUB-08", "SUB-09"} <= codes
    move = next(f for f in plan.findings if f.code == "SUB-09")
    assert move.mends[0].target_key == "sub1"
    assert re.fullmatch(r"-?\d+,-?\d+", move.mends[0].value)
    assert not any(finding.severity == "stop" for finding in plan.findings)
    assert len(plan.steps) >= 5


def test_a_room_whose_sound_is_unknown_is_a_named_finding(job: Job):
    plan = plan_room_subs(
        job.survey,
        job.catalogue,
        room_key="story",
        type_id="ceiling-sub",
        speakers=(),
        sound=None,
    )
    assert plan.design is None
    assert [finding.code for finding in plan.findings] == ["SUB-10"]
    assert "reverberation" in plan.findings[0].what


def test_a_type_without_low_frequency_data_is_a_named_finding(job: Job):
    plan = plan_room_subs(
        job.survey,
        job.catalogue,
        room_key="story",
        type_id="ceiling-4",
        speakers=(),
        sound=None,
    )
    assert plan.design is None
    assert "no low-frequency data" in plan.findings[0].what


def test_what_was_chosen_can_be_written_into_the_job(job: Job, plan: RoomSubs):
    assert plan.design is not None
    keys = [f"low{n}" for n in range(len(plan.design.chosen.places))]
    placed = placed_subs(plan, keys=keys)
    assert [item.key for item in placed] == keys
    assert {item.type_id for item in placed} == {"ceiling-sub"}
    taps = job.catalogue.speaker("ceiling-sub").taps_at(job.survey.site.line_voltage_v)
    assert all(item.tap_w in {tap.power_w for tap in taps} for item in placed)
