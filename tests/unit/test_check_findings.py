"""Every finding code: one job raises it, one does not, and its wording is complete."""

import pytest

from soffit.check.registry import CHECKS, check_of
from soffit.model.findings import DEFER
from soffit_checked_job import bare_job, clean_job, codes_of, findings_of
from soffit_findings_raised import RAISED

_CODES = [entry.code for entry in CHECKS]


def test_every_code_has_a_job_that_raises_it() -> None:
    assert sorted(RAISED) == sorted(_CODES)


@pytest.mark.parametrize("code", _CODES)
def test_it_is_raised_and_worded(code: str) -> None:
    findings = [finding for finding in RAISED[code]() if finding.code == code]
    entry = check_of(code)
    assert findings, f"{code} was not raised"
    for finding in findings:
        assert finding.severity == entry.severity
        assert finding.place
        assert finding.what
        assert finding.do
        assert finding.limit_source
        assert finding.do.endswith(DEFER) == entry.is_caution
        assert finding.is_caution == entry.is_caution
        assert not finding.mends or entry.has_mend
    if entry.has_mend:
        assert any(finding.mends for finding in findings), f"{code} promises a mend"


def test_every_code_is_silent_on_a_clean_or_a_bare_job() -> None:
    always = codes_of(clean_job()) & codes_of(bare_job())
    assert always == set()


def test_a_clean_job_has_cautions_only() -> None:
    findings = findings_of(clean_job())
    assert {finding.severity for finding in findings} == {"note"}
    assert all(finding.is_caution for finding in findings)


def test_codes_are_unique_and_of_a_known_family() -> None:
    assert len(set(_CODES)) == len(_CODES)
    families = {code.split("-")[0] for code in _CODES}
    assert families == {
        "AMP",
        "CABLE",
        "CEIL",
        "CLEAR",
        "CODE",
        "JOB",
        "LINE",
        "LOW",
        "PAPER",
        "PLACE",
        "SOUND",
        "SUB",
        "TYPE",
        "WEIGHT",
    }


def test_every_check_offers_a_mend_or_says_why_not() -> None:
    assert [entry.code for entry in CHECKS if entry.has_mend == bool(entry.no_mend)] == []
