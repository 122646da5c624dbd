"""Tile grids for ceilings whose file shows none: centred, along the walls, told as assumed."""

from dataclasses import replace
from typing import Final

from shapely.geometry import Polygon

from soffit.plans.proposal import CeilingProposal, PlanProposal, RoomProposal
from soffit.plans.tile_lines import centred_grid

_METRIC_M: Final = 0.6
_IMPERIAL_M: Final = 0.6096


def with_grids(proposal: PlanProposal) -> PlanProposal:
    """Lay a grid on every tiled ceiling that has none.

    Parameters
    ----------
    proposal
        What was read.

    Returns
    -------
    PlanProposal
        The same with grids; what was assumed stands with each room.
    """
    rooms = tuple(_gridded(room, is_imperial=proposal.is_imperial) for room in proposal.rooms)
    return replace(proposal, rooms=rooms)


def _gridded(room: RoomProposal, *, is_imperial: bool) -> RoomProposal:
    ceilings, said = [], []
    for ceiling in room.ceilings:
        if ceiling.kind != "grid" or ceiling.grid_origin is not None:
            ceilings.append(ceiling)
            continue
        made, text = _laid(room, ceiling, is_imperial=is_imperial)
        ceilings.append(made)
        said.append(text)
    if not said:
        return room
    assumed = (*room.assumed, *dict.fromkeys(said))
    return replace(room, ceilings=tuple(ceilings), assumed=assumed)


def _laid(
    room: RoomProposal, ceiling: CeilingProposal, *, is_imperial: bool
) -> tuple[CeilingProposal, str]:
    side = _IMPERIAL_M if is_imperial else _METRIC_M
    pitch = ceiling.pitch_m or (side, side)
    grid = centred_grid(Polygon(ceiling.region or room.outline), pitch)
    size = "24 x 24 in" if is_imperial else "600 x 600 mm"
    what = "its place" if ceiling.pitch_m else f"tiles of {size} and their place"
    text = f"tile grid: {what} assumed, centred along the walls with equal cut tiles"
    laid = replace(ceiling, pitch_m=pitch, grid_origin=grid.origin, grid_angle_rad=grid.angle_rad)
    return laid, text
