"""Findings about the low end."""

from collections.abc import Iterator
from typing import Final

from soffit.check.kit import Check, Context, at_room, at_speaker, found
from soffit.model.catalogue import SpeakerType
from soffit.model.findings import Finding
from soffit.model.speakers import Speaker


def _subs(context: Context) -> Iterator[tuple[Speaker, SpeakerType]]:
    for speaker in context.speakers:
        entry = context.type_of(speaker)
        if entry.kind == "subwoofer":
            yield speaker, entry


def _not_computed(context: Context) -> list[Finding]:
    known = {low.room_key for low in context.states.low}
    rooms = sorted({speaker.room_key for speaker, _ in _subs(context)} - known)
    return [
        at_room(
            key,
            context.job.survey.room(key).label,
            "low end not computed: its subwoofer is there, what it does at the seats is not known",
            limit="a computed low end",
        )
        for key in rooms
    ]


def _no_low_data(context: Context) -> list[Finding]:
    return [
        at_speaker(
            speaker,
            f"{entry.id} has no third-octave data below 200 Hz",
            limit="low-frequency data",
        )
        for speaker, entry in _subs(context)
        if entry.low_end is None
    ]


def _tilt(context: Context) -> list[Finding]:
    return [
        at_room(
            low.room_key,
            context.job.survey.room(low.room_key).label,
            f"low band {low.tilt_db:+.1f} dB over the mid band",
            limit=f"{low.wanted_tilt_db:+.1f} dB, ±3 dB",
        )
        for low in context.states.low
        if abs(low.tilt_db - low.wanted_tilt_db) > 3.0
    ]


def _transformer(context: Context) -> list[Finding]:
    return [
        at_speaker(
            speaker,
            f"{entry.id} plays down to {entry.low_end.low_limit_hz:.0f} Hz, its transformer"
            f" saturates below {entry.transformer.lf_limit_hz:.0f} Hz at full line voltage",
            limit=f"{entry.low_end.low_limit_hz:.0f} Hz",
        )
        for speaker, entry in _subs(context)
        if entry.low_end is not None
        and entry.transformer.lf_limit_hz > entry.low_end.low_limit_hz * 1.01
    ]


def _shared_line(context: Context) -> list[Finding]:
    subs = {speaker.key for speaker, _ in _subs(context)}
    return [
        found(
            line.label,
            "carries a subwoofer together with other speakers: one high-pass and one level for all",
            key=line.key,
            limit="a line of its own",
        )
        for line in context.job.design.lines
        if subs & set(line.speaker_keys) and set(line.speaker_keys) - subs
    ]


def _cut_by_high_pass(context: Context) -> list[Finding]:
    lines = {key: line for line in context.job.design.lines for key in line.speaker_keys}
    findings = []
    for speaker, entry in _subs(context):
        line = lines.get(speaker.key)
        if line is None or line.high_pass_hz is None or entry.low_end is None:
            continue
        if line.high_pass_hz > entry.low_end.low_limit_hz * 1.26:
            findings.append(
                at_speaker(
                    speaker,
                    f"plays down to {entry.low_end.low_limit_hz:.0f} Hz, the high-pass of"
                    f" {line.label} sits at {line.high_pass_hz:.0f} Hz",
                    limit=f"{entry.low_end.low_limit_hz:.0f} Hz",
                )
            )
    return findings


def _music_without(context: Context) -> list[Finding]:
    rooms = {speaker.room_key for speaker, _ in _subs(context)}
    occupied = {speaker.room_key for speaker in context.speakers}
    return [
        at_room(
            room.key,
            room.label,
            "foreground music without a subwoofer: ceiling speakers alone bring little below their"
            " transformers' limit",
            limit="a decision",
        )
        for room in context.job.survey.rooms
        if room.brief.programme == "foreground music"
        and room.key in occupied
        and room.key not in rooms
    ]


def _open_back(context: Context) -> list[Finding]:
    return [
        at_speaker(
            speaker,
            f"{entry.id} has no closed box: the void is its box, and the next room hears it",
            limit="a closed box",
        )
        for speaker, entry in _subs(context)
        if entry.box_depth_m == 0.0 and entry.cutout_diameter_m is not None
    ]


CHECKS: Final = (
    Check(
        code="LOW-01",
        severity="note",
        title="Low end not computed",
        why="Modes decide what a subwoofer does at each seat.",
        do="let the design judge its place, or measure it",
        find=_not_computed,
        source="the plan itself",
        no_mend="a computation that was not made cannot be applied",
    ),
    Check(
        code="LOW-02",
        severity="warn",
        title="Subwoofer without low-frequency data",
        why="Its level and its limit below 200 Hz are guesses.",
        do="enter low_end in the catalogue",
        find=_no_low_data,
        source="the catalogue",
        no_mend="only the maker or a measurement has the data",
    ),
    Check(
        code="LOW-03",
        severity="warn",
        title="Low band off the wanted tilt",
        why="Too little is not heard, too much booms and rattles.",
        do="change the tap of the subwoofer, or the number of them",
        find=_tilt,
        source="the brief, or the default tilt",
        no_mend="the design proposes the tap together with the place",
    ),
    Check(
        code="LOW-04",
        severity="warn",
        title="Subwoofer's transformer saturates in its band",
        why="A saturated transformer looks like a short and makes the amplifier protect.",
        do="raise the high-pass, lower the level, or drive it at low impedance",
        find=_transformer,
        source="flux follows voltage over frequency",
        no_mend="another type or another drive is a decision",
    ),
    Check(
        code="LOW-05",
        severity="note",
        title="Subwoofer shares a line",
        why="Mains want a high-pass at the crossover, the subwoofer does not.",
        do="give it a line and a channel of its own",
        find=_shared_line,
        no_mend="which channel it gets is a decision",
    ),
    Check(
        code="LOW-06",
        severity="warn",
        title="High-pass cuts the subwoofer",
        why="What it was bought for is filtered out.",
        do="give it a line of its own with a lower high-pass",
        find=_cut_by_high_pass,
        source="the plan itself",
        no_mend="which channel it gets is a decision",
    ),
    Check(
        code="LOW-07",
        severity="note",
        title="Music without a subwoofer",
        why="The customer may expect bass.",
        do="ask, and let the design show what one would bring",
        find=_music_without,
        no_mend="only the customer can say",
    ),
    Check(
        code="LOW-08",
        severity="warn",
        title="Subwoofer with an open back",
        why="Its low end depends on a void that nobody measured, tiles rattle, and bass leaks.",
        do="use a type with a closed box",
        find=_open_back,
        no_mend="another type is a decision",
    ),
)
