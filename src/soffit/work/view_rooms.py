"""Rooms as papers show them: plan, brief against result, level and speech maps."""

from collections.abc import Mapping

import numpy as np
from shapely.geometry import Point as Point2
from shapely.geometry import Polygon

from soffit.acoustics.evenness import spread_ratio
from soffit.decibel import power_ratio, power_ratio_db
from soffit.evaluate.ceiling import room_wall_names
from soffit.evaluate.sound import RoomSound
from soffit.model.decisions import Design, Job, RoomDecision
from soffit.model.lines import Line
from soffit.model.survey import Ceiling, EvennessMeasure, Room
from soffit.papers.views import BriefRow, MarkView, RoomView, RouteView
from soffit.units import format_length
from soffit.work.view_lines import place_labels
from soffit.work.view_maps import low_maps, low_notes, sound_maps
from soffit.work.view_units import in_job_units
from soffit.work.whole import Whole

_MAP_STEP_M = 0.25
_HALF_BANDS = 6


def room_views(whole: Whole) -> tuple[RoomView, ...]:
    """Return every room, in the order of the survey.

    Parameters
    ----------
    whole
        The job and its states.
    """
    labels = place_labels(whole.job)
    return tuple(_view(whole, room, labels) for room in whole.job.survey.rooms)


def _decision(design: Design, key: str) -> RoomDecision | None:
    return next((entry for entry in design.rooms if entry.room_key == key), None)


def _view(whole: Whole, room: Room, labels: Mapping[str, str]) -> RoomView:
    job = whole.job
    sound = whole.sound.room(room.key)
    decision = _decision(job.design, room.key)
    chosen = (
        next((item for item in decision.options if item.mark == "chosen"), None)
        if (decision)
        else None
    )
    storey = next(item for item in job.survey.storeys if item.key == room.storey_key)
    return RoomView(
        key=room.key,
        label=room.label,
        storey=storey.label,
        storey_elevation_m=storey.elevation_m,
        outline=room.outline,
        holes=room.holes,
        ceilings=room.ceilings,
        obstacles=job.survey.obstacles_in(room.key),
        doors=room.doors,
        wall_names=room_wall_names(room, north_angle_rad=job.survey.site.north_angle_rad),
        listening_areas=room.listening_areas,
        test_points=room.test_points,
        routes=_routes(job, room, labels),
        marks=_marks(job, room),
        maps=(*(sound_maps(sound) if sound else ()), *low_maps(whole.low_plans.get(room.key))),
        brief=brief_rows(room, sound),
        pattern=chosen.pattern if chosen else "",
        count=sum(speaker.room_key == room.key for speaker in job.design.speakers),
        use=room.use,
        reason=decision.reason if decision else "",
        options=decision.options if decision else (),
        bound=decision.bound if decision else "",
        ceiling_text="; ".join(
            _ceiling_text(item, imperial=job.survey.site.is_imperial) for item in room.ceilings
        ),
        notes=(
            *_notes(sound, decision, imperial=job.survey.site.is_imperial),
            *low_notes(whole.low_plans.get(room.key)),
        ),
        plan_notes=_plan_notes(decision),
    )


def _ceiling_text(ceiling: Ceiling, *, imperial: bool) -> str:
    height = format_length(ceiling.height_m, imperial=imperial)
    parts = [f"{ceiling.kind} ceiling at {height} ({ceiling.height_source})"]
    if ceiling.grid:
        across = format_length(ceiling.grid.pitch_x_m, imperial=imperial, fine=True)
        along = format_length(ceiling.grid.pitch_y_m, imperial=imperial, fine=True)
        parts.append(f"tiles {across} x {along}")
    if ceiling.void_depth_m is not None:
        void = format_length(ceiling.void_depth_m, imperial=imperial, fine=True)
        parts.append(f"void {void} ({ceiling.void_source})")
    if ceiling.is_plenum:
        parts.append("void moves room air")
    if ceiling.fire_rated:
        parts.append("fire-rated")
    return ", ".join(parts)


def _plan_notes(decision: RoomDecision | None) -> tuple[str, ...]:
    """Return what could not be kept of what was fixed by hand."""
    return tuple(f"Not kept: {text}" for text in decision.not_kept) if decision else ()


def _notes(
    sound: RoomSound | None, decision: RoomDecision | None, *, imperial: bool
) -> tuple[str, ...]:
    notes = []
    if sound:
        model = in_job_units(sound.model_text, imperial=imperial)
        notes.append(f"Computed with {model.replace('; T ', '; reverberation time ')}.")
        named = sound.programme_text.replace("((", "(").replace("))", ")")
        notes.append(f"Programme: {named}.")
    notes += _plan_notes(decision)
    if decision and not decision.is_reproducible:
        notes.append("A clock ended this search: another run may find another layout.")
    return tuple(notes)


def _spread_row(room: Room, sound: RoomSound, measure: EvennessMeasure, asked: str) -> BriefRow:
    share = room.brief.evenness_share
    energy = power_ratio(sound.levels_db(measure))
    half = float(power_ratio_db(spread_ratio(energy, share=share))) / 2.0
    met = half <= room.brief.evenness_db + 1e-9
    return BriefRow(
        what=f"evenness, {measure}, {share:.0%} of the ears",
        asked=asked,
        got=f"±{half:.1f} dB",
        verdict="open" if not asked else "met" if met else "missed",
        note="" if asked else "for comparison; this is nearer to what a meter reads",
    )


def brief_rows(room: Room, sound: RoomSound | None) -> tuple[BriefRow, ...]:
    """Hold a brief against its results.

    Parameters
    ----------
    room
        The room with its brief.
    sound
        Its sound; ``None`` if it has no speakers.
    """
    brief = room.brief
    if sound is None:
        return (
            BriefRow(what="sound", asked=brief.programme, got="no speakers yet", verdict="open"),
        )
    rows = [_level_row(sound)]
    rows.append(_spread_row(room, sound, brief.evenness_measure, f"±{brief.evenness_db:g} dB"))
    other: EvennessMeasure = (
        "whole dBA" if brief.evenness_measure != "whole dBA" else "direct 4 kHz"
    )
    rows.append(_spread_row(room, sound, other, ""))
    if brief.sti_min is not None:
        speech = sound.speech
        rows.append(
            BriefRow(
                what=f"STI at {speech.share:.0%} of the ears",
                asked=f"{brief.sti_min:.2f} or more",
                got=f"{speech.reached_sti:.2f} (mean {speech.mean_sti:.2f})",
                verdict="met" if speech.reached_sti >= brief.sti_min else "missed",
                note=speech.text,
            )
        )
    if brief.max_level_dba is not None:
        rows.append(
            BriefRow(
                what="loudest ear at the wanted level",
                asked=f"{brief.max_level_dba:.0f} dBA or less",
                got=f"{sound.loudest_dba:.1f} dBA",
                verdict="met" if sound.loudest_dba <= brief.max_level_dba else "missed",
            )
        )
    return tuple(rows)


def _reserve_text(reserve_db: float) -> str:
    """Say how much louder it can go, or what is missing."""
    if reserve_db < 0.0:
        return f"{-reserve_db:.1f} dB missing"
    return f"{reserve_db:.1f} dB to spare before the line is full"


def _level_row(sound: RoomSound) -> BriefRow:
    got = f"{sound.full_level_dba:.1f} dBA with the line filled"
    if sound.target_dba is None or sound.reserve_db is None:
        return BriefRow(what="level at the ears", asked="not asked", got=got, verdict="open")
    return BriefRow(
        what="level at the ears",
        asked=f"{sound.target_dba:.1f} dBA",
        got=got,
        verdict="met" if sound.reserve_db >= -0.05 else "missed",
        note=_reserve_text(sound.reserve_db),
    )


def _routes(job: Job, room: Room, labels: Mapping[str, str]) -> tuple[RouteView, ...]:
    """Return the runs that begin or end in a room, whole; its plan cuts them at the walls."""
    here = {speaker.key for speaker in job.design.speakers if speaker.room_key == room.key}
    here |= {rack.key for rack in job.survey.racks if rack.room_key == room.key}
    views = []
    for line in job.design.lines:
        joints = {
            joint.key: joint
            for joint in line.joints
            if Polygon(room.outline).buffer(0.01).covers(Point2(joint.position))
        }
        inside = here | set(joints)
        for run in line.runs:
            if len(run.route) < 2 or not {run.start_key, run.end_key} & inside:
                continue
            outside = [key for key in (run.start_key, run.end_key) if key not in inside]
            leaves = labels.get(outside[0], "") if outside else ""
            views.append(
                RouteView(
                    run_key=run.key,
                    label=run.label,
                    line_label=line.label,
                    points=run.route,
                    leaves_to=leaves,
                )
            )
    return tuple(views)


def _marks(job: Job, room: Room) -> tuple[MarkView, ...]:
    marks = [
        MarkView(kind="rack", key=rack.key, label=rack.label, position=rack.position)
        for rack in job.survey.racks
        if rack.room_key == room.key
    ]
    served = {speaker.line_key for speaker in job.design.speakers if speaker.room_key == room.key}
    lines: list[Line] = [line for line in job.design.lines if line.key in served]
    walls = np.array(room.outline)
    low, high = walls.min(axis=0), walls.max(axis=0)
    marks += [
        MarkView(kind=joint.kind, key=joint.key, label=joint.label, position=joint.position)
        for line in lines
        for joint in line.joints
        if np.all(np.asarray(joint.position) >= low) and np.all(np.asarray(joint.position) <= high)
    ]
    return tuple(marks)
