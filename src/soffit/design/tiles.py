"""Candidate positions of a ceiling: tiles, bays between joists, or a fine lattice for pendants.

Every ceiling becomes a lattice of *sites* in its own frame, so that one search serves grids of any
pitch, origin and angle, plasterboard with or without joists, and open ceilings.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import atan2, ceil, cos, floor, hypot, sin
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from soffit.ceiling.fit import void_at_m
from soffit.ceiling.members import joist_distance_m
from soffit.ceiling.tiles import TileField, obstacle_distances_m
from soffit.ceiling.tiles import blocked as blocked_tiles
from soffit.errors import NoSolutionError
from soffit.evaluate.ceiling import (
    TAKES_TILE,
    clearance_m,
    is_above_face,
    tile_field,
    type_void_need_m,
)
from soffit.model.catalogue import SpeakerType
from soffit.model.survey import Ceiling, Obstacle, Point, Room
from soffit.tables.settings import DEFAULT_LIMITS, Limits

if TYPE_CHECKING:
    from shapely.geometry import Polygon

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

_MOST_SITES: Final = 60_000
"""Sites of one ceiling; a finer lattice gains nothing and costs memory."""

SiteKind = Literal["tile", "bay", "point"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sites:
    """Lattice of candidate positions of one ceiling.

    Parameters
    ----------
    ceiling_key
        The ceiling.
    kind
        ``tile`` (middle of a grid tile), ``bay`` (between joists) or ``point`` (fine lattice).
    origin
        Plan position of the lattice's zero crossing. [m]
    angle_rad
        Direction of local x. [rad]
    pitch_x_m, pitch_y_m
        Distance of neighbouring sites along local x and y. [m]
    first_column, first_row
        Column and row of the site at index (0, 0).
    is_inside : (n_columns, n_rows)
        The site lies in the ceiling, clear of its edge.
    is_free : (n_columns, n_rows)
        A speaker may go there.
    height_m : (n_columns, n_rows)
        Height of the speaker's face above finished floor. [m]
    blocked_by
        How many inside sites each thing takes, most first.
    seat_m : (n_columns, n_rows, 2) or None
        Plan positions where some cut tiles seat their speaker beside the middle. [m]
    """

    ceiling_key: str
    kind: SiteKind
    origin: Point
    angle_rad: float
    pitch_x_m: float
    pitch_y_m: float
    first_column: int
    first_row: int
    is_inside: BoolArray
    is_free: BoolArray
    height_m: FloatArray
    blocked_by: tuple[tuple[str, int], ...] = ()
    seat_m: FloatArray | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Columns and rows."""
        return self.is_free.shape[0], self.is_free.shape[1]

    @property
    def count_free(self) -> int:
        """Sites where a speaker may go."""
        return int(self.is_free.sum())

    def local_m(self) -> tuple[FloatArray, FloatArray]:
        """Return local x of the columns and local y of the rows. [m]."""
        columns, rows = self.shape
        x = (self.first_column + np.arange(columns) + 0.5) * self.pitch_x_m
        y = (self.first_row + np.arange(rows) + 0.5) * self.pitch_y_m
        return np.asarray(x, np.float64), np.asarray(y, np.float64)

    def plan(self, column: IntArray, row: IntArray) -> FloatArray:
        """Return plan positions of sites by index.

        Parameters
        ----------
        column, row : (n,)
            Indices from (0, 0), not tile numbers.

        Returns
        -------
        (n, 2)
            Positions. [m]
        """
        if self.seat_m is not None:
            return np.asarray(self.seat_m[column, row])
        x = (self.first_column + np.asarray(column) + 0.5) * self.pitch_x_m
        y = (self.first_row + np.asarray(row) + 0.5) * self.pitch_y_m
        return to_plan(
            np.asarray(x, np.float64),
            np.asarray(y, np.float64),
            origin=self.origin,
            angle_rad=self.angle_rad,
        )

    def site_m(self, column: IntArray, row: IntArray) -> FloatArray:
        """Return positions with the height of the speaker's face.

        Parameters
        ----------
        column, row : (n,)
            Indices.

        Returns
        -------
        (n, 3)
            Positions. [m]
        """
        return np.column_stack([self.plan(column, row), self.height_m[column, row]])

    def nearest(self, position: Point) -> tuple[int, int]:
        """Return the index of the site nearest to a plan position, clipped to the lattice.

        Parameters
        ----------
        position
            Plan position. [m]
        """
        x, y = to_local(np.array([position]), origin=self.origin, angle_rad=self.angle_rad)
        column = floor(float(x[0]) / self.pitch_x_m) - self.first_column
        row = floor(float(y[0]) / self.pitch_y_m) - self.first_row
        return (
            min(max(column, 0), self.shape[0] - 1),
            min(max(row, 0), self.shape[1] - 1),
        )


def to_plan(x: FloatArray, y: FloatArray, *, origin: Point, angle_rad: float) -> FloatArray:
    """Turn local coordinates into plan positions.

    Parameters
    ----------
    x, y : (n,)
        Local coordinates. [m]
    origin
        Plan position of the local origin. [m]
    angle_rad
        Direction of local x. [rad]

    Returns
    -------
    (n, 2)
        Plan positions. [m]
    """
    c, s = cos(angle_rad), sin(angle_rad)
    return np.stack([origin[0] + c * x - s * y, origin[1] + s * x + c * y], axis=-1)


def to_local(
    positions: FloatArray, *, origin: Point, angle_rad: float
) -> tuple[FloatArray, FloatArray]:
    """Turn plan positions into local coordinates.

    Parameters
    ----------
    positions : (n, 2)
        Plan positions. [m]
    origin
        Plan position of the local origin. [m]
    angle_rad
        Direction of local x. [rad]

    Returns
    -------
    tuple of (n,)
        Local x and y. [m]
    """
    c, s = cos(angle_rad), sin(angle_rad)
    dx, dy = positions[:, 0] - origin[0], positions[:, 1] - origin[1]
    return c * dx + s * dy, -s * dx + c * dy


def room_polygon(room: Room) -> "Polygon":
    """Return the room's outline less its columns and courts."""
    from shapely.geometry import Polygon  # noqa: PLC0415 keeps `soffit line` free of shapely

    return Polygon(room.outline, room.holes)


def ceiling_polygon(room: Room, ceiling: Ceiling) -> "Polygon":
    """Return the part of the room that a ceiling covers; empty where it lies outside."""
    from shapely.geometry import Polygon  # noqa: PLC0415 keeps `soffit line` free of shapely

    whole = room_polygon(room)
    if ceiling.region is None:
        return whole
    part: Any = whole.intersection(Polygon(ceiling.region))
    if part.geom_type == "Polygon":
        return part  # type: ignore[no-any-return]
    pieces = [piece for piece in getattr(part, "geoms", ()) if piece.geom_type == "Polygon"]
    return max(pieces, key=lambda piece: piece.area) if pieces else Polygon()


def wall_angle_rad(room: Room) -> float:
    """Return the direction of the room's longest wall, between 0 and a quarter turn. [rad]."""
    ring = room.outline
    longest, angle = 0.0, 0.0
    for start, end in zip(ring, (*ring[1:], ring[0]), strict=True):
        length = hypot(end[0] - start[0], end[1] - start[1])
        if length > longest + 1e-9:
            longest, angle = length, atan2(end[1] - start[1], end[0] - start[0])
    turn = angle % (np.pi / 2)
    return 0.0 if min(turn, np.pi / 2 - turn) < 1e-9 else float(turn)


@dataclass(frozen=True, slots=True)
class _Frame:
    kind: SiteKind
    origin: Point
    angle_rad: float
    pitch_x_m: float
    pitch_y_m: float


def _frame(room: Room, ceiling: Ceiling, region: "Polygon", limits: Limits) -> _Frame:
    if ceiling.kind == "grid" and ceiling.grid is not None:
        grid = ceiling.grid
        return _Frame("tile", grid.origin, grid.angle_rad, grid.pitch_x_m, grid.pitch_y_m)
    fine = limits["place_fine_pitch_m"]
    if ceiling.joists is not None and ceiling.kind in {"plasterboard", "concealed"}:
        joists = ceiling.joists
        pitch = _fitted_pitch(region, joists.angle_rad, joists.offset, fine)
        return _Frame("bay", pitch[1], joists.angle_rad, pitch[0], joists.spacing_m)
    angle = wall_angle_rad(room)
    coordinates = np.asarray(region.exterior.coords)[:, :2]
    x, y = to_local(coordinates, origin=(0.0, 0.0), angle_rad=angle)
    while np.ptp(x) * np.ptp(y) / fine**2 > _MOST_SITES:
        fine *= 1.25
    middle = to_plan(
        np.array([(x.min() + x.max()) / 2 - fine / 2]),
        np.array([(y.min() + y.max()) / 2 - fine / 2]),
        origin=(0.0, 0.0),
        angle_rad=angle,
    )[0]
    return _Frame("point", (float(middle[0]), float(middle[1])), angle, fine, fine)


def _fitted_pitch(
    region: "Polygon", angle_rad: float, offset: Point, fine_m: float
) -> tuple[float, Point]:
    """Pitch along the joists, and an origin on a joist with a site in the middle of the run."""
    coordinates = np.asarray(region.exterior.coords)[:, :2]
    x, _ = to_local(coordinates, origin=offset, angle_rad=angle_rad)
    middle = (float(x.min()) + float(x.max())) / 2 - fine_m / 2
    origin = to_plan(np.array([middle]), np.array([0.0]), origin=offset, angle_rad=angle_rad)[0]
    return fine_m, (float(origin[0]), float(origin[1]))


def face_height_m(ceiling: Ceiling, positions: FloatArray, limits: Limits) -> FloatArray:
    """Return the height of a speaker's face at plan positions.

    Parameters
    ----------
    ceiling
        Flat or sloped ceiling; pendants hang below an open one.
    positions : (n, 2)
        Plan positions. [m]
    limits
        Where the height of pendants is set.

    Returns
    -------
    (n,)
        Height above finished floor. [m]
    """
    along = (positions[:, 0] - ceiling.slope_at[0]) * cos(ceiling.slope_angle_rad) + (
        positions[:, 1] - ceiling.slope_at[1]
    ) * sin(ceiling.slope_angle_rad)
    height = ceiling.height_m + ceiling.slope_ratio * along
    if ceiling.kind == "open":
        hanging = np.minimum(limits["place_pendant_height_m"], height - 0.3)
        return np.asarray(np.broadcast_to(hanging, height.shape), dtype=np.float64)
    return np.asarray(height, dtype=np.float64)


def find_sites(
    room: Room,
    ceiling: Ceiling,
    *,
    obstacles: Sequence[Obstacle],
    speaker_type: SpeakerType,
    taken: Sequence[tuple[float, ...]] = (),
    limits: Limits = DEFAULT_LIMITS,
) -> Sites:
    """Lay the lattice of sites over a ceiling and mark those that are free.

    Parameters
    ----------
    room, ceiling
        Where.
    obstacles
        Obstacles of the room, in, under or above the ceiling.
    speaker_type
        Its flange, cut-out and depth decide what is in the way.
    taken : (n, 3)
        Plan position of speakers that are there already, with their radius where it is not
        that of the type. [m]
    limits
        Clearances and pitches.

    Returns
    -------
    Sites
        Lattice with its free sites.

    Raises
    ------
    NoSolutionError
        If no site lies inside the ceiling: it is smaller than a tile, or the grid lies outside.
    """
    import shapely  # noqa: PLC0415 keeps `soffit line` free of shapely

    where = f"rooms.{room.key}.ceilings.{ceiling.key}"
    region = ceiling_polygon(room, ceiling)
    if region.is_empty or region.area <= 0.0:
        msg = f"{room.label}: its ceiling {ceiling.key!r} covers no part of the room"
        raise NoSolutionError(
            msg, where=where, why="its region lies outside", do="mend the region of the ceiling"
        )
    frame = _frame(room, ceiling, region, limits)
    ring = np.asarray(region.exterior.coords)[:, :2]
    x, y = to_local(ring, origin=frame.origin, angle_rad=frame.angle_rad)
    first_column = floor(float(x.min()) / frame.pitch_x_m + 1e-9)
    first_row = floor(float(y.min()) / frame.pitch_y_m + 1e-9)
    columns = max(1, ceil(float(x.max()) / frame.pitch_x_m - 1e-9) - first_column)
    rows = max(1, ceil(float(y.max()) / frame.pitch_y_m - 1e-9) - first_row)
    column, row = np.indices((columns, rows)).reshape(2, -1)
    positions = to_plan(
        np.asarray((first_column + column + 0.5) * frame.pitch_x_m, np.float64),
        np.asarray((first_row + row + 0.5) * frame.pitch_y_m, np.float64),
        origin=frame.origin,
        angle_rad=frame.angle_rad,
    )
    radius = speaker_type.flange_diameter_m / 2
    seat: FloatArray | None = None
    field = tile_field(room, ceiling) if frame.kind == "tile" else None
    if field is not None:
        inside, seats = _usable_tiles(
            field, speaker_type, positions, (first_column, first_row, columns, rows), limits
        )
        if not np.allclose(seats[inside], positions[inside]):
            positions = np.where(inside[:, None], seats, positions)
            seat = positions.reshape(columns, rows, 2)
    else:
        shrunk = region.buffer(-(radius + limits["place_edge_clearance_m"]))
        inside = np.asarray(shapely.contains_xy(shrunk, positions[:, 0], positions[:, 1]))
    if not inside.any():
        raise _no_site(room, ceiling, frame, where)
    height = face_height_m(ceiling, positions, limits)
    hits = _in_the_way(
        ceiling,
        field,
        positions,
        height,
        obstacles,
        speaker_type,
        limits,
        (first_column, first_row, rows),
    )
    gap_m = limits["unit_gap_least_m"]
    free, blocked = _freed(inside, hits, positions, taken, radius, gap_m)
    return Sites(
        ceiling_key=ceiling.key,
        kind=frame.kind,
        origin=frame.origin,
        angle_rad=frame.angle_rad,
        pitch_x_m=frame.pitch_x_m,
        pitch_y_m=frame.pitch_y_m,
        first_column=first_column,
        first_row=first_row,
        is_inside=inside.reshape(columns, rows),
        is_free=free.reshape(columns, rows),
        height_m=height.reshape(columns, rows),
        blocked_by=tuple(sorted(blocked.items(), key=lambda item: (-item[1], item[0]))),
        seat_m=seat,
    )


def _freed(
    inside: BoolArray,
    hits: Iterator[tuple[str, BoolArray]],
    positions: FloatArray,
    taken: Sequence[tuple[float, ...]],
    radius_m: float,
    gap_m: float,
) -> tuple[BoolArray, dict[str, int]]:
    """Sites that nothing takes, and how many each thing takes."""
    free = inside.copy()
    blocked: dict[str, int] = {}

    def take(name: str, hit: BoolArray) -> None:
        number = int((hit & free).sum())
        if number:
            blocked[name] = blocked.get(name, 0) + number
            free[hit] = False

    for name, hit in hits:
        take(name, hit)
    for x, y, *other_m in taken:
        apart = np.hypot(positions[:, 0] - x, positions[:, 1] - y)
        reach = radius_m + gap_m + (other_m[0] if other_m else radius_m)
        take("speaker placed by hand", apart < reach)
    return free, blocked


def _usable_tiles(
    field: TileField,
    speaker_type: SpeakerType,
    positions: FloatArray,
    frame: tuple[int, int, int, int],
    limits: Limits,
) -> tuple[BoolArray, FloatArray]:
    """Full tiles, and cut ones that are allowed and leave room for the hole; with their seats."""
    first_column, first_row, columns, rows = frame
    inside = np.zeros(columns * rows, dtype=bool)
    seats = positions.copy()
    column, row = field.column - first_column, field.row - first_row
    known = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
    width = speaker_type.cutout_diameter_m or speaker_type.flange_diameter_m
    fits = field.clear_radius_m >= width / 2 + limits["cutout_tee_clearance_m"] - 1e-9
    usable = known & field.is_usable & (field.is_full | fits)
    place = column[usable] * rows + row[usable]
    inside[place] = True
    seats[place] = field.centre_m[usable]
    return inside, seats


def _in_the_way(
    ceiling: Ceiling,
    field: TileField | None,
    positions: FloatArray,
    height: FloatArray,
    obstacles: Sequence[Obstacle],
    speaker_type: SpeakerType,
    limits: Limits,
    frame: tuple[int, int, int],
) -> Iterator[tuple[str, BoolArray]]:
    """Yield what makes sites useless: things in and under the face, joists, a shallow void."""
    lowest = height - (0.0 if is_above_face(speaker_type) else speaker_type.depth_m)
    radius = speaker_type.flange_diameter_m / 2
    for item in obstacles:
        if item.bottom_m is not None:
            top = item.top_m if item.top_m is not None else item.bottom_m
            reaches = (item.bottom_m <= height + 0.02) & (top >= lowest - 0.3)
        else:
            reaches = np.ones(len(positions), dtype=bool)
        needed = clearance_m(item, speaker_type, limits)[0]
        yield item.kind, _is_nearer(positions, item, radius + needed - 1e-6) & reaches
    if field is not None:
        for kind in sorted(TAKES_TILE):
            takers = [
                o for o in obstacles if o.kind == kind and _is_in_face(o, float(height.max()))
            ]
            if takers:
                yield kind, _covered(field, takers, len(positions), frame)
    if ceiling.joists is not None and speaker_type.cutout_diameter_m is not None:
        joists = ceiling.joists
        beside = joist_distance_m(
            positions,
            offset=joists.offset,
            angle_rad=joists.angle_rad,
            spacing_m=joists.spacing_m,
            width_m=joists.width_m,
        )
        needed = speaker_type.cutout_diameter_m / 2 + limits["cutout_joist_clearance_m"]
        yield "joists", np.asarray(beside < needed - 1e-9)
    shallow = _too_shallow(ceiling, positions, height, obstacles, speaker_type, limits)
    if not shallow.all():  # where no tile is deep enough the check says so; placing goes on
        yield "shallow void", shallow


def _is_nearer(positions: FloatArray, item: Obstacle, reach_m: float) -> BoolArray:
    """Sites nearer to an obstacle than a distance; only those in its bounds are measured."""
    ring = np.asarray(item.outline, dtype=np.float64)
    low, high = ring.min(axis=0) - reach_m - 1e-6, ring.max(axis=0) + reach_m + 1e-6
    hit = np.all((positions >= low) & (positions <= high), axis=1)
    near = np.flatnonzero(hit)
    if len(near):
        distance = obstacle_distances_m(positions[near], outlines=[item.outline])[:, 0]
        hit[near] = distance < reach_m
    return np.asarray(hit)


def _is_in_face(item: Obstacle, height_m: float) -> bool:
    """Whether something sits in the ceiling face, or reaches up to it."""
    if item.bottom_m is None:
        return True
    top = item.top_m if item.top_m is not None else item.bottom_m
    return item.bottom_m <= height_m + 0.02 and top >= height_m - 0.3


def _covered(
    field: TileField, items: Sequence[Obstacle], n_sites: int, frame: tuple[int, int, int]
) -> BoolArray:
    """Sites whose tile something sits in."""
    hit = np.zeros(n_sites, dtype=bool)
    taken = blocked_tiles(
        field,
        outlines=[item.outline for item in items],
        clearance_m=0.0,
        takes_tile=True,
        radius_m=0.0,
    )
    column, row = field.column[taken] - frame[0], field.row[taken] - frame[1]
    place = column * frame[2] + row
    hit[place[(column >= 0) & (row >= 0) & (row < frame[2]) & (place < n_sites)]] = True
    return hit


def _too_shallow(
    ceiling: Ceiling,
    positions: FloatArray,
    height: FloatArray,
    obstacles: Sequence[Obstacle],
    speaker_type: SpeakerType,
    limits: Limits,
) -> BoolArray:
    needed = type_void_need_m(speaker_type, limits)
    shallow = np.zeros(len(positions), dtype=bool)
    if needed <= 0.0 or ceiling.kind == "open":
        return shallow
    if ceiling.structure_height_m is not None:
        shallow |= ceiling.structure_height_m - height < needed - 1e-9
    if ceiling.void_points:
        reach = limits["void_point_reach_m"]
        for number, position in enumerate(positions):
            have = void_at_m(
                (float(position[0]), float(position[1])),
                void_depth_m=ceiling.void_depth_m,
                reach_m=reach,
                survey_m=ceiling.void_points,
            )
            shallow[number] |= have is not None and have < needed - 1e-9
    elif ceiling.void_depth_m is not None:
        shallow |= ceiling.void_depth_m < needed - 1e-9
    for item in obstacles:
        if item.bottom_m is None:
            continue
        above = item.bottom_m - height
        low = (above > 0.02) & (above < needed - 1e-9)
        if low.any():
            shallow |= low & _is_nearer(positions, item, speaker_type.flange_diameter_m / 2 - 1e-9)
    return shallow


def _no_site(room: Room, ceiling: Ceiling, frame: _Frame, where: str) -> NoSolutionError:
    what = {"tile": "whole tile", "bay": "place between joists", "point": "place"}[frame.kind]
    msg = f"{room.label}: no {what} lies inside the ceiling {ceiling.key!r}"
    return NoSolutionError(
        msg,
        where=where,
        why=f"sites are {frame.pitch_x_m:.3f} x {frame.pitch_y_m:.3f} m and the walls cut them all",
        do="check origin and pitch of the grid, allow border tiles, or put a speaker by hand",
    )


def ceiling_at(room: Room, position: Point) -> Ceiling:
    """Return the ceiling of a room over a plan position; the first where none covers it.

    Parameters
    ----------
    room
        Room with its ceilings.
    position
        Plan position. [m]
    """
    import shapely  # noqa: PLC0415 keeps `soffit line` free of shapely

    point = shapely.Point(position)
    for ceiling in room.ceilings:
        if ceiling.region is None or shapely.Polygon(ceiling.region).covers(point):
            return ceiling
    return room.ceilings[0]
