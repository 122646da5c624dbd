"""A room over several sheets: where it is cut, and what each sheet covers."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from soffit.papers.plan_drawing import inside
from soffit.papers.projection import bounds
from soffit.papers.scene import Box
from soffit.papers.sheet import IMPERIAL_SCALES, METRIC_SCALES
from soffit.papers.views import RoomView, SpeakerView
from soffit.units import FOOT_M

LEAST_SPACING_MM: Final = 9.0
LEAST_TILE_MM: Final = 2.8
"""Nearer than that on paper nobody tells loudspeakers or tiles apart on a ladder."""

_CLOSE_SHARE: Final = 0.1
_STEP_M: Final = 0.1
_ONE_SPOT_M: Final = 0.6
_CLEAR_M: Final = 0.25
_BEYOND_M: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One sheet's share of a room.

    Parameters
    ----------
    letter
        Such as ``a``; it follows the drawing number.
    column, row
        Its place among the parts, from the left and from below.
    window
        Least and greatest x and y; outer sides lie beyond the walls. [m]
    """

    letter: str
    column: int
    row: int
    window: Box


def nearest_m(speakers: Sequence[SpeakerView]) -> float:
    """Return the distance to the nearest other loudspeaker that nine in ten keep.

    Two within an arm's length are one spot: no scale parts them.

    Parameters
    ----------
    speakers
        Of one room; fewer than two keep any distance.
    """
    places = sorted(item.position for item in speakers)
    least = [math.inf] * len(places)
    for index, place in enumerate(places):
        for other in range(index + 1, len(places)):
            if places[other][0] - place[0] > least[index]:
                break
            gap = math.dist(place, places[other])
            if gap < _ONE_SPOT_M:
                continue  # no scale parts them, and a check names them
            least[index] = min(least[index], gap)
            least[other] = min(least[other], gap)
    return sorted(least)[int(_CLOSE_SHARE * len(least))] if least else math.inf


def tile_m(room: RoomView, speakers: Sequence[SpeakerView]) -> float:
    """Return the pitch of the smallest tile that carries something, infinite without tiles.

    Parameters
    ----------
    room
        The room.
    speakers
        Its loudspeakers.
    """
    if not any(item.tile for item in speakers):
        return math.inf
    grids = [ceiling.grid for ceiling in room.ceilings if ceiling.grid is not None]
    return min((min(grid.pitch_x_m, grid.pitch_y_m) for grid in grids), default=math.inf)


def largest_scale(room: RoomView, speakers: Sequence[SpeakerView]) -> float:
    """Return the denominator above which a plan cannot be read on a ladder.

    Parameters
    ----------
    room
        The room.
    speakers
        Its loudspeakers.
    """
    return 1e3 * min(nearest_m(speakers) / LEAST_SPACING_MM, tile_m(room, speakers) / LEAST_TILE_MM)


def cut_room(
    room: RoomView,
    speakers: Sequence[SpeakerView],
    sheet_mm: tuple[float, float],
    *,
    most: float,
    imperial: bool,
) -> tuple[int, tuple[Part, ...]]:
    """Cut a room into parts that each fit a sheet.

    Parameters
    ----------
    room
        The room.
    speakers
        Its loudspeakers; no cut passes through one where that can be helped.
    sheet_mm
        Room for a part on paper. [mm]
    most
        Greatest denominator allowed.
    imperial
        Scales in inches to the foot.

    Returns
    -------
    tuple
        Denominator, and the parts from the upper left: as few as the scale allows, then as large
        as they fit.
    """
    scales = [s for s in (IMPERIAL_SCALES if imperial else METRIC_SCALES) if s <= most]
    scales = scales or [min(IMPERIAL_SCALES if imperial else METRIC_SCALES)]
    left, low, right, high = bounds(room.outline)

    def counts(scale: int) -> tuple[int, int]:
        return (
            math.ceil((right - left) * 1e3 / scale / sheet_mm[0] - 1e-9),
            math.ceil((high - low) * 1e3 / scale / sheet_mm[1] - 1e-9),
        )

    fewest = counts(scales[-1])
    scale = next(item for item in scales if counts(item) == fewest)
    caps = (sheet_mm[0] * scale / 1e3, sheet_mm[1] * scale / 1e3)
    step_m = FOOT_M if imperial else 0.5
    taken = [[item.position[axis] for item in speakers] for axis in (0, 1)]
    xs = _cuts((left, right), fewest[0], caps[0], taken[0], _lines(room, 0, (left, right), step_m))
    ys = _cuts((low, high), fewest[1], caps[1], taken[1], _lines(room, 1, (low, high), step_m))
    windows = [
        (column, row, (xs[column], ys[row], xs[column + 1], ys[row + 1]))
        for row in reversed(range(len(ys) - 1))
        for column in range(len(xs) - 1)
    ]
    kept = [item for item in windows if _has_room(room, speakers, item[2])]
    return scale, tuple(
        Part(letter=_letters(number), column=column, row=row, window=window)
        for number, (column, row, window) in enumerate(kept)
    )


def _letters(number: int) -> str:
    more = _letters(number // 26 - 1) if number >= 26 else ""
    return more + chr(ord("a") + number % 26)


def _has_room(room: RoomView, speakers: Sequence[SpeakerView], window: Box) -> bool:
    from shapely import Polygon, box  # noqa: PLC0415 - only plans need it

    if any(inside(item.position, window) for item in speakers):
        return True
    return bool(Polygon(room.outline).intersection(box(*window)).area > 1e-3)


def _lines(room: RoomView, axis: int, span: tuple[float, float], step_m: float) -> list[float]:
    """Return where a cut reads well: between tiles of a grid that stands square, or round."""
    grid = next((ceiling.grid for ceiling in room.ceilings if ceiling.grid is not None), None)
    first_m, pitch = span[0], step_m
    if grid is not None and abs(math.sin(2 * grid.angle_rad)) < 1e-6:
        turned = abs(math.sin(grid.angle_rad)) > 0.5
        pitch = grid.pitch_y_m if (axis == 1) != turned else grid.pitch_x_m
        first_m = grid.origin[axis]
    first = math.ceil((span[0] - first_m) / pitch)
    last = math.floor((span[1] - first_m) / pitch)
    return [first_m + step * pitch for step in range(first, last + 1)]


def _cuts(
    span: tuple[float, float],
    count: int,
    cap: float,
    taken: Sequence[float],
    lines: Sequence[float],
) -> list[float]:
    """Return where to cut one direction, between tiles and clear of loudspeakers if it can be."""
    low, high = span
    cuts = [low]
    for number in range(1, count):
        first = max(cuts[-1] + _STEP_M, high - (count - number) * cap)
        last = min(cuts[-1] + cap, high - _STEP_M)
        wish = min(max(low + number * (high - low) / count, first), last)
        steps = int((last - first) / _STEP_M)
        tries = [at for at in lines if first <= at <= last]
        tries = tries or [first + step * _STEP_M for step in range(steps + 1)]
        tries.sort(key=lambda value: (abs(value - wish), value))
        clear = [at for at in tries if all(abs(at - place) >= _CLEAR_M for place in taken)]
        cuts.append(round(clear[0] if clear else wish, 3))
    return [low - _BEYOND_M, *cuts[1:], high + _BEYOND_M]
