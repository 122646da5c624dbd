"""What holds for any search of subwoofer tiles."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.acoustics.lowfreq import decay_rate_per_s, half_space_transfer, plan_limit_per_m
from soffit.acoustics.lowfreq_leak import leak_absorption_ratio, tile_transmission_ratio
from soffit.acoustics.lowfreq_loudness import loudness_tilt_db
from soffit.acoustics.lowfreq_mesh import plan_modes
from soffit.acoustics.lowfreq_seats import seat_spread_db, smoothness_db, support_db
from soffit.design.subs_search import choose_settings, choose_tiles, judge_tiles

seeds = st.integers(0, 2**31)


def field(seed: int, tiles: int, seats: int = 7, tones: int = 9) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.normal(size=(tiles, seats, tones)) + 1j * rng.normal(size=(tiles, seats, tones))


@settings(max_examples=15, deadline=None)
@given(seeds, st.integers(3, 12))
def test_singles_and_pairs_are_the_best_there_are(seed: int, tiles: int):
    transfer = field(seed, tiles)
    search = choose_tiles(
        transfer, most=2, support_loss_most_db=100.0, rng=np.random.default_rng(0)
    )
    for count, choice in enumerate(search.best, 1):
        least = min(
            float(seat_spread_db(transfer[list(group)].sum(axis=0)))
            for group in combinations(range(tiles), count)
        )
        assert choice.is_proven
        assert choice.spread_db == pytest.approx(least, abs=2e-3)


@pytest.mark.parametrize(("length", "width"), [(7.0, 5.0), (9.0, 6.1), (5.2, 5.2)])
def test_three_and_four_by_exchange_come_within_a_tenth_of_the_best(length: float, width: float):
    limit = plan_limit_per_m(highest_hz=105.0, height_step_m=1.6)
    modes = plan_modes([(0, 0), (length, 0), (length, width), (0, width)], limit_per_m=limit)
    rng = np.random.default_rng(4)
    tiles = rng.uniform([0.3, 0.3], [length - 0.3, width - 0.3], (16, 2))
    seats = np.column_stack([rng.uniform([0.5, 0.5], [length - 0.5, width - 0.5], (20, 2))])
    transfer = half_space_transfer(
        modes,
        source_m=tiles,
        ear_m=np.column_stack([seats, np.full(20, 1.2)]),
        frequency_hz=np.geomspace(36.0, 105.0, 24),
        decay_rate_per_s=decay_rate_per_s(0.5),
        height_m=2.8,
    )
    search = choose_tiles(
        transfer, most=4, support_loss_most_db=100.0, rng=np.random.default_rng(0)
    )
    for choice in search.best[2:]:
        groups = list(combinations(range(16), len(choice.tiles)))
        sums = np.array([transfer[list(group)].sum(axis=0) for group in groups])
        least = float(seat_spread_db(sums).min())
        assert not choice.is_proven
        assert len(set(choice.tiles)) == len(choice.tiles)
        assert least - 1e-6 <= choice.spread_db <= least + 0.1


@settings(max_examples=15, deadline=None)
@given(seeds, st.floats(0.5, 3.0))
def test_the_limit_on_lost_level_is_kept_where_it_can_be(seed: int, loss_db: float):
    transfer = field(seed, 9)
    search = choose_tiles(
        transfer, most=1, support_loss_most_db=loss_db, rng=np.random.default_rng(0)
    )
    assert search.best[0].keeps_support
    assert search.best[0].support_db >= search.single_support_db.max() - loss_db - 1e-3


@settings(max_examples=15, deadline=None)
@given(seeds, st.floats(-40.0, 40.0))
def test_louder_changes_support_only(seed: int, gain_db: float):
    transfer = field(seed, 1)[0]
    louder = transfer * 10.0 ** (gain_db / 20.0)
    assert float(seat_spread_db(louder)) == pytest.approx(float(seat_spread_db(transfer)))
    assert float(smoothness_db(louder)) == pytest.approx(float(smoothness_db(transfer)))
    assert float(support_db(louder)) == pytest.approx(float(support_db(transfer)) + gain_db)


def test_two_in_one_place_give_three_decibels_more_per_watt():
    transfer = np.repeat(field(3, 1), 2, axis=0)
    one, two = judge_tiles(transfer, (0,)), judge_tiles(transfer, (0, 1))
    assert two.support_db - one.support_db == pytest.approx(3.0103, abs=1e-4)
    assert two.spread_db == pytest.approx(one.spread_db)


@settings(max_examples=10, deadline=None)
@given(seeds)
def test_settings_never_make_it_worse_and_undo_what_was_done(seed: int):
    tones = np.array([40.0, 50.0, 63.0, 80.0, 100.0])
    transfer = field(seed, 1, tones=5)[0]
    late = np.exp(-2j * np.pi * tones * 0.002)
    pair = np.stack([transfer * late, transfer])  # the first comes 2 ms late
    choice = choose_settings(pair, frequency_hz=tones, delay_most_s=0.01, support_loss_most_db=0.0)
    assert choice.spread_db <= choice.plain_spread_db + 1e-9
    assert choice.support_db >= choice.plain_support_db - 1e-6


@given(st.floats(20.0, 160.0), st.floats(0.5, 30.0), st.floats(1.1, 3.0))
def test_heavier_ceilings_and_higher_notes_leak_less(tone: float, mass: float, more: float):
    light = float(tile_transmission_ratio(frequency_hz=tone, mass_kg_m2=mass))
    assert 0.0 < float(tile_transmission_ratio(frequency_hz=tone, mass_kg_m2=more * mass)) < light
    assert 0.0 < float(tile_transmission_ratio(frequency_hz=more * tone, mass_kg_m2=mass)) < light
    leak = leak_absorption_ratio(
        frequency_hz=tone, mass_kg_m2=mass, known_absorption=0.3, share_lost=1.0
    )
    assert float(leak) == pytest.approx(max(light - 0.3, 0.0))


@given(st.floats(30.0, 80.0), st.floats(0.5, 20.0))
def test_the_quieter_it_is_heard_the_more_low_end_it_wants(heard: float, less: float):
    bands = [50, 63, 80]
    quiet = loudness_tilt_db(
        frequency_hz=bands, mix_phon=80.0, listening_phon=max(heard - less, 20.0)
    )
    loud = loudness_tilt_db(frequency_hz=bands, mix_phon=80.0, listening_phon=heard)
    assert quiet >= loud - 1e-9
