"""``soffit prove --merge``: what the field page saved comes home once, whole, and as built."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from soffit.cli.main import run
from soffit.job.api import open_job, read_history, standing, undo, write_design
from soffit.model.catalogue import Tap
from soffit.model.speakers import TileRef
from soffit.work.demo import make_demo
from soffit.work.edit import HandEdit, edited_design

READING = {
    "kind": "reading", "place_key": "", "place": "", "quantity": "impedance", "value": None,
    "bound": "=", "word": "", "frequency_hz": 1000, "direction": "out", "drive": "",
    "instrument": "", "who": "Kim", "strikes": "", "note": "", "taken_at": "2026-01-02T10:00:00Z",
}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A demo job with a short chain of four in its hall, added by hand and wired by soffit."""
    made = make_demo("library", tmp_path / "job")
    job = open_job(made)
    kind = next(k for k in job.catalogue.speaker_types if k.kind == "ceiling")
    adds = [
        HandEdit(kind="add", target_key="hall", value=f"{kind.id} 3W {column},5")
        for column in (4, 7, 10, 13)
    ]
    design = replace(edited_design(job, adds), job_hash=job.job_hash)
    write_design(made, design, job.design.revision, date="2026-01-01")
    return made


def export(folder: Path, entries: list[dict], **more: object) -> Path:
    job = open_job(folder)
    for number, entry in enumerate(entries, 1):
        entry.setdefault("key", f"f0a-{number}")
        entry.setdefault("taken_at", f"2026-01-02T10:{number:02d}:00Z")
        entry.setdefault("revision", job.design.revision)
    body = {
        "format": "soffit field", "version": 1, "job": job.survey.site.name,
        "job_hash": job.job_hash[:12], "revision": job.design.revision, "device": "0a",
        "entries": entries, **more,
    }  # fmt: skip
    path = folder.parent / "field.json"
    path.write_text(json.dumps(body), encoding="utf-8")
    return path


def change(speaker, what: str, value: str, *, as_built: bool = True) -> dict:
    return {
        "kind": "change", "change": what, "target_key": speaker.key, "target": speaker.label,
        "room_key": speaker.room_key, "value": value, "effect": "Effect.", "as_built": as_built,
        "who": "Kim",
    }  # fmt: skip


def tick(speaker, what: str, *, done: bool = True) -> dict:
    return {"kind": "tick", "target_key": speaker.key, "target": speaker.label, "what": what,
            "done": done}  # fmt: skip


def merged(capsys, folder: Path, path: Path, *more: str) -> tuple[int, dict]:
    code = run(["prove", str(folder), "--merge", str(path), "--json", *more])
    return code, json.loads(capsys.readouterr().out)


def files(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes()
            for name in ("design.json", "readings.jsonl", "history.jsonl")}  # fmt: skip


def test_all_entries_come_home_and_a_second_merge_changes_nothing(folder, capsys):
    before = open_job(folder)
    line = before.design.lines[0]
    by_key = {speaker.key: speaker for speaker in before.design.speakers}
    first, second, third, last = (by_key[key] for key in line.speaker_keys)
    path = export(folder, [
        {**READING, "place_key": second.key, "place": second.label, "value": 1200.0},
        tick(first, "hung"), tick(second, "hung"), tick(second, "hung", done=False),
        tick(third, "tap"),
        change(first, "tap", "1.5 W"),
        change(second, "move", "one tile up on the plan"),
        change(third, "blocked", "a duct", as_built=False),
        change(last, "type", "round-5", as_built=False),
    ])  # fmt: skip
    code, body = merged(capsys, folder, path)
    assert code in {0, 1}
    assert (body["new"], body["known"]) == (9, 0)
    assert [text.split(":")[0] for text in body["as_built"]] == [first.label, second.label]
    assert [item["place"] for item in body["questions"]] == [third.label, last.label]
    after = open_job(folder)
    now = {speaker.key: speaker for speaker in after.design.speakers}
    assert now[first.key].tap.power_w == pytest.approx(1.5)
    assert now[first.key].fixed_tap
    assert now[first.key].state == "installed"
    tile = second.tile
    assert now[second.key].tile == TileRef(column=tile.column, row=tile.row + 1)
    assert now[second.key].state == "planned", "its tick was taken back after the move"
    # what hangs is not wired anew: same order, same cables, the two ends there one tile longer
    wired = after.design.lines[0]
    assert wired.speaker_keys == line.speaker_keys
    grown = [b.length_m - a.length_m for a, b in zip(line.runs, wired.runs, strict=True)]
    assert sorted(round(more, 3) for more in grown) == [
        0.0,
        0.0,
        0.61,
        0.61,
    ]  # 24 in, in centimetres
    words = [reading.word for reading in after.readings]
    assert "field page, blocked: a duct" in words
    assert "field page, not done: hung" in words
    assert "tap 1.5 W" in read_history(folder)[-1].what

    stood = files(folder)
    _, body = merged(capsys, folder, path)
    assert files(folder) == stood
    assert (body["new"], body["known"], body["as_built"]) == (0, 9, [])
    assert len(body["questions"]) == 2, "questions stand until the desk settles them"
    run(["prove", str(folder), "--strike", body["questions"][0]["key"]])
    capsys.readouterr()
    _, body = merged(capsys, folder, path)
    assert [item["place"] for item in body["questions"]] == [last.label]


def test_a_change_that_the_desk_undid_is_not_made_again(folder, capsys):
    speaker = open_job(folder).design.speakers[0]
    path = export(folder, [change(speaker, "tap", "1.5 W")])
    merged(capsys, folder, path)
    undo(folder)
    _, body = merged(capsys, folder, path)
    assert body["as_built"] == []
    assert open_job(folder).design.speakers[0].tap.power_w == pytest.approx(speaker.tap.power_w)


def test_neighbours_that_change_places_are_wired_so(folder, capsys):
    line = open_job(folder).design.lines[0]
    labels = {item.key: item.label for item in open_job(folder).design.speakers}
    by_key = {item.key: item for item in open_job(folder).design.speakers}
    first, second, third, last = line.speaker_keys
    path = export(folder, [change(by_key[third], "order", f"fed from {labels[first]}")])
    _, body = merged(capsys, folder, path)
    assert body["questions"] == []
    assert open_job(folder).design.lines[0].speaker_keys == (first, third, second, last)


@pytest.mark.parametrize(
    ("what", "value", "why"),
    [
        ("order", "fed from rack", "not fed from"),
        ("move", "one tile right on the plan", "is in that tile"),
        ("tap", "7 W", "transformer offers"),
    ],
)
def test_what_is_not_clear_becomes_a_question_and_changes_nothing(folder, capsys, what, value, why):
    job = open_job(folder)
    speaker, other = job.design.speakers[:2]
    spot = replace(other, tile=replace(speaker.tile, column=speaker.tile.column + 1))
    speakers = (speaker, spot, *job.design.speakers[2:])
    write_design(folder, replace(job.design, speakers=speakers), job.design.revision)
    before = (folder / "design.json").read_bytes()
    _, body = merged(capsys, folder, export(folder, [change(speaker, what, value)]))
    assert why in body["questions"][0]["why"]
    assert (folder / "design.json").read_bytes() == before
    assert len(open_job(folder).readings) == 1


def test_a_move_seen_against_an_older_design_is_asked_about(folder, capsys):
    job = open_job(folder)
    speaker = job.design.speakers[0]
    path = export(folder, [change(speaker, "move", "one tile up on the plan")])
    tap = Tap(power_w=6.0, voltage_v=speaker.tap.voltage_v)
    speakers = (replace(speaker, tap=tap), *job.design.speakers[1:])
    write_design(folder, replace(job.design, speakers=speakers), job.design.revision)
    _, body = merged(capsys, folder, path)
    assert "the desk has changed the design" in body["questions"][0]["why"]


def test_a_reading_entered_again_counts_once_and_odd_ones_are_kept_as_words(folder, capsys):
    speaker = open_job(folder).design.speakers[0]
    place = {"place_key": speaker.key, "place": speaker.label}
    path = export(folder, [
        {**READING, **place, "value": 12.0}, {**READING, **place, "value": 1250.0},
        {**READING, "place_key": "gone", "place": "L9-01", "value": 80.0},
    ])  # fmt: skip
    code, body = merged(capsys, folder, path)
    assert code == 2
    assert "entered again" in body["notes"][0]
    counted = [r for r in standing(open_job(folder).readings) if r.quantity == "impedance"]
    assert [r.value for r in counted] == [1250.0]
    (asked,) = [r for r in open_job(folder).readings if r.key.endswith("-asked")]
    assert json.loads(asked.note)["value"] == 80.0
    stood = files(folder)
    merged(capsys, folder, path)
    assert files(folder) == stood


def test_the_page_of_another_job_is_refused(folder, capsys):
    path = export(folder, [], job="Elsewhere")
    code, body = merged(capsys, folder, path)
    assert code == 2
    assert "Elsewhere" in body["error"]["why"]
    assert not (folder / "readings.jsonl").exists()
    assert merged(capsys, folder, path, "--sure")[0] == 0
