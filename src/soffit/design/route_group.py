"""Which loudspeakers share a line: same zone, storey, rack and band, within one channel's load."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from soffit.errors import NoSolutionError
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Survey
from soffit.model.speakers import Speaker
from soffit.model.survey import Rack
from soffit.model.zones import Zone


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Loudspeakers that may share lines.

    Parameters
    ----------
    zone
        Their zone; ``None`` for rooms in no zone.
    storey_key
        Their storey.
    rack
        Where their lines begin.
    is_low
        Whether they are subwoofers, which get lines of their own.
    speakers
        In the order of the design.
    """

    zone: Zone | None
    storey_key: str
    rack: Rack
    is_low: bool
    speakers: tuple[Speaker, ...]

    @property
    def label(self) -> str:
        """What to call it in messages."""
        name = self.zone.label or self.zone.key if self.zone else "rooms without a zone"
        return f"{name}, subwoofers" if self.is_low else name


def groups_of(
    survey: Survey, catalogue: Catalogue, speakers: Sequence[Speaker]
) -> tuple[Group, ...]:
    """Sort loudspeakers into groups.

    Parameters
    ----------
    survey
        Zones, racks, rooms.
    catalogue
        Types they refer to.
    speakers
        Those to wire.

    Returns
    -------
    tuple of Group
        In the order of zones, then storeys; subwoofers after the others.

    Raises
    ------
    NoSolutionError
        If there is no rack.
    """
    if not survey.racks:
        msg = "there is no rack to wire from"
        raise NoSolutionError(
            msg,
            where="job.toml racks",
            why="every line begins at an amplifier",
            do="add [racks.main] with its place",
        )
    zone_of: dict[str, int] = {}
    for place, zone in enumerate(survey.zones):
        for room_key in zone.room_keys:
            zone_of.setdefault(room_key, place)
    storeys = {room.key: room.storey_key for room in survey.rooms}
    storey_place = {storey.key: place for place, storey in enumerate(survey.storeys)}
    parts: dict[tuple[int, int, bool], list[Speaker]] = {}
    for speaker in speakers:
        is_low = catalogue.speaker(speaker.type_id).kind == "subwoofer"
        zone_place = zone_of.get(speaker.room_key, len(survey.zones))
        storey = storey_place.get(storeys.get(speaker.room_key, ""), 0)
        parts.setdefault((zone_place, storey, is_low), []).append(speaker)
    return tuple(
        Group(
            zone=survey.zones[zone_place] if zone_place < len(survey.zones) else None,
            storey_key=survey.storeys[storey].key,
            rack=_nearest_rack(survey, survey.storeys[storey].key, members),
            is_low=is_low,
            speakers=tuple(members),
        )
        for (zone_place, storey, is_low), members in sorted(parts.items())
    )


def _nearest_rack(survey: Survey, storey_key: str, members: Sequence[Speaker]) -> Rack:
    x = sum(member.position[0] for member in members) / len(members)
    y = sum(member.position[1] for member in members) / len(members)

    def distance(rack: Rack) -> tuple[bool, float, str]:
        away = math.hypot(rack.position[0] - x, rack.position[1] - y)
        return rack.storey_key != storey_key, away, rack.key

    return min(survey.racks, key=distance)


def split_by_load(
    order: Sequence[int], load_w: Mapping[int, float], *, most_w: float, parts: int
) -> list[list[int]]:
    """Cut an order into stretches of nearly equal load.

    Parameters
    ----------
    order
        Places in wiring order.
    load_w
        Tap power by place. [W]
    most_w
        Load that one line may have. [W]
    parts
        How many stretches are wanted; more where the load asks for it.

    Returns
    -------
    list of list of int
        Places of each line, in wiring order.
    """
    total = sum(load_w[place] for place in order)
    parts = min(parts, len(order))
    while True:
        target = total / parts
        lines: list[list[int]] = [[]]
        done = 0.0
        for place in order:
            here = sum(load_w[one] for one in lines[-1])
            full = here + load_w[place] > most_w + 1e-9
            enough = len(lines) < parts and done + 0.5 * load_w[place] > target * len(lines)
            if lines[-1] and (full or enough):
                lines.append([])
            lines[-1].append(place)
            done += load_w[place]
        if len(lines) <= parts or parts >= len(order):
            return lines
        parts += 1


def interleave(order: Sequence[int]) -> list[list[int]]:
    """Deal an order out to two lines, neighbours to different ones.

    Parameters
    ----------
    order
        Places in wiring order.

    Returns
    -------
    list of list of int
        Places of line A and line B.
    """
    return [list(order[0::2]), list(order[1::2])] if len(order) > 1 else [list(order)]
