"""Symbols of our own: loudspeakers by kind, and what else is in a ceiling."""

import math
from collections.abc import Sequence
from typing import Final

from soffit.papers.scene import (
    ACCENT,
    FINE,
    INK,
    PALE,
    SOFT,
    THIN,
    WHITE,
    Disc,
    Path,
    Pen,
    Point,
    Scene,
    Text,
)

_RED: Final = Pen(0.35, ACCENT)
_RED_THIN: Final = Pen(0.2, ACCENT)


def _turned(centre: Point, radius: float, degrees: float) -> Point:
    turn = math.radians(degrees)
    return centre[0] + radius * math.cos(turn), centre[1] + radius * math.sin(turn)


def speaker(
    scene: Scene, centre: Point, radius: float, kind: str, *, existing: bool = False
) -> None:
    """Draw a loudspeaker; kinds differ by shape, so that grey prints stay clear.

    Parameters
    ----------
    scene
        Where to draw.
    centre, radius
        On paper. [mm]
    kind
        ``ceiling``, ``pendant``, ``surface`` or ``subwoofer``.
    existing
        Hangs there already: drawn dashed.
    """
    pen = Pen(0.35, ACCENT, (0.8, 0.5)) if existing else _RED
    x, y = centre
    layer = "speakers"
    if kind == "subwoofer":
        side = radius * 0.95
        scene.box((x - side, y - side, x + side, y + side), layer=layer, pen=pen, fill=WHITE)
        scene.add(Disc(centre=centre, radius=radius * 0.55, layer=layer, pen=pen, fill=ACCENT))
        return
    if kind == "surface":
        arc = tuple(_turned(centre, radius, degrees) for degrees in range(0, 181, 20))
        scene.add(Path(rings=(arc,), layer=layer, pen=pen, fill=WHITE, closed=True))
        scene.add(
            Disc(
                centre=(x, y + radius * 0.4),
                radius=radius * 0.22,
                layer=layer,
                pen=None,
                fill=ACCENT,
            )
        )
        return
    scene.add(Disc(centre=centre, radius=radius, layer=layer, pen=pen, fill=WHITE))
    if kind == "pendant":
        corners = tuple(_turned(centre, radius * 0.62, degrees) for degrees in (-90, 30, 150))
        scene.add(Path(rings=(corners,), layer=layer, pen=_RED_THIN, fill=ACCENT, closed=True))
        return
    for degrees in (45, 135, 225, 315):
        scene.line(
            _turned(centre, radius * 0.62, degrees),
            _turned(centre, radius, degrees),
            layer=layer,
            pen=_RED_THIN,
        )
    scene.add(Disc(centre=centre, radius=radius * 0.3, layer=layer, pen=None, fill=ACCENT))


def obstacle(scene: Scene, ring: Sequence[Point], kind: str) -> None:
    """Draw an obstacle by kind.

    Parameters
    ----------
    scene
        Where to draw.
    ring
        Its outline on paper.
    kind
        Kind as surveyed.
    """
    layer = "obstacles"
    corners = tuple(ring)
    xs, ys = [p[0] for p in corners], [p[1] for p in corners]
    left, right, top, bottom = min(xs), max(xs), min(ys), max(ys)
    centre = ((left + right) / 2, (top + bottom) / 2)
    size = max(right - left, bottom - top)
    if kind in {"sprinkler", "detector"}:
        _head(scene, centre, max(size / 2, 0.9), kind)
        return
    above = kind in {"beam", "duct", "pipe", "cable tray"}
    pen = Pen(0.13, SOFT, (1.6, 0.8)) if above else FINE
    fill = None if above else PALE if kind == "sign" else WHITE
    scene.add(Path(rings=(corners,), layer=layer, pen=pen, fill=fill, closed=True))
    square = len(corners) == 4
    if kind == "light" and square:
        _middle_line(scene, corners, layer)
    elif kind in {"light", "fan"}:
        reach = 0.62 * size / 2
        scene.line(
            (centre[0] - reach, centre[1]),
            (centre[0] + reach, centre[1]),
            layer=layer,
            pen=Pen(0.3, SOFT),
        )
        if kind == "fan":
            scene.line(
                (centre[0], centre[1] - reach),
                (centre[0], centre[1] + reach),
                layer=layer,
                pen=Pen(0.3, SOFT),
            )
    elif kind == "air outlet" and square:
        scene.line(corners[0], corners[2], layer=layer, pen=FINE)
        scene.line(corners[1], corners[3], layer=layer, pen=FINE)
    elif kind == "hatch" and square:
        scene.line(corners[0], corners[2], layer=layer, pen=FINE)
    elif kind == "curtain" and square:
        _folds(scene, corners, layer)


def _head(scene: Scene, centre: Point, radius: float, kind: str) -> None:
    """Draw a small round thing: a sprinkler's cross reaches out of its ring, a bar stays in."""
    layer = "obstacles"
    scene.add(Disc(centre=centre, radius=radius, layer=layer, pen=FINE, fill=WHITE))
    reach = radius + 0.6 if kind == "sprinkler" else 0.66 * radius
    x, y = centre
    scene.line((x - reach, y), (x + reach, y), layer=layer, pen=FINE)
    if kind == "sprinkler":
        scene.line((x, y - reach), (x, y + reach), layer=layer, pen=FINE)


def _folds(scene: Scene, corners: tuple[Point, ...], layer: str) -> None:
    """Draw the folds of a curtain: a zigzag along its longer side."""
    a, b, c, d = corners
    if math.dist(a, b) < math.dist(b, c):
        a, b, c, d = b, c, d, a
    steps = max(2, min(round(math.dist(a, b) / max(math.dist(b, c), 0.8) / 1.2), 24))
    points = []
    for step in range(steps + 1):
        share = step / steps
        start, end = (a, b) if step % 2 else (d, c)
        points.append(
            (start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1]))
        )
    scene.line(*points, layer=layer, pen=FINE)


def _middle_line(scene: Scene, corners: tuple[Point, ...], layer: str) -> None:
    """Draw the lamp's line along the longer side."""
    sides = [math.dist(corners[i], corners[(i + 1) % 4]) for i in (0, 1)]
    first = 1 if sides[0] >= sides[1] else 0
    ends = []
    for i in (first, first + 2):
        a, b = corners[i % 4], corners[(i + 1) % 4]
        ends.append(((a[0] + b[0]) / 2, (a[1] + b[1]) / 2))
    (ax, ay), (bx, by) = ends
    inset = 0.12
    scene.line(
        (ax + (bx - ax) * inset, ay + (by - ay) * inset),
        (bx - (bx - ax) * inset, by - (by - ay) * inset),
        layer=layer,
        pen=Pen(0.3, SOFT),
    )


def mark(scene: Scene, centre: Point, kind: str) -> None:
    """Draw a rack, joint box, volume control or measure point.

    Parameters
    ----------
    scene
        Where to draw.
    centre
        On paper.
    kind
        Which of them.
    """
    x, y = centre
    if kind == "rack":
        scene.box(
            (x - 2.2, y - 1.6, x + 2.2, y + 1.6), layer="racks", pen=Pen(0.35, INK), fill=WHITE
        )
        for step in (-0.55, 0.55):
            scene.line((x - 2.2, y + step), (x + 2.2, y + step), layer="racks", pen=THIN)
    elif kind == "test point":
        scene.add(Disc(centre=centre, radius=1.1, layer="test points", pen=THIN, fill=WHITE))
        scene.add(Disc(centre=centre, radius=0.35, layer="test points", pen=None, fill=INK))
    elif kind == "volume control":
        scene.box((x - 1.4, y - 1.4, x + 1.4, y + 1.4), layer="racks", pen=THIN, fill=WHITE)
        scene.line((x - 0.7, y + 0.7), (x + 0.8, y - 0.8), layer="racks", pen=Pen(0.3, INK))
    else:
        scene.box((x - 1.1, y - 1.1, x + 1.1, y + 1.1), layer="racks", pen=THIN, fill=PALE)
        if kind == "tee":
            scene.add(
                Text(
                    at=(x, y + 3.4), text="T", layer="racks", cap=1.8, anchor="middle", colour=SOFT
                )
            )
