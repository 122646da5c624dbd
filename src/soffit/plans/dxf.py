"""Rooms and things in ceilings from DXF drawings, units by vote, layers guessed, nothing sure."""

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, cast

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import MultiPoint, Polygon
from shapely.geometry import Point as PlanPoint

from soffit.model.survey import ObstacleKind, Point
from soffit.plans.calibrate import Similar, similar_by
from soffit.plans.door_swings import Swing, closed_doors
from soffit.plans.drawing_units import UnitVote, vote_unit
from soffit.plans.drawn_lines import drawn_lines
from soffit.plans.dxf_entities import Drawing, RawBlock, arc_points, load_drawing
from soffit.plans.files import refuse
from soffit.plans.ifc_things import kind_by_words, not_overhead
from soffit.plans.labels import DrawnText, room_labels
from soffit.plans.layers import is_room_layer, meaning_of_layer, wall_layers
from soffit.plans.proposal import (
    ObstacleProposal,
    PlanProposal,
    ReadWishes,
    RoomProposal,
    SetAside,
    SpeakerProposal,
    StoreyProposal,
)
from soffit.plans.rooms_of_lines import PlanLines, propose_rooms
from soffit.plans.shape import ring_of

if TYPE_CHECKING:
    from collections.abc import Iterator

FloatArray = NDArray[np.float64]

_FAR_M: Final = 5000.0
_DOOR_M: Final = (0.5, 1.7)
_THING_M: Final = (0.02, 6.0)
_REACH_M: Final = 0.3


def read_dxf(path: Path, wishes: ReadWishes | None = None) -> PlanProposal:
    """Read a DXF drawing.

    Parameters
    ----------
    path
        The file; damaged ones are recovered as far as possible.
    wishes
        Unit, layers and ceilings that a person states.

    Returns
    -------
    PlanProposal
        Rooms, each with its confidence; obstacles from blocks.

    Raises
    ------
    JobError
        If it cannot be read.
    MissingExtraError
        If the library is not installed.
    """
    wishes = wishes or ReadWishes()
    drawing = load_drawing(path)
    vote = _unit(drawing, wishes)
    plan = _Plan(path, drawing, vote, wishes)
    lines = plan.lines()
    rooms, notes, areas = propose_rooms(lines, wishes)
    storey = StoreyProposal(key="ground", label="Storey as drawn", elevation_m=0.0)
    obstacles, speakers, aside = plan.things(rooms)
    return PlanProposal(
        source=f"{path.name} (DXF {drawing.version})",
        storeys=(storey,),
        rooms=tuple(rooms),
        obstacles=tuple(obstacles),
        speakers=tuple(speakers),
        is_imperial=vote.is_imperial,
        notes=(*plan.notes, *notes),
        set_aside=(*areas, *aside),
        linework=_linework(lines.walls),
        drawn=(drawn_lines(storey.key, plan.drawn()),),
    )


def _unit(drawing: Drawing, wishes: ReadWishes) -> UnitVote:
    if wishes.unit_m is None:
        return vote_unit(drawing)
    name = "ft" if abs(wishes.unit_m % 0.0254) < 1e-9 and wishes.unit_m >= 0.0254 else "m"
    text = f"a drawing unit is {wishes.unit_m:g} m, as asked"
    return UnitVote(unit=name, unit_m=wishes.unit_m, confidence=1.0, text=text)


def _linework(walls: FloatArray) -> tuple[tuple[Point, Point], ...]:
    return tuple(
        (
            (round(float(a[0]), 3), round(float(a[1]), 3)),
            (round(float(b[0]), 3), round(float(b[1]), 3)),
        )
        for a, b in walls[:20_000]
    )


class _Plan:
    """A drawing in metres."""

    def __init__(self, path: Path, drawing: Drawing, vote: UnitVote, wishes: ReadWishes) -> None:
        self.path = path
        self.drawing, self.vote, self.wishes = drawing, vote, wishes
        self.unit_m = vote.unit_m
        self.shift = np.zeros(2) if wishes.corners else self._shift()
        self.notes = [f"Drawing unit {vote.unit}, {vote.confidence:.0%} sure: {vote.text}."]
        if vote.header_differs:
            self.notes.append("The header of the file names another unit: it is not believed.")
        if drawing.damages:
            self.notes.append(f"{drawing.damages} damaged thing(s) in the file were passed over.")
        if np.any(self.shift):
            x, y = self.shift
            self.notes.append(f"The plan was moved by {x:+.0f} m in x and {y:+.0f} m in y.")
        self.place = self._placed()

    def _shift(self) -> FloatArray:
        points = np.array(
            [line[:2] for lines in self.drawing.segments.values() for line in lines], dtype=float
        ).reshape(-1, 2)
        if not len(points):
            return np.zeros(2)
        middle: FloatArray = np.median(points, axis=0) * self.unit_m
        return np.asarray(
            -np.floor(middle / 1000.0) * 1000.0 * (np.abs(middle) > _FAR_M), dtype=float
        )

    def _placed(self) -> Similar:
        """Return the map from the drawing to the plan, by known corners where there are some."""
        plain = Similar(
            scale=self.unit_m, turn_rad=0.0, shift=(float(self.shift[0]), float(self.shift[1]))
        )
        known = self.wishes.corners
        if not known:
            return plain
        if len(known) == 1:
            x, y, to_x, to_y = known[0]
            self.notes.append("The plan was moved so that its known corner fits.")
            return replace(plain, shift=(to_x - x * self.unit_m, to_y - y * self.unit_m))
        place = similar_by(known)
        self.notes.append(
            f"The plan was laid by {len(known)} known corners: a drawing unit is"
            f" {place.scale:.6g} m, turned by {math.degrees(place.turn_rad):.2f} degrees."
        )
        self.unit_m = place.scale
        return place

    def at(self, point: Sequence[float]) -> Point:
        """Return a place of the drawing in metres."""
        x, y = self.place(np.asarray(point[:2], dtype=float)[None, :])[0]
        return float(x), float(y)

    def metres(self, segments: Sequence[tuple[float, float, float, float]]) -> FloatArray:
        """Return segments (n, 2, 2) in metres."""
        found = np.array(segments, dtype=np.float64).reshape(-1, 2)
        return self.place(found).reshape(-1, 2, 2)

    # --------------------------------------------------------------------- lines
    def lines(self) -> PlanLines:
        layers = self.wishes.layers
        lengths = {
            name: float(np.linalg.norm(np.diff(self.metres(lines), axis=1), axis=2).sum())
            for name, lines in self.drawing.segments.items()
            if lines
        }
        walls, text = wall_layers(lengths, layers)
        if not walls and any(meaning == "wall" for meaning, _ in layers):
            raise refuse(
                self.path,
                "there is no such layer for walls",
                f"the drawing has {', '.join(sorted(lengths)[:40])}",
                "name one of these: --layer wall=NAME (* stands for any letters)",
            )
        self.notes.append(text[0].upper() + text[1:] + ".")
        chosen = [self.metres(self.drawing.segments[name]) for name in sorted(walls)]
        if any(meaning == "wall" for meaning, _ in layers):
            near: list[FloatArray] = []
        else:
            near = [
                self.metres(lines)
                for name, lines in sorted(self.drawing.segments.items())
                if name not in walls and meaning_of_layer(name, layers) in {"window", "door"}
            ]
        arcs = [self._flat(arc_points(arc)) for arc in self.drawing.arcs if arc.layer in walls
                and not self._is_door(arc.radius)]  # fmt: skip
        wall_lines = np.concatenate([*chosen, *near, *arcs]) if chosen else np.zeros((0, 2, 2))
        doors = closed_doors(self._swings(), wall_lines)
        grids = [
            self.metres(lines)
            for name, lines in sorted(self.drawing.segments.items())
            if name not in walls and meaning_of_layer(name, layers) == "grid"
        ]
        return PlanLines(
            walls=wall_lines,
            doors=doors,
            labels=tuple(room_labels(self._texts(layers))),
            rings=tuple(
                tuple(self.at(point) for point in ring.points)
                for ring in self.drawing.rings
                if ring.layer not in walls and is_room_layer(ring.layer, layers)
            ),
            grid=np.concatenate(grids) if grids else np.zeros((0, 2, 2)),
            unit_confidence=self.vote.confidence,
        )

    def drawn(self) -> list[FloatArray]:
        """Return all lines and arcs of the drawing but dimensions, hatching, and what to skip."""
        asked = [wish for wish in self.wishes.layers if wish[0] == "skip"]
        shown = [
            self.metres(lines)
            for name, lines in sorted(self.drawing.segments.items())
            if not _is_dimension(name)
            and not _is_hatching(name)
            and not (asked and meaning_of_layer(name, asked) == "skip")
        ]
        return [*shown, *(self._flat(arc_points(arc)) for arc in self.drawing.arcs)]

    def _texts(self, layers: tuple[tuple[str, str], ...]) -> list[DrawnText]:
        asked = any(meaning == "text" for meaning, _ in layers)
        return [
            DrawnText(
                text=item.text,
                at=self.at(item.at),
                height_m=item.height * self.unit_m,
                layer=item.layer,
                is_underlined=item.is_underlined,
                turn_rad=item.turn_rad,
            )
            for item in self.drawing.texts
            if (meaning_of_layer(item.layer, layers) == "text" if asked
                else not _is_dimension(item.layer))
        ]  # fmt: skip

    def _is_door(self, radius: float) -> bool:
        return _DOOR_M[0] <= radius * self.unit_m <= _DOOR_M[1]

    def _flat(self, points: "Iterator[tuple[float, float]]") -> FloatArray:
        line = self.place(np.array(list(points), dtype=np.float64))
        return np.stack([line[:-1], line[1:]], axis=1)

    def _swings(self) -> list[Swing]:
        found = []
        for arc in self.drawing.arcs:
            sweep = (arc.end_rad - arc.start_rad) % math.tau
            if self._is_door(arc.radius) and 0.35 * math.pi < sweep < 0.65 * math.pi:
                start, end = (np.array(self.at(point)) for point in arc_points(arc, 1))
                found.append((np.array(self.at(arc.centre)), start, end))
        return found

    # -------------------------------------------------------------------- things
    def things(
        self, rooms: Sequence[RoomProposal]
    ) -> tuple[list[ObstacleProposal], list[SpeakerProposal], list[SetAside]]:
        """Return obstacles and loudspeakers from blocks and from obstacle layers."""
        shapes = [(room, Polygon(room.outline, room.holes)) for room in rooms]
        obstacles: list[ObstacleProposal] = []
        speakers: list[SpeakerProposal] = []
        lost: dict[str, int] = {}
        for block in self.drawing.blocks:
            kind = self._kind(block)
            if not kind:
                continue
            at = self.at(block.at)
            home = _home(shapes, at)
            if home is None:
                lost[kind] = lost.get(kind, 0) + 1
            elif kind == "speaker":
                speakers.append(
                    SpeakerProposal(
                        label=dict(block.attributes).get("LABEL", block.name),
                        room_key=home.key,
                        position=(round(at[0], 5), round(at[1], 5)),
                        facts=block.attributes,
                    )
                )
            else:
                thing = self._obstacle(block, kind, home)
                if thing is not None:
                    obstacles.append(thing)
        obstacles += self._drawn_things(shapes)
        aside = [
            SetAside(what=f"{count} × {kind}", why="over no room that was found")
            for kind, count in sorted(lost.items())
        ]
        return obstacles, speakers, aside

    def _kind(self, block: RawBlock) -> str:
        names = [block.name.replace("_", " "), block.layer.replace("-", " ").replace("_", " ")]
        if not_overhead(names):
            return ""
        layer = meaning_of_layer(block.layer, self.wishes.layers)
        if block.name.upper().startswith("SOFFIT") and block.layer == "SOFFIT-SPEAKERS":
            return "speaker"
        kind = kind_by_words(names)
        return kind or ("other" if layer == "obstacle" else "")

    def _obstacle(self, block: RawBlock, kind: str, room: RoomProposal) -> ObstacleProposal | None:
        points = np.array([self.at(point) for point in block.points])
        shape = _hull(points)
        if shape is None:
            return None
        return ObstacleProposal(
            label=block.name[:60],
            room_key=room.key,
            kind=cast("ObstacleKind", kind),
            outline=ring_of(shape.exterior.coords),
            origin_id=block.handle,
            doubt=f"taken as {kind} by the name of its block; a drawing tells no height",
            source="DXF block",
        )

    def _drawn_things(self, shapes: list[tuple[RoomProposal, Polygon]]) -> list[ObstacleProposal]:
        """Return closed outlines on layers of obstacles."""
        found = []
        for ring in self.drawing.rings:
            if meaning_of_layer(ring.layer, self.wishes.layers) != "obstacle":
                continue
            points = np.array([self.at(point) for point in ring.points])
            shape = Polygon(points)
            if not shape.is_valid or not _is_thing(shape):
                continue
            home = _home(shapes, (shape.centroid.x, shape.centroid.y))
            if home is None:
                continue
            kind = kind_by_words([ring.layer.replace("-", " ").replace("_", " ")]) or "other"
            found.append(
                ObstacleProposal(
                    label=ring.layer[:60],
                    room_key=home.key,
                    kind=cast("ObstacleKind", "other" if kind == "speaker" else kind),
                    outline=ring_of(shape.exterior.coords),
                    origin_id=f"{shape.centroid.x:.2f},{shape.centroid.y:.2f}",
                    doubt="taken from its layer; a drawing tells no height",
                    source="DXF outline",
                )
            )
        return found


def _is_dimension(layer: str) -> bool:
    own = layer.rsplit("$", maxsplit=1)[-1].lower()
    return "dim" in own or "bemass" in own or own.startswith("soffit-sheet")


def _is_hatching(layer: str) -> bool:
    own = layer.rsplit("$", maxsplit=1)[-1].lower()
    return "hatch" in own or "schraff" in own or "patt" in own


def _home(shapes: list[tuple[RoomProposal, Polygon]], at: Point) -> RoomProposal | None:
    point = PlanPoint(at)
    inside = [room for room, shape in shapes if shape.covers(point)]
    if inside:
        return inside[0]
    near = [(shape.distance(point), room.key, room) for room, shape in shapes]
    best = min(near, default=None, key=lambda item: item[:2])
    return best[2] if best is not None and best[0] <= _REACH_M else None


def _is_thing(shape: Polygon) -> bool:
    low_x, low_y, high_x, high_y = shape.bounds
    size = max(high_x - low_x, high_y - low_y)
    return _THING_M[0] <= size <= _THING_M[1] or shape.area < 10.0


def _hull(points: FloatArray) -> Polygon | None:
    shape = MultiPoint(points).convex_hull
    if not isinstance(shape, Polygon):
        shape = shape.buffer(0.05)
    if not isinstance(shape, Polygon) or not _is_thing(shape):
        return None
    rectangle = shape.minimum_rotated_rectangle
    if isinstance(rectangle, Polygon) and shape.area > 0.97 * rectangle.area:
        return rectangle
    simple = shape.simplify(0.01)
    return simple if isinstance(simple, Polygon) else None
