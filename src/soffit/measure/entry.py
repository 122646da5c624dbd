"""One reading as a person types it: place, way, tone, value; or place and a word."""

import math
import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final, Literal, get_args

from soffit.errors import JobError
from soffit.model.readings import Ear, Reading, ReadingQuantity
from soffit.units import parse

EARS: Final[tuple[str, ...]] = get_args(Ear)
WAYS: Final = ("whole", "out", "in", "alone")
HINTS: Final = ("dc", "insulation", "earth", "noise", "sti", "seen", "set")
_TONE: Final = re.compile(r"^(\d+(?:\.\d+)?)\s*(k?Hz)$", re.IGNORECASE)
_VALUE: Final = re.compile(
    r"^(?P<bound>[<>]?)\s*(?P<number>[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?)\s*(?P<unit>[^\d\s]*)$"
)
_OVER: Final = frozenset({"ol", "o.l", "open", "over"})
_UNITS: Final[dict[str, tuple[ReadingQuantity, float]]] = {
    "": ("impedance", 1.0),
    "ohm": ("impedance", 1.0),
    "ohms": ("impedance", 1.0),
    "Ω": ("impedance", 1.0),
    "k": ("impedance", 1e3),
    "kohm": ("impedance", 1e3),
    "kΩ": ("impedance", 1e3),
    "Mohm": ("insulation", 1e6),
    "MΩ": ("insulation", 1e6),
    "V": ("voltage", 1.0),
    "mV": ("voltage", 1e-3),
    "A": ("current", 1.0),
    "mA": ("current", 1e-3),
    "dB": ("level", 1.0),
    "dBA": ("level dba", 1.0),
    "dB(A)": ("level dba", 1.0),
}
_HINTED: Final[dict[str, ReadingQuantity]] = {
    "dc": "dc resistance",
    "insulation": "insulation",
    "earth": "insulation",
    "noise": "noise",
    "sti": "sti",
}
_IN_WORDS: Final[dict[str, ReadingQuantity]] = {"seen": "visual", "set": "setting"}
BEGIN: Final = "hunt begins"
MENDED: Final = "mended"
LOG_NOTE: Final = "hand-over log"
"""Words and a note by which readings are told apart: what counts again from a mend on."""
OVER_RANGE_OHM: Final = 20_000.0
"""What "OL" stands for unless the meter's range is written beside it (common practice)."""
EXAMPLE: Final = "'L1-14 out 1 kHz 51.6 ohm', 'L1 whole 98', 'L1-07 silent', 'hall-2 58 dBA'"


def _refuse(text: str, what: str, why: str) -> JobError:
    return JobError(
        what=what, where=f"reading {text!r}", why=why, do=f"write for example {EXAMPLE}"
    )


def split_words(text: str) -> list[str]:
    """Split an entry into words; a tone or value and its unit are joined, quotes keep labels.

    Parameters
    ----------
    text
        What was typed.

    Raises
    ------
    JobError
        If a quote is not closed or nothing is there.
    """
    try:
        raw = shlex.split(text)
    except ValueError:
        raise _refuse(text, f"{text!r} cannot be read", "a quote is not closed") from None
    if len(raw) < 2:
        raise _refuse(text, f"{text!r} is not a reading", "it needs a place and what was read")
    words: list[str] = []
    for word in raw:
        unit = word in _UNITS or word.casefold() in {"hz", "khz"}
        is_number = bool(words) and re.match(r"^[<>]?[+-]?[\d.]", words[-1]) is not None
        if (unit and word and is_number) or (words and words[-1] in {"<", ">"}):
            words[-1] += word
        else:
            words.append(word)
    return words


@dataclass(slots=True)
class _Draft:
    """What is understood of an entry so far."""

    way: Literal["whole", "out", "in", "alone", ""] = ""
    tone_hz: float | None = None
    hint: str = ""
    bound: Literal["=", "<", ">"] = "="
    value: float | None = None
    quantity: ReadingQuantity | None = None
    word: str = ""
    drive: str = ""
    taken_at: str = ""

    def take(self, word: str) -> bool:
        """Take one word in; say whether it was understood."""
        return self._take_name(word.casefold()) or self._take_number(word)

    def _take_name(self, low: str) -> bool:
        if low in WAYS:
            self.way = low  # type: ignore[assignment] # narrowed by the test
        elif low in HINTS:
            self.hint = low
        elif low.startswith("drive="):
            self.drive = low.partition("=")[2].replace("v", "V")
        elif low.startswith("at=") and (when := moment(low[3:])) is not None:
            self.taken_at = when.isoformat(timespec="seconds")
        elif low in EARS:
            self.quantity, self.word = "ear", low
        elif low in _OVER:
            self.bound, self.value, self.quantity = ">", OVER_RANGE_OHM, "impedance"
        elif low in {"+", "-", "plus", "minus"}:
            self.quantity, self.value = "polarity", 1.0 if low in {"+", "plus"} else -1.0
        else:
            return False
        return True

    def _take_number(self, word: str) -> bool:
        if tone := _TONE.match(word):
            self.tone_hz = float(tone[1]) * (1e3 if tone[2].casefold() == "khz" else 1.0)
            return True
        match = _VALUE.match(word)
        if match is None or match["unit"] not in _UNITS:
            return False
        self.quantity, scale = _UNITS[match["unit"]]
        self.value = float(match["number"]) * scale
        if match["bound"]:
            self.bound = match["bound"]  # type: ignore[assignment] # the pattern allows < and >
        return True

    def settle(self) -> None:
        """Let the hint name the quantity, and give an impedance its usual tone."""
        if self.quantity is not None and self.hint in _HINTED:
            self.quantity = _HINTED[self.hint]
        if self.quantity == "impedance" and self.tone_hz is None:
            self.tone_hz = 1000.0


def parse_entry(
    text: str,
    *,
    key: str,
    taken_at: str,
    instrument: str = "",
    who: str = "",
    drive: str = "",
) -> Reading:
    """Read one entry.

    Parameters
    ----------
    text
        ``PLACE [whole|out|in|alone] [dc|insulation] [tone] VALUE`` or ``PLACE WORD``; ``at=TIME``
        and ``drive=VOLTS`` anywhere.
    key
        Key for the reading, unique.
    taken_at
        When it was taken, ISO 8601.
    instrument, who, drive
        As given.

    Returns
    -------
    Reading
        The reading; whether its place exists and its value makes sense is asked later.

    Raises
    ------
    JobError
        If a word is not understood.

    Examples
    --------
    >>> reading = parse_entry("L1-14 out 1 kHz 0.52 k", key="r1", taken_at="")
    >>> reading.value, reading.direction, reading.frequency_hz
    (520.0, 'out', 1000.0)
    """
    place, *words = split_words(text)
    draft = _Draft(drive=drive)
    for number, word in enumerate(words):
        if draft.hint in _IN_WORDS:
            draft.quantity, draft.word = _IN_WORDS[draft.hint], " ".join(words[number:])
            break
        if not draft.take(word):
            raise _refuse(text, f"{word!r} is not understood", _known())
    if draft.quantity is None:
        raise _refuse(text, f"{text!r} has no value", "a reading needs a number or a word")
    draft.settle()
    if draft.value is not None and not math.isfinite(draft.value):
        raise _refuse(text, f"{text!r} is not finite", "no instrument shows such a number")
    return Reading(
        key=key,
        place_key="",
        place=place,
        quantity=draft.quantity,
        taken_at=draft.taken_at or taken_at,
        value=draft.value,
        bound=draft.bound,
        word=draft.word,
        frequency_hz=draft.tone_hz,
        direction=draft.way,
        drive=draft.drive,
        instrument=instrument,
        who=who,
    )


def _known() -> str:
    units = ", ".join(unit for unit in _UNITS if unit)
    return (
        f"known are the ways {', '.join(WAYS)}, the words {', '.join(EARS)}, OL, < and >,"
        f" and the units {units}"
    )


def moment(text: str) -> datetime | None:
    """Return a time as written, in UTC; ``None`` if it is none.

    Parameters
    ----------
    text
        ISO 8601; without an offset it is local time.

    Examples
    --------
    >>> moment("2026-01-01T10:00:00+01:00").isoformat()
    '2026-01-01T09:00:00+00:00'
    """
    try:
        return datetime.fromisoformat(text.strip().upper()).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        return None


def drive_volts(text: str, *, nominal_v: float) -> float:
    """Return the voltage on the line that a drive text names; 20 dB under nominal without one.

    Parameters
    ----------
    text
        Such as ``7.07 V``, ``pink noise, 7.07 V rms`` or empty.
    nominal_v
        Nominal line voltage. [V]

    Returns
    -------
    float
        Voltage at the rack. [V]
    """
    match = re.search(r"(\d+(?:\.\d+)?)\s*(mV|V)\b", text)
    if match is None:
        return nominal_v / 10.0
    return parse(f"{match[1]} {match[2]}", "voltage")


def unit_of(quantity: ReadingQuantity) -> str:
    """Return the unit of a quantity as people write it."""
    names: Sequence[ReadingQuantity] = (
        "impedance",
        "dc resistance",
        "voltage",
        "current",
        "insulation",
        "level",
        "level dba",
        "noise",
    )
    units = ("Ω", "Ω", "V", "A", "Ω", "dB", "dBA", "dBA")
    return dict(zip(names, units, strict=True)).get(quantity, "")


def value_text(reading: Reading) -> str:
    """Return what a reading says, as people write it."""
    if reading.value is None:
        return reading.word
    if reading.quantity == "polarity":
        return "same" if reading.value > 0 else "swapped"
    bound = "" if reading.bound == "=" else f"{reading.bound} "
    return f"{bound}{number_text(reading.value, unit_of(reading.quantity))}"


def number_text(value: float, unit: str) -> str:
    """Return a value with its unit, large ohms in kΩ and MΩ.

    Parameters
    ----------
    value
        Number in the unit.
    unit
        Unit; may be empty.

    Examples
    --------
    >>> number_text(12_600.0, "Ω"), number_text(98.0, "Ω"), number_text(64.21, "dBA")
    ('12.6 kΩ', '98 Ω', '64.2 dBA')
    """
    if unit == "Ω":
        for scale, name in ((1e6, "MΩ"), (1e3, "kΩ")):
            if abs(value) >= 10.0 * scale or (scale > 1e3 and abs(value) >= scale):
                return f"{value / scale:.3g} {name}"
    digits = f"{value:.1f}" if unit.startswith("dB") else figure_text(value)
    return f"{digits} {unit}".strip()


def figure_text(value: float) -> str:
    """Return a number as people write it: three figures, and never a power of ten.

    Parameters
    ----------
    value
        Any number.

    Examples
    --------
    >>> figure_text(2314.2), figure_text(333.33), figure_text(7.04), figure_text(0.0212)
    ('2314', '333', '7.04', '0.0212')
    """
    if abs(value) >= 1000.0:
        return f"{value:.0f}"
    digits = f"{value:.3g}"
    return digits if "e" not in digits else f"{value:.6f}".rstrip("0")
