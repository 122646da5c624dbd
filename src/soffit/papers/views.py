"""What papers receive: frozen records, filled above; papers only lay them out.

Lengths, powers and levels are SI numbers, formatted here by the region's habit; texts are printed
as they come. One :class:`SpeakerView` feeds plan, card, schedule, schematic, label and field page
alike, so that they cannot disagree.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from soffit.model.decisions import Option
from soffit.model.findings import Finding
from soffit.model.survey import (
    Assumption,
    Ceiling,
    Door,
    ListeningArea,
    Obstacle,
    Point,
    Ring,
    TestPoint,
)

Paper = Literal["a4", "a3", "letter", "ansi-b"]
Verdict = Literal["met", "missed", "open"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TitleView:
    """What every title block says.

    Parameters
    ----------
    job, customer, address
        Name of the job and who it is for.
    revision, date
        Revision of the design and its date, ISO 8601; the only date on any paper.
    made_with
        Program version and settings in one line, such as ``soffit 0.1.0``.
    job_hash
        Short hash of the job that the design was made from.
    is_invented
        Whether all of it is an invented example; printed on every sheet.
    line_voltage_v
        Nominal line voltage of the job. [V]
    north_angle_rad
        Direction of north from the plan's x axis. [rad]
    """

    job: str
    revision: int
    date: str
    customer: str = ""
    address: str = ""
    made_with: str = "soffit"
    job_hash: str = ""
    is_imperial: bool = False
    is_invented: bool = False
    paper: Paper = "a4"
    line_voltage_v: float = 100.0
    north_angle_rad: float = 1.5707963267948966


@dataclass(frozen=True, slots=True, kw_only=True)
class BriefRow:
    """One demand of a brief against its result.

    Parameters
    ----------
    what
        The demand in words, such as "level at the ears".
    asked, got
        Both with unit, such as "70 dBA" and "71.2 dBA".
    verdict
        ``met``, ``missed``, or ``open`` where it was not computed.
    note
        Why, or how it will be measured.
    """

    what: str
    asked: str
    got: str
    verdict: Verdict
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MapView:
    """A map over a room: level, evenness, speech or low end.

    Parameters
    ----------
    kind
        What it shows; chooses its place in the packs.
    title
        Heading, such as "Direct level, 4 kHz octave".
    unit
        Unit of the values: "dB", "dBA" or empty.
    values : (n_rows, n_columns)
        Row 0 lies at the lowest y; NaN where there is no room.
    origin, step_m
        Centre of value [0, 0]; distance between values. [m]
    edges : (n_bands + 1,)
        Edges of the colour bands, rising.
    note
        Summary in one line, such as "spread ±1.8 dB over 95 % of ears (polar table)".
    marks
        Extra points with a short text, such as the worst seat.
    """

    kind: Literal["level", "evenness", "sti", "low end"]
    title: str
    unit: str
    values: NDArray[np.float64]
    origin: Point
    step_m: float
    edges: tuple[float, ...]
    note: str = ""
    marks: tuple[tuple[Point, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteView:
    """One run of cable as drawn on the plan of one room.

    Parameters
    ----------
    run_key, label
        Of the run.
    points
        Its polyline on the plan, amplifier end first. [m]
    leaves_to
        Where it goes when it leaves this plan ("rack R1", "cafe"); empty inside.
    """

    run_key: str
    label: str
    line_label: str
    points: tuple[Point, ...]
    leaves_to: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkView:
    """Something else to draw on a plan: a rack, a joint box, a volume control, a measure point.

    Parameters
    ----------
    position
        Where it is. [m]
    """

    kind: Literal["rack", "tee", "splice", "volume control", "test point"]
    key: str
    label: str
    position: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomView:
    """One room: plan, brief against result, alternatives, maps.

    Parameters
    ----------
    key, label, storey
        Of the room.
    outline, holes
        Polygon, and columns or courts in it. [m]
    ceilings, obstacles, doors, wall_names, listening_areas, test_points
        As surveyed.
    routes, marks
        Cable and everything else that is drawn.
    maps
        The first of kind ``level`` goes on the plan sheet.
    brief
        Demands against results.
    pattern
        The layout in words, such as "4 x 6, aligned, every 5th tile".
    count
        Speakers in it.
    reason, options, bound
        Why this layout, the front of alternatives, and what is proven.
    storey_elevation_m
        Finished floor of its storey above the job's datum. [m]
    ceiling_text
        Ceiling in one line: kind, height with its source, void, plenum, fire rating.
    notes
        Sentences about sound and search, printed under the maps.
    plan_notes
        Those that whoever hangs it must know, printed beside the plan.
    """

    key: str
    label: str
    storey: str
    outline: Ring
    holes: tuple[Ring, ...] = ()
    ceilings: tuple[Ceiling, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    doors: tuple[Door, ...] = ()
    wall_names: tuple[str, ...] = ()
    listening_areas: tuple[ListeningArea, ...] = ()
    test_points: tuple[TestPoint, ...] = ()
    routes: tuple[RouteView, ...] = ()
    marks: tuple[MarkView, ...] = ()
    maps: tuple[MapView, ...] = ()
    brief: tuple[BriefRow, ...] = ()
    pattern: str = ""
    count: int = 0
    use: str = ""
    reason: str = ""
    options: tuple[Option, ...] = ()
    bound: str = ""
    storey_elevation_m: float = 0.0
    ceiling_text: str = ""
    notes: tuple[str, ...] = ()
    plan_notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WireView:
    """One cable end at a speaker: where the other end goes.

    Parameters
    ----------
    to_label
        Label of what is at the other end, such as ``L3-06`` or ``rack R1``.
    length_m
        Route length of the run. [m]
    cable
        Type and size, such as ``16 AWG CL3P``.
    colours
        Plus and minus core, such as ``red + / black -``.
    terminals
        Terminals it goes on, such as ``IN +, IN -``.
    run_label
        Label on the cable.
    """

    to_label: str
    length_m: float
    cable: str
    colours: str = ""
    terminals: str = ""
    run_label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterBand:
    """What an impedance meter shows at 1 kHz where everything is sound.

    Parameters
    ----------
    middle_ohm, low_ohm, high_ohm
        Likeliest reading, and the band in which it lies. [Ω]
    """

    middle_ohm: float
    low_ohm: float
    high_ohm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeakerView:
    """One speaker as every paper shows it.

    Parameters
    ----------
    key, label
        Permanent key, and label such as ``L3-07``.
    order
        Place in the wiring order of its line, from 1.
    type_id, type_name, kind
        Of its catalogue entry; ``kind`` chooses the symbol.
    type_mark
        Letter of its type on every sheet, such as ``B``.
    position, mount_height_m
        Plan position of its centre; its face above finished floor. [m]
    tile, tile_text
        Column and row, and the tile as a person overhead finds it.
    place_text
        Distances to two walls where there is no grid, or a second way to find it.
    tap_text, tap_mark, tap_w
        Tap with unit ("5 W"), the way the unit shows it ("switch to 5, scale 70 V"). [W]
    voltage_v, loss_db, delivered_w
        At the speaker at full line voltage. [V, dB, W]
    impedance_out_ohm
        Looking away from the amplifier, this unit included, taps as resistances. [Ω]
    impedance_alone_ohm
        This unit alone, its tap as a resistance. [Ω]
    meter_out, meter_alone
        What a meter shows of the two.
    cutout_m, flange_m, depth_m, mass_kg
        Hole diameter (``None``: nothing is cut), trim diameter, depth above the face, mass. [m, kg]
    support_text, safety_text
        What carries it, and its safety wire.
    void_text
        Room above at this place against the depth needed.
    wire_in, wires_out
        Cable from the amplifier's side, and onward.
    cautions
        Short sentences that belong to this place; the general ones are printed by the sheet.
    findings
        Codes of findings about it.
    state
        ``planned``, ``existing`` or ``installed``.
    card_note
        Anything else in words.
    """

    key: str
    label: str
    room_key: str
    room_label: str
    line_key: str
    line_label: str
    order: int
    type_id: str
    type_name: str
    kind: Literal["ceiling", "pendant", "surface", "subwoofer"]
    position: Point
    mount_height_m: float
    tap_text: str
    tap_w: float
    tap_mark: str = ""
    tile: tuple[int, int] | None = None
    tile_text: str = ""
    place_text: str = ""
    voltage_v: float = 0.0
    loss_db: float = 0.0
    delivered_w: float = 0.0
    impedance_out_ohm: float | None = None
    impedance_alone_ohm: float | None = None
    meter_out: MeterBand | None = None
    meter_alone: MeterBand | None = None
    cutout_m: float | None = None
    flange_m: float = 0.0
    depth_m: float = 0.0
    mass_kg: float = 0.0
    support_text: str = ""
    safety_text: str = ""
    void_text: str = ""
    aim_text: str = "straight down"
    bypass_text: str = ""
    wire_in: WireView | None = None
    wires_out: tuple[WireView, ...] = ()
    cautions: tuple[str, ...] = ()
    findings: tuple[str, ...] = ()
    state: Literal["planned", "existing", "installed"] = "planned"
    is_fixed: bool = False
    zone_label: str = ""
    card_note: str = ""
    type_mark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeView:
    """One place on a line: the rack, a speaker or a joint, with the run that leads to it.

    Parameters
    ----------
    key, label, kind
        Of the place; speakers are looked up by ``key`` among the speakers.
    parent_key
        Where its run comes from; empty for the rack.
    run_label, run_length_m, cable, colours
        The run from the parent. [m]
    voltage_v, loss_db, current_a
        At this place at full line voltage; current in the run. [V, dB, A]
    impedance_out_ohm
        Looking away from the amplifier, line opened here, taps as resistances. [Ω]
    meter_out
        What a meter shows of it.
    open_here
        Whether this is a good place to open the line for tests, and how, in words; may be empty.
    """

    key: str
    label: str
    kind: Literal["rack", "speaker", "tee", "splice", "volume control"]
    parent_key: str = ""
    run_label: str = ""
    run_length_m: float = 0.0
    cable: str = ""
    colours: str = ""
    terminals: str = ""
    voltage_v: float = 0.0
    loss_db: float = 0.0
    current_a: float = 0.0
    impedance_out_ohm: float | None = None
    meter_out: MeterBand | None = None
    open_here: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LineView:
    """One line with everything on it.

    Parameters
    ----------
    key, label, title
        Of the line; title such as "Reading hall".
    voltage_v
        Nominal line voltage. [V]
    load_w, drawn_w
        Sum of taps; what is drawn with losses. [W]
    impedance_ohm
        At the amplifier end at 1 kHz, taps as resistances. [Ω]
    meter
        What a meter shows there.
    worst_loss_db, worst_label
        Largest loss and where. [dB]
    loss_limit_text
        Limit with its source.
    length_m
        Cable of the line in all. [m]
    nodes
        Parent before child; the rack first.
    curve
        Frequency and impedance at the amplifier end. [Hz, Ω]
    channel_text
        Amplifier and channel, such as "A1 channel 2".
    conductor_degc
        Copper temperature it was computed for. [°C]
    """

    key: str
    label: str
    title: str
    voltage_v: float
    load_w: float
    drawn_w: float
    impedance_ohm: float
    worst_loss_db: float
    nodes: tuple[NodeView, ...]
    meter: MeterBand | None = None
    worst_label: str = ""
    loss_limit_text: str = ""
    length_m: float = 0.0
    cable_text: str = ""
    curve: tuple[tuple[float, float], ...] = ()
    channel_text: str = ""
    high_pass_hz: float | None = None
    conductor_degc: float = 20.0
    topology: str = "chain"
    zones_text: str = ""
    route_note: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CableRow:
    """One run on the cable list.

    Parameters
    ----------
    length_m
        Route length. [m]
    cut_m
        Length to cut, slack and waste included. [m]
    penetrations
        Walls that it passes.
    """

    run_label: str
    line_label: str
    from_label: str
    to_label: str
    cable: str
    length_m: float
    cut_m: float
    colours: str = ""
    note: str = ""
    penetrations: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialRow:
    """One line of the material list; the user's own prices may be absent.

    Parameters
    ----------
    section
        Heading it stands under, such as "Loudspeakers" or "Cable".
    quantity, unit
        How many of what.
    price_each
        In the currency of the user's own list; ``None`` if unknown.
    source
        Where the quantity comes from when it is not a count of the design.
    """

    section: str
    item: str
    quantity: float
    unit: str
    type_id: str = ""
    price_each: float | None = None
    note: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TestRow:
    """One test of the commissioning sheet.

    Parameters
    ----------
    step
        Its number in the order of work; rows come sorted.
    phase
        Heading, such as "1 Dead tests" or "3 Level in the rooms".
    place, place_key
        Where, as labelled, and the permanent key.
    what
        What to do, short.
    quantity
        As in readings: ``impedance``, ``voltage``, ``level`` ...
    expected, low, high, unit
        Value and tolerance in the unit given; ``None`` where words are expected.
    expected_text
        Printed instead of the number where there is none, such as "heard".
    drive
        What is on the line, such as "pink noise, 7.07 V rms".
    frequency_hz
        Tone; ``None`` for noise or dc. [Hz]
    """

    step: int
    phase: str
    place: str
    what: str
    quantity: str
    place_key: str = ""
    expected: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    expected_text: str = ""
    drive: str = ""
    frequency_hz: float | None = None
    direction: str = ""
    room_label: str = ""
    note: str = ""

    __test__ = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRow:
    """One reading as taken, for the hand-over pack."""

    place: str
    what: str
    value_text: str
    expected_text: str = ""
    verdict: str = ""
    taken_at: str = ""
    instrument: str = ""
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelView:
    """One amplifier output.

    Parameters
    ----------
    lines_text
        Labels of its lines.
    load_w, drawn_w, rated_w
        Sum of taps, what is drawn, and its rating. [W]
    load_ratio
        Drawn over rated.
    voltage_v
        Line voltage to set. [V]
    impedance_ohm
        At its terminals at 1 kHz, taps as resistances. [Ω]
    meter_ohm
        What a meter shows there. [Ω]
    high_pass_hz
        High-pass to set; ``None`` for none. [Hz]
    """

    number: int
    lines_text: str
    load_w: float
    drawn_w: float
    rated_w: float
    load_ratio: float
    voltage_v: float
    impedance_ohm: float | None = None
    meter_ohm: float | None = None
    high_pass_hz: float | None = None
    zones_text: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AmplifierView:
    """One amplifier in its rack.

    Parameters
    ----------
    mass_kg
        Its mass. [kg]
    """

    label: str
    type_name: str
    channels: tuple[ChannelView, ...]
    key: str = ""
    rack_units: int = 2
    mass_kg: float = 0.0
    class_mark: str = ""
    output_text: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RackView:
    """One rack with its amplifiers and what to set."""

    label: str
    place_text: str
    amplifiers: tuple[AmplifierView, ...]
    key: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeView:
    """One loudspeaker type in use: legend, cut list and drilling template.

    Parameters
    ----------
    cutout_m, flange_m, depth_m, mass_kg
        Hole (``None``: nothing is cut), trim, depth above the face, mass. [m, kg]
    mark
        Its letter on every sheet.
    tile_x_m, tile_y_m
        Visible tile that it is cut into; ``None`` off a grid. [m]
    """

    id: str
    name: str
    kind: Literal["ceiling", "pendant", "surface", "subwoofer"]
    count: int
    cutout_m: float | None = None
    flange_m: float = 0.0
    depth_m: float = 0.0
    mass_kg: float = 0.0
    tile_x_m: float | None = None
    tile_y_m: float | None = None
    taps_text: str = ""
    support_text: str = ""
    terminals: str = ""
    marks_text: str = ""
    directivity_text: str = ""
    source: str = ""
    mark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingRow:
    """One setting or limit as used, with its source.

    Parameters
    ----------
    is_own
        Whether the job set it.
    is_limit
        Whether what is built was held against it, rather than a search or an estimate.
    """

    name: str
    value_text: str
    source: str
    help: str = ""
    is_own: bool = False
    is_limit: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """One entry of the history."""

    date: str
    text: str
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteRow:
    """One line of a quote.

    Parameters
    ----------
    section
        ``material``, ``labour``, ``access``, ``testing`` or the user's own.
    quantity_low, quantity, quantity_high
        How many: low, likely, high.
    hours_each
        Hours for one; 0 for goods. [h]
    price_each
        Price for one; ``None`` where the user's list has none.
    basis
        Where quantity, hours and price come from; assumptions say so.
    """

    section: str
    item: str
    unit: str
    quantity_low: float
    quantity: float
    quantity_high: float
    hours_each: float = 0.0
    price_each: float | None = None
    basis: str = ""
    is_assumption: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteView:
    """A quote.

    Parameters
    ----------
    currency, rate_per_hour
        Of the user's own list; no rate, no labour price.
    hours, total
        Sums low, likely, high; the total is ``None`` while a price is missing. [h]
    missing_prices
        Items without a price.
    exclusions, assumptions
        Plain sentences.
    """

    rows: tuple[QuoteRow, ...]
    currency: str = ""
    rate_per_hour: float | None = None
    hours: tuple[float, float, float] = (0.0, 0.0, 0.0)
    total: tuple[float, float, float] | None = None
    missing_prices: tuple[str, ...] = ()
    exclusions: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    valid_text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobView:
    """Everything that any pack prints.

    Parameters
    ----------
    title
        Title block.
    headline
        The job in two or three sentences, for the cover.
    rooms, speakers, lines, racks, types
        The design; speakers in label order.
    cables, materials
        Lists.
    tests, readings
        Commissioning, and what was measured.
    findings, assumptions, settings, log
        For office and hand-over.
    quote
        ``None`` unless asked for.
    link
        Address that QR codes open, with ``{key}`` for the speaker; empty: codes carry the label.
    """

    title: TitleView
    rooms: tuple[RoomView, ...]
    speakers: tuple[SpeakerView, ...]
    lines: tuple[LineView, ...]
    headline: tuple[str, ...] = ()
    racks: tuple[RackView, ...] = ()
    types: tuple[TypeView, ...] = ()
    cables: tuple[CableRow, ...] = ()
    materials: tuple[MaterialRow, ...] = ()
    tests: tuple[TestRow, ...] = ()
    readings: tuple[ReadingRow, ...] = ()
    findings: tuple[Finding, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    settings: tuple[SettingRow, ...] = ()
    log: tuple[LogRow, ...] = ()
    quote: QuoteView | None = None
    link: str = ""

    def in_room(self, room_key: str) -> tuple[SpeakerView, ...]:
        """Return the speakers of a room, in label order."""
        return tuple(item for item in self.speakers if item.room_key == room_key)

    def on_line(self, line_key: str) -> tuple[SpeakerView, ...]:
        """Return the speakers of a line, in wiring order."""
        found = [item for item in self.speakers if item.line_key == line_key]
        return tuple(sorted(found, key=lambda item: item.order))
