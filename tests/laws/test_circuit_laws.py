"""What holds on every line, whatever its shape."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.circuit.cable import line_loss_db, loss_db
from soffit.circuit.network import solve_network
from soffit.circuit.sweep import TapModel, tap_sweep_ohm
from soffit.circuit.tap import delivered_power_w, drawn_power_w
from soffit.circuit.transformer import (
    Loudspeaker,
    generic_transformer,
    high_pass_flux_ratio,
    loudspeaker_impedance_ohm,
    transformer_gain_ratio,
    transformer_load_ohm,
)
from soffit.circuit.tree import solve_tree, tree_of
from soffit.decibel import power_ratio


def random_tree(seed: int, count: int, *, complex_values: bool):
    rng = np.random.default_rng(seed)
    parent = [-1] + [int(rng.integers(max(0, i - 4), i)) for i in range(1, count)]
    run = np.concatenate([[0.0], rng.uniform(0.05, 3.0, count - 1)])
    load = np.where(rng.random(count) < 0.8, rng.uniform(2e-4, 5e-3, count), 0.0)
    load[0], load[-1] = 0.0, 1e-3
    if complex_values:
        run = run * (1.0 + 1j * rng.uniform(0.0, 0.5, count))
        load = load * (1.0 + 1j * rng.uniform(-0.5, 0.5, count))
    return tree_of(parent), run, load


trees = st.tuples(st.integers(0, 10_000), st.integers(2, 60), st.booleans())


@given(trees)
@settings(max_examples=60, deadline=None)
def test_power_leaving_the_amplifier_is_taps_plus_copper(drawn):
    seed, count, is_complex = drawn
    tree, run, load = random_tree(seed, count, complex_values=is_complex)
    state = solve_tree(tree, run_ohm=run, load_siemens=load, amplifier_voltage_v=100.0)
    spent = state.load_power_w.sum() + state.run_power_w.sum()
    assert state.amplifier_power_w == pytest.approx(float(spent), rel=1e-11)


@given(trees)
@settings(max_examples=60, deadline=None)
def test_voltage_never_rises_outward_on_a_resistive_tree(drawn):
    seed, count, _ = drawn
    tree, run, load = random_tree(seed, count, complex_values=False)
    voltage = solve_tree(tree, run_ohm=run, load_siemens=load).voltage_v
    assert np.all(voltage[1:] <= voltage[tree.parent[1:]] * (1 + 1e-15))


@given(trees, st.integers(0, 1000))
@settings(max_examples=40, deadline=None)
def test_numbering_branches_another_way_changes_nothing(drawn, shuffle):
    seed, count, is_complex = drawn
    tree, run, load = random_tree(seed, count, complex_values=is_complex)
    order = np.concatenate([[0], 1 + np.random.default_rng(shuffle).permutation(count - 1)])
    place = np.argsort(order)
    parent = np.concatenate([[-1], place[tree.parent[order[1:]]]])
    first = solve_tree(tree, run_ohm=run, load_siemens=load)
    second = solve_tree(tree_of(parent), run_ohm=run[order], load_siemens=load[order])
    assert second.voltage_v == pytest.approx(first.voltage_v[order], rel=1e-12)


@given(trees, st.data())
@settings(max_examples=30, deadline=None)
def test_reciprocity_between_any_two_places(drawn, data):
    seed, count, is_complex = drawn
    tree, run, load = random_tree(seed, count, complex_values=is_complex)
    one = data.draw(st.integers(1, count - 1))
    two = data.draw(st.integers(1, count - 1))
    # transfer impedance: current into `one`, voltage at `two`, amplifier terminals open
    matrix = np.zeros((count, count), dtype=complex)
    matrix[np.arange(count), np.arange(count)] += load
    for node in range(1, count):
        y = 1.0 / run[node]
        feeder = tree.parent[node]
        matrix[node, node] += y
        matrix[feeder, feeder] += y
        matrix[node, feeder] -= y
        matrix[feeder, node] -= y
    inverse = np.linalg.inv(matrix)
    assert inverse[one, two] == pytest.approx(inverse[two, one], rel=1e-9)
    both = solve_tree(tree, run_ohm=run, load_siemens=load).both_ways_siemens()
    assert 1.0 / both[one] == pytest.approx(inverse[one, one], rel=1e-9)


@given(trees, st.data())
@settings(max_examples=40, deadline=None)
def test_sensitivities_are_the_derivatives_of_ln_z(drawn, data):
    seed, count, is_complex = drawn
    tree, run, load = random_tree(seed, count, complex_values=is_complex)
    at = data.draw(st.integers(0, count - 1))
    state = solve_tree(tree, run_ohm=run, load_siemens=load)
    if state.outward_siemens[at] == 0.0:
        return
    step = 1e-6
    loads, runs = state.load_sensitivity(at=at), state.run_sensitivity(at=at)
    node = data.draw(st.integers(1, count - 1))
    for name, expected in (("load", loads[node]), ("run", runs[node])):
        ends = []
        for sign in (1, -1):
            run_now, load_now = run.copy(), load.copy()
            if name == "load":
                load_now[node] /= np.exp(sign * step)
            else:
                run_now[node] *= np.exp(sign * step)
            moved = solve_tree(tree, run_ohm=run_now, load_siemens=load_now)
            ends.append(np.log(complex(1.0 / moved.outward_siemens[at])))
        assert (ends[0] - ends[1]) / (2 * step) == pytest.approx(expected, abs=1e-8)


@given(trees)
@settings(max_examples=40, deadline=None)
def test_scaling_every_impedance_scales_ln_z_by_one(drawn):
    # Euler: ln Z is homogeneous of degree one in all impedances together
    seed, count, is_complex = drawn
    tree, run, load = random_tree(seed, count, complex_values=is_complex)
    state = solve_tree(tree, run_ohm=run, load_siemens=load)
    total = state.load_sensitivity().sum() + state.run_sensitivity().sum()
    assert total == pytest.approx(1.0, abs=1e-10)


def test_many_cases_at_once_equal_one_after_the_other():
    tree, run, load = random_tree(5, 40, complex_values=True)
    factors = np.linspace(0.5, 2.0, 9)
    together = solve_tree(tree, run_ohm=run[:, None] * factors, load_siemens=load)
    for case, factor in enumerate(factors):
        alone = solve_tree(tree, run_ohm=run * factor, load_siemens=load)
        assert together.voltage_v[:, case] == pytest.approx(alone.voltage_v, rel=1e-13)
        assert together.impedance_ohm[case] == pytest.approx(alone.impedance_ohm, rel=1e-13)


def test_rank_does_not_depend_on_the_number_of_cases():
    tree, run, load = random_tree(6, 10, complex_values=False)
    assert solve_tree(tree, run_ohm=run, load_siemens=load).impedance_ohm.shape == ()
    one = solve_tree(tree, run_ohm=run[:, None], load_siemens=load)
    assert one.voltage_v.shape == (10, 1)
    assert one.impedance_ohm.shape == (1,)


def test_volume_control_conserves_power_and_scales_voltage():
    tree, run, load = random_tree(7, 12, complex_values=True)
    step = np.ones(12)
    step[1] = 0.5
    state = solve_tree(tree, run_ohm=run, load_siemens=load, step_ratio=step)
    spent = state.load_power_w.sum() + state.run_power_w.sum()
    assert state.amplifier_power_w == pytest.approx(float(spent), rel=1e-12)
    free = solve_tree(
        tree_of([-1, 0]), run_ohm=[0.0, 0.0], load_siemens=[0.0, 0.01], step_ratio=[1.0, 0.5]
    )
    assert free.voltage_v[1] == pytest.approx(0.5)
    assert free.impedance_ohm == pytest.approx(400.0)


@given(trees)
@settings(max_examples=20, deadline=None)
def test_tree_agrees_with_sparse_network(drawn):
    seed, count, is_complex = drawn
    tree, run, load = random_tree(seed, count, complex_values=is_complex)
    ends = np.column_stack([tree.parent[1:], np.arange(1, count)])
    first = solve_tree(tree, run_ohm=run, load_siemens=load)
    second = solve_network(ends, run_ohm=run[1:], load_siemens=load)
    assert second.voltage_v == pytest.approx(first.voltage_v, rel=1e-11)
    assert second.run_current_a == pytest.approx(first.run_current_a[1:], abs=1e-12)
    assert second.load_sensitivity() == pytest.approx(first.load_sensitivity(), abs=1e-11)
    assert second.run_sensitivity() == pytest.approx(first.run_sensitivity()[1:], abs=1e-11)


def test_closing_a_ring_never_lowers_a_voltage():
    ends = [[0, 1], [1, 2], [2, 3], [3, 4]]
    load = [0.0, 2e-3, 2e-3, 2e-3, 2e-3]
    opened = solve_network(ends, run_ohm=[1.0] * 4, load_siemens=load)
    closed = solve_network([*ends, [4, 0]], run_ohm=[1.0] * 5, load_siemens=load)
    assert np.all(closed.voltage_v >= opened.voltage_v)
    spent = closed.load_power_w.sum() + closed.run_power_w.sum()
    assert closed.amplifier_power_w == pytest.approx(float(spent), rel=1e-12)


@given(st.floats(0.0, 50.0), st.floats(1.0, 5000.0))
def test_longer_cable_never_loses_less(loop, load):
    near = loss_db(loop_resistance_ohm=loop, load_ohm=load)
    far = loss_db(loop_resistance_ohm=loop * 1.5 + 0.1, load_ohm=load)
    assert far > near >= 0.0


@given(st.floats(0.5, 100.0), st.floats(0.0, 3.0), st.sampled_from(["drawn", "delivered"]))
def test_insertion_loss_is_counted_exactly_once(watts, loss, tap_watt):
    drawn = drawn_power_w(tap_power_w=watts, insertion_loss_db=loss, tap_watt=tap_watt)
    delivered = delivered_power_w(tap_power_w=watts, insertion_loss_db=loss, tap_watt=tap_watt)
    assert delivered / drawn == pytest.approx(float(power_ratio(-loss)), rel=1e-12)


@given(st.floats(1.0, 60.0), st.floats(0.0, 2.0), st.floats(30.0, 150.0))
@settings(deadline=None)
def test_generic_transformer_draws_its_tap_and_loses_its_loss(watts, loss, limit):
    unit = generic_transformer(
        drawn_power_w=watts,
        line_voltage_v=100.0,
        nominal_ohm=8.0,
        insertion_loss_db=loss,
        low_limit_hz=limit,
    )
    # without its inductances it is the resistive network that the derivation splits the loss over
    bare = type(unit)(
        turns_ratio=unit.turns_ratio,
        primary_winding_ohm=unit.primary_winding_ohm,
        secondary_winding_ohm=unit.secondary_winding_ohm,
        leakage_h=0.0,
        shunt_h=1e12,
        core_ohm=unit.core_ohm,
    )
    load = transformer_load_ohm(bare, secondary_ohm=8.0, frequency_hz=1000.0)
    assert abs(load) == pytest.approx(100.0**2 / watts, rel=1e-9)
    volts = 100.0 * abs(transformer_gain_ratio(bare, secondary_ohm=8.0, frequency_hz=1000.0))
    assert volts**2 / 8.0 == pytest.approx(watts * float(power_ratio(-loss)), rel=1e-9)


def test_loudspeaker_peaks_at_resonance_and_is_its_coil_far_below():
    cone = Loudspeaker(
        coil_ohm=6.0,
        coil_inductance_h=0.4e-3,
        resonance_hz=90.0,
        mechanical_quality_factor=3.0,
        electrical_quality_factor=0.6,
    )
    frequency = np.geomspace(1.0, 400.0, 2000)
    size = np.abs(loudspeaker_impedance_ohm(cone, frequency_hz=frequency))
    assert frequency[size.argmax()] == pytest.approx(90.0, rel=0.01)
    assert size[0] == pytest.approx(6.0, rel=0.01)
    assert size.max() == pytest.approx(6.0 * (1 + 3.0 / 0.6), rel=1e-3)


def test_tap_sweep_is_the_tap_at_1_khz_and_falls_to_a_short_at_dc():
    model = TapModel(
        load_ohm=[500.0, 1000.0], insertion_loss_db=1.0, resonance_hz=90.0, resonance_rise=4.0
    )
    found = np.abs(tap_sweep_ohm(model, frequency_hz=[0.01, 90.0, 1000.0]))
    assert found.shape == (2, 3)
    assert found[:, 2] == pytest.approx([500.0, 1000.0], rel=1e-12)
    assert np.all(found[:, 0] < 0.1 * found[:, 2])
    assert np.all(found[:, 1] > 2.0 * found[:, 2])


@given(st.integers(2, 6))
def test_flux_behind_a_high_pass_is_the_peak_of_its_curve(order):
    frequency = np.geomspace(1.0, 2000.0, 20_000)
    curve = (60.0 / frequency) / np.sqrt(1.0 + (80.0 / frequency) ** (2 * order))
    found = high_pass_flux_ratio(cutoff_hz=80.0, flux_limit_hz=60.0, order=order)
    assert found == pytest.approx(curve.max(), rel=1e-5)


def test_evenly_spread_taps_lose_about_half_of_the_load_at_the_end():
    tree = tree_of([-1, *range(40)])
    run = np.concatenate([[0.0], np.full(40, 0.01)])
    load = np.concatenate([[0.0], np.full(40, 1e-4)])
    state = solve_tree(tree, run_ohm=run, load_siemens=load)
    last = line_loss_db(amplifier_voltage_v=1.0, speaker_voltage_v=state.voltage_v[-1])
    lumped = loss_db(loop_resistance_ohm=0.4, load_ohm=1.0 / 40e-4)
    assert 1.7 < float(lumped / last) < 2.0
