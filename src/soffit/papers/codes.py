"""QR codes as small drawings."""

import functools
from typing import Final
from xml.sax.saxutils import escape

import segno

from soffit.papers.scene import INK

_LONGEST: Final = 400
"""Characters of a code: at four bytes each they still fit the largest symbol."""


@functools.lru_cache(maxsize=4096)
def qr_svg(content: str) -> str:
    """Return a QR code as SVG, quiet zone included.

    Parameters
    ----------
    content
        What it says; cut off where no code could hold it.

    Returns
    -------
    str
        A drawing one module to the millimetre; the layout scales it.
    """
    code = segno.make(content[:_LONGEST], error="m", micro=False)
    border = 2
    size = code.symbol_size(scale=1, border=border)[0]
    runs = []
    for row, modules in enumerate(code.matrix):
        start = None
        for column, dark in enumerate([*modules, 0]):
            if dark and start is None:
                start = column
            elif not dark and start is not None:
                wide = column - start
                runs.append(f"M{start + border} {row + border}h{wide}v1h-{wide}z")
                start = None
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}mm" height="{size}mm"'
        f' viewBox="0 0 {size} {size}" role="img"><title>{escape(content)}</title>'
        f'<path fill="{INK}" d="{"".join(runs)}"/></svg>\n'
    )
