"""Bad numbers are refused with what, where, why and what to do."""

import numpy as np
import pytest

from soffit.acoustics.air import air_absorption_db_m, speed_of_sound_m_s
from soffit.acoustics.alcons import alcons_percent
from soffit.acoustics.bands import band_index, per_band
from soffit.acoustics.coverage import coverage_diameter_m
from soffit.acoustics.delays import suggested_zone_delay_s
from soffit.acoustics.direct import kernel_energy, radiator, total_energy
from soffit.acoustics.directivity import (
    aim_vector,
    cosine_power,
    omnidirectional,
    piston,
    polar_pair,
    polar_table,
)
from soffit.acoustics.evenness import evenness
from soffit.acoustics.mapping import MapGrid, SpeakerGroup, map_energy
from soffit.acoustics.noise import nc_curve_db, nc_rating, nr_curve_db
from soffit.acoustics.room import (
    Surface,
    absorption_area_m2,
    absorption_coefficients,
    absorption_materials,
    checked_reverberation_time_s,
    reverberation_time_arau_s,
    reverberation_time_eyring_s,
    reverberation_time_sabine_s,
    room_constant_m2,
)
from soffit.acoustics.sti import sti, transfer_indices
from soffit.acoustics.visibility import outline
from soffit.errors import DomainError, TableError

ANGLES = np.radians(np.arange(0, 91, 10))
FLAT = np.zeros((10, 8))
BAFFLED = radiator(sensitivity_db=90.0, directivity=omnidirectional())


def refused(call, where: str, *, kind=DomainError):
    with pytest.raises(kind) as caught:
        call()
    problem = caught.value.problems[0]
    assert problem.where == where
    assert problem.what
    assert problem.why
    assert problem.do


def with_nan():
    table = FLAT.copy()
    table[3, 5] = np.nan
    return table


BAD = {
    "polar not a number": (lambda: polar_table(angle_rad=ANGLES, level_db=with_nan()), "level_db"),
    "polar band missing": (
        lambda: polar_table(angle_rad=ANGLES, level_db=FLAT[:, :7]),
        "level_db",
    ),
    "polar angles unsorted": (
        lambda: polar_table(angle_rad=ANGLES[::-1], level_db=FLAT),
        "level_db",
    ),
    "polar ends early": (
        lambda: polar_table(angle_rad=ANGLES[:5], level_db=FLAT[:5]),
        "level_db",
    ),
    "pair not a number": (
        lambda: polar_pair(angle_rad=ANGLES, horizontal_db=FLAT, vertical_db=with_nan()),
        "vertical_db",
    ),
    "piston of a metre": (lambda: piston(radius_m=1.0), "radius_m"),
    "coverage of nothing": (lambda: cosine_power(coverage_angle_rad=0.0), "coverage_angle_rad"),
    "coverage over 180": (lambda: cosine_power(coverage_angle_rad=4.0), "coverage_angle_rad"),
    "coverage of one band missing": (
        lambda: cosine_power(coverage_angle_rad=[1.5] * 7),
        "coverage_angle_rad",
    ),
    "sensitivity not a number": (
        lambda: radiator(sensitivity_db=[90.0] * 7 + [np.nan], directivity=omnidirectional()),
        "sensitivity_db",
    ),
    "ears above the ceiling": (
        lambda: kernel_energy(radiator=BAFFLED, throw_m=-0.2, horizontal_m=1.0),
        "throw_m",
    ),
    "negative power": (
        lambda: total_energy(
            radiator=BAFFLED,
            power_w=-1.0,
            speaker_m=[[0, 0, 3]],
            axis=aim_vector(),
            point_m=[[0, 0, 1]],
        ),
        "power_w",
    ),
    "map with power not a number": (
        lambda: map_energy(
            MapGrid(x0_m=0, y0_m=0, step_m=1, n_x=4, n_y=4),
            [
                SpeakerGroup(
                    radiator=BAFFLED,
                    throw_m=1.0,
                    position_m=np.zeros((1, 2)),
                    power_w=np.array([np.nan]),
                )
            ],
        ),
        "power_w",
    ),
    "outline of two corners": (lambda: outline([(0, 0), (1, 0)]), "outer_m"),
    "outline without area": (lambda: outline([(0, 0), (1, 0), (2, 0)]), "outer_m"),
    "absorption over one": (
        lambda: absorption_area_m2([Surface(surface_m2=10, absorption_ratio=np.full(8, 1.05))]),
        "absorption_ratio",
    ),
    "surface of nothing": (
        lambda: absorption_area_m2([Surface(surface_m2=0, absorption_ratio=np.full(8, 0.1))]),
        "surface_m2",
    ),
    "no volume": (
        lambda: reverberation_time_sabine_s(volume_m3=0, absorption_area_m2=10),
        "volume_m3",
    ),
    "no absorption": (
        lambda: reverberation_time_sabine_s(volume_m3=100, absorption_area_m2=0),
        "absorption_area_m2",
    ),
    "total absorption": (
        lambda: reverberation_time_eyring_s(volume_m3=100, surface_m2=130, absorption_area_m2=130),
        "absorption_area_m2",
    ),
    "uneven box absorbs all": (
        lambda: reverberation_time_arau_s(dimensions_m=(8, 5, 3), absorption_ratio=(1, 0.1, 0.1)),
        "absorption_ratio",
    ),
    "T of zero": (lambda: checked_reverberation_time_s(0.0), "reverberation_time_s"),
    "T of 30 s": (lambda: checked_reverberation_time_s(30.0), "reverberation_time_s"),
    "T of one band missing": (
        lambda: checked_reverberation_time_s([1.0] * 7),
        "reverberation_time_s",
    ),
    "room constant of nothing": (
        lambda: room_constant_m2(surface_m2=0, absorption_area_m2=1),
        "surface_m2",
    ),
    "air too hot": (lambda: air_absorption_db_m(temperature_degc=80), "temperature_degc"),
    "air too dry": (lambda: air_absorption_db_m(humidity_percent=0), "humidity_percent"),
    "air too cold for c": (lambda: speed_of_sound_m_s(-60.0), "temperature_degc"),
    "NC below the table": (lambda: nc_curve_db(5), "nc"),
    "noise above the table": (lambda: nc_rating([120.0] * 8), "octave_level_db"),
    "noise below the table": (lambda: nc_rating([0.0] * 8), "octave_level_db"),
    "NR of 200": (lambda: nr_curve_db(200), "nr"),
    "evenness of no ears": (lambda: evenness([]), "level_db"),
    "evenness of nan": (lambda: evenness([60.0, np.nan]), "level_db"),
    "STI of six bands": (lambda: sti(modulation=np.ones((6, 14))), "modulation"),
    "STI of nan": (lambda: sti(modulation=np.full((7, 14), np.nan)), "modulation"),
    "noise without speech": (
        lambda: transfer_indices(modulation=np.ones((7, 14)), noise_level_db=np.zeros(7)),
        "noise_level_db",
    ),
    "speech of six bands": (
        lambda: sti(modulation=np.ones((7, 14)), speech_level_db=np.zeros(6)),
        "speech_level_db",
    ),
    "alcons of no distance": (
        lambda: alcons_percent(
            distance_m=0.0, reverberation_time_s=1, volume_m3=100, directivity_factor=5
        ),
        "alcons",
    ),
    "circle of 180": (
        lambda: coverage_diameter_m(throw_m=1.5, coverage_angle_rad=np.pi),
        "coverage_angle_rad",
    ),
    "circle above the ears": (
        lambda: coverage_diameter_m(throw_m=0.0, coverage_angle_rad=1.5),
        "throw_m",
    ),
    "zones apart": (
        lambda: suggested_zone_delay_s(
            lead_energy=[0.0], lead_arrival_s=[0.1], zone_energy=[1.0], zone_arrival_s=[0.0]
        ),
        "zones",
    ),
    "band of 3 kHz": (lambda: band_index(3000), "band"),
    "three values per band": (lambda: per_band([1, 2, 3], "x"), "x"),
}


@pytest.mark.parametrize("name", BAD)
def test_refuses(name):
    refused(*BAD[name])


def test_unknown_material_lists_the_known_ones():
    with pytest.raises(TableError) as caught:
        absorption_coefficients("moon_dust")
    assert "carpet_on_pad" in caught.value.problems[0].why
    assert len(absorption_materials()) == 15


def test_pairs_need_an_azimuth():
    pair = polar_pair(angle_rad=ANGLES, horizontal_db=FLAT, vertical_db=FLAT)
    with pytest.raises(DomainError):
        pair.at_cosine(np.array([1.0]))


def test_silent_ears_give_an_infinite_spread_not_a_crash():
    found = evenness([60.0, -np.inf, 61.0, 62.0])
    assert found.worst_db == -np.inf
    assert found.spread_db == np.inf
    assert evenness([-np.inf, -np.inf]).spread_db == 0.0


def test_a_baffled_speaker_sends_nothing_behind():
    made = piston(radius_m=0.08)
    assert float(made.at_angle(np.radians(100.0)).max()) == 0.0
    assert float(made.at_cosine(np.array([-0.2])).max()) == 0.0


def test_polar_table_with_uneven_angles_keeps_its_rows():
    angle = np.radians([0.0, 7.0, 31.0, 90.0])
    level = np.array([0.0, -0.5, -6.0, -20.0])
    made = polar_table(angle_rad=angle, level_db=np.tile(level[:, None] + 3.0, (1, 8)))
    found = 10 * np.log10(made.at_angle(angle)[:, 3])
    np.testing.assert_allclose(found, level, atol=0.02)
    assert "4 angles to 90°" in made.text


def test_aim_vectors():
    np.testing.assert_allclose(aim_vector(tilt_rad=np.pi / 2), [1, 0, 0], atol=1e-12)
    level = aim_vector(tilt_rad=np.pi / 2, bearing_rad=np.pi / 2)
    np.testing.assert_allclose(level, [0, 1, 0], atol=1e-12)
