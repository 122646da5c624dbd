"""What holds for the wiring of any floor."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from line_sample import key_maker, room, sample_catalogue, six_rooms, speakers_in
from soffit.design.route import wire
from soffit.evaluate.line import evaluate_line
from soffit.model.decisions import Design
from soffit.model.zones import Zone

CATALOGUE = sample_catalogue()
TOPOLOGIES = ("chain", "tees", "free tees")


def floor(seed: int, count: int):
    """Rooms of random sizes in a row with walls between them, columns in some."""
    rng = np.random.default_rng(seed)
    rooms, x = [], 0.0
    for number in range(count):
        width, height = rng.uniform(4.0, 12.0, 2)
        entry = room(f"r{number}", x, 0.0, float(width), float(height))
        if rng.random() < 0.5:
            cx, cy = x + width / 2, height / 2
            column = ((cx, cy), (cx + 0.4, cy), (cx + 0.4, cy + 0.4), (cx, cy + 0.4))
            entry = replace(entry, holes=(column,))
        rooms.append(entry)
        x += width + float(rng.choice([0.0, 0.15]))
    keys = tuple(entry.key for entry in rooms)
    zones = (
        Zone(key="a", label="a", room_keys=keys[:2], has_volume_control=bool(seed % 2)),
        Zone(key="b", label="b", room_keys=keys[2:]),
    )
    rack = replace(six_rooms().racks[0], position=(-1.0, 1.0) if seed % 3 else (0.5, 0.5))
    return six_rooms(rooms=tuple(rooms), zones=zones, racks=(rack,))


def wired(survey, speakers, topology="chain"):
    survey = replace(survey, site=replace(survey.site, topology=topology))
    return wire(survey, CATALOGUE, speakers, previous=Design(), new_key=key_maker())


@given(st.integers(0, 1000), st.integers(2, 4), st.integers(1, 4), st.sampled_from(TOPOLOGIES))
@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_every_floor_is_wired_whole(seed, rooms, each, topology):
    survey = floor(seed, rooms)
    speakers = speakers_in(survey, each, seed=seed)
    result = wired(survey, speakers, topology)
    hung = [key for line in result.lines for key in line.speaker_keys]
    assert sorted(hung) == sorted(speaker.key for speaker in speakers)
    runs = [run for line in result.lines for run in line.runs]
    assert len({run.key for run in runs}) == len(runs)
    for line in result.lines:
        state = evaluate_line(line, result.speakers, CATALOGUE, conductor_degc=40.0)
        assert state.worst_loss_db <= survey.limits["line_loss_warn_db"] + 1e-9
        for run in line.runs:
            plan = sum(math.dist(a, b) for a, b in zip(run.route, run.route[1:], strict=False))
            assert run.length_m >= plan - 1e-6
            assert run.penetrations >= 0


@given(st.integers(0, 1000), st.floats(-3.0, 3.0))
@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_turning_the_plan_turns_the_wiring_and_changes_no_length(seed, angle):
    survey = floor(seed, 3)
    speakers = speakers_in(survey, 2, seed=seed)

    def turned(point):
        x, y = point
        return (
            x * math.cos(angle) - y * math.sin(angle),
            x * math.sin(angle) + y * math.cos(angle),
        )

    spun = replace(
        survey,
        rooms=tuple(
            replace(
                entry,
                outline=tuple(turned(p) for p in entry.outline),
                holes=tuple(tuple(turned(p) for p in hole) for hole in entry.holes),
            )
            for entry in survey.rooms
        ),
        racks=tuple(replace(rack, position=turned(rack.position)) for rack in survey.racks),
    )
    moved = [replace(one, position=turned(one.position)) for one in speakers]
    first, second = wired(survey, speakers), wired(spun, moved)

    def total(result):
        return sum(run.length_m for line in result.lines for run in line.runs)

    assert total(second) == pytest.approx(total(first), rel=1e-3)


@given(st.integers(0, 1000))
@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_same_floor_same_wiring(seed):
    survey = floor(seed, 3)
    speakers = speakers_in(survey, 2, seed=seed)
    assert wired(survey, speakers) == wired(survey, speakers)


def test_two_loudspeakers_in_one_place_are_wired():
    survey = floor(4, 2)
    first, *rest = speakers_in(survey, 2)
    twin = replace(first, key="twin")
    result = wired(survey, [first, twin, *rest])
    assert all(run.length_m > 0.0 for line in result.lines for run in line.runs)


def test_a_hair_of_rotation_does_not_open_a_wall():
    # found by the law above: a line of the graph lay on a wall and passed it unseen
    survey = floor(328, 3)
    speakers = speakers_in(survey, 2, seed=328)
    angle = 1.0692e-7

    def turned(point):
        return (point[0] - angle * point[1], point[1] + angle * point[0])

    spun = replace(
        survey,
        rooms=tuple(
            replace(
                entry,
                outline=tuple(turned(p) for p in entry.outline),
                holes=tuple(tuple(turned(p) for p in hole) for hole in entry.holes),
            )
            for entry in survey.rooms
        ),
        racks=tuple(replace(rack, position=turned(rack.position)) for rack in survey.racks),
    )
    moved = [replace(one, position=turned(one.position)) for one in speakers]
    walls = [
        sum(run.penetrations for line in result.lines for run in line.runs)
        for result in (wired(survey, speakers), wired(spun, moved))
    ]
    assert walls[0] == walls[1]
