"""Differences of two texts, line by line, that can be applied forwards and backwards."""

import difflib
import hashlib
from dataclasses import dataclass
from typing import Final

_FINE_LINES: Final = 400
"""Up to so many changed lines the difference is sought line by line."""


@dataclass(frozen=True, slots=True)
class Hunk:
    """Lines of the old text that are replaced by lines of the new one.

    Parameters
    ----------
    start
        First line in the old text, counted from 0.
    old, new
        The lines with their ends.
    """

    start: int
    old: tuple[str, ...]
    new: tuple[str, ...]


def _lines(text: str) -> list[str]:
    return [f"{line}\n" for line in text.split("\n")]


def _text(lines: list[str]) -> str:
    return "".join(lines)[:-1]


def text_hash(text: str) -> str:
    """Return a short hash of a text.

    Parameters
    ----------
    text
        Any text.
    """
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:16]


def difference(old: str, new: str) -> tuple[Hunk, ...]:
    """Return what leads from one text to another.

    Parameters
    ----------
    old, new
        Two texts.

    Returns
    -------
    tuple of Hunk
        In the order of the old text.
    """
    before, after = _lines(old), _lines(new)
    head = 0
    while head < min(len(before), len(after)) and before[head] == after[head]:
        head += 1
    tail = 0
    most = min(len(before), len(after)) - head
    while tail < most and before[-1 - tail] == after[-1 - tail]:
        tail += 1
    middle = before[head : len(before) - tail]
    fresh = after[head : len(after) - tail]
    if not middle and not fresh:
        return ()
    if len(middle) + len(fresh) > _FINE_LINES:
        return (Hunk(head, tuple(middle), tuple(fresh)),)
    matcher = difflib.SequenceMatcher(None, middle, fresh, autojunk=False)
    return tuple(
        Hunk(head + i1, tuple(middle[i1:i2]), tuple(fresh[j1:j2]))
        for tag, i1, i2, j1, j2 in matcher.get_opcodes()
        if tag != "equal"
    )


def apply(old: str, hunks: tuple[Hunk, ...]) -> str | None:
    """Return the new text, or ``None`` if the hunks do not belong to this old text.

    Parameters
    ----------
    old
        The text from which the hunks lead.
    hunks
        What :func:`difference` returned.
    """
    lines = _lines(old)
    result: list[str] = []
    at = 0
    for hunk in hunks:
        end = hunk.start + len(hunk.old)
        if hunk.start < at or tuple(lines[hunk.start : end]) != hunk.old:
            return None
        result += lines[at : hunk.start]
        result += hunk.new
        at = end
    return _text(result + lines[at:])


def reversed_hunks(hunks: tuple[Hunk, ...]) -> tuple[Hunk, ...]:
    """Return what leads back.

    Parameters
    ----------
    hunks
        What :func:`difference` returned.
    """
    shift = 0
    back = []
    for hunk in hunks:
        back.append(Hunk(hunk.start + shift, hunk.new, hunk.old))
        shift += len(hunk.new) - len(hunk.old)
    return tuple(back)
