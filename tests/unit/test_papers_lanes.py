"""Cables side by side: laws of the drawing, derived here."""

from soffit.papers.lanes import LANE_MM, side_by_side


def test_a_cable_alone_keeps_its_place():
    path = ((0.0, 0.0), (30.0, 0.0), (30.0, 20.0))
    assert side_by_side([path], ["L1"]) == [path]


def test_two_cables_on_one_way_part_by_a_lane_and_come_back():
    first = ((0.0, 0.0), (0.0, 40.0))
    second = ((0.0, 10.0), (0.0, 40.0), (25.0, 40.0))
    one, two = side_by_side([first, second], ["L1", "L1"])
    assert abs(one[0][0] - two[0][0]) == LANE_MM
    assert two[-1] == (25.0, 40.0)
    assert two[1][0] == two[0][0], "the corner follows its lane"


def test_crossing_or_following_cables_are_left_alone():
    across = ((-10.0, 5.0), (10.0, 5.0))
    upright = ((0.0, 0.0), (0.0, 10.0))
    onward = ((0.0, 10.0), (0.0, 20.0))
    assert side_by_side([across, upright, onward], ["L1"] * 3) == [across, upright, onward]


def test_what_leans_a_hair_is_drawn_straight():
    (path,) = side_by_side([((0.0, 0.0), (40.0, 0.4))], ["L1"])
    assert path[0][1] == path[1][1]
