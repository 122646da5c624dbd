"""Writing a job: revisions, undo, readings, repair, two writers."""

import dataclasses
import json
import threading
from pathlib import Path

import pytest

from soffit.errors import JobError, StaleError
from soffit.job.api import (
    append_readings,
    create_job,
    design_text,
    edit_survey,
    job_to_toml,
    open_job,
    parse_design,
    read_history,
    redo,
    replace_survey_text,
    standing,
    template_text,
    undo,
    write_design,
)
from soffit.job.files import LOCK_FILE, is_left_over, locked, mend_tail
from soffit.job.history import announce, conclude
from soffit.job.patch import apply, difference, reversed_hunks
from soffit.job.repair import repair
from soffit.model.catalogue import Tap
from soffit.model.decisions import Design
from soffit.model.readings import Reading
from soffit.model.speakers import Speaker
from soffit_job_texts import SMALL, changed, library_text


def speaker(number: int) -> Speaker:
    return Speaker(
        key=f"s{number}",
        label=f"L1-{number:02}",
        room_key="hall",
        ceiling_key="grid",
        type_id="ceiling-4",
        position=(number / 3, 2.0),
        mount_height_m=3,
        tap=Tap(power_w=6, voltage_v=100.0),
    )


def reading(key: str, **more: object) -> Reading:
    plain = Reading(
        key=key, place_key="L1", place="L1", quantity="impedance", value=51.6, taken_at="2030-01-01"
    )
    return dataclasses.replace(plain, **more)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    create_job(tmp_path / "job", SMALL, who="Ann")
    return tmp_path / "job"


def test_a_new_job_has_its_folders_and_a_first_revision(folder: Path):
    job = open_job(folder)
    assert job.job_revision == 1
    assert (folder / "plans").is_dir()
    assert (folder / "papers").is_dir()
    assert job.design == Design()


def test_the_template_is_a_job(tmp_path: Path):
    assert create_job(tmp_path / "new").survey.rooms[0].key == "room1"
    assert template_text("one_room").startswith("#")


def test_a_new_job_does_not_overwrite(folder: Path, tmp_path: Path):
    with pytest.raises(JobError, match="already"):
        create_job(folder, SMALL)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter.txt").write_text("dear", encoding="utf-8")
    with pytest.raises(JobError, match="not empty"):
        create_job(tmp_path / "full", SMALL)
    create_job(tmp_path / "full", SMALL, force=True)
    assert (tmp_path / "full" / "letter.txt").read_text(encoding="utf-8") == "dear"


def test_forcing_the_same_job_changes_nothing_and_another_can_be_undone(folder: Path):
    write_design(folder, Design(speakers=(speaker(1),)), 0)
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    create_job(folder, SMALL, force=True)
    assert {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()} == before
    create_job(folder, changed(SMALL, '"Test"', '"Other"'), force=True)
    assert open_job(folder).design.speakers == ()
    undo(folder)
    job = open_job(folder)
    assert (job.survey.site.name, len(job.design.speakers)) == ("Test", 1)


def test_bad_text_makes_no_folder(tmp_path: Path):
    with pytest.raises(JobError):
        create_job(tmp_path / "job", "format = 1")
    assert not (tmp_path / "job").exists()


def test_a_design_is_read_as_it_was_written(folder: Path):
    design = Design(speakers=(speaker(10), speaker(2)), made_with=(("b", "1"), ("a", "2")))
    written = write_design(folder, design, 0, who="Ann", date="2030-01-02")
    assert written == open_job(folder).design
    assert [item.key for item in written.speakers] == ["s2", "s10"]
    assert written.date == "2030-01-02"
    assert written.speakers[1].position[0] == pytest.approx(10 / 3, abs=1e-9)


def test_the_same_design_is_the_same_bytes_and_is_not_written_twice(folder: Path):
    first = write_design(folder, Design(speakers=(speaker(1), speaker(2))), 0)
    before = (folder / "design.json").read_bytes()
    history = (folder / "history.jsonl").read_bytes()
    again = write_design(folder, Design(speakers=(speaker(2), speaker(1))), first.revision)
    assert again.revision == 1
    assert (folder / "design.json").read_bytes() == before
    assert (folder / "history.jsonl").read_bytes() == history
    assert design_text(parse_design(before.decode())) == before.decode()


def test_the_second_writer_is_told_who_was_first(folder: Path):
    write_design(folder, Design(speakers=(speaker(1),)), 0, who="Ann", what="placed one")
    with pytest.raises(StaleError) as caught:
        write_design(folder, Design(), 0, who="Bob")
    assert "Ann" in caught.value.problems[0].why
    assert "placed one" in caught.value.problems[0].why
    edit_survey(folder, [("rooms.hall.use", "office")], 1, who="Cy")
    with pytest.raises(StaleError, match="changed since you read it"):
        edit_survey(folder, [("rooms.hall.use", "shop")], 1)


def test_of_many_writers_at_once_exactly_one_wins(folder: Path):
    outcome: list[str] = []

    def write(number: int) -> None:
        try:
            write_design(folder, Design(speakers=(speaker(number),)), 0, who=f"w{number}")
            outcome.append("written")
        except StaleError:
            outcome.append("stale")

    threads = [threading.Thread(target=write, args=(number,)) for number in range(1, 9)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcome) == ["stale"] * 7 + ["written"]
    assert open_job(folder).design.revision == 1


def test_undo_and_redo_walk_through_both_files_and_revisions_only_rise(folder: Path):
    edit_survey(folder, [("rooms.hall.use", "office")], 1, what="use")
    write_design(folder, Design(speakers=(speaker(1),)), 0, what="place")
    assert undo(folder).what == "place"
    assert undo(folder).what == "use"
    job = open_job(folder)
    assert (job.survey.room("hall").use, job.design.speakers) == ("classroom", ())
    assert (job.job_revision, job.design.revision) == (3, 2)
    with pytest.raises(JobError, match="nothing to undo"):
        undo(folder)
    redo(folder)
    redo(folder)
    job = open_job(folder)
    assert (job.survey.room("hall").use, len(job.design.speakers)) == ("office", 1)
    with pytest.raises(JobError, match="nothing to redo"):
        redo(folder)
    undo(folder)
    write_design(folder, Design(speakers=(speaker(2),)), open_job(folder).design.revision)
    with pytest.raises(JobError, match="nothing to redo"):
        redo(folder)


def test_undo_stops_at_a_change_made_by_an_editor(folder: Path):
    edit_survey(folder, [("rooms.hall.use", "office")], 1)
    path = folder / "job.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("height = 3.0", "height = 3.2"))
    with pytest.raises(JobError, match="outside"):
        undo(folder)
    assert open_job(folder).survey.room("hall").ceilings[0].height_m == 3.2
    assert [entry.kind for entry in read_history(folder)] == ["created", "edit", "outside"]


def test_an_edit_keeps_what_an_editor_changed(folder: Path):
    path = folder / "job.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("height = 3.0", "height = 3.2"))
    edit_survey(folder, [("rooms.hall.use", "office")], 1)
    text = path.read_text(encoding="utf-8")
    assert "height = 3.2" in text
    assert "# the only room" in text


def test_a_bad_edit_writes_nothing(folder: Path):
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    with pytest.raises(JobError):
        edit_survey(folder, [("rooms.hall.ceilings[0].height", -1)], 1)
    with pytest.raises(JobError):
        replace_survey_text(folder, SMALL.replace("12", "-12"), 1)
    assert {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()} == before


def test_the_whole_text_can_be_replaced(folder: Path):
    assert replace_survey_text(folder, SMALL, 1) == 1
    assert replace_survey_text(folder, changed(SMALL, "height = 3.0", "height = 4"), 1) == 2
    assert undo(folder).kind == "edit"


def test_readings_are_appended_once_and_struck_out_not_lost(folder: Path):
    assert len(append_readings(folder, [reading("a"), reading("b"), reading("a")])) == 2
    assert append_readings(folder, [reading("a", value=1.0)]) == ()
    append_readings(folder, [reading("c", strikes="a", value=None)])
    found = open_job(folder).readings
    assert [item.key for item in found] == ["a", "b", "c"]
    assert [item.key for item in standing(found)] == ["b"]
    assert found[0].value == 51.6
    with pytest.raises(JobError, match="strike"):
        append_readings(folder, [reading("d", strikes="zz")])


def test_a_reading_that_cannot_be_read_again_is_not_written(folder: Path):
    with pytest.raises(JobError):
        append_readings(folder, [reading("a", quantity="smell")])
    with pytest.raises((JobError, ValueError)):
        append_readings(folder, [reading("a", value=float("nan"))])
    assert open_job(folder).readings == ()


def test_a_torn_last_line_is_cut_off_and_a_whole_one_kept(tmp_path: Path):
    path = tmp_path / "x.jsonl"
    path.write_bytes(b'{"a": 1}\n{"b": ')
    assert mend_tail(path)
    assert path.read_bytes() == b'{"a": 1}\n'
    path.write_bytes(b'{"a": 1}\n{"b": 2}')
    assert mend_tail(path)
    assert path.read_bytes() == b'{"a": 1}\n{"b": 2}\n'
    assert not mend_tail(path)


def test_a_write_announced_but_not_begun_is_dropped(folder: Path):
    (entry,) = read_history(folder)
    change = dataclasses.replace(entry.files[0], before=entry.files[0].after, after="x" * 16)
    announce(folder, dataclasses.replace(entry, number=2, kind="edit", files=(change,)))
    before = (folder / "job.toml").read_bytes()
    open_job(folder)
    assert (folder / "job.toml").read_bytes() == before
    assert read_history(folder)[-1].state == "dropped"


def test_a_crash_between_two_files_is_rolled_forward(folder: Path):
    write_design(folder, Design(speakers=(speaker(1),)), 0)
    old = (folder / "design.json").read_bytes()
    create_job(folder, changed(SMALL, '"Test"', '"Other"'), force=True)
    new = (folder / "design.json").read_bytes()
    history = folder / "history.jsonl"
    lines = history.read_bytes().splitlines(keepends=True)
    history.write_bytes(b"".join(lines[:-1]))  # the write was not concluded
    (folder / "design.json").write_bytes(old)  # and the second file not replaced
    (folder / ".soffit-design.json.1.tmp").write_bytes(b"half")
    job = open_job(folder)
    assert job.design.speakers == ()
    assert (folder / "design.json").read_bytes() == new
    assert read_history(folder)[-1].state == "done"
    assert not list(folder.glob("*.tmp"))
    assert not list(folder.glob(".soffit-*.tmp"))
    with locked(folder):
        assert not repair(folder)


def test_a_file_changed_since_the_crash_is_left_alone(folder: Path):
    write_design(folder, Design(speakers=(speaker(1),)), 0)
    create_job(folder, changed(SMALL, '"Test"', '"Other"'), force=True)
    history = folder / "history.jsonl"
    history.write_bytes(b"".join(history.read_bytes().splitlines(keepends=True)[:-1]))
    mine = design_text(Design(revision=7, speakers=(speaker(3),)))
    (folder / "design.json").write_text(mine, encoding="utf-8")
    assert open_job(folder).design.speakers[0].key == "s3"


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("", "design.json:1  column 1"),
        ("{", "design.json:1  column 2"),
        ("[]", "design.json"),
        ("[" * 100_000, "design.json"),
        ('{"format": 2}', "design.json  format"),
        ('{"format": 1, "speakers": [{"key": 1}]}', "design.json  speakers[0].key"),
        ('{"format": 1, "speakrs": []}', "design.json  speakrs"),
        ('{"format": 1, "revision": 1e999}', "design.json  revision"),
        ('{"format": 1, "rooms": [{"room_key": "a"}]}', "design.json  rooms[0]"),
    ],
)
def test_errors_of_a_design_carry_the_key_path(folder: Path, text: str, path: str):
    (folder / "design.json").write_text(text, encoding="utf-8")
    with pytest.raises(JobError) as caught:
        open_job(folder)
    assert path in [problem.where for problem in caught.value.problems]


def test_references_of_a_design_are_checked():
    text = design_text(Design(speakers=(dataclasses.replace(speaker(1), line_key="L9"),)))
    with pytest.raises(JobError) as caught:
        parse_design(text)
    assert caught.value.problems[0].where == "design.json  speakers[0].line_key"
    with pytest.raises(JobError, match="twice"):
        parse_design(design_text(Design(speakers=(speaker(1), speaker(1)))))


def test_errors_of_all_files_come_together(folder: Path):
    (folder / "design.json").write_text("{", encoding="utf-8")
    (folder / "readings.jsonl").write_text('{"key": 3}\nx\n', encoding="utf-8")
    path = folder / "job.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("height", "hight"), encoding="utf-8")
    with pytest.raises(JobError) as caught:
        open_job(folder)
    files = {problem.where.split(":")[0] for problem in caught.value.problems}
    assert files == {"job.toml", "design.json", "readings.jsonl"}


def test_a_folder_that_is_no_job_is_an_error(tmp_path: Path):
    for place in (tmp_path, tmp_path / "nothing", Path(__file__)):
        with pytest.raises(JobError):
            open_job(place)


def test_a_broken_history_is_an_error_not_a_traceback(folder: Path):
    (folder / "history.jsonl").write_text('{"number": "x"}\n', encoding="utf-8")
    with pytest.raises(JobError, match="history"):
        open_job(folder)


def test_a_history_from_strangers_cannot_write_elsewhere(folder: Path, tmp_path: Path):
    (entry,) = read_history(folder)
    change = dataclasses.replace(entry.files[0], name="../evil.txt")
    announce(folder, dataclasses.replace(entry, number=2, files=(change,)))
    with pytest.raises(JobError, match="history"):
        open_job(folder)
    assert not (tmp_path / "evil.txt").exists()


def test_files_that_are_too_large_are_not_read(tmp_path: Path):
    (tmp_path / "job.toml").write_bytes(b"#" * 8_000_001)
    with pytest.raises(JobError, match="MB large"):
        open_job(tmp_path)


def test_a_hand_made_job_opens_without_writing(tmp_path: Path):
    (tmp_path / "job.toml").write_text(SMALL, encoding="utf-8")
    open_job(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["job.toml"]
    edit_survey(tmp_path, [("rooms.hall.use", "office")], 1)
    assert open_job(tmp_path).job_revision == 2


def test_windows_line_ends_and_byte_order_mark_are_read(tmp_path: Path):
    data = b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode()
    (tmp_path / "job.toml").write_bytes(data)
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "job.toml").write_text(SMALL, encoding="utf-8")
    assert open_job(tmp_path).job_hash == open_job(tmp_path / "b").job_hash


def test_a_jobs_own_catalogue_counts_in_the_hash(folder: Path):
    before = open_job(folder).job_hash
    text = '[cable_types.own]\nname = "Own"\ngauge = "16 AWG"\nconductor = "stranded"\n'
    (folder / "catalogue.toml").write_text(text, encoding="utf-8")
    job = open_job(folder)
    assert job.job_hash != before
    assert job.catalogue.cable("own").gauge == "16"


def test_a_lock_that_is_held_is_an_error_after_a_while(folder: Path):
    with (
        locked(folder),
        pytest.raises(JobError, match="being written"),
        locked(folder, wait_s=0.05),
    ):
        pass
    with locked(folder):
        assert (folder / LOCK_FILE).exists()


def test_a_lock_file_is_left_over_when_its_process_is_gone(tmp_path: Path):
    import os
    import socket

    path = tmp_path / "owner"
    path.write_text(f"{os.getpid()} {socket.gethostname()}", encoding="utf-8")
    assert not is_left_over(path)
    path.write_text(f"{2**22 + 1} {socket.gethostname()}", encoding="utf-8")
    assert is_left_over(path)
    path.write_text("1 elsewhere", encoding="utf-8")
    assert not is_left_over(path)
    os.utime(path, (0, 0))
    assert is_left_over(path)


def test_where_the_file_system_has_no_locks_an_owner_file_does_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch
):
    import fcntl

    def no_locks(number: int, operation: int) -> None:
        raise OSError(38, "Function not implemented")

    monkeypatch.setattr(fcntl, "flock", no_locks)
    with locked(folder):
        assert (folder / f"{LOCK_FILE}.owner").exists()
        with pytest.raises(JobError, match="being written"), locked(folder, wait_s=0.05):
            pass
    assert not (folder / f"{LOCK_FILE}.owner").exists()


def test_history_says_who_and_when(folder: Path):
    edit_survey(folder, [("rooms.hall.use", "office")], 1, who="Bob")
    first, second = read_history(folder)
    assert (first.who, second.who) == ("Ann", "Bob")
    assert second.what == "set rooms.hall.use"
    assert second.at.endswith("+00:00")
    assert second.files[0].revision == 2
    conclude(folder, 2, "done")
    assert read_history(folder)[-1].state == "done"


def test_differences_go_both_ways():
    old, new = "a\nb\nc\nd", "a\nB\nc\nd\ne\n"
    hunks = difference(old, new)
    assert apply(old, hunks) == new
    assert apply(new, reversed_hunks(hunks)) == old
    assert apply("x\ny", hunks) is None
    assert difference(old, old) == ()
    many = "\n".join(str(number) for number in range(2000))
    assert apply(many, difference(many, many.replace("1", "x"))) == many.replace("1", "x")


def test_tables_of_another_reader_become_a_job(tmp_path: Path):
    text = job_to_toml(
        {
            "rooms": {"a": {"corner": (0, 0), "size": [5.0000000001, 4], "use": None}},
            "site": {"name": 'x "y"'},
            "placed": [],
        },
        comment="Made from a list.",
    )
    assert text.startswith("# Made from a list.\nformat = 1\n")
    job = create_job(tmp_path / "job", text)
    assert job.survey.site.name == 'x "y"'
    assert job.survey.room("a").outline[2] == (5.0, 4.0)


def test_json_lines_hold_no_defaults(folder: Path):
    append_readings(folder, [reading("a")])
    raw = json.loads((folder / "readings.jsonl").read_text(encoding="utf-8"))
    assert set(raw) == {"key", "place_key", "place", "quantity", "value", "taken_at"}


def test_the_library_job_can_be_written_and_undone(tmp_path: Path):
    job = create_job(tmp_path / "job", library_text())
    edit_survey(tmp_path / "job", [("rooms.cafe.ceilings[0].height", "9 ft")], 1)
    undo(tmp_path / "job")
    assert open_job(tmp_path / "job").job_hash == job.job_hash
