"""Placed speakers."""

from dataclasses import dataclass
from typing import Literal

from soffit.model.catalogue import Tap
from soffit.model.survey import Point


@dataclass(frozen=True, slots=True, kw_only=True)
class TileRef:
    """A tile of a ceiling's grid by column and row from the grid's origin crossing.

    Tile (c, r) lies between crossings c..c+1 along local x and r..r+1 along local y.
    """

    column: int
    row: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Speaker:
    """One placed piece.

    Parameters
    ----------
    key, label
        Permanent key; label a person reads, such as ``L3-07`` (changes with the order).
    position
        Plan position of its centre. [m]
    mount_height_m
        Height of its face above finished floor. [m]
    aim
        Unit vector in which it looks; straight down by default.
    tile
        Its tile where the ceiling has a grid.
    tap
        Its tap.
    line_key
        Line it hangs on; ``None`` before wiring.
    fixed_place, fixed_tap, fixed_order
        Decided by hand: a re-design keeps it.
    state
        ``planned``, ``existing`` (hangs already) or ``installed``.
    """

    key: str
    label: str
    room_key: str
    ceiling_key: str
    type_id: str
    position: Point
    mount_height_m: float
    tap: Tap
    aim: tuple[float, float, float] = (0.0, 0.0, -1.0)
    tile: TileRef | None = None
    line_key: str | None = None
    fixed_place: bool = False
    fixed_tap: bool = False
    fixed_order: bool = False
    state: Literal["planned", "existing", "installed"] = "planned"
    note: str = ""
