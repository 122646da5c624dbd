"""The nearest place at which a speaker would have nothing against it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Final

import numpy as np

from soffit.ceiling.plane import FloatArray
from soffit.evaluate.ceiling import (
    CeilingPlace,
    SpeakerFit,
    ceiling_place,
    crowd_of,
    fit_speaker,
    type_void_need_m,
)
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Survey
from soffit.model.speakers import Speaker, TileRef
from soffit.tables.settings import Limits

_MOST_TRIED: Final = 60
_REACH_M: Final = 1.2
_STEP_M: Final = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A better place for a speaker.

    Parameters
    ----------
    position
        Plan position. [m]
    tile
        Its tile; ``None`` where there is no grid.
    distance_m
        From where it is now. [m]
    text
        The place in words; empty where there is no grid.
    """

    position: tuple[float, float]
    tile: TileRef | None
    distance_m: float
    text: str

    def value(self) -> str:
        """Return the place as a mend carries it: ``C,R`` of a tile, else ``x y`` in metres."""
        if self.tile is not None:
            return f"{self.tile.column},{self.tile.row}"
        return f"{self.position[0]:.3f} {self.position[1]:.3f}"


def is_good_place(fit: SpeakerFit, limits: Limits) -> bool:
    """Whether nothing speaks against a place, as far as ceiling and neighbours go.

    Parameters
    ----------
    fit
        The speaker there.
    limits
        Clearances.
    """
    gaps = (
        (fit.hole_gap_m, limits["cutout_tee_clearance_m"]),
        (fit.joist_gap_m, limits["cutout_joist_clearance_m"]),
        (fit.void_have_m, fit.void_need_m),
        (fit.unit_gap_m, limits["unit_gap_least_m"]),
    )
    return (
        fit.is_inside
        and (fit.tile_is_usable or not fit.has_tile)
        and not fit.shares_tile_with
        and not any(near.is_short for near in fit.neighbours)
        and all(have is None or have >= need - 1e-6 for have, need in gaps)
    )


def nearest_good_place(
    survey: Survey, catalogue: Catalogue, speaker: Speaker, speakers: Sequence[Speaker]
) -> Move | None:
    """Find the nearest place at which a speaker would have nothing against it.

    Parameters
    ----------
    survey
        Rooms, ceilings, obstacles, limits.
    catalogue
        Types and mounting parts.
    speaker
        The speaker to move.
    speakers
        All speakers of the design.

    Returns
    -------
    Move or None
        ``None`` if none of the 60 nearest tiles, or no place within 1.2 m, will do.
    """
    place = ceiling_place(survey, catalogue, speaker.room_key, speaker.ceiling_key)
    field = place.field
    if not _is_deep_enough(place, speaker):
        return None
    crowd = crowd_of(
        [item for item in speakers if item.key != speaker.key], catalogue, speaker.room_key
    )
    here = np.asarray(speaker.position)
    if field is None:
        candidates: Iterator[tuple[FloatArray, TileRef | None]] = (
            (point, None) for point in _around(here)
        )
    else:
        usable = np.flatnonzero(field.is_usable)
        away = np.hypot(*(field.centre_m[usable] - here).T)
        candidates = (
            (
                field.centre_m[index],
                TileRef(column=int(field.column[index]), row=int(field.row[index])),
            )
            for index in usable[np.argsort(away, kind="stable")]
        )
    for point, tile in islice(candidates, _MOST_TRIED if field is not None else None):
        position = (float(point[0]), float(point[1]))
        distance = float(np.hypot(*(point - here)))
        if distance < 0.01:
            continue
        moved = replace(speaker, position=position, tile=tile)
        if is_good_place(fit_speaker(place, moved, crowd, is_named=False), survey.limits):
            fit = fit_speaker(place, moved, crowd)
            return Move(position=position, tile=tile, distance_m=distance, text=fit.place_text)
    return None


def _is_deep_enough(place: CeilingPlace, speaker: Speaker) -> bool:
    """Whether the void as surveyed for the whole ceiling takes the type at all."""
    void = place.ceiling.void_depth_m
    if void is None or place.ceiling.void_points or place.ceiling.kind == "open":
        return True
    return void >= type_void_need_m(place.catalogue.speaker(speaker.type_id), place.limits) - 1e-6


def _around(here: FloatArray) -> FloatArray:
    steps = np.arange(-_REACH_M, _REACH_M + _STEP_M / 2.0, _STEP_M)
    x, y = (axis.ravel() for axis in np.meshgrid(steps, steps, indexing="ij"))
    away = np.hypot(x, y)
    near = np.flatnonzero(away <= _REACH_M)
    order = near[np.argsort(away[near], kind="stable")]
    return np.asarray(np.stack([x[order], y[order]], axis=1) + here)
