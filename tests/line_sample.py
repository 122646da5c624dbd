"""An invented floor of six rooms, with types and loudspeakers, for tests of wiring."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import count
from typing import Any

import numpy as np

from soffit.job.catalogue import load_demo_catalogue
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Survey
from soffit.model.speakers import Speaker
from soffit.model.survey import Ceiling, Equipment, Rack, Room, Site, Storey
from soffit.model.zones import Zone
from soffit.tables.settings import Limits


def sample_catalogue() -> Catalogue:
    """The invented catalogue that ships."""
    return load_demo_catalogue()


def room(key: str, x: float, y: float, width: float, height: float, storey: str = "g") -> Room:
    """One room with a lay-in ceiling at 3 m."""
    return Room(
        key=key,
        label=key,
        storey_key=storey,
        outline=((x, y), (x + width, y), (x + width, y + height), (x, y + height)),
        ceilings=(Ceiling(key="c", kind="grid", height_m=3.0, void_depth_m=0.4),),
    )


def six_rooms(**changes: Any) -> Survey:
    """Six rooms, 14 m x 11 m each, in two rows; a rack beside the middle one."""
    rooms = tuple(
        room(f"r{number}", (number % 3) * 14.0, (number // 3) * 11.0, 14.0, 11.0)
        for number in range(6)
    )
    survey = Survey(
        site=Site(name="six rooms (invented)", line_voltage_v=100.0),
        storeys=(Storey(key="g", label="ground"),),
        rooms=rooms,
        zones=(Zone(key="all", label="all", room_keys=tuple(entry.key for entry in rooms)),),
        racks=(Rack(key="main", label="rack", position=(20.0, 0.5), storey_key="g"),),
        equipment=Equipment(),
        limits=Limits(),
    )
    return replace(survey, **changes)


def speakers_in(
    survey: Survey, each: int, *, seed: int = 1, tap_w: float | None = None, kind: str = "ceiling"
) -> tuple[Speaker, ...]:
    """Loudspeakers scattered over every room, 0.6 m lattice, one type, one tap."""
    entry = next(one for one in sample_catalogue().speaker_types if one.kind == kind)
    taps = entry.taps_at(survey.site.line_voltage_v)
    tap = taps[1] if tap_w is None else next(one for one in taps if one.power_w == tap_w)
    rng = np.random.default_rng(seed)
    number = count(1)
    found = []
    for place in survey.rooms:
        ring = np.asarray(place.outline)
        low, high = ring.min(axis=0) + 1.0, ring.max(axis=0) - 1.0
        steps = ((high - low) / 0.6).astype(int)
        cells = rng.permutation(steps[0] * steps[1]).tolist()
        spots = [low + 0.6 * np.array([cell % steps[0], cell // steps[0]]) for cell in cells]
        for x, y in [spot for spot in spots if _is_clear(place, spot)][:each]:
            found.append(
                Speaker(
                    key=f"s{next(number):04d}",
                    label="",
                    room_key=place.key,
                    ceiling_key="c",
                    type_id=entry.id,
                    position=(float(x), float(y)),
                    mount_height_m=3.0,
                    tap=tap,
                )
            )
    return tuple(found)


def _is_clear(place: Room, spot: np.ndarray) -> bool:
    """Whether a spot keeps 0.3 m from every column's box."""
    for hole in place.holes:
        ring = np.asarray(hole)
        if np.all(spot > ring.min(axis=0) - 0.3) and np.all(spot < ring.max(axis=0) + 0.3):
            return False
    return True


def key_maker(prefix: str = "n", start: int = 1) -> Any:
    """A maker of permanent keys."""
    numbers = count(start)
    return lambda: f"{prefix}{next(numbers):04d}"


def labels(speakers: Sequence[Speaker]) -> list[str]:
    """Labels of speakers."""
    return [speaker.label for speaker in speakers]
