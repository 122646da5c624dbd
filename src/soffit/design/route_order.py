"""The order of a chain: shortest way from the rack through all loudspeakers, with proof or gap.

Upper bound: nearest neighbour, then 2-opt and Or-opt with kicks, a counted number of them. Lower
bound and proof: linear relaxation with subtour cuts, reduced costs, then integer rounds (HiGHS).
Everything stops on counted work, so the same input gives the same order.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from soffit.circuit.arrays import FloatArray, IntArray
from soffit.design.route_proof import prove_order
from soffit.errors import DomainError

_KICKS: Final = 40
"""Random changes tried; the proof finds what they miss."""
_PROOF_SPEAKERS: Final = 100
"""Beyond, the relaxation takes too long and the bound comes from one-trees."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """A wiring order and what is known about it.

    Parameters
    ----------
    order : (n,)
        Places of the loudspeakers in the matrix, from the rack outward.
    cost_m
        Length of the chain, penalties included. [m]
    bound_m
        No order is shorter than this. [m]
    hand_m
        Length of the nearest-neighbour order, for comparison. [m]
    two_opt_m
        Length after 2-opt and Or-opt from there without kicks. [m]
    is_proven
        Whether the order is the shortest, to a millimetre.
    """

    order: tuple[int, ...]
    cost_m: float
    bound_m: float
    hand_m: float
    two_opt_m: float
    is_proven: bool

    @property
    def gap_ratio(self) -> float:
        """How much shorter another order could at most be, as a share of this one."""
        return max(0.0, 1.0 - self.bound_m / self.cost_m) if self.cost_m > 0.0 else 0.0

    def text(self) -> str:
        """Return what is known, in words."""
        if self.is_proven:
            return "proven the shortest chain"
        return f"no chain is more than {self.gap_ratio:.1%} shorter"


def choose_order(
    cost_m: FloatArray, *, fixed: tuple[int, ...] = (), seed: int = 1, is_rough: bool = False
) -> Order:
    """Find the shortest chain from the rack through all loudspeakers.

    Parameters
    ----------
    cost_m : (n + 1, n + 1)
        Symmetric lengths; place 0 is the rack. [m]
    fixed
        Places whose order among themselves was fixed by hand.
    seed
        Seed of the kicks.
    is_rough
        Leave out kicks and proof; the bound is then 0.

    Returns
    -------
    Order
        Best order found, with the bound proven.

    Raises
    ------
    DomainError
        If the matrix is not square, symmetric and finite.
    """
    cost = _checked(cost_m)
    count = cost.shape[0] - 1
    if count == 0:
        return Order(order=(), cost_m=0.0, bound_m=0.0, hand_m=0.0, two_opt_m=0.0, is_proven=True)
    hand = nearest_neighbour(cost)
    hand_m = path_cost(cost, hand)
    if fixed:
        return _with_fixed(cost, fixed, hand_m)
    plain = improve(cost, hand)
    plain_m = path_cost(cost, plain)
    if is_rough:
        return Order(
            order=plain,
            cost_m=plain_m,
            bound_m=0.0,
            hand_m=hand_m,
            two_opt_m=plain_m,
            is_proven=False,
        )
    best = _kicked(cost, plain, np.random.default_rng(seed))
    best_m = path_cost(cost, best)
    if count <= 2:
        best, best_m = _all_orders(cost)
        bound, proven = best_m, True
    elif count <= _PROOF_SPEAKERS:
        proof = prove_order(cost, best)
        if proof.cost_m < best_m - 1e-9:
            best, best_m = proof.order, proof.cost_m
        bound, proven = min(proof.bound_m, best_m), proof.is_proven
    else:
        bound = min(one_tree_bound(cost, best_m), best_m)
        proven = bound >= best_m - 1e-3
    return Order(
        order=best,
        cost_m=best_m,
        bound_m=bound,
        hand_m=hand_m,
        two_opt_m=plain_m,
        is_proven=proven,
    )


def _checked(cost_m: FloatArray) -> FloatArray:
    cost = np.asarray(cost_m, dtype=np.float64)
    square = cost.ndim == 2 and cost.shape[0] == cost.shape[1] and cost.shape[0] > 0
    if not square or not np.all(np.isfinite(cost)) or not np.allclose(cost, cost.T, atol=1e-9):
        msg = "distances between loudspeakers are not a square, symmetric, finite matrix"
        raise DomainError(
            msg,
            where="cost_m",
            why="a way is as long there as back, and every loudspeaker can be reached",
            do="check that no loudspeaker stands in a closed-off part of the ceiling",
        )
    return cost


def _all_orders(cost: FloatArray) -> tuple[tuple[int, ...], float]:
    count = cost.shape[0] - 1
    orders = [(1,)] if count == 1 else [(1, 2), (2, 1)]
    best = min(orders, key=lambda order: path_cost(cost, order))
    return best, path_cost(cost, best)


def path_cost(cost_m: FloatArray, order: tuple[int, ...]) -> float:
    """Length of a chain that starts at the rack.

    Parameters
    ----------
    cost_m : (n + 1, n + 1)
        Lengths; place 0 is the rack. [m]
    order : (k,)
        Places from the rack outward.

    Returns
    -------
    float
        Sum of the legs. [m]
    """
    stops = np.asarray((0, *order))
    return float(np.sum(cost_m[stops[:-1], stops[1:]]))


def nearest_neighbour(cost_m: FloatArray) -> tuple[int, ...]:
    """Order by always going on to the nearest, as one would by hand.

    Parameters
    ----------
    cost_m : (n + 1, n + 1)
        Lengths; place 0 is the rack. [m]

    Returns
    -------
    tuple of int
        Places from the rack outward.
    """
    left = cost_m.copy()
    left[:, 0] = np.inf
    here, order = 0, []
    for _ in range(cost_m.shape[0] - 1):
        there = int(np.argmin(left[here]))
        left[:, there] = np.inf
        order.append(there)
        here = there
    return tuple(order)


def improve(cost_m: FloatArray, order: tuple[int, ...]) -> tuple[int, ...]:
    """Shorten a chain by 2-opt and Or-opt moves until none helps.

    Parameters
    ----------
    cost_m : (n + 1, n + 1)
        Lengths; place 0 is the rack. [m]
    order : (n,)
        Places from the rack outward.

    Returns
    -------
    tuple of int
        Order that no reversal of a stretch and no move of up to three neighbours shortens.
    """
    path = np.asarray((0, *order), dtype=np.int64)
    while True:
        path, gain_turn = _turn(cost_m, path)
        path, gain_move = _move(cost_m, path)
        if gain_turn + gain_move <= 0.0:
            return tuple(path[1:].tolist())


def _turn(cost: FloatArray, path: IntArray) -> tuple[IntArray, float]:
    """Reverse the best stretch i..j; the chain has a free end, so a tail may turn, too."""
    count = path.size
    along = cost[path[:-1], path[1:]]
    leg = np.append(along, 0.0)
    # old: (i-1,i) + (j,j+1); new: (i-1,j) + (i,j+1); beyond the end costs nothing
    total = 0.0
    for _ in range(4 * count):
        across = cost[np.ix_(path, path)]
        begin = across[:-1, 1:]
        end = np.zeros((count - 1, count - 1))
        end[:, :-1] = across[1:, 2:]
        change = begin + end - leg[:-1, np.newaxis] - leg[np.newaxis, 1:]
        change[np.tril_indices(count - 1)] = 0.0
        place = int(np.argmin(change))
        first, last = divmod(place, count - 1)
        gain = -float(change[first, last])
        if gain < 1e-9:
            break
        path = path.copy()
        path[first + 1 : last + 2] = path[first + 1 : last + 2][::-1]
        leg = np.append(cost[path[:-1], path[1:]], 0.0)
        total += gain
    return path, total


def _move(cost: FloatArray, path: IntArray) -> tuple[IntArray, float]:
    """Move the best stretch of one to three to its best gap, as it is or turned round."""
    total = 0.0
    while path.size > 2:
        found = min(_best_move(cost, path, size) for size in (1, 2, 3) if path.size > size + 1)
        change, size, start, gap, is_turned = found
        if change > -1e-9:
            return path, total
        piece = path[start : start + size]
        body = piece[::-1] if is_turned else piece
        rest = np.delete(path, np.arange(start, start + size))
        place = gap + 1 if gap < start else gap + 1 - size
        path = np.concatenate([rest[:place], body, rest[place:]])
        total -= change
    return path, total


def _best_move(cost: FloatArray, path: IntArray, size: int) -> tuple[float, int, int, int, bool]:
    """Return change, size, start, gap and whether turned, of the best move of one size."""
    count = path.size
    # one column more: beyond the free end a leg costs nothing
    across = np.zeros((count, count + 1))
    across[:, :count] = cost[np.ix_(path, path)]
    gaps = np.arange(count)
    leg = across[gaps, gaps + 1]
    starts = np.arange(1, count - size + 1)
    lasts = starts + size - 1
    saved = leg[starts - 1] + leg[lasts] - across[starts - 1, lasts + 1]
    first_in = across[:, starts].T
    last_in = across[:, lasts].T
    first_out = across[starts][:, 1:]
    last_out = across[lasts][:, 1:]
    straight = first_in + last_out - leg
    turned = last_in + first_out - leg
    inside = (gaps >= starts[:, np.newaxis] - 1) & (gaps <= lasts[:, np.newaxis])
    change = np.where(inside, np.inf, np.minimum(straight, turned)) - saved[:, np.newaxis]
    place = int(np.argmin(change))
    row, gap = divmod(place, count)
    is_turned = bool(turned[row, gap] < straight[row, gap])
    return float(change[row, gap]), size, int(starts[row]), gap, is_turned


def _kicked(cost: FloatArray, order: tuple[int, ...], rng: np.random.Generator) -> tuple[int, ...]:
    """Improve again after small random changes, a counted number of times."""
    count = len(order)
    best, best_m = order, path_cost(cost, order)
    if count < 8:
        return best
    for _ in range(_KICKS):
        cuts = np.sort(rng.choice(np.arange(1, count), size=3, replace=False))
        first, second, third = (int(cut) for cut in cuts)
        shaken = best[:first] + best[second:third] + best[first:second] + best[third:]
        tried = improve(cost, shaken)
        tried_m = path_cost(cost, tried)
        if tried_m < best_m - 1e-9:
            best, best_m = tried, tried_m
    return best


def _with_fixed(cost: FloatArray, fixed: tuple[int, ...], hand_m: float) -> Order:
    """Keep the order of some, put the others where they lengthen the chain least."""
    path = [0, *fixed]
    rest = [place for place in range(1, cost.shape[0]) if place not in fixed]
    while rest:
        options = []
        for one in rest:
            stops = np.asarray(path)
            added = cost[stops[:-1], one] + cost[one, stops[1:]] - cost[stops[:-1], stops[1:]]
            costs = np.append(added, cost[stops[-1], one])
            options.append((float(costs.min()), int(costs.argmin()), one))
        _, place, chosen = min(options)
        path.insert(place + 1, chosen)
        rest.remove(chosen)
    order = tuple(path[1:])
    total = path_cost(cost, order)
    only = len(fixed) == cost.shape[0] - 1
    bound = total if only else min(one_tree_bound(cost, total), total)
    return Order(
        order=order,
        cost_m=total,
        bound_m=bound,
        hand_m=hand_m,
        two_opt_m=total,
        is_proven=only,
    )


def one_tree_bound(cost_m: FloatArray, best_m: float, *, rounds: int = 300) -> float:
    """Lower bound for any chain by spanning trees with node prices.

    Parameters
    ----------
    cost_m : (n + 1, n + 1)
        Lengths; place 0 is the rack. [m]
    best_m
        Length of a known chain. [m]
    rounds
        Steps of the price adjustment.

    Returns
    -------
    float
        No chain is shorter. [m]

    References
    ----------
    Held and Karp, The traveling-salesman problem and minimum spanning trees, Operations Research
    18 (1970) and Mathematical Programming 1 (1971), from memory; here for a path: a spanning tree
    with degree 1 wanted at the rack, 2 at all others but the unknown end.

    Notes
    -----
    For prices p, cost(T) + sum p_i (deg_i - want_i) is a bound, where the end's missing degree
    costs the largest price that any loudspeaker has: it is added in full.
    """
    count = cost_m.shape[0]
    price = np.zeros(count)
    want = np.full(count, 2.0)
    want[0] = 1.0
    best = -math.inf
    step = 2.0
    stale = 0
    for _ in range(rounds):
        priced = cost_m + price[:, np.newaxis] + price[np.newaxis, :]
        total, degree = _spanning_tree(priced)
        # a chain's priced length is its length + sum(price * want) - price of its end
        value = total - float(np.sum(price * want)) + float(np.min(price[1:]))
        if value > best + 1e-9:
            best, stale = value, 0
        else:
            stale += 1
            if stale >= 15:
                step, stale = step / 2.0, 0
        surplus = degree - want
        surplus[1:] += 1.0 / (count - 1)
        norm = float(np.sum(surplus**2))
        if norm < 1e-12 or step < 1e-3:
            break
        price = price + step * max(best_m - value, 1e-6) / norm * surplus
    return best


def _spanning_tree(cost: FloatArray) -> tuple[float, FloatArray]:
    count = cost.shape[0]
    degree = np.zeros(count)
    near = cost[0].copy()
    source = np.zeros(count, dtype=np.int64)
    inside = np.zeros(count, dtype=np.bool_)
    inside[0] = True
    near[0] = np.inf
    total = 0.0
    for _ in range(count - 1):
        node = int(np.argmin(near))
        total += float(near[node])
        degree[node] += 1.0
        degree[source[node]] += 1.0
        inside[node] = True
        near[node] = np.inf
        closer = (cost[node] < near) & ~inside
        near[closer] = cost[node][closer]
        source[closer] = node
    return total, degree
