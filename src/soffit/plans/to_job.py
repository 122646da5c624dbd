"""Proposals to the tables of job.toml, with a note wherever something was assumed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from shapely.geometry import Point as PlanPoint
from shapely.geometry import Polygon
from shapely.ops import nearest_points

from soffit.model.survey import Point, Region
from soffit.plans.proposal import (
    CeilingProposal,
    ObstacleProposal,
    PlanProposal,
    RoomProposal,
)

Tables = dict[str, Any]

_RACK_WORDS: Final = (
    ("rack", "comms", "server", "technik", "av room", "amplifier", "idf", "mdf", "telecom"),
    ("electrical", "plant", "utility", "technical", "elektro", "services", "hwr"),
    ("store", "storage", "cleaner", "closet", "lager", "abstell"),
    ("reception", "office", "staff", "manager", "buro", "büro", "bureau"),
)
"""Rooms in which a rack stands best, by words of their name; common practice, no source."""

_WALL_M: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteWishes:
    """What a plan does not tell of a job.

    Parameters
    ----------
    name
        Name of the job; the file's if empty.
    region
        Whose codes and habits apply.
    line_voltage_v
        Nominal line voltage; by the region if ``None``. [V]
    units
        What papers show; by the file if ``None``.
    """

    name: str = ""
    region: Region = "other"
    line_voltage_v: float | None = None
    units: str | None = None


def job_tables(
    proposal: PlanProposal, rooms: Sequence[RoomProposal], wishes: SiteWishes, *, name: str
) -> Tables:
    """Return the tables of a new job.

    Parameters
    ----------
    proposal
        What was read.
    rooms
        Rooms that are kept; at least one.
    wishes
        What the plan does not tell.
    name
        Name of the job where the wishes have none.

    Returns
    -------
    dict
        As they stand in job.toml; lengths are metres.
    """
    storeys = {room.storey_key for room in rooms}
    volts = wishes.line_voltage_v or (70.7 if wishes.region == "US" else 100.0)
    units = wishes.units or ("imperial" if proposal.is_imperial else "metric")
    notes = [f"Read from {proposal.source}.", *proposal.notes]
    if wishes.line_voltage_v is None:
        notes.append(f"Line voltage {volts:g} V is assumed.")
    rack, rack_note = _rack(rooms)
    return {
        "site": {
            "name": wishes.name or name,
            "region": wishes.region,
            "units": units,
            "line_voltage": volts,
            "note": " ".join(notes),
        },
        "storeys": {
            item.key: {"label": item.label, "elevation": item.elevation_m}
            for item in proposal.storeys
            if item.key in storeys
        },
        "racks": {"main": {"label": "Rack", **rack, "note": rack_note}},
        "rooms": {room.key: room_table(room, obstacles_of(proposal, room.key)) for room in rooms},
        "zones": {"all": {"label": "All rooms", "rooms": [room.key for room in rooms]}},
    }


def obstacles_of(proposal: PlanProposal, room_key: str) -> list[ObstacleProposal]:
    """Return the obstacles of a room.

    Parameters
    ----------
    proposal
        What was read.
    room_key
        Key of the room.
    """
    return [item for item in proposal.obstacles if item.room_key == room_key]


def room_table(room: RoomProposal, obstacles: Sequence[ObstacleProposal]) -> Tables:
    """Return the table of one room.

    Parameters
    ----------
    room
        What was read.
    obstacles
        Its obstacles.

    Returns
    -------
    dict
        As it stands in job.toml.
    """
    notes = [
        f"confidence {room.confidence:.2f}",
        *(f"assumed: {text}" for text in room.assumed),
        *(f"doubt: {text}" for text in room.doubts),
    ]
    table: Tables = {
        "label": room.label,
        "storey": room.storey_key,
        "outline": _points(room.outline),
        "use": room.use or None,
        "note": "; ".join(notes),
        "columns": [{"outline": _points(ring)} for ring in (*room.holes, *room.columns)] or None,
        "noise": _noise(room),
        "ceilings": ceiling_tables(room),
        "doors": [
            {"label": door.label, "at": list(door.position), "width": door.width_m}
            for door in room.doors
        ]
        or None,
        "obstacles": obstacle_tables(obstacles) or None,
    }
    return {key: value for key, value in table.items() if value is not None}


def _points(ring: Sequence[Point]) -> list[list[float]]:
    return [[x, y] for x, y in ring]


def _noise(room: RoomProposal) -> Tables | None:
    if room.noise is None or room.noise.kind == "octaves":
        return None
    return {room.noise.kind: room.noise.value, "source": room.noise.source}


def ceiling_tables(room: RoomProposal) -> list[Tables]:
    """Return the tables of a room's ceilings.

    Parameters
    ----------
    room
        What was read.
    """
    found = []
    for number, ceiling in enumerate(room.ceilings, 1):
        key = "ceiling" if len(room.ceilings) == 1 else f"ceiling{number}"
        found.append(_ceiling_table(ceiling, key))
    return found


def _ceiling_table(ceiling: CeilingProposal, key: str) -> Tables:
    kind = f"kind: {ceiling.kind_text}" if ceiling.kind_text else f"kind {ceiling.kind} is assumed"
    table: Tables = {
        "key": key,
        "kind": ceiling.kind,
        "height": ceiling.height_m,
        "height_source": ceiling.height_source,
        "structure_height": ceiling.structure_height_m,
        "outline": _points(ceiling.region) if ceiling.region else None,
        "tile_material": ceiling.material or None,
        "note": f"{ceiling.height_text}; {kind}",
        "grid": _grid(ceiling),
    }
    if ceiling.slope_ratio:
        table["slope"] = {
            "ratio": ceiling.slope_ratio,
            "angle": round(math.degrees(ceiling.slope_angle_rad), 3),
            "at": list(ceiling.slope_at),
        }
    return {name: value for name, value in table.items() if value is not None}


def _grid(ceiling: CeilingProposal) -> Tables | None:
    if ceiling.kind != "grid" or ceiling.pitch_m is None:
        return None
    grid: Tables = {"pitch": list(ceiling.pitch_m)}
    if ceiling.grid_origin is not None:
        grid["origin"] = list(ceiling.grid_origin)
        grid["angle"] = round(math.degrees(ceiling.grid_angle_rad), 4)
    return grid


def obstacle_tables(obstacles: Sequence[ObstacleProposal]) -> list[Tables]:
    """Return the tables of obstacles, each with a key of its own.

    Parameters
    ----------
    obstacles
        Of one room.
    """
    counts: dict[str, int] = {}
    found = []
    for item in obstacles:
        stem = item.kind.replace(" ", "-")
        counts[stem] = counts.get(stem, 0) + 1
        table: Tables = {
            "key": f"{stem}{counts[stem]}",
            "kind": item.kind,
            "label": item.label,
            "outline": _points(item.outline),
            "bottom": item.bottom_m,
            "top": item.top_m,
            "doubt": item.doubt or None,
            "source": item.source or None,
        }
        found.append({name: value for name, value in table.items() if value is not None})
    return found


def _rack(rooms: Sequence[RoomProposal]) -> tuple[Tables, str]:
    """Choose a place for the rack: a service room that is kept, else one near the middle."""
    middle = _middle(rooms)
    for words in _RACK_WORDS:
        fits = [
            room
            for room in rooms
            if any(word in f"{room.label} {room.use}".lower() for word in words)
        ]
        if fits:
            best = min(fits, key=lambda room: _distance(room, middle))
            return _rack_in(best, middle), f"assumed: in {best.label}, by its name; move it"
    best = min(rooms, key=lambda room: (_distance(room, middle), room.key))
    return _rack_in(best, middle), (
        f"assumed: in {best.label}, the room nearest to the middle of all; move it to where it"
        " really stands"
    )


def _middle(rooms: Sequence[RoomProposal]) -> PlanPoint:
    weights = [(Polygon(room.outline).centroid, room.area_m2) for room in rooms]
    whole = sum(area for _, area in weights)
    return PlanPoint(
        sum(point.x * area for point, area in weights) / whole,
        sum(point.y * area for point, area in weights) / whole,
    )


def _distance(room: RoomProposal, at: PlanPoint) -> float:
    return float(Polygon(room.outline).distance(at))


def _rack_in(room: RoomProposal, middle: PlanPoint) -> Tables:
    """Put the rack at a wall of a room, on the side of the middle of all rooms."""
    shape = Polygon(room.outline, [*room.holes, *room.columns])
    inner = shape.buffer(-_WALL_M)
    if inner.is_empty:
        spot = shape.representative_point()
    else:
        spot = nearest_points(inner.boundary, middle)[0]
    return {
        "room": room.key,
        "storey": room.storey_key,
        "at": [round(spot.x, 3), round(spot.y, 3)],
    }
