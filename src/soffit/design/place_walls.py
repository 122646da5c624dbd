"""First reflections of walls and floor in the search, where the whole field is asked for with them.

A speaker that faces down reaches the mirror image of an ear in a wall as it reaches any ear at that
distance, and the image in the floor from a longer throw: both are radial, so tables do for all.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soffit.acoustics.direct import Radiator
from soffit.acoustics.images import (
    Reflector,
    level_reflector,
    reflected_energy_per_watt,
    wall_reflectors,
)
from soffit.acoustics.radial import look_up, radial_table
from soffit.acoustics.visibility import Outline
from soffit.evaluate.sound_room import RoomAcoustics

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_TOUCH = 1e-9
_INWARD_M = 1e-6
_PAIRS_AT_ONCE = 400_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Early:
    """What reflects once on the way to an ear.

    Parameters
    ----------
    planes
        Walls, columns and the floor.
    walls
        What may stand in the way of either leg.
    """

    planes: tuple[Reflector, ...]
    walls: Outline

    def columns(
        self, radiator: Radiator, site_m: FloatArray, ears_m: FloatArray, weight: FloatArray
    ) -> FloatArray:
        """Return the reflected energy per watt of each site at each ear.

        Parameters
        ----------
        radiator
            What the type radiates.
        site_m : (n_sites, 3)
            Speakers that face down. [m]
        ears_m : (n_ears, 3)
            Ears. [m]
        weight : (n_bands,)
            Measure.

        Returns
        -------
        (n_sites, n_ears)
            Energy of the measure. [1/W]
        """
        out = np.zeros((len(site_m), len(ears_m)))
        if radiator.directivity.vertical_energy_ratio is not None:
            energy = reflected_energy_per_watt(
                radiator=radiator,
                speaker_m=site_m,
                axis=(0.0, 0.0, -1.0),
                point_m=ears_m,
                reflectors=self.planes,
                room=self.walls,
            )
            return np.asarray((energy @ weight).T)
        step = max(1, _PAIRS_AT_ONCE // max(1, len(ears_m)))
        heights = np.round(site_m[:, 2], 6)
        levels = np.round(ears_m[:, 2], 6)
        for height in np.unique(heights):
            for level in np.unique(levels):
                ears = np.flatnonzero(levels == level)
                every = np.flatnonzero(heights == height)
                for plane in self.planes:
                    is_wall = plane.ends_m is not None
                    throw = float(height - level) if is_wall else float(height + level)
                    if throw <= 0.0:
                        continue
                    table = radial_table(
                        radiator,
                        throw_m=throw,
                        weights=weight * (1.0 - plane.absorption_ratio),
                    )
                    for first in range(0, len(every), step):
                        some = every[first : first + step]
                        found = self._plane(plane, table, throw, site_m[some], ears_m[ears])
                        out[np.ix_(some, ears)] += found
        return out

    def _plane(
        self,
        plane: Reflector,
        table: FloatArray,
        throw_m: float,
        site_m: FloatArray,
        ears_m: FloatArray,
    ) -> FloatArray:
        speaker, ear = site_m[:, :2], ears_m[:, :2]
        if plane.ends_m is None:
            square = np.sum((speaker[:, None] - ear[None]) ** 2, axis=-1)
            return np.asarray(look_up(table, throw_m, square)[0])
        normal = plane.normal[:2]
        height = (ear - plane.point_m[:2]) @ normal
        reach = (speaker - plane.point_m[:2]) @ normal
        mirrored = ear - 2.0 * height[:, None] * normal
        between = mirrored[None] - speaker[:, None]
        energy = look_up(table, throw_m, np.sum(between**2, axis=-1))[0]
        usable = (height[None, :] > 1e-9) & (reach[:, None] > 1e-6)
        share = reach[:, None] / np.maximum(reach[:, None] + height[None, :], 1e-12)
        hit = speaker[:, None] + share[..., None] * between
        along = plane.ends_m[1] - plane.ends_m[0]
        place = (hit - plane.ends_m[0]) @ along / float(along @ along)
        usable &= (place >= 0.0) & (place <= 1.0)
        if not self.walls.is_convex:
            a, b = np.nonzero(usable)
            spot = hit[a, b] + _INWARD_M * normal
            hidden = hidden_pairs(self.walls, speaker[a], spot)
            hidden |= hidden_pairs(self.walls, spot, ear[b])
            usable[a[hidden], b[hidden]] = False
        return np.asarray(energy * usable)


def early_of(acoustics: RoomAcoustics) -> Early | None:
    """Return what reflects in a room; ``None`` where its limits leave that to the diffuse field.

    Parameters
    ----------
    acoustics
        Walls, absorption, and whether reflections are asked for (``sound_first_images``).
    """
    if not acoustics.first_images:
        return None
    return Early(
        planes=(
            *wall_reflectors(acoustics.walls, acoustics.wall_absorption_ratio),
            level_reflector(0.0, acoustics.floor_absorption_ratio, up=True),
        ),
        walls=acoustics.walls,
    )


def hidden_pairs(room: Outline, eye_m: FloatArray, point_m: FloatArray) -> BoolArray:
    """Which points are hidden from an eye each, by the rules of ``acoustics.visibility``.

    Parameters
    ----------
    room
        Walls.
    eye_m, point_m : (n, 2)
        Ends of the lines. [m]

    Returns
    -------
    (n,)
        True where a wall is in the way.
    """
    hidden = np.zeros(len(eye_m), dtype=bool)
    ahead = point_m - eye_m
    starts = [wall[0] - eye_m for wall in room.walls_m]
    ends = [wall[1] - eye_m for wall in room.walls_m]
    lengths = np.hypot(*(room.walls_m[:, 1] - room.walls_m[:, 0]).T)
    faces = [_cross(a, b) > _TOUCH * size for a, b, size in zip(starts, ends, lengths, strict=True)]
    for number, (a, b) in enumerate(zip(starts, ends, strict=True)):
        edge = np.where(faces[room.wall_before[number]], -_TOUCH, _TOUCH)
        behind = faces[number] & (_cross(a, ahead) > edge * np.hypot(*a.T))
        behind &= _cross(ahead, b) > _TOUCH * np.hypot(*b.T)
        behind &= _cross(b - a, ahead - a) < -_TOUCH * lengths[number]
        hidden |= behind
    return hidden


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
