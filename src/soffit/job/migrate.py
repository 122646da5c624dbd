"""The ladder of formats of job.toml: each step is pure, tested and never deleted."""

import copy
from collections.abc import Callable, Mapping
from typing import Any, Final

from soffit.errors import JobError
from soffit.job.schema import FORMAT

Tables = dict[str, Any]


def migrate_0_to_1(old: Tables) -> Tables:
    """Move the first draft of the format to format 1.

    The draft kept rooms as an array of tables with an ``id``, called the ceiling height of a room
    ``ceiling_height``, the line voltage ``volts`` and the zones' list ``members``.

    Parameters
    ----------
    old
        Tables in format 0.

    Returns
    -------
    dict
        Tables in format 1; the argument is not changed.
    """
    new = copy.deepcopy(old)
    new["format"] = 1
    site = new.get("site")
    if isinstance(site, dict) and "volts" in site:
        site["line_voltage"] = site.pop("volts")
    rooms = new.get("rooms")
    if isinstance(rooms, list):
        new["rooms"] = {}
        for index, room in enumerate(rooms):
            entry = room if isinstance(room, dict) else {}
            key = str(entry.pop("id", f"room{index + 1}"))
            if "ceiling_height" in entry:
                height = entry.pop("ceiling_height")
                ceilings = entry.get("ceilings", [])
                if isinstance(ceilings, list):
                    entry["ceilings"] = [*ceilings, {"kind": "grid", "height": height}]
            new["rooms"][key] = entry
    zones = new.get("zones")
    if isinstance(zones, dict):
        for zone in zones.values():
            if isinstance(zone, dict) and "members" in zone:
                zone["rooms"] = zone.pop("members")
    return new


LADDER: Final[Mapping[int, Callable[[Tables], Tables]]] = {0: migrate_0_to_1}
"""Step that leads from a format to the next."""


def migrated(raw: Tables, name: str) -> tuple[Tables, bool]:
    """Return the tables in the current format.

    Parameters
    ----------
    raw
        Tables as parsed.
    name
        Name of the file as people see it.

    Returns
    -------
    tuple
        The tables, and whether any step was taken.

    Raises
    ------
    JobError
        If the format is missing, is no whole number, or comes from a newer version.
    """
    found = raw.get("format")
    if isinstance(found, bool) or not isinstance(found, int):
        raise JobError(
            what="the format of the file is not stated" if found is None else "no such format",
            where=f"{name}  format",
            why=f"this version reads format 0 to {FORMAT}, the file says {found!r}",
            do=f"write format = {FORMAT} as its first line",
        )
    if not 0 <= found <= FORMAT:
        raise JobError(
            what=f"the file has format {found if abs(found) < 10**9 else 'far too large'}",
            where=f"{name}  format",
            why=f"this version reads format 0 to {FORMAT}",
            do="open it with a newer version of soffit" if found > 0 else "correct the number",
        )
    tables = raw
    for step in range(found, FORMAT):
        tables = LADDER[step](tables)
    return tables, found != FORMAT
