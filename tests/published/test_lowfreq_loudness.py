"""Equal-loudness contours against values of ISO 226.

Printed values are the 40 phon contour of ISO 226:2003, Annex B, Table B.1, quoted from memory (to
be confirmed). The slope of 0.37 dB per dB at 63 Hz is what those contours give, computed by hand.
"""

import pytest

from soffit.acoustics.lowfreq_loudness import equal_loudness_level_db, loudness_tilt_db
from soffit_testing import printed


@pytest.mark.parametrize(
    ("frequency_hz", "level_db"),
    [
        (20, "99.85"),
        (31.5, "88.17"),
        (40, "82.63"),
        (50, "77.78"),
        (63, "73.08"),
        (80, "68.48"),
        (100, "64.37"),
        (125, "60.59"),
        (160, "56.70"),
    ],
)
def test_annex_b_contour_of_40_phon(frequency_hz: float, level_db: str):
    found = float(equal_loudness_level_db(frequency_hz=frequency_hz, loudness_level_phon=40.0))
    assert found == printed(level_db)


@pytest.mark.parametrize("phon", [20.0, 40.0, 60.0, 80.0])
def test_loudness_level_is_the_level_at_1_khz(phon: float):
    found = float(equal_loudness_level_db(frequency_hz=1000, loudness_level_phon=phon))
    assert abs(found - phon) < 0.05  # the parameters are printed to one decimal


def test_low_end_lags_by_about_0_37_db_per_db_at_63_hz():
    slope = loudness_tilt_db(frequency_hz=[63], mix_phon=80.0, listening_phon=60.0) / 20.0
    assert abs(slope - 0.37) < 0.05
