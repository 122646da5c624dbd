"""A second reading: what changed in the plan is told, what people changed stays."""

import json
import tomllib

import pytest

pytest.importorskip("ifcopenshell")

from soffit.cli.main import run
from soffit.job.api import edit_survey, read_job
from soffit.plans.to_job import SiteWishes
from soffit.work.read_plan import read_into
from soffit_plan_models import Model, box


def _model(wide=10.0, light=(3.0, 2.0), height=2.75, extra=False, more_light=False):
    model = Model()
    ground = model.storey("Ground", 0.0)
    model.space(ground, "1", box(0, 0, wide, 6), 3.2, "Hall")
    model.space(ground, "2", box(20, 0, 5, 4), 3.2, "Office")
    if extra:
        model.space(ground, "3", box(30, 0, 5, 4), 3.2, "Store")
    for space in model.file.by_type("IfcSpace"):
        space.GlobalId = f"{space.Name}abcdefghijklmnopqrstu"
    model.element(
        ground, "IfcCovering", "Tile 600x600", box(-1, -1, wide + 1, 8), height, 0.02,
        PredefinedType="CEILING",
    )  # fmt: skip
    model.element(ground, "IfcLightFixture", "Troffer", box(*light, 0.6, 0.6), height, 0.1)
    if more_light:
        model.element(ground, "IfcLightFixture", "Spot", box(7, 4, 0.2, 0.2), height, 0.1)
    return model


def _read(tmp_path, model, folder, **more):
    path = model.write(tmp_path / "plan.ifc")
    return read_into(path, folder, site=SiteWishes(), **more)


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "job"
    _read(tmp_path, _model(), made)
    return made


def _rooms(folder):
    return tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))["rooms"]


def test_the_same_plan_changes_nothing(tmp_path, folder):
    before = (folder / "job.toml").read_bytes()
    again = _read(tmp_path, _model(), folder, accept=True)
    assert again.differences == ()
    assert not again.is_changed
    assert (folder / "job.toml").read_bytes() == before


def test_differences_are_listed_and_only_kept_when_accepted(tmp_path, folder):
    before = (folder / "job.toml").read_bytes()
    changed = _model(wide=11.0, light=(3.6, 2.0), height=2.6, more_light=True)
    told = _read(tmp_path, changed, folder)
    text = "\n".join(item.text() for item in told.differences)
    assert "a wall moved by 1.00 m" in text
    assert "'Troffer' moved by 0.60 m" in text
    assert "new light 'Spot'" in text
    assert "height 2.750 m -> 2.600 m" in text
    assert (folder / "job.toml").read_bytes() == before
    _read(tmp_path, changed, folder, accept=True)
    room = next(room for room in read_job(folder).survey.rooms if "Hall" in room.label)
    assert max(x for x, _ in room.outline) == pytest.approx(11.0)
    assert room.ceilings[0].height_m == pytest.approx(2.6)
    lights = [item for item in read_job(folder).survey.obstacles if item.room_key == room.key]
    assert {item.label for item in lights} == {"Troffer", "Spot"}
    assert _read(tmp_path, changed, folder).differences == ()


def test_what_people_added_and_changed_stays(tmp_path, folder):
    key = next(key for key, room in _rooms(folder).items() if "Hall" in room["label"])
    job = read_job(folder)
    edit_survey(
        folder,
        [
            (f"rooms.{key}.ceilings[0].height", 2.9),
            (f"rooms.{key}.brief", {"programme": "speech", "level": 75}),
            (f"rooms.{key}.note", "checked on site"),
        ],
        job.job_revision,
    )
    again = _read(tmp_path, _model(wide=11.0, height=2.6), folder, accept=True)
    kept = [item for item in again.differences if "height 2.750 m -> 2.600 m" in item.what]
    assert kept
    assert "people changed it" in kept[0].kept
    room = _rooms(folder)[key]
    assert room["ceilings"][0]["height"] == 2.9
    assert room["brief"]["level"] == 75
    assert room["note"] == "checked on site"
    assert max(x for x, _ in room["outline"]) == 11


def test_a_new_light_over_a_loudspeaker_is_told(tmp_path, folder):
    assert run(["design", str(folder)]) in {0, 1}
    speaker = next(item for item in read_job(folder).design.speakers if "hall" in item.room_key)
    x, y = speaker.position
    told = _read(tmp_path, _model(light=(x - 0.3, y - 0.3)), folder)
    assert any(f"in the way of {speaker.label}" in item.what for item in told.differences)


def test_new_and_lost_rooms_are_told_and_named_ones_added(tmp_path, folder):
    told = _read(tmp_path, _model(extra=True), folder)
    assert any("new room '3 Store'" in item.what for item in told.differences)
    _read(tmp_path, _model(extra=True), folder, rooms=("3 Store",))
    rooms = _rooms(folder)
    assert len(rooms) == 3
    zone = read_job(folder).survey.zones[0]
    assert set(zone.room_keys) == set(rooms)
    lost = _read(tmp_path, _model(), folder)
    assert any("does not show this room" in item.what for item in lost.differences)
    assert len(_rooms(folder)) == 3


def test_a_job_that_was_not_read_is_only_compared(tmp_path, capsys):
    folder = tmp_path / "demo"
    assert run(["new", str(folder)]) == 0
    capsys.readouterr()
    before = (folder / "job.toml").read_bytes()
    path = _model().write(tmp_path / "plan.ifc")
    assert run(["read", str(path), "--into", str(folder), "--json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert body["changed"] is False
    own = next(iter(tomllib.loads(before.decode())["rooms"]))
    kept = {item["kept"] for item in body["differences"] if item["room"] == own}
    assert kept == {"the job was not made from a plan: change it by hand"}
    assert (folder / "job.toml").read_bytes() == before


def test_a_folder_with_other_things_is_left_alone(tmp_path, capsys):
    folder = tmp_path / "things"
    folder.mkdir()
    (folder / "letter.txt").write_text("mine", encoding="utf-8")
    path = _model().write(tmp_path / "plan.ifc")
    assert run(["read", str(path), "--into", str(folder)]) == 2
    assert "not empty" in capsys.readouterr().err
    assert [item.name for item in folder.iterdir()] == ["letter.txt"]


def test_a_later_issue_under_another_name_is_the_same_plan(tmp_path, folder):
    path = _model(wide=11.0).write(tmp_path / "plan_rev_b.ifc")
    told = read_into(path, folder, site=SiteWishes())
    assert any("a wall moved" in item.what for item in told.differences)


def test_plans_of_two_storeys_go_into_one_job(tmp_path):
    import ezdxf

    from soffit.plans.proposal import ReadWishes

    def drawing(name, at):
        document = ezdxf.new("R2010")
        space = document.modelspace()
        x, y = at
        ring = [(x, y), (x + 6, y), (x + 6, y + 4), (x, y + 4)]
        space.add_lwpolyline(ring, close=True, dxfattribs={"layer": "WALL"})
        space.add_text(f"{name} office", height=0.2).set_placement((x + 2, y + 2))
        document.saveas(tmp_path / f"{name}.dxf")
        return tmp_path / f"{name}.dxf"

    folder = tmp_path / "job"
    first = ReadWishes(unit_m=1.0, storey="Ground floor")
    read_into(drawing("Lower", (0, 0)), folder, site=SiteWishes(), wishes=first)
    second = ReadWishes(
        unit_m=1.0, storey="First floor", elevation_m=3.5, corners=((100.0, 50.0, 0.0, 0.0),)
    )
    path = drawing("Upper", (100, 50))
    told = read_into(path, folder, site=SiteWishes(), wishes=second)
    assert [item.what.split(",")[0] for item in told.differences] == ["new room 'Upper office'"]
    read_into(path, folder, site=SiteWishes(), wishes=second, accept=True)
    survey = read_job(folder).survey
    levels = {storey.label: storey.elevation_m for storey in survey.storeys}
    assert levels == {"Ground floor": 0.0, "First floor": 3.5}
    upper = next(room for room in survey.rooms if "Upper" in room.label)
    assert min(x for x, _ in upper.outline) == pytest.approx(0.0, abs=0.02)
    assert read_into(path, folder, site=SiteWishes(), wishes=second).differences == ()


def test_things_of_a_model_that_is_not_read_along_this_time_stay(tmp_path):
    services = Model()
    level = services.storey("Level", 0.0)
    services.element(level, "IfcAirTerminal", "Diffuser", box(6, 2, 0.6, 0.6), 2.75, 0.1)
    other = services.write(tmp_path / "services.ifc")
    folder = tmp_path / "job"
    _read(tmp_path, _model(), folder, others=(other,))
    assert _read(tmp_path, _model(), folder).differences == ()
    moved = Model()
    level = moved.storey("Level", 0.0)
    moved.element(level, "IfcAirTerminal", "Diffuser", box(6.6, 2, 0.6, 0.6), 2.75, 0.1)
    other = moved.write(tmp_path / "services.ifc")
    (told,) = _read(tmp_path, _model(), folder, others=(other,)).differences
    assert "'Diffuser' moved by 0.60 m" in told.what
    # taking over another change without the services does not forget them
    _read(tmp_path, _model(height=2.6), folder, accept=True)
    (told,) = _read(tmp_path, _model(height=2.6), folder, others=(other,)).differences
    assert "'Diffuser' moved by 0.60 m" in told.what
