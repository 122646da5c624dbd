"""The demo of mistakes: many different findings, each right, each with a mend or a reason."""

from pathlib import Path

import pytest

from soffit.model.findings import DEFER, Finding
from soffit.work.demo import make_demo
from soffit.work.run_checks import apply_mends, run_checks

WANTED = {
    # label or room, and the finding that was planted there
    ("L1-02", "CLEAR-01"),
    ("L1-02", "CEIL-12"),
    ("L1-08", "JOB-08"),
    ("L1-08", "LINE-04"),
    ("L1-08", "LINE-06"),
    ("L2-01", "CEIL-10"),
    ("L2-02", "CLEAR-05"),
    ("L2-04", "CEIL-08"),
    ("L2-05", "LINE-07"),
    ("L2-05", "WEIGHT-07"),
    ("L2-10", "CLEAR-04"),
    ("L2-12", "CEIL-01"),
    ("L2-12", "LINE-05"),
    ("L3-01", "CLEAR-03"),
    ("L3-03", "CEIL-17"),
    ("L3-06", "CEIL-16"),
    ("L4-01", "CEIL-06"),
    ("L4-03", "CEIL-20"),
    ("L4-03", "JOB-16"),
    ("L4-04", "CEIL-22"),
    ("X-01", "LINE-08"),
    ("L2 V1", "LINE-13"),
    ("L4 L4/2", "CABLE-11"),
    ("L1", "CABLE-03"),
    ("L1", "CABLE-05"),
    ("L1", "CABLE-06"),
    ("L2", "CABLE-10"),
    ("L3", "CABLE-12"),
    ("L3", "LINE-12"),
    ("A1 channel 1", "AMP-01"),
    ("Lobby", "WEIGHT-02"),
    ("Lobby", "CEIL-09"),
    ("Lobby", "CEIL-15"),
    ("Training room", "WEIGHT-03"),
    ("Training room", "WEIGHT-05"),
    ("Store", "JOB-04"),
    ("square symbol", "CLEAR-09"),
    ("design.json", "JOB-07"),
    ("L9", "JOB-14"),
    ("Public", "CODE-16"),
    ("A1 (attic-150)", "CODE-02"),
    ("bare-8", "TYPE-01"),
    ("slab-12", "TYPE-02"),
}


@pytest.fixture(scope="module")
def trouble(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_demo("trouble", tmp_path_factory.mktemp("demo") / "trouble")


@pytest.fixture(scope="module")
def findings(trouble: Path) -> tuple[Finding, ...]:
    return run_checks(trouble).findings


def test_it_raises_at_least_25_different_findings(findings: tuple[Finding, ...]) -> None:
    assert len({finding.code for finding in findings}) >= 25


def test_every_planted_mistake_is_found_where_it_was_planted(
    findings: tuple[Finding, ...],
) -> None:
    found = {(finding.place, finding.code) for finding in findings}
    assert WANTED - found == set()


def test_each_has_a_mend_or_a_reason_why_there_is_none(findings: tuple[Finding, ...]) -> None:
    for finding in findings:
        assert finding.mends or finding.why, finding.text()
        assert finding.limit_source
        assert finding.is_caution == finding.do.endswith(DEFER)


def test_what_is_not_planted_is_not_raised(findings: tuple[Finding, ...]) -> None:
    """Mistakes that this plan does not make."""
    codes = {finding.code for finding in findings}
    assert codes.isdisjoint(
        {"AMP-03", "AMP-04", "AMP-05", "CEIL-02", "CLEAR-07", "JOB-09", "LINE-14", "CODE-20"}
    )


def test_an_accepted_finding_is_printed_with_role_and_reason(trouble: Path) -> None:
    report = run_checks(trouble)
    accepted = [item for item in report.findings if item.accepted_by]
    assert [(item.code, item.place) for item in accepted] == [("CEIL-19", "Lobby")]
    assert "architect: the lobby is rebuilt" in accepted[0].accepted_by
    assert "accepted by architect" in report.text()
    assert report.has_stop


def test_a_mend_cures_its_finding(trouble: Path) -> None:
    texts = apply_mends(trouble, "CLEAR-03", place="301")
    assert texts
    after = {(item.place_key, item.code) for item in run_checks(trouble).findings}
    assert ("301", "CLEAR-03") not in after
    apply_mends(trouble, "LINE-07", place="205")
    after = {(item.place_key, item.code) for item in run_checks(trouble).findings}
    assert ("205", "LINE-07") not in after
