"""Lines against the circuit simulator ngspice and against a dense nodal solution.

Random trees and meshes of resistors, inductors and capacitors, 10 to 2000 nodes, seeds kept. The
simulator's own answer is read from its binary raw file, which keeps all digits.
"""

import subprocess

import numpy as np
import pytest

from soffit.circuit.network import solve_network
from soffit.circuit.tree import solve_tree, tree_of

FREQUENCY_HZ = 1000.0
OMEGA = 2.0 * np.pi * FREQUENCY_HZ


def random_line(seed: int, count: int, *, rings: int):
    """Parents, ends, R, L of runs, G, C of loads."""
    rng = np.random.default_rng(seed)
    parent = [-1] + [int(rng.integers(max(0, i - 5), i)) for i in range(1, count)]
    ends = [(parent[i], i) for i in range(1, count)]
    while len(ends) < count - 1 + rings:
        one, two = (int(v) for v in rng.integers(0, count, 2))
        if one != two:
            ends.append((one, two))
    length = rng.uniform(1.0, 12.0, len(ends))
    resistance = length * rng.choice([0.0149, 0.0266, 0.0419], len(ends))
    inductance = length * 0.6e-6
    conductance = rng.choice([1, 2, 5, 10], count) / 100.0**2
    capacitance = rng.uniform(1e-10, 5e-8, count)
    conductance[0] = capacitance[0] = 0.0
    return parent, ends, resistance, inductance, conductance, capacitance


def deck(ends, resistance, inductance, conductance, capacitance) -> str:
    name = ["a0"] + [f"n{i}" for i in range(1, len(conductance))]
    rows = ["line", "vs a0 0 dc 0 ac 1"]
    for k, (one, two) in enumerate(ends):
        rows.append(f"rr{k} {name[one]} m{k} {resistance[k]:.17g}")
        rows.append(f"ll{k} m{k} {name[two]} {inductance[k]:.17g}")
    for i in range(1, len(conductance)):
        rows.append(f"rl{i} {name[i]} 0 {1.0 / conductance[i]:.17g}")
        rows.append(f"cl{i} {name[i]} 0 {capacitance[i]:.17g}")
    rows += [f".ac lin 1 {FREQUENCY_HZ} {FREQUENCY_HZ}", ".end"]
    return "\n".join(rows) + "\n"


def simulate(text: str, folder) -> dict[str, complex]:
    (folder / "line.cir").write_text(text)
    subprocess.run(
        ["ngspice", "-b", "-r", "line.raw", "line.cir"],
        cwd=folder,
        check=True,
        capture_output=True,
        timeout=120,
    )
    raw = (folder / "line.raw").read_bytes()
    head, _, body = raw.partition(b"Binary:\n")
    lines = head.decode().splitlines()
    first = lines.index("Variables:") + 1
    names = [line.split()[1].lower() for line in lines[first:] if line.strip()]
    values = np.frombuffer(body, dtype=np.complex128)[: len(names)]
    return dict(zip(names, values, strict=True))


def dense(ends, run, load):
    count = load.size
    matrix = np.diag(load.astype(complex))
    for (one, two), z in zip(ends, run, strict=True):
        y = 1.0 / z
        matrix[one, one] += y
        matrix[two, two] += y
        matrix[one, two] -= y
        matrix[two, one] -= y
    voltage = np.ones(count, dtype=complex)
    voltage[1:] = np.linalg.solve(matrix[1:, 1:], -matrix[1:, 0])
    return voltage


def worst(ours, theirs) -> float:
    return float(np.max(np.abs(ours - theirs) / np.abs(theirs)))


@pytest.mark.needs("ngspice")
@pytest.mark.parametrize(
    ("seed", "count", "rings"),
    [(1, 10, 0), (2, 60, 0), (3, 400, 0), (4, 2000, 0), (5, 12, 3), (6, 150, 20), (7, 2000, 60)],
)
def test_voltages_and_impedance_agree_with_ngspice_to_ten_digits(seed, count, rings, tmp_path):
    parent, ends, resistance, inductance, conductance, capacitance = random_line(
        seed, count, rings=rings
    )
    answer = simulate(deck(ends, resistance, inductance, conductance, capacitance), tmp_path)
    theirs = np.array([answer["v(a0)"] if i == 0 else answer[f"v(n{i})"] for i in range(count)])
    run = resistance + 1j * OMEGA * inductance
    load = conductance + 1j * OMEGA * capacitance
    found = solve_network(ends, run_ohm=run, load_siemens=load)
    assert worst(found.voltage_v, theirs) < 1e-10
    assert abs(found.impedance_ohm * -answer["i(vs)"] - 1.0) < 1e-10
    if rings == 0:
        tree = solve_tree(tree_of(parent), run_ohm=np.concatenate([[0.0], run]), load_siemens=load)
        assert worst(tree.voltage_v, theirs) < 1e-10
        assert abs(tree.impedance_ohm * -answer["i(vs)"] - 1.0) < 1e-10


@pytest.mark.parametrize(("seed", "count", "rings"), [(11, 50, 0), (12, 300, 0), (13, 300, 25)])
def test_voltages_agree_with_a_dense_nodal_solution(seed, count, rings):
    parent, ends, resistance, inductance, conductance, capacitance = random_line(
        seed, count, rings=rings
    )
    run = resistance + 1j * OMEGA * inductance
    load = conductance + 1j * OMEGA * capacitance
    theirs = dense(ends, run, load)
    assert worst(solve_network(ends, run_ohm=run, load_siemens=load).voltage_v, theirs) < 1e-10
    if rings == 0:
        tree = solve_tree(tree_of(parent), run_ohm=np.concatenate([[0.0], run]), load_siemens=load)
        assert worst(tree.voltage_v, theirs) < 1e-10
