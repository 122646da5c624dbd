"""Catalogue entries as the text of a catalogue.toml, in SI; what is read again is the same."""

import json
import math
from collections.abc import Iterable, Sequence

from soffit.model.catalogue import (
    AmplifierType,
    CableType,
    Catalogue,
    Directivity,
    HardwareType,
    SpeakerType,
)

_SEVENTY_V = 100.0 / math.sqrt(2.0)


def catalogue_toml(catalogue: Catalogue, *, head: str = "") -> str:
    """Return a whole catalogue as TOML.

    Parameters
    ----------
    catalogue
        Types to write.
    head
        Lines of comment for the top, without the sign.

    Returns
    -------
    str
        Text that :func:`soffit.job.catalogue.parse_catalogue` reads.
    """
    parts = [*(f"# {line}".rstrip() for line in head.splitlines()), "format = 1", ""]
    parts += [speaker_toml(entry) for entry in catalogue.speaker_types]
    parts += [amplifier_toml(entry) for entry in catalogue.amplifier_types]
    parts += [cable_toml(entry) for entry in catalogue.cable_types]
    parts += [hardware_toml(entry) for entry in catalogue.hardware_types]
    return "\n".join(parts).rstrip() + "\n"


def speaker_toml(entry: SpeakerType) -> str:
    """Return a loudspeaker type as TOML.

    Parameters
    ----------
    entry
        The type.
    """
    taps = [
        f"    {{ power = {_number(tap.power_w)}, voltage = {_volts(tap.voltage_v)}"
        + (f", mark = {_text(tap.mark)} }}," if tap.mark else " },")
        for tap in entry.taps
    ]
    own = f"speaker_types.{_key(entry.id)}"
    lines = [
        f"[{own}]",
        *_lines(name=entry.name, kind=entry.kind),
        "taps = [",
        *taps,
        "]",
        *_lines(
            tap_watt=entry.tap_watt,
            rated_power=entry.rated_power_w,
            sensitivity=entry.sensitivity_db,
            depth=entry.depth_m,
            mass=entry.mass_kg,
            flange_diameter=entry.flange_diameter_m,
            cutout_diameter=entry.cutout_diameter_m,
            box_depth=entry.box_depth_m,
            bend_radius=entry.bend_radius_m,
            support=entry.support,
            bypass=entry.bypass_ohm,
            bypass_mark=entry.bypass_mark,
            plenum_mark=entry.plenum_mark,
            fire_mark=entry.fire_mark,
            terminals=entry.terminals,
            source=entry.source,
            note=entry.note,
        ),
        "",
        f"[{own}.transformer]",
        *_lines(
            lf_limit=entry.transformer.lf_limit_hz,
            insertion_loss=entry.transformer.insertion_loss_db,
            magnetising=entry.transformer.magnetising_henry_w,
            leakage_ratio=entry.transformer.leakage_ratio,
            copper_share=entry.transformer.copper_share,
            resonance=entry.transformer.resonance_hz,
            quality_factor=entry.transformer.quality_factor,
            resonance_rise=entry.transformer.resonance_rise,
        ),
        "",
    ]
    if entry.low_end is not None:
        lines += [
            f"[{own}.low_end]",
            *_lines(
                mid=entry.low_end.mid_hz,
                sensitivity=entry.low_end.sensitivity_db,
                low_limit=entry.low_end.low_limit_hz,
                max_power=entry.low_end.max_power_w,
            ),
            "",
        ]
    return "\n".join(lines) + "\n" + directivity_toml(entry.id, entry.directivity)


def directivity_toml(type_id: str, directivity: Directivity, *, note: str = "") -> str:
    """Return how a type radiates as TOML, to stand behind the type.

    Parameters
    ----------
    type_id
        Id of the loudspeaker type.
    directivity
        Its model with its data.
    note
        Where the data come from.
    """
    angle = directivity.coverage_angle_rad
    own = f"speaker_types.{_key(type_id)}.directivity"
    lines = [
        f"[{own}]",
        *_lines(
            model=directivity.model,
            piston_radius=directivity.piston_radius_m,
            coverage_angle=None if angle is None else _degrees(angle),
            note=note,
        ),
        "",
    ]
    for table in directivity.polar:
        lines += [
            f"[[{own}.polar]]",
            *_lines(plane=table.plane, angle=[_degrees(angle) for angle in table.angle_rad]),
            "# rows: octave bands 63 Hz to 8 kHz",
            "level = [",
            *(f"    {_list(row)}," for row in table.level_db),
            "]",
            "",
        ]
    return "\n".join(lines)


def amplifier_toml(entry: AmplifierType) -> str:
    """Return an amplifier type as TOML.

    Parameters
    ----------
    entry
        The type.
    """
    return _table(
        f"amplifier_types.{_key(entry.id)}",
        _lines(
            name=entry.name,
            channel_power=entry.channel_power_w,
            voltages="[" + ", ".join(_volts(value) for value in entry.voltages_v) + "]",
            class_mark=entry.class_mark,
            high_pass=entry.high_pass_hz,
            high_pass_slope=entry.high_pass_slope_db_oct,
            rack_units=entry.rack_units,
            mass=entry.mass_kg,
            floating_output=entry.floating_output,
            source=entry.source,
            note=entry.note,
            plain=("voltages",),
        ),
    )


def cable_toml(entry: CableType) -> str:
    """Return a cable type as TOML.

    Parameters
    ----------
    entry
        The type.
    """
    unit = "AWG" if entry.gauge_system == "AWG" else "mm2"
    return _table(
        f"cable_types.{_key(entry.id)}",
        _lines(
            name=entry.name,
            gauge=f"{entry.gauge} {unit}",
            conductor=entry.conductor,
            material=entry.material,
            jacket=entry.jacket,
            cores=entry.cores,
            colours=entry.colours,
            outer_diameter=entry.outer_diameter_m,
            mass_per_metre=entry.mass_kg_m,
            reel=entry.reel_m,
            voltage_rating=entry.voltage_rating_v,
            source=entry.source,
            note=entry.note,
        ),
    )


def hardware_toml(entry: HardwareType) -> str:
    """Return a mounting part as TOML.

    Parameters
    ----------
    entry
        The part.
    """
    return _table(
        f"hardware_types.{_key(entry.id)}",
        _lines(
            name=entry.name,
            kind=entry.kind,
            capacity=entry.capacity_kg,
            length=entry.length_m,
            depth=entry.depth_m,
            rated_power=entry.rated_power_w,
            insertion_loss=entry.insertion_loss_db,
            ways=entry.ways,
            mark=entry.mark,
            source=entry.source,
            note=entry.note,
        ),
    )


Plain = str | float | bool | Sequence[float] | Sequence[str] | None


def _table(name: str, lines: Iterable[str]) -> str:
    return "\n".join([f"[{name}]", *lines, ""])


def _lines(*, plain: tuple[str, ...] = (), **values: Plain) -> list[str]:
    """Return a line for each value; what is absent or empty is left out."""
    return [
        f"{name} = {value if name in plain else _value(value)}"
        for name, value in values.items()
        if not (value is None or value in ("", ()))
    ]


def _value(value: Plain) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int | float):
        return _number(value)
    return _list(value or ())


def _list(values: Sequence[float] | Sequence[str]) -> str:
    return "[" + ", ".join(_value(value) for value in values) + "]"


def _text(value: str) -> str:
    # a JSON text is a TOML text but for the sign that deletes
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _number(value: float) -> str:
    whole = float(value).is_integer() and abs(value) < 1e15
    return str(int(value)) if whole else repr(float(value))


def _degrees(angle_rad: float) -> float:
    return round(math.degrees(angle_rad), 9)


def _volts(value: float) -> str:
    return "70.7" if abs(value - _SEVENTY_V) < 1e-9 else _number(value)


def _key(name: str) -> str:
    plain = all(char.isascii() and (char.isalnum() or char in "-_") for char in name)
    return name if plain else _text(name)
