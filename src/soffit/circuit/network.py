"""Exact solution of any line, rings and meshes included: sparse nodal analysis."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import coo_array, csc_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from soffit.circuit.arrays import Array, FloatArray, IntArray, inexact
from soffit.errors import DomainError


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkState:
    """Everything about a solved network.

    Parameters
    ----------
    runs : (m, 2)
        The two nodes that each run joins; node 0 is the amplifier.
    run_ohm : (m, ...)
        Loop impedance of each run. [Ω]
    load_siemens : (n, ...)
        Admittance that hangs at each node. [S]
    voltage_v : (n, ...)
        Voltage at each node. [V]
    run_current_a : (m, ...)
        Current in each run, from its first node to its second. [A]
    amplifier_current_a : (...)
        Current that leaves the amplifier. [A]
    """

    runs: IntArray
    run_ohm: Array
    load_siemens: Array
    voltage_v: Array
    run_current_a: Array
    amplifier_current_a: Array

    @property
    def impedance_ohm(self) -> Array:
        """Impedance (...) that the amplifier sees. [Ω]."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(self.voltage_v[0] / self.amplifier_current_a)

    @property
    def load_power_w(self) -> FloatArray:
        """Power (n, ...) that the load at each node takes. [W]."""
        return np.asarray(np.abs(self.voltage_v) ** 2 * np.real(self.load_siemens))

    @property
    def run_power_w(self) -> FloatArray:
        """Power (m, ...) that warms each run. [W]."""
        return np.asarray(np.abs(self.run_current_a) ** 2 * np.real(self.run_ohm))

    @property
    def amplifier_power_w(self) -> FloatArray:
        """Power (...) that leaves the amplifier. [W]."""
        return np.asarray(np.real(self.voltage_v[0] * np.conj(self.amplifier_current_a)))

    def load_sensitivity(self) -> Array:
        """Change (n, ...) of ln Z at the amplifier per change of ln Z of each load."""
        gain = self.voltage_v / self.voltage_v[0]
        return np.asarray(self.load_siemens * gain**2 * self.impedance_ohm)

    def run_sensitivity(self) -> Array:
        """Change (m, ...) of ln Z at the amplifier per change of ln Z of each run."""
        share = self.run_current_a / self.amplifier_current_a
        return np.asarray(self.run_ohm * share**2 / self.impedance_ohm)


def solve_network(
    runs: ArrayLike,
    *,
    run_ohm: ArrayLike,
    load_siemens: ArrayLike,
    amplifier_voltage_v: ArrayLike = 1.0,
) -> NetworkState:
    """Solve a line of any shape exactly.

    Parameters
    ----------
    runs : (m, 2)
        The two nodes that each run joins; node 0 is the amplifier's terminals. Parallel runs and
        rings are welcome.
    run_ohm : (m, ...)
        Loop impedance of each run, not zero. [Ω]
    load_siemens : (n, ...)
        Admittance of what hangs at each node; its length is the number of nodes. [S]
    amplifier_voltage_v : (...)
        Voltage at the amplifier's terminals. [V]

    Returns
    -------
    NetworkState
        Voltages, currents, and what follows from them.

    Raises
    ------
    DomainError
        If a node is not connected to the amplifier, a run has no impedance or joins a node with
        itself, or the shapes do not fit.

    References
    ----------
    Nodal analysis, solved by sparse LU factors (SuperLU of scipy), one factorisation a case.

    Examples
    --------
    >>> state = solve_network(
    ...     [[0, 1], [1, 2], [2, 0]], run_ohm=[1.0, 1.0, 1.0], load_siemens=[0.0, 0.01, 0.01],
    ...     amplifier_voltage_v=100.0,
    ... )
    >>> state.voltage_v.round(4).tolist()
    [100.0, 99.0099, 99.0099]
    """
    ends = np.asarray(runs, dtype=np.int64)
    impedance, load = inexact(run_ohm), inexact(load_siemens)
    source = inexact(amplifier_voltage_v)
    if load.ndim == 0 or impedance.ndim == 0 or ends.shape != (impedance.shape[0], 2):
        msg = "runs, run_ohm and load_siemens do not fit together"
        raise DomainError(
            msg,
            where="runs",
            why="runs is (m, 2), run_ohm (m, ...), load_siemens (n, ...)",
            do="give two nodes and one impedance a run, one load a node",
        )
    _check_runs(ends, impedance, load)
    cases = np.broadcast_shapes(impedance.shape[1:], load.shape[1:], source.shape)
    kind = np.result_type(impedance, load, source)
    impedance = _with_cases(impedance, cases).astype(kind)
    load = _with_cases(load, cases).astype(kind)
    source = np.broadcast_to(source, cases).astype(kind)
    count = load.shape[0]
    voltage = np.empty((count, source.size), dtype=kind)
    for case in range(source.size):
        voltage[:, case] = _solve_case(
            ends,
            impedance.reshape(-1, source.size)[:, case],
            load.reshape(count, source.size)[:, case],
            source.reshape(-1)[case],
        )
    voltage = voltage.reshape(count, *cases)
    current = np.asarray((voltage[ends[:, 0]] - voltage[ends[:, 1]]) / impedance)
    leaving = np.asarray(
        np.sum(current[ends[:, 0] == 0], axis=0)
        - np.sum(current[ends[:, 1] == 0], axis=0)
        + load[0] * voltage[0]
    )
    return NetworkState(
        runs=ends,
        run_ohm=impedance,
        load_siemens=load,
        voltage_v=voltage,
        run_current_a=current,
        amplifier_current_a=leaving,
    )


def _with_cases(values: Array, cases: tuple[int, ...]) -> Array:
    missing = len(cases) - (values.ndim - 1)
    grown = values.reshape((values.shape[0],) + (1,) * missing + values.shape[1:])
    return np.array(np.broadcast_to(grown, (values.shape[0], *cases)))


def _check_runs(ends: IntArray, impedance: Array, load: Array) -> None:
    count = load.shape[0]
    for place, (first, second) in enumerate(ends.tolist()):
        if first == second or not (0 <= first < count and 0 <= second < count):
            msg = f"run {place} joins {first} and {second}"
            raise DomainError(
                msg,
                where=f"runs[{place}]",
                why=f"a run joins two of the nodes 0 to {count - 1}",
                do="name two different nodes",
            )
    if not (np.all(np.isfinite(impedance)) and np.all(np.isfinite(load))):
        msg = "an impedance or a load is not finite"
        raise DomainError(
            msg, where="run_ohm", why="an open run is left out, not infinite", do="leave it out"
        )
    if np.any(impedance == 0.0):
        msg = "a run has no impedance"
        raise DomainError(
            msg,
            where="run_ohm",
            why="its two ends would be one node",
            do="join the two nodes, or give the run a length",
        )
    links = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count))
    _, part = connected_components(links, directed=False)
    cut_off = np.flatnonzero(part != part[0])
    if cut_off.size:
        msg = f"{', '.join(map(str, cut_off[:8].tolist()))} not connected to the amplifier"
        raise DomainError(
            msg, where="runs", why="no run leads there from node 0", do="add the missing run"
        )


def _solve_case(ends: IntArray, impedance: Array, load: Array, source: complex) -> Array:
    count = load.size
    voltage = np.zeros(count, dtype=load.dtype)
    voltage[0] = source
    if count == 1:
        return voltage
    admittance = 1.0 / impedance
    first, second = ends[:, 0], ends[:, 1]
    nodes = np.arange(count)
    matrix = csc_array(
        (
            np.concatenate([load, admittance, admittance, -admittance, -admittance]),
            (
                np.concatenate([nodes, first, second, first, second]),
                np.concatenate([nodes, first, second, second, first]),
            ),
        ),
        shape=(count, count),
    )
    inner = csc_array(matrix[1:, 1:])
    feed: Array = np.asarray(-matrix[1:, [0]].toarray()[:, 0] * source)
    factors = splu(inner)
    solution = np.asarray(factors.solve(feed))
    # one round of refinement returns what pivoting lost
    rest = np.asarray(feed - inner @ solution)
    voltage[1:] = solution + factors.solve(rest)
    return voltage
