"""The material list of the demo job with troubles, counted again from its design."""

import re
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from soffit.job.api import open_job
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Job
from soffit.papers.labels import label_rows
from soffit.papers.views import MaterialRow
from soffit.work.demo import make_demo
from soffit.work.make_papers import view_of_folder
from soffit.work.view_material import material_rows
from soffit.work.view_small_parts import wiring_parts
from soffit.work.whole import evaluate_job


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("material") / "trouble"
    make_demo("trouble", path)
    return path


@pytest.fixture(scope="module")
def job(folder: Path) -> Job:
    return open_job(folder)


def by_item(rows: tuple[MaterialRow, ...] | list[MaterialRow]) -> dict[str, MaterialRow]:
    return {row.item: row for row in rows}


def test_labels_are_as_many_as_the_sheets_print(folder: Path):
    view = view_of_folder(folder)
    row = by_item(view.materials)["printed label"]
    assert row.quantity == len(label_rows(view))


def test_a_seal_for_each_wall_passed_and_a_control_for_each_zone_that_has_one(job: Job):
    rows = by_item(wiring_parts(job))
    walls = sum(run.penetrations for line in job.design.lines for run in line.runs)
    assert rows["Intumescent seal for one cable opening"].quantity == walls > 0
    joints = [joint for line in job.design.lines for joint in line.joints]
    controls = [joint for joint in joints if joint.kind == "volume control"]
    assert [row.quantity for name, row in rows.items() if "volume control" in name] == [
        len(controls)
    ]


def test_open_backed_units_in_closed_ceilings_need_a_box(job: Job):
    bare = [
        item
        for item in job.design.speakers
        if job.catalogue.speaker(item.type_id).box_depth_m == 0.0
        and job.catalogue.speaker(item.type_id).cutout_diameter_m is not None
    ]
    closed = [
        item
        for item in bare
        if job.survey.ceiling(item.room_key, item.ceiling_key).is_plenum
        or job.survey.ceiling(item.room_key, item.ceiling_key).fire_rated
    ]
    assert len(closed) == 3
    assert by_item(wiring_parts(job))["Steel back box for 165 and 200 mm units"].quantity == 3


def test_two_terminals_wherever_a_unit_with_leads_is_joined(job: Job):
    """The 200 mm units have leads: in the run a core joins three ends, at its end two."""
    meets = Counter(
        key
        for line in job.design.lines
        for run in line.runs
        for key in (run.start_key, run.end_key)
    )
    leads = [
        meets[item.key]
        for item in job.design.speakers
        if "leads" in job.catalogue.speaker(item.type_id).terminals
    ]
    rows = by_item(wiring_parts(job))
    assert rows["Lever terminal, 2 conductors"].quantity == 2 * leads.count(1)
    assert rows["Lever terminal, 3 conductors"].quantity == 2 * leads.count(2)


def test_what_the_catalogue_lacks_is_still_counted(job: Job):
    poor = replace(job, catalogue=replace(job.catalogue, hardware_types=()))
    assert isinstance(poor.catalogue, Catalogue)
    rows, rich = wiring_parts(poor), wiring_parts(job)
    assert sum(row.quantity for row in rows) == sum(row.quantity for row in rich)
    assert all("not in the catalogue" in row.note for row in rows)


def test_spares_are_whole_pieces_and_named(folder: Path, job: Job):
    whole = evaluate_job(job)
    plain = by_item(material_rows(job, whole.ceiling, slack_ratio=0.05))
    survey = replace(job.survey, equipment=replace(job.survey.equipment, spare_ratio=0.1))
    more = by_item(material_rows(replace(job, survey=survey), whole.ceiling, slack_ratio=0.05))
    name = "Ceiling loudspeaker, 165 mm two-way, steel back can"
    assert (plain[name].quantity, more[name].quantity) == (12, 14)
    assert "2 of them spare" in more[name].note
    cable = [row for row in plain.values() if row.unit == "m"]
    assert all(more[row.item] == row for row in cable)


def test_what_hangs_already_is_not_ordered_again(job: Job):
    whole = evaluate_job(job)
    old = tuple(replace(item, state="existing") for item in job.design.speakers)
    kept = replace(job, design=replace(job.design, speakers=old))
    sections = {row.section for row in material_rows(kept, whole.ceiling, slack_ratio=0.05)}
    assert not sections & {"Loudspeakers", "Mounting"}


@pytest.mark.parametrize(("is_imperial", "unit", "unit_m"), [(True, "ft", 0.3048), (False, "m", 1)])
def test_cable_rows_name_reels_and_length_of_each_core(
    job: Job, is_imperial: bool, unit: str, unit_m: float
):
    site = replace(job.survey.site, is_imperial=is_imperial)
    job = replace(job, survey=replace(job.survey, site=site))
    whole = evaluate_job(job)
    rows = [r for r in material_rows(job, whole.ceiling, slack_ratio=0.05) if r.unit == unit]
    metres = Counter[str]()
    for line in job.design.lines:
        for run in line.runs:
            metres[run.cable_id] += run.length_m  # type: ignore[assignment]
    assert {row.type_id for row in rows} == set(metres)
    for row in rows:
        cable = job.catalogue.cable(row.type_id)
        wanted = 1.05 * metres[row.type_id] / unit_m
        assert row.quantity == pytest.approx(wanted, abs=1.0 if is_imperial else 0.051)
        assert row.quantity >= wanted - 0.051
        assert "1 reel of" in row.note
        assert " m " not in f"{row.note} {row.source} " or not is_imperial
        for colour in cable.colours:
            assert f"{row.quantity:.0f} {unit} of {colour}" in row.note


def test_an_imperial_job_names_no_metric_length_force_or_mass(folder: Path):
    view = view_of_folder(folder)
    sheets = [f"{row.item} {row.unit} {row.note} {row.source}" for row in view.materials]
    sheets += [item.safety_text + item.support_text + item.void_text for item in view.speakers]
    sheets += [row.text for row in view.log]
    sheets += [note for line in view.lines for note in (line.route_note, *line.notes)]
    for text in sheets:
        without_names = text
        for row in view.materials:
            without_names = without_names.replace(row.item, "")
        for part in job_parts(folder):
            without_names = without_names.replace(part, "")
        assert re.search(r"\d (m|N|kg|kN)\b", without_names) is None, text


def job_parts(folder: Path) -> list[str]:
    catalogue = open_job(folder).catalogue
    return [part.name for part in catalogue.hardware_types]


def test_a_run_longer_than_a_reel_is_to_be_ordered_in_one_length(job: Job):
    whole = evaluate_job(job)
    short = tuple(replace(item, reel_m=5.0) for item in job.catalogue.cable_types)
    rows = material_rows(
        replace(job, catalogue=replace(job.catalogue, cable_types=short)),
        whole.ceiling,
        slack_ratio=0.05,
    )
    assert any("longer than a reel, to be ordered in one length" in row.note for row in rows)
