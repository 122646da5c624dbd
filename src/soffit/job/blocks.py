"""Change job.toml block by block, so that everything a change does not touch keeps its bytes.

A block is a table header with its keys, and the comments that stand directly above it.
"""

from dataclasses import dataclass, replace
from typing import Any

from soffit.job.locate import Locator, Path, header_lines
from soffit.job.parse import JOB_FILE
from soffit.job.tree_edit import Operation, apply_edit, as_item, nowhere


@dataclass(frozen=True, slots=True)
class Block:
    """One table of the text.

    Parameters
    ----------
    path
        Path of its table; empty for the keys before the first header.
    head
        Comments above and header line; empty for the first block.
    body
        Its keys.
    """

    path: Path
    head: str
    body: str


def split(text: str) -> list[Block]:
    """Return the blocks of a text; joined they give the text again.

    Parameters
    ----------
    text
        Valid TOML.
    """
    lines = text.splitlines(keepends=True)
    starts: list[tuple[int, int, Path]] = []
    for line, path in header_lines(text):
        first = line - 1
        while first > 0 and lines[first - 1].lstrip().startswith("#"):
            first -= 1
        starts.append((first, line, path))
    ends = [first for first, _, _ in starts] + [len(lines)]
    blocks = [Block((), "", "".join(lines[: ends[0]]))]
    for (first, line, path), end in zip(starts, ends[1:], strict=True):
        blocks.append(Block(path, "".join(lines[first:line]), "".join(lines[line:end])))
    return blocks


def _join(blocks: list[Block]) -> str:
    return "".join(block.head + block.body for block in blocks)


def edit_blocks(text: str, keys: Path, op: Operation, value: Any) -> str:  # noqa: ANN401 - any value of a file
    """Return a text with one change.

    Parameters
    ----------
    text
        Valid TOML.
    keys
        Where.
    op, value
        What.

    Returns
    -------
    str
        The new text; the caller compares its meaning with what was wanted.

    Raises
    ------
    JobError
        If the path leads nowhere.
    """
    blocks = split(text)
    under = [index for index, block in enumerate(blocks) if block.path[: len(keys)] == keys]
    if under and keys:
        return _join(_edit_tables(blocks, under, keys, op, value))
    home = _home(blocks, keys)
    rest = keys[len(blocks[home].path) :]
    is_table = isinstance(value, dict)
    is_key = rest[0] in _body(blocks[home]) if rest else False
    fits = len(rest) == 1 and not (is_table and blocks[home].path == keys[:-1])
    in_item = any(isinstance(part, int) for part in keys[:-1])
    if op == "remove" or is_key or (fits and not _are_tables(value)) or in_item:
        blocks[home] = _edit_body(blocks[home], rest, op, value, inline=in_item or is_key)
        return _join(blocks)
    return _join(_insert(blocks, keys, op, value))


def _are_tables(value: Any) -> bool:  # noqa: ANN401 - any value of a file
    if isinstance(value, dict):
        return True
    return isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)


def _home(blocks: list[Block], keys: Path) -> int:
    """Return the block with the longest path that leads to the keys."""
    found = 0
    for index, block in enumerate(blocks):
        fits = block.path == keys[: len(block.path)] and len(block.path) < len(keys)
        if fits and len(block.path) >= len(blocks[found].path):
            found = index
    return found


def _body(block: Block) -> Any:  # noqa: ANN401 - a document of the library
    import tomlkit  # noqa: PLC0415 - only needed where something is changed

    return tomlkit.parse(block.body)


def _edit_body(block: Block, rest: Path, op: Operation, value: Any, *, inline: bool) -> Block:  # noqa: ANN401 - any value of a file
    import tomlkit  # noqa: PLC0415 - only needed where something is changed

    stripped = block.body.rstrip()
    tail = block.body[len(stripped) :] or "\n"
    document = tomlkit.parse(f"{stripped}\n" if stripped else "")

    def make(item: Any, in_line: bool) -> Any:  # noqa: ANN401 - any value of a file
        return as_item(item, in_line or inline)

    apply_edit(document, rest, op, value, Locator(JOB_FILE), make)
    return replace(block, body=tomlkit.dumps(document).rstrip() + tail)


def _edit_tables(
    blocks: list[Block],
    under: list[int],
    keys: Path,
    op: Operation,
    value: Any,  # noqa: ANN401 - any value of a file
) -> list[Block]:
    """Change a path that has headers of its own."""
    first, last = under[0], under[-1]
    if op == "append":
        if not isinstance(blocks[first].path[len(keys)], int):
            raise nowhere(keys, Locator(JOB_FILE))
        return [*blocks[: last + 1], *_rendered(keys, [value]), *blocks[last + 1 :]]
    rest = [block for index, block in enumerate(blocks) if index not in under]
    if op == "remove":
        return rest
    fresh = _rendered_item(keys, value) if isinstance(keys[-1], int) else _rendered(keys, value)
    fresh[0] = replace(fresh[0], head=_comments(blocks[first]) + fresh[0].head.lstrip("\n"))
    return [*rest[:first], *fresh, *rest[first:]]


def _comments(block: Block) -> str:
    return "".join(line for line in block.head.splitlines(keepends=True) if line.startswith("#"))


def _insert(blocks: list[Block], keys: Path, op: Operation, value: Any) -> list[Block]:  # noqa: ANN401 - any value of a file
    """Add a table that is not there yet, after its relatives."""
    relatives = [0]
    for length in range(len(keys) - 1, 0, -1):
        found = [i for i, block in enumerate(blocks) if block.path[:length] == keys[:length]]
        if found:
            relatives = found
            break
    else:
        relatives = [len(blocks) - 1]
    if op == "append":
        value = [value]
    if _are_tables(value):
        fresh = _rendered(keys, value)
    else:
        fresh = _rendered(keys[:-1], {str(keys[-1]): value})
    at = relatives[-1] + 1
    before = blocks[:at]
    if not (before[-1].head + before[-1].body).endswith("\n\n"):
        before[-1] = replace(before[-1], body=before[-1].body.rstrip("\n") + "\n\n")
    return [*before, *fresh, *blocks[at:]]


def _header(keys: Path) -> str:
    import tomlkit  # noqa: PLC0415 - only needed where something is changed

    return ".".join(tomlkit.key(part).as_string() for part in keys if isinstance(part, str))


def _rendered(keys: Path, value: Any) -> list[Block]:  # noqa: ANN401 - any value of a file
    """Return the blocks of a table or a list of tables."""
    if isinstance(value, dict):
        return _rendered_table(keys, value, f"[{_header(keys)}]\n")
    blocks: list[Block] = []
    for item in value:
        blocks += _rendered_table(keys, item, f"[[{_header(keys)}]]\n")
    return blocks


def _rendered_item(keys: Path, value: Any) -> list[Block]:  # noqa: ANN401 - any value of a file
    return _rendered_table(keys, value, f"[[{_header(keys)}]]\n")


def _rendered_table(keys: Path, table: dict[str, Any], head: str) -> list[Block]:
    import tomlkit  # noqa: PLC0415 - only needed where something is changed

    plain = tomlkit.document()
    nested: list[tuple[str, Any]] = []
    for key, item in table.items():
        if _are_tables(item):
            nested.append((key, item))
        else:
            plain.append(key, as_item(item, inline=True))
    blocks = [Block(keys, head, f"{tomlkit.dumps(plain).rstrip()}\n\n")]
    for key, item in nested:
        blocks += _rendered((*keys, key), item)
    return blocks
