"""The drawing inside the frame of a plan: room, grid, obstacles, cable, speakers, labels."""

import itertools
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from soffit.model.survey import Ceiling, Grid, Obstacle, Ring
from soffit.papers import fonts, symbols
from soffit.papers.lanes import side_by_side
from soffit.papers.placement import Field, Wanted, place_all, place_near
from soffit.papers.projection import Projection, bounds
from soffit.papers.scene import (
    ACCENT,
    FAINT,
    FINE,
    HAIR,
    INK,
    SOFT,
    TINT,
    WHITE,
    Anchor,
    Box,
    Path,
    Pen,
    Point,
    Scene,
    Text,
)
from soffit.papers.views import RoomView, RouteView, SpeakerView
from soffit.units import format_length

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

LINE_DASHES: Final[tuple[tuple[float, ...], ...]] = (
    (),
    (2.2, 0.9),
    (0.7, 0.7),
    (3.0, 0.8, 0.6, 0.8),
    (4.5, 0.9),
    (1.4, 1.4),
    (3.0, 0.8, 0.6, 0.8, 0.6, 0.8),
    (0.4, 1.2),
)
"""Lines differ by dashes, so that grey prints stay clear."""
MATCH_PEN: Final = Pen(0.5, INK, (6.0, 1.2, 1.2, 1.2))
"""The line where two sheets of one room meet."""

_OUTSIDE_MM: Final = 3.5
_SLIDES: Final = (0.0, 0.12, -0.12, 0.22, -0.22, 0.32, -0.32, 0.4, -0.4)
"""Where along a wall its name may stand, from the middle, in shares of the wall."""


def _shape(room: RoomView, window: Box | None) -> "BaseGeometry":
    from shapely import Polygon, box  # noqa: PLC0415 - only plans need it

    whole = Polygon(room.outline, room.holes)
    return whole if window is None else whole.intersection(box(*window))


def inside(point: Point, window: Box | None) -> bool:
    """Return whether a plan point belongs to a part of a room; of two parts only one has it.

    Parameters
    ----------
    point
        On the plan. [m]
    window
        Least and greatest x and y of the part; ``None`` for the whole room. [m]
    """
    if window is None:
        return True
    return window[0] <= point[0] < window[2] and window[1] <= point[1] < window[3]


def clipped_lines(
    lines: Sequence[tuple[Point, Point]], shape: "BaseGeometry"
) -> list[tuple[Point, Point]]:
    """Return the pieces of straight lines that lie inside a polygon.

    Parameters
    ----------
    lines
        Straight lines.
    shape
        A shapely polygon.
    """
    from shapely import MultiLineString, get_parts  # noqa: PLC0415 - only plans need it

    if not lines:
        return []
    parts = get_parts(MultiLineString(list(lines)).intersection(shape))
    pieces = []
    for part in parts:
        if part.geom_type == "LineString" and part.length > 1e-6:
            coordinates = list(part.coords)
            (ax, ay, *_), (bx, by, *_) = coordinates[0], coordinates[-1]
            pieces.append(((ax, ay), (bx, by)))
    return pieces


def family(origin: Point, angle_rad: float, pitch_m: float, box: Box) -> list[tuple[Point, Point]]:
    """Return parallel lines that cover a box.

    Parameters
    ----------
    origin
        A point on one of them. [m]
    angle_rad
        Their direction. [rad]
    pitch_m
        Distance between them. [m]
    box
        What to cover. [m]
    """
    cos, sin = math.cos(angle_rad), math.sin(angle_rad)
    corners = [(x, y) for x in (box[0], box[2]) for y in (box[1], box[3])]
    across = [-(x - origin[0]) * sin + (y - origin[1]) * cos for x, y in corners]
    along = [(x - origin[0]) * cos + (y - origin[1]) * sin for x, y in corners]
    first, last = math.floor(min(across) / pitch_m), math.ceil(max(across) / pitch_m)
    low, high = min(along) - 1.0, max(along) + 1.0
    lines = []
    for step in range(first, last + 1):
        x, y = origin[0] - sin * step * pitch_m, origin[1] + cos * step * pitch_m
        lines.append(((x + cos * low, y + sin * low), (x + cos * high, y + sin * high)))
    return lines


class Drawing:
    """The drawing inside the frame, layer by layer."""

    def __init__(
        self,
        scene: Scene,
        room: RoomView,
        speakers: Sequence[SpeakerView],
        projection: Projection,
        *,
        imperial: bool,
        area: Box,
        window: Box | None = None,
        has_letters: bool = False,
    ) -> None:
        self.scene, self.room, self.window = scene, room, window
        self.speakers = tuple(item for item in speakers if inside(item.position, window))
        self.marked = tuple(item for item in room.marks if inside(item.position, window))
        self.has_letters = has_letters and len({item.type_mark for item in speakers}) > 1
        self.to_paper, self.imperial, self.area = projection, imperial, area
        self.shape = _shape(room, window)
        self.field = Field(sheet=area)
        self.lines = tuple(sorted({route.line_label for route in room.routes}))
        named = [(mark.position, mark.label) for mark in room.marks]
        named += [(item.position, item.label) for item in speakers]
        self.ends = {(round(at[0], 2), round(at[1], 2)): label for at, label in named}
        self.unplaced: list[str] = []
        self.match_lines: list[tuple[Point, Point]] = []
        self.obstacles_drawn: list[Obstacle] = []
        self.holes_drawn: list[Ring] = []
        self._drawn_lines: set[str] = set()
        self.waiting: list[tuple[tuple[Point, ...], str]] = []

    def draw(self) -> None:
        """Draw all layers, walls and grid below, labels on top."""
        self._reserve()
        self._floor()
        for ceiling in self.room.ceilings:
            self._ceiling(ceiling)
        self._obstacles()
        self._walls()
        for line in self.match_lines:
            self.scene.line(*line, layer="match lines", pen=MATCH_PEN)
        self._dimensions()
        self._routes()
        self._wall_names()
        self._marks()
        self._symbols()
        self._labels()

    def draw_shell(self) -> None:
        """Draw walls, columns, doors and outer dimensions only, for a key plan."""
        self._floor()
        self._walls()
        low_x, low_y, high_x, high_y = self.shape.bounds
        box = bounds(self.to_paper.ring(((low_x, low_y), (high_x, high_y))))
        spans = [(low_x, high_x), (low_y, high_y)]
        for axis, span in enumerate(reversed(spans) if self.to_paper.turned else spans):
            self._chain(span, axis, box, 6.5, (low_x, low_y))
        self._wall_names()
        for anchors, word in self.waiting:
            self._note(anchors, word, radius=0.6)

    @property
    def lines_drawn(self) -> tuple[str, ...]:
        """Labels of the lines whose cable was drawn, in the order that chose their dashes."""
        return tuple(line for line in self.lines if line in self._drawn_lines)

    def dashes(self, line_label: str) -> tuple[float, ...]:
        """Return how the cable of a line is dashed, alike on all parts of a room."""
        return LINE_DASHES[self.lines.index(line_label) % len(LINE_DASHES)]

    def _reserve(self) -> None:
        """Keep lettering off every loudspeaker and mark before the first word is placed."""
        for item in self.speakers:
            at, radius = self.to_paper(item.position), self._radius(item)
            self.field.boxes.append(
                (at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius)
            )
        for mark in self.marked:
            x, y = self.to_paper(mark.position)
            self.field.boxes.append((x - 2.3, y - 1.8, x + 2.3, y + 1.8))

    # -- what is there ----------------------------------------------------------------------

    def _floor(self) -> None:
        for part in _polygons(self.shape):
            ring = self.to_paper.ring(_open_ring(part))
            self.scene.add(Path(rings=(ring,), layer="room", pen=None, fill=WHITE, closed=True))

    def _obstacles(self) -> None:
        from shapely import Polygon, box  # noqa: PLC0415 - only plans need it

        for item in self.room.obstacles:
            outlines = [item.outline]
            if self.window is not None:
                whole, window = Polygon(item.outline), box(*self.window)
                if not window.contains(whole):
                    cut = whole.intersection(window)
                    outlines = [_open_ring(part) for part in _polygons(cut)]
            if outlines:
                self.obstacles_drawn.append(item)
            for outline in outlines:
                ring = self.to_paper.ring(outline)
                symbols.obstacle(self.scene, ring, item.kind)
                self.field.soft.append(bounds(ring))

    def _ceiling(self, ceiling: Ceiling) -> None:
        from shapely import Polygon  # noqa: PLC0415 - only plans need it

        shape: BaseGeometry = self.shape
        if ceiling.region is not None:
            shape = shape.intersection(Polygon(ceiling.region))
            pen = Pen(0.18, SOFT, (2.0, 1.0))
            for part in _polygons(shape):
                ring = self.to_paper.ring(_open_ring(part))
                self.scene.add(Path(rings=(ring,), layer="ceiling", pen=pen, closed=True))
        if shape.is_empty:
            return
        box = shape.bounds
        if ceiling.grid is not None:
            self._grid(ceiling.grid, shape, box)
        elif ceiling.joists is not None:
            joists = ceiling.joists
            lines = family(joists.offset, joists.angle_rad, joists.spacing_m, box)
            self._pieces(clipped_lines(lines, shape), Pen(0.13, FAINT, (3.0, 1.2)), "joists")

    def _grid(self, grid: Grid, shape: "BaseGeometry", box: Box) -> None:
        self._tiles(grid, shape)
        upright = grid.angle_rad + math.pi / 2
        along_x = family(grid.origin, grid.angle_rad, grid.pitch_y_m, box)
        along_y = family(grid.origin, upright, grid.pitch_x_m, box)
        self._pieces(clipped_lines([*along_x, *along_y], shape), HAIR, "tile grid")
        along = grid.main_runner_axis == "x"
        direction = grid.angle_rad if along else upright
        runners = family(grid.origin, direction, grid.main_runner_spacing_m, box)
        self._pieces(clipped_lines(runners, shape), Pen(0.18, FAINT), "main runners")

    def _tiles(self, grid: Grid, shape: "BaseGeometry") -> None:
        """Tint the tiles that carry a speaker, cut where the wall cuts them."""
        from shapely import Polygon  # noqa: PLC0415 - only plans need it

        cos, sin = math.cos(grid.angle_rad), math.sin(grid.angle_rad)
        rings = []
        for item in self.speakers:
            if item.tile is None:
                continue
            corners = []
            for across, up in ((0, 0), (1, 0), (1, 1), (0, 1)):
                x = (item.tile[0] + across) * grid.pitch_x_m
                y = (item.tile[1] + up) * grid.pitch_y_m
                corners.append(
                    (grid.origin[0] + x * cos - y * sin, grid.origin[1] + x * sin + y * cos)
                )
            part = Polygon(corners).intersection(shape)
            if isinstance(part, Polygon) and not part.is_empty:
                corners = [(x, y) for x, y, *_ in part.exterior.coords]
                rings.append(self.to_paper.ring(corners[:-1]))
        for ring in rings:
            self.scene.add(Path(rings=(ring,), layer="tiles", pen=None, fill=TINT, closed=True))

    def _pieces(self, pieces: Sequence[tuple[Point, Point]], pen: Pen, layer: str) -> None:
        if pieces:
            rings = tuple(self.to_paper.ring(piece) for piece in pieces)
            self.scene.add(Path(rings=rings, layer=layer, pen=pen))

    def _walls(self) -> None:
        outline = self.to_paper.ring(self.room.outline)
        if self.window is None:
            self.scene.add(Path(rings=(outline,), layer="walls", pen=Pen(0.6, INK), closed=True))
        for piece in (piece for _, piece in self._wall_pieces()):
            a, b = self.to_paper.ring(piece)
            self.field.lines.append((a, b))
            if self.window is not None:
                self.scene.line(a, b, layer="walls", pen=Pen(0.6, INK))
        for hole in self.room.holes:
            for part in _polygons(_within(hole, self.window)):
                self.holes_drawn.append(hole)
                ring = self.to_paper.ring(_open_ring(part))
                self.scene.add(
                    Path(rings=(ring,), layer="walls", pen=Pen(0.35, INK), fill=FAINT, closed=True)
                )
                self.field.boxes.append(bounds(ring))
        for door in self.room.doors:
            self._door(door.position, door.width_m, door.label)

    def _wall_pieces(self) -> list[tuple[int, tuple[Point, Point]]]:
        """Return the walls with their number, cut at the window."""
        outline = self.room.outline
        edges = zip(outline, (*outline[1:], outline[0]), strict=True)
        pieces = [(number, _cut_line(edge, self.window)) for number, edge in enumerate(edges)]
        return [(number, piece) for number, piece in pieces if piece is not None]

    def _wall_names(self) -> None:
        """Name the walls, beside cable and doors."""
        names = self.room.wall_names
        for number, piece in self._wall_pieces():
            if number < len(names) and names[number]:
                self._wall_name(self.to_paper(piece[0]), self.to_paper(piece[1]), names[number])

    def _outward(self, a: Point, b: Point) -> Point:
        """Return the unit vector out of the room at a wall on paper."""
        length = math.dist(a, b) or 1.0
        normal = ((b[1] - a[1]) / length, -(b[0] - a[0]) / length)
        ring = self.to_paper.ring(self.room.outline)
        twice = sum(
            p[0] * q[1] - q[0] * p[1] for p, q in zip(ring, (*ring[1:], ring[0]), strict=True)
        )
        return normal if twice > 0 else (-normal[0], -normal[1])

    def _wall_name(self, a: Point, b: Point, name: str) -> None:
        length = math.dist(a, b)
        if length < 12.0:
            return
        out = self._outward(a, b)
        angle = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
        angle = angle - 180 if angle > 90.5 else angle + 180 if angle < -89.5 else angle
        down = (-math.sin(math.radians(angle)), math.cos(math.radians(angle)))
        side = 1.0 if out[0] * down[0] + out[1] * down[1] > 0 else -1.0
        reach = 1.6 + (1.8 if side > 0 else 0.0)
        word = fonts.fit(name, room_mm=length - 4.0, cap_mm=1.8)
        width = fonts.width_mm(word, cap_mm=1.8)
        best: tuple[int, Text] | None = None
        for slide in _SLIDES:
            if abs(slide) * length > max((length - width) / 2 - 1.0, 0.0):
                continue
            share = 0.5 + slide
            text = Text(
                at=(
                    a[0] + share * (b[0] - a[0]) + out[0] * reach,
                    a[1] + share * (b[1] - a[1]) + out[1] * reach,
                ),
                text=word,
                layer="wall names",
                cap=1.8,
                anchor="middle",
                colour=SOFT,
                angle_deg=angle,
            )
            hits = self.field.hits(text.box)
            if best is None or hits < best[0]:
                best = (hits, text)
            if not hits:
                break
        if best is None:
            return
        self.scene.add(best[1])
        self.field.boxes.append(best[1].box)

    def _door(self, position: Point, width_m: float, name: str) -> None:
        outline = self.room.outline
        edges = list(zip(outline, (*outline[1:], outline[0]), strict=True))
        a, b = min(edges, key=lambda edge: _distance(position, *edge))
        length = math.dist(a, b) or 1.0
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        half = width_m / 2
        jambs = (
            (position[0] - ux * half, position[1] - uy * half),
            (position[0] + ux * half, position[1] + uy * half),
        )
        opening = _cut_line(jambs, self.window)
        if opening is None:
            return
        start, end = self.to_paper(opening[0]), self.to_paper(opening[1])
        self.scene.line(start, end, layer="walls", pen=Pen(1.0, WHITE))
        out = self._outward(self.to_paper(a), self.to_paper(b))
        for jamb, (x, y) in zip(opening, (start, end), strict=True):
            if min(math.dist(jamb, known) for known in jambs) > 1e-6:
                continue  # the match line cuts the opening
            self.scene.line(
                (x - out[0] * 0.9, y - out[1] * 0.9),
                (x + out[0] * 0.9, y + out[1] * 0.9),
                layer="walls",
                pen=Pen(0.35, INK),
            )
        self.scene.line(start, end, layer="walls", pen=FINE)
        if name:
            inner = tuple(
                (
                    start[0] + share * (end[0] - start[0]) - out[0] * 1.0,
                    start[1] + share * (end[1] - start[1]) - out[1] * 1.0,
                )
                for share in (0.5, 0.25, 0.75)
            )
            self.waiting.append((inner, name))

    def _note(self, anchors: Sequence[Point], text: str, *, radius: float) -> None:
        """Place a small word at once, clear of everything placed before."""
        width = fonts.width_mm(text, cap_mm=1.8)
        place = place_near(
            [Wanted(anchor=at, radius=radius, width=width, height=2.3) for at in anchors],
            self.field,
        )
        if place is None:
            self.unplaced.append(text)
            return
        self.scene.add(
            Text(
                at=(place.box[0], place.box[3] - 0.45),
                text=text,
                layer="names",
                cap=1.8,
                colour=SOFT,
            )
        )
        self.field.boxes.append(place.box)

    # -- dimensions -------------------------------------------------------------------------

    def _dimensions(self) -> None:
        low_x, low_y, high_x, high_y = self.shape.bounds
        box = bounds(self.to_paper.ring(((low_x, low_y), (high_x, high_y))))
        turned = self.to_paper.turned
        xs = [low_x, *sorted({round(s.position[0], 3) for s in self.speakers}), high_x]
        ys = [low_y, *sorted({round(s.position[1], 3) for s in self.speakers}), high_y]
        across, up = (ys, xs) if turned else (xs, ys)
        for values, axis in ((across, 0), (up, 1)):
            chains = [[values[0], values[-1]]]
            smallest = min((b - a for a, b in itertools.pairwise(values)), default=0)
            if 2 < len(values) <= 16 and self.to_paper.mm(smallest) >= 6.5:
                chains.insert(0, values)
            first = 6.5 + (1.5 if self._has_match_line(box, axis) else 0.0)
            for index, chain in enumerate(chains):
                self._chain(chain, axis, box, first + 4.2 * index, (low_x, low_y))

    def _has_match_line(self, box: Box, axis: int) -> bool:
        """Return whether a match line runs along the top (axis 0) or the left (axis 1)."""
        side = 1 - axis
        return any(max(a[side], b[side]) < box[side] + 0.5 for a, b in self.match_lines)

    def _chain(self, values: Sequence[float], axis: int, box: Box, away: float, low: Point) -> None:
        """Draw one chain of dimensions above (axis 0) or left (axis 1) of the room."""
        along_x = (axis == 0) != self.to_paper.turned
        places = []
        for value in values:
            x, y = self.to_paper((value, low[1]) if along_x else (low[0], value))
            places.append((x, box[1] - away) if axis == 0 else (box[0] - away, y))
        for x, y in places:
            self.scene.line((x - 0.7, y + 0.7), (x + 0.7, y - 0.7), layer="dimensions", pen=FINE)
        self.scene.line(places[0], places[-1], layer="dimensions", pen=Pen(0.1, SOFT))
        self.field.lines.append((places[0], places[-1]))
        for (a, b), (first, last) in zip(
            itertools.pairwise(places),
            itertools.pairwise(values),
            strict=True,
        ):
            word = format_length(abs(last - first), imperial=self.imperial)
            room_mm = math.dist(a, b)
            if fonts.width_mm(word, cap_mm=1.8) > room_mm - 1.0:
                continue
            middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
            at = (middle[0], middle[1] - 0.8) if axis == 0 else (middle[0] - 0.8, middle[1])
            text = Text(
                at=at,
                text=word,
                layer="dimensions",
                cap=1.8,
                anchor="middle",
                colour=SOFT,
                angle_deg=0.0 if axis == 0 else -90.0,
            )
            self.scene.add(text)
            self.field.boxes.append(text.box)

    # -- what we add ------------------------------------------------------------------------

    def _routes(self) -> None:
        """Draw the cable as far as just outside the walls, and say where it goes from there."""
        near = self.shape.buffer(self.to_paper.metres(_OUTSIDE_MM), join_style="mitre")
        drawn = [
            (route, piece)
            for route in self.room.routes
            if len(route.points) > 1
            for piece in _pieces_inside(route.points, near, self.shape)
        ]
        paths = side_by_side(
            [self.to_paper.ring(piece) for _, piece in drawn],
            [route.line_label for route, _ in drawn],
        )
        said: set[str] = set()
        for (route, piece), points in zip(drawn, paths, strict=True):
            self._drawn_lines.add(route.line_label)
            pen = Pen(0.3, ACCENT, self.dashes(route.line_label))
            self.scene.line(*points, layer=f"cable {route.line_label}", pen=pen)
            pairs = list(itertools.pairwise(points))
            self.field.lines += pairs
            self._arrow(pairs)
            self._leaving(route, piece, points, said)

    def _leaving(
        self, route: RouteView, piece: Sequence[Point], points: Sequence[Point], said: set[str]
    ) -> None:
        """Say at every cut end of a cable where it comes from or goes to."""
        for end, word in ((0, "from"), (-1, "to")):
            far = route.points[end]
            label = self.ends.get((round(far[0], 2), round(far[1], 2)), "")
            is_cut = math.dist(piece[end], far) > 1e-6
            if not is_cut and (label or not route.leaves_to):
                continue
            text = f"{word} {label}" if label else f"{route.line_label} to {route.leaves_to}"
            if not label and (not route.leaves_to or text in said):
                continue
            said.add(text)
            tip, before = points[end], points[1 if end == 0 else -2]
            gap = math.dist(tip, before) or 1.0
            reach = min(_OUTSIDE_MM + 2.5, gap)
            within = (
                tip[0] + (before[0] - tip[0]) * reach / gap,
                tip[1] + (before[1] - tip[1]) * reach / gap,
            )
            self.waiting.append(((tip, within), text))

    def _arrow(self, pairs: Sequence[tuple[Point, Point]]) -> None:
        """Show on the longest piece which way the wiring goes."""
        if not pairs:
            return
        (ax, ay), (bx, by) = max(pairs, key=lambda pair: math.dist(*pair))
        length = math.hypot(bx - ax, by - ay)
        if length < 6.0:
            return
        ux, uy = (bx - ax) / length, (by - ay) / length
        x, y = (ax + bx) / 2 + ux, (ay + by) / 2 + uy
        wing = (
            (x - 2 * ux - 0.7 * uy, y - 2 * uy + 0.7 * ux),
            (x, y),
            (x - 2 * ux + 0.7 * uy, y - 2 * uy - 0.7 * ux),
        )
        self.scene.add(Path(rings=(wing,), layer="cable", pen=None, fill=ACCENT, closed=True))

    def _marks(self) -> None:
        for item in self.marked:
            at = self.to_paper(item.position)
            symbols.mark(self.scene, at, item.kind)
        for anchors, word in self.waiting:
            self._note(anchors, word, radius=0.6)
        for item in self.marked:
            self._note([self.to_paper(item.position)], item.label, radius=2.2)

    def _radius(self, item: SpeakerView) -> float:
        return max(self.to_paper.mm(item.flange_m) / 2, 1.5)

    def _symbols(self) -> None:
        for item in self.speakers:
            at, radius = self.to_paper(item.position), self._radius(item)
            symbols.speaker(self.scene, at, radius, item.kind, existing=item.state == "existing")

    def _second_line(self, item: SpeakerView) -> str:
        """Return the tap, with the letter of the type where the room has more than one."""
        marked = self.has_letters and item.type_mark
        return f"{item.type_mark} · {item.tap_text}" if marked else item.tap_text

    def _labels(self) -> None:
        wanted = []
        for item in self.speakers:
            width = max(
                fonts.width_mm(item.label, cap_mm=2.0, weight="semibold"),
                fonts.width_mm(self._second_line(item), cap_mm=1.8),
            )
            wanted.append(
                Wanted(
                    anchor=self.to_paper(item.position),
                    radius=self._radius(item),
                    width=width + 0.4,
                    height=5.2,
                )
            )
        for item, want, place in zip(
            self.speakers, wanted, place_all(wanted, self.field), strict=True
        ):
            if place is None:
                self.unplaced.append(f"{item.label} {self._second_line(item)}")
                continue
            self._label(item, want, place.box, has_leader=place.has_leader)

    def _label(self, item: SpeakerView, want: Wanted, box: Box, *, has_leader: bool) -> None:
        if has_leader:
            near = (
                min(max(want.anchor[0], box[0]), box[2]),
                min(max(want.anchor[1], box[1]), box[3]),
            )
            gap = math.dist(near, want.anchor) or 1.0
            edge = (
                want.anchor[0] + (near[0] - want.anchor[0]) * want.radius / gap,
                want.anchor[1] + (near[1] - want.anchor[1]) * want.radius / gap,
            )
            self.scene.line(near, edge, layer="leaders", pen=Pen(0.1, INK))
        left = box[0] + want.width < want.anchor[0]
        x = box[2] - 0.2 if left else box[0] + 0.2
        anchor: Anchor = "end" if left else "start"
        if box[0] < want.anchor[0] < box[2]:
            x, anchor = (box[0] + box[2]) / 2, "middle"
        self.scene.add(
            Text(
                at=(x, box[1] + 2.15),
                text=item.label,
                layer="labels",
                cap=2.0,
                weight="semibold",
                anchor=anchor,
                halo=True,
            ),
            Text(
                at=(x, box[1] + 4.85),
                text=self._second_line(item),
                layer="labels",
                cap=1.8,
                anchor=anchor,
                halo=True,
            ),
        )


def _pieces_inside(
    points: Sequence[Point], near: "BaseGeometry", shape: "BaseGeometry"
) -> list[tuple[Point, ...]]:
    """Return the parts of a polyline near a polygon that enter it, in their order along it."""
    from shapely import LineString, get_parts  # noqa: PLC0415 - only plans need it

    return [
        tuple((x, y) for x, y, *_ in part.coords)
        for part in get_parts(LineString(points).intersection(near))
        if isinstance(part, LineString) and part.length > 1e-6 and part.intersects(shape)
    ]


def _within(ring: Sequence[Point], window: Box | None) -> "BaseGeometry":
    """Return a ring as a polygon, cut at a window."""
    from shapely import Polygon, box  # noqa: PLC0415 - only plans need it

    whole = Polygon(ring)
    return whole if window is None else whole.intersection(box(*window))


def _cut_line(line: tuple[Point, Point], window: Box | None) -> tuple[Point, Point] | None:
    """Return the part of a straight line inside a window, or nothing."""
    if window is None:
        return line
    (ax, ay), (bx, by) = line
    enter, leave = 0.0, 1.0
    for start, step, low, high in (
        (ax, bx - ax, window[0], window[2]),
        (ay, by - ay, window[1], window[3]),
    ):
        if abs(step) < 1e-12:
            if not low <= start <= high:
                return None
            continue
        first, second = sorted(((low - start) / step, (high - start) / step))
        enter, leave = max(enter, first), min(leave, second)
    if (leave - enter) * math.dist(*line) < 1e-3:
        return None
    return (
        (ax + enter * (bx - ax), ay + enter * (by - ay)),
        (ax + leave * (bx - ax), ay + leave * (by - ay)),
    )


def _polygons(shape: "BaseGeometry") -> "list[Polygon]":
    """Return the polygons that a shape is made of."""
    from shapely import Polygon, get_parts  # noqa: PLC0415 - only plans need it

    return [part for part in get_parts(shape) if isinstance(part, Polygon) and part.area > 1e-6]


def _open_ring(part: "Polygon") -> tuple[Point, ...]:
    """Return the outer corners of a polygon, each once."""
    return tuple((x, y) for x, y, *_ in part.exterior.coords[:-1])


def _distance(point: Point, a: Point, b: Point) -> float:
    """Return the distance from a point to a piece of line."""
    length2 = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2 or 1.0
    share = ((point[0] - a[0]) * (b[0] - a[0]) + (point[1] - a[1]) * (b[1] - a[1])) / length2
    share = min(max(share, 0.0), 1.0)
    return math.dist(point, (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))
