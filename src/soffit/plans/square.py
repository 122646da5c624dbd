"""Rooms drawn by a shaky hand made square again, where they are nearly rectangles."""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

FloatArray = NDArray[np.float64]

_LEAST_AGREEMENT: Final = 0.965
_NEAR_SIDE: Final = 0.25
_SAME_RAD: Final = math.radians(3.0)


def squared(shape: Polygon) -> Polygon:
    """Return the rectangle that a room nearly is, its sides at the middle of its wall pieces.

    Parameters
    ----------
    shape
        Room as found between lines. [m]

    Returns
    -------
    Polygon
        A rectangle if it agrees with the room by 96.5 % (intersection over union), else the room
        as it was. Pieces of wall count by their length, so that a jog at a door moves no side.
    """
    if shape.interiors or len(shape.exterior.coords) <= 5:
        return shape
    corners = np.array(shape.exterior.coords)
    step = np.diff(corners, axis=0)
    length = np.linalg.norm(step, axis=1)
    angles = np.arctan2(step[:, 1], step[:, 0])
    # four times the angle: walls at right angles point the same way
    turn = float(np.angle(np.sum(length * np.exp(4j * angles))) / 4.0)
    turn = 0.0 if abs(turn) < math.radians(0.2) else turn
    along = np.array([math.cos(turn), math.sin(turn)])
    across = np.array([-along[1], along[0]])
    middles = (corners[:-1] + corners[1:]) / 2.0
    sides = []
    for axis, other in ((along, across), (across, along)):
        is_side = np.abs(step @ other) > math.cos(_SAME_RAD) * length
        pair = _sides(middles[is_side] @ axis, length[is_side])
        if pair is None:
            return shape
        sides.append(pair)
    (left, right), (low, high) = sides
    ring = [
        x * along + y * across for x, y in ((left, low), (right, low), (right, high), (left, high))
    ]
    square = Polygon(ring)
    union = square.union(shape).area
    agrees = union > 0 and square.intersection(shape).area / union >= _LEAST_AGREEMENT
    return square if agrees else shape


def _sides(places: FloatArray, length: FloatArray) -> tuple[float, float] | None:
    """Return the lower and the upper side: the weighted median of what lies near each end."""
    if len(places) < 2:
        return None
    low, high = float(places.min()), float(places.max())
    reach = _NEAR_SIDE * (high - low)
    found = []
    for near in (places < low + reach, places > high - reach):
        order = np.argsort(places[near])
        sums = np.cumsum(length[near][order])
        found.append(float(places[near][order][np.searchsorted(sums, sums[-1] / 2.0)]))
    return found[0], found[1]
