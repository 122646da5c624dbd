"""Tile grids from the lines that a ceiling plan draws."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon

from soffit.model.survey import Point

FloatArray = NDArray[np.float64]

_PITCH_M: Final = (0.25, 2.6)
_SAME_M: Final = 0.008
_LEAST_LINES: Final = 3
_LEAST_M: Final = 0.3
_KNOWN_M: Final = (0.3, 0.3048, 0.6, 0.6096, 0.625, 1.2, 1.2192, 1.25)
_NEAR_M: Final = 0.0015


@dataclass(frozen=True, slots=True, kw_only=True)
class TileGrid:
    """A grid of two families of lines: one crossing, turn, and pitch along both axes. [m] [rad]."""

    origin: Point
    angle_rad: float
    pitch_m: tuple[float, float]


def find_tile_grid(lines: FloatArray, shape: Polygon) -> TileGrid | None:
    """Find the tile grid over a room.

    Parameters
    ----------
    lines : (n, 2, 2)
        Lines of ceilings. [m]
    shape
        The room. [m]

    Returns
    -------
    TileGrid or None
        ``None`` unless two families of at least three lines cross at right angles.
    """
    inside = _inside(lines, shape)
    if len(inside) < 2 * _LEAST_LINES:
        return None
    step = inside[:, 1] - inside[:, 0]
    length = np.linalg.norm(step, axis=1)
    quarter = np.mod(np.arctan2(step[:, 1], step[:, 0]), math.pi / 2)
    # angles near a right angle and near zero are one family
    turn = 0.25 * np.angle(np.sum(length * np.exp(4j * quarter)))
    angle = float(np.mod(turn, math.pi / 2))
    if angle > math.pi / 2 - 1e-4:
        angle = 0.0
    along = np.array([math.cos(angle), math.sin(angle)])
    across = np.array([-along[1], along[0]])
    is_along = np.abs(step @ along) > 0.999 * length
    is_across = np.abs(step @ across) > 0.999 * length
    rows = _family(inside[is_along].mean(axis=1) @ across)
    columns = _family(inside[is_across].mean(axis=1) @ along)
    if rows is None or columns is None:
        return None
    origin = columns[0] * along + rows[0] * across
    return TileGrid(
        origin=(round(float(origin[0]), 4), round(float(origin[1]), 4)),
        angle_rad=angle,
        pitch_m=(columns[1], rows[1]),
    )


def _inside(lines: FloatArray, shape: Polygon) -> FloatArray:
    low_x, low_y, high_x, high_y = shape.bounds
    low, high = lines.min(axis=1), lines.max(axis=1)
    near = lines[
        (low[:, 0] <= high_x)
        & (low[:, 1] <= high_y)
        & (high[:, 0] >= low_x)
        & (high[:, 1] >= low_y)
    ]
    kept = [line for line in near if LineString(line).intersection(shape).length > _LEAST_M]
    return np.array(kept) if kept else np.zeros((0, 2, 2))


def _family(offsets: FloatArray) -> tuple[float, float] | None:
    """Return one line and the pitch of lines at equal steps; ``None`` if they keep none."""
    values = np.sort(offsets)
    if not len(values):
        return None
    lines = [float(values[0])]
    for value in values[1:]:
        if value - lines[-1] > _SAME_M:
            lines.append(float(value))
    if len(lines) < _LEAST_LINES:
        return None
    gaps = np.diff(lines)
    usual = float(np.median(gaps))
    if not _PITCH_M[0] <= usual <= _PITCH_M[1]:
        return None
    steps = np.round((np.array(lines) - lines[0]) / usual)
    pitch = float(np.polyfit(steps, lines, 1)[0])
    start = float(np.mean(np.array(lines) - steps * pitch))
    off = np.abs(np.array(lines) - start - steps * pitch)
    if np.mean(off < 3 * _SAME_M) < 0.8:
        return None
    known = [size for size in _KNOWN_M if abs(size - pitch) <= _NEAR_M]
    if known:
        pitch = min(known, key=lambda size: abs(size - pitch))
    return round(start, 4), round(pitch, 4)


def centred_grid(shape: Polygon, pitch_m: tuple[float, float]) -> TileGrid:
    """Lay a grid as installers do where nobody drew one: along the walls, cut tiles alike.

    Parameters
    ----------
    shape
        Room or part of one. [m]
    pitch_m : (2,)
        Tile along the grid's two axes. [m]

    Returns
    -------
    TileGrid
        Along the longest direction of walls; tiles cut at opposite walls are equal and at least
        half a tile. Common practice, no source.
    """
    corners = np.array(shape.exterior.coords)
    step = np.diff(corners, axis=0)
    length = np.linalg.norm(step, axis=1)
    angles = np.mod(np.arctan2(step[:, 1], step[:, 0]), math.pi / 2)
    sums: dict[int, float] = {}
    for angle, size in zip(angles, length, strict=True):
        slot = round(math.degrees(float(angle))) % 90
        sums[slot] = sums.get(slot, 0.0) + float(size)
    best = max(sums, key=lambda slot: (sums[slot], -slot))
    near = [
        (float(size), float(angle))
        for angle, size in zip(angles, length, strict=True)
        if round(math.degrees(float(angle))) % 90 == best
    ]
    turn = max(near)[1]
    turn = 0.0 if min(turn, math.pi / 2 - turn) < 1e-4 else turn
    along = np.array([math.cos(turn), math.sin(turn)])
    across = np.array([-along[1], along[0]])
    starts = []
    for axis, pitch in ((along, pitch_m[0]), (across, pitch_m[1])):
        low, high = float((corners @ axis).min()), float((corners @ axis).max())
        rest = (high - low) % pitch
        is_whole = min(rest, pitch - rest) < 0.01
        starts.append(low if is_whole else low + (rest + pitch) / 2.0)
    origin = starts[0] * along + starts[1] * across
    return TileGrid(
        origin=(round(float(origin[0]), 4), round(float(origin[1]), 4)),
        angle_rad=turn,
        pitch_m=pitch_m,
    )
