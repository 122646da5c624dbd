"""Retap: levels read at seats, the room's correction, and new taps that the line can carry."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from soffit.decibel import FloatArray, power_ratio
from soffit.errors import JobError
from soffit.evaluate.line import evaluate_line
from soffit.evaluate.sound import RoomSound, first_reflections
from soffit.evaluate.sound_room import RoomAcoustics
from soffit.evaluate.sound_source import (
    Sources,
    columns,
    late_per_watt,
    measure_weights,
    pink_share,
)
from soffit.measure.balance import LEAST_POINTS, Balance, balance
from soffit.measure.verdict import background_corrected_db
from soffit.model.catalogue import Tap
from soffit.model.decisions import Job
from soffit.model.readings import Reading
from soffit.model.speakers import Speaker
from soffit.model.survey import Room
from soffit.work.measured import channel_rating_w


@dataclass(frozen=True, slots=True, kw_only=True)
class RetapLine:
    """A line of the room before and after.

    Parameters
    ----------
    label
        Of the line.
    load_before_w, load_after_w, limit_w
        Sum of taps, and what the channel allows with its headroom; 0 if unknown. [W]
    loss_before_db, loss_after_db
        Worst line loss. [dB]
    """

    label: str
    load_before_w: float
    load_after_w: float
    limit_w: float
    loss_before_db: float
    loss_after_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RetapReport:
    """What a retap of one room would do.

    Parameters
    ----------
    room
        Label.
    points
        Labels of the seats.
    result
        Corrections, taps, levels.
    changes
        Label, old and new tap of each change. [W]
    lines
        Lines that feed the room.
    is_kept
        Whether the design has the new taps.
    advice
        In one sentence.
    """

    room: str
    points: tuple[str, ...]
    speakers: tuple[str, ...]
    result: Balance
    changes: tuple[tuple[str, float, float], ...]
    lines: tuple[RetapLine, ...]
    is_kept: bool
    advice: str

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        result = self.result
        return {
            "room": self.room,
            "points": [
                {"place": label, "measured_dba": round(was, 2), "predicted_dba": round(now, 2)}
                for label, was, now in zip(
                    self.points, result.measured_db, result.predicted_db, strict=True
                )
            ],
            "corrections": [
                {"speaker": label, "correction_db": round(float(value), 2)}
                for label, value in zip(self.speakers, result.correction_db, strict=True)
            ],
            "changes": [
                {"speaker": label, "from_w": old, "to_w": new} for label, old, new in self.changes
            ],
            "spread_before_db": round(result.spread_before_db, 2),
            "spread_after_db": round(result.spread_after_db, 2),
            "ears_before_db": round(result.ears_before_db, 2),
            "ears_after_db": round(result.ears_after_db, 2),
            "mean_change_db": round(result.mean_change_db, 2),
            "lines": [
                {
                    "line": line.label,
                    "load_before_w": line.load_before_w,
                    "load_after_w": line.load_after_w,
                    "limit_w": round(line.limit_w, 2),
                    "loss_before_db": round(line.loss_before_db, 3),
                    "loss_after_db": round(line.loss_after_db, 3),
                }
                for line in self.lines
            ],
            "kept": self.is_kept,
            "advice": self.advice,
        }

    def text(self) -> str:
        """Return the report as text."""
        result = self.result
        lines = [
            f"{self.room}: spread over {len(self.points)} seats {result.spread_before_db:.1f} dB,"
            f" predicted {result.spread_after_db:.1f} dB; mean {result.mean_change_db:+.1f} dB"
        ]
        lines.append(
            f"  over all ears, by the corrected field: 95 % within {result.ears_before_db:.1f} dB,"
            f" then {result.ears_after_db:.1f} dB"
        )
        lines += [f"  {label}: {old:g} W -> {new:g} W" for label, old, new in self.changes]
        lines += [
            f"  {line.label}: {line.load_before_w:g} -> {line.load_after_w:g} W of taps"
            + (f" (channel allows {line.limit_w:.0f} W)" if line.limit_w else "")
            + f", worst loss {line.loss_before_db:.2f} -> {line.loss_after_db:.2f} dB"
            for line in self.lines
        ]
        return "\n".join([*lines, self.advice])


def retap(folder: Path, room_key: str, *, is_kept: bool = False, who: str = "") -> RetapReport:
    """Choose new taps for a room from levels read at its test points.

    Parameters
    ----------
    folder
        Folder of the job.
    room_key
        Key or label of the room.
    is_kept
        Write the new taps into the design.
    who
        For the history.

    Returns
    -------
    RetapReport
        What changes and what it gives.

    Raises
    ------
    JobError
        If there is no such room, or too few levels were read in it.
    """
    from soffit.job.api import open_job, standing, write_design
    from soffit.work.whole import evaluate_job

    job = open_job(folder)
    room = _room(job, room_key)
    state = evaluate_job(job).sound
    sound = state.room(room.key)
    if sound is None:
        problem = dict(state.refused).get(room.key)
        raise JobError(
            what=f"{room.label}: its sound cannot be worked out",
            where=f"rooms.{room.key}",
            why=f"{problem.what}: {problem.why}" if problem else "it has no loudspeakers",
            do=problem.do if problem else "place loudspeakers in it first",
        )
    levels = _levels(room, standing(job.readings))
    result, speakers = _balanced(job, sound, levels)
    after = _with_taps(job, speakers, result)
    changes = tuple(
        (speakers[j].label, speakers[j].tap.power_w, float(result.tap_w[j])) for j in result.changed
    )
    kept = is_kept and bool(changes)
    if kept:
        design = replace(job.design, speakers=after)
        write_design(folder, design, job.design.revision, who=who, what=f"retap {room.label}")
    lines = _lines(job, speakers, after)
    return RetapReport(
        room=room.label,
        points=tuple(label for label, _, _ in levels),
        speakers=tuple(speaker.label for speaker in speakers),
        result=result,
        changes=changes,
        lines=lines,
        is_kept=kept,
        advice="; ".join([_advice(result, room, kept=kept), *_full(lines)]),
    )


def _room(job: Job, name: str) -> Room:
    for room in job.survey.rooms:
        if name.casefold() in {room.key.casefold(), room.label.casefold()}:
            return room
    raise JobError(
        what=f"there is no room {name!r}",
        where="--room",
        why=f"the job has {', '.join(room.key for room in job.survey.rooms)}",
        do="name one of these",
    )


def _levels(
    room: Room, readings: Sequence[Reading]
) -> list[tuple[str, tuple[float, float, float], float]]:
    """Label, place and last level of every test point that was read, noise taken off."""
    found = []
    for point in room.test_points:
        mine = [r for r in readings if r.place_key == point.key and r.value is not None]
        level = next((r for r in reversed(mine) if r.quantity == "level dba"), None)
        noise = next((r for r in reversed(mine) if r.quantity == "noise"), None)
        if level is None or level.value is None:
            continue
        value: float | None = level.value
        if noise is not None and noise.value is not None:
            value = background_corrected_db(level.value, noise.value)
        if value is not None:
            found.append((point.label, (*point.position, point.height_m), value))
    if len(found) < LEAST_POINTS:
        raise JobError(
            what=f"{room.label}: {len(found)} levels read at test points",
            where="readings.jsonl",
            why=f"a retap needs {LEAST_POINTS} at least, better one under and one between each",
            do="add test points to the room, and soffit prove --add 'POINT 58 dBA' for each",
        )
    return found


def _balanced(
    job: Job,
    sound: RoomSound,
    levels: Sequence[tuple[str, tuple[float, float, float], float]],
) -> tuple[Balance, list[Speaker]]:
    sources, acoustics = sound.sources, sound.acoustics
    points = np.asarray([position for _, position, _ in levels])

    def field(place_m: FloatArray) -> FloatArray:
        return whole_per_watt(sources, acoustics, place_m)

    drive = float(power_ratio(-job.survey.limits["sound_test_drive_db"]))
    by_key = {speaker.key: speaker for speaker in job.design.speakers}
    speakers = [by_key[key] for key in sources.keys]
    kinds = [job.catalogue.speaker(speaker.type_id) for speaker in speakers]
    result = balance(
        field(points) * drive,
        sources.power_w,
        np.asarray([value for _, _, value in levels]),
        ears_per_w=field(sound.ears.point_m),
        tap_w=np.asarray([speaker.tap.power_w for speaker in speakers]),
        taps_w=[
            [tap.power_w for tap in kind.taps_at(speaker.tap.voltage_v)]
            for kind, speaker in zip(kinds, speakers, strict=True)
        ],
        limit_db=job.survey.limits["retap_limit_db"],
        load_limit_w=_load_limit_w(job, speakers),
        fixed=[speaker.fixed_tap for speaker in speakers],
    )
    return result, speakers


def whole_per_watt(sources: Sources, acoustics: RoomAcoustics, place_m: FloatArray) -> FloatArray:
    """Return what a meter in dBA reads of each watt of pink noise: the whole field.

    Parameters
    ----------
    sources
        Speakers of the room.
    acoustics
        The room.
    place_m : (n_points, 3)
        Where the meter stands. [m]

    Returns
    -------
    (n_points, n_speakers)
        Direct, first reflections where they are asked for, and late, as levels at test points
        are expected. [(20 µPa)²/W]
    """
    weights = measure_weights("whole dBA", np.ones(len(pink_share()))) * pink_share()
    direct = columns(
        sources,
        range(len(sources.keys)),
        place_m,
        walls=acoustics.walls,
        air_db_m=acoustics.air_db_m,
        weights=weights,
    )[0]
    late = late_per_watt(sources, acoustics.diffuse_constant_m2) @ weights
    return np.asarray(direct + late + _early_per_watt(sources, acoustics, place_m, weights))


def _early_per_watt(
    sources: Sources, acoustics: RoomAcoustics, place_m: FloatArray, weights: FloatArray
) -> FloatArray:
    """First reflections of each speaker (n_points, n_speakers); zero where not asked for."""
    early = np.zeros((len(place_m), len(sources.keys)))
    if not acoustics.first_images:
        return early
    for n in range(len(sources.keys)):
        one = replace(
            sources,
            keys=sources.keys[n : n + 1],
            radiators=sources.radiators[n : n + 1],
            position_m=sources.position_m[n : n + 1],
            axis=sources.axis[n : n + 1],
            power_w=np.ones(1),
        )
        early[:, n] = first_reflections(one, place_m, acoustics) @ weights
    return early


def _load_limit_w(job: Job, speakers: Sequence[Speaker]) -> float:
    """Sum of taps that the room's speakers may reach: what its channels still allow. [W]."""
    lines = {speaker.line_key for speaker in speakers if speaker.line_key}
    headroom = job.survey.limits["amplifier_headroom_ratio"]
    room_left = sum(speaker.tap.power_w for speaker in speakers)
    for key in lines:
        rating = channel_rating_w(job, key)
        shared = _channel_lines(job, key)
        load = sum(s.tap.power_w for s in job.design.speakers if s.line_key in shared)
        if rating <= 0.0:
            continue
        room_left += max(rating / (1.0 + headroom) - load, 0.0)
    return room_left


def _channel_lines(job: Job, line_key: str) -> tuple[str, ...]:
    for amplifier in job.design.amplifiers:
        for channel in amplifier.channels:
            if line_key in channel.line_keys:
                return channel.line_keys
    return (line_key,)


def _with_taps(job: Job, speakers: Sequence[Speaker], result: Balance) -> tuple[Speaker, ...]:
    new: dict[str, Tap] = {}
    for j in result.changed:
        speaker = speakers[j]
        offered = job.catalogue.speaker(speaker.type_id).taps_at(speaker.tap.voltage_v)
        new[speaker.key] = min(offered, key=lambda tap: abs(tap.power_w - float(result.tap_w[j])))
    return tuple(
        replace(speaker, tap=new[speaker.key], fixed_tap=True) if speaker.key in new else speaker
        for speaker in job.design.speakers
    )


def _lines(
    job: Job, speakers: Sequence[Speaker], after: Sequence[Speaker]
) -> tuple[RetapLine, ...]:
    degc = job.survey.limits["conductor_degc"]
    headroom = job.survey.limits["amplifier_headroom_ratio"]
    wanted = {speaker.line_key for speaker in speakers}
    found = []
    for line in job.design.lines:
        if line.key not in wanted:
            continue
        old = evaluate_line(line, job.design.speakers, job.catalogue, conductor_degc=degc)
        new = evaluate_line(line, after, job.catalogue, conductor_degc=degc)
        found.append(
            RetapLine(
                label=line.label,
                load_before_w=old.load_w,
                load_after_w=new.load_w,
                limit_w=channel_rating_w(job, line.key) / (1.0 + headroom),
                loss_before_db=old.worst_loss_db,
                loss_after_db=new.worst_loss_db,
            )
        )
    return tuple(found)


def _full(lines: Sequence[RetapLine]) -> list[str]:
    """Say where the amplifier forbids higher taps."""
    full = [line for line in lines if 0.0 < line.limit_w <= line.load_before_w]
    return [
        f"no tap of {line.label} may rise unless others fall: its channel allows"
        f" {line.limit_w:.0f} W and carries {line.load_before_w:g} W"
        for line in full
    ]


def _advice(result: Balance, room: Room, *, kept: bool) -> str:
    asked = 2.0 * room.brief.evenness_db
    if not result.changed:
        return "no tap is worth changing: what is left is the room, not the taps"
    gain = result.spread_before_db - result.spread_after_db
    if kept:
        return "kept in the design; set these taps, measure the same seats again, and add them"
    if result.spread_before_db <= asked:
        return (
            f"the seats already hold the {asked:g} dB of the brief; this would gain {gain:.1f} dB:"
            " only with --keep"
        )
    return f"predicted gain {gain:.1f} dB; keep it with --keep, then measure again"
