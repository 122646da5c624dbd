"""What holds for the low end of any prismatic room."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.acoustics.lowfreq import (
    absorption_area_of_decay_m2,
    decay_rate_per_s,
    diffuse_transfer_ratio,
    half_space_transfer,
    plan_limit_per_m,
)
from soffit.acoustics.lowfreq_mesh import mesh_modes, plan_modes

L_PLAN = np.array([(0, 0), (9, 0), (9, 5), (5, 5), (5, 8), (0, 8)], dtype=float)
COLUMN = np.array([(3.0, 3.0), (3.5, 3.0), (3.5, 3.5), (3.0, 3.5)])
side = st.floats(3.0, 12.0)
share = st.floats(0.05, 0.95)


@settings(max_examples=25, deadline=None)
@given(side, side, share, share, share, share)
def test_source_and_ear_at_one_height_may_change_places(
    length: float, width: float, x: float, y: float, u: float, v: float
):
    box = [(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)]
    modes = plan_modes(box, limit_per_m=4.0)
    places = np.array([[x * length, y * width], [u * length, v * width]])
    fields = [
        half_space_transfer(
            modes,
            source_m=places[first],
            ear_m=[*places[second], ear_height],
            frequency_hz=[40.0, 90.0],
            decay_rate_per_s=12.0,
            height_m=3.0,
            source_height_m=source_height,
        )[0, 0]
        for first, second, source_height, ear_height in ((0, 1, 3.0, 1.2), (1, 0, 1.2, 3.0))
    ]
    assert fields[0] == pytest.approx(fields[1], rel=1e-9)


def test_reciprocity_holds_round_a_corner_and_a_column():
    modes = mesh_modes(L_PLAN, [COLUMN], limit_per_m=3.0, step_m=0.4)
    here, there = [1.0, 7.2], [8.1, 1.1]
    tones = [31.5, 63.0, 100.0]
    forth = half_space_transfer(
        modes,
        source_m=here,
        ear_m=[*there, 1.2],
        frequency_hz=tones,
        decay_rate_per_s=9.0,
        height_m=3.0,
    )
    back = half_space_transfer(
        modes,
        source_m=there,
        ear_m=[*here, 3.0],
        frequency_hz=tones,
        decay_rate_per_s=9.0,
        height_m=3.0,
        source_height_m=1.2,
    )
    assert forth == pytest.approx(back, rel=1e-9)


def test_a_source_on_the_node_line_of_a_mode_gives_none_of_it():
    modes = plan_modes([(0, 0), (8, 0), (8, 5), (0, 5)], limit_per_m=4.0)
    middle = modes.at([[4.0, 1.7]])[0]
    odd = np.isclose(modes.wavenumber_per_m, np.pi / 8.0)
    assert np.count_nonzero(odd) == 1
    assert abs(middle[odd][0]) < 1e-12
    assert np.max(np.abs(middle)) > 1.0


def test_two_sources_at_mirrored_places_cancel_odd_modes():
    modes = plan_modes([(0, 0), (8, 0), (8, 5), (0, 5)], limit_per_m=4.0)
    pair = modes.at([[1.3, 1.7], [6.7, 1.7]]).sum(axis=0)
    odd = np.isclose(modes.wavenumber_per_m, np.pi / 8.0)
    even = np.isclose(modes.wavenumber_per_m, 2.0 * np.pi / 8.0)
    assert abs(pair[odd][0]) < 1e-12
    assert abs(pair[even][0]) > 0.5
    apart = half_space_transfer(
        modes,
        source_m=[[1.3, 1.7], [6.7, 1.7]],
        ear_m=[[2.0, 2.0, 1.2], [6.0, 2.0, 1.2]],
        frequency_hz=[343.2 / 16.0],
        decay_rate_per_s=3.0,
        height_m=3.0,
    )[:, :, 0]
    both = np.abs(apart.sum(axis=0))
    assert both[0] == pytest.approx(both[1], rel=1e-9)
    assert np.abs(apart[0, 0]) > 2.0 * np.abs(apart[:, 0].sum())


@settings(max_examples=25, deadline=None)
@given(st.floats(0.2, 1.5), st.floats(1.05, 4.0), share, share)
def test_more_damping_never_sharpens_a_peak(time_s: float, more: float, x: float, y: float):
    """Peak of the level summed over the whole floor: its height falls as damping grows."""
    modes = plan_modes([(0, 0), (7, 0), (7, 5), (0, 5)], limit_per_m=4.0)
    grid = np.stack(np.meshgrid(np.linspace(0, 7, 15), np.linspace(0, 5, 11)), axis=-1)
    ears = np.column_stack([grid.reshape(-1, 2), np.full(165, 1.2)])
    tones = np.arange(22.0, 27.0, 0.25)  # round the first mode, 24.5 Hz
    sharpness = []
    for decay in (decay_rate_per_s(time_s), more * decay_rate_per_s(time_s)):
        field = half_space_transfer(
            modes,
            source_m=[[0.1 + 0.35 * x * 7, y * 5]],
            ear_m=ears,
            frequency_hz=tones,
            decay_rate_per_s=decay,
            height_m=3.0,
        )[0]
        sharpness.append(np.max(np.mean(np.abs(field) ** 2, axis=0)))
    assert sharpness[1] <= sharpness[0] * (1 + 1e-9)


@pytest.mark.parametrize(("size", "time_s"), [((12.0, 9.0, 3.2), 0.6), ((9.0, 7.0, 3.0), 1.0)])
def test_mean_over_height_and_floor_is_the_diffuse_field(
    size: tuple[float, float, float], time_s: float
):
    length, width, height = size
    limit = plan_limit_per_m(highest_hz=160.0, height_step_m=0.4)
    modes = plan_modes([(0, 0), (length, 0), (length, width), (0, width)], limit_per_m=limit)
    rng = np.random.default_rng(3)
    sources = rng.uniform([0, 0], [length, width], (40, 2))
    heights = (np.arange(8) + 0.5) / 8 * height
    ears = np.column_stack([rng.uniform([0, 0], [length, width], (240, 2)), np.tile(heights, 30)])
    decay = float(decay_rate_per_s(time_s))
    tones = np.geomspace(90.0, 160.0, 60)
    field = half_space_transfer(
        modes,
        source_m=sources,
        ear_m=ears,
        frequency_hz=tones,
        decay_rate_per_s=decay,
        height_m=height,
    )
    area = absorption_area_of_decay_m2(decay_rate_per_s=decay, volume_m3=length * width * height)
    ratio = np.mean(np.abs(field) ** 2) / float(diffuse_transfer_ratio(absorption_area_m2=area))
    assert abs(10.0 * np.log10(ratio)) < 1.0


@settings(max_examples=30, deadline=None)
@given(st.floats(20.0, 160.0), st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_planes_never_raise_the_power_by_more_than_they_do_at_no_distance(
    tone: float, near: float, far: float
):
    from soffit.acoustics.boundary import boundary_power_gain_db

    one = float(boundary_power_gain_db(frequency_hz=tone, distances_m=[near]))
    two = float(boundary_power_gain_db(frequency_hz=tone, distances_m=[near, far]))
    swapped = float(boundary_power_gain_db(frequency_hz=tone, distances_m=[far, near]))
    assert one <= 3.0103 + 1e-4
    assert two <= 6.0206 + 1e-4
    assert two == pytest.approx(swapped, abs=1e-9)


@settings(max_examples=6, deadline=None)
@given(
    st.lists(st.floats(2.5, 6.0), min_size=5, max_size=10),
    st.floats(0.15, 0.5),
    st.floats(0.1, 3.0),
)
def test_any_plan_with_a_column_gets_a_mesh_and_turning_it_moves_no_mode(
    radii: list[float], column: float, turn: float
):
    angle = 2.0 * np.pi * np.arange(len(radii)) / len(radii)
    plan = np.array(radii)[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    round_ = np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
    hole = column * np.column_stack([np.cos(round_), np.sin(round_)])
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    straight = mesh_modes(plan, [hole], limit_per_m=1.2, step_m=0.6)
    turned = mesh_modes(plan @ rotation + 5.0, [hole @ rotation + 5.0], limit_per_m=1.2, step_m=0.6)
    several = min(straight.wavenumber_per_m.size, turned.wavenumber_per_m.size, 8)
    assert several >= 3
    assert straight.wavenumber_per_m[1:several] == pytest.approx(
        turned.wavenumber_per_m[1:several], rel=3e-3
    )
    points = np.array([[1.2, 0.3], [0.2, -1.4]])
    assert np.abs(straight.at(points)[:, 0]) == pytest.approx(np.ones(2), rel=1e-6)
