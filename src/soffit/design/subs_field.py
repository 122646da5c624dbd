"""Solve the low-frequency field of a room from its records."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from soffit.acoustics.lowfreq import (
    DECAY_NEPER,
    EVANESCENT_NEPER,
    PlanModes,
    absorption_area_of_decay_m2,
    decay_rate_per_s,
    half_space_transfer,
    plan_limit_per_m,
    reverberation_time_at_s,
)
from soffit.acoustics.lowfreq_leak import leak_absorption_ratio
from soffit.acoustics.lowfreq_mesh import MOST_MODES, mode_count, plan_modes
from soffit.acoustics.lowfreq_seats import (
    LowTones,
    low_tones,
)
from soffit.design.subs_answer import SubQuestion
from soffit.design.subs_level import (
    OCTAVE_MID_HZ,
)
from soffit.design.subs_room import (
    positions_of,
    room_shape,
    seats_of,
)
from soffit.errors import DomainError, NoSolutionError
from soffit.model.survey import Ceiling, Room
from soffit.tables.settings import Limits

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_BAND_EDGE: Final = 1.13
_THIRD_OCTAVE_WIDTH: Final = 10.0**0.05 - 10.0**-0.05
_MODE_WIDTH: Final = DECAY_NEPER / np.pi  # half-power width times T
_MOST_TONES: Final = 24
_EFFORTS: Final = ((EVANESCENT_NEPER, 150), (4.5, 250), (3.5, MOST_MODES))
"""Nepers by which what is left out has died away, and the number of modes up to which it is so."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LowField:
    """The solved room: modes, tones, damping, seats, and transfers of the candidates."""

    modes: PlanModes
    shape: shapely.Polygon
    height_m: float
    source_height_m: float
    tones: LowTones
    decay: FloatArray
    seats: FloatArray
    transfer: ComplexArray
    notes: tuple[str, ...]

    def from_points(
        self, positions_m: FloatArray, ears: FloatArray, tones: LowTones, decay: FloatArray
    ) -> ComplexArray:
        """Transfer from any plan positions. [m]."""
        return half_space_transfer(
            self.modes,
            source_m=positions_m,
            ear_m=ears,
            frequency_hz=tones.frequency_hz,
            decay_rate_per_s=decay,
            height_m=self.height_m,
            source_height_m=self.source_height_m,
        )


def _prism(room: Room) -> tuple[float, tuple[str, ...]]:
    """Height of the prism that stands for a room, and what that takes for granted. [m]."""
    if not room.ceilings:
        msg = f"{room.label}: it has no ceiling"
        raise NoSolutionError(
            msg,
            where=f"rooms.{room.key}.ceilings",
            why="the low end needs the height of the room",
            do="give the ceiling with its height",
        )
    shape = room_shape(room)
    weights, heights, notes = [], [], []
    for ceiling in room.ceilings:
        part = (
            shape
            if ceiling.region is None
            else shape.intersection(shapely.Polygon(ceiling.region).buffer(0))
        )
        middle = part.centroid if not part.is_empty else shape.centroid
        rise = ceiling.slope_ratio * (
            (middle.x - ceiling.slope_at[0]) * np.cos(ceiling.slope_angle_rad)
            + (middle.y - ceiling.slope_at[1]) * np.sin(ceiling.slope_angle_rad)
        )
        weights.append(max(part.area, 1e-9))
        heights.append(ceiling.height_m + float(rise))
        if ceiling.slope_ratio:
            notes.append(
                f"the ceiling slopes: the low end takes it as flat at its mean height"
                f" of {heights[-1]:.2f} m"
            )
    height = float(np.average(heights, weights=weights))
    if max(heights) - min(heights) > 0.05:
        notes.append(
            f"ceilings of {min(heights):.2f} to {max(heights):.2f} m are taken as one"
            f" of {height:.2f} m, weighted by area"
        )
    return height, tuple(notes)


def _tones_per_band(question: SubQuestion, top_hz: float, limits: Limits) -> int:
    """Tones so close that none of the damped modes slips between them (they are 2.2/T wide)."""
    time_s = max(question.reverberation_s[:2]) if question.reverberation_s else 0.0
    needed = int(np.ceil(_THIRD_OCTAVE_WIDTH * top_hz * time_s / _MODE_WIDTH))
    return max(round(limits["lowfreq_tones_per_third"]), min(needed, _MOST_TONES))


def _source_height_m(question: SubQuestion, height_m: float) -> float:
    """Height of the sources: flush in a ceiling, or where they hang under an open one. [m]."""
    hung = [place.height_m for place in question.places if 0.0 < place.height_m < height_m]
    if hung and all(ceiling.kind == "open" for ceiling in question.room.ceilings):
        return float(np.median(hung))
    return height_m


def _plan_modes(
    shape: shapely.Polygon, height_step_m: float, bands: tuple[str, ...]
) -> tuple[PlanModes, tuple[str, ...], float]:
    """Modes for the bands that the size of the plan allows, those bands, and the highest tone."""
    outline = np.asarray(shape.exterior.coords)[:-1]
    holes = [np.asarray(ring.coords)[:-1] for ring in shape.interiors]
    is_box = not holes and shape.area > 0.999999 * shape.minimum_rotated_rectangle.area
    for number in range(len(bands), 0, -1):
        highest_hz = float(bands[number - 1]) * _BAND_EDGE
        for neper, most in _EFFORTS:
            limit = plan_limit_per_m(
                highest_hz=highest_hz, height_step_m=height_step_m, decay_neper=neper
            )
            count = mode_count(area_m2=shape.area, perimeter_m=shape.length, limit_per_m=limit)
            if is_box or count <= most:
                return plan_modes(outline, holes, limit_per_m=limit), bands[:number], highest_hz
    msg = f"a plan of {shape.area:.0f} m² is too large for the modal model"
    raise NoSolutionError(
        msg,
        where="outline",
        why=f"more than {MOST_MODES} plan modes lie under {float(bands[0]) * _BAND_EDGE:.0f} Hz,"
        " far above where modes can be told apart",
        do="judge the low end by the statistical level; any tile away from walls will do",
    )


def low_decay_per_s(
    question: SubQuestion, tones: LowTones, height_m: float, leak: float, limits: Limits
) -> FloatArray:
    """Decay rate at each tone: from T, and from what leaks if T does not know it.

    Parameters
    ----------
    question
        The room and its reverberation time.
    tones
        Where it is wanted.
    height_m
        Height of the prism. [m]
    leak
        Share of what passes the ceiling that is lost; 0 for none.
    limits
        Settings in force.

    Returns
    -------
    (n_tones,)
        Decay rate of pressure. [1/s]

    Raises
    ------
    DomainError
        If the reverberation time is missing.
    """
    if question.reverberation_s is None:
        msg = f"{question.room.label}: its reverberation time is missing"
        raise DomainError(
            msg,
            where=f"rooms.{question.room.key}.reverberation",
            why="how sharp the modes are follows from T at 63 and 125 Hz",
            do="measure T, or give floor, walls and ceiling so that it can be computed",
        )
    time = np.asarray(question.reverberation_s[:3], dtype=np.float64)
    at_tones = reverberation_time_at_s(
        frequency_hz=tones.frequency_hz, mid_hz=OCTAVE_MID_HZ, reverberation_time_s=time
    )
    decay = decay_rate_per_s(at_tones)
    if question.is_measured or leak <= 0.0:
        return decay
    shape = room_shape(question.room)
    extra = np.zeros_like(decay)
    for ceiling in question.room.ceilings:
        mass = ceiling_mass_kg_m2(ceiling, limits)
        if mass is None:
            continue
        part = (
            shape
            if ceiling.region is None
            else shape.intersection(shapely.Polygon(ceiling.region).buffer(0))
        )
        extra = extra + part.area * leak_absorption_ratio(
            frequency_hz=tones.frequency_hz,
            mass_kg_m2=mass,
            known_absorption=question.ceiling_absorption_ratio,
            share_lost=leak,
        )
    one = float(absorption_area_of_decay_m2(decay_rate_per_s=1.0, volume_m3=shape.area * height_m))
    return np.asarray(decay + extra / one)


def ceiling_mass_kg_m2(ceiling: Ceiling, limits: Limits) -> float | None:
    """Mass of the infill that sound may pass; ``None`` under a hard structure."""
    if ceiling.kind == "open":
        return None
    if ceiling.tile_mass_kg_m2:
        return ceiling.tile_mass_kg_m2
    heavy = ceiling.kind == "plasterboard"
    return limits["lowfreq_plasterboard_mass_kg_m2" if heavy else "lowfreq_tile_mass_kg_m2"]


def solve_low_field(
    question: SubQuestion, bands: tuple[str, ...], limits: Limits
) -> tuple[LowField, float]:
    """Solve the modes of a room and the transfer from every place to every seat.

    Parameters
    ----------
    question
        The room.
    bands
        Third octaves that count.
    limits
        Settings in force.

    Returns
    -------
    field : LowField
        The solved room; its tones leave out bands above what its size allows.
    highest : float
        Highest frequency computed. [Hz]

    Raises
    ------
    DomainError
        If T is missing or the ceiling lies under the ears.
    NoSolutionError
        If there is no ceiling, no seat, or the plan is too large.
    """
    room = question.room
    height, notes = _prism(room)
    shape = room_shape(room)
    seats = seats_of(room, shape)
    source_height = _source_height_m(question, height)
    step = source_height - float(seats[:, 2].max())
    if step <= 0.0:
        msg = f"{room.label}: ears at {seats[:, 2].max():.2f} m under a ceiling of {height:.2f} m"
        raise DomainError(
            msg,
            where=f"rooms.{room.key}.ceilings",
            why="the ceiling lies at or under the ears",
            do="check the heights of ceiling and ears",
        )
    modes, kept, highest_hz = _plan_modes(shape, step, bands)
    tones = low_tones(
        low_hz=float(kept[0]),
        high_hz=float(kept[-1]),
        per_band=_tones_per_band(question, float(kept[-1]), limits),
    )
    decay = low_decay_per_s(question, tones, height, limits["lowfreq_leak_share"], limits)
    solved = LowField(
        modes=modes,
        shape=shape,
        height_m=height,
        source_height_m=source_height,
        tones=tones,
        decay=decay,
        seats=seats,
        transfer=half_space_transfer(
            modes,
            source_m=positions_of(question.places),
            ear_m=seats,
            frequency_hz=tones.frequency_hz,
            decay_rate_per_s=decay,
            height_m=height,
            source_height_m=source_height,
        ),
        notes=notes,
    )
    return solved, highest_hz
