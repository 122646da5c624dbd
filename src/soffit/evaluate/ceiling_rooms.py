"""Rooms and ceilings against each other: what overlaps, what is left open, what falls apart."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from soffit.model.decisions import Survey
from soffit.model.survey import Room

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomOverlap:
    """Two rooms of one storey that share floor.

    Parameters
    ----------
    room_key, other_key
        The rooms, in the order of the survey.
    area_m2
        Floor that both claim. [m²]
    share_ratio
        That floor over the floor of either or both.
    """

    room_key: str
    other_key: str
    area_m2: float
    share_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CeilingOverlap:
    """Two ceilings of a room that claim the same part of it.

    Parameters
    ----------
    area_m2
        Plan area that both claim. [m²]
    """

    room_key: str
    ceiling_key: str
    other_key: str
    area_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPart:
    """A part of a room that none of its ceilings covers.

    Parameters
    ----------
    area_m2
        Its plan area. [m²]
    """

    room_key: str
    area_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitRoom:
    """A room that its columns cut in two or more.

    Parameters
    ----------
    part_areas_m2
        Floor of every part, the largest first. [m²]
    """

    room_key: str
    part_areas_m2: tuple[float, ...]


def _floor(room: Room) -> "BaseGeometry":
    import shapely  # noqa: PLC0415 only this module's callers pay for it

    floor: BaseGeometry = shapely.Polygon(room.outline).buffer(0)
    holes = [shapely.Polygon(hole).buffer(0) for hole in room.holes]
    return floor.difference(shapely.union_all(holes)) if holes else floor


def _wide(shape: "BaseGeometry", width_m: float) -> "BaseGeometry":
    """Return a shape without its strips that are no wider than ``width_m``."""
    half = width_m / 2.0
    core = shape.buffer(-half, join_style="mitre")
    return core.buffer(half, join_style="mitre").intersection(shape)


def room_overlaps(survey: Survey, *, wall_m: float) -> tuple[RoomOverlap, ...]:
    """Find rooms of one storey that overlap by more than a wall's thickness.

    Parameters
    ----------
    survey
        The rooms.
    wall_m
        Overlaps no wider than this are walls drawn on their middle or their outside. [m]

    Returns
    -------
    tuple of RoomOverlap
        By rooms in the order of the survey; a courtyard of one that holds the other is none.
    """
    import shapely  # noqa: PLC0415 only this module's callers pay for it

    floors = [_floor(room) for room in survey.rooms]
    found = []
    for first, second in sorted(map(tuple, shapely.STRtree(floors).query(floors).T.tolist())):
        one, other = survey.rooms[first], survey.rooms[second]
        if first >= second or one.storey_key != other.storey_key:
            continue
        shared = floors[first].intersection(floors[second])
        if _wide(shared, wall_m).is_empty:
            continue
        area = float(shared.area)
        both = float(floors[first].area + floors[second].area) - area
        found.append(
            RoomOverlap(
                room_key=one.key, other_key=other.key, area_m2=area, share_ratio=area / both
            )
        )
    return tuple(found)


def _regions(room: Room) -> "list[BaseGeometry]":
    import shapely  # noqa: PLC0415 only this module's callers pay for it

    floor = _floor(room)
    return [
        floor
        if ceiling.region is None
        else floor.intersection(shapely.Polygon(ceiling.region).buffer(0))
        for ceiling in room.ceilings
    ]


def ceiling_overlaps(survey: Survey, *, seam_m: float) -> tuple[CeilingOverlap, ...]:
    """Find ceilings of one room that claim the same part of it.

    Parameters
    ----------
    survey
        The rooms.
    seam_m
        Strips no wider than this are the seam between two ceilings. [m]
    """
    found = []
    for room in survey.rooms:
        regions = _regions(room)
        for first, one in enumerate(regions):
            for second in range(first + 1, len(regions)):
                shared = _wide(one.intersection(regions[second]), seam_m)
                if not shared.is_empty:
                    found.append(
                        CeilingOverlap(
                            room_key=room.key,
                            ceiling_key=room.ceilings[first].key,
                            other_key=room.ceilings[second].key,
                            area_m2=float(shared.area),
                        )
                    )
    return tuple(found)


def open_parts(survey: Survey, *, seam_m: float) -> tuple[OpenPart, ...]:
    """Find rooms of which a part lies under none of their ceilings.

    Parameters
    ----------
    survey
        The rooms.
    seam_m
        Strips no wider than this are the seam between two ceilings. [m]
    """
    import shapely  # noqa: PLC0415 only this module's callers pay for it

    found = []
    for room in survey.rooms:
        left = _wide(_floor(room).difference(shapely.union_all(_regions(room))), seam_m)
        if not left.is_empty:
            found.append(OpenPart(room_key=room.key, area_m2=float(left.area)))
    return tuple(found)


def split_rooms(survey: Survey, *, seam_m: float) -> tuple[SplitRoom, ...]:
    """Find rooms that their columns cut in two or more.

    Parameters
    ----------
    survey
        The rooms.
    seam_m
        Parts no wider than this are slivers beside a column. [m]
    """
    found = []
    for room in survey.rooms:
        if not room.holes:
            continue
        areas = _part_areas_m2(_wide(_floor(room), seam_m))
        if len(areas) > 1:
            found.append(SplitRoom(room_key=room.key, part_areas_m2=areas))
    return tuple(found)


def _part_areas_m2(shape: "BaseGeometry") -> tuple[float, ...]:
    parts: Sequence[BaseGeometry] = getattr(shape, "geoms", (shape,))
    return tuple(sorted((float(part.area) for part in parts if part.area > 0.0), reverse=True))
