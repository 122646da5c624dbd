"""The question that the choice of subwoofers answers, and the complete answer, as records."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from soffit.design.subs_level import (
    LowLimit,
    MainsAtCrossover,
    PolarityTest,
    TapPlan,
)
from soffit.design.subs_room import (
    SubPlace,
    Wish,
)
from soffit.design.subs_search import (
    SettingChoice,
)
from soffit.model.catalogue import SpeakerType
from soffit.model.survey import Obstacle, Point, Room

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SubQuestion:
    """All that the choice of subwoofers for one room depends on.

    Parameters
    ----------
    room
        The room with its ceilings, listening areas and brief.
    sub_type
        The subwoofer.
    places
        Where it may go: free tiles with room above them for this type.
    reverberation_s : (8,)
        Reverberation time per octave band, measured or computed; ``None`` is refused in words. [s]
    is_measured
        Whether it was measured (then it knows what leaks through the ceiling).
    line_voltage_v
        Voltage of the line. [V]
    mid_level_db
        Energy mean over the seats of the other speakers' level in the octave of 1 kHz, whole field,
        at nominal line voltage; ``None`` if the room has no others. [dB]
    listening_dba
        Level at which programme will be heard; for the default tilt. [dB]
    mains
        The other speakers, for crossover and polarity.
    placed
        Subwoofers put by hand, to compare with. [m]
    placed_keys
        Their permanent keys.
    count
        How many subwoofers, if a person says so.
    most
        Largest number looked at.
    wish
        Where the architect would like them.
    own_channels
        Each subwoofer has an amplifier channel of its own, so that polarity and delay may differ.
    ceiling_absorption_ratio
        Coefficient at 63 Hz with which the reverberation time counts the ceiling.
    obstacles
        What may rattle.
    """

    room: Room
    sub_type: SpeakerType
    places: tuple[SubPlace, ...]
    reverberation_s: tuple[float, ...] | None
    is_measured: bool = False
    line_voltage_v: float = 100.0
    mid_level_db: float | None = None
    listening_dba: float | None = None
    mains: MainsAtCrossover | None = None
    placed: tuple[Point, ...] = ()
    placed_keys: tuple[str, ...] = ()
    count: int | None = None
    most: int = 4
    wish: Wish = "any"
    own_channels: bool = False
    ceiling_absorption_ratio: float = 0.0
    obstacles: tuple[Obstacle, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BandRow:
    """What the seats get in one third octave.

    Parameters
    ----------
    label
        Nominal third octave.
    level_db
        Energy mean over seats of the chosen subwoofers at their taps, the same drive per octave as
        the other speakers at nominal line voltage. [dB]
    spread_db
        Standard deviation over seats. [dB]
    low_db, high_db
        Levels between which 95 % of the seats lie, against the mean. [dB]
    before_spread_db
        Spread of the places put by hand; ``None`` if there are none. [dB]
    leak_db
        How far the level moves either way with what leaks through the ceiling. [dB]
    """

    label: str
    level_db: float
    spread_db: float
    low_db: float
    high_db: float
    before_spread_db: float | None
    leak_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SubOption:
    """One way to do it, so that an installer can argue with the architect.

    Parameters
    ----------
    words
        Such as "best two tiles", "corner", "as placed by hand".
    places
        Where.
    spread_db, support_db, smoothness_db
        Seat-to-seat deviation; level per watt re 1 m; deviation along the notes. [dB]
    taps
        Tap and watts that the tilt takes; ``None`` if no level was asked.
    is_proven
        Whether every possibility was tried.
    mark
        ``chosen`` for the one that was taken.
    """

    words: str
    places: tuple[SubPlace, ...]
    spread_db: float
    support_db: float
    smoothness_db: float
    taps: TapPlan | None
    is_proven: bool
    mark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LowMap:
    """Level over the floor per third octave.

    Parameters
    ----------
    x_m, y_m : (nx,), (ny,)
        Plan coordinates of columns and rows. [m]
    ear_height_m
        Height of the map. [m]
    labels
        Third octaves.
    level_db : (n_bands, ny, nx)
        Level against the energy mean over the seats of that band; NaN outside the room. [dB]
    """

    x_m: FloatArray
    y_m: FloatArray
    ear_height_m: float
    labels: tuple[str, ...]
    level_db: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class SpreadOfTiles:
    """How much the choice of one tile is worth.

    Parameters
    ----------
    free
        Candidates.
    best_db, median_db, worst_db
        Seat-to-seat deviation of single tiles. [dB]
    """

    free: int
    best_db: float
    median_db: float
    worst_db: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SubDesign:
    """The whole answer for one room.

    Parameters
    ----------
    room_key, type_id
        What it is about.
    model
        How the field was computed, in words.
    height_m, volume_m3
        Of the prism that stands for the room. [m, m³]
    schroeder_hz
        Above it the statistical model serves better. [Hz]
    valid_to_hz
        Highest frequency that was computed. [Hz]
    crossover_hz
        Crossover to the other speakers. [Hz]
    limit
        Where the subwoofer stops, and what stops it.
    bands
        Third octaves that count.
    tilt_asked_db, tilt_source
        Low over mid band, and where that number comes from. [dB]
    chosen
        What to do.
    options
        One to four tiles, reference places, what was placed by hand.
    tiles
        What the choice of a tile is worth.
    rows
        Each third octave.
    low_map
        Maps.
    settings
        Polarity and delay where each subwoofer has a channel; else ``None``.
    polarity
        What the polarity test should show; ``None`` without other speakers.
    seats_m : (n_seats, 3)
        Where it was judged. [m]
    notes
        Assumptions, in words.
    """

    room_key: str
    type_id: str
    model: str
    height_m: float
    volume_m3: float
    schroeder_hz: float
    valid_to_hz: float
    crossover_hz: float
    limit: LowLimit
    bands: tuple[str, ...]
    tilt_asked_db: float
    tilt_source: str
    chosen: SubOption
    options: tuple[SubOption, ...]
    tiles: SpreadOfTiles
    rows: tuple[BandRow, ...]
    low_map: LowMap
    settings: SettingChoice | None
    polarity: PolarityTest | None
    seats_m: FloatArray = field(repr=False)
    notes: tuple[str, ...] = ()
