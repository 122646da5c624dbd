"""Energies that taps are chosen on: every speaker at the ears of every room that hears it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from soffit.acoustics.visibility import Outline, outline
from soffit.decibel import power_ratio, power_ratio_db
from soffit.design.place_level import LEVEL_SLACK_DB, wanted_level_dba
from soffit.design.place_search import spreads_of
from soffit.evaluate.sound import first_reflections
from soffit.evaluate.sound_ears import find_ears
from soffit.evaluate.sound_room import room_acoustics
from soffit.evaluate.sound_source import (
    Sources,
    columns,
    crest_drive_db,
    late_per_watt,
    measure_weights,
    programme_spectrum,
    sources_of,
    spectrum_share,
)
from soffit.model.catalogue import Catalogue, Tap
from soffit.model.speakers import Speaker
from soffit.model.survey import OPEN_APART_M, Room
from soffit.tables.settings import Limits

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

Score = tuple[float, float, float, float, float]
"""Evenness made worse, evenness missed, level missed, watts, spread. Lower is better."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TapArea:
    """The ears of one room and its brief.

    Parameters
    ----------
    room_key, label
        Room.
    even, loud : (n_speakers, n_ears)
        Energy per watt in the brief's measure, and in dBA of the whole field.
    share, target_db, wanted_dba
        Share of ears, spread asked for, and level wanted. [dB]
    given_db
        Spread with the taps given. [dB]
    """

    room_key: str
    label: str
    even: FloatArray
    loud: FloatArray
    share: float
    target_db: float
    wanted_dba: float
    given_db: float = float("inf")
    is_guard: bool = False
    """Only kept from getting worse: a room by itself, as checks and papers judge it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TapProblem:
    """What may be chosen, and how choices are judged.

    Parameters
    ----------
    areas
        One a room; of several rooms also each by itself, as a guard.
    watts : tuple of (n_taps,)
        Watts at the voice coil per choice and speaker.
    taps
        The taps themselves.
    room_of
        Area that each speaker hangs in.
    """

    areas: tuple[TapArea, ...]
    watts: tuple[FloatArray, ...]
    taps: tuple[tuple[Tap, ...], ...]
    room_of: tuple[int, ...]

    def power_w(self, choice: Sequence[int]) -> FloatArray:
        """Return the watts at the voice coils of a choice. [W].

        Parameters
        ----------
        choice
            Place of each speaker's tap among those it may get.
        """
        return np.array([self.watts[i][k] for i, k in enumerate(choice)])

    def score(self, choice: Sequence[int]) -> Score:
        """Rank one choice.

        Parameters
        ----------
        choice
            Place of each speaker's tap among those it may get.
        """
        return self.scores([choice])[0]

    def scores(self, choices: Sequence[Sequence[int]]) -> list[Score]:
        """Rank choices.

        Parameters
        ----------
        choices
            Places of the speakers' taps among those they may get.

        Returns
        -------
        list of tuple
            Evenness made worse, missed, level missed, watts, spread; sums over the rooms.
        """
        chosen = np.asarray(choices, dtype=np.int64)
        power = np.stack([watts[chosen[:, i]] for i, watts in enumerate(self.watts)], axis=1)
        drawn = sum(
            np.array([tap.power_w for tap in taps])[chosen[:, i]]
            for i, taps in enumerate(self.taps)
        )
        worse, missed, short, spread = np.zeros((4, len(choices)))
        for area in self.areas:
            found = spreads_of(power @ area.even, area.share)
            allowed = max(area.given_db, area.target_db)
            level = power_ratio_db(np.maximum((power @ area.loud.mean(axis=1)), 1e-30))
            lacks = np.round(np.maximum(0.0, area.wanted_dba - level - LEVEL_SLACK_DB), 3)
            worse += np.round(np.maximum(0.0, found - allowed), 4)
            if area.is_guard:
                worse += lacks
                continue
            missed += np.round(np.maximum(0.0, found - area.target_db), 4)
            short += lacks
            spread += np.round(found, 4)
        columns_of = (
            np.round(worse, 4),
            np.round(missed, 4),
            np.round(short, 3),
            np.round(drawn, 6),
            np.round(spread, 4),
        )
        rows = np.stack(columns_of, axis=1).tolist()
        return [(a, b, c, d, e) for a, b, c, d, e in rows]

    def spreads_db(self, choice: Sequence[int]) -> list[float]:
        """Return the spread of every area. [dB].

        Parameters
        ----------
        choice
            Place of each speaker's tap among those it may get.
        """
        power = self.power_w(choice)[None]
        return [
            round(float(spreads_of(power @ area.even, area.share)[0]), 4) for area in self.areas
        ]

    def levels_dba(self, choice: Sequence[int]) -> list[float]:
        """Return the mean level of every area with the line filled. [dB].

        Parameters
        ----------
        choice
            Place of each speaker's tap among those it may get.
        """
        power = self.power_w(choice)
        return [float(power_ratio_db(np.mean(power @ area.loud))) for area in self.areas]


def tap_problem(
    rooms: Sequence[Room],
    mains: Sequence[Speaker],
    catalogue: Catalogue,
    voltage_v: float,
    limits: Limits,
) -> tuple[TapProblem, list[int]]:
    """Return the problem of one room, or of rooms that are open to each other.

    Parameters
    ----------
    rooms
        Rooms; what hangs in one is heard in all, walls that are left counted.
    mains
        Their speakers, no subwoofers.
    catalogue
        Types.
    voltage_v
        Nominal line voltage. [V]
    limits
        Settings in force.

    Returns
    -------
    tuple
        The problem, and the choice that keeps the taps given. Late sound counts in the room that
        its speaker hangs in.
    """
    sources = sources_of(mains, catalogue, line_voltage_v=voltage_v)
    walls = joined_walls(rooms) if len(rooms) > 1 else None
    where = {room.key: number for number, room in enumerate(rooms)}
    room_of = tuple(where[speaker.room_key] for speaker in mains)
    areas = tuple(
        _area(room, sources, np.array(room_of) == number, walls, limits)
        for number, room in enumerate(rooms)
    )
    taps = tuple(_choices(speaker, catalogue, voltage_v) for speaker in mains)
    watts = tuple(
        np.array([_coil_w(catalogue, speaker, tap, voltage_v) for tap in found])
        for speaker, found in zip(mains, taps, strict=True)
    )
    start = [found.index(s.tap) for s, found in zip(mains, taps, strict=True)]
    if len(rooms) > 1:
        areas += tuple(_guard(area, np.array(room_of) == n) for n, area in enumerate(areas))
    problem = TapProblem(areas=areas, watts=watts, taps=taps, room_of=room_of)
    # What is better than the brief asks must not get worse for the sake of watts.
    given = zip(areas, problem.spreads_db(start), problem.levels_dba(start), strict=True)
    kept = tuple(_started(area, spread, level) for area, spread, level in given)
    return replace(problem, areas=kept), start


def _started(area: TapArea, spread_db: float, level_dba: float) -> TapArea:
    """Bind an area to the taps given: no room may get worse than it is or than its brief."""
    if area.is_guard:
        most_db = max(area.target_db, spread_db)
        least_dba = min(area.wanted_dba, level_dba)
        return replace(area, target_db=most_db, given_db=most_db, wanted_dba=least_dba)
    return replace(area, target_db=min(area.target_db, spread_db), given_db=spread_db)


def _guard(area: TapArea, is_own: NDArray[np.bool_]) -> TapArea:
    return replace(
        area, even=area.even * is_own[:, None], loud=area.loud * is_own[:, None], is_guard=True
    )


def _area(
    room: Room, sources: Sources, is_own: NDArray[np.bool_], walls: Outline | None, limits: Limits
) -> TapArea:
    acoustics = room_acoustics(room, limits)
    ears = find_ears(room, step_m=limits["sound_ear_grid_m"])
    share = spectrum_share(programme_spectrum(room.brief.programme))
    drive = float(power_ratio(crest_drive_db(room.brief.programme, limits)))
    measure = room.brief.evenness_measure
    weights = np.stack([measure_weights(measure, share), measure_weights("whole dBA", share)])
    count = len(sources.keys)
    both = columns(
        sources,
        range(count),
        ears.point_m,
        walls=acoustics.walls if walls is None else walls,
        air_db_m=acoustics.air_db_m,
        weights=weights,
    )
    late = late_per_watt(sources, acoustics.diffuse_constant_m2) @ weights.T * is_own[:, None]
    loud = both[1].T + late[:, 1:]
    even = both[0].T + (late[:, :1] if measure.startswith("whole") else 0.0)
    if acoustics.first_images:
        for number in np.flatnonzero(is_own):
            one = _only(sources, int(number))
            early = first_reflections(one, ears.point_m, acoustics)
            loud[number] += early @ weights[1]
            if measure.startswith("whole"):
                even[number] += early @ weights[0]
    return TapArea(
        room_key=room.key,
        label=room.label,
        even=even,
        loud=loud * drive,
        share=room.brief.evenness_share,
        target_db=2.0 * room.brief.evenness_db,
        wanted_dba=wanted_level_dba(room, limits)[0],
    )


def _only(sources: Sources, number: int) -> Sources:
    """One of some speakers, with one watt."""
    return Sources(
        keys=(sources.keys[number],),
        radiators=(sources.radiators[number],),
        position_m=sources.position_m[number : number + 1],
        axis=sources.axis[number : number + 1],
        power_w=np.ones(1),
        text=sources.text,
    )


def joined_walls(rooms: Sequence[Room]) -> Outline:
    """Return the walls of rooms that are open to each other: what stands between them is gone.

    Parameters
    ----------
    rooms
        Rooms side by side, drawn up to ``OPEN_APART_M`` apart.
    """
    import shapely  # noqa: PLC0415 keeps `soffit line` free of shapely

    every = [shapely.Polygon(room.outline) for room in rooms]
    whole = shapely.union_all(every)
    # Grown and shrunk again, what is narrower than the bridge is filled.
    reach = OPEN_APART_M / 2.0 + 1e-3
    closed = whole.buffer(reach, join_style="mitre").buffer(-reach, join_style="mitre")
    rest = closed.difference(whole)
    gaps = [
        piece
        for piece in getattr(rest, "geoms", [rest])
        if sum(piece.distance(one) < 1e-6 for one in every) > 1
    ]
    holes = [shapely.Polygon(hole) for room in rooms for hole in room.holes]
    joined = shapely.union_all([whole, *gaps]).difference(shapely.union_all(holes))
    joined = shapely.set_precision(joined, 1e-6).simplify(1e-6)
    first = max(getattr(joined, "geoms", [joined]), key=lambda piece: piece.area)
    return outline(
        np.asarray(first.exterior.coords)[:-1],
        [np.asarray(ring.coords)[:-1] for ring in first.interiors],
    )


def _coil_w(catalogue: Catalogue, speaker: Speaker, tap: Tap, voltage_v: float) -> float:
    kind = catalogue.speaker(speaker.type_id)
    return kind.delivered_w(tap) * (voltage_v / tap.voltage_v) ** 2


def _choices(speaker: Speaker, catalogue: Catalogue, voltage_v: float) -> tuple[Tap, ...]:
    """Taps that the loudspeaker stands; the present one always among them."""
    kind = catalogue.speaker(speaker.type_id)
    if speaker.fixed_tap:
        return (speaker.tap,)
    found = {
        tap
        for tap in kind.taps_at(voltage_v)
        if kind.delivered_w(tap) <= kind.rated_power_w * 1.001
    }
    return tuple(sorted({*found, speaker.tap}, key=lambda tap: (tap.power_w, tap.mark)))
