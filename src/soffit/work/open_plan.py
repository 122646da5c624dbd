"""Rooms that are open to each other: their taps are chosen together once all are decided."""

from collections.abc import Sequence
from dataclasses import replace

from soffit.design.taps import JointTaps, choose_taps_together
from soffit.evaluate.sound_ears import find_ears
from soffit.model.decisions import Job, Option, RoomDecision
from soffit.model.speakers import Speaker
from soffit.model.survey import Room

MOST_TAPPED = 20_000_000
"""Pairs of speaker and ear up to which taps are chosen one by one."""


def open_groups(rooms: Sequence[Room]) -> tuple[tuple[Room, ...], ...]:
    """Return the rooms that are open to each other, directly or through others.

    Parameters
    ----------
    rooms
        All rooms.

    Returns
    -------
    tuple of tuple of Room
        Groups of two and more, in the order of the rooms.
    """
    group = {room.key: number for number, room in enumerate(rooms)}
    for room in rooms:
        for key in room.open_to:
            if key in group:
                old, new = sorted((group[room.key], group[key]), reverse=True)
                group = {name: new if number == old else number for name, number in group.items()}
    found = [
        tuple(room for room in rooms if group[room.key] == number)
        for number in sorted(set(group.values()))
    ]
    return tuple(some for some in found if len(some) > 1)


def tapped_together(
    job: Job,
    decided: Sequence[str],
    speakers: Sequence[Speaker],
    decisions: Sequence[RoomDecision],
) -> tuple[list[Speaker], list[RoomDecision]]:
    """Choose the taps of every group of open rooms of which one was decided.

    Parameters
    ----------
    job
        The job.
    decided
        Keys of the rooms decided now; taps of all others stay.
    speakers
        All speakers, taps chosen room by room.
    decisions
        Of all rooms.

    Returns
    -------
    tuple
        Speakers and decisions, with the reason where taps were looked at.
    """
    now, words = list(speakers), list(decisions)
    for group in open_groups(job.survey.rooms):
        rooms = tuple(room for room in group if _mains(job, room.key, now))
        keys = [room.key for room in rooms]
        if len(rooms) < 2 or not set(keys) & set(decided):
            continue
        here = [item for item in now if item.room_key in keys]
        step_m = job.survey.limits["sound_ear_grid_m"]
        pairs = len(here) * sum(find_ears(room, step_m=step_m).count for room in rooms)
        if pairs > MOST_TAPPED:
            text = "The rooms it is open to are too large to choose taps together."
            words = [_said(item, text) if item.room_key in keys else item for item in words]
            continue
        joint = _chosen(job, rooms, here, decided)
        taps = {item.key: item.tap for item in joint.speakers}
        now = [replace(item, tap=taps.get(item.key, item.tap)) for item in now]
        words = [_noted(job, item, joint, now) for item in words]
    return now, words


def _mains(job: Job, room_key: str, speakers: Sequence[Speaker]) -> list[Speaker]:
    return [
        item
        for item in speakers
        if item.room_key == room_key and job.catalogue.speaker(item.type_id).kind != "subwoofer"
    ]


def _chosen(
    job: Job, rooms: tuple[Room, ...], here: Sequence[Speaker], decided: Sequence[str]
) -> JointTaps:
    """Choose, with the taps of rooms that were not decided, or whose brief names one, held."""
    held = {room.key for room in rooms if room.key not in decided or room.brief.tap_w is not None}
    asked = [replace(item, fixed_tap=item.fixed_tap or item.room_key in held) for item in here]
    return choose_taps_together(
        rooms,
        asked,
        job.catalogue,
        line_voltage_v=job.survey.site.line_voltage_v,
        limits=job.survey.limits,
    )


def _said(decision: RoomDecision, text: str) -> RoomDecision:
    return replace(decision, reason=f"{decision.reason} {text}".strip())


def _noted(
    job: Job, decision: RoomDecision, joint: JointTaps, speakers: Sequence[Speaker]
) -> RoomDecision:
    mine = next((one for one in joint.rooms if one.room_key == decision.room_key), None)
    if mine is None:
        return decision
    decision = _said(
        decision,
        f"With what the rooms it is open to bring it holds ±{mine.spread_db / 2.0:.1f} dB."
        f" {joint.reason}",
    )
    here = _mains(job, decision.room_key, speakers)
    if not any(item.key in joint.changed_keys for item in here):
        return decision
    options = tuple(
        _retapped(item, here) if item.mark == "chosen" else item for item in decision.options
    )
    return replace(decision, options=options)


def _retapped(option: Option, here: Sequence[Speaker]) -> Option:
    """Give the layout taken the taps that its speakers, the last of the room, have now."""
    taps = tuple(item.tap.power_w for item in here[-len(option.positions) :])
    return replace(option, taps_w=taps, watts_w=round(sum(s.tap.power_w for s in here), 6))
