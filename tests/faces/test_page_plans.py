"""Plans in the browser: sent, looked at, mended, kept, and drawn on by mouse, finger and keys."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from soffit.job.api import edit_survey, open_job
from soffit_page import DESK, PHONE, Server, chromium, expect, served, watched_page
from soffit_small_plans import PIXEL_M, small_dxf, small_ifc, small_pdf, small_picture
from soffit_web_page import designed_job

pytestmark = pytest.mark.needs("chromium")

SHARED = Path(__file__).parents[3] / "shared" / "data"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("shelf")
    with served(folder) as running:
        yield running


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as running:
        yield running


@pytest.fixture
def desk(browser: Any, server: Server) -> Iterator[Any]:
    yield from watched_page(browser, server, viewport=DESK)


@pytest.fixture
def phone(browser: Any, server: Server) -> Iterator[Any]:
    yield from watched_page(browser, server, viewport=PHONE, has_touch=True, is_mobile=True)


def _send(page: Any, server: Server, *files: Path) -> None:
    page.goto(server.link)
    page.set_input_files("#plan-file-file", list(files))
    page.get_by_role("button", name="Read it").click()
    page.wait_for_url("**/plan-files/*", timeout=60_000)


def _keep(page: Any, server: Server, title: str) -> Path:
    page.fill('#keep input[name="title"]', title)
    page.get_by_role("button", name="Keep these rooms").click()
    page.wait_for_url("**/survey*", timeout=60_000)
    found = re.search(r"/jobs/([^/]+)/", page.url)
    assert found
    expect(page.locator("#under-lines[data-shown]")).to_be_attached()
    return server.folder / found.group(1)


def _spot(page: Any, x: float, y: float) -> tuple[float, float]:
    """Return where a place of the plan is on the screen."""
    found = page.evaluate(
        """([x, y]) => {
          const p = JSON.parse(document.querySelector('#drawing').textContent);
          const m = document.querySelector('#plan').getScreenCTM();
          const u = p.at[0] + (x - p.origin_m[0]) * p.mm_per_m;
          const v = p.at[1] - (y - p.origin_m[1]) * p.mm_per_m;
          return [m.a * u + m.e, m.d * v + m.f];
        }""",
        [x, y],
    )
    return found[0], found[1]


def _kept(page: Any, words: str) -> None:
    expect(page.locator("#say")).to_contain_text(words)


@pytest.mark.parametrize(
    ("make", "name"), [(small_dxf, "a.dxf"), (small_pdf, "a.pdf"), (small_ifc, "a.ifc")]
)
def test_a_plan_is_shown_mended_and_kept(
    desk: Any, server: Server, tmp_path: Path, make: Any, name: str
) -> None:
    _send(desk, server, make(tmp_path / name))
    rows = desk.locator("section.plan tbody tr")
    expect(rows).to_have_count(2)
    expect(desk.locator("section.plan .drawing svg")).to_contain_text("Office 1")
    form = desk.locator("details.again")
    if form.get_attribute("open") is None:
        form.locator("summary").click()
    rows.filter(has_text="Office 2").locator("input").uncheck()
    if name != "a.ifc":  # a model says how high it is
        form.get_by_label("Ceiling height").fill("3.1 m")
        form.get_by_label("Ceiling kind").select_option("grid")
        form.get_by_role("button", name="Read it again").click()
        expect(rows.first).to_contain_text("3.10 m")
    expect(rows.filter(has_text="Office 2").locator("input")).not_to_be_checked()
    folder = _keep(desk, server, f"By {name}")
    (room,) = open_job(folder).survey.rooms
    assert room.label == "Office 1"
    assert room.ceilings[0].height_m == pytest.approx(3.0 if name == "a.ifc" else 3.1)
    hidden = desk.locator("#under-lines")
    desk.select_option("#underlay", "")
    expect(hidden).to_be_hidden()
    desk.reload()  # the browser remembers that nothing was wanted
    expect(desk.locator("#underlay")).to_have_value("")


@pytest.mark.skipif(not SHARED.is_dir(), reason="the optional folder of real plans is absent")
@pytest.mark.parametrize("name", ["duplex-architecture.ifc", "floorplan.dxf"])
def test_a_real_plan_is_shown_and_kept(desk: Any, server: Server, name: str) -> None:
    _send(desk, server, SHARED / name)
    assert desk.locator("section.plan tbody tr").count() > 8
    folder = _keep(desk, server, f"Real {name}")
    assert len(open_job(folder).survey.rooms) > 8
    ends = desk.evaluate("performance.getEntriesByType('resource').map((e) => e.name)")
    assert sum("/underlays/" in address for address in ends) == 1  # each content is asked for once


def test_a_picture_is_sized_by_two_places_and_drawn_on(
    desk: Any, server: Server, tmp_path: Path
) -> None:
    _send(desk, server, small_picture(tmp_path / "wall.png"))
    stage = desk.locator(".stage")
    expect(stage.locator("img")).to_be_visible()
    desk.get_by_role("button", name="Take this size").click()
    expect(desk.locator("#say")).to_contain_text("Press the first place")
    scale = stage.locator("img").bounding_box()["width"] / 610
    for x in (50, 350):  # the lower corners of Office 1, 6 m apart
        stage.click(position={"x": x * scale, "y": 300 * scale})
    expect(desk.locator(".calibrate [role=status]")).to_contain_text("write the length")
    desk.fill('input[name="apart"]', "6 m")
    desk.get_by_role("button", name="Take this size").click()
    expect(desk.locator("section.plan")).to_contain_text("kept to draw rooms on")
    folder = _keep(desk, server, "By picture")
    listed = server.get(f"/api/jobs/{folder.name}/underlays")["underlays"][0]
    assert listed["place"][2] == pytest.approx(PIXEL_M, rel=0.01)
    seen = """() => {
      const c = document.querySelector('#under-lines');
      const data = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
      return data.some((v, i) => i % 4 == 3 && v);
    }"""
    desk.wait_for_function(seen)  # its ink is on the canvas


def test_corners_catch_the_lines_of_the_plan_by_mouse(
    desk: Any, server: Server, tmp_path: Path
) -> None:
    _send(desk, server, small_dxf(tmp_path / "house.dxf"))
    folder = _keep(desk, server, "By mouse")
    desk.get_by_role("button", name="Draw a room").click()
    desk.get_by_label("Called").first.fill("Chair corner")
    for x, y in [(2.0, 2.0), (3.6, 2.0), (3.6, 3.2), (2.0, 3.2)]:
        at = _spot(desk, x, y)
        desk.mouse.move(at[0] + 4, at[1] - 4)
        expect(desk.locator("#under-pointer")).to_contain_text("end of a line")
        desk.mouse.click(at[0] + 4, at[1] - 4)
    desk.get_by_role("button", name="Keep the room").click()
    _kept(desk, "Chair corner")
    expect(desk.locator("#sketch")).to_have_count(0)
    room = open_job(folder).survey.room("chair-corner")
    assert set(room.outline) == {(2.0, 2.0), (3.6, 2.0), (3.6, 3.2), (2.0, 3.2)}
    _drag_a_corner(desk, folder)


def _drag_a_corner(desk: Any, folder: Path) -> None:
    """Drag a corner near the middle of a wall's line: it lies on that line afterwards."""
    desk.get_by_role("button", name="Move its corners").click()
    corner = desk.locator('[data-id="corner-0"]')
    expect(corner).to_be_focused()
    start, end = _spot(desk, 2.0, 2.0), _spot(desk, 1.43, 0.0)
    desk.mouse.move(*start)
    desk.mouse.down()
    desk.mouse.move(start[0], start[1] + 20)
    desk.mouse.move(end[0], end[1] + 5)
    desk.mouse.up()
    _kept(desk, "corner of Chair corner")
    ring = open_job(folder).survey.room("chair-corner").outline
    moved = min(ring, key=lambda p: p[1])
    assert moved[1] == 0.0
    assert moved[0] == pytest.approx(1.43, abs=0.06)
    desk.keyboard.press("Control+z")
    expect(desk.locator("#say")).to_contain_text("Taken back")
    assert (2.0, 2.0) in open_job(folder).survey.room("chair-corner").outline


def test_a_room_is_drawn_by_keyboard_alone(desk: Any, server: Server, tmp_path: Path) -> None:
    _send(desk, server, small_dxf(tmp_path / "house.dxf"))
    folder = _keep(desk, server, "By keys")
    desk.locator("#add-room").focus()
    desk.keyboard.press("Enter")
    desk.keyboard.type("Nook")
    wall = desk.get_by_label("Length of the next wall")
    wall.focus()
    desk.keyboard.type("2 ft")
    desk.get_by_role("button", name="A wall of this length up").focus()
    desk.keyboard.press("Enter")
    board = desk.locator("#board")
    board.focus()
    for _ in range(40):  # to the left until the wall of Office 1 stops it
        desk.keyboard.press("ArrowLeft")
        if desk.locator("#say").text_content().startswith("0.00 m"):
            break
    desk.keyboard.press("Enter")
    desk.keyboard.press("Backspace")
    desk.keyboard.press("ArrowLeft")
    desk.keyboard.press("Enter")
    desk.get_by_role("button", name="Keep the room").focus()
    desk.keyboard.press("Enter")
    _kept(desk, "Nook")
    room = open_job(folder).survey.room("nook")
    assert len(room.outline) == 3
    heights = sorted(y for _, y in room.outline)
    assert heights[-1] - heights[0] == pytest.approx(0.6096, abs=1e-4)


def test_arrow_keys_stop_at_lines_and_move_a_corner(
    desk: Any, server: Server, tmp_path: Path
) -> None:
    _send(desk, server, small_dxf(tmp_path / "house.dxf"))
    folder = _keep(desk, server, "By arrows")
    desk.select_option("#room", label="Office 2")
    desk.locator("#shape-room").focus()
    desk.keyboard.press("Enter")
    corner = desk.locator(".handle:focus")
    expect(corner).to_have_count(1)
    before = open_job(folder).survey.room(desk.locator("#room").input_value()).outline
    desk.keyboard.press("Escape")
    left = min(range(4), key=lambda n: before[n][0] + before[n][1])
    desk.locator(f'[data-id="corner-{left}"]').focus()
    for _ in range(2):  # 0.1 m and then, on the way to 0.2 m, the wall of Office 1
        desk.keyboard.press("ArrowLeft")
    expect(desk.locator("#say")).to_contain_text("6.00 m")
    desk.keyboard.press("Enter")
    _kept(desk, "corner of Office 2")
    after = open_job(folder).survey.room(desk.locator("#room").input_value()).outline
    assert min(x for x, _ in after) == 6.0
    expect(desk.locator(f'[data-id="corner-{left}"]')).to_be_focused()


def test_a_room_is_drawn_by_finger(phone: Any, server: Server, tmp_path: Path) -> None:
    _send(phone, server, small_dxf(tmp_path / "house.dxf"))
    folder = _keep(phone, server, "By finger")
    phone.get_by_role("button", name="Draw a room").tap()
    phone.get_by_label("Called").first.fill("Patch")
    phone.locator("#board").scroll_into_view_if_needed()
    for x, y in [(0.0, 0.0), (6.0, 0.0), (6.0, 5.0)]:
        at = _spot(phone, x, y)
        phone.touchscreen.tap(at[0] + 3, at[1] - 3)
    phone.get_by_role("button", name="Keep the room").tap()
    _kept(phone, "Patch")
    assert set(open_job(folder).survey.room("patch").outline) == {
        (0.0, 0.0),
        (6.0, 0.0),
        (6.0, 5.0),
    }


def test_two_files_are_two_storeys(desk: Any, server: Server, tmp_path: Path) -> None:
    _send(desk, server, small_dxf(tmp_path / "ground.dxf"), small_dxf(tmp_path / "upper.dxf"))
    expect(desk.locator("section.plan")).to_have_count(2)
    folder = _keep(desk, server, "Two floors")
    survey = open_job(folder).survey
    assert len(survey.rooms) == 4
    upper = next(r for r in survey.rooms if r.storey_key != survey.rooms[0].storey_key)
    expect(desk.locator("#under")).to_contain_text("Office 1")
    desk.select_option("#room", upper.key)
    desk.wait_for_url(f"**room={upper.key}")
    expect(desk.locator("#underlay option").first).to_contain_text("upper.dxf")


def test_a_place_to_measure_is_dragged_and_moved_by_keys(
    desk: Any, server: Server, tmp_path: Path
) -> None:
    folder = designed_job(server.folder / "things", keep=tmp_path / "made")
    point = {"key": "p1", "label": "desk", "at": [2.0, 2.0]}
    lamp = {"kind": "light", "corner": [4.0, 2.0], "size": [1.2, 0.3]}
    edits: list[tuple[Any, Any]] = [
        ("rooms.room1.test_points", [point]),
        ("rooms.room1.obstacles", [lamp]),
    ]
    edit_survey(folder, edits, open_job(folder).job_revision)
    desk.goto(f"{server.link}/jobs/things/survey")
    start, end = _spot(desk, 2.0, 2.0), _spot(desk, 3.0, 2.5)
    desk.mouse.move(*start)
    desk.mouse.down()
    desk.mouse.move(start[0] + 10, start[1])
    desk.mouse.move(*end)
    expect(desk.locator("#say")).to_contain_text("3.00 m, 2.50 m")
    desk.mouse.up()
    _kept(desk, "desk moved")
    (kept,) = open_job(folder).survey.room("room1").test_points
    assert kept.position == pytest.approx((3.0, 2.5), abs=0.03)
    lit = desk.get_by_role("button", name=re.compile("^light: arrow keys"))
    lit.focus()
    desk.keyboard.press("ArrowRight")
    desk.keyboard.press("Escape")
    expect(desk.locator("#say")).to_have_text("Put back.")
    desk.keyboard.press("ArrowUp")
    desk.keyboard.press("Enter")
    _kept(desk, "light moved")
    (obstacle,) = open_job(folder).survey.obstacles_in("room1")
    assert min(y for _, y in obstacle.outline) == pytest.approx(2.1)
    expect(lit).to_be_focused()
    rack = desk.get_by_role("button", name=re.compile("^rack"))
    rack.focus()
    desk.keyboard.press("Shift+ArrowRight")
    desk.keyboard.press("Enter")
    _kept(desk, "moved")
    assert open_job(folder).survey.racks[0].position[0] == pytest.approx(1.3)


def test_a_material_is_entered_and_laid_on_the_walls(
    desk: Any, server: Server, tmp_path: Path
) -> None:
    folder = designed_job(server.folder / "felt", keep=tmp_path / "made")
    desk.goto(f"{server.link}/jobs/felt/survey")
    card = desk.locator("#surfaces")
    card.locator("> summary").click()
    card.get_by_text("Enter a material").click()
    form = card.locator("form").last
    form.get_by_label("Called").fill("Felt baffle")
    for band, value in zip(("125", "250", "500", "1k", "2k"), "13799", strict=True):
        form.get_by_label(f"At {band} Hz", exact=True).fill(f"0.{value}")
    form.get_by_label("Who says so").fill("invented sheet 7")
    form.get_by_role("button", name="Keep the material").click()
    expect(desk.locator("#say")).to_contain_text("needs a number")
    form.get_by_label("At 4k Hz", exact=True).fill("0.9")
    form.get_by_role("button", name="Keep the material").click()
    _kept(desk, "material Felt baffle")
    parts = desk.locator("#surfaces > label.field")
    parts.filter(has_text="Part").locator("select").select_option("walls")
    parts.filter(has_text="Material").locator("select").select_option("felt_baffle")
    desk.locator("#surfaces").get_by_role("button", name="Add it").click()
    _kept(desk, "walls of")
    made_of = {(item.part, item.material) for item in open_job(folder).survey.rooms[0].surfaces}
    assert ("walls", "felt_baffle") in made_of


def test_a_rack_is_dragged_by_finger(phone: Any, server: Server, tmp_path: Path) -> None:
    folder = designed_job(server.folder / "finger", keep=tmp_path / "made")
    phone.goto(f"{server.link}/jobs/finger/survey")
    phone.locator("#board").scroll_into_view_if_needed()
    touch = phone.context.new_cdp_session(phone)
    start, end = _spot(phone, 0.3, 0.3), _spot(phone, 4.0, 3.0)

    def finger(kind: str, *at: tuple[float, float]) -> None:
        points = [{"x": x, "y": y, "id": 1} for x, y in at]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    finger("touchStart", (start[0] + 9, start[1] - 9))  # within 22 pixels of it
    for step in range(1, 6):
        at = tuple(a + (b - a) * step / 5 for a, b in zip(start, end, strict=True))
        finger("touchMove", (at[0], at[1]))
    expect(phone.locator("#say")).to_contain_text("rack: 4.00 m, 3.00 m")
    finger("touchEnd")
    _kept(phone, "moved")
    assert open_job(folder).survey.racks[0].position == pytest.approx((4.0, 3.0), abs=0.06)
    view = phone.evaluate("document.querySelector('#plan').getAttribute('viewBox')")
    assert view.startswith("0 0 ")  # the sheet itself was not dragged along


def test_a_sketch_that_is_refused_is_not_lost(browser: Any, server: Server, tmp_path: Path) -> None:
    folder = designed_job(server.folder / "sketch", keep=tmp_path / "made")
    page = browser.new_page(viewport=DESK)
    page.goto(f"{server.link}/jobs/sketch/survey")
    page.get_by_role("button", name="Draw a room").click()
    page.get_by_label("Called").first.fill("Annex")
    page.get_by_text("Corners as text").click()
    text = page.get_by_label("Corners, one a line")
    text.fill("0, 0\n0.1, 0\n0.1, 0.1")
    page.get_by_role("button", name="Keep the room").click()
    problem = page.locator("#problem")
    expect(problem).to_contain_text("smaller than a tile")
    problem.get_by_role("button", name="Close").click()
    expect(text).to_have_value("0, 0\n0.1, 0\n0.1, 0.1")
    text.fill("9 m, 0\n43 ft, 0\n43 ft, 4 m\n9 m, 4 m")
    page.get_by_role("button", name="Keep the room").click()
    _kept(page, "room Annex")
    expect(page.locator("#sketch")).to_have_count(0)
    xs = [x for x, _ in open_job(folder).survey.room("annex").outline]
    assert max(xs) == pytest.approx(43 * 0.3048)
    page.close()


def test_a_bare_number_keeps_the_unit_that_stood_there(
    desk: Any, server: Server, tmp_path: Path
) -> None:
    folder = designed_job(server.folder / "units", keep=tmp_path / "made")
    edit_survey(
        folder, [("rooms.room1.ceilings[0].void_depth", "400 mm")], open_job(folder).job_revision
    )
    desk.goto(f"{server.link}/jobs/units/survey")
    field = desk.get_by_label("Void above")
    field.fill("450")
    field.press("Enter")
    _kept(desk, "450 mm")
    assert open_job(folder).survey.rooms[0].ceilings[0].void_depth_m == pytest.approx(0.45)
    even = desk.get_by_label("Even to ±")
    even.fill("2.5")
    even.press("Enter")
    _kept(desk, "2.5 dB")
    height = desk.get_by_label("Height", exact=True)
    height.fill("2.8")  # metres stood there as a bare number
    height.press("Enter")
    _kept(desk, "2.8")
    assert open_job(folder).survey.rooms[0].ceilings[0].height_m == pytest.approx(2.8)
