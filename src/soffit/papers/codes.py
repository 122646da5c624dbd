"""QR codes as small drawings."""

import functools

import segno

from soffit.papers.scene import INK, Path, Scene
from soffit.papers.svg import write_svg


@functools.lru_cache(maxsize=4096)
def qr_svg(content: str) -> str:
    """Return a QR code as SVG, quiet zone included.

    Parameters
    ----------
    content
        What it says.

    Returns
    -------
    str
        A drawing one module to the millimetre; the layout scales it.
    """
    code = segno.make(content, error="m", micro=False)
    border = 2
    size = code.symbol_size(scale=1, border=border)[0]
    scene = Scene(float(size), float(size), title=content)
    rings = []
    for row, modules in enumerate(code.matrix):
        start = None
        for column, dark in enumerate([*modules, 0]):
            if dark and start is None:
                start = column
            elif not dark and start is not None:
                x0, x1, y = float(start + border), float(column + border), float(row + border)
                rings.append(((x0, y), (x1, y), (x1, y + 1), (x0, y + 1)))
                start = None
    scene.add(Path(rings=tuple(rings), layer="code", pen=None, fill=INK, closed=True))
    return write_svg(scene)
