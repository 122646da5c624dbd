"""Taps of rooms that are open to each other: one search, no room worse, every sum written out."""

from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from soffit.acoustics.evenness import evenness
from soffit.acoustics.visibility import is_visible, outline
from soffit.decibel import power_ratio_db
from soffit.design import taps_search
from soffit.design.place import choose_layouts, option_speakers
from soffit.design.taps import choose_taps_together
from soffit.design.taps_field import joined_walls, tap_problem
from soffit.design.taps_program import _part, proposed
from soffit.design.taps_search import best_choice
from soffit.errors import JobError
from soffit.evaluate.sound import room_sound
from soffit.evaluate.sound_ears import find_ears
from soffit.evaluate.sound_source import (
    columns,
    measure_weights,
    programme_spectrum,
    sources_of,
    spectrum_share,
)
from soffit.job.api import open_job
from soffit.model.catalogue import Catalogue
from soffit.model.survey import Brief
from soffit.tables.settings import DEFAULT_LIMITS, Limits
from soffit.work.make_design import decide
from soffit.work.open_plan import open_groups
from soffit_place_cases import rectangle, room, speaker_type

KIND = speaker_type(100.0)
CATALOGUE = Catalogue(speaker_types=(KIND,))
COARSE = Limits(overrides=(("sound_ear_grid_m", 0.6),))


def side_by_side(gap_m: float = 0.0, *, shift_m: float = 0.0, **brief: object):
    """A bar and a dining room with nothing between them but ``gap_m`` of a wall that is gone."""
    briefs = {"margin_db": 10.0, "evenness_db": 2.0, **brief}
    bar = room(rectangle(5.4, 4.8), brief=Brief(**briefs))
    dining = room(
        rectangle(6.6, 4.8, 5.4 + gap_m, shift_m),
        origin=(5.4 + gap_m, shift_m),
        brief=Brief(**{**briefs, "margin_db": 16.0}),
    )
    return (
        replace(bar, key="bar", label="Bar"),
        replace(dining, key="dining", label="Dining", open_to=("bar",)),
    )


def hung(rooms, taps=None, drop=()):
    out = []
    for made in rooms:
        chosen = choose_layouts(made, speaker_type=KIND, line_voltage_v=100.0).chosen
        keys = [f"{made.key}{number}" for number in range(chosen.count)]
        out += option_speakers(made, chosen, speaker_type=KIND, line_voltage_v=100.0, keys=keys)
    out = [speaker for number, speaker in enumerate(out) if number not in drop]
    if taps is not None:
        out = [replace(s, tap=KIND.taps[k]) for s, k in zip(out, taps, strict=False)]
    return tuple(out)


def heard_db(rooms, speakers, number: int, limits, walls=None) -> float:
    """Spread in one room of what all rooms bring, speaker by speaker."""
    made = rooms[number]
    ears = find_ears(made, step_m=limits["sound_ear_grid_m"]).point_m
    share = spectrum_share(programme_spectrum(made.brief.programme))
    weight = measure_weights(made.brief.evenness_measure, share)
    from soffit.evaluate.sound_room import room_acoustics

    air = room_acoustics(made, limits).air_db_m
    total = np.zeros(len(ears))
    for speaker in speakers:
        one = sources_of([speaker], CATALOGUE, line_voltage_v=100.0)
        energy = columns(one, [0], ears, walls=None, air_db_m=air, weights=weight)[0][:, 0]
        if walls is not None:
            energy = energy * is_visible(walls, [speaker.position], ears[:, :2])[:, 0]
        total += one.power_w[0] * energy
    return evenness(power_ratio_db(total)).spread_db


@pytest.mark.parametrize("gap_m", [0.0, 0.2])
def test_every_speaker_is_heard_in_every_open_room(gap_m: float) -> None:
    rooms = side_by_side(gap_m)
    speakers = hung(rooms)
    joint = choose_taps_together(rooms, speakers, CATALOGUE, line_voltage_v=100.0, limits=COARSE)
    for number, one in enumerate(joint.rooms):
        given = heard_db(rooms, speakers, number, COARSE)
        now = heard_db(rooms, joint.speakers, number, COARSE)
        assert one.equal_spread_db == pytest.approx(given, abs=1e-3)
        assert one.spread_db == pytest.approx(now, abs=1e-3)


def test_walls_that_are_left_still_hide() -> None:
    rooms = side_by_side(0.2, shift_m=2.4)
    walls = joined_walls(rooms)
    by_hand = outline(
        [(0, 0), (5.4, 0), (5.4, 2.4), (12.2, 2.4), (12.2, 7.2), (5.6, 7.2), (5.6, 4.8), (0, 4.8)]
    )
    eyes = [(0.6, 0.6), (11.5, 6.9), (2.7, 4.2)]
    points = np.stack(np.meshgrid(np.linspace(0.3, 12.0, 30), np.linspace(2.6, 4.6, 9)), -1)
    points = points.reshape(-1, 2)
    assert np.array_equal(is_visible(walls, eyes, points), is_visible(by_hand, eyes, points))
    assert not is_visible(walls, eyes, points).all()
    speakers = hung(rooms)
    joint = choose_taps_together(rooms, speakers, CATALOGUE, line_voltage_v=100.0, limits=COARSE)
    for number, one in enumerate(joint.rooms):
        given = heard_db(rooms, speakers, number, COARSE, walls=by_hand)
        assert one.equal_spread_db == pytest.approx(given, abs=1e-3)


def test_a_column_between_open_rooms_stays() -> None:
    bar, dining = side_by_side()
    hole = rectangle(0.6, 0.6, 4.5, 2.0)[::-1]
    walls = joined_walls((replace(bar, holes=(hole,)), dining))
    assert len(walls.holes_m) == 1
    assert not is_visible(walls, [(4.0, 2.3)], [(6.0, 2.3)])[0, 0]


def test_three_rooms_in_a_row_are_one_group() -> None:
    a, b = side_by_side()
    c = replace(a, key="lounge", label="Lounge", open_to=("dining",))
    alone = replace(a, key="store", label="Store")
    assert [[r.key for r in some] for some in open_groups((a, b, c, alone))] == [
        ["bar", "dining", "lounge"]
    ]


@pytest.mark.parametrize("seed", range(4))
def test_no_room_gets_worse_by_itself_or_together(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rooms = side_by_side(evenness_db=1.2)
    count = len(hung(rooms))
    speakers = hung(rooms, taps=rng.integers(0, len(KIND.taps), count).tolist())
    joint = choose_taps_together(rooms, speakers, CATALOGUE, line_voltage_v=100.0, limits=COARSE)
    for number, (made, one) in enumerate(zip(rooms, joint.rooms, strict=True)):
        asked = 2.0 * made.brief.evenness_db
        assert one.spread_db <= max(one.equal_spread_db, asked) + 1e-3
        assert (
            heard_db(rooms, joint.speakers, number, COARSE)
            <= max(heard_db(rooms, speakers, number, COARSE), asked) + 1e-3
        )
        alone = [
            room_sound(
                made,
                CATALOGUE,
                [s for s in some if s.position[0] < 5.4]
                if number == 0
                else [s for s in some if s.position[0] > 5.4],
                limits=COARSE,
                line_voltage_v=100.0,
            )
            .evenness["direct 4 kHz"]
            .spread_db
            for some in (speakers, joint.speakers)
        ]
        assert alone[1] <= max(alone[0], asked) + 1e-3
    assert joint.changed_keys
    missed = [
        sum(max(0.0, s - 2.0 * r.brief.evenness_db) for s, r in zip(some, rooms, strict=True))
        for some in (
            [one.spread_db for one in joint.rooms],
            [one.equal_spread_db for one in joint.rooms],
        )
    ]
    assert missed[0] < missed[1]


def small():
    """Five speakers of four taps: 1024 choices."""
    rooms = side_by_side(evenness_db=1.5)
    every = hung(rooms)
    left = [number for number, s in enumerate(every) if s.position[0] < 5.4][:2]
    right = [number for number, s in enumerate(every) if s.position[0] > 5.4][:3]
    speakers = [every[number] for number in (*left, *right)]
    return rooms, speakers


def test_program_and_descent_come_to_what_all_combinations_have(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rooms, speakers = small()
    problem, start = tap_problem(rooms, speakers, CATALOGUE, 100.0, COARSE)
    whole = best_choice(problem, start)
    assert whole.is_exhaustive
    brute = min(
        problem.score(choice) for choice in product(range(len(KIND.taps)), repeat=len(speakers))
    )
    assert problem.score(whole.choice) == brute
    monkeypatch.setattr(taps_search, "_MOST_EXHAUSTIVE", 0)
    found = best_choice(problem, start)
    assert not found.is_exhaustive
    assert problem.score(found.choice)[:3] == pytest.approx(brute[:3], abs=0.02)


def test_the_program_has_the_least_watts_at_its_ears() -> None:
    rooms, speakers = small()
    wide = tuple(replace(r, brief=replace(r.brief, evenness_db=4.5)) for r in rooms)
    problem, start = tap_problem(wide, speakers, CATALOGUE, 100.0, COARSE)
    # Without the guards against what was given: only the two rooms themselves.
    areas = tuple(
        replace(area, target_db=area.given_db + 1.5, wanted_dba=78.5)
        for area in problem.areas
        if not area.is_guard
    )
    problem = replace(problem, areas=areas)
    parts = [_part(area, len(areas)) for area in areas]

    def is_kept(choice) -> bool:
        power = problem.power_w(choice)
        for area, part in zip(areas, parts, strict=True):
            energy = np.sort(power @ part.even)
            n = len(energy)
            # The best window: as many ears left out below and above as are allowed.
            ratio = energy[n - 1 - part.out] / energy[part.out]
            if ratio > 10.0 ** (area.target_db / 10.0) * (1 + 1e-7):
                return False
            if power @ part.loud < part.need * (1 - 1e-7):
                return False
        return True

    kept = [
        choice for choice in product(range(len(KIND.taps)), repeat=len(speakers)) if is_kept(choice)
    ]
    least = min(sum(KIND.taps[k].power_w for k in choice) for choice in kept)
    ours = proposed(problem, start)
    assert ours is not None
    assert is_kept(ours)
    assert sum(KIND.taps[k].power_w for k in ours) == pytest.approx(least)


JOB = """format = 1
revision = 1

[site]
name = "Invented inn"
line_voltage = 100

[rooms.bar]
label = "Bar"
corner = [0, 0]
size = [5.4, 4.8]
open_to = ["dining"]

[[rooms.bar.ceilings]]
kind = "grid"
height = 2.9

[rooms.bar.ceilings.grid]
origin = [0, 0]
pitch = [0.6, 0.6]

[rooms.bar.brief]
margin = 10
evenness = "1.2 dB"

[rooms.dining]
label = "Dining"
corner = [5.5, 0]
size = [6.6, 4.8]

[[rooms.dining.ceilings]]
kind = "grid"
height = 2.9

[rooms.dining.ceilings.grid]
origin = [5.5, 0]
pitch = [0.6, 0.6]

[rooms.dining.brief]
margin = 16
"""


def test_a_job_says_which_rooms_are_open_to_each_other(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    job = open_job(tmp_path)
    assert job.survey.room("bar").open_to == ("dining",)
    design, _ = decide(job)
    again, _ = decide(job)
    assert design == again
    for decision in design.rooms:
        assert "With what the rooms it is open to bring it holds" in decision.reason
        assert "Bar, Dining: " in decision.reason


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('["dining"]', '["dinning"]'), "dinning"),
        (('["dining"]', '["bar"]'), "bar"),
        (("corner = [5.5, 0]", "corner = [7.5, 0]"), "does not lie beside"),
        (("corner = [5.5, 0]", "corner = [5.4, 4.8]"), "does not lie beside"),
        (("corner = [5.5, 0]", "corner = [5.5, 4.9]"), "does not lie beside"),
    ],
)
def test_a_room_that_is_not_beside_is_refused(tmp_path: Path, change, says: str) -> None:
    (tmp_path / "job.toml").write_text(JOB.replace(*change), encoding="utf-8")
    with pytest.raises(JobError) as caught:
        open_job(tmp_path)
    (problem,) = [p for p in caught.value.problems if "open_to" in p.where]
    assert says in problem.what
    assert problem.why
    assert problem.do


def test_the_default_grid_of_ears_is_used_by_default() -> None:
    rooms = side_by_side()
    speakers = hung(rooms)
    joint = choose_taps_together(rooms, speakers, CATALOGUE, line_voltage_v=100.0)
    given = heard_db(rooms, speakers, 0, DEFAULT_LIMITS)
    assert joint.rooms[0].equal_spread_db == pytest.approx(given, abs=1e-3)
