"""The ceilings a group is wired over: rack or riser, volume control, ways, reachable places."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point as PlanPoint
from shapely.geometry import Polygon

from soffit.design.route_graph import Ways, find_ways
from soffit.design.route_group import Group
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Design, Survey
from soffit.model.lines import Joint
from soffit.model.speakers import Speaker
from soffit.model.survey import CableWay, Point, Room
from soffit.tables.settings import Limits

KeyMaker = Callable[[], str]
"""Makes a permanent key that was never used."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """What every step of wiring reads.

    Parameters
    ----------
    survey, catalogue, previous
        The job, and the design before.
    new_key
        Maker of permanent keys.
    headroom_ratio
        Headroom and spare capacity of amplifiers together.
    seed
        Seed of the order search.
    """

    survey: Survey
    catalogue: Catalogue
    previous: Design
    new_key: KeyMaker
    headroom_ratio: float
    seed: int

    @property
    def limits(self) -> Limits:
        """Limits in force."""
        return self.survey.limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """The rack, a loudspeaker, a tee or a volume control on a line.

    Parameters
    ----------
    key
        Permanent key; that of a joint is given when the line is written.
    position
        Plan position. [m]
    rise_m
        Cable between it and the level where cable is hung, service loop included, at each cable
        end. [m]
    speaker, joint
        What it is, unless it is the rack.
    """

    key: str
    position: Point
    rise_m: float
    speaker: Speaker | None = None
    joint: Joint | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """The ceilings that a group is wired over.

    Parameters
    ----------
    group
        Its loudspeakers.
    ways
        Ways between rack, volume control if there is one, and loudspeakers, in this order.
    root, control
        Where lines begin on this storey, and the volume control that they pass.
    extra_m
        Cable between the rack and a riser's end on this storey. [m]
    rooms
        Rooms of the storey.
    reachable
        Crossings at which a joint can be reached after the ceiling is closed.
    """

    group: Group
    ways: Ways
    root: Stop
    control: Stop | None
    extra_m: float
    rooms: tuple[Room, ...]
    reachable: NDArray[np.bool_]

    @property
    def start(self) -> int:
        """Place from which chains are ordered: the volume control, else the rack."""
        return 1 if self.control else 0

    @property
    def places(self) -> tuple[int, ...]:
        """Places of the loudspeakers in ``ways``."""
        return tuple(range(self.start + 1, self.start + 1 + len(self.group.speakers)))

    def speaker(self, place: int) -> Speaker:
        """Return the loudspeaker at a place of ``ways``.

        Parameters
        ----------
        place
            One of :attr:`places`.
        """
        return self.group.speakers[place - self.start - 1]


def field_of(base: Base, group: Group) -> Field:
    """Find all ways over the ceilings of a group's storey.

    Parameters
    ----------
    base
        The job.
    group
        Loudspeakers that may share lines.

    Returns
    -------
    Field
        Ways and where joints can be reached.

    Raises
    ------
    NoSolutionError
        If a loudspeaker cannot be reached from the rack.
    """
    survey = base.survey
    rooms = tuple(room for room in survey.rooms if room.storey_key == group.storey_key)
    lanes = [way for way in survey.cable_ways if way.storey_key == group.storey_key]
    root, extra_m = _root(base, group, lanes)
    control = _control(base, group)
    points: list[Point] = [root.position]
    points += [control.position] if control else []
    points += [speaker.position for speaker in group.speakers]
    labels = ["the rack", *(["its volume control"] if control else [])]
    labels += [speaker.label or speaker.key for speaker in group.speakers]
    ways = find_ways(points, rooms=rooms, cable_ways=lanes, limits=base.limits, labels=labels)
    return Field(
        group=group,
        ways=ways,
        root=root,
        control=control,
        extra_m=extra_m,
        rooms=rooms,
        reachable=_reachable(base, ways, rooms),
    )


def _root(base: Base, group: Group, lanes: list[CableWay]) -> tuple[Stop, float]:
    rack = group.rack
    stop = Stop(key=rack.key, position=rack.position, rise_m=rack.drop_m)
    if rack.storey_key == group.storey_key:
        return stop, 0.0
    risers = [way for way in lanes if way.is_riser and way.points]
    foot = min(
        (way.points[0] for way in risers),
        key=lambda point: np.hypot(point[0] - rack.position[0], point[1] - rack.position[1]),
        default=rack.position,
    )
    heights = {storey.key: storey.elevation_m for storey in base.survey.storeys}
    climb = abs(heights[rack.storey_key] - heights[group.storey_key])
    below = tuple(room for room in base.survey.rooms if room.storey_key == rack.storey_key)
    lower = [way for way in base.survey.cable_ways if way.storey_key == rack.storey_key]
    across = find_ways([rack.position, foot], rooms=below, cable_ways=lower, limits=base.limits)
    plan = across.way(across.path(0, int(across.point_node[1]))).length_m
    slack = 1.0 + base.limits["route_slack_ratio"]
    return replace(stop, position=foot), climb + plan * slack


def _control(base: Base, group: Group) -> Stop | None:
    zone = group.zone
    if zone is None or not zone.has_volume_control or group.is_low:
        return None
    storey = group.storey_key
    rooms = [
        room
        for key in zone.room_keys
        for room in base.survey.rooms
        if room.key == key and room.storey_key == storey
    ]
    if not rooms:
        return None
    room = rooms[0]
    door = room.doors[0].position if room.doors else room.outline[0]
    position = _just_inside(room, door)
    height = max((ceiling.height_m for ceiling in room.ceilings), default=2.5)
    drop = height - base.limits["volume_control_height_m"] + base.limits["void_rise_m"]
    total = sum(speaker.tap.power_w for speaker in group.speakers)
    rated = [
        part.rated_power_w
        for part in base.catalogue.hardware_types
        if part.kind == "volume control" and part.rated_power_w >= total
    ]
    key = "volume control"
    joint = Joint(
        key=key,
        label="",
        position=position,
        storey_key=storey,
        kind="volume control",
        rated_power_w=min(rated, default=0.0),
    )
    return Stop(key=key, position=position, rise_m=max(drop, 0.0), joint=joint)


def _reachable(base: Base, ways: Ways, rooms: tuple[Room, ...]) -> NDArray[np.bool_]:
    """Crossings where a joint can be reached later: lay-in grids, open ceilings, hatches."""
    reachable = np.zeros(ways.node_xy.shape[0], dtype=np.bool_)
    for place, room in enumerate(rooms):
        inside = ways.node_room == place
        for ceiling in room.ceilings:
            if ceiling.kind not in ("grid", "open"):
                continue
            if ceiling.region is None:
                reachable |= inside
            else:
                shape = Polygon(ceiling.region)
                reachable |= inside & shapely.contains_xy(shape, *ways.node_xy.T)
        for obstacle in base.survey.obstacles_in(room.key):
            if obstacle.kind == "hatch":
                shape = Polygon(obstacle.outline).buffer(0.5)
                reachable |= inside & shapely.contains_xy(shape, *ways.node_xy.T)
    return reachable


def _just_inside(room: Room, point: Point) -> Point:
    """Move a point on a room's outline 0.2 m inward, so that no wall is counted at it."""
    shape = Polygon(room.outline, room.holes).buffer(-0.2)
    if shape.is_empty:
        return point
    near = shapely.shortest_line(PlanPoint(point), shape)
    x, y = near.coords[-1]
    return (round(float(x), 6), round(float(y), 6))
