"""history.jsonl: every write announced before it is made, for repair, undo and "who moved it"."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from soffit.errors import JobError
from soffit.job.files import append_lines
from soffit.job.patch import Hunk

HISTORY_FILE: Final = "history.jsonl"
WRITTEN_FILES: Final = ("job.toml", "design.json", "catalogue.toml")
"""The only files that a history may name: a job may come from strangers."""

Kind = Literal["created", "edit", "design", "undo", "redo", "outside"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FileChange:
    """What one write does to one file.

    Parameters
    ----------
    name
        Name of the file.
    before, after
        Hash of its text, the revision number left out.
    hunks
        The change, on texts without revision number; empty where it was made outside soffit.
    revision
        Revision that the file gets.
    """

    name: str
    before: str
    after: str
    hunks: tuple[Hunk, ...]
    revision: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryEntry:
    """One write.

    Parameters
    ----------
    number
        Counts the writes of the folder from 1.
    kind
        What it was; ``outside`` notes that a file was changed by another program.
    at
        Time, ISO 8601, UTC.
    who, what
        As the writer says.
    of
        Number of the write that an undo or redo is about; 0 otherwise.
    files
        Changes.
    state
        ``begun`` until it is ``done``, or ``dropped`` after a crash before the first file.
    """

    number: int
    kind: Kind
    at: str
    who: str
    what: str
    files: tuple[FileChange, ...]
    of: int = 0
    state: Literal["begun", "done", "dropped"] = "begun"


def _as_dict(entry: HistoryEntry) -> dict[str, Any]:
    return {
        "number": entry.number,
        "kind": entry.kind,
        "at": entry.at,
        "who": entry.who,
        "what": entry.what,
        "of": entry.of,
        "files": [
            {
                "name": change.name,
                "before": change.before,
                "after": change.after,
                "revision": change.revision,
                "hunks": [[hunk.start, list(hunk.old), list(hunk.new)] for hunk in change.hunks],
            }
            for change in entry.files
        ],
    }


def _from_dict(raw: dict[str, Any], state: Literal["begun", "done", "dropped"]) -> HistoryEntry:
    files = tuple(
        FileChange(
            name=WRITTEN_FILES[WRITTEN_FILES.index(item["name"])],
            before=str(item["before"]),
            after=str(item["after"]),
            revision=int(item["revision"]),
            hunks=tuple(
                Hunk(int(start), tuple(map(str, old)), tuple(map(str, new)))
                for start, old, new in item["hunks"]
            ),
        )
        for item in raw["files"]
    )
    return HistoryEntry(
        number=int(raw["number"]),
        kind=raw["kind"],
        at=str(raw["at"]),
        who=str(raw["who"]),
        what=str(raw["what"]),
        of=int(raw["of"]),
        files=files,
        state=state,
    )


def announce(folder: Path, entry: HistoryEntry) -> None:
    """Write down what is going to be written; it is on disk when this returns.

    Parameters
    ----------
    folder
        Folder of the job; its lock must be held.
    entry
        The write.
    """
    text = json.dumps(_as_dict(entry), ensure_ascii=False, sort_keys=True)
    append_lines(folder / HISTORY_FILE, [text])


def conclude(folder: Path, number: int, state: Literal["done", "dropped"]) -> None:
    """Write down how a write ended.

    Parameters
    ----------
    folder
        Folder of the job; its lock must be held.
    number
        Number of the write.
    state
        How it ended.
    """
    append_lines(folder / HISTORY_FILE, [json.dumps({state: number})])


def read_history(folder: Path) -> tuple[HistoryEntry, ...]:
    """Return all writes of a job, oldest first.

    Parameters
    ----------
    folder
        Folder of the job.

    Returns
    -------
    tuple of HistoryEntry
        Dropped ones included.

    Raises
    ------
    JobError
        If a line cannot be read.
    """
    try:
        lines = (folder / HISTORY_FILE).read_bytes().decode("utf-8", "replace").split("\n")
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise JobError(
            what=f"{HISTORY_FILE} cannot be read",
            where=str(folder / HISTORY_FILE),
            why=str(error.strerror),
            do="check the rights of the file",
        ) from None
    if lines[-1]:
        lines.pop()  # without line end it was not finished; the next writer mends it
    begun: dict[int, dict[str, Any]] = {}
    states: dict[int, Literal["begun", "done", "dropped"]] = {}
    entries: list[HistoryEntry] = []
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            raw = json.loads(line)
            if "number" in raw:
                begun[int(raw["number"])] = raw
                states.setdefault(int(raw["number"]), "begun")
            elif "done" in raw:
                states[int(raw["done"])] = "done"
            else:
                states[int(raw["dropped"])] = "dropped"
        except (KeyError, TypeError, ValueError, OverflowError, RecursionError):
            raise _broken(number) from None
    try:
        entries = [_from_dict(begun[number], states[number]) for number in sorted(begun)]
    except (KeyError, TypeError, ValueError, OverflowError):
        raise _broken(len(lines)) from None
    return tuple(entries)


def _broken(line: int) -> JobError:
    return JobError(
        what=f"{HISTORY_FILE} cannot be read",
        where=f"{HISTORY_FILE}:{line}",
        why="the line is not one that soffit wrote",
        do="take the line out; or move the file away: the job stays as it is, undo begins anew",
    )


def undoable(entries: tuple[HistoryEntry, ...]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return which writes can be undone and which redone, each with the next one last.

    Parameters
    ----------
    entries
        All writes.

    Returns
    -------
    tuple
        Numbers for undo, numbers for redo.
    """
    done: list[int] = []
    undone: list[int] = []
    for entry in entries:
        if entry.state != "done":
            continue
        if entry.kind in ("edit", "design"):
            done.append(entry.number)
            undone.clear()
        elif entry.kind == "undo" and done:
            undone.append(done.pop())
        elif entry.kind == "redo" and undone:
            done.append(undone.pop())
        elif entry.kind in ("outside", "created"):
            done.clear()
            undone.clear()
    return tuple(done), tuple(undone)


def last_writer(entries: tuple[HistoryEntry, ...], name: str) -> HistoryEntry | None:
    """Return the last write that touched a file.

    Parameters
    ----------
    entries
        All writes.
    name
        Name of the file.
    """
    for entry in reversed(entries):
        if entry.state == "done" and any(change.name == name for change in entry.files):
            return entry
    return None
