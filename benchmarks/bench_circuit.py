"""Lines: time and digits against a circuit simulator, sparse and dense nodal solutions."""

import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from benchmarks.row import Row, best_of
from soffit.circuit.network import solve_network
from soffit.circuit.tree import Tree, solve_tree, tree_of

_OMEGA = 2.0 * np.pi * 1000.0


def _line(count: int) -> tuple[Tree, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(1)
    parent = [-1] + [int(rng.integers(max(0, i - 5), i)) for i in range(1, count)]
    run = rng.uniform(0.05, 0.4, count) + 1j * _OMEGA * rng.uniform(1e-6, 6e-6, count)
    load = rng.choice([1, 2, 5, 10], count) / 100.0**2 + 1j * _OMEGA * 1e-9
    run[0] = load[0] = 0.0
    return tree_of(parent), run, load


def _dense(tree: Tree, run: np.ndarray, load: np.ndarray) -> np.ndarray:
    count = tree.n_nodes
    matrix = np.diag(load)
    for node in range(1, count):
        y, feeder = 1.0 / run[node], tree.parent[node]
        matrix[node, node] += y
        matrix[feeder, feeder] += y
        matrix[node, feeder] -= y
        matrix[feeder, node] -= y
    voltage = np.ones(count, dtype=complex)
    voltage[1:] = np.linalg.solve(matrix[1:, 1:], -matrix[1:, 0])
    return voltage


def _deck(tree: Tree, run: np.ndarray, load: np.ndarray) -> str:
    name = ["a0"] + [f"n{i}" for i in range(1, tree.n_nodes)]
    rows = ["line", "vs a0 0 dc 0 ac 1"]
    for node in range(1, tree.n_nodes):
        rows += [
            f"rr{node} {name[tree.parent[node]]} m{node} {run[node].real:.17g}",
            f"ll{node} m{node} {name[node]} {run[node].imag / _OMEGA:.17g}",
            f"rl{node} {name[node]} 0 {1.0 / load[node].real:.17g}",
            f"cl{node} {name[node]} 0 {load[node].imag / _OMEGA:.17g}",
        ]
    return "\n".join([*rows, ".ac lin 1 1000 1000", ".end", ""])


def _simulate(text: str, folder: str) -> np.ndarray:
    Path(folder, "line.cir").write_text(text)
    command = ["ngspice", "-b", "-r", "line.raw", "line.cir"]
    subprocess.run(command, cwd=folder, check=True, capture_output=True)
    head, _, body = Path(folder, "line.raw").read_bytes().partition(b"Binary:\n")
    lines = head.decode().splitlines()
    first = lines.index("Variables:") + 1
    names = [entry.split()[1].lower() for entry in lines[first:] if entry.strip()]
    values = dict(zip(names, np.frombuffer(body, np.complex128)[: len(names)], strict=True))
    count = sum(1 for entry in names if entry.startswith("v(n")) + 1
    return np.array([values["v(a0)"], *(values[f"v(n{i})"] for i in range(1, count))])


def rows() -> list[Row]:
    tree, run, load = _line(10_001)
    ours = best_of(5, lambda: solve_tree(tree, run_ohm=run, load_siemens=load))
    ends = np.column_stack([tree.parent[1:], np.arange(1, tree.n_nodes)])
    sparse = best_of(3, lambda: solve_network(ends, run_ohm=run[1:], load_siemens=load))
    voltage = solve_tree(tree, run_ohm=run, load_siemens=load).voltage_v
    nodal = solve_network(ends, run_ohm=run[1:], load_siemens=load).voltage_v
    found = [
        Row(
            name="tree of 10 000 speakers, one frequency",
            measured=ours,
            unit="s",
            target=0.05,
            target_text="< 0.05 s",
            note=f"sparse nodal takes {sparse / ours:.1f} times as long",
        ),
        Row(
            name="tree of 10 000, worst error against sparse nodal",
            measured=float(np.max(np.abs(voltage - nodal) / np.abs(nodal))),
            unit="",
            target=1e-10,
            target_text="< 1e-10",
        ),
    ]
    small, run_2, load_2 = _line(2_000)
    quick = best_of(5, lambda: solve_tree(small, run_ohm=run_2, load_siemens=load_2))
    dense = best_of(1, lambda: _dense(small, run_2, load_2))
    found.append(
        Row(
            name="tree of 2000, share of the time of dense numpy",
            measured=quick / dense,
            unit="",
            target=0.05,
            target_text="< 1/20",
            note=f"dense takes {dense / quick:.0f} times as long",
        )
    )
    draws = run_2[:, np.newaxis] * np.linspace(0.9, 1.1, 200)
    many = best_of(2, lambda: solve_tree(small, run_ohm=draws, load_siemens=load_2))
    found.append(
        Row(
            name="200 draws of it at once, share of one after the other",
            measured=many / (200 * quick),
            unit="",
            target=0.6,
            target_text="< 0.6",
        )
    )
    if shutil.which("ngspice"):
        found += _against_simulator(small, run_2, load_2, quick)
    found.append(_start())
    return found


def _against_simulator(tree: Tree, run: np.ndarray, load: np.ndarray, quick: float) -> list[Row]:
    text = _deck(tree, run, load)
    with tempfile.TemporaryDirectory() as folder:
        slow = best_of(2, lambda: _simulate(text, folder))
        theirs = _simulate(text, folder)
    ours = solve_tree(tree, run_ohm=run, load_siemens=load).voltage_v
    return [
        Row(
            name="tree of 2000, worst error against ngspice",
            measured=float(np.max(np.abs(ours - theirs) / np.abs(theirs))),
            unit="",
            target=1e-10,
            target_text="< 1e-10",
            note=f"ngspice, start and reading included, takes {slow / quick:.0f} times as long",
        )
    ]


def _start() -> Row:
    words = ["line", "--speakers", "9", "--tap", "6 W", "--feed", "18 m", "--cable", "1.5 mm2"]
    code = "from soffit.cli.main import main; main()"
    command = [sys.executable, "-c", code, *words]

    def processor_s() -> float:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, check=True, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    wall = best_of(3, lambda: subprocess.run(command, check=True, capture_output=True))
    return Row(
        name="soffit line, processor time from start to end",
        measured=min(processor_s() for _ in range(3)),
        unit="s",
        target=0.35,
        target_text="< 0.35 s",
        note=f"{wall:.2f} s by the clock",
    )
