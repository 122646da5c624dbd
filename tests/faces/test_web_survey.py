"""The survey in process: plans to draw on, things that are moved, rooms cut and joined."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from soffit.job.api import edit_survey, open_job
from soffit.work.page_rooms import _alike
from soffit_small_plans import CHAIR, OFFICES, small_dxf, small_ifc, small_pdf, small_picture
from soffit_web_page import Page, designed_job


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return designed_job(tmp_path_factory.mktemp("made") / "hall")


@pytest.fixture
def shelf(tmp_path: Path, made: Path) -> Path:
    designed_job(tmp_path / "hall", keep=made)
    return tmp_path


@pytest.fixture
def page(shelf: Path) -> Page:
    return Page(shelf)


def _send(page: Page, path: Path, beside: str = "") -> dict[str, Any]:
    query = f"name={path.name}" + (f"&beside={beside}" if beside else "")
    sent = page.send("POST", f"/api/plan-files/upload?{query}", content=path.read_bytes())
    assert sent.status_code == 201, sent.text
    found: dict[str, Any] = sent.json()
    return found


def _lines(page: Page, job: str, mark: str) -> np.ndarray:
    """Unpack an underlay as the page does."""
    answer = page.send("GET", f"/api/jobs/{job}/underlays/{mark}")
    assert answer.status_code == 200
    steps = np.frombuffer(answer.content, dtype="<i4").reshape(4, -1)
    x1, y1, dx, dy = np.cumsum(steps, axis=1)
    return np.stack([x1, y1, x1 + dx, y1 + dy], axis=1) / 1e3


@pytest.mark.parametrize("make", [small_dxf, small_ifc])
def test_all_lines_of_a_plan_lie_under_its_rooms(page: Page, tmp_path: Path, make: Any) -> None:
    plan = _send(page, make(tmp_path / f"house.{make.__name__[-3:]}"))
    keys = [room["key"] for room in plan["rooms"]]
    body = {"title": "House", "rooms": keys}
    page.post(f"/api/plan-files/{plan['key']}/keep", body, status=201)
    (listed,) = page.get("/api/jobs/house/underlays")["underlays"]
    assert listed["kind"] == "lines"
    lines = _lines(page, "house", listed["mark"])
    assert len(lines) == listed["count"]
    ends = {(round(x, 3), round(y, 3)) for x, y in lines.reshape(-1, 2)}
    room = open_job(tmp_path / "house").survey.rooms[0]
    assert {(round(x, 3), round(y, 3)) for x, y in room.outline} <= ends
    if make is small_dxf:  # furniture is no wall, and yet a help to who draws
        assert {CHAIR[:2], CHAIR[2:]} <= ends
    first = page.send("GET", f"/api/jobs/house/underlays/{listed['mark']}")
    assert "immutable" in first.headers["cache-control"]
    assert page.send("GET", "/api/jobs/house/underlays/other").status_code == 404
    assert listed["mark"] in page.get("/jobs/house/survey")
    assert listed["mark"] in page.get("/jobs/house/ceiling")


def test_a_page_of_a_pdf_lies_under_as_lines_and_as_picture(page: Page, tmp_path: Path) -> None:
    plan = _send(page, small_pdf(tmp_path / "house.pdf"))
    assert {room["label"] for room in plan["rooms"]} == set(OFFICES)
    body = {"title": "House", "rooms": [room["key"] for room in plan["rooms"]]}
    page.post(f"/api/plan-files/{plan['key']}/keep", body, status=201)
    listed = page.get("/api/jobs/house/underlays")["underlays"]
    assert [item["kind"] for item in listed] == ["lines", "picture"]
    shown = page.send("GET", f"/api/jobs/house/underlays/{listed[1]['mark']}")
    assert shown.headers["content-type"] == "image/webp"
    assert len(shown.content) < 100_000


def test_a_picture_needs_a_size_and_is_kept_with_a_room_to_begin(
    page: Page, tmp_path: Path
) -> None:
    plan = _send(page, small_picture(tmp_path / "wall.png"))
    assert not plan["is_read"]
    assert plan["picture"] == [610, 350]
    path = f"/api/plan-files/{plan['key']}"
    refused = page.send("POST", f"{path}/keep", {"title": "By photo"})
    assert refused.status_code == 400
    assert "scale" in refused.json()["error"]["what"]
    assert not (tmp_path / "by-photo").exists()
    corners = [[50, 300, 1.0, 1.0], [350, 300, 7.0, 1.0]]
    page.post(f"{path}/again", {"corners": corners})
    made = page.post(f"{path}/keep", {"title": "By photo"}, status=201)["job"]
    (listed,) = page.get(f"/api/jobs/{made}/underlays")["underlays"]
    assert listed["kind"] == "picture"
    assert listed["place"][2] == pytest.approx(0.02)
    assert listed["box"] == pytest.approx([0.0, 0.0, 12.2, 7.0], abs=1e-3)
    assert len(open_job(tmp_path / made).survey.rooms) == 1


def test_two_drawings_are_two_storeys_of_one_job(page: Page, tmp_path: Path) -> None:
    first = _send(page, small_dxf(tmp_path / "ground.dxf"))
    second = _send(page, small_dxf(tmp_path / "first floor.dxf"), first["key"])
    assert second["told"]["storey"] == "first floor"
    text = page.get(f"/plan-files/{first['key']}")
    assert "ground.dxf" in text
    assert "first floor.dxf" in text
    rooms = [room["key"] for room in first["rooms"]]
    more = {second["key"]: [room["key"] for room in second["rooms"]]}
    body = {"title": "Two floors", "rooms": rooms, "more": more}
    page.post(f"/api/plan-files/{first['key']}/keep", body, status=201)
    survey = open_job(tmp_path / "two-floors").survey
    assert len(survey.rooms) == 4
    assert sorted(storey.elevation_m for storey in survey.storeys) == [0.0, 3.5]
    by_storey = {room.storey_key for room in survey.rooms}
    assert len(by_storey) == 2
    for storey in by_storey:  # each storey is drawn alone, on its own plan
        drawing = page.get(f"/api/jobs/two-floors/survey/drawing?storey={storey}")
        assert drawing["drawing"].count("Office 1") == 1
    assert {item["storey"] for item in page.get("/api/jobs/two-floors/underlays")["underlays"]} == (
        by_storey
    )


def test_a_drawing_is_laid_by_a_known_corner(page: Page, tmp_path: Path) -> None:
    plan = _send(page, small_dxf(tmp_path / "moved.dxf", shift=100.0))
    path = f"/api/plan-files/{plan['key']}/again"
    page.post(path, {"known": "100,0=0,0"})
    body = {"title": "Laid", "rooms": [plan["rooms"][0]["key"]]}
    page.post(f"/api/plan-files/{plan['key']}/keep", body, status=201)
    room = open_job(tmp_path / "laid").survey.rooms[0]
    assert min(x for x, _ in room.outline) == pytest.approx(0.0, abs=1e-6)
    (listed,) = page.get("/api/jobs/laid/underlays")["underlays"]
    assert listed["box"][0] == pytest.approx(0.0)
    wrong = page.send("POST", path, {"known": "100;0"})
    assert wrong.status_code == 400
    assert "X,Y=X,Y" in wrong.json()["error"]["why"]


def test_a_model_of_services_is_read_along_with_its_building(page: Page, tmp_path: Path) -> None:
    building = _send(page, small_ifc(tmp_path / "house.ifc"))
    services = _send(page, small_ifc(tmp_path / "services.ifc"), building["key"])
    assert services["rides_on"] == building["key"]
    body = {"title": "House", "rooms": [room["key"] for room in building["rooms"]]}
    page.post(f"/api/plan-files/{building['key']}/keep", body, status=201)
    assert len(open_job(tmp_path / "house").survey.rooms) == 2


def test_a_job_of_several_files_is_there_whole_or_not_at_all(page: Page, tmp_path: Path) -> None:
    first = _send(page, small_dxf(tmp_path / "ground.dxf"))
    second = _send(page, small_dxf(tmp_path / "upper.dxf"), first["key"])
    body = {
        "title": "Half",
        "rooms": [first["rooms"][0]["key"]],
        "more": {second["key"]: ["there is no such room"]},
    }
    answer = page.send("POST", f"/api/plan-files/{first['key']}/keep", body)
    assert answer.status_code == 400
    assert not (tmp_path / "half").exists()
    assert not list(tmp_path.glob(".soffit-new*"))


def test_damaged_lines_show_nothing_and_stop_nothing(page: Page, shelf: Path) -> None:
    plans = shelf / "hall" / "plans"
    plans.mkdir(exist_ok=True)
    for number, text in enumerate(
        ["{", '{"storeys": {"a": [1, 2, 3]}}', '{"storeys": {"a": [1e300, 0, 0, 0]}}', "[]"]
    ):
        (plans / f"odd{number}.dxf.lines.json").write_text(text)
    (plans / "odd.png.json").write_text('{"picture": "../../secret.png"}')
    assert page.get("/api/jobs/hall/underlays") == {"underlays": []}
    assert "aria-current" in page.get("/jobs/hall/survey")


# -- things ----------------------------------------------------------------------------------


def _revision(page: Page) -> int:
    return int(page.get("/api/jobs/hall/survey")["revision"])


def _edit(folder: Path, edits: list[tuple[str, Any]]) -> None:
    edit_survey(folder, edits, open_job(folder).job_revision)


def test_things_are_moved_and_change_room(page: Page, shelf: Path) -> None:
    folder = shelf / "hall"
    point = {"key": "p1", "at": ["6 ft", 1.0], "label": "desk"}
    lamp = {"kind": "light", "corner": [1.0, 1.0], "size": [1.2, 0.3], "repeat": [2, 1],
            "step": [2.0, 0]}  # fmt: skip
    edits: list[tuple[str, Any]] = [
        ("rooms.room1.test_points", [point]),
        ("rooms.room1.obstacles", [lamp]),
        ("rooms.side", {"label": "Side", "storey": "ground", "corner": [9.0, 0], "size": [4, 6]}),
        ("rooms.side.obstacles", [{"kind": "sprinkler", "at": [11.0, 3.0], "diameter": 0.07}]),
    ]
    _edit(folder, edits)
    things = page.get("/api/jobs/hall/survey")["things"]
    assert {item["list"] for item in things} >= {"test_points", "obstacles", "racks"}
    (lit,) = [item for item in things if item["name"] == "light"]
    assert lit["repeats"] == [[2.0, 0.0]]
    body = {"path": ["rooms", "room1", "test_points", 0], "by": [0.3048, 0.5]}
    told = page.post("/api/jobs/hall/survey/move", {**body, "revision": _revision(page)})
    assert told["room"] == "room1"
    assert '"7 ft"' in (folder / "job.toml").read_text()  # feet stay feet
    (moved,) = open_job(folder).survey.room("room1").test_points
    assert moved.position == pytest.approx((7 * 0.3048, 1.5))
    told = page.post(
        "/api/jobs/hall/survey/move", {**body, "by": [8.0, 0.0], "revision": told["revision"]}
    )
    assert told["room"] == "side"
    assert told["path"] == ["rooms", "side", "test_points", 0]
    survey = open_job(folder).survey
    assert not survey.room("room1").test_points
    assert survey.room("side").test_points[0].key == "p1"
    rack = {"path": ["racks", "main"], "by": [10.0, 0.0], "revision": told["revision"]}
    assert page.post("/api/jobs/hall/survey/move", rack)["room"] == "side"
    assert open_job(folder).survey.racks[0].room_key == "side"
    stale = page.send("POST", "/api/jobs/hall/survey/move", {**rack, "revision": 1})
    assert stale.status_code == 409
    page.post("/api/jobs/hall/undo")
    assert open_job(folder).survey.racks[0].room_key == "room1"


def test_a_column_that_would_leave_its_room_stays(page: Page, shelf: Path) -> None:
    _edit(shelf / "hall", [("rooms.room1.columns", [{"corner": [3.0, 3.0], "size": [0.4, 0.4]}])])
    before = (shelf / "hall" / "job.toml").read_bytes()
    body = {"path": ["rooms", "room1", "columns", 0], "by": [50.0, 0.0]}
    answer = page.send("POST", "/api/jobs/hall/survey/move", {**body, "revision": _revision(page)})
    assert answer.status_code == 400
    assert "outside" in answer.json()["error"]["what"]
    assert (shelf / "hall" / "job.toml").read_bytes() == before


# -- rooms -----------------------------------------------------------------------------------


FURNISHED: list[tuple[str, Any]] = [
    ("rooms.room1.test_points", [{"key": "a", "at": [1, 1]}, {"key": "b", "at": [7, 1]}]),
    ("rooms.room1.obstacles", [
        {"kind": "sprinkler", "at": [7.0, 3.0], "diameter": 0.07},
        {"kind": "light", "corner": [1.0, 4.0], "size": [0.6, 0.6], "repeat": [3, 1],
         "step": [3.0, 0]},
    ]),
    ("rooms.room1.listening", [{"key": "rows", "corner": [1, 1], "size": [6, 4]}]),
    ("rooms.room1.doors", [{"at": [8.4, 3.0]}]),
    ("rooms.room1.columns", [{"corner": [6.0, 5.0], "size": [0.4, 0.4]}]),
    ("rooms.room1.surfaces", [{"part": "walls", "material": "painted_concrete", "area": 60.0}]),
    ("rooms.room1.wall_names", ["south", "east", "north", "west"]),
]  # fmt: skip


def test_a_cut_room_keeps_everything_in_the_right_half(page: Page, shelf: Path) -> None:
    folder = shelf / "hall"
    _edit(folder, FURNISHED)
    _edit(folder, [("rooms.room1.obstacles[0].key", "spr")])
    before = open_job(folder)
    speakers = {item.key: item for item in before.design.speakers}
    cut = {"room": "room1", "start": [5.0, 0.0], "end": [5.0, 1.0], "revision": _revision(page)}
    told = page.post("/api/jobs/hall/survey/split", cut)
    job = open_job(folder)
    one, two = job.survey.room("room1"), job.survey.room(told["room"])
    assert [item.key for item in one.test_points] == ["a"]
    assert [item.key for item in two.test_points] == ["b"]
    kinds = {
        key: sorted(o.kind for o in job.survey.obstacles_in(key)) for key in (one.key, two.key)
    }
    assert kinds == {"room1": ["light", "light"], two.key: ["light", "sprinkler"]}
    assert (len(one.holes), len(two.holes)) == (0, 1)
    assert (len(one.doors), len(two.doors)) == (0, 1)
    ears = [sum(_area(a.outline) for a in r.listening_areas if a.outline) for r in (one, two)]
    assert sorted(round(value, 3) for value in ears) == [8.0, 16.0]
    assert set(one.wall_names) - {""} == {"south", "north", "west"}
    assert set(two.wall_names) - {""} == {"south", "north", "east"}
    stated = [sum(s.area_m2 or 0.0 for s in r.surfaces) for r in (one, two)]
    assert sum(stated) == pytest.approx(60.0, abs=0.02)
    for item in job.design.speakers:  # what hangs goes along
        assert item.room_key == (two.key if speakers[item.key].position[0] > 5.0 else "room1")
    zones = {zone.key: set(zone.room_keys) for zone in job.survey.zones}
    assert any({"room1", two.key} <= rooms for rooms in zones.values())
    page.post("/api/jobs/hall/undo")  # one step takes survey and design back
    back = open_job(folder)
    assert back.survey.room("room1").outline == before.survey.room("room1").outline
    assert back.design.speakers == before.design.speakers


def _area(ring: tuple[tuple[float, float], ...]) -> float:
    pairs = zip(ring, (*ring[1:], ring[0]), strict=True)
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)) / 2


def test_what_held_for_the_whole_room_is_taken_out_and_said(page: Page, shelf: Path) -> None:
    folder = shelf / "hall"
    _edit(folder, [("rooms.room1.reverberation", [0.6] * 8), ("rooms.room1.brief.count", 6)])
    cut = {"room": "room1", "start": [5.0, 0.0], "end": [5.0, 1.0], "revision": _revision(page)}
    told = page.post("/api/jobs/hall/survey/split", cut)
    assert len(told["told"]) == 2
    for room in open_job(folder).survey.rooms:
        assert room.brief.count is None


def test_joined_rooms_keep_what_was_in_both(page: Page, shelf: Path) -> None:
    folder = shelf / "hall"
    side = {
        "label": "Side", "storey": "ground", "corner": [8.6, 0], "size": [4, 6],
        "obstacles": [{"kind": "sprinkler", "at": [10.0, 3.0], "diameter": 0.07}],
        "test_points": [{"key": "a", "at": [10, 1]}],
        "ceilings": [{"key": "grid", "kind": "plasterboard", "height": 2.4}],
    }  # fmt: skip
    _edit(folder, [("rooms.side", side), ("rooms.room1.test_points", [{"key": "a", "at": [1, 1]}])])
    _edit(folder, [("racks.back", {"room": "side", "at": [12.0, 1.0]})])
    body = {"first": "room1", "second": "side", "revision": _revision(page)}
    page.post("/api/jobs/hall/survey/merge", body)
    survey = open_job(folder).survey
    (room,) = survey.rooms
    assert [item.kind for item in survey.obstacles_in("room1")] == ["sprinkler"]
    assert [item.key for item in room.test_points] == ["a", "a-2"]
    assert {rack.room_key for rack in survey.racks} == {"room1"}
    assert {item.height_m for item in room.ceilings} == {
        2.7,
        2.4,
    }  # the lower one stays where it is
    assert len({item.key for item in room.ceilings}) == 2


def test_ceilings_are_alike_by_what_hangs_not_by_name() -> None:
    one = {"key": "a", "kind": "grid", "height": 2.7, "grid": {"pitch": ["600 mm", 0.6]}}
    two = {"key": "b", "kind": "grid", "height": "270 cm", "grid": {"pitch": [0.6, 0.6]}}
    assert _alike(one, two)
    assert not _alike(one, {**two, "height": 2.8})


def test_a_material_of_ones_own_is_entered_and_used(page: Page, shelf: Path) -> None:
    material = {"label": "Felt baffle", "absorption": [0.1, 0.3, 0.7, 0.9, 1.0, 0.9],
                "source": "invented sheet"}  # fmt: skip
    edits = [
        {"path": ["materials", "felt_baffle"], "op": "set", "value": material},
        {"path": ["rooms", "room1", "surfaces"], "op": "append",
         "value": {"part": "walls", "material": "felt_baffle", "area": 10}},
    ]  # fmt: skip
    body = {"revision": _revision(page), "edits": edits, "what": "felt"}
    page.post("/api/jobs/hall/survey", body)
    seen = page.get("/api/jobs/hall/survey")
    listed = {item["id"]: item["kind"] for item in seen["choices"]["material"]}
    assert listed["felt_baffle"] == "own"
    assert "painted_concrete" in listed
    assert open_job(shelf / "hall").survey.materials[0].source == "invented sheet"
    wrong = [{"path": ["materials", "felt_baffle", "absorption"], "op": "set", "value": [3.0] * 6}]
    answer = page.send(
        "POST", "/api/jobs/hall/survey", {"revision": seen["revision"], "edits": wrong}
    )
    assert answer.status_code == 400
