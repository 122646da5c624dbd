"""Shape of job.toml: one model per table, keys as people write them."""

from typing import Annotated, Literal

from pydantic import Field

from soffit.job.quantities import (
    Angle,
    Area,
    Count,
    Entry,
    Key,
    Length,
    Level,
    LimitValue,
    LineVoltage,
    Pair,
    PlanPoint,
    Power,
    Ratio,
    SurfaceMass,
    Time,
)
from soffit.model.survey import EvennessMeasure, HeightSource, ObstacleKind, Programme, Region

FORMAT = 1
"""Format of job.toml that this version writes."""


class SiteEntry(Entry):
    """The job as a whole."""

    name: str
    region: Region = "other"
    units: Literal["imperial", "metric"] | None = Field(
        default=None, description="What papers show; imperial where the region is US."
    )
    paper: Literal["a4", "a3", "letter", "ansi-b"] | None = None
    line_voltage: LineVoltage | None = None
    topology: Literal["chain", "tees", "free tees"] = "chain"
    seismic_category: str = ""
    customer: str = ""
    address: str = ""
    invented: bool = False
    north: Angle | None = Field(
        default=None, description="Direction of north from the plan's x axis; 90 by default."
    )


class StoreyEntry(Entry):
    """One storey."""

    label: str = ""
    elevation: Length = 0.0


class RackEntry(Entry):
    """Where amplifiers stand and lines begin."""

    label: str = ""
    storey: str | None = None
    room: str | None = None
    at: PlanPoint
    drop: Length = Field(default=2.5, description="Cable from the void down to the amplifier.")


class ShapeEntry(Entry):
    """A plan shape in one of three ways: corner and size, at and diameter, or an outline."""

    corner: PlanPoint | None = Field(default=None, description="Lower left corner.")
    size: Pair | None = Field(default=None, description="Width along x and depth along y.")
    at: PlanPoint | None = Field(default=None, description="Centre of something round.")
    diameter: Length | None = None
    outline: list[PlanPoint] | None = Field(default=None, description="Corners in order.")


class GridEntry(Entry):
    """Tile grid of a ceiling."""

    origin: PlanPoint | None = Field(default=None, description="One crossing of the tees.")
    pitch: Pair | None = Field(default=None, description="Tee centre to tee centre.")
    angle: Angle = 0.0
    tee: Length = Field(default=0.024, description="Visible width of a tee.")
    main_runners: Literal["x", "y"] = "x"
    main_runner_spacing: Length | None = None
    border_tiles: bool = Field(default=False, description="Cut tiles may carry a speaker.")
    load_class: Literal["light", "intermediate", "heavy", "unknown"] = "unknown"


class JoistsEntry(Entry):
    """Joists or studs above a closed ceiling."""

    angle: Angle = 0.0
    spacing: Length
    width: Length
    at: PlanPoint | None = Field(default=None, description="A point on one centre line.")


class SlopeEntry(Entry):
    """Slope of a ceiling whose height holds at one point."""

    ratio: Ratio = Field(description="Rise per metre.")
    angle: Angle = Field(default=0.0, description="Direction of rise.")
    at: PlanPoint


class CeilingEntry(ShapeEntry):
    """One ceiling of a room; its shape is the part it covers, all of the room if left out."""

    key: Key | None = None
    kind: Literal["grid", "plasterboard", "concealed", "open"] = "grid"
    height: Length | None = None
    height_source: HeightSource | None = None
    grid: GridEntry | None = None
    joists: JoistsEntry | None = None
    slope: SlopeEntry | None = None
    void_depth: Length | None = None
    void_source: HeightSource | None = None
    structure_height: Length | None = None
    plenum: bool = False
    fire_rated: bool = False
    tile_mass: SurfaceMass | None = None
    tile_material: str = ""


class SurfaceEntry(Entry):
    """A surface by material."""

    part: Literal["floor", "walls", "ceiling", "furniture"]
    material: str
    area: Area | None = None


class NoiseEntry(Entry):
    """Background noise, stated in exactly one of four ways."""

    dba: Level | None = None
    nc: Level | None = None
    nr: Level | None = None
    octaves: Annotated[list[Level], Field(min_length=8, max_length=8)] | None = Field(
        default=None, description="Levels at 63 Hz to 8 kHz."
    )
    source: str = "surveyed"


class BriefEntry(Entry):
    """What the room was asked to get."""

    programme: Programme | None = None
    level: Level | None = None
    margin: Level | None = None
    evenness: Level = Field(default=3.0, description="3 means +-3 dB.")
    evenness_share: Ratio = 0.95
    evenness_measure: EvennessMeasure = "direct 4 kHz"
    sti_min: Ratio | None = None
    max_level: Level | None = None
    speaker_type: str | None = None
    tap: Power | None = None
    count: Count | None = None
    spacing: Length | None = None
    low_tilt: Level | None = None


class ListeningEntry(ShapeEntry):
    """Where ears are; the whole room less a margin if it has no shape."""

    key: Key | None = None
    label: str = ""
    ear_height: Length | None = None
    wall_margin: Length = 0.5
    excluded: bool = False


class TestPointEntry(Entry):
    """A place at which levels will be measured."""

    __test__ = False

    key: Key
    label: str = ""
    at: PlanPoint
    height: Length = 1.2


class DoorEntry(Entry):
    """A door on the outline of its room."""

    key: Key | None = None
    label: str = "door"
    at: PlanPoint
    width: Length = 0.9


class ObstacleEntry(ShapeEntry):
    """Something in, under or above a ceiling; may be repeated."""

    key: Key | None = None
    kind: ObstacleKind
    label: str = ""
    bottom: Length | None = None
    top: Length | None = None
    clearance: Length | None = None
    doubt: str = ""
    source: str = "surveyed"
    repeat: Annotated[list[Count], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="How often along x and along y."
    )
    step: Pair | None = Field(default=None, description="From one to the next.")


class ColumnEntry(ShapeEntry):
    """A column or court: no ears, no speakers, no sight through it."""

    label: str = ""


class RoomEntry(ShapeEntry):
    """One room."""

    label: str = ""
    storey: str | None = None
    use: str = ""
    wall_names: list[str] = Field(
        default_factory=list, description="Name of each wall, in the order of the outline."
    )
    columns: list[ColumnEntry] = Field(default_factory=list)
    noise: NoiseEntry | None = None
    reverberation: Annotated[list[Time], Field(min_length=8, max_length=8)] | None = Field(
        default=None, description="Measured at 63 Hz to 8 kHz."
    )
    brief: BriefEntry = Field(default_factory=BriefEntry)
    surfaces: list[SurfaceEntry] = Field(default_factory=list)
    ceilings: list[CeilingEntry] = Field(default_factory=list)
    listening: list[ListeningEntry] = Field(default_factory=list)
    test_points: list[TestPointEntry] = Field(default_factory=list)
    doors: list[DoorEntry] = Field(default_factory=list)
    obstacles: list[ObstacleEntry] = Field(default_factory=list)
    locked: bool = Field(default=False, description="A re-design leaves this room as it is.")


class ZoneEntry(Entry):
    """Places that share source and level control."""

    label: str = ""
    rooms: list[str] = Field(min_length=1)
    source: str = ""
    volume_control: bool = False
    priority: int = Field(default=1, ge=0, le=9)
    delay: Time = 0.0


class CableWayEntry(Entry):
    """A way for cable drawn by hand."""

    label: str = ""
    storey: str | None = None
    points: list[PlanPoint] = Field(min_length=1)
    riser: bool = False


class PlacedEntry(Entry):
    """A speaker put by hand, or one that hangs already."""

    key: Key
    room: str
    type: str
    at: PlanPoint
    tap: Power | None = None
    mount_height: Length | None = None
    aim: Annotated[list[float], Field(min_length=3, max_length=3)] | None = Field(
        default=None, description="Direction in which it looks: x, y, z (up)."
    )
    existing: bool = False


class EquipmentEntry(Entry):
    """Types that this job may use; an empty list means any of the catalogue."""

    speaker_types: list[str] = Field(default_factory=list)
    amplifier_types: list[str] = Field(default_factory=list)
    cable_types: list[str] = Field(default_factory=list)
    spare: Ratio = 0.0


class AcceptedEntry(Entry):
    """A finding that a named role has accepted, with the reason."""

    code: str
    place: str
    role: str
    reason: str


class JobFile(Entry):
    """All of job.toml."""

    format: Literal[1] = Field(description="Format of the file.")
    revision: int = Field(default=0, ge=0, description="Rises with every write.")
    site: SiteEntry
    storeys: dict[Key, StoreyEntry] = Field(default_factory=dict)
    racks: dict[Key, RackEntry] = Field(default_factory=dict)
    rooms: dict[Key, RoomEntry] = Field(default_factory=dict)
    zones: dict[Key, ZoneEntry] = Field(default_factory=dict)
    cable_ways: dict[Key, CableWayEntry] = Field(default_factory=dict)
    placed: list[PlacedEntry] = Field(default_factory=list)
    equipment: EquipmentEntry = Field(default_factory=EquipmentEntry)
    limits: dict[str, LimitValue] = Field(
        default_factory=dict, description="Settings that this job changes."
    )
    accepted: list[AcceptedEntry] = Field(default_factory=list)
