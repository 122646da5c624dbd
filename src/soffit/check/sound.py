"""Findings about what the ears get."""

from collections.abc import Iterator
from typing import Final

import numpy as np

from soffit.check.kit import Check, Context, at_room
from soffit.evaluate.sound import RoomSound
from soffit.model.findings import Finding
from soffit.model.survey import Room


def _rooms(context: Context) -> Iterator[tuple[Room, RoomSound]]:
    if context.states.sound is None:
        return
    for sound in context.states.sound.rooms:
        yield context.job.survey.room(sound.room_key), sound


def _too_quiet(context: Context) -> list[Finding]:
    tolerance = context.limits["sound_level_tolerance_db"]
    return [
        at_room(
            room.key,
            room.label,
            f"reaches {sound.full_level_dba:.1f} dBA with the line filled, {sound.target_dba:.1f}"
            " dBA is wanted",
            limit=f"{sound.target_dba:.1f} dBA",
            source="the brief",
        )
        for room, sound in _rooms(context)
        if sound.target_dba is not None and sound.full_level_dba < sound.target_dba - tolerance
    ]


def spread_db(room: Room, sound: RoomSound) -> float:
    """Return the width that holds the brief's share of ears, in the brief's measure. [dB].

    Parameters
    ----------
    room
        Its brief.
    sound
        Its state.
    """
    cut = (1.0 - room.brief.evenness_share) / 2.0
    low, high = np.quantile(sound.levels_db(sound.measure), [cut, 1.0 - cut])
    return float(high - low)


def _uneven(context: Context) -> list[Finding]:
    findings = []
    for room, sound in _rooms(context):
        spread, wanted = spread_db(room, sound), 2.0 * room.brief.evenness_db
        if spread > wanted + 0.05:
            findings.append(
                at_room(
                    room.key,
                    room.label,
                    f"{room.brief.evenness_share:.0%} of the ears lie within ±{spread / 2.0:.1f} dB"
                    f" ({sound.measure}; {_models(context, room)})",
                    limit=f"±{room.brief.evenness_db:g} dB",
                    source="the brief",
                )
            )
    return findings


def _unclear(context: Context) -> list[Finding]:
    findings = []
    for room, sound in _rooms(context):
        asked, speech = room.brief.sti_min, sound.speech
        if asked is not None and speech.reached_sti < asked - 0.005:
            findings.append(
                at_room(
                    room.key,
                    room.label,
                    f"STI {speech.reached_sti:.2f} reached by {speech.share:.0%} of the ears, mean"
                    f" {speech.mean_sti:.2f}",
                    limit=f"{asked:.2f}",
                    source="the brief",
                    do=_remedy(sound, context.limits["sound_sti_gain"]),
                )
            )
    return findings


def _remedy(sound: RoomSound, least_gain: float) -> str:
    """Say with numbers which remedies help and which do not."""
    remedies = sound.speech.remedies
    tried = {
        f"{remedies.louder_db:g} dB louder": remedies.sti_louder,
        "no noise": remedies.sti_quieter,
        "endlessly many speakers": remedies.sti_even,
        "no reverberation": remedies.sti_dry,
    }
    helps = {name: sti for name, sti in tried.items() if sti - remedies.sti_now >= least_gain}
    words = [f"{name} would give {sti:.2f}" for name, sti in helps.items()]
    words += [
        f"{name} will not help ({sti:.2f})" for name, sti in tried.items() if name not in helps
    ]
    if remedies.needed_time_s is not None:
        words.insert(0, f"absorb until T is {remedies.needed_time_s:.1f} s at 500 Hz to 2 kHz")
    return "; ".join(words)


def _too_loud(context: Context) -> list[Finding]:
    return [
        at_room(
            room.key,
            room.label,
            f"the loudest ear gets {sound.loudest_dba:.1f} dBA at the wanted level",
            limit=f"{room.brief.max_level_dba:g} dBA",
            source="the brief",
        )
        for room, sound in _rooms(context)
        if room.brief.max_level_dba is not None
        and sound.loudest_dba > room.brief.max_level_dba + 0.05
    ]


def _hearing(context: Context) -> list[Finding]:
    return [
        at_room(
            room.key,
            room.label,
            f"{sound.loudest_dba:.1f} dBA at the loudest ear may last"
            f" {sound.hearing_hours:.1f} h a day",
            limit="8 h",
        )
        for room, sound in _rooms(context)
        if sound.hearing_hours < 8.0
    ]


def _no_target(context: Context) -> list[Finding]:
    return [
        at_room(
            room.key,
            room.label,
            "neither a level nor a noise is known, so there is nothing to hold the level against",
            limit="level, or noise and margin",
        )
        for room, sound in _rooms(context)
        if sound.target_dba is None
    ]


def _refused(context: Context) -> list[Finding]:
    if context.states.sound is None:
        return [
            at_room(room.key, room.label, "its sound was not computed", limit="a computed room")
            for room in context.job.survey.rooms
        ]
    return [
        at_room(
            key,
            context.job.survey.room(key).label,
            f"its sound cannot be computed: {problem.what} ({problem.why})",
            limit="a computable room",
            do=problem.do,
        )
        for key, problem in context.states.sound.refused
    ]


def _directivities(context: Context, room: Room) -> dict[str, str]:
    return {
        speaker.type_id: context.type_of(speaker).directivity.model
        for speaker in context.speakers
        if speaker.room_key == room.key and context.type_of(speaker).kind != "subwoofer"
    }


def _models(context: Context, room: Room) -> str:
    words = {"polar": "polar table", "piston": "piston in a baffle", "cosine": "fitted cosine"}
    used = sorted(_directivities(context, room).items())
    return ", ".join(f"{type_id}: {words[model]}" for type_id, model in used)


def _model(context: Context) -> list[Finding]:
    findings = []
    for room, _sound in _rooms(context):
        used = sorted(_directivities(context, room).items())
        weak = [f"{type_id} ({model})" for type_id, model in used if model != "polar"]
        if weak:
            findings.append(
                at_room(
                    room.key,
                    room.label,
                    f"its evenness rests on {', '.join(weak)}, not on measured polar tables",
                    limit="polar tables",
                )
            )
    return findings


def _echo(context: Context) -> list[Finding]:
    return [
        at_room(
            room.key,
            room.label,
            f"{sound.late_ratio:.0%} of the ears get a loud arrival up to"
            f" {sound.worst_lag_s * 1e3:.0f} ms late",
            limit=f"{context.limits['sound_late_s'] * 1e3:.0f} ms",
        )
        for room, sound in _rooms(context)
        if sound.late_ratio > 0.0
    ]


def _zones_apart(context: Context) -> list[Finding]:
    if context.states.sound is None:
        return []
    return [
        at_room(
            lag.early_room_key,
            context.job.survey.room(lag.early_room_key).label,
            f"zone {lag.early_zone_key} is heard up to {lag.lag_s * 1e3:.0f} ms before zone"
            f" {lag.late_zone_key} where their rooms touch",
            limit=f"{context.limits['sound_late_s'] * 1e3:.0f} ms",
            do=f"delay zone {lag.early_zone_key} by {lag.suggested_delay_s * 1e3:.0f} ms more, if"
            " one hears through",
        )
        for lag in context.states.sound.zone_lags
    ]


def _echoes(context: Context) -> list[Finding]:
    return [*_echo(context), *_zones_apart(context)]


def _assumed_room(context: Context) -> list[Finding]:
    return [
        at_room(
            room.key,
            room.label,
            "; ".join(item.text for item in sound.acoustics.assumptions),
            limit="surveyed surfaces or a measured reverberation time",
        )
        for room, sound in _rooms(context)
        if sound.acoustics.assumptions
    ]


def _uneven_absorption(context: Context) -> list[Finding]:
    return [
        at_room(
            room.key,
            room.label,
            f"T is {sound.acoustics.mid_eyring_s:.2f} s by Eyring, which is in use, and"
            f" {sound.acoustics.mid_arau_s:.2f} s by Arau-Puchades: its absorption lies mostly on"
            " one pair of surfaces",
            limit=f"a ratio of {context.limits['sound_uneven_ratio']:g}",
        )
        for room, sound in _rooms(context)
        if sound.acoustics.uneven_ratio > context.limits["sound_uneven_ratio"]
    ]


def _assumed_noise(context: Context) -> list[Finding]:
    return [
        at_room(
            room.key,
            room.label,
            f"its noise of {sound.noise.level_dba:.0f} dBA is {room.noise.source}",
            limit="a measured noise",
        )
        for room, sound in _rooms(context)
        if room.noise is not None
        and sound.noise is not None
        and room.noise.source.casefold().startswith("assumed")
    ]


def _small_margin(context: Context) -> list[Finding]:
    least = context.limits["sound_speech_margin_db"]
    return [
        at_room(
            room.key,
            room.label,
            f"speech is wanted {sound.target_dba - sound.noise.level_dba:.1f} dB over the noise",
            limit=f"{least:g} dB",
        )
        for room, sound in _rooms(context)
        if room.brief.programme in {"speech", "paging"}
        and sound.noise is not None
        and sound.target_dba is not None
        and sound.target_dba - sound.noise.level_dba < least - 0.05
    ]


def _loud_speech(context: Context) -> list[Finding]:
    most = context.limits["sound_speech_most_dba"]
    return [
        at_room(
            room.key,
            room.label,
            f"speech is wanted at {sound.target_dba:.0f} dBA: louder stops helping there",
            limit=f"{most:g} dBA",
        )
        for room, sound in _rooms(context)
        if room.brief.programme in {"speech", "paging"}
        and sound.target_dba is not None
        and sound.target_dba > most
    ]


_DESIGN: Final = "the answer is another layout, tap or room; the design lists the alternatives"
_SURVEY: Final = "only a person on site can measure it"

CHECKS: Final = (
    Check(
        code="SOUND-01",
        severity="warn",
        title="Too quiet for the brief",
        why="With the line filled the room stays below what was asked.",
        do="use higher taps, more speakers, or a more sensitive type",
        find=_too_quiet,
        limits=("sound_level_tolerance_db",),
        source="the brief",
        no_mend=_DESIGN,
    ),
    Check(
        code="SOUND-02",
        severity="warn",
        title="Less even than the brief",
        why="Some seats are louder than others, and turning up for the quiet ones hurts the loud.",
        do="look at the finer options of the design, or at a type with wider polar tables",
        find=_uneven,
        source="the brief",
        no_mend=_DESIGN,
    ),
    Check(
        code="SOUND-03",
        severity="warn",
        title="Speech less clear than the brief",
        why="Words are lost, and level does not bring them back where the room rings.",
        do="see which remedy helps: noise, reverberation, or more direct sound",
        find=_unclear,
        source="the brief; IEC 60268-16",
        no_mend=_DESIGN,
    ),
    Check(
        code="SOUND-04",
        severity="warn",
        title="Louder than the comfort limit",
        why="People near a speaker complain, and somebody turns the zone down for good.",
        do="use more speakers on lower taps, or lower the wanted level",
        find=_too_loud,
        source="the brief",
        no_mend=_DESIGN,
    ),
    Check(
        code="SOUND-05",
        severity="warn",
        title="Level that harms hearing over a working day",
        why="Staff stay all day where guests stay an hour.",
        do="lower the level, or limit it in the amplifier",
        find=_hearing,
        limits=("sound_hearing_8h_dba",),
        is_caution=True,
        no_mend=_DESIGN,
    ),
    Check(
        code="SOUND-06",
        severity="note",
        title="No level to hold against",
        why="Whether it is loud enough cannot be said.",
        do="write level, or noise and margin, in the brief",
        find=_no_target,
        source="the brief",
        no_mend="only the customer or a meter can say",
    ),
    Check(
        code="SOUND-07",
        severity="stop",
        title="Sound not computed",
        why="Nothing is known about level, evenness or speech there.",
        do="mend what the message names",
        find=_refused,
        source="the plan itself",
        no_mend="what is wrong is in the message, and the cure depends on it",
    ),
    Check(
        code="SOUND-08",
        severity="note",
        title="Evenness rests on a simple source model",
        why="Piston and cosine are guesses; the polar table decides the spread at 4 kHz.",
        do="ask the maker for polar data, or measure one unit",
        find=_model,
        source="docs/theory/sound.md",
        no_mend="data that nobody has cannot be applied",
    ),
    Check(
        code="SOUND-09",
        severity="warn",
        title="Late loud arrivals",
        why="A second arrival more than about 30 ms late is heard as an echo.",
        do="delay the far zone, or lower the far speakers",
        find=_echoes,
        limits=("sound_late_s",),
        no_mend="delays are set in the processor when it is commissioned",
    ),
    Check(
        code="SOUND-10",
        severity="note",
        title="Room acoustics assumed",
        why="Reverberation decides what is added to the direct sound, and how clear speech is.",
        do="survey the surfaces, or measure the reverberation time",
        find=_assumed_room,
        source="the survey",
        no_mend=_SURVEY,
    ),
    Check(
        code="SOUND-11",
        severity="note",
        title="Noise assumed",
        why="The wanted level follows from it.",
        do="measure the noise with people in the room",
        find=_assumed_noise,
        source="the survey",
        no_mend=_SURVEY,
    ),
    Check(
        code="SOUND-12",
        severity="warn",
        title="Little margin over the noise",
        why="Announcements want 6 to 10 dB over the noise.",
        do="ask for a higher level or bring the noise down",
        find=_small_margin,
        limits=("sound_speech_margin_db",),
        no_mend="level and noise are the customer's",
    ),
    Check(
        code="SOUND-13",
        severity="note",
        title="Speech louder than helps",
        why="Above some 75 to 80 dBA the ear's own masking takes back what level gives.",
        do="bring the noise down instead",
        find=_loud_speech,
        limits=("sound_speech_most_dba",),
        no_mend="level and noise are the customer's",
    ),
    Check(
        code="SOUND-14",
        severity="note",
        title="Reverberation uncertain, absorption uneven",
        why="Sound that stays between hard walls passes an absorbing ceiling by: the room may ring"
        " longer, and speech be less clear, than the formula in use says.",
        do="measure the reverberation time, or spread the absorption onto the walls",
        find=_uneven_absorption,
        limits=("sound_uneven_ratio",),
        no_mend=_SURVEY,
    ),
)
