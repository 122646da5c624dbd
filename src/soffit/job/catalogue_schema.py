"""Shape of catalogue.toml: one table of types by id for each kind of thing."""

from typing import Annotated, Literal

from pydantic import Field

from soffit.job.quantities import (
    Angle,
    Entry,
    Frequency,
    Key,
    Length,
    Level,
    LineVoltage,
    Mass,
    Power,
    Ratio,
    Resistance,
    Voltage,
)
from soffit.model.catalogue import SpeakerKind, TapWatt

Bands = Annotated[list[Level], Field(min_length=8, max_length=8)]


class TapEntry(Entry):
    """One primary connection at one line voltage."""

    power: Power
    voltage: LineVoltage
    mark: str = Field(default="", description="Switch scale and position, or lead colour.")


class PolarEntry(Entry):
    """Levels relative to the axis: a row for each octave band, a column for each angle."""

    plane: Literal["axial", "horizontal", "vertical"] = "axial"
    angle: list[Angle] = Field(min_length=2, description="Angles from the axis, rising from 0.")
    level: Annotated[list[list[Level]], Field(min_length=8, max_length=8)]


class DirectivityEntry(Entry):
    """How a type radiates."""

    model: Literal["polar", "piston", "cosine"]
    polar: list[PolarEntry] = Field(default_factory=list)
    piston_radius: Length | None = None
    coverage_angle: Angle | None = None


class TransformerEntry(Entry):
    """Electrical block of the transformer with its loudspeaker."""

    lf_limit: Frequency
    insertion_loss: Level
    magnetising: float | None = Field(default=None, description="Inductance times tap power, H·W.")
    leakage_ratio: Ratio = 0.002
    copper_share: Ratio = 0.7
    resonance: Frequency | None = None
    quality_factor: float = 1.0
    resonance_rise: float = 3.0


class LowEndEntry(Entry):
    """Low-frequency data of a subwoofer."""

    mid: list[Frequency] = Field(min_length=2)
    sensitivity: list[Level] = Field(min_length=2)
    low_limit: Frequency
    max_power: Power


class SpeakerTypeEntry(Entry):
    """One type of loudspeaker."""

    name: str
    kind: SpeakerKind
    taps: list[TapEntry] = Field(min_length=1)
    tap_watt: TapWatt
    rated_power: Power
    sensitivity: Bands
    directivity: DirectivityEntry
    transformer: TransformerEntry
    depth: Length
    mass: Mass
    flange_diameter: Length
    cutout_diameter: Length | None = None
    box_depth: Length = 0.0
    bend_radius: Length = 0.04
    support: Literal["rails", "bridge", "bracket", "suspension"] = "rails"
    bypass: Resistance | None = None
    bypass_mark: str = ""
    low_end: LowEndEntry | None = None
    plenum_mark: str = ""
    fire_mark: str = ""
    terminals: str = ""
    source: str = ""


class AmplifierTypeEntry(Entry):
    """One type of amplifier."""

    name: str
    channel_power: list[Power] = Field(min_length=1)
    voltages: list[LineVoltage] = Field(min_length=1)
    class_mark: str = ""
    high_pass: list[Frequency] = Field(default_factory=list)
    high_pass_slope: float = Field(default=12.0, description="dB per octave.")
    rack_units: int = Field(default=2, ge=0, le=60)
    mass: Mass = 8.0
    floating_output: bool = True
    source: str = ""


class CableTypeEntry(Entry):
    """One type of cable."""

    name: str
    gauge_system: Literal["AWG", "mm2"] | None = None
    gauge: str = Field(description="18 AWG, 1.5 mm2, or the number with gauge_system.")
    conductor: Literal["solid", "stranded", "class 1", "class 2", "class 5"]
    material: Literal["copper", "tinned copper", "copper-clad aluminium"] = "copper"
    jacket: str = ""
    cores: int = Field(default=2, ge=2, le=100)
    colours: Annotated[list[str], Field(min_length=2, max_length=2)] = Field(
        default_factory=lambda: ["red", "black"]
    )
    outer_diameter: Length = 0.006
    mass_per_metre: float = Field(default=0.05, description="kg/m.")
    reel: Length = 150.0
    voltage_rating: Voltage = 300.0
    source: str = ""


class HardwareTypeEntry(Entry):
    """One type of mounting part."""

    name: str
    kind: Literal[
        "rails",
        "bridge",
        "frame",
        "box",
        "safety wire",
        "terminal",
        "bracket",
        "suspension",
        "firestop",
        "volume control",
    ]
    capacity: Mass = 0.0
    length: Length = 0.0
    depth: Length = 0.0
    rated_power: Power = 0.0
    insertion_loss: Level = 0.0
    ways: int = Field(default=0, ge=0, le=100, description="Conductors that a terminal joins.")
    mark: str = ""
    source: str = ""


class CatalogueFile(Entry):
    """All of catalogue.toml."""

    format: Literal[1] = 1
    invented: bool = Field(default=False, description="The types in this file are made up.")
    source: str = Field(default="", description="Source of every entry that has none of its own.")
    speaker_types: dict[Key, SpeakerTypeEntry] = Field(default_factory=dict)
    amplifier_types: dict[Key, AmplifierTypeEntry] = Field(default_factory=dict)
    cable_types: dict[Key, CableTypeEntry] = Field(default_factory=dict)
    hardware_types: dict[Key, HardwareTypeEntry] = Field(default_factory=dict)
