"""Large and long rooms: the work is counted and limited, and what that leaves out is said."""

import numpy as np
import pytest

import soffit_place_cases as cases
from soffit.design import place_ceiling, place_option
from soffit.design.place import choose_layouts
from soffit.design.place_ceiling import search_ceiling
from soffit.design.place_engine import make_engine
from soffit.design.place_hand import footprint_m
from soffit.design.place_question import make_plans, make_question
from soffit.design.place_search import Scope, spans, spread_of
from soffit.tables.settings import DEFAULT_LIMITS


def question_of(room):
    return make_question(
        room,
        speaker_type=cases.speaker_type(),
        voltage_v=100.0,
        obstacles=(),
        catalogue=None,
        placed=(),
        limits=DEFAULT_LIMITS,
        family=None,
        is_imperial=False,
    )


@pytest.mark.parametrize(("lx", "ly"), [(120.0, 80.0), (1000.0, 6.0), (200.0, 6.0)])
def test_the_work_of_large_rooms_stays_within_its_limit(lx: float, ly: float) -> None:
    question = question_of(cases.room(cases.rectangle(lx, ly), height=6.0))
    part = make_plans(question, question.field())[0][0]
    engine = make_engine(part.field, part.sites, most_ears=7000)
    rounds = place_ceiling._Rounds(part, engine, 0.95)
    diameter = footprint_m(part.field, place_ceiling.throw_m(part))
    usual = place_ceiling._usual_count(part, diameter)
    scope = Scope(
        least_count=int(0.4 * usual),
        most_count=int(1.3 * usual) + 3,
        least_pitch_m=0.35 * diameter,
        share=0.95,
    )
    axes = spans(part.sites, part.walls_local)
    planned, _ = rounds._planned(axes, scope, question.family)
    lattices = sum(item.number for item in planned)
    assert lattices > 500
    assert rounds.engine.n_ears >= 500
    assert lattices * rounds.engine.n_ears <= place_ceiling._MOST_WORK


def test_a_limit_of_work_ends_in_a_layout_nearly_as_good(monkeypatch) -> None:
    room = cases.room(cases.rectangle(18.0, 12.0))
    free = choose_layouts(room, speaker_type=cases.speaker_type(), line_voltage_v=100.0)
    monkeypatch.setattr(place_ceiling, "_MOST_WORK", 2_000_000)
    monkeypatch.setattr(place_ceiling, "_LEAST_EARS", 300)
    tight = choose_layouts(room, speaker_type=cases.speaker_type(), line_voltage_v=100.0)
    assert tight.n_tried < free.n_tried
    assert "even pitches only" in tight.scope
    assert "even pitches only" not in free.scope
    assert tight.chosen.meets_brief
    assert free.chosen.count <= tight.chosen.count <= free.chosen.count + 4


def test_figures_left_as_screened_are_made_exact_before_the_choice(monkeypatch) -> None:
    monkeypatch.setattr(place_ceiling, "_MOST_PUBLIC", 0)
    monkeypatch.setattr(place_ceiling, "full_engine", lambda _field, _sites: None)
    monkeypatch.setattr(place_ceiling, "_SCREENED_EARS", 400)
    room = cases.room(cases.rectangle(12.0, 9.0))
    found = choose_layouts(room, speaker_type=cases.speaker_type(), line_voltage_v=100.0)
    assert "the choice made exact" in found.scope
    question = question_of(room)
    field = question.field()
    heights = [[x, y, 3.0] for x, y in found.chosen.positions]
    assert found.chosen.spread_db == pytest.approx(
        spread_of(field.energy(np.array(heights)), 0.95), abs=1e-3
    )
    part = make_plans(question, field)[0][0]
    again = search_ceiling(
        part, family=question.family, share=0.95, enough_db=6.0, most_speakers=2000
    )
    assert again.is_rough


def test_a_layout_judged_at_some_ears_only_has_no_figure_of_the_whole_field(monkeypatch) -> None:
    monkeypatch.setattr(place_ceiling, "_MOST_PUBLIC", 0)
    monkeypatch.setattr(place_ceiling, "full_engine", lambda _field, _sites: None)
    monkeypatch.setattr(place_ceiling, "_SCREENED_EARS", 400)
    monkeypatch.setattr(place_option, "_SMALL", 0)
    monkeypatch.setattr(place_option, "_LARGE", 0)
    room = cases.room(cases.rectangle(12.0, 9.0))
    found = choose_layouts(room, speaker_type=cases.speaker_type(), line_voltage_v=100.0)
    assert found.chosen.whole_spread_db is not None
    assert any(option.whole_spread_db is None for option in found.options)
