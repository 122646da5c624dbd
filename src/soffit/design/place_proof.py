"""Prove the count of a room on request: regular layouts first, then the certificate."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from soffit.design.certificate import Certificate, prove_count
from soffit.design.place import RoomLayouts
from soffit.design.place_ceiling import search_ceiling
from soffit.design.place_question import make_plans, make_question
from soffit.errors import NoSolutionError
from soffit.model.catalogue import Catalogue, SpeakerType
from soffit.model.survey import Obstacle, PlacedSpeaker, Room
from soffit.tables.settings import DEFAULT_LIMITS, Limits

PROOF_EARS_M: Final = 0.5
"""Listener grid of proofs; finer ones cost time and move counts seldom. [m]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomProof:
    """A proof for one room, and the layouts with it noted.

    Parameters
    ----------
    certificate
        What is proven.
    layouts
        The layouts given, with the bound in words.
    """

    certificate: Certificate
    layouts: RoomLayouts


def prove_room(  # noqa: PLR0913 the whole question of a room, each by name
    room: Room,
    layouts: RoomLayouts,
    *,
    speaker_type: SpeakerType,
    line_voltage_v: float,
    obstacles: Sequence[Obstacle] = (),
    catalogue: Catalogue | None = None,
    placed: Sequence[PlacedSpeaker] = (),
    limits: Limits = DEFAULT_LIMITS,
    seconds: float = 60.0,
    progress: Callable[[float, str], None] | None = None,
) -> RoomProof:
    """Prove that a room cannot do with fewer speakers, or say how far the proof came.

    Parameters
    ----------
    room
        Room with one ceiling.
    layouts
        From ``choose_layouts``.
    speaker_type, line_voltage_v, obstacles, catalogue, placed, limits
        As for ``choose_layouts``. [V]
    seconds
        Time for the proof. [s]
    progress
        Told the share done and what is being done.

    Returns
    -------
    RoomProof
        Certificate with its scope: free places, symmetry, levels, a 0.5 m listener grid.

    Raises
    ------
    NoSolutionError
        If the room has several ceilings, which a proof does not cover.
    """
    coarse = Limits(
        overrides=(
            ("sound_ear_grid_m", PROOF_EARS_M),
            *((k, v) for k, v in limits.overrides if k != "sound_ear_grid_m"),
        )
    )
    question = make_question(
        room,
        speaker_type=speaker_type,
        voltage_v=line_voltage_v,
        obstacles=obstacles,
        catalogue=catalogue,
        placed=placed,
        limits=coarse,
        family=None,
        is_imperial=False,
    )
    plan = make_plans(question, question.field())[0]
    if len(plan) > 1:
        msg = f"{room.label}: a proof covers rooms with one ceiling"
        raise NoSolutionError(
            msg,
            where=f"rooms.{room.key}.ceilings",
            why=f"it has {len(plan)}",
            do="leave the proof out, or prove each part as a room of its own",
        )
    part, brief = plan[0], room.brief
    asked = 2.0 * brief.evenness_db
    found = search_ceiling(
        part,
        family=question.family,
        share=brief.evenness_share,
        enough_db=asked,
        most_speakers=int(limits["place_most_speakers"]),
    )
    meeting = [item for item in found.every() if item.spread_db <= asked + 1e-6]
    known = None
    if meeting:
        best = min(meeting, key=lambda item: (item.layout.count, round(item.spread_db, 6)))
        known = (np.asarray(best.layout.column), np.asarray(best.layout.row))
    proof = prove_count(
        part,
        spread_db=asked,
        share=brief.evenness_share,
        known=known,
        seconds=seconds,
        progress=progress,
    )
    return RoomProof(
        certificate=proof,
        layouts=replace(
            layouts,
            bound=proof.text,
            is_reproducible=layouts.is_reproducible and proof.is_reproducible,
        ),
    )
