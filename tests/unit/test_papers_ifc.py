"""IFC out: valid against the schema, standard names where the standard has them, old things kept.

The property names are held against the templates of ISO 16739-1 that ifcopenshell carries.
"""

import pytest

from papers_sample import sample_job

ifcopenshell = pytest.importorskip("ifcopenshell")

from soffit.papers.ifc import write_ifc  # noqa: E402 - after the skip


@pytest.fixture(scope="module")
def job():
    return sample_job()


def _problems(file):
    from ifcopenshell import validate

    log = validate.json_logger()
    validate.validate(file, log)
    return log.statements


def test_new_model_is_valid_and_the_same_every_time(job):
    text = write_ifc(job)
    assert text == write_ifc(job)
    file = ifcopenshell.file.from_string(text)
    assert _problems(file) == []
    speakers = file.by_type("IfcAudioVisualAppliance")
    assert {item.Name for item in speakers} == {item.label for item in job.speakers}
    assert len({item.GlobalId for item in file.by_type("IfcRoot")}) == len(file.by_type("IfcRoot"))
    runs = {route.run_key for room in job.rooms for route in room.routes}
    assert len(file.by_type("IfcCableSegment")) == len(runs)
    assert len(file.by_type("IfcDistributionSystem")) == len(job.lines)
    assert "2026-11-20T12:00:00" in text


def test_loudspeakers_hang_at_their_place_and_height(job):
    from ifcopenshell.util import placement

    file = ifcopenshell.file.from_string(write_ifc(job))
    by_label = {item.Name: item for item in file.by_type("IfcAudioVisualAppliance")}
    for item in job.speakers:
        matrix = placement.get_local_placement(by_label[item.label].ObjectPlacement)
        assert matrix[:3, 3] == pytest.approx([*item.position, item.mount_height_m])


def test_property_sets_use_the_names_of_the_standard(job):
    from ifcopenshell.util import element, pset

    file = ifcopenshell.file.from_string(write_ifc(job))
    templates = pset.get_template("IFC4")
    found = element.get_psets(file.by_type("IfcAudioVisualAppliance")[0])
    assert found["Soffit_Loudspeaker"]["Tap"] == job.speakers[0].tap_text
    for name, values in found.items():
        if name.startswith("Pset_"):
            known = {item.Name for item in templates.get_by_name(name).HasPropertyTemplates}
            assert set(values) - {"id"} <= known


def test_a_given_model_keeps_what_it_had(job, shared_data):
    path = shared_data / "duplex-architecture.ifc"
    before = ifcopenshell.open(str(path))
    from dataclasses import replace

    rooms = tuple(replace(room, storey="Level 1") for room in job.rooms)
    after = ifcopenshell.file.from_string(write_ifc(replace(job, rooms=rooms), model=path))
    assert after.schema == "IFC2X3"
    old = {item.GlobalId for item in before.by_type("IfcRoot")}
    new = {item.GlobalId for item in after.by_type("IfcRoot")}
    assert old < new
    assert len(after.by_type("IfcBuildingStorey")) == len(before.by_type("IfcBuildingStorey"))
    was = {str(item) for item in _problems(before)}
    assert len(_problems(after)) <= len(was)
