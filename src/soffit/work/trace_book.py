"""What is known of one hunt: the line, the readings in order, and where they are kept."""

import json
import os
import tempfile
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from soffit.errors import JobError, UnitError
from soffit.measure.doubts import Doubt, doubts_about, planned_ohm, since_mend
from soffit.measure.entry import BEGIN, LOG_NOTE, MENDED, parse_entry
from soffit.measure.hunt import Hunt
from soffit.measure.line_plan import LinePlan
from soffit.measure.next_test import Instrument
from soffit.measure.symptoms import factors
from soffit.measure.verdict import evidence_of
from soffit.model.readings import Reading
from soffit.tables.settings import DEFAULT_LIMITS, Limits

__all__ = [
    "BEGIN",
    "LOG_NOTE",
    "MENDED",
    "TraceBook",
    "load_session",
    "new_key",
    "save_session",
    "tones_of",
]

SESSION_FORMAT: Final = 1


def new_key() -> str:
    """Return a key for a reading that nobody else makes."""
    return uuid.uuid4().hex[:16]


@dataclass(slots=True)
class TraceBook:
    """One hunt with all its readings.

    Parameters
    ----------
    plan
        The line.
    readings
        Entries in order, those of the log and earlier hunts too.
    limits
        Settings in force.
    tones_hz
        Tones of the meter in hand. [Hz]
    can_listen
        Whether noise may be put on the line.
    instruments
        A clamp or a voltmeter, where they are in the bag.
    said
        Ids of what people say.
    source
        How to make the plan again, for a session file.
    """

    plan: LinePlan
    readings: list[Reading] = field(default_factory=list)
    limits: Limits = DEFAULT_LIMITS
    tones_hz: tuple[float, ...] = (1000.0,)
    can_listen: bool = True
    instruments: frozenset[Instrument] = frozenset()
    said: tuple[str, ...] = ()
    source: Mapping[str, Any] = field(default_factory=dict)

    def resolved(self, reading: Reading) -> Reading:
        """Give a reading the key of its place and the way that its place implies.

        Parameters
        ----------
        reading
            As typed.

        Raises
        ------
        JobError
            If the line has no such place.
        """
        index = self.plan.index(reading.place)
        if index is None:
            labels = ", ".join(place.label for place in self.plan.places[:6])
            raise JobError(
                what=f"{reading.place!r} is not on {self.plan.label}",
                where="place",
                why=f"its places are the rack ({self.plan.label}), {labels} ...",
                do="write the label as on the card, or 'rack'",
            )
        if index < 0:
            way = reading.direction or ("whole" if reading.quantity == "impedance" else "")
            return replace(reading, place_key=self.plan.key, place=self.plan.label, direction=way)
        place = self.plan.places[index]
        return replace(reading, place_key=place.key, place=place.label)

    def add(self, text: str, *, now: str, who: str = "", instrument: str = "") -> Reading:
        """Take one typed entry in.

        Parameters
        ----------
        text
            Entry, or ``mended PLACE``.
        now
            Time, ISO 8601.
        who, instrument
            As given.

        Returns
        -------
        Reading
            What was added.
        """
        return self.take(self.typed(text, now=now, who=who, instrument=instrument))

    @staticmethod
    def typed(text: str, *, now: str, who: str = "", instrument: str = "") -> Reading:
        """Read one typed entry without taking it in.

        Parameters
        ----------
        text
            Entry, or ``mended PLACE``.
        now
            Time, ISO 8601.
        who, instrument
            As given.
        """
        head, _, rest = text.strip().partition(" ")
        if head.casefold() == MENDED:
            return Reading(
                key=new_key(),
                place_key="",
                place=rest.strip() or "rack",
                quantity="visual",
                word=MENDED,
                taken_at=now,
                who=who,
            )
        return parse_entry(text, key=new_key(), taken_at=now, who=who, instrument=instrument)

    def doubts(self, readings: Sequence[Reading], *, now: str) -> tuple[Doubt, ...]:
        """Ask about new readings, as ``soffit prove`` does, before they are taken in.

        Parameters
        ----------
        readings
            As typed.
        now
            Now, ISO 8601 in UTC.

        Returns
        -------
        tuple of Doubt
            Questions in the order of the readings; empty if all is plain.
        """
        fresh = [self._placed(reading) for reading in readings]
        places = {self.plan.key: self.plan.label}
        places |= {place.key: place.label for place in self.plan.places}
        return doubts_about(
            fresh,
            known=since_mend(self.standing(), [self.plan]),
            places=places,
            expected=planned_ohm([self.plan], fresh, self.limits),
            now=now,
        )

    def _placed(self, reading: Reading) -> Reading:
        """Resolve a reading as far as its place is known."""
        if self.plan.index(reading.place) is None:
            return replace(reading, place_key="")
        return self.resolved(reading)

    def take_clear(
        self, readings: Sequence[Reading], *, now: str, is_sure: bool = False
    ) -> tuple[list[Reading], tuple[Doubt, ...]]:
        """Take in what is plain; what is asked about stays out.

        Parameters
        ----------
        readings
            As typed.
        now
            Now, ISO 8601 in UTC.
        is_sure
            Take what was asked about too, where it can be used at all.

        Returns
        -------
        tuple
            Readings that were added, and the open questions.
        """
        asked = [d for d in self.doubts(readings, now=now) if d.must_answer or not is_sure]
        held = {doubt.reading.key for doubt in asked}
        return [self.take(r) for r in readings if r.key not in held], tuple(asked)

    def take(self, reading: Reading) -> Reading:
        """Take one reading in.

        Parameters
        ----------
        reading
            With a place of this line.
        """
        resolved = self.resolved(reading)
        at_joint = resolved.place_key != self.plan.key
        is_unclear = not resolved.direction or (at_joint and resolved.direction == "whole")
        if resolved.quantity == "impedance" and is_unclear:
            raise JobError(
                what=f"{resolved.place}: which way was it read?",
                where="reading",
                why="away from the amplifier, back to it and the piece alone differ widely",
                do="say out, in or alone after the place",
            )
        if resolved.value is not None and resolved.value <= 0 and resolved.quantity != "polarity":
            raise JobError(
                what=f"{resolved.place}: {resolved.value:g} cannot be read on a line",
                where="reading",
                why="ohms, volts and amperes are above zero; a short shows '< 1'",
                do="write '< 1' for a short, OL for an open, or read it again",
            )
        self.readings.append(resolved)
        return resolved

    def standing(self) -> list[Reading]:
        """Return entries that were not struck out."""
        struck = {entry.strikes for entry in self.readings if entry.strikes}
        return [r for r in self.readings if not r.strikes and r.key not in struck]

    def log(self) -> list[Reading]:
        """Return the hand-over log."""
        return [r for r in self.standing() if r.note == LOG_NOTE]

    def hunt(self) -> Hunt:
        """Return the hunt as it stands after the last mend."""
        log = self.log()
        current, sound = self._since()
        evidence = evidence_of(current, self.plan, log=log, sound=frozenset(sound))
        silent_line = any(e.place < 0 and e.word == "silent" for e in evidence.listened)
        last = next((i for r in reversed(current) if (i := self._index(r)) is not None), -1)
        return Hunt(
            plan=self.plan,
            limits=self.limits,
            evidence=evidence,
            tones_hz=self.tones_hz,
            here=last,
            can_listen=self.can_listen and not silent_line,
            is_noise_on=bool(current) and current[-1].quantity == "ear" and not silent_line,
            said=factors(self.said),
            instruments=self.instruments,
        )

    def current(self) -> list[Reading]:
        """Return the readings that count in this hunt: those since the last mend."""
        return self._since()[0]

    def _since(self) -> tuple[list[Reading], set[int]]:
        """Return readings since the last mend, and what was mended."""
        current: list[Reading] = []
        sound: set[int] = set()
        for reading in self.standing():
            if reading.note == LOG_NOTE:
                continue
            if reading.word == BEGIN:
                current, sound = [], set()
            elif reading.word == MENDED:
                index = self.plan.index(reading.place_key)
                current = []
                if index is not None and index >= 0:
                    sound.add(index)
            else:
                current.append(reading)
        return current, sound

    def _index(self, reading: Reading) -> int | None:
        return self.plan.index(reading.place_key)


def save_session(book: TraceBook, path: Path) -> None:
    """Keep a hunt without a job in a file; it is replaced whole or not at all.

    Parameters
    ----------
    book
        The hunt.
    path
        Where.
    """
    from soffit.job.api import reading_text

    body = {
        "format": SESSION_FORMAT,
        "line": dict(book.source),
        "said": list(book.said),
        "readings": [json.loads(reading_text(reading)) for reading in book.readings],
    }
    text = json.dumps(body, ensure_ascii=False, indent=1) + "\n"
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".soffit-", suffix=".tmp")
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    Path(name).replace(path)


def load_session(path: Path) -> tuple[dict[str, Any], tuple[str, ...], list[Reading]]:
    """Read a hunt's file.

    Parameters
    ----------
    path
        Where it is.

    Returns
    -------
    tuple
        How to make the line, what was said, and the readings.

    Raises
    ------
    JobError
        If it is no session of a hunt.
    """
    from soffit.job.api import parse_readings

    try:
        body = json.loads(path.read_text(encoding="utf-8"))
        if body["format"] != SESSION_FORMAT:
            msg = f"format {body['format']!r}"
            raise ValueError(msg)
        lines = "\n".join(json.dumps(entry) for entry in body["readings"])
        line, said = dict(body["line"]), tuple(str(name) for name in body["said"])
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise JobError(
            what=f"{path.name} is no session of a hunt",
            where=str(path.name),
            why=f"{type(error).__name__}: {error}",
            do="name a file that soffit trace has written, or a new one",
        ) from None
    return line, said, list(parse_readings(lines, name=path.name))


def tones_of(texts: Sequence[str]) -> tuple[float, ...]:
    """Read the tones of a meter.

    Parameters
    ----------
    texts
        Such as ``1 kHz`` or ``100``.

    Raises
    ------
    JobError
        If one is no frequency, or outside 20 Hz to 20 kHz.
    """
    from soffit.units import parse

    found = []
    for text in texts:
        try:
            value = parse(float(text) if text.replace(".", "", 1).isdigit() else text, "frequency")
        except UnitError as error:
            raise JobError.of([replace(error.problems[0], where="--tone")]) from None
        if not 20.0 <= value <= 20_000.0:
            raise JobError(
                what=f"a meter's tone of {text}",
                where="--tone",
                why="impedance meters for lines use tones of 20 Hz to 20 kHz",
                do="give for example '1 kHz'",
            )
        found.append(value)
    return tuple(sorted(set(found))) or (1000.0,)
