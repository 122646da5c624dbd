"""Every placed speaker against its ceiling: hole, void, neighbours, weight, wires, place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from soffit.ceiling.fit import flange_overlap_m, sprinkler_clearance_m, void_at_m, void_need_m
from soffit.ceiling.members import joist_distance_m
from soffit.ceiling.naming import DoorPoint, FromWall, place_from_walls, tile_text, wall_names
from soffit.ceiling.plane import FloatArray, height_at_m
from soffit.ceiling.structure import (
    SeismicSupport,
    grid_capacity_kg,
    is_heavy_seismic,
    safety_breaking_load_n,
    safety_wire_length_m,
    seismic_support,
    surface_load_kg_m2,
)
from soffit.ceiling.tiles import (
    GridLines,
    TileField,
    ceiling_polygon,
    tiles,
)
from soffit.model.catalogue import Catalogue, HardwareType, SpeakerType
from soffit.model.decisions import Survey
from soffit.model.speakers import Speaker
from soffit.model.survey import Ceiling, Obstacle, Room
from soffit.tables.settings import Limits
from soffit.units import format_length

if TYPE_CHECKING:
    from shapely import STRtree
    from shapely.geometry.base import BaseGeometry

TAKES_TILE = frozenset({"light", "air outlet", "hatch", "sign", "fan"})
"""Kinds of obstacle that make the tile they sit in useless."""

RESTING = frozenset({"rails", "bridge"})
"""Kinds of support that put a unit's mass on the grid."""

_OWN_CLEARANCE = frozenset({"light", "air outlet", "sprinkler", "detector", "curtain"})
"""Kinds of obstacle with a clearance of their own among the limits."""

_IN_FACE_M = 0.02
"""An obstacle within this of the ceiling face is in the face."""

_REACH_M = 1.0
"""Obstacles are looked at within this of a trim, farther where a clearance asks for more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """An obstacle near a speaker.

    Parameters
    ----------
    distance_m
        From the unit's trim to the obstacle's edge, in plan; negative if they overlap. [m]
    needed_m, source
        Distance asked for, and who asks. [m]
    is_sprinkler_rule
        Whether the rule for things that hang near a sprinkler made ``needed_m``.
    """

    key: str
    label: str
    kind: str
    distance_m: float
    needed_m: float
    source: str
    is_sprinkler_rule: bool = False

    @property
    def is_short(self) -> bool:
        """Whether the distance is less than asked for."""
        return self.distance_m < self.needed_m - 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeakerFit:
    """One speaker against its ceiling.

    Parameters
    ----------
    is_inside
        Its centre lies under its ceiling.
    has_tile, tile_is_full, tile_is_usable, off_centre_m
        Its tile: there is one, uncut, allowed; distance from where a unit would sit in it. [m]
    hole_gap_m
        From the edge of its cut-out to the nearest tee or wall; ``None`` without one. [m]
    joist_gap_m
        From the edge of its cut-out to the nearest joist; ``None`` without joists or hole. [m]
    edge_gap_m
        From its trim to the edge of the ceiling. [m]
    flange_overlap_m
        Trim over the edge of its hole; ``None`` where nothing is cut. [m]
    void_need_m, void_have_m, void_by
        Void needed and there; ``None`` if nobody knows; what limits it. [m]
    ceiling_height_m, hangs_m
        Ceiling over it; how far it reaches below the ceiling face. [m]
    neighbours
        Obstacles closer than asked for, and the nearest other one.
    nearest_unit_label, unit_gap_m, shares_tile_with
        The nearest other speaker, the gap between trims, and whoever sits in the same tile. [m]
    mass_kg, support_id, support_capacity_kg
        What it weighs; the part that carries it, empty if the catalogue has none. [kg]
    grid_capacity_kg
        What the grid could carry there; ``None`` without a grid. [kg]
    seismic
        Wires that the seismic category asks for; ``None`` if it does not.
    safety_wire_id, safety_length_m, safety_breaking_n
        Its safety wire: the part, empty if none fits; length, ``None`` if the structure's height
        is unknown; breaking load. [m, N]
    from_walls, place_text
        Its place as numbers and in words (tiles; empty without a grid).
    """

    key: str
    label: str
    room_key: str
    ceiling_key: str
    type_id: str
    position: tuple[float, float]
    is_inside: bool
    has_tile: bool
    tile_is_full: bool
    tile_is_usable: bool
    off_centre_m: float
    hole_gap_m: float | None
    joist_gap_m: float | None
    edge_gap_m: float
    flange_overlap_m: float | None
    void_need_m: float
    void_have_m: float | None
    void_by: str
    ceiling_height_m: float
    hangs_m: float
    neighbours: tuple[Neighbour, ...]
    nearest_unit_label: str
    unit_gap_m: float | None
    shares_tile_with: str
    mass_kg: float
    support_id: str
    support_capacity_kg: float
    grid_capacity_kg: float | None
    seismic: SeismicSupport | None
    safety_wire_id: str
    safety_length_m: float | None
    safety_breaking_n: float
    from_walls: tuple[FromWall, ...]
    place_text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CeilingLoad:
    """One ceiling with everything on it.

    Parameters
    ----------
    area_m2, units_mass_kg, load_kg_m2
        Its area, the units in it, and the whole per area. [m², kg, kg/m²]
    tile_mass_is_assumed
        Whether nobody weighed the infill.
    full_tiles, usable_tiles
        Of a grid; 0 without one.
    """

    room_key: str
    ceiling_key: str
    area_m2: float
    units_mass_kg: float
    load_kg_m2: float
    tile_mass_is_assumed: bool
    full_tiles: int
    usable_tiles: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CeilingState:
    """All speakers against all ceilings."""

    speakers: tuple[SpeakerFit, ...]
    ceilings: tuple[CeilingLoad, ...]

    def speaker(self, key: str) -> SpeakerFit:
        """Return one speaker by key; an unknown one raises ``KeyError``."""
        for fit in self.speakers:
            if fit.key == key:
                return fit
        raise KeyError(key)


def grid_lines(ceiling: Ceiling) -> GridLines | None:
    """Return the lines of a ceiling's grid; ``None`` without one.

    Parameters
    ----------
    ceiling
        The ceiling.
    """
    if ceiling.kind != "grid" or ceiling.grid is None:
        return None
    grid = ceiling.grid
    return GridLines(
        origin=grid.origin,
        pitch_x_m=grid.pitch_x_m,
        pitch_y_m=grid.pitch_y_m,
        angle_rad=grid.angle_rad,
        tee_width_m=grid.tee_width_m,
    )


def tile_field(room: Room, ceiling: Ceiling) -> TileField | None:
    """Return the tiles of a ceiling; ``None`` without a grid.

    Parameters
    ----------
    room, ceiling
        Where.

    Returns
    -------
    TileField or None
        All tiles, full and cut.
    """
    lines = grid_lines(ceiling)
    if lines is None or ceiling.grid is None:
        return None
    return tiles(
        room.outline,
        grid=lines,
        holes=room.holes,
        region=ceiling.region,
        border_usable=ceiling.grid.border_tiles_usable,
    )


def room_wall_names(room: Room, *, north_angle_rad: float) -> tuple[str, ...]:
    """Return the name of every wall of a room, the survey's names first.

    Parameters
    ----------
    room
        The room.
    north_angle_rad
        Direction of north, for walls that nothing else names. [rad]
    """
    return wall_names(
        room.outline,
        given=room.wall_names,
        doors=[DoorPoint(position=door.position, label=door.label) for door in room.doors],
        north_angle_rad=north_angle_rad,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CeilingPlace:
    """What all speakers under one ceiling share: worked out once.

    Parameters
    ----------
    survey, catalogue
        The job.
    room, ceiling
        Where.
    field
        Its tiles; ``None`` without a grid.
    names
        Names of the walls.
    obstacles
        Of the room.
    shape, solids
        The ceiling, and the obstacles, as shapes.
    reach_m
        Farther away than this an obstacle asks nothing of a unit's trim. [m]
    """

    survey: Survey
    catalogue: Catalogue
    room: Room
    ceiling: Ceiling
    field: TileField | None
    names: tuple[str, ...]
    obstacles: tuple[Obstacle, ...]
    shape: "BaseGeometry"
    solids: "STRtree"
    reach_m: float

    @property
    def limits(self) -> Limits:
        """Limits in force."""
        return self.survey.limits


def evaluate_ceiling(
    survey: Survey,
    speakers: Sequence[Speaker],
    catalogue: Catalogue,
) -> CeilingState:
    """Hold every speaker against its ceiling.

    Parameters
    ----------
    survey
        Rooms, ceilings, obstacles, limits.
    speakers
        All speakers of the design.
    catalogue
        Types and mounting parts.

    Returns
    -------
    CeilingState
        Complete result, speakers in the given order.

    Raises
    ------
    TableError
        If a speaker names a room, ceiling or type that is not there.
    DomainError
        If an outline or a grid cannot be.
    """
    places: dict[tuple[str, str], CeilingPlace] = {}
    crowds: dict[str, Crowd] = {}
    fits = []
    for speaker in speakers:
        where = (speaker.room_key, speaker.ceiling_key)
        if where not in places:
            places[where] = ceiling_place(survey, catalogue, *where)
        if speaker.room_key not in crowds:
            crowds[speaker.room_key] = crowd_of(speakers, catalogue, speaker.room_key)
        fits.append(fit_speaker(places[where], speaker, crowds[speaker.room_key]))
    loads = [
        _load(survey, catalogue, room, ceiling, speakers)
        for room in survey.rooms
        for ceiling in room.ceilings
    ]
    return CeilingState(speakers=tuple(fits), ceilings=tuple(loads))


def ceiling_place(
    survey: Survey, catalogue: Catalogue, room_key: str, ceiling_key: str
) -> CeilingPlace:
    """Return what all speakers under one ceiling share.

    Parameters
    ----------
    survey, catalogue
        The job.
    room_key, ceiling_key
        Where.

    Raises
    ------
    TableError
        If there is no such room or ceiling.
    """
    import shapely  # noqa: PLC0415 only this module's callers pay for it

    room = survey.room(room_key)
    ceiling = survey.ceiling(room_key, ceiling_key)
    obstacles = survey.obstacles_in(room_key)
    own = [item.clearance_m for item in obstacles if item.clearance_m is not None]
    return CeilingPlace(
        survey=survey,
        catalogue=catalogue,
        room=room,
        ceiling=ceiling,
        field=tile_field(room, ceiling),
        names=room_wall_names(room, north_angle_rad=survey.site.north_angle_rad),
        obstacles=obstacles,
        shape=ceiling_polygon(room.outline, holes=room.holes, region=ceiling.region),
        solids=shapely.STRtree([shapely.Polygon(item.outline).buffer(0) for item in obstacles]),
        reach_m=max([_REACH_M, survey.limits["sprinkler_cap_m"], *own]),
    )


def _load(
    survey: Survey,
    catalogue: Catalogue,
    room: Room,
    ceiling: Ceiling,
    speakers: Sequence[Speaker],
) -> CeilingLoad:
    area = float(ceiling_polygon(room.outline, holes=room.holes, region=ceiling.region).area)
    mass = sum(
        catalogue.speaker(speaker.type_id).mass_kg
        for speaker in speakers
        if (speaker.room_key, speaker.ceiling_key) == (room.key, ceiling.key)
    )
    tile_mass = _tile_mass(ceiling, survey.limits)
    field = tile_field(room, ceiling)
    return CeilingLoad(
        room_key=room.key,
        ceiling_key=ceiling.key,
        area_m2=area,
        units_mass_kg=mass,
        load_kg_m2=surface_load_kg_m2(
            tile_mass_kg_m2=tile_mass if ceiling.kind == "grid" else 0.0,
            units_mass_kg=mass,
            area_m2=area,
        ),
        tile_mass_is_assumed=ceiling.kind == "grid" and ceiling.tile_mass_kg_m2 is None,
        full_tiles=0 if field is None else int(field.is_full.sum()),
        usable_tiles=0 if field is None else int(field.is_usable.sum()),
    )


def _tile_mass(ceiling: Ceiling, limits: Limits) -> float:
    if ceiling.tile_mass_kg_m2 is not None:
        return ceiling.tile_mass_kg_m2
    return limits["tile_mass_kg_m2"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tile:
    has_tile: bool = False
    is_full: bool = False
    is_usable: bool = False
    off_centre_m: float = 0.0
    hole_gap_m: float | None = None


def _tile(place: CeilingPlace, speaker: Speaker, entry: SpeakerType) -> _Tile:
    field = place.field
    if field is None:
        return _Tile()
    column, row = field.tile_at(speaker.position)
    index = field.index(column, row)
    if index is None:
        return _Tile()
    off = float(np.hypot(*(np.asarray(speaker.position) - field.centre_m[index])))
    gap = None
    if entry.cutout_diameter_m is not None:
        gap = _hole_gap_m(place, field, index, speaker.position) - entry.cutout_diameter_m / 2.0
    return _Tile(
        has_tile=True,
        is_full=bool(field.is_full[index]),
        is_usable=bool(field.is_usable[index]),
        off_centre_m=off,
        hole_gap_m=gap,
    )


def _hole_gap_m(
    place: CeilingPlace, field: TileField, index: int, position: tuple[float, float]
) -> float:
    """Distance to the nearest tee edge or wall, negative outside the tile."""
    import shapely  # noqa: PLC0415 only this module's callers pay for it

    shape = place.shape
    box = field.outline(index)
    piece = box if field.is_full[index] else shape.intersection(box)
    point = shapely.Point(position)
    away = float(piece.boundary.distance(point)) - field.grid.tee_width_m / 2.0
    return away if piece.contains(point) else -away


def _joist_gap_m(place: CeilingPlace, speaker: Speaker, entry: SpeakerType) -> float | None:
    joists = place.ceiling.joists
    if joists is None or entry.cutout_diameter_m is None:
        return None
    beside = joist_distance_m(
        [speaker.position],
        offset=joists.offset,
        angle_rad=joists.angle_rad,
        spacing_m=joists.spacing_m,
        width_m=joists.width_m,
    )
    return float(beside[0]) - entry.cutout_diameter_m / 2.0


def is_above_face(entry: SpeakerType) -> bool:
    """Whether a type reaches up into the void (it is cut in) and not down into the room.

    Parameters
    ----------
    entry
        Catalogue entry.
    """
    return entry.cutout_diameter_m is not None


def type_void_need_m(entry: SpeakerType, limits: Limits) -> float:
    """Return the void that a type needs over the ceiling face; 0 for what hangs below it. [m].

    Parameters
    ----------
    entry
        Catalogue entry.
    limits
        Margins.
    """
    if not is_above_face(entry):
        return 0.0
    return void_need_m(
        depth_m=entry.depth_m,
        box_depth_m=entry.box_depth_m,
        bend_radius_m=entry.bend_radius_m,
        margin_m=limits["void_margin_m"],
        extra_ratio=limits["void_extra_ratio"],
    )


def _void(
    place: CeilingPlace, speaker: Speaker, entry: SpeakerType, height_m: float
) -> tuple[float | None, str]:
    ceiling = place.ceiling
    if ceiling.kind == "open":
        return None, ""
    candidates: list[tuple[float, str]] = []
    surveyed = void_at_m(
        speaker.position,
        void_depth_m=ceiling.void_depth_m,
        reach_m=place.limits["void_point_reach_m"],
        survey_m=ceiling.void_points,
    )
    if surveyed is not None:
        candidates.append((surveyed, "the surveyed void"))
    if ceiling.structure_height_m is not None:
        candidates.append((ceiling.structure_height_m - height_m, "the structure"))
    for item, distance in _around(place, speaker.position, entry.flange_diameter_m / 2.0):
        is_above = item.bottom_m is not None and item.bottom_m > height_m + _IN_FACE_M
        if item.bottom_m is not None and is_above and distance < entry.flange_diameter_m / 2.0:
            candidates.append((item.bottom_m - height_m, item.label or item.kind))
    return min(candidates, default=(None, ""), key=lambda found: found[0] or 0.0)


def _around(
    place: CeilingPlace, position: tuple[float, float], within_m: float
) -> list[tuple[Obstacle, float]]:
    """Obstacles near a position with their distance, in the order of the survey."""
    import shapely  # noqa: PLC0415 only this module's callers pay for it

    if not place.obstacles:
        return []
    point = shapely.Point(position)
    near = sorted(place.solids.query(point, predicate="dwithin", distance=within_m).tolist())
    solids = place.solids.geometries
    return [(place.obstacles[index], float(solids[index].distance(point))) for index in near]


def _is_in_room(item: Obstacle, height_m: float, lowest_m: float) -> bool:
    """Whether an obstacle meets the ceiling face or what hangs below it."""
    if item.bottom_m is None:
        return True
    top = item.top_m if item.top_m is not None else item.bottom_m
    return item.bottom_m <= height_m + _IN_FACE_M and top >= lowest_m - 0.3


def clearance_m(item: Obstacle, entry: SpeakerType, limits: Limits) -> tuple[float, str, bool]:
    """Return the distance that an obstacle asks of a type's trim, who asks, and if NFPA 13 does.

    Parameters
    ----------
    item
        The obstacle.
    entry
        Catalogue entry of the speaker.
    limits
        Distances by kind.

    Returns
    -------
    tuple
        Distance [m], source, and whether the rule for things that hang near a sprinkler made it.
    """
    if item.clearance_m is not None:
        return item.clearance_m, "the survey", False
    kind = item.kind.replace(" ", "_") if item.kind in _OWN_CLEARANCE else "other"
    name = f"place_clear_{kind}_m"
    needed, source = limits[name], limits.source(name)
    if item.kind != "sprinkler" or is_above_face(entry):
        return needed, source, False
    rule = float(
        sprinkler_clearance_m(
            max(entry.depth_m, entry.flange_diameter_m),
            factor=limits["sprinkler_factor"],
            cap_m=limits["sprinkler_cap_m"],
        )
    )
    if rule <= needed:
        return needed, source, False
    return rule, limits.source("sprinkler_factor"), True


def _neighbours(
    place: CeilingPlace, speaker: Speaker, entry: SpeakerType, height_m: float
) -> tuple[Neighbour, ...]:
    lowest = speaker.mount_height_m if not is_above_face(entry) else height_m
    radius = entry.flange_diameter_m / 2.0
    found = []
    for item, distance in _around(place, speaker.position, radius + place.reach_m):
        if not _is_in_room(item, height_m, lowest):
            continue
        needed, source, is_rule = clearance_m(item, entry, place.limits)
        found.append(
            Neighbour(
                key=item.key,
                label=item.label or item.kind,
                kind=item.kind,
                distance_m=distance - radius,
                needed_m=needed,
                source=source,
                is_sprinkler_rule=is_rule,
            )
        )
    found.sort(key=lambda item: (item.distance_m - item.needed_m, item.key))
    short = [item for item in found if item.is_short]
    return tuple(short or found[:1])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Nearest:
    label: str = ""
    gap_m: float | None = None
    shares_with: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crowd:
    """The speakers of one room as arrays, so that neighbours are found at once.

    Parameters
    ----------
    keys, labels, ceiling_keys : (n,)
        Of the speakers.
    position_m : (n, 2)
        Plan positions. [m]
    radius_m : (n,)
        Of the trims. [m]
    places
        Array position by key.
    """

    keys: tuple[str, ...]
    labels: tuple[str, ...]
    ceiling_keys: tuple[str, ...]
    position_m: FloatArray
    radius_m: FloatArray
    places: Mapping[str, int]


def crowd_of(speakers: Sequence[Speaker], catalogue: Catalogue, room_key: str) -> Crowd:
    """Gather the speakers of one room.

    Parameters
    ----------
    speakers
        All speakers.
    catalogue
        Their types.
    room_key
        The room.
    """
    here = [item for item in speakers if item.room_key == room_key]
    radius = [catalogue.speaker(item.type_id).flange_diameter_m / 2.0 for item in here]
    return Crowd(
        keys=tuple(item.key for item in here),
        labels=tuple(item.label for item in here),
        ceiling_keys=tuple(item.ceiling_key for item in here),
        position_m=np.array([item.position for item in here], dtype=np.float64).reshape(-1, 2),
        radius_m=np.array(radius, dtype=np.float64),
        places={item.key: index for index, item in enumerate(here)},
    )


def _nearest(place: CeilingPlace, speaker: Speaker, crowd: Crowd) -> _Nearest:
    own = crowd.places.get(speaker.key)
    if len(crowd.keys) - (own is not None) < 1:
        return _Nearest()
    radius = place.catalogue.speaker(speaker.type_id).flange_diameter_m / 2.0
    apart = np.hypot(*(crowd.position_m - np.asarray(speaker.position)).T)
    gap = apart - radius - crowd.radius_m
    if own is not None:
        gap[own] = np.inf
    best = int(np.argmin(gap))
    return _Nearest(
        label=crowd.labels[best], gap_m=float(gap[best]), shares_with=_shares(place, speaker, crowd)
    )


def _shares(place: CeilingPlace, speaker: Speaker, crowd: Crowd) -> str:
    """Label of another speaker in the same tile; empty if there is none."""
    if place.field is None:
        return ""
    own = place.field.tile_at(speaker.position)
    reach = np.hypot(place.field.grid.pitch_x_m, place.field.grid.pitch_y_m)
    near = np.hypot(*(crowd.position_m - np.asarray(speaker.position)).T) <= reach
    for index in np.flatnonzero(near):
        x, y = crowd.position_m[index]
        if (
            crowd.keys[index] != speaker.key
            and crowd.ceiling_keys[index] == speaker.ceiling_key
            and place.field.tile_at((float(x), float(y))) == own
        ):
            return crowd.labels[index]
    return ""


def support_kind(entry: SpeakerType, ceiling: Ceiling) -> str:
    """Return the kind of mounting part that carries a type in a ceiling.

    Rails and bridges rest on tees; where a board is closed there are none, and a frame behind
    the board, screwed to joists or battens, takes their place.

    Parameters
    ----------
    entry
        Catalogue entry of the speaker.
    ceiling
        Where.

    References
    ----------
    Common practice, no source.
    """
    if ceiling.kind == "plasterboard" and entry.support in RESTING:
        return "frame"
    return entry.support


def support_part(
    catalogue: Catalogue, entry: SpeakerType, ceiling: Ceiling, *, drop_m: float | None = None
) -> HardwareType | None:
    """Return the lightest mounting part that carries a type in a ceiling; ``None`` if none does.

    Parameters
    ----------
    catalogue
        Mounting parts.
    entry
        Catalogue entry of the speaker.
    ceiling
        Where; rails and bridges must fit between its tees.
    drop_m
        From the structure down to the unit's face; wires of a suspension must be as long, less
        the unit itself. ``None`` where nobody knows. [m]
    """
    hangs_m = max(0.0, (drop_m or 0.0) - entry.depth_m)
    fitting = [
        part
        for part in catalogue.hardware_types
        if part.kind == support_kind(entry, ceiling)
        and part.capacity_kg >= entry.mass_kg
        and _spans(part, ceiling)
        and (part.kind != "suspension" or part.length_m == 0.0 or part.length_m >= hangs_m)
    ]
    return min(fitting, key=lambda part: (part.capacity_kg, part.length_m, part.id), default=None)


def _spans(part: HardwareType, ceiling: Ceiling) -> bool:
    """Whether rails or a bridge rest on both tees without being too long to go in."""
    grid = ceiling.grid
    if part.kind not in {"rails", "bridge"} or grid is None or part.length_m == 0.0:
        return True
    return any(
        pitch - 0.6 * grid.tee_width_m <= part.length_m <= pitch - 0.002
        for pitch in (grid.pitch_x_m, grid.pitch_y_m)
    )


def safety_wire_part(
    catalogue: Catalogue, entry: SpeakerType, length_m: float | None, limits: Limits
) -> HardwareType | None:
    """Return the shortest safety wire that is long and strong enough; ``None`` if none is.

    Parameters
    ----------
    catalogue
        Mounting parts.
    entry
        Catalogue entry of the speaker.
    length_m
        Length needed; ``None`` if unknown (any length will do until it is measured). [m]
    limits
        Safety factors.
    """
    needed = entry.mass_kg * limits["safety_factor"] / limits["safety_label_factor"]
    fitting = [
        part
        for part in catalogue.hardware_types
        if part.kind == "safety wire"
        and part.capacity_kg >= needed
        and part.length_m >= (length_m or 0.0)
    ]
    return min(fitting, key=lambda part: (part.length_m, part.capacity_kg, part.id), default=None)


def _safety_length_m(place: CeilingPlace, height_m: float, speaker: Speaker) -> float | None:
    structure = place.ceiling.structure_height_m
    if structure is None and place.ceiling.kind == "open":
        structure = height_m
    face = min(height_m, speaker.mount_height_m)
    if structure is None or structure <= face:
        return None
    return safety_wire_length_m(
        to_structure_m=structure - face, slack_m=place.limits["safety_slack_m"]
    )


def _grid_capacity_kg(place: CeilingPlace) -> float | None:
    grid = place.ceiling.grid
    if place.ceiling.kind != "grid" or grid is None:
        return None
    return grid_capacity_kg(
        load_class=grid.load_class,
        span_m=place.limits["hanger_spacing_m"],
        tile_mass_kg_m2=_tile_mass(place.ceiling, place.limits),
        runner_spacing_m=grid.main_runner_spacing_m,
    )


def fit_speaker(
    place: CeilingPlace, speaker: Speaker, crowd: Crowd, *, is_named: bool = True
) -> SpeakerFit:
    """Hold one speaker against its ceiling.

    Parameters
    ----------
    place
        Its ceiling.
    speaker
        The speaker.
    crowd
        The speakers of the room, as neighbours.
    is_named
        Whether its place is counted from walls; else ``from_walls`` is empty.

    Returns
    -------
    SpeakerFit
        Complete record.
    """
    entry = place.catalogue.speaker(speaker.type_id)
    ceiling, limits = place.ceiling, place.limits
    height = float(
        height_at_m(
            [speaker.position],
            height_m=ceiling.height_m,
            slope_ratio=ceiling.slope_ratio,
            slope_angle_rad=ceiling.slope_angle_rad,
            slope_at=ceiling.slope_at,
        )[0]
    )
    tile = _tile(place, speaker, entry)
    nearest = _nearest(place, speaker, crowd)
    void_have, void_by = _void(place, speaker, entry, height)
    length = _safety_length_m(place, height, speaker)
    drop = None if length is None else length - limits["safety_slack_m"]
    part = support_part(place.catalogue, entry, ceiling, drop_m=drop)
    wire = safety_wire_part(place.catalogue, entry, length, limits)
    is_inside, edge_gap = _edge(place, speaker, entry)
    overlap = None
    if entry.cutout_diameter_m is not None:
        overlap = flange_overlap_m(
            cutout_diameter_m=entry.cutout_diameter_m, flange_diameter_m=entry.flange_diameter_m
        )
    walls = (
        place_from_walls(
            speaker.position,
            rings=[place.room.outline, *place.room.holes],
            names=place.names,
            angle_rad=ceiling.joists.angle_rad if ceiling.joists is not None else 0.0,
            field=place.field,
        )
        if is_named
        else ()
    )
    is_heavy = ceiling.kind == "grid" and is_heavy_seismic(place.survey.site.seismic_category)
    return SpeakerFit(
        key=speaker.key,
        label=speaker.label,
        room_key=speaker.room_key,
        ceiling_key=speaker.ceiling_key,
        type_id=speaker.type_id,
        position=speaker.position,
        is_inside=is_inside,
        has_tile=tile.has_tile,
        tile_is_full=tile.is_full,
        tile_is_usable=tile.is_usable,
        off_centre_m=tile.off_centre_m,
        hole_gap_m=tile.hole_gap_m,
        joist_gap_m=_joist_gap_m(place, speaker, entry),
        edge_gap_m=edge_gap,
        flange_overlap_m=overlap,
        void_need_m=type_void_need_m(entry, limits),
        void_have_m=void_have,
        void_by=void_by,
        ceiling_height_m=height,
        hangs_m=0.0 if is_above_face(entry) else max(height - speaker.mount_height_m, 0.0),
        neighbours=_neighbours(place, speaker, entry, height),
        nearest_unit_label=nearest.label,
        unit_gap_m=nearest.gap_m,
        shares_tile_with=nearest.shares_with,
        mass_kg=entry.mass_kg,
        support_id="" if part is None else part.id,
        support_capacity_kg=0.0 if part is None else part.capacity_kg,
        grid_capacity_kg=_grid_capacity_kg(place),
        seismic=seismic_support(entry.mass_kg) if is_heavy else None,
        safety_wire_id="" if wire is None else wire.id,
        safety_length_m=length,
        safety_breaking_n=safety_breaking_load_n(
            mass_kg=entry.mass_kg, factor=limits["safety_factor"]
        ),
        from_walls=walls,
        place_text=tile_text(walls, is_full=tile.is_full) if tile.has_tile and walls else "",
    )


def place_words(place: CeilingPlace, position: tuple[float, float], *, imperial: bool) -> str:
    """Return a place as a person overhead finds it: in tiles from two walls, or measured.

    Parameters
    ----------
    place
        Its ceiling.
    position
        Plan position. [m]
    imperial
        Feet and inches instead of metres.

    Returns
    -------
    str
        Empty where no wall is near.
    """
    ceiling = place.ceiling
    walls = place_from_walls(
        position,
        rings=[place.room.outline, *place.room.holes],
        names=place.names,
        angle_rad=ceiling.joists.angle_rad if ceiling.joists is not None else 0.0,
        field=place.field,
    )
    if place.field is not None and walls:
        return tile_text(walls, is_full=True)
    return ", ".join(
        f"{format_length(wall.distance_m, imperial=imperial, fine=True)} from the {wall.wall}"
        for wall in walls
    )


def _edge(place: CeilingPlace, speaker: Speaker, entry: SpeakerType) -> tuple[bool, float]:
    import shapely  # noqa: PLC0415 only this module's callers pay for it

    shape = place.shape
    point = shapely.Point(speaker.position)
    away = float(shape.boundary.distance(point))
    is_inside = bool(shape.contains(point))
    return is_inside, (away if is_inside else -away) - entry.flange_diameter_m / 2.0
