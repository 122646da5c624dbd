"""Whatever is done to the files of a job, reading gives a job or a four-part error."""

import random
import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.errors import JobError
from soffit.job.api import (
    create_job,
    design_text,
    edit_survey,
    load_demo_catalogue,
    open_job,
    parse_catalogue,
    parse_design,
    parse_job,
    parse_readings,
    undo,
    write_design,
)
from soffit.job.toml_text import decode_text
from soffit.model.decisions import Design
from soffit_job_texts import SMALL, library_text

LIBRARY = library_text()
PIECES = [
    "[",
    "]",
    "[[",
    "]]",
    "=",
    '"',
    "'",
    "\n",
    "#",
    "{",
    "}",
    ",",
    ".",
    "-",
    "1e999",
    "nan",
    "true",
    "\\",
    "\u0000",
    "9 ft",
    "é",
    "rooms",
    "inf",
    '"""',
    "\t",
    "99999999999999999999",
]


def is_read(text: str) -> None:
    try:
        parse_job(text, load_demo_catalogue())
    except JobError as error:
        for problem in error.problems:
            assert all((problem.what, problem.where, problem.why, problem.do))


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 6), st.sampled_from([SMALL, LIBRARY]))
def test_a_text_with_damaged_places(seed: int, count: int, text: str):
    rng = random.Random(seed)
    for _ in range(count):
        start = rng.randrange(len(text))
        end = min(len(text), start + rng.choice([0, 1, 2, 20]))
        text = text[:start] + rng.choice(PIECES) + text[end:]
    is_read(text)


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=200))
def test_bytes_of_any_kind(data: bytes):
    try:
        text = decode_text("job.toml", data)
    except JobError:
        return
    is_read(text)


WILD: st.SearchStrategy[Any] = st.recursive(
    st.integers(-(10**6), 10**6)
    | st.floats()
    | st.booleans()
    | st.text(max_size=6)
    | st.sampled_from(["9 ft", "-1 m", "70.7 V", "1/0 in", "hall", "grid", 10**30, -1, 1e308])
    | st.datetimes(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["key", "at", "size", "corner", "x"]), inner, max_size=3)
    ),
    max_leaves=6,
)


def _spots(tree: Any) -> list[tuple[Any, Any]]:
    found: list[tuple[Any, Any]] = []
    items = tree.items() if isinstance(tree, dict) else enumerate(tree)
    for key, value in items:
        found.append((tree, key))
        if isinstance(value, dict | list):
            found += _spots(value)
    return found


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_any_value_at_any_place(data: st.DataObject):
    tree = tomllib.loads(data.draw(st.sampled_from([SMALL, LIBRARY])))
    spots = _spots(tree)
    for _ in range(data.draw(st.integers(1, 3))):
        parent, key = spots[data.draw(st.integers(0, len(spots) - 1))]
        parent[key] = data.draw(WILD)
    is_read(tomlkit.dumps(tree))


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_any_value_at_any_place_of_a_catalogue(data: st.DataObject):
    from importlib import resources

    file = resources.files("soffit.tables") / "catalogue" / "demo.toml"
    tree = tomllib.loads(file.read_text(encoding="utf-8"))
    kept = {"speaker_types": ["ceiling-4", "ceiling-sub"], "cable_types": ["awg18-plenum"]}
    small = {name: {key: tree[name][key] for key in keys} for name, keys in kept.items()}
    spots = _spots(small)
    parent, key = spots[data.draw(st.integers(0, len(spots) - 1))]
    parent[key] = data.draw(WILD)
    try:
        parse_catalogue(tomlkit.dumps(small))
    except JobError as error:
        for problem in error.problems:
            assert all((problem.what, problem.where, problem.why, problem.do))


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=60), st.integers(0, 200))
def test_damaged_designs_and_readings(piece: str, at: int):
    text = design_text(Design(revision=3, job_hash="abc"))
    for read, damaged in (
        (parse_design, text[:at] + piece + text[at:]),
        (parse_design, piece),
        (parse_readings, piece),
        (parse_readings, '{"key": "a"}\n' + piece),
    ):
        try:
            read(damaged)
        except JobError as error:
            for problem in error.problems:
                assert all((problem.what, problem.where, problem.why, problem.do))


def test_a_folder_with_damaged_files_opens_edits_and_undoes_or_says_why(tmp_path: Path):
    folder = tmp_path / "job"
    create_job(folder, SMALL)
    write_design(folder, Design(job_hash="abc"), 0)
    edit_survey(folder, [("site.note", "x")], 1)
    names = ("job.toml", "design.json", "history.jsonl")
    whole = {name: (folder / name).read_bytes() for name in names}
    pieces = [b'"', b"{", b"[", b"null", b"1e999", b"-", b"\n", b",", b"'", b"\xff"]
    rng = random.Random(7)
    for _ in range(150):
        for name in names:
            (folder / name).write_bytes(whole[name])
        name = rng.choice(names)
        data = bytearray(whole[name])
        for _ in range(rng.randrange(1, 4)):
            at = rng.randrange(len(data))
            data[at : at + rng.choice([0, 0, 1, 5, 50])] = rng.choice(pieces)
        (folder / name).write_bytes(bytes(data))
        for act in (open_job, undo, lambda job: edit_survey(job, [("site.note", "y")], 2)):
            try:
                act(folder)
            except JobError as error:
                for problem in error.problems:
                    assert all((problem.what, problem.where, problem.why, problem.do))
