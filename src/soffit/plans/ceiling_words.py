"""What the names of types and materials tell of a ceiling: its kind and the size of its tiles."""

import re
from collections.abc import Iterable
from typing import Final

from soffit.plans.proposal import CeilingKind
from soffit.units import FOOT_M, INCH_M

_KINDS: Final[tuple[tuple[CeilingKind, tuple[str, ...]], ...]] = (
    (
        "plasterboard",
        (
            "gypsum",
            "gyp",
            "gwb",
            "plaster",
            "plasterboard",
            "drywall",
            "gips",
            "gipskarton",
            "gkb",
            "gkf",
            "rigips",
            "placo",
            "platre",
            "yeso",
            "escayola",
            "cartongesso",
            "gipsplaat",
            "stucco",
            "skim",
        ),
    ),
    ("open", ("exposed", "open", "soffit", "slab", "none", "unfinished", "deck", "rohdecke")),
    ("concealed", ("concealed", "clip-in", "seamless", "plank", "baffle", "stretch", "monolithic")),
    (
        "grid",
        (
            "grid",
            "tile",
            "tiles",
            "act",
            "acoustic",
            "acoustical",
            "lay-in",
            "layin",
            "mineral",
            "mineralfaser",
            "raster",
            "rasterdecke",
            "kassette",
            "kassetten",
            "panel",
            "panels",
            "suspended",
            "abgehangt",
            "systeemplafond",
            "dalles",
            "dalle",
            "registrable",
            "quadrotte",
        ),
    ),
)
"""Words by kind, the surer kinds first: a suspended ceiling of gypsum board is board."""

_SIZE: Final = re.compile(
    r"(?<![\d.,])(\d{1,4}(?:[.,]\d+)?)\s*(mm|cm|m|in|inch|ft|\"|″|''|'|′)?\s*[x×*]\s*"
    r"(\d{1,4}(?:[.,]\d+)?)\s*(mm|cm|m|in|inch|ft|\"|″|''|'|′)?(?![\d])",
    re.IGNORECASE,
)
_UNIT_M: Final = {
    "mm": 1e-3,
    "cm": 1e-2,
    "m": 1.0,
    "in": INCH_M,
    "inch": INCH_M,
    '"': INCH_M,
    "″": INCH_M,
    "''": INCH_M,
    "ft": FOOT_M,
    "'": FOOT_M,
    "′": FOOT_M,
}
_LEAST_M, _MOST_M = 0.25, 2.6


def ceiling_kind(names: Iterable[str]) -> tuple[CeilingKind | None, str]:
    """Tell the kind of a ceiling from names of its type and materials.

    Parameters
    ----------
    names
        Names in the file, the nearest first.

    Returns
    -------
    tuple
        Kind and the words that say so; ``(None, "")`` if no word tells.

    Examples
    --------
    >>> ceiling_kind(["Compound Ceiling:Gypsum Board"])
    ('plasterboard', 'Compound Ceiling:Gypsum Board')
    >>> ceiling_kind(["600 x 600 mm"])
    ('grid', '600 x 600 mm')
    """
    for name in names:
        words = set(re.findall(r"[^\W\d_]+(?:-[^\W\d_]+)*", name.lower()))
        plain = words | {part for word in words for part in word.split("-")}
        for kind, known in _KINDS:
            if plain & set(known):
                return kind, name
        if tile_size_m(name) is not None:
            return "grid", name
    return None, ""


def tile_size_m(name: str) -> tuple[float, float] | None:
    """Find the size of a tile in a name.

    Parameters
    ----------
    name
        Name of a type or material.

    Returns
    -------
    tuple or None
        Two sides; ``None`` if the name tells none that makes sense. [m]

    Examples
    --------
    >>> tile_size_m("ACT 2' x 4'")
    (0.6096, 1.2192)
    >>> tile_size_m("Raster 625x625")
    (0.625, 0.625)
    """
    for found in _SIZE.finditer(name):
        one, two = (float(found.group(place).replace(",", ".")) for place in (1, 3))
        unit = (found.group(4) or found.group(2) or "").lower()
        first = (found.group(2) or unit).lower()
        scale = _UNIT_M.get(unit) or _guess(max(one, two))
        sides = (one * (_UNIT_M.get(first) or scale), two * scale)
        if all(_LEAST_M <= side <= _MOST_M for side in sides):
            return round(sides[0], 5), round(sides[1], 5)
    return None


def _guess(larger: float) -> float:
    """Return the unit in which tiles of such a number are named: ft, in, cm or mm."""
    if larger <= 8:
        return FOOT_M
    if larger in {12, 16, 24, 48, 72, 96}:
        return INCH_M
    return 1e-2 if larger < 250 else 1e-3
