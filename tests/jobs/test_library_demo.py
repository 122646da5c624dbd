"""The invented library from survey to papers, as a stranger runs it, twice."""

import json
import re
from pathlib import Path

from click.testing import CliRunner

from soffit.cli.main import root, run
from soffit.work.demo import make_demo
from soffit.work.make_design import make_design
from soffit.work.make_papers import make_papers
from soffit.work.run_checks import run_checks


def test_every_room_meets_its_brief_for_level_and_evenness(library: Path) -> None:
    report = make_design(library, is_kept=False)
    assert {room.key for room in report.rooms} == {"hall", "cafe", "meeting", "story", "workroom"}
    for room in report.rooms:
        assert room.count > 0, room.label
        verdicts = {row.what: row.verdict for row in room.brief}
        assert "missed" not in verdicts.values(), (room.label, verdicts)


def test_designing_again_changes_nothing(library: Path) -> None:
    before = (library / "design.json").read_bytes()
    report = make_design(library)
    assert not report.is_changed
    assert (library / "design.json").read_bytes() == before


def test_a_fresh_copy_gives_the_same_design_and_papers(library: Path, tmp_path: Path) -> None:
    copy = tmp_path / "again"
    make_demo("library", copy)
    make_design(copy)
    one = json.loads((library / "design.json").read_text(encoding="utf-8"))
    two = json.loads((copy / "design.json").read_text(encoding="utf-8"))
    assert one == two
    extras = ("drawings", "template", "labels", "xlsx", "csv", "dxf", "field")
    first = make_papers(library, extras=extras, out=tmp_path / "one")
    second = make_papers(copy, extras=extras, out=tmp_path / "two")
    assert [path.name for path in first.files] == [path.name for path in second.files]
    for left, right in zip(first.files, second.files, strict=True):
        assert left.read_bytes() == right.read_bytes(), left.name


def test_the_demo_raises_no_stop(library: Path) -> None:
    report = run_checks(library)
    stops = [item.text() for item in report.findings if item.severity == "stop"]
    assert not stops


def test_the_subwoofer_put_by_hand_stays_where_it_was_put(library: Path) -> None:
    design = json.loads((library / "design.json").read_text(encoding="utf-8"))
    (sub,) = [item for item in design["speakers"] if item["type_id"] == "ceiling-sub"]
    assert sub["fixed_place"] is True
    assert sub["room_key"] == "story"


def test_every_speaker_stands_on_one_plan_with_its_tap(library: Path, tmp_path: Path) -> None:
    printed = make_papers(library, out=tmp_path / "papers")
    design = json.loads((library / "design.json").read_text(encoding="utf-8"))
    plans = {
        path: path.read_text(encoding="utf-8")
        for path in printed.files
        if path.name.startswith("plan-")
    }
    for speaker in design["speakers"]:
        label = speaker["label"]
        pages = [path.name for path, text in plans.items() if re.search(rf">{label}<", text)]
        assert pages == [f"plan-{speaker['room_key']}.svg"], label


def test_the_commands_say_the_same_as_the_use_cases(library: Path) -> None:
    result = CliRunner().invoke(root, ["check", str(library), "--json"])
    body = json.loads(result.output)
    assert body["revision"] == run_checks(library).revision
    assert run(["check", str(library)]) == 0
