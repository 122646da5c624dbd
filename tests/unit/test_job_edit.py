"""Edits of job.toml: what they mean, and that nothing else changes."""

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soffit.errors import JobError
from soffit.job.blocks import split
from soffit.job.edit import Edit, edited_text
from soffit.job.locate import Locator
from soffit.job.tree_edit import apply_edit
from soffit_job_texts import SMALL, library_text

LIBRARY = library_text()


def lines_changed(old: str, new: str) -> tuple[list[str], list[str]]:
    before, after = old.splitlines(), new.splitlines()
    return [x for x in before if x not in after], [x for x in after if x not in before]


def test_blocks_joined_give_the_text_again():
    for text in (SMALL, LIBRARY):
        assert "".join(block.head + block.body for block in split(text)) == text


@pytest.mark.parametrize(
    ("edit", "gone", "come"),
    [
        (
            Edit(path="rooms.cafe.ceilings[0].height", value="9 ft"),
            ['height = "9 ft 6 in"'],
            [],
        ),
        (Edit(path="rooms.workroom.locked", value=True), [], ["locked = true"]),
        (Edit(path="limits.line_loss_stop_db", value=0.8), [], ["line_loss_stop_db = 0.8"]),
        (
            Edit(path="rooms.hall.ceilings[0].slope", value={"ratio": "8 %", "at": [0, 0]}),
            [],
            ['slope = {ratio = "8 %", at = [0, 0]}'],
        ),
        (Edit(path="zones.paging.priority", op="remove"), ["priority = 0"], []),
        (
            Edit(path="rooms.new", value={"corner": [90, 0], "size": [5, 4]}),
            [],
            ["[rooms.new]", "corner = [90, 0]", "size = [5, 4]"],
        ),
    ],
)
def test_an_edit_changes_only_its_own_lines(edit: Edit, gone: list[str], come: list[str]):
    new = edited_text(LIBRARY, [edit])
    lost, added = lines_changed(LIBRARY, new)
    assert lost == gone
    assert added == come
    kept = [line for line in LIBRARY.splitlines() if line.startswith("#")]
    assert [line for line in new.splitlines() if line.startswith("#")] == kept


def test_items_are_appended_set_and_removed():
    text = edited_text(
        LIBRARY,
        [
            Edit(path="placed", op="append", value={"key": "s2", "at": [3, 3]}),
            Edit(path="placed[0]", op="remove"),
            Edit(path="placed[0].tap", value="6 W"),
            Edit(path="equipment.cable_types", op="append", value="x"),
            Edit(path="rooms.meeting.obstacles[0]", value={"kind": "fan"}),
            Edit(path="accepted", op="append", value={"code": "LINE-03"}),
            Edit(path="rooms.hall.wall_names[1]", value="glass wall"),
        ],
    )
    tree = tomllib.loads(text)
    assert tree["placed"] == [{"key": "s2", "at": [3, 3], "tap": "6 W"}]
    assert tree["equipment"]["cable_types"][-1] == "x"
    assert tree["rooms"]["meeting"]["obstacles"][0] == {"kind": "fan"}
    assert tree["accepted"] == [{"code": "LINE-03"}]
    assert tree["rooms"]["hall"]["wall_names"][1] == "glass wall"


def test_the_last_item_takes_its_list_with_it():
    tree = tomllib.loads(edited_text(LIBRARY, [Edit(path="placed[0]", op="remove")]))
    assert "placed" not in tree


@pytest.mark.parametrize(
    "edit",
    [
        Edit(path="rooms.nothing.use", op="remove"),
        Edit(path="placed[7].tap", value="6 W"),
        Edit(path="placed[7]", op="remove"),
        Edit(path="placed[-1]", op="remove"),
        Edit(path="rooms.hall.use.deeper", value=1),
        Edit(path="rooms.hall", op="append", value=1),
        Edit(path=(), value=1),
        Edit(path="rooms.hall.use", value=None),
        Edit(path="rooms.hall.use", value={1: 2}),
        Edit(path="rooms.hall.use", value={"a": object()}),
        Edit(path="rooms.hall[0]", value=1),
    ],
)
def test_a_path_that_leads_nowhere_is_an_error(edit: Edit):
    with pytest.raises(JobError) as caught:
        edited_text(LIBRARY, [edit])
    assert caught.value.problems[0].where.startswith("job.toml")


def test_an_older_format_is_moved_before_it_is_edited():
    text = 'format = 0\n[site]\nname = "x"\nvolts = 70.7\n[[rooms]]\nid = "a"\nsize = [3, 3]\n'
    tree = tomllib.loads(edited_text(text, [Edit(path="rooms.a.use", value="office")]))
    assert tree["format"] == 1
    assert tree["rooms"]["a"] == {"size": [3, 3], "use": "office"}


VALUES: st.SearchStrategy[Any] = (
    st.integers(-5, 5)
    | st.text("ab'\"\\\n[]#=", max_size=5)
    | st.lists(st.integers(0, 3), max_size=3)
    | st.dictionaries(st.sampled_from(["pq", "r"]), st.integers(0, 3), max_size=2)
    | st.lists(
        st.dictionaries(st.sampled_from(["p", "q"]), st.integers(0, 3), min_size=1), max_size=2
    )
)
PLACES = st.sampled_from(
    [
        "site.name",
        "site.note",
        "note",
        "rooms.hall.ceilings[0].grid",
        "rooms.hall.ceilings[0].grid.angle",
        "rooms.hall.ceilings[0]",
        "rooms.hall.ceilings",
        "rooms.hall.noise",
        "rooms.hall.noise.nc",
        "rooms.hall",
        "rooms.b",
        "rooms.b.c.d",
        "rooms.hall.obstacles",
        "rooms.hall.obstacles[0]",
        "rooms.hall.obstacles[0].step",
        "rooms.hall.obstacles[0].step[1]",
        "placed",
        "placed[0]",
        "placed[0].at[1]",
        "racks",
        "zones.z",
        "format",
    ]
)
EDITS = st.builds(Edit, path=PLACES, op=st.sampled_from(["set", "append", "remove"]), value=VALUES)


@settings(max_examples=150, deadline=None)
@given(st.lists(EDITS, min_size=1, max_size=4))
def test_any_edits_mean_what_they_mean_on_a_plain_tree(edits: list[Edit]):
    tree = tomllib.loads(SMALL)
    try:
        for edit in edits:
            apply_edit(tree, edit.keys, edit.op, edit.value, Locator("job.toml"))
    except JobError:
        with pytest.raises(JobError):
            edited_text(SMALL, edits)
        return
    assert tomllib.loads(edited_text(SMALL, edits)) == tree
