"""Names and sizes of rooms among the texts of a drawing."""

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Final

from soffit.model.survey import Point
from soffit.units import FOOT_M, INCH_M

ROOM_WORDS: Final = frozenset(
    (resources.files("soffit.plans") / "room_words.txt").read_text(encoding="utf-8").split()
)
"""Words by which people name rooms, in the languages of the plans that were tried."""

FEET_INCHES: Final = r"(\d+)\s*['′’]\s*-?\s*(?:(\d+)(?:\s+(\d+)/(\d+))?\s*(?:\"|″|''|in)?)?"
_SIZE: Final = re.compile(rf"{FEET_INCHES}\s*[x×X*]\s*{FEET_INCHES}")
_METRIC_SIZE: Final = re.compile(
    r"(\d+[.,]\d+|\d{3,5})\s*(m|cm|mm)?\s*[x×X*]\s*(\d+[.,]\d+|\d{3,5})\s*(m|cm|mm)?"
)
_AREA: Final = re.compile(
    r"(?:^|[^\d.,])(\d+(?:[.,]\d+)?)\s*(m²|m2|m\^2|qm|sqm|sq\.?\s*m|sf|sq\.?\s*ft|ft²|ft2)",
    re.IGNORECASE,
)
_NOTE_WORDS: Final = 5
_DECORATION: Final = re.compile(r"%%[uoUOkK]")


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnText:
    """One text of a drawing; its middle, height of its letters, and its turn. [m] [rad]."""

    text: str
    at: Point
    height_m: float
    layer: str = ""
    is_underlined: bool = False
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomLabel:
    """Name of a room, its place, and what is printed of its size. [m] [m²]."""

    name: str
    at: Point
    size_m: tuple[float, float] | None = None
    area_m2: float | None = None
    is_sure: bool = False


def plain_text(text: str) -> str:
    """Return a text without marks for underlining and such.

    Parameters
    ----------
    text
        As the file has it.

    Examples
    --------
    >>> plain_text("%%u2 CAR GARAGE")
    '2 CAR GARAGE'
    """
    return " ".join(_DECORATION.sub("", text).replace("%%d", "°").split())


def printed_size_m(text: str) -> tuple[float, float] | None:
    """Return the two sides that a text prints.

    Parameters
    ----------
    text
        Such as ``13'8 x 14'`` or ``4.20 x 3.60``.

    Returns
    -------
    tuple or None
        Sides; ``None`` if it prints none. [m]

    Examples
    --------
    >>> [round(side, 4) for side in printed_size_m("13'8 x 14'")]
    [4.1656, 4.2672]
    >>> printed_size_m("4,20 x 3,60 m")
    (4.2, 3.6)
    """
    found = _SIZE.search(text)
    if found:
        parts = found.groups()
        return feet_m(parts[:4]), feet_m(parts[4:])
    found = _METRIC_SIZE.search(text)
    if not found:
        return None
    unit = found.group(4) or found.group(2)
    sides = [float(found.group(place).replace(",", ".")) for place in (1, 3)]
    if unit:
        scale = {"m": 1.0, "cm": 1e-2, "mm": 1e-3}[unit]
    else:
        scale = 1.0 if max(sides) < 100 else 1e-3
    sized = (sides[0] * scale, sides[1] * scale)
    return sized if all(0.3 <= side <= 200 for side in sized) else None


def feet_m(parts: Sequence[str | None]) -> float:
    """Return the length of feet, inches and a fraction of an inch. [m].

    Parameters
    ----------
    parts : (4,)
        Feet, inches, numerator, denominator as matched by :data:`FEET_INCHES`.
    """
    feet, inches, top, under = (float(part) if part else 0.0 for part in parts)
    return feet * FOOT_M + (inches + (top / under if under else 0.0)) * INCH_M


def printed_area_m2(text: str) -> float | None:
    """Return the area that a text prints.

    Parameters
    ----------
    text
        Such as ``12,5 m²`` or ``135 SF``.

    Returns
    -------
    float or None
        Area; ``None`` if it prints none. [m²]

    Examples
    --------
    >>> printed_area_m2("NGF: 12,5 m²")
    12.5
    """
    found = _AREA.search(text)
    if not found:
        return None
    value = float(found.group(1).replace(",", "."))
    is_feet = "f" in found.group(2).lower()
    return value * FOOT_M**2 if is_feet else value


def room_labels(texts: Sequence[DrawnText]) -> list[RoomLabel]:
    """Return the names of rooms among texts, lines that belong together joined.

    Parameters
    ----------
    texts
        All texts of the plan.

    Returns
    -------
    list of RoomLabel
        Sure ones carry a size, an area, or a word by which rooms are named. Where there are some
        of these, other texts count as names only if they are written just as large.
    """
    told = [
        text
        for text in texts
        if _is_name(text.text) or printed_size_m(text.text) or printed_area_m2(text.text)
    ]
    blocks = _blocks(told)
    found = [label for block in blocks if (label := _label(block)) is not None]
    sure = [label for label, _ in found if label.is_sure]
    sized = [label for label in sure if label.size_m or label.area_m2]
    if len(sized) >= 5 and 2 * len(sized) >= len(sure):
        return sized  # whoever prints sizes prints them in every room
    if not sure:
        usual = Counter(round(height, 3) for _, height in found).most_common(1)
        return [label for label, height in found if usual and round(height, 3) == usual[0][0]]
    return sure


def _blocks(texts: list[DrawnText]) -> list[list[DrawnText]]:
    """Join lines that stand closely under each other."""
    order = sorted(texts, key=lambda item: (-_upright(item)[1], _upright(item)[0]))
    blocks: list[list[DrawnText]] = []
    for text in order:
        for block in reversed(blocks):
            if _is_next(block[-1], text):
                block.append(text)
                break
        else:
            blocks.append([text])
    return blocks


def _upright(item: DrawnText) -> Point:
    """Return the middle of a text as it lies for somebody who reads it straight."""
    cos, sin = math.cos(item.turn_rad), math.sin(item.turn_rad)
    return item.at[0] * cos + item.at[1] * sin, item.at[1] * cos - item.at[0] * sin


def _is_next(above: DrawnText, below: DrawnText) -> bool:
    high = max(above.height_m, below.height_m)
    if abs(math.sin(above.turn_rad - below.turn_rad)) > 0.1:
        return False
    one, two = _upright(above), _upright(below)
    down, aside = one[1] - two[1], abs(one[0] - two[0])
    half = 0.31 * high * (len(above.text) + len(below.text))
    if down <= 0.5 * high:  # beside each other on one line
        return 0.5 * half < aside < half + 1.5 * high
    wide = 0.35 * high * max(len(above.text), len(below.text)) + high
    return down < 2.6 * high and aside < wide


def _label(block: list[DrawnText]) -> tuple[RoomLabel, float] | None:
    size = area = None
    names: list[DrawnText] = []
    sized: list[DrawnText] = []
    for item in block:
        here = printed_size_m(item.text)
        ground = printed_area_m2(item.text)
        size, area = size or here, area or ground
        if here or ground:
            sized.append(item)
        elif _is_name(item.text):
            names.append(item)
    known = [item for item in names if _is_known(item)]
    names = known or names
    if not names and not size:
        return None
    anchor = [*names, *sized] or block
    at = (
        math.fsum(item.at[0] for item in anchor) / len(anchor),
        math.fsum(item.at[1] for item in anchor) / len(anchor),
    )
    label = RoomLabel(
        name=" ".join(item.text for item in names)[:60] or "Room",
        at=at,
        size_m=size,
        area_m2=area,
        is_sure=bool(size or area or known),
    )
    return label, max(item.height_m for item in anchor)


def _is_name(text: str) -> bool:
    letters = sum(character.isalpha() for character in text)
    words = text.split()
    return (
        letters >= 2
        and len(words) <= _NOTE_WORDS
        and len(text) <= 40
        and letters >= 0.4 * len(text.replace(" ", ""))
        and not re.fullmatch(r"\d{4}\s+\S+( \S+)*", text)
    )


def _is_known(item: DrawnText) -> bool:
    words = set(re.findall(r"[^\W\d_]+", item.text.lower()))
    joined = item.text.lower().replace(".", "")
    return bool((words | set(joined.split())) & ROOM_WORDS) or any(
        mark in item.text for mark in ("室", "間", "房", "厅")
    )
