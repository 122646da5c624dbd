"""Declared reaction to fire of cables, in order."""

from typing import Final

EUROCLASSES: Final = ("Fca", "Eca", "Dca", "Cca", "B2ca", "B1ca", "Aca")
"""Classes of EN 13501-6 for cables, worst first."""


def euroclass(jacket: str) -> int | None:
    """Return the rank of a declared reaction-to-fire class, 0 the worst; ``None`` without one.

    Parameters
    ----------
    jacket
        Mark on the cable, such as ``Cca-s1,d1,a1``.

    Examples
    --------
    >>> euroclass("Cca-s1,d1,a1"), euroclass("CL3P")
    (3, None)
    """
    head = jacket.split("-", maxsplit=1)[0].strip()
    return EUROCLASSES.index(head) if head in EUROCLASSES else None
