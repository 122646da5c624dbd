"""Low-frequency checks against published values and named closed forms.

L-shaped plan with hard walls: the five smallest positive Neumann eigenvalues of the Laplacian on
(-1, 1)² minus a quadrant, as printed on a published benchmark page for L-shaped domains (Bordeaux).
Room modes, Schroeder's frequency and power beside hard planes are closed forms (rectangular rooms
and Schroeder: Kuttruff, Room Acoustics, chapter 3, from memory; power: Waterhouse, J. Acoust. Soc.
Am. 30, 1958, from memory); the expected digits are computed from these by hand.
"""

import numpy as np
import pytest

from soffit.acoustics.boundary import boundary_power_gain_db, boundary_pressure_gain_db
from soffit.acoustics.lowfreq import rectangle_mode_hz, schroeder_hz
from soffit.acoustics.lowfreq_mesh import mesh_modes, plan_modes
from soffit_testing import printed

L_SHAPE = np.array([(0, -1), (1, -1), (1, 1), (-1, 1), (-1, 0), (0, 0)], dtype=float)
L_SHAPE_EIGENVALUES = ("1.47562182", "3.53403137", "9.86960440", "9.86960440", "11.38947940")


def test_room_of_6_by_4_5_m_has_modes_at_28_6_38_1_and_47_6_hz():
    found = rectangle_mode_hz(
        size_m=[6.0, 4.5], orders=[[1, 0], [0, 1], [1, 1]], speed_of_sound_m_s=343.0
    )
    assert found[0] == printed("28.6")
    assert found[1] == printed("38.1")
    assert found[2] == printed("47.6")


def test_schroeder_frequency_of_72_9_m3_at_half_a_second():
    assert schroeder_hz(reverberation_time_s=0.5, volume_m3=72.9) == printed("165.6")


def test_schroeder_frequency_of_200_m3_at_one_second_is_about_140_hz():
    # Kuttruff prints "about 140 Hz": two digits
    found = schroeder_hz(reverberation_time_s=1.0, volume_m3=200.0)
    assert abs(found - 140.0) < 2.0


@pytest.mark.parametrize(("planes", "gain_db"), [(1, "3.01"), (2, "6.02"), (3, "9.03")])
def test_power_close_to_one_two_three_planes(planes: int, gain_db: str):
    found = boundary_power_gain_db(frequency_hz=50.0, distances_m=[1e-6] * planes)
    assert float(found) == printed(gain_db)


def test_power_tenth_of_a_metre_below_the_ceiling_at_0_3_m_from_two_walls_at_80_hz():
    found = boundary_power_gain_db(
        frequency_hz=80.0, distances_m=[0.1, 0.3, 0.3], speed_of_sound_m_s=343.0
    )
    assert float(found) == printed("8.44")


def test_ceiling_source_0_3_m_from_one_and_two_walls_at_80_hz():
    one = boundary_power_gain_db(
        frequency_hz=80.0, distances_m=[0.0, 0.3], speed_of_sound_m_s=343.0
    )
    two = boundary_power_gain_db(
        frequency_hz=80.0, distances_m=[0.0, 0.3, 0.3], speed_of_sound_m_s=343.0
    )
    assert float(one) == printed("5.7")
    assert abs(float(two) - 8.4) < 0.1  # printed +8.4; 8.47 by this sum


def test_half_space_gives_6_02_db_of_pressure_and_3_01_db_of_power():
    assert boundary_pressure_gain_db(planes=1) == printed("6.02")
    power = boundary_power_gain_db(frequency_hz=40.0, distances_m=[0.0])
    assert float(power) == printed("3.01")


@pytest.mark.parametrize("scale", [2.0, 3.0])
def test_first_five_eigenvalues_of_the_l_shape_within_0_2_percent_on_a_0_4_m_mesh(scale: float):
    modes = mesh_modes(L_SHAPE * scale, limit_per_m=5.0 / scale, step_m=0.4, degree=2)
    found = (modes.wavenumber_per_m[1:6] * scale) ** 2
    expected = np.array([float(text) for text in L_SHAPE_EIGENVALUES])
    assert np.max(np.abs(found / expected - 1.0)) < 0.002


@pytest.mark.parametrize("scale", [2.0, 3.0])
def test_first_five_eigenvalues_of_the_l_shape_by_the_usual_mesh(scale: float):
    modes = plan_modes(L_SHAPE * scale, limit_per_m=5.0 / scale)
    found = (modes.wavenumber_per_m[1:6] * scale) ** 2
    expected = np.array([float(text) for text in L_SHAPE_EIGENVALUES])
    assert np.max(np.abs(found / expected - 1.0)) < 0.002
