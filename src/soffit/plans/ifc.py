"""Rooms from the spaces of IFC models: polygons, storeys, ceilings with their source, obstacles."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from shapely.geometry import Polygon

from soffit.errors import JobError
from soffit.plans.doors import doors_on, is_near, named_doors
from soffit.plans.drawn_lines import drawn_lines, section
from soffit.plans.files import refuse
from soffit.plans.ifc_ceilings import CeilingFinder, Cover, covers
from soffit.plans.ifc_model import (
    FAR_M,
    FloatArray,
    Mesh,
    Mesher,
    length_scale,
    library,
    open_model,
)
from soffit.plans.ifc_surfaces import footprint, hull_of
from soffit.plans.ifc_things import Thing, things_of
from soffit.plans.keys import key_of
from soffit.plans.proposal import (
    DrawnLines,
    ObstacleProposal,
    PlanProposal,
    ReadWishes,
    RoomProposal,
    SetAside,
    StoreyProposal,
)
from soffit.plans.shape import ring_of, sound
from soffit.plans.things_in_rooms import RoomSpace, place_things
from soffit.tables.settings import DEFAULT_LIMITS

_LEAST_HEIGHT_M: Final = 1.0
_DOOR_REACH_M: Final = 0.45
_CUT_M: Final = 1.2
"""Height over a floor at which a plan is cut; common practice, no source. [m]"""

_SHOWN_IN_PLAN: Final = ("IfcWall", "IfcColumn", "IfcCurtainWall", "IfcDoor", "IfcWindow")
_MOST_IN_PLAN: Final = 4000
_WHOLE_FLOOR: Final = frozenset({"GFA", "PARKING"})


class _Space:
    """One space with its body, before its ceilings are known."""

    def __init__(self, element: Any, mesh: Mesh) -> None:  # noqa: ANN401 untyped library
        self.element = element
        self.mesh = mesh
        polygons, self.floor_m, self.is_level = footprint(mesh)
        self.polygons = [sound(polygon) for polygon in polygons]

    @property
    def shape(self) -> Polygon:
        return self.polygons[0]


class _Reader:
    def __init__(self, path: Path, wishes: ReadWishes) -> None:
        self.path, self.wishes = path, wishes
        self.shelf = library()
        self.model = open_model(path)
        self.mesher = Mesher(self.model)
        self.shift = np.zeros(3)
        self.storeys: dict[int, StoreyProposal] = {}
        self.set_aside: list[SetAside] = []
        self.doors = list(self._doors())
        self.finder = CeilingFinder((), wishes)

    # ------------------------------------------------------------------ storeys
    def storey_of(self, space: Any, floor_m: float) -> StoreyProposal:  # noqa: ANN401 untyped library
        parent = space
        for _ in range(20):
            relations = parent.Decomposes or getattr(parent, "ContainedInStructure", None) or ()
            if not relations:
                break
            relation = relations[0]
            parent = getattr(relation, "RelatingObject", None) or getattr(
                relation, "RelatingStructure", None
            )
            if parent is None:
                break
            if parent.is_a("IfcBuildingStorey"):
                return self._storey(parent)
        known = [
            (self._level(storey), storey) for storey in self.model.by_type("IfcBuildingStorey")
        ]
        under = [item for item in known if item[0] <= floor_m + 0.5]
        return self._storey(max(under, key=lambda item: item[0])[1] if under else None)

    def _level(self, storey: Any) -> float:  # noqa: ANN401 untyped library
        if storey is None:
            return 0.0
        if storey.ObjectPlacement is not None:
            return float(self.mesher.matrix(storey)[2, 3])
        return float(storey.Elevation or 0.0) * self.mesher.scale

    def _storey(self, storey: Any) -> StoreyProposal:  # noqa: ANN401 untyped library
        number = storey.id() if storey else 0
        if number not in self.storeys:
            taken = {entry.key for entry in self.storeys.values()}
            label = str((storey.LongName or storey.Name or "Storey") if storey else "Storey")
            self.storeys[number] = StoreyProposal(
                key=key_of(label, taken, fallback="storey"),
                label=label,
                elevation_m=round(self._level(storey), 4),
            )
        return self.storeys[number]

    # -------------------------------------------------------------------- doors
    def _doors(self) -> Iterator[tuple[float, float, float, float, str]]:
        """Yield the middle of every door, its level, width and name."""
        for door in self.model.by_type("IfcDoor"):
            matrix = self.mesher.matrix(door)
            width = float(door.OverallWidth or 0.0) * self.mesher.scale
            if not 0.3 < width < 12.0 or not np.all(np.isfinite(matrix)):
                width = 0.9
            middle = matrix @ np.array([width / 2.0, 0.0, 0.0, 1.0])
            yield float(middle[0]), float(middle[1]), float(middle[2]), width, str(door.Name or "")

    # ------------------------------------------------------------------- spaces
    def spaces(self) -> list[_Space]:
        found = []
        for element in self.model.by_type("IfcSpace"):
            name = _name_of(element)
            mesh = self.mesher.mesh(element)
            if mesh is None:
                self.set_aside.append(SetAside(what=name, why="the space has no shape in the file"))
                continue
            if mesh.high - mesh.low < _LEAST_HEIGHT_M:
                why = f"the space is only {mesh.high - mesh.low:.2f} m high"
                self.set_aside.append(SetAside(what=name, why=why))
                continue
            space = _Space(element, mesh)
            if space.polygons:
                found.append(space)
            else:
                self.set_aside.append(SetAside(what=name, why="the space has no floor"))
        return found

    def move_near(self, spaces: list[_Space]) -> list[_Space]:
        """Bring plans that lie far from their origin to it."""
        low = np.min([space.mesh.corners.min(axis=0) for space in spaces], axis=0)
        if np.abs(low[:2]).max() > FAR_M:
            self.shift[:2] = -np.floor(low[:2] / 1000.0) * 1000.0
            spaces = [_Space(space.element, space.mesh.moved(self.shift)) for space in spaces]
        return spaces

    def covers(self) -> Iterator[Cover]:
        for cover in covers(self.model, self.mesher):
            if not np.any(self.shift):
                yield cover
                continue
            yield _moved_cover(cover, self.shift)

    def rooms(self, spaces: list[_Space]) -> list[RoomProposal]:
        self.finder = CeilingFinder(self.covers(), self.wishes)
        taken: set[str] = set()
        found = []
        for space in spaces:
            room = self._room(space, self.finder, taken)
            taken.add(room.key)
            found.append(room)
        return named_doors(found, reach_m=_DOOR_REACH_M)

    def _room(self, space: _Space, finder: CeilingFinder, taken: set[str]) -> RoomProposal:
        label = _name_of(space.element)
        storey = self.storey_of(space.element, space.floor_m)
        ceilings, doubts, assumed = finder.over(space.shape, space.floor_m, space.mesh, label)
        area = space.shape.area
        stated = self._stated_area(space.element)
        ratio = abs(stated - area) / area if stated else 0.0
        if stated and ratio > DEFAULT_LIMITS["plan_area_doubt_ratio"]:
            doubts.append(
                f"the file states {stated:.1f} m², its geometry has {area:.1f} m²: geometry is used"
            )
        doubts += self._shape_doubts(space, storey)
        return RoomProposal(
            key=key_of(label, taken),
            origin_id=str(space.element.GlobalId),
            label=label,
            storey_key=storey.key,
            outline=ring_of(space.shape.exterior.coords),
            holes=tuple(ring_of(ring.coords) for ring in space.shape.interiors),
            ceilings=ceilings,
            doors=doors_on(
                space.shape,
                [
                    (x + self.shift[0], y + self.shift[1], width, name)
                    for x, y, z, width, name in self.doors
                    if abs(z - space.floor_m) < 1.0
                ],
                reach_m=_DOOR_REACH_M,
            ),
            use=str(space.element.LongName or space.element.Name or ""),
            confidence=_confidence(space, ceilings[0].height_source),
            stated_area_m2=stated,
            doubts=tuple(doubts),
            assumed=tuple(assumed),
        )

    def _shape_doubts(self, space: _Space, storey: StoreyProposal) -> list[str]:
        doubts = []
        rest = sum(part.area for part in space.polygons[1:])
        if rest > 0.1:
            doubts.append(
                f"{len(space.polygons) - 1} further part(s), {rest:.1f} m², were left out"
            )
        if not space.is_level:
            doubts.append("its floor is not one level: heights are above the largest part")
        gap = space.floor_m - storey.elevation_m
        if abs(gap) > 0.05:
            doubts.append(f"its floor lies {gap:+.2f} m from its storey's level")
        if _is_whole_floor(space.element):
            doubts.append("the file calls it a gross floor area, not a room")
        return doubts

    def _stated_area(self, space: Any) -> float | None:  # noqa: ANN401 untyped library
        try:
            sets = self.shelf.util.element.get_psets(space)
            unit = float(self.shelf.util.unit.calculate_unit_scale(self.model, "AREAUNIT"))
        except (AttributeError, RuntimeError, TypeError, ValueError, IndexError):
            return None
        for wanted in ("NetFloorArea", "NetArea", "Area", "GrossFloorArea"):
            for values in sets.values():
                value = values.get(wanted)
                if isinstance(value, int | float) and value > 0:
                    return float(value) * unit
        return None


def _openings(
    reader: _Reader, spaces: list[RoomSpace], obstacles: list[ObstacleProposal]
) -> list[ObstacleProposal]:
    """Return holes in ceilings in which nothing is modelled."""
    found = []
    for space in spaces:
        known = [Polygon(item.outline) for item in obstacles if item.room_key == space.key]
        for hole, height in reader.finder.openings(space.shape, space.floor_m, space.top_m):
            if any(shape.intersection(hole).area > 0.3 * hole.area for shape in known):
                continue
            outline = ring_of(hole.exterior.coords)
            found.append(
                ObstacleProposal(
                    label="opening in the ceiling",
                    room_key=space.key,
                    kind="hatch",
                    outline=outline,
                    origin_id=f"opening@{hole.centroid.x:.2f},{hole.centroid.y:.2f}",
                    bottom_m=round(height, 3),
                    doubt="a hole in the ceiling with nothing modelled in it: a hatch or a light",
                    source=reader.path.name,
                )
            )
    return found


def _moved_cover(cover: Cover, shift: FloatArray) -> Cover:
    from shapely.affinity import translate

    a, b, c = cover.plane.level
    level = (a, b, c - a * float(shift[0]) - b * float(shift[1]))
    by = float(shift[0]), float(shift[1])
    plane = replace(cover.plane, outline=translate(cover.plane.outline, *by), level=level)
    return replace(
        cover, plane=plane, openings=tuple(translate(hole, *by) for hole in cover.openings)
    )


def _name_of(space: Any) -> str:  # noqa: ANN401 untyped library
    parts = [str(part).strip() for part in (space.Name, space.LongName) if part]
    if len(parts) == 2 and parts[0] in parts[1].split():
        parts = parts[1:]
    return " ".join(part for part in parts if part)[:80] or "Space"


def _is_whole_floor(space: Any) -> bool:  # noqa: ANN401 untyped library
    return str(getattr(space, "PredefinedType", None) or "").upper() in _WHOLE_FLOOR


def _confidence(space: _Space, height_source: str) -> float:
    sure = 1.0 if height_source == "model" else 0.9
    if _is_whole_floor(space.element):
        sure = 0.3
    elif not space.is_level:
        sure = min(sure, 0.85)
    if len(space.polygons) > 1 and space.shape.area < 0.9 * sum(p.area for p in space.polygons):
        sure = min(sure, 0.7)
    return sure


def _overlapping(rooms: list[RoomProposal], levels: list[float]) -> list[RoomProposal]:
    """Doubt rooms that hold others: they are floors or zones, not rooms."""
    from shapely import STRtree

    shapes = [Polygon(room.outline, room.holes) for room in rooms]
    tree = STRtree(shapes)
    found = []
    for index, (room, shape) in enumerate(zip(rooms, shapes, strict=True)):
        inside = [
            rooms[other].label
            for other in tree.query(shape)
            if other != index
            and abs(levels[other] - levels[index]) < 1.0
            and shapes[other].area <= shape.area
            and shapes[other].intersection(shape).area > 0.5 * shapes[other].area
        ]
        if inside:
            text = f"{', '.join(inside[:4])} lie(s) within it: it may be a zone, not a room"
            room = replace(  # noqa: PLW2901 the room with its doubt
                room, doubts=(*room.doubts, text), confidence=min(room.confidence, 0.5)
            )
        found.append(room)
    return found


def read_ifc(
    path: Path, others: Sequence[Path] = (), wishes: ReadWishes | None = None
) -> PlanProposal:
    """Read the spaces of an IFC model, and what hangs in their ceilings.

    Parameters
    ----------
    path
        The file with the spaces.
    others
        Further models of the same building, such as its electrical one.
    wishes
        What a person says that the file does not.

    Returns
    -------
    PlanProposal
        Every space with a shape as a room; lights, air outlets and the like as obstacles.

    Raises
    ------
    JobError
        If a file is no IFC model, or the first has no spaces.
    MissingExtraError
        If the library is not installed.
    """
    wishes = wishes or ReadWishes()
    reader = _Reader(path, wishes)
    spaces = reader.spaces()
    if not spaces:
        raise _no_spaces(path, len(reader.model.by_type("IfcSpace")))
    spaces = reader.move_near(spaces)
    rooms = _overlapping(reader.rooms(spaces), [space.floor_m for space in spaces])
    room_spaces = [
        RoomSpace.of(room, floor_m=space.floor_m, top_m=space.mesh.high)
        for room, space in zip(rooms, spaces, strict=True)
    ]
    rooms = _with_columns(reader, rooms, room_spaces)
    placed = place_things(room_spaces, _moved(reader), source=path.name)
    obstacles, speakers, aside = placed.obstacles, placed.speakers, placed.set_aside
    notes = _notes(reader)
    for other in others:
        more, note = _of_other(other, room_spaces, reader.shift)
        obstacles += more.obstacles
        speakers += more.speakers
        aside += more.set_aside
        notes.append(note)
    obstacles += _openings(reader, room_spaces, obstacles)
    return PlanProposal(
        source=f"{path.name} ({reader.model.schema})",
        storeys=tuple(sorted(reader.storeys.values(), key=lambda item: item.elevation_m)),
        rooms=tuple(rooms),
        obstacles=tuple(obstacles),
        speakers=tuple(speakers),
        is_imperial=_is_imperial(reader.mesher.scale),
        notes=tuple(notes),
        set_aside=(*reader.set_aside, *aside),
        others=tuple(other.name for other in others),
        drawn=_drawn(reader, rooms),
    )


def _drawn(reader: _Reader, rooms: Sequence[RoomProposal]) -> tuple[DrawnLines, ...]:
    """Cut walls, columns, doors and windows a little over each floor, as a plan shows them."""
    bodies: list[Mesh] = []
    for kind in _SHOWN_IN_PLAN:
        for element in reader.model.by_type(kind):
            if len(bodies) >= _MOST_IN_PLAN:
                break
            mesh = reader.mesher.mesh(element)
            if mesh is not None:
                bodies.append(mesh.moved(reader.shift))
    found = []
    for storey in reader.storeys.values():
        level = storey.elevation_m + _CUT_M
        parts = [
            section(body.corners, body.faces, level)
            for body in bodies
            if body.low < level < body.high
        ]
        for room in rooms:
            if room.storey_key == storey.key:
                ring = np.array(room.outline)
                parts.append(np.stack([ring, np.roll(ring, -1, axis=0)], axis=1))
        found.append(drawn_lines(storey.key, parts))
    return tuple(found)


def _no_spaces(path: Path, count: int) -> JobError:
    seen = f"it has {count} of them, none with a shape" if count else "it has none"
    return refuse(
        path,
        f"{path.name} has no spaces with a shape",
        f"rooms are read from the spaces of a model, and {seen}",
        "ask for an export with rooms (spaces) included; a model of services is read"
        " together with the building's: soffit read BUILDING.ifc --with SERVICES.ifc",
    )


def _is_imperial(scale: float) -> bool:
    return abs(scale - 0.3048) < 1e-5 or abs(scale - 0.0254) < 1e-6


def _notes(reader: _Reader) -> list[str]:
    names = {0.3048: "feet", 0.0254: "inches", 1.0: "metres", 0.001: "millimetres", 0.01: "cm"}
    unit = names.get(round(reader.mesher.scale, 6), f"{reader.mesher.scale:g} m")
    notes = [f"Lengths of the file are in {unit}, as it says itself."]
    if np.any(reader.shift):
        x, y = reader.shift[:2]
        notes.append(
            f"The plan lies far from its origin: it was moved by {x:+.0f} m in x, {y:+.0f} m in y."
        )
    if reader.mesher.failed:
        notes.append(f"{len(reader.mesher.failed)} element(s) have a shape that cannot be built.")
    return notes


def _moved(reader: _Reader, shift: FloatArray | None = None) -> list[Thing]:
    by = reader.shift if shift is None else shift
    return [replace(item, mesh=item.mesh.moved(by)) for item in _things(reader)]


def _things(reader: _Reader) -> Iterator[Thing]:
    return things_of(reader.model, reader.mesher)


def _of_other(path: Path, rooms: list[RoomSpace], shift: FloatArray) -> tuple[Any, str]:
    model = open_model(path)
    mesher = Mesher(model)
    things = list(things_of(model, mesher))
    placed = place_things(
        rooms, [replace(item, mesh=item.mesh.moved(shift)) for item in things], source=path.name
    )
    count = len(placed.obstacles) + len(placed.speakers)
    over = is_near(
        [(float(t.mesh.corners[:, 0].mean()), float(t.mesh.corners[:, 1].mean())) for t in things],
        [room.shape for room in rooms],
        shift=(float(shift[0]), float(shift[1])),
    )
    unit = "ft" if _is_imperial(length_scale(model)) else "SI"
    note = f"{path.name} ({unit} units): {count} things over the rooms of {len(things)} seen."
    if things and not over:
        note += " None lies over the plan: its origin differs; ask for models with one origin."
    return placed, note


def _with_columns(
    reader: _Reader, rooms: list[RoomProposal], spaces: list[RoomSpace]
) -> list[RoomProposal]:
    """Give rooms the columns that stand in them."""
    columns = []
    for element in reader.model.by_type("IfcColumn"):
        mesh = reader.mesher.mesh(element)
        hull = hull_of([mesh.moved(reader.shift)]) if mesh else None
        if mesh and hull is not None and 0.01 < hull.area < 10.0:
            columns.append((hull, mesh.low, mesh.high))
    if not columns:
        return rooms
    found = []
    for room, space in zip(rooms, spaces, strict=True):
        inside = [
            ring_of(hull.exterior.coords)
            for hull, low, high in columns
            if low < space.floor_m + 1.5 < high and space.shape.buffer(-0.02).covers(hull)
        ]
        found.append(replace(room, columns=tuple(inside)))
    return found
