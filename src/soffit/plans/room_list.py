"""Rooms from a list: name, length, width, height, use, ceiling; what is missing is assumed."""

import csv
import io
import math
import re
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from soffit.errors import JobError, Problem, UnitError
from soffit.model.survey import Noise
from soffit.plans.ceiling_words import ceiling_kind, tile_size_m
from soffit.plans.keys import key_of
from soffit.plans.proposal import (
    CeilingProposal,
    PlanProposal,
    ReadWishes,
    RoomProposal,
    StoreyProposal,
)
from soffit.plans.usual import usual_ceiling
from soffit.units import FOOT_M, parse

COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "name": ("name", "room", "label", "room name", "space", "raum", "raumname", "piece", "sala"),
    "length": ("length", "l", "x", "long", "lange", "longueur", "largo"),
    "width": ("width", "w", "y", "breadth", "b", "breite", "largeur", "ancho"),
    "area": ("area", "floor area", "size", "flache", "surface", "superficie"),
    "height": ("height", "h", "ceiling height", "clear height", "z", "hohe", "hauteur", "altura"),
    "use": ("use", "type", "function", "purpose", "nutzung", "usage", "uso"),
    "ceiling": ("ceiling", "ceiling type", "decke", "plafond", "techo"),
    "storey": ("storey", "story", "floor", "level", "geschoss", "etage", "planta"),
    "noise": ("noise", "noise level", "background noise", "larm", "bruit", "ruido"),
    "note": ("note", "notes", "remark", "remarks", "comment"),
}
"""Columns by meaning; the words under which people write them, without accents."""

_GAP_M: Final = 1.0
_STOREY_M: Final = 3.5
_LIMITS_M: Final = (0.5, 500.0)
_LIMITS_M2: Final = (0.25, 250_000.0)
_ASPECT: Final = 4.0 / 3.0
_SQUARE_FEET: Final = frozenset({"ft2", "ft²", "sq ft", "sqft", "sf", "sq. ft."})


def _plain(text: str) -> str:
    letters = unicodedata.normalize("NFKD", text)
    return "".join(letter for letter in letters if not unicodedata.combining(letter)).lower()


def _header(names: list[str], where: str, path: Path) -> dict[str, int]:
    found: dict[str, int] = {}
    for place, name in enumerate(names):
        word = _plain(re.split(r"[(\[/]", name)[0]).replace("_", " ").strip()
        for meaning, known in COLUMNS.items():
            if word in known and meaning not in found:
                found[meaning] = place
    missing = [name for name in ("name", "length", "width") if name not in found]
    if "area" in found:
        missing = [name for name in missing if name == "name"]
    if missing:
        raise JobError(
            what=f"{path.name} has no column for {', '.join(missing)}",
            where=where,
            why=f"its first line says {', '.join(names)[:200] or 'nothing'}",
            do="begin the list with the line: name,length,width,height,use,ceiling",
        )
    return found


def _unit_of(header: str) -> str:
    """Return the unit that a heading names in brackets, such as ``length (ft)``."""
    found = re.search(r"[(\[]([^)\]]+)[)\]]", header)
    return found.group(1).strip() if found else ""


class _Rows:
    """A list with its headings, and the problems of its cells."""

    def __init__(self, path: Path, first: tuple[int, list[str]]) -> None:
        self.path = path
        self.names = first[1]
        self.columns = _header(self.names, f"{path.name}:{first[0]}", path)
        self.problems: list[Problem] = []
        self.feet = 0

    def cell(self, row: list[str], meaning: str) -> str:
        place = self.columns.get(meaning)
        return row[place].strip() if place is not None and place < len(row) else ""

    def unit(self, meaning: str) -> str:
        return _unit_of(self.names[self.columns[meaning]]) if meaning in self.columns else ""

    def length_m(self, row: list[str], line: int, meaning: str) -> float | None:
        text = self.cell(row, meaning)
        if not text:
            return None
        unit = self.unit(meaning)
        plain = _number(text)
        try:
            if plain is not None:
                value = parse(f"{plain} {unit}", "length") if unit else plain
            else:
                value = parse(text, "length")
        except UnitError as error:
            self.problem(
                f"{meaning} {text!r} is not a length",
                line,
                meaning,
                error.problems[0].why,
                "write a number in metres, or one with its unit such as 24 ft",
            )
            return None
        self.feet += bool(re.search(r"ft|'|\bin\b|\"", f"{text} {unit}"))
        return self._checked(value, _LIMITS_M, f"{meaning} {text!r} is {value:g} m", line, meaning)

    def area_m2(self, row: list[str], line: int) -> float | None:
        text = self.cell(row, "area")
        if not text:
            return None
        unit = self.unit("area") or " ".join(re.findall(r"[a-z²2. ]+$", text.lower())).strip()
        plain = _number(re.sub(r"\s*(m2|m²|sqm|sq m|ft2|ft²|sq ft|sqft|sf)$", "", text.lower()))
        if plain is None:
            self.problem(
                f"area {text!r} is not an area",
                line,
                "area",
                "it is not a number with m2 or ft2",
                "write a number in square metres, or one with ft2",
            )
            return None
        is_feet = unit.lower().strip() in _SQUARE_FEET
        self.feet += is_feet
        value = plain * FOOT_M**2 if is_feet else plain
        return self._checked(value, _LIMITS_M2, f"area {text!r} is {value:g} m²", line, "area")

    def _checked(
        self, value: float, limits: tuple[float, float], what: str, line: int, meaning: str
    ) -> float | None:
        if math.isfinite(value) and limits[0] <= value <= limits[1]:
            return value
        self.problem(
            what,
            line,
            meaning,
            f"a room has between {limits[0]:g} and {limits[1]:g}",
            "check the number and its unit; bare numbers are metres",
        )
        return None

    def problem(self, what: str, line: int, meaning: str, why: str, do: str) -> None:
        self.problems.append(
            Problem(what=what, where=f"{self.path.name}:{line}  {meaning}", why=why, do=do)
        )


def _number(text: str) -> float | None:
    try:
        return float(text.replace(",", ".") if text.count(",") == 1 else text.replace(",", ""))
    except ValueError:
        return None


def read_room_list(path: Path, wishes: ReadWishes | None = None) -> PlanProposal:
    """Read a list of rooms as CSV.

    Parameters
    ----------
    path
        The file; commas, semicolons or tabs between columns.
    wishes
        Heights and kinds of ceiling where the list has none.

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
    head = next((line for line in text.splitlines() if line.strip()), "")
    counts = {mark: head.count(mark) for mark in ";\t,"}
    delimiter = max(counts, key=lambda mark: counts[mark])
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    try:
        lines = [(reader.line_num, row) for row in reader if any(map(str.strip, row))]
    except csv.Error as error:
        raise JobError(
            what=f"{path.name} is no list of rooms",
            where=f"{path.name}:{reader.line_num}",
            why=f"it cannot be split into columns: {error}",
            do="save the list as CSV with commas",
        ) from None
    return rooms_of_rows(path, lines, wishes)


def rooms_of_rows(
    path: Path, lines: list[tuple[int, list[str]]], wishes: ReadWishes | None = None
) -> PlanProposal:
    """Turn rows of text into rooms.

    Parameters
    ----------
    path
        The file that they come from.
    lines
        Number and cells of each row, headings first.
    wishes
        Heights and kinds of ceiling where the list has none.

    Returns
    -------
    PlanProposal
        Rectangular rooms, side by side.

    Raises
    ------
    JobError
        With every cell that cannot be read.
    """
    if len(lines) < 2:
        raise JobError(
            what=f"{path.name} has no rooms",
            where=f"{path.name}:1",
            why="a list needs a line of headings and at least one room",
            do="begin the list with the line: name,length,width,height,use,ceiling",
        )
    rows = _Rows(path, (lines[0][0], [name.strip() for name in lines[0][1]]))
    storeys: dict[str, StoreyProposal] = {}
    rooms: list[RoomProposal] = []
    start: dict[str, float] = {}
    taken: set[str] = set()
    for line, row in lines[1:]:
        storey = _storey(rows.cell(row, "storey"), storeys)
        room = _room(rows, row, line, storey, (start.get(storey, 0.0), taken, wishes))
        if room is None:
            continue
        taken.add(room.key)
        start[storey] = max(x for x, _ in room.outline) + _GAP_M
        rooms.append(room)
    if rows.problems:
        raise JobError.of(rows.problems)
    notes = [
        "A list does not say where rooms are: they stand side by side, one metre apart."
        " Cable lengths between rooms mean nothing until the plan is drawn."
    ]
    if len(storeys) > 1:
        notes.append(f"Storeys are taken as {_STOREY_M:g} m apart: the list does not tell.")
    return PlanProposal(
        source=f"{path.name} (room list)",
        storeys=tuple(storeys.values()),
        rooms=tuple(rooms),
        is_imperial=rows.feet > len(rooms),
        notes=tuple(notes),
    )


def _storey(name: str, storeys: dict[str, StoreyProposal]) -> str:
    label = name or "Ground floor"
    for storey in storeys.values():
        if storey.label == label:
            return storey.key
    key = key_of(label, set(storeys), fallback="storey")
    elevation = _STOREY_M * len(storeys)
    storeys[key] = StoreyProposal(key=key, label=label, elevation_m=elevation)
    return key


def _sides_m(
    rows: _Rows, row: list[str], line: int, name: str
) -> tuple[float, float, list[str]] | None:
    """Return length and width of a room, and what was assumed to get them."""
    before = len(rows.problems)
    length = rows.length_m(row, line, "length")
    width = rows.length_m(row, line, "width")
    area = rows.area_m2(row, line)
    if length and width:
        return length, width, []
    if area and (length or width):
        known = length or width or 1.0
        return known, area / known, ["the other side follows from the area"]
    if area:
        longer = math.sqrt(area * _ASPECT)
        text = f"sides {longer:.2f} x {area / longer:.2f} m: the list gives the area only"
        return longer, area / longer, [text]
    for meaning in ("length", "width"):
        is_told = any(problem.where.endswith(meaning) for problem in rows.problems[before:])
        if not rows.cell(row, meaning) and not is_told:
            rows.problem(
                f"{name}: {meaning} is missing",
                line,
                meaning,
                "a room without its size cannot be planned",
                "write the size, even a rough one, or the area",
            )
    return None


def _room(
    rows: _Rows,
    row: list[str],
    line: int,
    storey: str,
    state: tuple[float, set[str], ReadWishes | None],
) -> RoomProposal | None:
    start_m, taken, wishes = state
    name = rows.cell(row, "name") or f"Room {line}"
    sides = _sides_m(rows, row, line, name)
    height = rows.length_m(row, line, "height")
    noise = _noise(rows, row, line)
    if sides is None:
        return None
    length, width, assumed = sides
    use = rows.cell(row, "use")
    ceiling, more = _ceiling(rows.cell(row, "ceiling"), height, f"{use} {name}", wishes)
    x, y = round(start_m + length, 4), round(width, 4)
    is_guess = any("area only" in text for text in assumed)
    return RoomProposal(
        key=key_of(name, taken),
        origin_id=f"{storey}/{name}",
        label=name,
        storey_key=storey,
        outline=((start_m, 0.0), (x, 0.0), (x, y), (start_m, y)),
        ceilings=(ceiling,),
        use=use,
        noise=noise,
        confidence=0.85 if is_guess else 1.0,
        assumed=(*assumed, *more),
    )


def _noise(rows: _Rows, row: list[str], line: int) -> Noise | None:
    text = rows.cell(row, "noise")
    if not text:
        return None
    found = re.fullmatch(
        r"(?:(nc|nr)[- ]?)?(\d+(?:[.,]\d+)?)\s*(db\s*\(?a\)?|dba|db)?", text.lower()
    )
    if found is None or not 10 <= float(found.group(2).replace(",", ".")) <= 120:
        rows.problem(
            f"noise {text!r} is no noise level",
            line,
            "noise",
            "it is written as a number of dBA from 10 to 120, or as NC or NR with its number",
            "write for example 45 dBA or NC 35",
        )
        return None
    value = float(found.group(2).replace(",", "."))
    kind = found.group(1)
    source = "surveyed: list of rooms"
    if kind == "nc":
        return Noise(kind="nc", value=value, source=source)
    return Noise(kind="nr" if kind == "nr" else "dba", value=value, source=source)


def _ceiling(
    word: str, height_m: float | None, use: str, wishes: ReadWishes | None
) -> tuple[CeilingProposal, list[str]]:
    assumed = []
    kind, kind_text = ceiling_kind([word]) if word else (None, "")
    usual_m, usual_kind, usual_text = usual_ceiling(use)
    if kind is None:
        kind = (wishes.ceiling_kind if wishes else None) or usual_kind
        said = f"{word!r} is not a known kind" if word else "the list does not tell its kind"
        assumed.append(f"ceiling taken as {kind}: {said}")
    text = "from the list"
    if height_m is None and wishes and wishes.height_m:
        height_m, text = wishes.height_m, "as asked for rooms without a height"
        assumed.append(f"ceiling height {height_m:g} m: {text}")
    source = "surveyed" if text == "from the list" and height_m is not None else "assumed"
    if height_m is None:
        height_m, text = usual_m, usual_text
        assumed.append(f"ceiling height {height_m:g} m: {text}")
    return (
        CeilingProposal(
            height_m=round(height_m, 4),
            height_source="surveyed" if source == "surveyed" else "assumed",
            height_text=text,
            kind=kind,
            kind_text=kind_text,
            pitch_m=tile_size_m(word),
        ),
        assumed,
    )


def _text(path: Path) -> str:
    raw = path.read_bytes()
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")
