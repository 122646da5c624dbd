"""Levels: sums, means and ratios hold for any levels; the two sums are never the same thing.

Trade check 29 (derived): four equal sounds incoherently, or two coherently, add 6.02 dB.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soffit.decibel import (
    field_ratio,
    field_ratio_db,
    mean_energy_db,
    power_ratio,
    power_ratio_db,
    sum_coherent_db,
    sum_incoherent_db,
)
from soffit.errors import DomainError

LEVELS = st.floats(min_value=-80.0, max_value=140.0)


def test_check_29_four_equal_incoherent_sounds_add_6_02_db() -> None:
    assert sum_incoherent_db([70.0] * 4) - 70.0 == pytest.approx(6.02, abs=0.005)


def test_check_29_two_equal_coherent_sounds_add_6_02_db() -> None:
    assert sum_coherent_db([70.0] * 2) - 70.0 == pytest.approx(6.02, abs=0.005)


@given(LEVELS)
def test_doubling_equal_sounds_adds_3_01_db(level: float) -> None:
    assert sum_incoherent_db([level, level]) - level == pytest.approx(3.0103, abs=1e-4)


@given(st.lists(LEVELS, min_size=1, max_size=8))
def test_sums_are_at_least_the_loudest_and_means_at_most(levels: list[float]) -> None:
    loudest = max(levels)
    assert sum_incoherent_db(levels) >= loudest - 1e-9
    assert sum_coherent_db(levels) >= sum_incoherent_db(levels) - 1e-9
    assert mean_energy_db(levels) <= loudest + 1e-9


@given(LEVELS)
def test_ratios_and_levels_are_inverse(level: float) -> None:
    assert power_ratio_db(power_ratio(level)) == pytest.approx(level, abs=1e-9)
    assert field_ratio_db(field_ratio(level)) == pytest.approx(level, abs=1e-9)


def test_axes_are_kept_and_silence_is_minus_infinity() -> None:
    assert sum_incoherent_db(np.zeros((3, 4)), axis=0).shape == (4,)
    assert power_ratio_db(0.0) == -np.inf


@pytest.mark.parametrize("value", [-1.0, float("nan")])
def test_what_has_no_level_is_refused(value: float) -> None:
    with pytest.raises(DomainError):
        power_ratio_db(value)
    with pytest.raises(DomainError):
        field_ratio_db(value)
