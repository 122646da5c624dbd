"""Write a scene as SVG: plain elements, fixed decimals, no clock; same scene, same bytes."""

import base64
from collections.abc import Iterable
from typing import Final
from xml.sax.saxutils import escape

from soffit.papers import fonts
from soffit.papers.scene import (
    WHITE,
    Disc,
    Item,
    Path,
    Pen,
    Picture,
    Point,
    Scene,
    Text,
    grown,
)

_ANCHOR: Final = {"start": "", "middle": ' text-anchor="middle"', "end": ' text-anchor="end"'}


def _n(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def _attr(text: str) -> str:
    return escape(text, {'"': "&quot;"})


def _rings(rings: Iterable[tuple[Point, ...]], *, closed: bool) -> str:
    end = "Z" if closed else ""
    return "".join(
        "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in ring) + end for ring in rings if ring
    )


def _paint(pen: Pen | None, fill: str | None) -> str:
    parts = [f'fill="{fill or "none"}"']
    if pen is not None:
        parts.append(f'stroke="{pen.colour}" stroke-width="{_n(pen.width)}"')
        if pen.dash:
            parts.append(f'stroke-dasharray="{" ".join(_n(d) for d in pen.dash)}"')
    return " ".join(parts)


def _text(item: Text) -> str:
    x, y = item.at
    turn = f' transform="rotate({_n(item.angle_deg)} {_n(x)} {_n(y)})"' if item.angle_deg else ""
    weight = fonts.CSS_WEIGHT[item.weight]
    heavy = f' font-weight="{weight}"' if weight != 400 else ""
    body = (
        f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(item.cap / fonts.CAP_RATIO)}"'
        f"{heavy}{_ANCHOR[item.anchor]}{turn}"
    )
    mask = ""
    if item.halo:
        left, top, right, bottom = grown(item.box, 0.3)
        mask = (
            f'<rect x="{_n(left)}" y="{_n(top)}" width="{_n(right - left)}"'
            f' height="{_n(bottom - top)}" fill="{WHITE}"/>'
        )
    return f'{mask}{body} fill="{item.colour}">{escape(item.text)}</text>'


def _picture(item: Picture, number: int) -> str:
    left, top, right, bottom = item.box
    data = base64.b64encode(item.png).decode("ascii")
    image = (
        f'<image x="{_n(left)}" y="{_n(top)}" width="{_n(right - left)}"'
        f' height="{_n(bottom - top)}" preserveAspectRatio="none"'
        f' href="data:image/png;base64,{data}"/>'
    )
    return _clipped(image, item.clip, number)


def _clipped(element: str, clip: tuple[tuple[Point, ...], ...], number: int) -> str:
    if not clip:
        return element
    return (
        f'<clipPath id="clip{number}"><path clip-rule="evenodd" d="{_rings(clip, closed=True)}"/>'
        f'</clipPath><g clip-path="url(#clip{number})">{element}</g>'
    )


def _element(item: Item, number: int) -> str:
    if isinstance(item, Text):
        return _text(item)
    if isinstance(item, Disc):
        x, y = item.centre
        return (
            f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(item.radius)}"'
            f" {_paint(item.pen, item.fill)}/>"
        )
    if isinstance(item, Path):
        rule = ' fill-rule="evenodd"' if item.fill and len(item.rings) > 1 else ""
        path = (
            f'<path d="{_rings(item.rings, closed=item.closed)}"'
            f" {_paint(item.pen, item.fill)}{rule}/>"
        )
        return _clipped(path, item.clip, number)
    return _picture(item, number)


def svg_elements(items: Iterable[Item], *, first: int = 0) -> str:
    """Return items as SVG elements without a document, for pages that put them together.

    Parameters
    ----------
    items
        What to draw.
    first
        Number of the first item; clip paths of one page need different ones.
    """
    return "".join(_element(item, number) for number, item in enumerate(items, first))


def write_svg(scene: Scene) -> str:
    """Return a scene as SVG text; layers become groups in order of first use of each stretch.

    Parameters
    ----------
    scene
        The drawing.

    Returns
    -------
    str
        A whole SVG document.
    """
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(scene.width)}mm"'
        f' height="{_n(scene.height)}mm" viewBox="0 0 {_n(scene.width)} {_n(scene.height)}"'
        f' font-family="{fonts.FAMILY}, sans-serif" stroke-linejoin="round"'
        f' stroke-linecap="butt" role="img">'
    ]
    if scene.title:
        out.append(f"<title>{escape(scene.title)}</title>")
    layer = None
    for number, item in enumerate(scene.items):
        if item.layer != layer:
            if layer is not None:
                out.append("</g>")
            layer = item.layer
            out.append(f'<g data-layer="{_attr(layer)}">')
        out.append(_element(item, number))
    if layer is not None:
        out.append("</g>")
    out.append("</svg>")
    return "\n".join(out) + "\n"
