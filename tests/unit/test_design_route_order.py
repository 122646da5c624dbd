"""Order of a chain: against all orders, bounds that hold, hand-fixed orders, refusals."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.design.route_order import (
    choose_order,
    improve,
    nearest_neighbour,
    one_tree_bound,
    path_cost,
)
from soffit.errors import DomainError


def distances(seed: int, count: int, *, grid: bool = False):
    rng = np.random.default_rng(seed)
    points = rng.uniform(0.0, 30.0, (count + 1, 2))
    if grid:
        points = np.round(points / 3.0) * 3.0
    return np.abs(points[:, None] - points[None]).sum(axis=-1)


def shortest(cost) -> float:
    return min(path_cost(cost, order) for order in permutations(range(1, cost.shape[0])))


@given(st.integers(0, 10_000), st.integers(1, 7), st.booleans())
@settings(max_examples=40, deadline=None)
def test_small_chains_are_the_shortest_of_all_orders(seed, count, grid):
    cost = distances(seed, count, grid=grid)
    found = choose_order(cost)
    best = shortest(cost)
    assert found.is_proven
    assert found.cost_m == pytest.approx(best, abs=1e-6)
    assert found.bound_m <= best + 1e-6
    assert sorted(found.order) == list(range(1, count + 1))
    assert path_cost(cost, found.order) == pytest.approx(found.cost_m)


@given(st.integers(0, 10_000), st.integers(3, 7))
@settings(max_examples=40, deadline=None)
def test_one_tree_bound_never_exceeds_the_shortest_chain(seed, count):
    cost = distances(seed, count)
    best = shortest(cost)
    assert one_tree_bound(cost, best * 1.2) <= best + 1e-9


@given(st.integers(0, 10_000), st.integers(8, 30))
@settings(max_examples=10, deadline=None)
def test_never_longer_than_two_opt_or_nearest_neighbour(seed, count):
    cost = distances(seed, count)
    found = choose_order(cost)
    assert found.cost_m <= found.two_opt_m + 1e-9
    assert found.two_opt_m <= found.hand_m + 1e-9
    assert found.bound_m <= found.cost_m + 1e-9
    assert 0.0 <= found.gap_ratio <= 1.0


def test_sixty_loudspeakers_are_proven_and_repeat_exactly():
    cost = distances(60, 60)
    first, second = choose_order(cost), choose_order(cost)
    assert first == second
    assert first.is_proven
    assert "proven" in first.text()
    assert first.cost_m < first.hand_m


def test_more_than_the_proof_takes_on_get_a_bound_that_holds():
    cost = distances(3, 150)
    found = choose_order(cost)
    assert not found.is_proven
    assert 0.0 < found.gap_ratio < 0.1
    assert "%" in found.text()


def test_improve_leaves_no_reversal_or_move_that_helps():
    cost = distances(9, 25)
    order = improve(cost, nearest_neighbour(cost))
    best = path_cost(cost, order)
    for first in range(25):
        for last in range(first + 1, 26):
            turned = order[:first] + order[first:last][::-1] + order[last:]
            assert path_cost(cost, turned) >= best - 1e-9


def test_order_fixed_by_hand_is_kept():
    cost = distances(4, 12)
    found = choose_order(cost, fixed=(7, 2, 5))
    kept = [place for place in found.order if place in (7, 2, 5)]
    assert kept == [7, 2, 5]
    assert sorted(found.order) == list(range(1, 13))
    assert found.bound_m <= found.cost_m
    whole = choose_order(cost, fixed=tuple(range(12, 0, -1)))
    assert whole.order == tuple(range(12, 0, -1))


def test_one_and_no_loudspeaker():
    assert choose_order(np.zeros((1, 1))).order == ()
    assert choose_order(np.array([[0.0, 4.0], [4.0, 0.0]])).order == (1,)


@pytest.mark.parametrize(
    "cost",
    [
        np.zeros((2, 3)),
        np.array([[0.0, 1.0], [2.0, 0.0]]),
        np.array([[0.0, np.inf], [np.inf, 0.0]]),
        np.zeros((0, 0)),
    ],
)
def test_matrices_that_are_no_distances_are_refused(cost):
    with pytest.raises(DomainError):
        choose_order(cost)


def test_a_proof_that_runs_out_of_counted_work_states_its_gap(monkeypatch):
    """On a regular lattice thousands of chains are equally long: the work is counted, not timed."""
    from soffit.design import route_proof

    columns, rows = np.meshgrid(np.arange(7) * 1.2, np.arange(6) * 2.4)
    points = np.vstack([[0.3, -1.0], np.column_stack([columns.ravel(), rows.ravel()])])
    cost = np.abs(points[:, None] - points[None]).sum(axis=-1)
    cost += 0.4 * (cost > 0.0)
    monkeypatch.setattr(route_proof, "_PIVOTS", -1)
    short = choose_order(cost)
    assert sorted(short.order) == list(range(1, 43))
    assert 0.0 < short.bound_m <= short.cost_m + 1e-9
    monkeypatch.undo()
    longer = choose_order(cost)
    assert short.bound_m <= longer.bound_m + 1e-9 <= longer.cost_m + 2e-9
    assert longer.cost_m <= short.cost_m + 1e-9
