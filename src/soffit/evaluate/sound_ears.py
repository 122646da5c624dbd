"""Where the ears of a room are: points over its listening areas, margins to walls kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from soffit.acoustics.bands import FloatArray
from soffit.errors import DomainError
from soffit.model.survey import ListeningArea, Room

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry


_LEAST_AREA_M2 = 1e-4
"""A listening area smaller than this holds no ear. [m²]"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ears:
    """Points at which sound is judged.

    Parameters
    ----------
    point_m : (n, 3)
        Positions, third coordinate the height above finished floor. [m]
    area_keys
        Key of each listening area.
    area_index : (n,)
        Which area a point belongs to.
    step_m
        Widest step between neighbours. [m]
    text
        In words, as printed beside evenness figures.
    """

    point_m: FloatArray
    area_keys: tuple[str, ...]
    area_index: NDArray[np.intp]
    step_m: float
    text: str

    @property
    def count(self) -> int:
        """Number of ears."""
        return len(self.point_m)


def lattice_angle_rad(room: Room) -> float:
    """Direction in which points are laid: the tile grid's, else the longest wall's.

    Parameters
    ----------
    room
        Room.

    Returns
    -------
    float
        Angle from the plan's x axis, folded to -45° to 45°. [rad]
    """
    for ceiling in room.ceilings:
        if ceiling.grid is not None:
            return _folded(ceiling.grid.angle_rad)
    ring = np.asarray(room.outline, dtype=np.float64)
    walls = np.roll(ring, -1, axis=0) - ring
    longest = walls[int(np.argmax(np.round(np.hypot(walls[:, 0], walls[:, 1]), 6)))]
    return _folded(float(np.arctan2(longest[1], longest[0])))


def _folded(angle: float) -> float:
    quarter = np.pi / 2.0
    folded = (angle + quarter / 2.0) % quarter - quarter / 2.0
    return 0.0 if abs(folded) < 1e-9 else folded


def find_ears(room: Room, *, step_m: float = 0.3, angle_rad: float | None = None) -> Ears:
    """Lay ears over the listening areas of a room.

    Parameters
    ----------
    room
        Its areas; the whole room less 0.5 m along the walls where it names none.
    step_m
        Widest step. [m]
    angle_rad
        Direction of the lattice; by default the tile grid's or the longest wall's. [rad]

    Returns
    -------
    Ears
        Points in the middle of equal cells, so that mirrored rooms get mirrored ears.

    Raises
    ------
    DomainError
        If a listening area lies outside the room, or too near its walls for one ear.
    """
    from shapely import Polygon  # noqa: PLC0415 - loaded for whole rooms only

    whole = Polygon(room.outline, room.holes)
    angle = lattice_angle_rad(room) if angle_rad is None else angle_rad
    areas = [area for area in room.listening_areas if not area.is_excluded]
    areas = areas or [ListeningArea(key="room", label="whole room")]
    taken = _excluded(room)
    points: list[FloatArray] = []
    index: list[NDArray[np.intp]] = []
    widest = 0.0
    for number, area in enumerate(areas):
        inner: BaseGeometry = whole.buffer(-area.wall_margin_m, join_style="mitre")
        if area.outline is not None:
            inner = inner.intersection(Polygon(area.outline))
        inner = inner.difference(taken)
        if inner.is_empty or inner.area < _LEAST_AREA_M2:
            raise _no_ears(room, area, whole)
        taken = taken.union(inner)
        plan, step = _cells(inner, step_m, angle)
        widest = max(widest, step)
        points.append(np.column_stack([plan, np.full(len(plan), area.ear_height_m)]))
        index.append(np.full(len(plan), number, dtype=np.intp))
    margins = sorted({area.wall_margin_m for area in areas})
    heights = sorted({area.ear_height_m for area in areas})
    text = (
        f"ears every {widest:.2f} m, {_span(margins)} m from walls, {_span(heights)} m above floor"
    )
    return Ears(
        point_m=np.concatenate(points),
        area_keys=tuple(area.key for area in areas),
        area_index=np.concatenate(index),
        step_m=widest,
        text=text,
    )


def _span(values: Sequence[float]) -> str:
    return " and ".join(f"{value:.2f}" for value in values)


def _excluded(room: Room) -> "BaseGeometry":
    from shapely import Polygon, unary_union  # noqa: PLC0415 - loaded for whole rooms only

    return unary_union(
        [
            Polygon(area.outline)
            for area in room.listening_areas
            if area.is_excluded and area.outline is not None
        ]
    )


def _cells(region: "BaseGeometry", step_m: float, angle: float) -> tuple[FloatArray, float]:
    import shapely  # noqa: PLC0415 - loaded for whole rooms only

    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    corners = shapely.get_coordinates(region) @ turn
    low, high = corners.min(axis=0), corners.max(axis=0)
    counts = np.maximum(1, np.ceil((high - low) / step_m - 1e-9).astype(int))
    cell = (high - low) / counts
    x = low[0] + (np.arange(counts[0]) + 0.5) * cell[0]
    y = low[1] + (np.arange(counts[1]) + 0.5) * cell[1]
    local = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    plan = local @ turn.T
    edge = region.buffer(1e-7, join_style="mitre")  # points on the edge count, however turned
    inside = plan[shapely.contains_xy(edge, plan[:, 0], plan[:, 1])]
    if not len(inside):
        spot = region.representative_point()
        inside = np.array([[spot.x, spot.y]])
    return inside, float(cell.max())


def _is_clear_of_walls(area: ListeningArea, whole: "Polygon") -> bool:
    from shapely import Polygon  # noqa: PLC0415 - loaded for whole rooms only

    inner = whole.buffer(-area.wall_margin_m, join_style="mitre")
    return bool(inner.intersection(Polygon(area.outline)).area >= _LEAST_AREA_M2)


def _no_ears(room: Room, area: ListeningArea, whole: "Polygon") -> DomainError:
    from shapely import Polygon  # noqa: PLC0415 - loaded for whole rooms only

    if area.outline is not None and not whole.intersects(Polygon(area.outline)):
        why, do = "its outline lies outside the room", "move the listening area into the room"
    elif area.outline is not None and Polygon(area.outline).area < _LEAST_AREA_M2:
        why = f"it covers {Polygon(area.outline).area * 1e4:.2f} cm², less than a head"
        do = "draw it larger, and check the units of its size"
    elif area.outline is not None and _is_clear_of_walls(area, whole):
        why = "other listening areas, or areas without ears, take all of it"
        do = "take one of them out, or draw them side by side"
    else:
        why = f"nothing is left {area.wall_margin_m:.2f} m from the walls"
        do = "lower wall_margin or draw a larger listening area"
    msg = f"{room.label}: the listening area {area.label or area.key!r} holds no ear"
    return DomainError(msg, where=f"rooms.{room.key}.listening.{area.key}", why=why, do=do)
