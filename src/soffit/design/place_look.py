"""How a ceiling looks: rows that line up, equal margins, symmetry, alignment with the lights.

Common practice, no source: the weights below are ours, stated so that they can be argued with.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.design.place_search import Layout
from soffit.design.tiles import Sites, to_local
from soffit.model.survey import Obstacle

FloatArray = NDArray[np.float64]

OFFSET_LINES: Final = 0.3
"""Rows or columns offset by half a pitch."""
UNEVEN_PITCH: Final = 0.2
"""Pitches that differ by one tile."""
OFF_MIDDLE: Final = 0.5
"""Per pitch that the pattern lies off the middle of the room."""
UNEQUAL_MARGIN: Final = 0.5
"""Per pitch that the margin to the walls differs from half the pitch."""
OUT_OF_LINE: Final = 3.0
"""Per speaker beside the pattern, as a share of all."""
LEFT_OUT: Final = 2.0
"""Per place left empty, as a share of all."""
BESIDE_LIGHTS: Final = 0.3
"""Share of the speakers that stand in line with no light, where there are lights."""
NO_PATTERN: Final = 2.0
"""Free form."""
BLOCKS: Final = 0.25
"""Per further lattice in the same room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LookFrame:
    """What a pattern is seen against.

    Parameters
    ----------
    walls_local
        Least and greatest local x, then y. [m]
    lights_x, lights_y
        Local coordinates of the lights' middles. [m]
    """

    walls_local: tuple[float, float, float, float]
    lights_x: tuple[float, ...] = ()
    lights_y: tuple[float, ...] = ()


def look_frame(
    sites: Sites,
    walls_local: tuple[float, float, float, float],
    obstacles: Sequence[Obstacle],
) -> LookFrame:
    """Return what the patterns of a ceiling are seen against.

    Parameters
    ----------
    sites
        Its frame.
    walls_local
        Its walls in that frame. [m]
    obstacles
        Of the room; only lights count.
    """
    lights = [
        np.mean(np.asarray(item.outline, dtype=np.float64), axis=0)
        for item in obstacles
        if item.kind == "light"
    ]
    if not lights:
        return LookFrame(walls_local=walls_local)
    x, y = to_local(np.array(lights), origin=sites.origin, angle_rad=sites.angle_rad)
    return LookFrame(
        walls_local=walls_local,
        lights_x=tuple(np.round(x, 3).tolist()),
        lights_y=tuple(np.round(y, 3).tolist()),
    )


def look_penalty(layout: Layout, sites: Sites, frame: LookFrame) -> float:
    """Return how far a layout is from a ceiling that an architect would draw.

    Parameters
    ----------
    layout
        The layout.
    sites
        Its sites.
    frame
        Walls and lights.

    Returns
    -------
    float
        0 for rows in line, even, in the middle, half a pitch from the walls; higher is worse.
    """
    count = max(1, layout.count)
    penalty = OUT_OF_LINE * layout.nudged / count + LEFT_OUT * layout.omitted / count
    if layout.kind == "free":
        penalty += NO_PATTERN
    elif layout.kind == "two blocks":
        penalty += BLOCKS
    else:
        penalty += OFFSET_LINES * (layout.kind != "aligned")
        penalty += UNEVEN_PITCH * (not layout.is_even)
    pitch = max(layout.pitch_x_m, layout.pitch_y_m)
    if pitch > 0.0:
        penalty += OFF_MIDDLE * min(layout.off_middle_m / pitch, 1.0)
    x, y = _local(layout, sites)
    x0, x1, y0, y1 = frame.walls_local
    for values, low, high, step in ((x, x0, x1, layout.pitch_x_m), (y, y0, y1, layout.pitch_y_m)):
        if step > 0.0:
            margin = ((values.min() - low) + (high - values.max())) / 2.0
            penalty += UNEQUAL_MARGIN * min(abs(margin - step / 2.0) / step, 1.0)
    if frame.lights_x:
        penalty += BESIDE_LIGHTS * (1.0 - _in_line(x, y, sites, frame))
    return round(float(penalty), 3)


def _local(layout: Layout, sites: Sites) -> tuple[FloatArray, FloatArray]:
    x, y = sites.local_m()
    return x[layout.column], y[layout.row]


def _in_line(x: FloatArray, y: FloatArray, sites: Sites, frame: LookFrame) -> float:
    """Share of the speakers in the row or column of a light."""
    near_x = np.abs(x[:, None] - np.array(frame.lights_x)[None, :]) < sites.pitch_x_m / 2.0
    near_y = np.abs(y[:, None] - np.array(frame.lights_y)[None, :]) < sites.pitch_y_m / 2.0
    return float(np.mean(near_x.any(axis=1) | near_y.any(axis=1)))
