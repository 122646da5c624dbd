"""Ceilings: edges, shapes and every refusal; speakers held against them."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from soffit.ceiling.fit import flange_overlap_m, sprinkler_clearance_m, void_at_m
from soffit.ceiling.members import joist_distance_m, joist_lines
from soffit.ceiling.naming import DoorPoint, place_from_walls, tile_text, wall_names
from soffit.ceiling.plane import first_wall
from soffit.ceiling.structure import (
    grid_capacity_kg,
    is_heavy_seismic,
    safety_breaking_load_n,
    safety_wire_length_m,
    seismic_support,
    surface_load_kg_m2,
    uniform_load_kg_m,
)
from soffit.ceiling.tiles import GridLines, blocked, ceiling_polygon, obstacle_distances_m, tiles
from soffit.errors import DomainError
from soffit.evaluate.ceiling import (
    clearance_m,
    evaluate_ceiling,
    safety_wire_part,
    support_part,
    tile_field,
    type_void_need_m,
)
from soffit.evaluate.ceiling_move import nearest_good_place
from soffit.job.catalogue import load_demo_catalogue
from soffit.model.decisions import Job
from soffit_checked_job import (
    all_of_type,
    clean_job,
    obstacle,
    tile_centre,
    with_ceiling,
    with_grid,
    with_site,
    with_speaker,
    with_survey,
)

ROOM = ((0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0))
GRID = GridLines(origin=(0.3, 0.3), pitch_x_m=0.6, pitch_y_m=0.6)
CATALOGUE = load_demo_catalogue()


def fit_of(job: Job, key: str = "s1") -> Any:
    return evaluate_ceiling(job.survey, job.design.speakers, job.catalogue).speaker(key)


# ------------------------------------------------------------------------------------- tiles
def test_border_tiles_are_cut_and_usable_only_when_allowed() -> None:
    field = tiles(ROOM, grid=GRID)
    assert len(field) == 11 * 8
    assert int(field.is_full.sum()) == 9 * 6
    assert np.array_equal(field.is_full, field.is_usable)
    allowed = tiles(ROOM, grid=GRID, border_usable=True)
    # the strips at the walls are half a tile wide, the top one a sixth; corners less than half
    half = allowed.is_usable & ~allowed.is_full
    assert np.all(allowed.area_share[half] >= 0.5)
    assert 0 < int(half.sum()) < len(field) - int(field.is_full.sum())
    corner = allowed.index(-1, -1)
    assert corner is not None
    assert allowed.centre_m[corner] == pytest.approx((0.15, 0.15))
    assert allowed.clear_radius_m[corner] == pytest.approx(0.15 - 0.012)


def test_a_column_and_a_region_cut_tiles() -> None:
    column = ((3.0, 2.0), (3.2, 2.0), (3.2, 2.2), (3.0, 2.2))
    field = tiles(ROOM, grid=GRID, holes=[column])
    index = field.index(*field.tile_at((3.1, 2.1)))
    assert index is not None
    assert not field.is_full[index]
    west = tiles(ROOM, grid=GRID, region=((0, 0), (3.0, 0), (3.0, 4.0), (0, 4.0)))
    assert float(west.centre_m[west.is_full][:, 0].max()) < 3.0
    assert field.index(99, 99) is None


def test_tiles_of_a_grid_that_lies_elsewhere_are_none() -> None:
    field = tiles(ROOM, grid=replace(GRID, origin=(1000.3, 1000.3)))
    assert int(field.is_full.sum()) == 9 * 6  # a grid has no end
    assert blocked(field, outlines=[], clearance_m=[], takes_tile=[], radius_m=0.1).sum() == 0
    assert obstacle_distances_m([(1.0, 1.0)], outlines=[]).shape == (1, 0)


def test_a_light_takes_its_tiles_and_a_pipe_above_does_not() -> None:
    field = tiles(ROOM, grid=GRID)
    light = ((0.9, 0.9), (2.1, 0.9), (2.1, 1.5), (0.9, 1.5))
    taken = blocked(field, outlines=[light], clearance_m=0.0, takes_tile=True, radius_m=0.01)
    assert int(taken.sum()) == 2
    free = blocked(field, outlines=[light], clearance_m=0.0, takes_tile=False, radius_m=0.01)
    assert int(free.sum()) == 2  # both middles lie under it
    beside = ((2.11, 0.9), (2.2, 0.9), (2.2, 1.5), (2.11, 1.5))
    assert not blocked(
        field, outlines=[beside], clearance_m=0.0, takes_tile=False, radius_m=0.1
    ).any()


BOW_TIE = ((0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 2.0))

REFUSED: dict[str, Callable[[], object]] = {
    "pitch 0": lambda: GridLines(origin=(0, 0), pitch_x_m=0.0, pitch_y_m=0.6),
    "pitch negative": lambda: GridLines(origin=(0, 0), pitch_x_m=0.6, pitch_y_m=-0.6),
    "pitch nan": lambda: GridLines(origin=(0, 0), pitch_x_m=math.nan, pitch_y_m=0.6),
    "tee wider than tile": lambda: GridLines(
        origin=(0, 0), pitch_x_m=0.6, pitch_y_m=0.6, tee_width_m=0.7
    ),
    "millimetres for metres": lambda: tiles(
        ((0, 0), (6000, 0), (6000, 4000), (0, 4000)),
        grid=replace(GRID, pitch_x_m=0.6, pitch_y_m=0.6),
    ),
    "outline crosses itself": lambda: tiles(BOW_TIE, grid=GRID),
    "nothing left": lambda: ceiling_polygon(ROOM, holes=[ROOM]),
    "ray without direction": lambda: first_wall((1, 1), direction=(0, 0), rings=[ROOM]),
    "joists wider than spacing": lambda: joist_distance_m(
        [(0, 0)], offset=(0, 0), angle_rad=0.0, spacing_m=0.05, width_m=0.06
    ),
    "joists without spacing": lambda: joist_lines(
        ROOM, offset=(0, 0), angle_rad=0.0, spacing_m=0.0
    ),
    "joists by the million": lambda: joist_lines(
        ROOM, offset=(0, 0), angle_rad=0.0, spacing_m=1e-6
    ),
    "sprinkler of negative size": lambda: sprinkler_clearance_m(-0.1),
    "sprinkler without factor": lambda: sprinkler_clearance_m(0.1, factor=0.0),
    "span 0": lambda: grid_capacity_kg(
        load_class="heavy", span_m=0.0, tile_mass_kg_m2=4.0, runner_spacing_m=1.2
    ),
    "no runner": lambda: grid_capacity_kg(
        load_class="heavy", span_m=1.2, tile_mass_kg_m2=4.0, runner_spacing_m=1.2, runners=0
    ),
    "fixture without mass": lambda: seismic_support(0.0),
    "factor under 1": lambda: safety_breaking_load_n(mass_kg=5.0, factor=0.5),
    "structure under the ceiling": lambda: safety_wire_length_m(to_structure_m=-0.1, slack_m=0.1),
    "ceiling without area": lambda: surface_load_kg_m2(
        tile_mass_kg_m2=4.0, units_mass_kg=1.0, area_m2=0.0
    ),
}


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_what_cannot_be_is_refused_in_four_parts(name: str) -> None:
    with pytest.raises(DomainError) as caught:
        REFUSED[name]()
    problem = caught.value.problems[0]
    assert problem.what
    assert problem.where
    assert problem.why
    assert problem.do


# ------------------------------------------------------------------------------------ naming
def test_walls_are_named_by_survey_door_sides_and_compass() -> None:
    door = DoorPoint(position=(3.0, 0.0))
    assert wall_names(ROOM, doors=[door]) == ("door wall", "right wall", "far wall", "left wall")
    assert wall_names(ROOM, given=("", "window wall"), doors=[door])[1] == "window wall"
    assert wall_names(ROOM) == ("south wall", "east wall", "north wall", "west wall")
    turned = wall_names(ROOM, north_angle_rad=0.0)
    assert turned == ("east wall", "north wall", "west wall", "south wall")
    named = wall_names(ROOM, doors=[DoorPoint(position=(3.0, 4.0), label="kitchen")])
    assert named[2] == "kitchen wall"
    clockwise = tuple(reversed(ROOM))
    names = wall_names(clockwise, doors=[door])
    assert sorted(names) == ["door wall", "far wall", "left wall", "right wall"]
    assert names[2] == "door wall"


def test_walls_of_the_same_side_are_told_apart() -> None:
    bent = ((0, 0), (6, 0), (6, 2), (4, 2), (4, 4), (0, 4))
    names = wall_names(bent, doors=[DoorPoint(position=(0.0, 2.0))])
    assert len(set(names)) == 6
    assert {"right wall", "far wall", "2nd far wall"} <= set(names)


def test_a_cut_tile_is_said_to_be_cut_and_columns_are_a_last_resort() -> None:
    field = tiles(ROOM, grid=GRID)
    names = wall_names(ROOM)
    at_wall = place_from_walls((0.15, 1.2), rings=[ROOM], names=names, field=field)
    assert tile_text(at_wall, is_full=False).startswith("cut tile at the west wall")
    assert tile_text(()) == "no wall near by to count from"
    column = ((2.7, 1.5), (2.9, 1.5), (2.9, 1.7), (2.7, 1.7))
    near = place_from_walls((3.2, 1.6), rings=[ROOM, column], names=names, field=field)
    assert "column" not in {place.wall for place in near}


def test_without_a_grid_distances_are_given() -> None:
    places = place_from_walls((1.0, 1.5), rings=[ROOM], names=wall_names(ROOM))
    assert [(place.wall, place.distance_m) for place in places] == [
        ("west wall", pytest.approx(1.0)),
        ("south wall", pytest.approx(1.5)),
    ]
    assert first_wall((10.0, 10.0), direction=(1.0, 0.0), rings=[ROOM]) is None


# ------------------------------------------------------------------------------ fit and weight
def test_void_figures_in_order_of_trust() -> None:
    rule = {"reach_m": 1.2}
    assert void_at_m((0, 0), void_depth_m=None, **rule) is None
    assert void_at_m((0, 0), void_depth_m=0.4, **rule) == 0.4
    assert void_at_m((0, 0), void_depth_m=0.4, survey_m=[(5, 5, 0.1)], **rule) == 0.4
    assert void_at_m((0, 0), void_depth_m=None, survey_m=[(5, 5, 0.1)], **rule) == 0.1
    assert void_at_m((0, 0), void_depth_m=0.4, survey_m=[(1, 0, 0.2), (0, 1, 0.3)], **rule) == 0.2


def test_classes_categories_and_overlap() -> None:
    assert uniform_load_kg_m("unknown") == uniform_load_kg_m("light")
    assert [is_heavy_seismic(text) for text in ("", "A", "c", "D", " e ", "F2")] == [
        False, False, False, True, True, True,
    ]  # fmt: skip
    assert flange_overlap_m(cutout_diameter_m=0.2, flange_diameter_m=0.22) == pytest.approx(0.01)
    heavy = grid_capacity_kg(
        load_class="heavy", span_m=1.2, tile_mass_kg_m2=50.0, runner_spacing_m=1.2
    )
    assert heavy == 0.0


def test_rails_must_span_the_pitch_and_carry_the_unit() -> None:
    metric = clean_job().survey.ceiling("r", "c")
    entry = CATALOGUE.speaker("ceiling-6")
    part = support_part(CATALOGUE, entry, metric)
    assert part is not None
    assert part.id == "rails-600"
    assert metric.grid is not None
    inch = replace(metric, grid=replace(metric.grid, pitch_x_m=0.6096, pitch_y_m=0.6096))
    part = support_part(CATALOGUE, entry, inch)
    assert part is not None
    assert part.id == "rails-24"
    assert support_part(CATALOGUE, replace(entry, mass_kg=40.0), metric) is None
    odd = replace(metric, grid=replace(metric.grid, pitch_x_m=0.5, pitch_y_m=0.5))
    assert support_part(CATALOGUE, entry, odd) is None


def test_a_closed_board_asks_for_a_frame_because_it_has_no_tees() -> None:
    board = replace(clean_job().survey.ceiling("r", "c"), kind="plasterboard", grid=None)
    for type_id in ("ceiling-4", "ceiling-6"):
        part = support_part(CATALOGUE, CATALOGUE.speaker(type_id), board)
        assert part is not None
        assert part.kind == "frame"
    heavy = replace(CATALOGUE.speaker("ceiling-6"), mass_kg=40.0)
    assert support_part(CATALOGUE, heavy, board) is None


def test_the_wires_of_a_suspension_reach_from_the_structure_to_the_unit() -> None:
    # A pendant 0.3 m high with its face at 3.5 m under a 7.3 m roof hangs 3.5 m below it: 3 m
    # wires do not reach.
    roof = replace(clean_job().survey.ceiling("r", "c"), kind="open", grid=None)
    pendant = CATALOGUE.speaker("pendant-6")
    near = support_part(CATALOGUE, pendant, roof, drop_m=3.2)
    far = support_part(CATALOGUE, pendant, roof, drop_m=3.8)
    assert near is not None
    assert far is not None
    assert (near.length_m, far.length_m) == (3.0, 6.0)
    assert support_part(CATALOGUE, pendant, roof, drop_m=9.0) is None


def test_the_safety_wire_is_the_shortest_that_is_long_and_strong_enough() -> None:
    limits = clean_job().survey.limits
    entry = CATALOGUE.speaker("ceiling-6")
    for length, wanted in ((0.8, "wire-1m"), (1.5, "wire-2m"), (2.5, "wire-3m"), (None, "wire-1m")):
        part = safety_wire_part(CATALOGUE, entry, length, limits)
        assert part is not None
        assert part.id == wanted
    assert safety_wire_part(CATALOGUE, entry, 8.0, limits) is None
    heavy = replace(entry, mass_kg=20.0)  # 20 kg at 10:1 on a label of 5:1 asks 40 kg
    part = safety_wire_part(CATALOGUE, heavy, 1.0, limits)
    assert part is not None
    assert part.id == "wire-3m"


def test_a_hanging_unit_asks_for_no_void_and_more_of_a_sprinkler() -> None:
    limits = clean_job().survey.limits
    pendant, flush = CATALOGUE.speaker("pendant-6"), CATALOGUE.speaker("ceiling-6")
    assert type_void_need_m(pendant, limits) == 0.0
    assert type_void_need_m(flush, limits) > 0.2
    head = obstacle("sprinkler", 1.0, 1.0)
    assert clearance_m(head, flush, limits)[0] == pytest.approx(0.15)
    needed, source, is_rule = clearance_m(head, pendant, limits)
    assert needed == pytest.approx(0.6096)  # three times 12 in, capped at 24 in
    assert is_rule
    assert "NFPA 13" in source
    own = replace(head, clearance_m=0.9)
    assert clearance_m(own, pendant, limits) == (0.9, "the survey", False)
    assert clearance_m(obstacle("pipe", 1, 1), flush, limits)[0] == pytest.approx(0.05)


# -------------------------------------------------------------------------------- evaluation
def test_a_clean_speaker() -> None:
    fit = fit_of(clean_job())
    assert fit.is_inside
    assert fit.tile_is_full
    assert fit.off_centre_m == pytest.approx(0.0, abs=1e-9)
    assert fit.hole_gap_m == pytest.approx(0.3 - 0.012 - 8.5 * 0.0254 / 2)
    assert fit.void_have_m == pytest.approx(0.5)
    assert fit.void_by == "the surveyed void"
    assert fit.safety_length_m == pytest.approx(0.8 + 0.15)
    assert fit.place_text == "3rd full tile from the left wall, 3rd from the door wall"
    assert fit.nearest_unit_label == "L1-04"
    assert fit.seismic is None


def test_structure_and_points_limit_the_void() -> None:
    low = with_ceiling(clean_job(), structure_height_m=3.3)
    assert fit_of(low).void_by == "the structure"
    assert fit_of(low).void_have_m == pytest.approx(0.3)
    points = with_ceiling(clean_job(), void_points=((1.5, 1.5, 0.12),))
    assert fit_of(points).void_have_m == pytest.approx(0.12)
    assert fit_of(points, "s3").void_have_m == pytest.approx(0.5)


def test_a_slope_changes_height_and_void() -> None:
    job = with_ceiling(
        clean_job(), slope_ratio=0.1, slope_angle_rad=0.0, slope_at=(1.5, 0.0), void_depth_m=None
    )
    assert fit_of(job).ceiling_height_m == pytest.approx(3.0)
    assert fit_of(job, "s2").ceiling_height_m == pytest.approx(3.0 + 0.1 * 3.6)
    assert fit_of(job, "s2").void_have_m == pytest.approx(3.8 - 3.36)


def test_an_obstacle_below_or_far_above_does_not_count() -> None:
    x, y = tile_centre(2, 2)
    table = obstacle("other", x, y, 0.5, bottom_m=0.0, top_m=0.8)
    duct = obstacle("duct", x, y, 0.5, bottom_m=3.7, top_m=3.75)
    fit = fit_of(with_survey(clean_job(), obstacles=(table, duct)))
    assert fit.neighbours == ()
    assert fit.void_have_m == pytest.approx(0.5)


def test_seismic_support_only_in_a_grid_and_a_heavy_category() -> None:
    assert fit_of(with_site(clean_job(), seismic_category="C")).seismic is None
    assert fit_of(with_site(clean_job(), seismic_category="D")).seismic.wires == 1
    board = with_ceiling(clean_job(), kind="plasterboard", grid=None)
    fit = fit_of(with_site(board, seismic_category="D"))
    assert fit.seismic is None
    assert fit.grid_capacity_kg is None
    assert fit.place_text == ""
    assert fit.hole_gap_m is None


def test_an_empty_job_and_loads() -> None:
    job = clean_job()
    state = evaluate_ceiling(job.survey, (), job.catalogue)
    assert state.speakers == ()
    (load,) = state.ceilings
    assert load.area_m2 == pytest.approx(43.2)
    assert load.load_kg_m2 == pytest.approx(4.0)
    assert (load.full_tiles, load.usable_tiles) == (120, 120)
    with pytest.raises(KeyError):
        state.speaker("s1")


def test_a_better_place_is_the_nearest_one_and_is_good() -> None:
    light = obstacle("light", 1.5, 1.5, 0.6)
    job = with_survey(clean_job(), obstacles=(light,))
    speaker = job.design.speaker("s1")
    move = nearest_good_place(job.survey, job.catalogue, speaker, job.design.speakers)
    assert move is not None
    assert move.tile is not None
    assert move.distance_m == pytest.approx(0.6)
    assert move.value() in {"1,2", "3,2", "2,1", "2,3"}
    assert "full tile" in move.text
    moved = with_speaker(job, position=move.position, tile=move.tile)
    assert not any(near.is_short for near in fit_of(moved).neighbours)


def test_a_better_place_without_a_grid_is_given_in_metres() -> None:
    board = with_ceiling(clean_job(), kind="plasterboard", grid=None)
    job = with_survey(board, obstacles=(obstacle("light", 1.5, 1.5, 0.3),))
    speaker = job.design.speaker("s1")
    move = nearest_good_place(job.survey, job.catalogue, speaker, job.design.speakers)
    assert move is not None
    assert move.tile is None
    x, y = (float(part) for part in move.value().split())
    assert math.hypot(x - 1.5, y - 1.5) == pytest.approx(move.distance_m, abs=1e-3)


def test_there_may_be_no_better_place() -> None:
    shallow = with_ceiling(clean_job(), void_depth_m=0.1)
    speaker = shallow.design.speaker("s1")
    arguments = (shallow.survey, shallow.catalogue, speaker, shallow.design.speakers)
    assert nearest_good_place(*arguments) is None
    sub = all_of_type(with_grid(clean_job(), pitch_x_m=0.3, pitch_y_m=0.3), "ceiling-sub")
    speaker = sub.design.speaker("s1")
    assert nearest_good_place(sub.survey, sub.catalogue, speaker, sub.design.speakers) is None


def test_tile_field_is_none_without_a_grid() -> None:
    board = with_ceiling(clean_job(), kind="plasterboard", grid=None)
    assert tile_field(board.survey.room("r"), board.survey.ceiling("r", "c")) is None
