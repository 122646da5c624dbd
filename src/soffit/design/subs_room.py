"""Seats, reference places and maps of a room for its low end."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from soffit.design.tiles import Sites, to_plan
from soffit.errors import NoSolutionError
from soffit.evaluate.sound_ears import lattice_angle_rad
from soffit.model.speakers import TileRef
from soffit.model.survey import ListeningArea, Point, Room

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.int64]

Wish = Literal["any", "middle", "wall", "corner"]

_SEATS: Final = 48
_LEAST_SEAT_STEP_M: Final = 0.4
_MAP_POINTS: Final = 4000
_LEAST_MAP_STEP_M: Final = 0.2
_AT_CORNER_M: Final = 2.0
_AT_WALL_M: Final = 1.0
_IN_MIDDLE: Final = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class SubPlace:
    """A place where a subwoofer may go.

    Parameters
    ----------
    position
        Plan position of its centre. [m]
    tile
        Its tile where the ceiling has a grid.
    ceiling_key
        Its ceiling.
    height_m
        Height of its face above finished floor. [m]
    """

    position: Point
    tile: TileRef | None = None
    ceiling_key: str = ""
    height_m: float = 0.0


def places_of(sites: Sites) -> tuple[SubPlace, ...]:
    """Return the free sites of a ceiling as places for subwoofers.

    Parameters
    ----------
    sites
        Lattice with its free sites.
    """
    column, row = np.nonzero(sites.is_free)
    positions = sites.plan(column, row)
    return tuple(
        SubPlace(
            position=(float(x), float(y)),
            tile=TileRef(column=int(c) + sites.first_column, row=int(r) + sites.first_row)
            if sites.kind == "tile"
            else None,
            ceiling_key=sites.ceiling_key,
            height_m=float(sites.height_m[c, r]),
        )
        for (x, y), c, r in zip(positions, column, row, strict=True)
    )


def positions_of(places: tuple[SubPlace, ...]) -> FloatArray:
    """Return the plan positions of places, ``(n, 2)``. [m].

    Parameters
    ----------
    places
        Places.
    """
    return np.array([place.position for place in places], dtype=np.float64).reshape(-1, 2)


def room_shape(room: Room) -> shapely.Polygon:
    """Return the plan of a room less its columns; a broken one raises.

    Parameters
    ----------
    room
        The room.

    Raises
    ------
    NoSolutionError
        If the outline crosses itself or nothing is left.
    """
    shape = shapely.Polygon(room.outline, room.holes)
    if shape.is_valid and shape.area > 0.0:
        return shape
    plain = shapely.Polygon(room.outline)
    if plain.is_valid:
        mended = plain.difference(
            shapely.union_all([shapely.Polygon(hole).buffer(0) for hole in room.holes])
        )
        if isinstance(mended, shapely.Polygon) and mended.is_valid and mended.area > 0.0:
            return mended
    msg = f"{room.label}: its outline and columns make no room"
    raise NoSolutionError(
        msg,
        where=f"rooms.{room.key}.outline",
        why=str(shapely.is_valid_reason(shape)),
        do="mend the outline so that it does not cross itself",
    )


def _area_shape(shape: shapely.Polygon, area: ListeningArea) -> BaseGeometry:
    inner = shape.buffer(-area.wall_margin_m)
    if area.outline is None:
        return inner
    return inner.intersection(shapely.Polygon(area.outline).buffer(0))


def listening_shapes(
    shape: shapely.Polygon, areas: Sequence[ListeningArea]
) -> tuple[tuple[BaseGeometry, float], ...]:
    """Return where ears are, with their height; the whole room seated if nobody said. [m].

    Parameters
    ----------
    shape
        Plan of the room. [m]
    areas
        Listening areas, excluded ones among them.
    """
    wanted = [area for area in areas if not area.is_excluded] or [
        ListeningArea(key="whole", label="whole room")
    ]
    kept_out = shapely.union_all(
        [_area_shape(shape, area) for area in areas if area.is_excluded] or [shapely.Polygon()]
    )
    found = [(_area_shape(shape, area).difference(kept_out), area.ear_height_m) for area in wanted]
    return tuple((part, height) for part, height in found if not part.is_empty)


def _lattice(shape: BaseGeometry, step_m: float, angle_rad: float) -> FloatArray:
    """Points on a lattice along an angle, centred on a shape, inside it."""
    turned = shapely.affinity.rotate(shape, -angle_rad, origin=(0.0, 0.0), use_radians=True)
    left, low, right, high = turned.bounds
    xs, ys = (
        (first + last) / 2.0 + (np.arange(count) - (count - 1) / 2.0) * step_m
        for first, last, count in (
            (left, right, int((right - left) / step_m + 1e-6) + 1),
            (low, high, int((high - low) / step_m + 1e-6) + 1),
        )
    )
    grid = np.stack(np.meshgrid(xs, ys, indexing="xy"), axis=-1).reshape(-1, 2)
    grid = grid[shapely.intersects_xy(turned.buffer(1e-6), grid[:, 0], grid[:, 1])]
    return to_plan(grid[:, 0], grid[:, 1], origin=(0.0, 0.0), angle_rad=angle_rad)


def seats_of(room: Room, shape: shapely.Polygon) -> FloatArray:
    """Return seats on a lattice in the listening areas, some tens of them, with their height.

    Parameters
    ----------
    room
        The room.
    shape
        Its plan. [m]

    Returns
    -------
    (n_seats, 3)
        Plan position and height above finished floor. [m]

    Raises
    ------
    NoSolutionError
        If fewer than two seats fit.
    """
    parts = listening_shapes(shape, room.listening_areas)
    whole = sum(part.area for part, _ in parts)
    step = max(_LEAST_SEAT_STEP_M, float(np.sqrt(whole / _SEATS)))
    angle = lattice_angle_rad(room)
    seats = [
        np.column_stack([places, np.full(len(places), height)])
        for part, height in parts
        if len(places := _lattice(part, step, angle))
    ]
    found = np.vstack(seats) if seats else np.empty((0, 3))
    if len(found) < 2:
        msg = f"{room.label}: fewer than two seats fit in its listening areas"
        raise NoSolutionError(
            msg,
            where=f"rooms.{room.key}.listening",
            why=f"{whole:.1f} m² are left after the margin to the walls",
            do="draw a larger listening area or a smaller margin",
        )
    return found


def convex_corners(shape: shapely.Polygon) -> FloatArray:
    """Return the corners of the outline that people stand in, ``(n, 2)``. [m].

    Parameters
    ----------
    shape
        Plan of the room. [m]
    """
    ring = np.asarray(shapely.geometry.polygon.orient(shape).exterior.coords)[:-1]
    after = np.roll(ring, -1, axis=0) - ring
    before = ring - np.roll(ring, 1, axis=0)
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    long = np.hypot(*after.T) * np.hypot(*before.T)
    return np.asarray(ring[turn > 0.3 * long])


def reference_places(
    shape: shapely.Polygon, positions_m: FloatArray
) -> tuple[tuple[str, int], ...]:
    """Name the candidates nearest to the middle, to the middle of a long wall and to a corner.

    Parameters
    ----------
    shape
        Plan of the room. [m]
    positions_m : (n, 2)
        Candidates. [m]

    Returns
    -------
    tuple
        Words and the index of a candidate.
    """
    ring = np.asarray(shape.exterior.coords)
    lengths = np.hypot(*np.diff(ring, axis=0).T)
    longest = int(np.argmax(np.round(lengths, 3)))
    marks = [
        ("middle of the room", np.asarray(shape.centroid.coords)),
        ("middle of the longest wall", (ring[longest : longest + 1] + ring[longest + 1]) / 2.0),
    ]
    corners = convex_corners(shape)
    if len(corners):
        marks.append(("corner", corners))
    found = []
    for word, mark in marks:
        away = np.min(np.hypot(*(positions_m[:, None, :] - mark[None]).transpose(2, 0, 1)), axis=1)
        found.append((word, int(np.argmin(np.round(away, 4)))))
    return tuple(found)


def places_wished(shape: shapely.Polygon, positions_m: FloatArray, wish: Wish) -> IndexArray:
    """Return the candidates that suit a wish, by index.

    Parameters
    ----------
    shape
        Plan of the room. [m]
    positions_m : (n, 2)
        Candidates. [m]
    wish
        ``any``, ``middle``, ``wall`` or ``corner``.

    Raises
    ------
    NoSolutionError
        If no free place suits it.
    """
    away = shapely.distance(shape.boundary, shapely.points(positions_m))
    if wish == "any":
        suits = np.ones(len(positions_m), dtype=np.bool_)
    elif wish == "middle":
        suits = np.asarray(away >= _IN_MIDDLE * away.max())
    elif wish == "wall":
        suits = np.asarray(away <= _AT_WALL_M)
    else:
        corners = convex_corners(shape)
        gaps = np.hypot(*(positions_m[:, None, :] - corners[None]).transpose(2, 0, 1))
        suits = np.asarray(np.min(gaps, axis=1, initial=np.inf) <= _AT_CORNER_M)
    found = np.flatnonzero(suits)
    if not found.size:
        msg = f"no free place lies {'in a corner' if wish == 'corner' else f'at the {wish}'}"
        raise NoSolutionError(
            msg,
            where="wish",
            why="obstacles, cut tiles or other speakers hold all of them",
            do="free a tile there, or let any tile do",
        )
    return found


def map_lattice(shape: shapely.Polygon) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Return columns, rows and the points inside of a lattice over the room. [m].

    Parameters
    ----------
    shape
        Plan of the room. [m]

    Returns
    -------
    x, y : (nx,), (ny,)
        Columns and rows. [m]
    is_inside : (ny, nx)
        Which points lie in the room.
    """
    left, low, right, high = shape.bounds
    step = max(_LEAST_MAP_STEP_M, float(np.sqrt((right - left) * (high - low) / _MAP_POINTS)))
    x, y = (
        first
        + (np.arange(count := max(1, round((last - first) / step))) + 0.5) * (last - first) / count
        for first, last in ((left, right), (low, high))
    )
    mesh_x, mesh_y = np.meshgrid(x, y)
    inside = shapely.contains_properly(shape.buffer(-0.01), shapely.points(mesh_x, mesh_y))
    return x, y, np.asarray(inside)
