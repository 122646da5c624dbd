"""Wiring orders and cable sizes: time, proof, and ratios to what a hand would do."""

import itertools
import time
from dataclasses import replace

import highspy
import numpy as np

from benchmarks.row import Row, best_of
from soffit.circuit.cable import awg_area_m2, awg_resistance_ohm_m, copper_mass_kg_m
from soffit.circuit.tree import solve_tree, tree_of
from soffit.design.cable import Wiring, choose_one_size, choose_tapered
from soffit.design.route import Wired, wire
from soffit.design.route_order import choose_order
from soffit.design.solver import quiet_solver
from soffit.job.catalogue import load_demo_catalogue
from soffit.job.parse import parse_job
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Design, Survey
from soffit.model.speakers import Speaker

_GAUGES = (10, 12, 14, 16, 18, 20)


def _six_rooms(count: int, seed: int) -> np.ndarray:
    """Priced distances between a rack and loudspeakers in six rooms: rectilinear, 5 m a wall."""
    rng = np.random.default_rng(seed)
    room = np.arange(count) % 6
    corner = np.column_stack([(room % 3) * 14.0, (room // 3) * 11.0])
    points = corner + np.round(rng.uniform([1, 1], [13, 10], (count, 2)) / 0.6) * 0.6
    points = np.vstack([[20.0, -3.0], points])
    walls = np.concatenate([[-1], room])
    cost = np.abs(points[:, None] - points[None]).sum(axis=-1)
    return np.asarray(cost + 5.0 * (walls[:, None] != walls[None]))


def _chain(count: int, seconds: float) -> list[Row]:
    worst, gap, ratio, plain = 0.0, 0.0, [], []
    for seed in (1, 2, 3):
        cost = _six_rooms(count, seed)
        worst = max(worst, best_of(2, lambda cost=cost: choose_order(cost)))
        found = choose_order(cost)
        gap = max(gap, 0.0 if found.is_proven else found.gap_ratio)
        ratio.append(found.hand_m / found.cost_m)
        plain.append(found.two_opt_m / found.cost_m)
    return [
        Row(
            name=f"chain of {count} through six rooms, slowest of three",
            measured=worst,
            unit="s",
            target=seconds,
            target_text=f"< {seconds:g} s",
            note=f"nearest neighbour {np.mean(ratio):.3f}, 2-opt {np.mean(plain):.3f} as long",
        ),
        Row(
            name=f"chain of {count}, largest gap of three",
            measured=gap,
            unit="",
            target=0.0,
            target_text="proven",
        ),
    ]


def _tree_of_80(seed: int) -> Wiring:
    rng = np.random.default_rng(seed)
    tree = tree_of([-1, 0] + [int(rng.integers(max(1, i - 6), i)) for i in range(2, 81)])
    length, load = rng.uniform(2.0, 9.0, 81), rng.choice([2.0, 5.0, 10.0], 81) / 100.0**2
    length[0], length[1], load[0] = 0.0, 40.0, 0.0
    return Wiring(
        tree=tree,
        length_m=length,
        load_siemens=load,
        size_ohm_m=np.array([awg_resistance_ohm_m(g, conductor_degc=40.0) for g in _GAUGES]),
        size_kg_m=np.array([copper_mass_kg_m(awg_area_m2(g)) for g in _GAUGES]),
        step_ratio=np.ones(81),
    )


def _integer_programme_kg(line: Wiring, limit_db: float) -> float:
    """Least copper with currents frozen and frozen anew, kept where the exact solution agrees."""
    count, sizes = line.tree.n_nodes, line.size_ohm_m.size
    chosen, best = np.zeros(count, dtype=np.int64), np.inf
    leaves = [node for node in range(1, count) if not np.any(line.tree.parent == node)]
    for _ in range(6):
        state = solve_tree(
            line.tree,
            run_ohm=2.0 * line.size_ohm_m[chosen] * line.length_m,
            load_siemens=line.load_siemens,
        )
        solver, total = quiet_solver(seconds=60.0), count * sizes
        every = np.arange(total, dtype=np.int32)
        solver.addVars(total, np.zeros(total), np.ones(total))
        solver.changeColsCost(total, every, (line.length_m[:, None] * line.size_kg_m[None]).ravel())
        whole = np.full(total, highspy.HighsVarType.kInteger)
        solver.changeColsIntegrality(total, every, whole)
        for run in range(count):
            own = every[run * sizes : (run + 1) * sizes]
            solver.addRow(1.0, 1.0, sizes, own, np.ones(sizes))
        for leaf in leaves:
            path = [node for node in line.tree.path(leaf) if node]
            index = np.concatenate([every[n * sizes : (n + 1) * sizes] for n in path])
            drops = [
                2.0 * line.size_ohm_m * line.length_m[n] * state.run_current_a[n] for n in path
            ]
            most = 1.0 - 10.0 ** (-limit_db / 20.0)
            solver.addRow(-highspy.kHighsInf, most, index.size, index, np.concatenate(drops))
        solver.run()
        chosen = np.asarray(solver.getSolution().col_value).reshape(count, sizes).argmax(axis=1)
        if line.losses_db(chosen).max() <= limit_db:
            best = min(best, line.copper_kg(chosen))
    return best


def _tapered() -> list[Row]:
    slowest, excess, saved = 0.0, 0.0, []
    for seed in (1, 2, 3):
        line = _tree_of_80(seed)
        limit = 0.6
        slowest = max(
            slowest, best_of(1, lambda line=line, limit=limit: choose_tapered(line, limit_db=limit))
        )
        found = choose_tapered(line, limit_db=limit)
        assert found.worst_loss_db <= limit
        excess = max(excess, found.copper_kg / _integer_programme_kg(line, limit) - 1.0)
        saved.append(1.0 - found.copper_kg / choose_one_size(line, limit_db=limit).copper_kg)
    return [
        Row(
            name="tapered cable, 80 runs, slowest of three",
            measured=slowest,
            unit="s",
            target=5.0,
            target_text="< 5 s",
            note=f"saves {np.mean(saved):.0%} of one size's copper",
        ),
        Row(
            name="tapered cable, copper over the integer programme's",
            measured=excess,
            unit="",
            target=0.01,
            target_text="< 1 %",
        ),
    ]


_FLOOR = """
format = 1
[site]
name = "one large zone, invented"
region = "US"
line_voltage = 70.7
[rooms.hall]
corner = [0, 0]
size = [48, 36]
[[rooms.hall.ceilings]]
key = "g"
kind = "grid"
height = 3.0
grid = { origin = [0, 0], pitch = [0.6, 0.6] }
[racks.main]
room = "hall"
at = [0.5, 0.5]
"""


def _floor() -> tuple[Survey, Catalogue, tuple[Speaker, ...]]:
    """240 loudspeakers in one zone."""
    catalogue = load_demo_catalogue()
    survey = parse_job(_FLOOR, catalogue).survey
    tap = catalogue.speaker("ceiling-4").taps_at(survey.site.line_voltage_v)[1]
    speakers = [
        Speaker(
            key=f"s{column}-{row}",
            label="",
            room_key="hall",
            ceiling_key="g",
            type_id="ceiling-4",
            position=(round(1.5 + 1.8 * column, 3), round(1.5 + 2.4 * row, 3)),
            mount_height_m=3.0,
            tap=tap,
        )
        for column in range(20)
        for row in range(12)
    ]
    return survey, catalogue, tuple(speakers)


def _edit() -> list[Row]:
    """One of 240 moved by a tile: only its line is laid again."""
    survey, catalogue, speakers = _floor()
    counter = itertools.count(1)

    def key() -> str:
        return f"n{next(counter)}"

    start = time.perf_counter()
    first = wire(survey, catalogue, speakers, previous=Design(), new_key=key)
    anew = time.perf_counter() - start
    before = Design(speakers=first.speakers, lines=first.lines, amplifiers=first.amplifiers)
    moved = tuple(
        replace(one, position=(one.position[0] + 0.6, one.position[1])) if place == 100 else one
        for place, one in enumerate(before.speakers)
    )
    edited = replace(before, speakers=moved)

    def again() -> Wired:
        return wire(survey, catalogue, moved, previous=edited, new_key=key, before=before)

    kept = sum(old == new for old, new in zip(before.lines, again().lines, strict=True))
    return [
        Row(
            name="one of 240 in one zone moved by hand, wired again",
            measured=best_of(2, again),
            unit="s",
            target=2.0,
            target_text="< 2 s",
            note=f"all anew {anew:.1f} s; {kept} of {len(before.lines)} lines as they were",
        )
    ]


def rows() -> list[Row]:
    return [*_chain(60, 10.0), *_chain(80, 20.0), *_tapered(), *_edit()]
