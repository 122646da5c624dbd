"""What can be bought: loudspeaker types, amplifiers, cables and mounting parts."""

from dataclasses import dataclass
from typing import Literal, TypeVar

from soffit.decibel import power_ratio
from soffit.errors import TableError

BANDS: tuple[str, ...] = ("63", "125", "250", "500", "1k", "2k", "4k", "8k")
"""Octave bands by nominal label, IEC 61260-1; every per-band tuple follows this order."""

SpeakerKind = Literal["ceiling", "pendant", "surface", "subwoofer"]
TapWatt = Literal["drawn", "delivered"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tap:
    """One primary connection at one line voltage.

    Parameters
    ----------
    power_w
        Tap power at the line voltage. [W]
    voltage_v
        Nominal line voltage; 100/sqrt(2) where the trade says 70.7. [V]
    mark
        How the unit shows it: switch scale and position, or lead colour.
    """

    power_w: float
    voltage_v: float
    mark: str = ""

    @property
    def impedance_ohm(self) -> float:
        """Nominal impedance U²/P at 1 kHz. [Ω]."""
        return self.voltage_v**2 / self.power_w


@dataclass(frozen=True, slots=True, kw_only=True)
class PolarTable:
    """Levels relative to the axis, per octave band and angle.

    Parameters
    ----------
    angle_rad : (n_angles,)
        Angle from the axis, rising from 0. [rad]
    level_db : (n_bands, n_angles)
        Level relative to the axis, bands as in :data:`BANDS`. [dB]
    plane
        ``axial`` for a symmetric source, else the plane that the table describes.
    """

    angle_rad: tuple[float, ...]
    level_db: tuple[tuple[float, ...], ...]
    plane: Literal["axial", "horizontal", "vertical"] = "axial"


@dataclass(frozen=True, slots=True, kw_only=True)
class Directivity:
    """How a type radiates: measured polar tables, a rigid piston, or a fitted cosine.

    Parameters
    ----------
    model
        Which of the three is in use; printed beside every evenness figure.
    polar
        One axial table, or a horizontal and a vertical one; empty for the other models.
    piston_radius_m
        Radius of the piston in a baffle. [m]
    coverage_angle_rad
        Full angle between -6 dB directions, one for all bands, for the cosine model. [rad]
    """

    model: Literal["polar", "piston", "cosine"]
    polar: tuple[PolarTable, ...] = ()
    piston_radius_m: float | None = None
    coverage_angle_rad: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TransformerData:
    """Electrical block of a line transformer with its loudspeaker.

    Parameters
    ----------
    lf_limit_hz
        Lowest frequency at full line voltage before the core saturates. [Hz]
    insertion_loss_db
        Loss at 1 kHz, positive. [dB]
    magnetising_henry_w
        Shunt inductance times tap power, seen on the primary (inductance scales as 1/P). [H·W]
    leakage_ratio
        Leakage inductance over shunt inductance.
    copper_share
        Share of the insertion loss that is winding resistance; the rest is core loss.
    resonance_hz, quality_factor, resonance_rise
        Loudspeaker resonance, its total Q, and |Z| there over |Z| at 1 kHz. [Hz]
    """

    lf_limit_hz: float
    insertion_loss_db: float
    magnetising_henry_w: float | None = None
    leakage_ratio: float = 0.002
    copper_share: float = 0.7
    resonance_hz: float | None = None
    quality_factor: float = 1.0
    resonance_rise: float = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LowEnd:
    """Low-frequency data of a subwoofer.

    Parameters
    ----------
    mid_hz : (n,)
        Third-octave mid-band frequencies, rising. [Hz]
    sensitivity_db : (n,)
        1 W, 1 m, half space. [dB]
    low_limit_hz
        Lowest frequency of full use. [Hz]
    max_power_w
        Power that displacement and heat allow. [W]
    """

    mid_hz: tuple[float, ...]
    sensitivity_db: tuple[float, ...]
    low_limit_hz: float
    max_power_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeakerType:
    """One catalogue entry of a loudspeaker.

    Parameters
    ----------
    id, name
        Short name used in files; name printed for people.
    kind
        ``ceiling`` (cut in), ``pendant``, ``surface`` or ``subwoofer``.
    taps
        All taps at all line voltages.
    tap_watt
        Whether the tap watt is drawn from the line or delivered to the loudspeaker.
    bypass_ohm, bypass_mark
        Impedance when left in the low-impedance bypass, and how it is marked. [Ω]
    rated_power_w
        Power that the loudspeaker itself stands. [W]
    sensitivity_db : (8,)
        1 W at the loudspeaker, 1 m, on axis, per octave band, half space. [dB]
    directivity, transformer, low_end
        Models with their data.
    cutout_diameter_m
        Hole in the ceiling; ``None`` where nothing is cut. [m]
    flange_diameter_m, depth_m, box_depth_m
        Trim outside; depth above the ceiling face; depth of its back box, 0 if none. [m]
    mass_kg
        Unit with its transformer and box. [kg]
    support
        How its weight is carried: rails or a bridge on the runners, a bracket, or suspension.
    plenum_mark, fire_mark, class_mark
        Rating marks; empty if it carries none.
    source
        Where the data come from; "invented" for the demo catalogue.
    """

    id: str
    name: str
    kind: SpeakerKind
    taps: tuple[Tap, ...]
    tap_watt: TapWatt
    rated_power_w: float
    sensitivity_db: tuple[float, ...]
    directivity: Directivity
    transformer: TransformerData
    depth_m: float
    mass_kg: float
    flange_diameter_m: float
    cutout_diameter_m: float | None = None
    box_depth_m: float = 0.0
    bend_radius_m: float = 0.04
    support: Literal["rails", "bridge", "bracket", "suspension"] = "rails"
    bypass_ohm: float | None = None
    bypass_mark: str = ""
    low_end: LowEnd | None = None
    plenum_mark: str = ""
    fire_mark: str = ""
    terminals: str = ""
    source: str = ""
    note: str = ""

    def taps_at(self, voltage_v: float) -> tuple[Tap, ...]:
        """Return the taps at one line voltage, power rising.

        Parameters
        ----------
        voltage_v
            Nominal line voltage. [V]
        """
        found = [tap for tap in self.taps if abs(tap.voltage_v - voltage_v) < 0.1]
        return tuple(sorted(found, key=lambda tap: tap.power_w))

    def delivered_w(self, tap: Tap) -> float:
        """Return the power that reaches the loudspeaker at nominal line voltage. [W].

        Parameters
        ----------
        tap
            One of the taps.
        """
        if self.tap_watt == "delivered":
            return tap.power_w
        return tap.power_w * float(power_ratio(-self.transformer.insertion_loss_db))

    def drawn_w(self, tap: Tap) -> float:
        """Return the power taken from the line at nominal line voltage. [W].

        Parameters
        ----------
        tap
            One of the taps.
        """
        if self.tap_watt == "drawn":
            return tap.power_w
        return tap.power_w * float(power_ratio(self.transformer.insertion_loss_db))


@dataclass(frozen=True, slots=True, kw_only=True)
class AmplifierType:
    """One catalogue entry of an amplifier.

    Parameters
    ----------
    channel_power_w : (n_channels,)
        Rated power of each channel. [W]
    voltages_v
        Line voltages it can be set to. [V]
    class_mark
        Class of its output wiring as marked on it (1, 2 or 3); empty if not marked.
    high_pass_hz
        High-pass corner frequencies it offers; empty if none. [Hz]
    rack_units
        Height in rack units.
    floating_output
        Whether the output is isolated from earth.
    """

    id: str
    name: str
    channel_power_w: tuple[float, ...]
    voltages_v: tuple[float, ...]
    class_mark: str = ""
    high_pass_hz: tuple[float, ...] = ()
    high_pass_slope_db_oct: float = 12.0
    rack_units: int = 2
    mass_kg: float = 8.0
    floating_output: bool = True
    source: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CableType:
    """One catalogue entry of a cable.

    Parameters
    ----------
    gauge_system, gauge
        ``AWG`` or ``mm2`` and the size as printed in its table; never converted.
    conductor
        ``solid`` or ``stranded`` (AWG); ``class 1``, ``class 2`` or ``class 5`` (mm²).
    material
        ``copper``, ``tinned copper`` or ``copper-clad aluminium``.
    jacket
        Rating mark of the jacket, such as CL3P, CL3R, Cca.
    colours
        Colour of plus and minus core.
    outer_diameter_m, mass_kg_m, reel_m
        For fill, weight and whole reels. [m, kg/m, m]
    """

    id: str
    name: str
    gauge_system: Literal["AWG", "mm2"]
    gauge: str
    conductor: Literal["solid", "stranded", "class 1", "class 2", "class 5"]
    material: Literal["copper", "tinned copper", "copper-clad aluminium"] = "copper"
    jacket: str = ""
    cores: int = 2
    colours: tuple[str, str] = ("red", "black")
    outer_diameter_m: float = 0.006
    mass_kg_m: float = 0.05
    reel_m: float = 150.0
    voltage_rating_v: float = 300.0
    source: str = ""
    note: str = ""

    @property
    def size_text(self) -> str:
        """Size as people write it."""
        return f"{self.gauge} AWG" if self.gauge_system == "AWG" else f"{self.gauge} mm²"


@dataclass(frozen=True, slots=True, kw_only=True)
class HardwareType:
    """One catalogue entry of a mounting part: rails, bridge, frame, box, safety wire, terminal.

    Parameters
    ----------
    kind
        What it is for.
    capacity_kg
        What it carries by its own label; 0 where it carries nothing. [kg]
    length_m
        Length of a wire or rail. [m]
    ways
        Conductors that a terminal joins; 0 where it does not say.
    """

    id: str
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
    capacity_kg: float = 0.0
    length_m: float = 0.0
    depth_m: float = 0.0
    rated_power_w: float = 0.0
    insertion_loss_db: float = 0.0
    ways: int = 0
    mark: str = ""
    source: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalogue:
    """All types that a job may use, demo data and the user's own together."""

    speaker_types: tuple[SpeakerType, ...] = ()
    amplifier_types: tuple[AmplifierType, ...] = ()
    cable_types: tuple[CableType, ...] = ()
    hardware_types: tuple[HardwareType, ...] = ()

    def speaker(self, type_id: str) -> SpeakerType:
        """Return a loudspeaker type by id; an unknown one raises ``TableError``."""
        return _find(self.speaker_types, type_id, "loudspeaker type")

    def amplifier(self, type_id: str) -> AmplifierType:
        """Return an amplifier type by id; an unknown one raises ``TableError``."""
        return _find(self.amplifier_types, type_id, "amplifier type")

    def cable(self, type_id: str) -> CableType:
        """Return a cable type by id; an unknown one raises ``TableError``."""
        return _find(self.cable_types, type_id, "cable type")

    def hardware(self, type_id: str) -> HardwareType:
        """Return a mounting part by id; an unknown one raises ``TableError``."""
        return _find(self.hardware_types, type_id, "mounting part")


T = TypeVar("T", SpeakerType, AmplifierType, CableType, HardwareType)


def _find(entries: tuple[T, ...], type_id: str, what: str) -> T:
    for entry in entries:
        if entry.id == type_id:
            return entry
    known = ", ".join(sorted(entry.id for entry in entries)) or "none"
    msg = f"there is no {what} {type_id!r}"
    raise TableError(
        msg, where="catalogue", why=f"the catalogue has {known}", do="choose one of these"
    )
