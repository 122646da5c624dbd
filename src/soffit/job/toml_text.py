"""Read TOML strictly, whatever the bytes are: a table, or one error with its place."""

import re
import tomllib
from typing import Any, Final

from soffit.errors import JobError

LARGEST_BYTES: Final = 8_000_000
LARGEST_JSON_BYTES: Final = 200_000_000
"""Files larger than this are not read: no job comes near it."""

_PLACE: Final = re.compile(r"\(at line (\d+), column (\d+)\)")


def decode_text(name: str, data: bytes) -> str:
    """Return the text of a file, or say where it is not UTF-8.

    Parameters
    ----------
    name
        Name of the file as people see it.
    data
        Its bytes.

    Returns
    -------
    str
        Its text, line ends turned to ``\\n``, without byte order mark.

    Raises
    ------
    JobError
        If it is too large or not UTF-8.
    """
    most = LARGEST_BYTES if name.endswith(".toml") else LARGEST_JSON_BYTES
    if len(data) > most:
        raise JobError(
            what=f"{name} is {len(data) / 1e6:.0f} MB large",
            where=name,
            why=f"files of a job like this have at most {most / 1e6:.0f} MB",
            do="check that it is the right file",
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise JobError(
            what=f"{name} is not a UTF-8 text",
            where=f"{name}:{line}",
            why=f"byte {data[error.start]:#04x} cannot stand there",
            do="save the file as UTF-8 in the editor",
        ) from None
    return text.replace("\r\n", "\n")


def parse_toml(name: str, text: str) -> dict[str, Any]:
    """Parse a TOML text with the standard library's strict parser.

    Parameters
    ----------
    name
        Name of the file as people see it.
    text
        Its text.

    Returns
    -------
    dict
        Its tables.

    Raises
    ------
    JobError
        If it is not TOML; line and column are in ``where``.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        words = str(error)
        place = _PLACE.search(words)
        line = place[1] if place else str(text.count("\n") + 1)
        reason = _PLACE.sub("", words).replace("(at end of document)", "at the end of the file")
        raise JobError(
            what=f"{name} is not valid TOML: {reason.strip()}",
            where=f"{name}:{line}" + (f"  column {place[2]}" if place else ""),
            why="the file cannot be read at all until this line is mended",
            do=_advice(text, int(line)),
        ) from None
    except (RecursionError, ValueError, OverflowError) as error:
        raise JobError(
            what=f"{name} cannot be read",
            where=name,
            why=f"it is nested too deeply or holds a number that is too long ({error})"[:200],
            do="take out the part that no person would write",
        ) from None


def _advice(text: str, line: int) -> str:
    lines = text.split("\n")
    shown = lines[line - 1].strip() if 0 < line <= len(lines) else ""
    if "=" in shown and re.search(r"=\s*[\d./ ]+\s*[A-Za-z'\"]", shown):
        return 'put texts with a unit in quotes, for example height = "9 ft 6 in"'
    return f"mend the line: {shown[:80]}" if shown else "mend the line"
