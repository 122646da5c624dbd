"""Which room each light, outlet, duct or loudspeaker of a model belongs to, and at what height."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, cast

from shapely import STRtree
from shapely.geometry import Polygon

from soffit.model.survey import ObstacleKind
from soffit.plans.ifc_surfaces import hull_of
from soffit.plans.ifc_things import Thing
from soffit.plans.proposal import ObstacleProposal, RoomProposal, SetAside, SpeakerProposal
from soffit.plans.shape import clean_polygons, ring_of, without_holes
from soffit.tables.settings import DEFAULT_LIMITS

_WALL_REACH_M: Final = 0.25
_VOID_REACH_M: Final = 2.0
_LONG: Final = frozenset({"duct", "pipe", "cable tray", "beam"})
_LEAST_M2: Final = 0.0005


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomSpace:
    """A room as a body: its plan, floor and top. [m]."""

    key: str
    label: str
    shape: Polygon
    floor_m: float
    top_m: float
    ceiling_m: float

    @classmethod
    def of(cls, room: RoomProposal, *, floor_m: float, top_m: float) -> "RoomSpace":
        """Return the body of a proposal.

        Parameters
        ----------
        room
            The proposal.
        floor_m, top_m
            Levels of its floor and its top in the file. [m]
        """
        highest = max(ceiling.height_m for ceiling in room.ceilings)
        return cls(
            key=room.key,
            label=room.label,
            shape=Polygon(room.outline, room.holes),
            floor_m=floor_m,
            top_m=top_m,
            ceiling_m=floor_m + highest,
        )


@dataclass(slots=True)
class Placed:
    """Things by room, and those that were left out."""

    obstacles: list[ObstacleProposal]
    speakers: list[SpeakerProposal]
    set_aside: list[SetAside]


def place_things(rooms: list[RoomSpace], things: Iterable[Thing], *, source: str) -> Placed:
    """Put things into rooms; leave out what is not near a ceiling.

    Parameters
    ----------
    rooms
        All rooms of the plan.
    things
        Things in the same coordinates.
    source
        Name of their file.

    Returns
    -------
    Placed
        Obstacles with heights above their room's floor.
    """
    placed = Placed([], [], [])
    tree = STRtree([room.shape for room in rooms])
    low: dict[str, list[str]] = {}
    homeless: dict[str, int] = {}
    for thing in things:
        hull = hull_of([thing.mesh])
        if hull is None or hull.area < _LEAST_M2:
            continue
        near = [rooms[index] for index in tree.query(hull.buffer(_WALL_REACH_M))]
        near = [room for room in near if _is_level(thing, room)]
        if not near:
            homeless[thing.kind] = homeless.get(thing.kind, 0) + 1
            continue
        home, _ = _home(hull, near)
        if thing.vetoed or _is_low(thing, home):
            low.setdefault(_why(thing, home), []).append(thing.label)
            continue
        _place(placed, thing, hull, near, source)
    for why, labels in low.items():
        names = ", ".join(sorted(set(labels))[:3])
        placed.set_aside.append(SetAside(what=f"{len(labels)} × {names}", why=why))
    for kind, count in homeless.items():
        placed.set_aside.append(SetAside(what=f"{count} × {kind}", why="over no room of the plan"))
    return placed


def _is_level(thing: Thing, room: RoomSpace) -> bool:
    roof = max(room.ceiling_m, room.top_m) + _VOID_REACH_M
    return room.floor_m - 0.05 <= thing.mesh.low < roof and thing.mesh.low < room.top_m + 1.5


def _is_low(thing: Thing, room: RoomSpace) -> bool:
    least = DEFAULT_LIMITS["plan_obstacle_least_height_m"]
    return thing.mesh.high - room.floor_m < least


def _why(thing: Thing, room: RoomSpace) -> str:
    high = thing.mesh.high - room.floor_m
    if thing.vetoed:
        return f"called {thing.vetoed.lower()!r}: nothing of a ceiling, whatever the model types it"
    return f"it ends {high:.1f} m above the floor"


def _home(hull: Polygon, near: list[RoomSpace]) -> tuple[RoomSpace, float]:
    """Return the room that holds most of a shape, the lowest floor last, and the share it holds."""
    shares = [(room.shape.intersection(hull).area / hull.area, room.floor_m, room) for room in near]
    share, _, room = max(shares, key=lambda item: item[:2])
    if share == 0.0:
        room = min(near, key=lambda item: item.shape.distance(hull))
    return room, share


def _place(placed: Placed, thing: Thing, hull: Polygon, near: list[RoomSpace], source: str) -> None:
    if thing.kind in _LONG:
        for room in near:
            for part in without_holes(clean_polygons([room.shape.intersection(hull)])):
                placed.obstacles.append(_obstacle(thing, part, room, source, thing.doubt))
        return
    room, share = _home(hull, near)
    if thing.kind == "speaker":
        middle = hull.centroid
        placed.speakers.append(
            SpeakerProposal(
                label=thing.label,
                room_key=room.key,
                position=(round(middle.x, 4), round(middle.y, 4)),
                mount_height_m=round(thing.mesh.low - room.floor_m, 4),
                facts=thing.facts,
            )
        )
        return
    doubts = [thing.doubt] if thing.doubt else []
    if share < 0.5:
        doubts.append("it sits in or on a wall")
    elif thing.mesh.high < room.ceiling_m - 0.4 and thing.kind == "light":
        doubts.append(
            f"it ends {room.ceiling_m - thing.mesh.high:.1f} m under the ceiling: on a wall,"
            " or its cord is not drawn"
        )
    shape = hull
    if share < 0.02:
        inside = hull.buffer(_WALL_REACH_M).intersection(room.shape)
        if isinstance(inside, Polygon) and inside.area >= _LEAST_M2:
            shape = inside
    placed.obstacles.append(_obstacle(thing, shape, room, source, "; ".join(doubts)))


def _obstacle(
    thing: Thing, shape: Polygon, room: RoomSpace, source: str, doubt: str
) -> ObstacleProposal:
    low, high = thing.mesh.low - room.floor_m, thing.mesh.high - room.floor_m
    return ObstacleProposal(
        label=thing.label,
        room_key=room.key,
        kind=cast("ObstacleKind", thing.kind),
        outline=ring_of(shape.exterior.coords),
        origin_id=thing.origin_id,
        bottom_m=round(max(low, 0.0), 3),
        top_m=round(high, 3),
        doubt=doubt,
        source=source,
    )
