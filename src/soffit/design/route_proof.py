"""Proof that a wiring order is the shortest: linear relaxation, subtour cuts, integer rounds.

A chain with a free end is a round trip through one more place, the end cap: it costs nothing to
reach from any loudspeaker, and its other neighbour is the rack. Dantzig, Fulkerson and Johnson,
Solution of a large-scale traveling-salesman problem, Operations Research 2 (1954), from memory.
"""

import math
from dataclasses import dataclass
from typing import Final

import highspy
import numpy as np

from soffit.circuit.arrays import FloatArray, IntArray
from soffit.design.solver import quiet_solver

_CUT_ROUNDS: Final = 60
_INTEGER_ROUNDS: Final = 60
_NODES_A_ROUND: Final = 60
"""Branches of one integer round: on a regular lattice thousands of chains are equally long, and
more branches hardly move the bound."""
_PIVOTS: Final = 15_000
"""Simplex steps of all integer rounds together, counted after each; then the gap is stated."""
_SECONDS: Final = 60.0
"""Hard stop against a solver that hangs; counted limits end the work long before."""
_TINY_M: Final = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What the solver could show.

    Parameters
    ----------
    order : (n,)
        Best order known at the end.
    cost_m
        Its length. [m]
    bound_m
        No order is shorter. [m]
    is_proven
        Whether both agree to a millimetre.
    """

    order: tuple[int, ...]
    cost_m: float
    bound_m: float
    is_proven: bool


def prove_order(cost_m: FloatArray, order: tuple[int, ...]) -> Proof:
    """Prove an order the shortest, find a shorter one, or say how far the bound is.

    Parameters
    ----------
    cost_m : (n + 1, n + 1)
        Lengths; place 0 is the rack. [m]
    order : (n,)
        A good order.

    Returns
    -------
    Proof
        Best order and bound.
    """
    return _Rounds(cost_m, order).run()


class _Rounds:
    """One linear model that grows cuts."""

    def __init__(self, cost: FloatArray, order: tuple[int, ...]) -> None:
        count = cost.shape[0]
        self._cap = count
        full = np.zeros((count + 1, count + 1))
        full[:count, :count] = cost
        first, second = np.triu_indices(count + 1, k=1)
        # the only other neighbour of the end cap is the rack, on one fixed edge
        self._first: IntArray = first.astype(np.int64)
        self._second: IntArray = second.astype(np.int64)
        self._cost = full[first, second]
        self._full = full
        self._best = order
        self._best_m = self._length(order)
        self._solver = quiet_solver(seconds=_SECONDS)
        self._cuts: set[frozenset[int]] = set()
        self._build()

    def _length(self, order: tuple[int, ...]) -> float:
        stops = np.asarray((0, *order))
        return float(np.sum(self._full[stops[:-1], stops[1:]]))

    def _build(self) -> None:
        solver, size = self._solver, self._first.size
        upper = np.ones(size)
        lower = np.zeros(size)
        fixed = (self._first == 0) & (self._second == self._cap)
        lower[fixed] = 1.0
        solver.addVars(size, lower, upper)
        solver.changeColsCost(size, np.arange(size, dtype=np.int32), self._cost)
        for node in range(self._cap + 1):
            touching = np.flatnonzero((self._first == node) | (self._second == node))
            solver.addRow(
                2.0, 2.0, touching.size, touching.astype(np.int32), np.ones(touching.size)
            )

    def _add_cut(self, nodes: frozenset[int]) -> bool:
        """At least two edges leave every proper subset."""
        small = min(
            nodes,
            frozenset(range(self._cap + 1)) - nodes,
            key=lambda part: (len(part), sorted(part)),
        )
        if small in self._cuts or len(small) < 2:
            return False
        self._cuts.add(small)
        inside = np.zeros(self._cap + 1, dtype=np.bool_)
        inside[list(small)] = True
        both = np.flatnonzero(inside[self._first] & inside[self._second])
        self._solver.addRow(
            -highspy.kHighsInf,
            len(small) - 1.0,
            both.size,
            both.astype(np.int32),
            np.ones(both.size),
        )
        return True

    def run(self) -> Proof:
        bound = self._relax()
        if bound is None:
            return self._proof(0.0)
        if self._best_m - bound <= _TINY_M:
            return self._proof(bound)
        self._drop_hopeless(bound)
        return self._proof(self._integer(bound))

    def _proof(self, bound: float) -> Proof:
        return Proof(
            order=self._best,
            cost_m=self._best_m,
            bound_m=min(bound, self._best_m),
            is_proven=self._best_m - bound <= 1e-3,
        )

    def _relax(self) -> float | None:
        """Solve the relaxation, add violated cuts, until none is left."""
        bound = None
        for _ in range(_CUT_ROUNDS):
            self._solver.run()
            if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
                return bound
            bound = float(self._solver.getInfo().objective_function_value)
            values = np.asarray(self._solver.getSolution().col_value)
            if self._best_m - bound <= _TINY_M:
                return bound
            added = [self._add_cut(part) for part in self._violated(values)]
            if not any(added):
                self._try_order(values)
                return bound
        return bound

    def _violated(self, values: FloatArray) -> list[frozenset[int]]:
        weight = np.zeros((self._cap + 1, self._cap + 1))
        weight[self._first, self._second] = values
        weight += weight.T
        parts = _components(weight > 1e-7)
        if len(parts) > 1:
            return parts
        return _light_cuts(weight)

    def _drop_hopeless(self, bound: float) -> None:
        """Fix edges whose reduced cost alone exceeds the gap."""
        reduced = np.asarray(self._solver.getSolution().col_dual)
        values = np.asarray(self._solver.getSolution().col_value)
        gap = self._best_m - bound + 1e-6
        out = np.flatnonzero((values < 1e-7) & (reduced > gap))
        kept = np.flatnonzero((values > 1.0 - 1e-7) & (reduced < -gap))
        self._solver.changeColsBounds(
            out.size, out.astype(np.int32), np.zeros(out.size), np.zeros(out.size)
        )
        self._solver.changeColsBounds(
            kept.size, kept.astype(np.int32), np.ones(kept.size), np.ones(kept.size)
        )
        size = self._first.size
        self._solver.changeColsIntegrality(
            size,
            np.arange(size, dtype=np.int32),
            np.full(size, highspy.HighsVarType.kInteger),
        )
        self._solver.setOptionValue("mip_max_nodes", _NODES_A_ROUND)
        self._solver.setOptionValue("mip_rel_gap", 0.0)
        self._solver.setOptionValue("mip_abs_gap", _TINY_M)

    def _integer(self, bound: float) -> float:
        """Solve with whole edges, forbid the round trips found, until one chain is left."""
        pivots = 0
        for _ in range(_INTEGER_ROUNDS):
            if pivots > _PIVOTS:
                return bound
            self._solver.setOptionValue("objective_bound", self._best_m)
            self._solver.run()
            info = self._solver.getInfo()
            pivots += max(0, int(info.simplex_iteration_count))
            status = self._solver.getModelStatus()
            dual = float(info.mip_dual_bound)
            if math.isfinite(dual):
                bound = max(bound, dual)
            if status == highspy.HighsModelStatus.kInfeasible:
                return self._best_m
            if status != highspy.HighsModelStatus.kOptimal:
                return bound
            values = np.asarray(self._solver.getSolution().col_value)
            if self._try_order(values) or self._best_m - bound <= _TINY_M:
                return bound
            weight = np.zeros((self._cap + 1, self._cap + 1))
            weight[self._first, self._second] = values
            parts = _components(weight + weight.T > 0.5)
            added = [self._add_cut(part) for part in parts]
            if not any(added):
                return bound
        return bound

    def _try_order(self, values: FloatArray) -> bool:
        """Take over the solution if it is one whole chain; say whether it was."""
        used = np.flatnonzero(values > 0.5)
        if used.size != self._cap + 1 or np.any(np.abs(values - np.round(values)) > 1e-6):
            return False
        beside: dict[int, list[int]] = {}
        for edge in used.tolist():
            one, two = int(self._first[edge]), int(self._second[edge])
            beside.setdefault(one, []).append(two)
            beside.setdefault(two, []).append(one)
        order, before, here = [], self._cap, 0
        while here != self._cap:
            order.append(here)
            steps = [node for node in beside[here] if node != before]
            before, here = here, steps[0]
        if len(order) != self._cap:
            return False
        found = tuple(order[1:])
        length = self._length(found)
        if length < self._best_m:
            self._best, self._best_m = found, length
        return True


def _components(linked: np.ndarray) -> list[frozenset[int]]:
    left = set(range(linked.shape[0]))
    parts = []
    while left:
        stack = [min(left)]
        part = set(stack)
        while stack:
            node = stack.pop()
            new = set(np.flatnonzero(linked[node]).tolist()) - part
            part |= new
            stack.extend(new)
        parts.append(frozenset(part))
        left -= part
    return parts


def _light_cuts(weight: FloatArray) -> list[frozenset[int]]:
    """All cuts of the phases of Stoer and Wagner's algorithm that are lighter than two.

    Stoer and Wagner, A simple min-cut algorithm, J. ACM 44 (1997), from memory.
    """
    graph = weight.copy()
    merged = [frozenset([node]) for node in range(graph.shape[0])]
    found = []
    while len(merged) > 1:
        size = len(merged)
        pull = graph[0].copy()
        outside = np.ones(size, dtype=np.bool_)
        outside[0] = False
        last = before = 0
        for _ in range(size - 1):
            node = int(np.argmax(np.where(outside, pull, -np.inf)))
            before, last = last, node
            outside[node] = False
            if np.any(outside):
                pull = pull + graph[node]
        light = float(pull[last])
        if light < 2.0 - 1e-6:
            found.append(merged[last])
        graph[before] += graph[last]
        graph[:, before] += graph[:, last]
        graph[before, before] = 0.0
        graph = np.delete(np.delete(graph, last, axis=0), last, axis=1)
        merged[before] = merged[before] | merged[last]
        del merged[last]
    return found
