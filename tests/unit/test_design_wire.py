"""Wiring a floor: every loudspeaker once, loads and loss kept, hand decisions kept, refusals."""

from dataclasses import replace

import pytest

from line_sample import key_maker, room, sample_catalogue, six_rooms, speakers_in
from soffit.design.route import wire
from soffit.design.route_cables import cables_for
from soffit.errors import NoSolutionError
from soffit.evaluate.line import evaluate_line
from soffit.model.decisions import Design
from soffit.model.survey import CableWay, Ceiling, Equipment, Rack, Storey
from soffit.model.zones import Zone
from soffit.tables.settings import Limits

CATALOGUE = sample_catalogue()


def wired(survey, speakers, *, previous=None, start=1):
    return wire(
        survey,
        CATALOGUE,
        speakers,
        previous=previous or Design(),
        new_key=key_maker(start=start),
    )


def as_design(result) -> Design:
    return Design(speakers=result.speakers, lines=result.lines, amplifiers=result.amplifiers)


def solved(survey, result):
    degc = survey.limits["conductor_degc"]
    return [
        evaluate_line(line, result.speakers, CATALOGUE, conductor_degc=degc)
        for line in result.lines
    ]


def with_limits(survey, **values):
    return replace(survey, limits=Limits(tuple(values.items())))


def test_every_loudspeaker_hangs_on_exactly_one_line_and_every_line_on_one_channel():
    survey = six_rooms()
    speakers = speakers_in(survey, 10)
    result = wired(survey, speakers)
    hung = [key for line in result.lines for key in line.speaker_keys]
    assert sorted(hung) == sorted(speaker.key for speaker in speakers)
    fed = [
        key for one in result.amplifiers for channel in one.channels for key in channel.line_keys
    ]
    assert sorted(fed) == sorted(line.key for line in result.lines)
    assert [speaker.key for speaker in result.speakers] == [speaker.key for speaker in speakers]


@pytest.mark.parametrize("topology", ["chain", "tees", "free tees"])
def test_loss_and_load_are_within_their_limits_by_the_exact_solution(topology):
    survey = six_rooms()
    survey = replace(survey, site=replace(survey.site, topology=topology))
    result = wired(survey, speakers_in(survey, 4))
    rated = {
        key: CATALOGUE.amplifier(one.type_id).channel_power_w[channel.number - 1]
        for one in result.amplifiers
        for channel in one.channels
        for key in channel.line_keys
    }
    for state in solved(survey, result):
        assert state.worst_loss_db <= survey.limits["line_loss_warn_db"] + 1e-9
        assert state.load_w * 1.2 <= rated[state.key] + 1e-9
    assert all(line.topology == topology for line in result.lines)


def test_a_line_is_measured_with_its_rises_loops_and_slack():
    survey = with_limits(six_rooms(), route_slack_ratio=0.0, service_loop_m=0.5)
    speakers = speakers_in(survey, 2)[:2]
    result = wired(survey, speakers)
    (line,) = result.lines
    first, second = line.runs
    by_key = {speaker.key: speaker for speaker in speakers}
    one, two = (by_key[run.end_key].position for run in line.runs)
    rack = survey.racks[0]
    plan = abs(one[0] - rack.position[0]) + abs(one[1] - rack.position[1])
    # rack drop 2.5 m; void 0.4 m and loop 0.5 m at each cable end
    assert first.length_m == pytest.approx(plan + 2.5 + 0.9, abs=2e-3)
    between = abs(one[0] - two[0]) + abs(one[1] - two[1])
    assert second.length_m == pytest.approx(between + 0.9 + 0.9, abs=2e-3)


def test_sixty_through_six_rooms_are_proven_and_compared():
    survey = with_limits(six_rooms(), amplifier_headroom_ratio=0.0)
    result = wired(survey, speakers_in(survey, 10, tap_w=3.0))
    (line,) = result.lines
    assert len(line.speaker_keys) == 60
    assert "proven the shortest chain" in line.route_note
    others = dict(line.other_routes_m)
    mine = sum(run.length_m for run in line.runs)
    assert others["tees at loudspeakers"] <= mine
    assert others["tees wherever they can be reached"] <= others["tees at loudspeakers"] + 1e-6
    assert others["a chain always to the nearest"] >= mine - 60 * 0.05


def test_labels_follow_the_wiring_order_and_keys_stay():
    survey = six_rooms()
    first = wired(survey, speakers_in(survey, 3))
    again = wired(survey, first.speakers, previous=as_design(first), start=5000)
    assert again.lines == first.lines
    assert again.amplifiers == first.amplifiers
    for line in first.lines:
        by_key = {speaker.key: speaker for speaker in first.speakers}
        names = [by_key[key].label for key in line.speaker_keys]
        assert names == [f"{line.label}-{n:02d}" for n in range(1, len(names) + 1)]
        assert all(by_key[key].line_key == line.key for key in line.speaker_keys)


def test_runs_form_a_tree_from_the_rack_outward():
    survey = six_rooms()
    survey = replace(survey, site=replace(survey.site, topology="free tees"))
    result = wired(survey, speakers_in(survey, 4))
    keys = [run.key for line in result.lines for run in line.runs]
    assert len(set(keys)) == len(keys)
    for line in result.lines:
        reached = {line.rack_key}
        for run in line.runs:
            assert run.start_key in reached
            reached.add(run.end_key)
        assert reached == {line.rack_key, *line.speaker_keys, *(j.key for j in line.joints)}


def test_a_line_fixed_by_hand_stays_as_it_is():
    survey = six_rooms()
    first = wired(survey, speakers_in(survey, 3))
    held = replace(first.lines[0], fixed=True)
    design = replace(as_design(first), lines=(held, *first.lines[1:]))
    again = wired(survey, first.speakers, previous=design, start=5000)
    kept = next(line for line in again.lines if line.key == held.key)
    assert kept.runs == held.runs
    assert kept.speaker_keys == held.speaker_keys
    fewer = [speaker for speaker in first.speakers if speaker.key != held.speaker_keys[0]]
    gone = wired(survey, fewer, previous=design, start=5000)
    assert len(gone.not_kept) == 1
    assert held.label in gone.not_kept[0]


def test_an_order_fixed_by_hand_is_kept():
    survey = six_rooms()
    speakers = speakers_in(survey, 2)
    first = wired(survey, speakers)
    (line,) = first.lines
    backwards = replace(line, speaker_keys=line.speaker_keys[::-1])
    fixed = tuple(replace(speaker, fixed_order=True) for speaker in first.speakers)
    design = replace(as_design(first), lines=(backwards,), speakers=fixed)
    again = wired(survey, fixed, previous=design, start=5000)
    assert again.lines[0].speaker_keys == backwards.speaker_keys
    assert "fixed by hand" in again.lines[0].route_note


def test_neighbours_can_alternate_between_two_lines():
    survey = with_limits(six_rooms(), line_interleave=1.0)
    result = wired(survey, speakers_in(survey, 4))
    assert len(result.lines) == 2
    assert {len(line.speaker_keys) for line in result.lines} == {12}


def test_zones_and_subwoofers_get_lines_of_their_own():
    survey = six_rooms(
        zones=(
            Zone(key="a", label="a", room_keys=("r0", "r1")),
            Zone(key="b", label="b", room_keys=("r2",)),
        )
    )
    speakers = speakers_in(survey, 3)
    low = tuple(
        replace(speaker, key=f"w{speaker.key}")
        for speaker in speakers_in(survey, 1, kind="subwoofer")[:1]
    )
    result = wired(survey, speakers + low)
    zones = [line.zone_keys for line in result.lines]
    assert zones == [("a",), ("a",), ("b",), ()]
    alone = next(line for line in result.lines if low[0].key in line.speaker_keys)
    assert alone.speaker_keys == (low[0].key,)
    # and a channel of its own, for its high-pass is another
    channels = [channel.line_keys for one in result.amplifiers for channel in one.channels]
    assert (alone.key,) in channels
    assert alone.high_pass_hz < min(line.high_pass_hz for line in result.lines if line is not alone)
    # rooms in no zone are wired, too, and zones never share a channel
    by_key = {line.key: line for line in result.lines}
    for one in result.amplifiers:
        for channel in one.channels:
            assert len({by_key[key].zone_keys for key in channel.line_keys}) <= 1


def test_a_volume_control_sits_between_rack_and_loudspeakers():
    survey = six_rooms(
        zones=(Zone(key="a", label="a", room_keys=("r0",), has_volume_control=True),)
    )
    result = wired(survey, speakers_in(survey, 3))
    line = result.lines[0]
    (control,) = line.joints
    assert control.kind == "volume control"
    assert line.runs[0].end_key == control.key
    assert line.runs[1].start_key == control.key
    load = sum(s.tap.power_w for s in result.speakers if s.key in line.speaker_keys)
    assert control.rated_power_w >= load


def test_a_heavy_group_is_split_into_lines_that_channels_carry():
    survey = six_rooms(equipment=Equipment(amplifier_types=("amp-2x120",)))
    result = wired(survey, speakers_in(survey, 10, tap_w=12.0))
    states = solved(survey, result)
    assert all(state.load_w * 1.2 <= 120.0 + 1e-9 for state in states)
    # 12 W delivered through 1.1 dB draw 15.5 W: eight on a channel would draw more than its rating
    assert all(state.drawn_w <= 120.0 for state in states)
    assert len(states) == 9


def test_loss_that_no_cable_keeps_is_cured_by_more_lines_or_told():
    survey = six_rooms(
        equipment=Equipment(cable_types=tuple(_ids("18"))),
        site=replace(six_rooms().site, is_imperial=True),
    )
    result = wired(survey, speakers_in(survey, 10, tap_w=12.0))
    for state in solved(survey, result):
        assert state.worst_loss_db <= 0.5 + 1e-9 or result.notes


def _ids(gauge: str) -> list[str]:
    return [cable.id for cable in CATALOGUE.cable_types if cable.gauge == gauge]


def test_spare_capacity_asked_for_enlarges_the_amplifier():
    survey = with_limits(six_rooms(), amplifier_spare_ratio=0.5)
    speakers = speakers_in(survey, 5, tap_w=6.0)
    roomy, plain = wired(survey, speakers), wired(six_rooms(), speakers)

    def watts(result):
        return sum(sum(CATALOGUE.amplifier(a.type_id).channel_power_w) for a in result.amplifiers)

    assert watts(roomy) >= watts(plain)


def test_upper_storey_is_reached_over_the_riser():
    base = six_rooms()
    upper = room("u0", 0.0, 0.0, 14.0, 11.0, storey="up")
    riser = CableWay(
        key="rise", label="riser", storey_key="up", points=((1.0, 1.0),), is_riser=True
    )
    survey = replace(
        base,
        storeys=(*base.storeys, Storey(key="up", label="upper", elevation_m=3.6)),
        rooms=(*base.rooms, upper),
        zones=(Zone(key="u", label="u", room_keys=("u0",)),),
        cable_ways=(riser,),
    )
    speakers = [one for one in speakers_in(survey, 2) if one.room_key == "u0"]
    result = wired(survey, speakers)
    (line,) = result.lines
    plan = abs(20.0 - 1.0) + abs(0.5 - 1.0)
    near = min(abs(s.position[0] - 1.0) + abs(s.position[1] - 1.0) for s in speakers)
    assert line.runs[0].length_m >= 3.6 + plan + near + 2.5
    assert line.runs[0].route[0] == (1.0, 1.0)


def test_plenum_ceilings_get_plenum_cable():
    base = six_rooms()
    plenum = tuple(
        replace(
            entry,
            ceilings=(Ceiling(key="c", kind="grid", height_m=3.0, is_plenum=True),),
        )
        for entry in base.rooms
    )
    site = replace(base.site, is_imperial=True, region="US", line_voltage_v=100.0)
    survey = replace(base, rooms=plenum, site=site)
    result = wired(survey, speakers_in(survey, 2))
    jackets = {CATALOGUE.cable(run.cable_id).jacket for line in result.lines for run in line.runs}
    assert all(jacket.endswith("P") for jacket in jackets)
    assert not any(jacket.startswith("CL2") for jacket in jackets)


def test_high_pass_is_offered_and_not_below_any_transformer():
    survey = six_rooms()
    result = wired(survey, speakers_in(survey, 2))
    for line in result.lines:
        types = {s.type_id for s in result.speakers if s.key in line.speaker_keys}
        need = max(CATALOGUE.speaker(one).transformer.lf_limit_hz for one in types)
        assert line.high_pass_hz is not None
        assert line.high_pass_hz >= need


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"racks": ()}, "no rack"),
        ({"equipment": Equipment(amplifier_types=("none",))}, "no amplifier"),
        ({"equipment": Equipment(cable_types=("none",))}, "no cable"),
    ],
)
def test_what_cannot_be_wired_is_refused(changes, words):
    survey = six_rooms(**changes)
    with pytest.raises(NoSolutionError) as caught:
        wired(survey, speakers_in(survey, 1))
    problem = caught.value.problems[0]
    assert words in problem.what
    assert problem.where
    assert problem.do


def test_a_tap_over_every_channel_is_refused_by_its_key():
    survey = six_rooms(equipment=Equipment(amplifier_types=("amp-60",)))
    speakers = speakers_in(survey, 1, kind="subwoofer")
    huge = max(CATALOGUE.speaker(speakers[0].type_id).taps_at(100.0), key=lambda t: t.power_w)
    with pytest.raises(NoSolutionError) as caught:
        wired(survey, [replace(speakers[0], tap=replace(huge, power_w=500.0))])
    assert speakers[0].key in caught.value.problems[0].what


def test_nothing_to_wire_gives_nothing():
    result = wired(six_rooms(), ())
    assert result.lines == ()
    assert result.amplifiers == ()


def test_a_second_rack_takes_what_is_nearer():
    survey = six_rooms()
    far = Rack(key="far", label="far", position=(1.0, 21.0), storey_key="g")
    survey = replace(
        survey,
        racks=(*survey.racks, far),
        zones=tuple(
            Zone(key=entry.key, label=entry.key, room_keys=(entry.key,)) for entry in survey.rooms
        ),
    )
    result = wired(survey, speakers_in(survey, 2))
    by_zone = {line.zone_keys[0]: line.rack_key for line in result.lines}
    assert by_zone["r3"] == "far"
    assert by_zone["r1"] == "main"


def test_a_metric_job_keeps_to_one_family_of_cable_with_the_best_fire_class():
    survey = six_rooms()
    found = cables_for(survey, CATALOGUE, space="general")
    assert {cable.gauge_system for cable in found} == {"mm2"}
    assert len({(cable.jacket, cable.conductor) for cable in found}) == 1
    assert found[0].jacket.startswith("Cca")
    areas = [float(cable.gauge) for cable in found]
    assert areas == sorted(areas, reverse=True)


def test_a_zone_that_needs_many_lines_for_its_loss_gets_them():
    """Thin cable only: far more lines than the load asks for, and the limit is kept."""
    survey = with_limits(
        six_rooms(equipment=Equipment(cable_types=tuple(_ids("18")))), line_loss_warn_db=0.12
    )
    survey = replace(survey, site=replace(survey.site, is_imperial=True))
    result = wired(survey, speakers_in(survey, 8, tap_w=6.0))
    assert len(result.lines) > 5
    assert not result.notes
    assert max(state.worst_loss_db for state in solved(survey, result)) <= 0.12 + 1e-9
