"""What was measured: append-only readings."""

from dataclasses import dataclass
from typing import Literal

ReadingQuantity = Literal[
    "impedance",
    "dc resistance",
    "voltage",
    "current",
    "insulation",
    "level",
    "level dba",
    "polarity",
    "ear",
    "noise",
    "sti",
    "visual",
    "setting",
]
"""Units in this order: Ω, Ω, V, A, Ω, dB, dBA, +1 or -1, word, dBA, -, word, word."""

Ear = Literal["heard", "silent", "loud", "faint", "distorted", "rattle"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading; it can be struck out but never lost.

    Parameters
    ----------
    key
        Unique, made where it was taken, so that a second import adds nothing.
    place_key, place
        Permanent key of line, joint, speaker or test point, and the label that was read.
    quantity
        What was measured.
    value
        In the unit of the quantity; ``None`` for words. [SI]
    bound
        ``=`` for a value; ``<`` or ``>`` for a censored one ("< 1", "OL", "> 10k").
    word
        For ears, visual checks and settings.
    frequency_hz
        Tone; ``None`` for noise or dc. [Hz]
    direction
        For impedance: ``whole`` (nothing opened), ``out`` (away from the amplifier, line opened
        here), ``in`` (towards it) or ``alone`` (this unit alone).
    drive
        What was on the line, such as "pink noise, 7.07 V rms".
    taken_at
        ISO 8601 text as the instrument's holder says.
    instrument, who
        As written by the person.
    revision
        Revision of the design that it was taken against.
    strikes
        Key of the reading that this entry strikes out; empty for a reading.
    """

    key: str
    place_key: str
    place: str
    quantity: ReadingQuantity
    taken_at: str
    value: float | None = None
    bound: Literal["=", "<", ">"] = "="
    word: str = ""
    frequency_hz: float | None = None
    direction: Literal["whole", "out", "in", "alone", ""] = ""
    drive: str = ""
    instrument: str = ""
    who: str = ""
    revision: int = 0
    strikes: str = ""
    note: str = ""
