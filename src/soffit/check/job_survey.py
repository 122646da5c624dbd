"""Findings about a survey that contradicts itself, and runs that lead to nothing."""

from collections import Counter
from typing import Final

from soffit.check.kit import Check, Context, at_room, count_text, found
from soffit.evaluate.ceiling_rooms import (
    RoomOverlap,
    ceiling_overlaps,
    open_parts,
    room_overlaps,
    split_rooms,
)
from soffit.model.findings import Finding
from soffit.units import format_area


def _area(context: Context, area_m2: float) -> str:
    return format_area(area_m2, imperial=context.is_imperial)


def _overlaps(context: Context) -> tuple[RoomOverlap, ...]:
    return room_overlaps(context.job.survey, wall_m=context.limits["room_overlap_wall_m"])


def _twice(context: Context) -> list[Finding]:
    survey, share = context.job.survey, context.limits["room_twice_ratio"]
    return [
        at_room(
            item.other_key,
            survey.room(item.other_key).label,
            f"shares {item.share_ratio:.0%} of its floor with {survey.room(item.room_key).label}"
            f" ({item.room_key}) on one storey: one room, entered twice",
            limit=f"{share:.0%}",
        )
        for item in _overlaps(context)
        if item.share_ratio >= share
    ]


def _overlapping(context: Context) -> list[Finding]:
    survey, share = context.job.survey, context.limits["room_twice_ratio"]
    return [
        at_room(
            item.room_key,
            survey.room(item.room_key).label,
            f"and {survey.room(item.other_key).label} ({item.other_key}) share"
            f" {_area(context, item.area_m2)} of one storey",
            limit=f"{context.fine(context.limits['room_overlap_wall_m'])} of wall",
        )
        for item in _overlaps(context)
        if item.share_ratio < share
    ]


def _ceilings_overlap(context: Context) -> list[Finding]:
    survey, seam = context.job.survey, context.limits["ceiling_seam_m"]
    return [
        at_room(
            item.room_key,
            survey.room(item.room_key).label,
            f"its ceilings {item.ceiling_key!r} and {item.other_key!r} both cover"
            f" {_area(context, item.area_m2)}",
            limit=f"a seam of {context.fine(seam)}",
        )
        for item in ceiling_overlaps(survey, seam_m=seam)
    ]


def _uncovered(context: Context) -> list[Finding]:
    survey, seam = context.job.survey, context.limits["ceiling_seam_m"]
    return [
        at_room(
            item.room_key,
            survey.room(item.room_key).label,
            f"{_area(context, item.area_m2)} of it lie under none of its ceilings",
            limit=f"a seam of {context.fine(seam)}",
        )
        for item in open_parts(survey, seam_m=seam)
    ]


def _same_labels(context: Context) -> list[Finding]:
    rooms = context.job.survey.rooms
    names = [" ".join(room.label.casefold().split()) for room in rooms]
    counts = Counter(names)
    return [
        at_room(
            room.key,
            room.label,
            f"{counts[name]} rooms carry this label; this one is {room.key}",
            limit="one each",
        )
        for room, name in zip(rooms, names, strict=True)
        if counts[name] > 1
    ]


def _split(context: Context) -> list[Finding]:
    survey, seam = context.job.survey, context.limits["ceiling_seam_m"]
    return [
        at_room(
            item.room_key,
            survey.room(item.room_key).label,
            f"its columns cut it into {count_text(len(item.part_areas_m2), 'part')}: "
            + ", ".join(_area(context, area) for area in item.part_areas_m2[:4]),
            limit="one room",
        )
        for item in split_rooms(survey, seam_m=seam)
    ]


def _lost_ends(context: Context) -> list[Finding]:
    design = context.job.design
    known = {speaker.key for speaker in design.speakers}
    known |= {rack.key for rack in context.job.survey.racks}
    findings = []
    for line in design.lines:
        here = known | {line.rack_key} | {joint.key for joint in line.joints}
        for run in line.runs:
            ends = (("begins", run.start_key), ("ends", run.end_key))
            findings += [
                found(
                    run.label or run.key,
                    f"{verb} at {key!r}, which is neither a speaker nor a joint of"
                    f" {line.label or line.key}, nor a rack",
                    key=run.key,
                    limit="something that exists",
                )
                for verb, key in ends
                if key not in here
            ]
    return findings


_SITE: Final = "only a person who knows the building can say which is right"

CHECKS: Final = (
    Check(
        code="JOB-18",
        severity="stop",
        title="Room entered twice",
        why="Both are designed: two sets of loudspeakers go into one ceiling.",
        do="take one of the two out of job.toml, or put it on its own storey",
        find=_twice,
        limits=("room_twice_ratio",),
        no_mend=_SITE,
    ),
    Check(
        code="JOB-19",
        severity="warn",
        title="Rooms overlap",
        why="A piece of ceiling belongs to both, and each plan may put a unit there.",
        do="check their corners and storeys; units and the plan's scale are the usual cause",
        find=_overlapping,
        limits=("room_overlap_wall_m",),
        no_mend=_SITE,
    ),
    Check(
        code="JOB-20",
        severity="warn",
        title="Ceilings overlap",
        why="Two heights and two grids hold at one place; a unit is hung from one of them.",
        do="give each ceiling the part of the room that it covers",
        find=_ceilings_overlap,
        limits=("ceiling_seam_m",),
        no_mend=_SITE,
    ),
    Check(
        code="JOB-21",
        severity="warn",
        title="Part of a room without a ceiling",
        why="Nothing is placed there, and nobody knows how high it is.",
        do="let a ceiling cover it, or enter an open one",
        find=_uncovered,
        limits=("ceiling_seam_m",),
        no_mend=_SITE,
    ),
    Check(
        code="JOB-22",
        severity="warn",
        title="Rooms with one label",
        why="Papers and cards name rooms by their labels; people go to the wrong one.",
        do="give each room a label of its own",
        find=_same_labels,
        source="the survey",
        no_mend="what people call them is known on site",
    ),
    Check(
        code="JOB-23",
        severity="warn",
        title="Columns cut a room apart",
        why="Sound and cable are planned as if one could walk through.",
        do="check the columns' places and sizes, or enter the parts as rooms",
        find=_split,
        limits=("ceiling_seam_m",),
        no_mend=_SITE,
    ),
    Check(
        code="JOB-24",
        severity="stop",
        title="Run leads to nothing",
        why="What it was joined to was taken out; the cable would end in the void.",
        do="run the design again, or take the run out",
        find=_lost_ends,
        source="the plan itself",
        no_mend="where it should lead now is a decision",
    ),
)
