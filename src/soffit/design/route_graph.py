"""Ways for cable above the ceilings of one storey: a rectilinear graph with priced walls.

Lines of the graph lie along the building's main direction through loudspeakers, racks, ends of
cable ways, and just inside every corner. A cable may run along any of them; it pays for walls that
it passes, for bends and stretches outside surveyed rooms, and less on a drawn cable way.
Columns and courts are never crossed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from shapely.geometry import LineString, Polygon

from soffit.circuit.arrays import FloatArray, IntArray
from soffit.errors import NoSolutionError
from soffit.model.survey import CableWay, Point, Room
from soffit.tables.settings import Limits

_INSET_M = 0.15
_SAME_LINE_M = 0.02
_CROWDED_M = 0.25
_OFF_WALL_M = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """Cheapest ways from one crossing to all others.

    The graph has two layers, one for stretches along either direction, so that a bend can cost.

    Parameters
    ----------
    reach_m : (k,)
        Priced length to each crossing. [m]
    layer : (k,)
        Layer in which each crossing is reached best.
    before : (2 k,)
        Node before each node of both layers; negative at the start.
    """

    reach_m: FloatArray
    layer: IntArray
    before: IntArray

    def path(self, node: int) -> tuple[int, ...]:
        """Return the crossings from the start to a crossing.

        Parameters
        ----------
        node
            Crossing where the way ends.

        Returns
        -------
        tuple of int
            Crossings, the start first.
        """
        count = self.reach_m.size
        here = node + count * int(self.layer[node])
        nodes = [node]
        while self.before[here] >= 0:
            here = int(self.before[here])
            if here % count != nodes[-1]:
                nodes.append(here % count)
        return tuple(reversed(nodes))


def search_from(graph: csr_array, node: int) -> Search:
    """Find the cheapest ways from a crossing.

    Parameters
    ----------
    graph
        Priced adjacency of both layers.
    node
        Crossing to start from, in either direction.

    Returns
    -------
    Search
        Ways to all crossings.
    """
    count = graph.shape[0] // 2
    reach, before, _ = dijkstra(
        graph, indices=[node, node + count], return_predecessors=True, min_only=True
    )
    both = np.asarray(reach).reshape(2, count)
    return Search(
        reach_m=both.min(axis=0),
        layer=both.argmin(axis=0).astype(np.int64),
        before=np.asarray(before).astype(np.int64),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """Ways between the wanted points of one storey.

    Parameters
    ----------
    points : (n, 2)
        Wanted points. [m]
    cost_m : (n, n)
        Length with all prices, on which an order is chosen. [m]
    node_xy : (k, 2)
        All crossings of the graph, in plan coordinates. [m]
    node_room : (k,)
        Place of the room that each crossing lies in; -1 outside.
    point_node : (n,)
        Crossing of each wanted point.
    searches : (n,)
        Ways from each wanted point.
    length_m, walls : (n_edges,)
        Plain length and walls passed, by edge. [m]
    edge_of
        Place of an edge by its two crossings, the smaller first.
    graph
        Priced adjacency of both layers, for further searches.
    """

    points: FloatArray
    cost_m: FloatArray
    node_xy: FloatArray
    node_room: IntArray
    point_node: IntArray
    searches: tuple[Search, ...]
    length_m: FloatArray
    walls: FloatArray
    edge_of: dict[tuple[int, int], int]
    graph: csr_array

    def only(self, places: Sequence[int]) -> "Ways":
        """Return the ways between some of the wanted points.

        Parameters
        ----------
        places
            Places of the points to keep, in their new order.
        """
        kept = list(places)
        return replace(
            self,
            points=self.points[kept],
            cost_m=self.cost_m[np.ix_(kept, kept)],
            point_node=self.point_node[kept],
            searches=tuple(self.searches[place] for place in kept),
        )

    def path(self, start: int, node: int) -> tuple[int, ...]:
        """Return the crossings from a wanted point to a crossing.

        Parameters
        ----------
        start
            Place of the wanted point.
        node
            Crossing where the way ends.

        Returns
        -------
        tuple of int
            Crossings, the wanted point's first.
        """
        return self.searches[start].path(node)

    def way(self, nodes: tuple[int, ...]) -> "Way":
        """Measure a sequence of neighbouring crossings.

        Parameters
        ----------
        nodes
            Crossings from end to end.

        Returns
        -------
        Way
            Corners, plain length, and walls.
        """
        length = walls = 0.0
        for first, second in pairwise(nodes):
            edge = self.edge_of[min(first, second), max(first, second)]
            length += float(self.length_m[edge])
            walls += float(self.walls[edge])
        return Way(
            corners=_corners([self.node_xy[node] for node in nodes]),
            length_m=length,
            penetrations=math.ceil(walls - 1e-9),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One measured way.

    Parameters
    ----------
    corners
        Plan polyline without points on straight stretches. [m]
    length_m
        Plain plan length. [m]
    penetrations
        Walls passed.
    """

    corners: tuple[Point, ...]
    length_m: float
    penetrations: int


def _corners(points: Sequence[FloatArray]) -> tuple[Point, ...]:
    kept = [points[0]]
    for before, here, after in zip(points[:-2], points[1:-1], points[2:], strict=True):
        one, two = here - before, after - here
        turn = abs(float(one[0] * two[1] - one[1] * two[0]))
        if turn > 1e-4 * float(np.linalg.norm(one) * np.linalg.norm(two)):
            kept.append(here)
    if len(points) > 1:
        kept.append(points[-1])
    return tuple((round(float(x), 6), round(float(y), 6)) for x, y in kept)


def main_direction_rad(rooms: Sequence[Room]) -> float:
    """Direction in which most of the walls run, modulo a right angle.

    Parameters
    ----------
    rooms
        Rooms of a storey.

    Returns
    -------
    float
        Angle from the plan's x axis, within ±45 degrees. [rad]
    """
    total = 0j
    for room in rooms:
        ring = np.asarray(room.outline)
        sides = np.roll(ring, -1, axis=0) - ring
        vector = sides[:, 0] + 1j * sides[:, 1]
        size = np.abs(vector)
        unit = vector[size > 0.0] / size[size > 0.0]
        total += complex(np.sum(size[size > 0.0] * unit**4))
    angle = float(np.angle(total)) / 4.0 if abs(total) > 1e-9 else 0.0
    return 0.0 if abs(angle) < 1e-6 else angle


def find_ways(
    points: Sequence[Point],
    *,
    rooms: Sequence[Room],
    cable_ways: Sequence[CableWay] = (),
    limits: Limits,
    labels: Sequence[str] = (),
) -> Ways:
    """Find the cheapest way for cable between every two points of one storey.

    Parameters
    ----------
    points
        Rack or riser first, then loudspeakers. [m]
    rooms
        Rooms of the storey; their columns and courts are not crossed.
    cable_ways
        Corridors, trays and risers drawn by hand, preferred.
    limits
        Prices: ``wall_penetration_m``, ``outside_room_ratio``, ``cable_way_ratio``,
        ``bend_price_m``.
    labels
        Names of the points for errors.

    Returns
    -------
    Ways
        Priced distances and the graph behind them.

    Raises
    ------
    NoSolutionError
        If a point cannot be reached from the first.
    """
    angle = main_direction_rad(rooms)
    local = _turn(np.asarray(points, dtype=np.float64), -angle)
    outlines = [
        Polygon(
            _turn(np.asarray(room.outline), -angle),
            [_turn(np.asarray(hole), -angle) for hole in room.holes],
        )
        for room in rooms
    ]
    trays = [
        LineString(_turn(np.asarray(way.points), -angle))
        for way in cable_ways
        if len(way.points) > 1
    ]
    across, up = _grid_lines(local, outlines, trays)
    xs, ys = np.meshgrid(across, up, indexing="ij")
    nodes = np.column_stack([xs.ravel(), ys.ravel()])
    rows = np.arange(nodes.shape[0]).reshape(xs.shape)
    ends = np.concatenate(
        [
            np.column_stack([rows[:-1].ravel(), rows[1:].ravel()]),
            np.column_stack([rows[:, :-1].ravel(), rows[:, 1:].ravel()]),
            *(_slanting(tray, across, up, rows) for tray in trays),
        ]
    )
    node_room = _rooms_of(nodes, outlines)
    ends, length, walls, price = _priced(nodes, node_room, ends, outlines, trays, limits)
    graph = _layered(nodes, ends, price, bend_m=limits["bend_price_m"])
    place_x = np.argmin(np.abs(across[np.newaxis, :] - local[:, :1]), axis=1)
    place_y = np.argmin(np.abs(up[np.newaxis, :] - local[:, 1:]), axis=1)
    point_node = rows[place_x, place_y].astype(np.int64)
    searches = tuple(search_from(graph, node) for node in point_node.tolist())
    cost = np.asarray([search.reach_m[point_node] for search in searches])
    _check_reached(cost, labels, points)
    node_xy = _turn(nodes, angle)
    node_xy[point_node] = np.asarray(points, dtype=np.float64)
    return Ways(
        points=np.asarray(points, dtype=np.float64),
        cost_m=0.5 * (cost + cost.T),
        node_xy=node_xy,
        node_room=node_room,
        point_node=point_node,
        searches=searches,
        length_m=length,
        walls=walls,
        edge_of={(min(a, b), max(a, b)): place for place, (a, b) in enumerate(ends.tolist())},
        graph=graph,
    )


def _layered(nodes: FloatArray, ends: IntArray, price: FloatArray, *, bend_m: float) -> csr_array:
    """Put stretches along x in one layer, along y in another, slanting ones in both."""
    count = nodes.shape[0]
    step = np.abs(nodes[ends[:, 1]] - nodes[ends[:, 0]])
    along_x, along_y = step[:, 1] < 1e-9, step[:, 0] < 1e-9
    every = np.arange(count)
    rows = [ends[~along_y], ends[~along_x] + count, np.column_stack([every, every + count])]
    costs = [price[~along_y], price[~along_x], np.full(count, bend_m)]
    pairs, weights = np.concatenate(rows), np.concatenate(costs)
    return csr_array(
        (
            np.concatenate([weights, weights]),
            (
                np.concatenate([pairs[:, 0], pairs[:, 1]]),
                np.concatenate([pairs[:, 1], pairs[:, 0]]),
            ),
        ),
        shape=(2 * count, 2 * count),
    )


def _turn(points: FloatArray, angle_rad: float) -> FloatArray:
    cosine, sine = math.cos(angle_rad), math.sin(angle_rad)
    return np.asarray(points @ np.array([[cosine, sine], [-sine, cosine]]))


def _grid_lines(
    local: FloatArray, outlines: list[Polygon], trays: list[LineString]
) -> tuple[FloatArray, FloatArray]:
    """Coordinates of the lines: wanted points keep theirs, the others make way where crowded."""
    firm = [local]
    walls: list[FloatArray] = []
    loose = [np.asarray(tray.coords) for tray in trays]
    for outline in outlines:
        for ring in (outline.exterior, *outline.interiors):
            corner = np.asarray(ring.coords)[:-1]
            walls.append(corner)
            loose += [corner - _INSET_M, corner + _INSET_M]
    lines = []
    for axis in (0, 1):
        own = np.unique(np.concatenate([part[:, axis] for part in firm]))
        own = own[np.append(True, np.diff(own) > _SAME_LINE_M)]
        trays_here = np.concatenate(
            [tray[:, axis] for tray in loose[: len(trays)]] or [np.empty(0)]
        )
        kept = list(own) + [float(value) for value in np.unique(trays_here)]
        others = np.unique(np.concatenate([part[:, axis] for part in loose] or [np.empty(0)]))
        corners = np.concatenate([part[:, axis] for part in walls] or [np.empty(0)])
        for value in others:
            # a line on a wall could pass it unseen, or count it twice
            on_wall = corners.size > 0 and float(np.min(np.abs(corners - value))) < _OFF_WALL_M
            if not on_wall and min(abs(value - one) for one in kept) > _CROWDED_M:
                kept.append(float(value))
        lines.append(np.unique(np.asarray(kept)))
    return lines[0], lines[1]


def _slanting(tray: LineString, across: FloatArray, up: FloatArray, rows: IntArray) -> IntArray:
    """Edges of a cable way that do not lie along a line of the graph."""
    corners = np.asarray(tray.coords)
    place_x = np.argmin(np.abs(across[np.newaxis, :] - corners[:, :1]), axis=1)
    place_y = np.argmin(np.abs(up[np.newaxis, :] - corners[:, 1:]), axis=1)
    node = rows[place_x, place_y]
    slanting = (place_x[:-1] != place_x[1:]) & (place_y[:-1] != place_y[1:])
    return np.column_stack([node[:-1][slanting], node[1:][slanting]])


def _rooms_of(nodes: FloatArray, outlines: list[Polygon]) -> IntArray:
    room = np.full(nodes.shape[0], -1, dtype=np.int64)
    for place, outline in enumerate(outlines):
        shapely.prepare(outline)
        room[shapely.contains_xy(outline, nodes[:, 0], nodes[:, 1])] = place
    return room


def _priced(
    nodes: FloatArray,
    node_room: IntArray,
    ends: IntArray,
    outlines: list[Polygon],
    trays: list[LineString],
    limits: Limits,
) -> tuple[IntArray, FloatArray, FloatArray, FloatArray]:
    """Drop blocked edges, count walls, price what is left."""
    start, stop = nodes[ends[:, 0]], nodes[ends[:, 1]]
    length = np.hypot(*(stop - start).T)
    # a hair short of the far end, so that a wall through a crossing is met once
    short = stop - (stop - start) * (1e-9 / np.maximum(length, 1e-6))[:, np.newaxis]
    lines = np.asarray(shapely.linestrings(np.stack([start, short], axis=1)))
    tree = shapely.STRtree(lines)
    crossings = np.zeros(ends.shape[0])
    blocked = np.zeros(ends.shape[0], dtype=np.bool_)
    for outline in outlines:
        touched = tree.query(outline.exterior, predicate="intersects")
        met = shapely.intersection(lines[touched], outline.exterior)
        along = shapely.length(met) > 1e-6
        crossings[touched] += np.where(along, 2.0, np.asarray(shapely.get_num_geometries(met)))
        for hole in outline.interiors:
            # a cable may run along a column's face, and rounding must not decide on that
            inside = Polygon(hole).buffer(-_SAME_LINE_M)
            blocked[tree.query(inside, predicate="crosses")] = True
            blocked[tree.query(inside, predicate="contains")] = True
    walls = 0.5 * crossings
    outside = (node_room[ends[:, 0]] < 0) & (node_room[ends[:, 1]] < 0)
    rate = np.where(outside, limits["outside_room_ratio"], 1.0)
    price = length * rate + walls * limits["wall_penetration_m"]
    for tray in trays:
        lane = tray.buffer(_SAME_LINE_M)
        on_tray = tree.query(lane, predicate="contains")
        price[on_tray] = length[on_tray] * limits["cable_way_ratio"]
    keep = ~blocked & (length > 0.0)
    return ends[keep], length[keep], walls[keep], np.maximum(price[keep], 1e-9)


def _check_reached(cost: FloatArray, labels: Sequence[str], points: Sequence[Point]) -> None:
    lost = np.flatnonzero(~np.isfinite(cost[0]))
    if lost.size:
        named = ", ".join(
            labels[place] if place < len(labels) else str(points[place]) for place in lost.tolist()
        )
        msg = f"no way for cable leads to {named}"
        raise NoSolutionError(
            msg,
            where="rooms, cable_ways",
            why="it lies in a column or court, or these close the ceiling around it",
            do="draw a cable way there, or move it",
        )
