"""Every finding has a page, and every page says what the program says."""

from pathlib import Path

import pytest

from soffit.check.registry import CHECKS, explain, list_checks
from soffit.errors import TableError
from soffit.model.findings import DEFER
from soffit.tables.load import load_table
from soffit.tables.settings import Limits

PAGES = Path(__file__).parents[2] / "docs" / "findings"
RENEW = "run: python docs/make_findings.py"


@pytest.mark.parametrize("code", [entry.code for entry in CHECKS])
def test_every_finding_code_has_a_page(code: str) -> None:
    page = PAGES / f"{code}.md"
    assert page.is_file(), RENEW
    assert page.read_text(encoding="utf-8") == explain(code), RENEW


def test_there_is_no_page_without_a_finding() -> None:
    pages = {page.stem for page in PAGES.glob("*.md")} - {"index"}
    assert pages == {entry.code for entry in CHECKS}


def test_the_index_lists_all_of_them() -> None:
    text = (PAGES / "index.md").read_text(encoding="utf-8")
    for code, severity, title in list_checks():
        assert f"| [{code}]({code}.md) | {severity} | {title} |" in text, RENEW


def test_every_caution_defers_to_the_local_code() -> None:
    for entry in CHECKS:
        assert (DEFER in explain(entry.code)) == entry.is_caution


def test_every_row_of_the_codes_says_how_it_is_known() -> None:
    for row in load_table("codes").rows:
        assert row["known"] in {"read", "memory", "practice"}
        assert row["region"] in {"US", "EU", "all"}
        assert row["severity"] in {"stop", "warn", "note"}
        assert row["caution"]
        assert not row["caution"].endswith(".")


def test_limits_on_a_page_are_those_of_the_job() -> None:
    text = explain("LINE-01", limits=Limits((("line_loss_warn_db", 0.25),)))
    assert "| `line_loss_warn_db` | 0.25 dB | project limit |" in text


def test_an_unknown_code_names_its_family() -> None:
    with pytest.raises(TableError) as caught:
        explain("LINE-99")
    assert "LINE-02" in caught.value.problems[0].why
    with pytest.raises(TableError) as caught:
        explain("nonsense")
    assert "CEIL" in caught.value.problems[0].why
