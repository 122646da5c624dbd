"""Plan files to jobs: what is read, what is assumed, what is refused, what is kept."""

import json
from pathlib import Path

import pytest
from shapely.geometry import Polygon

from soffit.cli.main import run
from soffit.errors import JobError
from soffit.job.api import read_job
from soffit.plans.read import read_file

pytest.importorskip("ifcopenshell")

from soffit_plan_models import Model, box, two_rooms

SHARED = Path(__file__).parents[3] / "shared" / "data"
ARCHITECTURE = SHARED / "duplex-architecture.ifc"
ELECTRICAL = SHARED / "duplex-electrical.ifc"
needs_duplex = pytest.mark.skipif(
    not ARCHITECTURE.exists(), reason="the sample models are not beside this repository"
)


def _read(model, tmp_path, *others, **wishes):
    from soffit.plans.proposal import ReadWishes

    path = model.write(tmp_path / "model.ifc")
    return read_file(path, others, ReadWishes(**wishes))


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4"])
@pytest.mark.parametrize("unit", ["METRE", "MILLI", "FOOT"])
def test_areas_and_heights_are_those_of_the_model_in_every_unit(tmp_path, schema, unit):
    model, _ = two_rooms(schema, unit)
    found = _read(model, tmp_path)
    cafe, meeting = found.rooms
    assert cafe.area_m2 == pytest.approx(60.0, rel=1e-3)
    assert meeting.area_m2 == pytest.approx(33.0, rel=1e-3)
    assert len(meeting.outline) == 6
    assert cafe.ceilings[0].height_m == pytest.approx(2.75, abs=1e-3)
    assert cafe.ceilings[0].height_source == "model"
    assert cafe.ceilings[0].kind == "grid"
    assert cafe.ceilings[0].pitch_m == (0.6, 0.6)
    assert meeting.ceilings[0].height_m == pytest.approx(3.2, abs=1e-3)
    assert meeting.ceilings[0].height_source == "assumed"
    assert "top of the space" in " ".join(meeting.assumed)
    assert found.is_imperial == (unit == "FOOT")


def test_a_model_far_from_its_origin_is_moved_and_says_so(tmp_path):
    model, _ = two_rooms(offset=(2_684_123.0, 1_251_456.0, 408.0))
    found = _read(model, tmp_path)
    assert max(abs(v) for room in found.rooms for point in room.outline for v in point) < 2000
    assert found.rooms[0].area_m2 == pytest.approx(60.0, rel=1e-3)
    assert found.rooms[0].ceilings[0].height_m == pytest.approx(2.75, abs=2e-3)
    assert any("moved" in note for note in found.notes)


def test_several_ceiling_heights_become_several_ceilings(tmp_path):
    model = Model()
    ground = model.storey("Ground", 0.0)
    model.space(ground, "1", box(0, 0, 12, 8), 4.0, "Restaurant")
    for name, ring, bottom in (
        ("Gypsum board", box(0, 0, 12, 3), 2.6),
        ("Acoustic tile 2' x 2'", box(0, 3, 12, 5), 3.1),
    ):
        model.element(ground, "IfcCovering", name, ring, bottom, 0.02, PredefinedType="CEILING")
    (room,) = _read(model, tmp_path).rooms
    heights = {(c.kind, round(c.height_m, 2)) for c in room.ceilings}
    assert heights == {("plasterboard", 2.6), ("grid", 3.1)}
    whole, part = room.ceilings
    assert whole.region is None
    assert whole.height_m == pytest.approx(3.1)
    assert Polygon(part.region).area == pytest.approx(36.0, rel=1e-3)
    assert whole.pitch_m == pytest.approx((0.6096, 0.6096))


def test_without_a_ceiling_the_slab_counts_and_then_the_top_of_the_space(tmp_path):
    model = Model()
    ground = model.storey("Ground", 0.0)
    model.space(ground, "1", box(0, 0, 8, 5), 3.0, "Shop")
    model.element(
        ground, "IfcSlab", "Concrete 250", box(-1, -1, 10, 7), 3.3, 0.25, PredefinedType="FLOOR"
    )
    (room,) = _read(model, tmp_path).rooms
    assert room.ceilings[0].height_m == pytest.approx(3.3)
    assert room.ceilings[0].kind == "open"
    assert room.ceilings[0].height_source == "model"
    assert "slab" in room.ceilings[0].height_text


def test_a_sloped_space_has_a_sloped_ceiling(tmp_path):
    model = Model()
    attic = model.storey("Attic", 6.0)
    # 6 m wide, 10 m long; 2 m high at one side, 4 m at the other: rise 1/3
    points = [
        (0, 0, 0), (6, 0, 0), (6, 10, 0), (0, 10, 0),
        (0, 0, 2), (6, 0, 4), (6, 10, 4), (0, 10, 2),
    ]  # fmt: skip
    faces = [(0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    model.space(attic, "301", None, 0, "Studio", shape=model.brep(points, faces))
    (room,) = _read(model, tmp_path).rooms
    (ceiling,) = room.ceilings
    assert room.area_m2 == pytest.approx(60.0, rel=1e-3)
    assert ceiling.slope_ratio == pytest.approx(1 / 3, abs=1e-3)
    assert ceiling.slope_angle_rad == pytest.approx(0.0, abs=1e-3)
    x, _ = ceiling.slope_at
    assert ceiling.height_m == pytest.approx(2 + x / 3, abs=0.01)
    assert any("slope" in doubt for doubt in room.doubts)


def test_lights_are_obstacles_and_switches_typed_as_lights_are_not(tmp_path):
    model, ground = two_rooms()
    model.element(ground, "IfcLightFixture", "Troffer:600", box(3, 2, 0.6, 0.6), 2.75, 0.1)
    model.element(ground, "IfcLightFixture", "Light switch", box(0.1, 2, 0.1, 0.1), 1.1, 0.1)
    model.element(ground, "IfcLightFixture", "Desk lamp", box(5, 2, 0.2, 0.2), 0.75, 0.4)
    model.element(
        ground, "IfcFireSuppressionTerminal", "Pendent head", box(6, 3, 0.08, 0.08), 2.7, 0.1,
        PredefinedType="SPRINKLER",
    )  # fmt: skip
    model.element(ground, "IfcDuctSegment", "Main duct", box(-2, 4, 20, 0.5), 2.9, 0.3)
    found = _read(model, tmp_path)
    kinds = [(item.kind, item.room_key) for item in found.obstacles]
    cafe, meeting = (room.key for room in found.rooms)
    assert sorted(kinds) == sorted(
        [("light", cafe), ("sprinkler", cafe), ("duct", cafe), ("duct", meeting)]
    )
    light = next(item for item in found.obstacles if item.kind == "light")
    assert (light.bottom_m, light.top_m) == (2.75, 2.85)
    assert Polygon(light.outline).area == pytest.approx(0.36, rel=1e-2)
    said = " ".join(f"{item.what} {item.why}" for item in found.set_aside)
    assert "switch" in said
    assert "1.1 m above the floor" in said or "1.2 m above the floor" in said or "lamp" in said


def test_services_in_another_unit_lie_over_the_building(tmp_path):
    model, _ = two_rooms()
    services = Model(unit="FOOT")
    level = services.storey("Level", 0.0)
    services.element(level, "IfcLightFixture", "Downlight", box(1, 1, 0.2, 0.2), 2.75, 0.1)
    other = services.write(tmp_path / "services.ifc")
    found = _read(model, tmp_path, other)
    (light,) = found.obstacles
    xs = [x for x, _ in light.outline]
    assert (min(xs), max(xs)) == pytest.approx((1.0, 1.2), abs=1e-3)
    assert light.source == "services.ifc"


def test_columns_and_doors_are_read(tmp_path):
    model, ground = two_rooms()
    model.element(ground, "IfcColumn", "C1", box(5, 3, 0.4, 0.4), 0.0, 3.2)
    door = model.root(
        "IfcDoor", "Single:900", ObjectPlacement=model.local((4, -0.1, 0), ground.ObjectPlacement),
        OverallWidth=0.9, OverallHeight=2.1,
    )  # fmt: skip
    del door
    cafe, meeting = _read(model, tmp_path).rooms
    assert len(cafe.columns) == 1
    assert not meeting.columns
    assert cafe.area_m2 == pytest.approx(60.0, rel=1e-3)
    (found,) = cafe.doors
    assert found.position == pytest.approx((4.45, 0.0), abs=1e-3)
    assert found.width_m == pytest.approx(0.9)


def test_a_floor_area_that_holds_rooms_is_doubted(tmp_path):
    model, ground = two_rooms()
    model.space(ground, "GF", box(0, 0, 17.2, 6), 3.2, "Gross floor", PredefinedType="GFA")
    rooms = {room.label: room for room in _read(model, tmp_path).rooms}
    assert rooms["GF Gross floor"].confidence < 0.5
    assert rooms["001 Café"].confidence == 1.0


def test_read_makes_a_job_that_is_designed(tmp_path, capsys):
    model, _ = two_rooms()
    path = model.write(tmp_path / "house.ifc")
    folder = tmp_path / "job"
    assert run(["read", str(path), "--into", str(folder), "--volts", "100", "--json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert [room["kept"] for room in body["rooms"]] == [True, True]
    job = read_job(folder)
    assert job.survey.site.line_voltage_v == 100.0
    sources = {room.label: room.ceilings[0].height_source for room in job.survey.rooms}
    assert sources == {"001 Café": "model", "002 会議室": "assumed"}
    assert (folder / "plans" / "house.ifc").exists()
    assert "<svg" in (folder / "plans" / "house-read.svg").read_text(encoding="utf-8")
    assert run(["design", str(folder)]) in {0, 1}
    assert len(read_job(folder).design.speakers) > 1


@pytest.mark.parametrize(
    ("name", "content", "word"),
    [
        ("missing.ifc", None, "no file"),
        ("empty.ifc", b"", "empty"),
        ("text.ifc", b"hello", "not a .ifc file"),
        ("broken.ifc", b"ISO-10303-21;\nHEADER;\nnothing", "IFC"),
        ("drawing.dwg", b"AC1032" + bytes(200), "DWG"),
        ("photo.heic", b"\0\0\0\x18ftypheic" + bytes(100), "HEIC"),
        ("old.xls", b"\xd0\xcf\x11\xe0" + bytes(600), ".xls"),
        ("noise.bin", bytes(range(256)) * 4, "no plan"),
        ("list.csv", b"name,length,width\nA,abc,3\nB,-4,2\n", "'abc' is not a length"),
        ("list.csv", b"name,length,width\n", "no rooms"),
        ("list.csv", b"foo,bar\n1,2\n", "no column"),
        ("list.csv", b"name,length,width\nA,nan,3\n", "nan"),
        ("model.xml", b'<?xml version="1.0"?><ifcXML></ifcXML>', "XML"),
    ],
)
def test_bad_files_are_refused_in_four_parts_and_nothing_is_written(
    tmp_path, capsys, name, content, word
):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    folder = tmp_path / "job"
    assert run(["read", str(path), "--into", str(folder), "--json"]) == 2
    error = json.loads(capsys.readouterr().out)["error"]
    assert all(error[part] for part in ("what", "where", "why", "do"))
    assert word in f"{error['what']} {error['why']}"
    assert not folder.exists()


def test_a_model_without_spaces_says_what_to_ask_for(tmp_path):
    model = Model()
    model.storey("Ground", 0.0)
    with pytest.raises(JobError, match="no spaces") as caught:
        _read(model, tmp_path)
    assert "--with" in caught.value.problems[0].do


def test_all_bad_cells_of_a_list_are_told_at_once(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("name,length,width,noise\nA,abc,3,\nB,4,,\nC,4,3,loud\n", encoding="utf-8")
    with pytest.raises(JobError) as caught:
        read_file(path)
    places = [problem.where for problem in caught.value.problems]
    assert places == ["list.csv:2  length", "list.csv:3  width", "list.csv:4  noise"]


@needs_duplex
def test_found_duplex_is_read_whole():
    from soffit.plans.ifc_model import Mesher, open_model

    found = read_file(ARCHITECTURE, (ELECTRICAL,))
    assert len(found.rooms) == 21
    model = open_model(ARCHITECTURE)
    mesher = Mesher(model)
    for room in found.rooms:
        # the geometry's own area: the faces of the space that lie lowest and level
        mesh = mesher.mesh(model.by_guid(room.origin_id))
        triangles = mesh.corners[mesh.faces]
        low = [t for t in triangles if all(abs(z - mesh.low) < 1e-6 for z in t[:, 2])]
        area = sum(Polygon(t[:, :2]).area for t in low)
        assert room.area_m2 == pytest.approx(area, rel=1e-3), room.label
        assert Polygon(room.outline, room.holes).is_valid
        assert all(c.height_source in {"model", "assumed"} for c in room.ceilings)
        assert all(c.height_text for c in room.ceilings)
    lights = [item for item in found.obstacles if item.kind == "light"]
    assert len(lights) == 14  # of 28 objects typed as light fixtures, 14 are switches
    assert not any("switch" in item.label.lower() for item in found.obstacles)
    assert any("14 ×" in item.what and "Switch" in item.what for item in found.set_aside)


@needs_duplex
def test_three_rooms_of_the_duplex_go_on_a_100_v_line(tmp_path):
    folder = tmp_path / "job"
    rooms = "a102_living_room,a103_kitchen,a203_bedroom_2"
    arguments = ["read", str(ARCHITECTURE), "--with", str(ELECTRICAL), "--into", str(folder)]
    assert run([*arguments, "--volts", "100", "--rooms", rooms]) == 0
    assert run(["design", str(folder)]) in {0, 1}
    job = read_job(folder)
    assert {room.key for room in job.survey.rooms} == set(rooms.split(","))
    assert job.survey.site.line_voltage_v == 100.0
    assert {item.room_key for item in job.design.speakers} == set(rooms.split(","))
    assert run(["papers", str(folder)]) == 0
    assert (folder / "papers" / "job.pdf").read_bytes().startswith(b"%PDF")


def test_holes_in_a_ceiling_are_hatches_and_no_ceilings_of_their_own(tmp_path):
    model = Model()
    ground = model.storey("Ground", 0.0)
    model.space(ground, "1", box(0, 0, 8, 6), 3.5, "Office")
    # the ceiling as four pieces round an opening of 1.2 x 1.2 m at 3, 2
    for ring in (box(0, 0, 8, 2), box(0, 3.2, 8, 2.8), box(0, 2, 3, 1.2), box(4.2, 2, 3.8, 1.2)):
        model.element(ground, "IfcCovering", "Tiles", ring, 2.7, 0.02, PredefinedType="CEILING")
    (room,) = _read(model, tmp_path).rooms
    assert {round(c.height_m, 2) for c in room.ceilings} <= {2.7, 3.5}


def test_an_opening_cut_into_a_ceiling_is_an_obstacle(tmp_path):
    model = Model()
    ground = model.storey("Ground", 0.0)
    model.space(ground, "1", box(0, 0, 8, 6), 3.5, "Office")
    lower = [(0, 0), (8, 0), (8, 6), (0, 6)]
    hole = [(3, 2), (4.2, 2), (4.2, 3.2), (3, 3.2)]
    ceiling = model.element(
        ground, "IfcCovering", "Tile 600x600", lower, 2.7, 0.02, PredefinedType="CEILING"
    )
    opening = model.root(
        "IfcOpeningElement", "hole", Representation=model.solid(hole, 1.0, 2.2),
        ObjectPlacement=model.local((0, 0, 0), ground.ObjectPlacement),
    )  # fmt: skip
    model.root(
        "IfcRelVoidsElement", None, RelatingBuildingElement=ceiling, RelatedOpeningElement=opening
    )
    found = _read(model, tmp_path)
    (room,) = found.rooms
    assert len(room.ceilings) == 1
    (hatch,) = found.obstacles
    assert hatch.kind == "hatch"
    assert hatch.doubt
    assert Polygon(hatch.outline).area == pytest.approx(1.44, rel=1e-2)


def test_assumed_grids_lie_along_the_walls_and_are_centred(tmp_path):
    import math

    turn = math.radians(30)
    cos, sin = math.cos(turn), math.sin(turn)
    ring = [(x * cos - y * sin, x * sin + y * cos) for x, y in box(0, 0, 10.0, 6.1)]
    model = Model()
    ground = model.storey("Ground", 0.0)
    model.space(ground, "1", ring, 3.0, "Office")
    (room,) = _read(model, tmp_path, ceiling_kind="grid").rooms
    (ceiling,) = room.ceilings
    assert ceiling.grid_angle_rad == pytest.approx(turn, abs=1e-4)
    x, y = ceiling.grid_origin
    along, across = x * cos + y * sin, -x * sin + y * cos
    # 10.0 m hold 16 tiles and 0.4 m: cut tiles of 0.2 m are too small, so 15 and two of 0.5 m
    assert along == pytest.approx(0.5, abs=2e-3)
    # 6.1 m hold 10 tiles and 0.1 m: so 9 tiles and two of 0.35 m
    assert across == pytest.approx(0.35, abs=2e-3)
    assert any("centred" in text for text in room.assumed)


def test_things_of_a_plan_keep_their_tiles_free(tmp_path):
    folder = tmp_path / "job"
    model = Model()
    ground = model.storey("Ground", 0.0)
    model.space(ground, "1", box(0, 0, 9, 6), 3.2, "Office")
    model.element(
        ground, "IfcCovering", "Tile 600x600", box(0, 0, 9, 6), 2.7, 0.02, PredefinedType="CEILING"
    )
    for x in range(14):
        model.element(
            ground, "IfcLightFixture", "Panel", box(0.3 + 0.6 * x, 2.4, 0.6, 0.6), 2.7, 0.1
        )
    path = model.write(tmp_path / "plan.ifc")
    assert run(["read", str(path), "--into", str(folder)]) == 0
    assert run(["design", str(folder)]) in {0, 1}
    job = read_job(folder)
    lights = [Polygon(item.outline) for item in job.survey.obstacles]
    from shapely.geometry import Point

    assert job.design.speakers
    for speaker in job.design.speakers:
        assert all(light.distance(Point(speaker.position)) > 0.05 for light in lights)


def test_assumed_heights_are_printed_as_assumptions(tmp_path):
    model, _ = two_rooms()
    folder = tmp_path / "job"
    assert run(["read", str(model.write(tmp_path / "house.ifc")), str(folder)]) == 0
    made = {item.path: item for item in read_job(folder).survey.assumptions}
    heights = [item for path, item in made.items() if path.endswith(".height")]
    assert len(heights) == 1
    assert "3.20 m" in heights[0].text
    assert "top of the space" in heights[0].source


def test_doors_are_named_by_the_room_that_they_lead_to():
    from soffit.plans.doors import named_doors
    from soffit.plans.proposal import DoorProposal, RoomProposal

    def room(key: str, *doors: tuple[str, float, float]) -> RoomProposal:
        return RoomProposal(
            key=key,
            label=key.title(),
            storey_key="ground",
            outline=((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)),
            ceilings=(),
            doors=tuple(
                DoorProposal(label=label, position=(x, y), width_m=0.9) for label, x, y in doors
            ),
        )

    hall, kitchen = named_doors(
        [
            room(
                "hall",
                ("door 171975", 4.0, 2.0),
                ("Main entrance", 0.0, 1.0),
                ("door 9", 2.0, 0.0),
                ("door 8", 3.0, 0.0),
            ),
            room("kitchen", ("door 171975", 4.2, 2.0), ("door 9", 9.0, 0.0)),
        ],
        reach_m=0.3,
    )
    assert [door.label for door in hall.doors] == [
        "Kitchen door",
        "Main entrance",
        "door 1",
        "door 2",
    ]
    assert [door.label for door in kitchen.doors] == ["Hall door", "door"]
