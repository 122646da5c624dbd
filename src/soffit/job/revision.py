"""The revision number inside the text of a file: read it, leave it out, put it in."""

import json
import re
import tomllib
from typing import Final

from soffit.job.design_file import DESIGN_FILE, design_text
from soffit.job.locate import line_numbers
from soffit.job.parse import JOB_FILE
from soffit.model.decisions import Design

_NUMBER: Final = re.compile(r"(=[ \t]*)[0-9_]+")
_JSON: Final = re.compile(r'^( "revision": )(\d+)', re.MULTILINE)


def empty_text(name: str) -> str:
    """Return what an absent file counts as.

    Parameters
    ----------
    name
        Name of the file.
    """
    return design_text(Design()) if name == DESIGN_FILE else ""


def revision_of(name: str, text: str) -> int:
    """Return the revision that a text states; 0 if it states none.

    Parameters
    ----------
    name
        Name of the file.
    text
        Its text.
    """
    try:
        raw = tomllib.loads(text) if name == JOB_FILE else json.loads(text or "{}")
    except (ValueError, RecursionError):
        return 0
    found = raw.get("revision", 0) if isinstance(raw, dict) else 0
    return found if isinstance(found, int) and not isinstance(found, bool) and found >= 0 else 0


def with_revision(name: str, text: str, revision: int) -> str:
    """Return a text with another revision number.

    Parameters
    ----------
    name
        Name of the file.
    text
        Its text.
    revision
        The number.
    """
    if not text:
        return text
    if name != JOB_FILE:
        return _JSON.sub(rf"\g<1>{revision}", text, count=1)
    lines = text.split("\n")
    places = line_numbers(text)
    at = places.get(("revision",))
    if at is not None:
        lines[at - 1] = _NUMBER.sub(rf"\g<1>{revision}", lines[at - 1], count=1)
    else:
        lines.insert(places.get(("format",), 0), f"revision = {revision}")
    return "\n".join(lines)


def without_revision(name: str, text: str) -> str:
    """Return a text with its revision number set to 0, so that undo can compare texts.

    Parameters
    ----------
    name
        Name of the file.
    text
        Its text.
    """
    return with_revision(name, text, 0)
