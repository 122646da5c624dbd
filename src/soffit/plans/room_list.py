"""Rooms from a list: name, length, width, height, use, ceiling; what is missing is assumed."""

import csv
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Final, Literal

from soffit.errors import JobError, Problem, UnitError
from soffit.plans.keys import key_of
from soffit.plans.proposal import PlanProposal, RoomProposal, StoreyProposal
from soffit.units import parse

COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "name": ("name", "room", "label", "room name"),
    "length": ("length", "l", "x"),
    "width": ("width", "w", "y", "breadth"),
    "height": ("height", "h", "ceiling height", "z"),
    "use": ("use", "type", "function", "purpose"),
    "ceiling": ("ceiling", "ceiling type"),
    "storey": ("storey", "floor", "level"),
}
"""Columns by meaning; the words under which people write them."""

_KINDS: Final[Mapping[str, Literal["grid", "plasterboard", "open"]]] = {
    "grid": "grid",
    "tile": "grid",
    "tiles": "grid",
    "suspended": "grid",
    "plasterboard": "plasterboard",
    "drywall": "plasterboard",
    "gypsum": "plasterboard",
    "open": "open",
    "none": "open",
    "": "grid",
}
ASSUMED_HEIGHT_M: Final = 2.7
_GAP_M: Final = 1.0
_LIMITS_M: Final = (0.5, 500.0)


def _header(names: list[str], path: Path) -> dict[str, int]:
    found: dict[str, int] = {}
    for place, name in enumerate(names):
        word = name.split("(")[0].split("[")[0].strip().lower()
        for meaning, known in COLUMNS.items():
            if word in known and meaning not in found:
                found[meaning] = place
    missing = [name for name in ("name", "length", "width") if name not in found]
    if missing:
        raise JobError(
            what=f"{path.name} has no column for {', '.join(missing)}",
            where=f"{path.name}:1",
            why=f"its first line says {', '.join(names) or 'nothing'}",
            do="begin the list with the line: name,length,width,height,use,ceiling",
        )
    return found


def _unit_of(header: str) -> str:
    """Return the unit that a heading names in brackets, such as ``length (ft)``."""
    for opening, closing in (("(", ")"), ("[", "]")):
        if opening in header and closing in header:
            return header.split(opening)[1].split(closing, maxsplit=1)[0].strip()
    return ""


class _Rows:
    def __init__(self, path: Path, names: list[str]) -> None:
        self.path = path
        self.names = names
        self.columns = _header(names, path)
        self.problems: list[Problem] = []

    def cell(self, row: list[str], meaning: str) -> str:
        place = self.columns.get(meaning)
        return row[place].strip() if place is not None and place < len(row) else ""

    def length_m(self, row: list[str], line: int, meaning: str) -> float | None:
        text = self.cell(row, meaning)
        if not text:
            return None
        unit = _unit_of(self.names[self.columns[meaning]])
        try:
            plain = float(text.replace(",", "."))
            value = parse(f"{plain} {unit}", "length") if unit else plain
        except ValueError:
            value = self._parsed(text, line, meaning)
        if not _LIMITS_M[0] <= value <= _LIMITS_M[1]:
            self._problem(
                f"{meaning} {text!r} is {value:g} m",
                line,
                meaning,
                f"a room measures between {_LIMITS_M[0]:g} and {_LIMITS_M[1]:g} m",
                "check the number and its unit; bare numbers are metres",
            )
            return 1.0
        return value

    def _parsed(self, text: str, line: int, meaning: str) -> float:
        try:
            return parse(text, "length")
        except UnitError as error:
            self._problem(
                f"{meaning} {text!r} is not a length",
                line,
                meaning,
                error.problems[0].why,
                "write a number in metres, or one with its unit such as 24 ft",
            )
            return 1.0

    def _problem(self, what: str, line: int, meaning: str, why: str, do: str) -> None:
        self.problems.append(
            Problem(what=what, where=f"{self.path.name}:{line}  {meaning}", why=why, do=do)
        )


def read_room_list(path: Path) -> PlanProposal:
    """Read a list of rooms as CSV.

    Parameters
    ----------
    path
        The file; commas, semicolons or tabs between columns.

    Returns
    -------
    PlanProposal
        Rectangular rooms, laid out side by side since a list does not say where they are.

    Raises
    ------
    JobError
        With every cell that cannot be read.
    """
    text = _text(path)
    try:
        dialect: type[csv.Dialect] | csv.Dialect = csv.Sniffer().sniff(text[:4096], ",;\t")
    except csv.Error:
        dialect = csv.excel
    lines = [row for row in csv.reader(io.StringIO(text), dialect) if any(map(str.strip, row))]
    if len(lines) < 2:
        raise JobError(
            what=f"{path.name} has no rooms",
            where=f"{path.name}:1",
            why="a list needs a line of headings and at least one room",
            do="begin the list with the line: name,length,width,height,use,ceiling",
        )
    return rooms_of_rows(path, lines)


def rooms_of_rows(path: Path, lines: list[list[str]]) -> PlanProposal:
    """Turn rows of text into rooms.

    Parameters
    ----------
    path
        The file that they come from.
    lines
        Headings first.

    Returns
    -------
    PlanProposal
        Rectangular rooms, side by side.

    Raises
    ------
    JobError
        With every cell that cannot be read.
    """
    rows = _Rows(path, [name.strip() for name in lines[0]])
    storeys: dict[str, StoreyProposal] = {}
    rooms: list[RoomProposal] = []
    start: dict[str, float] = {}
    for line, row in enumerate(lines[1:], 2):
        storey = _storey(rows.cell(row, "storey"), storeys)
        room = _room(rows, row, line, storey, start.get(storey, 0.0), rooms)
        start[storey] = max(x for x, _ in room.outline) + _GAP_M
        rooms.append(room)
    if rows.problems:
        raise JobError.of(rows.problems)
    feet = sum("ft" in cell or "'" in cell for row in lines for cell in row)
    return PlanProposal(
        source=f"{path.name} (room list)",
        storeys=tuple(storeys.values()),
        rooms=tuple(rooms),
        is_imperial=feet > len(rooms),
        notes=(
            "A list does not say where rooms are: they stand side by side, one metre apart."
            " Cable lengths between rooms mean nothing until the plan is drawn.",
        ),
    )


def _storey(name: str, storeys: dict[str, StoreyProposal]) -> str:
    label = name or "Ground floor"
    for storey in storeys.values():
        if storey.label == label:
            return storey.key
    key = key_of(label, set(storeys), fallback="storey")
    storeys[key] = StoreyProposal(key=key, label=label, elevation_m=3.5 * len(storeys))
    return key


def _room(
    rows: _Rows, row: list[str], line: int, storey: str, start_m: float, before: list[RoomProposal]
) -> RoomProposal:
    name = rows.cell(row, "name") or f"Room {line - 1}"
    length = rows.length_m(row, line, "length")
    width = rows.length_m(row, line, "width")
    for meaning, value in (("length", length), ("width", width)):
        if value is None:
            rows._problem(  # noqa: SLF001 a helper of the same module
                f"{name}: {meaning} is missing",
                line,
                meaning,
                "a room without its size cannot be planned",
                "write the size, even a rough one",
            )
    height = rows.length_m(row, line, "height") if "height" in rows.columns else None
    word = rows.cell(row, "ceiling").lower()
    kind = _KINDS.get(word.split(" ")[0] if word else "")
    doubts = []
    if kind is None:
        doubts.append(f"ceiling {word!r} is not known: taken as plasterboard")
    if not word:
        doubts.append("no ceiling given: a tile grid is assumed")
    x, y = start_m + (length or 1.0), width or 1.0
    return RoomProposal(
        key=key_of(name, {room.key for room in before}),
        label=name,
        storey_key=storey,
        outline=((start_m, 0.0), (x, 0.0), (x, y), (start_m, y)),
        height_m=height if height is not None else ASSUMED_HEIGHT_M,
        height_source="surveyed" if height is not None else "assumed",
        height_text="from the list" if height is not None else "common practice, no source",
        ceiling_kind=kind or "plasterboard",
        module_m=None,
        use=rows.cell(row, "use"),
        confidence=1.0,
        doubts=tuple(doubts),
    )


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        return path.read_bytes().decode("latin-1")
