"""Decide a whole job: rooms, taps, lines, cable, amplifiers."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from soffit import __version__
from soffit.design.place import RoomLayouts
from soffit.errors import JobError, NoSolutionError, Problem
from soffit.model.decisions import Design, Job, RoomDecision
from soffit.model.findings import Finding
from soffit.model.speakers import Speaker
from soffit.model.survey import Room
from soffit.work.decide_room import cheapest, layout_questions, settle_room
from soffit.work.edit import rewired
from soffit.work.keys import KeyBook
from soffit.work.layout_question import LayoutQuestion, Search
from soffit.work.many_rooms import Effort, search_all, stopped
from soffit.work.open_plan import tapped_together
from soffit.work.summary import DesignReport, design_report
from soffit.work.whole import evaluate_job

Progress = Callable[[float, str], None]


def quiet(done: float, text: str) -> None:
    """Tell nobody how far the work is."""


def decide(
    job: Job,
    *,
    rooms: Sequence[str] = (),
    seed: int = 1,
    effort: Effort = Effort(),  # noqa: B008 a frozen record
    search: Search = Search(),  # noqa: B008 a frozen record
    progress: Progress = quiet,
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
    effort
        Processes, time, and the wish to stop. A room whose search does not end in time stays as
        it was and says so.
    search
        What is tried beyond the usual family, and whether counts are proven.
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
    StoppedError
        If a person stopped it.
    """
    for key in rooms:
        job.survey.room(key)
    todo = [room for room in job.survey.rooms if _is_wanted(room, rooms)]
    search = replace(search, seed=seed)
    answers = _searched(job, todo, effort, search, progress)
    book = KeyBook(job.design.next_key)
    speakers: list[Speaker] = []
    decisions: list[RoomDecision] = []
    findings: list[Finding] = []
    before = {entry.room_key: entry for entry in job.design.rooms}
    for room in job.survey.rooms:
        tried = answers.get(room.key)
        if not tried:
            speakers += [item for item in job.design.speakers if item.room_key == room.key]
            late = room in todo
            decisions += _as_before(room, before.get(room.key), effort, late=late)
            continue
        done = settle_room(job, room, tried, book)
        speakers += done.speakers
        decisions.append(done.decision)
        findings += done.findings
    speakers, decisions = tapped_together(job, sorted(answers), speakers, decisions)
    progress(0.9, "wiring")
    design = replace(
        job.design,
        job_hash=job.job_hash,
        made_with=tuple(sorted((*search.settings(), ("seed", str(seed)), ("soffit", __version__)))),
        next_key=book.next_key,
        speakers=tuple(speakers),
        rooms=tuple(decisions),
    )
    design = rewired(job, design, seed=seed)
    progress(1.0, "done")
    return design, tuple(findings)


def _searched(
    job: Job, todo: Sequence[Room], effort: Effort, search: Search, progress: Progress
) -> dict[str, list[RoomLayouts]]:
    """Return the answers of every room whose searches all ended in time."""
    questions: list[LayoutQuestion] = []
    problems: list[Problem] = []
    for room in todo:
        try:
            questions += layout_questions(job, room, search)
        except NoSolutionError as error:
            problems += error.problems
    ended = search_all(questions, effort, lambda done, text: progress(0.8 * done, text))
    answers: dict[str, list[RoomLayouts]] = {}
    late = {
        question.room.key for question, end in zip(questions, ended, strict=True) if end.is_late
    }
    refused: dict[str, list[Problem]] = {}
    asked: dict[int, LayoutQuestion] = {}
    for question, end in zip(questions, ended, strict=True):
        key = question.room.key
        refused.setdefault(key, []).extend(end.problems)
        if end.layouts is not None and key not in late:
            answers.setdefault(key, []).append(end.layouts)
            asked[id(end.layouts)] = question
    for key, found in refused.items():
        if key not in answers and key not in late:
            problems += found
    if problems:
        first, *rest = problems
        raise NoSolutionError(first.what, where=first.where, why=first.why, do=first.do, more=rest)
    if search.proof_s is None:
        return answers
    return _all_proven(answers, asked, effort, lambda done, text: progress(0.8 + 0.1 * done, text))


def _all_proven(
    answers: dict[str, list[RoomLayouts]],
    asked: dict[int, LayoutQuestion],
    effort: Effort,
    progress: Progress,
) -> dict[str, list[RoomLayouts]]:
    out: dict[str, list[RoomLayouts]] = {}
    for number, (key, tried) in enumerate(answers.items()):

        def tell(done: float, text: str, at: int = number) -> None:
            progress((at + done) / len(answers), text)

        out[key] = _proven(tried, asked, effort, tell)
    return out


def _proven(
    tried: list[RoomLayouts],
    asked: dict[int, LayoutQuestion],
    effort: Effort,
    progress: Progress,
) -> list[RoomLayouts]:
    """Return a room's answers, the one to take with its proof."""

    def tell(done: float, text: str) -> None:
        if effort.is_stopped():
            raise stopped()
        progress(done, text)

    best = cheapest(tried)
    proven = asked[id(best)].proven(best, tell)
    return [proven if item is best else item for item in tried]


def _as_before(
    room: Room, before: RoomDecision | None, effort: Effort, *, late: bool
) -> list[RoomDecision]:
    if not late:
        return [before] if before else []
    text = f"the search did not end within {effort.seconds or 0.0:g} s: the room stays as it was"
    base = before or RoomDecision(room_key=room.key, reason="not decided yet")
    return [replace(base, not_kept=(text,), is_reproducible=False)]


def _is_wanted(room: Room, rooms: Sequence[str]) -> bool:
    if rooms:
        return room.key in rooms
    return bool(room.ceilings) and not room.is_locked


def make_design(
    folder: Path,
    *,
    rooms: Sequence[str] = (),
    seed: int = 1,
    who: str = "",
    is_kept: bool = True,
    effort: Effort = Effort(),  # noqa: B008 a frozen record
    search: Search = Search(),  # noqa: B008 a frozen record
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
    effort
        Processes, time, and the wish to stop.
    search
        What is tried beyond the usual family, and whether counts are proven.
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
    design, findings = decide(
        job, rooms=rooms, seed=seed, effort=effort, search=search, progress=progress
    )
    before = job.design.revision
    if is_kept:
        design = write_design(folder, design, before, who=who, what="design")
    whole = evaluate_job(replace(job, design=design))
    return design_report(whole, findings, is_changed=design.revision != before)
