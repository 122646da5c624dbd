"""Rooms that are cut in two or joined on the page, with everything in them in the right one."""

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from soffit.errors import JobError
from soffit.model.survey import Point, Room
from soffit.work.page_state import PageJob, Snapshot
from soffit.work.page_survey import plain_value, room_key
from soffit.work.page_things import LISTS, metres, middle_of, moved, outline_of

if TYPE_CHECKING:
    from soffit.model.decisions import Design
    from soffit.model.speakers import Speaker

_SHAPE: Final = frozenset({"corner", "size", "at", "diameter", "outline"})
_WALL_M: Final = 0.5
"""Thickest wall over which two rooms are merged (common practice, no source). [m]"""

_LEAST_M2: Final = 0.01

Table = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomChange:
    """A room cut or two joined.

    Parameters
    ----------
    edits
        Changes of job.toml.
    room
        Key of the new room, or of the one that is left.
    told
        What the person should know of it.
    design
        What becomes of the design.
    """

    edits: list[dict[str, Any]]
    room: str
    told: tuple[str, ...]
    design: "Callable[[Design], Design]"


def keep_rooms(
    page: PageJob, change: RoomChange, *, revision: int, who: str, what: str
) -> Snapshot:
    """Keep a cut or a joint as one step of history: survey and design together.

    Parameters
    ----------
    page
        The job.
    change
        What changes.
    revision
        Revision of job.toml that the person saw.
    who, what
        For history.
    """
    from soffit.job.api import Edit, edit_survey_and_design

    steps = [
        Edit(path=tuple(edit["path"]), op=edit["op"], value=plain_value(edit.get("value")))
        for edit in change.edits
    ]
    with page.lock:
        edit_survey_and_design(page.folder, steps, revision, change.design, who=who, what=what)
        return page.now()


def _tables(page: PageJob) -> Table:
    import tomllib

    return tomllib.loads((page.folder / "job.toml").read_text(encoding="utf-8"))


# -- cutting ---------------------------------------------------------------------------------


def split_room(page: PageJob, key: str, start: Point, end: Point) -> RoomChange:
    """Cut a room in two along a straight line, everything in it into the half where it lies.

    Parameters
    ----------
    page
        The job.
    key
        The room.
    start, end
        Two points of the line; it is taken as long as needed. [m]

    Returns
    -------
    RoomChange
        The changes, and the key of the new room.

    Raises
    ------
    JobError
        If the line does not cut the room into exactly two.
    """
    room = page.job().survey.room(key)
    pieces = _pieces(room, start, end)
    tables = _tables(page)
    table = dict(tables["rooms"][key])
    fresh = room_key(page, f"{key}-2")
    told: list[str] = []
    halves = [{k: v for k, v in table.items() if k not in _SHAPE} for _ in pieces]
    for half, piece in zip(halves, pieces, strict=True):
        half["outline"] = _ring(piece)
    halves[1]["label"] = f"{room.label} 2"
    for name in LISTS:
        for half, mine in zip(halves, _parted(table.get(name) or (), pieces), strict=True):
            _put(half, name, mine)
    for half, mine in zip(halves, _cut_shapes(table.get("ceilings") or (), pieces), strict=True):
        _put(half, "ceilings", mine)
    for half, mine in zip(halves, _shared(table.get("surfaces") or (), pieces), strict=True):
        _put(half, "surfaces", mine)
    if room.wall_names:
        for half, piece in zip(halves, pieces, strict=True):
            _put(half, "wall_names", _names(room, half["outline"], piece))
    told += _without_whole(halves)
    edits: list[dict[str, Any]] = [
        {"path": ["rooms", key, name], "op": "remove"} for name in table if name not in halves[0]
    ]
    edits += [
        {"path": ["rooms", key, name], "op": "set", "value": value}
        for name, value in halves[0].items()
        if table.get(name) != value
    ]
    edits.append({"path": ["rooms", fresh], "op": "set", "value": halves[1]})
    edits += _moved_outside(tables, key, fresh, pieces[1])
    second = pieces[1]

    def design(before: "Design") -> "Design":
        return _carried(before, key, fresh, lambda item: _holds(second, item.position))

    return RoomChange(edits=edits, room=fresh, told=tuple(told), design=design)


def _pieces(room: Room, start: Point, end: Point) -> list[Any]:
    from shapely import LineString, Polygon, get_parts
    from shapely.ops import split

    far = 1e4 / max(_length(start, end), 1e-6)
    ends = [
        (start[0] + (end[0] - start[0]) * t, start[1] + (end[1] - start[1]) * t)
        for t in (-far, far)
    ]
    pieces = [
        piece
        for piece in get_parts(split(Polygon(room.outline, room.holes), LineString(ends)))
        if piece.area > _LEAST_M2
    ]
    if len(pieces) != 2:
        raise JobError(
            what=f"this line does not cut {room.label} in two",
            where=f"rooms.{room.key}",
            why=f"it makes {len(pieces)} pieces",
            do="draw it from wall to wall, through the room and past no corner twice",
        )
    pieces.sort(key=lambda piece: -piece.area)
    return pieces


def _parted(things: Sequence[Table], pieces: Sequence[Any]) -> list[list[Table]]:
    """Return the things of each piece: those across the cut in both, cut where they have shape."""
    found: list[list[Table]] = [[] for _ in pieces]
    for thing in itertools.chain.from_iterable(_single(item, pieces) for item in things):
        at = middle_of(thing)
        ring = outline_of(thing)
        if at is None:  # ears everywhere
            for mine in found:
                mine.append(_without_key(thing) if mine is not found[0] else thing)
        elif "kind" not in thing and len(ring) > 2 and "diameter" not in thing:
            for mine, (part, is_whole) in zip(found, _parts_of(ring, pieces), strict=True):
                if part is not None:
                    mine.append(thing if is_whole else {**_without_shape(thing), "outline": part})
        else:
            found[_nearest(pieces, at)].append(thing)
    return found


def _single(thing: Table, pieces: Sequence[Any]) -> list[Table]:
    """Return a repeated thing one by one where the cut runs between its places."""
    count, step = thing.get("repeat"), thing.get("step")
    if not count or not step:
        return [thing]
    dx, dy = metres(step[0]), metres(step[1])
    bare = {k: v for k, v in thing.items() if k not in {"repeat", "step"}}
    places = [moved(bare, (i * dx, j * dy)) for i in range(count[0]) for j in range(count[1])]
    homes = {_nearest(pieces, at) for item in places if (at := middle_of(item)) is not None}
    if len(homes) == 1:
        return [thing]
    return [item if n == 0 else _without_key(item) for n, item in enumerate(places)]


def _parts_of(ring: Sequence[Point], pieces: Sequence[Any]) -> list[tuple[Any, bool]]:
    from shapely import Polygon, get_parts

    shape = Polygon(ring)
    found: list[tuple[Any, bool]] = []
    for piece in pieces:
        solid = Polygon(piece.exterior)  # what stands in a hole is of the room around it
        parts = [p for p in get_parts(shape.intersection(solid)) if p.geom_type == "Polygon"]
        best = max(parts, key=lambda part: part.area, default=None)
        if best is None or best.area < _LEAST_M2:
            found.append((None, False))
        else:
            found.append((_ring(best), best.area > 0.999 * shape.area))
    return found


def _cut_shapes(ceilings: Sequence[Table], pieces: Sequence[Any]) -> list[list[Table]]:
    """Return the ceilings of each piece; one without a shape covers both."""
    found: list[list[Table]] = [[] for _ in pieces]
    for ceiling in ceilings:
        ring = outline_of(ceiling)
        if not ring:
            for mine in found:
                mine.append(ceiling)
            continue
        for mine, (part, is_whole) in zip(found, _parts_of(ring, pieces), strict=True):
            if part is not None:
                mine.append(ceiling if is_whole else {**_without_shape(ceiling), "outline": part})
    return found


def _shared(surfaces: Sequence[Table], pieces: Sequence[Any]) -> list[list[Table]]:
    """Share stated areas and counts out by floor area."""
    whole = sum(piece.area for piece in pieces)
    found: list[list[Table]] = [[] for _ in pieces]
    for surface in surfaces:
        left = surface.get("count")
        for mine, piece in zip(found, pieces, strict=True):
            part = dict(surface)
            share = piece.area / whole
            if "area" in surface:
                from soffit.units import parse

                part["area"] = round(parse(surface["area"], "area") * share, 2)
            if left is not None:
                part["count"] = round(surface["count"] * share) if mine is found[0] else left
                left -= part["count"]
                if part["count"] < 1:
                    continue
            mine.append(part)
    return found


def _names(room: Room, outline: Sequence[Sequence[float]], piece: Any) -> list[str]:  # noqa: ANN401 a shapely polygon
    """Return names of the walls of a piece that are walls of the room."""
    from shapely import LineString
    from shapely import Point as PlanPoint

    del piece
    walls = list(zip(room.outline, (*room.outline[1:], room.outline[0]), strict=True))
    names = []
    for a, b in zip(outline, (*outline[1:], outline[0]), strict=True):
        middle = PlanPoint((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        on = [n for n, wall in enumerate(walls) if LineString(wall).distance(middle) < 1e-3]
        names.append(room.wall_names[on[0]] if on and on[0] < len(room.wall_names) else "")
    return names if any(names) else []


def _without_whole(halves: Sequence[Table]) -> list[str]:
    """Take out what held for the whole room alone, and say so."""
    told = []
    if "reverberation" in halves[0]:
        told.append("the measured reverberation was that of the whole room: it is taken out")
    if "count" in halves[0].get("brief", {}):
        told.append("the asked count was that of the whole room: it is taken out")
    for half in halves:
        half.pop("reverberation", None)
        if "count" in half.get("brief", {}):
            half["brief"] = {k: v for k, v in half["brief"].items() if k != "count"}
    return told


def _moved_outside(tables: Table, key: str, fresh: str, piece: Any) -> list[dict[str, Any]]:  # noqa: ANN401 a shapely polygon
    """Return changes of what stands outside the room's table: racks, placed speakers, zones."""
    edits: list[dict[str, Any]] = []
    for name, rack in (tables.get("racks") or {}).items():
        at = middle_of(rack)
        if rack.get("room") == key and at is not None and _holds(piece, at):
            edits.append({"path": ["racks", name, "room"], "op": "set", "value": fresh})
    for index, placed in enumerate(tables.get("placed") or ()):
        at = middle_of(placed)
        if placed.get("room") == key and at is not None and _holds(piece, at):
            edits.append({"path": ["placed", index, "room"], "op": "set", "value": fresh})
    for name, zone in (tables.get("zones") or {}).items():
        if key in zone.get("rooms", ()):
            edits.append({"path": ["zones", name, "rooms"], "op": "append", "value": fresh})
    return edits


def _carried(
    design: "Design",
    old: str,
    new: str,
    is_mine: "Callable[[Speaker], bool]",
    ceilings: Mapping[str, str] | None = None,
) -> "Design":
    """Return the design with loudspeakers of one room given to another."""
    names = ceilings or {}
    speakers = tuple(
        replace(item, room_key=new, ceiling_key=names.get(item.ceiling_key, item.ceiling_key))
        if item.room_key == old and is_mine(item)
        else item
        for item in design.speakers
    )
    return replace(design, speakers=speakers)


# -- joining ---------------------------------------------------------------------------------


def merge_rooms(page: PageJob, first: str, second: str) -> RoomChange:
    """Make one room of two that lie side by side, with everything that is in both.

    Parameters
    ----------
    page
        The job.
    first, second
        Keys of the rooms; the first one's name and brief stay.

    Raises
    ------
    JobError
        If they do not touch, even with a usual wall between them.
    """
    survey = page.job().survey
    one, two = survey.room(first), survey.room(second)
    joined = _joined(one, two)
    tables = _tables(page)
    mine, other = tables["rooms"][one.key], tables["rooms"][two.key]
    edits: list[dict[str, Any]] = [
        {"path": ["rooms", one.key, name], "op": "remove"} for name in sorted(_SHAPE & set(mine))
    ]
    if "wall_names" in mine:
        edits.append({"path": ["rooms", one.key, "wall_names"], "op": "remove"})
    edits.append({"path": ["rooms", one.key, "outline"], "op": "set", "value": _ring(joined)})
    for name in LISTS:
        taken = {item.get("key") for item in mine.get(name) or ()}
        more = [
            item if item.get("key") not in taken else _without_key(item, needs_key=name)
            for item in other.get(name) or ()
        ]
        if more:
            value = [*(mine.get(name) or ()), *more]
            edits.append({"path": ["rooms", one.key, name], "op": "set", "value": value})
    ceilings, names = _both_ceilings(mine, other, one, two)
    if ceilings:
        edits.append({"path": ["rooms", one.key, "ceilings"], "op": "set", "value": ceilings})
    told = _lost(mine, other, one, two)
    if "reverberation" in mine:
        edits.append({"path": ["rooms", one.key, "reverberation"], "op": "remove"})
    edits.append({"path": ["rooms", two.key], "op": "remove"})
    edits += _given(tables, one.key, two.key)

    def design(before: "Design") -> "Design":
        after = _carried(before, two.key, one.key, lambda _item: True, names)
        rooms = tuple(entry for entry in after.rooms if entry.room_key != two.key)
        return replace(after, rooms=rooms)

    return RoomChange(edits=edits, room=one.key, told=told, design=design)


def _joined(one: Room, two: Room) -> Any:  # noqa: ANN401 a shapely polygon
    from shapely import Polygon
    from shapely.geometry import JOIN_STYLE

    if one.storey_key != two.storey_key:
        raise _apart(one, two, "they are on different storeys")
    shapes = [Polygon(room.outline) for room in (one, two)]
    grown = [shape.buffer(_WALL_M / 2, join_style=JOIN_STYLE.mitre) for shape in shapes]
    joined = grown[0].union(grown[1]).buffer(-_WALL_M / 2, join_style=JOIN_STYLE.mitre)
    if joined.geom_type != "Polygon" or one.key == two.key:
        raise _apart(one, two, f"more than {_WALL_M:g} m lie between them")
    return joined


def _apart(one: Room, two: Room, why: str) -> JobError:
    return JobError(
        what=f"{one.label} and {two.label} cannot become one room",
        where=f"rooms.{one.key}, rooms.{two.key}",
        why=why,
        do="choose two rooms that lie side by side",
    )


def _both_ceilings(
    mine: Table, other: Table, one: Room, two: Room
) -> tuple[list[Table], dict[str, str]]:
    """Return the ceilings of the joined room, and the keys that ceilings of the second get.

    Ceilings that are alike become one; another height, kind or grid stays where it hangs.
    """
    names = {
        ceiling.key: one.ceilings[min(n, len(one.ceilings) - 1)].key
        for n, ceiling in enumerate(two.ceilings)
        if one.ceilings
    }
    theirs = list(other.get("ceilings") or ())
    ours = list(mine.get("ceilings") or ())
    kept = {name for ceiling in ours for name in (ceiling.get("key"),)}
    added: list[Table] = []
    for number, ceiling in enumerate(theirs):
        shaped = outline_of(ceiling)
        same = [
            n for n, mate in enumerate(ours) if not shaped and not outline_of(mate)
            and _alike(mate, ceiling)
        ]  # fmt: skip
        if same:
            names[two.ceilings[number].key] = one.ceilings[same[0]].key
            continue
        key = str(ceiling.get("key") or two.ceilings[number].key)
        free = next(k for k in (key, *(f"{key}-{n}" for n in range(2, 99))) if k not in kept)
        kept.add(free)
        names[two.ceilings[number].key] = free
        whole = [[round(x, 4), round(y, 4)] for x, y in two.outline]
        shape = {} if shaped else {"outline": whole}
        added.append({**ceiling, "key": free, **shape})
    return ([*ours, *added] if added else []), names


def _alike(one: Table, two: Table) -> bool:
    def facts(ceiling: Table) -> list[Any]:
        grid = ceiling.get("grid") or {}
        heights = [metres(ceiling[n]) if n in ceiling else None for n in ("height", "void_depth")]
        pitch = [round(metres(v), 4) for v in grid.get("pitch") or ()]
        rest = [ceiling.get(n) for n in ("plenum", "fire_rated", "slope", "speaker_type")]
        return [ceiling.get("kind", "grid"), *heights, pitch, grid.get("angle"), *rest]

    return facts(one) == facts(two)


def _lost(mine: Table, other: Table, one: Room, two: Room) -> tuple[str, ...]:
    told = []
    if "reverberation" in mine or "reverberation" in other:
        told.append("measured reverberation was that of each room alone: it is taken out")
    if (other.get("brief") or {}) != (mine.get("brief") or {}):
        told.append(f"what was asked for {one.label} holds, not that of {two.label}")
    return tuple(told)


def _given(tables: Table, one: str, two: str) -> list[dict[str, Any]]:
    edits: list[dict[str, Any]] = []
    for key, rack in (tables.get("racks") or {}).items():
        if rack.get("room") == two:
            edits.append({"path": ["racks", key, "room"], "op": "set", "value": one})
    for index, placed in enumerate(tables.get("placed") or ()):
        if placed.get("room") == two:
            edits.append({"path": ["placed", index, "room"], "op": "set", "value": one})
    for key, zone in (tables.get("zones") or {}).items():
        if two in zone.get("rooms", ()):
            rooms = [one if item == two else item for item in zone["rooms"]]
            value = list(dict.fromkeys(rooms))
            edits.append({"path": ["zones", key, "rooms"], "op": "set", "value": value})
    return edits


# -- shared ----------------------------------------------------------------------------------


def _put(table: Table, name: str, value: Any) -> None:  # noqa: ANN401 a list of a file
    if value:
        table[name] = value
    else:
        table.pop(name, None)


def _without_shape(thing: Table) -> Table:
    return {name: value for name, value in thing.items() if name not in _SHAPE}


def _without_key(thing: Table, *, needs_key: str = "") -> Table:
    if needs_key == "test_points":  # readings name them: they keep a key, made longer
        return {**thing, "key": f"{thing['key']}-2"}
    return {name: value for name, value in thing.items() if name != "key"}


def _nearest(pieces: Sequence[Any], at: Point) -> int:
    from shapely import Point as PlanPoint
    from shapely import Polygon

    place = PlanPoint(at)
    return min(range(len(pieces)), key=lambda n: Polygon(pieces[n].exterior).distance(place))


def _holds(piece: Any, at: Point) -> bool:  # noqa: ANN401 a shapely polygon
    from shapely import Point as PlanPoint
    from shapely import Polygon

    return bool(Polygon(piece.exterior).covers(PlanPoint(at)))


def _ring(polygon: Any) -> list[list[float]]:  # noqa: ANN401 a shapely polygon
    """Return the corners of a polygon, those on straight walls left out."""
    plain = polygon.simplify(1e-6).exterior.coords[:-1]
    return [[round(float(x), 4), round(float(y), 4)] for x, y, *_ in plain]


def _length(a: Point, b: Point) -> float:
    return float(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5)
