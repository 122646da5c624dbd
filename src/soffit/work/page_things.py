"""Things of a survey that a hand moves on the page: where they are, and what moving one changes."""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from soffit.errors import JobError, SoffitError
from soffit.model.decisions import Survey
from soffit.model.survey import Point, Room
from soffit.work.page_state import PageJob

LISTS: Final = ("obstacles", "columns", "doors", "listening", "test_points", "wishes")
"""Lists of a room in which things lie that can be moved."""

_NOUNS: Final = {
    "columns": "column",
    "doors": "door",
    "listening": "listening area",
    "test_points": "place to measure",
    "wishes": "row",
    "racks": "rack",
    "placed": "loudspeaker put by hand",
}

_MOST_REPEATS: Final = 400

Table = Mapping[str, Any]
Path = list[str | int]


def metres(value: Any) -> float:  # noqa: ANN401 any value of a file
    """Return a length of job.toml. [m].

    Parameters
    ----------
    value
        A bare number, or a text with its unit.
    """
    from soffit.units import parse

    return parse(value, "length")


def point_of(values: Sequence[Any]) -> Point:
    """Return a place of job.toml.

    Parameters
    ----------
    values : (2,)
        x and y as written.
    """
    return metres(values[0]), metres(values[1])


def outline_of(thing: Table) -> list[Point]:
    """Return the corners of a thing with a shape; nothing for one without.

    Parameters
    ----------
    thing
        Its table.
    """
    if "outline" in thing:
        return [point_of(corner) for corner in thing["outline"]]
    if "corner" in thing and "size" in thing:
        x, y = point_of(thing["corner"])
        wide, deep = point_of(thing["size"])
        return [(x, y), (x + wide, y), (x + wide, y + deep), (x, y + deep)]
    if "from" in thing and "to" in thing:
        return [point_of(thing["from"]), point_of(thing["to"])]
    if "at" in thing and "diameter" in thing:
        x, y = point_of(thing["at"])
        r = metres(thing["diameter"]) / 2
        return [(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)]
    return []


def middle_of(thing: Table) -> Point | None:
    """Return where a thing is; ``None`` for one without a place, such as ears everywhere.

    Parameters
    ----------
    thing
        Its table.
    """
    ring = outline_of(thing)
    if ring:
        xs, ys = [x for x, _ in ring], [y for _, y in ring]
        return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    return point_of(thing["at"]) if "at" in thing else None


def things_dict(tables: Table) -> list[dict[str, Any]]:
    """Return all things of a survey that can be moved, as plain data.

    Parameters
    ----------
    tables
        The tables of job.toml.
    """
    found = []
    for path, kind, thing in _things(tables):
        try:
            at, ring = middle_of(thing), outline_of(thing)
        except (SoffitError, LookupError, TypeError, ValueError):
            continue  # the survey's own errors are told by its reader
        if at is None:
            continue
        name = str(thing.get("label") or thing.get("kind") or thing.get("key") or "")
        noun = str(thing.get("kind", "thing")) if kind == "obstacles" else _NOUNS.get(kind, "thing")
        found.append(
            {
                "path": path,
                "list": kind,
                "room": _room_of(path, thing),
                "name": noun if name.casefold() in {"", noun} else f"{noun} {name}",
                "at": [round(value, 4) for value in at],
                "outline": [[round(x, 4), round(y, 4)] for x, y in ring],
                "is_round": "diameter" in thing,
                "repeats": _repeats(thing),
            }
        )
    return found


def _repeats(thing: Table) -> list[list[float]]:
    """Return how far the repeats of a thing lie from it; nothing for a single one. [m]."""
    count, step = thing.get("repeat"), thing.get("step")
    if not count or not step:
        return []
    dx, dy = point_of(step)
    places = [(i, j) for i in range(int(count[0])) for j in range(int(count[1])) if i or j]
    return [[round(i * dx, 4), round(j * dy, 4)] for i, j in places[:_MOST_REPEATS]]


def _things(tables: Table) -> Iterator[tuple[Path, str, Table]]:
    for key, room in (tables.get("rooms") or {}).items():
        for name in LISTS:
            for index, thing in enumerate(room.get(name) or ()):
                yield ["rooms", key, name, index], name, thing
    for key, rack in (tables.get("racks") or {}).items():
        yield ["racks", key], "racks", rack
    for index, placed in enumerate(tables.get("placed") or ()):
        if not placed.get("existing"):
            yield ["placed", index], "placed", placed


def _room_of(path: Sequence[str | int], thing: Table) -> str:
    return str(path[1]) if path[0] == "rooms" else str(thing.get("room", ""))


def thing_at(tables: Table, path: Sequence[str | int]) -> dict[str, Any]:
    """Return the table of a thing.

    Parameters
    ----------
    tables
        The tables of job.toml.
    path
        Where it stands.

    Raises
    ------
    JobError
        If it is gone.
    """
    held: Any = tables
    try:
        for part in path:
            held = held[part]
        return dict(held)
    except (LookupError, TypeError, ValueError):
        raise JobError(
            what="this thing is not there any more",
            where=".".join(str(part) for part in path),
            why="the survey has changed since the page was drawn",
            do="look at the new drawing",
        ) from None


_FEET: Final = re.compile(r"""(ft|in|'|")""")


def moved_value(raw: Any, by_m: float) -> Any:  # noqa: ANN401 any value of a file
    """Return a length moved by so much, written as it was: metres, millimetres or feet.

    Parameters
    ----------
    raw
        As it stands in job.toml.
    by_m
        How far. [m]
    """
    value = round(metres(raw) + by_m, 4)
    if not isinstance(raw, str):
        return int(value) if value.is_integer() else value
    if _FEET.search(raw):
        return f"{value / 0.3048:.4f}".rstrip("0").rstrip(".") + " ft"
    if "mm" in raw:
        return f"{1e3 * value:.0f} mm"
    return f"{value:.4f}".rstrip("0").rstrip(".") + " m"


def moved(thing: Table, by: Point) -> dict[str, Any]:
    """Return the table of a thing moved in plan.

    Parameters
    ----------
    thing
        Its table.
    by
        How far along x and y. [m]
    """
    fresh = dict(thing)
    for name in ("at", "corner", "from", "to"):
        if name in fresh:
            fresh[name] = [moved_value(v, d) for v, d in zip(fresh[name], by, strict=True)]
    if "outline" in fresh:
        fresh["outline"] = [
            [moved_value(v, d) for v, d in zip(corner, by, strict=True)]
            for corner in fresh["outline"]
        ]
    return fresh


def move_edits(
    page: PageJob, path: Sequence[str | int], by: Point
) -> tuple[list[dict[str, Any]], str, Path]:
    """Return the changes that move a thing, into another room where it is carried there.

    Parameters
    ----------
    page
        The job.
    path
        Where it stands in job.toml.
    by
        How far along x and y. [m]

    Returns
    -------
    tuple
        The changes, the room that it lies in then, and where it stands then.

    Raises
    ------
    JobError
        If it is gone.
    """
    import tomllib

    tables = tomllib.loads((page.folder / "job.toml").read_text(encoding="utf-8"))
    thing = thing_at(tables, path)
    survey = page.job().survey
    fresh = moved(thing, by)
    home = _room_of(path, thing)
    at = middle_of(fresh)
    if len(path) == 4 and path[2] == "doors" and at is not None:
        fresh["at"] = [round(v, 4) for v in _onto_wall(survey.room(home), at)]
        new = home
    else:
        new = _room_under(survey, home, at) or home
    if new == home:
        edits = [
            {"path": [*path, name], "op": "set", "value": value}
            for name, value in fresh.items()
            if value != thing[name]
        ]
        return edits, new, list(path)
    if path[0] != "rooms":
        fresh["room"] = new
        names = [name for name, value in fresh.items() if value != thing.get(name)]
        return (
            [{"path": [*path, name], "op": "set", "value": fresh[name]} for name in names],
            new,
            list(path),
        )
    place = len(tables["rooms"][new].get(path[2]) or ())
    edits = [
        {"path": list(path), "op": "remove"},
        {"path": ["rooms", new, path[2]], "op": "append", "value": fresh},
    ]
    return edits, new, ["rooms", new, path[2], place]


def _room_under(survey: Survey, home: str, at: Point | None) -> str:
    """Return the room of the same storey in which a place lies; empty where none does."""
    from shapely import Point as PlanPoint
    from shapely import Polygon

    rooms = {room.key: room for room in survey.rooms}
    if at is None:
        return ""
    storey = rooms[home].storey_key if home in rooms else None
    here = [
        room.key
        for room in survey.rooms
        if storey in {None, room.storey_key}
        and Polygon(room.outline, room.holes).covers(PlanPoint(at))
    ]
    return home if home in here or not here else here[0]


def _onto_wall(room: Room, at: Point) -> Point:
    from shapely import LinearRing
    from shapely import Point as PlanPoint

    ring = LinearRing(room.outline)
    found = ring.interpolate(ring.project(PlanPoint(at)))
    return float(found.x), float(found.y)
