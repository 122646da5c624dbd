"""Colour maps in bands of equal steps: dark to light, so that a grey print reads the same."""

import io
import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.papers import fonts
from soffit.papers.projection import Projection
from soffit.papers.scene import (
    FAINT,
    INK,
    SOFT,
    WHITE,
    Anchor,
    Box,
    Disc,
    Path,
    Pen,
    Picture,
    Point,
    Scene,
    Text,
)
from soffit.papers.views import MapView, RoomView, SpeakerView

Floats = NDArray[np.float64]

_STOPS: Final = np.array(
    [
        (26, 50, 94),
        (59, 79, 110),
        (105, 112, 121),
        (148, 144, 124),
        (196, 182, 113),
        (236, 219, 108),
        (252, 240, 178),
    ],
    dtype=float,
)
"""Blue through grey to yellow, lightness rising evenly; chosen here."""
_PIXELS: Final = 700


def band_colours(count: int) -> tuple[tuple[int, int, int], ...]:
    """Return one colour a band, dark to light.

    Parameters
    ----------
    count
        Number of bands.
    """
    places = np.linspace(0.0, len(_STOPS) - 1.0, max(count, 2))[:count]
    lower = np.clip(places.astype(int), 0, len(_STOPS) - 2)
    share = (places - lower)[:, None]
    mixed = _STOPS[lower] * (1.0 - share) + _STOPS[lower + 1] * share
    return tuple((int(r), int(g), int(b)) for r, g, b in np.round(mixed))


def _hex(colour: tuple[int, int, int]) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _filled(values: Floats) -> Floats:
    """Give cells outside the room the value of the nearest cell, so that edges stay crisp."""
    filled = values.copy()
    for _ in range(max(values.shape)):
        gaps = np.isnan(filled)
        if not gaps.any():
            break
        padded = np.pad(filled, 1, constant_values=np.nan)
        around = np.stack(
            [padded[1:-1, :-2], padded[1:-1, 2:], padded[:-2, 1:-1], padded[2:, 1:-1]]
        )
        known = ~np.isnan(around)
        total = np.where(known, around, 0.0).sum(axis=0)
        number = known.sum(axis=0)
        reach = gaps & (number > 0)
        filled[reach] = total[reach] / number[reach]
    return np.nan_to_num(filled)


def _smooth(values: Floats, factor: int) -> Floats:
    """Refine by straight-line interpolation both ways."""
    rows, columns = values.shape
    y = np.linspace(0.0, rows - 1.0, (rows - 1) * factor + 1)
    x = np.linspace(0.0, columns - 1.0, (columns - 1) * factor + 1)
    low_y = np.minimum(y.astype(int), max(rows - 2, 0))
    low_x = np.minimum(x.astype(int), max(columns - 2, 0))
    high_y, high_x = np.minimum(low_y + 1, rows - 1), np.minimum(low_x + 1, columns - 1)
    down, across = (y - low_y)[:, None], (x - low_x)[None, :]
    upper = values[low_y][:, low_x] * (1 - across) + values[low_y][:, high_x] * across
    lower = values[high_y][:, low_x] * (1 - across) + values[high_y][:, high_x] * across
    return np.asarray(upper * (1 - down) + lower * down, dtype=np.float64)


def map_png(view: MapView, *, turned: bool = False) -> bytes:
    """Return a map as an indexed PNG, one palette entry a band.

    Parameters
    ----------
    view
        The map.
    turned
        Turned with the plan.
    """
    from PIL import Image  # noqa: PLC0415 - only maps need it

    values = _filled(np.pad(view.values, 1, constant_values=np.nan))
    factor = int(np.clip(_PIXELS // max(values.shape), 1, 16))
    fine = _smooth(values, factor)
    bands = np.clip(np.digitize(fine, view.edges) - 1, 0, len(view.edges) - 2).astype(np.uint8)
    upright = bands[::-1]
    image = Image.fromarray(np.ascontiguousarray(np.rot90(upright) if turned else upright))
    palette = [part for colour in band_colours(len(view.edges) - 1) for part in colour]
    image.putpalette(palette)
    stream = io.BytesIO()
    image.save(stream, format="PNG", compress_level=6)
    return stream.getvalue()


def _contours(view: MapView) -> Floats:
    """Return the pieces of the lines between bands (marching squares), in metres.

    Returns
    -------
    (n_pieces, 2, 2)
        Start and end of each piece, x and y. [m]
    """
    values = _filled(np.pad(view.values, 1, constant_values=np.nan))
    corners = np.stack([values[:-1, :-1], values[:-1, 1:], values[1:, 1:], values[1:, :-1]])
    found = [_level_pieces(corners, level) for level in view.edges[1:-1]]
    pieces = np.concatenate(found) if found else np.zeros((0, 2, 2))
    origin = np.array(view.origin) - view.step_m
    return np.asarray(origin + view.step_m * pieces, dtype=np.float64)


_CORNERS: Final = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])


def _level_pieces(corners: Floats, level: float) -> Floats:
    """Return where one level passes through the cells, in cells from the first value."""
    above = corners >= level
    rows, columns = np.nonzero(above.any(axis=0) & ~above.all(axis=0))
    first = corners[:, rows, columns]
    second = np.roll(first, -1, axis=0)
    crossed = (first >= level) != (second >= level)
    share = np.where(crossed, level - first, 0.0) / np.where(crossed, second - first, 1.0)
    steps = np.roll(_CORNERS, -1, axis=0) - _CORNERS
    points = _CORNERS[:, None, :] + share[:, :, None] * steps[:, None, :]
    points += np.stack([columns, rows], axis=1)[None]
    order = np.argsort(~crossed, axis=0, kind="stable")
    cells = np.arange(len(rows))
    pieces = [np.stack([points[order[0], cells], points[order[1], cells]], axis=1)]
    saddle = crossed.all(axis=0)
    pieces.append(np.stack([points[2, saddle], points[3, saddle]], axis=1))
    return np.concatenate(pieces)


def draw_map(
    scene: Scene, view: MapView, projection: Projection, clip: tuple[tuple[Point, ...], ...]
) -> None:
    """Draw a map with the lines between its bands.

    Parameters
    ----------
    scene
        Where to draw.
    view
        The map.
    projection
        Of the plan.
    clip
        Outline and holes on paper.
    """
    rows, columns = view.values.shape
    low = (view.origin[0] - view.step_m, view.origin[1] - view.step_m)
    high = (low[0] + view.step_m * (columns + 1), low[1] + view.step_m * (rows + 1))
    a, b = projection(low), projection(high)
    box: Box = (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1]))
    scene.add(Picture(png=map_png(view, turned=projection.turned), box=box, layer="map", clip=clip))
    pieces = tuple(projection.ring(piece) for piece in _contours(view).tolist())
    if pieces:
        scene.add(Path(rings=pieces, layer="map lines", pen=Pen(0.1, INK), clip=clip))
    for point, text in view.marks:
        x, y = projection(point)
        scene.line((x - 1.2, y - 1.2), (x + 1.2, y + 1.2), layer="map marks", pen=Pen(0.3, INK))
        scene.line((x - 1.2, y + 1.2), (x + 1.2, y - 1.2), layer="map marks", pen=Pen(0.3, INK))
        scene.add(Text(at=(x + 2.0, y + 0.9), text=text, layer="map marks", cap=1.8, halo=True))


def _edge_text(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".") if abs(value) < 2 else f"{value:g}"
    return text.replace("-", "−")


def colour_bar(scene: Scene, view: MapView, box: Box) -> None:
    """Draw the legend of a map: a lying bar in steps with the value at every edge that fits.

    Parameters
    ----------
    scene
        Where to draw.
    view
        The map.
    box
        Room for it: left, top, right, bottom; it is about 7 mm high.
    """
    count = len(view.edges) - 1
    width = (box[2] - box[0]) / count
    widest = max(fonts.width_mm(_edge_text(edge), cap_mm=1.8) for edge in view.edges)
    skip = max(1, math.ceil((1.5 * widest + 1.2) / width))
    for index, colour in enumerate(band_colours(count)):
        left = box[0] + index * width
        scene.box(
            (left, box[1], left + width, box[1] + 2.6),
            layer="map key",
            pen=Pen(0.09, FAINT),
            fill=_hex(colour),
        )
    scene.box((box[0], box[1], box[2], box[1] + 2.6), layer="map key", pen=Pen(0.13, SOFT))
    unit = f" {view.unit}" if view.unit else ""
    room = fonts.width_mm(_edge_text(view.edges[-1]) + unit, cap_mm=1.8) + widest / 2 + 1.6
    for index in range(0, count + 1, skip):
        x = box[0] + index * width
        if index != count and box[2] - x < room:
            continue
        anchor: Anchor = "start" if index == 0 else "end" if index == count else "middle"
        text = _edge_text(view.edges[index]) + (unit if index == count else "")
        scene.add(Text(at=(x, box[1] + 5.4), text=text, layer="map key", cap=1.8, anchor=anchor))
    if count % skip:
        scene.add(
            Text(
                at=(box[2], box[1] + 5.4),
                text=_edge_text(view.edges[-1]) + unit,
                layer="map key",
                cap=1.8,
                anchor="end",
            )
        )


def map_drawing(
    scene: Scene,
    room: RoomView,
    speakers: Sequence[SpeakerView],
    view: MapView,
    projection: Projection,
) -> None:
    """Draw a map with walls and loudspeakers over it.

    Parameters
    ----------
    scene
        Where to draw.
    room, speakers
        The room and what hangs in it.
    view
        The map.
    projection
        Of the plan.
    """
    rings = tuple(projection.ring(ring) for ring in (room.outline, *room.holes))
    draw_map(scene, view, projection, rings)
    scene.add(Path(rings=rings[:1], layer="walls", pen=Pen(0.35, INK), closed=True))
    for ring in rings[1:]:
        scene.add(Path(rings=(ring,), layer="walls", pen=Pen(0.2, INK), fill=FAINT, closed=True))
    for item in speakers:
        scene.add(
            Disc(
                centre=projection(item.position),
                radius=0.7,
                layer="speakers",
                pen=Pen(0.2, INK),
                fill=WHITE,
            )
        )
