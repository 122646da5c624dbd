"""The schematic as a drawing: every place once, in wiring order, cores that never cross or end."""

import itertools
from dataclasses import replace

import pytest

from papers_sample import sample_job
from soffit.papers.schematic import rows_per_sheet, schematic_sheets
from soffit.papers.stations import ROW, rows_of, stations_per_row, strands


@pytest.fixture(scope="module")
def job():
    return sample_job(hall=(8, 5))


def _sheets(job, line):
    return schematic_sheets(line, job.on_line(line.key), job.title, number="S-01")


def test_every_place_is_drawn_once_and_branches_name_where_they_come_from(job):
    for line in job.lines:
        words = [text.text for scene in _sheets(job, line) for text in scene.texts()
                 if text.layer == "stations"]  # fmt: skip
        for node in line.nodes:
            assert words.count(node.label) == 1, node.label
        ways = strands(line)
        assert sum(len(stops) for _, stops in ways) == len(line.nodes)
        for origin, stops in ways[1:]:
            assert f"from {origin}" in words
            assert any(text.startswith("also to") and stops[0].node.label in text for text in words)


def test_the_longest_way_goes_straight_on(job):
    first, *rest = strands(job.lines[0])
    assert first[0] == ""
    assert all(len(first[1]) >= len(stops) for _, stops in rest)


def test_rows_follow_each_other_without_a_gap(job):
    line = job.lines[0]
    rows = rows_of(line, width_mm=195.0)
    assert max(len(row.stops) for row in rows) == stations_per_row(195.0)
    for row, after in itertools.pairwise(rows):
        assert bool(row.goes_on) == after.is_turn
        if after.is_turn:
            assert row.goes_on == after.stops[0].node.label
            assert after.origin == row.stops[-1].node.label


def test_cores_of_a_turn_run_side_by_side_and_never_cross(job):
    line = job.lines[0]
    (scene, *_) = _sheets(job, line)
    turns = [item.rings[0] for item in scene.items
             if getattr(item, "layer", "") == "cores" and len(item.rings[0]) == 6]  # fmt: skip
    assert turns
    for plus, minus in zip(turns[::2], turns[1::2], strict=True):
        assert plus[0][1] < minus[0][1], "plus runs above minus"
        assert plus[1][0] > minus[1][0], "and turns outside it"
        assert plus[2][1] > minus[2][1]
        assert plus[3][0] > minus[3][0], "and inside it at the second turn"
        assert plus[5][1] - plus[0][1] == pytest.approx(ROW)


@pytest.mark.parametrize("paper", ["a4", "letter", "a3", "ansi-b"])
def test_long_lines_go_on_over_sheets(paper):
    job = sample_job(hall=(20, 10))
    job = replace(job, title=replace(job.title, paper=paper))
    line = max(job.lines, key=lambda item: len(item.nodes))
    sheets = _sheets(job, line)
    rows = len(rows_of(line, width_mm=sheets[0].width - 84.0))
    assert len(sheets) == -(-rows // rows_per_sheet(job.title))
    for scene in sheets[:-1]:
        assert any("next sheet" in text.text for text in scene.texts()) or len(strands(line)) > 1
