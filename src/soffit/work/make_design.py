"""Decide a whole job: rooms, taps, lines, cable, amplifiers."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from soffit import __version__
from soffit.errors import JobError, NoSolutionError
from soffit.model.decisions import Design, Job, RoomDecision
from soffit.model.findings import Finding
from soffit.model.speakers import Speaker
from soffit.model.survey import Room
from soffit.work.decide_room import decide_room
from soffit.work.edit import rewired
from soffit.work.keys import KeyBook
from soffit.work.summary import DesignReport, design_report
from soffit.work.whole import evaluate_job

Progress = Callable[[float, str], None]


def quiet(done: float, text: str) -> None:
    """Tell nobody how far the work is."""


def decide(
    job: Job, *, rooms: Sequence[str] = (), seed: int = 1, progress: Progress = quiet
) -> tuple[Design, tuple[Finding, ...]]:
    """Decide a job in memory.

    Parameters
    ----------
    job
        The job with its design before; what was fixed by hand is kept.
    rooms
        Keys of the rooms to decide; all that are not locked if empty.
    seed
        Seed of the searches.
    progress
        Told the share done and what is being done.

    Returns
    -------
    tuple
        The new design, and findings that deciding raised.

    Raises
    ------
    NoSolutionError
        If a room or a line has no solution; everything that cannot be solved is named.
    TableError
        If a room does not exist.
    """
    for key in rooms:
        job.survey.room(key)
    book = KeyBook(job.design.next_key)
    speakers: list[Speaker] = []
    decisions: list[RoomDecision] = []
    findings: list[Finding] = []
    refused: list[NoSolutionError] = []
    todo = [room for room in job.survey.rooms if _is_wanted(room, rooms)]
    before = {entry.room_key: entry for entry in job.design.rooms}
    for room in job.survey.rooms:
        if room not in todo:
            speakers += [item for item in job.design.speakers if item.room_key == room.key]
            decisions += [before[room.key]] if room.key in before else []
            continue
        number = todo.index(room)
        try:
            done = decide_room(job, room, book, _part(progress, number, len(todo)))
        except NoSolutionError as error:
            refused.append(error)
            continue
        speakers += done.speakers
        decisions.append(done.decision)
        findings += done.findings
    if refused:
        first, *rest = [problem for error in refused for problem in error.problems]
        raise NoSolutionError(first.what, where=first.where, why=first.why, do=first.do, more=rest)
    progress(0.9, "wiring")
    design = replace(
        job.design,
        job_hash=job.job_hash,
        made_with=(("seed", str(seed)), ("soffit", __version__)),
        next_key=book.next_key,
        speakers=tuple(speakers),
        rooms=tuple(decisions),
    )
    design = rewired(job, design, seed=seed)
    progress(1.0, "done")
    return design, tuple(findings)


def _is_wanted(room: Room, rooms: Sequence[str]) -> bool:
    if rooms:
        return room.key in rooms
    return bool(room.ceilings) and not room.is_locked


def _part(progress: Progress, number: int, count: int) -> Progress:
    return lambda done, text: progress(0.9 * (number + done) / count, text)


def make_design(
    folder: Path,
    *,
    rooms: Sequence[str] = (),
    seed: int = 1,
    who: str = "",
    is_kept: bool = True,
    progress: Progress = quiet,
) -> DesignReport:
    """Decide the job in a folder and keep the decision.

    Parameters
    ----------
    folder
        Folder of the job.
    rooms
        Keys of the rooms to decide; all that are not locked if empty.
    seed
        Seed of the searches.
    who
        For history.
    is_kept
        Write design.json; else only show.
    progress
        Told the share done and what is being done.

    Returns
    -------
    DesignReport
        Summary of the new design.

    Raises
    ------
    JobError
        If the job cannot be read, or somebody changed the design meanwhile.
    NoSolutionError
        If a room or a line has no solution; nothing is written then.
    """
    from soffit.job.api import open_job, write_design

    job = open_job(folder)
    if not job.survey.rooms:
        raise JobError(
            what="the job has no rooms",
            where=f"{folder / 'job.toml'}  rooms",
            why="there is nothing to place speakers in",
            do="add a room, or read a plan: soffit read PLAN --into " + str(folder),
        )
    design, findings = decide(job, rooms=rooms, seed=seed, progress=progress)
    before = job.design.revision
    if is_kept:
        design = write_design(folder, design, before, who=who, what="design")
    whole = evaluate_job(replace(job, design=design))
    return design_report(whole, findings, is_changed=design.revision != before)
