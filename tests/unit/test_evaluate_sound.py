"""Rooms as records: levels, evenness, ears, refusals, dragging, speech."""

from dataclasses import replace

import numpy as np
import pytest

from soffit.acoustics.room import absorption_coefficients, late_share
from soffit.decibel import power_ratio_db
from soffit.errors import DomainError
from soffit.evaluate import speech
from soffit.evaluate.sound import RoomSound, room_sound, sound_state
from soffit.evaluate.sound_ears import find_ears
from soffit.evaluate.sound_live import LiveRoom
from soffit.evaluate.sound_room import room_acoustics, room_noise
from soffit.evaluate.sound_source import radiator_of
from soffit.model.catalogue import (
    Catalogue,
    Directivity,
    PolarTable,
    SpeakerType,
    Tap,
    TransformerData,
)
from soffit.model.decisions import Survey
from soffit.model.speakers import Speaker
from soffit.model.survey import (
    Brief,
    Ceiling,
    Grid,
    ListeningArea,
    Noise,
    Room,
    Site,
    Storey,
    Surface,
    TestPoint,
)
from soffit.model.zones import Zone
from soffit.tables.settings import DEFAULT_LIMITS, Limits

TAP = Tap(power_w=5.0, voltage_v=100.0)
L_PLAN = ((0.0, 0.0), (12.0, 0.0), (12.0, 5.0), (5.0, 5.0), (5.0, 9.0), (0.0, 9.0))
L_SPOTS = ((2.0, 2.0), (6.0, 2.5), (10.0, 2.5), (2.5, 7.0))


def speaker_type(**changes) -> SpeakerType:
    values = {
        "id": "demo",
        "name": "invented 6 in",
        "kind": "ceiling",
        "taps": (TAP,),
        "tap_watt": "delivered",
        "rated_power_w": 20.0,
        "sensitivity_db": (78.0, 84.0, 88.0, 90.0, 90.0, 90.0, 90.0, 87.0),
        "directivity": Directivity(model="cosine", coverage_angle_rad=np.pi / 2),
        "transformer": TransformerData(lf_limit_hz=80.0, insertion_loss_db=1.0),
        "depth_m": 0.1,
        "mass_kg": 2.0,
        "flange_diameter_m": 0.22,
    }
    return SpeakerType(**{**values, **changes})


CATALOGUE = Catalogue(
    speaker_types=(
        speaker_type(),
        speaker_type(id="sub", kind="subwoofer"),
        speaker_type(id="wall", kind="surface"),
        speaker_type(
            id="wide", directivity=Directivity(model="cosine", coverage_angle_rad=np.radians(178))
        ),
    )
)


def make_room(**changes) -> Room:
    values = {
        "key": "hall",
        "label": "Hall",
        "storey_key": "ground",
        "outline": L_PLAN,
        "ceilings": (Ceiling(key="c", kind="plasterboard", height_m=3.0),),
        "reverberation_s": (0.9,) * 8,
        "noise": Noise(kind="nc", value=35.0),
        "brief": Brief(margin_db=15.0, sti_min=0.5),
        "test_points": (TestPoint(key="t1", label="T1", position=(2.0, 2.0)),),
    }
    return Room(**{**values, **changes})


def make_speakers(spots=L_SPOTS, **changes) -> list[Speaker]:
    values = {
        "room_key": "hall",
        "ceiling_key": "c",
        "type_id": "demo",
        "mount_height_m": 3.0,
        "tap": TAP,
    }
    return [
        Speaker(key=f"s{n}", label=f"L1-{n:02}", position=spot, **{**values, **changes})
        for n, spot in enumerate(spots, 1)
    ]


def evaluate(room=None, speakers=None, limits=DEFAULT_LIMITS, **options) -> RoomSound:
    return room_sound(
        make_room() if room is None else room,
        CATALOGUE,
        make_speakers() if speakers is None else speakers,
        limits=limits,
        line_voltage_v=100.0,
        **options,
    )


@pytest.fixture(scope="module")
def hall() -> RoomSound:
    return evaluate()


def test_record_is_complete_and_names_its_models(hall):
    assert hall.ears.count == len(hall.direct_energy) == len(hall.whole_energy)
    assert np.all(hall.whole_energy > hall.direct_energy)
    assert set(hall.evenness) == {
        f"{field} {band}" for field in ("direct", "whole") for band in ("4 kHz", "2 kHz", "dBA")
    }
    for words in ("cosine power fitted to a coverage of 90°", "T 0.90 s", "measured", "ears every"):
        assert words in hall.model_text
    assert "edition 5" in hall.speech.text
    assert "NC-35" in hall.speech.text
    assert hall.evenness["whole 4 kHz"].spread_db < hall.evenness["direct 4 kHz"].spread_db


def test_target_is_noise_plus_margin_and_reserve_is_what_is_left(hall):
    assert hall.target_dba == pytest.approx(44.2 + 15.0, abs=0.05)
    assert hall.reserve_db == pytest.approx(hall.full_level_dba - hall.target_dba)
    assert hall.speech.level_dba == pytest.approx(hall.target_dba)
    assert hall.loudest_dba > hall.target_dba


def test_twice_the_tap_is_3_01_db_more_and_line_loss_comes_off(hall):
    twice = evaluate(speakers=make_speakers(tap=Tap(power_w=10.0, voltage_v=100.0)))
    assert twice.full_level_dba - hall.full_level_dba == pytest.approx(3.0103, abs=1e-3)
    lossy = evaluate(loss_db={f"s{n}": 1.0 for n in range(1, 5)})
    assert lossy.full_level_dba - hall.full_level_dba == pytest.approx(-1.0, abs=1e-9)


def test_a_70_v_tap_on_a_100_v_line_gets_twice_its_power(hall):
    wrong = evaluate(speakers=make_speakers(tap=Tap(power_w=5.0, voltage_v=100.0 / 2**0.5)))
    assert wrong.full_level_dba - hall.full_level_dba == pytest.approx(3.0103, abs=1e-3)


def test_reading_under_a_speaker_by_hand():
    room = make_room(reverberation_s=(0.3,) * 8)
    one = evaluate(room, make_speakers(spots=((2.0, 2.0),)))
    point = one.test_levels[0]
    # 90 dB + 5 W (6.99) - 20 dB drive - one octave of eight (9.03) - 1.8 m (5.11)
    assert point.direct_octave_db[4] == pytest.approx(90 + 6.990 - 20 - 9.031 - 5.105, abs=0.01)
    constant = one.acoustics.room_constant_m2[4]
    late = 90 + 6.990 - 20 - 9.031 + 10 * np.log10(16 * np.pi / (2 * 4.99 * constant))
    whole = 10 * np.log10(10 ** (point.direct_octave_db[4] / 10) + 10 ** (late / 10))
    assert point.octave_db[4] == pytest.approx(whole, abs=0.02)
    assert point.nearest_key == "s1"


def test_a_mirrored_or_turned_room_has_the_same_evenness(hall):
    for turn in (
        np.diag([-1.0, 1.0]),
        np.array([[0.0, -1.0], [1.0, 0.0]]),
        np.array([[np.cos(0.4), -np.sin(0.4)], [np.sin(0.4), np.cos(0.4)]]),
    ):
        outline = tuple(tuple(map(float, p)) for p in np.array(L_PLAN) @ turn.T)
        spots = [tuple(map(float, p)) for p in np.array(L_SPOTS) @ turn.T]
        turned = evaluate(make_room(outline=outline, test_points=()), make_speakers(spots))
        assert turned.ears.count == hall.ears.count
        for measure, found in turned.evenness.items():
            assert found.spread_db == pytest.approx(hall.evenness[measure].spread_db, abs=1e-6)


def test_ears_keep_their_margin_and_step():
    room = make_room(
        holes=(((2.0, 2.0), (3.0, 2.0), (3.0, 3.0), (2.0, 3.0)),),
        listening_areas=(
            ListeningArea(key="seats", outline=((0, 0), (5, 0), (5, 5), (0, 5))),
            ListeningArea(
                key="stand", outline=((4, 0), (12, 0), (12, 5), (4, 5)), ear_height_m=1.6
            ),
            ListeningArea(key="bar", outline=((8, 0), (9, 0), (9, 9), (8, 9)), is_excluded=True),
        ),
    )
    ears = find_ears(room, step_m=0.3)
    assert ears.step_m <= 0.3
    x, y = ears.point_m[:, 0], ears.point_m[:, 1]
    assert x.min() >= 0.5
    assert not np.any((x > 8) & (x < 9))
    assert not np.any((x > 1.5) & (x < 3.5) & (y > 1.5) & (y < 3.5))
    assert set(ears.point_m[:, 2]) == {1.2, 1.6}
    assert ears.area_keys == ("seats", "stand")
    assert len(np.unique(ears.point_m[:, :2].round(9), axis=0)) == ears.count


REFUSALS = {
    "area outside": {
        "listening_areas": (
            ListeningArea(key="a", outline=((20, 20), (22, 20), (22, 22), (20, 22))),
        )
    },
    "no room for ears": {"listening_areas": (ListeningArea(key="a", wall_margin_m=3.0),)},
    "T of 30 s": {"reverberation_s": (30.0,) * 8},
    "T of zero": {"reverberation_s": (0.0,) * 8},
    "no ceiling": {"ceilings": ()},
    "noise not a number": {"noise": Noise(kind="octaves", octaves_db=(40.0,) * 7 + (np.nan,))},
    "noise without value": {"noise": Noise(kind="dba")},
    "noise off the table": {"noise": Noise(kind="nc", value=90.0)},
}


@pytest.mark.parametrize("name", REFUSALS)
def test_an_impossible_room_is_refused_by_name_and_the_others_stand(name):
    bad = make_room(key="bad", label="Bad", **REFUSALS[name])
    survey = Survey(
        site=Site(name="invented"),
        storeys=(Storey(key="ground", label="Ground"),),
        rooms=(make_room(), bad, make_room(key="empty", label="Empty")),
    )
    speakers = make_speakers() + [
        replace(s, key=f"b{s.key}", room_key="bad") for s in make_speakers()
    ]
    state = sound_state(survey, CATALOGUE, speakers)
    assert [room.room_key for room in state.rooms] == ["hall"]
    assert state.silent == ("empty",)
    ((key, problem),) = state.refused
    assert key == "bad"
    assert problem.what
    assert problem.do
    assert state.room("bad") is None


def test_a_ceiling_lower_than_the_ears_is_refused():
    with pytest.raises(DomainError, match=r"ears at 1\.20 m"):
        evaluate(speakers=make_speakers(mount_height_m=1.0))


def test_polar_data_that_are_no_numbers_are_refused():
    angles = tuple(np.radians([0.0, 45.0, 90.0]))
    table = PolarTable(angle_rad=angles, level_db=((0.0, -3.0, np.nan),) * 8)
    broken = speaker_type(directivity=Directivity(model="polar", polar=(table,)))
    with pytest.raises(DomainError, match="at 90°"):
        radiator_of(broken)
    with pytest.raises(DomainError, match="no data"):
        radiator_of(speaker_type(directivity=Directivity(model="polar")))


def test_polar_tables_of_the_catalogue_are_read_by_band():
    angles = tuple(np.radians([0.0, 45.0, 90.0]))
    levels = tuple((0.0, -float(band), -2.0 * band) for band in range(8))
    table = PolarTable(angle_rad=angles, level_db=levels)
    made = radiator_of(speaker_type(directivity=Directivity(model="polar", polar=(table,))))
    found = power_ratio_db(made.directivity.at_angle(np.radians(45.0)))
    np.testing.assert_allclose(found, -np.arange(8.0), atol=1e-6)
    planes = tuple(replace(table, plane=plane) for plane in ("horizontal", "vertical"))
    pair = radiator_of(
        speaker_type(kind="surface", directivity=Directivity(model="polar", polar=planes))
    )
    assert pair.directivity.model == "polar pair"
    skewed = (planes[0], replace(planes[1], angle_rad=tuple(np.radians([0.0, 50.0, 90.0]))))
    with pytest.raises(DomainError, match="different angles"):
        radiator_of(speaker_type(directivity=Directivity(model="polar", polar=skewed)))


def test_subwoofers_are_left_to_the_low_frequency_model(hall):
    more = [*make_speakers(), *make_speakers(type_id="sub")[:1]]
    more[-1] = replace(more[-1], key="sub1")
    assert evaluate(speakers=more).full_level_dba == pytest.approx(hall.full_level_dba)


def test_a_wall_unit_sounds_where_it_is_aimed():
    wall = make_speakers(spots=((0.1, 2.5),), type_id="wall", aim=(1.0, 0.0, -0.3))
    found = evaluate(speakers=wall)
    level = found.levels_db("direct 2 kHz")
    near = np.linalg.norm(found.ears.point_m[:, :2] - [4.0, 2.5], axis=1) < 0.5
    behind_corner = (found.ears.point_m[:, 1] > 8.0) & (found.ears.point_m[:, 0] > 4.0)
    assert level[near].min() > level[behind_corner].max()


def test_columns_cast_shadows(hall):
    column = ((7.5, 2.0), (8.5, 2.0), (8.5, 3.0), (7.5, 3.0))
    room = make_room(holes=(column,))
    one = evaluate(room, make_speakers(spots=((6.0, 2.5),)))
    level = one.levels_db("direct 4 kHz")
    hidden = (one.ears.point_m[:, 0] > 9.5) & (abs(one.ears.point_m[:, 1] - 2.5) < 0.3)
    assert np.all(level[hidden] == -np.inf)
    assert one.evenness["whole 4 kHz"].spread_db < np.inf


def test_surfaces_give_the_volume_the_areas_and_the_time():
    room = make_room(
        outline=((0, 0), (8, 0), (8, 5), (0, 5)),
        reverberation_s=None,
        surfaces=(
            Surface(part="floor", material="carpet_on_pad"),
            Surface(part="walls", material="glass_ordinary", area_m2=20.0),
            Surface(part="walls", material="painted_concrete"),
            Surface(part="ceiling", material="plaster_on_lath"),
            Surface(part="furniture", material="upholstered_seats_empty", area_m2=10.0),
        ),
    )
    found = room_acoustics(room, DEFAULT_LIMITS)
    assert found.volume_m3 == pytest.approx(120.0)
    assert found.surface_m2 == pytest.approx(158.0)
    assert found.assumptions == ()
    area = (
        40 * absorption_coefficients("carpet_on_pad")
        + 20 * absorption_coefficients("glass_ordinary")
        + 58 * absorption_coefficients("painted_concrete")
        + 40 * absorption_coefficients("plaster_on_lath")
        + 10 * absorption_coefficients("upholstered_seats_empty")
    )
    air = 4 * found.air_db_m * np.log(10) / 10 * 120.0
    np.testing.assert_allclose(found.absorption_area_m2, area + air, rtol=1e-12)
    np.testing.assert_allclose(found.sabine_s, 0.16102 * 120 / (area + air), rtol=1e-4)
    assert found.model == "Eyring"
    assert np.all(found.eyring_s < found.sabine_s)


def test_unknown_surfaces_are_assumed_in_words():
    room = make_room(reverberation_s=None, surfaces=())
    found = room_acoustics(room, DEFAULT_LIMITS)
    words = " ".join(assumption.text for assumption in found.assumptions)
    for part in ("floor", "walls", "ceiling", "furniture"):
        assert part in words


def test_two_ceilings_give_the_volume_of_both():
    low = Ceiling(key="low", kind="grid", height_m=2.5, region=((0, 5), (5, 5), (5, 9), (0, 9)))
    high = Ceiling(key="high", kind="grid", height_m=4.0)
    found = room_acoustics(make_room(ceilings=(low, high)), DEFAULT_LIMITS)
    assert found.volume_m3 == pytest.approx(20 * 2.5 + 60 * 4.0)


@pytest.mark.parametrize(
    ("noise", "level"),
    [
        (Noise(kind="dba", value=45.0), 45.0),
        (Noise(kind="nc", value=40.0), 49.0),
        (Noise(kind="octaves", octaves_db=(64, 56, 50, 45, 41, 39, 38, 37)), 49.0),
    ],
)
def test_noise_in_each_of_its_forms(noise, level):
    assert room_noise(noise).level_dba == pytest.approx(level, abs=0.05)


def test_loud_noise_known_in_dba_only_is_people():
    loud, quiet = (room_noise(Noise(kind="dba", value=level)) for level in (70.0, 40.0))
    assert "talking people" in loud.text
    assert "air handling" in quiet.text
    assert loud.octave_db[5] - loud.octave_db[1] > quiet.octave_db[5] - quiet.octave_db[1] + 10
    assert room_noise(Noise(kind="dba", value=70.0), people_from_dba=80.0).octave_db[0] > 70.0


def test_rating_curve_noise_and_no_noise():
    assert room_noise(Noise(kind="nr", value=35.0)).octave_db[4] == pytest.approx(35.0)
    assert room_noise(None) is None
    quiet = evaluate(make_room(noise=None, brief=Brief(margin_db=10.0)))
    assert quiet.target_dba is None
    assert quiet.reserve_db is None
    assert "no noise known" in quiet.speech.text


def test_dragging_gives_what_a_fresh_evaluation_gives(hall):
    live = LiveRoom(make_room(), hall)
    assert live.state().evenness.spread_db == pytest.approx(
        hall.evenness["direct 4 kHz"].spread_db, abs=1e-9
    )
    assert live.state().level_dba == pytest.approx(hall.full_level_dba, abs=1e-9)
    before = live.level_map()
    moved = live.move("s2", (7.0, 3.0))
    fresh = evaluate(speakers=make_speakers([L_SPOTS[0], (7.0, 3.0), *L_SPOTS[2:]]))
    assert moved.evenness.spread_db == pytest.approx(
        fresh.evenness["direct 4 kHz"].spread_db, abs=1e-6
    )
    assert moved.level_dba == pytest.approx(fresh.full_level_dba, abs=1e-6)
    live.move("s2", L_SPOTS[1])
    after = live.level_map()
    shown = np.isfinite(before.level_db)
    np.testing.assert_allclose(after.level_db[shown], before.level_db[shown], atol=0.01)


def test_the_map_is_the_level_at_the_ears(hall):
    live = LiveRoom(make_room(), hall, measure="whole dBA", map_step_m=0.25)
    shown = live.level_map()
    assert shown.inside.sum() * 0.25**2 == pytest.approx(80.0, rel=0.05)
    assert np.all(np.isnan(shown.level_db[~shown.inside]))
    row, column = np.argwhere(shown.inside)[200]
    place = (shown.grid.x_m()[column], shown.grid.y_m()[row])
    room = make_room(test_points=(TestPoint(key="p", label="P", position=place),))
    share = hall.share
    point = evaluate(room).test_levels[0]
    energy = 10 ** (point.octave_db / 10) * 100 * 8 * share * 10 ** (hall.drive_db / 10)
    a_weights = np.array([-26.2, -16.1, -8.6, -3.2, 0, 1.2, 1.0, -1.1])
    level = 10 * np.log10(np.sum(energy * 10 ** (a_weights / 10)))
    assert shown.level_db[row, column] == pytest.approx(level, abs=0.01)


def test_retapping_while_live(hall):
    live = LiveRoom(make_room(), hall)
    for key in hall.sources.keys:
        state = live.retap(key, 10.0)
    assert state.level_dba - hall.full_level_dba == pytest.approx(3.0103, abs=1e-3)
    assert state.evenness.spread_db == pytest.approx(hall.evenness["direct 4 kHz"].spread_db)


def test_a_map_on_tiles_passes_through_their_centres():
    grid = Grid(origin=(0.15, 0.2), pitch_x_m=0.6, pitch_y_m=0.6)
    room = make_room(ceilings=(Ceiling(key="c", kind="grid", height_m=3.0, grid=grid),))
    found = evaluate(room, make_speakers(spots=((0.15 + 2.1, 0.2 + 2.7),)))
    live = LiveRoom(room, found, map_step_m=0.2)
    assert live.grid.step_m == pytest.approx(0.15)
    assert np.min(np.abs(live.grid.x_m() - 2.25)) < 1e-9
    assert np.min(np.abs(live.grid.y_m() - 2.9)) < 1e-9


def test_too_fine_a_map_is_refused(hall):
    with pytest.raises(DomainError):
        LiveRoom(make_room(), hall, map_step_m=0.005)


def test_louder_and_more_speakers_do_not_help_a_church_but_absorption_does():
    room = make_room(
        ceilings=(Ceiling(key="c", kind="plasterboard", height_m=5.0),),
        reverberation_s=(3.0,) * 8,
        noise=Noise(kind="nc", value=20.0),
        brief=Brief(level_dba=75.0, sti_min=0.55),
    )
    found = evaluate(room, make_speakers(mount_height_m=5.0)).speech
    help_ = found.remedies
    assert found.asked_ratio < 0.1
    assert help_.sti_louder - found.reached_sti < 0.03
    assert help_.sti_quieter - found.reached_sti < 0.03
    assert help_.sti_even < 0.55
    assert help_.sti_dry > 0.8
    assert 0.3 < help_.needed_time_s < 1.6


def test_noise_is_what_hinders_a_dry_and_noisy_room():
    room = make_room(
        reverberation_s=(0.4,) * 8,
        noise=Noise(kind="nc", value=50.0),
        brief=Brief(level_dba=58.0, sti_min=0.6),
    )
    found = evaluate(room).speech
    assert found.remedies.sti_quieter > found.reached_sti + 0.1
    assert found.remedies.sti_louder > found.reached_sti + 0.05


def test_settings_are_used(hall):
    coarse = evaluate(limits=Limits(overrides=(("sound_ear_grid_m", 0.6),)))
    assert coarse.ears.count < hall.ears.count / 3
    louder = evaluate(limits=Limits(overrides=(("sound_speech_crest_db", 6.0),)))
    assert louder.full_level_dba - hall.full_level_dba == pytest.approx(6.0, abs=1e-9)


def test_two_speakers_far_apart_make_an_echo_in_a_long_corridor():
    room = make_room(
        outline=((0, 0), (40, 0), (40, 2.5), (0, 2.5)),
        test_points=(),
        listening_areas=(
            ListeningArea(key="end", outline=((21, 0), (23, 0), (23, 2.5), (21, 2.5))),
        ),
    )
    far = evaluate(room, make_speakers(spots=((1.0, 1.25), (9.0, 1.25)), type_id="wide"))
    assert far.late_ratio == 0.0  # 23 ms between them
    farther = evaluate(room, make_speakers(spots=((1.0, 1.25), (13.0, 1.25)), type_id="wide"))
    assert farther.late_ratio > 0.5
    assert farther.worst_lag_s == pytest.approx(12.0 / 343.2, rel=0.1)
    near = evaluate(room, make_speakers(spots=((19.0, 1.25), (21.0, 1.25)), type_id="wide"))
    assert near.late_ratio == 0.0
    assert near.worst_lag_s < 0.01


def test_first_reflections_take_their_share_from_the_diffuse_field(hall):
    limits = Limits(overrides=(("sound_first_images", 1.0),))
    found = evaluate(limits=limits)
    assert "first reflections of floor and walls" in found.model_text
    assert "first reflections" not in hall.model_text
    np.testing.assert_allclose(found.direct_energy, hall.direct_energy)
    late, diffuse = found.whole_energy - found.direct_energy, hall.whole_energy - hall.direct_energy
    assert abs(power_ratio_db(late.mean(axis=0) / diffuse.mean(axis=0))[3:7]).max() < 3.0
    assert np.ptp(late[:, 4]) > 0.05 * late[:, 4].mean()
    assert np.ptp(diffuse[:, 4]) < 1e-6 * diffuse[:, 4].mean()


def two_rooms(delay_s: float):
    west = make_room(key="hall", outline=((0, 0), (6, 0), (6, 5), (0, 5)), test_points=())
    east = make_room(
        key="bar", label="Bar", outline=((6.1, 0), (12, 0), (12, 5), (6.1, 5)), test_points=()
    )
    speakers = make_speakers(spots=((5.0, 2.5),))
    speakers += [
        replace(s, key=f"b{s.key}", room_key="bar") for s in make_speakers(spots=((7.1, 2.5),))
    ]
    survey = Survey(
        site=Site(name="invented"),
        storeys=(Storey(key="ground", label="Ground"),),
        rooms=(west, east),
        zones=(
            Zone(key="z1", label="Hall", room_keys=("hall",)),
            Zone(key="z2", label="Bar", room_keys=("bar",), delay_s=delay_s),
        ),
    )
    return sound_state(survey, CATALOGUE, speakers)


def test_a_delayed_zone_is_found_where_its_room_touches_another():
    assert two_rooms(0.0).zone_lags == ()
    (lag,) = two_rooms(0.060).zone_lags
    assert (lag.early_zone_key, lag.late_zone_key) == ("z1", "z2")
    assert lag.lag_s == pytest.approx(0.060, abs=0.002)
    assert lag.suggested_delay_s == pytest.approx(0.060, abs=0.002)
    assert 5.5 <= lag.position[0] <= 6.2


def test_late_sound_that_falls_with_distance_is_the_diffuse_one_on_average(hall):
    build = speech._path_builder(hall.sources, hall.acoustics, hall.noise, 5)
    path = build(hall.ears.point_m).balanced()
    share = late_share(delay_s=path.delay_s[..., None], reverberation_time_s=path.time_s)
    late = np.einsum("psb,sb->pb", share, path.late * path.near_late)
    np.testing.assert_allclose(late.mean(axis=0), path.late.sum(axis=0), rtol=1e-9)
    nearest = np.argmin(path.delay_s[:, 3])
    assert late[nearest, 3] > late[np.argmax(path.delay_s.min(axis=1)), 3]
    assert hall.speech.level_dba == pytest.approx(hall.target_dba)


def test_a_ceiling_that_absorbs_over_hard_walls_is_named():
    hard = (
        Surface(part="floor", material="painted_concrete"),
        Surface(part="walls", material="painted_concrete"),
        Surface(part="ceiling", material="mineral_fibre_tile"),
        Surface(part="furniture", material="painted_concrete", area_m2=1.0),
    )
    uneven = room_acoustics(make_room(reverberation_s=None, surfaces=hard), DEFAULT_LIMITS)
    assert np.all(uneven.arau_s > uneven.eyring_s)
    assert "by Arau-Puchades" in uneven.text
    same = tuple(Surface(part=part, material="carpet_on_pad") for part in PARTS)
    even = room_acoustics(make_room(reverberation_s=None, surfaces=same), DEFAULT_LIMITS)
    assert "Arau" not in even.text
    assert uneven.uneven_ratio == pytest.approx(uneven.mid_arau_s / uneven.mid_eyring_s)
    assert even.uneven_ratio < 1.1  # the furniture lies on the floor
    room = make_room(reverberation_s=None, surfaces=hard)
    for limit, is_shown in ((0.99, True), (1.01, False)):
        limits = Limits((("sound_uneven_shown_ratio", uneven.uneven_ratio * limit),))
        assert ("Arau" in room_acoustics(room, limits).text) is is_shown
    measured = room_acoustics(make_room(reverberation_s=(1.0,) * 8, surfaces=hard), DEFAULT_LIMITS)
    assert measured.uneven_ratio == 1.0
    assert "Arau" not in measured.text


PARTS = ("floor", "walls", "ceiling")
