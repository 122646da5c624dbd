"""choose_layouts at its edges: every kind of ceiling, every refusal, every figure recomputed."""

from dataclasses import replace
from math import radians

import numpy as np
import pytest

from soffit.design.place import choose_layouts, option_speakers
from soffit.design.place_family import Family
from soffit.design.place_proof import prove_room
from soffit.errors import NoSolutionError
from soffit.evaluate.ceiling import evaluate_ceiling
from soffit.evaluate.sound import room_sound
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Survey
from soffit.model.survey import (
    Brief,
    Ceiling,
    Grid,
    Joists,
    ListeningArea,
    PlacedSpeaker,
    Site,
    Storey,
)
from soffit.tables.settings import DEFAULT_LIMITS
from soffit_place_cases import block, polar_type, rectangle, room, speaker_type

L_SHAPE = ((0.0, 0.0), (9.0, 0.0), (9.0, 5.4), (5.4, 5.4), (5.4, 9.0), (0.0, 9.0))
T_SHAPE = (
    (0.0, 6.0),
    (4.2, 6.0),
    (4.2, 0.0),
    (7.8, 0.0),
    (7.8, 6.0),
    (12.0, 6.0),
    (12.0, 10.2),
    (0.0, 10.2),
)


def turned(ring, degrees: float):
    c, s = np.cos(radians(degrees)), np.sin(radians(degrees))
    return tuple((float(c * x - s * y), float(s * x + c * y)) for x, y in ring)


TWO_CEILINGS = (
    Ceiling(
        key="low",
        kind="plasterboard",
        height_m=2.6,
        region=rectangle(3.0, 6.0),
        void_depth_m=0.5,
    ),
    Ceiling(
        key="high",
        kind="grid",
        height_m=3.2,
        region=rectangle(6.0, 6.0, 3.0),
        grid=Grid(origin=(3.0, 0.0), pitch_x_m=0.6, pitch_y_m=0.6),
        void_depth_m=0.5,
    ),
)

ROOMS = {
    "grid": room(rectangle(9.0, 7.2)),
    "inch grid off the corner": room(
        rectangle(9.0, 7.2), pitch=(0.6096, 0.6096), origin=(0.31, 0.22)
    ),
    "long tiles": room(rectangle(9.0, 7.2), pitch=(1.2, 0.6)),
    "grid at an angle": room(rectangle(9.0, 7.2), angle=radians(30.0)),
    "room and grid turned": room(turned(rectangle(9.0, 7.2), 25.0), angle=radians(25.0)),
    "border tiles": room(rectangle(8.7, 7.0), border=True),
    "plasterboard": room(rectangle(8.0, 6.0), kind="plasterboard"),
    "joists": room(
        rectangle(8.0, 6.0),
        kind="plasterboard",
        joists=Joists(angle_rad=0.0, spacing_m=0.4, width_m=0.045, offset=(0.0, 0.1)),
    ),
    "joists at an angle": room(
        rectangle(8.0, 6.0),
        kind="plasterboard",
        joists=Joists(angle_rad=radians(45.0), spacing_m=0.45, width_m=0.045),
    ),
    "open": room(rectangle(9.0, 7.2), kind="open", height=5.0),
    "L": room(L_SHAPE),
    "T": room(T_SHAPE),
    "column": room(rectangle(9.0, 7.2), holes=(rectangle(0.6, 0.6, 4.2, 3.0)[::-1],)),
    "two ceilings": room(rectangle(9.0, 6.0), ceilings=TWO_CEILINGS),
    "slope": room(
        rectangle(9.0, 6.0),
        ceilings=(
            Ceiling(key="c", kind="plasterboard", height_m=2.8, slope_ratio=0.1, void_depth_m=0.5),
        ),
    ),
}


@pytest.mark.parametrize("name", ROOMS)
def test_every_kind_of_ceiling_gets_a_layout_whose_figures_are_true(name: str) -> None:
    made = ROOMS[name]
    kind = polar_type()
    result = choose_layouts(made, speaker_type=kind, line_voltage_v=100.0)
    catalogue = Catalogue(speaker_types=(kind,))
    assert result.chosen.meets_brief
    assert result.chosen in result.options
    assert [o.count for o in result.options] == sorted(o.count for o in result.options)
    for option in result.options:
        if option.mark not in {"chosen", "cheaper", "finer"} and option.count > 14:
            continue
        speakers = option_speakers(
            made,
            option,
            speaker_type=kind,
            line_voltage_v=100.0,
            keys=[f"s{i}" for i in range(option.count)],
        )
        sound = room_sound(made, catalogue, speakers, limits=DEFAULT_LIMITS, line_voltage_v=100.0)
        direct, whole = sound.evenness["direct 4 kHz"], sound.evenness["whole 4 kHz"]
        assert option.spread_db == pytest.approx(direct.spread_db, abs=5e-3)
        assert option.std_db == pytest.approx(direct.std_db, abs=5e-3)
        assert option.worst_db == pytest.approx(direct.worst_db - direct.median_db, abs=6e-3)
        assert option.whole_spread_db == pytest.approx(whole.spread_db, abs=5e-3)
        assert option.watts_w == pytest.approx(sum(s.tap.power_w for s in speakers))
        if option is result.chosen:
            assert option.spread_db == pytest.approx(direct.spread_db, abs=2e-4)
            assert sound.full_level_dba >= 55.0 - 0.1
            _fits(made, catalogue, speakers)


def _fits(made, catalogue, speakers) -> None:
    """The check of ceilings finds nothing wrong with where they sit."""
    survey = Survey(site=Site(name="s"), storeys=(Storey(key="ground", label="g"),), rooms=(made,))
    for fit in evaluate_ceiling(survey, speakers, catalogue).speakers:
        assert fit.is_inside
        assert fit.edge_gap_m >= 0.0
        assert fit.joist_gap_m is None or fit.joist_gap_m >= 0.01 - 1e-9
        assert fit.shares_tile_with == ""
        if made.ceilings[0].kind == "grid":
            assert fit.tile_is_usable
            assert fit.off_centre_m < 1e-6


def test_the_same_question_has_the_same_answer() -> None:
    made = room(L_SHAPE)
    taken = [block(3, 3), block(7, 2)]
    answers = [
        choose_layouts(made, speaker_type=polar_type(), line_voltage_v=100.0, obstacles=taken)
        for _ in range(2)
    ]
    assert answers[0] == answers[1]


def test_a_count_named_by_the_brief_is_kept_and_judged() -> None:
    made = room(rectangle(9.0, 7.2), brief=Brief(margin_db=10.0, count=4))
    result = choose_layouts(made, speaker_type=speaker_type(), line_voltage_v=100.0)
    assert result.chosen.count == 4
    assert not result.chosen.meets_brief
    (finding,) = [f for f in result.findings if f.code == "PLACE-01"]
    assert "the brief names 4 speakers" in finding.why
    assert "speakers in the best pattern meet it" in finding.do


def test_a_spacing_named_by_the_specification_is_laid_and_judged() -> None:
    made = room(rectangle(9.0, 7.2), brief=Brief(margin_db=10.0, spacing_m=2.4))
    result = choose_layouts(made, speaker_type=speaker_type(), line_voltage_v=100.0)
    xs = sorted({x for x, _ in result.chosen.positions})
    assert np.allclose(np.diff(xs), 2.4, atol=0.31)
    assert "names its spacing" in result.reason


def test_hand_rules_stand_on_the_front() -> None:
    result = choose_layouts(
        room(rectangle(9.0, 7.2)), speaker_type=speaker_type(), line_voltage_v=100.0
    )
    marks = [o.mark for o in result.options]
    assert sum(mark.startswith("hand rule") for mark in marks) == 6
    assert {"chosen", "cheaper"} <= set(marks)


def test_speakers_put_by_hand_are_counted_and_their_tiles_left_alone() -> None:
    made = room(rectangle(9.0, 7.2))
    kind = speaker_type()
    hung = tuple(
        PlacedSpeaker(key=f"p{i}", room_key="room", type_id=kind.id, position=p, tap_w=3.0)
        for i, p in enumerate([(1.5, 1.5), (4.5, 3.9)])
    )
    plain = choose_layouts(made, speaker_type=kind, line_voltage_v=100.0)
    result = choose_layouts(made, speaker_type=kind, line_voltage_v=100.0, placed=hung)
    assert result.n_placed == 2
    assert result.chosen.count == len(result.chosen.positions) + 2
    assert result.chosen.count <= plain.chosen.count + 2
    for x, y in result.chosen.positions:
        assert min(np.hypot(x - p.position[0], y - p.position[1]) for p in hung) > 0.3


def test_a_level_that_no_tap_reaches_is_a_finding() -> None:
    made = room(rectangle(9.0, 7.2), brief=Brief(level_dba=115.0))
    result = choose_layouts(made, speaker_type=speaker_type(), line_voltage_v=100.0)
    assert result.chosen.tap_w == 12.0
    assert "PLACE-02" in [f.code for f in result.findings]


def test_an_unsurveyed_noise_is_assumed_and_said() -> None:
    made = replace(room(rectangle(6.0, 4.8), brief=Brief()), noise=None)
    result = choose_layouts(made, speaker_type=speaker_type(), line_voltage_v=100.0)
    assert "PLACE-03" in [f.code for f in result.findings]


def test_a_listening_area_larger_than_the_room_is_a_finding() -> None:
    area = ListeningArea(key="a", outline=rectangle(12.0, 12.0, -1.0, -1.0))
    made = room(rectangle(6.0, 4.8), areas=(area,))
    result = choose_layouts(made, speaker_type=speaker_type(), line_voltage_v=100.0)
    assert "PLACE-04" in [f.code for f in result.findings]


@pytest.mark.parametrize(
    ("kind", "taken", "binds"),
    [
        (speaker_type(15.0), [], "directivity"),
        (speaker_type(90.0), [(c, r) for c in range(15) for r in range(2, 12)], "are free"),
    ],
    ids=["narrow type", "blocked"],
)
def test_a_brief_that_cannot_be_met_names_the_limit_that_binds(kind, taken, binds: str) -> None:
    made = room(rectangle(9.0, 7.2), height=2.4, brief=Brief(margin_db=10.0, evenness_db=1.0))
    made = (
        made if kind.id == "invented-15" else replace(made, ceilings=room(rectangle(9, 7)).ceilings)
    )
    result = choose_layouts(
        made,
        speaker_type=kind,
        line_voltage_v=100.0,
        obstacles=[block(c, r) for c, r in taken],
    )
    assert not result.chosen.meets_brief
    (finding,) = [f for f in result.findings if f.code == "PLACE-01"]
    assert binds in finding.why or "near the walls" in finding.why
    assert "ask for ±" in finding.do


REFUSALS = [
    (
        "no free tile",
        lambda: (room(rectangle(3.0, 2.4)), [block(c, r) for c in range(5) for r in range(4)]),
    ),
    ("smaller than a tile", lambda: (room(rectangle(0.55, 0.5)), [])),
    ("between the tees", lambda: (room(rectangle(1.1, 1.1), origin=(0.55, 0.55)), [])),
    ("no ceiling", lambda: (replace(room(rectangle(5.0, 4.0)), ceilings=()), [])),
    ("grid turned out", lambda: (room(rectangle(5.0, 0.8), angle=radians(45.0)), [])),
    ("ears above", lambda: (room(rectangle(5.0, 4.0), height=1.1), [])),
    (
        "no ears",
        lambda: (room(rectangle(5.0, 4.0), areas=(ListeningArea(key="a", wall_margin_m=3.0),)), []),
    ),
]


@pytest.mark.parametrize("case", range(len(REFUSALS)), ids=[name for name, _ in REFUSALS])
def test_what_cannot_be_placed_is_refused_in_four_parts(case: int) -> None:
    made, taken = REFUSALS[case][1]()
    with pytest.raises(NoSolutionError) as caught:
        choose_layouts(made, speaker_type=speaker_type(), line_voltage_v=100.0, obstacles=taken)
    problem = caught.value.problems[0]
    assert problem.what
    assert problem.where.startswith("rooms.room")
    assert problem.why
    assert problem.do


def test_progress_rises_to_one() -> None:
    seen: list[float] = []
    choose_layouts(
        room(rectangle(6.0, 4.8)),
        speaker_type=speaker_type(),
        line_voltage_v=100.0,
        progress=lambda done, _text: seen.append(done),
    )
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def test_a_proof_is_noted_in_the_decision() -> None:
    made = room(rectangle(4.8, 3.6))
    kind = speaker_type()
    layouts = choose_layouts(made, speaker_type=kind, line_voltage_v=100.0)
    proof = prove_room(made, layouts, speaker_type=kind, line_voltage_v=100.0, seconds=30.0)
    assert proof.certificate.is_proven
    assert proof.layouts.decision().bound == proof.certificate.text


def test_a_smaller_family_still_finds_a_layout() -> None:
    family = Family(has_offset=False, has_near_regular=False, has_blocks=False)
    result = choose_layouts(
        room(rectangle(9.0, 7.2)),
        speaker_type=speaker_type(),
        line_voltage_v=100.0,
        family=family,
    )
    assert "rows aligned" in result.chosen.pattern or result.chosen.count <= 3


def test_a_subwoofer_put_by_hand_keeps_its_tile_and_is_no_main() -> None:
    made = room(rectangle(9.0, 7.2))
    kind = speaker_type()
    sub = speaker_type(90.0, id="invented-sub", kind="subwoofer", flange_diameter_m=0.4)
    plain = choose_layouts(made, speaker_type=kind, line_voltage_v=100.0)
    x, y = plain.chosen.positions[0]
    put = PlacedSpeaker(key="s", room_key="room", type_id=sub.id, position=(x, y), tap_w=12.0)
    result = choose_layouts(
        made,
        speaker_type=kind,
        line_voltage_v=100.0,
        placed=(put,),
        catalogue=Catalogue(speaker_types=(kind, sub)),
    )
    assert result.n_placed == 0
    assert result.chosen.count == len(result.chosen.positions)
    assert (x, y) not in result.chosen.positions


def test_a_large_hall_with_columns_is_settled_with_their_shadows(monkeypatch) -> None:
    monkeypatch.setattr("soffit.design.place_engine._MOST_WALLED", 1000)
    made = room(rectangle(10.8, 9.0), holes=(rectangle(0.5, 0.5, 5.2, 4.3)[::-1],))
    kind = polar_type()
    result = choose_layouts(made, speaker_type=kind, line_voltage_v=100.0)
    assert "corners and columns counted for the best of each count" in result.scope
    speakers = option_speakers(
        made,
        result.chosen,
        speaker_type=kind,
        line_voltage_v=100.0,
        keys=[f"s{i}" for i in range(result.chosen.count)],
    )
    sound = room_sound(
        made,
        Catalogue(speaker_types=(kind,)),
        speakers,
        limits=DEFAULT_LIMITS,
        line_voltage_v=100.0,
    )
    assert result.chosen.meets_brief
    assert result.chosen.spread_db == pytest.approx(
        sound.evenness["direct 4 kHz"].spread_db, abs=2e-4
    )
