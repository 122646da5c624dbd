"""Jobs on the shelf, hand changes with revisions, readings that arrive once, all in process."""

import io
import json
import re
import zipfile
from pathlib import Path

import pytest

from soffit.job.api import open_job
from soffit.work.run_checks import run_checks
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


def test_sheets_answer_with_and_without_a_design(page: Page) -> None:
    page.post("/api/jobs", {"title": "Empty chapel"}, status=201)
    sheets = ["survey", "ceiling", "choices", "lines", "check", "papers", "prove", "trace", "log"]
    for job in ("hall", "empty-chapel"):
        for sheet in sheets:
            text = page.get(f"/jobs/{job}/{sheet}")
            assert 'aria-current="page"' in text
            assert "<h1" in text


def test_the_list_names_a_job_that_cannot_be_read(page: Page, shelf: Path) -> None:
    (shelf / "broken").mkdir()
    (shelf / "broken" / "job.toml").write_text("format = 'x'")
    entries = {entry["name"]: entry for entry in page.get("/api/jobs")["jobs"]}
    assert entries["hall"]["speakers"] > 0
    assert entries["broken"]["problem"]
    assert "broken" in page.get("/")
    assert page.send("GET", "/jobs/broken/ceiling").status_code == 400


def test_a_job_is_copied_put_away_packed_and_taken_in(page: Page, shelf: Path) -> None:
    copy = page.post("/api/jobs/hall/duplicate", status=201)["job"]
    assert open_job(shelf / copy).design == open_job(shelf / "hall").design
    page.post(f"/api/jobs/{copy}/put-away")
    assert not (shelf / copy).exists()
    listed = {entry["name"]: entry["is_put_away"] for entry in page.get("/api/jobs")["jobs"]}
    assert listed == {"hall": False, copy: True}
    page.post(f"/api/jobs/{copy}/put-away")
    assert (shelf / copy / "job.toml").is_file()
    packed = page.send("GET", "/api/jobs/hall/zip").content
    answer = page.send("POST", "/api/jobs/upload?name=from%20mail.zip", content=packed)
    assert answer.status_code == 201
    assert answer.json() == {"job": "from-mail"}
    assert open_job(shelf / "from-mail").design == open_job(shelf / "hall").design


def test_hostile_archives_are_refused_and_leave_nothing(page: Page, shelf: Path) -> None:
    def packed(name: str, content: bytes) -> bytes:
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr("job.toml", (shelf / "hall" / "job.toml").read_bytes())
            archive.writestr(name, content)
        return out.getvalue()

    before = sorted(path.name for path in shelf.iterdir())
    for content in (
        b"no archive at all",
        packed("../../evil.txt", b"evil"),
        packed("/etc/evil", b"evil"),
        packed("design.json", b"{ broken"),
    ):
        answer = page.send("POST", "/api/jobs/upload?name=x.zip", content=content)
        assert answer.status_code == 400, answer.text
        assert answer.json()["error"]["do"]
    assert sorted(path.name for path in shelf.iterdir()) == before


def test_page_and_command_line_find_the_same(page: Page, shelf: Path) -> None:
    found = page.get("/api/jobs/hall/findings")["findings"]
    told = run_checks(shelf / "hall").as_dict()["findings"]
    for item in found:
        item.pop("one_click")
    assert json.loads(json.dumps(told)) == found


def _unit(page: Page) -> dict[str, object]:
    plan = page.get("/api/jobs/hall/rooms/room1/plan")
    unit: dict[str, object] = plan["units"][0]
    return unit


def test_dragging_keeps_nothing_and_answers_like_the_whole_field(page: Page, shelf: Path) -> None:
    before = (shelf / "hall" / "design.json").read_bytes()
    plan = page.get("/api/jobs/hall/rooms/room1/plan")
    unit = plan["units"][0]
    rest = page.get("/api/jobs/hall/rooms/room1/map")
    x, y = unit["at_m"]
    body = {"key": unit["key"], "x": x + 0.6, "y": y, "revision": plan["revision"]}
    held = page.post("/api/jobs/hall/rooms/room1/drag", body)
    assert held["tile"] == [unit["tile"][0] + 1, unit["tile"][1]]
    assert held["state"] != rest["state"]
    assert held["map"]["cells"] != rest["map"]["cells"]
    assert held["line"]["label"] == unit["line"]
    assert (shelf / "hall" / "design.json").read_bytes() == before
    back = page.post("/api/jobs/hall/rooms/room1/drag", {**body, "x": x})
    assert back["state"] == rest["state"]
    # the same place, kept: what the drag foretold is what the design then has
    edit = {"kind": "move", "target": unit["key"], "value": f"{held['tile'][0]},{held['tile'][1]}"}
    page.post("/api/jobs/hall/edits", {"revision": plan["revision"], "edits": [edit]})
    kept = page.get("/api/jobs/hall/rooms/room1/map")
    assert kept["state"]["spread_db"] == pytest.approx(held["state"]["spread_db"], abs=0.011)
    assert kept["state"]["level_dba"] == pytest.approx(held["state"]["level_dba"], abs=0.11)


def test_a_place_outside_the_room_is_no_place(page: Page) -> None:
    plan = page.get("/api/jobs/hall/rooms/room1/plan")
    body = {"key": plan["units"][0]["key"], "x": -9.0, "y": 2.0, "revision": plan["revision"]}
    held = page.post("/api/jobs/hall/rooms/room1/drag", body)
    assert not held["is_place"]
    assert held["against"]


def test_two_pages_never_overwrite_each_other(page: Page, shelf: Path) -> None:
    unit = _unit(page)
    seen = page.get("/api/jobs/hall")["revision"]
    taps = unit["taps"]
    assert isinstance(taps, list)
    change = {"kind": "tap", "target": unit["key"], "value": taps[-1]}
    first = page.send(
        "POST",
        "/api/jobs/hall/edits",
        {"revision": seen, "edits": [change]},
        headers={"x-soffit-who": "Ada%20of%20the%20ladder"},
    )
    assert first.status_code == 200
    lock = {"kind": "lock", "target": unit["key"], "value": ""}
    second = page.send("POST", "/api/jobs/hall/edits", {"revision": seen, "edits": [lock]})
    assert second.status_code == 409
    error = second.json()["error"]
    assert "Ada of the ladder" in error["why"]
    assert str(unit["label"]) in error["do"]
    drag = {"key": unit["key"], "x": 1.0, "y": 1.0, "revision": seen}
    assert page.send("POST", "/api/jobs/hall/rooms/room1/drag", drag).status_code == 409
    again = {"revision": first.json()["revision"], "edits": [lock]}
    assert page.send("POST", "/api/jobs/hall/edits", again).status_code == 200
    found = open_job(shelf / "hall").design.speaker(str(unit["key"]))
    assert found.fixed_place
    assert f"{found.tap.power_w:g} W" == taps[-1]


def test_undo_and_redo_walk_through_history(page: Page, shelf: Path) -> None:
    unit = _unit(page)
    seen = page.get("/api/jobs/hall")["revision"]
    before = open_job(shelf / "hall").design.speakers
    edit = {"kind": "remove", "target": unit["key"]}
    page.post("/api/jobs/hall/edits", {"revision": seen, "edits": [edit]})
    after = open_job(shelf / "hall").design.speakers
    assert len(after) == len(before) - 1
    page.post("/api/jobs/hall/undo")
    assert open_job(shelf / "hall").design.speakers == before
    page.post("/api/jobs/hall/redo")
    assert open_job(shelf / "hall").design.speakers == after
    log = page.get("/api/jobs/hall/history")
    assert [entry["kind"] for entry in log["entries"]][:3] == ["redo", "undo", "design"]


def test_an_alternative_is_taken_with_its_layout(page: Page, shelf: Path) -> None:
    told = page.get("/api/jobs/hall/options")
    options = told["rooms"][0]["options"]
    other = next(item for item in options if item["mark"] != "chosen" and item["count"] > 1)
    body = {"room": "room1", "number": other["number"], "revision": told["revision"]}
    drawing = page.get(f"/api/jobs/hall/options/room1/{other['number']}/drawing")
    assert drawing.startswith("<svg")
    foretold = page.post("/api/jobs/hall/options/preview", body)
    page.post("/api/jobs/hall/options", body)
    job = open_job(shelf / "hall")
    option = job.design.rooms[0].options[other["number"]]
    assert option.mark == "chosen"
    assert len(job.design.speakers) == other["count"]
    placed = sorted((round(s.position[0], 3), round(s.position[1], 3)) for s in job.design.speakers)
    wanted = sorted((round(x, 3), round(y, 3)) for x, y in option.positions)
    assert placed == wanted
    assert "rooms" in foretold


def test_the_order_of_a_line_is_a_decision_of_a_hand(page: Page, shelf: Path) -> None:
    told = page.get("/api/jobs/hall/lines")
    line = told["lines"][0]
    keys = [node["key"] for node in line["nodes"] if node["kind"] == "speaker"]
    edit = {"kind": "order", "target": line["key"], "value": " ".join(reversed(keys))}
    page.post("/api/jobs/hall/edits", {"revision": told["revision"], "edits": [edit]})
    assert list(open_job(shelf / "hall").design.lines[0].speaker_keys) == keys[::-1]
    more = page.post(f"/api/jobs/hall/lines/{line['label']}/more", {"count": 4})
    assert more["count"] == 4
    assert more["load_w"] > more["load_before_w"]


def test_survey_changes_keep_comments_and_tell_all_problems(page: Page, shelf: Path) -> None:
    seen = page.get("/api/jobs/hall/survey")
    edits = [
        {"path": ["rooms", "room1", "brief", "evenness"], "op": "set", "value": "2.5 dB"},
        {"path": ["rooms", "room1", "label"], "op": "set", "value": "Board room"},
    ]
    page.post("/api/jobs/hall/survey", {"revision": seen["revision"], "edits": edits})
    text = (shelf / "hall" / "job.toml").read_text()
    assert "# A job with one room to begin with" in text
    assert open_job(shelf / "hall").survey.rooms[0].label == "Board room"
    assert page.get("/api/jobs/hall")["is_stale"]
    wrong = [
        {"path": ["rooms", "room1", "brief", "evenness"], "op": "set", "value": "two"},
        {"path": ["rooms", "room1", "brief", "colour"], "op": "set", "value": "red"},
    ]
    now = page.get("/api/jobs/hall/survey")["revision"]
    answer = page.send("POST", "/api/jobs/hall/survey", {"revision": now, "edits": wrong})
    assert answer.status_code == 400
    assert len(answer.json()["more"]) == 1
    assert (shelf / "hall" / "job.toml").read_text() == text
    old = page.send("POST", "/api/jobs/hall/survey", {"revision": seen["revision"], "edits": edits})
    assert old.status_code == 409


def _entry(key: str, text: str) -> dict[str, str]:
    return {"key": key, "text": text, "taken_at": "2026-03-01T10:00:00+00:00"}


def test_a_reading_that_is_sent_twice_is_kept_once(page: Page, shelf: Path) -> None:
    line = page.get("/api/jobs/hall/lines")["lines"][0]
    body = {"entries": [_entry("abcdef123456", f"{line['label']} whole {line['ohm']}")]}
    first = page.post("/api/jobs/hall/readings", body)
    assert first["kept"] == ["abcdef123456"]
    assert first["verdicts"][0]["status"] == "pass"
    second = page.post("/api/jobs/hall/readings", body)
    assert second["known"] == ["abcdef123456"]
    assert len(open_job(shelf / "hall").readings) == 1
    page.post("/api/jobs/hall/readings/abcdef123456/strike")
    assert len((shelf / "hall" / "readings.jsonl").read_text().splitlines()) == 2
    assert page.get("/api/jobs/hall/readings")["verdicts"] == []


def test_readings_without_sense_are_refused_together(page: Page, shelf: Path) -> None:
    entries = [_entry("abcdef123456", "gibberish"), _entry("x", "L1 whole 98")]
    answer = page.send("POST", "/api/jobs/hall/readings", {"entries": entries})
    assert answer.status_code == 400
    assert len(answer.json()["more"]) == 1
    assert not (shelf / "hall" / "readings.jsonl").exists()


def test_the_hunt_names_a_silent_loudspeaker(page: Page) -> None:
    line = page.get("/api/jobs/hall/lines")["lines"][0]
    labels = [node["label"] for node in line["nodes"] if node["kind"] == "speaker"]
    told = page.get(f"/api/jobs/hall/trace?line={line['label']}")
    assert told["next"]["steps"]
    silent = labels[len(labels) // 2]
    for number, label in enumerate(labels):
        word = "silent" if label == silent else "heard"
        entry = _entry(f"reading{number:05d}", f"{label} {word}")
        told = page.post("/api/jobs/hall/trace", {"line": line["label"], "entry": entry})
    assert told["suspects"][0]["place"] == silent
    told = page.post(
        "/api/jobs/hall/trace",
        {"line": line["label"], "entry": _entry("mended00001", f"mended {silent}")},
    )
    assert told["suspects"][0]["place"] != silent


def test_the_hunt_asks_about_odd_readings_as_the_command_does(page: Page, shelf: Path) -> None:
    from soffit.work.trace import book_of_job

    line = page.get("/api/jobs/hall/lines")["lines"][0]
    label, whole = line["label"], line["ohm"]
    odd = f"{label} whole {whole / 1e3:.4f} ohm"  # kilo-ohms written as ohms
    book = book_of_job(shelf / "hall", label)
    typed = book.typed(odd, now="2026-03-01T10:00:00+00:00")
    asked = book.doubts([typed], now="2026-03-01T10:01:00+00:00")
    body = {"line": label, "entry": _entry("oddreading1", odd)}
    told = page.post("/api/jobs/hall/trace", body)
    assert (
        [doubt["code"] for doubt in told["doubts"]] == [doubt.code for doubt in asked] == ["kilo"]
    )
    assert told["taken"] == []
    assert not (shelf / "hall" / "readings.jsonl").exists()
    told = page.post("/api/jobs/hall/trace", {**body, "is_sure": True})
    assert told["doubts"] == []
    assert [item["key"] for item in told["taken"]] == ["oddreading1"]
    again = page.post("/api/jobs/hall/trace", body)  # sent twice over a bad network
    assert again["doubts"] == []
    assert len(open_job(shelf / "hall").readings) == 1
    nowhere = {"line": label, "entry": _entry("oddreading2", "L9-99 out 100")}
    told = page.post("/api/jobs/hall/trace", {**nowhere, "is_sure": True})
    assert told["doubts"][0]["must_answer"]
    assert len(open_job(shelf / "hall").readings) == 1


def test_settings_of_one_line_do_not_share_readings(page: Page) -> None:
    def rows() -> dict[str, list[str]]:
        sheet = page.get("/api/jobs/hall/readings")["rows"]
        mine = [row for row in sheet if row["quantity"] == "setting" and row["place"] == label]
        return {row["setting"]: [item["measured"] for item in row["read"]] for row in mine}

    label = page.get("/api/jobs/hall/lines")["lines"][0]["label"]
    names = set(rows())
    assert {"test drive", "input level", "high-pass", "limiter", "equalisation"} <= names
    entries = [
        _entry("settings001", f'"{label}" set high-pass 85 Hz'),
        _entry("settings002", f'"{label}" set equalisation flat'),
    ]
    page.post("/api/jobs/hall/readings", {"entries": entries})
    found = {name: read for name, read in rows().items() if read}
    assert found == {"high-pass": ["high-pass 85Hz"], "equalisation": ["equalisation flat"]}


def test_a_search_is_told_how_hard_to_try_and_says_what_it_proved(page: Page) -> None:
    import json as plain

    body = {"rooms": ["room1"], "has_free": True, "has_all_offsets": True, "proof_s": 5.0}
    work = page.post("/api/jobs/hall/design", body, status=202)["work"]
    events = page.get(f"/api/works/{work}/events")
    assert "event: done" in events, events[-800:]
    steps = [plain.loads(line[6:]) for line in events.splitlines() if line.startswith("data: ")]
    assert [step["done"] for step in steps[:-1]] == sorted(step["done"] for step in steps[:-1])
    front = page.get("/api/jobs/hall/options")["rooms"][0]
    assert front["bound"]
    assert front["bound"] in page.get("/jobs/hall/choices?room=room1").replace(
        "&#39;", "'"
    ).replace("&#34;", '"')
    wrong = page.send("POST", "/api/jobs/hall/design", {"proof_s": 0.0})
    assert wrong.status_code == 422


def test_a_stopped_search_ends_with_its_solvers_and_changes_nothing(
    page: Page, shelf: Path
) -> None:
    import os

    before = (shelf / "hall" / "design.json").read_bytes()
    body = {"rooms": ["room1"], "has_free": True, "proof_s": 600.0}
    key = page.post("/api/jobs/hall/design", body, status=202)["work"]
    again = page.send("POST", "/api/jobs/hall/design", body)
    assert again.status_code == 400  # one search of a job at a time
    page.post(f"/api/works/{key}/stop")
    assert "event: stopped" in page.get(f"/api/works/{key}/events")
    assert (shelf / "hall" / "design.json").read_bytes() == before
    work = page.app.app.state.works.find(key)  # type: ignore[attr-defined] # the guard's application
    with pytest.raises(ProcessLookupError):
        os.killpg(work._process.pid, 0)


def test_every_call_of_the_scripts_is_described(page: Page) -> None:
    described = page.get("/api/openapi.json")["paths"]
    patterns = [re.sub(r"\{[^}]+\}", "X", path) for path in described]
    folder = Path(__file__).parents[2] / "src" / "soffit" / "web" / "static"
    called: set[tuple[str, str]] = set()
    for script in folder.glob("*.js"):
        text = script.read_text()
        for method, path in re.findall(r'ask\("(GET|POST|PUT)", [`"]([^`"]+)[`"]', text):
            called.add((method, path))
        for path in re.findall(r"(?:change|run)\(`([^`]+)`", text):
            called.add(("POST", path))
    assert len(called) > 15
    for method, path in sorted(called):
        full = path.replace("${here}", "/api/jobs/X").replace("${room}", "/api/jobs/X/rooms/X")
        full = full.replace("${path}/", "/api/plan-files/X/")
        full = re.sub(r"\$\{[^}]*\}", "X", full.split("?")[0])
        words = {"X/undo": "undo", "X/redo": "redo"}
        found = [p for p in patterns if _fits(p, full)]
        assert found, (method, path, full, words)


def _fits(pattern: str, path: str) -> bool:
    ours, theirs = pattern.split("/"), path.split("/")
    return len(ours) == len(theirs) and all(
        a == b or "X" in (a, b) for a, b in zip(ours, theirs, strict=True)
    )


def test_wrong_bodies_have_the_one_shape(page: Page) -> None:
    for body in ({}, {"revision": "x", "edits": []}, {"revision": 1, "edits": [{"kind": "burn"}]}):
        answer = page.send("POST", "/api/jobs/hall/edits", body)
        assert answer.status_code == 422
        assert set(answer.json()["error"]) == {"what", "where", "why", "do"}
    assert page.send("GET", "/api/jobs/nobody").status_code == 404
    assert page.send("GET", "/api/works/none/events").status_code == 404


def test_a_page_of_one_job_shows_that_job(made: Path, tmp_path: Path) -> None:
    folder = designed_job(tmp_path / "alone", keep=made)
    page = Page(folder)
    assert page.send("GET", "/").headers["location"] == "/jobs/alone/ceiling"
    assert page.send("POST", "/api/jobs", {"title": "x"}).status_code == 400


def test_a_room_is_cut_in_two_and_made_whole_again(page: Page, shelf: Path) -> None:
    whole = open_job(shelf / "hall").survey.rooms[0]
    seen = page.get("/api/jobs/hall/survey")["revision"]
    cut = {"room": "room1", "start": [5.0, 0.0], "end": [5.0, 1.0], "revision": seen}
    made = page.post("/api/jobs/hall/survey/split", cut)
    parts = open_job(shelf / "hall").survey.rooms
    assert sorted(round(_area(room.outline), 3) for room in parts) == [20.4, 30.0]
    body = {"first": "room1", "second": made["room"], "revision": made["revision"]}
    page.post("/api/jobs/hall/survey/merge", body)
    (again,) = open_job(shelf / "hall").survey.rooms
    assert _area(again.outline) == pytest.approx(_area(whole.outline))
    assert set(again.outline) == set(whole.outline)
    wrong = {**cut, "start": [50.0, 0.0], "end": [50.0, 1.0]}
    answer = page.send("POST", "/api/jobs/hall/survey/split", wrong)
    assert answer.status_code == 400


def _area(ring: tuple[tuple[float, float], ...]) -> float:
    pairs = zip(ring, (*ring[1:], ring[0]), strict=True)
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)) / 2


def test_a_plan_file_is_read_shown_and_kept(page: Page, shelf: Path) -> None:
    table = b"name,length,width,height,use,ceiling\nHall,12 m,9 m,3 m,lecture hall,grid\n"
    sent = page.send("POST", "/api/plan-files/upload?name=rooms.csv", content=table)
    assert sent.status_code == 201, sent.text
    plan = sent.json()
    assert [room["label"] for room in plan["rooms"]] == ["Hall"]
    assert "<svg" in page.get(f"/plan-files/{plan['key']}")
    wishes = {"height": "3.2 m", "ceiling": "open"}
    page.post(f"/api/plan-files/{plan['key']}/again", wishes)
    body = {"title": "From a list", "rooms": ["hall"]}
    made = page.post(f"/api/plan-files/{plan['key']}/keep", body, status=201)
    assert made["job"] == "from-a-list"
    assert open_job(shelf / "from-a-list").survey.rooms[0].label == "Hall"


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("evil.exe", b"MZ"),
        ("plan.dxf", b"\x00" * 2000),
        ("plan.ifc", b"ISO-10303-21;"),
        ("rooms.csv", b"\xff\xfe\x00"),
    ],
)
def test_files_that_are_no_plans_are_refused(page: Page, name: str, content: bytes) -> None:
    answer = page.send("POST", f"/api/plan-files/upload?name={name}", content=content)
    assert answer.status_code in {400, 422}, answer.text
    assert answer.json()["error"]["do"]
    assert "soffit-plans" not in answer.text  # the name as sent, not a path of the server
