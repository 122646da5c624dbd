"""Zones that are heard together where their rooms touch: how far apart in time, and what mends it.

A wall with a closed door hides the other zone; whether the boundary is open is not surveyed, so
this is what one would hear through an opening.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from soffit.acoustics.bands import FloatArray
from soffit.acoustics.delays import suggested_zone_delay_s
from soffit.acoustics.visibility import outline, wall_distance_m
from soffit.decibel import power_ratio
from soffit.evaluate.sound_room import RoomAcoustics
from soffit.evaluate.sound_source import Sources, columns, measure_weights
from soffit.model.survey import Point, Room
from soffit.model.zones import Zone
from soffit.tables.settings import Limits

BOUNDARY_STEP_M = 0.5
SPEED_M_S = 343.2


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneLag:
    """Two zones where their rooms touch.

    Parameters
    ----------
    early_zone_key, late_zone_key
        The zone that is heard first, and the other.
    early_room_key, late_room_key
        Their rooms.
    lag_s
        Longest time between the two at similar level. [s]
    suggested_delay_s
        Further delay of the early zone that brings them together. [s]
    position
        Where the lag is longest. [m]
    """

    early_zone_key: str
    late_zone_key: str
    early_room_key: str
    late_room_key: str
    lag_s: float
    suggested_delay_s: float
    position: Point


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomVoice:
    """What a room sends through its boundary.

    Parameters
    ----------
    room
        Room of the survey.
    sources, acoustics
        Its speakers and air.
    share : (n_bands,)
        Share of each octave in one watt of its programme.
    """

    room: Room
    sources: Sources
    acoustics: RoomAcoustics
    share: FloatArray


def zone_lags(
    voices: Sequence[RoomVoice], zones: Sequence[Zone], limits: Limits
) -> tuple[ZoneLag, ...]:
    """Find pairs of zones whose sound arrives further apart than the limit where rooms touch.

    Parameters
    ----------
    voices
        Rooms with speakers.
    zones
        Zones with their planned delays.
    limits
        Lag that counts, and how much weaker the second may be.

    Returns
    -------
    tuple of ZoneLag
        One per pair of rooms that has a lag.
    """
    zone_of = {key: zone for zone in zones for key in zone.room_keys}
    found = []
    for one, two in combinations(voices, 2):
        first, second = zone_of.get(one.room.key), zone_of.get(two.room.key)
        if first is None or second is None or first.key == second.key:
            continue
        if one.room.storey_key != two.room.storey_key:
            continue
        lag = _lag((one, first), (two, second), limits)
        if lag is not None:
            found.append(lag)
    return tuple(found)


def _boundary(one: Room, two: Room) -> FloatArray:
    """Return points on the walls of one room that touch the other."""
    ring = np.asarray(one.outline, dtype=np.float64)
    points = []
    for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        count = max(1, int(np.ceil(np.linalg.norm(end - start) / BOUNDARY_STEP_M)))
        points.append(start + (np.arange(count) + 0.5)[:, None] / count * (end - start))
    every = np.concatenate(points)
    near = wall_distance_m(outline(two.outline, two.holes), every) <= BOUNDARY_STEP_M
    height = min((area.ear_height_m for area in one.listening_areas), default=1.2)
    return np.column_stack([every[near], np.full(int(near.sum()), height)])


def _strongest(
    voice: RoomVoice, points: FloatArray, delay_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return energy and arrival of the strongest speaker at each point."""
    energy = columns(
        voice.sources,
        range(len(voice.sources.keys)),
        points,
        walls=None,
        air_db_m=voice.acoustics.air_db_m,
        weights=measure_weights("direct dBA", voice.share),
    )[0]
    energy = energy * voice.sources.power_w
    best = np.argmax(energy, axis=1)
    gap = np.linalg.norm(points - voice.sources.position_m[best], axis=1)
    return energy[np.arange(len(points)), best], gap / SPEED_M_S + delay_s


def _lag(
    one: tuple[RoomVoice, Zone], two: tuple[RoomVoice, Zone], limits: Limits
) -> ZoneLag | None:
    points = _boundary(one[0].room, two[0].room)
    if not len(points):
        return None
    energies, arrivals = zip(
        *(_strongest(voice, points, zone.delay_s) for voice, zone in (one, two)), strict=True
    )
    similar = np.maximum(*energies) <= np.minimum(*energies) * float(
        power_ratio(limits["sound_late_within_db"])
    )
    gap = np.where(similar, arrivals[1] - arrivals[0], 0.0)
    worst = int(np.argmax(np.abs(gap)))
    if abs(gap[worst]) <= limits["sound_late_s"]:
        return None
    early, late = (0, 1) if gap[worst] > 0.0 else (1, 0)
    pair = (one, two)
    return ZoneLag(
        early_zone_key=pair[early][1].key,
        late_zone_key=pair[late][1].key,
        early_room_key=pair[early][0].room.key,
        late_room_key=pair[late][0].room.key,
        lag_s=float(abs(gap[worst])),
        suggested_delay_s=suggested_zone_delay_s(
            lead_energy=energies[late][similar],
            lead_arrival_s=arrivals[late][similar],
            zone_energy=energies[early][similar],
            zone_arrival_s=arrivals[early][similar],
        ),
        position=(float(points[worst, 0]), float(points[worst, 1])),
    )
