"""The survey on the page: rooms, briefs, ceilings, and changes that keep comments."""

from collections.abc import Mapping, Sequence
from typing import Any, Final, get_args

from soffit.errors import JobError
from soffit.model.survey import EvennessMeasure, ObstacleKind, Point, Programme, Room
from soffit.papers import fonts
from soffit.papers.scene import FAINT, INK, SOFT, Box, Path, Pen, Scene, Text
from soffit.papers.svg import svg_elements
from soffit.units import format_length
from soffit.work.page_state import PageJob, Snapshot
from soffit.work.page_things import things_dict

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
    survey, design = now.job.survey, now.job.design
    catalogue = now.job.catalogue
    tables = tomllib.loads(text)
    return {
        "revision": now.job.job_revision,
        "is_stale": bool(design.speakers) and design.job_hash != now.job.job_hash,
        "tables": tables,
        "things": things_dict(tables),
        "storeys": [{"key": item.key, "label": item.label} for item in survey.storeys],
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
            "material": materials_of(tables),
        },
    }


def materials_of(tables: Mapping[str, Any]) -> list[dict[str, str]]:
    """Return the materials that a surface can be made of: the table's, objects, and own ones.

    Parameters
    ----------
    tables
        The tables of job.toml, its own materials among them.
    """
    from soffit.tables.load import load_table

    own = [
        {
            "id": key,
            "name": str(entry.get("label") or key),
            "kind": "own piece" if "each" in entry else "own",
        }
        for key, entry in (tables.get("materials") or {}).items()
    ]
    plain = [
        {"id": row["material"], "name": row["name"], "kind": "table"}
        for row in load_table("absorption").rows
    ]
    pieces = [
        {"id": row["object"].replace(" ", "_"), "name": row["object"], "kind": "piece"}
        for row in load_table("absorption_objects").rows
    ]
    return [*own, *plain, *pieces]


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
            value=plain_value(edit.get("value")),
        )
        for edit in edits
    ]
    with page.lock:
        edit_survey(page.folder, steps, revision, who=who, what=what)
        return page.now()


def plain_value(value: Any) -> Any:  # noqa: ANN401 any value of a file
    """Return a value with whole numbers as such, as a person would write them."""
    if isinstance(value, list):
        return [plain_value(item) for item in value]
    if isinstance(value, dict):
        return {str(key): plain_value(item) for key, item in value.items()}
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


def storey_of(now: Snapshot, room_key_: str) -> str:
    """Return the storey of a room, the first one's for a room that is not there.

    Parameters
    ----------
    now
        The job.
    room_key_
        Key of the room.
    """
    rooms = now.job.survey.rooms
    return next((room.storey_key for room in rooms if room.key == room_key_), rooms[0].storey_key)


def overview(now: Snapshot, storey: str = "", boxes: Sequence[Box] = ()) -> dict[str, Any]:
    """Draw all rooms of a storey on one sheet, for the survey.

    Parameters
    ----------
    now
        The job.
    storey
        Key of the storey; the first room's if empty.
    boxes
        What else must have room on the sheet, such as a plan to draw on. [m]

    Returns
    -------
    dict
        Size, elements, scale and origin of the drawing.
    """
    survey = now.job.survey
    storey = storey or storey_of(now, "")
    rooms = [room for room in survey.rooms if room.storey_key == storey]
    points = [point for room in rooms for point in room.outline] or [(0.0, 0.0), (9.0, 6.0)]
    points += [corner for box in boxes for corner in (box[:2], box[2:])]
    left, right = min(x for x, _ in points), max(x for x, _ in points)
    low, high = min(y for _, y in points), max(y for _, y in points)
    scale = (_SHEET_MM - 20.0) / max(right - left, high - low, 1.0)
    width, height = (right - left) * scale + 20.0, (high - low) * scale + 20.0

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return 10.0 + (point[0] - left) * scale, height - 10.0 - (point[1] - low) * scale

    scene = Scene(width, height)
    for room in rooms:
        ring = tuple(at(point) for point in room.outline)
        scene.add(Path(rings=(ring,), layer="walls", pen=Pen(0.5, INK), closed=True))
        for hole in room.holes:
            corners = tuple(at(point) for point in hole)
            scene.add(
                Path(rings=(corners,), layer="walls", pen=Pen(0.3, INK), fill=FAINT, closed=True)
            )
        xs, ys = [x for x, _ in ring], [y for _, y in ring]
        middle = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
        _letter(scene, room, middle, max(xs) - min(xs))
    return {
        "width": round(width, 3),
        "height": round(height, 3),
        "drawing": svg_elements(scene.items),
        "mm_per_m": scale,
        "origin_m": [left, low],
        "at": [10.0, height - 10.0],
        "storey": storey,
    }


def _letter(scene: Scene, room: Room, middle: Point, wide_mm: float) -> None:
    """Write name and use into a room, where they fit."""
    caps = [cap for cap in (2.6, 2.2, 1.8) if fonts.width_mm(room.label, cap_mm=cap) < wide_mm]
    if not caps:
        return
    scene.add(
        Text(at=middle, text=room.label, layer="names", cap=caps[0], anchor="middle", halo=True)
    )
    is_other = room.use.casefold() != room.label.casefold()
    if is_other and fonts.width_mm(room.use, cap_mm=1.9) < wide_mm:
        scene.add(
            Text(
                at=(middle[0], middle[1] + 4.0),
                text=room.use,
                layer="names",
                cap=1.9,
                anchor="middle",
                colour=SOFT,
            )
        )
