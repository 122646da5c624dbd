"""The direct field: energy per watt that every speaker brings to every ear, per octave band.

Energies are mean squares over (20 µPa)², so a level is `decibel.power_ratio_db` of their sum. They
are linear in the watts, which everything that decides on taps and places uses.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import N_BANDS, BoolArray, FloatArray, per_band
from soffit.acoustics.directivity import Directivity, directivity_factor
from soffit.decibel import power_ratio
from soffit.errors import DomainError

NEAREST_M: Final = 0.1
"""Distances are not taken smaller than this: the far field ends well before. [m]"""

CHUNK_ELEMENTS: Final = 2_000_000
"""Elements of one temporary array; bounds the memory to some hundred megabytes."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Radiator:
    """What one type of speaker radiates.

    Parameters
    ----------
    sensitivity_db : (n_bands,)
        Level at 1 m on the axis for one watt at the voice coil. [dB re 20 µPa]
    directivity
        Directivity.
    directivity_factor : (n_bands,)
        Q.
    """

    sensitivity_db: FloatArray
    directivity: Directivity
    directivity_factor: FloatArray


def radiator(*, sensitivity_db: ArrayLike, directivity: Directivity) -> Radiator:
    """Return what one type radiates.

    Parameters
    ----------
    sensitivity_db : (n_bands,)
        Level at 1 m on the axis for one watt, per band or one for all. [dB re 20 µPa]
    directivity
        Directivity.

    Returns
    -------
    Radiator
        With its directivity factor.

    Raises
    ------
    DomainError
        If a sensitivity is not a number.
    """
    return Radiator(
        sensitivity_db=per_band(sensitivity_db, "sensitivity_db"),
        directivity=directivity,
        directivity_factor=directivity_factor(directivity),
    )


def kernel_energy(
    *,
    radiator: Radiator,
    throw_m: ArrayLike,
    horizontal_m: ArrayLike,
    air_db_m: ArrayLike = 0.0,
) -> FloatArray:
    """Energy per watt below a speaker that faces down, by horizontal distance.

    Parameters
    ----------
    radiator
        What the type radiates; axisymmetric.
    throw_m : (...)
        Height of the speaker over the ears, greater than zero. [m]
    horizontal_m : (...)
        Horizontal distance from the speaker. [m]
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]

    Returns
    -------
    (..., n_bands)
        Mean square pressure over (20 µPa)² per watt. [1/W]

    Raises
    ------
    DomainError
        If the ears are not below the speaker.

    Notes
    -----
    Derived here: g = 10^(S/10) D²(θ) / d², cos θ = throw / d.

    Examples
    --------
    >>> from soffit.acoustics.directivity import omnidirectional
    >>> from soffit.decibel import power_ratio_db
    >>> r = radiator(sensitivity_db=90.0, directivity=omnidirectional())
    >>> g = kernel_energy(radiator=r, throw_m=1.8, horizontal_m=0.0)
    >>> float(power_ratio_db(5.0 * g[4]).round(2))
    91.88
    """
    throw = np.asarray(throw_m, dtype=np.float64)
    if not np.all(throw > 0.0):
        msg = f"speakers hang {float(np.min(throw)):g} m over the ears"
        raise DomainError(
            msg,
            where="throw_m",
            why="a ceiling speaker must be above the ears",
            do="check ceiling height and ear height",
        )
    horizontal = np.asarray(horizontal_m, dtype=np.float64)
    distance = np.maximum(np.sqrt(throw**2 + horizontal**2), NEAREST_M)
    energy = radiator.directivity.at_cosine(throw / distance) * power_ratio(radiator.sensitivity_db)
    energy /= distance[..., None] ** 2
    air = per_band(air_db_m, "air_db_m")
    if np.any(air):
        energy *= power_ratio(-distance[..., None] * air)
    return np.asarray(energy)


def energy_per_watt(
    *,
    radiator: Radiator,
    speaker_m: ArrayLike,
    axis: ArrayLike,
    point_m: ArrayLike,
    air_db_m: ArrayLike = 0.0,
) -> FloatArray:
    """Energy per watt from speakers of one type, aimed anywhere, at points.

    Parameters
    ----------
    radiator
        What the type radiates.
    speaker_m : (n_speakers, 3)
        Positions. [m]
    axis : (n_speakers, 3) or (3,)
        Unit vectors of the axes, see `directivity.aim_vector`.
    point_m : (n_points, 3)
        Ears. [m]
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]

    Returns
    -------
    (n_points, n_speakers, n_bands)
        Mean square pressure over (20 µPa)² per watt. [1/W]

    Notes
    -----
    The horizontal plane of a pair holds the axis and the horizontal direction across it.
    """
    speaker = np.asarray(speaker_m, dtype=np.float64).reshape(-1, 3)
    point = np.asarray(point_m, dtype=np.float64).reshape(-1, 3)
    aim = np.broadcast_to(np.asarray(axis, dtype=np.float64), speaker.shape)
    offset = point[:, None, :] - speaker[None, :, :]
    distance = np.maximum(np.sqrt(np.einsum("psc,psc->ps", offset, offset)), NEAREST_M)
    along = np.einsum("psc,sc->ps", offset, aim)
    cosine = np.clip(along / distance, -1.0, 1.0)
    pattern = radiator.directivity
    if pattern.vertical_energy_ratio is None:
        energy = pattern.at_cosine(cosine)
    else:
        across = np.stack([-aim[:, 1], aim[:, 0], np.zeros(len(aim))], axis=-1)
        length = np.linalg.norm(across, axis=-1, keepdims=True)
        across = np.where(length > 1e-9, across / np.maximum(length, 1e-9), [1.0, 0.0, 0.0])
        upward = np.cross(across, aim)
        azimuth = np.arctan2(
            np.einsum("psc,sc->ps", offset, upward), np.einsum("psc,sc->ps", offset, across)
        )
        energy = pattern.at_angle(np.arccos(cosine), azimuth)
    energy = energy * (power_ratio(radiator.sensitivity_db) / distance[..., None] ** 2)
    air = per_band(air_db_m, "air_db_m")
    if np.any(air):
        energy *= power_ratio(-distance[..., None] * air)
    return np.asarray(energy)


def total_energy(
    *,
    radiator: Radiator,
    power_w: ArrayLike,
    speaker_m: ArrayLike,
    axis: ArrayLike,
    point_m: ArrayLike,
    air_db_m: ArrayLike = 0.0,
    visible: BoolArray | None = None,
) -> FloatArray:
    """Energy from all speakers of one type at points, in chunks so that memory stays bounded.

    Parameters
    ----------
    radiator
        What the type radiates.
    power_w : (n_speakers,)
        Power at the voice coil. [W]
    speaker_m : (n_speakers, 3)
        Positions. [m]
    axis : (n_speakers, 3) or (3,)
        Unit vectors of the axes.
    point_m : (n_points, 3)
        Ears. [m]
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]
    visible : (n_points, n_speakers) or None
        Which pairs see each other; all of them by default.

    Returns
    -------
    (n_points, n_bands)
        Mean square pressure over (20 µPa)².
    """
    speaker = np.asarray(speaker_m, dtype=np.float64).reshape(-1, 3)
    point = np.asarray(point_m, dtype=np.float64).reshape(-1, 3)
    aim = np.broadcast_to(np.asarray(axis, dtype=np.float64), speaker.shape)
    watts = np.broadcast_to(np.asarray(power_w, dtype=np.float64), (len(speaker),))
    if not np.all(watts >= 0.0):
        msg = "a power is negative or not a number"
        raise DomainError(msg, where="power_w", why=f"{watts.tolist()}", do="check the taps")
    total = np.zeros((len(point), N_BANDS))
    step = max(1, CHUNK_ELEMENTS // max(1, len(speaker) * N_BANDS))
    for first in range(0, len(point), step):
        part = slice(first, first + step)
        energy = energy_per_watt(
            radiator=radiator,
            speaker_m=speaker,
            axis=aim,
            point_m=point[part],
            air_db_m=air_db_m,
        )
        weight = watts[None, :] if visible is None else watts[None, :] * visible[part]
        total[part] = np.einsum("psb,ps->pb", energy, np.broadcast_to(weight, energy.shape[:2]))
    return total
