"""Reels: every run is one piece."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soffit.design.cable import reels, reels_for_pieces
from soffit.errors import DomainError


def test_three_runs_of_sixty_metres_need_three_reels_of_a_hundred():
    assert reels(180.0, reel_m=100.0, waste_ratio=0.0)[0] == 2
    assert reels_for_pieces([60.0, 60.0, 60.0], reel_m=100.0) == (3, 40.0)


def test_pieces_that_fill_reels_exactly_leave_nothing():
    assert reels_for_pieces([40.0, 60.0, 70.0, 30.0], reel_m=100.0) == (2, 0.0)
    assert reels_for_pieces([], reel_m=100.0) == (0, 0.0)


def test_a_run_longer_than_a_reel_is_refused():
    with pytest.raises(DomainError) as caught:
        reels_for_pieces([101.0], reel_m=100.0)
    assert "101.0 m" in caught.value.problems[0].what


@pytest.mark.parametrize(("pieces", "reel"), [([1.0], 0.0), ([-1.0], 10.0), ([float("nan")], 10.0)])
def test_impossible_lengths_are_refused(pieces: list[float], reel: float):
    with pytest.raises(DomainError):
        reels_for_pieces(pieces, reel_m=reel)


@given(st.lists(st.floats(0.1, 100.0), max_size=40))
def test_reels_hold_the_pieces_and_no_two_are_half_empty(pieces: list[float]):
    count, left = reels_for_pieces(pieces, reel_m=100.0)
    assert count * 100.0 >= sum(pieces) - 1e-6
    assert count >= reels(sum(pieces), reel_m=100.0, waste_ratio=0.0)[0]
    # first fit never leaves two reels less than half full
    assert count <= 2.0 * sum(pieces) / 100.0 + 1.0
    assert 0.0 <= left <= 100.0
