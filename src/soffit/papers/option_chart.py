"""The front of alternatives as a picture: how many loudspeakers for how even a room."""

from collections.abc import Sequence
from typing import Final

from soffit.model.decisions import Option
from soffit.papers import fonts
from soffit.papers.placement import Field, Wanted, place_all
from soffit.papers.scene import (
    ACCENT,
    FINE,
    HAIR,
    INK,
    SOFT,
    WHITE,
    Box,
    Disc,
    Path,
    Pen,
    Point,
    Scene,
    Text,
)

_WIDTH: Final = 178.0
_HEIGHT: Final = 43.0
_STEPS: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500)


def option_chart(options: Sequence[Option], *, title: str) -> Scene:
    """Draw count against spread; shape tells what a point is, colour only helps.

    Parameters
    ----------
    options
        The front of one room, at least one.
    title
        What it is, for whoever cannot see it.
    """
    scene = Scene(_WIDTH, _HEIGHT, title=title)
    frame: Box = (12.0, 3.0, _WIDTH - 2.0, _HEIGHT - 10.0)
    most = max(option.count for option in options)
    widest = max(option.spread_db / 2.0 for option in options) * 1.08

    def place(count: float, half_db: float) -> Point:
        x = frame[0] + (frame[2] - frame[0]) * count / (most * 1.05)
        return x, frame[3] - (frame[3] - frame[1]) * half_db / widest

    _axes(scene, frame, most, widest)
    room = Field(sheet=(frame[0] + 1, frame[1] + 1, frame[2] - 1, frame[3] - 1), gap=0.3)
    named = []
    for option in sorted(options, key=lambda item: item.mark == "chosen"):
        at = place(option.count, option.spread_db / 2.0)
        _point(scene, option, at)
        room.boxes.append((at[0] - 1.2, at[1] - 1.2, at[0] + 1.2, at[1] + 1.2))
        if option.mark:
            named.append((option, at))
    wanted = [
        Wanted(anchor=at, radius=1.3, width=_name_width(option) + 0.4, height=2.6)
        for option, at in named
    ]
    for (option, at), found in zip(named, place_all(wanted, room), strict=True):
        if found is None:
            continue  # the table below names it
        if found.has_leader:
            near = (
                min(max(at[0], found.box[0]), found.box[2]),
                min(max(at[1], found.box[1]), found.box[3]),
            )
            scene.line(at, near, layer="leaders", pen=Pen(0.1, INK))
        scene.add(
            Text(
                at=(found.box[0] + 0.2, found.box[3] - 0.5),
                text=_name(option),
                layer="names",
                cap=1.8,
                weight="semibold" if option.mark == "chosen" else "regular",
                colour=INK if option.meets_brief else SOFT,
            )
        )
    return scene


def _name(option: Option) -> str:
    """Return mark and count; long marks stand in the table beside the same count."""
    return f"{option.mark}: {option.count}" if len(option.mark) < 16 else str(option.count)


def _name_width(option: Option) -> float:
    weight: fonts.Weight = "semibold" if option.mark == "chosen" else "regular"
    return fonts.width_mm(_name(option), cap_mm=1.8, weight=weight)


def _point(scene: Scene, option: Option, at: Point) -> None:
    x, y = at
    layer = "points"
    if option.mark == "chosen":
        scene.add(Disc(centre=at, radius=1.4, layer=layer, pen=Pen(0.3, ACCENT), fill=ACCENT))
    elif option.mark.startswith("hand rule"):
        ring = ((x, y - 1.3), (x + 1.2, y + 0.9), (x - 1.2, y + 0.9))
        scene.add(Path(rings=(ring,), layer=layer, pen=Pen(0.25, INK), fill=WHITE, closed=True))
    elif option.meets_brief:
        scene.add(Disc(centre=at, radius=0.9, layer=layer, pen=Pen(0.25, INK), fill=WHITE))
    else:
        pen = Pen(0.25, SOFT)
        scene.line((x - 0.8, y - 0.8), (x + 0.8, y + 0.8), layer=layer, pen=pen)
        scene.line((x - 0.8, y + 0.8), (x + 0.8, y - 0.8), layer=layer, pen=pen)


def _axes(scene: Scene, frame: Box, most: int, widest: float) -> None:
    scene.box(frame, layer="axes", pen=FINE)
    step = next((step for step in _STEPS if most / step <= 10), _STEPS[-1])
    for count in range(0, most + 1, step):
        x = frame[0] + (frame[2] - frame[0]) * count / (most * 1.05)
        scene.line((x, frame[1]), (x, frame[3]), layer="axes", pen=HAIR)
        scene.add(
            Text(at=(x, frame[3] + 3.2), text=str(count), layer="axes", cap=1.8, anchor="middle")
        )
    rise = next((step for step in (0.5, 1.0, 2.0, 5.0) if widest / step <= 7), 10.0)
    for number in range(1, int(widest / rise) + 1):
        y = frame[3] - (frame[3] - frame[1]) * number * rise / widest
        scene.line((frame[0], y), (frame[2], y), layer="axes", pen=HAIR)
        word = f"±{number * rise:g} dB"
        scene.add(
            Text(at=(frame[0] - 1.0, y + 0.9), text=word, layer="axes", cap=1.8, anchor="end")
        )
    legend = (
        "loudspeakers.  Filled: chosen.  Ring: meets the brief.  Cross: does not."
        "  Triangle: a hand rule."
    )
    scene.add(Text(at=(frame[0], _HEIGHT - 1.5), text=legend, layer="axes", cap=1.8, colour=SOFT))
