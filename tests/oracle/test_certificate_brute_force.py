"""The certificate against every subset of tiles of tiny rooms, and against what search finds."""

from itertools import combinations, pairwise

import numpy as np
import pytest

from soffit.design.certificate import _folded, _program, prove_count
from soffit.design.certificate_lift import make_lift
from soffit.design.certificate_model import meets
from soffit.design.certificate_relaxed import _linear, relax_intervals, whole_bound
from soffit.design.place_ceiling import search_ceiling
from soffit.design.place_family import Family
from soffit.design.place_question import make_plans, make_question
from soffit.design.place_search import spread_of
from soffit.tables.settings import Limits
from soffit_place_cases import block, polar_type, rectangle, room, speaker_type

HALF_METRE = Limits(overrides=(("sound_ear_grid_m", 0.5),))


def part_of(made, kind, obstacles=()):
    question = make_question(
        made,
        speaker_type=kind,
        voltage_v=100.0,
        obstacles=obstacles,
        catalogue=None,
        placed=(),
        limits=HALF_METRE,
        family=None,
        is_imperial=False,
    )
    return make_plans(question, question.field())[0][0]


def best_of_all_subsets(part, most: int) -> list[float]:
    """Least spread of every count, by trying every subset of the free sites."""
    free = np.argwhere(part.sites.is_free)
    columns = part.field.columns(part.sites.site_m(free[:, 0], free[:, 1]))
    return [
        min(
            spread_of(columns[list(chosen)].sum(axis=0), 0.95)
            for chosen in combinations(range(len(free)), count)
        )
        for count in range(1, most + 1)
    ]


ROOMS = [
    (rectangle(3.6, 3.0), 2.7, speaker_type(90.0), [(0, 0), (1, 0), (2, 3), (5, 2)], 1, 0.05),
    (rectangle(3.6, 2.4), 2.5, speaker_type(75.0), [], 2, 0.01),
    (rectangle(3.6, 3.0), 2.7, polar_type(), [(2, 2), (3, 1)], 2, 0.02),
]


@pytest.mark.parametrize("case", range(len(ROOMS)))
def test_the_certificate_equals_all_subsets_of_a_tiny_room(case: int) -> None:
    outline, height, kind, taken, place, more_db = ROOMS[case]
    made = room(outline, height=height)
    part = part_of(made, kind, [block(c, r) for c, r in taken])
    spreads = best_of_all_subsets(part, 3)
    asked = spreads[place] + more_db
    fewest = next(k + 1 for k, spread in enumerate(spreads) if spread <= asked)
    proof = prove_count(part, spread_db=asked, share=0.95, is_folded=False, seconds=60.0)
    assert proof.is_proven
    assert proof.is_reproducible
    assert proof.best_count == fewest
    assert proof.bound == fewest
    sites = part.sites.site_m(np.array(proof.column), np.array(proof.row))
    assert spread_of(part.field.energy(sites), 0.95) <= asked + 1e-6


def test_a_bound_is_never_above_what_search_finds() -> None:
    part = part_of(room(rectangle(7.2, 5.4)), speaker_type())
    found = search_ceiling(part, family=Family(), share=0.95, enough_db=3.0, most_speakers=40)
    for asked in (4.0, 5.0, 6.0):
        meeting = [item for item in found.every() if item.spread_db <= asked]
        fewest = min(meeting, key=lambda item: item.layout.count).layout
        proof = prove_count(
            part, spread_db=asked, share=0.95, known=(fewest.column, fewest.row), seconds=30.0
        )
        assert proof.best_count is not None
        assert proof.bound <= proof.best_count <= fewest.count


def test_a_brief_that_no_arrangement_meets_is_proven_impossible() -> None:
    part = part_of(
        room(rectangle(4.8, 3.6)),
        speaker_type(60.0),
        [block(c, r) for c in range(8) for r in range(6) if (c, r) not in {(0, 0), (7, 5), (1, 0)}],
    )
    proof = prove_count(part, spread_db=3.0, share=0.95, seconds=30.0)
    assert proof.best_count is None
    assert proof.is_proven
    assert "no arrangement meets" in proof.text


def test_time_that_runs_out_leaves_an_open_bound_that_says_so() -> None:
    part = part_of(room(rectangle(9.6, 7.2)), speaker_type())
    proof = prove_count(part, spread_db=4.0, share=0.95, seconds=0.0)
    assert not proof.is_proven
    assert not proof.is_reproducible
    assert proof.bound >= 1


def tiny_room(seed: int):
    """A seeded room of few free tiles, symmetric in every second case."""
    rng = np.random.default_rng(seed)
    columns, rows = int(rng.integers(5, 8)), int(rng.integers(4, 7))
    made = room(rectangle(0.6 * columns, 0.6 * rows), height=float(rng.uniform(2.2, 3.2)))
    kind = [speaker_type(60.0), speaker_type(90.0), speaker_type(120.0), polar_type()][seed % 4]
    is_symmetric = seed % 2 == 0
    taken = []
    for column in range((columns + 1) // 2 if is_symmetric else columns):
        for row in range((rows + 1) // 2 if is_symmetric else rows):
            if rng.uniform() < 0.4:
                taken += (
                    [(c, r) for c in {column, columns - 1 - column} for r in {row, rows - 1 - row}]
                    if is_symmetric
                    else [(column, row)]
                )
    part = part_of(made, kind, [block(c, r) for c, r in sorted(set(taken))])
    return part, is_symmetric


def every_layout(program, most: int):
    """All choices of site variables with at most so many speakers, and their energies."""
    n = len(program.weight)
    for size in range(1, most + 1):
        for chosen in combinations(range(n), size):
            if program.weight[list(chosen)].sum() <= most:
                yield chosen


@pytest.mark.parametrize("seed", range(12))
def test_bounds_of_the_level_hold_for_every_layout_of_a_random_tiny_room(seed: int) -> None:
    part, is_symmetric = tiny_room(seed)
    fold = _folded(part, is_folded=is_symmetric)
    asked = float(np.random.default_rng(seed).uniform(3.0, 7.0))
    program = _program(part.field, part.sites, fold, asked, 0.95)
    most = 8 if is_symmetric else 3
    ears = int(program.ear_weight.sum())
    seen = []
    for chosen in every_layout(program, most):
        if meets(program, chosen):
            energy = np.repeat(program.gain[list(chosen)].sum(axis=0), program.ear_weight)
            seen.append(
                (float(np.quantile(energy, 0.025)), int(program.weight[list(chosen)].sum()))
            )
    assert ears > program.allowed
    edges = np.geomspace(0.02, 4.0, 60)
    for low, high in pairwise(edges):
        fewest = min((count for level, count in seen if low <= level <= high), default=None)
        if fewest is None:
            continue
        answers = relax_intervals(program, [(float(low), float(high), 1)], 1000, 20.0)
        assert min(answer.bound for answer in answers) <= fewest


@pytest.mark.parametrize("seed", range(12))
def test_every_row_of_the_lifted_program_holds_for_every_layout(seed: int) -> None:
    part, is_symmetric = tiny_room(seed)
    fold = _folded(part, is_folded=is_symmetric)
    asked = float(np.random.default_rng(100 + seed).uniform(3.0, 8.0))
    program = _program(part.field, part.sites, fold, asked, 0.95)
    checked = 0
    for chosen in every_layout(program, 8 if is_symmetric else 3):
        if not meets(program, chosen):
            continue
        energy = program.gain[list(chosen)].sum(axis=0)
        every = np.sort(np.repeat(energy, program.ear_weight))
        place = (len(every) - 1) * 0.025
        level = float(
            every[int(place)] ** (1 - place % 1) * every[int(place) + 1] ** (place % 1)
        )  # levels, not energies, are interpolated
        low, high = level * 0.99, level * 1.02
        lift = make_lift(program, low, high, 20.0)
        table = _linear(program, (low, high), 1000, lift, 100)
        assert table is not None
        n_sites, n_ears = len(program.weight), len(program.ear_weight)
        point = np.zeros(table.matrix.shape[1])
        point[list(chosen)] = 1.0
        point[n_sites] = level
        point[n_sites + 1 : n_sites + 1 + n_ears] = energy < level * (1.0 - 1e-9)
        above = (energy > program.ratio * level * (1.0 + 1e-6)) * program.ear_weight
        total = program.gain.T + program.fixed[:, None]
        usable = table.upper[:n_sites] > 0.0
        assert usable[list(chosen)].all()
        hit = ((total > program.ratio * high) & usable).any(axis=1)
        point[n_sites + 1 + n_ears : -1] = above[hit]
        value = table.matrix @ point
        assert np.all(value >= table.least - 1e-6)
        assert np.all(value <= table.greatest + 1e-6)
        checked += 1
        if checked == 25:
            break


def test_bounds_are_rounded_to_counts_that_symmetric_layouts_can_have() -> None:
    part, _ = tiny_room(4)
    program = _program(part.field, part.sites, _folded(part, is_folded=True), 4.0, 0.95)
    step = int(np.gcd.reduce(program.weight))
    assert whole_bound(program, 2.9) % step == 0
    assert whole_bound(program, 2.9) >= 3
    assert whole_bound(program, 4.00001) == 4
