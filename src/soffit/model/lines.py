"""Lines, runs, joints and the amplifiers that feed them."""

from dataclasses import dataclass
from typing import Literal

from soffit.model.survey import Point

Topology = Literal["chain", "tees", "free tees", "ring", "as found"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """A place where runs meet that is not a speaker: a tee box, a splice, a volume control.

    Parameters
    ----------
    position, storey_key
        Where it is. [m]
    kind
        What it is.
    attenuation_db, rated_power_w
        For a volume control: its setting and its rating. [dB, W]
    """

    key: str
    label: str
    position: Point
    storey_key: str
    kind: Literal["tee", "splice", "volume control"] = "tee"
    attenuation_db: float = 0.0
    rated_power_w: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One piece of cable between two joints; the end nearer the amplifier comes first.

    Parameters
    ----------
    start_key, end_key
        Keys of rack, joint or speaker.
    length_m
        Route length with rises, drops and service loops; the loop is twice that. [m]
    route
        Plan polyline, first point at the start. [m]
    penetrations
        Walls that it passes.
    """

    key: str
    label: str
    start_key: str
    end_key: str
    length_m: float
    cable_id: str
    route: tuple[Point, ...] = ()
    penetrations: int = 0
    fixed: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Everything on one amplifier output.

    Parameters
    ----------
    voltage_v
        Nominal line voltage. [V]
    rack_key
        Where it begins.
    speaker_keys
        Its speakers in wiring order, which is the order of their labels.
    runs
        A tree from the rack outwards: every run's start is the rack or the end of an earlier run
        (a ring has one run more).
    joint_keys
        Its joints that are not speakers.
    high_pass_hz
        High-pass that the line needs; ``None`` if not decided. [Hz]
    route_note
        Proof or gap of the wiring order, in words.
    """

    key: str
    label: str
    voltage_v: float
    zone_keys: tuple[str, ...]
    rack_key: str
    speaker_keys: tuple[str, ...]
    runs: tuple[Run, ...]
    joints: tuple[Joint, ...] = ()
    topology: Topology = "chain"
    high_pass_hz: float | None = None
    route_note: str = ""
    other_routes_m: tuple[tuple[str, float], ...] = ()
    fixed: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One output of a placed amplifier with the lines on it."""

    number: int
    line_keys: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Amplifier:
    """One placed amplifier."""

    key: str
    label: str
    type_id: str
    rack_key: str
    channels: tuple[Channel, ...]
    fixed: bool = False
