"""Laws of ceilings: more room never hurts, and geometry does not care where the plan lies."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.ceiling.fit import void_at_m, void_need_m
from soffit.ceiling.members import joist_distance_m, tee_lines
from soffit.ceiling.naming import ordinal, place_from_walls, wall_names
from soffit.ceiling.plane import down_vector, height_at_m, local_xy, plan_xy
from soffit.ceiling.structure import grid_capacity_kg
from soffit.ceiling.tiles import GridLines, TileField, blocked, obstacle_distances_m, tiles
from soffit.evaluate.ceiling import evaluate_ceiling
from soffit.model.decisions import Job
from soffit_checked_job import (
    clean_job,
    findings_of,
    obstacle,
    with_ceiling,
    with_speaker,
    with_survey,
)

L_SHAPE = ((0.0, 0.0), (7.3, 0.0), (7.3, 3.1), (4.2, 3.1), (4.2, 6.4), (0.0, 6.4))
COLUMN = ((2.0, 2.0), (2.4, 2.0), (2.4, 2.4), (2.0, 2.4))

finite = {"allow_nan": False, "allow_infinity": False}
pitches = st.floats(0.3, 1.3, **finite)
angles = st.floats(-math.pi, math.pi, **finite)
offsets = st.floats(-3.0, 3.0, **finite)


def turned(points: tuple[tuple[float, float], ...], angle: float) -> list[tuple[float, float]]:
    plan = plan_xy(points, origin=(0.0, 0.0), angle_rad=angle)
    return [(float(x), float(y)) for x, y in plan]


def field_of(angle: float = 0.0, turn: float = 0.0, **grid: float) -> TileField:
    values = {"pitch_x_m": 0.6, "pitch_y_m": 0.6, "tee_width_m": 0.024} | grid
    origin = turned(((0.1, 0.2),), turn)[0]
    lines = GridLines(origin=origin, angle_rad=angle + turn, **values)
    return tiles(turned(L_SHAPE, turn), grid=lines, holes=[turned(COLUMN, turn)])


@given(px=pitches, py=pitches, angle=angles)
@settings(max_examples=40, deadline=None)
def test_tile_areas_add_up_to_the_ceiling(px: float, py: float, angle: float) -> None:
    field = field_of(angle, pitch_x_m=px, pitch_y_m=py)
    area = float(field.area_share.sum()) * px * py
    whole = shapely.Polygon(L_SHAPE, [COLUMN]).area
    assert area <= whole + 1e-6
    # slivers under 2 % of a tile are left out: no more than one a tile along the walls
    assert whole - area < 0.02 * px * py * len(field)


@given(turn=angles)
@settings(max_examples=25, deadline=None)
def test_turning_the_room_turns_the_tiles(turn: float) -> None:
    before, after = field_of(), field_of(turn=turn)
    assert int(before.is_full.sum()) == int(after.is_full.sum())
    middle = plan_xy(before.centre_m[before.is_full], origin=(0.0, 0.0), angle_rad=turn)
    assert np.allclose(middle, after.centre_m[after.is_full], atol=1e-6)


def test_a_full_tile_lies_inside_and_a_hole_of_its_clear_radius_fits() -> None:
    field = field_of(0.3)
    room = shapely.Polygon(L_SHAPE, [COLUMN]).buffer(0.011)  # surveys are good to 10 mm
    for index in np.flatnonzero(field.is_full):
        box = field.outlines()[index]
        assert room.contains(box) or field.area_share[index] > 0.96
        hole = shapely.Point(field.centre_m[index]).buffer(float(field.clear_radius_m[index]))
        assert box.buffer(1e-9).contains(hole)


@given(clearance=st.floats(0.0, 0.5, **finite), radius=st.floats(0.02, 0.2, **finite))
@settings(max_examples=30, deadline=None)
def test_a_larger_clearance_never_frees_a_tile(clearance: float, radius: float) -> None:
    field = field_of()
    rings = [COLUMN, ((5.0, 1.0), (5.3, 1.0), (5.3, 1.3), (5.0, 1.3))]
    tight = blocked(field, outlines=rings, clearance_m=clearance, takes_tile=False, radius_m=radius)
    wide = blocked(
        field, outlines=rings, clearance_m=clearance + 0.1, takes_tile=True, radius_m=radius
    )
    assert not np.any(tight & ~wide)
    near = obstacle_distances_m(field.centre_m, outlines=rings).min(axis=1)
    assert np.array_equal(tight, near < clearance + radius - 1e-9)


@given(x=offsets, y=offsets, angle=angles, ox=offsets, oy=offsets)
@settings(max_examples=50, deadline=None)
def test_plan_to_local_and_back_is_the_identity(
    x: float, y: float, angle: float, ox: float, oy: float
) -> None:
    local = local_xy([(x, y)], origin=(ox, oy), angle_rad=angle)
    back = plan_xy(local, origin=(ox, oy), angle_rad=angle)
    assert np.allclose(back, [(x, y)], atol=1e-9)


@given(
    spacing=st.floats(0.3, 2.4, **finite),
    tile=st.floats(0.0, 12.0, **finite),
    span=st.floats(0.6, 1.5, **finite),
    factor=st.floats(0.3, 1.0, **finite),
)
@settings(max_examples=60, deadline=None)
def test_more_tees_never_lower_the_capacity(
    spacing: float, tile: float, span: float, factor: float
) -> None:
    few = grid_capacity_kg(
        load_class="heavy", span_m=span, tile_mass_kg_m2=tile, runner_spacing_m=spacing
    )
    more = grid_capacity_kg(
        load_class="heavy", span_m=span, tile_mass_kg_m2=tile, runner_spacing_m=spacing * factor
    )
    both = grid_capacity_kg(
        load_class="heavy",
        span_m=span,
        tile_mass_kg_m2=tile,
        runner_spacing_m=spacing,
        runners=2,
    )
    assert more >= few - 1e-9
    assert both >= few


@given(
    depth=st.floats(0.05, 0.4, **finite),
    box=st.floats(0.0, 0.4, **finite),
    bend=st.floats(0.0, 0.1, **finite),
)
@settings(max_examples=40, deadline=None)
def test_a_deeper_unit_never_needs_less_void(depth: float, box: float, bend: float) -> None:
    def need(own: float) -> float:
        return void_need_m(
            depth_m=own, box_depth_m=box, bend_radius_m=bend, margin_m=0.05, extra_ratio=1 / 3
        )

    assert need(depth + 0.01) >= need(depth) > max(depth, box)


@given(st.lists(st.tuples(offsets, offsets, st.floats(0.05, 1.0, **finite)), max_size=5))
@settings(max_examples=40, deadline=None)
def test_one_more_measured_point_within_reach_never_deepens_the_void(
    points: list[tuple[float, float, float]],
) -> None:
    before = void_at_m((0.0, 0.0), void_depth_m=0.4, reach_m=1.2, survey_m=points)
    after = void_at_m(
        (0.0, 0.0), void_depth_m=0.4, reach_m=1.2, survey_m=[*points, (0.1, 0.0, 0.3)]
    )
    assert before is not None
    assert after is not None
    near = [depth for x, y, depth in points if math.hypot(x, y) <= 1.2]
    assert after == pytest.approx(min([0.3, *near]))


@given(y=offsets, spacing=st.floats(0.3, 0.8, **finite), angle=angles)
@settings(max_examples=40, deadline=None)
def test_a_joist_away_is_the_same_place(y: float, spacing: float, angle: float) -> None:
    rule = {"angle_rad": angle, "spacing_m": spacing, "width_m": 0.05, "offset": (0.0, 0.0)}
    across = np.array([-math.sin(angle), math.cos(angle)])
    here, next_bay = y * across, (y + spacing) * across
    first, second = joist_distance_m([here, next_bay], **rule)
    assert first == pytest.approx(second, abs=1e-9)
    assert first <= spacing / 2 - 0.025 + 1e-9


@given(slope=st.floats(0.0, 1.0, **finite), angle=angles)
@settings(max_examples=40, deadline=None)
def test_a_flush_unit_looks_square_to_its_slope(slope: float, angle: float) -> None:
    x, y, z = down_vector(slope_ratio=slope, slope_angle_rad=angle)
    assert math.hypot(x, y, z) == pytest.approx(1.0)
    step = 0.5
    heights = height_at_m(
        [(0.0, 0.0), (step, 0.0), (0.0, step)],
        height_m=3.0,
        slope_ratio=slope,
        slope_angle_rad=angle,
        slope_at=(0.0, 0.0),
    )
    # two vectors in the plane are square to the normal
    assert x * step + z * (heights[1] - heights[0]) == pytest.approx(0.0, abs=1e-12)
    assert y * step + z * (heights[2] - heights[0]) == pytest.approx(0.0, abs=1e-12)


def test_tees_are_a_pitch_apart_and_inside() -> None:
    lines = GridLines(origin=(0.1, 0.2), pitch_x_m=0.6, pitch_y_m=0.3)
    along_x, along_y = tee_lines(L_SHAPE, grid=lines, holes=[COLUMN])
    rows = sorted({round(float(line[0, 1]), 6) for line in along_x})
    assert np.allclose(np.diff(rows), 0.3)
    columns = sorted({round(float(line[0, 0]), 6) for line in along_y})
    assert np.allclose(np.diff(columns), 0.6)
    room = shapely.Polygon(L_SHAPE, [COLUMN]).buffer(1e-6)
    assert all(room.contains(shapely.LineString(line)) for line in (*along_x, *along_y))


@given(column=st.integers(0, 11), row=st.integers(0, 9))
@settings(max_examples=40, deadline=None)
def test_counting_from_a_wall_finds_the_tile_again(column: int, row: int) -> None:
    room = clean_job().survey.room("r")
    field = tiles(room.outline, grid=GridLines(origin=(0.0, 0.0), pitch_x_m=0.6, pitch_y_m=0.6))
    centre = ((column + 0.5) * 0.6, (row + 0.5) * 0.6)
    names = wall_names(room.outline, given=("south", "east", "north", "west"))
    found = {
        place.wall: place.full_tiles
        for place in place_from_walls(centre, rings=[room.outline], names=names, field=field)
    }
    for wall, count in found.items():
        expected = {"west": column + 1, "east": 12 - column, "south": row + 1, "north": 10 - row}
        assert count == expected[wall]
    assert len(found) == 2


def test_ordinals_are_as_people_say_them() -> None:
    assert [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 22, 101, 111)] == [
        "1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "22nd", "101st", "111th",
    ]  # fmt: skip


def clearance_codes(job: Job) -> list[tuple[str, str]]:
    return [
        (finding.code, finding.place)
        for finding in findings_of(job, without_sound=True)
        if finding.code.startswith("CLEAR")
    ]


@given(
    direction=angles,
    start=st.floats(0.05, 0.6, **finite),
    step=st.floats(0.01, 0.5, **finite),
    kind=st.sampled_from(["light", "sprinkler", "air outlet", "detector", "sign", "curtain"]),
)
@settings(max_examples=25, deadline=None)
def test_moving_away_from_every_obstacle_never_adds_a_clearance_finding(
    direction: float, start: float, step: float, kind: str
) -> None:
    away = (math.cos(direction), math.sin(direction))
    job = with_survey(clean_job(), obstacles=(obstacle(kind, 1.5, 1.5, 0.08),))

    def at(distance: float) -> Job:
        position = (1.5 + distance * away[0], 1.5 + distance * away[1])
        return with_speaker(job, position=position)

    near, far = clearance_codes(at(start)), clearance_codes(at(start + step))
    assert len([item for item in far if item[1] == "L1-01"]) <= len(
        [item for item in near if item[1] == "L1-01"]
    )


@given(depth=st.floats(0.02, 0.6, **finite), more=st.floats(0.0, 0.5, **finite))
@settings(max_examples=25, deadline=None)
def test_raising_the_void_never_adds_a_void_finding(depth: float, more: float) -> None:
    def count(void: float) -> int:
        job = with_ceiling(clean_job(), void_depth_m=void, structure_height_m=None)
        state = evaluate_ceiling(job.survey, job.design.speakers, job.catalogue)
        return sum(
            fit.void_have_m is not None and fit.void_have_m < fit.void_need_m
            for fit in state.speakers
        )

    assert count(depth + more) <= count(depth)


def test_raising_the_whole_ceiling_above_a_duct_is_the_same_void() -> None:
    job = with_survey(clean_job(), obstacles=(obstacle("duct", 1.5, 1.5, 0.4, bottom_m=3.15),))
    state = evaluate_ceiling(job.survey, job.design.speakers, job.catalogue)
    assert state.speaker("s1").void_have_m == pytest.approx(0.15)
    assert state.speaker("s1").void_by == "the duct"
    assert state.speaker("s2").void_have_m == pytest.approx(0.5)
    moved = with_speaker(job, position=(4.5, 4.5))
    state = evaluate_ceiling(moved.survey, moved.design.speakers, moved.catalogue)
    assert state.speaker("s1").void_have_m == pytest.approx(0.5)


def test_adding_an_obstacle_never_removes_a_finding() -> None:
    first = with_survey(clean_job(), obstacles=(obstacle("light", 1.75, 1.5),))
    second = with_survey(
        clean_job(),
        obstacles=(obstacle("light", 1.75, 1.5), obstacle("sprinkler", 1.5, 1.8)),
    )
    assert set(clearance_codes(first)) <= set(clearance_codes(second))
    assert replace(first.survey, obstacles=()) == clean_job().survey
