"""The papers' typefaces for the browser: only the letters that the page can need, compressed."""

import io
from functools import cache
from typing import Any

from fontTools import subset
from fontTools.ttLib import TTFont

from soffit.papers import fonts

_LETTERS = (
    *range(0x20, 0x7F),
    *range(0xA0, 0x180),
    *(0x2010, 0x2013, 0x2014, 0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2026, 0x2032, 0x2033),
    *map(ord, "€™Ω∞≈≤≥−√←↑→↓"),
)


@cache
def face(weight: fonts.Weight) -> bytes:
    """Return one face as WOFF.

    Parameters
    ----------
    weight
        Which.
    """
    options = subset.Options()
    options.flavor = "woff"
    options.layout_features = ["kern", "tnum", "mark", "mkmk", "ccmp"]
    options.hinting = False
    options.desubroutinize = False
    options.name_IDs = []
    options.notdef_outline = True
    font: Any
    with TTFont(fonts.folder() / f"SourceSansPro-{weight.capitalize()}.otf") as font:
        cutter = subset.Subsetter(options)
        cutter.populate(unicodes=_LETTERS)
        cutter.subset(font)
        font.flavor = "woff"
        out = io.BytesIO()
        font.save(out)
    return out.getvalue()
