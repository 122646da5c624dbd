"""What people write into names: one line that can be printed, and is not a book."""

import unicodedata
from typing import Any, Final

from soffit.job.locate import Path
from soffit.job.problems import Problems

LONGEST: Final = 200
"""Characters of a name, a material, an id: papers cut long before."""

LONGEST_WORDS: Final = 4000
"""Characters of a note or a reason."""

_NAMES: Final = frozenset(
    {"label", "name", "customer", "address", "use", "wall_names", "source", "mark"}
)
"""Keys whose white space is folded, so that a line break does not tear a title block."""

_WORDS: Final = frozenset({"note", "reason", "doubt", "address", "source"})


def folded(tree: Any, key: str = "") -> Any:  # noqa: ANN401 - any value of a parsed file
    """Return a file with every run of white space inside a name turned to one blank.

    Parameters
    ----------
    tree
        Tables, lists and values.
    key
        Key under which it stands.
    """
    if isinstance(tree, dict):
        return {name: folded(item, str(name)) for name, item in tree.items()}
    if isinstance(tree, list):
        return [folded(item, key) for item in tree]
    if isinstance(tree, str) and key in _NAMES:
        return " ".join(tree.split())
    return tree


def check_texts(problems: Problems, tree: Any, path: Path = ()) -> None:  # noqa: ANN401 - as above
    """Note every text that no paper could show.

    Parameters
    ----------
    problems
        Where to collect.
    tree
        Tables, lists and values.
    path
        Where it stands.
    """
    if isinstance(tree, dict):
        for name, item in tree.items():
            check_texts(problems, item, (*path, str(name)))
    elif isinstance(tree, list):
        for index, item in enumerate(tree):
            check_texts(problems, item, (*path, index))
    elif isinstance(tree, str):
        _check_text(problems, path, tree)


def _check_text(problems: Problems, path: Path, text: str) -> None:
    names = [part for part in path if isinstance(part, str)]
    most = LONGEST_WORDS if names and names[-1] in _WORDS else LONGEST
    if len(text) > most:
        problems.add(
            path,
            f"a text of {len(text)} characters: {text[:40]!r}...",
            why=f"at most {most} can be shown here",
            do="shorten it; longer words belong into a note",
        )
    bad = next((letter for letter in text if _is_unprintable(letter)), "")
    if bad:
        problems.add(
            path,
            f"{text[:60]!r} holds the character U+{ord(bad):04X}",
            why="control characters and half characters cannot be printed, or stored in drawings",
            do="type the text again",
        )


def _is_unprintable(letter: str) -> bool:
    if letter in "\n\t":
        return False
    return unicodedata.category(letter) in ("Cc", "Cs") or ord(letter) & 0xFFFE == 0xFFFE
