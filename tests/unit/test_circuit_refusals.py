"""Cable, taps, trees and networks: what they refuse, and how they say it."""

import numpy as np
import pytest

from soffit.circuit.amplifier import amplifier_power_min_w, amplifier_va_max, load_ratio
from soffit.circuit.cable import (
    awg_diameter_m,
    conductor_resistance_ohm_m,
    copper_temperature_ratio,
    iacs_ratio,
    iec_60228_resistance_ohm_m,
    loop_resistance_ohm,
    loss_db,
    nec_table_8_resistance_ohm_m,
    pair_capacitance_f_m,
    pair_inductance_h_m,
    resistance_source,
)
from soffit.circuit.network import solve_network
from soffit.circuit.tap import tap_impedance_ohm
from soffit.circuit.transformer import generic_transformer, high_pass_flux_ratio
from soffit.circuit.tree import chain, solve_tree, tree_of
from soffit.circuit.wiring_class import jacket_serves_class, jacket_serves_space, read_jacket
from soffit.errors import DomainError, TableError


@pytest.mark.parametrize(
    "call",
    [
        lambda: awg_diameter_m(37),
        lambda: copper_temperature_ratio(400.0),
        lambda: loop_resistance_ohm(resistance_ohm_m=0.01, length_m=-1.0),
        lambda: loop_resistance_ohm(resistance_ohm_m=0.0, length_m=1.0),
        lambda: loss_db(loop_resistance_ohm=1.0, load_ohm=0.0),
        lambda: tap_impedance_ohm(tap_power_w=0.0, line_voltage_v=100.0),
        lambda: tap_impedance_ohm(tap_power_w=float("nan"), line_voltage_v=100.0),
        lambda: pair_inductance_h_m(conductor_diameter_m=1e-3, centre_distance_m=0.5e-3),
        lambda: pair_capacitance_f_m(
            conductor_diameter_m=1e-3, centre_distance_m=2e-3, relative_permittivity=0.5
        ),
        lambda: high_pass_flux_ratio(cutoff_hz=80.0, flux_limit_hz=60.0, order=0),
        lambda: amplifier_power_min_w(load_w=-1.0, headroom_ratio=0.2),
        lambda: load_ratio(drawn_w=10.0, rated_power_w=0.0),
        lambda: amplifier_va_max(
            line_voltage_v=100.0, impedance_ohm=[1.0], frequency_hz=[20.0], high_pass_hz=70.0
        ),
        lambda: generic_transformer(
            drawn_power_w=10,
            line_voltage_v=100,
            nominal_ohm=8,
            insertion_loss_db=-1,
            low_limit_hz=60,
        ),
    ],
)
def test_values_outside_the_range_are_refused_with_all_four_parts(call):
    with pytest.raises(DomainError) as caught:
        call()
    problem = caught.value.problems[0]
    assert problem.what
    assert problem.where
    assert problem.why
    assert problem.do


@pytest.mark.parametrize(
    "call",
    [
        lambda: iec_60228_resistance_ohm_m("1.7"),
        lambda: iec_60228_resistance_ohm_m("1.5", strand_class="2", metal="tinned copper"),
        lambda: nec_table_8_resistance_ohm_m("17"),
        lambda: iacs_ratio("silver"),
        lambda: conductor_resistance_ohm_m(
            "AWG", "18", conductor_degc=20.0, standard="IEC 60228 class 2"
        ),
        lambda: conductor_resistance_ohm_m("mm2", "1.5", conductor_degc=20.0, standard="ASTM B258"),
    ],
)
def test_sizes_that_a_table_has_not_are_refused_and_never_interpolated(call):
    with pytest.raises(TableError):
        call()


def test_copper_clad_aluminium_has_1_6_times_the_resistance():
    plain = conductor_resistance_ohm_m("AWG", "16", conductor_degc=20.0)
    clad = conductor_resistance_ohm_m(
        "AWG", "16", conductor_degc=20.0, metal="copper-clad aluminium"
    )
    assert 1.5 < clad / plain < 1.62


def test_the_table_in_use_is_named():
    assert "ASTM B258" in resistance_source("AWG")
    assert "60228" in resistance_source("mm2")
    assert "Table 8" in resistance_source("AWG", "NEC Table 8 stranded")
    assert "ASTM B258" in resistance_source("AWG", "NEC Table 8 stranded", size="22")
    assert "ASTM B258" not in resistance_source("AWG", "NEC Table 8 stranded", size="16")


def test_typical_pair_has_usual_inductance_and_capacitance():
    # common practice, no source: 0.5-0.7 µH/m and 50-150 pF/m
    inductance = pair_inductance_h_m(conductor_diameter_m=1.3e-3, centre_distance_m=2.4e-3)
    capacitance = pair_capacitance_f_m(
        conductor_diameter_m=1.3e-3, centre_distance_m=2.4e-3, relative_permittivity=3.0
    )
    assert 0.5e-6 < inductance < 0.7e-6
    assert 50e-12 < capacitance < 150e-12


def test_a_loop_where_a_tree_is_asked_is_named():
    with pytest.raises(DomainError) as caught:
        tree_of([-1, 0, 3, 2], labels=["amplifier", "L1-01", "L1-02", "L1-03"])
    problem = caught.value.problems[0]
    assert "L1-02, L1-03" in problem.what
    assert "L1-02 - L1-03 - L1-02" in problem.why


@pytest.mark.parametrize("parent", [[0, 0], [-1, 5], [-1, 1], [], [[-1]]])
def test_parents_that_make_no_tree_are_refused(parent):
    with pytest.raises(DomainError):
        tree_of(parent)


def test_arrays_of_the_wrong_length_and_infinities_are_refused():
    with pytest.raises(DomainError):
        solve_tree(chain(2), run_ohm=[0.0, 1.0], load_siemens=[0.0, 0.1, 0.1])
    with pytest.raises(DomainError):
        solve_tree(chain(2), run_ohm=[0.0, 1.0, np.inf], load_siemens=[0.0, 0.1, 0.1])


def test_open_end_shows_infinite_impedance_outward():
    state = solve_tree(chain(2), run_ohm=[0.0, 1.0, 1.0], load_siemens=[0.0, 0.1, 0.0])
    assert np.isinf(state.outward_ohm[2])
    assert state.voltage_v[2] == state.voltage_v[1]


def test_amplifier_output_impedance_lowers_its_terminals():
    state = solve_tree(chain(1), run_ohm=[1.0, 0.0], load_siemens=[0.0, 1.0])
    assert state.voltage_v[0] == pytest.approx(0.5)


def test_tree_tells_its_paths_and_branches():
    tree = tree_of([-1, 0, 1, 1, 3])
    assert tree.path(4) == (0, 1, 3, 4)
    assert tree.outward(3).tolist() == [3, 4]
    assert tree.children()[1] == (2, 3)


@pytest.mark.parametrize(
    ("runs", "ohms", "loads"),
    [
        ([[0, 1], [2, 3]], [1.0, 1.0], [0.0, 0.1, 0.1, 0.1]),
        ([[0, 1]], [0.0], [0.0, 0.1]),
        ([[0, 0]], [1.0], [0.0, 0.1]),
        ([[0, 1]], [1.0, 2.0], [0.0, 0.1]),
        ([[0, 1]], [np.inf], [0.0, 0.1]),
        ([[0, 7]], [1.0], [0.0, 0.1]),
    ],
)
def test_networks_that_cannot_be_solved_are_refused(runs, ohms, loads):
    with pytest.raises(DomainError):
        solve_network(runs, run_ohm=ohms, load_siemens=loads)


def test_network_of_the_amplifier_alone_has_its_own_voltage():
    state = solve_network(np.empty((0, 2)), run_ohm=[], load_siemens=[0.5], amplifier_voltage_v=2.0)
    assert state.voltage_v.tolist() == [2.0]
    assert state.impedance_ohm == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("mark", "wiring_class", "space"),
    [("CL2", 2, "general"), ("CL3R", 3, "riser"), ("CMP", 3, "plenum"), ("cl2x", 2, "general")],
)
def test_jackets_are_read(mark, wiring_class, space):
    jacket = read_jacket(mark)
    assert jacket is not None
    assert (jacket.wiring_class, jacket.space) == (wiring_class, space)


def test_other_markings_are_not_guessed():
    assert read_jacket("Cca") is None
    assert jacket_serves_class("", "2") is None
    assert jacket_serves_space("Cca", "plenum") is None
