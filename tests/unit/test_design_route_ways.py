"""Ways over ceilings and branched lines: walls, columns, cable ways, tees, reach."""

import math
from dataclasses import replace

import numpy as np
import pytest

from soffit.design.route_graph import find_ways, main_direction_rad
from soffit.design.route_tree import free_tees, spanning_tree, tees_at_speakers
from soffit.errors import NoSolutionError
from soffit.model.survey import CableWay, Room
from soffit.tables.settings import DEFAULT_LIMITS, Limits

ALMOST_FREE_BENDS = Limits((("bend_price_m", 0.001),))


def box(key: str, x: float, y: float, width: float, height: float, *holes) -> Room:
    outline = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    return Room(key=key, label=key, storey_key="g", outline=outline, holes=holes)


def length(ways, one: int, two: int) -> float:
    return ways.way(ways.path(one, int(ways.point_node[two]))).length_m


def test_inside_one_room_the_way_is_rectilinear():
    ways = find_ways([(1, 1), (5, 4)], rooms=[box("a", 0, 0, 8, 6)], limits=DEFAULT_LIMITS)
    assert ways.cost_m[0, 1] == pytest.approx(7.0 + DEFAULT_LIMITS["bend_price_m"])
    way = ways.way(ways.path(0, int(ways.point_node[1])))
    assert way.length_m == pytest.approx(7.0)
    assert way.penetrations == 0
    assert way.corners[0] == (1.0, 1.0)
    assert way.corners[-1] == (5.0, 4.0)
    assert len(way.corners) == 3


@pytest.mark.parametrize("gap", [0.0, 0.2])
def test_a_wall_between_two_rooms_counts_once_whether_thick_or_thin(gap):
    rooms = [box("a", 0, 0, 8, 6), box("b", 8 + gap, 0, 8, 6)]
    ways = find_ways([(6, 3), (10, 3)], rooms=rooms, limits=DEFAULT_LIMITS)
    way = ways.way(ways.path(0, int(ways.point_node[1])))
    assert way.length_m == pytest.approx(4.0)
    assert way.penetrations == 1
    assert ways.cost_m[0, 1] == pytest.approx(4.0 + DEFAULT_LIMITS["wall_penetration_m"], abs=0.5)


def test_a_point_exactly_on_a_wall_line_of_another_room_is_no_trouble():
    rooms = [box("a", 0, 0, 8, 6), box("b", 8, 0, 4, 6), box("c", 0, 6, 12, 5)]
    ways = find_ways([(8, 8), (3, 3), (10, 3)], rooms=rooms, limits=DEFAULT_LIMITS)
    way = ways.way(ways.path(0, int(ways.point_node[2])))
    assert way.penetrations == 1


def test_cable_goes_round_walls_where_that_is_cheaper_than_drilling():
    # a U-shaped corridor round an island room: through two walls, or 12 m round
    corridor = Room(
        key="u",
        label="u",
        storey_key="g",
        outline=((0, 0), (10, 0), (10, 8), (8, 8), (8, 2), (2, 2), (2, 8), (0, 8)),
    )
    island = box("i", 2, 2, 6, 6)
    points = [(1.0, 7.0), (9.0, 7.0)]
    dear = find_ways(points, rooms=[corridor, island], limits=DEFAULT_LIMITS)
    around = dear.way(dear.path(0, int(dear.point_node[1])))
    assert around.penetrations == 2
    costly = Limits((("wall_penetration_m", 30.0),))
    ways = find_ways(points, rooms=[corridor, island], limits=costly)
    way = ways.way(ways.path(0, int(ways.point_node[1])))
    assert way.penetrations == 0
    assert 18.0 < way.length_m < 21.0


def test_of_ways_as_long_the_straighter_is_taken():
    # many points make many lines, and so many staircases as long as the one with a single bend
    rng = np.random.default_rng(2)
    others = [tuple(p) for p in rng.uniform(1.0, 19.0, (30, 2))]
    ways = find_ways(
        [(1.0, 1.0), (18.0, 15.0), *others], rooms=[box("a", 0, 0, 20, 20)], limits=DEFAULT_LIMITS
    )
    way = ways.way(ways.path(0, int(ways.point_node[1])))
    assert way.length_m == pytest.approx(31.0)
    assert len(way.corners) == 3


def test_a_column_is_never_crossed():
    column = ((3.5, 2.5), (4.5, 2.5), (4.5, 3.5), (3.5, 3.5))
    ways = find_ways([(1, 3), (7, 3)], rooms=[box("a", 0, 0, 8, 6, column)], limits=DEFAULT_LIMITS)
    assert 6.0 < length(ways, 0, 1) < 8.0


def test_a_closed_off_point_is_refused_by_name():
    ring = Room(
        key="a",
        label="a",
        storey_key="g",
        outline=((0, 0), (10, 0), (10, 10), (0, 10)),
        holes=(((2, 2), (8, 2), (8, 8), (2, 8)),),
    )
    with pytest.raises(NoSolutionError) as caught:
        find_ways(
            [(1, 1), (5, 5)], rooms=[ring], limits=DEFAULT_LIMITS, labels=["the rack", "L1-01"]
        )
    assert "L1-01" in caught.value.problems[0].what


def test_a_drawn_cable_way_is_preferred_and_its_walls_are_free():
    rooms = [box("a", 0, 0, 8, 6), box("b", 8, 0, 8, 6)]
    tray = CableWay(key="t", label="tray", storey_key="g", points=((2, 5), (14, 5)))
    points = [(2, 3), (14, 3)]
    plain = find_ways(points, rooms=rooms, limits=DEFAULT_LIMITS)
    along = find_ways(points, rooms=rooms, cable_ways=[tray], limits=DEFAULT_LIMITS)
    assert along.cost_m[0, 1] < plain.cost_m[0, 1]
    way = along.way(along.path(0, int(along.point_node[1])))
    assert (2.0, 5.0) in way.corners
    assert (14.0, 5.0) in way.corners
    assert way.length_m == pytest.approx(16.0)


def test_a_slanting_cable_way_can_be_used():
    tray = CableWay(key="t", label="tray", storey_key="g", points=((1, 1), (7, 5)))
    ways = find_ways(
        [(1, 1), (7, 5)], rooms=[box("a", 0, 0, 8, 6)], cable_ways=[tray], limits=DEFAULT_LIMITS
    )
    assert length(ways, 0, 1) == pytest.approx(math.hypot(6, 4))


@pytest.mark.parametrize("angle", [0.0, 0.3, -0.6, 1.2])
def test_turning_the_building_turns_the_ways_and_changes_no_length(angle):
    def turned(point):
        x, y = point
        return (
            x * math.cos(angle) - y * math.sin(angle),
            x * math.sin(angle) + y * math.cos(angle),
        )

    rooms = [box("a", 0, 0, 8, 6), box("b", 8, 0, 5, 6)]
    spun = [replace(room, outline=tuple(turned(p) for p in room.outline)) for room in rooms]
    points = [(1.0, 1.0), (6.0, 4.0), (11.0, 2.0)]
    first = find_ways(points, rooms=rooms, limits=DEFAULT_LIMITS)
    second = find_ways([turned(p) for p in points], rooms=spun, limits=DEFAULT_LIMITS)
    assert second.cost_m == pytest.approx(first.cost_m, abs=1e-6)
    quarter = math.pi / 2
    assert (main_direction_rad(spun) - angle + 1e-9) % quarter == pytest.approx(0.0, abs=1e-6)


def scattered(seed: int, count: int):
    rng = np.random.default_rng(seed)
    points = [(1.0, 1.0)] + [tuple(p) for p in rng.uniform(1.0, 29.0, (count, 2))]
    return find_ways(points, rooms=[box("a", 0, 0, 30, 30)], limits=ALMOST_FREE_BENDS)


@pytest.mark.parametrize("seed", range(5))
def test_trees_are_bounded_limited_and_free_tees_never_lengthen_them(seed):
    ways = scattered(seed, 25)
    tree = tees_at_speakers(ways, most_runs=3)
    assert tree.bound_m <= tree.cost_m + 1e-9
    cables = np.bincount(
        [end for place, feeder in enumerate(tree.parent) if place for end in (place, feeder)]
    )
    assert cables[0] == 1
    assert cables[1:].max() <= 3
    everywhere = np.ones(ways.node_xy.shape[0], dtype=bool)
    free = free_tees(ways, reachable=everywhere, tee_price_m=0.0, most_runs=3)
    assert free.cost_m <= tree.cost_m + 1e-9
    assert len(free.tee_node) > 0
    # in the plane with rectilinear distances no tree is below two thirds of the spanning tree:
    # Hwang, SIAM J. Appl. Math. 30 (1976), from memory
    assert free.cost_m >= tree.bound_m * 2.0 / 3.0
    assert len(free.parent) == 26 + len(free.tee_node)
    total = sum(ways.way(path).length_m for path in free.paths[1:])
    # what is priced beyond the length is at most a few bends a run, a millimetre each
    assert 0.0 <= free.cost_m - total <= 0.005 * len(free.paths)


def test_tees_sit_only_where_a_person_can_reach():
    ways = scattered(3, 20)
    reachable = ways.node_xy[:, 0] < 15.0
    free = free_tees(ways, reachable=reachable, tee_price_m=0.0, most_runs=3)
    assert all(reachable[node] for node in free.tee_node)
    nowhere = np.zeros_like(reachable)
    assert free_tees(ways, reachable=nowhere, tee_price_m=0.0, most_runs=3).tee_node == ()


def test_unlimited_tree_is_the_minimum_spanning_tree():
    from scipy.sparse.csgraph import minimum_spanning_tree

    ways = scattered(7, 30)
    _, total, bound = spanning_tree(ways.cost_m, most_runs=99)
    reference = float(minimum_spanning_tree(ways.cost_m).sum())
    assert bound == pytest.approx(reference, rel=1e-9)
    assert total >= bound - 1e-9
