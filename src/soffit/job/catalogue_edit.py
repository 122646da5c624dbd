"""Put a directivity into a job's own catalogue; what it does not touch keeps its bytes."""

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from soffit.errors import JobError
from soffit.job.blocks import edit_blocks, split
from soffit.job.catalogue import CATALOGUE_FILE, load_demo_catalogue, merged, parse_catalogue
from soffit.job.catalogue_text import directivity_toml, speaker_toml
from soffit.job.files import locked
from soffit.job.parse import JOB_FILE, parse_job
from soffit.job.problems import suggestion
from soffit.job.quantities import Key
from soffit.job.repair import current_text, repair
from soffit.job.texts import need_text
from soffit.job.toml_text import parse_toml
from soffit.job.write import transact
from soffit.model.catalogue import Catalogue, Directivity, SpeakerType

_KINDS: Final = "speaker_types"


def put_directivity(
    folder: Path,
    type_id: str,
    directivity: Directivity,
    *,
    like: str = "",
    note: str = "",
    who: str = "",
) -> bool:
    """Give a loudspeaker type of a job's own catalogue another directivity.

    Parameters
    ----------
    folder
        Folder of the job.
    type_id
        Id of the type. One that only the demo catalogue has is copied into the job's own.
    directivity
        Its new model with its data.
    like
        Type whose other data a type that does not exist yet takes over.
    note
        Where the data come from; kept in the file.
    who
        For history.

    Returns
    -------
    bool
        Whether the file has changed.

    Raises
    ------
    JobError
        If there is no such type, or with every problem that the catalogue or the job would have;
        nothing is written then.
    """
    text = need_text(folder, JOB_FILE)
    with locked(folder):
        repair(folder)
        text = need_text(folder, JOB_FILE)
        current = current_text(folder, CATALOGUE_FILE)
        new = text_with_directivity(current, type_id, directivity, like=like, note=note)
        own = parse_catalogue(new)
        parse_job(text, merged(load_demo_catalogue(), own), own_catalogue=own)
        if new == current:
            return False
        words = f"directivity of {type_id}"
        transact(folder, {CATALOGUE_FILE: new}, kind="edit", who=who, what=words)
        return True


def text_with_directivity(
    text: str, type_id: str, directivity: Directivity, *, like: str = "", note: str = ""
) -> str:
    """Return the text of a catalogue with another directivity of one type.

    Parameters
    ----------
    text
        Its text; empty for a job without one.
    type_id
        Id of the type.
    directivity
        Its new model with its data.
    like
        Type whose other data a new type takes over.
    note
        Where the data come from.

    Raises
    ------
    JobError
        If the text is wrong, or there is no such type.
    """
    raw = parse_toml(CATALOGUE_FILE, text)
    own = parse_catalogue(text)
    if any(entry.id == type_id for entry in own.speaker_types):
        return _replaced(text, raw, type_id, directivity, note)
    base = _base(merged(load_demo_catalogue(), own), type_id, like)
    entry = replace(base, id=type_id, directivity=Directivity(model="cosine"))
    if base.id != type_id:
        entry = replace(entry, name=f"{type_id}, data of {base.id}: check each value")
    head = speaker_toml(entry)
    head = head[: head.index(f"[{_KINDS}.{type_id}.directivity]")]
    gap = "\n" if text.endswith("\n") else "\n\n"
    before = f"{text}{gap}" if text else ""
    return f"{before}{head}{directivity_toml(type_id, directivity, note=note)}".rstrip() + "\n"


def _base(known: Catalogue, type_id: str, like: str) -> SpeakerType:
    ids = [entry.id for entry in known.speaker_types]
    wanted = like or type_id
    if wanted in ids:
        _check_key(type_id)
        return known.speaker(wanted)
    close = suggestion(wanted, ids)
    raise JobError(
        what=f"there is no loudspeaker type {wanted!r}",
        where=f"{CATALOGUE_FILE}  {_KINDS}.{wanted}",
        why=f"the catalogue of this job has {', '.join(ids)}",
        do=(f"did you mean {close!r}? " if close else "")
        + "A new type takes its other data from one that exists: name it with --like",
    )


def _check_key(type_id: str) -> None:
    from pydantic import TypeAdapter, ValidationError  # noqa: PLC0415 - only for new types

    try:
        TypeAdapter(Key).validate_python(type_id)
    except ValidationError:
        raise JobError(
            what=f"{type_id!r} cannot be the id of a type",
            where=f"{CATALOGUE_FILE}  {_KINDS}",
            why="ids are letters, digits, - and _, at most 60",
            do="choose another id",
        ) from None
    if not type_id.isascii():
        raise JobError(
            what=f"{type_id!r} cannot be the id of a new type",
            where=f"{CATALOGUE_FILE}  {_KINDS}",
            why="ids that soffit writes are plain letters, digits, - and _",
            do="choose another id",
        )


def _replaced(
    text: str, raw: dict[str, Any], type_id: str, directivity: Directivity, note: str
) -> str:
    """Put the new tables where the type ends; comments inside the old tables go with them."""
    path = (_KINDS, type_id, "directivity")
    fresh = directivity_toml(type_id, directivity, note=note)
    blocks = split(text)
    if any(block.path[:3] == path for block in blocks):
        kept = [block for block in blocks if block.path[:3] != path]
    else:
        kept = split(edit_blocks(text, path, "remove", None))
    last = max(i for i, block in enumerate(kept) if block.path[:2] == path[:2])
    parts = [block.head + block.body for block in kept]
    before = "".join(parts[: last + 1]).rstrip("\n") + "\n\n"
    after = "".join(parts[last + 1 :])
    new = before + fresh.rstrip("\n") + ("\n\n" + after.lstrip("\n") if after.strip() else "\n")
    wanted = {**raw, _KINDS: dict(raw[_KINDS])}
    wanted[_KINDS][type_id] = dict(wanted[_KINDS][type_id]) | {
        "directivity": tomllib.loads(fresh)[_KINDS][type_id]["directivity"]
    }
    if tomllib.loads(new) != wanted:
        raise JobError(
            what=f"the directivity of {type_id} cannot be replaced in this file",
            where=f"{CATALOGUE_FILE}  {'.'.join(path)}",
            why="its table is written in a form that cannot be changed without touching others",
            do=f"write it as a table [{'.'.join(path)}] of its own and repeat",
        )
    return new
