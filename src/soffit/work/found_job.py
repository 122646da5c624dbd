"""An old line becomes a job: existing loudspeakers, a line "as found", and what is assumed."""

import itertools
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from soffit import __version__
from soffit.constants import LINE_70_V
from soffit.errors import JobError
from soffit.model.catalogue import Catalogue, SpeakerType, Tap
from soffit.model.decisions import Design, Job, RoomDecision
from soffit.model.lines import Amplifier, Channel, Line, Run
from soffit.model.speakers import Speaker
from soffit.model.survey import PlacedSpeaker, Point
from soffit.work.as_found import FoundState, FoundUnit
from soffit.work.demo import bring_catalogue

_STEP_M: Final = 3.0
"""From one unit to the next where nobody noted a place: a drawing, not a survey. [m]"""

_MARGIN_M: Final = 1.5
"""From units to the walls of a room that nobody measured. [m]"""

_ROW: Final = 6
_WIDEST_M: Final = 200.0
"""Widest room that is drawn around units. [m]"""

_HEIGHT_M: Final = 2.7
_DROP_M: Final = 2.5
_MOST_UNITS: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class _Unit:
    """One loudspeaker of the walk, on its own."""

    key: str
    label: str
    name: str
    entry: SpeakerType
    tap: Tap
    tap_is_offered: bool
    place: str
    at: Point | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundJob:
    """What was written.

    Parameters
    ----------
    folder
        The job.
    units, placed
        Loudspeakers, and how many of them stand where the walk says.
    assumed
        What was taken where the walk says nothing, in words.
    """

    folder: str
    units: int
    placed: int
    assumed: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "folder": self.folder,
            "units": self.units,
            "placed": self.placed,
            "assumed": list(self.assumed),
        }

    def text(self) -> str:
        """Return it as text."""
        lines = [
            f"{self.folder}: a job with {self.units} existing loudspeakers on a line as found;"
            f" {self.placed} stand where the walk says",
            *(f"  assumed: {item}" for item in self.assumed),
            f"next: soffit check {self.folder}, soffit papers {self.folder},"
            f" soffit trace {self.folder} --line L1",
        ]
        return "\n".join(lines)


def keep_found(
    state: FoundState,
    catalogue: Catalogue,
    folder: Path,
    *,
    types_of: Path | None = None,
    who: str = "",
) -> FoundJob:
    """Make a job of an old line.

    Parameters
    ----------
    state
        What a walk and a meter found.
    catalogue
        Its types.
    folder
        Where; it must be new or empty.
    types_of
        Folder of a job whose own catalogue comes along; ``None`` for the demo types alone.
    who
        For history.

    Returns
    -------
    FoundJob
        What was written, and what was assumed.

    Raises
    ------
    JobError
        If the folder is in use, or the line has no type that any unit could stand for; nothing is
        written then.
    """
    from soffit.job.api import create_job, job_to_toml, open_job, write_design

    units, assumed = _units(state, catalogue)
    rooms = _rooms(units)
    if any(unit.at is None for unit in units):
        assumed.append(
            f"places of {_units_text(sum(unit.at is None for unit in units))}: drawn in a row,"
            f" {_STEP_M:g} m apart; nobody noted them"
        )
    assumed.append(f"walls {_MARGIN_M:g} m around the units, ceilings at {_HEIGHT_M:g} m")
    assumed.append("order of the line as in the table, cable size and lengths from the drawing")
    tables = _tables(state, units, rooms, assumed)
    text = job_to_toml(tables, comment="Made from the notes of a walk; see the notes inside.")
    own = None if types_of is None else _catalogue_text(types_of)
    if own is not None and not (folder.exists() and any(folder.iterdir())):
        bring_catalogue(folder, own)
        create_job(folder, text, force=True, who=who)
    else:
        create_job(folder, text, who=who)
    job = open_job(folder)
    design = _design(job, state, units, rooms)
    write_design(folder, design, job.design.revision, who=who, what="line as found")
    return FoundJob(
        folder=str(folder),
        units=len(units),
        placed=sum(unit.at is not None for unit in units),
        assumed=tuple(assumed),
    )


def _catalogue_text(folder: Path) -> str | None:
    path = folder / "catalogue.toml"
    return path.read_text(encoding="utf-8") if path.is_file() else None


def _units(state: FoundState, catalogue: Catalogue) -> tuple[list[_Unit], list[str]]:
    live = [unit for unit in state.line.units if unit.state != "abandoned"]
    count = sum(unit.count for unit in live)
    if count > _MOST_UNITS:
        raise JobError(
            what=f"{count} units on one line",
            where="--into",
            why=f"a line as found has at most {_MOST_UNITS}",
            do="divide the table by lines",
        )
    assumed = []
    taken = Counter[str]()
    for unit in live:
        if not unit.type_id:
            taken[_stand_in(live, catalogue, state.line.voltage_v, unit.tap_w).id] += unit.count
    n_taps = sum(unit.count for unit in live if unit.tap_w is None)
    for type_id, number in sorted(taken.items()):
        assumed.append(f"type of {_units_text(number)}: {type_id}; nobody could read it")
    if n_taps:
        assumed.append(f"tap of {_units_text(n_taps)}: {_why_tap(state)}; nobody could read it")
    guesses = list(state.guesses[0]) if len(state.guesses) == 1 else []
    found: list[_Unit] = []
    for unit in live:
        entry = (
            catalogue.speaker(unit.type_id)
            if unit.type_id
            else _stand_in(live, catalogue, state.line.voltage_v, unit.tap_w)
        )
        for part in range(unit.count):
            number = len(found) + 1
            tap, notes = _tap(unit, entry, state.line.voltage_v, guesses)
            found.append(
                _Unit(
                    key=f"f{number}",
                    label=f"L1-{number:02d}",
                    name=unit.label if unit.count == 1 else f"{unit.label}/{part + 1}",
                    entry=entry,
                    tap=tap,
                    tap_is_offered=tap in entry.taps_at(state.line.voltage_v),
                    place=unit.place or "as found",
                    at=unit.at if part == 0 else None,
                    note=_note(unit, notes),
                )
            )
    return found, assumed


def _note(unit: FoundUnit, notes: Sequence[str]) -> str:
    parts = [
        f"walk: {unit.label}" if unit.label else "",
        "" if unit.state == "?" else unit.state,
        "" if unit.type_id else "type not read",
        *notes,
        "" if unit.at is not None else "place not noted",
        unit.note,
    ]
    return "; ".join(part for part in parts if part)


def _units_text(number: int) -> str:
    return "one unit" if number == 1 else f"{number} units"


def _stand_in(
    live: Sequence[FoundUnit], catalogue: Catalogue, voltage_v: float, tap_w: float | None
) -> SpeakerType:
    """Return the type that units of unknown type are taken for: one that has the tap, if any has.

    The commonest of the line goes first, then ceiling loudspeakers of the catalogue, lightest
    first, then what else has that tap.
    """

    def has_tap(entry: SpeakerType) -> bool:
        return tap_w is None or any(
            abs(tap.power_w - tap_w) < 0.01 * tap.power_w for tap in entry.taps_at(voltage_v)
        )

    counts = Counter(unit.type_id for unit in live if unit.type_id for _ in range(unit.count))
    own = [catalogue.speaker(key) for key in sorted(counts, key=lambda key: (-counts[key], key))]
    usual = [
        entry
        for entry in catalogue.speaker_types
        if entry.kind == "ceiling" and entry.taps_at(voltage_v)
    ]
    usual.sort(key=lambda entry: (entry.mass_kg, entry.id))
    others = [entry for entry in catalogue.speaker_types if entry.kind != "subwoofer"]
    for entry in (*own, *usual, *others):
        if has_tap(entry):
            return entry
    if own:
        return own[0]
    if not usual:
        raise JobError(
            what=f"no type of the catalogue stands for units on {voltage_v:.4g} V",
            where="walk",
            why="no ceiling loudspeaker in it has a tap for that voltage",
            do="enter the old type in catalogue.toml, and name it in the table",
        )
    return usual[0]


def _why_tap(state: FoundState) -> str:
    if len(state.guesses) == 1:
        return "as the meter leaves no other choice"
    return "the middle one of the type"


def _tap(
    unit: FoundUnit, entry: SpeakerType, voltage_v: float, guesses: list[float]
) -> tuple[Tap, list[str]]:
    offers = entry.taps_at(voltage_v)
    if unit.tap_w is not None:
        same = [tap for tap in offers if abs(tap.power_w - unit.tap_w) < 0.01 * tap.power_w]
        note = [] if same else ["the type has no such tap"]
        return (same or [Tap(power_w=unit.tap_w, voltage_v=voltage_v)])[0], note
    if not offers:
        return Tap(power_w=1.0, voltage_v=voltage_v), ["tap not read, 1 W taken"]
    tap = offers[(len(offers) - 1) // 2]
    if guesses:
        fitting = [
            tap for tap in offers if any(abs(entry.drawn_w(tap) - w) < 0.01 for w in guesses)
        ]
        if fitting:
            tap = fitting[0]
            guesses.remove(min(guesses, key=lambda w: abs(entry.drawn_w(tap) - w)))
    return tap, [f"tap not read, {tap.power_w:g} W taken"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Room:
    key: str
    label: str
    corner: Point
    size: tuple[float, float]
    positions: dict[str, Point]


def _rooms(units: Sequence[_Unit]) -> list[_Room]:
    """Draw a room around the units of each place; rooms without positions go beside the others."""
    known = [unit.at for unit in units if unit.at is not None]
    right = max((x for x, _ in known), default=-_STEP_M) + 2.0 * _MARGIN_M
    low = min((y for _, y in known), default=0.0)
    places = list(dict.fromkeys(unit.place for unit in units))
    rooms: list[_Room] = []
    keys: set[str] = set()
    for place in places:
        here = [unit for unit in units if unit.place == place]
        noted = {unit.key: unit.at for unit in here if unit.at is not None}
        loose = [unit for unit in here if unit.at is None]
        start = right
        if noted:  # beside those of its own room that were noted
            start = max(x for x, _ in noted.values()) + _STEP_M
            base = min(y for _, y in noted.values())
        else:
            base = low
        drawn = {
            unit.key: (start + _STEP_M * (index % _ROW), base + _STEP_M * (index // _ROW))
            for index, unit in enumerate(loose)
        }
        positions = noted | drawn
        xs, ys = zip(*positions.values(), strict=True)
        if max(max(xs) - min(xs), max(ys) - min(ys)) > _WIDEST_M:
            raise JobError(
                what=f"units in {place!r} lie more than {_WIDEST_M:g} m apart",
                where="walk  x, y",
                why="one room is drawn around the units of one place",
                do="give each room a place of its own, and check units: a bare number is metres",
            )
        corner = (min(xs) - _MARGIN_M, min(ys) - _MARGIN_M)
        size = (max(xs) + _MARGIN_M - corner[0], max(ys) + _MARGIN_M - corner[1])
        rooms.append(
            _Room(
                key=_room_key(place, keys),
                label=place,
                corner=corner,
                size=size,
                positions=positions,
            )
        )
        right = max(right, corner[0] + size[0] + 2.0 * _MARGIN_M)
    return rooms


def _room_key(place: str, taken: set[str]) -> str:
    stem = re.sub(r"[^a-z0-9]+", "-", place.casefold()).strip("-")[:30] or "place"
    stem = stem if stem[0].isalpha() else f"r-{stem}"
    key, number = stem, 2
    while key in taken:
        key, number = f"{stem}-{number}", number + 1
    taken.add(key)
    return key


def _tables(
    state: FoundState, units: Sequence[_Unit], rooms: Sequence[_Room], assumed: Iterable[str]
) -> dict[str, Any]:
    room_of = {key: room for room in rooms for key in room.positions}
    abandoned = [unit for unit in state.line.units if unit.state == "abandoned"]
    notes = [f"assumed: {item}" for item in assumed]
    notes += [
        "abandoned cable, to be removed or tagged at both ends: "
        + ", ".join(part for part in (unit.label, unit.place, unit.note) if part)
        for unit in abandoned
    ]
    if state.measured_w is not None:
        notes.append(f"the meter says {state.measured_w:.0f} W at the rack")
    first = rooms[0]
    return {
        "note": "; ".join(notes),
        "site": {"name": "Line as found", "line_voltage": _voltage(state), "units": "metric"},
        "storeys": {"found": {"label": "as found"}},
        "racks": {
            "rack": {"label": "Rack", "room": first.key, "at": _inside(first), "drop": _DROP_M}
        },
        "rooms": {
            room.key: {
                "label": room.label,
                "storey": "found",
                "corner": list(room.corner),
                "size": list(room.size),
                "note": "walls drawn around the units of a walk; nobody measured them",
                "ceilings": [
                    {
                        "key": "as-found",
                        "kind": "plasterboard",
                        "height": _HEIGHT_M,
                        "height_source": "assumed",
                    }
                ],
            }
            for room in rooms
        },
        "zones": {"found": {"label": "Line as found", "rooms": [room.key for room in rooms]}},
        "placed": [
            {
                "key": unit.key,
                "room": room_of[unit.key].key,
                "type": unit.entry.id,
                "at": list(room_of[unit.key].positions[unit.key]),
                "tap": f"{unit.tap.power_w:g} W" if unit.tap_is_offered else None,
                "existing": True,
                "note": unit.note,
            }
            for unit in units
        ],
    }


def _voltage(state: FoundState) -> float:
    """Return the line voltage as files write it: 70.7 names 100/sqrt(2)."""
    voltage = state.line.voltage_v
    return 70.7 if abs(voltage - LINE_70_V) < 0.02 else voltage


def _inside(room: _Room) -> list[float]:
    return [room.corner[0] + 0.5, room.corner[1] + 0.5]


def _design(job: Job, state: FoundState, units: Sequence[_Unit], rooms: Sequence[_Room]) -> Design:
    survey = job.survey
    placed = {item.key: item for item in survey.placed}
    speakers = tuple(_speaker(unit, placed[unit.key]) for unit in units)
    rack = survey.racks[0]
    cable_id = min(job.catalogue.cable_types, key=lambda entry: (entry.cores, entry.id)).id
    places = {rack.key: rack.position} | {item.key: item.position for item in speakers}
    ends = [rack.key, *(item.key for item in speakers)]
    runs = tuple(
        Run(
            key=f"c{number}",
            label=f"L1/{number}",
            start_key=start,
            end_key=end,
            length_m=_length_m(places[start], places[end], _DROP_M if number == 1 else 0.0),
            cable_id=cable_id,
            route=(places[start], places[end]),
            note="order, size and length are not known",
        )
        for number, (start, end) in enumerate(itertools.pairwise(ends), 1)
    )
    line = Line(
        key="found",
        label="L1",
        voltage_v=survey.site.line_voltage_v,
        zone_keys=("found",),
        rack_key=rack.key,
        speaker_keys=tuple(item.key for item in speakers),
        runs=runs,
        topology="as found",
        route_note="as found: order of the walk's table; cable and lengths from the drawing",
        fixed=True,
    )
    amplifiers: tuple[Amplifier, ...] = ()
    if state.replacement_id:
        count = len(job.catalogue.amplifier(state.replacement_id).channel_power_w)
        amplifiers = (
            Amplifier(
                key="a1",
                label="A1",
                type_id=state.replacement_id,
                rack_key=rack.key,
                channels=tuple(
                    Channel(number=number, line_keys=("found",) if number == 1 else ())
                    for number in range(1, count + 1)
                ),
            ),
        )
    decisions = tuple(
        RoomDecision(room_key=room.key, reason="as found: nothing was placed by soffit")
        for room in rooms
    )
    return Design(
        job_hash=job.job_hash,
        made_with=(("soffit", __version__), ("walk", "as found")),
        next_key=len(units) + 1,
        speakers=speakers,
        lines=(line,),
        amplifiers=amplifiers,
        rooms=decisions,
    )


def _length_m(start: Point, end: Point, more_m: float) -> float:
    return abs(start[0] - end[0]) + abs(start[1] - end[1]) + more_m


def _speaker(unit: _Unit, placed: PlacedSpeaker) -> Speaker:
    return Speaker(
        key=unit.key,
        label=unit.label,
        room_key=placed.room_key,
        ceiling_key="as-found",
        type_id=unit.entry.id,
        position=placed.position,
        mount_height_m=_HEIGHT_M,
        tap=unit.tap,
        line_key="found",
        fixed_place=True,
        fixed_tap=True,
        fixed_order=True,
        state="existing",
        note=unit.note,
    )
