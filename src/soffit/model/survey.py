"""What was found and asked: storeys, rooms, ceilings, obstacles, briefs, racks."""

from dataclasses import dataclass, field
from typing import Literal

Point = tuple[float, float]
"""Plan position x, y in the job's one coordinate system, the same on all storeys. [m]"""

Ring = tuple[Point, ...]
"""Simple closed polygon without the repeated first point, counter-clockwise. [m]"""

HeightSource = Literal["surveyed", "model", "assumed"]
Programme = Literal["speech", "paging", "background music", "foreground music"]
EvennessMeasure = Literal[
    "direct 4 kHz", "direct 2 kHz", "direct dBA", "whole 4 kHz", "whole 2 kHz", "whole dBA"
]
Region = Literal["US", "EU", "UK", "other"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """Something nobody surveyed: what was taken instead, and why.

    Parameters
    ----------
    path
        Key path in job.toml, such as ``rooms.cafe.ceiling.height``.
    text
        What was assumed, in words with its value and unit.
    source
        Where the value comes from.
    """

    path: str
    text: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Tile grid of a suspended ceiling.

    Parameters
    ----------
    origin
        One crossing of the tee centre lines. [m]
    angle_rad
        Direction of the grid's columns axis (its local x), from the plan's x axis. [rad]
    pitch_x_m, pitch_y_m
        Tee centre to tee centre along local x and y; 0.6 is not 0.6096. [m]
    tee_width_m
        Visible width of a tee. [m]
    main_runner_axis
        Local axis along which the main runners lie.
    main_runner_spacing_m
        Centre to centre of main runners. [m]
    border_tiles_usable
        Whether cut tiles at the walls may carry a speaker.
    load_class
        Duty class of the grid, as its maker states.
    """

    origin: Point
    pitch_x_m: float
    pitch_y_m: float
    angle_rad: float = 0.0
    tee_width_m: float = 0.024
    main_runner_axis: Literal["x", "y"] = "x"
    main_runner_spacing_m: float = 1.2
    border_tiles_usable: bool = False
    load_class: Literal["light", "intermediate", "heavy", "unknown"] = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Joists:
    """Joists or studs above a plasterboard ceiling.

    Parameters
    ----------
    angle_rad
        Direction in which they run, from the plan's x axis. [rad]
    spacing_m, width_m
        Centre to centre, and width of one. [m]
    offset
        A point on the centre line of one of them. [m]
    """

    angle_rad: float
    spacing_m: float
    width_m: float
    offset: Point = (0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ceiling:
    """One ceiling of a room; a room may have several at different heights.

    Parameters
    ----------
    kind
        ``grid``, ``plasterboard``, ``concealed`` or ``open`` (no ceiling: pendants hang).
    height_m
        Finished ceiling (or structure, if open) above finished floor. [m]
    height_source
        Who says so.
    region
        Part of the room it covers; ``None`` for all of it. [m]
    grid, joists
        Where the kind has them.
    void_depth_m, void_source
        Ceiling face to lowest obstacle above. [m]
    void_points : (n, 3)
        Void measured by hand: plan x, y and depth there. [m]
    slope_ratio, slope_angle_rad
        Rise per metre and direction of rise; ``height_m`` then holds at ``slope_at``. [rad]
    is_plenum, fire_rated
        Void moves room air; the ceiling is part of a fire-rated assembly.
    tile_mass_kg_m2
        Mass of the infill. [kg/m²]
    speaker_type
        Id of the type wanted in this ceiling; ``None``: the brief's.
    """

    key: str
    kind: Literal["grid", "plasterboard", "concealed", "open"]
    height_m: float
    height_source: HeightSource = "surveyed"
    region: Ring | None = None
    grid: Grid | None = None
    joists: Joists | None = None
    void_depth_m: float | None = None
    void_source: HeightSource = "surveyed"
    void_points: tuple[tuple[float, float, float], ...] = ()
    slope_ratio: float = 0.0
    slope_angle_rad: float = 0.0
    slope_at: Point = (0.0, 0.0)
    is_plenum: bool = False
    fire_rated: bool = False
    tile_mass_kg_m2: float | None = None
    tile_material: str = ""
    structure_height_m: float | None = None
    speaker_type: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A material that the job enters itself, beside the tables.

    Parameters
    ----------
    absorption_ratio : (8,)
        Absorption coefficients, 63 Hz to 8 kHz, as stated: laboratories give up to 1.2; empty for
        an object.
    object_m2 : (8,)
        Absorption area of one object, such as a seat; empty for a surface. [m²]
    source
        Who measured it, or which sheet says so.
    """

    id: str
    label: str
    absorption_ratio: tuple[float, ...] = ()
    object_m2: tuple[float, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """A surface of a room by material, or a number of objects in it.

    Parameters
    ----------
    part
        ``floor``, ``walls``, ``ceiling`` or ``furniture``; its area follows from the room.
    material
        Id in the table of absorption coefficients, or of a material of the job.
    area_m2
        Area where it is not the whole part. [m²]
    count
        Number of objects whose absorption is stated for each one.
    absorption_ratio : (8,)
        As stated where the job enters the material itself; empty: the table holds.
    object_m2 : (8,)
        Absorption area of one object, likewise. [m²]
    """

    part: Literal["floor", "walls", "ceiling", "furniture"]
    material: str
    area_m2: float | None = None
    count: int | None = None
    absorption_ratio: tuple[float, ...] = ()
    object_m2: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Background noise in one of the four ways people state it.

    Parameters
    ----------
    kind
        ``dba``, ``nc``, ``nr`` or ``octaves``.
    value
        Single number for the first three. [dB]
    octaves_db : (8,)
        Octave levels for the last. [dB]
    source
        Measured, or which table it was taken from.
    """

    kind: Literal["dba", "nc", "nr", "octaves"]
    value: float | None = None
    octaves_db: tuple[float, ...] | None = None
    source: str = "surveyed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Brief:
    """What a room was asked to get.

    Parameters
    ----------
    programme
        What will be played; chooses the spectrum.
    level_dba
        Wanted level at the ears; if ``None``, noise plus margin. [dB]
    margin_db
        Wanted level over the noise. [dB]
    evenness_db
        Half the spread that ``evenness_share`` of the ears may have (3 means +-3 dB). [dB]
    evenness_share
        Share of ears held.
    evenness_measure
        Which field and band counts.
    sti_min
        Wanted speech transmission index; ``None`` if not asked.
    max_level_dba
        Comfort limit; ``None`` if not asked. [dB]
    speaker_type
        Id of the wanted type; ``None`` to choose.
    tap_w
        Wanted tap; ``None`` to choose. [W]
    count
        Wanted number of speakers; ``None`` to choose.
    spacing_m
        Specified spacing; ``None`` to choose. [m]
    low_tilt_db
        Wanted low band over mid band where there is a subwoofer; ``None`` for the default. [dB]
    """

    programme: Programme = "speech"
    level_dba: float | None = None
    margin_db: float | None = None
    evenness_db: float = 3.0
    evenness_share: float = 0.95
    evenness_measure: EvennessMeasure = "direct 4 kHz"
    sti_min: float | None = None
    max_level_dba: float | None = None
    speaker_type: str | None = None
    tap_w: float | None = None
    count: int | None = None
    spacing_m: float | None = None
    low_tilt_db: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ListeningArea:
    """Where ears are.

    Parameters
    ----------
    outline
        Its polygon; ``None`` for the whole room less ``wall_margin_m``. [m]
    ear_height_m
        Above finished floor: 1.2 seated, 1.6 standing. [m]
    wall_margin_m
        Strip along walls without ears. [m]
    """

    key: str
    label: str = ""
    outline: Ring | None = None
    ear_height_m: float = 1.2
    wall_margin_m: float = 0.5
    is_excluded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TestPoint:
    """A place at which levels will be measured."""

    key: str
    label: str
    position: Point
    height_m: float = 1.2

    __test__ = False


ObstacleKind = Literal[
    "light",
    "air outlet",
    "sprinkler",
    "detector",
    "sign",
    "beam",
    "duct",
    "pipe",
    "cable tray",
    "hatch",
    "curtain",
    "fan",
    "other",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """Something in, under or above a ceiling.

    Parameters
    ----------
    outline
        Its plan polygon. [m]
    bottom_m, top_m
        Lower and upper edge above finished floor; ``None``: in the ceiling face. [m]
    clearance_m
        Distance asked for by its own rule where the survey says so. [m]
    doubt
        Why its kind is not sure; empty if it is.
    """

    key: str
    label: str
    room_key: str
    kind: ObstacleKind
    outline: Ring
    bottom_m: float | None = None
    top_m: float | None = None
    clearance_m: float | None = None
    doubt: str = ""
    source: str = "surveyed"
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedSpeaker:
    """A speaker that a person put by hand, or that hangs already.

    Parameters
    ----------
    position
        Plan position, or the nearest tile's centre if the room has a grid. [m]
    tap_w
        Tap; ``None`` to choose. [W]
    is_existing
        It hangs there already and cannot be moved.
    """

    key: str
    room_key: str
    type_id: str
    position: Point
    tap_w: float | None = None
    mount_height_m: float | None = None
    aim: tuple[float, float, float] = (0.0, 0.0, -1.0)
    is_existing: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """Something a person asks of a layout, such as a row over the counter.

    Parameters
    ----------
    start, end
        First and last place of the row, or nearest to them. [m]
    count
        Speakers in it, evenly spread.
    label
        What it is for, in words.
    speaker_type
        Id of the type wanted in the row; ``None``: that of the ceiling over it.
    """

    start: Point
    end: Point
    count: int
    label: str = ""
    speaker_type: str | None = None
    kind: Literal["row"] = "row"


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """A door, so that tiles can be named from it.

    Parameters
    ----------
    position
        Its middle on the room's outline. [m]
    """

    key: str
    label: str
    position: Point
    width_m: float = 0.9


OPEN_APART_M = 0.4
"""Rooms that are open to each other may be drawn this far apart: what is left of a wall. [m]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """One room with its ceilings, surfaces, noise, ears and brief.

    Parameters
    ----------
    outline, holes
        Polygon and the columns or courts in it. [m]
    reverberation_s : (8,)
        Measured reverberation time per octave band; ``None`` to compute. [s]
    furnishing
        Free words for the papers.
    wall_names
        Name of each wall by its outline edge, such as ``window wall``; may be shorter.
    wishes
        Rows that the layout is to have; the rest is searched round them.
    is_locked
        A re-design leaves this room as it is.
    open_to
        Keys of rooms side by side with it that no wall parts from it.
    """

    key: str
    label: str
    storey_key: str
    outline: Ring
    holes: tuple[Ring, ...] = ()
    ceilings: tuple[Ceiling, ...] = ()
    use: str = ""
    surfaces: tuple[Surface, ...] = ()
    reverberation_s: tuple[float, ...] | None = None
    noise: Noise | None = None
    brief: Brief = field(default_factory=Brief)
    listening_areas: tuple[ListeningArea, ...] = ()
    test_points: tuple[TestPoint, ...] = ()
    doors: tuple[Door, ...] = ()
    wall_names: tuple[str, ...] = ()
    wishes: tuple[Wish, ...] = ()
    is_locked: bool = False
    open_to: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Storey:
    """One storey; heights in rooms are above its finished floor.

    Parameters
    ----------
    elevation_m
        Finished floor above the job's datum. [m]
    """

    key: str
    label: str
    elevation_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rack:
    """Where amplifiers stand and lines begin.

    Parameters
    ----------
    position, storey_key
        Plan position and storey. [m]
    room_key
        Room it stands in, if any.
    drop_m
        Cable from the ceiling void down to the amplifier. [m]
    """

    key: str
    label: str
    position: Point
    storey_key: str
    room_key: str | None = None
    drop_m: float = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class CableWay:
    """A way for cable drawn by hand: corridor, tray or riser; preferred where given.

    Parameters
    ----------
    points
        Its polyline. [m]
    """

    key: str
    label: str
    storey_key: str
    points: tuple[Point, ...]
    is_riser: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """Types that this job may use; empty means any of the catalogue."""

    speaker_types: tuple[str, ...] = ()
    amplifier_types: tuple[str, ...] = ()
    cable_types: tuple[str, ...] = ()
    spare_ratio: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """The job as a whole.

    Parameters
    ----------
    line_voltage_v
        Nominal line voltage; 100/sqrt(2) where the file says 70.7. [V]
    topology
        How lines are wired unless a person says otherwise.
    seismic_category
        Seismic design category where it counts; empty if it does not.
    """

    name: str
    region: Region = "other"
    is_imperial: bool = False
    paper: Literal["a4", "a3", "letter", "ansi-b"] = "a4"
    line_voltage_v: float = 100.0
    topology: Literal["chain", "tees", "free tees"] = "chain"
    seismic_category: str = ""
    customer: str = ""
    address: str = ""
    is_invented: bool = False
    north_angle_rad: float = 1.5707963267948966
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """A finding that a named role has accepted, with the reason; printed, never hidden."""

    code: str
    place: str
    role: str
    reason: str
