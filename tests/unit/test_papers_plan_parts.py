"""Rooms cut into sheets: as few as can be read, whole, and never through a loudspeaker."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from papers_sample import sample_job
from soffit.papers.plan import plan_sheets
from soffit.papers.plan_drawing import inside
from soffit.papers.plan_key import label_ranges
from soffit.papers.plan_parts import (
    LEAST_SPACING_MM,
    LEAST_TILE_MM,
    cut_room,
    largest_scale,
    nearest_m,
    tile_m,
)

SHEET_MM = (180.0, 150.0)


JOB = sample_job(hall=(20, 10))


@pytest.fixture(scope="module")
def hall():
    return JOB.rooms[0], JOB.in_room(JOB.rooms[0].key)


@settings(max_examples=40)
@given(
    wide=st.floats(60.0, 300.0),
    tall=st.floats(60.0, 300.0),
    most=st.floats(40.0, 400.0),
    imperial=st.booleans(),
)
def test_every_speaker_lies_in_one_part_and_every_part_fits(wide, tall, most, imperial):
    room = JOB.rooms[0]
    speakers = JOB.in_room(room.key)
    scale, parts = cut_room(room, speakers, (wide, tall), most=most, imperial=imperial)
    left, low = (min(p[axis] for p in room.outline) for axis in (0, 1))
    right, high = (max(p[axis] for p in room.outline) for axis in (0, 1))
    assert scale <= max(most, 12)
    for item in speakers:
        assert sum(inside(item.position, part.window) for part in parts) == 1
    for part in parts:
        x = min(part.window[2], right) - max(part.window[0], left)
        y = min(part.window[3], high) - max(part.window[1], low)
        assert x * 1e3 / scale <= wide + 0.1  # cuts are rounded to a millimetre of the room
        assert y * 1e3 / scale <= tall + 0.1
    assert len({part.letter for part in parts}) == len(parts)


def test_cuts_run_between_tiles_and_clear_of_loudspeakers(hall):
    room, speakers = hall
    grid = room.ceilings[0].grid
    _, parts = cut_room(room, speakers, SHEET_MM, most=largest_scale(*hall), imperial=True)
    cuts = {part.window[0] for part in parts if part.column} | {0.0}
    for x in cuts - {0.0}:
        steps = (x - grid.origin[0]) / grid.pitch_x_m
        assert steps == pytest.approx(round(steps), abs=2e-3)
        assert all(abs(item.position[0] - x) >= 0.25 for item in speakers)


def test_the_scale_keeps_tiles_and_spacing_legible(hall):
    room, speakers = hall
    most = largest_scale(room, speakers)
    assert 1e3 * tile_m(room, speakers) / most >= LEAST_TILE_MM - 1e-9
    assert 1e3 * nearest_m(speakers) / most >= LEAST_SPACING_MM - 1e-9


def test_two_loudspeakers_too_close_do_not_cut_a_room_of_thirty(hall):
    _, speakers = hall
    few = speakers[:30]
    x, y = few[0].position
    close = (replace(few[0], key="twin", position=(x + 0.1, y)), *few)
    assert nearest_m(close) == pytest.approx(nearest_m(few))


def test_two_loudspeakers_on_one_spot_do_not_cut_a_room_of_six(hall):
    _, speakers = hall
    few = speakers[:6]
    x, y = few[0].position
    twin = (replace(few[0], key="twin", position=(x + 0.3, y + 0.2)), *few)
    assert nearest_m(twin) == pytest.approx(nearest_m(few))


def test_a_small_room_and_an_empty_one_stay_on_one_sheet(hall):
    job = sample_job()
    for room in job.rooms:
        assert len(plan_sheets(room, job.in_room(room.key), job.title, number="P-01")) == 1
    assert len(plan_sheets(hall[0], (), job.title, number="P-01")) == 1


def test_labels_are_named_in_ranges(hall):
    _, speakers = hall
    assert label_ranges(speakers[:1]) == speakers[0].label
    assert label_ranges(speakers[:2]) == f"{speakers[0].label}, {speakers[1].label}"
    assert label_ranges(speakers[:9]) == f"{speakers[0].label} to {speakers[8].label}"
    assert label_ranges([]) == ""
