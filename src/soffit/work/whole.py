"""A job with everything that follows from it: lines solved, rooms heard, ceilings measured."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from soffit.decibel import power_ratio_db
from soffit.design.subs_job import RoomSubs, plan_room_subs
from soffit.errors import SoffitError
from soffit.evaluate.ceiling import CeilingState, evaluate_ceiling
from soffit.evaluate.line import LineState, evaluate_line
from soffit.evaluate.line_sweep import LineSweep, sweep_line
from soffit.evaluate.sound import SoundState, sound_state
from soffit.model.decisions import Job
from soffit.model.speakers import Speaker
from soffit.model.survey import PlacedSpeaker
from soffit.work.known_types import check_known_types


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomLow:
    """Low end of a room as its subwoofers hang.

    Parameters
    ----------
    plan
        What could be chosen, with maps, options and steps.
    tilt_db, wanted_tilt_db
        Low band over mid band as tapped, and as asked. [dB]
    deviation_db
        Standard deviation from seat to seat. [dB]
    """

    plan: RoomSubs
    tilt_db: float
    wanted_tilt_db: float
    deviation_db: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Whole:
    """A job and its states.

    Parameters
    ----------
    job
        As read.
    lines, sweeps
        Solved lines by key, and their curves where the line is a tree.
    failed
        Keys of lines and rooms that could not be worked out, with the reason.
    low
        Low end of rooms with a subwoofer as they hang, by room key, where it can be judged.
    low_plans
        What could be chosen there; without a design it carries the finding that says why.
    sound
        Every room with speakers.
    ceiling
        Every speaker against its ceiling.
    """

    job: Job
    lines: Mapping[str, LineState]
    sweeps: Mapping[str, LineSweep]
    sound: SoundState
    ceiling: CeilingState
    failed: tuple[tuple[str, str], ...] = ()
    low: Mapping[str, RoomLow] = field(default_factory=dict)
    low_plans: Mapping[str, RoomSubs] = field(default_factory=dict)


def evaluate_job(
    job: Job, *, plans: "Callable[[Job, SoundState], dict[str, RoomSubs]] | None" = None
) -> Whole:
    """Work out everything that follows from a job.

    Parameters
    ----------
    job
        The job.
    plans
        What plans the low end; the page has one that remembers rooms that did not change.

    Returns
    -------
    Whole
        The job and its states; what could not be worked out is named with its reason.

    Raises
    ------
    JobError
        If the design names types that the catalogue has not.
    """
    check_known_types(job)
    degc = job.survey.limits["conductor_degc"]
    speakers = job.design.speakers
    lines: dict[str, LineState] = {}
    sweeps: dict[str, LineSweep] = {}
    failed: list[tuple[str, str]] = []
    for line in job.design.lines:
        try:
            lines[line.key] = evaluate_line(line, speakers, job.catalogue, conductor_degc=degc)
            if line.topology != "ring":
                sweeps[line.key] = sweep_line(line, speakers, job.catalogue, conductor_degc=degc)
        except SoffitError as error:
            problem = error.problems[0]
            failed.append((line.key, f"{problem.what}: {problem.why}"))
    loss = {entry.key: entry.loss_db for state in lines.values() for entry in state.speakers}
    sound = sound_state(job.survey, job.catalogue, speakers, loss_db=loss)
    failed += [(key, f"{problem.what}: {problem.why}") for key, problem in sound.refused]
    low = (plans or low_plans)(job, sound)
    return Whole(
        job=job,
        lines=lines,
        sweeps=sweeps,
        sound=sound,
        ceiling=evaluate_ceiling(job.survey, speakers, job.catalogue),
        failed=tuple(failed),
        low={key: hung for key, plan in low.items() if (hung := _as_hung(job, plan)) is not None},
        low_plans=low,
    )


def _subs(job: Job, room_key: str) -> list[Speaker]:
    return [
        speaker
        for speaker in job.design.speakers
        if speaker.room_key == room_key
        and job.catalogue.speaker(speaker.type_id).kind == "subwoofer"
    ]


def low_plans(job: Job, sound: SoundState) -> dict[str, RoomSubs]:
    """Plan the low end of every room that has subwoofers, beside how they hang.

    Parameters
    ----------
    job
        The job.
    sound
        Its rooms.

    Returns
    -------
    dict
        By room key; one that cannot be computed carries the finding that says why.
    """
    plans = {}
    for room in job.survey.rooms:
        here = _subs(job, room.key)
        if not here:
            continue
        hanging = tuple(
            PlacedSpeaker(
                key=speaker.key,
                room_key=room.key,
                type_id=speaker.type_id,
                position=speaker.position,
            )
            for speaker in here
        )
        plans[room.key] = plan_room_subs(
            replace(job.survey, placed=hanging),
            job.catalogue,
            room_key=room.key,
            type_id=here[0].type_id,
            speakers=job.design.speakers,
            sound=sound.room(room.key),
        )
    return plans


def _as_hung(job: Job, plan: RoomSubs) -> RoomLow | None:
    if plan.design is None:
        return None
    by_hand = next(item for item in plan.design.options if item.words == "as placed by hand")
    if by_hand.taps is None:
        return None
    delivered = sum(
        job.catalogue.speaker(item.type_id).delivered_w(item.tap)
        for item in _subs(job, plan.room_key)
    )
    louder = float(power_ratio_db(delivered / by_hand.taps.delivered_w))
    return RoomLow(
        plan=plan,
        tilt_db=by_hand.taps.tilt_db + louder,
        wanted_tilt_db=plan.design.tilt_asked_db,
        deviation_db=by_hand.spread_db,
    )
