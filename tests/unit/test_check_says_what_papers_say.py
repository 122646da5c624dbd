"""Checks and papers agree: mounting parts, watts, units of the job, words for places."""

from dataclasses import replace

import pytest

from soffit.design.route_amplifiers import asked_w
from soffit.design.route_field import Base
from soffit.evaluate.sound_room import room_acoustics
from soffit.model.catalogue import Tap
from soffit.model.findings import Finding
from soffit.model.lines import Joint
from soffit.model.survey import Joists
from soffit.units import FOOT_M, POUND_KG, format_surface_mass
from soffit_checked_job import (
    clean_job,
    findings_of,
    with_amplifier,
    with_ceiling,
    with_line,
    with_runs,
    with_site,
    with_speaker,
    with_type,
)


def of_code(findings: "list[Finding] | tuple[Finding, ...]", code: str) -> list[Finding]:
    return [finding for finding in findings if finding.code == code]


def test_a_unit_on_a_frame_is_not_said_to_hang_on_plasterboard_alone() -> None:
    joists = Joists(angle_rad=0.0, spacing_m=0.6, width_m=0.04, offset=(0.0, 0.0))
    board = with_ceiling(
        clean_job(), kind="plasterboard", grid=None, joists=joists, tile_mass_kg_m2=None
    )
    assert board.catalogue.speaker("ceiling-6").mass_kg > board.survey.limits["board_unit_most_kg"]
    assert not of_code(findings_of(board, without_sound=True), "WEIGHT-11")
    bare = replace(
        board,
        catalogue=replace(
            board.catalogue,
            hardware_types=tuple(p for p in board.catalogue.hardware_types if p.kind != "frame"),
        ),
    )
    assert of_code(findings_of(bare, without_sound=True), "WEIGHT-11")


def test_a_feet_and_pounds_job_gets_no_kilograms() -> None:
    heavy = with_ceiling(with_site(clean_job(), is_imperial=True), tile_mass_kg_m2=19.4)
    (finding,) = of_code(findings_of(heavy, without_sound=True), "WEIGHT-05")
    assert "kg" not in finding.what + finding.limit
    assert finding.limit == "4.0 lb/sq ft"
    four = 4.0 * POUND_KG / FOOT_M**2  # state code notes print 4 psf as 19.5 kg/m2
    assert four == pytest.approx(19.5, abs=0.05)
    assert format_surface_mass(19.5, imperial=False) == "19.5 kg/m²"


def test_a_control_that_the_catalogue_has_not_is_not_called_one_of_0_w() -> None:
    job = clean_job()
    line = job.design.lines[0]
    joint = Joint(
        key="v1",
        label="V1",
        position=(1.0, 1.0),
        storey_key=job.survey.storeys[0].key,
        kind="volume control",
    )
    first = line.runs[0]
    runs = (
        replace(first, end_key="v1"),
        replace(first, key="extra", start_key="v1", end_key=first.end_key),
        *line.runs[1:],
    )
    (finding,) = of_code(
        findings_of(with_line(job, joints=(joint,), runs=runs), without_sound=True), "LINE-13"
    )
    assert finding.what.startswith("no volume control of the catalogue is rated for its")
    assert "0 W" not in finding.limit


def test_the_overload_of_a_channel_is_what_leaves_it_cable_and_all() -> None:
    job = with_amplifier(with_type(clean_job(), tap_watt="drawn"), "amp-60")
    taps = sum(speaker.tap.power_w for speaker in job.design.speakers)
    types = tuple(
        replace(item, channel_power_w=(0.9 * taps,)) if item.id == "amp-60" else item
        for item in job.catalogue.amplifier_types
    )
    job = replace(job, catalogue=replace(job.catalogue, amplifier_types=types))
    (finding,) = of_code(findings_of(job, without_sound=True), "AMP-01")
    drawn = float(finding.what.split(" W drawn, losses in")[0])
    # Each 100 V line of short runs draws a little under its taps: 1.5 mm2, 24 m.
    assert 0.97 * taps < drawn <= taps


def test_a_tap_for_another_line_voltage_asks_eight_times_its_watts_of_the_channel() -> None:
    """25 V taps on 70.7 V take x8.00 (derived from U squared over Z)."""
    job = with_site(clean_job(), line_voltage_v=70.710678)
    job = with_speaker(job, tap=Tap(power_w=4.0, voltage_v=25.0, mark="25 V"))
    base = Base(
        survey=job.survey,
        catalogue=with_type(job, tap_watt="drawn").catalogue,
        previous=job.design,
        new_key=lambda: "k",
        headroom_ratio=0.2,
        seed=1,
    )
    speaker = job.design.speakers[0]
    assert asked_w(base, speaker) == pytest.approx(32.0, rel=1e-3)
    own = replace(speaker, tap=Tap(power_w=4.0, voltage_v=70.7, mark="70 V"))
    assert asked_w(base, own) == pytest.approx(4.0)


def test_absorption_that_is_taken_is_told_in_both_systems() -> None:
    job = clean_job()
    room = job.survey.rooms[0]
    bare = replace(room, surfaces=tuple(s for s in room.surfaces if s.part != "furniture"))
    texts = [
        item.text
        for item in room_acoustics(bare, limits=job.survey.limits).assumptions
        if "furniture" in item.text
    ]
    # a tenth of 7.2 m by 6.0 m
    assert texts == ["furniture and few people absorb like 4.3 m² (47 sq ft)"]


@pytest.mark.parametrize(("region", "is_us"), [("US", True), ("UK", False), ("EU", False)])
def test_walls_of_a_european_job_are_not_sealed_by_the_american_code(
    region: str, *, is_us: bool
) -> None:
    job = with_site(with_runs(clean_job(), penetrations=1), region=region)
    (finding,) = of_code(findings_of(job, without_sound=True), "CABLE-09")
    assert ("NFPA 70" in finding.limit_source) is is_us


def test_a_long_safety_wire_is_told_the_length_of_the_card() -> None:
    job = with_ceiling(clean_job(), structure_height_m=3.5)
    (finding,) = of_code(findings_of(job, without_sound=True), "WEIGHT-12")
    # a 1 m wire over 0.5 m to the structure: 0.5 m to fall; with 0.15 m of slack it is 0.65 m long
    assert "500 mm to fall" in finding.what
    assert "fix it at 0.65 m, as the cards say" in finding.what
