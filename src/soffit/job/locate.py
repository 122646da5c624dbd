"""Find the line on which a key path of a TOML text stands.

The standard library's parser gives values without places. This scanner walks a text that has
already been parsed without error and notes the line of every table, key and array item; it is
only run when there is an error to show.
"""

import tomllib
from bisect import bisect_right
from typing import Final

Path = tuple[str | int, ...]

_SPACE: Final = " \t\r"
_END_OF_SCALAR: Final = ",]}\n#"


def path_text(path: Path) -> str:
    """Write a key path as people read it, such as ``rooms.cafe.ceilings[0].height``.

    Parameters
    ----------
    path
        Keys and array positions.

    Returns
    -------
    str
        The path.

    Examples
    --------
    >>> path_text(("rooms", "cafe", "ceilings", 0, "height"))
    'rooms.cafe.ceilings[0].height'
    """
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            bare = part.replace("-", "").replace("_", "").isalnum()
            shown = part if bare else f'"{part}"'
            text += f".{shown}" if text else shown
    return text


def parse_path(text: str) -> Path:
    """Read a key path as :func:`path_text` writes it.

    Parameters
    ----------
    text
        The path.

    Returns
    -------
    tuple
        Keys and array positions.

    Examples
    --------
    >>> parse_path("rooms.cafe.ceilings[0].height")
    ('rooms', 'cafe', 'ceilings', 0, 'height')
    """
    path: list[str | int] = []
    for piece in text.split("."):
        name, *indices = piece.split("[")
        if name:
            path.append(name.strip('"'))
        path += [int(index.rstrip("]")) for index in indices]
    return tuple(path)


class _Scanner:
    """Position in a valid TOML text, and the lines found so far."""

    def __init__(self, text: str) -> None:
        self.text = text.replace("\r\n", "\n") + "\n"
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.table: Path = ()
        self.counts: dict[Path, int] = {}
        self.headers: list[tuple[int, Path]] = []
        starts = [0]
        starts += [index + 1 for index, char in enumerate(self.text) if char == "\n"]
        self.starts = starts

    def note(self, path: Path) -> None:
        self.lines.setdefault(path, bisect_right(self.starts, self.at))

    def skip(self, chars: str) -> None:
        while self.at < len(self.text):
            char = self.text[self.at]
            if char == "#" and "\n" in chars:
                self.at = self.text.index("\n", self.at)
            elif char not in chars:
                return
            else:
                self.at += 1

    def must_move(self, start: int) -> None:
        """Stop where nothing was read: the text is no TOML, and a scanner must not stand still."""
        if self.at == start:
            msg = "the text is not valid"
            raise ValueError(msg)

    def string(self) -> str:
        """Move over a quoted string and return its raw token."""
        start, quote = self.at, self.text[self.at]
        mark = quote * 3 if self.text.startswith(quote * 3, self.at) else quote
        self.at += len(mark)
        while not self.text.startswith(mark, self.at):
            escaped = self.text[self.at] == "\\" and quote == '"'
            self.at += 2 if escaped else 1
        self.at += len(mark)
        while len(mark) == 3 and self.text[self.at] == quote:
            self.at += 1  # up to two quotes may stand before the closing mark
        return self.text[start : self.at]

    def key(self) -> tuple[str, ...]:
        """Read a dotted key."""
        parts: list[str] = []
        while True:
            self.skip(_SPACE)
            if self.text[self.at] in "\"'":
                parts.append(tomllib.loads(f"x = {self.string()}")["x"])
            else:
                start = self.at
                while self.text[self.at].isalnum() or self.text[self.at] in "-_":
                    self.at += 1
                self.must_move(start)
                parts.append(self.text[start : self.at])
            self.skip(_SPACE)
            if self.text[self.at] != ".":
                return tuple(parts)
            self.at += 1

    def inside(self, parts: tuple[str, ...]) -> Path:
        """Return the path of a header, with the position inside arrays of tables."""
        path: Path = ()
        for part in parts:
            path = (*path, part)
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        return path

    def header(self) -> None:
        is_array = self.text.startswith("[[", self.at)
        self.at += 2 if is_array else 1
        parts = self.key()
        if is_array:
            path = (*self.inside(parts[:-1]), parts[-1])
            self.note(path)
            self.counts[path] = self.counts.get(path, 0) + 1
            self.table = (*path, self.counts[path] - 1)
        else:
            self.table = self.inside(parts)
        for prefix in reversed(_prefixes(self.table)):
            self.note(prefix)
        self.headers.append((bisect_right(self.starts, self.at), self.table))
        self.at = self.text.index("]", self.at) + (2 if is_array else 1)

    def pair(self, table: Path) -> None:
        start = self.at
        parts = self.key()
        end, self.at = self.at, start
        for length in range(1, len(parts) + 1):
            self.note((*table, *parts[:length]))
        self.at = self.text.index("=", end) + 1
        self.value((*table, *parts))

    def value(self, path: Path) -> None:
        self.skip(_SPACE)
        char = self.text[self.at]
        if char in "\"'":
            self.string()
        elif char == "[":
            self.items(path)
        elif char == "{":
            self.inline(path)
        else:
            start = self.at
            while self.text[self.at] not in _END_OF_SCALAR:
                self.at += 1
            self.must_move(start)

    def items(self, path: Path) -> None:
        self.at += 1
        index = 0
        while True:
            self.skip(_SPACE + "\n,")
            if self.text[self.at] == "]":
                self.at += 1
                return
            self.note((*path, index))
            self.value((*path, index))
            index += 1

    def inline(self, path: Path) -> None:
        self.at += 1
        while True:
            self.skip(_SPACE + "\n,")
            if self.text[self.at] == "}":
                self.at += 1
                return
            self.pair(path)

    def run(self) -> dict[Path, int]:
        while True:
            self.skip(_SPACE + "\n")
            if self.at >= len(self.text):
                return self.lines
            if self.text[self.at] == "[":
                self.header()
            else:
                self.pair(self.table)


def line_numbers(text: str) -> dict[Path, int]:
    """Return the line of every key path.

    Parameters
    ----------
    text
        TOML that parses without error.

    Returns
    -------
    dict
        Line, counted from 1, by key path.
    """
    scanner = _Scanner(text)
    try:
        return scanner.run()
    except (IndexError, ValueError, RecursionError):  # better a few lines than no error message
        return scanner.lines


def header_lines(text: str) -> list[tuple[int, Path]]:
    """Return line and path of every table header, in the order of the text.

    Parameters
    ----------
    text
        TOML that parses without error.

    Returns
    -------
    list
        Line, counted from 1, and path; items of arrays of tables with their position.
    """
    scanner = _Scanner(text)
    scanner.run()
    return scanner.headers


def _prefixes(path: Path) -> list[Path]:
    return [path[:length] for length in range(len(path), 0, -1)]


class Locator:
    """Where a key path stands in one file.

    Parameters
    ----------
    file
        Name of the file as people see it.
    text
        Its text; empty where there are no lines to show.
    """

    def __init__(self, file: str, text: str = "") -> None:
        self.file = file
        self._text = text
        self._lines: dict[Path, int] | None = None

    def where(self, path: Path) -> str:
        """Return file, line and key path; the line of the nearest parent if it has none itself.

        Parameters
        ----------
        path
            Keys and array positions.

        Returns
        -------
        str
            For example ``job.toml:88  rooms.cafe.ceilings[0].height``.
        """
        if self._lines is None:
            self._lines = line_numbers(self._text) if self._text else {}
        line = next((self._lines[p] for p in _prefixes(path) if p in self._lines), None)
        place = self.file if line is None else f"{self.file}:{line}"
        return f"{place}  {path_text(path)}".rstrip()
