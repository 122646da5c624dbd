"""The room: absorption, reverberation time, room constant, critical distance, reverberant level.

References
----------
Kuttruff, Room Acoustics, 6th ed. 2016, chapter 5 (from memory, to be confirmed): T = 24 ln 10 / c
times V / A with the air term 4 m V added to A.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.air import air_energy_attenuation_per_m
from soffit.acoustics.bands import BAND_TEXT, FloatArray, per_band
from soffit.errors import DomainError
from soffit.tables.load import load_table

SPEED_M_S: Final = 343.2
LEAST_T_S: Final = 0.05
MOST_T_S: Final = 20.0

ReverberationModel = Literal["measured", "Eyring", "Sabine"]


def absorption_coefficients(material: str) -> FloatArray:
    """Absorption coefficients of a material in the eight octaves.

    Parameters
    ----------
    material
        Id in the table, see `absorption_materials`.

    Returns
    -------
    (n_bands,)
        Coefficients; 63 Hz is taken from 125 Hz and 8 kHz from 4 kHz.

    Raises
    ------
    TableError
        If there is no such material.

    Examples
    --------
    >>> absorption_coefficients("carpet_on_pad").tolist()
    [0.08, 0.08, 0.24, 0.57, 0.69, 0.71, 0.73, 0.73]
    """
    table = load_table("absorption")
    inner = [
        table.number(f"a{band}_ratio", material=material)
        for band in ("125", "250", "500", "1000", "2000", "4000")
    ]
    return np.array([inner[0], *inner, inner[-1]])


def absorption_materials() -> dict[str, str]:
    """Return id and name of all materials in the table."""
    return {row["material"]: row["name"] for row in load_table("absorption").rows}


def absorption_object_m2(name: str) -> FloatArray:
    """Absorption area of one object, such as a person, in the eight octaves.

    Parameters
    ----------
    name
        Object of the table, words joined by ``_``.

    Returns
    -------
    (n_bands,)
        Area; 63 Hz is taken from 125 Hz and 8 kHz from 4 kHz. [m²]

    Raises
    ------
    TableError
        If there is no such object.

    Examples
    --------
    >>> float(absorption_object_m2("person_standing")[4])
    0.63
    """
    table = load_table("absorption_objects")
    inner = [
        table.number(f"a{band}_m2", object=name.replace("_", " "))
        for band in ("125", "250", "500", "1000", "2000", "4000")
    ]
    return np.array([inner[0], *inner, inner[-1]])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """One surface of a room.

    Parameters
    ----------
    surface_m2
        Its area. [m²]
    absorption_ratio : (n_bands,)
        Absorption coefficients, 0 to 1.
    """

    surface_m2: float
    absorption_ratio: FloatArray


def _checked_coefficients(absorption: ArrayLike, name: str) -> FloatArray:
    ratio = per_band(absorption, name)
    if np.any((ratio < 0.0) | (ratio > 1.0)):
        band = int(np.argmax((ratio < 0.0) | (ratio > 1.0)))
        msg = f"{name} is {ratio[band]:g} at {BAND_TEXT[band]}"
        raise DomainError(
            msg,
            where=name,
            why="a surface absorbs between 0 and 1 of what meets it"
            " (laboratory values above 1 are edge effects)",
            do="use 0.99 for laboratory values above 1",
        )
    return ratio


def absorption_area_m2(
    surfaces: Sequence[Surface], *, objects_m2: ArrayLike = 0.0
) -> tuple[FloatArray, float]:
    """Equivalent absorption area of surfaces and objects, without air.

    Parameters
    ----------
    surfaces
        All surfaces of the room.
    objects_m2 : (n_bands,)
        Absorption area of persons and furniture together. [m²]

    Returns
    -------
    absorption_area : (n_bands,)
        A = sum of S α plus objects. [m²]
    surface
        S, the area of all surfaces. [m²]

    Raises
    ------
    DomainError
        If a coefficient is not between 0 and 1 or an area not positive.
    """
    area = per_band(objects_m2, "objects_m2")
    total = 0.0
    for surface in surfaces:
        if not surface.surface_m2 > 0.0:
            msg = f"a surface of {surface.surface_m2:g} m²"
            raise DomainError(msg, where="surface_m2", why="areas are positive", do="check it")
        ratio = _checked_coefficients(surface.absorption_ratio, "absorption_ratio")
        area = area + surface.surface_m2 * ratio
        total += surface.surface_m2
    return area, total


def _time_s(volume_m3: float, area: FloatArray, speed_m_s: float) -> FloatArray:
    if not volume_m3 > 0.0:
        msg = f"a room of {volume_m3:g} m³"
        raise DomainError(msg, where="volume_m3", why="volumes are positive", do="check the room")
    if not np.all(area > 0.0):
        msg = "the room absorbs nothing in one of the bands"
        raise DomainError(
            msg, where="absorption_area_m2", why="T would be infinite", do="enter the surfaces"
        )
    return np.asarray(24.0 * np.log(10.0) / speed_m_s * volume_m3 / area)


def reverberation_time_sabine_s(
    *,
    volume_m3: float,
    absorption_area_m2: ArrayLike,
    air_db_m: ArrayLike = 0.0,
    speed_m_s: float = SPEED_M_S,
) -> FloatArray:
    """Reverberation time by Sabine, with air.

    Parameters
    ----------
    volume_m3
        Volume. [m³]
    absorption_area_m2 : (n_bands,)
        Equivalent absorption area of surfaces and objects. [m²]
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]
    speed_m_s
        Speed of sound. [m/s]

    Returns
    -------
    (n_bands,)
        T = 24 ln 10 V / (c (A + 4 m V)). [s]

    Raises
    ------
    DomainError
        If volume or absorption is not positive.

    Examples
    --------
    >>> float(reverberation_time_sabine_s(volume_m3=120, absorption_area_m2=32)[4].round(3))
    0.604
    """
    m = air_energy_attenuation_per_m(per_band(air_db_m, "air_db_m"))
    area = per_band(absorption_area_m2, "absorption_area_m2") + 4.0 * m * volume_m3
    return _time_s(volume_m3, area, speed_m_s)


def reverberation_time_eyring_s(
    *,
    volume_m3: float,
    surface_m2: float,
    absorption_area_m2: ArrayLike,
    air_db_m: ArrayLike = 0.0,
    speed_m_s: float = SPEED_M_S,
) -> FloatArray:
    """Reverberation time by Norris and Eyring, with air.

    Parameters
    ----------
    volume_m3
        Volume. [m³]
    surface_m2
        Area of all surfaces. [m²]
    absorption_area_m2 : (n_bands,)
        Equivalent absorption area of surfaces and objects, less than the surface. [m²]
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]
    speed_m_s
        Speed of sound. [m/s]

    Returns
    -------
    (n_bands,)
        T = 24 ln 10 V / (c (-S ln(1 - A/S) + 4 m V)). [s]

    Raises
    ------
    DomainError
        If the mean absorption is 0 or 1.

    References
    ----------
    Eyring, J. Acoust. Soc. Am. 1 (1930) 217.
    """
    mean = per_band(absorption_area_m2, "absorption_area_m2") / surface_m2
    if not np.all((mean > 0.0) & (mean < 1.0)):
        msg = f"a mean absorption of {float(mean.min()):.3g} to {float(mean.max()):.3g}"
        raise DomainError(
            msg, where="absorption_area_m2", why="Eyring holds between 0 and 1", do="check surfaces"
        )
    m = air_energy_attenuation_per_m(per_band(air_db_m, "air_db_m"))
    area = -surface_m2 * np.log1p(-mean) + 4.0 * m * volume_m3
    return _time_s(volume_m3, area, speed_m_s)


def _pairs(
    dimensions_m: ArrayLike, absorption_ratio: ArrayLike
) -> tuple[FloatArray, FloatArray, float, float]:
    x, y, z = np.asarray(dimensions_m, dtype=np.float64)
    areas = np.array([2.0 * y * z, 2.0 * x * z, 2.0 * x * y])
    mean = np.asarray(absorption_ratio, dtype=np.float64)
    if mean.shape != (3,) or not np.all((mean > 0.0) & (mean < 1.0)):
        msg = f"mean absorptions {mean.tolist()} of the three pairs of walls"
        raise DomainError(
            msg, where="absorption_ratio", why="three numbers between 0 and 1", do="check them"
        )
    return areas, mean, float(x * y * z), float(np.sum(areas))


def reverberation_time_arau_s(
    *, dimensions_m: ArrayLike, absorption_ratio: ArrayLike, speed_m_s: float = SPEED_M_S
) -> float:
    """Reverberation time of a box with unevenly spread absorption, by Arau-Puchades, without air.

    Parameters
    ----------
    dimensions_m : (3,)
        Length, width, height. [m]
    absorption_ratio : (3,)
        Mean absorption of the walls across the length, across the width, of floor and ceiling.
    speed_m_s
        Speed of sound. [m/s]

    Returns
    -------
    float
        Area-weighted geometric mean of the three Eyring times. [s]

    References
    ----------
    Arau-Puchades, Acustica 65 (1988) 163.
    """
    areas, mean, volume, total = _pairs(dimensions_m, absorption_ratio)
    exponent = float(np.exp(np.sum(areas / total * np.log(-np.log1p(-mean)))))
    return float(24.0 * np.log(10.0) / speed_m_s * volume / (total * exponent))


def reverberation_time_fitzroy_s(
    *, dimensions_m: ArrayLike, absorption_ratio: ArrayLike, speed_m_s: float = SPEED_M_S
) -> float:
    """Reverberation time of a box with unevenly spread absorption, by Fitzroy, without air.

    Parameters
    ----------
    dimensions_m : (3,)
        Length, width, height. [m]
    absorption_ratio : (3,)
        Mean absorption of the walls across the length, across the width, of floor and ceiling.
    speed_m_s
        Speed of sound. [m/s]

    Returns
    -------
    float
        Area-weighted arithmetic mean of the three Eyring times. [s]

    References
    ----------
    Fitzroy, J. Acoust. Soc. Am. 31 (1959) 893.
    """
    areas, mean, volume, total = _pairs(dimensions_m, absorption_ratio)
    return float(
        24.0 * np.log(10.0) / speed_m_s * volume / total**2 * np.sum(areas / -np.log1p(-mean))
    )


def checked_reverberation_time_s(reverberation_time_s: ArrayLike) -> FloatArray:
    """Return a measured or assumed reverberation time per band after checking it.

    Parameters
    ----------
    reverberation_time_s : (n_bands,)
        T per band, or one for all. [s]

    Returns
    -------
    (n_bands,)
        T. [s]

    Raises
    ------
    DomainError
        If a time is below 0.05 s or above 20 s.
    """
    time = per_band(reverberation_time_s, "reverberation_time_s")
    if np.any((time < LEAST_T_S) | (time > MOST_T_S)):
        band = int(np.argmax((time < LEAST_T_S) | (time > MOST_T_S)))
        msg = f"a reverberation time of {time[band]:g} s at {BAND_TEXT[band]}"
        raise DomainError(
            msg,
            where="reverberation_time_s",
            why=f"rooms have {LEAST_T_S:g} s to {MOST_T_S:g} s",
            do="check the unit; leave it out if it is not known",
        )
    return time


def absorption_area_from_time_m2(
    *, volume_m3: float, reverberation_time_s: ArrayLike, speed_m_s: float = SPEED_M_S
) -> FloatArray:
    """Absorption area that Sabine's formula gives a measured reverberation time, air included.

    Parameters
    ----------
    volume_m3
        Volume. [m³]
    reverberation_time_s : (n_bands,)
        T. [s]
    speed_m_s
        Speed of sound. [m/s]

    Returns
    -------
    (n_bands,)
        A. [m²]
    """
    time = checked_reverberation_time_s(reverberation_time_s)
    return _time_s(volume_m3, time, speed_m_s)


def room_constant_m2(*, surface_m2: float, absorption_area_m2: ArrayLike) -> FloatArray:
    """Room constant R = A / (1 - ᾱ).

    Parameters
    ----------
    surface_m2
        Area of all surfaces. [m²]
    absorption_area_m2 : (n_bands,)
        Absorption area, air included. [m²]

    Returns
    -------
    (n_bands,)
        R; the mean absorption is taken as 0.99 at most. [m²]

    Examples
    --------
    >>> float(room_constant_m2(surface_m2=100.0, absorption_area_m2=50.0)[0])
    100.0
    """
    area = per_band(absorption_area_m2, "absorption_area_m2")
    if not (surface_m2 > 0.0 and np.all(area > 0.0)):
        msg = f"a surface of {surface_m2:g} m² with {area.min():g} m² of absorption"
        raise DomainError(msg, where="surface_m2", why="both are positive", do="check the room")
    return np.asarray(area / (1.0 - np.minimum(area / surface_m2, 0.99)))


def critical_distance_m(
    *, directivity_factor: ArrayLike, room_constant_m2: ArrayLike, n_sources: int = 1
) -> FloatArray:
    """Distance at which direct and reverberant sound are equal.

    Parameters
    ----------
    directivity_factor : (...)
        Q.
    room_constant_m2 : (...)
        R. [m²]
    n_sources
        Equal sources that feed the same reverberant field.

    Returns
    -------
    (...)
        sqrt(Q R / (16 π n)). [m]

    Examples
    --------
    >>> float(critical_distance_m(directivity_factor=5.0, room_constant_m2=80.5).round(2))
    2.83
    """
    q, r = np.asarray(directivity_factor, float), np.asarray(room_constant_m2, float)
    return np.asarray(np.sqrt(q * r / (16.0 * pi * n_sources)))


def reverberant_energy_per_watt(
    *, sensitivity_energy: ArrayLike, directivity_factor: ArrayLike, room_constant_m2: ArrayLike
) -> FloatArray:
    """Energy of the reverberant field per watt, everywhere the same.

    Parameters
    ----------
    sensitivity_energy : (n_bands,)
        10^(S/10), S the sensitivity at 1 m on the axis.
    directivity_factor : (n_bands,)
        Q.
    room_constant_m2 : (n_bands,)
        R. [m²]

    Returns
    -------
    (n_bands,)
        10^(S/10) 16 π / (Q R). [1/W]

    Notes
    -----
    Derived here: direct W Q / (4 π d²) against reverberant 4 W / R, with the direct energy at 1 m
    equal to 10^(S/10).
    """
    s = np.asarray(sensitivity_energy, dtype=np.float64)
    q = np.asarray(directivity_factor, dtype=np.float64)
    return np.asarray(s * 16.0 * pi / (q * np.asarray(room_constant_m2, dtype=np.float64)))


def late_share(*, delay_s: ArrayLike, reverberation_time_s: ArrayLike) -> FloatArray:
    """Share of the reverberant energy that comes after a delay, for distance-dependent late sound.

    Parameters
    ----------
    delay_s : (...)
        Travel time of the direct sound. [s]
    reverberation_time_s : (...)
        T. [s]

    Returns
    -------
    (...)
        exp(-13.8 t / T).

    References
    ----------
    Barron and Lee, J. Acoust. Soc. Am. 84 (1988) 618: reflected energy starts with the direct
    sound, so that it falls with distance.
    """
    delay, time = np.asarray(delay_s, float), np.asarray(reverberation_time_s, float)
    return np.asarray(np.exp(-6.0 * np.log(10.0) * delay / time))
