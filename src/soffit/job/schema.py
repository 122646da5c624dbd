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

    name: str = Field(description="What papers call the job.")
    region: Region = Field(default="other", description="Whose codes and habits apply.")
    units: Literal["imperial", "metric"] | None = Field(
        default=None, description="What papers show; imperial where the region is US."
    )
    paper: Literal["a4", "a3", "letter", "ansi-b"] | None = Field(
        default=None, description="Size of printed pages; letter where the region is US, else a4."
    )
    line_voltage: LineVoltage | None = Field(
        default=None, description="Nominal; 70.7 names 100/sqrt(2) V. Assumed from the region."
    )
    topology: Literal["chain", "tees", "free tees"] = Field(
        default="chain", description="How lines are wired unless a person says otherwise."
    )
    seismic_category: str = Field(
        default="", description="Seismic design category, where it counts."
    )
    customer: str = Field(default="", description="Printed in the title block.")
    address: str = Field(default="", description="Printed in the title block.")
    invented: bool = Field(default=False, description="The job is made up; papers say so.")
    north: Angle | None = Field(
        default=None, description="Direction of north from the plan's x axis; 90 by default."
    )


class StoreyEntry(Entry):
    """One storey."""

    label: str = Field(default="", description="Name on papers; the key if left out.")
    elevation: Length = Field(default=0.0, description="Finished floor above the job's datum.")


class RackEntry(Entry):
    """Where amplifiers stand and lines begin."""

    label: str = Field(default="", description="Name on papers; the key if left out.")
    storey: str | None = Field(default=None, description="Key of its storey, or that of its room.")
    room: str | None = Field(default=None, description="Key of the room it stands in.")
    at: PlanPoint = Field(description="Plan position.")
    drop: Length = Field(default=2.5, description="Cable from the void down to the amplifier.")


class ShapeEntry(Entry):
    """A plan shape in one of three ways: corner and size, at and diameter, or an outline."""

    corner: PlanPoint | None = Field(default=None, description="Lower left corner.")
    size: Pair | None = Field(default=None, description="Width along x and depth along y.")
    at: PlanPoint | None = Field(default=None, description="Centre of something round.")
    diameter: Length | None = Field(default=None, description="Across something round.")
    outline: list[PlanPoint] | None = Field(default=None, description="Corners in order.")


class GridEntry(Entry):
    """Tile grid of a ceiling."""

    origin: PlanPoint | None = Field(default=None, description="One crossing of the tees.")
    pitch: Pair | None = Field(default=None, description="Tee centre to tee centre.")
    angle: Angle = Field(default=0.0, description="Turn of the grid against the plan.")
    tee: Length = Field(default=0.024, description="Visible width of a tee.")
    main_runners: Literal["x", "y"] = Field(
        default="x", description="Axis of the grid along which the main runners lie."
    )
    main_runner_spacing: Length | None = Field(
        default=None, description="Centre to centre; two tiles if left out."
    )
    border_tiles: bool = Field(default=False, description="Cut tiles may carry a speaker.")
    load_class: Literal["light", "intermediate", "heavy", "unknown"] = Field(
        default="unknown", description="Duty class that the maker of the grid states."
    )


class JoistsEntry(Entry):
    """Joists or studs above a closed ceiling."""

    angle: Angle = Field(default=0.0, description="Direction in which they run.")
    spacing: Length = Field(description="Centre to centre.")
    width: Length = Field(description="Width of one.")
    at: PlanPoint | None = Field(default=None, description="A point on one centre line.")


class SlopeEntry(Entry):
    """Slope of a ceiling whose height holds at one point."""

    ratio: Ratio = Field(description="Rise per metre.")
    angle: Angle = Field(default=0.0, description="Direction of rise.")
    at: PlanPoint = Field(description="Where the height of the ceiling holds.")


class VoidPointEntry(Entry):
    """A place at which somebody measured the void."""

    at: PlanPoint = Field(description="Where.")
    depth: Length = Field(description="Ceiling face to the lowest obstacle above, there.")


class CeilingEntry(ShapeEntry):
    """One ceiling of a room; its shape is the part it covers, all of the room if left out."""

    key: Key | None = Field(default=None, description="Numbered by kind if left out.")
    kind: Literal["grid", "plasterboard", "concealed", "open"] = Field(
        default="grid", description="open: no ceiling, pendants hang from the structure."
    )
    height: Length | None = Field(
        default=None, description="Above finished floor; assumed 2.7 m if left out."
    )
    height_source: HeightSource | None = Field(default=None, description="Who says so.")
    grid: GridEntry | None = Field(default=None, description="Its tile grid.")
    joists: JoistsEntry | None = Field(default=None, description="What stands behind the board.")
    slope: SlopeEntry | None = Field(default=None, description="Left out for a level ceiling.")
    void_depth: Length | None = Field(
        default=None, description="Ceiling face to the lowest obstacle above."
    )
    void_source: HeightSource | None = Field(default=None, description="Who says so.")
    void_points: list[VoidPointEntry] = Field(
        default_factory=list,
        description="Void measured at single places; the least near by counts.",
    )
    structure_height: Length | None = Field(
        default=None, description="Underside of the structure above finished floor."
    )
    plenum: bool = Field(default=False, description="The void moves the room's air.")
    fire_rated: bool = Field(default=False, description="Part of a fire-rated assembly.")
    tile_mass: SurfaceMass | None = Field(default=None, description="Mass of the infill.")
    tile_material: str = Field(default="", description="Free words.")
    speaker_type: str | None = Field(
        default=None, description="Id of the type wanted in this ceiling; the brief's if left out."
    )


class SurfaceEntry(Entry):
    """A surface by material."""

    part: Literal["floor", "walls", "ceiling", "furniture"] = Field(description="Which surface.")
    material: str = Field(description="Id in the table of absorption, or of [materials].")
    area: Area | None = Field(default=None, description="Where it is not the whole part.")
    count: Annotated[int, Field(ge=1, le=100_000)] | None = Field(
        default=None, description="Number of objects that absorb by the piece."
    )


class MaterialEntry(Entry):
    """A material whose absorption the job enters itself, in exactly one of two ways."""

    label: str = Field(default="", description="Name on papers; the id if left out.")
    absorption: list[Ratio] | None = Field(
        default=None,
        description="Coefficients at 125 Hz to 4 kHz (six) or 63 Hz to 8 kHz (eight); up to 1.2.",
    )
    each: list[Area] | None = Field(
        default=None, description="Absorption area of one object, in the same octaves."
    )
    source: str = Field(description="Who measured it, or which sheet says so.")


class NoiseEntry(Entry):
    """Background noise, stated in exactly one of four ways."""

    dba: Level | None = Field(default=None, description="A-weighted level.")
    nc: Level | None = Field(default=None, description="Number of the NC curve.")
    nr: Level | None = Field(default=None, description="Number of the NR curve.")
    octaves: Annotated[list[Level], Field(min_length=8, max_length=8)] | None = Field(
        default=None, description="Levels at 63 Hz to 8 kHz."
    )
    source: str = Field(default="surveyed", description="Measured, or where it was taken from.")


class BriefEntry(Entry):
    """What the room was asked to get."""

    programme: Programme | None = Field(
        default=None, description="What is played; assumed speech if left out."
    )
    level: Level | None = Field(default=None, description="Wanted at the ears, dBA.")
    margin: Level | None = Field(
        default=None, description="Wanted over the noise, if no level is stated."
    )
    evenness: Level = Field(default=3.0, description="3 means +-3 dB.")
    evenness_share: Ratio = Field(default=0.95, description="Share of ears that it holds for.")
    evenness_measure: EvennessMeasure = Field(
        default="direct 4 kHz", description="Which field and band counts."
    )
    sti_min: Ratio | None = Field(default=None, description="Wanted speech transmission index.")
    max_level: Level | None = Field(default=None, description="Comfort limit, dBA.")
    speaker_type: str | None = Field(default=None, description="Id of the wanted type.")
    tap: Power | None = Field(default=None, description="Wanted tap.")
    count: Count | None = Field(
        default=None, description="Wanted number of loudspeakers, beside those put by hand."
    )
    spacing: Length | None = Field(default=None, description="Specified spacing.")
    low_tilt: Level | None = Field(
        default=None, description="Wanted low band over mid band where there is a subwoofer."
    )


class ListeningEntry(ShapeEntry):
    """Where ears are; the whole room less a margin if it has no shape."""

    key: Key | None = Field(default=None, description="Numbered if left out.")
    label: str = Field(default="", description="Name on papers.")
    ear_height: Length | None = Field(
        default=None, description="Above finished floor; assumed 1.2 m seated, 1.6 m standing."
    )
    wall_margin: Length = Field(default=0.5, description="Strip along walls without ears.")
    excluded: bool = Field(default=False, description="No ears here; taken out of the others.")


class TestPointEntry(Entry):
    """A place at which levels will be measured."""

    __test__ = False

    key: Key = Field(description="Permanent; readings name it.")
    label: str = Field(default="", description="Name on papers.")
    at: PlanPoint = Field(description="Plan position.")
    height: Length = Field(default=1.2, description="Of the microphone above finished floor.")


class DoorEntry(Entry):
    """A door on the outline of its room."""

    key: Key | None = Field(default=None, description="Numbered if left out.")
    label: str = Field(default="door", description="Name on papers.")
    at: PlanPoint = Field(description="Its middle, on the outline of the room.")
    width: Length = Field(default=0.9, description="Clear width.")


class ObstacleEntry(ShapeEntry):
    """Something in, under or above a ceiling; may be repeated."""

    key: Key | None = Field(default=None, description="Numbered by kind if left out.")
    kind: ObstacleKind = Field(description="What it is.")
    label: str = Field(default="", description="Name on papers; numbered where it repeats.")
    bottom: Length | None = Field(
        default=None, description="Lower edge above finished floor; in the ceiling if left out."
    )
    top: Length | None = Field(default=None, description="Upper edge above finished floor.")
    clearance: Length | None = Field(
        default=None, description="Distance asked for by its own rule."
    )
    doubt: str = Field(default="", description="Why its kind is not sure.")
    source: str = Field(default="surveyed", description="Who says so.")
    repeat: Annotated[list[Count], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="How often along x and along y."
    )
    step: Pair | None = Field(default=None, description="From one to the next.")


class WishEntry(Entry):
    """Something asked of a layout: it is laid first, the rest is searched round it."""

    kind: Literal["row"] = Field(default="row", description="A row from one place to another.")
    label: str = Field(default="", description="What it is for, such as the counter.")
    start: PlanPoint = Field(alias="from", description="Place of its first loudspeaker.")
    end: PlanPoint = Field(alias="to", description="Place of its last one.")
    count: Count = Field(description="Loudspeakers in it, evenly spread.")
    speaker_type: str | None = Field(
        default=None, description="Type wanted in it; that of the ceiling if left out."
    )


class ColumnEntry(ShapeEntry):
    """A column or court: no ears, no speakers, no sight through it."""

    label: str = Field(default="", description="Name on papers.")


class RoomEntry(ShapeEntry):
    """One room."""

    label: str = Field(default="", description="Name on papers; the key if left out.")
    storey: str | None = Field(default=None, description="Key of its storey.")
    use: str = Field(
        default="", description="Free words; they choose what is assumed of noise and ears."
    )
    wall_names: list[str] = Field(
        default_factory=list, description="Name of each wall, in the order of the outline."
    )
    columns: list[ColumnEntry] = Field(default_factory=list, description="Columns and courts.")
    noise: NoiseEntry | None = Field(
        default=None, description="Background noise; assumed from the use if left out."
    )
    reverberation: Annotated[list[Time], Field(min_length=8, max_length=8)] | None = Field(
        default=None, description="Measured at 63 Hz to 8 kHz."
    )
    brief: BriefEntry = Field(default_factory=BriefEntry, description="What was asked for.")
    surfaces: list[SurfaceEntry] = Field(
        default_factory=list, description="By material; missing parts are assumed."
    )
    ceilings: list[CeilingEntry] = Field(
        default_factory=list, description="One or more; a grid is assumed if left out."
    )
    listening: list[ListeningEntry] = Field(
        default_factory=list, description="Where ears are; the whole room if left out."
    )
    test_points: list[TestPointEntry] = Field(
        default_factory=list, description="Where levels will be measured."
    )
    doors: list[DoorEntry] = Field(
        default_factory=list, description="Tiles are named from them on the ladder."
    )
    obstacles: list[ObstacleEntry] = Field(
        default_factory=list, description="Lights, air outlets, sprinklers, ducts and so on."
    )
    wishes: list[WishEntry] = Field(
        default_factory=list, description="Rows that the layout is to have."
    )
    locked: bool = Field(default=False, description="A re-design leaves this room as it is.")
    open_to: list[str] = Field(
        default_factory=list,
        description="Rooms beside it with no wall between: taps of all are chosen together.",
    )


class ZoneEntry(Entry):
    """Places that share source and level control."""

    label: str = Field(default="", description="Name on papers; the key if left out.")
    rooms: list[str] = Field(min_length=1, description="Keys of its rooms.")
    source: str = Field(default="", description="What feeds it, in free words.")
    volume_control: bool = Field(default=False, description="It has a control on the wall.")
    priority: int = Field(default=1, ge=0, le=9, description="Paging priority, 0 the highest.")
    delay: Time = Field(default=0.0, description="Planned delay.")


class CableWayEntry(Entry):
    """A way for cable drawn by hand."""

    label: str = Field(default="", description="Name on papers; the key if left out.")
    storey: str | None = Field(default=None, description="Key of its storey.")
    points: list[PlanPoint] = Field(min_length=1, description="Its polyline.")
    riser: bool = Field(default=False, description="It leads to other storeys.")


class PlacedEntry(Entry):
    """A speaker put by hand, or one that hangs already."""

    key: Key = Field(description="Permanent.")
    room: str = Field(description="Key of its room.")
    type: str = Field(description="Id of its type in the catalogue.")
    at: PlanPoint = Field(description="Plan position; the tile under it where there is a grid.")
    tap: Power | None = Field(default=None, description="Its tap; chosen if left out.")
    mount_height: Length | None = Field(
        default=None, description="Of its face above finished floor; the ceiling if left out."
    )
    aim: Annotated[list[float], Field(min_length=3, max_length=3)] | None = Field(
        default=None, description="Direction in which it looks: x, y, z (up)."
    )
    existing: bool = Field(default=False, description="It hangs already and cannot be moved.")


class EquipmentEntry(Entry):
    """Types that this job may use; an empty list means any of the catalogue."""

    speaker_types: list[str] = Field(default_factory=list, description="Ids of loudspeakers.")
    amplifier_types: list[str] = Field(default_factory=list, description="Ids of amplifiers.")
    cable_types: list[str] = Field(default_factory=list, description="Ids of cables.")
    spare: Ratio = Field(default=0.0, description="Spare part of everything that is counted.")


class AcceptedEntry(Entry):
    """A finding that a named role has accepted, with the reason."""

    code: str = Field(description="Code of the finding.")
    place: str = Field(description="Its place, as the finding names it.")
    role: str = Field(description="Who accepts it, such as engineer of record.")
    reason: str = Field(description="Why; it is printed.")


class JobFile(Entry):
    """All of job.toml."""

    format: Literal[1] = Field(description="Format of the file.")
    revision: int = Field(default=0, ge=0, description="Rises with every write.")
    site: SiteEntry = Field(description="The job as a whole.")
    storeys: dict[Key, StoreyEntry] = Field(
        default_factory=dict, description="One ground floor if left out."
    )
    racks: dict[Key, RackEntry] = Field(default_factory=dict, description="Where lines begin.")
    rooms: dict[Key, RoomEntry] = Field(default_factory=dict, description="At least one.")
    materials: dict[Key, MaterialEntry] = Field(
        default_factory=dict, description="Absorption that the job enters itself."
    )
    zones: dict[Key, ZoneEntry] = Field(
        default_factory=dict, description="One zone with all rooms if left out."
    )
    cable_ways: dict[Key, CableWayEntry] = Field(
        default_factory=dict, description="Ways for cable that are preferred."
    )
    placed: list[PlacedEntry] = Field(
        default_factory=list, description="Speakers put by hand, or hanging already."
    )
    equipment: EquipmentEntry = Field(
        default_factory=EquipmentEntry, description="What may be used."
    )
    limits: dict[str, LimitValue] = Field(
        default_factory=dict, description="Settings that this job changes."
    )
    accepted: list[AcceptedEntry] = Field(
        default_factory=list, description="Findings that somebody has accepted."
    )
