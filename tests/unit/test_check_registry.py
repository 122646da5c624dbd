"""The registry: acceptance, exit, mends that cure, explanations."""

from dataclasses import replace

import pytest

from soffit.check.euroclass import EUROCLASSES, euroclass
from soffit.check.kit import count_text
from soffit.check.registry import CHECKS, check_of, open_stops, run_checks
from soffit.evaluate.ceiling import evaluate_ceiling
from soffit.model.decisions import Job
from soffit.model.findings import DEFER, Finding
from soffit.model.survey import Acceptance
from soffit.tables.settings import Limits
from soffit_checked_job import (
    clean_job,
    findings_of,
    obstacle,
    with_amplifier,
    with_runs,
    with_site,
    with_speaker,
    with_survey,
    with_type,
)
from soffit_findings_raised import RAISED


def over_a_light(**acceptance: str) -> Job:
    job = with_survey(clean_job(), obstacles=(obstacle("light", 1.5, 1.5, 0.3),))
    if not acceptance:
        return job
    values = {"code": "CLEAR-01", "place": "L1-01", "role": "architect", "reason": "it moves"}
    accepted = Acceptance(**(values | acceptance))
    return with_survey(job, acceptances=(accepted,))


def of_code(findings: tuple[Finding, ...], code: str) -> list[Finding]:
    return [finding for finding in findings if finding.code == code]


@pytest.mark.parametrize("place", ["L1-01", "s1", "r"])
def test_a_role_with_a_reason_accepts_by_label_key_or_room(place: str) -> None:
    findings = findings_of(over_a_light(place=place), without_sound=True)
    (finding,) = of_code(findings, "CLEAR-01")
    assert finding.accepted_by == "architect: it moves"
    assert "accepted by architect" in finding.text()
    assert "CLEAR-01" not in {item.code for item in open_stops(findings)}
    assert not of_code(findings, "JOB-14")


@pytest.mark.parametrize(
    "change", [{"role": " "}, {"reason": ""}, {"place": "L1-02"}, {"code": "CLEAR-02"}]
)
def test_an_acceptance_without_role_reason_or_finding_accepts_nothing(
    change: dict[str, str],
) -> None:
    findings = findings_of(over_a_light(**change), without_sound=True)
    (finding,) = of_code(findings, "CLEAR-01")
    assert finding.accepted_by == ""
    assert "CLEAR-01" in {item.code for item in open_stops(findings)}
    assert of_code(findings, "JOB-14")


def test_worst_first_and_stable() -> None:
    job = with_runs(over_a_light(), length_m=0.5)
    first, second = (findings_of(job, without_sound=True) for _ in range(2))
    assert first == second
    order = [{"stop": 0, "warn": 1, "note": 2}[item.severity] for item in first]
    assert order == sorted(order)


def test_a_job_limit_is_the_source_from_then_on() -> None:
    limits = Limits((("unit_gap_least_m", 3.0),))
    (finding, *_) = of_code(
        findings_of(with_survey(clean_job(), limits=limits), without_sound=True), "CEIL-11"
    )
    assert finding.limit_source == "project limit"


def test_without_any_state_the_checks_still_run() -> None:
    job = clean_job()
    state = evaluate_ceiling(job.survey, job.design.speakers, job.catalogue)
    findings = run_checks(job, ceiling_state=state)
    assert {"SOUND-07"} <= {item.code for item in findings}
    assert all(item.do for item in findings)


def _moved(job: Job, finding: Finding) -> Job:
    column, row = (int(part) for part in finding.mends[0].value.split(","))
    return with_speaker(job, position=((column + 0.5) * 0.6, (row + 0.5) * 0.6))


def test_the_move_that_is_offered_cures_the_finding() -> None:
    job = over_a_light()
    (finding,) = of_code(findings_of(job, without_sound=True), "CLEAR-01")
    after = findings_of(_moved(job, finding), without_sound=True)
    assert not of_code(after, "CLEAR-01")
    assert not [item for item in after if item.place == "L1-01"]


def test_the_amplifier_that_is_offered_cures_the_overload() -> None:
    job = with_amplifier(clean_job(), "amp-60")
    types = tuple(
        replace(item, channel_power_w=(20.0,)) if item.id == "amp-60" else item
        for item in job.catalogue.amplifier_types
    )
    job = replace(job, catalogue=replace(job.catalogue, amplifier_types=types))
    (finding,) = of_code(findings_of(job, without_sound=True), "AMP-01")
    cured = findings_of(with_amplifier(job, finding.mends[0].value), without_sound=True)
    assert not of_code(cured, "AMP-01")
    assert not of_code(cured, "AMP-02")


def test_the_cable_that_is_offered_cures_class_and_plenum() -> None:
    findings = RAISED["CABLE-03"]()
    (finding,) = of_code(findings, "CABLE-03")
    assert finding.mends[0].value == "awg16-plenum"


def test_an_existing_speaker_is_not_told_to_move() -> None:
    job = with_speaker(over_a_light(), state="existing")
    (finding,) = of_code(findings_of(job, without_sound=True), "CLEAR-01")
    assert finding.mends == ()
    assert finding.why.startswith("no mend")


def test_the_same_code_in_two_regions() -> None:
    for region, wanted, absent in (
        ("US", "CODE-08", "CODE-21"),
        ("UK", "CODE-21", "CODE-08"),
        ("EU", "CODE-20", "CODE-08"),
        ("other", "CODE-18", "CODE-20"),
    ):
        codes = {
            item.code
            for item in findings_of(with_site(clean_job(), region=region), without_sound=True)
        }
        assert wanted in codes
        assert absent not in codes


def test_life_safety_words_stop_and_everyday_words_do_not() -> None:
    for note, is_stopped in (
        ("voice alarm of the building", True),
        ("evacuation messages", True),
        ("door bell and alarm clock", False),
        ("", False),
    ):
        findings = findings_of(with_site(clean_job(), note=note), without_sound=True)
        assert bool(of_code(findings, "CODE-16")) is is_stopped


def test_a_heavier_type_is_told_by_its_mass_in_the_units_of_the_job() -> None:
    job = with_type(clean_job(), mass_kg=30.0)
    (finding,) = of_code(findings_of(job, without_sound=True), "WEIGHT-01")
    assert "30.0 kg" in finding.what
    job = with_site(job, is_imperial=True)
    (finding,) = of_code(findings_of(job, without_sound=True), "WEIGHT-01")
    assert "66.1 lb" in finding.what


def test_small_words() -> None:
    assert [euroclass(name) for name in EUROCLASSES] == list(range(7))
    assert euroclass("CL3P") is None
    assert count_text(1, "wall") == "one wall"
    assert check_of("line-01").code == "LINE-01"
    assert all(entry.page.endswith(f"{entry.code}.md") for entry in CHECKS)
    caution = check_of("CODE-31").complete(
        Finding(code="", severity="note", place="x", what="y", do=""), Limits()
    )
    assert caution.do.endswith(DEFER)
