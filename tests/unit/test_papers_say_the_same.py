"""Sheets that speak of one thing must say the same of it, in the units of the job."""

from dataclasses import replace

import pytest

from soffit.job.api import open_job
from soffit.papers.tables_out import tables
from soffit.units import FOOT_M
from soffit.work.demo import make_demo
from soffit.work.make_design import make_design
from soffit.work.view_job import job_view
from soffit.work.view_tests import commissioning_rows
from soffit.work.whole import evaluate_job


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("same") / "library"
    make_demo("library", folder)
    make_design(folder)
    return evaluate_job(open_job(folder))


def test_card_schematic_and_sheet_expect_the_same_ohms(whole) -> None:
    view = job_view(whole, ())
    sheet = {(row.place_key, row.direction): row for row in view.tests if row.unit == "Ω"}
    assert view.speakers
    for item in view.speakers:
        row = sheet[item.key, "out"]
        assert item.meter_out is not None
        assert (item.meter_out.low_ohm, item.meter_out.high_ohm) == (row.low, row.high)
    for line in view.lines:
        assert line.meter is not None
        assert line.meter.middle_ohm == sheet[line.key, "whole"].expected
        assert line.nodes[0].meter_out == line.meter


def test_like_units_alone_have_like_bands(whole) -> None:
    view = job_view(whole, ())
    bands = {}
    for item in view.speakers:
        assert item.meter_alone is not None
        bands.setdefault((item.type_id, item.tap_w), set()).add(
            (item.meter_alone.low_ohm, item.meter_alone.high_ohm)
        )
    assert all(len(found) == 1 for found in bands.values())


def test_an_empty_room_is_not_expected_to_hold_its_guests(whole) -> None:
    noise = {row.place: row.expected_text for row in commissioning_rows(whole) if row.step == 7}
    assert "with people" in noise["Cafe"]
    assert noise["Reading hall"].endswith("or less")


def test_the_cable_alone_is_tested_where_the_region_asks_for_it(whole) -> None:
    def asked(region: str) -> int:
        site = replace(whole.job.survey.site, region=region)
        job = replace(whole.job, survey=replace(whole.job.survey, site=site))
        rows = commissioning_rows(replace(whole, job=job))
        return sum("500 V d.c." in row.what for row in rows)

    assert asked("UK") == len(whole.job.design.lines)  # BS 7671, 643.3, as guides retell it
    assert asked("US") == 0


def test_tables_of_a_job_in_feet_are_in_feet(whole) -> None:
    view = job_view(whole, ())
    schedule, _, cables, *_ = tables(view)
    first = dict(zip(schedule.head, schedule.rows[0], strict=True))
    item = view.speakers[0]
    assert first["x ft"] == pytest.approx(item.position[0] / FOOT_M, abs=1e-3)
    cuts = [dict(zip(cables.head, row, strict=True))["Cut ft"] for row in cables.rows]
    assert all(cut == int(cut) for cut in cuts)
    assert all(cut * FOOT_M >= row.cut_m - 1e-6 for cut, row in zip(cuts, view.cables, strict=True))


def test_a_number_in_the_brief_says_what_it_does_not_count(tmp_path) -> None:
    folder = tmp_path / "trouble"
    make_demo("trouble", folder)
    report = make_design(folder, rooms=["lobby"])
    (lobby,) = [room for room in report.whole.job.design.rooms if room.room_key == "lobby"]
    assert "put by hand are not among these 9" in lobby.reason


def test_no_two_things_of_a_demo_share_a_key(tmp_path) -> None:
    folder = tmp_path / "trouble"
    make_demo("trouble", folder)
    design = open_job(folder).design
    keys = [item.key for item in (*design.speakers, *design.lines, *design.amplifiers)]
    keys += [item.key for line in design.lines for item in (*line.runs, *line.joints)]
    assert len(keys) == len(set(keys))
