"""The certificate against every subset of tiles of tiny rooms, and against what search finds."""

from itertools import combinations

import numpy as np
import pytest

from soffit.design.certificate import prove_count
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
