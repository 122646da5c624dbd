"""Settings and limits as one table of rows: name, default, unit, source, help.

Options, keys of the job file and their page in the manual are generated from these rows. A limit
has its only home here; ``[limits]`` of a job overrides a row; papers print the source beside it.
"""

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

from soffit.errors import TableError
from soffit.tables import (
    limits_ceiling,
    limits_line,
    limits_lowfreq,
    limits_measure,
    limits_papers,
    limits_place,
    limits_plans,
    limits_sound,
)
from soffit.tables.setting import Setting


@cache
def settings() -> tuple[Setting, ...]:
    """Return all rows, sorted by name."""
    rows: list[Setting] = [
        *limits_ceiling.ROWS,
        *limits_line.ROWS,
        *limits_lowfreq.ROWS,
        *limits_measure.ROWS,
        *limits_papers.ROWS,
        *limits_place.ROWS,
        *limits_plans.ROWS,
        *limits_sound.ROWS,
    ]
    names = sorted(row.name for row in rows)
    if len(set(names)) != len(names):
        msg = "two settings have the same name"
        raise TableError(msg, where="limits", why=f"names: {names}", do="rename one")
    return tuple(sorted(rows, key=lambda row: row.name))


def setting(name: str) -> Setting:
    """Return one row by name.

    Parameters
    ----------
    name
        Key in ``[limits]``.

    Returns
    -------
    Setting
        The row.

    Raises
    ------
    TableError
        If there is no such row.
    """
    for row in settings():
        if row.name == name:
            return row
    msg = f"there is no setting {name!r}"
    near = difflib.get_close_matches(name, [row.name for row in settings()], n=3, cutoff=0.5)
    why = f"near it are {', '.join(near)}" if near else "no row is near it"
    raise TableError(
        msg, where=f"limits.{name}", why=why, do="see the page of settings in the manual"
    )


@dataclass(frozen=True, slots=True)
class Limits(Mapping[str, float]):
    """Limits in force: the defaults, with what the job overrides.

    Parameters
    ----------
    overrides
        Names and values, in SI, that the job sets.
    """

    overrides: tuple[tuple[str, float], ...] = ()

    def __getitem__(self, name: str) -> float:
        """Return the value in force, in SI."""
        for key, value in self.overrides:
            if key == name:
                return value
        return setting(name).default

    def __iter__(self) -> Iterator[str]:
        """Iterate over all names."""
        return iter([row.name for row in settings()])

    def __len__(self) -> int:
        """Return how many settings there are."""
        return len(settings())

    def source(self, name: str) -> str:
        """Return where the value in force comes from."""
        if any(key == name for key, _ in self.overrides):
            return "project limit"
        return setting(name).source


DEFAULT_LIMITS: Final = Limits()
