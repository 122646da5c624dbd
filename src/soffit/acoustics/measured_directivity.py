"""Polar tables from a loudspeaker that was measured in many directions.

Derived here: energies at all frequencies of an octave are averaged as pink noise would weigh them
(equal energy per logarithmic step), then over the ring of directions at the same angle from the
axis, all directions of a ring alike.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import BAND_TEXT, MID_HZ, N_BANDS, BoolArray, FloatArray
from soffit.decibel import power_ratio_db
from soffit.errors import DomainError

STEP_DEG: Final = 5.0
HALF_OCTAVE: Final = 10.0**0.15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredDirectivity:
    """What a measurement in many directions says per octave.

    Parameters
    ----------
    angle_rad : (n_angles,)
        Angles from the axis, in steps of 5°. [rad]
    axial_db : (n_angles, n_bands)
        Mean over each ring, re the axis. [dB]
    horizontal_db, vertical_db : (n_angles, n_bands)
        Mean over the directions within 22.5° of either plane, re the axis. [dB]
    is_round
        Whether the two planes agree within 2 dB up to 60° in all octaves.
    missing
        Labels of octaves that the measurement does not hold; they take the next one's levels.
    """

    angle_rad: FloatArray
    axial_db: FloatArray
    horizontal_db: FloatArray
    vertical_db: FloatArray
    is_round: bool
    missing: tuple[str, ...]


def octave_energies(
    *, frequency_hz: ArrayLike, energy: FloatArray
) -> tuple[FloatArray, tuple[str, ...]]:
    """Mean energy of each octave, pink weighted.

    Parameters
    ----------
    frequency_hz : (n_frequencies,)
        Rising frequencies. [Hz]
    energy : (n_directions, n_frequencies)
        Squared magnitudes.

    Returns
    -------
    energy : (n_directions, n_bands)
        Mean energies; octaves without data take those of the nearest octave that has.
    missing
        Labels of octaves without data.

    Raises
    ------
    DomainError
        If no octave has data.
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    with np.errstate(divide="ignore"):
        step = np.gradient(np.log(np.maximum(frequency, 1e-9))) if frequency.size > 1 else [1.0]
    octaves = np.full((len(energy), N_BANDS), np.nan)
    for band, middle in enumerate(MID_HZ):
        inside = (frequency >= middle / HALF_OCTAVE) & (frequency < middle * HALF_OCTAVE)
        if np.any(inside):
            weight = np.asarray(step)[inside]
            octaves[:, band] = energy[:, inside] @ weight / weight.sum()
    have = np.flatnonzero(np.isfinite(octaves[0]))
    if have.size == 0:
        msg = f"frequencies from {frequency.min():g} to {frequency.max():g} Hz"
        raise DomainError(
            msg, where="frequency_hz", why="no octave from 63 Hz to 8 kHz is measured", do="check"
        )
    missing = [band for band in range(N_BANDS) if band not in have]
    for band in missing:
        octaves[:, band] = octaves[:, have[np.argmin(np.abs(have - band))]]
    return octaves, tuple(BAND_TEXT[band] for band in missing)


def measured_directivity(
    *,
    direction: ArrayLike,
    frequency_hz: ArrayLike,
    energy: ArrayLike,
    axis: ArrayLike = (1.0, 0.0, 0.0),
    up: ArrayLike = (0.0, 0.0, 1.0),
) -> MeasuredDirectivity:
    """Return polar tables of a measurement.

    Parameters
    ----------
    direction : (n_directions, 3)
        Vectors from the speaker to each microphone.
    frequency_hz : (n_frequencies,)
        Rising frequencies. [Hz]
    energy : (n_directions, n_frequencies)
        Squared magnitudes.
    axis, up : (3,)
        Where the speaker looks, and its upper side.

    Returns
    -------
    MeasuredDirectivity
        Tables in steps of 5°.

    Raises
    ------
    DomainError
        If values are not numbers, or the directions leave gaps of more than 15° before 90°.
    """
    toward = np.asarray(direction, dtype=np.float64)
    power = np.asarray(energy, dtype=np.float64)
    if not (np.all(np.isfinite(toward)) and np.all(np.isfinite(power)) and np.all(power >= 0.0)):
        msg = "the measurement holds what is no number"
        raise DomainError(msg, where="energy", why="levels are wanted everywhere", do="mend it")
    toward = toward / np.linalg.norm(toward, axis=1, keepdims=True)
    ahead = np.asarray(axis, float) / np.linalg.norm(axis)
    side = np.cross(np.asarray(up, float), ahead)
    side /= np.linalg.norm(side)
    top = np.cross(ahead, side)
    angle = np.arccos(np.clip(toward @ ahead, -1.0, 1.0))
    azimuth = np.arctan2(toward @ top, toward @ side)
    octaves, missing = octave_energies(frequency_hz=frequency_hz, energy=power)
    everywhere = np.ones(len(angle), dtype=bool)
    level = np.abs(np.sin(azimuth)) <= np.sin(np.pi / 8)
    upright = np.abs(np.cos(azimuth)) <= np.sin(np.pi / 8)
    rings = np.radians(np.arange(0.0, 180.0 + STEP_DEG / 2, STEP_DEG))
    axial = _rings(angle, octaves, everywhere, rings)
    horizontal, vertical = (_rings(angle, octaves, part, rings) for part in (level, upright))
    near = rings <= np.radians(60.0) + 1e-9
    gap = np.abs(power_ratio_db(horizontal[near] / vertical[near]))
    return MeasuredDirectivity(
        angle_rad=rings,
        axial_db=power_ratio_db(axial / axial[0]),
        horizontal_db=power_ratio_db(horizontal / horizontal[0]),
        vertical_db=power_ratio_db(vertical / vertical[0]),
        is_round=bool(np.all(gap <= 2.0)),
        missing=missing,
    )


def _rings(
    angle: FloatArray, octaves: FloatArray, part: BoolArray, rings: FloatArray
) -> FloatArray:
    """Mean energy at angles from the axis, linear in level between the measured rings."""
    near_axis = angle < np.radians(1.0)
    use = part | near_axis
    rounded = np.round(np.degrees(angle[use]), 1)
    measured = np.unique(rounded)
    gaps = np.diff(np.concatenate([[0.0], measured[measured <= 90.0 + 15.0]]))
    if measured[0] > 7.5 or measured[-1] < 90.0 or np.any(gaps > 15.0 + 1e-6):
        msg = f"directions lie at {', '.join(f'{a:g}°' for a in measured[:12])}"
        raise DomainError(
            msg,
            where="direction",
            why="one direction in 15° from the axis to 90° is wanted, in both planes",
            do="measure the missing directions, or enter a coverage angle",
        )
    means = np.array([octaves[use][rounded == ring].mean(axis=0) for ring in measured])
    means = np.maximum(means, 1e-12 * means.max(axis=0))
    levels = [
        np.interp(np.degrees(rings), measured, np.log(means[:, band])) for band in range(N_BANDS)
    ]
    return np.asarray(np.exp(np.stack(levels, axis=-1)))
