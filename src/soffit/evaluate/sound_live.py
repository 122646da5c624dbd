"""Sound that follows a finger: maps and evenness while a speaker is dragged or re-tapped.

Everything is one measure of the brief (a band, or dBA of the programme), so each speaker is one
column of energies; moving it takes its old column away and adds a new one. While dragging the late
field is the diffuse one, without single reflections.
"""

from dataclasses import dataclass, replace

import numpy as np

from soffit.acoustics.bands import BoolArray, FloatArray
from soffit.acoustics.evenness import Evenness, evenness
from soffit.acoustics.mapping import MapArray, MapGrid, SpeakerGroup, grid_over, map_energy
from soffit.acoustics.visibility import is_inside
from soffit.decibel import power_ratio, power_ratio_db
from soffit.errors import DomainError
from soffit.evaluate.sound import RoomSound
from soffit.evaluate.sound_ears import lattice_angle_rad
from soffit.evaluate.sound_room import RoomAcoustics
from soffit.evaluate.sound_source import (
    Sources,
    columns,
    late_per_watt,
    measure_weights,
    point_columns,
)
from soffit.model.survey import EvennessMeasure, Room

MOST_POINTS = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelMap:
    """Levels of one measure over a room.

    Parameters
    ----------
    grid
        Where the points are.
    level_db : (n_y, n_x)
        Level with the line filled; NaN outside the room. [dB]
    inside : (n_y, n_x)
        Which points lie in the room.
    measure
        What is shown.
    """

    grid: MapGrid
    level_db: MapArray
    inside: BoolArray
    measure: EvennessMeasure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LiveState:
    """What changes while dragging.

    Parameters
    ----------
    evenness
        Of the measure over the ears.
    level_dba
        Mean level with the line filled, whole field. [dB]
    """

    evenness: Evenness
    level_dba: float


def map_step_m(room: Room, wanted_m: float) -> tuple[float, tuple[float, float]]:
    """Step and a point of a map grid on which speakers in tile centres lie.

    Parameters
    ----------
    room
        Its tile grid.
    wanted_m
        Widest step. [m]

    Returns
    -------
    step, through
        Whole fraction of half the pitch where the tiles are square and along the axes. [m]
    """
    for ceiling in room.ceilings:
        grid = ceiling.grid
        if grid is None or abs(grid.pitch_x_m - grid.pitch_y_m) > 1e-9:
            continue
        if abs(lattice_angle_rad(room)) < 1e-9:
            half = grid.pitch_x_m / 2.0
            step = half / max(1.0, float(np.ceil(half / wanted_m - 1e-9)))
            return step, (grid.origin[0] + half, grid.origin[1] + half)
    return wanted_m, (room.outline[0][0], room.outline[0][1])


def speaker_groups(
    sources: Sources, *, ear_height_m: float, air_db_m: FloatArray
) -> tuple[list[SpeakerGroup], list[int]]:
    """Sort speakers that face down by type and height; the others are returned by index.

    Parameters
    ----------
    sources
        Speakers.
    ear_height_m
        Height of the map. [m]
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]

    Returns
    -------
    groups, aimed
        Groups for maps, and indices of speakers that need sums of their own.
    """
    sorted_by: dict[tuple[int, float], list[int]] = {}
    aimed: list[int] = []
    for index, kind in enumerate(sources.radiators):
        down = sources.axis[index, 2] < -1.0 + 1e-12
        if down and kind.directivity.vertical_energy_ratio is None:
            throw = round(float(sources.position_m[index, 2]) - ear_height_m, 6)
            sorted_by.setdefault((id(kind), throw), []).append(index)
        else:
            aimed.append(index)
    groups = [
        SpeakerGroup(
            radiator=sources.radiators[rows[0]],
            throw_m=throw,
            position_m=sources.position_m[rows, :2],
            power_w=sources.power_w[rows],
            air_db_m=air_db_m,
        )
        for (_, throw), rows in sorted_by.items()
    ]
    return groups, aimed


class LiveRoom:
    """A room whose speakers can be moved and re-tapped at once.

    Parameters
    ----------
    room
        Room of the survey.
    sound
        Its record.
    measure
        What is shown and judged; the brief's by default.
    map_step_m
        Widest step of the map. [m]
    """

    def __init__(
        self,
        room: Room,
        sound: RoomSound,
        *,
        measure: EvennessMeasure | None = None,
        map_step_m: float = 0.2,
    ) -> None:
        self.measure: EvennessMeasure = sound.measure if measure is None else measure
        self.sources = sound.sources
        self.acoustics: RoomAcoustics = sound.acoustics
        drive = float(power_ratio(sound.drive_db))
        self._weights = np.stack(
            [
                measure_weights(self.measure, sound.share) * drive,
                measure_weights("whole dBA", sound.share) * drive,
            ]
        )
        self._late = late_per_watt(sound.sources, sound.acoustics.room_constant_m2) @ (
            self._weights.T
        )
        self._points = sound.ears.point_m
        self._direct = sound.direct_energy @ self._weights.T
        self._ear_height_m = float(np.median(self._points[:, 2]))
        self._held: dict[tuple[str, float, float, float], tuple[FloatArray, FloatArray]] = {}
        self._set_map(room, map_step_m)

    def _set_map(self, room: Room, wanted_m: float) -> None:
        step, through = map_step_m(room, wanted_m)
        grid = grid_over(room.outline, step_m=step, through_m=through)
        if grid.n_x * grid.n_y > MOST_POINTS:
            msg = f"a map of {grid.n_x} x {grid.n_y} points"
            raise DomainError(
                msg, where="map_step_m", why=f"at most {MOST_POINTS}", do="take a wider step"
            )
        self.grid = grid
        walls = self.acoustics.walls
        x, y = grid.x_m(), grid.y_m()
        self.inside = is_inside(walls, np.stack(np.meshgrid(x, y), axis=-1))
        groups, aimed = speaker_groups(
            self.sources, ear_height_m=self._ear_height_m, air_db_m=self.acoustics.air_db_m
        )
        self._map = map_energy(grid, groups, weights=self._weights[:1], room=walls)[0].astype(
            np.float64
        )
        for index in aimed:
            self._map += self._map_column(self.sources, index) * self.sources.power_w[index]

    def _map_column(self, sources: Sources, index: int) -> FloatArray:
        """Energy per watt of one speaker over the map."""
        x, y = self.grid.x_m(), self.grid.y_m()
        return point_columns(
            sources,
            index,
            x[None, :],
            y[:, None],
            self._ear_height_m,
            walls=self.acoustics.walls,
            air_db_m=self.acoustics.air_db_m,
            weights=self._weights[0],
        )

    def _ear_column(self, sources: Sources, index: int) -> FloatArray:
        return columns(
            sources,
            [index],
            self._points,
            walls=self.acoustics.walls,
            air_db_m=self.acoustics.air_db_m,
            weights=self._weights,
        )[:, :, 0].T

    def _columns(self, sources: Sources, index: int) -> tuple[FloatArray, FloatArray]:
        """Return energies per watt at ears and map; those of the last place are kept."""
        x, y, z = map(float, sources.position_m[index])
        place = (sources.keys[index], x, y, z)
        if place not in self._held:
            found = (self._ear_column(sources, index), self._map_column(sources, index))
            self._held = {**dict(list(self._held.items())[-1:]), place: found}
        return self._held[place]

    def _swap(self, key: str, after: Sources) -> LiveState:
        index = self.sources.keys.index(key)
        for sources, sign in ((self.sources, -1.0), (after, 1.0)):
            watts = sign * sources.power_w[index]
            ears, points = self._columns(sources, index)
            self._direct += watts * ears
            self._map += watts * points
        self.sources = after
        return self.state()

    def move(self, key: str, position_m: tuple[float, float]) -> LiveState:
        """Move a speaker.

        Parameters
        ----------
        key
            Permanent key.
        position_m
            New place in plan. [m]

        Returns
        -------
        LiveState
            New evenness and level.
        """
        position = self.sources.position_m.copy()
        position[self.sources.keys.index(key), :2] = position_m
        return self._swap(key, replace(self.sources, position_m=position))

    def retap(self, key: str, power_w: float) -> LiveState:
        """Give a speaker another power at its voice coil.

        Parameters
        ----------
        key
            Permanent key.
        power_w
            New power. [W]

        Returns
        -------
        LiveState
            New evenness and level.
        """
        power = self.sources.power_w.copy()
        power[self.sources.keys.index(key)] = power_w
        return self._swap(key, replace(self.sources, power_w=power))

    def state(self) -> LiveState:
        """Return evenness and level as they are now."""
        late = self.sources.power_w @ self._late
        shown = np.maximum(self._direct[:, 0], 0.0)
        if self.measure.startswith("whole"):
            shown = shown + late[0]
        whole = np.maximum(self._direct[:, 1], 0.0) + late[1]
        return LiveState(
            evenness=evenness(power_ratio_db(shown)),
            level_dba=float(power_ratio_db(np.mean(whole))),
        )

    def level_map(self) -> LevelMap:
        """Return the map as it is now."""
        energy = np.maximum(self._map, 0.0)
        if self.measure.startswith("whole"):
            energy = energy + (self.sources.power_w @ self._late)[0]
        level = power_ratio_db(energy).astype(np.float32)
        level[~self.inside] = np.nan
        return LevelMap(grid=self.grid, level_db=level, inside=self.inside, measure=self.measure)
