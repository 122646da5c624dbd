"""Letters that the papers' font lacks: found, named, and printed as their code."""

import dataclasses
from collections.abc import Iterator
from typing import Any

from soffit.papers import fonts


def texts_of(value: Any) -> Iterator[str]:  # noqa: ANN401 - walks any record
    """Yield every text inside records, sequences and mappings.

    Parameters
    ----------
    value
        Anything.
    """
    if isinstance(value, str):
        yield value
    elif dataclasses.is_dataclass(value):
        for item in dataclasses.fields(value):
            yield from texts_of(getattr(value, item.name))
    elif isinstance(value, dict):
        for item in value.values():
            yield from texts_of(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from texts_of(item)


def missing_letters(value: Any) -> tuple[str, ...]:  # noqa: ANN401 - walks any record
    """Return the characters in any record that the font cannot show.

    Parameters
    ----------
    value
        For example a whole job.
    """
    return fonts.missing_glyphs(texts_of(value))


def shown(value: Any, missing: tuple[str, ...]) -> Any:  # noqa: ANN401 - keeps any shape
    """Return plain data with each missing character as its code in brackets.

    Parameters
    ----------
    value
        Texts, lists and dictionaries.
    missing
        Characters to replace; none leaves the value as it is.
    """
    if not missing:
        return value
    table = {ord(c): f"[{ord(c):04X}]" for c in missing}

    def walk(item: Any) -> Any:  # noqa: ANN401 - keeps any shape
        if isinstance(item, str):
            return item.translate(table)
        if isinstance(item, dict):
            return {key: walk(part) for key, part in item.items()}
        if isinstance(item, list | tuple):
            return [walk(part) for part in item]
        return item

    return walk(value)
