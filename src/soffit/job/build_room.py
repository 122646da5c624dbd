"""Turn the tables of one room into its record, with every check that needs no other room."""

import math
from collections.abc import Container, Mapping
from dataclasses import dataclass
from typing import Final

from soffit.job.assume import (
    CEILING_HEIGHT_M,
    PITCH_IMPERIAL_M,
    PITCH_METRIC_M,
    Assumptions,
    assume_margin_db,
    assume_noise,
    assume_surfaces,
    room_row,
)
from soffit.job.build_materials import build_surface, check_areas
from soffit.job.build_wishes import build_wishes
from soffit.job.locate import Path
from soffit.job.problems import Problems
from soffit.job.schema import (
    BriefEntry,
    CeilingEntry,
    GridEntry,
    JoistsEntry,
    ListeningEntry,
    NoiseEntry,
    ObstacleEntry,
    RoomEntry,
    ShapeEntry,
)
from soffit.job.shapes import (
    contains,
    distance_to_outline_m,
    extent_m,
    has_shape,
    is_inside,
    is_turned,
    point,
    read_ring,
)
from soffit.model.survey import (
    Brief,
    Ceiling,
    Door,
    Grid,
    Joists,
    ListeningArea,
    Material,
    Noise,
    Obstacle,
    Ring,
    Room,
    Surface,
    TestPoint,
)
from soffit.units import format_length

_LARGEST_HEIGHT_M: Final = 60.0
_LEAST_SPACING_M: Final = 0.2
"""Closer than this, loudspeakers of any size touch. [m]"""

_REVERBERATION_S: Final = (0.05, 20.0)
"""Reverberation times that rooms have, as the sound model takes them. [s]"""

_STEEPEST: Final = 3.0
"""Rise of a ceiling over its run: steeper ones are walls."""

_LONGEST_ROOM_M: Final = 500.0
"""Longest side of a room: beyond, it is a mistaken unit. [m]"""

_LEAST_FLOOR_M2: Final = 0.05
"""Floor that columns must leave. [m²]"""

_DOOR_SLACK_M: Final = 0.5
"""How far from the outline a door may be drawn. [m]"""


@dataclass(frozen=True, slots=True)
class RoomContext:
    """What building a room needs to know of the job; ``named`` has refused materials too."""

    problems: Problems
    assumptions: Assumptions
    is_imperial: bool
    materials: Mapping[str, Material]
    named: Container[str]
    asks_plenum: bool = False


def need(problems: Problems, path: Path, value: float | None, least: float, most: float) -> bool:
    """Note a problem where a value lies outside what makes sense.

    Parameters
    ----------
    problems
        Where to collect.
    path
        Path of the value.
    value
        The value; ``None`` passes.
    least, most
        Smallest and largest that make sense; the smallest itself is refused if it is 0.

    Returns
    -------
    bool
        Whether the value is usable.
    """
    if value is None or (least <= value <= most and not (least == 0.0 == value)):
        return True
    name = next(part for part in reversed(path) if isinstance(part, str)).replace("_", " ")
    low = "more than 0" if least == 0.0 else f"at least {least:g}"
    problems.add(
        path,
        f"{name} of {value:g} is not possible",
        why=f"{name} is {low} and at most {most:g} (SI)",
        do="write the value as measured, with its unit",
    )
    return False


def unique_keys(
    problems: Problems, path: Path, given: list[str | None], stem: list[str]
) -> list[str]:
    """Return a key for each item: its own, or its stem numbered; doubles are problems.

    Parameters
    ----------
    problems
        Where to collect.
    path
        Path of the list.
    given
        Keys of the file, ``None`` where there is none.
    stem
        Word for each item from which a missing key is made.
    """
    taken: set[str] = set()
    for index, key in enumerate(given):
        if key is not None and key in taken:
            problems.add(
                (*path, index, "key"),
                f"key {key!r} is used twice",
                why="a key names one thing for ever",
                do="give the second another key",
            )
        taken |= {key} if key is not None else set()
    keys: list[str] = []
    counts: dict[str, int] = {}
    for key, word in zip(given, stem, strict=True):
        made = key
        while made is None:
            counts[word] = counts.get(word, 0) + 1
            candidate = f"{word}{counts[word]}"
            made = None if candidate in taken else candidate
        keys.append(made)
    return keys


def build_room(context: RoomContext, key: str, entry: RoomEntry, storey_key: str) -> Room | None:
    """Return the record of one room.

    Parameters
    ----------
    context
        What is known of the job, and where problems and assumptions go.
    key
        Key of the room.
    entry
        Its tables.
    storey_key
        Its storey.

    Returns
    -------
    Room or None
        ``None`` if its outline is unusable; other problems are noted and the record is returned.
    """
    path: Path = ("rooms", key)
    problems = context.problems
    outline = read_ring(problems, path, entry)
    if outline is None:
        return None
    if not _is_room_sized(problems, path, outline):
        return None
    row = room_row(entry.use, entry.label or key)
    ceilings = _ceilings(context, path, entry, outline)
    listening = _listening(context, path, entry, outline, float(row["ear_height_m"]))
    _check_heights(problems, path, outline, ceilings, listening)
    surfaces = _surfaces(context, path, entry)
    holes = _holes(problems, path, entry, outline)
    if entry.surfaces:
        _check_areas(problems, (*path, "surfaces"), entry, outline, holes, ceilings)
    if entry.reverberation is None:
        made = context.assumptions
        surfaces = assume_surfaces(made, (*path, "surfaces"), row, ceilings, surfaces)
    else:
        for index, time_s in enumerate(entry.reverberation):
            need(problems, (*path, "reverberation", index), time_s, *_REVERBERATION_S)
    noise = _noise(problems, (*path, "noise"), entry.noise)
    if noise is None and entry.noise is None:
        noise = assume_noise(context.assumptions, (*path, "noise"), row)
    return Room(
        key=key,
        label=entry.label or key,
        storey_key=storey_key,
        outline=outline,
        holes=holes,
        ceilings=ceilings,
        use=entry.use,
        surfaces=surfaces,
        reverberation_s=None if entry.reverberation is None else tuple(entry.reverberation),
        noise=noise,
        brief=_brief(context, (*path, "brief"), entry.brief),
        listening_areas=listening,
        test_points=_test_points(problems, path, entry, outline),
        doors=_doors(problems, path, entry, outline),
        wall_names=_wall_names(problems, path, entry, outline),
        wishes=build_wishes(problems, path, entry, outline),
        is_locked=entry.locked,
        open_to=tuple(dict.fromkeys(entry.open_to)),
        note=entry.note,
    )


def _part(
    problems: Problems, path: Path, entry: ShapeEntry, outline: Ring, noun: str
) -> Ring | None:
    """Read a shape that must lie in its room."""
    ring = read_ring(problems, path, entry)
    if ring is not None and not is_inside(outline, ring):
        problems.add(
            path,
            f"the {noun} reaches outside its room",
            why="all its corners must lie within the outline of the room (1 cm is forgiven)",
            do="check its place against the room's corner and size",
        )
        return None
    return ring


def _is_room_sized(problems: Problems, path: Path, outline: Ring) -> bool:
    longest = max(max(axis) - min(axis) for axis in zip(*outline, strict=True))
    if longest <= _LONGEST_ROOM_M:
        return True
    problems.add(
        path,
        f"the room is {longest:.0f} m long",
        why=f"a room has at most {_LONGEST_ROOM_M:g} m; a bare number is metres",
        do='check its units, such as "9000 mm", or divide it',
    )
    return False


def _holes(problems: Problems, path: Path, entry: RoomEntry, outline: Ring) -> tuple[Ring, ...]:
    rings = [
        _part(problems, (*path, "columns", index), column, outline, "column")
        for index, column in enumerate(entry.columns)
    ]
    holes = tuple(ring for ring in rings if ring is not None)
    if holes and _floor_left_m2(outline, holes) < _LEAST_FLOOR_M2:
        problems.add(
            (*path, "columns"),
            "the columns take all of the room",
            why="what is left of its floor holds nobody",
            do="check their places, sizes and units",
        )
    return holes


def _floor_left_m2(outline: Ring, holes: tuple[Ring, ...]) -> float:
    from shapely import Polygon, difference, union_all  # noqa: PLC0415 - only rooms with columns

    floor = difference(Polygon(outline), union_all([Polygon(hole) for hole in holes]))
    return float(floor.area)


def _check_areas(
    problems: Problems,
    path: Path,
    entry: RoomEntry,
    outline: Ring,
    holes: tuple[Ring, ...],
    ceilings: tuple[Ceiling, ...],
) -> None:
    around = sum(
        math.dist(one, two)
        for ring in (outline, *holes)
        for one, two in zip(ring, ring[1:] + ring[:1], strict=True)
    )
    height = max((ceiling.height_m for ceiling in ceilings), default=0.0)
    check_areas(
        problems,
        path,
        entry.surfaces,
        floor_m2=_floor_left_m2(outline, holes),
        walls_m2=around * height,
    )


def _wall_names(problems: Problems, path: Path, entry: RoomEntry, outline: Ring) -> tuple[str, ...]:
    names = list(entry.wall_names)
    if len(names) > len(outline):
        problems.add(
            (*path, "wall_names"),
            f"{len(names)} wall names for {len(outline)} walls",
            why="names go with the edges of the outline, in order",
            do="take out the names that have no wall",
        )
        return ()
    if is_turned(entry):
        # the ring was turned about its first corner, so edge i is now edge n-1-i
        names += [""] * (len(outline) - len(names))
        names.reverse()
    while names and not names[-1]:
        names.pop()
    return tuple(names)


def _ceilings(
    context: RoomContext, path: Path, entry: RoomEntry, outline: Ring
) -> tuple[Ceiling, ...]:
    under: Path = (*path, "ceilings")
    entries = entry.ceilings
    if not entries:
        context.assumptions.add(under, "a tile grid over the whole room")
        entries = [CeilingEntry(kind="grid")]
    keys = unique_keys(context.problems, under, [e.key for e in entries], [e.kind for e in entries])
    if len(entries) > 1:
        _check_parts(context.problems, under, entries)
    return tuple(
        _ceiling(context, (*under, index), key, item, outline)
        for index, (key, item) in enumerate(zip(keys, entries, strict=True))
    )


def _check_parts(problems: Problems, path: Path, entries: list[CeilingEntry]) -> None:
    whole = [index for index, entry in enumerate(entries) if not has_shape(entry)]
    if len(whole) > 1:
        problems.add(
            (*path, whole[1]),
            "two ceilings cover the whole room",
            why="only one ceiling of a room may be without a shape: it takes what the others leave",
            do="give the part that this ceiling covers",
        )


_VOIDS: Final = frozenset({"grid", "concealed"})
_CODE: Final = "nobody said; NFPA 70 (NEC) 300.22(C) asks for both where it does"


def _height_text(context: RoomContext, height_m: float) -> str:
    return f"ceiling height {format_length(height_m, imperial=context.is_imperial)}"


def _ceiling(
    context: RoomContext, path: Path, key: str, entry: CeilingEntry, outline: Ring
) -> Ceiling:
    problems = context.problems
    height, source = entry.height, entry.height_source or "surveyed"
    if height is None:
        height, source = CEILING_HEIGHT_M, "assumed"
        context.assumptions.add((*path, "height"), _height_text(context, height))
    elif source == "assumed":
        said = entry.note or "nobody measured it"
        context.assumptions.add((*path, "height"), _height_text(context, height), said)
    if context.asks_plenum and entry.kind in _VOIDS and "plenum" not in entry.model_fields_set:
        context.assumptions.add(
            (*path, "plenum"), "the void moves no room air: no plenum cable, no plenum marks", _CODE
        )
    need(problems, (*path, "height"), height, 0.0, _LARGEST_HEIGHT_M)
    need(problems, (*path, "void_depth"), entry.void_depth, 0.0, 20.0)
    for number, item in enumerate(entry.void_points):
        need(problems, (*path, "void_points", number, "depth"), item.depth, 0.0, 20.0)
    need(problems, (*path, "tile_mass"), entry.tile_mass, 0.0, 200.0)
    if entry.slope is not None:
        need(problems, (*path, "slope", "ratio"), entry.slope.ratio, -_STEEPEST, _STEEPEST)
    _check_structure(problems, path, entry, height)
    region = _part(problems, path, entry, outline, "ceiling") if has_shape(entry) else None
    grid = _grid(context, (*path, "grid"), entry, region or outline)
    if entry.joists is not None:
        need(problems, (*path, "joists", "spacing"), entry.joists.spacing, 0.0, 5.0)
        need(problems, (*path, "joists", "width"), entry.joists.width, 0.0, entry.joists.spacing)
    return Ceiling(
        key=key,
        kind=entry.kind,
        height_m=height,
        height_source=source,
        region=region,
        grid=grid,
        joists=_joists(entry.joists, (region or outline)[0]),
        void_depth_m=entry.void_depth,
        void_source=entry.void_source or "surveyed",
        void_points=tuple((*point(item.at), item.depth) for item in entry.void_points),
        slope_ratio=entry.slope.ratio if entry.slope else 0.0,
        slope_angle_rad=entry.slope.angle if entry.slope else 0.0,
        slope_at=point(entry.slope.at) if entry.slope else (0.0, 0.0),
        is_plenum=entry.plenum,
        fire_rated=entry.fire_rated,
        tile_mass_kg_m2=entry.tile_mass,
        tile_material=entry.tile_material,
        structure_height_m=entry.structure_height,
        speaker_type=entry.speaker_type,
        note=entry.note,
    )


def _joists(entry: JoistsEntry | None, corner: tuple[float, float]) -> Joists | None:
    if entry is None:
        return None
    return Joists(
        angle_rad=entry.angle,
        spacing_m=entry.spacing,
        width_m=entry.width,
        offset=corner if entry.at is None else point(entry.at),
    )


def _check_structure(problems: Problems, path: Path, entry: CeilingEntry, height: float) -> None:
    top = entry.structure_height
    if not need(problems, (*path, "structure_height"), top, 0.0, _LARGEST_HEIGHT_M):
        return
    if top is not None and top < height:
        problems.add(
            (*path, "structure_height"),
            f"the structure at {top:.3f} m lies under the ceiling at {height:.3f} m",
            why="both are heights above the finished floor",
            do="check which of the two was measured from somewhere else",
        )
    elif (
        top is not None and entry.void_depth is not None and entry.void_depth > top - height + 0.01
    ):
        problems.add(
            (*path, "void_depth"),
            f"a void of {entry.void_depth:.3f} m does not fit",
            why=f"ceiling and structure are {top - height:.3f} m apart",
            do="check void depth, ceiling height and structure height",
        )


def _grid(context: RoomContext, path: Path, entry: CeilingEntry, ring: Ring) -> Grid | None:
    problems = context.problems
    if entry.kind != "grid":
        if entry.grid is not None:
            problems.add(
                path,
                f"a ceiling of kind {entry.kind!r} has a grid",
                why="only ceilings of kind 'grid' have one",
                do="take out the grid, or change the kind",
            )
        return None
    stated = entry.grid or GridEntry()
    pitch = PITCH_IMPERIAL_M if context.is_imperial else PITCH_METRIC_M
    if stated.pitch is None:
        words = "24 in" if context.is_imperial else "600 mm"
        context.assumptions.add((*path, "pitch"), f"grid pitch {words} both ways")
    pitch_x, pitch_y = stated.pitch or (pitch, pitch)
    fits = [need(problems, (*path, "pitch"), value, 0.05, 5.0) for value in (pitch_x, pitch_y)]
    origin = None if stated.origin is None else point(stated.origin)
    if origin is None:
        xs, ys = [x for x, _ in ring], [y for _, y in ring]
        origin = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
        context.assumptions.add((*path, "origin"), "a crossing of tees at the middle of the room")
    if all(fits):
        width, depth = extent_m(ring)
        diagonal = math.hypot(width, depth)
        small = min(width, depth) < min(pitch_x, pitch_y)
        if diagonal < max(pitch_x, pitch_y) or small:
            problems.add(
                path,
                f"the room of {width:.3f} m by {depth:.3f} m is smaller than a tile",
                why=f"a tile is {pitch_x:.3f} m by {pitch_y:.3f} m",
                do="check units of the room and of the grid's pitch",
            )
    need(problems, (*path, "tee"), stated.tee, 0.0, 0.2)
    spacing = stated.main_runner_spacing
    need(problems, (*path, "main_runner_spacing"), spacing, 0.0, 10.0)
    across = pitch_y if stated.main_runners == "x" else pitch_x
    return Grid(
        origin=origin,
        pitch_x_m=pitch_x,
        pitch_y_m=pitch_y,
        angle_rad=stated.angle,
        tee_width_m=stated.tee,
        main_runner_axis=stated.main_runners,
        main_runner_spacing_m=2 * across if spacing is None else spacing,
        border_tiles_usable=stated.border_tiles,
        load_class=stated.load_class,
    )


def _listening(
    context: RoomContext, path: Path, entry: RoomEntry, outline: Ring, ear_m: float
) -> tuple[ListeningArea, ...]:
    under: Path = (*path, "listening")
    entries = entry.listening
    if not any(not item.excluded for item in entries):
        context.assumptions.add(under, "ears in the whole room, 0.5 m off the walls")
        entries = [ListeningEntry(key="all", label="whole room"), *entries]
    keys = unique_keys(context.problems, under, [e.key for e in entries], ["area"] * len(entries))
    areas = []
    for index, (key, item) in enumerate(zip(keys, entries, strict=True)):
        at = (*under, index)
        ears = item.ear_height
        if ears is None and not item.excluded:
            ears = ear_m
            context.assumptions.add((*at, "ear_height"), f"ears {ears:.1f} m above the floor")
        if item.wall_margin < 0:
            need(context.problems, (*at, "wall_margin"), item.wall_margin, 0.0, 10.0)
        ring = (
            _part(context.problems, at, item, outline, "listening area")
            if has_shape(item)
            else None
        )
        need(context.problems, (*at, "ear_height"), ears, 0.0, 5.0)
        areas.append(
            ListeningArea(
                key=key,
                label=item.label or key,
                outline=ring,
                ear_height_m=ear_m if ears is None else ears,
                wall_margin_m=item.wall_margin,
                is_excluded=item.excluded,
            )
        )
    return tuple(areas)


def _check_heights(
    problems: Problems,
    path: Path,
    outline: Ring,
    ceilings: tuple[Ceiling, ...],
    listening: tuple[ListeningArea, ...],
) -> None:
    ears = max((area.ear_height_m for area in listening if not area.is_excluded), default=0.0)
    for index, ceiling in enumerate(ceilings):
        rise_x = ceiling.slope_ratio * math.cos(ceiling.slope_angle_rad)
        rise_y = ceiling.slope_ratio * math.sin(ceiling.slope_angle_rad)
        lowest = min(
            ceiling.height_m
            + rise_x * (x - ceiling.slope_at[0])
            + rise_y * (y - ceiling.slope_at[1])
            for x, y in ceiling.region or outline
        )
        if ceiling.height_m > 0 and lowest < ears + 0.1:
            problems.add(
                (*path, "ceilings", index, "height"),
                f"the ceiling comes down to {lowest:.2f} m, and ears are at {ears:.2f} m",
                why="a ceiling must be at least 0.1 m above the ears",
                do="check the height, its unit and the slope; or the ear height",
            )


def _surfaces(context: RoomContext, path: Path, entry: RoomEntry) -> tuple[Surface, ...]:
    surfaces = []
    for index, item in enumerate(entry.surfaces):
        at: Path = (*path, "surfaces", index)
        need(context.problems, (*at, "area"), item.area, 0.0, 1e6)
        # a material that is itself refused was named before, and is not named again here
        is_refused = item.material in context.named and item.material not in context.materials
        if not is_refused:
            surfaces.append(build_surface(context.problems, at, item, context.materials))
    return tuple(surfaces)


def _noise(problems: Problems, path: Path, entry: NoiseEntry | None) -> Noise | None:
    if entry is None:
        return None
    if (entry.dba, entry.nc, entry.nr, entry.octaves).count(None) != 3:
        problems.add(
            path,
            "the noise is not stated in exactly one way",
            why="dba, nc, nr and octaves are four ways to state one noise",
            do="keep the one that was measured",
        )
        return None
    if entry.octaves is not None:
        for index, level in enumerate(entry.octaves):
            _check_level(problems, (*path, "octaves", index), level)
        return Noise(kind="octaves", octaves_db=tuple(entry.octaves), source=entry.source)
    for kind, value in (("dba", entry.dba), ("nc", entry.nc), ("nr", entry.nr)):
        if value is not None:
            _check_level(problems, (*path, kind), value)
    if entry.dba is not None:
        return Noise(kind="dba", value=entry.dba, source=entry.source)
    if entry.nc is not None:
        return Noise(kind="nc", value=entry.nc, source=entry.source)
    return Noise(kind="nr", value=entry.nr, source=entry.source)


def _check_level(problems: Problems, path: Path, level_db: float | None) -> None:
    need(problems, path, level_db, -20.0, 130.0)


def _brief(context: RoomContext, path: Path, entry: BriefEntry) -> Brief:
    problems = context.problems
    programme = entry.programme
    if programme is None:
        programme = "speech"
        context.assumptions.add((*path, "programme"), "programme speech")
    margin = entry.margin
    if margin is None and entry.level is None:
        margin = assume_margin_db(context.assumptions, path, programme)
    _check_level(problems, (*path, "level"), entry.level)
    need(problems, (*path, "margin"), margin, -20.0, 60.0)
    need(problems, (*path, "evenness"), entry.evenness, 0.0, 20.0)
    need(problems, (*path, "evenness_share"), entry.evenness_share, 0.5, 1.0)
    need(problems, (*path, "sti_min"), entry.sti_min, 0.0, 1.0)
    _check_level(problems, (*path, "max_level"), entry.max_level)
    need(problems, (*path, "tap"), entry.tap, 0.0, 2000.0)
    need(problems, (*path, "spacing"), entry.spacing, _LEAST_SPACING_M, 100.0)
    need(problems, (*path, "low_tilt"), entry.low_tilt, -20.0, 20.0)
    return Brief(
        programme=programme,
        level_dba=entry.level,
        margin_db=margin,
        evenness_db=entry.evenness,
        evenness_share=entry.evenness_share,
        evenness_measure=entry.evenness_measure,
        sti_min=entry.sti_min,
        max_level_dba=entry.max_level,
        speaker_type=entry.speaker_type,
        tap_w=entry.tap,
        count=entry.count,
        spacing_m=entry.spacing,
        low_tilt_db=entry.low_tilt,
        note=entry.note,
    )


def _test_points(
    problems: Problems, path: Path, entry: RoomEntry, outline: Ring
) -> tuple[TestPoint, ...]:
    under: Path = (*path, "test_points")
    unique_keys(problems, under, [e.key for e in entry.test_points], [""] * len(entry.test_points))
    points = []
    for index, item in enumerate(entry.test_points):
        at = point(item.at)
        if not contains(outline, at):
            outside(problems, (*under, index, "at"), f"test point {item.key}")
        need(problems, (*under, index, "height"), item.height, 0.0, _LARGEST_HEIGHT_M)
        points.append(
            TestPoint(key=item.key, label=item.label or item.key, position=at, height_m=item.height)
        )
    return tuple(points)


def outside(problems: Problems, path: Path, what: str) -> None:
    """Note that something lies outside its room.

    Parameters
    ----------
    problems
        Where to collect.
    path
        Path of its place.
    what
        Its name.
    """
    problems.add(
        path,
        f"{what} lies outside its room",
        why="its place must lie within the outline of the room",
        do="check the place, its unit and the room",
    )


def _doors(problems: Problems, path: Path, entry: RoomEntry, outline: Ring) -> tuple[Door, ...]:
    under: Path = (*path, "doors")
    keys = unique_keys(problems, under, [e.key for e in entry.doors], ["door"] * len(entry.doors))
    doors = []
    for index, (key, item) in enumerate(zip(keys, entry.doors, strict=True)):
        at = point(item.at)
        off = distance_to_outline_m(outline, at)
        if off > _DOOR_SLACK_M:
            problems.add(
                (*under, index, "at"),
                f"door {key} lies {off:.2f} m from the nearest wall",
                why=f"a door lies on the outline of its room ({_DOOR_SLACK_M} m is forgiven)",
                do="check its place and its unit",
            )
        need(problems, (*under, index, "width"), item.width, 0.0, 50.0)
        doors.append(Door(key=key, label=item.label, position=at, width_m=item.width))
    return tuple(doors)


def build_obstacles(
    context: RoomContext, key: str, entry: RoomEntry, outline: Ring
) -> tuple[Obstacle, ...]:
    """Return the obstacles of a room, repeats laid out and numbered.

    Parameters
    ----------
    context
        What is known of the job, and where problems go.
    key
        Key of the room.
    entry
        Its tables.
    outline
        Its outline. [m]
    """
    under: Path = ("rooms", key, "obstacles")
    stems = [item.kind.replace(" ", "-") for item in entry.obstacles]
    given = [item.key for item in entry.obstacles]
    unique_keys(context.problems, under, given, stems)
    taken = {item for item in given if item is not None}
    labels = [item.label or item.kind for item in entry.obstacles]
    counts: dict[str, int] = {}
    found: list[Obstacle] = []
    for index, (item, stem, label) in enumerate(zip(entry.obstacles, stems, labels, strict=True)):
        rings = _repeated(context.problems, (*under, index), item, outline)
        alone = len(rings) == 1 and labels.count(label) == 1
        for place, ring in enumerate(rings):
            own = item.key
            if own is not None:
                name = own if len(rings) == 1 else f"{own}-{place + 1}"
            else:
                name = _next_key(stem, counts, taken)
            counts[f"label {label}"] = number = counts.get(f"label {label}", 0) + 1
            found.append(
                Obstacle(
                    key=f"{key}.{name}",
                    label=label if alone else f"{label} {number}",
                    room_key=key,
                    kind=item.kind,
                    outline=ring,
                    bottom_m=item.bottom,
                    top_m=item.top,
                    clearance_m=item.clearance,
                    doubt=item.doubt,
                    source=item.source,
                    note=item.note,
                )
            )
    return tuple(found)


def _next_key(stem: str, counts: dict[str, int], taken: set[str]) -> str:
    while True:
        counts[stem] = counts.get(stem, 0) + 1
        if f"{stem}{counts[stem]}" not in taken:
            return f"{stem}{counts[stem]}"


def _repeated(problems: Problems, path: Path, entry: ObstacleEntry, outline: Ring) -> list[Ring]:
    ring = read_ring(problems, path, entry)
    for name in ("bottom", "top", "clearance"):
        value = getattr(entry, name)
        if value is not None and value != 0:
            need(problems, (*path, name), value, 0.0, _LARGEST_HEIGHT_M)
    if entry.bottom is not None and entry.top is not None and entry.bottom > entry.top:
        problems.add(
            (*path, "top"),
            f"its top at {entry.top:.3f} m lies under its bottom at {entry.bottom:.3f} m",
            why="both are heights above the finished floor",
            do="exchange them, or check the units",
        )
    if (entry.repeat is None) != (entry.step is None):
        missing = "step" if entry.step is None else "repeat"
        problems.add(
            path,
            f"{missing} is missing",
            why="repeat says how often along x and y, step how far apart",
            do=f"add {missing}",
        )
        return []
    if ring is None:
        return []
    columns, rows = entry.repeat or (1, 1)
    step_x, step_y = entry.step or (0.0, 0.0)
    if not _steps_apart(problems, path, (columns, rows), (step_x, step_y)):
        return []
    rings = [
        tuple((x + column * step_x, y + row * step_y) for x, y in ring)
        for row in range(rows)
        for column in range(columns)
    ]
    off = [place + 1 for place, item in enumerate(rings) if not _touches(outline, item)]
    if off:
        shown = ", ".join(str(place) for place in off[:5])
        problems.add(
            path,
            f"the {entry.label or entry.kind} lies outside its room (number {shown})"
            if len(rings) > 1
            else f"the {entry.label or entry.kind} lies outside its room",
            why="an obstacle is listed in the room in whose ceiling it is",
            do="check its place, its step and its repeat",
        )
    return rings


def _steps_apart(
    problems: Problems, path: Path, repeat: tuple[int, int], step: tuple[float, float]
) -> bool:
    if repeat[0] * repeat[1] > 5000:
        problems.add(
            (*path, "repeat"),
            f"{repeat[0]} x {repeat[1]} is more than 5000",
            why="one entry repeats at most 5000 times",
            do="check the numbers",
        )
        return False
    if any(count > 1 and distance == 0 for count, distance in zip(repeat, step, strict=True)):
        problems.add(
            (*path, "step"),
            "a step of 0 puts them all in one place",
            why="a step is needed along each axis that repeats",
            do="write the distance from one to the next",
        )
        return False
    return True


def _touches(outline: Ring, ring: Ring) -> bool:
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    middle = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
    return contains(outline, middle) or any(contains(outline, corner) for corner in ring)
