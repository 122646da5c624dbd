"""Subwoofers of invented rooms, from records to answer, findings and steps."""

from dataclasses import replace

import numpy as np
import pytest

from soffit.design.subs import choose_subs
from soffit.design.subs_answer import SubQuestion
from soffit.design.subs_level import (
    MainsAtCrossover,
    low_limit,
    plan_taps,
    predict_polarity,
    used_bands,
)
from soffit.design.subs_room import SubPlace, places_wished, room_shape, seats_of
from soffit.design.subs_words import find_subs, low_end_refused, site_steps
from soffit.errors import DomainError, NoSolutionError, SoffitError
from soffit.model.catalogue import Directivity, LowEnd, SpeakerType, Tap, TransformerData
from soffit.model.findings import DEFER
from soffit.model.speakers import TileRef
from soffit.model.survey import Brief, Ceiling, ListeningArea, Obstacle, Room
from soffit.tables.settings import DEFAULT_LIMITS, Limits

SUB = SpeakerType(
    id="test-sub",
    name="Invented subwoofer",
    kind="subwoofer",
    taps=tuple(Tap(power_w=w, voltage_v=100.0, mark=f"position {w:g}") for w in (15.0, 30.0, 60.0)),
    tap_watt="delivered",
    rated_power_w=100.0,
    sensitivity_db=(89.0,) * 8,
    directivity=Directivity(model="piston", piston_radius_m=0.09),
    transformer=TransformerData(lf_limit_hz=36.0, insertion_loss_db=0.6),
    depth_m=0.28,
    mass_kg=12.0,
    flange_diameter_m=0.35,
    low_end=LowEnd(
        mid_hz=(31.5, 40, 50, 63, 80, 100, 125, 160),
        sensitivity_db=(76, 83, 87, 89, 90, 90, 90, 88),
        low_limit_hz=38.0,
        max_power_w=100.0,
    ),
)
CEILING = Ceiling(key="grid", kind="grid", height_m=2.8, tile_mass_kg_m2=4.5)
ROOM = Room(
    key="den",
    label="Den",
    storey_key="ground",
    outline=((0.0, 0.0), (7.2, 0.0), (7.2, 5.4), (0.0, 5.4)),
    ceilings=(CEILING,),
    brief=Brief(programme="foreground music"),
    listening_areas=(ListeningArea(key="mats", ear_height_m=1.0),),
)
PLACES = tuple(
    SubPlace(position=(0.9 + 0.6 * c, 0.9 + 0.6 * r), tile=TileRef(column=c, row=r), height_m=2.8)
    for c in range(10)
    for r in range(7)
)
MAINS = MainsAtCrossover(
    position_m=np.array([[1.8, 1.8], [5.4, 1.8], [1.8, 3.6], [5.4, 3.6]]),
    power_w=np.full(4, 5.0),
    sensitivity_db=np.full(4, 84.0),
    low_limit_hz=80.0,
)
QUESTION = SubQuestion(
    room=ROOM,
    sub_type=SUB,
    places=PLACES,
    reverberation_s=(0.6, 0.5, 0.5, 0.4, 0.4, 0.4, 0.4, 0.3),
    mid_level_db=88.0,
    listening_dba=62.0,
    mains=MAINS,
    placed=((2.1, 2.7),),
    placed_keys=("s1",),
)


@pytest.fixture(scope="module")
def design():
    return choose_subs(QUESTION)


def test_the_best_tile_beats_the_hand_placed_one_and_says_by_how_much(design):
    by_hand = next(o for o in design.options if o.words == "as placed by hand")
    assert design.chosen.mark == "chosen"
    assert design.chosen.spread_db < by_hand.spread_db - 1.0
    assert design.chosen.support_db > by_hand.support_db
    assert design.tiles.best_db <= design.tiles.median_db <= design.tiles.worst_db
    assert design.tiles.free == 70
    found = {
        finding.code: finding for finding in find_subs(QUESTION, design, limits=DEFAULT_LIMITS)
    }
    mend = found["SUB-09"].mends[0]
    tile = design.chosen.places[0].tile
    assert tile is not None
    assert (mend.target_key, mend.value) == ("s1", f"{tile.column},{tile.row}")


def test_options_show_one_to_four_and_the_places_people_argue_about(design):
    words = [option.words for option in design.options]
    assert words == [
        "best one tile",
        "best two tiles",
        "best three tiles",
        "best four tiles",
        "middle of the room",
        "middle of the longest wall",
        "corner",
        "as placed by hand",
    ]
    assert [option.is_proven for option in design.options[:4]] == [True, True, False, False]


def test_map_and_rows_are_complete(design):
    bands = len(design.bands)
    assert design.bands == ("40", "50", "63", "80", "100")
    assert design.low_map.level_db.shape == (
        bands,
        design.low_map.y_m.size,
        design.low_map.x_m.size,
    )
    assert np.isfinite(design.low_map.level_db).mean() > 0.9
    assert [row.label for row in design.rows] == list(design.bands)
    for row in design.rows:
        assert row.low_db < 0.0 < row.high_db
        assert row.before_spread_db is not None
        assert row.leak_db > 0.0


def test_a_measured_reverberation_time_knows_the_leak():
    rows = choose_subs(replace(QUESTION, is_measured=True)).rows
    assert all(abs(row.leak_db) < 1e-9 for row in rows)


def test_the_same_question_gets_the_same_answer(design):
    again = choose_subs(QUESTION)
    assert [o.places for o in again.options] == [o.places for o in design.options]
    assert np.array_equal(again.low_map.level_db, design.low_map.level_db, equal_nan=True)


def test_every_finding_has_a_code_and_cautions_defer(design):
    found = find_subs(QUESTION, design, limits=DEFAULT_LIMITS)
    codes = [finding.code for finding in found]
    assert codes == sorted(codes)
    assert {"SUB-01", "SUB-02", "SUB-03", "SUB-04", "SUB-05", "SUB-06", "SUB-08", "SUB-09"} <= set(
        codes
    )
    for finding in found:
        assert finding.is_caution == (DEFER in finding.do)
        assert finding.what


def test_things_that_rattle_are_named():
    light = Obstacle(
        key="o1",
        label="round light",
        room_key="den",
        kind="light",
        outline=((3.4, 0.8), (3.6, 0.8), (3.6, 1.0), (3.4, 1.0)),
    )
    question = replace(QUESTION, obstacles=(light,), places=(SubPlace(position=(3.3, 0.9)),))
    found = find_subs(question, choose_subs(question), limits=DEFAULT_LIMITS)
    assert "round light" in next(f.what for f in found if f.code == "SUB-05")


def test_a_level_out_of_reach_says_how_many_watts_and_subwoofers(design):
    question = replace(QUESTION, mid_level_db=112.0)
    answer = choose_subs(question)
    taps = answer.chosen.taps
    assert taps is not None
    assert taps.tap.power_w == 60.0
    finding = next(
        f for f in find_subs(question, answer, limits=DEFAULT_LIMITS) if f.code == "SUB-02"
    )
    assert finding.severity == "warn"
    assert f"{taps.needed_w:.1f} W" in finding.what


def test_more_subwoofers_are_taken_where_one_is_too_weak(design):
    one = design.options[0].taps
    assert one is not None
    short = 10.0 * np.log10(60.0 / one.needed_w)  # one sub on its largest tap just reaches
    answer = choose_subs(replace(QUESTION, mid_level_db=88.0 + short + 3.0))
    assert len(answer.chosen.places) > 1
    assert answer.chosen.taps is not None
    assert answer.chosen.taps.is_enough


def test_a_persons_number_comes_first():
    answer = choose_subs(replace(QUESTION, count=2, own_channels=True))
    assert len(answer.chosen.places) == 2
    assert answer.settings is not None
    assert answer.settings.spread_db <= answer.settings.plain_spread_db + 1e-9
    assert any(step.title == "Subwoofers against each other" for step in site_steps(answer))


@pytest.mark.parametrize("wish", ["middle", "wall", "corner"])
def test_a_wish_for_a_place_is_kept(wish):
    answer = choose_subs(replace(QUESTION, wish=wish))
    shape = room_shape(ROOM)
    positions = np.array([place.position for place in PLACES])
    allowed = {tuple(positions[n]) for n in places_wished(shape, positions, wish)}
    assert allowed < {place.position for place in PLACES}
    for option in answer.options[:4]:
        assert {place.position for place in option.places} <= allowed


def test_the_brief_decides_the_tilt_before_habits(design):
    asked = replace(QUESTION, room=replace(ROOM, brief=Brief(low_tilt_db=4.0)))
    speech = replace(QUESTION, room=replace(ROOM, brief=Brief(programme="speech")))
    assert choose_subs(asked).tilt_asked_db == 4.0
    assert choose_subs(speech).tilt_asked_db == 0.0
    assert 5.0 < design.tilt_asked_db < 8.0  # 18 dB under the mix, about .37 dB per dB
    assert "ISO 226" in design.tilt_source


def test_a_room_of_any_plan_with_a_column_is_solved():
    room = replace(
        ROOM,
        outline=((0.0, 0.0), (7.2, 0.0), (7.2, 3.0), (4.2, 3.0), (4.2, 5.4), (0.0, 5.4)),
        holes=(((2.0, 2.0), (2.4, 2.0), (2.4, 2.4), (2.0, 2.4)),),
    )
    shape = room_shape(room)
    places = tuple(p for p in PLACES if shape.buffer(-0.3).intersects(_point(p.position)))
    answer = choose_subs(replace(QUESTION, room=room, places=places, placed=(), mains=None, most=2))
    assert "finite elements" in answer.model
    assert answer.chosen.spread_db < answer.tiles.worst_db


def _point(position):
    import shapely

    return shapely.Point(position)


def test_a_sloped_ceiling_is_said_to_be_taken_as_flat():
    room = replace(ROOM, ceilings=(replace(CEILING, slope_ratio=0.2, slope_at=(3.6, 2.7)),))
    question = replace(QUESTION, room=room)
    answer = choose_subs(question)
    assert answer.height_m == pytest.approx(2.8)
    finding = next(
        f for f in find_subs(question, answer, limits=DEFAULT_LIMITS) if f.code == "SUB-07"
    )
    assert finding.severity == "warn"
    assert "mean height" in finding.what


def test_two_ceiling_heights_are_taken_as_one():
    low = replace(
        CEILING, key="low", height_m=2.4, region=((0.0, 0.0), (3.6, 0.0), (3.6, 5.4), (0.0, 5.4))
    )
    high = replace(CEILING, key="high", region=((3.6, 0.0), (7.2, 0.0), (7.2, 5.4), (3.6, 5.4)))
    answer = choose_subs(replace(QUESTION, room=replace(ROOM, ceilings=(low, high))))
    assert answer.height_m == pytest.approx(2.6)
    assert "taken as one" in answer.notes[0]


BAD = [
    (replace(QUESTION, reverberation_s=None), DomainError, "rooms.den.reverberation"),
    (replace(QUESTION, reverberation_s=(0.0,) * 8), DomainError, "reverberation_time_s"),
    (
        replace(QUESTION, sub_type=replace(SUB, low_end=None)),
        DomainError,
        "speaker_types.test-sub.low_end",
    ),
    (replace(QUESTION, places=()), NoSolutionError, "rooms.den.ceilings"),
    (replace(QUESTION, line_voltage_v=25.0), NoSolutionError, "speaker_types.test-sub.taps"),
    (
        replace(QUESTION, room=replace(ROOM, ceilings=(replace(CEILING, height_m=0.9),))),
        DomainError,
        "rooms.den.ceilings",
    ),
    (replace(QUESTION, room=replace(ROOM, ceilings=())), NoSolutionError, "rooms.den.ceilings"),
    (
        replace(
            QUESTION,
            room=replace(ROOM, listening_areas=(ListeningArea(key="a", wall_margin_m=2.8),)),
        ),
        NoSolutionError,
        "rooms.den.listening",
    ),
    (
        replace(
            QUESTION,
            room=replace(ROOM, outline=((0.0, 0.0), (7.2, 5.4), (7.2, 0.0), (0.0, 5.4))),
        ),
        NoSolutionError,
        "rooms.den.outline",
    ),
    (
        replace(
            QUESTION,
            room=replace(
                ROOM,
                outline=((0.0, 0.0), (60.0, 0.0), (60.0, 20.0), (30.0, 50.0), (0.0, 50.0)),
            ),
        ),
        NoSolutionError,
        "outline",
    ),
]


@pytest.mark.parametrize(("question", "kind", "where"), BAD)
def test_bad_input_is_refused_with_four_parts(question, kind, where):
    with pytest.raises(kind) as caught:
        choose_subs(question)
    problem = caught.value.problems[0]
    assert problem.where == where
    assert problem.what
    assert problem.why
    assert problem.do
    finding = low_end_refused(question.room, caught.value)
    assert finding.code == "SUB-10"
    assert problem.what in finding.what


def test_low_end_data_that_do_not_fit_are_refused():
    for low_end in (
        replace(SUB.low_end, sensitivity_db=(1.0,)),
        replace(SUB.low_end, max_power_w=0.0),
        replace(SUB.low_end, mid_hz=(40, 31.5, 50, 63, 80, 100, 125, 160)),
    ):
        with pytest.raises(DomainError):
            choose_subs(replace(QUESTION, sub_type=replace(SUB, low_end=low_end)))
    gap = replace(SUB.low_end, mid_hz=(31.5, 40, 50, 80, 100, 125, 160), sensitivity_db=(80,) * 7)
    with pytest.raises(DomainError, match="63 Hz"):
        choose_subs(replace(QUESTION, sub_type=replace(SUB, low_end=gap)))


def test_the_transformer_sets_the_low_limit_on_a_line_above_its_own():
    on_100 = low_limit(sub_type=SUB, line_voltage_v=100.0, tap=SUB.taps[0])
    on_141 = low_limit(sub_type=SUB, line_voltage_v=141.4, tap=SUB.taps[0])
    assert (on_100.usable_hz, on_100.reason) == (38.0, "driver")
    assert on_141.usable_hz == pytest.approx(50.9, abs=0.01)
    assert on_141.reason == "transformer"
    with pytest.raises(DomainError):
        used_bands(limit=on_141, crossover_hz=45.0)


def test_the_smallest_tap_that_reaches_is_taken_and_losses_are_counted_once():
    plan = plan_taps(
        sub_type=SUB,
        line_voltage_v=100.0,
        count=2,
        level_at_1_w_db=80.0,
        wanted_db=97.0,
        tolerance_db=1.0,
    )  # 10^1.7 = 50.1 W, less 1 dB is 39.8 W: two of 30 W
    assert plan.tap.power_w == 30.0
    assert plan.needed_w == pytest.approx(50.12, abs=0.01)
    assert plan.delivered_w == pytest.approx(60.0)
    assert plan.drawn_w == pytest.approx(60.0 * 10**0.06)
    assert plan.tilt_db == pytest.approx(0.78, abs=0.01)
    assert plan.is_enough


def test_polarity_test_finds_what_was_swapped_and_delayed():
    tones = np.linspace(90.0, 112.0, 9)
    rng = np.random.default_rng(2)
    mains = rng.normal(size=(12, 9)) + 1j * rng.normal(size=(12, 9))
    late = np.exp(-2j * np.pi * tones * 0.001)
    straight = predict_polarity(
        sub_pressure=mains,
        mains_pressure=mains,
        frequency_hz=tones,
        band_label="100",
        delay_most_s=0.01,
    )
    swapped = predict_polarity(
        sub_pressure=-mains,
        mains_pressure=mains * late,
        frequency_hz=tones,
        band_label="100",
        delay_most_s=0.01,
    )
    assert straight.difference_db > 20.0
    assert straight.delay_s == 0.0
    assert swapped.difference_db < 0.0
    assert swapped.delay_s in {0.0005, 0.001}
    assert swapped.gain_db >= 0.0


def test_steps_name_filters_polarity_level_and_rattle(design):
    titles = [step.title for step in site_steps(design)]
    assert titles == ["Filters", "Polarity", "Delay", "Level", "Listen", "Rattle"]
    assert all(step.do and step.proof for step in site_steps(design))


def test_seats_lie_in_listening_areas_and_not_where_they_are_excluded():
    room = replace(
        ROOM,
        listening_areas=(
            ListeningArea(key="all", ear_height_m=1.2),
            ListeningArea(
                key="stage",
                is_excluded=True,
                wall_margin_m=0.0,
                outline=((0.0, 0.0), (3.6, 0.0), (3.6, 5.4), (0.0, 5.4)),
            ),
        ),
    )
    seats = seats_of(room, room_shape(room))
    assert len(seats) > 20
    assert seats[:, 0].min() > 3.6
    assert seats[:, 0].max() < 6.7 + 1e-9


def test_settings_of_the_job_are_obeyed():
    limits = Limits((("lowfreq_crossover_hz", 80.0), ("lowfreq_tones_per_third", 3.0)))
    answer = choose_subs(replace(QUESTION, mains=None), limits=limits)
    assert answer.crossover_hz == 80.0
    assert answer.bands == ("40", "50", "63", "80")
    assert answer.polarity is None


def test_all_refusals_are_our_own_errors():
    for _, kind, _ in BAD:
        assert issubclass(kind, SoffitError)


def test_turning_the_room_turns_the_answer(design):
    turn = 0.5
    cos, sin = np.cos(turn), np.sin(turn)

    def turned(point):
        return (
            float(cos * point[0] - sin * point[1] + 4.0),
            float(sin * point[0] + cos * point[1] - 7.0),
        )

    room = replace(ROOM, outline=tuple(turned(corner) for corner in ROOM.outline))
    places = tuple(replace(place, position=turned(place.position)) for place in PLACES)
    answer = choose_subs(
        replace(QUESTION, room=room, places=places, placed=(turned((2.1, 2.7)),), mains=None)
    )
    assert answer.tiles.best_db == pytest.approx(design.tiles.best_db, abs=1e-3)
    assert answer.chosen.spread_db == pytest.approx(design.chosen.spread_db, abs=5e-3)
    assert answer.options[-1].spread_db == pytest.approx(design.options[-1].spread_db, abs=1e-3)


def test_a_fine_lattice_is_thinned_evenly():
    places = tuple(
        SubPlace(position=(0.4 + 0.1 * c, 0.4 + 0.1 * r)) for c in range(65) for r in range(47)
    )
    answer = choose_subs(replace(QUESTION, places=places, most=2, placed=(), placed_keys=()))
    assert 150 < answer.tiles.free <= 700
    assert answer.options[1].is_proven


def test_under_an_open_ceiling_the_subwoofer_hangs_where_it_hangs(design):
    room = replace(ROOM, ceilings=(replace(CEILING, kind="open", height_m=4.0),))
    low = tuple(replace(place, height_m=2.8) for place in PLACES)
    hung = choose_subs(replace(QUESTION, room=room, places=low))
    flush = choose_subs(
        replace(QUESTION, room=room, places=tuple(replace(p, height_m=4.0) for p in PLACES))
    )
    assert hung.height_m == flush.height_m == 4.0
    assert hung.tiles.median_db != pytest.approx(flush.tiles.median_db, abs=0.01)
    assert all(row.leak_db == pytest.approx(0.0, abs=1e-9) for row in hung.rows)


@pytest.mark.parametrize("time_s", [0.4, 1.0, 2.0])
def test_tones_are_dense_enough_for_the_modes_of_a_live_room(time_s):
    question = replace(
        QUESTION, reverberation_s=(time_s,) * 8, is_measured=True, most=1, placed=(), placed_keys=()
    )
    usual = choose_subs(question)
    dense = choose_subs(question, limits=Limits((("lowfreq_tones_per_third", 48.0),)))
    assert usual.chosen.support_db == pytest.approx(dense.chosen.support_db, abs=0.3)
    assert usual.tiles.median_db == pytest.approx(dense.tiles.median_db, abs=0.1)
