"""Rooms of a drawing as proposals: found between lines, checked against what is printed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Point as PlanPoint
from shapely.geometry import Polygon
from shapely.ops import unary_union

from soffit.model.survey import Ring
from soffit.plans.keys import key_of
from soffit.plans.labels import RoomLabel
from soffit.plans.proposal import CeilingProposal, ReadWishes, RoomProposal, SetAside
from soffit.plans.room_finder import FoundRoom, find_rooms, rectangle_of, without_overlap
from soffit.plans.shape import ring_of, sound
from soffit.plans.square import squared
from soffit.plans.tile_lines import find_tile_grid
from soffit.plans.usual import usual_ceiling
from soffit.tables.settings import DEFAULT_LIMITS

FloatArray = NDArray[np.float64]

_RING_M2: Final = (1.0, 50_000.0)
_WIDE_GAP_M: Final = 1.2
_BESIDE_M: Final = 0.08


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanLines:
    """A plan in metres, ready for finding rooms.

    Parameters
    ----------
    walls, doors : (n, 2, 2)
        Segments of walls and windows; lines that close doors. [m]
    labels
        Names of rooms.
    rings
        Closed outlines that the drawing itself calls rooms. [m]
    grid : (n, 2, 2)
        Lines of ceilings. [m]
    unit_confidence
        How sure the unit is.
    """

    walls: FloatArray
    doors: FloatArray
    labels: tuple[RoomLabel, ...]
    rings: tuple[Ring, ...] = ()
    grid: FloatArray
    unit_confidence: float = 1.0


def propose_rooms(
    lines: PlanLines, wishes: ReadWishes
) -> tuple[list[RoomProposal], list[str], list[SetAside]]:
    """Find the rooms of a plan and say how sure each is.

    Parameters
    ----------
    lines
        The plan. [m]
    wishes
        Ceilings that a person states.

    Returns
    -------
    tuple
        Rooms; notes; names for which no room was found.
    """
    found, nameless, areas = _find(lines)
    rooms: list[RoomProposal] = []
    taken: set[str] = set()
    for item in (*found, *nameless, *areas):
        room = _proposal(item, lines, wishes, taken)
        taken.add(room.key)
        rooms.append(room)
    lost = _lost(lines.labels, found, areas)
    notes = ["A drawing of this kind tells no heights: every ceiling height is assumed."]
    if len(lines.grid):
        notes.append("Lines of ceilings are drawn: tile grids are taken from them where they fit.")
    return rooms, notes, lost


def _find(lines: PlanLines) -> tuple[list[FoundRoom], list[FoundRoom], list[FoundRoom]]:
    walls = np.concatenate([lines.walls, lines.doors]) if len(lines.doors) else lines.walls
    drawn = _drawn(lines)
    told = {room.labels[0] for room in drawn}
    found, nameless, areas = find_rooms(
        walls, [label for label in lines.labels if label not in told]
    )
    found = [*drawn, *(replace(room, shape=squared(room.shape)) for room in found)]
    fitted: list[FoundRoom] = []
    left: list[FoundRoom] = []
    for area in areas:
        parts = [
            room
            for label in area.labels
            if (room := rectangle_of(walls, label, area.shape)) is not None
        ]
        fitted += parts
        rest = tuple(
            label for label in area.labels if label not in {part.labels[0] for part in parts}
        )
        ground = area.shape
        for part in parts:
            cut = ground.difference(part.shape.buffer(0.01))
            pieces = [p for p in getattr(cut, "geoms", [cut]) if isinstance(p, Polygon)]
            ground = max(pieces, key=lambda item: item.area, default=Polygon())
        if rest and ground.area > 1.0 and ground.is_valid:
            left.append(replace(area, shape=ground, labels=rest))
    refitted = [_mended(_completed(room, nameless), walls) for room in found]
    limit = DEFAULT_LIMITS["plan_size_doubt_ratio"]
    sized = {room.labels[0] for room in fitted}
    refitted = [r for r in refitted if r.labels[0] not in sized or _size_error(r) <= limit]
    whole = {room.labels[0] for room in refitted}
    fitted = [room for room in fitted if room.labels[0] not in whole]
    ranked = sorted(
        refitted, key=lambda item: (_size_error(item) > limit, item.gap_m, item.open_ratio)
    )
    ranked = list({room.labels[0]: room for room in reversed(ranked)}.values())[::-1]
    placed = {room.labels[0] for room in (*ranked, *fitted)}
    left = [
        replace(area, labels=rest)
        for area in left
        if (rest := tuple(label for label in area.labels if label not in placed))
    ]
    return without_overlap([*ranked, *fitted]), _apart(nameless, [*ranked, *fitted]), left


def _drawn(lines: PlanLines) -> list[FoundRoom]:
    """Return the closed outlines of rooms that the drawing itself has, each round one name."""
    found = []
    for ring in lines.rings:
        shape = Polygon(ring)
        if not shape.is_valid or not _RING_M2[0] <= shape.area <= _RING_M2[1]:
            continue
        held = [label for label in lines.labels if shape.covers(PlanPoint(label.at))]
        if len(held) == 1:
            found.append(
                FoundRoom(shape=sound(shape), labels=(held[0],), gap_m=0.0, open_ratio=0.0)
            )
    return found


def _completed(room: FoundRoom, nameless: Sequence[FoundRoom]) -> FoundRoom:
    """Add closed pieces in or beside a room where that makes its printed size."""
    label = room.labels[0]
    limit = DEFAULT_LIMITS["plan_size_doubt_ratio"]
    if not (label.size_m or label.area_m2) or _size_error(room) <= limit:
        return room
    near = room.shape.buffer(_BESIDE_M)
    pieces = [other.shape for other in nameless if near.intersects(other.shape)]
    for chosen in (pieces, *([piece] for piece in pieces)):
        grown = [shape.buffer(_BESIDE_M, join_style="mitre") for shape in (room.shape, *chosen)]
        whole = unary_union(grown).buffer(-_BESIDE_M, join_style="mitre")
        if isinstance(whole, Polygon):
            more = replace(room, shape=sound(whole))
            if _size_error(more) <= limit:
                return more
    return room


def _mended(room: FoundRoom, walls: FloatArray) -> FoundRoom:
    """Take the printed rectangle where a room came out far from its printed size."""
    label = room.labels[0]
    if label.size_m is None or _size_error(room) <= DEFAULT_LIMITS["plan_size_doubt_ratio"]:
        return room
    return rectangle_of(walls, label, room.shape.buffer(0.3)) or room


def _apart(rooms: list[FoundRoom], others: list[FoundRoom]) -> list[FoundRoom]:
    return [
        room
        for room in rooms
        if not any(
            other.shape.intersection(room.shape).area > 0.2 * room.shape.area for other in others
        )
    ]


def _size_error(room: FoundRoom) -> float:
    """Return by which share the drawn area differs from the printed one."""
    label = room.labels[0]
    printed = label.area_m2 or (label.size_m[0] * label.size_m[1] if label.size_m else 0.0)
    return abs(room.shape.area - printed) / printed if printed else 0.0


def _proposal(
    item: FoundRoom, lines: PlanLines, wishes: ReadWishes, taken: set[str]
) -> RoomProposal:
    label = " + ".join(one.name for one in item.labels) or "Room without a name"
    confidence, doubts = _confidence(item, lines)
    shape = sound(item.shape)
    ceiling, assumed = _ceiling(shape, label, lines, wishes)
    middle = shape.representative_point()
    stated = None
    if len(item.labels) == 1:
        one = item.labels[0]
        stated = one.area_m2 or (one.size_m[0] * one.size_m[1] if one.size_m else None)
    return RoomProposal(
        key=key_of(label, taken),
        origin_id=f"{label}@{middle.x:.1f},{middle.y:.1f}" if item.labels else "",
        label=label[:80],
        storey_key="ground",
        outline=ring_of(shape.exterior.coords),
        holes=tuple(ring_of(ring.coords) for ring in shape.interiors),
        ceilings=(ceiling,),
        use=label if item.labels else "",
        confidence=round(confidence, 3),
        stated_area_m2=stated,
        doubts=tuple(doubts),
        assumed=tuple(assumed),
    )


def _confidence(item: FoundRoom, lines: PlanLines) -> tuple[float, list[str]]:
    """Return how sure a room is, and why not."""
    doubts: list[str] = []
    if len(item.labels) > 1:
        names = ", ".join(label.name for label in item.labels)
        return 0.2, [f"open area with several names ({names}): split it by hand"]
    if not item.labels:
        return 0.45, ["closed ground without a name in it"]
    if math.isinf(item.gap_m):
        doubts.append(
            f"not closed by walls ({item.open_ratio:.0%} of its outline is open):"
            " drawn as the rectangle of its printed size"
        )
        return 0.85 if item.open_ratio < 0.35 else 0.7, doubts
    sure = 0.96 - 0.5 * max(0.0, item.open_ratio - 0.15)
    if item.gap_m > _WIDE_GAP_M:
        sure -= 0.06
        doubts.append(f"gaps of up to {item.gap_m:.2f} m were closed to part it from others")
    label = item.labels[0]
    if label.size_m or label.area_m2:
        error = _size_error(item)
        if error > DEFAULT_LIMITS["plan_size_doubt_ratio"]:
            printed = label.area_m2 or math.prod(label.size_m or (0.0,))
            doubts.append(
                f"its printed size makes {printed:.1f} m², its lines {item.shape.area:.1f} m²"
            )
            return min(sure, 0.5), doubts
        sure += 0.03
    elif item.open_ratio > 0.3:
        doubts.append(f"{item.open_ratio:.0%} of its outline is open")
        sure = min(sure, 0.7)
    if lines.unit_confidence < 0.6:
        doubts.append("the unit of the drawing is not sure")
        sure = min(sure, 0.7)
    return max(0.0, min(sure, 0.99)), doubts


def _ceiling(
    shape: Polygon, label: str, lines: PlanLines, wishes: ReadWishes
) -> tuple[CeilingProposal, list[str]]:
    height, usual_kind, text = usual_ceiling(label)
    if wishes.height_m is not None:
        height, text = wishes.height_m, "as asked for rooms without a height"
    assumed = [f"ceiling height {height:g} m: {text}"]
    grid = find_tile_grid(lines.grid, shape) if len(lines.grid) else None
    if grid is not None:
        ceiling = CeilingProposal(
            height_m=height,
            height_source="assumed",
            height_text=text,
            kind="grid",
            kind_text="lines of a tile grid are drawn",
            pitch_m=grid.pitch_m,
            grid_origin=grid.origin,
            grid_angle_rad=grid.angle_rad,
        )
        return ceiling, assumed
    kind = wishes.ceiling_kind or usual_kind
    assumed.append(f"ceiling taken as {kind}: the drawing does not tell its kind")
    return (
        CeilingProposal(height_m=height, height_source="assumed", height_text=text, kind=kind),
        assumed,
    )


def _lost(
    labels: Sequence[RoomLabel], found: Sequence[FoundRoom], areas: Sequence[FoundRoom]
) -> list[SetAside]:
    held = {id(label) for room in (*found, *areas) for label in room.labels}
    return [
        SetAside(
            what=f"{label.name!r} at {label.at[0]:.1f}, {label.at[1]:.1f} m",
            why="no walls close round this name",
        )
        for label in labels
        if id(label) not in held
    ]
