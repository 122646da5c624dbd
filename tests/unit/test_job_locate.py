"""The locator finds every key path of any TOML that parses."""

import tomllib
from typing import Any

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.job.locate import Locator, header_lines, line_numbers, parse_path, path_text
from soffit_job_texts import library_text

TRICKY = '''\
# comment with [brackets] and = signs
a.b."c d" = 1
"quoted.key" = "x # no comment" # comment
multi = """
[not.a.table]
x = 1 \\""" still inside
"""
raw = \'\'\'
[[no]]
\'\'\'\'
list = [ # comment ]
  1, [2, "]"],
  { x = 1, y = { z = [3] } },
]
[t]
k = 1979-05-27T07:32:00Z
[[t.items]]
v = 1
[t.items.sub]
w = 2
[[t.items]]
v = 3
  [ "spaced" . key ]
u = 0x1F
'''


def paths(tree: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    items = (
        list(tree.items())
        if isinstance(tree, dict)
        else list(enumerate(tree))
        if isinstance(tree, list)
        else []
    )
    found = [(*path, key) for key, _ in items]
    for key, value in items:
        found += paths(value, (*path, key))
    return found


@pytest.mark.parametrize("text", [TRICKY, library_text()])
def test_every_path_has_a_line(text: str):
    lines = line_numbers(text)
    assert set(paths(tomllib.loads(text))) <= set(lines)
    assert all(1 <= line <= text.count("\n") + 1 for line in lines.values())


def test_lines_are_those_of_the_text():
    rows = TRICKY.split("\n")
    lines = line_numbers(TRICKY)
    for path, start in (
        (("a", "b", "c d"), "a.b"),
        (("list",), "list"),
        (("list", 1, 1), "  1, [2"),
        (("list", 2, "y", "z", 0), "  { x"),
        (("t", "items", 1, "v"), "v = 3"),
        (("t", "items", 0, "sub", "w"), "w = 2"),
        (("spaced", "key", "u"), "u ="),
    ):
        assert rows[lines[path] - 1].startswith(start), path


def test_a_missing_key_takes_the_line_of_its_table():
    assert Locator("f", TRICKY).where(("t", "items", 1, "zz")) == "f:21  t.items[1].zz"
    assert Locator("f").where(("a", 0)) == "f  a[0]"


@pytest.mark.parametrize("text", ["a", "a.b[0].c", "rooms.hall.ceilings[12].grid.pitch[1]"])
def test_paths_are_written_as_they_are_read(text: str):
    assert path_text(parse_path(text)) == text


def test_headers_come_in_order():
    assert [path for _, path in header_lines(TRICKY)] == [
        ("t",),
        ("t", "items", 0),
        ("t", "items", 0, "sub"),
        ("t", "items", 1),
        ("spaced", "key"),
    ]


KEYS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=6)
VALUES = st.recursive(
    st.integers(-9, 9)
    | st.booleans()
    | st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=12,
)


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(KEYS, VALUES, max_size=4))
def test_every_path_of_a_generated_text_has_a_line(tree: dict[str, Any]):
    text = tomlkit.dumps(tree)
    try:
        parsed = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return  # the writer under test is another project's
    assert set(paths(parsed)) <= set(line_numbers(text))


@settings(max_examples=300, deadline=None)
@given(st.text("ab[]{}=\"'.,#\n -", max_size=30), st.integers(0, len(TRICKY)))
def test_the_scanner_ends_on_texts_that_are_no_toml(piece: str, at: int):
    for text in (piece, TRICKY[:at] + piece + TRICKY[at:]):
        assert all(line >= 1 for line in line_numbers(text).values())
