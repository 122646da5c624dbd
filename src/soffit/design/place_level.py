"""Which tap a layout needs: the smallest that reaches the wanted level, the same for all."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio, power_ratio_db
from soffit.evaluate.sound import target_level_dba
from soffit.evaluate.sound_room import room_noise
from soffit.model.catalogue import SpeakerType, Tap
from soffit.model.survey import Room
from soffit.tables.settings import Limits

FloatArray = NDArray[np.float64]


LEVEL_SLACK_DB: Final = 0.05
"""A level that misses the wanted one by less is taken as reached. [dB]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """Tap of a layout and the level that it gives.

    Parameters
    ----------
    tap
        The same for every speaker.
    watts_w
        Sum of taps. [W]
    full_dba
        Mean level at the ears with the line filled, programme, whole field. [dB]
    is_reached
        Whether that is the wanted level or more.
    """

    tap: Tap
    watts_w: float
    full_dba: float
    is_reached: bool


def wanted_level_dba(room: Room, limits: Limits) -> tuple[float, str]:
    """Return the wanted level, and what was assumed for it in words; empty if nothing.

    Parameters
    ----------
    room
        Brief and noise.
    limits
        What to take where neither is known.

    Returns
    -------
    tuple
        Level [dB] and assumption.
    """
    noise = room_noise(room.noise)
    known = target_level_dba(room, noise)
    if known is not None:
        return known, ""
    margin = room.brief.margin_db
    over = limits["place_margin_over_noise_db"] if margin is None else margin
    base = limits["place_noise_dba"] if noise is None else noise.level_dba
    source = "assumed" if noise is None else "surveyed"
    return (
        base + over,
        f"level {base + over:.0f} dBA: noise {base:.0f} dBA ({source}) + {over:.0f} dB",
    )


def level_of(
    *,
    speaker_type: SpeakerType,
    taps: Sequence[Tap],
    count: int,
    energy_per_watt: float,
    fixed_energy: float,
    wanted_dba: float,
    drive_db: float,
) -> Level | None:
    """Return the tap that a layout needs.

    Parameters
    ----------
    speaker_type
        Type.
    taps
        Those it may get, rising.
    count
        Speakers.
    energy_per_watt
        Mean A-weighted energy at the ears with one watt at each voice coil. [1/W]
    fixed_energy
        The same of what hangs by hand, with its own watts.
    wanted_dba
        Wanted level. [dB]
    drive_db
        Mean power of the programme re the tap power. [dB]

    Returns
    -------
    Level or None
        None if there is no tap.
    """
    for tap in taps:
        full = float(
            power_ratio_db(
                max(energy_per_watt * speaker_type.delivered_w(tap) + fixed_energy, 1e-30)
                * float(power_ratio(drive_db))
            )
        )
        if full >= wanted_dba - LEVEL_SLACK_DB or tap is taps[-1]:
            return Level(
                tap=tap,
                watts_w=tap.power_w * count,
                full_dba=full,
                is_reached=full >= wanted_dba - LEVEL_SLACK_DB,
            )
    return None
