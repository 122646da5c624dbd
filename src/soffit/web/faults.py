"""Errors in the one shape that every face has, with the status that fits."""

import json
from collections.abc import Sequence
from typing import Any, Final

from soffit.errors import (
    ChildError,
    MissingExtraError,
    NoSolutionError,
    Problem,
    SoffitError,
    StaleError,
    TableError,
)

_STATUS: Final[tuple[tuple[type[SoffitError], int], ...]] = (
    (StaleError, 409),
    (TableError, 404),
    (NoSolutionError, 422),
    (ChildError, 422),
    (MissingExtraError, 501),
)


def body_of(problems: Sequence[Problem]) -> dict[str, Any]:
    """Return problems as the page's one shape of error.

    Parameters
    ----------
    problems
        At least one.
    """
    first, *rest = problems
    return {"error": first.as_dict(), "more": [item.as_dict() for item in rest], "findings": []}


def fault_json(what: str, *, where: str, why: str, do: str) -> bytes:
    """Return one problem as bytes of JSON.

    Parameters
    ----------
    what, where, why, do
        Its four parts.
    """
    problem = Problem(what=what, where=where, why=why, do=do)
    return json.dumps(body_of([problem]), ensure_ascii=False).encode("utf-8")


def status_of(error: SoffitError) -> int:
    """Return the HTTP status that fits an error.

    Parameters
    ----------
    error
        What was raised.
    """
    for kind, status in _STATUS:
        if isinstance(error, kind):
            return status
    return 400
