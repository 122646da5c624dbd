"""The survey on the page: rooms, briefs, ceilings, and changes that keep comments."""

from collections.abc import Mapping, Sequence
from typing import Any, Final, get_args

from soffit.errors import JobError
from soffit.model.survey import EvennessMeasure, ObstacleKind, Point, Programme, Room
from soffit.papers.scene import FAINT, HAIR, INK, SOFT, Path, Pen, Scene, Text
from soffit.papers.svg import svg_elements
from soffit.units import format_length
from soffit.work.page_state import PageJob, Snapshot

_SHEET_MM: Final = 300.0
_ROOM_KEY: Final = "abcdefghijklmnopqrstuvwxyz0123456789-_"


def survey_dict(page: PageJob) -> dict[str, Any]:
    """Return the survey as the page edits it: the tables of job.toml, and what was assumed.

    Parameters
    ----------
    page
        The job.
    """
    import tomllib

    text = (page.folder / "job.toml").read_text(encoding="utf-8")
    now = page.now()
    survey = now.job.survey
    catalogue = now.job.catalogue
    return {
        "revision": now.job.job_revision,
        "tables": tomllib.loads(text),
        "rooms": [_room_dict(now, room) for room in survey.rooms],
        "assumptions": [
            {"path": item.path, "text": item.text, "source": item.source}
            for item in survey.assumptions
        ],
        "choices": {
            "programme": list(get_args(Programme)),
            "evenness_measure": list(get_args(EvennessMeasure)),
            "obstacle": list(get_args(ObstacleKind)),
            "speaker_type": [
                {"id": item.id, "name": item.name, "kind": item.kind}
                for item in catalogue.speaker_types
            ],
        },
    }


def _room_dict(now: Snapshot, room: Room) -> dict[str, Any]:
    imperial = now.job.survey.site.is_imperial
    return {
        "key": room.key,
        "label": room.label,
        "use": room.use,
        "outline": [list(point) for point in room.outline],
        "holes": [[list(point) for point in ring] for ring in room.holes],
        "area_m2": round(abs(_area(room.outline)), 2),
        "storey": room.storey_key,
        "is_locked": room.is_locked,
        "walls": [
            format_length(_length(a, b), imperial=imperial)
            for a, b in zip(room.outline, (*room.outline[1:], room.outline[0]), strict=True)
        ],
        "ceilings": [
            {
                "key": ceiling.key,
                "kind": ceiling.kind,
                "height": format_length(ceiling.height_m, imperial=imperial),
                "height_m": ceiling.height_m,
                "source": ceiling.height_source,
                "grid": {
                    "origin": list(ceiling.grid.origin),
                    "angle_rad": ceiling.grid.angle_rad,
                    "pitch": [ceiling.grid.pitch_x_m, ceiling.grid.pitch_y_m],
                }
                if ceiling.grid
                else None,
            }
            for ceiling in room.ceilings
        ],
        "speakers": sum(item.room_key == room.key for item in now.job.design.speakers),
    }


def _area(ring: Sequence[tuple[float, float]]) -> float:
    return 0.5 * sum(
        ax * by - bx * ay for (ax, ay), (bx, by) in zip(ring, (*ring[1:], ring[0]), strict=True)
    )


def _length(a: tuple[float, float], b: tuple[float, float]) -> float:
    return float(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5)


def change_survey(
    page: PageJob, edits: Sequence[Mapping[str, Any]], *, revision: int, who: str, what: str = ""
) -> Snapshot:
    """Change values of job.toml; comments and the order of the rest stay.

    Parameters
    ----------
    page
        The job.
    edits
        ``path``, ``op`` and ``value`` of each change.
    revision
        Revision of job.toml that the person saw.
    who, what
        For history.

    Returns
    -------
    Snapshot
        The job as it stands now.

    Raises
    ------
    JobError
        With every problem that the changed survey would have; nothing is written then.
    StaleError
        If somebody else has changed it meanwhile.
    """
    from soffit.job.api import Edit, edit_survey

    steps = [
        Edit(
            path=tuple(edit["path"]),
            op=edit.get("op", "set"),
            value=_plain(edit.get("value")),
        )
        for edit in edits
    ]
    with page.lock:
        edit_survey(page.folder, steps, revision, who=who, what=what)
        return page.now()


def split_edits(
    page: PageJob, room_key_: str, start: Point, end: Point
) -> tuple[list[dict[str, Any]], str]:
    """Return the changes that cut a room in two along a straight line.

    Parameters
    ----------
    page
        The job.
    room_key_
        The room.
    start, end
        Two points of the line; it is taken as long as needed. [m]

    Returns
    -------
    tuple
        The changes, and the key of the new room.

    Raises
    ------
    JobError
        If the line does not cut the room into exactly two.
    """
    import tomllib

    from shapely import LineString, Polygon, get_parts
    from shapely.ops import split

    survey = page.job().survey
    room = survey.room(room_key_)
    far = 1e4 / max(_length(start, end), 1e-6)
    ends = [
        (start[0] + (end[0] - start[0]) * t, start[1] + (end[1] - start[1]) * t)
        for t in (-far, far)
    ]
    pieces = [
        piece
        for piece in get_parts(split(Polygon(room.outline, room.holes), LineString(ends)))
        if piece.area > 0.01
    ]
    if len(pieces) != 2:
        raise JobError(
            what=f"this line does not cut {room.label} in two",
            where=f"rooms.{room.key}",
            why=f"it makes {len(pieces)} pieces",
            do="draw it from wall to wall, through the room and past no corner twice",
        )
    pieces.sort(key=lambda piece: -piece.area)
    text = (page.folder / "job.toml").read_text(encoding="utf-8")
    table = dict(tomllib.loads(text)["rooms"][room.key])
    fresh = room_key(page, f"{room.key}-2")
    edits = [*_outline_edits(room.key, table, pieces[0])]
    second = {
        name: value for name, value in table.items() if name in {"storey", "use", "brief", "noise"}
    }
    second |= {"label": f"{room.label} 2", "outline": _ring(pieces[1])}
    if "ceilings" in table:
        whole = [item for item in table["ceilings"] if not _SHAPE & set(item)]
        second["ceilings"] = whole
    edits.append({"path": ["rooms", fresh], "op": "set", "value": second})
    return edits, fresh


_SHAPE: Final = frozenset({"corner", "size", "at", "diameter", "outline"})


def _ring(polygon: Any) -> list[list[float]]:  # noqa: ANN401 a shapely polygon
    """Return the corners of a polygon, those on straight walls left out."""
    plain = polygon.simplify(1e-6).exterior.coords[:-1]
    return [[round(float(x), 4), round(float(y), 4)] for x, y, *_ in plain]


def _outline_edits(key: str, table: Mapping[str, Any], polygon: Any) -> list[dict[str, Any]]:  # noqa: ANN401 a shapely polygon
    edits: list[dict[str, Any]] = [
        {"path": ["rooms", key, name], "op": "remove"} for name in sorted(_SHAPE & set(table))
    ]
    edits.append({"path": ["rooms", key, "outline"], "op": "set", "value": _ring(polygon)})
    return edits


def merge_edits(page: PageJob, first: str, second: str) -> list[dict[str, Any]]:
    """Return the changes that make one room of two that lie side by side.

    Parameters
    ----------
    page
        The job.
    first, second
        Keys of the rooms; the first one's name, brief and ceilings stay.

    Raises
    ------
    JobError
        If they do not touch, even with a usual wall between them.
    """
    import tomllib

    from shapely import Polygon
    from shapely.geometry import JOIN_STYLE

    survey = page.job().survey
    one, two = survey.room(first), survey.room(second)
    if one.storey_key != two.storey_key:
        raise _apart(one, two, "they are on different storeys")
    shapes = [Polygon(room.outline) for room in (one, two)]
    grown = [shape.buffer(_WALL_M / 2, join_style=JOIN_STYLE.mitre) for shape in shapes]
    joined = grown[0].union(grown[1]).buffer(-_WALL_M / 2, join_style=JOIN_STYLE.mitre)
    if joined.geom_type != "Polygon" or first == second:
        raise _apart(one, two, f"more than {_WALL_M:g} m lie between them")
    tables = tomllib.loads((page.folder / "job.toml").read_text(encoding="utf-8"))
    edits = _outline_edits(one.key, tables["rooms"][one.key], joined)
    edits.append({"path": ["rooms", two.key], "op": "remove"})
    for key, rack in (tables.get("racks") or {}).items():
        if rack.get("room") == two.key:
            edits.append({"path": ["racks", key, "room"], "op": "set", "value": one.key})
    for index, placed in enumerate(tables.get("placed") or []):
        if placed.get("room") == two.key:
            edits.append({"path": ["placed", index, "room"], "op": "set", "value": one.key})
    for key, zone in (tables.get("zones") or {}).items():
        if two.key in zone.get("rooms", []):
            rooms = [one.key if item == two.key else item for item in zone["rooms"]]
            value = list(dict.fromkeys(rooms))
            edits.append({"path": ["zones", key, "rooms"], "op": "set", "value": value})
    return edits


_WALL_M: Final = 0.5
"""Thickest wall over which two rooms are merged (common practice, no source). [m]"""


def _apart(one: Room, two: Room, why: str) -> JobError:
    return JobError(
        what=f"{one.label} and {two.label} cannot become one room",
        where=f"rooms.{one.key}, rooms.{two.key}",
        why=why,
        do="choose two rooms that lie side by side",
    )


def _plain(value: Any) -> Any:  # noqa: ANN401 any value of a file
    """Return a value with whole numbers as such, as a person would write them."""
    if isinstance(value, list):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e9:
        return int(value)
    return value


def replace_survey(page: PageJob, text: str, *, revision: int, who: str) -> Snapshot:
    """Write the whole text of job.toml.

    Parameters
    ----------
    page
        The job.
    text
        The new text.
    revision
        Revision that the person saw.
    who
        For history.
    """
    from soffit.job.api import replace_survey_text

    with page.lock:
        replace_survey_text(page.folder, text, revision, who=who, what="survey as text")
        return page.now()


def survey_text(page: PageJob) -> dict[str, Any]:
    """Return the whole text of job.toml with its revision.

    Parameters
    ----------
    page
        The job.
    """
    now = page.now()
    text = (page.folder / "job.toml").read_text(encoding="utf-8")
    return {"revision": now.job.job_revision, "text": text}


def room_key(page: PageJob, label: str) -> str:
    """Return a key for a new room that none has.

    Parameters
    ----------
    page
        The job.
    label
        What people call the room.

    Raises
    ------
    JobError
        If nothing of the name can stand in a key.
    """
    base = "".join(c if c in _ROOM_KEY else "-" for c in label.casefold()).strip("-")[:30]
    if not base:
        raise JobError(
            what=f"{label!r} cannot name a room",
            where="label",
            why="a room's key is made of the letters and digits of its name",
            do="give it a name such as Hall 2",
        )
    taken = {room.key for room in page.job().survey.rooms}
    number, key = 2, base
    while key in taken:
        key, number = f"{base}-{number}", number + 1
    return key


def overview(now: Snapshot) -> dict[str, Any]:
    """Draw all rooms of each storey on one sheet, for the survey.

    Parameters
    ----------
    now
        The job.

    Returns
    -------
    dict
        Size, elements, scale and origin of the drawing.
    """
    survey = now.job.survey
    points = [point for room in survey.rooms for point in room.outline] or [(0.0, 0.0), (9.0, 6.0)]
    left, right = min(x for x, _ in points), max(x for x, _ in points)
    low, high = min(y for _, y in points), max(y for _, y in points)
    scale = (_SHEET_MM - 20.0) / max(right - left, high - low, 1.0)
    width, height = (right - left) * scale + 20.0, (high - low) * scale + 20.0

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return 10.0 + (point[0] - left) * scale, height - 10.0 - (point[1] - low) * scale

    scene = Scene(width, height)
    for room in survey.rooms:
        ring = tuple(at(point) for point in room.outline)
        for obstacle in survey.obstacles_in(room.key):
            corners = tuple(at(point) for point in obstacle.outline)
            scene.add(Path(rings=(corners,), layer="obstacles", pen=HAIR, closed=True))
        scene.add(Path(rings=(ring,), layer="walls", pen=Pen(0.5, INK), closed=True))
        for hole in room.holes:
            corners = tuple(at(point) for point in hole)
            scene.add(
                Path(rings=(corners,), layer="walls", pen=Pen(0.3, INK), fill=FAINT, closed=True)
            )
        xs, ys = [x for x, _ in ring], [y for _, y in ring]
        middle = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
        scene.add(
            Text(at=middle, text=room.label, layer="names", cap=2.6, anchor="middle", halo=True),
            Text(
                at=(middle[0], middle[1] + 4.0),
                text=room.use,
                layer="names",
                cap=1.9,
                anchor="middle",
                colour=SOFT,
            ),
        )
    return {
        "width": width,
        "height": height,
        "drawing": svg_elements(scene.items),
        "mm_per_m": scale,
        "origin_m": [left, low],
        "at": [10.0, height - 10.0],
    }
