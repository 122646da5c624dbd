"""Findings that say the same of many places are said once, and none of them is lost."""

from dataclasses import replace

from soffit.model.findings import DEFER, Finding
from soffit.papers.blocks import finding_blocks
from soffit.papers.finding_groups import group_findings

WALL = Finding(code="X-01", severity="note", place="L1", what="passes one wall", do="seal it",
               limit="sealed")  # fmt: skip
CAUTION = Finding(code="X-02", severity="note", place="job", what="Work at height",
                  do=f"Hold on. {DEFER}", is_caution=True)  # fmt: skip


def test_one_row_names_all_places_and_each_fact():
    findings = [WALL, replace(WALL, place="L2", what="passes 2 walls"), replace(WALL, place="L4")]
    (group,) = group_findings(findings)
    assert group.places == "L1, L2, L4"
    assert group.what == "L1, L4: passes one wall; L2: passes 2 walls"
    assert group.do == "seal it"


def test_what_differs_in_limit_cure_severity_or_acceptance_stays_apart():
    others = [
        replace(WALL, limit="two"),
        replace(WALL, do="leave it"),
        replace(WALL, severity="stop"),
        replace(WALL, accepted_by="owner: known"),
        replace(WALL, code="X-09"),
    ]
    groups = group_findings([WALL, *others])
    assert len(groups) == 6
    assert sum(len(group.members) for group in groups) == 6


def test_general_cautions_stand_apart_with_their_ending_once():
    blocks = finding_blocks([WALL, CAUTION, replace(CAUTION, code="X-03", place="Hall")])
    texts = str(blocks)
    assert texts.count(DEFER) == 1
    assert "Cautions of the trade" in texts
    assert "Hold on." in texts
    assert "Hall" in texts


def test_a_caution_with_a_number_stays_among_the_findings():
    stop = replace(CAUTION, severity="stop", limit="12 m")
    assert not group_findings([stop])[0].is_general
    assert "Then: defer" in str(finding_blocks([stop]))
