"""Codes of practice: conditions of a job, cautions from the table, and who to defer to."""

from collections.abc import Callable, Mapping
from typing import Final, Literal, cast

from soffit.ceiling.fit import hole_area_m2
from soffit.check.kit import Check, Context, found
from soffit.evaluate.ceiling import is_above_face
from soffit.model.findings import Finding, Severity
from soffit.model.survey import Ceiling, Room
from soffit.tables.load import load_table
from soffit.units import INCH_M

Condition = Callable[[Context], list[str]]
"""Places of a job to which a caution applies; empty if it does not."""

_WHOLE_JOB: Final = ["job"]


def _any_line(context: Context) -> list[str]:
    return _WHOLE_JOB if context.job.design.lines else []


def _any_speaker(context: Context) -> list[str]:
    return _WHOLE_JOB if context.speakers else []


def _amplifiers(context: Context, wanted: Callable[[str, float], bool]) -> list[str]:
    labels = []
    for amplifier in context.job.design.amplifiers:
        entry = context.job.catalogue.amplifier(amplifier.type_id)
        if wanted(entry.class_mark, max(entry.channel_power_w)):
            labels.append(f"{amplifier.label} ({entry.id})")
    return labels


def _unmarked_amplifier(context: Context) -> list[str]:
    return _amplifiers(context, lambda mark, _: not mark)


def _volts_and_watts(context: Context) -> list[str]:
    return _amplifiers(context, lambda mark, power: mark in {"2", "3"} and power > 100.0)


def _ceilings(context: Context, wanted: Callable[[Ceiling], bool]) -> list[Room]:
    used = {(speaker.room_key, speaker.ceiling_key) for speaker in context.speakers}
    return [
        room
        for room in context.job.survey.rooms
        if any(wanted(ceiling) and (room.key, ceiling.key) in used for ceiling in room.ceilings)
    ]


def _plenum(context: Context) -> list[str]:
    return [room.label for room in _ceilings(context, lambda ceiling: ceiling.is_plenum)]


def _grid(context: Context) -> list[str]:
    return _WHOLE_JOB if _ceilings(context, lambda ceiling: ceiling.kind == "grid") else []


def _unmarked_units(context: Context, wanted: Callable[[Ceiling], bool], mark: str) -> list[str]:
    places: dict[str, set[str]] = {}
    for speaker in context.speakers:
        ceiling = context.job.survey.ceiling(speaker.room_key, speaker.ceiling_key)
        entry = context.type_of(speaker)
        marked = entry.plenum_mark if mark == "plenum" else entry.fire_mark
        if wanted(ceiling) and is_above_face(entry) and not marked:
            places.setdefault(speaker.room_key, set()).add(entry.id)
    return [
        f"{context.job.survey.room(key).label} ({', '.join(sorted(types))})"
        for key, types in places.items()
    ]


def _plenum_device_unmarked(context: Context) -> list[str]:
    return _unmarked_units(context, lambda ceiling: ceiling.is_plenum, "plenum")


def _fire_rated_unmarked(context: Context) -> list[str]:
    return _unmarked_units(context, lambda ceiling: ceiling.fire_rated, "fire")


def largest_exempt_hole_m2() -> float:
    """Return the largest box in a rated membrane that the exception allows. [m²].

    References
    ----------
    International Building Code, 714 (read in a trade magazine): 16 sq in.
    """
    return load_table("membrane_hole").number("most", what="one opening") * INCH_M**2


def _fire_rated_large_hole(context: Context) -> list[str]:
    most = largest_exempt_hole_m2()
    places = []
    for speaker in context.speakers:
        ceiling = context.job.survey.ceiling(speaker.room_key, speaker.ceiling_key)
        diameter = context.type_of(speaker).cutout_diameter_m
        if ceiling.fire_rated and diameter is not None and hole_area_m2(diameter) > most:
            area = hole_area_m2(diameter) / INCH_M**2
            places.append(f"{speaker.label} ({context.fine(diameter)} hole, {area:.1f} sq in)")
    return places


def _existing(context: Context) -> list[str]:
    rooms = {item.room_key for item in context.speakers if item.state == "existing"}
    rooms |= {item.room_key for item in context.job.survey.placed if item.is_existing}
    return [room.label for room in context.job.survey.rooms if room.key in rooms]


def _volume_control(context: Context) -> list[str]:
    zones = [zone.label for zone in context.job.survey.zones if zone.has_volume_control]
    joints = [
        f"{line.label} {joint.label}"
        for line in context.job.design.lines
        for joint in line.joints
        if joint.kind == "volume control"
    ]
    return zones + joints


def _use_says(context: Context, words: tuple[str, ...]) -> list[str]:
    return [
        room.label
        for room in context.job.survey.rooms
        if any(word in f"{room.use} {room.label}".casefold() for word in words)
    ]


def _pool(context: Context) -> list[str]:
    return _use_says(context, ("pool", "fountain", "swimming", "spa "))


def _special(context: Context) -> list[str]:
    words = ("hospital", "clinic", "theatre", "theater", "assembly", "church", "chapel", "fair")
    return _use_says(context, words)


_LIFE_SAFETY: Final = (
    "evacuation",
    "voice alarm",
    "fire alarm",
    "life safety",
    "life-safety",
    "mass notification",
    "emergency voice",
    "emergency announcement",
)


def _purposes(context: Context) -> dict[str, str]:
    survey = context.job.survey
    texts = {zone.label: f"{zone.source} {zone.label} {zone.note}" for zone in survey.zones}
    texts |= {room.label: f"{room.use} {room.note} {room.brief.note}" for room in survey.rooms}
    texts["job"] = survey.site.note
    return texts


def _life_safety(context: Context) -> list[str]:
    return [
        place
        for place, text in _purposes(context).items()
        if any(word in text.casefold() for word in _LIFE_SAFETY)
    ]


def _emergency_not_fire(context: Context) -> list[str]:
    return [
        place
        for place, text in _purposes(context).items()
        if "emergency" in text.casefold() and "fire" not in text.casefold()
    ]


def _paging_room(context: Context) -> list[str]:
    return [
        room.label
        for room in context.job.survey.rooms
        if room.brief.programme in {"paging", "speech"} and room.brief.sti_min is None
    ]


def _over_50_v(context: Context) -> list[str]:
    return [line.label for line in context.job.design.lines if line.voltage_v > 50.0]


def _line_25_v(context: Context) -> list[str]:
    return [line.label for line in context.job.design.lines if line.voltage_v <= 25.0]


def _earthed_leg(context: Context) -> list[str]:
    return [
        f"{amplifier.label} ({amplifier.type_id})"
        for amplifier in context.job.design.amplifiers
        if not context.job.catalogue.amplifier(amplifier.type_id).floating_output
    ]


def _old_building(context: Context) -> list[str]:
    survey = context.job.survey
    notes = {room.label: f"{room.note} {room.use}" for room in survey.rooms}
    notes["job"] = survey.site.note
    words = ("asbestos", "old building", "old ceiling", "built in 19", "lead paint")
    named = [
        place for place, text in notes.items() if any(word in text.casefold() for word in words)
    ]
    return sorted({*named, *_existing(context)})


def _cut_in(context: Context) -> list[str]:
    is_cut = any(is_above_face(context.type_of(speaker)) for speaker in context.speakers)
    return _WHOLE_JOB if is_cut else []


def _sprinkler(context: Context) -> list[str]:
    rooms = {item.room_key for item in context.job.survey.obstacles if item.kind == "sprinkler"}
    return [room.label for room in context.job.survey.rooms if room.key in rooms]


CONDITIONS: Final[Mapping[str, Condition]] = {
    "any_line": _any_line,
    "any_speaker": _any_speaker,
    "unmarked_amplifier": _unmarked_amplifier,
    "volts_and_watts_rule": _volts_and_watts,
    "plenum_device_unmarked": _plenum_device_unmarked,
    "plenum": _plenum,
    "grid": _grid,
    "existing_speakers": _existing,
    "fire_rated_unmarked": _fire_rated_unmarked,
    "fire_rated_large_hole": _fire_rated_large_hole,
    "volume_control": _volume_control,
    "pool": _pool,
    "special_occupancy": _special,
    "life_safety": _life_safety,
    "life_safety_cable": _life_safety,
    "emergency_not_fire": _emergency_not_fire,
    "paging_room": _paging_room,
    "over_50_v": _over_50_v,
    "line_25_v": _line_25_v,
    "earthed_leg": _earthed_leg,
    "old_building": _old_building,
    "cut_in": _cut_in,
    "sprinkler": _sprinkler,
}
"""Conditions by the name that the table of codes uses."""

_KNOWN: Final = {
    "read": "read in articles or reproductions",
    "memory": "from memory, to be confirmed",
    "practice": "common practice, no source",
}


def applies_in(row_region: str, site_region: str) -> bool:
    """Whether a row of the table of codes applies in a job's region.

    Parameters
    ----------
    row_region
        ``US``, ``EU`` (with UK) or ``all``.
    site_region
        Region of the job.
    """
    if row_region == "all":
        return True
    return row_region == site_region or (row_region == "EU" and site_region == "UK")


def cite(row: Mapping[str, str]) -> str:
    """Write where a rule is and how it is known.

    Parameters
    ----------
    row
        Row of the table of codes.
    """
    if row["known"] == "practice":
        return _KNOWN["practice"]
    edition = f", {row['edition']}" if row["edition"] else ""
    return f"{row['reference']}{edition} ({_KNOWN[row['known']]})"


def _finder(row: Mapping[str, str]) -> Callable[[Context], list[Finding]]:
    condition = CONDITIONS[row["condition"]]

    def find(context: Context) -> list[Finding]:
        if not applies_in(row["region"], context.job.survey.site.region):
            return []
        places = condition(context)
        if not places:
            return []
        shown = ", ".join(places[:6]) + (f" and {len(places) - 6} more" if len(places) > 6 else "")
        return [found(shown, row["title"], do=row["caution"])]

    return find


def _check(row: Mapping[str, str]) -> Check:
    return Check(
        code=row["code"],
        severity=_severity(row["severity"]),
        title=row["title"],
        why=row["caution"] + ".",
        do=row["caution"],
        find=_finder(row),
        source=cite(row),
        is_caution=True,
        no_mend="a caution is followed, not applied",
    )


def _severity(text: str) -> Severity:
    return cast("Literal['stop', 'warn', 'note']", text)


CHECKS: Final = tuple(_check(row) for row in load_table("codes").rows)
