"""What the field page brings home: readings, ticks and changes into the job, once each.

Every entry becomes a line of readings.jsonl under the key that the phone gave it: nothing is
lost and a second merge adds nothing. Changes kept as built are made in the design as well; the
history names their keys, which tells a later merge that they were made.
"""

import json
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Final

from soffit.errors import JobError, SoffitError
from soffit.evaluate.ceiling import tile_field
from soffit.measure.entry import value_text
from soffit.model.decisions import Design, Job
from soffit.model.lines import Line
from soffit.model.readings import Reading
from soffit.model.speakers import Speaker
from soffit.papers.field_export import FieldChange, FieldExport, FieldTick, parse_export
from soffit.work.edit import HandEdit, applied_edits, edited_design
from soffit.work.prove import FIELD_NOTE, ProveReport, add_readings, report_of, text_of

HUNG: Final = "hung"
_WAYS: Final = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "up": (0.0, 1.0), "down": (0.0, -1.0)}
_ON_THE_PLAN: Final = re.compile(r"\b(left|right|up|down) on the plan\b")
"""The way on the page's own plan; names of walls may hold the same words."""

_SURE_WAY: Final = math.cos(math.radians(30.0))
"""A grid that lies within 30 degrees of the plan says which tile is left of another."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Something that the desk must decide.

    Parameters
    ----------
    key
        Key of the entry.
    place
        Label as it is now.
    what, why, do
        In three parts.
    """

    key: str
    place: str
    what: str
    why: str
    do: str

    def text(self) -> str:
        """Return it as lines of text."""
        return f"? {self.place}: {self.what}\n  why    {self.why}\n  do     {self.do}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """What one merge did.

    Parameters
    ----------
    built
        Changes made in the design, in words.
    questions
        All changes of the file that wait for the desk, also those of an earlier merge.
    notes
        What else was done, in words.
    n_new, n_known
        Entries that were new, and that the job had already.
    report
        Verdicts on the readings.
    """

    built: tuple[str, ...]
    questions: tuple[Question, ...]
    notes: tuple[str, ...]
    n_new: int
    n_known: int
    report: ProveReport

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "new": self.n_new,
            "known": self.n_known,
            "as_built": list(self.built),
            "questions": [asdict(item) for item in self.questions],
            "notes": list(self.notes),
            "report": self.report.as_dict(),
        }

    def text(self) -> str:
        """Return it as text."""
        parts = [f"{self.n_new} entries merged, {self.n_known} were here already"]
        parts += [f"as built: {text}" for text in self.built]
        parts += [*self.notes]
        parts += [item.text() for item in self.questions]
        return "\n".join([*parts, "", self.report.text()])


def merge_field(folder: Path, path: Path, *, is_sure: bool = False, who: str = "") -> Merged:
    """Merge the file of a field page into a job.

    Parameters
    ----------
    folder
        Folder of the job.
    path
        File that the page saved.
    is_sure
        Keep readings that are asked about, where they can be used at all; merge a page of another
        job's name.
    who
        Who merges, for the history.

    Returns
    -------
    Merged
        What was done. A second merge of the same file changes nothing.

    Raises
    ------
    JobError
        If it is not such a file, or belongs to another job.
    """
    from soffit.job.api import append_readings, open_job

    export = parse_export(text_of(path), name=path.name)
    job = open_job(folder)
    _check_job(export, job, path.name, is_sure=is_sure)
    before = {reading.key for reading in job.readings}
    current, notes = _corrected(export.readings)
    kept = [_tick_reading(tick) for tick in export.ticks]
    kept += [_change_reading(change) for change in export.changes]
    old = [r for r in export.readings if r.key not in {c.key for c in current}]
    append_readings(folder, kept)
    report = add_readings(folder, current, is_sure=is_sure)
    held = {doubt.reading.key: doubt for doubt in report.doubts}
    append_readings(folder, [*map(_held_reading, held.values()), *old])
    append_readings(folder, _strikes(old, current, set(held)))
    built, questions = _build(folder, export, who=who)
    now_known = {reading.key for reading in open_job(folder).readings}
    keys = _keys(export)
    return Merged(
        built=built,
        questions=questions,
        notes=tuple(notes),
        n_new=sum(key in now_known and key not in before for key in keys),
        n_known=sum(key in before for key in keys),
        report=replace(report_of(folder), added=report.added, doubts=report.doubts),
    )


def _check_job(export: FieldExport, job: Job, name: str, *, is_sure: bool) -> None:
    if is_sure or export.job == job.survey.site.name:
        return
    raise JobError(
        what="this page belongs to another job",
        where=f"{name}: job",
        why=f"it was printed for {export.job!r}, the job here is {job.survey.site.name!r}",
        do="give the folder of that job; or say --sure if the job was only renamed",
    )


def _keys(export: FieldExport) -> list[str]:
    keys = [reading.key for reading in export.readings]
    keys += [change.key for change in export.changes]
    return keys + [tick.key for tick in export.ticks]


# -- readings ----------------------------------------------------------------------------------


def _thing(reading: Reading) -> tuple[object, ...]:
    return reading.place_key, reading.quantity, reading.direction, reading.frequency_hz


def _corrected(readings: Sequence[Reading]) -> tuple[list[Reading], list[str]]:
    """Return the last reading of every thing, and say which were read again."""
    last: dict[tuple[object, ...], Reading] = {}
    notes = []
    for reading in readings:
        old = last.pop(_thing(reading), None)
        last[_thing(reading)] = reading
        if old is not None:
            notes.append(
                f"{reading.place}: {value_text(old)} was entered again as {value_text(reading)};"
                " the last counts, the first stays in the file, struck out"
            )
    return list(last.values()), notes


def _strikes(old: Iterable[Reading], current: Iterable[Reading], held: set[str]) -> list[Reading]:
    by_thing = {_thing(reading): reading for reading in current}
    return [
        replace(reading, key=f"{reading.key}-struck", strikes=reading.key)
        for reading in old
        if by_thing[_thing(reading)].key not in held
    ]


def _held_reading(doubt: Any) -> Reading:  # noqa: ANN401 a doubt of the measure package
    """Keep a reading that is asked about as words, so that the file may be thrown away."""
    reading = doubt.reading
    return Reading(
        key=f"{reading.key}-asked",
        place_key=reading.place_key,
        place=reading.place,
        quantity="visual",
        taken_at=reading.taken_at,
        word=f"{FIELD_NOTE}reading asked about",
        note=json.dumps(asdict(reading), ensure_ascii=False, sort_keys=True),
        who=reading.who,
        revision=reading.revision,
    )


def _tick_reading(tick: FieldTick) -> Reading:
    return Reading(
        key=tick.key,
        place_key=tick.target_key,
        place=tick.target,
        quantity="visual",
        taken_at=tick.taken_at,
        word=f"{FIELD_NOTE}{'done' if tick.done else 'not done'}: {tick.what}",
    )


def _change_reading(change: FieldChange) -> Reading:
    return Reading(
        key=change.key,
        place_key=change.target_key,
        place=change.target,
        quantity="setting",
        taken_at=change.taken_at,
        word=f"{FIELD_NOTE}{change.change}: {change.value}",
        note=f"{'as built' if change.as_built else 'question for the desk'}. {change.effect}",
        who=change.who,
        revision=change.revision,
    )


# -- as built ----------------------------------------------------------------------------------


def _build(
    folder: Path, export: FieldExport, *, who: str
) -> tuple[tuple[str, ...], tuple[Question, ...]]:
    from soffit.job.api import open_job, read_history, standing, write_design

    job = open_job(folder)
    written = " ".join(entry.what for entry in read_history(folder) if entry.state == "done")
    done = {change.key for change in export.changes if f"[{change.key}]" in written}
    waiting = {entry.key for entry in standing(job.readings)}
    labels = {speaker.key: speaker.label for speaker in job.design.speakers}
    revised = _desk_revision(folder)
    questions: list[Question] = []
    built: list[str] = []
    keys: list[str] = []
    for change in sorted(export.changes, key=lambda item: item.taken_at):
        if change.key in done or change.key not in waiting:
            continue
        label = labels.get(change.target_key, change.target)
        try:
            job, text = _changed(job, change, revised)
        except SoffitError as error:
            questions.append(_question(change, label, error))
            continue
        built.append(f"{label}: {text}")
        keys.append(change.key)
    design = _hung(job.design, export.ticks)
    base = open_job(folder).design
    if design != base:
        words = "; ".join(f"{text} [{key}]" for text, key in zip(built, keys, strict=True))
        count = sum(item.state == "installed" for item in design.speakers)
        what = f"as built, from a field page: {words or f'{count} loudspeakers hang'}"
        write_design(folder, design, base.revision, who=who, what=what)
    return tuple(built), tuple(questions)


def _desk_revision(folder: Path) -> int:
    """Return the last revision of the design that was not a merge of a field page."""
    from soffit.job.api import read_history

    found = 0
    for entry in read_history(folder):
        for file in entry.files:
            is_merge = entry.what.startswith("as built, from a field page")
            if file.name == "design.json" and entry.state == "done" and not is_merge:
                found = file.revision
    return found


def _question(change: FieldChange, label: str, error: SoffitError) -> Question:
    problem = error.problems[0]
    return Question(
        key=change.key,
        place=label,
        what=f"{change.change}: {change.value}",
        why=problem.why,
        do=f"{problem.do}; then settle the question: soffit prove --strike {change.key}",
    )


def _ask(change: FieldChange, why: str, do: str) -> JobError:
    return JobError(
        what=f"{change.change}: {change.value}",
        where=f"field page, {change.key}",
        why=why,
        do=do,
    )


def _changed(job: Job, change: FieldChange, revised: int) -> tuple[Job, str]:
    """Return the job with one change made as built, and the change in words."""
    if not change.as_built:
        raise _ask(change, change.effect, "decide, and make the change on the page or by design")
    speaker = _speaker(job.design, change)
    if speaker is None:
        raise _ask(change, "the design has no such loudspeaker any more", "find it by its room")
    if change.change == "tap":
        edit = HandEdit(kind="tap", target_key=speaker.key, value=change.value)
        design = applied_edits(job, [edit])
        text = f"tap {change.value}"
    elif change.revision < revised:
        raise _ask(
            change,
            f"it was seen against revision {change.revision}; the desk has changed the design in"
            f" revision {revised}",
            "make the change by hand where it still holds",
        )
    elif change.change == "move":
        design, text = _moved(job, speaker, change)
    elif change.change == "order":
        design, text = _reordered(job, speaker, change)
    else:
        raise _ask(change, "soffit cannot make this change by itself", "make it by hand")
    held = tuple(
        replace(item, state="installed") if item.key == speaker.key else item
        for item in design.speakers
    )
    return replace(job, design=replace(design, speakers=held)), text


def _speaker(design: Design, change: FieldChange) -> Speaker | None:
    return next((item for item in design.speakers if item.key == change.target_key), None)


def _moved(job: Job, speaker: Speaker, change: FieldChange) -> tuple[Design, str]:
    ceiling = job.survey.ceiling(speaker.room_key, speaker.ceiling_key)
    said = _ON_THE_PLAN.search(change.value)
    way = _WAYS[said[1]] if said else None
    grid = ceiling.grid
    if grid is None or speaker.tile is None or way is None:
        raise _ask(change, "its ceiling has no tiles to count", "measure its place and move it")
    cos, sin = math.cos(grid.angle_rad), math.sin(grid.angle_rad)
    along, across = way[0] * cos + way[1] * sin, -way[0] * sin + way[1] * cos
    if max(abs(along), abs(across)) < _SURE_WAY:
        raise _ask(change, "the grid lies askew: which tile is meant is not sure", "ask the person")
    step = (round(along), round(across))
    to = (speaker.tile.column + step[0], speaker.tile.row + step[1])
    taken = [
        item.label
        for item in job.design.speakers
        if item.tile is not None
        and item.ceiling_key == speaker.ceiling_key
        and item.room_key == speaker.room_key
        and (item.tile.column, item.tile.row) == to
    ]
    room = job.survey.room(speaker.room_key)
    field = tile_field(room, ceiling)
    if taken or field is None or field.index(*to) is None:
        why = f"{taken[0]} is in that tile" if taken else "the grid has no tile there"
        raise _ask(change, why, "ask the person, and move it by hand")
    edit = HandEdit(kind="move", target_key=speaker.key, value=f"{to[0]},{to[1]}")
    design = applied_edits(job, [edit])
    spot = next(item.position for item in design.speakers if item.key == speaker.key)
    lines = tuple(_lengthened(line, speaker, spot) for line in design.lines)
    return replace(design, lines=lines), f"{change.value}, cable there counted one tile longer"


def _lengthened(line: Line, speaker: Speaker, spot: tuple[float, float]) -> Line:
    """Count every run that ends at a moved unit longer by the way that it moved."""
    more = sum(abs(a - b) for a, b in zip(spot, speaker.position, strict=True))
    runs = []
    for run in line.runs:
        route = run.route
        if speaker.key not in {run.start_key, run.end_key}:
            runs.append(run)
            continue
        if route and run.end_key == speaker.key:
            route = (*route, spot)
        if route and run.start_key == speaker.key:
            route = (spot, *route)
        runs.append(replace(run, length_m=round(run.length_m + more, 3), route=route))
    return replace(line, runs=tuple(runs))


def _reordered(job: Job, speaker: Speaker, change: FieldChange) -> tuple[Design, str]:
    """Swap two neighbours of a chain; anything else says too little about the rest."""
    line = next((item for item in job.design.lines if speaker.key in item.speaker_keys), None)
    labels = {item.label: item.key for item in job.design.speakers}
    feeder = labels.get(change.value.removeprefix("fed from ").strip())
    if line is None or feeder is None or feeder not in line.speaker_keys:
        raise _ask(change, "it is not fed from that unit's line", "draw the order as wired")
    if change.revision != job.design.revision:
        why = "labels have changed since the page was printed"
        raise _ask(change, why, "draw the order as wired")
    order = list(line.speaker_keys)
    at = order.index(speaker.key)
    if at > 0 and order[at - 1] == feeder:
        return job.design, f"{change.value}, as planned"
    is_swap = at > 1 and order[at - 2] == feeder
    if line.topology != "chain" or not is_swap or job.job_hash != job.design.job_hash:
        why = "what hangs before and after it is not said, or the line is no plain chain"
        raise _ask(change, why, "ask for the whole order of the line, and enter it on the page")
    order[at - 1], order[at] = order[at], order[at - 1]
    edit = HandEdit(kind="order", target_key=line.key, value=" ".join(order))
    design = edited_design(job, [edit])
    now = next((item for item in design.lines if item.key == line.key), None)
    if now is None or list(now.speaker_keys) != order:
        raise _ask(change, "the line could not be laid in that order", "enter it on the page")
    return design, f"{change.value}: two neighbours of {line.label} change places"


def _hung(design: Design, ticks: Sequence[FieldTick]) -> Design:
    """Return the design with what was ticked as hung installed, and taken back where it was."""
    last = {tick.target_key: tick.done for tick in ticks if tick.what == HUNG}
    speakers = tuple(_with_state(item, last.get(item.key)) for item in design.speakers)
    return replace(design, speakers=speakers)


def _with_state(speaker: Speaker, hung: bool | None) -> Speaker:
    if hung and speaker.state == "planned":
        return replace(speaker, state="installed")
    if hung is False and speaker.state == "installed":
        return replace(speaker, state="planned")
    return speaker
