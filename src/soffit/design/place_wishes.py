"""Lay what a person asks of a layout first: a row over the counter, on the nearest free places."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from soffit.design.tiles import Sites, ceiling_at, find_sites
from soffit.errors import NoSolutionError
from soffit.model.catalogue import Catalogue, SpeakerType
from soffit.model.survey import Obstacle, PlacedSpeaker, Point, Room, Wish
from soffit.tables.settings import Limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Wished:
    """What became of the wishes of a room.

    Parameters
    ----------
    placed
        Speakers laid for them, taps to be chosen.
    kept, not_kept
        In words.
    """

    placed: tuple[PlacedSpeaker, ...] = ()
    kept: tuple[str, ...] = ()
    not_kept: tuple[str, ...] = ()


def lay_wishes(
    room: Room,
    *,
    speaker_type: SpeakerType,
    obstacles: Sequence[Obstacle],
    taken: Sequence[tuple[float, float, float]],
    limits: Limits,
    types: Mapping[str, SpeakerType] | None = None,
    catalogue: Catalogue | None = None,
) -> Wished:
    """Lay every wish of a room that can be kept.

    Parameters
    ----------
    room
        Room with its wishes.
    speaker_type
        Type of the rows that name none, but under ceilings that have a type of their own.
    obstacles
        Obstacles of the room.
    taken
        Plan positions and radii of speakers that are there already. [m]
    limits
        Clearances.
    types
        Type by ceiling key, where ceilings have types of their own.
    catalogue
        Types that rows may name.

    Returns
    -------
    Wished
        A row is kept as a whole or not at all; one that is not says why.
    """
    placed: list[PlacedSpeaker] = []
    kept: list[str] = []
    missed: list[str] = []
    used = list(taken)
    for number, wish in enumerate(room.wishes):
        words = f"a row of {wish.count}" + (f" for {wish.label}" if wish.label else "")
        named = wish.speaker_type
        kinds = _Kinds(
            usual=speaker_type,
            by_ceiling=types or {},
            named=catalogue.speaker(named) if catalogue is not None and named else None,
        )
        places, why = _row(room, wish, kinds, obstacles, used, limits)
        if why:
            missed.append(f"{words}: {why}")
            continue
        kept.append(words)
        for index, position in enumerate(places):
            kind = kinds.of(ceiling_at(room, position).key)
            used.append((*position, kind.flange_diameter_m / 2.0))
            placed.append(
                PlacedSpeaker(
                    key=f"wish{number + 1}-{index + 1}",
                    room_key=room.key,
                    type_id=kind.id,
                    position=position,
                )
            )
    return Wished(placed=tuple(placed), kept=tuple(kept), not_kept=tuple(missed))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kinds:
    usual: SpeakerType
    by_ceiling: Mapping[str, SpeakerType]
    named: SpeakerType | None = None

    def of(self, ceiling_key: str) -> SpeakerType:
        return self.named or self.by_ceiling.get(ceiling_key, self.usual)


def _row(
    room: Room,
    wish: Wish,
    kinds: _Kinds,
    obstacles: Sequence[Obstacle],
    taken: Sequence[tuple[float, float, float]],
    limits: Limits,
) -> tuple[list[Point], str]:
    """Places of a row; none, and why, where one has no free place within a pitch."""
    sites_of: dict[str, Sites] = {}
    out: list[Point] = []
    for number, share in enumerate(_shares(wish.count)):
        x = wish.start[0] + share * (wish.end[0] - wish.start[0])
        y = wish.start[1] + share * (wish.end[1] - wish.start[1])
        ceiling = ceiling_at(room, (x, y))
        try:
            if ceiling.key not in sites_of:
                sites_of[ceiling.key] = find_sites(
                    room,
                    ceiling,
                    obstacles=obstacles,
                    speaker_type=kinds.of(ceiling.key),
                    taken=taken,
                    limits=limits,
                )
        except NoSolutionError as error:
            return [], error.problems[0].what
        place = _nearest(sites_of[ceiling.key], (x, y), out)
        if place is None:
            return [], f"no free place near the {number + 1}. of them at {x:.2f}, {y:.2f} m"
        out.append(place)
    return out, ""


def _shares(count: int) -> list[float]:
    return [0.5] if count == 1 else [index / (count - 1) for index in range(count)]


def _nearest(sites: Sites, at: Point, taken: Sequence[Point]) -> Point | None:
    free = np.argwhere(sites.is_free)
    if not len(free):
        return None
    place = sites.site_m(free[:, 0], free[:, 1])[:, :2]
    away_m = np.hypot(place[:, 0] - at[0], place[:, 1] - at[1])
    # The tile under the wish, or one beside it: farther off it is no longer that row.
    reach_m = 1.01 * float(np.hypot(sites.pitch_x_m, sites.pitch_y_m))
    for index in np.argsort(np.round(away_m, 9), kind="stable"):
        if away_m[index] > reach_m:
            return None
        found = (float(place[index, 0]), float(place[index, 1]))
        if found not in taken:
            return found
    return None
