"""Two independent ways to the same figure: integrals, plain sums, impulse responses.

The references here are written straight from the definitions, in plain numpy without the tables,
transforms and shortcuts of the package.
"""

import numpy as np
import pytest
from scipy import integrate, special

from soffit.acoustics.bands import MID_HZ
from soffit.acoustics.direct import radiator, total_energy
from soffit.acoustics.directivity import (
    aim_vector,
    cosine_power,
    directivity_factor,
    piston,
    polar_pair,
    polar_table,
)
from soffit.acoustics.mapping import MapGrid, SpeakerGroup, map_energy
from soffit.acoustics.speechmap import sti_at_points
from soffit.acoustics.sti import modulation_frequencies_hz, sti
from soffit.acoustics.visibility import is_visible, outline
from soffit.decibel import power_ratio_db


def plain_map(made, grid, position, power, throw_m, walls=None):
    """Straightforward sum over speakers: roots, cosines, one speaker at a time."""
    x, y = np.meshgrid(grid.x_m(), grid.y_m())
    total = np.zeros((8, *x.shape))
    angle = np.linspace(0, np.pi, 721)
    for (px, py), watts in zip(position, power, strict=True):
        gap = np.sqrt((x - px) ** 2 + (y - py) ** 2 + throw_m**2)
        theta = np.arccos(throw_m / gap)
        seen = 1.0
        if walls is not None:
            points = np.stack([x.ravel(), y.ravel()], axis=-1)
            seen = is_visible(walls, [(px, py)], points).reshape(x.shape)
        for band in range(8):
            d2 = np.interp(theta, angle, made.directivity.energy_ratio[:, band])
            total[band] += watts * 10 ** (made.sensitivity_db[band] / 10) * d2 / gap**2 * seen
    return total


@pytest.mark.parametrize("radius_m", [0.05, 0.08, 0.15])
def test_power_of_a_piston_over_the_hemisphere(radius_m):
    """Directivity factor: closed form, adaptive quadrature, and the fine table."""
    found = directivity_factor(piston(radius_m=radius_m, tones=1))
    for band, hertz in enumerate(MID_HZ):
        ka = 2 * np.pi * hertz * radius_m / 343.2

        def power(angle, ka=ka):
            x = ka * np.sin(angle)
            return (2 * special.j1(x) / x) ** 2 * np.sin(angle) if x else 0.0

        integral = integrate.quad(power, 0, np.pi / 2, limit=400)[0]
        closed = ka**2 / (1 - special.j1(2 * ka) / ka)
        assert closed == pytest.approx(2 / integral, rel=1e-7)
        assert found[band] == pytest.approx(closed, rel=5e-4)  # quarter-degree table: 0.002 dB


def test_octave_average_of_a_piston_is_the_mean_over_many_tones():
    few, many = piston(radius_m=0.08), piston(radius_m=0.08, tones=301)
    loud = many.energy_ratio > 1e-3
    gap = power_ratio_db(few.energy_ratio[loud] / many.energy_ratio[loud])
    assert float(np.max(np.abs(gap))) < 0.5  # in the side lobes of 8 kHz, 30 dB down


def test_pair_of_equal_planes_is_the_axisymmetric_table():
    angle = np.radians(np.arange(0, 181, 10))
    levels = np.tile(-12 * np.sin(angle / 2)[:, None] ** 2, (1, 8))
    one = polar_table(angle_rad=angle, level_db=levels, baffled=False)
    two = polar_pair(angle_rad=angle, horizontal_db=levels, vertical_db=levels)
    np.testing.assert_allclose(directivity_factor(one), directivity_factor(two), rtol=1e-9)
    for azimuth in (0.0, 0.7, 2.0):
        np.testing.assert_allclose(
            two.at_angle(np.array([0.4]), azimuth), one.at_angle(np.array([0.4])), rtol=1e-12
        )


@pytest.mark.parametrize("n_side", [2, 8])
def test_convolved_and_stamped_maps_are_the_plain_sum(n_side):
    """Both ways of `map_energy`, with speakers on the grid and beside it."""
    made = radiator(sensitivity_db=np.linspace(80, 94, 8), directivity=piston(radius_m=0.07))
    grid = MapGrid(x0_m=-0.3, y0_m=0.15, step_m=0.3, n_x=61, n_y=47)
    place = 0.3 * np.array([(4 + 6 * i, 3 + 5 * j) for i in range(n_side) for j in range(n_side)])
    place += [grid.x0_m, grid.y0_m]
    place[0] += [0.11, 0.07]
    power = 1.0 + np.arange(len(place)) % 3
    made_map = map_energy(
        grid,
        [SpeakerGroup(radiator=made, throw_m=1.9, position_m=place, power_w=power)],
    )
    plain = plain_map(made, grid, place, power, 1.9)
    assert float(np.max(np.abs(power_ratio_db(made_map / plain)))) < 0.001


def test_shadows_are_subtracted_where_a_corner_hides():
    walls = outline(
        [(0, 0), (12, 0), (12, 5), (5, 5), (5, 9), (0, 9)], [[(2, 2), (3, 2), (3, 3), (2, 3)]]
    )
    made = radiator(sensitivity_db=90.0, directivity=cosine_power(coverage_angle_rad=np.pi / 2))
    grid = MapGrid(x0_m=0.15, y0_m=0.15, step_m=0.3, n_x=40, n_y=30)
    place = np.array([(0.75 + 1.8 * i, 0.75 + 1.8 * j) for i in range(6) for j in range(5)])
    place = place[[walls is not None and is_in(walls, p) for p in place]]
    power = np.full(len(place), 2.0)
    group = SpeakerGroup(radiator=made, throw_m=1.8, position_m=place, power_w=power)
    made_map = map_energy(grid, [group], room=walls)
    plain = plain_map(made, grid, place, power, 1.8, walls)
    x, y = np.meshgrid(grid.x_m(), grid.y_m())
    inside = np.array([is_in(walls, p) for p in zip(x.ravel(), y.ravel(), strict=True)])
    inside = inside.reshape(x.shape)
    gap = power_ratio_db(made_map[:, inside] / plain[:, inside])
    assert float(np.max(np.abs(gap))) < 0.001


def test_lines_of_sight_against_a_geometry_library():
    """Shapely says whether the whole line lies in the room; ours are three signs per wall."""
    import shapely

    outer = [(0, 0), (40, 0), (40, 15), (20, 15), (20, 30), (0, 30)]
    holes = [
        [(x, y), (x + 0.5, y), (x + 0.5, y + 0.5), (x, y + 0.5)]
        for x in (5, 12, 19, 26)
        for y in (5, 10)
    ]
    walls = outline(outer, holes)
    room = shapely.Polygon(outer, holes)
    shapely.prepare(room)
    points = np.random.default_rng(40).uniform(0, [40, 30], (3000, 2))
    points = points[shapely.contains_xy(room, *points.T)]
    np.testing.assert_array_equal([is_in(walls, p) for p in points[:200]], True)
    eyes = points[:10]
    seen = is_visible(walls, eyes, points)
    for column, eye in enumerate(eyes):
        ends = np.stack([np.broadcast_to(eye, points.shape), points], axis=1)
        covered = shapely.covers(room, shapely.linestrings(ends))
        np.testing.assert_array_equal(seen[:, column], covered)


def is_in(walls, point):
    from soffit.acoustics.visibility import is_inside

    return bool(is_inside(walls, np.asarray(point)))


def test_chunks_do_not_change_a_sum(monkeypatch):
    from soffit.acoustics import direct

    made = radiator(sensitivity_db=90.0, directivity=piston(radius_m=0.1))
    chance = np.random.default_rng(3)
    options = {
        "radiator": made,
        "power_w": chance.uniform(1, 9, 11),
        "speaker_m": np.column_stack([chance.uniform(0, 9, (11, 2)), np.full(11, 3.0)]),
        "axis": aim_vector(tilt_rad=0.4, bearing_rad=1.0),
        "point_m": np.column_stack([chance.uniform(0, 9, (37, 2)), np.full(37, 1.2)]),
    }
    whole = total_energy(**options)
    monkeypatch.setattr(direct, "CHUNK_ELEMENTS", 200)
    np.testing.assert_allclose(total_energy(**options), whole, rtol=1e-13)


def response_sti(direct, late, delay, time_s, noise_db):
    """STI of one ear from its sampled energy response: no closed forms, no single precision."""
    rate = 4000.0
    modulation = np.zeros((7, 14))
    level = np.zeros(7)
    for band in range(7):
        length = int((delay.max() + 2.5 * time_s[band]) * rate)
        response = np.zeros(length)
        clock = np.arange(length) / rate
        for e, r, t in zip(direct[:, band], late[:, band], delay, strict=True):
            place = t * rate  # between two samples, shared out
            low = int(place)
            response[low] += e * (1 - (place - low))
            response[low + 1] += e * (place - low)
            rest = r * np.exp(-13.8 * t / time_s[band])
            k = 13.8 / time_s[band]
            tail = np.where(clock >= t, rest * np.exp(-k * (clock - t)), 0.0)
            response += tail * (1 - np.exp(-k / rate))
        turn = np.exp(-2j * np.pi * np.outer(modulation_frequencies_hz(), clock))
        modulation[band] = np.abs(turn @ response) / response.sum()
        level[band] = 10 * np.log10(response.sum())
    return float(sti(modulation=modulation, speech_level_db=level, noise_level_db=noise_db))


def test_sti_map_against_full_energy_responses():
    """Within 0.002, at ears near one speaker, between many, and far from all."""
    chance = np.random.default_rng(16)
    n_ears, n_speakers = 6, 30
    speaker = chance.uniform(0, [30, 20], (n_speakers, 2))
    ear = chance.uniform(0, [30, 20], (n_ears, 2))
    ear[0] = speaker[0]
    gap = np.sqrt(((ear[:, None] - speaker[None]) ** 2).sum(-1) + 2.5**2)
    direct = 10 ** (6.5 + chance.uniform(-1, 0, 7)) / gap[..., None] ** 2
    late = 10 ** (4.9 + chance.uniform(-0.5, 0.2, (n_speakers, 7)))
    time_s = np.array([2.0, 1.8, 1.6, 1.5, 1.3, 1.1, 0.7])
    noise_db = np.array([50.0, 45, 41, 38, 35, 32, 30])
    delay = gap / 343.2
    found = sti_at_points(
        direct_energy=direct,
        late_energy=late,
        delay_s=delay,
        reverberation_time_s=time_s,
        noise_level_db=noise_db,
    )
    for row in range(n_ears):
        expected = response_sti(direct[row], late, delay[row], time_s, noise_db)
        assert abs(found[row] - expected) < 0.002


def test_sti_map_of_one_speaker_without_direct_sound_is_the_decay_formula():
    from soffit.acoustics.sti import modulation_of_decay

    time_s = np.full(7, 1.3)
    found = sti_at_points(
        direct_energy=np.zeros((1, 1, 7)),
        late_energy=np.full((1, 7), 1e7),
        delay_s=np.zeros((1, 1)),
        reverberation_time_s=time_s,
        noise_level_db=np.full(7, -np.inf),
    )
    expected = sti(modulation=modulation_of_decay(time_s), speech_level_db=np.full(7, 70.0))
    assert abs(float(found[0]) - float(expected)) < 1e-5


def test_the_reference_of_the_benchmark_is_right(monkeypatch):
    """Times are given as ratios to this plain sum, so it has to be the same sum."""
    import importlib
    from pathlib import Path

    monkeypatch.syspath_prepend(str(Path(__file__).parents[2]))
    bench = importlib.import_module("benchmarks.bench_sound")
    made = radiator(sensitivity_db=np.linspace(80, 94, 8), directivity=piston(radius_m=0.08))
    place = np.array([(1.0, 2.0), (4.3, 2.2), (7.7, 5.1)])
    power = np.array([1.0, 5.0, 2.5])
    group = SpeakerGroup(radiator=made, throw_m=bench.THROW_M, position_m=place, power_w=power)
    points = np.random.default_rng(2).uniform(0, 9, (50, 2))
    plain = bench.plain_map(made, group, points)
    exact = total_energy(
        radiator=made,
        power_w=power,
        speaker_m=np.column_stack([place, np.full(3, bench.THROW_M)]),
        axis=aim_vector(),
        point_m=np.column_stack([points, np.zeros(50)]),
    )
    assert float(np.max(np.abs(power_ratio_db(plain.T / exact)))) < 0.001
