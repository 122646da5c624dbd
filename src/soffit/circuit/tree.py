"""Exact solution of a line that is a tree: one pass inward, one outward, any number of cases.

Nodes are joints and speakers; node 0 is the amplifier's terminals. Run ``i`` feeds node ``i`` from
``parent[i]``. All further axes (frequencies, random draws) are cases that are solved together.

With Y_i the admittance looking outward from node i, run included: T = 1/(1 + Z Y) is the part of
the parent's voltage that arrives, and the parent's admittance gains Y T. Derived here in
docs/theory/circuit.md; nothing is iterated, so the only error is that of floating point.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from soffit.circuit.arrays import Array, FloatArray, IntArray, inexact
from soffit.errors import DomainError

_FEW_CASES = 4
"""Up to here plain Python numbers are quicker than rows of an array."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tree:
    """Which node feeds which; made by :func:`tree_of`.

    Parameters
    ----------
    parent : (n,)
        Node that feeds each node; -1 for node 0, the amplifier.
    order : (n,)
        All nodes, each after its parent.
    """

    parent: IntArray
    order: IntArray

    @property
    def n_nodes(self) -> int:
        """Number of nodes, the amplifier included."""
        return int(self.parent.size)

    def children(self) -> tuple[tuple[int, ...], ...]:
        """Return the nodes fed by each node, in rising order."""
        lists: list[list[int]] = [[] for _ in range(self.n_nodes)]
        for node, feeder in enumerate(self.parent.tolist()):
            if feeder >= 0:
                lists[feeder].append(node)
        return tuple(tuple(entry) for entry in lists)

    def outward(self, node: int) -> IntArray:
        """Return the nodes at and beyond one node, each after its parent.

        Parameters
        ----------
        node
            Where to start.

        Returns
        -------
        (k,)
            Nodes, ``node`` first.
        """
        inside = np.zeros(self.n_nodes, dtype=np.bool_)
        inside[node] = True
        parent = self.parent
        for entry in self.order.tolist():
            if entry != node and parent[entry] >= 0 and inside[parent[entry]]:
                inside[entry] = True
        return self.order[inside[self.order]]

    def path(self, node: int) -> tuple[int, ...]:
        """Return the nodes from the amplifier to one node.

        Parameters
        ----------
        node
            Where to end.

        Returns
        -------
        tuple of int
            Nodes, 0 first.
        """
        steps = [node]
        while self.parent[steps[-1]] >= 0:
            steps.append(int(self.parent[steps[-1]]))
        return tuple(reversed(steps))


def chain(n_speakers: int) -> Tree:
    """Return a daisy chain: node 1 is fed by the amplifier, node 2 by node 1, and so on.

    Parameters
    ----------
    n_speakers
        Number of nodes beside the amplifier.

    Returns
    -------
    Tree
        Chain of ``n_speakers`` + 1 nodes.
    """
    nodes = np.arange(n_speakers + 1, dtype=np.int64)
    return Tree(parent=nodes - 1, order=nodes)


def tree_of(parent: ArrayLike | Sequence[int], *, labels: Sequence[str] | None = None) -> Tree:
    """Check that parents make one tree rooted at node 0, and sort it.

    Parameters
    ----------
    parent : (n,)
        Node that feeds each node, in any order; the entry of node 0 is -1.
    labels
        Names of the nodes for the error, by default their numbers.

    Returns
    -------
    Tree
        Checked and sorted.

    Raises
    ------
    DomainError
        If a node does not exist, or is not fed from node 0: disconnected or in a loop.

    Examples
    --------
    >>> tree_of([-1, 2, 0]).order.tolist()
    [0, 2, 1]
    """
    feeders = np.asarray(parent, dtype=np.int64)
    if feeders.ndim != 1 or feeders.size == 0 or feeders[0] != -1:
        msg = "node 0 is the amplifier and is fed by nothing"
        raise DomainError(msg, where="parent", why="parent[0] is not -1", do="write -1 there")
    count = feeders.size
    names = list(labels) if labels is not None else [str(node) for node in range(count)]
    children: list[list[int]] = [[] for _ in range(count)]
    for node, feeder in enumerate(feeders.tolist()):
        if node == 0:
            continue
        if not 0 <= feeder < count or feeder == node:
            msg = f"{names[node]} is fed by {feeder}, which is no other node"
            raise DomainError(
                msg,
                where="parent",
                why=f"nodes are 0 to {count - 1}",
                do="name the joint it hangs on",
            )
        children[feeder].append(node)
    order = [0]
    for node in order:  # grows while it is walked
        order.extend(children[node])
    if len(order) < count:
        missing = sorted(set(range(count)) - set(order))
        _refuse_unfed(missing, feeders.tolist(), names)
    return Tree(parent=feeders, order=np.asarray(order, dtype=np.int64))


def _refuse_unfed(missing: list[int], feeders: list[int], names: list[str]) -> None:
    node = missing[0]
    seen: list[int] = []
    while node not in seen:
        seen.append(node)
        node = feeders[node]
    ring = seen[seen.index(node) :]
    listed = ", ".join(dict.fromkeys(names[entry] for entry in missing[:8]))
    msg = f"{listed} {'is' if len(missing) == 1 else 'are'} not fed from the amplifier"
    raise DomainError(
        msg,
        where="parent",
        why=f"{' - '.join(names[entry] for entry in [*ring, ring[0]])} closes a loop",
        do="open the loop at one run, or solve it as a network with a ring",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TreeState:
    """Everything about a solved tree; phasors where frequencies were given, else real.

    Parameters
    ----------
    tree
        Which node feeds which.
    run_ohm : (n, ...)
        Loop impedance of the run that feeds each node; entry 0 is the amplifier's own. [Ω]
    load_siemens : (n, ...)
        Admittance that hangs at each node. [S]
    step_ratio : (n, ...)
        Voltage step of a volume control between run and node; 1 where there is none.
    transfer_ratio : (n, ...)
        Voltage of each node over that of its parent.
    voltage_v : (n, ...)
        Voltage at each node. [V]
    outward_siemens : (n, ...)
        Admittance looking outward from each node, its own load included: what a meter sees
        there with the feeding run taken off. [S]
    run_current_a : (n, ...)
        Current in the run that feeds each node; entry 0 is the amplifier's. [A]
    """

    tree: Tree
    run_ohm: Array
    load_siemens: Array
    step_ratio: Array
    transfer_ratio: Array
    voltage_v: Array
    outward_siemens: Array
    run_current_a: Array

    @property
    def impedance_ohm(self) -> Array:
        """Impedance (...) that the amplifier sees. [Ω]."""
        with np.errstate(divide="ignore"):
            return np.asarray(1.0 / self.outward_siemens[0])

    @property
    def outward_ohm(self) -> Array:
        """Impedance (n, ...) looking outward from each node; infinite at an open end. [Ω]."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(1.0 / self.outward_siemens)

    @property
    def load_power_w(self) -> FloatArray:
        """Power (n, ...) that the load at each node takes. [W]."""
        return np.asarray(np.abs(self.voltage_v) ** 2 * np.real(self.load_siemens))

    @property
    def run_power_w(self) -> FloatArray:
        """Power (n, ...) that warms the run feeding each node. [W]."""
        return np.asarray(np.abs(self.run_current_a) ** 2 * np.real(self.run_ohm))

    @property
    def amplifier_power_w(self) -> FloatArray:
        """Power (...) that leaves the amplifier's terminals. [W]."""
        current = np.conj(self.run_current_a[0])
        return np.asarray(np.real(self.voltage_v[0] * current))

    @property
    def amplifier_va(self) -> FloatArray:
        """Apparent power (...) that the amplifier's terminals supply. [VA]."""
        return np.asarray(np.abs(self.voltage_v[0]) * np.abs(self.run_current_a[0]))

    def gain(self, *, at: int = 0) -> Array:
        """Voltage at every node over that at one node, zero where it does not feed them.

        Parameters
        ----------
        at
            Node whose voltage is one.

        Returns
        -------
        (n, ...)
            Voltage ratios.
        """
        gains = np.zeros_like(self.transfer_ratio)
        gains[at] = 1.0
        parent = self.tree.parent
        for node in self.tree.outward(at)[1:].tolist():
            gains[node] = gains[parent[node]] * self.transfer_ratio[node]
        return gains

    def load_sensitivity(self, *, at: int = 0) -> Array:
        """Change of ln Z, looking outward at a node, per change of ln Z of each load.

        Parameters
        ----------
        at
            Node where the impedance is read.

        Returns
        -------
        (n, ...)
            d ln Z / d ln Z_load; zero for loads that are not beyond the node.

        Notes
        -----
        For a reciprocal circuit dZ/dY_k = -(U_k/I)² with I the current into the port (Tellegen's
        theorem; derived in docs/theory/circuit.md). The same pass gives all of them exactly.
        """
        return np.asarray(self.load_siemens * self.gain(at=at) ** 2 / self.outward_siemens[at])

    def run_sensitivity(self, *, at: int = 0) -> Array:
        """Change of ln Z, looking outward at a node, per change of ln Z of each run.

        Parameters
        ----------
        at
            Node where the impedance is read.

        Returns
        -------
        (n, ...)
            d ln Z / d ln Z_run; zero for runs that are not beyond the node.
        """
        current = self.step_ratio * self.outward_siemens * self.gain(at=at)
        current[at] = 0.0
        return np.asarray(self.run_ohm * current**2 / self.outward_siemens[at])

    def both_ways_siemens(self) -> Array:
        """Admittance that a meter bridges at each closed joint with the amplifier taken off.

        Returns
        -------
        (n, ...)
            Outward and inward parts together. [S]
        """
        inward = np.zeros_like(self.outward_siemens)
        children = self.tree.children()
        for node in self.tree.order.tolist():
            below = children[node]
            seen = [
                self.step_ratio[child] * self.outward_siemens[child] * self.transfer_ratio[child]
                for child in below
            ]
            own = self.load_siemens[node] + inward[node]
            # sums without one member, from both ends: no subtraction, so no lost digits
            before = [own]
            for part in seen:
                before.append(before[-1] + part)
            after = np.zeros_like(own)
            for place in range(len(below) - 1, -1, -1):
                child = below[place]
                rest = before[place] + after
                joined = rest / (1.0 + rest * self.run_ohm[child])
                inward[child] = joined / self.step_ratio[child] ** 2
                after = after + seen[place]
        return np.asarray(self.outward_siemens + inward)


def solve_tree(
    tree: Tree,
    *,
    run_ohm: ArrayLike,
    load_siemens: ArrayLike,
    amplifier_voltage_v: ArrayLike = 1.0,
    step_ratio: ArrayLike = 1.0,
) -> TreeState:
    """Solve a tree exactly, in time proportional to nodes x cases.

    Parameters
    ----------
    tree
        Which node feeds which.
    run_ohm : (n, ...)
        Loop impedance of the run that feeds each node; entry 0 is the amplifier's own output
        impedance, usually zero. [Ω]
    load_siemens : (n, ...)
        Admittance of what hangs at each node; zero for a bare joint. [S]
    amplifier_voltage_v : (...)
        Open-circuit voltage of the amplifier, which stands at its terminals when its output
        impedance is zero. [V]
    step_ratio : (n, ...)
        Secondary over primary voltage of a volume control between run and node.

    Returns
    -------
    TreeState
        Voltages, admittances, currents, and what follows from them.

    Raises
    ------
    DomainError
        If an array has not one entry a node, or a value is not finite.

    Notes
    -----
    Shunt capacitance of cable is added to ``load_siemens``, half at either end of its run. All of
    (n,) in gives (n,) out; cases broadcast over the axes after the first.

    Examples
    --------
    >>> state = solve_tree(
    ...     chain(2), run_ohm=[0.0, 1.0, 1.0], load_siemens=[0.0, 0.01, 0.01],
    ...     amplifier_voltage_v=100.0,
    ... )
    >>> state.voltage_v.round(3).tolist()
    [100.0, 98.049, 97.078]
    """
    given = [inexact(run_ohm), inexact(load_siemens), inexact(step_ratio)]
    source = inexact(amplifier_voltage_v)
    for name, values in zip(("run_ohm", "load_siemens", "step_ratio"), given, strict=True):
        _check(name, values, tree.n_nodes)
    cases = np.broadcast_shapes(*(values.shape[1:] for values in given), source.shape)
    kind = np.result_type(*given, source)
    shape = (tree.n_nodes, *cases)
    run, load, step = (_spread(values, shape, kind) for values in given)
    outward, transfer, voltage = _solve(
        tree, run, load, step, np.broadcast_to(source, cases).astype(kind)
    )
    rows = (tree.n_nodes, *cases)
    voltage = voltage.reshape(rows)
    outward = outward.reshape(rows)
    return TreeState(
        tree=tree,
        run_ohm=run,
        load_siemens=load,
        step_ratio=step,
        transfer_ratio=transfer.reshape(rows),
        voltage_v=voltage,
        outward_siemens=outward,
        run_current_a=step * outward * voltage,
    )


def _check(name: str, values: Array, n_nodes: int) -> None:
    if values.ndim and values.shape[0] != n_nodes:
        msg = f"{name} has {values.shape[0]} entries for {n_nodes} nodes"
        raise DomainError(msg, where=name, why="every node has one", do="give one value a node")
    if not np.all(np.isfinite(values)):
        msg = f"{name} has a value that is not finite"
        raise DomainError(
            msg,
            where=name,
            why="an open end is admittance 0, a short a small impedance",
            do="replace infinities and blanks",
        )


def _spread(values: Array, shape: tuple[int, ...], kind: Any) -> Array:  # noqa: ANN401 a dtype
    """Broadcast (n, cases...) with axes aligned from the left on nodes, from the right on cases."""
    if values.ndim:
        missing = len(shape) - values.ndim
        values = values.reshape((values.shape[0],) + (1,) * missing + values.shape[1:])
    return np.ascontiguousarray(np.broadcast_to(values, shape), dtype=kind)


def _solve(
    tree: Tree, run: Array, load: Array, step: Array, source: Array
) -> tuple[Array, Array, Array]:
    count = tree.n_nodes
    cases = source.size
    runs, loads, steps = (values.reshape(count, cases) for values in (run, load, step))
    sources = source.reshape(cases)
    if cases > _FEW_CASES:
        return _solve_rows(tree, runs, loads, steps, sources)
    columns = [
        _solve_column(tree, runs[:, case], loads[:, case], steps[:, case], sources[case])
        for case in range(cases)
    ]
    stacked = [np.stack(parts, axis=1) for parts in zip(*columns, strict=True)]
    outward, transfer, voltage = (part.astype(run.dtype) for part in stacked)
    return outward, transfer, voltage


def _solve_column(
    tree: Tree,
    run: Array,
    load: Array,
    step: Array,
    source: Any,  # noqa: ANN401 a numpy scalar
) -> tuple[Array, Array, Array]:
    """Solve one case in plain Python numbers, which beats numpy's overhead an element."""
    parent = tree.parent.tolist()
    order = tree.order.tolist()
    impedance, steps = run.tolist(), step.tolist()
    outward = load.tolist()
    transfer = [1.0] * len(parent)
    for node in reversed(order):
        ratio = steps[node]
        seen = ratio * outward[node]
        part = ratio / (1.0 + impedance[node] * ratio * seen)
        transfer[node] = part
        if node:
            outward[parent[node]] += seen * part
    voltage = [source.item() * transfer[0]] * len(parent)
    for node in order[1:]:
        voltage[node] = voltage[parent[node]] * transfer[node]
    return np.asarray(outward), np.asarray(transfer), np.asarray(voltage)


def _solve_rows(
    tree: Tree, run: Array, load: Array, step: Array, source: Array
) -> tuple[Array, Array, Array]:
    """Solve many cases, one row of an array a node."""
    parent = tree.parent.tolist()
    order = tree.order.tolist()
    outward = load.copy()
    transfer = np.empty_like(outward)
    for node in reversed(order):
        seen = step[node] * outward[node]
        part = step[node] / (1.0 + run[node] * step[node] * seen)
        transfer[node] = part
        if node:
            outward[parent[node]] += seen * part
    voltage = np.empty_like(outward)
    voltage[0] = source * transfer[0]
    for node in order[1:]:
        np.multiply(voltage[parent[node]], transfer[node], out=voltage[node])
    return outward, transfer, voltage
