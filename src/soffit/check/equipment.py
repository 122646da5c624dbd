"""Plausibility of catalogue entries as pure functions over types, and findings made of them."""

from collections.abc import Callable, Iterable
from typing import Final

import numpy as np

from soffit.check.kit import Check, Context, found
from soffit.model.catalogue import BANDS, AmplifierType, CableType, SpeakerType
from soffit.model.findings import Finding, Severity

_SPEECH_BANDS: Final = slice(BANDS.index("500"), BANDS.index("4k") + 1)


def tap_problems(entry: SpeakerType) -> list[str]:
    """Say what is wrong with a type's table of taps.

    Parameters
    ----------
    entry
        Catalogue entry.

    Returns
    -------
    list of str
        Duplicates, taps out of rising order, one mark for two taps; empty if all is well.
    """
    problems = []
    for volts in sorted({tap.voltage_v for tap in entry.taps}):
        own = [tap for tap in entry.taps if tap.voltage_v == volts]
        powers = [tap.power_w for tap in own]
        if len(set(powers)) < len(powers):
            problems.append(f"two taps of the same power at {volts:.4g} V")
        elif powers != sorted(powers):
            problems.append(f"taps at {volts:.4g} V are not in rising order")
    marks = [tap.mark for tap in entry.taps if tap.mark]
    double = sorted({mark for mark in marks if marks.count(mark) > 1})
    problems += [f"the mark {mark!r} stands for {marks.count(mark)} taps" for mark in double]
    return problems


def mark_problems(entry: SpeakerType) -> list[str]:
    """Say which taps an installer could not find on the unit.

    Parameters
    ----------
    entry
        Catalogue entry.
    """
    bare = [f"{tap.power_w:g} W at {tap.voltage_v:.4g} V" for tap in entry.taps if not tap.mark]
    return [f"no mark for {', '.join(bare)}"] if bare else []


def sensitivity_problems(entry: SpeakerType) -> list[str]:
    """Say what is implausible about a type's sensitivity.

    Parameters
    ----------
    entry
        Catalogue entry.

    Notes
    -----
    A cone of any size gives 75-105 dB at 1 W, 1 m in the bands of speech, and neighbouring octaves
    there differ by less than 12 dB. Common practice, no published source.
    """
    levels = np.asarray(entry.sensitivity_db, dtype=np.float64)
    if entry.kind == "subwoofer":
        levels = levels[:2]
        return [] if 70.0 <= float(levels.max()) <= 110.0 else [f"{levels.max():.0f} dB at best"]
    speech = levels[_SPEECH_BANDS]
    problems = []
    mean = float(speech.mean())
    if not 75.0 <= mean <= 105.0:
        problems.append(f"mean of 500 Hz to 4 kHz is {mean:.0f} dB, 75 to 105 dB is plausible")
    if float(np.abs(np.diff(speech)).max()) > 12.0:
        problems.append("neighbouring octaves of speech differ by more than 12 dB")
    return problems


def polar_problems(entry: SpeakerType) -> list[str]:
    """Say where a type's polar tables have holes or contradict themselves.

    Parameters
    ----------
    entry
        Catalogue entry.
    """
    problems = []
    planes = [table.plane for table in entry.directivity.polar]
    if entry.directivity.model == "polar" and not planes:
        problems.append("the model is polar, but there is no table")
    if planes and sorted(planes) not in (["axial"], ["horizontal", "vertical"]):
        problems.append(f"tables for {', '.join(planes)}: one axial, or horizontal and vertical")
    for table in entry.directivity.polar:
        angles = np.degrees(np.asarray(table.angle_rad))
        levels = np.asarray(table.level_db)
        if len(angles) < 2 or angles[0] > 0.5:
            problems.append(f"{table.plane}: does not begin on the axis")
            continue
        if np.any(np.diff(angles) <= 0.0):
            problems.append(f"{table.plane}: angles do not rise")
        if float(np.diff(angles).max()) > 15.5:
            problems.append(f"{table.plane}: a hole of {np.diff(angles).max():.0f}° between angles")
        if angles[-1] < 85.0:
            problems.append(f"{table.plane}: ends at {angles[-1]:.0f}°, 90° is needed")
        if np.any(np.abs(levels[:, 0]) > 0.05):
            problems.append(f"{table.plane}: levels on the axis are not 0 dB")
        if float(levels.max()) > 6.0:
            problems.append(f"{table.plane}: {levels.max():.0f} dB over the axis")
    return problems


def hole_problems(entry: SpeakerType, *, least_overlap_m: float) -> list[str]:
    """Say whether a type's trim covers its hole.

    Parameters
    ----------
    entry
        Catalogue entry.
    least_overlap_m
        Width of trim over the edge of the hole. [m]
    """
    if entry.cutout_diameter_m is None:
        return [f"{entry.kind} without a cut-out"] if entry.kind in {"ceiling", "subwoofer"} else []
    overlap = (entry.flange_diameter_m - entry.cutout_diameter_m) / 2.0
    if overlap < least_overlap_m - 1e-9:
        return [f"its trim covers the edge of its hole by {overlap * 1e3:.1f} mm"]
    return []


def size_problems(entry: SpeakerType) -> list[str]:
    """Say which sizes look like a wrong unit.

    Parameters
    ----------
    entry
        Catalogue entry.
    """
    ranges = {
        "depth": (max(entry.depth_m, entry.box_depth_m), 0.03, 1.0, "m"),
        "trim": (entry.flange_diameter_m, 0.05, 1.2, "m"),
        "mass": (entry.mass_kg, 0.2, 60.0, "kg"),
        "rated power": (entry.rated_power_w, 0.5, 1000.0, "W"),
        "bend radius": (entry.bend_radius_m, 0.005, 0.3, "m"),
    }
    problems = [
        f"{name} of {value:g} {unit} (plausible: {low:g} to {high:g})"
        for name, (value, low, high, unit) in ranges.items()
        if not low <= value <= high
    ]
    piston = entry.directivity.piston_radius_m
    if piston is not None and piston > entry.flange_diameter_m / 2.0:
        problems.append("its piston is larger than its trim")
    return problems


def transformer_problems(entry: SpeakerType) -> list[str]:
    """Say what is implausible about a type's transformer.

    Parameters
    ----------
    entry
        Catalogue entry.
    """
    block = entry.transformer
    problems = []
    if not 0.1 <= block.insertion_loss_db <= 3.0:
        problems.append(f"insertion loss of {block.insertion_loss_db:g} dB (0.5 to 1.5 is usual)")
    if not 15.0 <= block.lf_limit_hz <= 250.0:
        problems.append(f"low limit of {block.lf_limit_hz:g} Hz (15 to 250 is plausible)")
    if not 0.0 <= block.copper_share <= 1.0:
        problems.append(f"copper share of {block.copper_share:g}")
    return problems


def rating_problems(entry: SpeakerType) -> list[str]:
    """Say which taps send more into a loudspeaker than it stands.

    Parameters
    ----------
    entry
        Catalogue entry.
    """
    return [
        f"its {tap.power_w:g} W tap at {tap.voltage_v:.4g} V is over its rated"
        f" {entry.rated_power_w:g} W"
        for tap in entry.taps
        if entry.delivered_w(tap) > entry.rated_power_w * 1.001
    ]


def low_end_problems(entry: SpeakerType) -> list[str]:
    """Say what is wrong with a type's low-frequency data.

    Parameters
    ----------
    entry
        Catalogue entry.
    """
    low = entry.low_end
    if low is None:
        return []
    problems = []
    if len(low.mid_hz) != len(low.sensitivity_db):
        problems.append("as many levels as frequencies are needed")
    if list(low.mid_hz) != sorted(set(low.mid_hz)):
        problems.append("its third-octave frequencies do not rise")
    if low.mid_hz and not low.mid_hz[0] <= low.low_limit_hz <= low.mid_hz[-1]:
        problems.append(f"its low limit of {low.low_limit_hz:g} Hz lies outside its data")
    return problems


def amplifier_problems(entry: AmplifierType) -> list[str]:
    """Say what is implausible about an amplifier.

    Parameters
    ----------
    entry
        Catalogue entry.
    """
    problems = []
    if any(not 1.0 <= power <= 5000.0 for power in entry.channel_power_w):
        problems.append("a channel outside 1 to 5000 W")
    if entry.class_mark not in {"", "1", "2", "3"}:
        problems.append(f"class mark {entry.class_mark!r}: 1, 2, 3 or none")
    if not entry.voltages_v:
        problems.append("no line voltage")
    return problems


def cable_problems(entry: CableType) -> list[str]:
    """Say what is implausible about a cable.

    Parameters
    ----------
    entry
        Catalogue entry.
    """
    problems = []
    if entry.gauge_system == "AWG" and entry.conductor not in {"solid", "stranded"}:
        problems.append(f"{entry.conductor} is no conductor of AWG sizes")
    if entry.gauge_system == "mm2" and entry.conductor in {"solid", "stranded"}:
        problems.append(f"{entry.conductor}: mm² sizes are class 1, 2 or 5")
    if not 0.001 <= entry.outer_diameter_m <= 0.06:
        problems.append(f"outer diameter of {entry.outer_diameter_m:g} m")
    return problems


SpeakerRule = Callable[[SpeakerType], list[str]]


def _over_types(
    context: Context, rule: SpeakerRule, wanted: Callable[[SpeakerType], bool] | None = None
) -> list[Finding]:
    return [
        found(entry.id, problem, key=entry.id, limit="a plausible entry")
        for entry in context.job.catalogue.speaker_types
        if wanted is None or wanted(entry)
        for problem in rule(entry)
    ]


def _holes(context: Context) -> list[Finding]:
    least = context.limits["flange_overlap_least_m"]
    return _over_types(context, lambda entry: hole_problems(entry, least_overlap_m=least))


def _amplifiers(context: Context) -> list[Finding]:
    return [
        found(entry.id, problem, key=entry.id, limit="a plausible entry")
        for entry in context.job.catalogue.amplifier_types
        for problem in amplifier_problems(entry)
    ]


def _cables(context: Context) -> list[Finding]:
    return [
        found(entry.id, problem, key=entry.id, limit="a plausible entry")
        for entry in context.job.catalogue.cable_types
        for problem in cable_problems(entry)
    ]


def _of(rule: SpeakerRule) -> Callable[[Context], Iterable[Finding]]:
    return lambda context: _over_types(context, rule)


def _check(
    code: str,
    severity: Severity,
    title: str,
    why: str,
    find: Callable[[Context], Iterable[Finding]],
    limits: tuple[str, ...] = (),
) -> Check:
    return Check(
        code=code,
        severity=severity,
        title=title,
        why=why,
        do="compare the entry with the maker's sheet",
        find=find,
        limits=limits,
        source="the catalogue",
        no_mend="only the maker's sheet knows the right value",
    )


CHECKS: Final = (
    _check(
        "TYPE-01",
        "warn",
        "Table of taps contradicts itself",
        "The wrong tap is set, or the right one is not found.",
        _of(tap_problems),
    ),
    _check(
        "TYPE-02",
        "warn",
        "Tap without a mark",
        "The card cannot say which position or lead it is.",
        _of(mark_problems),
    ),
    _check(
        "TYPE-03",
        "warn",
        "Implausible sensitivity",
        "Levels follow from it, decibel by decibel.",
        _of(sensitivity_problems),
    ),
    _check(
        "TYPE-04",
        "warn",
        "Holes in the polar data",
        "Evenness is decided by them.",
        _of(polar_problems),
    ),
    _check(
        "TYPE-05",
        "warn",
        "Trim hardly covers its hole",
        "The edge of the hole shows.",
        _holes,
        ("flange_overlap_least_m",),
    ),
    _check(
        "TYPE-06",
        "warn",
        "Size that looks like a wrong unit",
        "Inches for millimetres, pounds for kilograms.",
        _of(size_problems),
    ),
    _check(
        "TYPE-07",
        "warn",
        "Implausible transformer",
        "Load, loss and saturation follow from it.",
        _of(transformer_problems),
    ),
    _check(
        "TYPE-08",
        "warn",
        "Tap over the rated power",
        "A tap that must not be used should not be in the table.",
        _of(rating_problems),
    ),
    _check(
        "TYPE-09",
        "warn",
        "Low-frequency data contradict themselves",
        "The place and tap of a subwoofer follow from them.",
        _of(low_end_problems),
    ),
    _check(
        "TYPE-10",
        "warn",
        "Implausible amplifier",
        "Loads are held against it.",
        _amplifiers,
    ),
    _check(
        "TYPE-11",
        "warn",
        "Implausible cable",
        "Its resistance is looked up by system, size and conductor.",
        _cables,
    ),
)
