"""The search against a straightforward reference: the full field of every layout, one by one."""

from itertools import product

import numpy as np
import pytest

from soffit.acoustics.evenness import evenness
from soffit.decibel import power_ratio_db
from soffit.design.place_ceiling import search_ceiling
from soffit.design.place_engine import make_engine
from soffit.design.place_family import Family
from soffit.design.place_field import downward
from soffit.design.place_hand import footprint_m
from soffit.design.place_question import make_plans, make_question
from soffit.design.place_search import Scope, screen, spans
from soffit.evaluate.sound import direct_energy
from soffit.tables.settings import DEFAULT_LIMITS
from soffit_place_cases import block, polar_type, rectangle, room, speaker_type

BAND = 6


def part_of(made, kind, obstacles=(), family=None):
    question = make_question(
        made,
        speaker_type=kind,
        voltage_v=100.0,
        obstacles=obstacles,
        catalogue=None,
        placed=(),
        limits=DEFAULT_LIMITS,
        family=family,
        is_imperial=False,
    )
    return question, make_plans(question, question.field())[0][0]


def reference_spread_db(question, part, column, row) -> float:
    """Sum every speaker at every ear by the public field function, then sort."""
    sources = downward(part.field.radiator, part.sites.site_m(column, row))
    energy = direct_energy(sources, question.ears.point_m, question.acoustics)[:, BAND]
    return evenness(power_ratio_db(energy)).spread_db


L_SHAPE = ((0.0, 0.0), (9.0, 0.0), (9.0, 4.8), (4.8, 4.8), (4.8, 9.0), (0.0, 9.0))


@pytest.mark.parametrize(
    ("outline", "kind"),
    [
        (rectangle(12.0, 9.0), speaker_type()),
        (rectangle(12.0, 9.0), polar_type()),
        (L_SHAPE, polar_type()),
    ],
    ids=["rectangle", "rectangle, polar table", "L, polar table"],
)
def test_200_seeded_layouts_have_the_spread_of_the_full_field(outline, kind) -> None:
    question, part = part_of(room(outline), kind)
    engine = make_engine(part.field, part.sites, most_ears=100_000)
    screened = screen(
        part.sites,
        spans(part.sites, part.walls_local),
        engine,
        family=Family(),
        scope=Scope(
            least_count=4,
            most_count=60,
            least_pitch_m=0.35 * footprint_m(part.field, 1.8),
            share=0.95,
        ),
        n_all=question.ears.count,
    )
    chosen = np.random.default_rng(7).choice(len(screened.count), 200, replace=False)
    worst = 0.0
    for index in chosen:
        layout = screened.layout(int(index))
        assert layout.count == screened.count[index]
        spread = reference_spread_db(question, part, layout.column, layout.row)
        worst = max(worst, abs(spread - screened.spread_db[index]))
    assert worst < 1e-2  # dB: a short sum of products, single precision; figures shown are exact


def by_hand_progressions(n: int):
    """All arithmetic progressions inside 0..n-1 whose ends lie at most one pitch from the wall."""
    for first in range(n):
        yield (first,), 0
        for pitch in range(1, n):
            for count in range(2, n + 1):
                last = first + pitch * (count - 1)
                if last < n and first + 0.5 <= pitch + 1e-9 and n - 0.5 - last <= pitch + 1e-9:
                    yield tuple(range(first, last + 1, pitch)), pitch


def test_every_aligned_lattice_of_a_small_room_is_found() -> None:
    nx, ny = 8, 6
    made = room(rectangle(nx * 0.6, ny * 0.6), height=2.7)
    obstacles = [block(3, 2), block(6, 4), block(0, 0)]
    taken = {(3, 2), (6, 4), (0, 0)}
    family = Family(
        has_offset=False,
        has_near_regular=False,
        has_all_offsets=True,
        nudge_ratio=0.0,
        omit_ratio=0.0,
        aspect_ratio=2.0,
        least_spacing_ratio=0.0,
    )
    question, part = part_of(made, speaker_type(), obstacles, family)
    best: dict[int, float] = {}
    for (xs, px), (ys, py) in product(by_hand_progressions(nx), by_hand_progressions(ny)):
        if px and py and not 0.5 <= px / py <= 2.0:
            continue
        sites = np.array([(x, y) for y in ys for x in xs])
        if any((x, y) in taken for x, y in sites.tolist()):
            continue
        spread = reference_spread_db(question, part, sites[:, 0], sites[:, 1])
        best[len(sites)] = min(best.get(len(sites), np.inf), spread)
    found = search_ceiling(part, family=family, share=0.95, enough_db=0.0, most_speakers=12)
    for count, items in found.best.items():
        assert items[0].spread_db == pytest.approx(best[count], abs=1e-3)
    assert {count for count in best if count <= 12} == set(found.best) | {
        count for count in best if count < min(found.best)
    }
