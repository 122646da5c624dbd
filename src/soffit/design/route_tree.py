"""Branched lines: tees at loudspeakers, and tees anywhere that a person can reach."""

from dataclasses import dataclass

import numpy as np

from soffit.circuit.arrays import FloatArray
from soffit.design.route_graph import Search, Ways, search_from

_FREE_ROUNDS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Branches:
    """A tree over the rack, loudspeakers, and perhaps tees.

    Parameters
    ----------
    parent : (n + 1 + t,)
        What feeds each place; place 0 is the rack, n loudspeakers, then t tees.
    paths
        Crossings from parent to place, by place; empty for the rack.
    tee_node : (t,)
        Crossing at which each tee sits.
    cost_m
        Priced length of all runs. [m]
    bound_m
        No tree of this kind is shorter; 0 where nothing is known. [m]
    """

    parent: tuple[int, ...]
    paths: tuple[tuple[int, ...], ...]
    tee_node: tuple[int, ...]
    cost_m: float
    bound_m: float


def spanning_tree(cost_m: FloatArray, *, most_runs: int) -> tuple[tuple[int, ...], float, float]:
    """Shortest tree with at most so many cables at any loudspeaker.

    Parameters
    ----------
    cost_m : (n + 1, n + 1)
        Lengths; place 0 is the rack. [m]
    most_runs
        Cables that a loudspeaker's terminals take, at least 2; the rack takes one.

    Returns
    -------
    tuple
        Parents, priced length [m], and the length of the unlimited tree, which is a bound [m].
    """
    parent, free_m = _prim(cost_m)
    parent = _limited(cost_m, most_runs)
    parent = _exchange(cost_m, parent, most_runs)
    total = float(sum(cost_m[place, feeder] for place, feeder in enumerate(parent) if feeder >= 0))
    return parent, total, free_m


def _prim(cost: FloatArray) -> tuple[tuple[int, ...], float]:
    count = cost.shape[0]
    near, source = cost[0].copy(), np.zeros(count, dtype=np.int64)
    near[0] = np.inf
    inside = np.zeros(count, dtype=np.bool_)
    inside[0] = True
    total = 0.0
    for _ in range(count - 1):
        node = int(np.argmin(near))
        total += float(near[node])
        inside[node] = True
        near[node] = np.inf
        closer = (cost[node] < near) & ~inside
        near[closer], source[closer] = cost[node][closer], node
    return (-1, *(int(entry) for entry in source[1:])), total


def _limited(cost: FloatArray, most_runs: int) -> tuple[int, ...]:
    """Grow the tree like Prim, skipping places whose terminals are full."""
    count = cost.shape[0]
    room = np.full(count, most_runs - 1)
    room[0] = 1
    parent = [-1] * count
    inside = [0]
    outside = set(range(1, count))
    while outside:
        open_places = np.asarray([place for place in inside if room[place] > 0])
        waiting = np.asarray(sorted(outside))
        block = cost[np.ix_(open_places, waiting)]
        best = int(np.argmin(block))
        feeder = int(open_places[best // waiting.size])
        place = int(waiting[best % waiting.size])
        parent[place] = feeder
        room[feeder] -= 1
        inside.append(place)
        outside.remove(place)
    return tuple(parent)


def _exchange(cost: FloatArray, parent: tuple[int, ...], most_runs: int) -> tuple[int, ...]:
    """Hang subtrees elsewhere while that shortens the tree and terminals allow."""
    feeders = list(parent)
    count = len(feeders)
    improved = True
    while improved:
        improved = False
        fed = np.bincount([f for f in feeders if f >= 0], minlength=count)
        most = np.full(count, most_runs - 1)
        most[0] = 1
        for place in range(1, count):
            below = _below(feeders, place)
            allowed = (fed < most) & ~below
            allowed[feeders[place]] = True
            options = np.where(allowed, cost[place], np.inf)
            best = int(np.argmin(options))
            if options[best] < cost[place, feeders[place]] - 1e-9:
                fed[feeders[place]] -= 1
                feeders[place] = best
                fed[best] += 1
                improved = True
    return tuple(feeders)


def _below(feeders: list[int], place: int) -> np.ndarray:
    inside = np.zeros(len(feeders), dtype=np.bool_)
    inside[place] = True
    grown = True
    while grown:
        grown = False
        for entry, feeder in enumerate(feeders):
            if feeder >= 0 and inside[feeder] and not inside[entry]:
                inside[entry] = True
                grown = True
    return inside


def tees_at_speakers(ways: Ways, *, most_runs: int) -> Branches:
    """Branch at loudspeakers only.

    Parameters
    ----------
    ways
        Ways between rack (place 0) and loudspeakers.
    most_runs
        Cables that a loudspeaker's terminals take.

    Returns
    -------
    Branches
        Tree without tees of its own.
    """
    parent, cost, bound = spanning_tree(ways.cost_m, most_runs=most_runs)
    paths: list[tuple[int, ...]] = [()]
    paths += [
        ways.path(feeder, int(ways.point_node[place]))
        for place, feeder in enumerate(parent)
        if place
    ]
    return Branches(parent=parent, paths=tuple(paths), tee_node=(), cost_m=cost, bound_m=bound)


def free_tees(ways: Ways, *, reachable: np.ndarray, tee_price_m: float, most_runs: int) -> Branches:
    """Branch at loudspeakers and at tees wherever a person can reach.

    Parameters
    ----------
    ways
        Ways between rack (place 0) and loudspeakers.
    reachable : (k,)
        Whether a joint at each crossing can be reached after the ceiling is closed.
    tee_price_m
        What a joint box costs, in metres of cable: a tee must save more. [m]
    most_runs
        Cables that meet at a loudspeaker or a tee at most.

    Returns
    -------
    Branches
        Tree with its tees. Three neighbours at a time are joined at their best crossing while
        that saves cable; a heuristic, so its bound is 0.
    """
    count = ways.points.shape[0]
    node_of = [int(node) for node in ways.point_node]
    searches = list(ways.searches)
    for _ in range(_FREE_ROUNDS):
        cost = np.asarray([search.reach_m[node_of] for search in searches])
        cost = 0.5 * (cost + cost.T)
        parent, _, _ = spanning_tree(cost, most_runs=most_runs)
        found = _best_tee(parent, searches, cost, reachable, tee_price_m)
        if found is None or found in node_of[count:]:
            break
        node_of.append(found)
        searches.append(search_from(ways.graph, found))
    return _pruned(node_of, searches, count=count, most_runs=most_runs)


def _best_tee(
    parent: tuple[int, ...],
    searches: list[Search],
    cost: FloatArray,
    reachable: np.ndarray,
    tee_price_m: float,
) -> int | None:
    """Crossing that saves most when three neighbours of the tree meet there."""
    beside: dict[int, list[int]] = {}
    for place, feeder in enumerate(parent):
        if feeder >= 0:
            beside.setdefault(place, []).append(feeder)
            beside.setdefault(feeder, []).append(place)
    best, best_node = tee_price_m + 1e-6, None
    for middle, around in sorted(beside.items()):
        for place, one in enumerate(around):
            for two in around[place + 1 :]:
                meet = searches[middle].reach_m + searches[one].reach_m + searches[two].reach_m
                meet = np.where(reachable, meet, np.inf)
                node = int(np.argmin(meet))
                saved = float(cost[middle, one] + cost[middle, two] - meet[node])
                if saved > best:
                    best, best_node = saved, node
    return best_node


def _pruned(
    node_of: list[int],
    searches: list[Search],
    *,
    count: int,
    most_runs: int,
) -> Branches:
    """Drop tees that join fewer than three runs, then measure the rest."""
    kept = list(range(len(node_of)))
    while True:
        nodes = [node_of[one] for one in kept]
        cost = np.asarray([searches[one].reach_m[nodes] for one in kept])
        cost = 0.5 * (cost + cost.T)
        parent, total, _ = spanning_tree(cost, most_runs=most_runs)
        degree = np.bincount(
            [end for place, feeder in enumerate(parent) if feeder >= 0 for end in (place, feeder)],
            minlength=len(kept),
        )
        idle = [kept[place] for place in range(count, len(kept)) if degree[place] < 3]
        if not idle:
            break
        kept = [entry for entry in kept if entry not in idle]
    paths: list[tuple[int, ...]] = [()]
    paths += [
        searches[kept[parent[place]]].path(node_of[kept[place]]) for place in range(1, len(kept))
    ]
    return Branches(
        parent=parent,
        paths=tuple(paths),
        tee_node=tuple(node_of[entry] for entry in kept[count:]),
        cost_m=total,
        bound_m=0.0,
    )
