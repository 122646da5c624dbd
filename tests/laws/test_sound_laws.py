"""What holds for the sound of any room."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.acoustics.air import air_absorption_db_m
from soffit.acoustics.delays import late_arrivals, suggested_zone_delay_s
from soffit.acoustics.direct import energy_per_watt, kernel_energy, radiator, total_energy
from soffit.acoustics.directivity import (
    aim_vector,
    cosine_power,
    coverage_angle_rad,
    directivity_factor,
    omnidirectional,
    piston,
)
from soffit.acoustics.evenness import evenness, percentile_sorted, spread_ratio
from soffit.acoustics.hearing import allowed_hours
from soffit.acoustics.noise import nc_curve_db, nc_rating, noise_octaves_db, nr_curve_db, nr_rating
from soffit.acoustics.room import (
    critical_distance_m,
    late_share,
    reverberant_energy_per_watt,
    reverberation_time_eyring_s,
    reverberation_time_sabine_s,
    room_constant_m2,
)
from soffit.acoustics.speechmap import sti_at_points
from soffit.acoustics.sti import modulation_of_decay, sti
from soffit.acoustics.visibility import is_inside, is_visible, outline, wall_distance_m
from soffit.acoustics.weighting import level_dba
from soffit.decibel import power_ratio, power_ratio_db

COLUMNED = outline(
    [(0, 0), (10, 0), (10, 4), (4, 4), (4, 9), (0, 9)],
    [[(1.5, 1.5), (2.1, 1.5), (2.1, 2.1), (1.5, 2.1)], [(7, 1), (7.5, 1.5), (7, 2), (6.5, 1.5)]],
)
MADE = radiator(sensitivity_db=90.0, directivity=piston(radius_m=0.08))
few = settings(max_examples=40, deadline=None)
metres = st.floats(0.5, 30.0)
places = st.lists(st.tuples(st.floats(0.0, 10.0), st.floats(0.0, 9.0)), min_size=2, max_size=12)


@few
@given(metres, st.floats(1.1, 5.0))
def test_level_falls_with_the_square_of_distance(throw_m: float, factor: float):
    near = kernel_energy(radiator=MADE, throw_m=throw_m, horizontal_m=0.0)
    far = kernel_energy(radiator=MADE, throw_m=factor * throw_m, horizontal_m=0.0)
    np.testing.assert_allclose(near / far, factor**2, rtol=1e-9)


def test_doubling_four_equal_speakers_adds_3_01_db():
    four = np.array([(x, y, 3.0) for x in (0.0, 4.0) for y in (0.0, 4.0)])
    options = {"radiator": MADE, "axis": aim_vector(), "point_m": [[2.0, 2.0, 1.2]]}
    once = total_energy(power_w=5.0, speaker_m=four, **options)
    twice = total_energy(power_w=5.0, speaker_m=np.vstack([four, four]), **options)
    np.testing.assert_allclose(power_ratio_db(twice / once), 3.0103, atol=1e-4)


@few
@given(places, st.floats(0.0, 6.28), st.booleans())
def test_turning_or_mirroring_the_room_turns_or_mirrors_the_field(
    corners: list, angle: float, mirror: bool
):
    """Speakers, ears and walls turn together; levels stay."""
    points = np.array(corners)
    keep = is_inside(COLUMNED, points) & (wall_distance_m(COLUMNED, points) > 1e-6)
    if keep.sum() < 2:
        return
    points = points[keep]
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    if mirror:
        turn = turn @ np.diag([1.0, -1.0])
    turned = outline(COLUMNED.outer_m @ turn.T, [hole @ turn.T for hole in COLUMNED.holes_m])

    def field(walls, plan):
        speaker = np.column_stack([plan[:1], [3.0]])
        ears = np.column_stack([plan, np.full(len(plan), 1.2)])
        energy = energy_per_watt(radiator=MADE, speaker_m=speaker, axis=aim_vector(), point_m=ears)[
            :, 0
        ]
        return energy, is_visible(walls, plan[:1], plan)[:, 0]

    before, seen_before = field(COLUMNED, points)
    after, seen_after = field(turned, points @ turn.T)
    np.testing.assert_allclose(after, before, rtol=1e-9)
    # a line of sight within a micrometre of a corner may fall on either side after turning
    clear = np.array([_clearance(points[0], p) > 1e-6 for p in points])
    np.testing.assert_array_equal(seen_before[clear], seen_after[clear])


def _clearance(start, end):
    """Distance of the nearest corner from the line of sight."""
    corners = np.vstack([COLUMNED.outer_m, *COLUMNED.holes_m])
    along = end - start
    length2 = float(along @ along)
    if length2 == 0.0:
        return np.inf
    share = np.clip((corners - start) @ along / length2, 0.0, 1.0)
    return float(np.min(np.linalg.norm(corners - start - share[:, None] * along, axis=1)))


@few
@given(places)
def test_visibility_is_symmetric(corners: list):
    points = np.array(corners)
    points = points[is_inside(COLUMNED, points) & (wall_distance_m(COLUMNED, points) > 1e-6)]
    if len(points):
        seen = is_visible(COLUMNED, points, points)
        np.testing.assert_array_equal(seen, seen.T)


def test_visibility_is_symmetric_on_a_regular_lattice_with_grazing_lines():
    x, y = np.meshgrid(np.arange(0.5, 10, 0.5), np.arange(0.5, 9, 0.5))
    points = np.stack([x.ravel(), y.ravel()], axis=-1)
    points = points[is_inside(COLUMNED, points) & (wall_distance_m(COLUMNED, points) > 1e-6)]
    seen = is_visible(COLUMNED, points, points)
    np.testing.assert_array_equal(seen, seen.T)
    assert seen.diagonal().all()
    assert 0.3 < seen.mean() < 0.95


def test_a_line_through_two_corners_of_a_column_is_stopped_and_one_past_it_is_not():
    room = outline([(0, 0), (10, 0), (10, 10), (0, 10)], [[(4, 4), (6, 4), (6, 6), (4, 6)]])
    seen = is_visible(room, [(1, 1)], [(9, 9), (8, 9), (9, 4), (2, 8)])
    assert seen[:, 0].tolist() == [False, False, True, True]
    past = is_visible(room, [(2, 2)], [(4, 4), (3.9, 9), (6, 2), (4, 9)])
    assert past[:, 0].tolist() == [True, True, True, True]
    along = is_visible(room, [(4, 1)], [(4, 9)])
    assert along.tolist() == [[True]]


@few
@given(st.floats(0.02, 0.6), st.floats(1.01, 1.6), st.floats(20.0, 4000.0))
def test_more_absorption_never_lengthens_reverberation(mean: float, factor: float, volume: float):
    surface = 6.0 * volume ** (2.0 / 3.0)
    sabine, eyring = (
        [formula(**options, absorption_area_m2=surface * a) for a in (mean, mean * factor)]
        for formula, options in (
            (reverberation_time_sabine_s, {"volume_m3": volume}),
            (reverberation_time_eyring_s, {"volume_m3": volume, "surface_m2": surface}),
        )
    )
    assert np.all(sabine[1] < sabine[0])
    assert np.all(eyring[1] < eyring[0])
    assert np.all(eyring[0] < sabine[0])


@few
@given(st.floats(5.0, 35.0), st.floats(10.0, 90.0), st.floats(0.02, 0.6))
def test_air_never_lengthens_reverberation(degc: float, percent: float, mean: float):
    air = air_absorption_db_m(temperature_degc=degc, humidity_percent=percent)
    assert np.all(air > 0)
    options = {"volume_m3": 500.0, "absorption_area_m2": 380.0 * mean}
    with_air = reverberation_time_sabine_s(**options, air_db_m=air)
    without = reverberation_time_sabine_s(**options)
    assert np.all(with_air < without)
    with_air = reverberation_time_eyring_s(**options, surface_m2=380.0, air_db_m=air)
    assert np.all(with_air < reverberation_time_eyring_s(**options, surface_m2=380.0))


def test_direct_and_reverberant_sound_are_equal_at_the_critical_distance():
    constant = room_constant_m2(surface_m2=300.0, absorption_area_m2=60.0)
    gap = critical_distance_m(directivity_factor=MADE.directivity_factor, room_constant_m2=constant)
    late = reverberant_energy_per_watt(
        sensitivity_energy=power_ratio(MADE.sensitivity_db),
        directivity_factor=MADE.directivity_factor,
        room_constant_m2=constant,
    )
    direct = power_ratio(90.0) / gap**2
    np.testing.assert_allclose(direct, late, rtol=1e-12)


@few
@given(
    st.lists(st.floats(30.0, 90.0), min_size=7, max_size=7),
    st.lists(st.floats(10.0, 80.0), min_size=7, max_size=7),
    st.floats(0.2, 4.0),
    st.integers(0, 6),
    st.floats(0.1, 20.0),
)
def test_sti_of_a_band_never_rises_with_its_own_noise(speech, noise, time_s, band, more):
    """Noise in one band masks it and the next: neither index may rise."""
    from soffit.acoustics.sti import transfer_indices

    decay = np.broadcast_to(modulation_of_decay(time_s), (7, 14))
    louder = np.array(noise)
    louder[band] += more
    before = transfer_indices(modulation=decay, speech_level_db=speech, noise_level_db=noise)
    after = transfer_indices(modulation=decay, speech_level_db=speech, noise_level_db=louder)
    assert np.all(after <= before + 1e-12)


@few
@given(st.floats(40.0, 90.0), st.floats(10.0, 70.0), st.floats(0.2, 4.0), st.floats(0.1, 20.0))
def test_sti_never_rises_with_noise(speech: float, noise: float, time_s: float, more: float):
    decay = np.broadcast_to(modulation_of_decay(time_s), (7, 14))
    quiet, loud = (
        sti(
            modulation=decay,
            speech_level_db=np.full(7, speech),
            noise_level_db=noise_octaves_db(level)[1:],
        )
        for level in (noise, noise + more)
    )
    assert loud <= quiet + 1e-12


@few
@given(st.floats(0.2, 4.0), st.floats(1.01, 3.0))
def test_sti_never_rises_with_reverberation(time_s: float, factor: float):
    short, long = (
        float(sti(modulation=np.broadcast_to(modulation_of_decay(t), (7, 14))))
        for t in (time_s, factor * time_s)
    )
    assert long < short


def test_a_second_speaker_far_away_lowers_sti_and_one_beside_it_does_not():
    options = {
        "late_energy": np.zeros((2, 7)),
        "reverberation_time_s": np.full(7, 1.0),
        "noise_level_db": np.full(7, -np.inf),
    }
    energy = np.full((2, 2, 7), 1e7)
    found = sti_at_points(
        direct_energy=energy, delay_s=np.array([[0.010, 0.0101], [0.010, 0.090]]), **options
    )
    assert found[0] > 0.95
    assert found[1] < found[0] - 0.1


@few
@given(st.floats(15.0, 65.0))
def test_a_noise_criterion_curve_rates_as_itself(nc: float):
    assert nc_rating(nc_curve_db(nc))[0] == pytest.approx(nc, abs=1e-9)


@few
@given(st.floats(0.0, 130.0))
def test_a_noise_rating_curve_rates_as_itself(nr: float):
    assert nr_rating(nr_curve_db(nr))[0] == pytest.approx(nr, abs=1e-9)


@few
@given(st.lists(st.floats(40.0, 90.0), min_size=3, max_size=60), st.floats(-20.0, 20.0))
def test_evenness_does_not_depend_on_level_or_order(levels: list, shift: float):
    first, second = evenness(levels), evenness(np.array(levels[::-1]) + shift)
    assert second.spread_db == pytest.approx(first.spread_db, abs=1e-9)
    assert second.std_db == pytest.approx(first.std_db, abs=1e-9)
    assert first.worst_db <= first.median_db <= first.best_db
    assert first.spread_90_db <= first.spread_db <= first.best_db - first.worst_db + 1e-9
    assert levels[first.worst_point] == first.worst_db


@few
@given(st.lists(st.floats(1.0, 9.0), min_size=45, max_size=400))
def test_spread_of_energies_is_the_spread_of_levels_between_neighbours_in_rank(values: list):
    energy = np.array(values)
    by_energy = float(power_ratio_db(spread_ratio(energy)))
    ordered = np.sort(energy)
    n = len(ordered) - 1
    low, high = int(0.025 * n), int(0.975 * n)
    widest = float(power_ratio_db(ordered[high + 1] / ordered[low]))
    narrowest = float(power_ratio_db(ordered[high] / ordered[low + 1]))
    by_level = evenness(power_ratio_db(energy)).spread_db
    for found in (by_energy, by_level):
        assert narrowest - 1e-9 <= found <= widest + 1e-9


def test_percentiles_agree_with_numpy():
    values = np.sort(np.random.default_rng(5).normal(size=(3, 173)), axis=-1)
    for share in (0.0, 0.025, 0.5, 0.975, 1.0):
        np.testing.assert_allclose(
            percentile_sorted(values, share), np.percentile(values, 100 * share, axis=-1)
        )


@few
@given(st.floats(10.0, 179.0))
def test_a_fitted_cosine_covers_what_it_was_fitted_to(degrees: float):
    made = cosine_power(coverage_angle_rad=np.radians(degrees))
    assert np.degrees(coverage_angle_rad(made)[3]) == pytest.approx(degrees, abs=0.3)


@few
@given(st.floats(0.02, 0.2), st.floats(1.1, 2.0))
def test_a_larger_piston_is_never_less_directive(radius_m: float, factor: float):
    small, large = (
        directivity_factor(piston(radius_m=r, tones=1)) for r in (radius_m, radius_m * factor)
    )
    assert np.all(large >= small * (1 - 1e-3))


def test_a_half_space_has_directivity_factor_two_and_the_whole_space_one():
    assert directivity_factor(omnidirectional())[2] == pytest.approx(2.0, abs=1e-9)
    assert directivity_factor(omnidirectional(baffled=False))[2] == pytest.approx(1.0, abs=1e-9)


@few
@given(st.floats(0.0, 1.0), st.floats(0.1, 5.0))
def test_late_sound_falls_60_db_in_the_reverberation_time(share: float, time_s: float):
    fall = power_ratio_db(late_share(delay_s=share * time_s, reverberation_time_s=time_s))
    assert float(fall) == pytest.approx(-60.0 * share, abs=1e-9)


@few
@given(st.floats(80.0, 110.0))
def test_three_decibels_more_halve_the_time(level: float):
    assert float(allowed_hours(level) / allowed_hours(level + 3.0)) == pytest.approx(2.0)


def test_sound_that_is_moved_in_time_keeps_its_lags():
    energy = np.array([[1.0, 0.5, 0.001], [1.0, 1.0, 1.0]])
    arrival = np.array([[0.01, 0.06, 0.5], [0.01, 0.012, 0.03]])
    first = late_arrivals(energy=energy, arrival_s=arrival)
    moved = late_arrivals(energy=energy, arrival_s=arrival + 0.3)
    np.testing.assert_allclose(first.lag_s, moved.lag_s)
    assert first.is_late.tolist() == [True, False]
    assert first.lag_s[0] == pytest.approx(0.05)
    assert int(first.speaker[0]) == 1


def test_a_zone_is_delayed_by_the_way_that_its_leader_is_farther():
    lead = np.array([20.0, 21.0, 22.0]) / 343.2
    zone = np.array([3.0, 4.0, 5.0]) / 343.2
    options = {"lead_energy": np.ones(3), "zone_energy": np.ones(3)}
    found = suggested_zone_delay_s(lead_arrival_s=lead, zone_arrival_s=zone, **options)
    assert found == pytest.approx(17.0 / 343.2)
    assert suggested_zone_delay_s(lead_arrival_s=zone, zone_arrival_s=lead, **options) == 0.0


@few
@given(st.floats(20.0, 90.0), st.sampled_from(["ventilation", "people", "traffic"]))
def test_noise_of_a_level_has_that_level(level: float, shape):
    assert float(level_dba(noise_octaves_db(level, shape))) == pytest.approx(level, abs=1e-9)
