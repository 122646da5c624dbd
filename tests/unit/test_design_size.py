"""Lines on amplifier channels: headroom, zones apart, least watts and boxes, refusals."""

from itertools import combinations_with_replacement

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.design.size import Demand, choose_amplifiers, largest_load_w
from soffit.errors import NoSolutionError
from soffit.model.catalogue import AmplifierType


def amplifier(name: str, *powers: float, voltages=(100.0,)) -> AmplifierType:
    return AmplifierType(id=name, name=name, channel_power_w=powers, voltages_v=voltages)


TYPES = (amplifier("two", 120, 120), amplifier("four", 120, 120, 120, 120), amplifier("big", 500))


def demand(number: int, watts: float, zone: str = "z") -> Demand:
    return Demand(key=f"l{number}", label=f"L{number}", zone=zone, load_w=watts)


loads = st.lists(st.tuples(st.floats(1.0, 400.0), st.sampled_from("abc")), min_size=1, max_size=9)


@given(loads, st.floats(0.0, 0.5))
@settings(max_examples=100, deadline=None)
def test_every_line_has_one_channel_with_headroom_and_no_zones_mix(given_loads, headroom):
    demands = [demand(n, watts / 1.5, zone) for n, (watts, zone) in enumerate(given_loads)]
    by_key = {entry.key: entry for entry in demands}
    filled = choose_amplifiers(demands, TYPES, line_voltage_v=100.0, headroom_ratio=headroom)
    placed = [key for one in filled for channel in one.channels for key in channel]
    assert sorted(placed) == sorted(by_key)
    powers = {entry.id: entry.channel_power_w for entry in TYPES}
    for one in filled:
        for rated, spare, keys in zip(powers[one.type_id], one.spare_w, one.channels, strict=True):
            load = sum(by_key[key].load_w for key in keys)
            assert load * (1.0 + headroom) <= rated + 1e-6
            assert spare == pytest.approx(rated / (1.0 + headroom) - load, abs=1e-6)
            assert len({by_key[key].zone for key in keys}) <= 1


@given(st.lists(st.floats(10.0, 110.0), min_size=1, max_size=5))
@settings(max_examples=40, deadline=None)
def test_one_zone_a_line_costs_no_more_watts_than_the_best_set_of_boxes(watts):
    demands = [demand(n, load, zone=str(n)) for n, load in enumerate(watts)]
    filled = choose_amplifiers(demands, TYPES, line_voltage_v=100.0, headroom_ratio=0.0)
    powers = {entry.id: entry.channel_power_w for entry in TYPES}
    ours = sum(sum(powers[one.type_id]) for one in filled)
    best = min(
        sum(sum(entry.channel_power_w) for entry in boxes)
        for size in range(1, 6)
        for boxes in combinations_with_replacement(TYPES, size)
        if sum(len(entry.channel_power_w) for entry in boxes) >= len(watts)
    )
    assert ours == pytest.approx(best)


def test_fewer_boxes_where_one_is_worth_watts():
    demands = [demand(n, 50.0, zone=str(n)) for n in range(3)]
    types = (amplifier("one", 60), amplifier("four", 120, 120, 120, 120))
    single = choose_amplifiers(demands, types, line_voltage_v=100.0, headroom_ratio=0.2)
    boxed = choose_amplifiers(demands, types, line_voltage_v=100.0, headroom_ratio=0.2, box_w=200.0)
    assert len(single) == 3
    assert [one.type_id for one in boxed] == ["four"]


def test_lines_of_one_zone_spread_before_they_share():
    demands = [demand(n, 30.0) for n in range(3)]
    (filled,) = choose_amplifiers(
        demands, [amplifier("two", 120, 120)], line_voltage_v=100.0, headroom_ratio=0.2
    )
    assert sorted(len(keys) for keys in filled.channels) == [1, 2]


def test_a_line_over_every_channel_is_refused_by_its_label():
    with pytest.raises(NoSolutionError) as caught:
        choose_amplifiers([demand(7, 450.0)], TYPES, line_voltage_v=100.0, headroom_ratio=0.2)
    problem = caught.value.problems[0]
    assert problem.what.startswith("L7:")
    assert "540.0 W" in problem.why
    assert "500.0 W" in problem.why


def test_other_line_voltages_do_not_count():
    types = [amplifier("us", 500, voltages=(70.7,))]
    assert largest_load_w(types, line_voltage_v=100.0, headroom_ratio=0.2) == 0.0
    with pytest.raises(NoSolutionError):
        choose_amplifiers([demand(1, 10.0)], types, line_voltage_v=100.0, headroom_ratio=0.2)
