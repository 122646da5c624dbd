"""First reflections from walls, floor and ceiling by image sources, an option for small rooms.

Derived here: the reflection of a speaker in a plane reaches an ear as the speaker itself would
reach the ear's mirror image, so directivity and aim need no mirroring. Energies add.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import N_BANDS, BoolArray, FloatArray
from soffit.acoustics.direct import Radiator, energy_per_watt
from soffit.acoustics.visibility import Outline, is_visible


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reflector:
    """A plane that reflects.

    Parameters
    ----------
    point_m : (3,)
        A point on it. [m]
    normal : (3,)
        Unit vector into the room.
    absorption_ratio : (n_bands,)
        Absorption coefficients.
    ends_m : (2, 2) or None
        Ends of a wall in plan; floor and ceiling have none. [m]
    """

    point_m: FloatArray
    normal: FloatArray
    absorption_ratio: FloatArray
    ends_m: FloatArray | None = None


def wall_reflectors(room: Outline, absorption_ratio: ArrayLike) -> tuple[Reflector, ...]:
    """Return every wall of a room, columns included, as a reflector.

    Parameters
    ----------
    room
        Walls.
    absorption_ratio : (n_bands,) or (n_walls, n_bands)
        Of all walls, or of each wall of the outer ring and the holes in order.

    Returns
    -------
    tuple of Reflector
        In the order of the rings.
    """
    ends = [
        np.stack([start, end])
        for ring in (room.outer_m, *room.holes_m)
        for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True)
    ]
    ratios = np.broadcast_to(np.asarray(absorption_ratio, float), (len(ends), N_BANDS))
    found = []
    for pair, ratio in zip(ends, ratios, strict=True):
        along = (pair[1] - pair[0]) / np.linalg.norm(pair[1] - pair[0])
        found.append(
            Reflector(
                point_m=np.array([*pair[0], 0.0]),
                normal=np.array([-along[1], along[0], 0.0]),
                absorption_ratio=ratio,
                ends_m=pair,
            )
        )
    return tuple(found)


def level_reflector(height_m: float, absorption_ratio: ArrayLike, *, up: bool) -> Reflector:
    """Return a floor (``up``) or a ceiling as a reflector.

    Parameters
    ----------
    height_m
        Above finished floor. [m]
    absorption_ratio : (n_bands,)
        Absorption coefficients.
    up
        True for a floor, whose normal points up.

    Returns
    -------
    Reflector
        Endless plane.
    """
    return Reflector(
        point_m=np.array([0.0, 0.0, height_m]),
        normal=np.array([0.0, 0.0, 1.0 if up else -1.0]),
        absorption_ratio=np.broadcast_to(np.asarray(absorption_ratio, float), (N_BANDS,)),
    )


def reflected_energy_per_watt(
    *,
    radiator: Radiator,
    speaker_m: ArrayLike,
    axis: ArrayLike,
    point_m: ArrayLike,
    reflectors: Sequence[Reflector],
    room: Outline | None = None,
) -> FloatArray:
    """Energy per watt of all first reflections together.

    Parameters
    ----------
    radiator
        What the type radiates.
    speaker_m : (n_speakers, 3)
        Positions. [m]
    axis : (n_speakers, 3) or (3,)
        Unit vectors of the axes.
    point_m : (n_points, 3)
        Ears. [m]
    reflectors
        Planes; one on which the speaker itself lies adds nothing.
    room
        Walls that may stand in the way of either leg of the path.

    Returns
    -------
    (n_points, n_speakers, n_bands)
        Mean square pressure over (20 µPa)² per watt. [1/W]
    """
    speaker = np.asarray(speaker_m, dtype=np.float64).reshape(-1, 3)
    point = np.asarray(point_m, dtype=np.float64).reshape(-1, 3)
    total = np.zeros((len(point), len(speaker), N_BANDS))
    for plane in reflectors:
        height = (point - plane.point_m) @ plane.normal
        reach = (speaker - plane.point_m) @ plane.normal
        mirrored = point - 2.0 * height[:, None] * plane.normal
        usable = (height[:, None] > 1e-9) & (reach[None, :] > 1e-6)
        if plane.ends_m is not None:
            usable &= _meets_wall(plane, speaker, mirrored, height, reach, point, room)
        energy = energy_per_watt(radiator=radiator, speaker_m=speaker, axis=axis, point_m=mirrored)
        total += energy * usable[..., None] * (1.0 - plane.absorption_ratio)
    return total


def _meets_wall(
    plane: Reflector,
    speaker: FloatArray,
    mirrored: FloatArray,
    height: FloatArray,
    reach: FloatArray,
    point: FloatArray,
    room: Outline | None,
) -> BoolArray:
    """Return whether the reflection point lies on the wall and both legs are free."""
    assert plane.ends_m is not None  # noqa: S101 - the caller asked
    share = reach[None, :] / np.maximum(reach[None, :] + height[:, None], 1e-12)
    hit = speaker[None, :, :2] + share[..., None] * (mirrored[:, None, :2] - speaker[None, :, :2])
    along = plane.ends_m[1] - plane.ends_m[0]
    place = (hit - plane.ends_m[0]) @ along / float(along @ along)
    on_wall = (place >= 0.0) & (place <= 1.0)
    if room is None or room.is_convex:
        return np.asarray(on_wall)
    inner = hit + 1e-6 * plane.normal[:2]
    for column in range(len(speaker)):
        rows = np.flatnonzero(on_wall[:, column])
        if rows.size == 0:
            continue
        spots = inner[rows, column]
        free = is_visible(room, speaker[column : column + 1, :2], spots)[:, 0]
        free &= np.array(
            [
                bool(is_visible(room, spot[None], point[row : row + 1, :2])[0, 0])
                for spot, row in zip(spots, rows, strict=True)
            ]
        )
        on_wall[rows, column] = free
    return np.asarray(on_wall)
