"""Change single values of job.toml; comments, order and spacing of the rest stay as they are."""

import copy
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any, Literal

from soffit.errors import JobError
from soffit.job.files import locked
from soffit.job.locate import Locator, Path, parse_path, path_text
from soffit.job.migrate import migrated
from soffit.job.parse import JOB_FILE
from soffit.job.repair import repair
from soffit.job.revision import revision_of, without_revision
from soffit.job.texts import need_text
from soffit.job.toml_text import parse_toml
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
    locator = Locator(JOB_FILE, "" if moved else text)
    wanted = copy.deepcopy(raw)
    document: Any = tomlkit.parse(tomlkit.dumps(raw) if moved else text)
    for edit in edits:
        _apply(wanted, edit, locator, _as_is)
    try:
        for edit in edits:
            _apply(document, edit, locator, _as_item)
        new = tomlkit.dumps(document)
        kept = tomllib.loads(new) == wanted
    except (tomlkit.exceptions.TOMLKitError, KeyError, IndexError, TypeError, ValueError):
        kept = False
    if kept:
        return new
    # the comment-keeping writer could not do it: rather lose comments than the change
    return tomlkit.dumps(wanted)


def _as_is(value: Any, _inline: bool) -> Any:  # noqa: ANN401 - any value of a file
    return copy.deepcopy(value)


def _as_item(value: Any, inline: bool) -> Any:  # noqa: ANN401 - any value of a file
    import tomlkit  # noqa: PLC0415 - only needed where something is changed

    if inline and isinstance(value, dict):
        table = tomlkit.inline_table()
        table.update({key: _as_item(item, inline) for key, item in value.items()})
        return table
    if isinstance(value, dict):
        fresh = tomlkit.table()
        for key, item in value.items():
            fresh.append(key, _as_item(item, inline))
        return fresh
    if isinstance(value, list | tuple) and value and all(isinstance(v, dict) for v in value):
        tables = tomlkit.array() if inline else tomlkit.aot()
        for item in value:
            tables.append(_as_item(item, inline))
        return tables
    return tomlkit.item(list(value) if isinstance(value, tuple) else value)


def _parent(tree: Any, keys: Path, edit: Edit, locator: Locator, make: Any) -> Any:  # noqa: ANN401 - any value of a file
    node = tree
    for index, part in enumerate(keys[:-1]):
        try:
            node = node[part]
        except (KeyError, IndexError, TypeError):
            following = keys[index + 1]
            if isinstance(part, int) or isinstance(following, int) or edit.op == "remove":
                raise _nowhere(keys[: index + 1], locator) from None
            if not hasattr(node, "keys"):
                raise _nowhere(keys[: index + 1], locator) from None
            node[part] = make({}, False)
            node = node[part]
    return node


def _nowhere(path: Path, locator: Locator) -> JobError:
    return JobError(
        what=f"there is no {path_text(path)}",
        where=locator.where(path),
        why="the path of a change must lead to something that is there",
        do="open the job again and repeat the change",
    )


def _apply(tree: Any, edit: Edit, locator: Locator, make: Any) -> None:  # noqa: ANN401 - any value of a file
    keys = edit.keys
    if not keys:
        raise _nowhere(keys, locator)
    if edit.op != "remove":
        _check_value(edit, locator)
    parent = _parent(tree, keys, edit, locator, make)
    last = keys[-1]
    is_table = hasattr(parent, "keys")
    if isinstance(last, str) is not is_table or (not is_table and not hasattr(parent, "append")):
        raise _nowhere(keys, locator)
    if isinstance(last, int) and not 0 <= last < len(parent):
        raise _nowhere(keys, locator)
    if edit.op == "remove":
        if isinstance(last, str) and last not in parent:
            raise _nowhere(keys, locator)
        del parent[last]
    elif edit.op == "set":
        parent[last] = make(edit.value, not is_table or type(parent).__name__ == "InlineTable")
    else:
        _append(parent, last, edit, locator, make)


def _append(parent: Any, last: str | int, edit: Edit, locator: Locator, make: Any) -> None:  # noqa: ANN401 - any value of a file
    if isinstance(last, str) and last not in parent:
        parent[last] = make([edit.value], not isinstance(edit.value, dict))
        return
    items = parent[last]
    if not hasattr(items, "append") or hasattr(items, "keys"):
        raise _nowhere(edit.keys, locator)
    items.append(make(edit.value, type(items).__name__ != "AoT"))


def _check_value(edit: Edit, locator: Locator) -> None:
    try:
        _check_plain(edit.value, 0)
    except ValueError as error:
        raise JobError(
            what=f"{path_text(edit.keys)}: this value cannot stand in the file",
            where=locator.where(edit.keys),
            why=str(error),
            do="send a number, a text, true or false, a list or a table; remove takes a key out",
        ) from None


def _check_plain(value: Any, depth: int) -> None:  # noqa: ANN401 - any value of a file
    if depth > 20:
        msg = "it is nested too deeply"
        raise ValueError(msg)
    if isinstance(value, dict):
        for key, item in value.items():
            if not isinstance(key, str):
                msg = f"key {key!r} is no text"
                raise ValueError(msg)
            _check_plain(item, depth + 1)
    elif isinstance(value, list | tuple):
        for item in value:
            _check_plain(item, depth + 1)
    elif not isinstance(value, bool | int | float | str):
        msg = f"{value!r} has no form in TOML"
        raise ValueError(msg)
