"""The types of one room together: one as a rule, one for each ceiling where the survey says so.

Fields are linear in the watts, so a room with several types is a sum of fields. Watts are counted
against one watt at each speaker of the first type; what a type has more or less is its gain, and
gains are ratios of taps that exist.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.design.place_ceiling import CeilingSearch
from soffit.design.place_field import ColumnStore, Field
from soffit.design.place_front import Candidate
from soffit.design.place_question import Question
from soffit.model.catalogue import SpeakerType, Tap
from soffit.model.survey import EvennessMeasure

FloatArray = NDArray[np.float64]

_NEAR: Final = {2: 3, 3: 4}
"""Tap ratios tried with two types, and with more: those nearest to equal levels under their own
ceilings."""

_MOST_STORED: Final = 8000
_SAME_RATIO: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mix:
    """One measure of all types of a room at the same ears.

    Parameters
    ----------
    fields
        One a type; the first carries what hangs by hand.
    """

    fields: tuple[Field, ...]

    @property
    def first(self) -> Field:
        """Field of the first type."""
        return self.fields[0]

    def energy(self, one: Candidate) -> FloatArray:
        """Return the energy of a layout at every ear by the public field function.

        Parameters
        ----------
        one
            The layout, with the type and the gain of each speaker.
        """
        if len(self.fields) == 1:
            return self.first.energy(one.site_m)
        total = self.first.fixed_energy.copy()
        for number, field in enumerate(self.fields):
            mine = one.site_m[one.voice == number]
            if len(mine):
                total += one.gains[number] * field.columns(mine).sum(axis=0)
        return total

    def late(self, one: Candidate) -> float:
        """Return the diffuse energy of a layout, what hangs by hand left out.

        Parameters
        ----------
        one
            The layout.
        """
        if len(self.fields) == 1:
            return self.first.reverberant * one.count
        return float(
            sum(
                field.reverberant * one.gains[number] * int(np.sum(one.voice == number))
                for number, field in enumerate(self.fields)
            )
        )


def mix_of(voices: Sequence[Question], measure: EvennessMeasure | None = None) -> Mix:
    """Return the fields of a room's types in one measure.

    Parameters
    ----------
    voices
        One question a type.
    measure
        The brief's by default.
    """
    fields = [voice.field(measure) for voice in voices]
    return Mix(fields=_shared(fields))


def loudness_mix(voices: Sequence[Question]) -> Mix:
    """Return the whole field in dBA at some hundred ears, for taps.

    Parameters
    ----------
    voices
        One question a type.
    """
    return Mix(fields=_shared([voice.loudness_field() for voice in voices]))


def _shared(fields: Sequence[Field]) -> tuple[Field, ...]:
    if len(fields) == 1:
        return tuple(fields)
    out = [fields[0]]
    out += [replace(field, fixed_energy=np.zeros(field.ears.count)) for field in fields[1:]]
    return tuple(
        field
        if field.store is not None or field.ears.count > _MOST_STORED
        else replace(field, store=ColumnStore(field.ears))
        for field in out
    )


def types_in(
    ceiling_keys: Sequence[str], types: Mapping[str, SpeakerType], usual: SpeakerType
) -> tuple[tuple[SpeakerType, ...], tuple[int, ...]]:
    """Return the types of a room in the order of its ceilings, and which one each ceiling has.

    Parameters
    ----------
    ceiling_keys
        Its ceilings.
    types
        Types of those that have one of their own.
    usual
        Type of all others.
    """
    wanted = [types.get(key, usual) for key in ceiling_keys]
    ids = list(dict.fromkeys(kind.id for kind in wanted))
    kinds = {kind.id: kind for kind in wanted}
    return tuple(kinds[type_id] for type_id in ids), tuple(ids.index(kind.id) for kind in wanted)


def gains_tried(
    voices: Sequence[Question], found: Sequence[CeilingSearch], part_voice: Sequence[int]
) -> tuple[tuple[float, ...], ...]:
    """Return the watts of every type against the first that are tried together.

    Parameters
    ----------
    voices
        One question a type.
    found
        What was found under each ceiling.
    part_voice
        Type of each ceiling, as a place in ``voices``.

    Returns
    -------
    tuple of tuple
        Ratios of taps that exist, nearest to equal levels first; (1.0,) for a single type.
    """
    if len(voices) == 1:
        return ((1.0,),)
    asked = 2.0 * voices[0].room.brief.evenness_db
    level = [
        _mean([_level(s, asked) for s, v in zip(found, part_voice, strict=True) if v == k])
        for k in range(len(voices))
    ]
    # A type without a free place has no level: any ratio does.
    equal = [level[0] / one if level[0] and one else 1.0 for one in level]
    ranked = sorted(
        (round(sum(abs(log(g / e)) for g, e in zip(gains, equal, strict=True)), 9), gains)
        for gains in _gains(voices)
    )
    found_near = tuple(gains for _, gains in ranked[: _NEAR[min(len(voices), 3)]])
    return found_near or ((1.0,) * len(voices),)


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else 0.0


def _level(search: CeilingSearch, asked_db: float) -> float:
    """Mean energy under a ceiling of the fewest speakers that are even enough there."""
    items = search.every()
    if not items:
        return 0.0
    even = [item for item in items if item.spread_db <= asked_db]
    best = (
        min(even, key=lambda item: (item.layout.count, round(item.spread_db, 6)))
        if even
        else min(items, key=lambda item: (round(item.spread_db, 6), item.layout.count))
    )
    return float(np.mean(search.energy_of(best.layout.column, best.layout.row)))


def _gains(voices: Sequence[Question]) -> list[tuple[float, ...]]:
    """Distinct ratios of the watts at the voice coils that taps of all types can have at once."""
    out: dict[tuple[float, ...], tuple[float, ...]] = {}
    for taps in product(*(voice.allowed_taps() for voice in voices)):
        watts = [v.speaker_type.delivered_w(tap) for v, tap in zip(voices, taps, strict=True)]
        gains = tuple(watt / watts[0] for watt in watts)
        out.setdefault(tuple(round(log(gain) / _SAME_RATIO) for gain in gains), gains)
    return list(out.values())


def tap_sets(voices: Sequence[Question], gains: Sequence[float]) -> list[tuple[Tap, ...]]:
    """Return the taps of all types that stand in the ratio of some gains.

    Parameters
    ----------
    voices
        One question a type.
    gains
        Watts of every type against the first.
    """
    base = voices[0].speaker_type
    out = []
    for taps in product(*(voice.allowed_taps() for voice in voices)):
        watts = [v.speaker_type.delivered_w(tap) for v, tap in zip(voices, taps, strict=True)]
        first = base.delivered_w(taps[0])
        if all(
            abs(watt / (first * gain) - 1.0) < 10.0 * _SAME_RATIO
            for watt, gain in zip(watts, gains, strict=True)
        ):
            out.append(taps)
    return out
