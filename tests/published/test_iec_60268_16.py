"""Speech against IEC 60268-16 and the closed forms of its chain.

IEC 60268-16:2020 (edition 5) and :2011 (edition 4), Tables A.1 to A.3, masking of Table A.2, and
the verification values of band pairs and of uniform modulation (all read in the source or test data
of open measurement libraries, which name the clauses). Values marked "chain" were computed from
those tables by a separate program. %ALcons: definition pages (after Peutz 1971); its fit to STI
after Becker.
"""

import numpy as np
import pytest

from soffit.acoustics.alcons import alcons_from_sti_percent, alcons_percent
from soffit.acoustics.noise import nc_curve_db
from soffit.acoustics.spectrum import speech_spectrum
from soffit.acoustics.sti import (
    masking_level_db,
    modulation_of_decay,
    octave_weights,
    sti,
    sti_from_transfer_indices,
    sti_letter,
    sti_rating,
)
from soffit.acoustics.weighting import level_dba, level_dbc
from soffit_testing import printed

FULL = np.ones((7, 14))


def decay(time_s: float):
    return np.broadcast_to(modulation_of_decay(time_s), (7, 14))


def test_table_a_1_weights_less_redundancies_are_one():
    alpha, beta = octave_weights()
    assert alpha.sum() - beta.sum() == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(
    ("snr_db", "value"),
    [(15, "1.000"), (10, "0.833"), (6, "0.700"), (3, "0.600"), (0, "0.500"), (-15, "0.000")],
)
def test_a_5_4_noise_only(snr_db, value):
    found = float(sti(modulation=FULL, snr_db=np.full(7, snr_db)))
    assert abs(found - float(value)) < 0.001  # printed to three digits


@pytest.mark.parametrize(
    ("time_s", "value"),
    [(0.5, "0.736"), (1.0, "0.588"), (1.5, "0.498"), (2.0, "0.437"), (3.0, "0.357")],
)
def test_chain_decay_only(time_s, value):
    assert abs(float(sti(modulation=decay(time_s))) - float(value)) < 0.001


@pytest.mark.parametrize(
    ("time_s", "value"), [(0.5, 0.7363), (1.0, 0.5885), (2.0, 0.4374), (3.0, 0.3571)]
)
def test_decay_only_on_which_two_libraries_agree(time_s, value):
    # both use the exact decay constant 6 ln 10 = 13.816 where the standard prints 13.8
    assert abs(float(sti(modulation=decay(time_s))) - value) < 0.0005


@pytest.mark.parametrize(("snr_db", "value"), [(15, 0.565), (10, 0.530), (0, 0.358)])
def test_chain_decay_of_one_second_and_noise(snr_db, value):
    found = float(sti(modulation=decay(1.0), snr_db=np.full(7, snr_db)))
    assert abs(found - value) < 0.002


def test_modulation_of_one_second_at_one_hertz():
    assert float(modulation_of_decay(1.0)[2]) == printed("0.9101")


@pytest.mark.parametrize(
    ("level_db", "masking_db"), [(50, "-40.0"), (65, "-29.9"), (80, "-19.8"), (120, "-10.0")]
)
def test_table_a_2_masking(level_db, masking_db):
    assert float(masking_level_db(level_db)) == printed(masking_db)


def test_table_a_3_speech_spectra_sum_to_their_own_dba():
    five, four = speech_spectrum(5).level_db, speech_spectrum(4).level_db
    assert float(level_dba(five)) == printed("0.02")
    assert float(level_dba(four)) == printed("0.05")
    assert float(level_dbc(four) - level_dba(four)) == printed("6.9")
    assert float(level_dbc(five) - level_dba(five)) == printed("4.7")


@pytest.mark.parametrize("pair", range(6))
def test_adjacent_band_pairs(pair):
    expected = ("0.127", "0.279", "0.398", "0.531", "0.486", "0.302")
    mti = np.zeros(7)
    mti[pair : pair + 2] = 1.0
    assert float(sti_from_transfer_indices(mti)) == printed(expected[pair])


@pytest.mark.parametrize(("m", "value"), [(0.11182, 0.2), (0.33386, 0.4), (0.79924, 0.7)])
def test_uniform_modulation(m, value):
    # 10 lg(m / (1 - m)) = -9, -3, 6 dB; the standard's own tolerance is 0.01
    assert abs(float(sti(modulation=FULL * m)) - value) < 0.001


@pytest.mark.parametrize(("level_dba_db", "value"), [(85, 0.970), (100, 0.787)])
def test_chain_level_alone(level_dba_db, value):
    speech = speech_spectrum().octaves_db(level_dba_db)[1:]
    assert abs(float(sti(modulation=FULL, speech_level_db=speech)) - value) < 0.003


@pytest.mark.parametrize(("level_dba_db", "value"), [(65, 0.635), (75, 0.680), (90, 0.647)])
def test_chain_room_of_0_6_s_with_nc_40(level_dba_db, value):
    found = sti(
        modulation=decay(0.6),
        speech_level_db=speech_spectrum().octaves_db(level_dba_db)[1:],
        noise_level_db=nc_curve_db(40)[1:],
    )
    assert abs(float(found) - value) < 0.003


@pytest.mark.parametrize(
    ("level_dba_db", "value"),
    [(55, 0.48), (60, 0.57), (65, 0.64), (70, 0.67), (80, 0.68), (85, 0.67)],
)
def test_louder_stops_helping_near_75_to_80_dba(level_dba_db, value):
    found = sti(
        modulation=decay(0.6),
        speech_level_db=speech_spectrum().octaves_db(level_dba_db)[1:],
        noise_level_db=nc_curve_db(40)[1:],
    )
    assert abs(float(found) - value) < 0.0075  # printed to two digits, inputs rounded


def test_alcons_definition():
    found = alcons_percent(
        distance_m=10.0, reverberation_time_s=1.5, volume_m3=3000.0, directivity_factor=5.0
    )
    assert float(found) == printed("3.00")


@pytest.mark.parametrize(
    ("value", "percent"), [(0.45, "14.9"), (0.50, "11.4"), (0.60, "6.6"), (0.75, "2.9")]
)
def test_becker_fit_of_alcons(value, percent):
    assert float(alcons_from_sti_percent(value)) == printed(percent)


def test_branches_of_alcons_join():
    time, q, volume = 1.5, 5.0, 3000.0
    join = 0.2121 * np.sqrt(q * volume / time)
    found = alcons_percent(
        distance_m=join, reverberation_time_s=time, volume_m3=volume, directivity_factor=q
    )
    assert abs(float(found) / (9 * time) - 1) < 0.001
    far = alcons_percent(
        distance_m=2 * join, reverberation_time_s=time, volume_m3=volume, directivity_factor=q
    )
    assert float(far) == pytest.approx(9 * time)


def test_annex_f_letters_change_in_steps_of_0_04():
    edges = {0.36: "UJ", 0.40: "JI", 0.44: "IH", 0.48: "HG", 0.52: "GF", 0.56: "FE"}
    edges |= {0.60: "ED", 0.64: "DC", 0.68: "CB", 0.72: "BA"}
    for edge, (below, above) in edges.items():
        assert sti_letter(edge - 0.001) == below
        assert sti_letter(edge) == above
    assert (sti_letter(0.759), sti_letter(0.76)) == ("A", "A+")
    assert (sti_letter(0.0), sti_letter(1.0)) == ("U", "A+")


@pytest.mark.parametrize(
    ("value", "word"),
    [(0.29, "bad"), (0.30, "poor"), (0.45, "fair"), (0.60, "good"), (0.75, "excellent")],
)
def test_words_of_the_index(value, word):
    assert sti_rating(value) == word
