"""Finite elements on a rectangle against its closed form, and on other plans against finer ones."""

import numpy as np
import pytest
import shapely

from soffit.acoustics.lowfreq import (
    RectangleModes,
    decay_rate_per_s,
    half_space_transfer,
    plan_limit_per_m,
)
from soffit.acoustics.lowfreq_mesh import mesh_modes, mesh_step_m, plan_modes
from soffit.constants import SPEED_OF_SOUND_20_DEGC_M_S as C

LENGTH, WIDTH, HEIGHT = 7.0, 5.0, 2.8
SMALL = [(0.0, 0.0), (5.1, 0.0), (5.1, 3.9), (0.0, 3.9)]
BOX = [(0.0, 0.0), (LENGTH, 0.0), (LENGTH, WIDTH), (0.0, WIDTH)]


def test_frequencies_within_0_03_percent_up_to_120_hz_on_a_0_4_m_mesh():
    modes = mesh_modes(BOX, limit_per_m=2.0 * np.pi * 130.0 / C, step_m=0.4, degree=2)
    orders = np.arange(12)
    exact = np.sort(np.pi * np.hypot(orders[:, None] / LENGTH, orders[None, :] / WIDTH).ravel())
    exact = exact[(exact > 0.0) & (exact * C / (2.0 * np.pi) < 120.0)]
    assert exact.size > 15
    found = modes.wavenumber_per_m[1 : exact.size + 1]
    assert np.max(np.abs(found / exact - 1.0)) < 3e-4


def _transfer(modes, sources, ears, tones):
    return half_space_transfer(
        modes,
        source_m=sources,
        ear_m=ears,
        frequency_hz=tones,
        decay_rate_per_s=decay_rate_per_s(0.6),
        height_m=HEIGHT,
    )


def test_transfer_within_0_2_db_at_every_seat_and_tone_in_nulls_too():
    limit = plan_limit_per_m(highest_hz=160.0, height_step_m=HEIGHT - 1.2)
    rng = np.random.default_rng(5)
    sources = rng.uniform([0.3, 0.3], [5.1 - 0.3, 3.9 - 0.3], (30, 2))
    ears = np.column_stack(
        [rng.uniform([0.5, 0.5], [5.1 - 0.5, 3.9 - 0.5], (40, 2)), np.full(40, 1.2)]
    )
    tones = np.geomspace(25.0, 160.0, 49)
    exact, found = (
        np.abs(_transfer(modes, sources, ears, tones))
        for modes in (
            plan_modes(SMALL, limit_per_m=limit),
            mesh_modes(
                SMALL,
                limit_per_m=limit,
                step_m=mesh_step_m(area_m2=5.1 * 3.9, limit_per_m=limit),
            ),
        )
    )
    depth_db = 20.0 * np.log10(exact / np.sqrt(np.mean(exact**2, axis=1, keepdims=True)))
    assert depth_db.min() < -40.0  # nulls that no seat hears are among them
    assert np.max(20.0 * np.abs(np.log10(found / exact))) < 0.2


@pytest.mark.parametrize(
    ("plan", "columns"),
    [
        ([(0, 0), (9, 0), (9, 5), (5, 5), (5, 11), (0, 11)], []),
        (
            [(0, 0), (9, 0), (9, 6.5), (0, 6.5)],
            [[(x, 3.0), (x + 0.4, 3.0), (x + 0.4, 3.4), (x, 3.4)] for x in (3.0, 6.0)],
        ),
    ],
    ids=["L", "columns"],
)
def test_corners_and_columns_move_no_level_by_0_2_db_against_a_finer_mesh(plan, columns):
    limit = plan_limit_per_m(highest_hz=125.0, height_step_m=HEIGHT - 1.2)
    rng = np.random.default_rng(9)
    low, high = np.min(plan, axis=0), np.max(plan, axis=0)
    room = shapely.Polygon(plan, columns).buffer(-0.3)
    points = rng.uniform(low, high, (200, 2))
    points = points[shapely.contains_xy(room, points[:, 0], points[:, 1])][:50]
    ears = np.column_stack([points[20:], np.full(len(points) - 20, 1.2)])
    tones = np.geomspace(25.0, 125.0, 40)
    usual = plan_modes(plan, columns, limit_per_m=limit)
    finer = mesh_modes(plan, columns, limit_per_m=limit, step_m=0.35)
    levels = [np.abs(_transfer(modes, points[:20], ears, tones)) for modes in (usual, finer)]
    assert np.max(20.0 * np.abs(np.log10(levels[0] / levels[1]))) < 0.2


@pytest.mark.parametrize("turn_rad", [0.0, 0.4, 2.0, -1.2])
def test_a_turned_rectangle_is_still_solved_in_closed_form(turn_rad: float):
    turn = np.array([[np.cos(turn_rad), np.sin(turn_rad)], [-np.sin(turn_rad), np.cos(turn_rad)]])
    inside = np.array([[1.0, 2.0], [6.5, 4.1], [4.4, 0.4]])
    for corners in (BOX, BOX[::-1], BOX[1:] + BOX[:1]):
        modes = plan_modes(np.array(corners) @ turn + [3.0, -2.0], limit_per_m=2.0)
        assert isinstance(modes, RectangleModes)
        plain = RectangleModes((0.0, 0.0), 0.0, LENGTH, WIDTH, 2.0)
        product = modes.at(inside @ turn + [3.0, -2.0]), plain.at(inside)
        # modes may be listed along other sides and with other signs; what they sum to may not
        weight = [1.0 / (1.0 + mode.wavenumber_per_m**2) for mode in (modes, plain)]
        turned = (product[0] * weight[0]) @ product[0].T
        assert turned == pytest.approx((product[1] * weight[1]) @ product[1].T, rel=1e-9)
