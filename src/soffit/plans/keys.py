"""Keys for rooms and storeys: short, lower case, unique, whatever the name's script."""

import re
import unicodedata
from collections.abc import Collection


def key_of(name: str, taken: Collection[str], *, fallback: str = "room") -> str:
    """Make a key from a name that people gave.

    Parameters
    ----------
    name
        Any name in any script.
    taken
        Keys that are in use.
    fallback
        What to use where nothing of the name can be kept.

    Returns
    -------
    str
        Letters, digits and underscores; numbered if taken.

    Examples
    --------
    >>> key_of("Café 1 (süd)", set())
    'cafe_1_sud'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    key = re.sub(r"[^a-z0-9]+", "_", plain.lower()).strip("_") or fallback
    if key[0].isdigit():
        key = f"{fallback}_{key}"
    key = key[:40]
    if key not in taken:
        return key
    number = 2
    while f"{key}_{number}" in taken:
        number += 1
    return f"{key}_{number}"
