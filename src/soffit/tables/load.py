"""Read a published table from its data file, digits and source kept."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import cache
from importlib import resources
from typing import Any, Final, Literal, cast, get_args

from soffit.errors import TableError

Status = Literal["read", "secondary", "memory", "practice", "invented"]
"""How a value is known: read in the document, in a reproduction, from memory, a habit, made up."""

_SOURCE_KEYS: Final = frozenset({"document", "edition", "place", "title", "status", "note"})
_COLUMN_KEYS: Final = frozenset({"unit", "meaning", "order", "text"})
_ORDERS: Final = frozenset({"rising", "falling"})


@dataclass(frozen=True, slots=True, kw_only=True)
class TableSource:
    """Where the numbers of a table were printed."""

    document: str
    edition: str
    place: str
    title: str
    status: Status
    note: str = ""

    def cite(self) -> str:
        """Return document, edition and place, with a word on how the value is known."""
        known = {
            "read": "",
            "secondary": " (read in a reproduction)",
            "memory": " (from memory, to be confirmed)",
            "practice": " (common practice, no source)",
            "invented": " (invented)",
        }[self.status]
        parts = [part for part in (self.document, self.edition, self.place) if part]
        return ", ".join(parts) + known


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """What one column means; ``text`` columns hold names, the others decimal numbers."""

    unit: str
    meaning: str
    order: str = ""
    text: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A published table: its source, its columns, and its rows as printed.

    Parameters
    ----------
    name
        File name without ending.
    source
        Where it was printed.
    columns
        Meaning and unit by column name.
    rows
        Printed texts by column name; a cell may be missing where the print has a dash.
    """

    name: str
    source: TableSource
    columns: Mapping[str, Column]
    rows: tuple[Mapping[str, str], ...]

    def number(self, column: str, **where: str) -> float:
        """Return one printed number.

        Parameters
        ----------
        column
            Column name.
        **where
            Column names and texts that choose exactly one row.

        Returns
        -------
        float
            The printed number, in the unit of its column.

        Raises
        ------
        TableError
            If there is no such column, row or cell; nothing is interpolated.
        """
        if column not in self.columns:
            msg = f"table {self.name!r} has no column {column!r}"
            raise TableError(
                msg,
                where=f"table {self.name}",
                why=f"it has {', '.join(self.columns)}",
                do="name one of these",
            )
        rows = [
            row for row in self.rows if all(row.get(key) == text for key, text in where.items())
        ]
        wanted = ", ".join(f"{key} {text}" for key, text in where.items())
        if len(rows) != 1 or column not in rows[0]:
            key = next(iter(where), column)
            known = ", ".join(row[key] for row in self.rows if key in row and column in row)
            msg = f"{self.source.document} has no {column} for {wanted}"
            raise TableError(
                msg, where=self.name, why=f"{key} can be {known}", do="choose one of these"
            )
        return float(rows[0][column])

    def values(self, column: str) -> tuple[float, ...]:
        """Return a whole numeric column; a missing cell raises.

        Parameters
        ----------
        column
            Column name.

        Returns
        -------
        tuple of float
            The printed numbers, in the unit of the column.

        Raises
        ------
        TableError
            If there is no such column or a cell is missing.
        """
        if column not in self.columns or any(column not in row for row in self.rows):
            msg = f"table {self.name!r} has no full column {column!r}"
            raise TableError(
                msg,
                where=f"table {self.name}",
                why=f"it has {', '.join(self.columns)}",
                do="name one of these",
            )
        return tuple(float(row[column]) for row in self.rows)


def _broken(name: str, why: str) -> TableError:
    msg = f"table file {name!r} is broken"
    return TableError(msg, where=f"tables/data/{name}.toml", why=why, do="mend the data file")


def _source(name: str, raw: Mapping[str, Any]) -> TableSource:
    if unknown := set(raw) - _SOURCE_KEYS:
        raise _broken(name, f"unknown key {sorted(unknown)} in [source]")
    try:
        source = TableSource(**cast("dict[str, Any]", raw))
    except TypeError as error:
        raise _broken(name, f"[source]: {error}") from None
    if source.status not in get_args(Status):
        raise _broken(name, f"status {source.status!r} is none of {get_args(Status)}")
    return source


def _columns(name: str, raw: Mapping[str, Any]) -> dict[str, Column]:
    columns: dict[str, Column] = {}
    for key, entry in raw.items():
        if set(entry) - _COLUMN_KEYS or not {"unit", "meaning"} <= set(entry):
            raise _broken(name, f"column {key} needs unit and meaning, got {sorted(entry)}")
        columns[key] = Column(**entry)
        if columns[key].order not in _ORDERS | {""}:
            raise _broken(name, f"column {key}: order is rising or falling")
    return columns


def _check_rows(name: str, columns: Mapping[str, Column], rows: list[Any]) -> None:
    for number, row in enumerate(rows, 1):
        if unknown := set(row) - set(columns):
            raise _broken(name, f"row {number} has unknown columns {sorted(unknown)}")
        for key, cell in row.items():
            if not isinstance(cell, str):
                raise _broken(name, f"row {number}, {key}: write the printed digits as text")
            if not columns[key].text:
                _check_number(name, number, key, cell)
    for key, column in columns.items():
        if column.order:
            printed = [Decimal(row[key]) for row in rows if key in row]
            ordered = sorted(printed, reverse=column.order == "falling")
            if printed != ordered or len(set(printed)) != len(printed):
                raise _broken(name, f"column {key} is not strictly {column.order}")


def _check_number(name: str, row: int, key: str, cell: str) -> None:
    try:
        finite = Decimal(cell).is_finite()
    except InvalidOperation:
        finite = False
    if not finite:
        raise _broken(name, f"row {row}, {key}: {cell!r} is not a number")


def parse_table(name: str, text: str) -> Table:
    """Check and return the table written in ``text``.

    Parameters
    ----------
    name
        What to call it in errors.
    text
        TOML with ``[source]``, ``[columns]`` and ``[[rows]]``.

    Returns
    -------
    Table
        Checked table.

    Raises
    ------
    TableError
        If keys, units, digits or the order of a column are wrong.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _broken(name, str(error)) from None
    if set(raw) != {"source", "columns", "rows"}:
        raise _broken(name, f"needs source, columns and rows, has {sorted(raw)}")
    columns = _columns(name, raw["columns"])
    _check_rows(name, columns, raw["rows"])
    return Table(
        name=name, source=_source(name, raw["source"]), columns=columns, rows=tuple(raw["rows"])
    )


@cache
def load_table(name: str) -> Table:
    """Return a table that ships with soffit.

    Parameters
    ----------
    name
        File name in ``tables/data`` without ending.

    Returns
    -------
    Table
        Checked table.

    Raises
    ------
    TableError
        If there is no such file or it is broken.
    """
    file = resources.files("soffit.tables") / "data" / f"{name}.toml"
    if not file.is_file():
        msg = f"there is no table {name!r}"
        raise TableError(msg, where="tables/data", why="no such file", do="name a table that ships")
    return parse_table(name, file.read_text(encoding="utf-8"))
