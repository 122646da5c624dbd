"""Modal sums against the sum of all mirror images, which is exact for a box with hard walls.

With the same complex wavenumber (ω - jδ)/c in both, images and modes are two solutions of one
problem that share no code.
"""

import numpy as np
import pytest

from soffit.acoustics.lowfreq import (
    decay_rate_per_s,
    half_space_transfer,
    plan_limit_per_m,
)
from soffit.acoustics.lowfreq_mesh import mesh_modes, plan_modes
from soffit.constants import SPEED_OF_SOUND_20_DEGC_M_S as C

SIZE = np.array([6.0, 4.5, 2.7])
BOX = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.5), (0.0, 4.5)]


def image_sum(source: np.ndarray, ear: np.ndarray, tones: np.ndarray, decay: float) -> np.ndarray:
    """2π Σ exp(-jκr)/(4πr) over all images until they have died away by 13 nepers, 113 dB."""
    reach = 13.0 * C / decay
    axes = []
    for side, at, hears in zip(SIZE, source, ear, strict=True):
        order = np.arange(-int(reach / (2 * side)) - 1, int(reach / (2 * side)) + 2)
        axes.append(
            np.concatenate([2 * order * side + at - hears, 2 * order * side - at - hears]) ** 2
        )
    square = (axes[0][:, None, None] + axes[1][None, :, None] + axes[2][None, None, :]).ravel()
    distance = np.sqrt(square[square < reach**2])
    fade = np.exp(-decay / C * distance) / (2.0 * distance)
    return np.array([np.sum(fade * np.exp(-2j * np.pi * f / C * distance)) for f in tones])


@pytest.mark.parametrize("reverberation_time_s", [0.3, 0.5])
def test_modal_sum_agrees_with_the_image_sum_within_a_quarter_decibel(reverberation_time_s: float):
    tones = np.array([25.0, 40.0, 63.0, 80.0, 100.0, 125.0, 160.0])
    decay = float(decay_rate_per_s(reverberation_time_s))
    source = np.array([1.9, 1.3, 2.7])
    ears = np.array([[4.2, 3.1, 1.2], [1.0, 3.9, 1.2], [3.0, 2.25, 1.6], [1.9, 1.5, 1.6]])
    limit = plan_limit_per_m(highest_hz=160.0, height_step_m=1.1)
    exact = np.array([image_sum(source, ear, tones, decay) for ear in ears])
    for modes, step in (
        (plan_modes(BOX, limit_per_m=limit), "closed form"),
        (mesh_modes(BOX, limit_per_m=limit, step_m=0.5), "mesh"),
    ):
        found = half_space_transfer(
            modes,
            source_m=source[:2],
            ear_m=ears,
            frequency_hz=tones,
            decay_rate_per_s=decay,
            height_m=2.7,
        )[0]
        depth = np.abs(exact) / np.sqrt(np.mean(np.abs(exact) ** 2, axis=0))
        assert depth.min() < 0.1  # a null is among them; the images must reach far to find it
        off_db = 20.0 * np.abs(np.log10(np.abs(found / exact)))
        assert np.max(off_db) < 0.25, step
