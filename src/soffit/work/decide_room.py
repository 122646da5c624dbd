"""One room: the type, the layout and the tap, as speakers with permanent keys."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from soffit.ceiling.tiles import TileField
from soffit.decibel import power_ratio
from soffit.design.place import RoomLayouts
from soffit.design.place_question import WHOLE, nearest_tap
from soffit.design.taps import choose_taps
from soffit.design.tiles import ceiling_polygon, face_height_m
from soffit.errors import NoSolutionError
from soffit.evaluate.ceiling import tile_field
from soffit.evaluate.sound import room_sound
from soffit.evaluate.sound_ears import find_ears
from soffit.model.catalogue import SpeakerType, Tap
from soffit.model.decisions import Job, Option, RoomDecision
from soffit.model.findings import Finding
from soffit.model.speakers import Speaker, TileRef
from soffit.model.survey import Ceiling, PlacedSpeaker, Point, Room
from soffit.work.keys import KeyBook
from soffit.work.layout_question import LayoutQuestion, Search

Progress = Callable[[float, str], None]

_SAME_PLACE_M = 0.02

_MOST_TAPPED = 20_000_000
"""Pairs of speaker and ear up to which taps are chosen one by one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomDone:
    """What was decided for one room."""

    decision: RoomDecision
    speakers: tuple[Speaker, ...]
    findings: tuple[Finding, ...] = ()


def candidate_types(job: Job, room: Room) -> tuple[SpeakerType, ...]:
    """Return the types that a room may get: the brief's, else those on hand that suit its ceilings.

    Parameters
    ----------
    job
        The job.
    room
        The room.

    Returns
    -------
    tuple of SpeakerType
        In the order of the equipment list, else of the catalogue.

    Raises
    ------
    NoSolutionError
        If none suits.
    """
    if room.brief.speaker_type:
        return (job.catalogue.speaker(room.brief.speaker_type),)
    allowed = job.survey.equipment.speaker_types
    entries = (
        [job.catalogue.speaker(type_id) for type_id in allowed]
        if allowed
        else list(job.catalogue.speaker_types)
    )
    hangs = all(ceiling.kind == "open" for ceiling in room.ceilings)
    wanted = "pendant" if hangs else "ceiling"
    volts = job.survey.site.line_voltage_v
    fitting = tuple(item for item in entries if item.kind == wanted and item.taps_at(volts))
    if not fitting:
        msg = f"{room.label}: no {wanted} loudspeaker with a tap at {volts:.3g} V to choose from"
        names = ", ".join(item.id for item in entries) or "nothing"
        taps = {tap.voltage_v for item in entries if item.kind == wanted for tap in item.taps}
        volts_text = ", ".join(f"{value:.3g}" for value in sorted(taps))
        raise NoSolutionError(
            msg,
            where=f"job.toml rooms.{room.key}",
            why=f"the {'equipment list' if allowed else 'catalogue'} has {names}; "
            + (f"{wanted} types among them have taps at {volts_text} V" if taps else "none fits"),
            do="allow another type under [equipment] speaker_types, enter one in catalogue.toml"
            + (", or set line_voltage to one of these" if taps else ""),
        )
    return fitting


def kept_speakers(job: Job, room: Room) -> tuple[Speaker, ...]:
    """Return the speakers of a room that a person has decided on.

    Parameters
    ----------
    job
        The job.
    room
        The room.
    """
    before = {speaker.key: speaker for speaker in job.design.speakers}
    kept = [
        speaker
        for speaker in job.design.speakers
        if speaker.room_key == room.key and (speaker.fixed_place or speaker.state != "planned")
    ]
    held = {speaker.key for speaker in kept}
    for placed in job.survey.placed:
        if placed.room_key != room.key or placed.key in held:
            continue
        kept.append(_from_placed(job, room, placed, before.get(placed.key)))
    return tuple(kept)


def _from_placed(job: Job, room: Room, placed: PlacedSpeaker, before: Speaker | None) -> Speaker:
    ceiling = ceiling_at(room, placed.position)
    position, tile = _seat(room, ceiling, placed.position)
    entry = job.catalogue.speaker(placed.type_id)
    taps = entry.taps_at(job.survey.site.line_voltage_v)
    if not taps:
        msg = f"{placed.key}: {entry.id} has no tap at {job.survey.site.line_voltage_v:.3g} V"
        raise NoSolutionError(
            msg,
            where=f"job.toml placed.{placed.key}",
            why="its transformer is made for other line voltages",
            do="choose another type, or change the line voltage",
        )
    wanted = placed.tap_w
    tap = taps[0] if wanted is None else min(taps, key=lambda item: abs(item.power_w - wanted))
    height = placed.mount_height_m
    if height is None:
        height = float(face_height_m(ceiling, np.array([position]), job.survey.limits)[0])
    return Speaker(
        key=placed.key,
        label=before.label if before else placed.key,
        room_key=room.key,
        ceiling_key=ceiling.key,
        type_id=entry.id,
        position=position,
        mount_height_m=height,
        aim=placed.aim,
        tap=tap,
        tile=tile,
        line_key=before.line_key if before else None,
        fixed_place=True,
        fixed_tap=wanted is not None,
        state="existing" if placed.is_existing else "planned",
        note=placed.note,
    )


def ceiling_at(room: Room, position: Point) -> Ceiling:
    """Return the ceiling over a place; the first one where none says so.

    Parameters
    ----------
    room
        The room; it has at least one ceiling.
    position
        Plan position. [m]
    """
    from shapely.geometry import Point as PlanPoint

    for ceiling in room.ceilings:
        if ceiling_polygon(room, ceiling).covers(PlanPoint(position)):
            return ceiling
    return room.ceilings[0]


def _seat(
    room: Room, ceiling: Ceiling, position: Point, known: dict[str, TileField | None] | None = None
) -> tuple[Point, TileRef | None]:
    fields_of = {} if known is None else known
    if ceiling.key not in fields_of:
        fields_of[ceiling.key] = tile_field(room, ceiling)
    field = fields_of[ceiling.key]
    if field is None:
        return position, None
    column, row = field.tile_at(position)
    index = field.index(column, row)
    if index is None:
        return position, None
    x, y = (float(value) for value in field.centre_m[index])
    return (x, y), TileRef(column=column, row=row)


def layout_questions(
    job: Job,
    room: Room,
    search: Search = Search(),  # noqa: B008 a frozen record
) -> tuple[LayoutQuestion, ...]:
    """Return the searches that decide a room: one for each type that it may get.

    Parameters
    ----------
    job
        The job.
    room
        The room, with at least one ceiling.
    search
        What is tried beyond the usual.

    Returns
    -------
    tuple of LayoutQuestion
        In the order of the types.

    Raises
    ------
    NoSolutionError
        If no type suits.
    """
    kept = kept_speakers(job, room)
    own = {
        item.key: job.catalogue.speaker(item.speaker_type)
        for item in room.ceilings
        if item.speaker_type is not None
    }
    if len(own) == len(room.ceilings) and own:
        entries: tuple[SpeakerType, ...] = (next(iter(own.values())),)
    else:
        entries = candidate_types(job, room)
    _check_taps(job, room, own, entries)
    out: list[LayoutQuestion] = []
    for entry in entries:
        question = LayoutQuestion(
            room=room,
            speaker_type=entry,
            line_voltage_v=job.survey.site.line_voltage_v,
            obstacles=job.survey.obstacles_in(room.key),
            catalogue=job.catalogue,
            placed=tuple(_as_placed(speaker) for speaker in kept),
            limits=job.survey.limits,
            is_imperial=job.survey.site.is_imperial,
            search=search,
            types=tuple((item.key, own.get(item.key, entry)) for item in room.ceilings),
        )
        out.append(question)
    return tuple(out)


def _check_taps(
    job: Job, room: Room, own: Mapping[str, SpeakerType], entries: Sequence[SpeakerType]
) -> None:
    """Refuse a type that the survey names and that has no tap at the line voltage.

    A subwoofer is refused too where it would be the type of a whole room or ceiling.
    """
    volts = job.survey.site.line_voltage_v
    at = f"job.toml rooms.{room.key}"
    named = [(f"{at}.brief.speaker_type", entry) for entry in entries if room.brief.speaker_type]
    for number, ceiling in enumerate(room.ceilings):
        if ceiling.key in own:
            named.append((f"{at}.ceilings[{number}].speaker_type", own[ceiling.key]))
    for where, kind in named:
        if kind.kind == "subwoofer":
            msg = f"{room.label}: {kind.id} is a subwoofer and cannot carry the programme alone"
            raise NoSolutionError(
                msg,
                where=where,
                why="it ends where speech begins, so level and evenness of the room say nothing",
                do="name a full-range type here, and put the subwoofer by hand or wish for it",
            )
    for number, wish in enumerate(room.wishes):
        if wish.speaker_type is not None:
            kind = job.catalogue.speaker(wish.speaker_type)
            named.append((f"{at}.wishes[{number}].speaker_type", kind))
    for where, kind in named:
        if not kind.taps_at(volts):
            offered = ", ".join(f"{v:.3g}" for v in sorted({tap.voltage_v for tap in kind.taps}))
            msg = f"{room.label}: {kind.id} has no tap at {volts:.3g} V"
            raise NoSolutionError(
                msg,
                where=where,
                why=f"it has taps at {offered} V" if offered else "it has no taps",
                do="name a type for this line voltage, or change the line voltage",
            )


def _beside(room: Room, by_hand: int) -> str:
    """Say that a number in the brief is laid beside what a person has put up."""
    count = room.brief.count
    if count is None or not by_hand:
        return ""
    left = count - by_hand
    cure = f"ask for {left}" if left > 0 else "lock the room"
    return f"The {by_hand} put by hand are not among these {count}: for {count} in all, {cure}."


def settle_room(job: Job, room: Room, tried: Sequence[RoomLayouts], book: KeyBook) -> RoomDone:
    """Choose among the types searched, and turn the layout into speakers with keys and taps.

    Parameters
    ----------
    job
        The job.
    room
        The room.
    tried
        Answers to its questions.
    book
        Counter of keys.

    Returns
    -------
    RoomDone
        Decision and speakers, those kept by hand among them.
    """
    best = cheapest(tried)
    speakers = _speakers(job, room, best, book)
    kept = _following(job, kept_speakers(job, room), best.chosen)
    tapped = _tapped(job, room, best.chosen, (*kept, *speakers))
    equal = tapped
    tapped, words = _evened(job, room, best.chosen, equal, has_kept=bool(kept or best.wished))
    decision = _decision(best, tried)
    if tapped != equal:
        decision = _exact(job, room, decision, tapped)
    for more in (_beside(room, best.n_placed), words):
        if more:
            decision = replace(decision, reason=f"{decision.reason} {more}")
    return RoomDone(decision=decision, speakers=tapped, findings=best.findings)


def _following(job: Job, kept: Sequence[Speaker], chosen: Option) -> tuple[Speaker, ...]:
    """Put speakers that hang by hand on the tap nearest to that of the others, if none is named."""
    volts = job.survey.site.line_voltage_v
    if chosen.tap_w is None:
        return tuple(kept)
    kind = job.catalogue.speaker(chosen.type_id)
    tap = _nearest_tap(kind.taps_at(volts), chosen.tap_w)
    coil_w = kind.delivered_w(tap)
    out: list[Speaker] = []
    for speaker in kept:
        own = job.catalogue.speaker(speaker.type_id)
        taps = own.taps_at(volts)
        if _is_named(speaker) or own.kind == "subwoofer" or not taps:
            out.append(speaker)
        else:
            out.append(replace(speaker, tap=nearest_tap(own, taps, coil_w)))
    return tuple(out)


def _is_named(speaker: Speaker) -> bool:
    """Whether the tap of a speaker that hangs by hand is a fact: named, or hanging already."""
    return speaker.fixed_tap or speaker.state != "planned"


def _exact(
    job: Job, room: Room, decision: RoomDecision, speakers: tuple[Speaker, ...]
) -> RoomDecision:
    """Give the layout taken the figures of its taps, where they were chosen one by one."""
    sound = room_sound(
        room,
        job.catalogue,
        speakers,
        limits=job.survey.limits,
        line_voltage_v=job.survey.site.line_voltage_v,
    )
    spread = sound.evenness[room.brief.evenness_measure].spread_db
    meets = spread <= 2.0 * room.brief.evenness_db + 1e-6
    mains = [s for s in speakers if job.catalogue.speaker(s.type_id).kind != "subwoofer"]
    whole = sound.evenness[WHOLE[room.brief.evenness_measure]]
    now = sound.evenness[room.brief.evenness_measure]
    # Speakers of the layout come last, in the order of its positions.
    options = tuple(
        replace(
            item,
            spread_db=round(spread, 4),
            whole_spread_db=round(whole.spread_db, 4),
            std_db=round(now.std_db, 4),
            worst_db=round(now.worst_db - now.median_db, 4),
            meets_brief=meets,
            watts_w=round(sum(s.tap.power_w for s in mains), 6),
            taps_w=tuple(s.tap.power_w for s in speakers[-len(item.positions) :]),
        )
        if item.mark == "chosen"
        else item
        for item in decision.options
    )
    return replace(decision, options=options)


def cheapest(tried: Sequence[RoomLayouts]) -> RoomLayouts:
    """Return the type to take: fewest speakers that meet the brief, else the most even.

    Parameters
    ----------
    tried
        Answers to the questions of one room.
    """
    return min(tried, key=_cost)


def _evened(
    job: Job, room: Room, chosen: Option, speakers: tuple[Speaker, ...], *, has_kept: bool
) -> tuple[tuple[Speaker, ...], str]:
    """Choose taps one by one where equal ones need not do: moved, missing or mixed speakers."""
    mains = [s for s in speakers if job.catalogue.speaker(s.type_id).kind != "subwoofer"]
    is_mixed = len({speaker.type_id for speaker in mains}) > 1
    is_irregular = "beside the pattern" in chosen.pattern or "left out" in chosen.pattern
    if room.brief.tap_w is not None or not mains or not (has_kept or is_mixed or is_irregular):
        return speakers, ""
    limits = job.survey.limits
    if len(mains) * find_ears(room, step_m=limits["sound_ear_grid_m"]).count > _MOST_TAPPED:
        return speakers, f"{room.label}: too large to choose taps one by one, they stay equal."
    choice = choose_taps(
        room,
        speakers,
        job.catalogue,
        line_voltage_v=job.survey.site.line_voltage_v,
        limits=limits,
    )
    return choice.speakers, choice.reason if choice.changed_keys else ""


def _as_placed(speaker: Speaker) -> PlacedSpeaker:
    return PlacedSpeaker(
        key=speaker.key,
        room_key=speaker.room_key,
        type_id=speaker.type_id,
        position=speaker.position,
        tap_w=speaker.tap.power_w if _is_named(speaker) else None,
        mount_height_m=speaker.mount_height_m,
        aim=speaker.aim,
        is_existing=speaker.state == "existing",
    )


def _cost(layouts: RoomLayouts) -> tuple[bool, int, float, float, str]:
    """Fewest speakers that meet the brief; where none does, the most even one."""
    chosen = layouts.chosen
    if chosen.meets_brief:
        return (
            False,
            chosen.count,
            round(chosen.watts_w, 6),
            round(chosen.spread_db, 6),
            layouts.type_id,
        )
    return True, 0, round(chosen.spread_db, 6), round(chosen.watts_w, 6), layouts.type_id


def _decision(best: RoomLayouts, tried: Sequence[RoomLayouts]) -> RoomDecision:
    others = [
        replace(layouts.chosen, mark=f"with {layouts.type_id}")
        for layouts in tried
        if layouts is not best
    ]
    base = best.decision()
    words = [
        f"{item.count} of {item.type_id} would do"
        if item.meets_brief
        else f"{item.type_id} cannot meet the brief"
        for item in others
    ]
    reason = f"{base.reason} ({'; '.join(words)})" if words else base.reason
    return replace(base, options=(*base.options, *others), reason=reason)


def _speakers(job: Job, room: Room, layouts: RoomLayouts, book: KeyBook) -> tuple[Speaker, ...]:
    chosen = layouts.chosen
    before = [
        speaker
        for speaker in job.design.speakers
        if speaker.room_key == room.key and not speaker.fixed_place and speaker.state == "planned"
    ]
    made = []
    known: dict[str, TileField | None] = {}
    places = [(item.position, item.type_id, item.tap_w) for item in layouts.wished]
    places += [
        (position, chosen.type_at(number), chosen.tap_at(number))
        for number, position in enumerate(chosen.positions)
    ]
    for position, type_id, tap_w in places:
        taps = job.catalogue.speaker(type_id).taps_at(job.survey.site.line_voltage_v)
        tap = _nearest_tap(taps, chosen.tap_w if tap_w is None else tap_w)
        ceiling = ceiling_at(room, position)
        seat, tile = _seat(room, ceiling, position, known)
        same = [
            item
            for item in before
            if abs(item.position[0] - seat[0]) < _SAME_PLACE_M
            and abs(item.position[1] - seat[1]) < _SAME_PLACE_M
        ]
        made.append(
            Speaker(
                key=same[0].key if same else book.new("s"),
                label=same[0].label if same else "new",
                room_key=room.key,
                ceiling_key=ceiling.key,
                type_id=type_id,
                position=seat,
                mount_height_m=float(
                    face_height_m(ceiling, np.array([seat]), job.survey.limits)[0]
                ),
                tap=same[0].tap if same and same[0].fixed_tap else tap,
                tile=tile,
                line_key=same[0].line_key if same else None,
                fixed_tap=bool(same and same[0].fixed_tap),
                fixed_order=bool(same and same[0].fixed_order),
            )
        )
    return tuple(made)


def _nearest_tap(taps: Sequence[Tap], wanted_w: float | None) -> Tap:
    if wanted_w is None:
        return taps[0]
    return min(taps, key=lambda tap: abs(tap.power_w - wanted_w))


def _tapped(
    job: Job, room: Room, chosen: Option, speakers: tuple[Speaker, ...]
) -> tuple[Speaker, ...]:
    """Give free speakers the smallest tap that reaches the wanted level, if none was chosen."""
    if chosen.tap_w is not None or room.brief.tap_w is not None:
        return speakers
    sound = room_sound(
        room,
        job.catalogue,
        speakers,
        limits=job.survey.limits,
        line_voltage_v=job.survey.site.line_voltage_v,
    )
    if sound.reserve_db is None:
        return speakers
    more = float(power_ratio(-sound.reserve_db))
    return tuple(
        speaker
        if speaker.fixed_tap or job.catalogue.speaker(speaker.type_id).kind == "subwoofer"
        else replace(speaker, tap=_enough(job, speaker, more))
        for speaker in speakers
    )


def _enough(job: Job, speaker: Speaker, more: float) -> Tap:
    entry = job.catalogue.speaker(speaker.type_id)
    taps = entry.taps_at(job.survey.site.line_voltage_v)
    allowed = [tap for tap in taps if entry.delivered_w(tap) <= entry.rated_power_w] or [taps[0]]
    needed = speaker.tap.power_w * more
    enough = [tap for tap in allowed if tap.power_w >= needed * 0.995]
    return enough[0] if enough else allowed[-1]
