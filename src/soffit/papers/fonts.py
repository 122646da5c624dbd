"""The one font family of all papers: where its files are and how wide its words run."""

import functools
import re
from collections.abc import Iterable
from importlib import resources
from pathlib import Path
from typing import Any, Final, Literal

from fontTools.ttLib import TTFont

FAMILY: Final = "Source Sans Pro"
Weight = Literal["light", "regular", "semibold"]
_FILES: Final[dict[Weight, str]] = {
    "light": "SourceSansPro-Light.otf",
    "regular": "SourceSansPro-Regular.otf",
    "semibold": "SourceSansPro-Semibold.otf",
}
CSS_WEIGHT: Final[dict[Weight, int]] = {"light": 300, "regular": 400, "semibold": 600}

_UNSEEN: Final = "\n\r\t\u200b"
_UNIT: Final = re.compile(
    r"(?:\d+/\d+\"?|mm²?|m[²³]?|ft|in|kg|lb|dBA?|W|V|kΩ|Ω|k?Hz|s|°C|%|AWG)[.,;:)]*"
)

CAP_RATIO: Final = 0.66
"""Height of a capital over the type size; a test holds it against the font file."""
MIN_CAP_MM: Final = 1.8
"""Smallest lettering on any paper; ISO 3098-1:2015 begins its series of heights there. [mm]"""


def folder() -> Path:
    """Return the folder of the font files, which a pinned package brings."""
    return Path(str(resources.files("font_source_sans_pro"))) / "files"


@functools.cache
def _advances(weight: Weight) -> dict[int, float]:
    """Return the advance width of every character in em."""
    font: Any
    with TTFont(folder() / _FILES[weight], lazy=True) as font:
        units = float(font["head"].unitsPerEm)
        widths = font["hmtx"].metrics
        return {code: widths[name][0] / units for code, name in font.getBestCmap().items()}


def width_mm(text: str, *, cap_mm: float, weight: Weight = "regular") -> float:
    """Return how wide a line of text runs.

    Parameters
    ----------
    text
        One line.
    cap_mm
        Height of a capital. [mm]
    weight
        Weight of the face.

    Returns
    -------
    float
        Width without kerning, which only ever narrows it. [mm]
    """
    advances = _advances(weight)
    wide = max(advances[ord("0")], 0.6)
    return sum(advances.get(ord(character), wide) for character in text) * cap_mm / CAP_RATIO


def missing_glyphs(texts: Iterable[str]) -> tuple[str, ...]:
    """Return the characters that the font cannot show, sorted; line ends do not count.

    Parameters
    ----------
    texts
        Everything that will be printed.
    """
    known = _advances("regular")
    found = {character for text in texts for character in text}
    return tuple(sorted(c for c in found if ord(c) not in known and c not in _UNSEEN))


def fit(text: str, *, room_mm: float, cap_mm: float, weight: Weight = "regular") -> str:
    """Shorten a text with an ellipsis until it fits.

    Parameters
    ----------
    text
        One line.
    room_mm
        Width that there is. [mm]
    cap_mm
        Height of a capital. [mm]
    weight
        Weight of the face.
    """
    if width_mm(text, cap_mm=cap_mm, weight=weight) <= room_mm:
        return text
    while text and width_mm(text + "…", cap_mm=cap_mm, weight=weight) > room_mm:
        text = text[:-1]
    return text.rstrip() + "…"


def _words(text: str) -> list[str]:
    """Return the words of a text; a number stays with its unit or its fraction."""
    out: list[str] = []
    for word in text.split():
        if out and out[-1][-1].isdigit() and _UNIT.fullmatch(word):
            out[-1] += f" {word}"
        else:
            out.append(word)
    return out


def wrap(
    text: str, *, room_mm: float, cap_mm: float, weight: Weight = "regular"
) -> tuple[str, ...]:
    """Break a text into lines that fit; a word longer than the line is shortened.

    Parameters
    ----------
    text
        Any text.
    room_mm
        Width that there is. [mm]
    cap_mm
        Height of a capital. [mm]
    weight
        Weight of the face.
    """
    lines: list[str] = []
    current = ""
    for word in _words(text):
        longer = f"{current} {word}" if current else word
        if width_mm(longer, cap_mm=cap_mm, weight=weight) <= room_mm:
            current = longer
            continue
        if current:
            lines.append(current)
        current = fit(word, room_mm=room_mm, cap_mm=cap_mm, weight=weight)
    return (*lines, current) if current else tuple(lines)
