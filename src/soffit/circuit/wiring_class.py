"""Wiring classes: what a cable's jacket may be used for behind an amplifier's marked output."""

import re
from dataclasses import dataclass
from typing import Final, Literal

Space = Literal["plenum", "riser", "general"]

_JACKET: Final = re.compile(r"^(?:CL(?P<cl>[23])|CM)(?P<space>[PRGX]?)$", re.IGNORECASE)
_RANK: Final[dict[Space, int]] = {"general": 0, "riser": 1, "plenum": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Jacket:
    """A jacket marking, read.

    Parameters
    ----------
    wiring_class
        Highest class of circuit that it serves: 2 or 3.
    space
        Where it may be laid: in plenums, between floors, or neither.
    """

    wiring_class: int
    space: Space


def read_jacket(mark: str) -> Jacket | None:
    """Read a North American jacket marking.

    Parameters
    ----------
    mark
        Such as ``CL3P``, ``CL2`` or ``CMR``.

    Returns
    -------
    Jacket or None
        ``None`` if the mark is none of these (a European class, say, or empty).

    References
    ----------
    NFPA 70, table of cable substitutions (725.154 in older, 722.135 in newer editions), as read in
    a discussion of a real case: CL3 may replace CL2, never the other way round. That CM types may
    replace both is from memory.

    Examples
    --------
    >>> read_jacket("CL3P")
    Jacket(wiring_class=3, space='plenum')
    """
    match = _JACKET.match(mark.strip())
    if match is None:
        return None
    space: Space = {"P": "plenum", "R": "riser"}.get(match["space"].upper(), "general")  # type: ignore[assignment]
    return Jacket(wiring_class=int(match["cl"] or 3), space=space)


def jacket_serves_class(mark: str, class_mark: str) -> bool | None:
    """Whether a jacket may be used behind an output marked with a wiring class.

    Parameters
    ----------
    mark
        Jacket marking of the cable.
    class_mark
        ``1``, ``2`` or ``3`` as marked on the amplifier; empty if it carries no mark, which
        counts as Class 1: no jacket of this kind serves it, it takes the wiring of power circuits.

    Returns
    -------
    bool or None
        ``None`` if the jacket marking is not a North American one.

    References
    ----------
    As :func:`read_jacket`; unmarked outputs: NFPA 70, 640.9(C), as read in trade articles.

    Examples
    --------
    >>> jacket_serves_class("CL2P", "3"), jacket_serves_class("CL3P", "2")
    (False, True)
    """
    jacket = read_jacket(mark)
    if jacket is None:
        return None
    digits = [int(letter) for letter in class_mark if letter.isdigit()]
    if not digits or digits[0] == 1:
        return False
    return jacket.wiring_class >= digits[0]


def jacket_serves_space(mark: str, space: Space) -> bool | None:
    """Whether a jacket may be laid in a kind of space.

    Parameters
    ----------
    mark
        Jacket marking of the cable.
    space
        ``plenum`` (a void that moves room air), ``riser`` (between floors) or ``general``.

    Returns
    -------
    bool or None
        ``None`` if the jacket marking is not a North American one.

    References
    ----------
    NFPA 70, 300.22(C) for plenums, as read in trade articles; risers from memory.

    Examples
    --------
    >>> jacket_serves_space("CL3R", "plenum"), jacket_serves_space("CL3P", "riser")
    (False, True)
    """
    jacket = read_jacket(mark)
    return None if jacket is None else _RANK[jacket.space] >= _RANK[space]
