"""Findings about the job as a whole: assumptions, decisions not kept, what was left out."""

from collections import Counter
from typing import Final

from soffit.check.job_survey import CHECKS as SURVEY_CHECKS
from soffit.check.kit import Check, Context, at_room, at_speaker, count_text, found
from soffit.model.findings import Finding, Mend


def _assumptions(context: Context) -> list[Finding]:
    return [
        found(item.path, item.text, key=item.path, limit="a surveyed value", source=item.source)
        for item in context.job.survey.assumptions
    ]


def _no_zone(context: Context) -> list[Finding]:
    zoned = {key for zone in context.job.survey.zones for key in zone.room_keys}
    if not context.job.survey.zones:
        return []
    return [
        at_room(room.key, room.label, "belongs to no zone", limit="one zone")
        for room in context.job.survey.rooms
        if room.key not in zoned
    ]


def _two_zones(context: Context) -> list[Finding]:
    counts = Counter(key for zone in context.job.survey.zones for key in zone.room_keys)
    return [
        at_room(room.key, room.label, f"belongs to {counts[room.key]} zones", limit="one zone")
        for room in context.job.survey.rooms
        if counts[room.key] > 1
    ]


def _silent(context: Context) -> list[Finding]:
    if not context.speakers:
        return [found("job", "no speaker is placed yet: run the design", limit="a design")]
    heard = {speaker.room_key for speaker in context.speakers}
    return [
        at_room(room.key, room.label, "has no speaker", limit="a speaker, or no brief")
        for room in context.job.survey.rooms
        if room.key not in heard
    ]


def _not_reproducible(context: Context) -> list[Finding]:
    return [
        at_room(
            decision.room_key,
            context.job.survey.room(decision.room_key).label,
            "its search was stopped by the clock: another run may give another layout",
            limit="a search that ends by counted work",
        )
        for decision in context.job.design.rooms
        if not decision.is_reproducible
    ]


def _not_kept(context: Context) -> list[Finding]:
    return [
        at_room(
            decision.room_key,
            context.job.survey.room(decision.room_key).label,
            text,
            limit="hand decisions are kept",
        )
        for decision in context.job.design.rooms
        for text in decision.not_kept
    ]


def _stale(context: Context) -> list[Finding]:
    made_from, now = context.job.design.job_hash, context.job.job_hash
    if not made_from or not now or made_from == now:
        return []
    return [
        found(
            "design.json",
            f"was made from another job.toml (then {made_from[:8]}, now {now[:8]})",
            limit="a design of this job",
        )
    ]


def _double_labels(context: Context) -> list[Finding]:
    counts = Counter(speaker.label for speaker in context.speakers)
    return [
        at_speaker(speaker, f"{counts[speaker.label]} speakers carry this label", limit="one each")
        for speaker in context.speakers
        if counts[speaker.label] > 1
    ]


def _double_keys(context: Context) -> list[Finding]:
    counts = Counter(speaker.key for speaker in context.speakers)
    return [
        found(key, f"{number} speakers have this permanent key", key=key, limit="one each")
        for key, number in sorted(counts.items())
        if number > 1
    ]


def _not_offered(context: Context) -> list[Finding]:
    allowed = context.job.survey.equipment.speaker_types
    if not allowed:
        return []
    return [
        at_speaker(
            speaker,
            f"{speaker.type_id} is not among the types of this job",
            limit=", ".join(allowed),
        )
        for speaker in context.speakers
        if speaker.type_id not in allowed
    ]


def _invented(context: Context) -> list[Finding]:
    if context.job.survey.site.is_invented:
        return []
    used = {speaker.type_id for speaker in context.speakers}
    made_up = sorted(
        type_id
        for type_id in used
        if context.job.catalogue.speaker(type_id).source.casefold().startswith("invented")
    )
    if not made_up:
        return []
    return [
        found(
            "job",
            f"uses invented types of the demo catalogue: {', '.join(made_up)}",
            limit="types that can be bought",
        )
    ]


def _no_door(context: Context) -> list[Finding]:
    heard = {speaker.room_key for speaker in context.speakers}
    return [
        at_room(
            room.key,
            room.label,
            "has no door and no wall names: its tiles are counted from compass walls",
            limit="a door or wall names",
        )
        for room in context.job.survey.rooms
        if room.key in heard and not room.doors and not any(room.wall_names)
    ]


def _existing(context: Context) -> list[Finding]:
    rooms = Counter(item.room_key for item in context.speakers if item.state == "existing")
    return [
        at_room(
            key,
            context.job.survey.room(key).label,
            f"{count_text(count, 'speaker')} there already: type, tap and condition are as noted",
            limit="a measured line",
            do="measure the old line at 1 kHz before anything is joined to it, look at one unit in"
            " five, and tag abandoned cable at both ends",
        )
        for key, count in rooms.items()
    ]


def _unused_acceptance(context: Context) -> list[Finding]:
    """Find nothing here: only the registry knows all findings, and fills this one in."""
    del context
    return []


def _no_rack(context: Context) -> list[Finding]:
    if context.job.survey.racks or not context.speakers:
        return []
    return [
        found(
            "job",
            "no rack is surveyed: cable lengths begin at a guess",
            limit="a rack position",
        )
    ]


def _moved_by_hand(context: Context) -> list[Finding]:
    placed = {item.key: item for item in context.job.survey.placed}
    findings = []
    for speaker in context.speakers:
        own = placed.get(speaker.key)
        if own is not None and own.type_id != speaker.type_id:
            findings.append(
                at_speaker(
                    speaker,
                    f"job.toml puts {own.type_id} there, the design has {speaker.type_id}",
                    limit=own.type_id,
                    mends=(
                        Mend(
                            kind="type",
                            target_key=speaker.key,
                            value=own.type_id,
                            text=f"use {own.type_id} at {speaker.label}",
                        ),
                    ),
                )
            )
    return findings


def _count_off(context: Context) -> list[Finding]:
    counts = Counter(
        speaker.room_key
        for speaker in context.speakers
        if context.type_of(speaker).kind != "subwoofer"
    )
    return [
        at_room(
            room.key,
            room.label,
            f"{counts[room.key]} speakers, the brief asks for {room.brief.count}",
            limit=f"{room.brief.count}",
            source="the brief",
        )
        for room in context.job.survey.rooms
        if room.brief.count is not None and counts[room.key] != room.brief.count
    ]


_SITE: Final = "only a person can say"

CHECKS: Final = (
    Check(
        code="JOB-01",
        severity="note",
        title="Assumed value",
        why="Nobody surveyed it; the plan is as good as the guess.",
        do="survey it and write it down",
        find=_assumptions,
        source="the survey",
        no_mend="only a person on site can measure it",
    ),
    Check(
        code="JOB-02",
        severity="warn",
        title="Room in no zone",
        why="It has no source and no level control.",
        do="add it to a zone",
        find=_no_zone,
        source="the survey",
        no_mend=_SITE,
    ),
    Check(
        code="JOB-03",
        severity="warn",
        title="Room in several zones",
        why="Two sources on the same speakers is one too many.",
        do="leave it in one zone",
        find=_two_zones,
        source="the survey",
        no_mend=_SITE,
    ),
    Check(
        code="JOB-04",
        severity="warn",
        title="No speaker",
        why="A room was surveyed and stays silent.",
        do="run the design, or take the room out",
        find=_silent,
        source="the plan itself",
        no_mend="the design places speakers",
    ),
    Check(
        code="JOB-05",
        severity="note",
        title="Search stopped by the clock",
        why="The same job may give another layout next time.",
        do="run it again with more time, or keep this layout by hand",
        find=_not_reproducible,
        source="the plan itself",
        no_mend=_SITE,
    ),
    Check(
        code="JOB-06",
        severity="warn",
        title="Hand decision not kept",
        why="Somebody fixed it, and the design could not hold it.",
        do="look at what was fixed and what changed",
        find=_not_kept,
        source="the plan itself",
        no_mend=_SITE,
    ),
    Check(
        code="JOB-07",
        severity="warn",
        title="Design is of an older job",
        why="The survey has changed since; places, taps and lengths may be wrong.",
        do="run the design again",
        find=_stale,
        source="the plan itself",
        no_mend="a new design is a command of its own",
    ),
    Check(
        code="JOB-08",
        severity="stop",
        title="Label used twice",
        why="Two people on two ladders read the same label.",
        do="run the design again, or change one label",
        find=_double_labels,
        source="the plan itself",
        no_mend="labels follow from the wiring order",
    ),
    Check(
        code="JOB-09",
        severity="stop",
        title="Permanent key used twice",
        why="Readings and edits would go to the wrong speaker.",
        do="mend design.json, or run the design again",
        find=_double_keys,
        source="the plan itself",
        no_mend="which of them keeps the key cannot be known",
    ),
    Check(
        code="JOB-10",
        severity="warn",
        title="Type not offered for this job",
        why="It will not be on the delivery.",
        do="add it to the job's equipment, or use a type that is there",
        find=_not_offered,
        source="the job's equipment",
        no_mend="what may be bought is a decision",
    ),
    Check(
        code="JOB-11",
        severity="warn",
        title="Invented types in a real job",
        why="Nothing of the demo catalogue can be bought.",
        do="enter the real types in catalogue.toml",
        find=_invented,
        source="the catalogue",
        no_mend="real data must be entered by a person",
    ),
    Check(
        code="JOB-12",
        severity="note",
        title="Walls without names",
        why="Nobody on a ladder carries a compass.",
        do="enter a door or wall_names",
        find=_no_door,
        no_mend=_SITE,
    ),
    Check(
        code="JOB-13",
        severity="note",
        title="Speakers that hang already",
        why="What is noted of an old line is a guess until it is measured.",
        do="measure the old line before anything is joined to it",
        find=_existing,
        no_mend="only a meter can tell",
    ),
    Check(
        code="JOB-14",
        severity="note",
        title="Acceptance without a finding",
        why="What was accepted has gone, or its code or place is mistyped: it hides"
        " nothing and confuses readers.",
        do="take it out of job.toml, or correct code and place",
        find=_unused_acceptance,
        source="the survey",
        no_mend="what was meant is known to the person who accepted",
    ),
    Check(
        code="JOB-15",
        severity="warn",
        title="No rack",
        why="Every line starts at the rack.",
        do="enter a rack with its position",
        find=_no_rack,
        source="the survey",
        no_mend=_SITE,
    ),
    Check(
        code="JOB-16",
        severity="warn",
        title="Placed type differs",
        why="The person who placed it and the design disagree on what hangs there.",
        do="run the design again, or use the type that was placed",
        find=_moved_by_hand,
        source="the survey",
        has_mend=True,
    ),
    Check(
        code="JOB-17",
        severity="warn",
        title="Not the number that was asked",
        why="The brief names a number of speakers, and the plan has another.",
        do="look at what was in the way, or change the brief",
        find=_count_off,
        source="the brief",
        no_mend="the design lists what other numbers give",
    ),
    *SURVEY_CHECKS,
)
