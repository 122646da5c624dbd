"""Tiles of a suspended grid inside a polygon with holes: which are full, cut, usable, blocked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from soffit.ceiling.plane import FloatArray, Ring, local_xy, plan_xy
from soffit.errors import DomainError

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

_SLIVER_SHARE = 0.02
"""A tile of which less than this is inside the ceiling is a gap at the wall, not a tile."""

_MOST_TILES = 1e6
"""More than the largest halls have; a larger number is a wrong unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GridLines:
    """The lines of a grid, without walls.

    Parameters
    ----------
    origin
        One crossing of the tee centre lines. [m]
    angle_rad
        Direction of the columns axis (local x) from the plan's x axis. [rad]
    pitch_x_m, pitch_y_m
        Tee centre to tee centre along local x and y; 0.6 is not 0.6096. [m]
    tee_width_m
        Visible width of a tee. [m]

    Raises
    ------
    DomainError
        If a pitch is not positive or the tee is as wide as the tile.
    """

    origin: tuple[float, float]
    pitch_x_m: float
    pitch_y_m: float
    angle_rad: float = 0.0
    tee_width_m: float = 0.024

    def __post_init__(self) -> None:
        """Refuse a grid that cannot be."""
        least = min(self.pitch_x_m, self.pitch_y_m)
        if not (least > 0.0 and 0.0 <= self.tee_width_m < least):
            msg = (
                f"a grid of {self.pitch_x_m} m by {self.pitch_y_m} m with tees of"
                f" {self.tee_width_m} m cannot be"
            )
            raise DomainError(
                msg,
                where="grid",
                why="the pitch must be positive and wider than the tee",
                do="measure tee centre to tee centre",
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TileField:
    """All tiles of one ceiling, column by column.

    Parameters
    ----------
    grid
        Its lines.
    column, row : (n_tiles,)
        Tile (c, r) lies between crossings c..c+1 along local x and r..r+1 along local y.
    centre_m : (n_tiles, 2)
        Plan position at which a unit would sit: the middle of a full tile, the middle of what is
        left of a cut one. [m]
    area_share : (n_tiles,)
        Share of the tile inside the ceiling.
    is_full, is_usable : (n_tiles,)
        Uncut; uncut or cut and allowed to carry a unit.
    clear_radius_m : (n_tiles,)
        Largest hole around ``centre_m`` that touches neither tee nor wall. [m]
    places
        Array position of each tile by column and row.
    """

    grid: GridLines
    column: IntArray
    row: IntArray
    centre_m: FloatArray
    area_share: FloatArray
    is_full: BoolArray
    is_usable: BoolArray
    clear_radius_m: FloatArray
    places: Mapping[tuple[int, int], int]

    def __len__(self) -> int:
        """Return the number of tiles."""
        return len(self.column)

    def index(self, column: int, row: int) -> int | None:
        """Return the array position of a tile; ``None`` if the ceiling has no such tile.

        Parameters
        ----------
        column, row
            From the origin crossing.
        """
        return self.places.get((column, row))

    def tile_at(self, point: tuple[float, float]) -> tuple[int, int]:
        """Return column and row of the tile over a plan position, whether or not it exists.

        Parameters
        ----------
        point
            Plan position. [m]
        """
        grid = self.grid
        x, y = local_xy([point], origin=grid.origin, angle_rad=grid.angle_rad)[0]
        return int(np.floor(x / grid.pitch_x_m + 1e-9)), int(np.floor(y / grid.pitch_y_m + 1e-9))

    def outline(self, index: int) -> "Polygon":
        """Return one tile between tee centre lines as a polygon in plan coordinates.

        Parameters
        ----------
        index
            Array position.
        """
        one = slice(index, index + 1)
        tile: Polygon = _boxes(self.grid, self.column[one], self.row[one])[0]
        return tile

    def outlines(self) -> NDArray[np.object_]:
        """Return the squares between tee centre lines as polygons in plan coordinates."""
        return _boxes(self.grid, self.column, self.row)


def _boxes(grid: GridLines, column: IntArray, row: IntArray) -> NDArray[np.object_]:
    corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=np.float64)
    cells = np.stack([column, row], axis=-1)[:, None, :] + corners[None, :, :]
    local = (cells * np.array([grid.pitch_x_m, grid.pitch_y_m])).reshape(-1, 2)
    plan = plan_xy(local, origin=grid.origin, angle_rad=grid.angle_rad)
    return np.asarray(shapely.polygons(plan.reshape(len(column), 4, 2)))


def ceiling_polygon(
    outline: Ring, *, holes: Sequence[Ring] = (), region: Ring | None = None
) -> "BaseGeometry":
    """Join an outline, its holes and the part that a ceiling covers into one shape.

    Parameters
    ----------
    outline
        The room. [m]
    holes
        Columns and courts. [m]
    region
        Part of the room that the ceiling covers; ``None`` for all of it. [m]

    Returns
    -------
    shapely geometry
        Polygon, or several.

    Raises
    ------
    DomainError
        If the outline crosses itself or nothing is left.
    """
    shape: BaseGeometry = shapely.Polygon(outline)
    if not shape.is_valid:
        msg = "the outline crosses itself"
        raise DomainError(
            msg,
            where="outline",
            why=shapely.is_valid_reason(shape),
            do="give the corners in order around the room",
        )
    for hole in holes:
        shape = shape.difference(shapely.Polygon(hole).buffer(0))
    if region is not None:
        shape = shape.intersection(shapely.Polygon(region).buffer(0))
    if shape.is_empty:
        msg = "no ceiling is left inside the outline"
        raise DomainError(
            msg, where="outline", why="holes or region take all of it", do="check them"
        )
    return shape


def tiles(
    outline: Ring,
    *,
    grid: GridLines,
    holes: Sequence[Ring] = (),
    region: Ring | None = None,
    border_usable: bool = False,
    full_share: float = 0.96,
    least_border_share: float = 0.5,
) -> TileField:
    """Lay a grid into a polygon with holes.

    Parameters
    ----------
    outline
        The room. [m]
    grid
        Lines of the grid.
    holes
        Columns and courts. [m]
    region
        Part of the room that the ceiling covers; ``None`` for all of it. [m]
    border_usable
        Whether cut tiles may carry a unit.
    full_share
        Share of its area from which a tile counts as full (surveys are good to 10 mm a side).
    least_border_share
        Share of its area from which a cut tile is usable, where cut tiles are.

    Returns
    -------
    TileField
        All tiles, columns rising, rows rising within a column; slivers are left out.

    Raises
    ------
    DomainError
        If the outline is no polygon, or the grid gives more tiles than any ceiling has.

    Examples
    --------
    >>> field = tiles([(0, 0), (3, 0), (3, 2.4), (0, 2.4)],
    ...               grid=GridLines(origin=(0, 0), pitch_x_m=0.6, pitch_y_m=0.6))
    >>> len(field), int(field.is_full.sum())
    (20, 20)
    """
    shape = ceiling_polygon(outline, holes=holes, region=region)
    column, row = _candidates(outline, grid)
    boxes = _boxes(grid, column, row)
    shapely.prepare(shape)
    touched = shapely.intersects(shape, boxes)
    boxes, column, row = boxes[touched], column[touched], row[touched]
    inside = shapely.contains_properly(shape, boxes)
    pieces = boxes.copy()
    pieces[~inside] = shapely.intersection(shape, boxes[~inside])
    share = shapely.area(pieces) / (grid.pitch_x_m * grid.pitch_y_m)
    keep = share > _SLIVER_SHARE
    boxes, pieces, share = boxes[keep], pieces[keep], share[keep]
    is_full = share >= full_share
    seats = np.asarray(shapely.centroid(boxes))
    seats[~is_full] = _seat(pieces[~is_full])
    radius = np.full(len(share), min(grid.pitch_x_m, grid.pitch_y_m) / 2.0)
    radius[~is_full] = shapely.distance(shapely.boundary(pieces[~is_full]), seats[~is_full])
    column, row = column[keep], row[keep]
    pairs = zip(column.tolist(), row.tolist(), strict=True)
    return TileField(
        grid=grid,
        column=column,
        row=row,
        centre_m=shapely.get_coordinates(seats),
        area_share=np.minimum(share, 1.0),
        is_full=is_full,
        is_usable=is_full | (border_usable & (share >= least_border_share)),
        clear_radius_m=np.maximum(radius - grid.tee_width_m / 2.0, 0.0),
        places={pair: index for index, pair in enumerate(pairs)},
    )


def _candidates(outline: Ring, grid: GridLines) -> tuple[IntArray, IntArray]:
    """Columns and rows of every tile that the outline's bounds may touch."""
    local = local_xy(outline, origin=grid.origin, angle_rad=grid.angle_rad)
    pitch = np.array([grid.pitch_x_m, grid.pitch_y_m])
    low = np.floor(local.min(axis=0) / pitch - 1e-9)
    high = np.ceil(local.max(axis=0) / pitch + 1e-9)
    if float(np.prod(high - low)) > _MOST_TILES:
        msg = f"a grid of {grid.pitch_x_m} m by {grid.pitch_y_m} m gives over a million tiles"
        raise DomainError(msg, where="grid", why="that is no ceiling", do="check pitch and units")
    columns = np.arange(int(low[0]), int(high[0]), dtype=np.int64)
    rows = np.arange(int(low[1]), int(high[1]), dtype=np.int64)
    return np.repeat(columns, len(rows)), np.tile(rows, len(columns))


def _seat(pieces: NDArray[np.object_]) -> NDArray[np.object_]:
    """Middle of what is left of a cut tile; inside it even where the rest is bent or in two."""
    middles = np.asarray(shapely.centroid(pieces))
    outside = ~shapely.contains_properly(pieces, middles)
    middles[outside] = shapely.point_on_surface(pieces[outside])
    return middles


def obstacle_distances_m(centre_m: ArrayLike, *, outlines: Sequence[Ring]) -> FloatArray:
    """Distance from unit centres to the nearest edge of obstacles, 0 inside them.

    Parameters
    ----------
    centre_m : (n_points, 2)
        Plan positions. [m]
    outlines
        Plan polygons of the obstacles. [m]

    Returns
    -------
    (n_points, n_obstacles)
        Distances. [m]
    """
    centres = np.atleast_2d(np.asarray(centre_m, dtype=np.float64))
    points = np.asarray(shapely.points(centres))
    if not outlines:
        return np.empty((len(centres), 0))
    shapes = np.array([shapely.Polygon(ring).buffer(0) for ring in outlines])
    return np.asarray(shapely.distance(points[:, None], shapes[None, :]), dtype=np.float64)


def blocked(
    field: TileField,
    *,
    outlines: Sequence[Ring],
    clearance_m: ArrayLike,
    takes_tile: ArrayLike,
    radius_m: float,
) -> BoolArray:
    """Say which tiles a unit may not use, because of what is in or near them.

    Parameters
    ----------
    field
        The tiles.
    outlines
        Plan polygons of the obstacles. [m]
    clearance_m : (n_obstacles,)
        Free distance asked for between the unit's edge and the obstacle. [m]
    takes_tile : (n_obstacles,)
        Whether the obstacle makes every tile that it covers useless (a light does, a pipe above
        does not).
    radius_m
        Of the unit as seen from below. [m]

    Returns
    -------
    (n_tiles,)
        True where the unit may not be.

    Notes
    -----
    A tile counts as covered from one hundredth of its area, so that an obstacle that only touches
    the tee does not take the neighbour.
    """
    if not outlines:
        return np.zeros(len(field), dtype=np.bool_)
    shapes = np.array([shapely.Polygon(ring).buffer(0) for ring in outlines])
    reach = np.broadcast_to(
        np.asarray(clearance_m, dtype=np.float64) + radius_m - 1e-9, shapes.shape
    )
    tree = shapely.STRtree(np.asarray(shapely.points(field.centre_m)))
    short = np.zeros(len(field), dtype=np.bool_)
    short[tree.query(shapes, predicate="dwithin", distance=np.maximum(reach, 0.0))[1]] = True
    takes = np.broadcast_to(np.asarray(takes_tile, dtype=np.bool_), shapes.shape)
    if not takes.any():
        return short
    together = shapely.union_all(shapes[takes])
    shapely.prepare(together)
    boxes = field.outlines()
    covered = shapely.intersects(together, boxes)
    area = np.zeros(len(field))
    area[covered] = shapely.area(shapely.intersection(together, boxes[covered]))
    return np.asarray(short | (area > 0.01 * field.grid.pitch_x_m * field.grid.pitch_y_m))
