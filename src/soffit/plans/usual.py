"""What is assumed of a ceiling that nobody surveyed: height and kind by the use of the room."""

import re
from typing import cast

from soffit.plans.proposal import CeilingKind
from soffit.tables.load import load_table


def usual_ceiling(words: str) -> tuple[float, CeilingKind, str]:
    """Return the height and kind of ceiling that are assumed of a room by its use.

    Parameters
    ----------
    words
        Use and name of the room.

    Returns
    -------
    tuple
        Height, kind, and where they come from. [m]

    Examples
    --------
    >>> usual_ceiling("Lager warehouse 3")
    (7.0, 'open', 'usual by use (warehouse); common practice, no source')
    """
    table = load_table("room_heights")
    said = [word.removesuffix("s") for word in re.findall(r"[^\W\d_]+", words.lower())]
    places = [
        (said.index(word), row)
        for row in table.rows
        for word in row["words"].split()
        if word in said
    ]
    if places:
        _, row = max(places, key=lambda item: item[0])  # the last word is the noun
        text = f"usual by use ({row['use']}); common practice, no source"
    else:
        row = table.rows[0]
        text = f"use not known, as by use ({row['use']}); common practice, no source"
    return float(row["height_m"]), cast("CeilingKind", row["ceiling"]), text
