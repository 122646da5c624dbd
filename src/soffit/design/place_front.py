"""The front of alternatives of one room: count, spread, watts and look, and which one to take."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.model.survey import Brief

FloatArray = NDArray[np.float64]

_SILENT_DB: Final = 80.0
"""With such a spread some ears get no direct sound at all: no alternative to offer. [dB]"""
_SAME_DB: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A complete layout of one room.

    Parameters
    ----------
    site_m : (n, 3)
        Positions. [m]
    tile : (n, 2)
        Tile columns and rows; meaningful where ``ceiling_keys`` names a grid.
    ceiling_keys
        Ceiling of each speaker.
    is_tiled
        Whether all of them sit in tiles.
    pattern
        In words.
    spread_db
        Spread over all ears. [dB]
    look
        Look penalty.
    mark
        Hand rule that it stands for, or empty.
    nudged, omitted
        Speakers beside the pattern, places left empty.
    voice : (n,)
        Type of each speaker, as its place among the types of the room; empty where there is one.
    gains
        Watts of every type against the first.
    """

    site_m: FloatArray
    tile: NDArray[np.int64]
    ceiling_keys: tuple[str, ...]
    is_tiled: bool
    pattern: str
    spread_db: float
    look: float
    mark: str = ""
    nudged: int = 0
    omitted: int = 0
    voice: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    gains: tuple[float, ...] = (1.0,)
    energy: Callable[[], FloatArray] | None = None
    """Its energy at all ears in any order, within 0.01 dB; by the public field where None."""
    is_eligible: bool = True
    """Whether it may be chosen; a hand pattern with too many speakers beside it is only shown."""

    @property
    def count(self) -> int:
        """Number of speakers."""
        return len(self.site_m)

    def order(self) -> tuple[float, ...]:
        """Return a key that ranks layouts of one room without ties."""
        return (
            self.count,
            round(self.spread_db, 6),
            self.look,
            *np.round(self.site_m[:, :2], 4).ravel().tolist(),
            *self.gains,
        )


def non_dominated(candidates: Sequence[Candidate]) -> list[Candidate]:
    """Return those that no other beats in count, spread and look at once, count rising.

    Parameters
    ----------
    candidates
        Layouts of one room.
    """
    kept: list[Candidate] = []
    for one in sorted(candidates, key=Candidate.order):
        if not any(
            other.spread_db <= one.spread_db + _SAME_DB and other.look <= one.look + 1e-9
            for other in kept
        ):
            kept.append(one)
    return kept


def best_spreads(candidates: Sequence[Candidate]) -> list[Candidate]:
    """Return the front of count against spread alone, count rising.

    Parameters
    ----------
    candidates
        Layouts of one room.
    """
    kept: list[Candidate] = []
    for one in sorted(candidates, key=Candidate.order):
        if not kept or one.spread_db < kept[-1].spread_db - _SAME_DB:
            if kept and kept[-1].count == one.count:
                continue
            kept.append(one)
    return kept


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """Which layout to take, and its neighbours on the front.

    Parameters
    ----------
    chosen
        The recommendation.
    cheaper
        At most two with fewer speakers, nearest first.
    finer
        The next finer one; ``None`` if there is none.
    is_met
        Whether the brief's evenness is met.
    reason
        Why, in one sentence.
    """

    chosen: Candidate
    cheaper: tuple[Candidate, ...]
    finer: Candidate | None
    is_met: bool
    reason: str


def choose(candidates: Sequence[Candidate], brief: Brief) -> Choice:
    """Choose from all layouts of a room what the brief asks for.

    Parameters
    ----------
    candidates
        Layouts; at least one.
    brief
        Count, spacing or evenness.

    Returns
    -------
    Choice
        With its reason.
    """
    target = 2.0 * brief.evenness_db
    specified = [one for one in candidates if one.mark == "specified spacing"]
    eligible = [one for one in candidates if one.is_eligible]
    candidates = eligible or candidates
    front = best_spreads(candidates)
    if specified:
        chosen = specified[0]
        reason = _verdict(candidates, chosen, target, "the specification names its spacing")
    elif brief.count is not None:
        chosen, reason = _counted(candidates, brief.count)
        reason = _verdict(candidates, chosen, target, reason)
    else:
        chosen, reason = _fewest(candidates, target)
        if brief.spacing_m is not None:
            reason += "; the specified spacing was not laid, it has no free place"
    met = chosen.spread_db <= target + _SAME_DB
    held = f"it holds ±{chosen.spread_db / 2:.1f} dB over {brief.evenness_share:.0%} of the ears"
    if not met:
        held = f"it reaches ±{chosen.spread_db / 2:.1f} dB of the ±{brief.evenness_db:.1f} dB asked"
    cheaper = [one for one in front if one.count < chosen.count and one.spread_db < _SILENT_DB][
        ::-1
    ][:2]
    finer = next(
        (
            one
            for one in front
            if one.count > chosen.count and one.spread_db < chosen.spread_db - 0.5
        ),
        None,
    )
    return Choice(
        chosen=chosen,
        cheaper=tuple(cheaper),
        finer=finer,
        is_met=met,
        reason=f"{chosen.pattern}: {reason}; {held}.",
    )


def _verdict(candidates: Sequence[Candidate], chosen: Candidate, target: float, reason: str) -> str:
    """Say whether what was asked for passes, and how many speakers would do."""
    least = min((one.count for one in candidates if one.spread_db <= target + _SAME_DB), default=0)
    if chosen.spread_db <= target + _SAME_DB:
        more = f", {least} would do" if least < chosen.count else ""
        return f"{reason}: it passes{more}"
    if not least:
        return f"{reason}: it does not pass, nor does any other pattern"
    return f"{reason}: it does not pass, {least} in the best pattern would"


def _counted(candidates: Sequence[Candidate], count: int) -> tuple[Candidate, str]:
    same = [one for one in candidates if one.count == count]
    if same:
        return min(same, key=Candidate.order), f"the brief names {count} speakers"
    nearest = min(candidates, key=lambda one: (abs(one.count - count), one.order()))
    return nearest, f"no pattern has the {count} speakers asked for, this is the nearest"


def _fewest(candidates: Sequence[Candidate], target: float) -> tuple[Candidate, str]:
    meeting = [one for one in candidates if one.spread_db <= target + _SAME_DB]
    if not meeting:
        best = min(candidates, key=lambda one: (round(one.spread_db, 3), one.order()))
        return best, "nothing meets the brief, this is the most even layout found"
    least = min(one.count for one in meeting)
    same = [one for one in meeting if one.count == least]
    tidy = min(same, key=lambda one: (one.look, one.order()))
    reason = "the fewest speakers that meet the brief"
    if len({round(one.look, 3) for one in same}) > 1:
        reason += ", and the tidiest of these"
    return tidy, reason
