"""Turn job.toml as read into the survey, with every check that spans the file."""

import math
import re
from collections.abc import Iterable, Mapping
from typing import Final, TypeVar

from soffit.errors import SoffitError, TableError
from soffit.job.assume import Assumptions
from soffit.job.build_materials import build_materials
from soffit.job.build_open import check_open_rooms
from soffit.job.build_room import (
    RoomContext,
    build_obstacles,
    build_room,
    need,
    outside,
    unique_keys,
)
from soffit.job.locate import Path
from soffit.job.problems import Problems
from soffit.job.quantities import SEVENTY_VOLT
from soffit.job.schema import JobFile, PlacedEntry, RackEntry
from soffit.job.shapes import contains, point
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Survey
from soffit.model.survey import (
    Acceptance,
    CableWay,
    Equipment,
    Obstacle,
    PlacedSpeaker,
    Rack,
    Room,
    Site,
    Storey,
)
from soffit.model.zones import Zone
from soffit.tables.settings import Limits, setting, settings
from soffit.units import parse

_LARGEST_VOLTAGE_V: Final = 240.0

Value = TypeVar("Value")


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Return a key that sorts ``room2`` before ``room10``.

    Parameters
    ----------
    text
        What to sort.
    """
    parts = re.findall(r"\d+|\D+", text)
    return tuple((0, int(p), "") if p.isdigit() and p.isascii() else (1, 0, p) for p in parts)


def _ordered(table: Mapping[str, Value]) -> list[tuple[str, Value]]:
    """Return the entries sorted by key: the order in the file does not count."""
    return sorted(table.items(), key=lambda item: natural(item[0]))


def build_survey(file: JobFile, catalogue: Catalogue, problems: Problems) -> Survey | None:
    """Return the survey of a job.

    Parameters
    ----------
    file
        What job.toml says.
    catalogue
        Types it may refer to.
    problems
        Where to collect everything that is wrong.

    Returns
    -------
    Survey or None
        ``None`` if there is any problem.
    """
    made = Assumptions()
    site = _site(file, problems, made)
    storeys = _storeys(file, made)
    materials = build_materials(problems, made, file.materials)
    context = RoomContext(
        problems,
        made,
        site.is_imperial,
        {item.id: item for item in materials},
        file.materials,
        asks_plenum=site.region == "US",
    )
    rooms, obstacles = _rooms(file, context, storeys)
    by_key = {room.key: room for room in rooms}
    _check_briefs(file, catalogue, site.line_voltage_v, problems)
    racks = _racks(file, problems, made, rooms, storeys)
    survey = Survey(
        site=site,
        storeys=storeys,
        rooms=rooms,
        obstacles=obstacles,
        zones=_zones(file, problems, made),
        racks=racks,
        cable_ways=_cable_ways(file, problems, storeys),
        placed=_placed(file, problems, by_key, catalogue, site.line_voltage_v),
        equipment=_equipment(file, problems, catalogue),
        limits=_limits(file, problems),
        acceptances=tuple(
            Acceptance(code=item.code, place=item.place, role=item.role, reason=item.reason)
            for item in file.accepted
        ),
        assumptions=tuple(made.made),
        materials=materials,
    )
    return None if problems.found else survey


def _site(file: JobFile, problems: Problems, made: Assumptions) -> Site:
    entry = file.site
    is_us = entry.region == "US"
    voltage = entry.line_voltage
    if voltage is None:
        voltage = SEVENTY_VOLT if is_us else 100.0
        words = "70.7 V" if is_us else "100 V"
        made.add(("site", "line_voltage"), f"line voltage {words}, the habit of the region")
    need(problems, ("site", "line_voltage"), voltage, 10.0, _LARGEST_VOLTAGE_V)
    return Site(
        name=entry.name,
        region=entry.region,
        is_imperial=is_us if entry.units is None else entry.units == "imperial",
        paper=entry.paper or ("letter" if is_us else "a4"),
        line_voltage_v=voltage,
        topology=entry.topology,
        seismic_category=entry.seismic_category,
        customer=entry.customer,
        address=entry.address,
        is_invented=entry.invented,
        north_angle_rad=math.pi / 2 if entry.north is None else entry.north,
        note=entry.note,
    )


def _storeys(file: JobFile, made: Assumptions) -> tuple[Storey, ...]:
    if not file.storeys:
        made.add(("storeys",), "one storey, the ground floor")
        return (Storey(key="ground", label="Ground floor"),)
    storeys = [
        Storey(key=key, label=entry.label or key, elevation_m=entry.elevation)
        for key, entry in _ordered(file.storeys)
    ]
    return tuple(sorted(storeys, key=lambda storey: storey.elevation_m))


def _storey_key(
    problems: Problems, path: Path, stated: str | None, storeys: tuple[Storey, ...]
) -> str:
    known = [storey.key for storey in storeys]
    if stated is None:
        if len(known) > 1:
            problems.add(
                path,
                "its storey is not stated",
                why=f"the job has the storeys {', '.join(known)}",
                do="add storey",
            )
        return known[0]
    if stated not in known:
        problems.unknown((*path, "storey"), stated, known, "storey")
    return stated


def _rooms(
    file: JobFile, context: RoomContext, storeys: tuple[Storey, ...]
) -> tuple[tuple[Room, ...], tuple[Obstacle, ...]]:
    problems = context.problems
    if not file.rooms:
        problems.add(
            ("rooms",),
            "the job has no room",
            why="there is nothing to put loudspeakers into",
            do="add a table such as [rooms.hall] with corner and size",
        )
    rooms: list[Room] = []
    obstacles: list[Obstacle] = []
    for key, entry in _ordered(file.rooms):
        storey = _storey_key(problems, ("rooms", key), entry.storey, storeys)
        room = build_room(context, key, entry, storey)
        if room is not None:
            rooms.append(room)
            obstacles += build_obstacles(context, key, entry, room.outline)
    check_open_rooms(file, problems, rooms)
    return tuple(rooms), tuple(obstacles)


def _check_briefs(
    file: JobFile, catalogue: Catalogue, line_voltage_v: float, problems: Problems
) -> None:
    for key, room in _ordered(file.rooms):
        for index, ceiling in enumerate(room.ceilings):
            if ceiling.speaker_type is not None:
                at: Path = ("rooms", key, "ceilings", index, "speaker_type")
                _check_type(problems, at, ceiling.speaker_type, catalogue)
        for index, wish in enumerate(room.wishes):
            if wish.speaker_type is not None:
                at = ("rooms", key, "wishes", index, "speaker_type")
                _check_type(problems, at, wish.speaker_type, catalogue)
        name = room.brief.speaker_type
        if name is not None:
            path: Path = ("rooms", key, "brief")
            _check_type(problems, (*path, "speaker_type"), name, catalogue)
            _check_tap(problems, (*path, "tap"), name, room.brief.tap, catalogue, line_voltage_v)


def _check_type(problems: Problems, path: Path, name: str, catalogue: Catalogue) -> bool:
    known = [entry.id for entry in catalogue.speaker_types]
    if name in known:
        return True
    problems.unknown(path, name, known, "loudspeaker type")
    return False


def _check_tap(
    problems: Problems,
    path: Path,
    name: str,
    tap_w: float | None,
    catalogue: Catalogue,
    line_voltage_v: float,
) -> None:
    if tap_w is None or name not in {entry.id for entry in catalogue.speaker_types}:
        return
    taps = catalogue.speaker(name).taps_at(line_voltage_v)
    if any(math.isclose(tap.power_w, tap_w, rel_tol=1e-3) for tap in taps):
        return
    offered = ", ".join(f"{tap.power_w:g}" for tap in taps) or "no tap"
    problems.add(
        path,
        f'tap {tap_w:g} W does not exist on "{name}"',
        why=f"its transformer offers {offered} W at {line_voltage_v:.1f} V",
        do="choose one of these taps, or a type that has this one",
    )


def _racks(
    file: JobFile,
    problems: Problems,
    made: Assumptions,
    rooms: tuple[Room, ...],
    storeys: tuple[Storey, ...],
) -> tuple[Rack, ...]:
    by_key = {room.key: room for room in rooms}
    racks = [
        _rack(key, entry, file, problems, by_key, storeys) for key, entry in _ordered(file.racks)
    ]
    if not racks and rooms:
        first = rooms[0]
        made.add(("racks",), f"the rack stands in a corner of {first.label}")
        racks = [
            Rack(
                key="main",
                label="Rack",
                position=first.outline[0],
                storey_key=first.storey_key,
                room_key=first.key,
            )
        ]
    return tuple(racks)


def _rack(
    key: str,
    entry: RackEntry,
    file: JobFile,
    problems: Problems,
    rooms: Mapping[str, Room],
    storeys: tuple[Storey, ...],
) -> Rack:
    path: Path = ("racks", key)
    at = point(entry.at)
    storey = entry.storey
    if entry.room is not None and entry.room not in file.rooms:
        problems.unknown((*path, "room"), entry.room, file.rooms, "room")
    elif entry.room is not None and entry.room in rooms:
        room = rooms[entry.room]
        storey = storey or room.storey_key
        if not contains(room.outline, at):
            outside(problems, (*path, "at"), f"rack {key}")
        if storey != room.storey_key:
            problems.add(
                (*path, "storey"),
                f"rack {key} stands on {storey!r}, its room on {room.storey_key!r}",
                why="a rack is on the storey of its room",
                do="take out one of the two",
            )
    if not 0.0 <= entry.drop <= 100.0:
        need(problems, (*path, "drop"), entry.drop, 0.0, 100.0)
    return Rack(
        key=key,
        label=entry.label or key,
        position=at,
        storey_key=_storey_key(problems, path, storey, storeys),
        room_key=entry.room,
        drop_m=entry.drop,
    )


def _zones(file: JobFile, problems: Problems, made: Assumptions) -> tuple[Zone, ...]:
    zones: list[Zone] = []
    home: dict[str, str] = {}
    for key, entry in _ordered(file.zones):
        for index, member in enumerate(entry.rooms):
            path: Path = ("zones", key, "rooms", index)
            if member not in file.rooms:
                problems.unknown(path, member, file.rooms, "room")
            elif member in home:
                problems.add(
                    path,
                    f"room {member!r} is in zone {home[member]!r} and in zone {key!r}",
                    why="a room belongs to one zone",
                    do="take it out of one of them",
                )
            home.setdefault(member, key)
        if entry.delay < 0:
            need(problems, ("zones", key, "delay"), entry.delay, 0.0, 10.0)
        zones.append(
            Zone(
                key=key,
                label=entry.label or key,
                room_keys=tuple(entry.rooms),
                source=entry.source,
                has_volume_control=entry.volume_control,
                priority=entry.priority,
                delay_s=entry.delay,
                note=entry.note,
            )
        )
    rest = [(key, room) for key, room in _ordered(file.rooms) if key not in home]
    if rest and not zones:
        made.add(("zones",), "all rooms are one zone")
        return (Zone(key="all", label="All rooms", room_keys=tuple(key for key, _ in rest)),)
    for key, room in rest:
        made.add(("zones",), f"{room.label or key} is a zone of its own")
        name = key if key not in file.zones else f"{key}-room"
        zones.append(Zone(key=name, label=room.label or key, room_keys=(key,)))
    return tuple(zones)


def _cable_ways(
    file: JobFile, problems: Problems, storeys: tuple[Storey, ...]
) -> tuple[CableWay, ...]:
    ways = []
    for key, entry in _ordered(file.cable_ways):
        path: Path = ("cable_ways", key)
        if len(entry.points) < 2 and not entry.riser:
            problems.add(
                (*path, "points"),
                "one point makes no way",
                why="only a riser may have a single point",
                do="add the other points, or riser = true",
            )
        ways.append(
            CableWay(
                key=key,
                label=entry.label or key,
                storey_key=_storey_key(problems, path, entry.storey, storeys),
                points=tuple(point(item) for item in entry.points),
                is_riser=entry.riser,
            )
        )
    return tuple(ways)


def _placed(
    file: JobFile,
    problems: Problems,
    rooms: Mapping[str, Room],
    catalogue: Catalogue,
    line_voltage_v: float,
) -> tuple[PlacedSpeaker, ...]:
    keys = [entry.key for entry in file.placed]
    unique_keys(problems, ("placed",), list(keys), keys)
    placed = []
    for index, entry in enumerate(file.placed):
        path: Path = ("placed", index)
        at = point(entry.at)
        if entry.room not in file.rooms:
            problems.unknown((*path, "room"), entry.room, file.rooms, "room")
        elif entry.room in rooms:
            _check_placed(problems, path, entry, rooms[entry.room])
        _check_type(problems, (*path, "type"), entry.type, catalogue)
        _check_tap(problems, (*path, "tap"), entry.type, entry.tap, catalogue, line_voltage_v)
        placed.append(
            PlacedSpeaker(
                key=entry.key,
                room_key=entry.room,
                type_id=entry.type,
                position=at,
                tap_w=entry.tap,
                mount_height_m=entry.mount_height,
                aim=_aim(problems, path, entry),
                is_existing=entry.existing,
                note=entry.note,
            )
        )
    return tuple(placed)


def _check_placed(problems: Problems, path: Path, entry: PlacedEntry, room: Room) -> None:
    at = point(entry.at)
    if not contains(room.outline, at):
        outside(problems, (*path, "at"), f"speaker {entry.key}")
    elif any(contains(hole, at, slack_m=-1.0) for hole in room.holes):
        problems.add(
            (*path, "at"),
            f"speaker {entry.key} sits in a column",
            why="columns have no ceiling",
            do="check the place and the columns of the room",
        )
    highest = max((ceiling.height_m for ceiling in room.ceilings), default=0.0)
    given = entry.mount_height
    if not need(problems, (*path, "mount_height"), given, 0.0, highest + 20.0):
        return
    ears = max((area.ear_height_m for area in room.listening_areas), default=0.0)
    is_down = entry.aim is None or tuple(entry.aim) == (0.0, 0.0, -1.0)
    if given is not None and is_down and given < ears + 0.1:
        problems.add(
            (*path, "mount_height"),
            f"speaker {entry.key} faces down at {given:.2f} m, and ears are at {ears:.2f} m",
            why="what faces down must hang at least 0.1 m above the ears",
            do="check the height and its unit, or write where it looks as aim",
        )


def _aim(problems: Problems, path: Path, entry: PlacedEntry) -> tuple[float, float, float]:
    if entry.aim is None:
        return (0.0, 0.0, -1.0)
    x, y, z = entry.aim
    length = math.hypot(x, y, z)
    if not 1e-9 < length < 1e9:
        problems.add(
            (*path, "aim"),
            f"{entry.aim} is no direction",
            why="an aim is a vector x, y, z with a length",
            do="write for example [0, 0, -1] for straight down",
        )
        return (0.0, 0.0, -1.0)
    return (x / length, y / length, z / length)


def _equipment(file: JobFile, problems: Problems, catalogue: Catalogue) -> Equipment:
    entry = file.equipment
    known: tuple[tuple[str, list[str], Iterable[str], str], ...] = (
        (
            "speaker_types",
            entry.speaker_types,
            [t.id for t in catalogue.speaker_types],
            "loudspeaker type",
        ),
        (
            "amplifier_types",
            entry.amplifier_types,
            [t.id for t in catalogue.amplifier_types],
            "amplifier type",
        ),
        ("cable_types", entry.cable_types, [t.id for t in catalogue.cable_types], "cable type"),
    )
    for name, stated, possible, noun in known:
        names = list(possible)
        for index, item in enumerate(stated):
            if item not in names:
                problems.unknown(("equipment", name, index), item, names, noun)
    if entry.spare < 0:
        need(problems, ("equipment", "spare"), entry.spare, 0.0, 10.0)
    return Equipment(
        speaker_types=tuple(entry.speaker_types),
        amplifier_types=tuple(entry.amplifier_types),
        cable_types=tuple(entry.cable_types),
        spare_ratio=entry.spare,
    )


def _limits(file: JobFile, problems: Problems) -> Limits:
    names = [row.name for row in settings()]
    overrides: list[tuple[str, float]] = []
    for name, stated in _ordered(file.limits):
        path: Path = ("limits", name)
        if name not in names:
            problems.unknown(path, name, names, "setting")
            continue
        row = setting(name)
        try:
            value = parse(stated, row.quantity) if row.quantity else _plain_number(stated)
        except (SoffitError, OverflowError) as error:
            what = error.problems[0] if isinstance(error, SoffitError) else None
            problems.add(
                path,
                f"{name}: {what.what if what else 'the number is too large'}",
                why=what.why if what else "no such value fits",
                do=what.do if what else "write it again",
            )
            continue
        if not row.least <= value <= row.most:
            problems.add(
                path,
                f"{name} of {value:g} is out of its range",
                why=f"it goes from {row.least:g} to {row.most:g} {row.unit}".rstrip()
                + f"; {row.help}",
                do=f"choose a value in this range; the default is {row.default:g}",
            )
            continue
        overrides.append((name, value))
    return Limits(overrides=tuple(overrides))


def _plain_number(value: float | str) -> float:
    """Read a number without unit through the ratio quantity, which has none."""
    if isinstance(value, str) and "%" in value:
        msg = f"{value!r} is not a plain number"
        raise TableError(msg, where="limits", why="this setting has no unit", do="write a number")
    return parse(value, "ratio")
