"""What a room does to sound: volume, absorption, reverberation, noise, from the survey."""

from dataclasses import dataclass

import numpy as np

from soffit.acoustics.air import air_absorption_db_m, air_energy_attenuation_per_m
from soffit.acoustics.bands import BAND_TEXT, N_BANDS, FloatArray
from soffit.acoustics.noise import NoiseShape, nc_curve_db, noise_octaves_db, nr_curve_db
from soffit.acoustics.room import (
    ReverberationModel,
    Surface,
    absorption_area_from_time_m2,
    absorption_area_m2,
    absorption_coefficients,
    absorption_object_m2,
    checked_reverberation_time_s,
    reverberation_time_arau_s,
    reverberation_time_eyring_s,
    reverberation_time_sabine_s,
    room_constant_m2,
)
from soffit.acoustics.visibility import Outline, outline
from soffit.acoustics.weighting import level_dba
from soffit.errors import DomainError
from soffit.model.survey import Assumption, Noise, Room
from soffit.model.survey import Surface as SurveySurface
from soffit.tables.settings import Limits
from soffit.units import format_area

_DEFAULT_CEILING = {
    "grid": "mineral_fibre_tile_ordinary",
    "concealed": "mineral_fibre_tile_ordinary",
    "plasterboard": "gypsum_board_on_studs",
    "open": "painted_concrete",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomAcoustics:
    """Statistical acoustics of one room.

    Parameters
    ----------
    floor_m2, volume_m3, surface_m2
        Floor, volume, and area of all surfaces. [m², m³]
    reverberation_time_s : (n_bands,)
        T in use. [s]
    model
        Where T comes from.
    sabine_s, eyring_s : (n_bands,)
        T by the two formulas, for comparison. [s]
    arau_s : (n_bands,)
        T by Arau-Puchades for a box of the same floor and height: longer where the absorption lies
        on one pair of surfaces. [s]
    absorption_area_m2 : (n_bands,)
        Equivalent absorption area that belongs to T, air included. [m²]
    shown_ratio
        How much longer T must be by Arau-Puchades than by Eyring before both are shown.
    room_constant_m2 : (n_bands,)
        R. [m²]
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]
    walls
        Walls in plan.
    floor_absorption_ratio, wall_absorption_ratio : (n_bands,)
        Mean absorption of floor and walls; the room's mean where T was measured.
    first_images
        Whether first reflections of floor and walls are summed one by one.
    assumptions
        What was taken because nobody surveyed it.
    """

    floor_m2: float
    volume_m3: float
    surface_m2: float
    reverberation_time_s: FloatArray
    model: ReverberationModel
    sabine_s: FloatArray
    eyring_s: FloatArray
    arau_s: FloatArray
    shown_ratio: float
    absorption_area_m2: FloatArray
    room_constant_m2: FloatArray
    air_db_m: FloatArray
    walls: Outline
    floor_absorption_ratio: FloatArray
    wall_absorption_ratio: FloatArray
    first_images: bool
    assumptions: tuple[Assumption, ...]

    @property
    def text(self) -> str:
        """Model in words, as printed beside figures of the whole field."""
        mid = float(np.mean(self.reverberation_time_s[3:6]))
        late = "first reflections of floor and walls, " if self.first_images else ""
        shows = self.uneven_ratio > self.shown_ratio
        uneven = f"; {self.mid_arau_s:.2f} s by Arau-Puchades" if shows else ""
        return f"T {mid:.2f} s (500 Hz to 2 kHz, {self.model}{uneven}), {late}late field diffuse"

    @property
    def mid_arau_s(self) -> float:
        """Mean T of 500 Hz to 2 kHz by Arau-Puchades. [s]."""
        return float(np.mean(self.arau_s[3:6]))

    @property
    def mid_eyring_s(self) -> float:
        """Mean T of 500 Hz to 2 kHz by Eyring. [s]."""
        return float(np.mean(self.eyring_s[3:6]))

    @property
    def uneven_ratio(self) -> float:
        """How much longer T is by Arau-Puchades; 1 where it was measured."""
        return 1.0 if self.model == "measured" else self.mid_arau_s / self.mid_eyring_s

    @property
    def diffuse_constant_m2(self) -> FloatArray:
        """Room constant of what is left to the diffuse field. [m²]."""
        if not self.first_images:
            return self.room_constant_m2
        mean = np.minimum(self.absorption_area_m2 / self.surface_m2, 0.99)
        return np.asarray(self.room_constant_m2 / (1.0 - mean))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomNoise:
    """Background noise of a room.

    Parameters
    ----------
    octave_db : (n_bands,)
        Octave levels. [dB]
    level_dba
        A-weighted level. [dB]
    text
        How it was stated, with its source.
    is_people
        Whether it is taken for people talking, who are not there in an empty room.
    """

    octave_db: FloatArray
    level_dba: float
    text: str
    is_people: bool = False


def _ring_area_m2(ring: FloatArray) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return abs(0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))


def _ring_length_m(ring: FloatArray) -> float:
    return float(np.sum(np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)))


def _heights(room: Room, floor_m2: float) -> tuple[float, float]:
    """Return the volume and the mean height of a room with one ceiling or several."""
    if not room.ceilings:
        msg = f"{room.label} has no ceiling"
        raise DomainError(
            msg, where=f"rooms.{room.key}.ceilings", why="its volume is unknown", do="enter one"
        )
    parts = [
        (_ring_area_m2(np.asarray(ceiling.region)), ceiling.height_m)
        for ceiling in room.ceilings
        if ceiling.region is not None
    ]
    rest = max(0.0, floor_m2 - sum(area for area, _ in parts))
    whole = [ceiling.height_m for ceiling in room.ceilings if ceiling.region is None]
    height_of_rest = whole[0] if whole else (parts[0][1] if parts else 0.0)
    volume = sum(area * height for area, height in parts) + rest * height_of_rest
    return volume, volume / floor_m2


def room_acoustics(room: Room, limits: Limits) -> RoomAcoustics:
    """Return the statistical acoustics of a room.

    Parameters
    ----------
    room
        Room with its surfaces, or with a measured reverberation time.
    limits
        Air and furnishing.

    Returns
    -------
    RoomAcoustics
        By measured T where there is one, else by Eyring.

    Raises
    ------
    DomainError
        If T or the absorption is impossible, or the room has no ceiling.
    """
    walls = outline(room.outline, room.holes)
    floor = _ring_area_m2(walls.outer_m) - sum(_ring_area_m2(hole) for hole in walls.holes_m)
    volume, height = _heights(room, floor)
    wall = height * sum(_ring_length_m(ring) for ring in (walls.outer_m, *walls.holes_m))
    air = air_absorption_db_m(
        temperature_degc=limits["sound_air_degc"],
        humidity_percent=limits["sound_humidity_percent"],
    )
    parts, assumptions, objects = _surfaces(room, floor, wall, limits)
    surfaces = [surface for found in parts.values() for surface in found]
    area, surface = absorption_area_m2(surfaces, objects_m2=objects)
    sabine = reverberation_time_sabine_s(volume_m3=volume, absorption_area_m2=area, air_db_m=air)
    eyring = reverberation_time_eyring_s(
        volume_m3=volume,
        surface_m2=surface,
        absorption_area_m2=np.minimum(area, 0.99 * surface),
        air_db_m=air,
    )
    if room.reverberation_s is not None:
        time, model = checked_reverberation_time_s(room.reverberation_s), "measured"
        used = absorption_area_from_time_m2(volume_m3=volume, reverberation_time_s=time)
        assumptions = ()
    else:
        time, model = eyring, "Eyring"
        used = area + 4.0 * air_energy_attenuation_per_m(air) * volume
    arau = _arau_s(walls.outer_m, floor, height, parts, objects)
    return RoomAcoustics(
        floor_m2=floor,
        volume_m3=volume,
        surface_m2=surface,
        reverberation_time_s=time,
        model="measured" if model == "measured" else "Eyring",
        sabine_s=sabine,
        eyring_s=eyring,
        arau_s=arau,
        shown_ratio=limits["sound_uneven_shown_ratio"],
        absorption_area_m2=used,
        room_constant_m2=room_constant_m2(surface_m2=surface, absorption_area_m2=used),
        air_db_m=air,
        walls=walls,
        floor_absorption_ratio=_mean(parts["floor"], used, surface, model),
        wall_absorption_ratio=_mean(parts["walls"], used, surface, model),
        first_images=limits["sound_first_images"] >= 0.5,
        assumptions=assumptions,
    )


def _arau_s(
    ring: FloatArray,
    floor_m2: float,
    height_m: float,
    parts: dict[str, list[Surface]],
    objects_m2: FloatArray,
) -> FloatArray:
    """Return T by Arau-Puchades for the box with the room's floor, height and outline ratio."""
    longest = float(np.max(np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)))
    length = max(longest, float(np.sqrt(floor_m2)))
    sides = {
        part: np.sum([s.surface_m2 * s.absorption_ratio for s in surfaces], axis=0)
        / sum(s.surface_m2 for s in surfaces)
        for part, surfaces in parts.items()
    }
    level = (sides["floor"] + sides["ceiling"]) / 2.0 + objects_m2 / (2.0 * floor_m2)
    return np.array(
        [
            reverberation_time_arau_s(
                dimensions_m=(length, floor_m2 / length, height_m),
                absorption_ratio=np.clip(
                    [sides["walls"][band], sides["walls"][band], level[band]], 0.005, 0.98
                ),
            )
            for band in range(N_BANDS)
        ]
    )


def _mean(
    surfaces: list[Surface], area_m2: FloatArray, surface_m2: float, model: str
) -> FloatArray:
    """Return the mean absorption of a part; of the room where its T was measured."""
    if model == "measured":
        return np.minimum(area_m2 / surface_m2, 1.0)
    total = sum(surface.surface_m2 for surface in surfaces)
    weighted = [surface.surface_m2 / total * surface.absorption_ratio for surface in surfaces]
    return np.asarray(np.sum(weighted, axis=0))


def surface_absorption_ratio(surface: SurveySurface) -> FloatArray:
    """Return the coefficients of a surface, the job's own before the table's.

    Parameters
    ----------
    surface
        Surface that absorbs by area.

    Returns
    -------
    (n_bands,)
        Coefficients, 0 to 1: laboratory values above 1 are taken as 1.

    Raises
    ------
    TableError
        If the material is neither the job's nor the table's.
    """
    if surface.absorption_ratio:
        return np.minimum(np.asarray(surface.absorption_ratio, dtype=np.float64), 1.0)
    return absorption_coefficients(surface.material)


def _furniture_m2(surface: SurveySurface, floor_m2: float) -> FloatArray:
    """Return what furniture absorbs: by the piece where it is counted, else by area."""
    if surface.count is None:
        return (surface.area_m2 or floor_m2) * surface_absorption_ratio(surface)
    own = np.asarray(surface.object_m2, dtype=np.float64)
    return surface.count * (own if own.size else absorption_object_m2(surface.material))


def _surfaces(
    room: Room, floor_m2: float, wall_m2: float, limits: Limits
) -> tuple[dict[str, list[Surface]], tuple[Assumption, ...], FloatArray]:
    whole = {"floor": floor_m2, "walls": wall_m2, "ceiling": floor_m2}
    kind = room.ceilings[0].kind
    usual = {
        "floor": "vinyl_on_concrete",
        "walls": "gypsum_board_on_studs",
        "ceiling": _DEFAULT_CEILING[kind],
    }
    found: dict[str, list[Surface]] = {part: [] for part in whole}
    assumptions: list[Assumption] = []
    for part, total in whole.items():
        stated = [surface for surface in room.surfaces if surface.part == part]
        rest = total - sum(surface.area_m2 or 0.0 for surface in stated)
        open_ended = [surface for surface in stated if surface.area_m2 is None]
        if not open_ended and rest > 1e-6 * total:
            open_ended = [SurveySurface(part="walls", material=usual[part])]
            assumptions.append(
                Assumption(
                    path=f"rooms.{room.key}.surfaces",
                    text=f"{part}: {usual[part].replace('_', ' ')} over {_area_text(rest)}",
                    source="common practice, no source",
                )
            )
        for surface in (*stated, *(s for s in open_ended if s not in stated)):
            shared = surface.area_m2
            if shared is None:
                shared = max(rest, 0.0) / len(open_ended)
            if shared > 0.0:
                found[part].append(
                    Surface(
                        surface_m2=shared,
                        absorption_ratio=surface_absorption_ratio(surface),
                    )
                )
    furniture = [surface for surface in room.surfaces if surface.part == "furniture"]
    objects = sum((_furniture_m2(s, floor_m2) for s in furniture), np.zeros(N_BANDS))
    if not furniture:
        objects = objects + limits["sound_furnishing_ratio"] * floor_m2
        assumptions.append(
            Assumption(
                path=f"rooms.{room.key}.surfaces",
                text=f"furniture and few people absorb like {_area_text(objects[0])}",
                source=limits.source("sound_furnishing_ratio"),
            )
        )
    return found, tuple(assumptions), objects


def _area_text(area_m2: float) -> str:
    """Write an area in both systems: nothing here knows which one the job's people read."""
    both = (format_area(float(area_m2), imperial=imperial) for imperial in (False, True))
    return "{} ({})".format(*both)


def room_noise(noise: Noise | None, *, people_from_dba: float = 55.0) -> RoomNoise | None:
    """Return the octave levels of a room's noise.

    Parameters
    ----------
    noise
        As the survey states it.
    people_from_dba
        A level stated in dBA alone is taken for talking people from here up, below for air
        handling. [dB]

    Returns
    -------
    RoomNoise or None
        ``None`` where nothing is known.

    Raises
    ------
    DomainError
        If a curve lies outside its table, or a value is missing.
    """
    if noise is None:
        return None
    if noise.kind == "octaves":
        octaves = np.asarray(noise.octaves_db, dtype=np.float64)
        if octaves.shape != (8,) or not np.all(np.isfinite(octaves)):
            msg = "the noise lacks octave levels"
            raise DomainError(
                msg,
                where="noise.octaves_db",
                why=f"all of {', '.join(BAND_TEXT)}",
                do="fill them in",
            )
        text = "octave levels"
    elif noise.value is None:
        msg = f"the noise is stated as {noise.kind} without a number"
        raise DomainError(msg, where="noise.value", why="no level", do="enter it")
    elif noise.kind == "nc":
        octaves, text = nc_curve_db(noise.value), f"NC-{noise.value:g}, its curve in every octave"
    elif noise.kind == "nr":
        octaves, text = nr_curve_db(noise.value), f"NR-{noise.value:g}, its curve in every octave"
    else:
        shape: NoiseShape = "people" if noise.value >= people_from_dba else "ventilation"
        octaves = noise_octaves_db(noise.value, shape)
        words = {"people": "talking people", "ventilation": "air handling"}[shape]
        text = f"{noise.value:g} dBA, spectrum of {words} assumed"
    level = float(level_dba(octaves))
    return RoomNoise(
        octave_db=octaves,
        level_dba=level,
        text=f"{text} ({noise.source})",
        is_people="people" in text,
    )
