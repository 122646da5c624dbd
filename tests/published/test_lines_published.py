"""Lines against published relations and hand computations from named closed forms.

"derived": computed by hand from the closed form beside it (Ohm's law, U²/P, ladder recursion); the
ladder value was found with two independent methods, recursion and dense nodal solution. 70.7 V as
100 V peak over sqrt 2 and the table of tap impedances: an amateur-radio page on the EIA 70.7 V
system, quoting RMA SE-101-A (1949). Flux law for saturation: a trade guide on transformers and an
audio handbook, p. 285. Crest factor: two references on crest factor (12 dB, an eighth of the
power).
"""

import numpy as np
import pytest

from soffit.circuit.amplifier import amplifier_power_min_w, programme_power_ratio
from soffit.circuit.cable import (
    awg_resistance_ohm_m,
    cable_power_share,
    delivered_power_ratio,
    iec_60228_resistance_ohm_m,
    line_loss_db,
    loop_resistance_ohm,
    loss_db,
    voltage_drop_ratio,
)
from soffit.circuit.tap import (
    asked_power_w,
    drawn_power_w,
    parallel_ohm,
    tap_impedance_ohm,
    tap_load_ohm,
    wrong_line_power_ratio,
)
from soffit.circuit.transformer import saturation_voltage_v
from soffit.circuit.tree import chain, solve_tree
from soffit.constants import LINE_70_V
from soffit.decibel import power_ratio_db
from soffit_testing import printed


def test_line_of_100_v_and_100_w_over_100_m_of_1_5_mm2():
    loop = loop_resistance_ohm(resistance_ohm_m=iec_60228_resistance_ohm_m("1.5"), length_m=100.0)
    load = tap_impedance_ohm(tap_power_w=100.0, line_voltage_v=100.0)
    assert loss_db(loop_resistance_ohm=loop, load_ohm=load) == printed("0.2077")


def ladder():
    run = 2.0 * awg_resistance_ohm_m(18) * 10.0
    return solve_tree(
        chain(10),
        run_ohm=np.concatenate([[0.0], np.full(10, run)]),
        load_siemens=np.concatenate([[0.0], np.full(10, 1.0 / 500.0)]),
        amplifier_voltage_v=LINE_70_V,
    )


def test_ladder_of_ten_10_w_taps_on_18_awg():
    state = ladder()
    losses = line_loss_db(
        amplifier_voltage_v=state.voltage_v[0], speaker_voltage_v=state.voltage_v[1:]
    )
    assert losses[0] == printed("0.0708")
    assert losses[-1] == printed("0.3942")
    assert state.impedance_ohm == printed("51.605")


def test_lumped_bounds_of_the_ladder():
    per_metre = awg_resistance_ohm_m(18)
    far = loss_db(loop_resistance_ohm=2 * per_metre * 100.0, load_ohm=50.0)
    middle = loss_db(loop_resistance_ohm=2 * per_metre * 55.0, load_ohm=50.0)
    assert far == pytest.approx(0.699, abs=0.002)
    assert middle == pytest.approx(0.391, abs=0.002)


def test_half_a_decibel_by_its_other_names():
    ratio = 10 ** (0.5 / 20) - 1
    assert ratio == printed("0.05925")
    assert loss_db(loop_resistance_ohm=ratio, load_ohm=1.0) == pytest.approx(0.5, abs=1e-12)
    assert delivered_power_ratio(0.5) == printed("0.8913")
    share = cable_power_share(cable_power_w=ratio, amplifier_power_w=1.0 + ratio)
    assert share == printed("0.0559")
    assert voltage_drop_ratio(0.5) == pytest.approx(float(share), abs=1e-12)


@pytest.mark.parametrize(
    ("watts", "ohms"), [(1, "5000"), (2, "2500"), (5, "1000"), (10, "500"), (100, "50.0")]
)
def test_tap_impedance_at_70_7_v(watts, ohms):
    assert tap_impedance_ohm(tap_power_w=watts, line_voltage_v=LINE_70_V) == pytest.approx(
        float(ohms), rel=5e-4
    )


def test_line_of_100_w_at_100_v_is_100_ohm():
    assert tap_impedance_ohm(tap_power_w=100.0, line_voltage_v=100.0) == pytest.approx(100.0)


def test_70_7_v_is_100_v_peak():
    assert printed("70.711") == LINE_70_V


def test_rogue_8_ohm_loudspeaker_on_a_50_ohm_line():
    together = parallel_ohm([50.0, 8.0])
    assert together == printed("6.897")
    assert asked_power_w(line_voltage_v=LINE_70_V, impedance_ohm=together) == printed("725")


def test_50_w_over_30_m_of_18_awg_at_25_v_and_100_v():
    loop = 2 * awg_resistance_ohm_m(18) * 30.0
    low = loss_db(
        loop_resistance_ohm=loop,
        load_ohm=tap_impedance_ohm(tap_power_w=50.0, line_voltage_v=25.0),
    )
    high = loss_db(
        loop_resistance_ohm=loop,
        load_ohm=tap_impedance_ohm(tap_power_w=50.0, line_voltage_v=100.0),
    )
    assert low == pytest.approx(0.832, abs=0.005)
    assert high == pytest.approx(0.054, abs=0.005)


def test_25_v_tap_on_a_70_7_v_line():
    ratio = wrong_line_power_ratio(tap_line_voltage_v=25.0, line_voltage_v=LINE_70_V)
    assert ratio == printed("8.00")
    assert power_ratio_db(ratio) == printed("9.03")


def test_insertion_loss_of_1_db_on_a_delivered_tap():
    drawn = drawn_power_w(tap_power_w=1.0, insertion_loss_db=1.0, tap_watt="delivered")
    assert drawn == printed("1.259")
    load = tap_load_ohm(
        tap_power_w=1.0, line_voltage_v=1.0, insertion_loss_db=1.0, tap_watt="delivered"
    )
    assert load == printed("0.794")


def test_saturation_at_half_the_frequency_is_half_the_voltage():
    found = saturation_voltage_v(frequency_hz=30.0, rated_voltage_v=100.0, low_limit_hz=60.0)
    assert found == pytest.approx(50.0, abs=1e-12)


def test_crest_factor_of_12_db_is_an_eighth_of_the_sine():
    assert programme_power_ratio(12.0) == printed("0.126")


def test_headroom_of_ten_percent_on_100_w_asks_for_110_w():
    # common practice, no source: 10-25 % on the sum of the taps
    assert amplifier_power_min_w(load_w=100.0, headroom_ratio=0.1) == pytest.approx(110.0)


def test_metric_size_rule_for_ten_percent_cable_share():
    # derived: share n = R/(R+Z) with R = 2 rho l / A and Z = U²/P, so A = 2 rho l P (1-n)/(n U²);
    # the rule's 0.035 is 2/58 = 0.0345 rounded up
    area = 0.035 * (100 - 10) * 300.0 * 100.0 / (10 * 100.0**2)
    assert area == printed("0.945")
    resistance = 0.035 * 300.0 / area
    share = cable_power_share(cable_power_w=resistance, amplifier_power_w=resistance + 100.0)
    assert share == pytest.approx(0.10, abs=1e-12)
