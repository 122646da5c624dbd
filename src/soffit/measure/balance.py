"""Even out what the room did: measured levels and the linear field give new integer taps.

Energy at a seat is linear in the watts of every loudspeaker. The measured levels say by how much
the room and the pieces differ from the plan; a small correction per loudspeaker explains them, and
with these corrections the taps that make the seats most even are searched.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import least_squares

from soffit.decibel import FloatArray, power_ratio, power_ratio_db
from soffit.errors import DomainError

LEAST_POINTS: Final = 3
SHRINK_DB: Final = 3.0
"""Spread of corrections that is believed before readings: larger ones must earn their keep."""
READING_DB: Final = 1.0
ROUNDS_MOST: Final = 200
WORTH_DB: Final = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """New taps for the loudspeakers of one room.

    Parameters
    ----------
    correction_db : (n_speakers,)
        What the room does at each loudspeaker, within the limit. [dB]
    tap_w : (n_speakers,)
        New taps. [W]
    changed
        Positions whose tap changes.
    measured_db : (n_points,)
        As read. [dB]
    explained_db : (n_points,)
        What the corrected field gives with the old taps. [dB]
    predicted_db : (n_points,)
        With the new taps. [dB]
    spread_before_db, spread_after_db
        Highest less lowest level, as read, and predicted. [dB]
    ears_before_db, ears_after_db
        Spread that holds 95 % of all ears, by the corrected field. [dB]
    mean_change_db
        Change of the mean level. [dB]
    """

    correction_db: FloatArray
    tap_w: FloatArray
    changed: tuple[int, ...]
    measured_db: FloatArray
    explained_db: FloatArray
    predicted_db: FloatArray
    spread_before_db: float
    spread_after_db: float
    ears_before_db: float
    ears_after_db: float
    mean_change_db: float


def room_correction_db(
    energy_per_w: FloatArray, power_w: FloatArray, measured_db: FloatArray, *, limit_db: float
) -> FloatArray:
    """Correction of each loudspeaker that explains measured levels.

    Parameters
    ----------
    energy_per_w : (n_points, n_speakers)
        Energy at each point per watt of each loudspeaker. [(20 µPa)²/W]
    power_w : (n_speakers,)
        Watts of each. [W]
    measured_db : (n_points,)
        Levels as read. [dB]
    limit_db
        Largest correction. [dB]

    Returns
    -------
    (n_speakers,)
        Corrections; those that the levels say nothing about stay near the common one. [dB]

    Raises
    ------
    DomainError
        If there are fewer than three points.

    Notes
    -----
    Least squares in decibels with a ridge: sum of ((L_i - L_i(c)) / 1 dB)² + sum of (c_j / 3 dB)².
    Derived here; the two spreads are common practice without a source.

    Examples
    --------
    >>> field = np.array([[1.0, 0.1], [0.1, 1.0], [0.5, 0.5]])
    >>> seen = power_ratio_db(field @ np.array([2.0, 1.0]))
    >>> room_correction_db(field, np.ones(2), seen, limit_db=6.0).round(1).tolist()
    [2.8, 0.1]
    """
    if len(measured_db) < LEAST_POINTS:
        msg = f"{len(measured_db)} levels are too few to balance a room"
        raise DomainError(
            msg,
            where="levels",
            why="one level under each loudspeaker and one between are wanted, 3 at least",
            do="measure more seats",
        )

    def residual(correction: FloatArray) -> FloatArray:
        predicted = power_ratio_db(energy_per_w @ (power_w * power_ratio(correction)))
        return np.concatenate([(predicted - measured_db) / READING_DB, correction / SHRINK_DB])

    start = np.zeros(len(power_w))
    found = least_squares(residual, start, bounds=(-limit_db, limit_db))
    return np.asarray(found.x, dtype=np.float64)


def choose_taps(
    energy_per_w: FloatArray,
    corrected_w: FloatArray,
    tap_w: FloatArray,
    taps_w: Sequence[Sequence[float]],
    *,
    ears_per_w: FloatArray,
    limit_db: float,
    load_limit_w: float,
    fixed: Sequence[bool] = (),
) -> FloatArray:
    """Taps that make the points most even at nearly the same mean level.

    Parameters
    ----------
    energy_per_w : (n_points, n_speakers)
        Energy at each point per watt of each loudspeaker. [(20 µPa)²/W]
    corrected_w : (n_speakers,)
        Watts at the present taps, the room's correction included. [W]
    tap_w : (n_speakers,)
        Present taps. [W]
    taps_w
        Taps that each offers. [W]
    ears_per_w : (n_ears, n_speakers)
        Energy at all ears per watt, so that no unread seat pays for a read one. [(20 µPa)²/W]
    limit_db
        Largest change of one tap. [dB]
    load_limit_w
        Sum of taps that the amplifier allows. [W]
    fixed
        Taps decided by hand.

    Returns
    -------
    (n_speakers,)
        New taps; a change that gains less than 0.2 dB of spread is not made. [W]

    Notes
    -----
    Every single change and every pair of changes of one step is tried, the best is made, until
    none helps; counted work only, so the same readings give the same taps.
    """
    scale = corrected_w / tap_w
    seats, ears = energy_per_w * scale, ears_per_w * scale
    fixed = list(fixed) or [False] * len(tap_w)
    allowed = [
        [w for w in offered if abs(float(power_ratio_db(w / tap))) <= limit_db + 0.1]
        for offered, tap in zip(taps_w, tap_w, strict=True)
    ]
    current = tap_w.astype(np.float64).copy()
    goal = float(np.mean(power_ratio_db(seats @ current)))
    best = _unevenness(seats @ current, ears @ current, goal)
    for _ in range(ROUNDS_MOST):
        found = None
        for moves in _moves(current, allowed, fixed):
            trial = current.copy()
            for place, watts in moves:
                trial[place] = watts
            if float(np.sum(trial)) > max(load_limit_w, float(np.sum(tap_w))):
                continue
            value = _unevenness(seats @ trial, ears @ trial, goal) + 0.02 * len(moves)
            if value < best - WORTH_DB and (found is None or value < found[0]):
                found = (value, trial)
        if found is None:
            break
        current = found[1]
        best = _unevenness(seats @ current, ears @ current, goal)
    return current


def _unevenness(seats: FloatArray, ears: FloatArray, goal_db: float) -> float:
    """Spread over seats and ears, with a fine for changing the mean level. [dB]."""
    level = power_ratio_db(seats)
    shift = abs(float(np.mean(level)) - goal_db)
    over_ears = 2.0 * float(np.std(power_ratio_db(ears)))
    return float(np.ptp(level)) + over_ears + max(shift - 0.5, 0.0)


def _spread_95_db(energy: FloatArray) -> float:
    """Spread of levels that holds 95 % of the ears. [dB]."""
    low, high = np.quantile(power_ratio_db(energy), [0.025, 0.975])
    return float(high - low)


def _moves(
    current: FloatArray, taps_w: Sequence[Sequence[float]], fixed: Sequence[bool]
) -> list[list[tuple[int, float]]]:
    single: list[tuple[int, float]] = []
    for place, offered in enumerate(taps_w):
        if fixed[place]:
            continue
        steps = sorted(offered)
        here = int(np.argmin(np.abs(np.asarray(steps) - current[place])))
        single += [(place, steps[k]) for k in (here - 1, here + 1) if 0 <= k < len(steps)]
    moves = [[move] for move in single]
    if len(single) <= 60:
        moves += [
            [one, two] for i, one in enumerate(single) for two in single[:i] if one[0] != two[0]
        ]
    return moves


def balance(  # noqa: PLR0913 each is a fact of the room, named at the call
    energy_per_w: FloatArray,
    power_w: FloatArray,
    measured_db: FloatArray,
    *,
    ears_per_w: FloatArray,
    tap_w: FloatArray,
    taps_w: Sequence[Sequence[float]],
    limit_db: float,
    load_limit_w: float,
    fixed: Sequence[bool] = (),
) -> Balance:
    """Balance one room.

    Parameters
    ----------
    energy_per_w : (n_points, n_speakers)
        Energy at each point per watt of each loudspeaker. [(20 µPa)²/W]
    power_w : (n_speakers,)
        Watts at the voice coils now. [W]
    measured_db : (n_points,)
        Levels as read. [dB]
    ears_per_w : (n_ears, n_speakers)
        Energy at all ears per watt. [(20 µPa)²/W]
    tap_w : (n_speakers,)
        Present taps. [W]
    taps_w
        Taps that each offers. [W]
    limit_db
        Largest correction and largest change of one loudspeaker. [dB]
    load_limit_w
        Sum of taps that the amplifier allows. [W]
    fixed
        Taps decided by hand.

    Returns
    -------
    Balance
        Corrections, new taps and what they give.
    """
    correction = room_correction_db(energy_per_w, power_w, measured_db, limit_db=limit_db)
    corrected = power_w * power_ratio(correction)
    explained = power_ratio_db(energy_per_w @ corrected)
    taps = choose_taps(
        energy_per_w,
        corrected,
        tap_w,
        taps_w,
        ears_per_w=ears_per_w,
        limit_db=limit_db,
        load_limit_w=load_limit_w,
        fixed=fixed,
    )
    change = power_ratio_db(energy_per_w @ (corrected * taps / tap_w)) - explained
    # What the field cannot explain stays at its seat.
    predicted = measured_db + change
    return Balance(
        correction_db=correction,
        tap_w=taps,
        changed=tuple(int(j) for j in np.flatnonzero(~np.isclose(taps, tap_w))),
        measured_db=measured_db,
        explained_db=explained,
        predicted_db=predicted,
        spread_before_db=float(np.ptp(measured_db)),
        spread_after_db=float(np.ptp(predicted)),
        ears_before_db=_spread_95_db(ears_per_w @ corrected),
        ears_after_db=_spread_95_db(ears_per_w @ (corrected * taps / tap_w)),
        mean_change_db=float(np.mean(predicted) - np.mean(measured_db)),
    )
