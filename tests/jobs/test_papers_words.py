"""What the papers say: the job's units, readings as taken, nothing said twice."""

from dataclasses import replace
from pathlib import Path

import pytest

from soffit.job.api import open_job
from soffit.papers.blocks import brief_table, rack_blocks
from soffit.papers.views import JobView
from soffit.work.make_papers import view_of_folder
from soffit.work.prove import add_readings, now_text, readings_from_texts
from soffit.work.view_rooms import in_job_units


@pytest.fixture(scope="module")
def view(library: Path) -> JobView:
    return view_of_folder(library)


def test_an_imperial_job_says_no_length_in_metres(view: JobView) -> None:
    texts = [*view.headline]
    for line in view.lines:
        texts += line.notes
    for room in view.rooms:
        texts += [note for note in room.notes if note.startswith("Computed")]
    assert [text for text in texts if text != in_job_units(text, imperial=True)] == []


def test_no_bracket_stands_in_a_bracket_of_its_own(view: JobView) -> None:
    texts = [note for room in view.rooms for note in room.notes]
    texts += [row.note for room in view.rooms for row in room.brief]
    assert [text for text in texts if "((" in text or "))" in text] == []


def test_what_nobody_asked_for_has_no_verdict(view: JobView) -> None:
    rows = [row for row in brief_table(view.rooms)["rows"] if str(row).find("comparison") > 0]
    assert rows
    assert all(row[3]["text"] == "" for row in rows)


def test_a_rack_named_rack_is_not_called_rack_rack(view: JobView) -> None:
    rack = replace(view.racks[0], label="Rack")
    assert "Rack Rack" not in str(rack_blocks([rack], imperial=True))
    assert "Rack R7:" in str(rack_blocks([replace(rack, label="R7")], imperial=True))


def test_the_hand_over_pack_shows_readings_with_their_verdict(library: Path, tmp_path) -> None:
    from shutil import copytree

    folder = copytree(library, tmp_path / "job")
    line = open_job(folder).design.lines[0]
    texts = [f"{line.label} whole 3", f"{line.label}-01 silent"]
    add_readings(folder, readings_from_texts(texts, now=now_text(), who="Kim"), is_sure=True)
    first, second = view_of_folder(folder).readings
    assert (first.value_text, first.who) == ("3 Ω", "Kim")
    assert first.verdict.startswith("fail")
    assert "whole line" in first.what
    assert second.value_text == "silent"
