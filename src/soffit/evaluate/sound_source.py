"""Loudspeakers as radiators: from catalogue and placed records to arrays."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from soffit.acoustics.bands import N_BANDS, BoolArray, FloatArray, band_index
from soffit.acoustics.direct import Radiator, energy_per_watt, radiator
from soffit.acoustics.directivity import (
    Directivity,
    cosine_power,
    piston,
    polar_pair,
    polar_table,
)
from soffit.acoustics.radial import look_up, radial_table
from soffit.acoustics.room import reverberant_energy_per_watt
from soffit.acoustics.spectrum import Spectrum, music_spectrum, pink_spectrum, speech_spectrum
from soffit.acoustics.visibility import Outline, hidden_by_walls, is_visible
from soffit.acoustics.weighting import octave_a_weights_db
from soffit.decibel import power_ratio
from soffit.errors import DomainError
from soffit.model.catalogue import Catalogue, SpeakerType
from soffit.model.speakers import Speaker
from soffit.model.survey import EvennessMeasure, Programme
from soffit.tables.settings import Limits

MEASURES: tuple[EvennessMeasure, ...] = (
    "direct 4 kHz",
    "direct 2 kHz",
    "direct dBA",
    "whole 4 kHz",
    "whole 2 kHz",
    "whole dBA",
)

SINE_CREST_DB = 3.0103
"""Peak over r.m.s. of a sine, 10 lg 2. [dB]"""


@lru_cache(maxsize=256)
def radiator_of(speaker_type: SpeakerType) -> Radiator:
    """Return what a catalogue type radiates.

    Parameters
    ----------
    speaker_type
        Catalogue entry.

    Returns
    -------
    Radiator
        Sensitivity, directivity and directivity factor per band.

    Raises
    ------
    DomainError
        If its data are incomplete or not numbers.
    """
    return radiator(
        sensitivity_db=speaker_type.sensitivity_db, directivity=_directivity(speaker_type)
    )


def _directivity(speaker_type: SpeakerType) -> Directivity:
    data = speaker_type.directivity
    in_ceiling = speaker_type.kind == "ceiling"
    if data.model == "piston" and data.piston_radius_m is not None:
        return piston(radius_m=data.piston_radius_m)
    if data.model == "cosine" and data.coverage_angle_rad is not None:
        return cosine_power(coverage_angle_rad=data.coverage_angle_rad)
    by_plane = {table.plane: table for table in data.polar}
    if "axial" in by_plane:
        table = by_plane["axial"]
        return polar_table(
            angle_rad=table.angle_rad, level_db=np.transpose(table.level_db), baffled=in_ceiling
        )
    if {"horizontal", "vertical"} <= set(by_plane):
        across, upright = by_plane["horizontal"], by_plane["vertical"]
        if across.angle_rad != upright.angle_rad:
            msg = f"{speaker_type.id}: its two polar tables have different angles"
            raise DomainError(msg, where="polar", why="both planes share angles", do="align them")
        return polar_pair(
            angle_rad=across.angle_rad,
            horizontal_db=np.transpose(across.level_db),
            vertical_db=np.transpose(upright.level_db),
            baffled=in_ceiling,
        )
    msg = f"{speaker_type.id}: no data for its directivity model {data.model!r}"
    raise DomainError(
        msg,
        where=f"catalogue.{speaker_type.id}.directivity",
        why="a polar table, a piston radius or a coverage angle is needed",
        do="enter one of them",
    )


def programme_spectrum(programme: Programme) -> Spectrum:
    """Return the octave shape of what will be played.

    Parameters
    ----------
    programme
        As the brief names it.

    Returns
    -------
    Spectrum
        Speech (edition 5) for speech and paging, else music.
    """
    return speech_spectrum() if programme in {"speech", "paging"} else music_spectrum()


def spectrum_share(spectrum: Spectrum) -> FloatArray:
    """Share of each octave in one electrical watt of a programme.

    Parameters
    ----------
    spectrum
        Its shape at the input of a system without equalisation.

    Returns
    -------
    (n_bands,)
        Shares that sum to one.
    """
    share = power_ratio(spectrum.level_db)
    return np.asarray(share / share.sum())


def crest_drive_db(programme: Programme, limits: Limits) -> float:
    """Mean power of a programme whose peaks just fill the line, re the tap power.

    Parameters
    ----------
    programme
        What is played.
    limits
        Crest factors.

    Returns
    -------
    float
        3 dB less the crest factor: -9 dB for speech of 12 dB crest. [dB]
    """
    speech = programme in {"speech", "paging"}
    crest = limits["sound_speech_crest_db" if speech else "sound_music_crest_db"]
    return SINE_CREST_DB - crest


def measure_weights(measure: EvennessMeasure, share: FloatArray) -> FloatArray:
    """Weights that turn energies per band into the energy of a measure.

    Parameters
    ----------
    measure
        As the brief names it.
    share : (n_bands,)
        Share of each octave in one watt of programme, see `spectrum_share`.

    Returns
    -------
    (n_bands,)
        Share and A-weight for dBA; the share of the one octave for a band measure.
    """
    if measure.endswith("dBA"):
        return np.asarray(share * power_ratio(octave_a_weights_db()))
    weights = np.zeros(N_BANDS)
    band = band_index(measure.split(" ", 1)[1])
    weights[band] = share[band]
    return weights


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sources:
    """Speakers of one room as arrays.

    Parameters
    ----------
    keys
        Permanent keys.
    radiators
        One per speaker; speakers of a type share one.
    position_m : (n, 3)
        Positions. [m]
    axis : (n, 3)
        Unit vectors.
    power_w : (n,)
        Power at the voice coil with a full-scale sine on the line, line loss counted. [W]
    text
        Directivity models in words.
    """

    keys: tuple[str, ...]
    radiators: tuple[Radiator, ...]
    position_m: FloatArray
    axis: FloatArray
    power_w: FloatArray
    text: str


def sources_of(
    speakers: Sequence[Speaker],
    catalogue: Catalogue,
    *,
    line_voltage_v: float,
    loss_db: Mapping[str, float] | None = None,
) -> Sources:
    """Return speakers as arrays; subwoofers are left to the low-frequency model.

    Parameters
    ----------
    speakers
        Speakers of one room.
    catalogue
        Their types.
    line_voltage_v
        Nominal line voltage. [V]
    loss_db
        Line loss by speaker key, positive; none by default. [dB]

    Returns
    -------
    Sources
        In the order given.
    """
    losses = loss_db or {}
    used = [s for s in speakers if catalogue.speaker(s.type_id).kind != "subwoofer"]
    types = [catalogue.speaker(speaker.type_id) for speaker in used]
    aim = np.array([speaker.aim for speaker in used], dtype=np.float64).reshape(-1, 3)
    length = np.linalg.norm(aim, axis=1, keepdims=True)
    if not np.all(length > 1e-9):
        msg = "a speaker is aimed nowhere"
        raise DomainError(msg, where="aim", why="its vector has no length", do="aim it")
    watts = [
        kind.delivered_w(s.tap)
        * (line_voltage_v / s.tap.voltage_v) ** 2
        * float(power_ratio(-losses.get(s.key, 0.0)))
        for s, kind in zip(used, types, strict=True)
    ]
    names = sorted({f"{kind.name}: {radiator_of(kind).directivity.text}" for kind in types})
    return Sources(
        keys=tuple(speaker.key for speaker in used),
        radiators=tuple(radiator_of(kind) for kind in types),
        position_m=np.array(
            [(*s.position, s.mount_height_m) for s in used], dtype=np.float64
        ).reshape(-1, 3),
        axis=aim / np.maximum(length, 1e-9),
        power_w=np.array(watts, dtype=np.float64),
        text="; ".join(names) or "no speakers",
    )


@lru_cache(maxsize=512)
def _table(
    kind: Radiator, throw_m: float, air: tuple[float, ...], weights: tuple[tuple[float, ...], ...]
) -> FloatArray:
    return radial_table(kind, throw_m=throw_m, air_db_m=air, weights=weights)


def columns(
    sources: Sources,
    which: Sequence[int] | NDArray[np.intp],
    point_m: FloatArray,
    *,
    walls: Outline | None,
    air_db_m: FloatArray,
    weights: FloatArray | None = None,
) -> FloatArray:
    """Direct energy per watt of some speakers at points, walls in the way counted.

    Parameters
    ----------
    sources
        All speakers of the room.
    which
        Indices of those wanted.
    point_m : (n_points, 3)
        Ears. [m]
    walls
        Walls; none by default.
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]
    weights : (n_measures, n_bands)
        Measures as weighted sums of bands; the eight bands themselves by default.

    Returns
    -------
    (n_measures, n_points, n_wanted)
        Energy per watt. [1/W]
    """
    index = np.asarray(which, dtype=np.intp)
    wanted = np.eye(N_BANDS) if weights is None else np.atleast_2d(weights)
    energy = np.empty((len(wanted), len(point_m), len(index)))
    groups: dict[tuple[int, float | None], list[int]] = {}
    for row, speaker in enumerate(index):
        kind = sources.radiators[speaker]
        down = sources.axis[speaker, 2] < -1.0 + 1e-12
        plain = down and kind.directivity.vertical_energy_ratio is None
        height = round(float(sources.position_m[speaker, 2]), 6) if plain else None
        groups.setdefault((id(kind), height), []).append(row)
    for (_, height), rows in groups.items():
        kind = sources.radiators[index[rows[0]]]
        where = sources.position_m[index[rows]]
        if height is None:
            aimed = energy_per_watt(
                radiator=kind,
                speaker_m=where,
                axis=sources.axis[index[rows]],
                point_m=point_m,
                air_db_m=air_db_m,
            )
            energy[:, :, rows] = np.moveaxis(aimed @ wanted.T, -1, 0)
            continue
        found = _facing_down(kind, height, where, point_m, air_db_m, wanted)
        if len(groups) == 1:
            energy = found
        else:
            energy[:, :, rows] = found
    if walls is not None and not walls.is_convex:
        energy *= seen_from(sources, index, point_m, walls)
    return energy


def _facing_down(
    kind: Radiator,
    height_m: float,
    speaker_m: FloatArray,
    point_m: FloatArray,
    air_db_m: FloatArray,
    weights: FloatArray,
) -> FloatArray:
    """Energy per watt of speakers of one type at one height, from radial tables."""
    dx = point_m[:, None, 0] - speaker_m[None, :, 0]
    dy = point_m[:, None, 1] - speaker_m[None, :, 1]
    square = dx * dx + dy * dy
    ear = np.round(point_m[:, 2], 6)
    energy = np.empty((len(weights), *square.shape))
    for level in np.unique(ear):
        throw = height_m - float(level)
        if throw <= 0.0:
            msg = f"a speaker at {height_m:.2f} m faces down over ears at {level:.2f} m"
            raise DomainError(
                msg,
                where="mount_height",
                why="a speaker that faces down must hang above the ears",
                do="check the ceiling height and the ear height",
            )
        table = _table(
            kind,
            round(throw, 6),
            tuple(map(float, air_db_m)),
            tuple(tuple(map(float, row)) for row in weights),
        )
        here = ear == level
        if np.all(here):
            return look_up(table, throw, square)
        energy[:, here] = look_up(table, throw, square[here])
    return energy


def point_columns(
    sources: Sources,
    index: int,
    x_m: FloatArray,
    y_m: FloatArray,
    ear_height_m: float,
    *,
    walls: Outline,
    air_db_m: FloatArray,
    weights: FloatArray,
) -> FloatArray:
    """Direct energy per watt of one speaker over points whose coordinates broadcast.

    Parameters
    ----------
    sources
        All speakers of the room.
    index
        Which one.
    x_m, y_m : (...)
        Coordinates, for a map (1, n_x) and (n_y, 1). [m]
    ear_height_m
        Height of the points. [m]
    walls
        Walls that hide.
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]
    weights : (n_bands,)
        Measure as a weighted sum of bands.

    Returns
    -------
    (...)
        Energy per watt, 0 where hidden. [1/W]
    """
    px, py, height = sources.position_m[index]
    kind = sources.radiators[index]
    throw = round(float(height) - ear_height_m, 6)
    plain = sources.axis[index, 2] < -1.0 + 1e-12 and throw > 0.0
    if plain and kind.directivity.vertical_energy_ratio is None:
        # Single precision: a column is taken away exactly as it was added, in a double sum.
        table = _table(kind, throw, tuple(map(float, air_db_m)), (tuple(map(float, weights)),))
        dx, dy = (x_m - px).astype(np.float32), (y_m - py).astype(np.float32)
        found = look_up(table.astype(np.float32), throw, dx * dx + dy * dy)[0]
        energy = found.astype(np.float64)
    else:
        shape = np.broadcast_shapes(x_m.shape, y_m.shape)
        points = np.stack(
            [
                np.broadcast_to(x_m, shape).ravel(),
                np.broadcast_to(y_m, shape).ravel(),
                np.full(int(np.prod(shape)), ear_height_m),
            ],
            axis=-1,
        )
        energy = columns(
            sources, [index], points, walls=None, air_db_m=air_db_m, weights=weights
        ).reshape(shape)
    if not walls.is_convex:
        energy[hidden_by_walls(walls, (px, py), x_m, y_m)] = 0.0
    return np.asarray(energy)


def seen_from(
    sources: Sources, index: Sequence[int] | NDArray[np.intp], point_m: FloatArray, walls: Outline
) -> BoolArray:
    """Which points see which speakers.

    Parameters
    ----------
    sources
        All speakers.
    index
        Indices of those wanted.
    point_m : (n_points, 3)
        Ears. [m]
    walls
        Walls.

    Returns
    -------
    (n_points, n_wanted)
        True where no wall is in the way.
    """
    eyes = sources.position_m[np.asarray(index, dtype=np.intp), :2]
    return is_visible(walls, eyes, point_m[:, :2])


def late_per_watt(sources: Sources, room_constant_m2: FloatArray) -> FloatArray:
    """Reverberant energy per watt of each speaker.

    Parameters
    ----------
    sources
        Speakers.
    room_constant_m2 : (n_bands,)
        R. [m²]

    Returns
    -------
    (n_speakers, n_bands)
        Energy per watt, the same everywhere in the room. [1/W]
    """
    return np.array(
        [
            reverberant_energy_per_watt(
                sensitivity_energy=power_ratio(kind.sensitivity_db),
                directivity_factor=kind.directivity_factor,
                room_constant_m2=room_constant_m2,
            )
            for kind in sources.radiators
        ]
    ).reshape(-1, N_BANDS)


def pink_share() -> FloatArray:
    """Share of each octave in one watt of pink noise.

    Returns
    -------
    (n_bands,)
        One eighth each.
    """
    return spectrum_share(pink_spectrum())
