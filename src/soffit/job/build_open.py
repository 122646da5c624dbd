"""Rooms that are open to each other: what a job says of them must fit their plans."""

from collections.abc import Sequence

from soffit.job.locate import Path
from soffit.job.problems import Problems
from soffit.job.schema import JobFile
from soffit.model.survey import OPEN_APART_M, Room


def check_open_rooms(file: JobFile, problems: Problems, rooms: Sequence[Room]) -> None:
    """Note rooms that are said to be open to one that does not lie beside them.

    Parameters
    ----------
    file
        The job as read.
    problems
        Where to collect what is wrong.
    rooms
        Rooms with a usable outline.
    """
    by_key = {room.key: room for room in rooms}
    for room in rooms:
        for index, key in enumerate(file.rooms[room.key].open_to):
            path: Path = ("rooms", room.key, "open_to", index)
            others = [name for name in file.rooms if name != room.key]
            if key not in others:
                problems.unknown(path, key, others, "other room")
            elif key in by_key:
                _check_beside(problems, path, room, by_key[key])


def _check_beside(problems: Problems, path: Path, room: Room, other: Room) -> None:
    from shapely import Polygon  # noqa: PLC0415 few jobs need it

    mine, theirs = Polygon(room.outline), Polygon(other.outline)
    near = mine.buffer(OPEN_APART_M, join_style="mitre")
    apart_m = float(mine.distance(theirs))
    along_m = float(near.intersection(theirs.exterior).length)
    if other.storey_key != room.storey_key:
        why = "they are on different storeys"
    elif apart_m > OPEN_APART_M:
        why = f"their outlines are {apart_m:.2f} m apart"
    elif along_m <= 2.0 * OPEN_APART_M + 1e-6:
        why = "their outlines meet at a corner only"
    else:
        return
    problems.add(
        path,
        f"{other.label} does not lie beside {room.label}",
        why=why,
        do=f"name a room on the same storey at most {OPEN_APART_M:g} m away, or leave it out",
    )
