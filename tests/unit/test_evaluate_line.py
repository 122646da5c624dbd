"""A line of records gives the same figures as the published chain, in every topology."""

from dataclasses import replace

import pytest

from soffit.constants import LINE_70_V
from soffit.errors import DomainError
from soffit.evaluate.line import evaluate_line
from soffit.evaluate.line_sweep import sweep_line
from soffit.model.catalogue import (
    CableType,
    Catalogue,
    Directivity,
    SpeakerType,
    Tap,
    TransformerData,
)
from soffit.model.lines import Joint, Line, Run
from soffit.model.speakers import Speaker

TAP = Tap(power_w=10.0, voltage_v=LINE_70_V)
TYPE = SpeakerType(
    id="demo",
    name="demo",
    kind="ceiling",
    taps=(TAP,),
    tap_watt="drawn",
    rated_power_w=20.0,
    sensitivity_db=(90.0,) * 8,
    directivity=Directivity(model="cosine", coverage_angle_rad=1.5),
    transformer=TransformerData(lf_limit_hz=60.0, insertion_loss_db=1.0),
    depth_m=0.1,
    mass_kg=2.0,
    flange_diameter_m=0.2,
)
CABLE = CableType(id="c", name="c", gauge_system="AWG", gauge="18", conductor="solid")
CATALOGUE = Catalogue(speaker_types=(TYPE,), cable_types=(CABLE,))


def speaker(number: int) -> Speaker:
    return Speaker(
        key=f"s{number}",
        label=f"L1-{number:02}",
        room_key="r",
        ceiling_key="c",
        type_id="demo",
        position=(0.0, 0.0),
        mount_height_m=3.0,
        tap=TAP,
    )


SPEAKERS = tuple(speaker(number) for number in range(1, 11))


def run(start: str, end: str, length_m: float = 10.0) -> Run:
    return Run(
        key=f"{start}-{end}",
        label="",
        start_key=start,
        end_key=end,
        length_m=length_m,
        cable_id="c",
    )


def line(*runs: Run, joints: tuple[Joint, ...] = ()) -> Line:
    return Line(
        key="l1",
        label="L1",
        voltage_v=LINE_70_V,
        zone_keys=("z",),
        rack_key="rack",
        speaker_keys=tuple(entry.key for entry in SPEAKERS),
        runs=runs,
        joints=joints,
    )


CHAIN = line(run("rack", "s1"), *(run(f"s{number}", f"s{number + 1}") for number in range(1, 10)))


def test_chain_of_ten_matches_the_nodal_solution_of_the_trade_table() -> None:
    # Derived check 12 of the trade values: ten 10 W taps, 10 m apart, 18 AWG at 20 °C.
    state = evaluate_line(CHAIN, SPEAKERS, CATALOGUE, conductor_degc=20.0)
    assert state.worst_loss_db == pytest.approx(0.3942, abs=5e-5)
    assert state.speakers[0].loss_db == pytest.approx(0.0708, abs=5e-5)
    assert state.impedance_ohm == pytest.approx(51.605, abs=5e-4)
    assert state.load_w == pytest.approx(100.0)
    assert state.speakers[-1].distance_m == pytest.approx(100.0)


def test_power_leaving_the_amplifier_is_taps_plus_copper() -> None:
    state = evaluate_line(CHAIN, SPEAKERS, CATALOGUE, conductor_degc=40.0)
    assert state.amplifier_w == pytest.approx(state.drawn_w + state.cable_w, rel=1e-12)
    assert state.delivered_w == pytest.approx(state.drawn_w * 10**-0.1, rel=1e-12)


def test_a_ring_feeds_the_far_speakers_better_than_its_chain() -> None:
    ring = line(*CHAIN.runs, run("rack", "s10", 10.0))
    closed = evaluate_line(ring, SPEAKERS, CATALOGUE, conductor_degc=20.0)
    opened = evaluate_line(CHAIN, SPEAKERS, CATALOGUE, conductor_degc=20.0)
    assert closed.worst_loss_db < opened.worst_loss_db
    assert closed.amplifier_w == pytest.approx(closed.drawn_w + closed.cable_w, rel=1e-9)


def test_a_volume_control_takes_its_attenuation_off_every_speaker_behind_it() -> None:
    control = Joint(
        key="v",
        label="V1",
        position=(0.0, 0.0),
        storey_key="g",
        kind="volume control",
        attenuation_db=6.0,
        rated_power_w=100.0,
    )
    tamed = line(
        run("rack", "v", 0.001),
        run("v", "s1"),
        *(run(f"s{number}", f"s{number + 1}") for number in range(1, 10)),
        joints=(control,),
    )
    state = evaluate_line(tamed, SPEAKERS, CATALOGUE, conductor_degc=20.0)
    assert state.speakers[0].loss_db > 6.0
    assert state.amplifier_w < 30.0


def test_an_unreached_speaker_is_named() -> None:
    with pytest.raises(DomainError, match="L1-10"):
        evaluate_line(line(*CHAIN.runs[:-1]), SPEAKERS, CATALOGUE, conductor_degc=20.0)


def test_an_empty_line_is_refused() -> None:
    with pytest.raises(DomainError, match="no speaker"):
        evaluate_line(replace(CHAIN, speaker_keys=()), SPEAKERS, CATALOGUE, conductor_degc=20.0)


def test_a_sweep_meets_the_plan_at_1_khz_and_dips_below_the_resonance() -> None:
    sweep = sweep_line(CHAIN, SPEAKERS, CATALOGUE, conductor_degc=20.0)
    at_1_khz = min(
        zip(sweep.frequency_hz, sweep.impedance_ohm, strict=True),
        key=lambda pair: abs(pair[0] - 1000.0),
    )
    assert at_1_khz[1] == pytest.approx(51.605, rel=0.01)
    assert sweep.impedance_ohm[0] < 0.9 * at_1_khz[1]
    assert sweep.flux_limit_hz == pytest.approx(60.0)
    assert sweep.va_max >= LINE_70_V**2 / max(sweep.impedance_ohm)
