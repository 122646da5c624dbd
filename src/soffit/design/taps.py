"""Choose taps speaker by speaker where equal taps do not do: moved, missing or mixed speakers.

The field is linear in the watts, so a change of one tap is a change of one column. Equal taps stay
unless the change is worth what the brief asks: for the evenness of a good lattice taps gain little.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import prod
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio, power_ratio_db
from soffit.design.place_level import wanted_level_dba
from soffit.design.place_search import spread_of
from soffit.errors import NoSolutionError
from soffit.evaluate.sound_ears import find_ears
from soffit.evaluate.sound_room import room_acoustics
from soffit.evaluate.sound_source import (
    columns,
    crest_drive_db,
    late_per_watt,
    measure_weights,
    programme_spectrum,
    sources_of,
    spectrum_share,
)
from soffit.model.catalogue import Catalogue, Tap
from soffit.model.speakers import Speaker
from soffit.model.survey import Room
from soffit.tables.settings import DEFAULT_LIMITS, Limits

FloatArray = NDArray[np.float64]

_MOST_EXHAUSTIVE: Final = 5_000
"""Combinations of taps up to which every one is tried."""

_MOST_SWEEPS: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class TapChoice:
    """Taps of one room's speakers.

    Parameters
    ----------
    speakers
        In the order given, with their taps.
    spread_db, equal_spread_db
        Spread of the brief's measure with these taps, and with the taps given. [dB]
    level_dba, wanted_dba
        Mean level with the line filled, and the level wanted. [dB]
    watts_w, equal_watts_w
        Sum of taps, now and before. [W]
    changed_keys
        Speakers whose tap differs from the one given.
    is_exhaustive
        Whether every combination was tried.
    reason
        In one sentence.
    """

    speakers: tuple[Speaker, ...]
    spread_db: float
    equal_spread_db: float
    level_dba: float
    wanted_dba: float
    watts_w: float
    equal_watts_w: float
    changed_keys: tuple[str, ...]
    is_exhaustive: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Problem:
    """Columns and choices.

    Parameters
    ----------
    even, loud : (n_speakers, n_ears)
        Energy per watt in the brief's measure and in dBA, whole field.
    watts : tuple of (n_taps,)
        Watts at the voice coil per choice and speaker.
    taps
        The taps themselves.
    share, target_db, wanted
        Share of ears, spread asked for, and energy of the wanted level.
    """

    even: FloatArray
    loud: FloatArray
    watts: tuple[FloatArray, ...]
    taps: tuple[tuple[Tap, ...], ...]
    share: float
    target_db: float
    wanted: float

    def score(self, choice: Sequence[int]) -> tuple[float, float, float, float]:
        """Rank: evenness missed, level missed, then watts, then spread. Lower is better."""
        power = np.array([self.watts[i][k] for i, k in enumerate(choice)])
        spread = spread_of(power @ self.even, self.share)
        level = float(np.mean(power @ self.loud))
        short = max(0.0, float(power_ratio_db(self.wanted / max(level, 1e-30))) - 0.05)
        drawn = sum(self.taps[i][k].power_w for i, k in enumerate(choice))
        return (
            round(max(0.0, spread - self.target_db), 4),
            round(short, 3),
            round(drawn, 6),
            round(spread, 4),
        )


def choose_taps(
    room: Room,
    speakers: Sequence[Speaker],
    catalogue: Catalogue,
    *,
    line_voltage_v: float,
    limits: Limits = DEFAULT_LIMITS,
    progress: Callable[[float, str], None] | None = None,
) -> TapChoice:
    """Choose the tap of every speaker of a room, or keep the taps as they are.

    Parameters
    ----------
    room
        Room with its brief.
    speakers
        Its speakers with the taps to start from; ``fixed_tap`` ones and subwoofers keep theirs.
    catalogue
        Their types.
    line_voltage_v
        Nominal line voltage. [V]
    limits
        Settings in force; ``taps_least_gain_db`` says what a change must gain.
    progress
        Told the share done and what is being done.

    Returns
    -------
    TapChoice
        Never worse than the taps given, by the brief's own measure.

    Raises
    ------
    NoSolutionError
        If the room has no speaker that plays the mid band.
    """
    mains = [s for s in speakers if catalogue.speaker(s.type_id).kind != "subwoofer"]
    if not mains:
        msg = f"{room.label}: there is no speaker whose tap could be chosen"
        raise NoSolutionError(
            msg, where=f"rooms.{room.key}", why="it has none but subwoofers", do="place speakers"
        )
    problem, start, wanted = _problem(room, mains, catalogue, line_voltage_v, limits)
    tell = progress or (lambda _done, _text: None)
    tell(0.0, f"{room.label}: choosing taps")
    number = prod(len(watts) for watts in problem.watts)
    best = _exhausted(problem) if number <= _MOST_EXHAUSTIVE else _improved(problem, start)
    kept, reason = _worth(problem, start, best, room, limits)
    tell(1.0, f"{room.label}: taps chosen")
    power = np.array([problem.watts[i][k] for i, k in enumerate(kept)])
    by_key = {
        speaker.key: replace(speaker, tap=problem.taps[i][k])
        for i, (speaker, k) in enumerate(zip(mains, kept, strict=True))
    }
    before, after = problem.score(start), problem.score(kept)
    return TapChoice(
        speakers=tuple(by_key.get(speaker.key, speaker) for speaker in speakers),
        spread_db=after[3],
        equal_spread_db=before[3],
        level_dba=float(power_ratio_db(np.mean(power @ problem.loud))),
        wanted_dba=wanted,
        watts_w=after[2],
        equal_watts_w=before[2],
        changed_keys=tuple(
            speaker.key for speaker, old, new in zip(mains, start, kept, strict=True) if old != new
        ),
        is_exhaustive=number <= _MOST_EXHAUSTIVE,
        reason=reason,
    )


def _problem(
    room: Room,
    mains: Sequence[Speaker],
    catalogue: Catalogue,
    voltage_v: float,
    limits: Limits,
) -> tuple[_Problem, list[int], float]:
    acoustics = room_acoustics(room, limits)
    ears = find_ears(room, step_m=limits["sound_ear_grid_m"])
    sources = sources_of(mains, catalogue, line_voltage_v=voltage_v)
    share = spectrum_share(programme_spectrum(room.brief.programme))
    drive = float(power_ratio(crest_drive_db(room.brief.programme, limits)))
    measure = room.brief.evenness_measure
    weights = np.stack([measure_weights(measure, share), measure_weights("whole dBA", share)])
    both = columns(
        sources,
        range(len(mains)),
        ears.point_m,
        walls=acoustics.walls,
        air_db_m=acoustics.air_db_m,
        weights=weights,
    )
    late = late_per_watt(sources, acoustics.room_constant_m2) @ weights.T
    even = both[0].T + (late[:, :1] if measure.startswith("whole") else 0.0)
    loud = (both[1].T + late[:, 1:]) * drive
    taps = tuple(_choices(speaker, catalogue, voltage_v) for speaker in mains)
    watts = tuple(
        np.array([_coil_w(catalogue, speaker, tap, voltage_v) for tap in found])
        for speaker, found in zip(mains, taps, strict=True)
    )
    wanted, _ = wanted_level_dba(room, limits)
    start = [found.index(s.tap) for s, found in zip(mains, taps, strict=True)]
    problem = _Problem(
        even=even,
        loud=loud,
        watts=watts,
        taps=taps,
        share=room.brief.evenness_share,
        target_db=2.0 * room.brief.evenness_db,
        wanted=float(power_ratio(wanted)),
    )
    # What is better than the brief asks must not get worse for the sake of watts.
    given = problem.score(start)[3]
    return replace(problem, target_db=min(problem.target_db, given)), start, wanted


def _coil_w(catalogue: Catalogue, speaker: Speaker, tap: Tap, voltage_v: float) -> float:
    kind = catalogue.speaker(speaker.type_id)
    return kind.delivered_w(tap) * (voltage_v / tap.voltage_v) ** 2


def _choices(speaker: Speaker, catalogue: Catalogue, voltage_v: float) -> tuple[Tap, ...]:
    """Taps that the loudspeaker stands; the present one always among them."""
    kind = catalogue.speaker(speaker.type_id)
    if speaker.fixed_tap:
        return (speaker.tap,)
    found = {
        tap
        for tap in kind.taps_at(voltage_v)
        if kind.delivered_w(tap) <= kind.rated_power_w * 1.001
    }
    return tuple(sorted({*found, speaker.tap}, key=lambda tap: (tap.power_w, tap.mark)))


def _exhausted(problem: _Problem) -> list[int]:
    every: Iterator[tuple[int, ...]] = product(*(range(len(watts)) for watts in problem.watts))
    best: tuple[tuple[float, float, float, float], tuple[int, ...]] | None = None
    for choice in every:
        ranked = (problem.score(choice), choice)
        if best is None or ranked < best:
            best = ranked
    return list(best[1]) if best is not None else []


def _improved(problem: _Problem, start: list[int]) -> list[int]:
    """Steepest descent over single steps, then over a step up here with a step down there."""
    starts: list[list[int]] = [start] + [
        [min(max(k + step, 0), len(problem.watts[i]) - 1) for i, k in enumerate(start)]
        for step in (-1, 1)
    ]
    return min(
        (_descended(problem, one) for one in starts),
        key=lambda choice: (problem.score(choice), choice),
    )


def _descended(problem: _Problem, start: list[int]) -> list[int]:
    now, score = list(start), problem.score(start)
    for _ in range(_MOST_SWEEPS):
        moves = [
            (i, step)
            for i in range(len(now))
            for step in (-1, 1)
            if 0 <= now[i] + step < len(problem.watts[i])
        ]
        scored = []
        for i, step in moves:
            trial = [k + step * (j == i) for j, k in enumerate(now)]
            scored.append((problem.score(trial), i, step))
        scored.sort()
        found = scored[0] if scored and scored[0][0] < score else None
        if found is None:
            found_pair = _pair_move(problem, now, [(i, s) for _, i, s in scored[:16]], score)
            if found_pair is None:
                break
            now, score = found_pair
            continue
        score = found[0]
        now[found[1]] += found[2]
    return now


def _pair_move(
    problem: _Problem,
    now: list[int],
    moves: Sequence[tuple[int, int]],
    score: tuple[float, float, float, float],
) -> tuple[list[int], tuple[float, float, float, float]] | None:
    best: tuple[list[int], tuple[float, float, float, float]] | None = None
    for (i, a), (j, b) in product(moves, moves):
        if i >= j:
            continue
        trial = list(now)
        trial[i] += a
        trial[j] += b
        found = problem.score(trial)
        if found < (best[1] if best else score):
            best = (trial, found)
    return best


def _worth(
    problem: _Problem, start: list[int], best: list[int], room: Room, limits: Limits
) -> tuple[list[int], str]:
    """Keep the taps given unless the change reaches what the brief asks, or gains enough."""
    before, after = problem.score(start), problem.score(best)
    if before[0] == 0.0 and before[1] == 0.0:
        return start, f"{room.label}: the taps stay, they meet the brief."
    if best == start:
        return start, f"{room.label}: the taps stay, no other choice is better."
    gain = before[0] - after[0]
    closer = before[1] - after[1]
    least = limits["taps_least_gain_db"]
    meets = after[0] == 0.0 and before[0] > 0.0
    louder = after[0] <= before[0] and closer >= least
    if not (meets or gain >= least or louder or (after[0] <= before[0] and after[1] == 0.0)):
        return start, (
            f"{room.label}: the taps stay, changing them would gain {max(gain, 0.0):.1f} dB only."
        )
    return best, (
        f"{room.label}: taps changed, the spread goes from {before[3]:.1f} to {after[3]:.1f} dB"
        f" and the load from {before[2]:g} to {after[2]:g} W."
    )
