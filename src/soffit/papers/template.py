"""Drilling templates 1:1: the hole with its centre lines, tile edges, and two bars to check by."""

import math
from typing import Any, Final

from soffit.papers.letters import missing_letters, shown
from soffit.papers.packs import PORTRAIT_MM
from soffit.papers.parts import drawing
from soffit.papers.pdf import compile_pdf
from soffit.papers.scene import (
    ACCENT,
    FINE,
    FIRM,
    INK,
    SOFT,
    THIN,
    Box,
    Disc,
    Path,
    Pen,
    Point,
    Scene,
    Text,
)
from soffit.papers.views import JobView, TitleView, TypeView
from soffit.units import INCH_M, format_length

_EDGE: Final = 4.5
"""Most printers leave about 4.2 mm unprinted: common practice, no source. [mm]"""
_STRIP: Final = 40.0
_OVERLAP: Final = 10.0
_CUT: Final = Pen(0.25, INK)
BAR_MM: Final = 100.0
BAR_IN_MM: Final = 4.0 * INCH_M * 1e3


def template_scenes(kind: TypeView, title: TitleView) -> tuple[Scene, ...]:
    """Draw the template of one type on as many sheets as the hole needs.

    Parameters
    ----------
    kind
        The type; one without a hole has no template.
    title
        The job's title block.
    """
    if kind.cutout_m is None:
        return ()
    width, height = PORTRAIT_MM[title.paper]
    window = (width - 2 * _EDGE, height - 2 * _EDGE - _STRIP)
    radius = kind.cutout_m * 1e3 / 2.0
    need = 2.0 * radius + 0.5
    columns, rows = (_pages(need, room) for room in window)
    step = (window[0] - _OVERLAP, window[1] - _OVERLAP)
    scenes = []
    for row in range(rows):
        for column in range(columns):
            shift = (
                (column - (columns - 1) / 2.0) * step[0],
                (row - (rows - 1) / 2.0) * step[1],
            )
            number = row * columns + column + 1
            count = f"sheet {number} of {rows * columns}" if rows * columns > 1 else ""
            scenes.append(_sheet(kind, title, (width, height), shift, count))
    return tuple(scenes)


def _pages(need: float, room: float) -> int:
    return 1 if need <= room else 1 + math.ceil((need - room) / (room - _OVERLAP))


def _sheet(
    kind: TypeView, title: TitleView, size: tuple[float, float], shift: Point, count: str
) -> Scene:
    scene = Scene(*size, title=f"Drilling template 1:1, {kind.name}")
    window = (_EDGE, _EDGE, size[0] - _EDGE, size[1] - _EDGE - _STRIP)
    middle = ((window[0] + window[2]) / 2, (window[1] + window[3]) / 2)
    centre = (middle[0] - shift[0], middle[1] - shift[1])
    _hole(scene, kind, window, centre)
    if count:
        _joins(scene, window)
    _foot(scene, kind, title, window, count)
    return scene


def _hole(scene: Scene, kind: TypeView, window: Box, centre: Point) -> None:
    radius = (kind.cutout_m or 0.0) * 1e3 / 2.0
    x, y = centre
    if (
        x - radius >= window[0]
        and x + radius <= window[2]
        and y - radius >= window[1]
        and y + radius <= window[3]
    ):
        scene.add(Disc(centre=centre, radius=radius, layer="cut", pen=_CUT))
    else:
        turns = [2.0 * math.pi * step / 1440 for step in range(1440)]
        ring = tuple((x + radius * math.cos(a), y + radius * math.sin(a)) for a in turns)
        scene.add(Path(rings=(ring,), layer="cut", pen=_CUT, closed=True, clip=(_ring(window),)))
    if window[1] <= y <= window[3]:
        scene.line(
            (window[0], y), (window[2], y), layer="centre", pen=Pen(0.13, INK, (8, 1.5, 1.5, 1.5))
        )
    if window[0] <= x <= window[2]:
        scene.line(
            (x, window[1]), (x, window[3]), layer="centre", pen=Pen(0.13, INK, (8, 1.5, 1.5, 1.5))
        )
    if window[0] <= x <= window[2] and window[1] <= y <= window[3]:
        scene.add(Disc(centre=centre, radius=1.5, layer="centre", pen=THIN))
    if kind.tile_x_m and kind.tile_y_m:
        half = (kind.tile_x_m * 500.0, kind.tile_y_m * 500.0)
        for edge in (x - half[0], x + half[0]):
            if window[0] <= edge <= window[2]:
                scene.line((edge, window[1]), (edge, window[3]), layer="tile", pen=FIRM)
        for edge in (y - half[1], y + half[1]):
            if window[1] <= edge <= window[3]:
                scene.line((window[0], edge), (window[2], edge), layer="tile", pen=FIRM)


def _ring(box: Box) -> tuple[Point, ...]:
    left, top, right, bottom = box
    return ((left, top), (right, top), (right, bottom), (left, bottom))


def _joins(scene: Scene, window: Box) -> None:
    """Mark where the sheets lie over each other."""
    pen = Pen(0.13, SOFT, (1.0, 1.0))
    left, top, right, bottom = window
    for x in (left + _OVERLAP, right - _OVERLAP):
        scene.line((x, top), (x, bottom), layer="joins", pen=pen)
    for y in (top + _OVERLAP, bottom - _OVERLAP):
        scene.line((left, y), (right, y), layer="joins", pen=pen)


def _foot(scene: Scene, kind: TypeView, title: TitleView, window: Box, count: str) -> None:
    left, y = window[0] + 6.0, window[3] + 3.0
    imperial = title.is_imperial
    scene.line((left, y), (window[2], y), layer="frame", pen=FIRM)
    hole = format_length(kind.cutout_m or 0.0, imperial=imperial, fine=True)
    if imperial:
        hole += f" ({(kind.cutout_m or 0.0) * 1e3:.0f} mm)"
    head = f"Hole ø {hole}: {kind.name}" + (f", {count}" if count else "")
    lines = ["Print at 100 %, not fitted to the page. Measure both bars before the first cut."]
    if kind.tile_x_m and kind.tile_y_m:
        edges = " and ".join(
            format_length(side / 2.0, imperial=imperial, fine=True)
            for side in (kind.tile_x_m, kind.tile_y_m)
        )
        lines.append(f"Centre lines to the edges of the tile: {edges}. Look above it first.")
    if count:
        lines.append("Lay the sheets over each other up to the dotted lines.")
    scene.add(Text(at=(left, y + 5.5), text=head, layer="frame", cap=2.6, weight="semibold"))
    line = y + 9.5
    for words in lines:
        scene.add(Text(at=(left, line), text=words, layer="frame", cap=1.9))
        line += 3.4
    bar = y + 27.0
    _bar(scene, (left, bar), BAR_MM, "100 mm")
    _bar(scene, (left, bar + 8.0), BAR_IN_MM, "4 in")
    foot = f"{title.job}, revision {title.revision} of {title.date}"
    scene.add(
        Text(
            at=(window[2] - 6.0, y + 9.5),
            text=foot,
            layer="frame",
            cap=1.8,
            anchor="end",
            colour=SOFT,
        )
    )


def _bar(scene: Scene, at: Point, length: float, name: str) -> None:
    x, y = at
    scene.line((x, y), (x + length, y), layer="bars", pen=Pen(0.25, ACCENT))
    for end in (x, x + length):
        scene.line((end, y - 2.0), (end, y + 2.0), layer="bars", pen=FINE)
    scene.add(Text(at=(x + length + 3.0, y + 0.9), text=name, layer="bars", cap=1.9))


def template_pdf(view: JobView) -> bytes:
    """Return the drilling templates of all types as PDF.

    Parameters
    ----------
    view
        The job; types without a hole are left out, none at all gives one sheet that says so.
    """
    sections: list[dict[str, Any]] = []
    for kind in view.types:
        for index, scene in enumerate(template_scenes(kind, view.title)):
            name = f"Template 1:1, {kind.name}" + (f", part {index + 1}" if index else "")
            sections.append(drawing(scene, name, f"{scene.title}, hole {kind.cutout_m} m"))
    if not sections:
        width, height = PORTRAIT_MM[view.title.paper]
        scene = Scene(width, height, title="No template")
        scene.add(Text(at=(20, 30), text="No type of this job is cut in.", layer="frame", cap=2.6))
        sections.append(drawing(scene, "No template", "No type of this job is cut in."))
    data = {
        "title": {
            "job": view.title.job,
            "pack": "Drilling templates",
            "made_with": view.title.made_with,
        },
        "page": {"width": 0, "height": 0},
        "sections": sections,
    }
    return compile_pdf(shown(data, missing_letters(view)), date=view.title.date)
