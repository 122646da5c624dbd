"""Readings that are asked about before they count: slips of unit, place, sign or date."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final, Literal

from soffit.measure.entry import BEGIN, LOG_NOTE, MENDED, moment, value_text
from soffit.measure.expected import expected_line
from soffit.measure.line_plan import LinePlan
from soffit.model.readings import Reading

DoubtCode = Literal[
    "zero",
    "negative",
    "kilo",
    "unknown place",
    "no way",
    "duplicate",
    "contradiction",
    "future",
    "old plan",
]
FAR_OFF: Final = 20.0
NEAR: Final = 3.0
SAME: Final = 0.1
"""A value 20 times off the plan that would be within a factor 3 of it in kilo-ohms is a slip of
unit; readings of the same thing more than 10 % apart contradict each other. Common practice."""
LISTEN_AGAIN_S: Final = 60.0
"""Within a minute the same word of the same ears is typed twice; later it is heard twice. [s]"""

Planned = Mapping[tuple[str, str, float | None], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """One question about a reading.

    Parameters
    ----------
    reading
        The reading.
    code
        What kind of slip it looks like.
    what, why, do
        The question in three parts.
    must_answer
        Whether the reading cannot be used at all until it is put right.
    """

    reading: Reading
    code: DoubtCode
    what: str
    why: str
    do: str
    must_answer: bool = False

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "key": self.reading.key,
            "place": self.reading.place,
            "code": self.code,
            "what": self.what,
            "why": self.why,
            "do": self.do,
            "must_answer": self.must_answer,
        }

    def text(self) -> str:
        """Return the question as lines of text."""
        return f"? {self.what}\n  why    {self.why}\n  do     {self.do}"


def planned_ohm(
    plans: Sequence[LinePlan], readings: Sequence[Reading], limits: Mapping[str, float]
) -> dict[tuple[str, str, float | None], float]:
    """Return plan values of the impedances that were read, by place key, way and tone. [Ω].

    Parameters
    ----------
    plans
        Lines; only those that were read are worked out.
    readings
        Readings, places resolved to keys.
    limits
        Settings by name.
    """
    found: dict[tuple[str, str, float | None], float] = {}
    for plan in plans:
        keys = {plan.key, *(place.key for place in plan.places)}
        tones = {
            reading.frequency_hz or 1000.0
            for reading in readings
            if reading.place_key in keys and reading.quantity == "impedance"
        }
        if not tones:
            continue
        for row in expected_line(plan, limits, tones_hz=sorted(tones)):
            if row.quantity == "impedance" and row.middle is not None:
                found[row.place_key, row.direction, row.frequency_hz] = row.middle
    return found


def since_mend(readings: Sequence[Reading], plans: Sequence[LinePlan]) -> list[Reading]:
    """Return readings that a new one can repeat or contradict: those since their line's mend.

    Parameters
    ----------
    readings
        Readings that were not struck out, in their order.
    plans
        Lines; the hand-over log of a line stays.
    """
    home = {place.key: plan.key for plan in plans for place in plan.places}
    home |= {plan.key: plan.key for plan in plans}
    found: list[Reading] = []
    for reading in readings:
        line = home.get(reading.place_key)
        if line is not None and reading.quantity == "visual" and reading.word in {BEGIN, MENDED}:
            found = [r for r in found if home.get(r.place_key) != line or r.note == LOG_NOTE]
        else:
            found.append(reading)
    return found


def doubts_about(
    readings: Sequence[Reading],
    *,
    known: Sequence[Reading],
    places: Mapping[str, str],
    expected: Planned,
    now: str,
) -> tuple[Doubt, ...]:
    """Ask about new readings.

    Parameters
    ----------
    readings
        New readings, places resolved to keys where they exist.
    known
        Readings that count already.
    places
        Label by permanent key of everything that can be read.
    expected
        Plan value of an impedance by place key, way and tone. [Ω]
    now
        Now, ISO 8601 in UTC.

    Returns
    -------
    tuple of Doubt
        In the order of the readings.
    """
    found: list[Doubt] = []
    before = list(known)
    lines = {place for place, way, _ in expected if way == "whole"}
    for reading in readings:
        found += _place_doubts(reading, places, lines)
        found += _value_doubts(reading, expected)
        found += _time_doubts(reading, now)
        found += _repeat_doubts(reading, before)
        before.append(reading)
    return tuple(found)


def _place_doubts(reading: Reading, places: Mapping[str, str], lines: set[str]) -> list[Doubt]:
    if reading.place_key not in places:
        near = _nearest(reading.place, list(places.values()))
        return [
            Doubt(
                reading=reading,
                code="unknown place",
                what=f"{reading.place}: no line, loudspeaker, joint or test point of that name",
                why=f"the nearest name is {near}" if near else "the design has no such label",
                do="write the label on the card, the drawing or the drum",
                must_answer=True,
            )
        ]
    is_joint = bool(lines) and reading.place_key not in lines
    is_unclear = not reading.direction or (is_joint and reading.direction == "whole")
    if reading.quantity == "impedance" and is_unclear:
        return [
            Doubt(
                reading=reading,
                code="no way",
                what=f"{reading.place}: {value_text(reading)}, but which way was it read?",
                why="away from the amplifier, back to it and the piece alone differ widely",
                do="say out, in or alone",
                must_answer=True,
            )
        ]
    return []


def _value_doubts(reading: Reading, expected: Planned) -> list[Doubt]:
    value = reading.value
    if value is None or reading.quantity in {"polarity", "level", "level dba", "noise", "sti"}:
        return []
    if value < 0.0:
        return [
            Doubt(
                reading=reading,
                code="negative",
                what=f"{reading.place}: {value_text(reading)} is negative",
                why="ohms, volts and amperes of a line have no sign",
                do="read it again, or leave the sign out if it was a slip",
                must_answer=True,
            )
        ]
    if value == 0.0 and reading.bound == "=":
        return [
            Doubt(
                reading=reading,
                code="zero",
                what=f"{reading.place}: reads 0",
                why="a meter in range never shows 0 on a line; a dead short shows '< 1'",
                do="write '< 1' for a short, or read again with the leads checked",
                must_answer=True,
            )
        ]
    planned = expected.get((reading.place_key, reading.direction, reading.frequency_hz))
    if planned is None or reading.bound != "=":
        return []
    for factor, text in ((1e3, "kilo-ohms written as ohms"), (1e-3, "ohms written as kilo-ohms")):
        is_far = not 1.0 / FAR_OFF < value / planned < FAR_OFF
        if is_far and 1.0 / NEAR < value * factor / planned < NEAR:
            return [
                Doubt(
                    reading=reading,
                    code="kilo",
                    what=f"{reading.place}: {value_text(reading)}, the plan says {planned:.0f} Ω",
                    why=f"it would fit as {text}",
                    do=f"enter {value * factor:.4g} ohm, or say that it is meant (--sure)",
                )
            ]
    return []


def _time_doubts(reading: Reading, now: str) -> list[Doubt]:
    taken, here = moment(reading.taken_at), moment(now)
    if taken is not None and here is not None and taken > here:
        return [
            Doubt(
                reading=reading,
                code="future",
                what=f"{reading.place}: taken at {reading.taken_at}, which is still to come",
                why=f"it is {now} here; a phone or meter may have a wrong clock",
                do="correct the time, or say that it is meant (--sure)",
            )
        ]
    return []


def _same_thing(one: Reading, two: Reading) -> bool:
    return (
        one.place_key == two.place_key
        and one.quantity == two.quantity
        and one.direction == two.direction
        and one.frequency_hz == two.frequency_hz
        and (one.note == LOG_NOTE) == (two.note == LOG_NOTE)
    )


def _heard_again(reading: Reading, old: Reading) -> bool:
    """Whether ears judged twice: they are fallible, so that a second judgement counts."""
    one, two = moment(reading.taken_at), moment(old.taken_at)
    if reading.quantity != "ear" or one is None or two is None:
        return False
    return abs((one - two).total_seconds()) > LISTEN_AGAIN_S


def _repeat_doubts(reading: Reading, before: Sequence[Reading]) -> list[Doubt]:
    for old in before:
        if not _same_thing(reading, old) or _heard_again(reading, old):
            continue
        if (old.value, old.bound, old.word) == (reading.value, reading.bound, reading.word):
            return [
                Doubt(
                    reading=reading,
                    code="duplicate",
                    what=f"{reading.place}: {value_text(reading)} is there already",
                    why=f"entered as {old.key} ({old.taken_at})",
                    do="leave it out, or say that it was read twice (--sure)",
                )
            ]
        if old.value and reading.value and abs(reading.value / old.value - 1.0) > SAME:
            return [
                Doubt(
                    reading=reading,
                    code="contradiction",
                    what=f"{reading.place}: {value_text(reading)}, before {value_text(old)}",
                    why="the same thing read twice differs by more than 10 %",
                    do="strike the one that is wrong, or say that it changed (--sure)",
                )
            ]
    return []


def _nearest(name: str, labels: Sequence[str]) -> str:
    return next(iter(get_close_matches(name, labels, n=1, cutoff=0.5)), "")
