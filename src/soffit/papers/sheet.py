"""The sheet that every drawing stands on: frame, key column, title block, scales."""

from dataclasses import dataclass
from typing import Final

from soffit.papers import fonts
from soffit.papers.scene import (
    ACCENT,
    FINE,
    FIRM,
    INK,
    SOFT,
    THIN,
    Box,
    Path,
    Pen,
    Scene,
    Text,
)
from soffit.papers.views import Paper, TitleView

SIZES_MM: Final[dict[Paper, tuple[float, float]]] = {
    "a4": (297.0, 210.0),
    "a3": (420.0, 297.0),
    "letter": (279.4, 215.9),
    "ansi-b": (431.8, 279.4),
}
"""Landscape sheets: ISO 216 and ASME Y14.1."""

LARGER: Final[dict[Paper, Paper]] = {"a4": "a3", "letter": "ansi-b", "a3": "a3", "ansi-b": "ansi-b"}
METRIC_SCALES: Final = (10, 20, 25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000)
IMPERIAL_SCALES: Final[dict[int, str]] = {
    12: "1\" = 1'",
    16: "3/4\" = 1'",
    24: "1/2\" = 1'",
    32: "3/8\" = 1'",
    48: "1/4\" = 1'",
    64: "3/16\" = 1'",
    96: "1/8\" = 1'",
    128: "3/32\" = 1'",
    192: "1/16\" = 1'",
    384: "1/32\" = 1'",
    768: "1/64\" = 1'",
}
_MARGIN: Final = 7.0
_COLUMN: Final = 64.0
_PAD: Final = 3.0
_BLOCK: Final = 37.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A sheet under work: the scene, the drawing's area and what is left of the key column."""

    scene: Scene
    area: Box
    column: Box


def scale_text(scale: int, *, imperial: bool) -> str:
    """Return a scale as the region writes it.

    Parameters
    ----------
    scale
        Denominator.
    imperial
        Inches to the foot.
    """
    if imperial and scale in IMPERIAL_SCALES:
        return f'{IMPERIAL_SCALES[scale]}-0" (1:{scale})'
    return f"1:{scale}"


def choose_scale(
    size_m: tuple[float, float], room_mm: tuple[float, float], *, imperial: bool
) -> int:
    """Return the largest usual scale at which something fits.

    Parameters
    ----------
    size_m
        Its width and height. [m]
    room_mm
        Room on paper. [mm]
    imperial
        Choose among inches to the foot.
    """
    scales = tuple(IMPERIAL_SCALES) if imperial else METRIC_SCALES
    need = max(size_m[0] * 1e3 / room_mm[0], size_m[1] * 1e3 / room_mm[1])
    for scale in scales:
        if scale >= need:
            return scale
    return round(need + 0.5)


def open_sheet(title: TitleView, *, paper: Paper, number: str, name: str, scale: str) -> Sheet:
    """Draw frame and title block of a landscape sheet.

    Parameters
    ----------
    title
        The job's title block.
    paper
        Sheet size.
    number
        Drawing number, such as ``P-01``.
    name
        What it shows.
    scale
        Scale in words; empty for diagrams.
    """
    width, height = SIZES_MM[paper]
    scene = Scene(width, height, title=f"{title.job}: {name}")
    frame = (_MARGIN, _MARGIN, width - _MARGIN, height - _MARGIN)
    scene.box(frame, layer="frame", pen=FIRM)
    _centring_marks(scene, frame)
    left = frame[2] - _COLUMN
    scene.line((left, frame[1]), (left, frame[3]), layer="frame", pen=THIN)
    block = (left, frame[3] - _BLOCK, frame[2], frame[3])
    _title_block(scene, block, title, number=number, name=name, scale=scale)
    area = (frame[0] + _PAD, frame[1] + _PAD, left - _PAD, frame[3] - _PAD)
    column = (left + _PAD, frame[1] + _PAD, frame[2] - _PAD, block[1] - _PAD)
    return Sheet(scene=scene, area=area, column=column)


def _centring_marks(scene: Scene, frame: Box) -> None:
    """Draw the marks at the middle of each side, as ISO 5457 asks."""
    middle = ((frame[0] + frame[2]) / 2, (frame[1] + frame[3]) / 2)
    for start, end in (
        ((middle[0], 3.5), (middle[0], frame[1] + 1.5)),
        ((middle[0], scene.height - 3.5), (middle[0], frame[3] - 1.5)),
        ((3.5, middle[1]), (frame[0] + 1.5, middle[1])),
        ((scene.width - 3.5, middle[1]), (frame[2] - 1.5, middle[1])),
    ):
        scene.line(start, end, layer="frame", pen=FIRM)


def _title_block(
    scene: Scene, block: Box, title: TitleView, *, number: str, name: str, scale: str
) -> None:
    left, top, right, bottom = block
    scene.line((left, top), (right, top), layer="frame", pen=FIRM)
    scene.box((left, top, left + 1.2, bottom), layer="frame", pen=None, fill=ACCENT)
    x, room = left + _PAD + 1.2, right - left - 2 * _PAD - 1.2
    y = top + 5.2

    def put(text: str, cap: float, weight: fonts.Weight, colour: str, step: float) -> None:
        nonlocal y
        if text:
            short = fonts.fit(text, room_mm=room, cap_mm=cap, weight=weight)
            scene.add(
                Text(at=(x, y), text=short, layer="frame", cap=cap, weight=weight, colour=colour)
            )
            y += step

    for part in fonts.wrap(title.job, room_mm=room, cap_mm=2.6, weight="semibold")[:2]:
        put(part, 2.6, "semibold", INK, 4.2)
    put(
        " · ".join(part for part in (title.customer, title.address) if part),
        1.8,
        "regular",
        SOFT,
        4.0,
    )
    put(name, 2.1, "regular", INK, 4.0)
    if title.is_invented:
        put("Invented example, not a real building", 1.8, "semibold", ACCENT, 4.0)
    row = bottom - 10.5
    scene.line((left, row), (right, row), layer="frame", pen=THIN)
    split = right - 17.0
    scene.line((split, row), (split, bottom), layer="frame", pen=THIN)
    cells = [
        ("Revision", f"{title.revision} of {title.date or 'no date'}"),
        ("Scale", scale or "not to scale"),
    ]
    for index, (head, value) in enumerate(cells):
        line = row + 4.1 + 4.3 * index
        scene.add(
            Text(at=(x, line), text=head, layer="frame", cap=1.8, colour=SOFT),
            Text(at=(x + 14.0, line), text=value, layer="frame", cap=1.8),
        )
    scene.add(
        Text(
            at=((split + right) / 2, row + 7.0),
            text=number,
            layer="frame",
            cap=3.4,
            weight="semibold",
            anchor="middle",
        )
    )


def paragraph(scene: Scene, box: Box, text: str, *, cap: float = 1.8, colour: str = INK) -> float:
    """Set a paragraph into a box from its top and return the y below it.

    Parameters
    ----------
    scene
        Where to draw.
    box
        Left, top, right, bottom; what does not fit ends in an ellipsis.
    text
        Any text.
    cap
        Height of a capital. [mm]
    colour
        Of the lettering.
    """
    y = box[1]
    lines = fonts.wrap(text, room_mm=box[2] - box[0], cap_mm=cap)
    for index, line in enumerate(lines):
        if y + cap > box[3]:
            break
        if index + 1 < len(lines) and y + 2.75 * cap + 1e-6 > box[3]:
            line = fonts.fit(line + " …", room_mm=box[2] - box[0], cap_mm=cap)  # noqa: PLW2901
        y += cap
        scene.add(Text(at=(box[0], y), text=line, layer="notes", cap=cap, colour=colour))
        y += 0.75 * cap
    return y


def paragraph_height(text: str, *, room_mm: float, cap: float = 1.8) -> float:
    """Return how high a paragraph runs.

    Parameters
    ----------
    text
        Any text.
    room_mm
        Width that there is. [mm]
    cap
        Height of a capital. [mm]
    """
    return 1.75 * cap * len(fonts.wrap(text, room_mm=room_mm, cap_mm=cap))


def heading(scene: Scene, column: Box, text: str) -> Box:
    """Set a small heading with a fine rule and return the box below it.

    Parameters
    ----------
    scene
        Where to draw.
    column
        Left, top, right, bottom.
    text
        The heading.
    """
    y = column[1] + 2.0
    scene.add(
        Text(at=(column[0], y), text=text, layer="notes", cap=1.8, weight="semibold", colour=SOFT)
    )
    scene.line((column[0], y + 1.3), (column[2], y + 1.3), layer="notes", pen=FINE)
    return column[0], y + 2.6, column[2], column[3]


def north_arrow(scene: Scene, centre: tuple[float, float], direction: tuple[float, float]) -> None:
    """Draw a needle that points north.

    Parameters
    ----------
    scene
        Where to draw.
    centre
        Its middle.
    direction
        Unit vector on paper.
    """
    (x, y), (dx, dy) = centre, direction
    tip, tail = (x + 6 * dx, y + 6 * dy), (x - 6 * dx, y - 6 * dy)
    side = (x - 1.6 * dy - 2.0 * dx, y + 1.6 * dx - 2.0 * dy)
    other = (x + 1.6 * dy - 2.0 * dx, y - 1.6 * dx - 2.0 * dy)
    scene.add(
        Path(rings=((tip, side, (x, y)),), layer="key", pen=Pen(0.13, INK), fill=INK, closed=True),
        Path(rings=((tip, other, (x, y)),), layer="key", pen=Pen(0.13, INK), closed=True),
    )
    scene.line((x, y), tail, layer="key", pen=THIN)
    scene.add(
        Text(
            at=(tip[0] + 2.2 * dx, tip[1] + 2.2 * dy + 0.95),
            text="N",
            layer="key",
            cap=1.9,
            weight="semibold",
            anchor="middle",
        )
    )


def scale_bar(scene: Scene, at: tuple[float, float], *, scale: int, imperial: bool) -> None:
    """Draw a bar of round lengths, in four steps.

    Parameters
    ----------
    scene
        Where to draw.
    at
        Its left end.
    scale
        Denominator.
    imperial
        Feet instead of metres.
    """
    unit_m, unit = (0.3048, "ft") if imperial else (1.0, "m")
    lengths = (1, 2, 4, 8, 10, 20, 40, 80)
    step_mm = unit_m * 1e3 / scale
    whole = max((n for n in lengths if n * step_mm <= 36.0), default=1)
    x, y = at
    piece = whole * step_mm / 4.0
    for index in range(4):
        left = x + index * piece
        scene.box(
            (left, y, left + piece, y + 1.2),
            layer="key",
            pen=Pen(0.13, INK),
            fill=INK if index % 2 == 0 else None,
        )
    for share in (0, 2, 4):
        value = whole * share / 4
        text = f"{value:g}" + (f" {unit}" if share == 4 else "")
        scene.add(
            Text(at=(x + share * piece, y + 4.0), text=text, layer="key", cap=1.8, anchor="middle")
        )
