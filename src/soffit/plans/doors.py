"""Doors on the outlines of rooms."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from math import dist

from shapely.geometry import Point, Polygon
from shapely.ops import nearest_points

from soffit.plans.proposal import DoorProposal, RoomProposal

_NUMBERED = re.compile(r"door [A-Z]{0,3}[0-9]+[a-z]?|door")
"""A door that the file calls by its number or not at all."""


def doors_on(
    shape: Polygon, doors: Iterable[tuple[float, float, float, str]], *, reach_m: float
) -> tuple[DoorProposal, ...]:
    """Return the doors that lead into a room.

    Parameters
    ----------
    shape
        Plan of the room. [m]
    doors
        Middle x and y, width, name of each. [m]
    reach_m
        How far a door may lie from the outline: half a wall. [m]

    Returns
    -------
    tuple of DoorProposal
        With their middle on the outline.
    """
    found = []
    edge = shape.exterior
    low_x, low_y, high_x, high_y = shape.bounds
    for x, y, width, name in doors:
        if not (low_x - reach_m < x < high_x + reach_m and low_y - reach_m < y < high_y + reach_m):
            continue
        at = Point(x, y)
        if edge.distance(at) > reach_m:
            continue
        spot = nearest_points(edge, at)[0]
        found.append(
            DoorProposal(
                label=_label(name),
                position=(round(spot.x, 3), round(spot.y, 3)),
                width_m=round(width, 3),
            )
        )
    found.sort(key=lambda door: door.position)
    return tuple(found)


def _label(name: str) -> str:
    short = name.rsplit(":", maxsplit=1)[-1].strip() if ":" in name else name.strip()
    return f"door {short}"[:30] if short else "door"


def named_doors(rooms: Sequence[RoomProposal], *, reach_m: float) -> list[RoomProposal]:
    """Name doors by the room that they lead to, where the file only numbers them.

    Parameters
    ----------
    rooms
        All rooms, those that will not be taken too: people know them.
    reach_m
        How far a door may lie from the outline of a room; two rooms' places of one door lie
        within twice of it. [m]

    Returns
    -------
    list of RoomProposal
        In the order given. A door that leads to no known room is "door"; equal names in one room
        are counted.
    """
    places: dict[tuple[str, str], list[tuple[str, str, tuple[float, float]]]] = {}
    for room in rooms:
        for door in room.doors:
            key = (room.storey_key, door.label)
            places.setdefault(key, []).append((room.key, room.label, door.position))
    named = []
    for room in rooms:
        labels = [
            _leads_to(room, door, places[room.storey_key, door.label], 2.0 * reach_m)
            for door in room.doors
        ]
        doors = []
        for number, (door, label) in enumerate(zip(room.doors, labels, strict=True)):
            count = 1 + labels[:number].count(label)
            text = f"{label} {count}" if labels.count(label) > 1 else label
            doors.append(replace(door, label=text))
        named.append(replace(room, doors=tuple(doors)))
    return named


def _leads_to(
    room: RoomProposal,
    door: DoorProposal,
    same: Iterable[tuple[str, str, tuple[float, float]]],
    reach_m: float,
) -> str:
    if not _NUMBERED.fullmatch(door.label):
        return door.label
    others = [
        label
        for key, label, place in same
        if key != room.key and dist(place, door.position) <= reach_m
    ]
    return f"{others[0]} door" if len(others) == 1 else "door"


def is_near(
    points: Sequence[tuple[float, float]],
    shapes: Sequence[Polygon],
    *,
    shift: tuple[float, float] = (0.0, 0.0),
) -> bool:
    """Tell whether any point lies over the box round some shapes.

    Parameters
    ----------
    points : (n, 2)
        Places. [m]
    shapes
        Shapes, at least one. [m]
    shift
        Added to the points. [m]
    """
    low_x, low_y = (min(shape.bounds[axis] for shape in shapes) for axis in (0, 1))
    high_x, high_y = (max(shape.bounds[axis] for shape in shapes) for axis in (2, 3))
    return any(
        low_x <= x + shift[0] <= high_x and low_y <= y + shift[1] <= high_y for x, y in points
    )
