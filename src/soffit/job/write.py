"""Write a job: announce, replace, conclude; refuse what is stale; mend what a crash left."""

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path

from soffit.errors import JobError, StaleError
from soffit.job.design_file import DESIGN_FILE, canonical_design, design_text, parse_design
from soffit.job.files import append_lines, locked, replace_file
from soffit.job.history import (
    HISTORY_FILE,
    FileChange,
    HistoryEntry,
    Kind,
    announce,
    conclude,
    last_writer,
    read_history,
    undoable,
)
from soffit.job.parse import JOB_FILE, parse_job
from soffit.job.patch import apply, difference, reversed_hunks, text_hash
from soffit.job.read import catalogue_of
from soffit.job.readings_file import READINGS_FILE, parse_readings, reading_text
from soffit.job.repair import current_text, repair
from soffit.job.revision import revision_of, with_revision, without_revision
from soffit.job.texts import need_text
from soffit.model.decisions import Design
from soffit.model.readings import Reading

_WATCHED = (JOB_FILE, DESIGN_FILE)


def now() -> str:
    """Return the time as history and readings store it: ISO 8601, UTC, whole seconds."""
    return dt.datetime.now(dt.UTC).isoformat(timespec="seconds")


def _changes(folder: Path, texts: Mapping[str, str]) -> tuple[FileChange, ...]:
    found = []
    for name, new in texts.items():
        current = current_text(folder, name)
        before, after = without_revision(name, current), without_revision(name, new)
        found.append(
            FileChange(
                name=name,
                before=text_hash(before),
                after=text_hash(after),
                hunks=difference(before, after),
                revision=revision_of(name, current) + 1,
            )
        )
    return tuple(found)


def _note_outside(folder: Path, entries: tuple[HistoryEntry, ...], who_else: str) -> int:
    """Note files that another program has changed since; return the next free number."""
    number = entries[-1].number + 1 if entries else 1
    changed = []
    for name in _WATCHED:
        writer = last_writer(entries, name)
        if writer is None:
            continue
        known = next(change.after for change in reversed(writer.files) if change.name == name)
        text = current_text(folder, name)
        found = text_hash(without_revision(name, text))
        if found != known:
            changed.append(
                FileChange(
                    name=name,
                    before=known,
                    after=found,
                    hunks=(),
                    revision=revision_of(name, text),
                )
            )
    if not changed:
        return number
    names = " and ".join(change.name for change in changed)
    announce(
        folder,
        HistoryEntry(
            number=number,
            kind="outside",
            at=now(),
            who=who_else,
            what=f"{names} changed outside soffit",
            files=tuple(changed),
        ),
    )
    conclude(folder, number, "done")
    return number + 1


def transact(
    folder: Path,
    texts: Mapping[str, str],
    *,
    kind: Kind,
    who: str,
    what: str,
    of: int = 0,
) -> HistoryEntry:
    """Write one or more files as one step; the lock must be held and the folder in order.

    Parameters
    ----------
    folder
        Folder of the job.
    texts
        New texts by file name; each gets the next revision of its file.
    kind, who, what, of
        For history.

    Returns
    -------
    HistoryEntry
        The concluded write.
    """
    number = _note_outside(folder, read_history(folder), "another program")
    entry = HistoryEntry(
        number=number,
        kind=kind,
        at=now(),
        who=who,
        what=what,
        of=of,
        files=_changes(folder, texts),
    )
    announce(folder, entry)
    for change in entry.files:
        text = with_revision(change.name, texts[change.name], change.revision)
        replace_file(folder / change.name, text)
    conclude(folder, number, "done")
    return dataclasses.replace(entry, state="done")


def check_revision(folder: Path, name: str, found: int, base_revision: int) -> None:
    """Refuse a write that is based on an older revision.

    Parameters
    ----------
    folder
        Folder of the job.
    name
        File that is going to be written.
    found
        Its revision on disk.
    base_revision
        Revision that the writer has read.

    Raises
    ------
    StaleError
        If they differ; who wrote it since, and when, is said as far as history knows.
    """
    if found == base_revision:
        return
    writer = last_writer(read_history(folder), name)
    since = (
        f"{writer.who or 'somebody'} wrote revision {found} at {writer.at}: {writer.what}"
        if writer is not None
        else f"it is at revision {found} now"
    )
    raise StaleError(
        what=f"{name} has changed since you read it",
        where=f"{name}  revision",
        why=f"you read revision {base_revision}; {since}",
        do="open it again and repeat your change",
    )


def write_design(
    folder: Path,
    design: Design,
    base_revision: int,
    *,
    who: str = "",
    what: str = "design",
    date: str = "",
) -> Design:
    """Write the decisions of a job.

    Parameters
    ----------
    folder
        Folder of the job.
    design
        The decisions; their own revision number is ignored.
    base_revision
        Revision of the design that they are based on.
    who, what
        For history.
    date
        Date that papers print, ISO 8601; today (UTC) if empty and the design has none.

    Returns
    -------
    Design
        As on disk. An unchanged design (but for date and revision) is not written again.

    Raises
    ------
    StaleError
        If somebody has written a design since ``base_revision``.
    """
    need_text(folder, JOB_FILE)
    with locked(folder):
        repair(folder)
        current = parse_design(current_text(folder, DESIGN_FILE))
        check_revision(folder, DESIGN_FILE, current.revision, base_revision)
        same = dataclasses.replace(design, revision=current.revision, date=current.date)
        if design_text(same) == design_text(current) and current.revision > 0:
            return canonical_design(current)
        fresh = date or design.date or dt.datetime.now(dt.UTC).date().isoformat()
        new = dataclasses.replace(design, revision=current.revision + 1, date=fresh)
        text = design_text(new)
        written = parse_design(text)  # never write what could not be read again
        transact(folder, {DESIGN_FILE: text}, kind="design", who=who, what=what)
        return written


def append_readings(folder: Path, readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Append readings; they are on disk when this returns.

    Parameters
    ----------
    folder
        Folder of the job.
    readings
        New readings and strikes; those whose key is there already are left out.

    Returns
    -------
    tuple of Reading
        Those that were added.

    Raises
    ------
    JobError
        If a strike names a reading that does not exist, or the file cannot be written.
    """
    need_text(folder, JOB_FILE)
    with locked(folder):
        repair(folder)
        known = {entry.key for entry in parse_readings(current_text(folder, READINGS_FILE))}
        added: list[Reading] = []
        for reading in readings:
            if reading.key in known:
                continue
            if reading.strikes and reading.strikes not in known:
                raise JobError(
                    what=f"there is no reading {reading.strikes!r} to strike out",
                    where=f"{READINGS_FILE}  strikes",
                    why="a strike names the key of an earlier reading",
                    do="open the readings again and choose one that is there",
                )
            known.add(reading.key)
            added.append(reading)
        if added:
            lines = [reading_text(reading) for reading in added]
            parse_readings("\n".join(lines))  # never write what could not be read again
            append_lines(folder / READINGS_FILE, lines)
        return tuple(added)


def replace_survey_text(
    folder: Path, text: str, base_revision: int, *, who: str = "", what: str = "edit"
) -> int:
    """Write the whole text of job.toml, as an editor on the page does.

    Parameters
    ----------
    folder
        Folder of the job.
    text
        Its new text.
    base_revision
        Revision that the new text is based on.
    who, what
        For history.

    Returns
    -------
    int
        New revision; the old one if nothing has changed.

    Raises
    ------
    JobError
        With every problem of the new text; nothing is written then.
    StaleError
        If somebody has written job.toml since ``base_revision``.
    """
    current = need_text(folder, JOB_FILE)
    with locked(folder):
        repair(folder)
        current = need_text(folder, JOB_FILE)
        found = revision_of(JOB_FILE, current)
        check_revision(folder, JOB_FILE, found, base_revision)
        clean = text.replace("\r\n", "\n")
        check_survey_text(folder, clean)
        if without_revision(JOB_FILE, clean) == without_revision(JOB_FILE, current):
            return found
        entry = transact(folder, {JOB_FILE: clean}, kind="edit", who=who, what=what)
        return entry.files[0].revision


def check_survey_text(folder: Path, text: str) -> None:
    """Raise ``JobError`` with every problem that a new text of job.toml would have.

    Parameters
    ----------
    folder
        Folder of the job, for its own catalogue.
    text
        The text.
    """
    catalogue, own = catalogue_of(folder)
    parse_job(text, catalogue, own_catalogue=own)


def undo(folder: Path, *, who: str = "") -> HistoryEntry:
    """Take back the last write of job.toml or design.json.

    Parameters
    ----------
    folder
        Folder of the job.
    who
        For history.

    Returns
    -------
    HistoryEntry
        The write that was taken back.

    Raises
    ------
    JobError
        If there is nothing to take back, or the file was changed by another program since.
    """
    return _step(folder, who, back=True)


def redo(folder: Path, *, who: str = "") -> HistoryEntry:
    """Make the last undone write again.

    Parameters
    ----------
    folder
        Folder of the job.
    who
        For history.

    Returns
    -------
    HistoryEntry
        The write that was made again.

    Raises
    ------
    JobError
        If nothing was undone, or the file was changed by another program since.
    """
    return _step(folder, who, back=False)


def _step(folder: Path, who: str, *, back: bool) -> HistoryEntry:
    word = "undo" if back else "redo"
    need_text(folder, JOB_FILE)
    with locked(folder):
        repair(folder)
        _note_outside(folder, read_history(folder), "another program")
        entries = read_history(folder)
        done, undone = undoable(entries)
        stack = done if back else undone
        if not stack:
            last = entries[-1].what if entries and entries[-1].kind == "outside" else ""
            raise JobError(
                what=f"there is nothing to {word}",
                where=HISTORY_FILE,
                why=last or "no write of this job is left on that side of history",
                do="change the value by hand, or take the file back from a copy",
            )
        entry = next(item for item in entries if item.number == stack[-1])
        texts = {change.name: _stepped(folder, change, word, back=back) for change in entry.files}
        kind: Kind = "undo" if back else "redo"
        transact(folder, texts, kind=kind, who=who, what=f"{word}: {entry.what}", of=entry.number)
        return entry


def _stepped(folder: Path, change: FileChange, word: str, *, back: bool) -> str:
    hunks = reversed_hunks(change.hunks) if back else change.hunks
    text = apply(without_revision(change.name, current_text(folder, change.name)), hunks)
    if text is None or text_hash(text) != (change.before if back else change.after):
        raise JobError(
            what=f"cannot {word} the change of {change.name}",
            where=change.name,
            why="its lines are not the ones that history remembers",
            do="change the value by hand, or take the file back from a copy",
        )
    return text
