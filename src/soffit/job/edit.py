"""Change single values of job.toml; comments, order and spacing of the rest stay as they are."""

import copy
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any, Literal

from soffit.job.blocks import edit_blocks
from soffit.job.files import locked
from soffit.job.locate import Locator, Path, parse_path, path_text
from soffit.job.migrate import migrated
from soffit.job.parse import JOB_FILE
from soffit.job.repair import repair
from soffit.job.revision import revision_of, without_revision
from soffit.job.texts import need_text
from soffit.job.toml_text import parse_toml
from soffit.job.tree_edit import apply_edit, as_item
from soffit.job.write import check_revision, check_survey_text, transact


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """One change.

    Parameters
    ----------
    path
        Key path, as a text (``rooms.cafe.ceilings[0].height``) or a tuple.
    op
        ``set`` a value (missing tables are made), ``append`` one to a list, ``remove`` it.
    value
        Number, text, list or table, as it would stand in the file; not used by ``remove``.
    """

    path: str | Path
    op: Literal["set", "append", "remove"] = "set"
    value: Any = None

    @property
    def keys(self) -> Path:
        """The path as a tuple."""
        return parse_path(self.path) if isinstance(self.path, str) else self.path


def as_edits(edits: Iterable["Edit | tuple[str | Path, Any]"]) -> tuple[Edit, ...]:
    """Return edits, pairs of path and value read as ``set``.

    Parameters
    ----------
    edits
        Edits or pairs.
    """
    return tuple(
        item if isinstance(item, Edit) else Edit(path=item[0], value=item[1]) for item in edits
    )


def edit_survey(
    folder: FilePath,
    edits: Sequence["Edit | tuple[str | Path, Any]"],
    base_revision: int,
    *,
    who: str = "",
    what: str = "",
) -> int:
    """Change values of job.toml.

    Parameters
    ----------
    folder
        Folder of the job.
    edits
        Changes, in order; a pair of path and value sets a value.
    base_revision
        Revision of job.toml that the writer has read.
    who, what
        For history; the paths are named if ``what`` is empty.

    Returns
    -------
    int
        New revision; the old one if nothing has changed.

    Raises
    ------
    JobError
        With every problem that the changed job would have; nothing is written then.
    StaleError
        If somebody has written job.toml since ``base_revision``.
    """
    steps = as_edits(edits)
    need_text(folder, JOB_FILE)
    with locked(folder):
        repair(folder)
        current = need_text(folder, JOB_FILE)
        found = revision_of(JOB_FILE, current)
        check_revision(folder, JOB_FILE, found, base_revision)
        text = edited_text(current, steps)
        check_survey_text(folder, text)
        if without_revision(JOB_FILE, text) == without_revision(JOB_FILE, current):
            return found
        words = what or ", ".join(f"{step.op} {path_text(step.keys)}" for step in steps)[:200]
        entry = transact(folder, {JOB_FILE: text}, kind="edit", who=who, what=words)
        return entry.files[0].revision


def edited_text(text: str, edits: Sequence[Edit]) -> str:
    """Return a text of job.toml with changes.

    Parameters
    ----------
    text
        A valid text.
    edits
        Changes, in order.

    Returns
    -------
    str
        The new text. A file in an older format is moved to the current one first, which loses its
        comments once.

    Raises
    ------
    JobError
        If a path leads nowhere or a value cannot stand in TOML.
    """
    import tomlkit  # noqa: PLC0415 - only needed where something is changed

    raw, moved = migrated(parse_toml(JOB_FILE, text), JOB_FILE)
    if moved:
        import tomlkit  # noqa: PLC0415 - only needed where something is changed

        text = tomlkit.dumps(raw)
    locator = Locator(JOB_FILE, text)
    wanted = copy.deepcopy(raw)
    for edit in edits:
        apply_edit(wanted, edit.keys, edit.op, edit.value, locator)
    for change in (_change_blocks, _change_document):
        try:
            new = change(text, edits)
            if tomllib.loads(new) == wanted:
                return new
        except (AttributeError, KeyError, IndexError, TypeError, ValueError):
            continue  # JobError is one of these: the next, coarser way is tried
    import tomlkit  # noqa: PLC0415 - only needed where something is changed

    return tomlkit.dumps(wanted)  # rather lose comments than the change


def _change_blocks(text: str, edits: Sequence[Edit]) -> str:
    """Change only the blocks of the text that the edits touch."""
    for edit in edits:
        text = edit_blocks(text, edit.keys, edit.op, edit.value)
    return text


def _change_document(text: str, edits: Sequence[Edit]) -> str:
    """Let the comment-keeping library write the whole text; it may move whole tables."""
    import tomlkit  # noqa: PLC0415 - only needed where something is changed

    document: Any = tomlkit.parse(text)
    for edit in edits:
        apply_edit(document, edit.keys, edit.op, edit.value, Locator(JOB_FILE), as_item)
    return tomlkit.dumps(document)
