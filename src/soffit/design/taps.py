"""Choose taps speaker by speaker where equal taps do not do: moved, missing or mixed speakers.

The field is linear in the watts, so a change of one tap is a change of one column. Equal taps stay
unless the change is worth what the brief asks: for the evenness of a good lattice taps gain little.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from soffit.design.taps_field import TapProblem, tap_problem
from soffit.design.taps_search import best_choice
from soffit.errors import NoSolutionError
from soffit.model.catalogue import Catalogue
from soffit.model.speakers import Speaker
from soffit.model.survey import Room
from soffit.tables.settings import DEFAULT_LIMITS, Limits

Progress = Callable[[float, str], None]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomTaps:
    """One room of several whose taps were chosen together.

    Parameters
    ----------
    room_key
        Room.
    spread_db, equal_spread_db
        Spread of its brief's measure with these taps, and with the taps given; what the other
        rooms bring is counted. [dB]
    level_dba, wanted_dba
        Mean level with the lines filled, and the level wanted. [dB]
    meets_brief
        Whether its evenness is met.
    """

    room_key: str
    spread_db: float
    equal_spread_db: float
    level_dba: float
    wanted_dba: float
    meets_brief: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class JointTaps:
    """Taps of rooms that are open to each other.

    Parameters
    ----------
    speakers
        In the order given, with their taps.
    rooms
        One record a room.
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
    rooms: tuple[RoomTaps, ...]
    watts_w: float
    equal_watts_w: float
    changed_keys: tuple[str, ...]
    is_exhaustive: bool
    reason: str


def choose_taps(
    room: Room,
    speakers: Sequence[Speaker],
    catalogue: Catalogue,
    *,
    line_voltage_v: float,
    limits: Limits = DEFAULT_LIMITS,
    progress: Progress | None = None,
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
    joint = choose_taps_together(
        (room,),
        speakers,
        catalogue,
        line_voltage_v=line_voltage_v,
        limits=limits,
        progress=progress,
    )
    (one,) = joint.rooms
    return TapChoice(
        speakers=joint.speakers,
        spread_db=one.spread_db,
        equal_spread_db=one.equal_spread_db,
        level_dba=one.level_dba,
        wanted_dba=one.wanted_dba,
        watts_w=joint.watts_w,
        equal_watts_w=joint.equal_watts_w,
        changed_keys=joint.changed_keys,
        is_exhaustive=joint.is_exhaustive,
        reason=joint.reason,
    )


def choose_taps_together(
    rooms: Sequence[Room],
    speakers: Sequence[Speaker],
    catalogue: Catalogue,
    *,
    line_voltage_v: float,
    limits: Limits = DEFAULT_LIMITS,
    progress: Progress | None = None,
) -> JointTaps:
    """Choose the taps of rooms that are open to each other, or keep them as they are.

    Parameters
    ----------
    rooms
        Rooms with no wall between them: every speaker is counted at the ears of all. Late sound
        counts in the room that its speaker hangs in.
    speakers, catalogue, line_voltage_v, limits, progress
        As for :func:`choose_taps`. [V]

    Returns
    -------
    JointTaps
        In no room worse than the taps given by that room's own measure, nor is a room by itself,
        as checks and papers judge it, made to miss its brief.

    Raises
    ------
    NoSolutionError
        If the rooms have no speaker that plays the mid band.
    """
    mains = [s for s in speakers if catalogue.speaker(s.type_id).kind != "subwoofer"]
    label = ", ".join(room.label for room in rooms)
    if not mains:
        msg = f"{label}: there is no speaker whose tap could be chosen"
        raise NoSolutionError(
            msg,
            where=f"rooms.{rooms[0].key}",
            why="it has none but subwoofers",
            do="place speakers",
        )
    problem, start = tap_problem(rooms, mains, catalogue, line_voltage_v, limits)
    tell = progress or (lambda _done, _text: None)
    tell(0.0, f"{label}: choosing taps")
    before = problem.score(start)
    is_met = before[1] == 0.0 and before[2] == 0.0
    found = None if is_met else best_choice(problem, start)
    kept, reason = _worth(problem, start, start if found is None else found.choice, label, limits)
    tell(1.0, f"{label}: taps chosen")
    by_key = {
        speaker.key: replace(speaker, tap=problem.taps[i][k])
        for i, (speaker, k) in enumerate(zip(mains, kept, strict=True))
    }
    given, now = problem.spreads_db(start), problem.spreads_db(kept)
    levels = problem.levels_dba(kept)
    return JointTaps(
        speakers=tuple(by_key.get(speaker.key, speaker) for speaker in speakers),
        rooms=tuple(
            RoomTaps(
                room_key=area.room_key,
                spread_db=now[n],
                equal_spread_db=given[n],
                level_dba=levels[n],
                wanted_dba=area.wanted_dba,
                meets_brief=now[n] <= 2.0 * rooms[n].brief.evenness_db + 1e-4,
            )
            for n, area in enumerate(problem.areas[: len(rooms)])
        ),
        watts_w=problem.score(kept)[3],
        equal_watts_w=before[3],
        changed_keys=tuple(
            speaker.key for speaker, old, new in zip(mains, start, kept, strict=True) if old != new
        ),
        is_exhaustive=found is not None and found.is_exhaustive,
        reason=reason,
    )


def _worth(
    problem: TapProblem, start: Sequence[int], best: Sequence[int], label: str, limits: Limits
) -> tuple[list[int], str]:
    """Keep the taps given unless the change reaches what the briefs ask, or gains enough."""
    before, after = problem.score(start), problem.score(best)
    if before[1] == 0.0 and before[2] == 0.0:
        return list(start), f"{label}: the taps stay, they meet the brief."
    if list(best) == list(start):
        return list(start), f"{label}: the taps stay, no other choice is better."
    gain = before[1] - after[1]
    closer = before[2] - after[2]
    least = limits["taps_least_gain_db"]
    meets = after[1] == 0.0 and before[1] > 0.0
    louder = after[1] <= before[1] and closer >= least
    if not (meets or gain >= least or louder or (after[1] <= before[1] and after[2] == 0.0)):
        would = (
            f"gain {max(gain, 0.0):.1f} dB only"
            if before[1] > 0.0
            else f"bring {max(closer, 0.0):.1f} of the {before[2]:.1f} dB of level that is missing"
        )
        return list(start), f"{label}: the taps stay, changing them would {would}."
    old, new = problem.spreads_db(start), problem.spreads_db(best)
    many = len(problem.areas) > 1
    spreads = ", ".join(
        (f"in {area.label} " if many else "") + f"from {a:.1f} to {b:.1f} dB"
        for area, a, b in zip(problem.areas, old, new, strict=True)
        if not area.is_guard
    )
    return list(best), (
        f"{label}: taps changed{' together' if many else ''}, the spread goes {spreads}"
        f" and the load from {before[3]:g} to {after[3]:g} W."
    )
