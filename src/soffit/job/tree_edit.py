"""One change on a tree of tables and lists: plain ones, or those of the comment-keeping library."""

import copy
from collections.abc import Callable
from typing import Any, Final, Literal

from soffit.errors import JobError
from soffit.job.locate import Locator, Path, path_text

Operation = Literal["set", "append", "remove"]
Make = Callable[[Any, bool], Any]

_DEEPEST: Final = 20


def as_plain(value: Any, inline: bool) -> Any:  # noqa: ANN401 - any value of a file
    """Return a copy of a value for a plain tree.

    Parameters
    ----------
    value
        Any value of a file.
    inline
        Not used here.
    """
    del inline
    return list(value) if isinstance(value, tuple) else copy.deepcopy(value)


def as_item(value: Any, inline: bool) -> Any:  # noqa: ANN401 - any value of a file
    """Return a value as an item of the comment-keeping library.

    Parameters
    ----------
    value
        Any value of a file.
    inline
        Whether tables are written in one line.
    """
    import tomlkit  # noqa: PLC0415 - only needed where something is changed

    if inline and isinstance(value, dict):
        line = tomlkit.inline_table()
        for key, item in value.items():
            line.append(key, as_item(item, inline))
        return line
    if isinstance(value, dict):
        table = tomlkit.table()
        for key, item in value.items():
            table.append(key, as_item(item, inline))
        return table
    if isinstance(value, list | tuple) and any(isinstance(item, dict) for item in value):
        if inline:
            items = tomlkit.array()
            for item in value:
                items.append(as_item(item, inline))
            return items
        tables = tomlkit.aot()
        for item in value:
            tables.append(as_item(item, inline))
        return tables
    return tomlkit.item(list(value) if isinstance(value, tuple) else value)


def apply_edit(
    tree: Any,  # noqa: ANN401 - any value of a file
    keys: Path,
    op: Operation,
    value: Any,  # noqa: ANN401 - any value of a file
    locator: Locator,
    make: Make = as_plain,
) -> None:
    """Change a tree in place.

    Parameters
    ----------
    tree
        The outermost table.
    keys
        Where.
    op, value
        What.
    locator
        Finds the line for an error.
    make
        Turns plain values into those of the tree.

    Raises
    ------
    JobError
        If the path leads nowhere, or the value has no form in TOML.
    """
    if not keys:
        raise nowhere(keys, locator)
    if op != "remove":
        _check_value(keys, value, locator)
    parent = _parent(tree, keys, op, locator, make)
    last = keys[-1]
    is_table = hasattr(parent, "keys")
    if isinstance(last, str) is not is_table or not (is_table or hasattr(parent, "append")):
        raise nowhere(keys, locator)
    if isinstance(last, int) and not 0 <= last < len(parent):
        raise nowhere(keys, locator)
    if op == "remove":
        if isinstance(last, str) and last not in parent:
            raise nowhere(keys, locator)
        gone = parent[last]
        del parent[last]
        if not is_table and not parent and hasattr(gone, "keys") and len(keys) > 1:
            # an empty list of tables has no form with headers: the list goes with its last item
            apply_edit(tree, keys[:-1], "remove", None, locator, make)
    elif op == "set":
        parent[last] = make(value, not is_table or type(parent).__name__ == "InlineTable")
    else:
        _append(parent, keys, value, locator, make)


def _parent(tree: Any, keys: Path, op: Operation, locator: Locator, make: Make) -> Any:  # noqa: ANN401 - any value of a file
    node = tree
    for index, part in enumerate(keys[:-1]):
        try:
            node = node[part]
        except (KeyError, IndexError, TypeError):
            made = isinstance(part, str) and isinstance(keys[index + 1], str) and op != "remove"
            if not made or not hasattr(node, "keys"):
                raise nowhere(keys[: index + 1], locator) from None
            node[part] = make({}, False)
            node = node[part]
    return node


def _append(parent: Any, keys: Path, value: Any, locator: Locator, make: Make) -> None:  # noqa: ANN401 - any value of a file
    last = keys[-1]
    if isinstance(last, str) and last not in parent:
        parent[last] = make([value], not isinstance(value, dict))
        return
    items = parent[last]
    if not hasattr(items, "append") or hasattr(items, "keys"):
        raise nowhere(keys, locator)
    items.append(make(value, type(items).__name__ != "AoT"))


def nowhere(path: Path, locator: Locator) -> JobError:
    """Return the error for a path that leads nowhere.

    Parameters
    ----------
    path
        The path.
    locator
        Finds the line.
    """
    return JobError(
        what=f"there is no {path_text(path) or 'such key'}",
        where=locator.where(path),
        why="the path of a change must lead to something that is there",
        do="open the job again and repeat the change",
    )


def _check_value(keys: Path, value: Any, locator: Locator) -> None:  # noqa: ANN401 - any value of a file
    try:
        _check_plain(value, 0)
    except ValueError as error:
        raise JobError(
            what=f"{path_text(keys)}: this value cannot stand in the file",
            where=locator.where(keys),
            why=str(error),
            do="send a number, a text, true or false, a list or a table; remove takes a key out",
        ) from None


def _check_plain(value: Any, depth: int) -> None:  # noqa: ANN401 - any value of a file
    if depth > _DEEPEST:
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
    elif isinstance(value, str) and any(0xD800 <= ord(char) <= 0xDFFF for char in value):
        msg = "the text holds half a character"
        raise ValueError(msg)
    elif not isinstance(value, bool | int | float | str):
        msg = f"{value!r} has no form in TOML"
        raise ValueError(msg)
