"""The loader checks keys, digits and order, and never interpolates."""

import pytest

from soffit.errors import TableError
from soffit.tables.load import load_table, parse_table
from soffit.tables.settings import DEFAULT_LIMITS, Limits, setting, settings

GOOD = """
[source]
document = "a book"
edition = "1"
place = "table 1"
title = "t"
status = "memory"
[columns]
size = { unit = "mm2", meaning = "size", order = "rising" }
value = { unit = "ohm", meaning = "value" }
[[rows]]
size = "1.0"
value = "18.1"
[[rows]]
size = "1.5"
"""


def test_a_printed_number_is_found_by_its_printed_key() -> None:
    table = parse_table("t", GOOD)
    assert table.number("value", size="1.0") == 18.1
    assert "from memory" in table.source.cite()
    assert table.values("size") == (1.0, 1.5)


@pytest.mark.parametrize("size", ["1", "1.25", "1.5", "2"])
def test_nothing_is_interpolated_or_guessed(size: str) -> None:
    with pytest.raises(TableError):
        parse_table("t", GOOD).number("value", size=size)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"18.1"', "18.1"),
        ('"18.1"', '"x"'),
        ('"18.1"', '"nan"'),
        ('"1.5"', '"0.5"'),
        ('"memory"', '"guess"'),
        ("value =", "other ="),
        ("[source]", "[sauce]"),
        ('unit = "ohm", ', ""),
        ('title = "t"', 'titel = "t"'),
        ("[[rows]]", "[[rows"),
    ],
)
def test_a_broken_file_is_refused(old: str, new: str) -> None:
    with pytest.raises(TableError, match="broken"):
        parse_table("t", GOOD.replace(old, new, 1))


def test_missing_tables_columns_and_cells_are_refused() -> None:
    with pytest.raises(TableError):
        load_table("no_such_table")
    with pytest.raises(TableError):
        parse_table("t", GOOD).number("depth", size="1.0")
    with pytest.raises(TableError):
        parse_table("t", GOOD).values("value")


def test_settings_have_defaults_within_their_range_and_a_source() -> None:
    for row in settings():
        assert row.least <= row.default <= row.most, row.name
        assert row.source, row.name
        assert row.help.endswith("."), row.name


def test_a_job_overrides_a_limit_and_is_named_as_its_source() -> None:
    limits = Limits(overrides=(("line_loss_warn_db", 0.3),))
    assert limits["line_loss_warn_db"] == 0.3
    assert limits.source("line_loss_warn_db") == "project limit"
    assert "practice" in DEFAULT_LIMITS.source("line_loss_warn_db")
    assert len(limits) == len(list(limits)) == len(settings())
    with pytest.raises(TableError):
        setting("no_such_setting")
