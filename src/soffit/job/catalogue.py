"""Read a catalogue of types: the invented one that ships, and a job's own."""

import math
from dataclasses import asdict
from functools import cache
from importlib import resources
from itertools import pairwise
from pathlib import Path as FilePath
from typing import Any, Final

from pydantic import ValidationError

from soffit.errors import JobError, SoffitError
from soffit.job.catalogue_ranges import check_ranges
from soffit.job.catalogue_schema import (
    AmplifierTypeEntry,
    CableTypeEntry,
    CatalogueFile,
    DirectivityEntry,
    HardwareTypeEntry,
    LowEndEntry,
    PolarEntry,
    SpeakerTypeEntry,
    TransformerEntry,
)
from soffit.job.locate import Locator, Path
from soffit.job.plain_text import check_texts, folded
from soffit.job.problems import Problems, add_validation
from soffit.job.toml_text import decode_text, parse_toml
from soffit.model.catalogue import (
    AmplifierType,
    CableType,
    Catalogue,
    Directivity,
    HardwareType,
    LowEnd,
    PolarTable,
    SpeakerType,
    Tap,
    TransformerData,
)
from soffit.units import parse_gauge

CATALOGUE_FILE: Final = "catalogue.toml"

_STEADY_DB: Final = 0.0501
"""How far the levels of the first angle may be from 0: printed tables round. [dB]"""

_FARTHEST_DB: Final = -60.0
"""Level under which a polar value is a hole in the data, not a measurement. [dB]"""


@cache
def load_demo_catalogue() -> Catalogue:
    """Return the catalogue of invented types that ships with soffit."""
    file = resources.files("soffit.tables") / "catalogue" / "demo.toml"
    return parse_catalogue(file.read_text(encoding="utf-8"), name="demo.toml")


def read_catalogue(path: FilePath) -> Catalogue:
    """Read a catalogue file.

    Parameters
    ----------
    path
        A file in the format of ``catalogue.toml``.

    Returns
    -------
    Catalogue
        Its types alone; see :func:`merged` to add them to the demo types.

    Raises
    ------
    JobError
        With everything that is wrong with it.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise JobError(
            what="the catalogue cannot be read",
            where=path.name,
            why=str(error.strerror),
            do="check the path of the file",
        ) from None
    return parse_catalogue(decode_text(path.name, data), name=path.name)


def merged(base: Catalogue, own: Catalogue) -> Catalogue:
    """Return the types of both; where ids are equal, the second catalogue's count.

    Parameters
    ----------
    base
        For example the demo types.
    own
        A job's own types.

    Returns
    -------
    Catalogue
        Sorted by id.
    """

    def join(first: tuple[Any, ...], second: tuple[Any, ...]) -> tuple[Any, ...]:
        entries = {entry.id: entry for entry in (*first, *second)}
        return tuple(entries[key] for key in sorted(entries))

    return Catalogue(
        speaker_types=join(base.speaker_types, own.speaker_types),
        amplifier_types=join(base.amplifier_types, own.amplifier_types),
        cable_types=join(base.cable_types, own.cable_types),
        hardware_types=join(base.hardware_types, own.hardware_types),
    )


def catalogue_as_dict(catalogue: Catalogue) -> dict[str, Any]:
    """Return a catalogue as plain values in SI that JSON can carry.

    Parameters
    ----------
    catalogue
        Types.
    """
    plain: dict[str, Any] = asdict(catalogue)
    return plain


def parse_catalogue(text: str, *, name: str = CATALOGUE_FILE) -> Catalogue:
    """Read the text of a catalogue.

    Parameters
    ----------
    text
        TOML.
    name
        Name of the file as people see it.

    Returns
    -------
    Catalogue
        Its types, sorted by id.

    Raises
    ------
    JobError
        With everything that is wrong with it.
    """
    raw = folded(parse_toml(name, text))
    problems = Problems(Locator(name, text))
    check_texts(problems, raw)
    try:
        file = CatalogueFile.model_validate(raw)
    except ValidationError as error:
        add_validation(problems, error, CatalogueFile)
        raise JobError.of(problems.found) from None
    source = file.source or ("invented" if file.invented else "")
    check_ranges(problems, (), file)
    catalogue = Catalogue(
        speaker_types=tuple(
            _speaker(problems, ("speaker_types", key), key, entry, source)
            for key, entry in sorted(file.speaker_types.items())
        ),
        amplifier_types=tuple(
            _amplifier(problems, ("amplifier_types", key), key, entry, source)
            for key, entry in sorted(file.amplifier_types.items())
        ),
        cable_types=tuple(
            _cable(problems, ("cable_types", key), key, entry, source)
            for key, entry in sorted(file.cable_types.items())
        ),
        hardware_types=tuple(
            _hardware(problems, ("hardware_types", key), key, entry, source)
            for key, entry in sorted(file.hardware_types.items())
        ),
    )
    problems.stop()
    return catalogue


def _positive(problems: Problems, path: Path, entry: object, *names: str) -> None:
    for name in names:
        value = getattr(entry, name)
        if value is not None and value <= 0:
            problems.add(
                (*path, name),
                f"{name} of {value:g} is not possible",
                why=f"{name} is greater than 0",
                do="write the value of the data sheet, with its unit",
            )


def _not_negative(problems: Problems, path: Path, entry: object, *names: str) -> None:
    for name in names:
        value = getattr(entry, name)
        if value is not None and value < 0:
            problems.add(
                (*path, name),
                f"{name} of {value:g} is not possible",
                why=f"{name} is 0 or more",
                do="write the value of the data sheet, with its unit",
            )


def _taps(problems: Problems, path: Path, entry: SpeakerTypeEntry) -> tuple[Tap, ...]:
    taps: list[Tap] = []
    for index, tap in enumerate(entry.taps):
        at: Path = (*path, "taps", index)
        _positive(problems, at, tap, "power", "voltage")
        for earlier in reversed(taps):
            if abs(earlier.voltage_v - tap.voltage) < 0.1:
                if tap.power <= earlier.power_w:
                    problems.add(
                        (*at, "power"),
                        f"tap {tap.power:g} W follows {earlier.power_w:g} W at {tap.voltage:.1f} V",
                        why="the taps of one line voltage rise, and none stands twice",
                        do="sort the taps, and take out the double one",
                    )
                break
        taps.append(Tap(power_w=tap.power, voltage_v=tap.voltage, mark=tap.mark))
    return tuple(taps)


def _polar(problems: Problems, path: Path, entry: PolarEntry) -> PolarTable:
    angles = entry.angle
    rising = all(first < second for first, second in pairwise(angles))
    if not rising or abs(angles[0]) > 1e-9 or angles[-1] > math.pi + 1e-9:
        problems.add(
            (*path, "angle"),
            "the angles do not rise from 0",
            why="a polar table begins on the axis and ends at 180 degrees at most",
            do="sort the angles in degrees, the first 0",
        )
    elif angles[-1] < math.pi / 2 - 1e-9:
        problems.add(
            (*path, "angle"),
            f"the table ends at {math.degrees(angles[-1]):g} degrees",
            why="levels are needed up to 90 degrees: ears near the walls are that far off axis",
            do="add the missing angles",
        )
    for band, row in enumerate(entry.level):
        _polar_row(problems, (*path, "level", band), row, len(angles))
    return PolarTable(
        angle_rad=tuple(angles),
        level_db=tuple(tuple(row) for row in entry.level),
        plane=entry.plane,
    )


def _polar_row(problems: Problems, path: Path, row: list[float], count: int) -> None:
    if len(row) != count:
        problems.add(
            path,
            f"{len(row)} levels for {count} angles",
            why="each band has one level for each angle",
            do="add the missing levels, or take out the spare ones",
        )
    elif abs(row[0]) > _STEADY_DB:
        problems.add(
            (*path, 0),
            f"the level on the axis is {row[0]:g} dB",
            why="levels are relative to the axis, so the first is 0",
            do="subtract the level on the axis from the row",
        )
    elif min(row) < _FARTHEST_DB:
        problems.add(
            (*path, row.index(min(row))),
            f"a level of {min(row):g} dB is a hole in the table",
            why=f"under {_FARTHEST_DB:g} dB it is a missing value, not a measurement",
            do="fill the hole from its neighbours, and say so in note",
        )


def _directivity(problems: Problems, path: Path, entry: DirectivityEntry) -> Directivity:
    tables = tuple(
        _polar(problems, (*path, "polar", index), item) for index, item in enumerate(entry.polar)
    )
    needs = {
        "polar": bool(tables),
        "piston": entry.piston_radius is not None,
        "cosine": entry.coverage_angle is not None,
    }
    key = {"polar": "polar", "piston": "piston_radius", "cosine": "coverage_angle"}[entry.model]
    if not needs[entry.model]:
        problems.add(
            path,
            f"the model {entry.model!r} has no {key}",
            why=f"{entry.model} is computed from {key}",
            do=f"add {key}, or choose another model",
        )
    planes = sorted(table.plane for table in tables)
    if planes not in ([], ["axial"], ["horizontal", "vertical"]):
        problems.add(
            (*path, "polar"),
            f"polar tables for {', '.join(planes)}",
            why="there is one axial table, or one horizontal and one vertical",
            do="take out the double ones, or add the missing plane",
        )
    _positive(problems, path, entry, "piston_radius", "coverage_angle")
    return Directivity(
        model=entry.model,
        polar=tables,
        piston_radius_m=entry.piston_radius,
        coverage_angle_rad=entry.coverage_angle,
    )


def _transformer(problems: Problems, path: Path, entry: TransformerEntry) -> TransformerData:
    _positive(problems, path, entry, "lf_limit", "magnetising", "resonance", "quality_factor")
    _positive(problems, path, entry, "resonance_rise")
    _not_negative(problems, path, entry, "insertion_loss", "leakage_ratio", "copper_share")
    if entry.copper_share > 1:
        problems.add(
            (*path, "copper_share"),
            f"a share of {entry.copper_share:g} is more than all",
            why="it is the part of the insertion loss that is winding resistance",
            do="write a value from 0 to 1",
        )
    return TransformerData(
        lf_limit_hz=entry.lf_limit,
        insertion_loss_db=entry.insertion_loss,
        magnetising_henry_w=entry.magnetising,
        leakage_ratio=entry.leakage_ratio,
        copper_share=entry.copper_share,
        resonance_hz=entry.resonance,
        quality_factor=entry.quality_factor,
        resonance_rise=entry.resonance_rise,
    )


def _low_end(problems: Problems, path: Path, entry: LowEndEntry | None) -> LowEnd | None:
    if entry is None:
        return None
    _positive(problems, path, entry, "low_limit", "max_power")
    if len(entry.mid) != len(entry.sensitivity):
        problems.add(
            (*path, "sensitivity"),
            f"{len(entry.sensitivity)} levels for {len(entry.mid)} frequencies",
            why="each frequency has one level",
            do="add the missing ones",
        )
    if entry.mid[0] <= 0 or any(a >= b for a, b in pairwise(entry.mid)):
        problems.add(
            (*path, "mid"),
            "the frequencies do not rise",
            why="they are third-octave mid-bands, lowest first",
            do="sort them",
        )
    return LowEnd(
        mid_hz=tuple(entry.mid),
        sensitivity_db=tuple(entry.sensitivity),
        low_limit_hz=entry.low_limit,
        max_power_w=entry.max_power,
    )


def _speaker(
    problems: Problems, path: Path, key: str, entry: SpeakerTypeEntry, source: str
) -> SpeakerType:
    _positive(problems, path, entry, "rated_power", "depth", "mass", "flange_diameter")
    _positive(problems, path, entry, "cutout_diameter", "bypass")
    _not_negative(problems, path, entry, "box_depth", "bend_radius")
    if entry.cutout_diameter is not None and entry.cutout_diameter >= entry.flange_diameter:
        problems.add(
            (*path, "cutout_diameter"),
            "the cut-out is not smaller than the flange",
            why=f"{entry.cutout_diameter:.4f} m against {entry.flange_diameter:.4f} m:"
            " the unit would fall through",
            do="check both against the data sheet",
        )
    if entry.kind == "ceiling" and entry.cutout_diameter is None:
        problems.add(
            path,
            "a ceiling type has no cutout_diameter",
            why="a hole must be cut for it",
            do="add cutout_diameter",
        )
    return SpeakerType(
        id=key,
        name=entry.name,
        kind=entry.kind,
        taps=_taps(problems, path, entry),
        tap_watt=entry.tap_watt,
        rated_power_w=entry.rated_power,
        sensitivity_db=tuple(entry.sensitivity),
        directivity=_directivity(problems, (*path, "directivity"), entry.directivity),
        transformer=_transformer(problems, (*path, "transformer"), entry.transformer),
        depth_m=entry.depth,
        mass_kg=entry.mass,
        flange_diameter_m=entry.flange_diameter,
        cutout_diameter_m=entry.cutout_diameter,
        box_depth_m=entry.box_depth,
        bend_radius_m=entry.bend_radius,
        support=entry.support,
        bypass_ohm=entry.bypass,
        bypass_mark=entry.bypass_mark,
        low_end=_low_end(problems, (*path, "low_end"), entry.low_end),
        plenum_mark=entry.plenum_mark,
        fire_mark=entry.fire_mark,
        terminals=entry.terminals,
        source=entry.source or source,
        note=entry.note,
    )


def _amplifier(
    problems: Problems, path: Path, key: str, entry: AmplifierTypeEntry, source: str
) -> AmplifierType:
    for name, values in (
        ("channel_power", entry.channel_power),
        ("voltages", entry.voltages),
        ("high_pass", entry.high_pass),
    ):
        for index, value in enumerate(values):
            if value <= 0:
                problems.add(
                    (*path, name, index),
                    f"{value:g} is not possible",
                    why=f"every {name} is greater than 0",
                    do="write the value of the data sheet",
                )
    _not_negative(problems, path, entry, "mass", "high_pass_slope")
    return AmplifierType(
        id=key,
        name=entry.name,
        channel_power_w=tuple(entry.channel_power),
        voltages_v=tuple(entry.voltages),
        class_mark=entry.class_mark,
        high_pass_hz=tuple(entry.high_pass),
        high_pass_slope_db_oct=entry.high_pass_slope,
        rack_units=entry.rack_units,
        mass_kg=entry.mass,
        floating_output=entry.floating_output,
        source=entry.source or source,
        note=entry.note,
    )


def _cable(
    problems: Problems, path: Path, key: str, entry: CableTypeEntry, source: str
) -> CableType:
    written = entry.gauge
    if entry.gauge_system is not None:
        bare = written.removesuffix(entry.gauge_system).strip()
        written = f"{bare} {entry.gauge_system}"
    try:
        system, gauge = parse_gauge(written)
    except SoffitError as error:
        problem = error.problems[0]
        problems.add((*path, "gauge"), problem.what, why=problem.why, do=problem.do)
        system, gauge = "AWG", "18"
    else:
        is_awg_conductor = entry.conductor in ("solid", "stranded")
        if is_awg_conductor != (system == "AWG"):
            problems.add(
                (*path, "conductor"),
                f"conductor {entry.conductor!r} does not go with {system}",
                why="AWG conductors are solid or stranded, mm² ones are class 1, 2 or 5",
                do="write the conductor as its table names it",
            )
    _positive(problems, path, entry, "outer_diameter", "mass_per_metre", "reel", "voltage_rating")
    plus, minus = entry.colours
    return CableType(
        id=key,
        name=entry.name,
        gauge_system=system,
        gauge=gauge,
        conductor=entry.conductor,
        material=entry.material,
        jacket=entry.jacket,
        cores=entry.cores,
        colours=(plus, minus),
        outer_diameter_m=entry.outer_diameter,
        mass_kg_m=entry.mass_per_metre,
        reel_m=entry.reel,
        voltage_rating_v=entry.voltage_rating,
        source=entry.source or source,
        note=entry.note,
    )


def _hardware(
    problems: Problems, path: Path, key: str, entry: HardwareTypeEntry, source: str
) -> HardwareType:
    _not_negative(problems, path, entry, "capacity", "length", "depth", "rated_power")
    _not_negative(problems, path, entry, "insertion_loss")
    return HardwareType(
        id=key,
        name=entry.name,
        kind=entry.kind,
        capacity_kg=entry.capacity,
        length_m=entry.length,
        depth_m=entry.depth,
        rated_power_w=entry.rated_power,
        insertion_loss_db=entry.insertion_loss,
        ways=entry.ways,
        mark=entry.mark,
        source=entry.source or source,
        note=entry.note,
    )
