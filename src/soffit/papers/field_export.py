"""What a field page sends back: readings, changes, ticks; merging it twice adds nothing."""

import json
from dataclasses import dataclass
from typing import Any, Final

from soffit.errors import JobError
from soffit.job.readings_file import parse_readings
from soffit.model.readings import Reading

FORMAT: Final = "soffit field"
VERSION: Final = 1
_READING: Final = frozenset(Reading.__dataclass_fields__)


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldChange:
    """Something that hangs or lies otherwise than on the papers.

    Parameters
    ----------
    key
        Unique, made on the phone.
    change
        ``tap``, ``move``, ``type``, ``order``, ``grid`` or ``blocked``.
    target_key, target
        Key and label of the speaker.
    value
        What it is now, in words.
    effect
        What the page said it does.
    as_built
        Kept as built; otherwise it is a question for the desk.
    revision
        Revision of the design that it was seen against.
    """

    key: str
    change: str
    target_key: str
    target: str
    value: str
    effect: str
    as_built: bool
    taken_at: str
    revision: int
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldTick:
    """One tick set or taken back."""

    key: str
    target_key: str
    target: str
    what: str
    done: bool
    taken_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldExport:
    """All that one phone sent."""

    job: str
    job_hash: str
    revision: int
    device: str
    readings: tuple[Reading, ...]
    changes: tuple[FieldChange, ...]
    ticks: tuple[FieldTick, ...]


def parse_export(text: str, *, name: str) -> FieldExport:
    """Read the file that a field page saved.

    Parameters
    ----------
    text
        Its text.
    name
        Name of the file as people see it.

    Returns
    -------
    FieldExport
        Entries in the order in which they were made; one that comes again is left out.

    Raises
    ------
    JobError
        If it is not such a file, or an entry of it is broken.
    """
    raw = _loaded(text, name)
    entries: dict[str, dict[str, Any]] = {}
    for number, entry in enumerate(raw["entries"]):
        if not isinstance(entry, dict) or not isinstance(entry.get("key"), str):
            raise _broken(name, f"entries[{number}]", "it has no key")
        entries.setdefault(entry["key"], entry)
    by_kind: dict[str, list[dict[str, Any]]] = {"reading": [], "change": [], "tick": []}
    for key, entry in entries.items():
        if entry.get("kind") not in by_kind:
            raise _broken(name, key, f"kind {entry.get('kind')!r} is none of reading, change, tick")
        by_kind[entry["kind"]].append(entry)
    lines = "\n".join(
        json.dumps({field: value for field, value in entry.items() if field in _READING})
        for entry in by_kind["reading"]
    )
    return FieldExport(
        job=str(raw.get("job", "")),
        job_hash=str(raw.get("job_hash", "")),
        revision=int(raw.get("revision", 0)),
        device=str(raw.get("device", "")),
        readings=parse_readings(lines, name=name),
        changes=tuple(_change(entry, name) for entry in by_kind["change"]),
        ticks=tuple(_tick(entry, name) for entry in by_kind["tick"]),
    )


def _loaded(text: str, name: str) -> dict[str, Any]:
    try:
        raw = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise JobError(
            what="this is not a file of a field page",
            where=name,
            why=f"it is not valid JSON: {error}",
            do="save the file again on the phone, or send the text that it shows",
        ) from error
    if not isinstance(raw, dict) or raw.get("format") != FORMAT:
        raise JobError(
            what="this is not a file of a field page",
            where=f"{name}: format",
            why=f"a field page writes format {FORMAT!r}",
            do="give the file that the page saved under 'To desk'",
        )
    if raw.get("version") != VERSION or not isinstance(raw.get("entries"), list):
        raise JobError(
            what=f"version {raw.get('version')!r} of a field page's file cannot be read",
            where=f"{name}: version",
            why=f"this program reads version {VERSION}",
            do="use the program that printed the page",
        )
    return raw


def _broken(name: str, where: str, why: str) -> JobError:
    return JobError(
        what="an entry of the field page's file is broken",
        where=f"{name}: {where}",
        why=why,
        do="take the entry out of the file, or enter it by hand with soffit prove",
    )


def _change(entry: dict[str, Any], name: str) -> FieldChange:
    try:
        return FieldChange(
            key=entry["key"],
            change=str(entry["change"]),
            target_key=str(entry["target_key"]),
            target=str(entry["target"]),
            value=str(entry["value"]),
            effect=str(entry["effect"]),
            as_built=bool(entry["as_built"]),
            taken_at=str(entry["taken_at"]),
            revision=int(entry["revision"]),
            who=str(entry.get("who", "")),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise _broken(
            name, str(entry["key"]), f"{error} is missing or of the wrong kind"
        ) from error


def _tick(entry: dict[str, Any], name: str) -> FieldTick:
    try:
        return FieldTick(
            key=entry["key"],
            target_key=str(entry["target_key"]),
            target=str(entry["target"]),
            what=str(entry["what"]),
            done=bool(entry["done"]),
            taken_at=str(entry["taken_at"]),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise _broken(
            name, str(entry["key"]), f"{error} is missing or of the wrong kind"
        ) from error
