"""From what a person typed to a question about one line."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from soffit.circuit.cable import Metal, Standard
from soffit.circuit.tap import TapWatt
from soffit.errors import JobError, Problem, SoffitError
from soffit.tables.settings import DEFAULT_LIMITS, Limits
from soffit.work.quick_line import QuickLine
from soffit.work.quick_line_text import (
    QuickRun,
    even_chain,
    gauge_of,
    line_voltage_v,
    number_or,
    read_description,
)

_WANTED: Final = (("speakers", "14"), ("tap", "'6 W'"), ("feed", "'22 m'"), ("cable", "'1.5 mm2'"))


@dataclass(frozen=True, slots=True, kw_only=True)
class LineWords:
    """The options of ``soffit line`` as typed; ``None`` where not given.

    Parameters
    ----------
    volts, tap, tap_volts, feed, spacing, cable, temperature, headroom, insertion_loss
        Numbers in SI or texts with a unit.
    speakers
        How many, for an even chain.
    conductor, metal
        Table of conductor resistance, and metal of the conductors.
    tap_watt
        Whether a tap's watt is drawn or delivered.
    """

    volts: str = "100"
    speakers: int | None = None
    tap: str | None = None
    tap_volts: str | None = None
    feed: str | None = None
    spacing: str | None = None
    cable: str | None = None
    conductor: Standard | None = None
    metal: Metal = "copper"
    temperature: str | None = None
    headroom: str | None = None
    insertion_loss: str = "0 dB"
    tap_watt: TapWatt = "drawn"

    def is_imperial(self, text: str | None) -> bool:
        """Whether the person wrote lengths in feet.

        Parameters
        ----------
        text
            Description, if there is one.
        """
        lengths = f"{self.feed or ''} {self.spacing or ''} {text or ''}"
        return any(mark in lengths for mark in ("ft", "feet", "'", "in"))


def question_from_words(
    words: LineWords, *, text: str | None = None, name: str = "", limits: Limits = DEFAULT_LIMITS
) -> QuickLine:
    """Read what a person typed.

    Parameters
    ----------
    words
        Options as typed.
    text
        Description of an odd chain, one run a line; ``None`` for an even chain from the options.
    name
        What to call the description in errors.
    limits
        Limits in force; temperature and headroom come from here unless typed.

    Returns
    -------
    QuickLine
        The question.

    Raises
    ------
    JobError
        With everything that is missing or cannot be read.
    """
    problems: list[Problem] = []
    numbers: dict[str, float] = {}
    tap_volts = words.tap_volts or ""
    wanted: tuple[tuple[str, Callable[[], float]], ...] = (
        ("volts", lambda: line_voltage_v(words.volts)),
        *((("tap_volts", lambda: line_voltage_v(tap_volts, "--tap-volts")),) if tap_volts else ()),
        ("degc", lambda: _or_limit(words.temperature, "temperature", limits)),
        ("headroom", lambda: _or_limit(words.headroom, "headroom", limits)),
        ("loss", lambda: number_or(words.insertion_loss, "level", "--insertion-loss")),
    )
    for key, read in wanted:
        try:
            numbers[key] = read()
        except SoffitError as error:
            problems.extend(error.problems)
    runs: tuple[QuickRun, ...] = ()
    try:
        runs = _chain(words) if text is None else _described(words, text, name)
    except SoffitError as error:
        problems.extend(error.problems)
    if problems:
        raise JobError.of(problems)
    return QuickLine(
        line_voltage_v=numbers["volts"],
        runs=runs,
        conductor_degc=numbers["degc"],
        headroom_ratio=numbers["headroom"],
        insertion_loss_db=numbers["loss"],
        tap_watt=words.tap_watt,
        tap_voltage_v=numbers.get("tap_volts"),
        metal=words.metal,
        standard=words.conductor,
        limits=limits,
    )


def _or_limit(typed: str | None, option: str, limits: Limits) -> float:
    if option == "temperature":
        if typed is None:
            return limits["conductor_degc"]
        return number_or(typed, "temperature", "--temperature")
    if typed is None:
        return limits["amplifier_headroom_ratio"]
    return number_or(typed, "ratio", "--headroom")


def _described(words: LineWords, text: str, name: str) -> tuple[QuickRun, ...]:
    extra = [
        key for key in ("speakers", "tap", "feed", "spacing") if getattr(words, key) is not None
    ]
    if extra:
        raise JobError(
            what=f"both a description and --{extra[0]} are given",
            where="command line: soffit line",
            why="the description already says how many there are, and where",
            do=f"leave out the description, or --{', --'.join(extra)}",
        )
    gauge = None if words.cable is None else gauge_of(words.cable, "--cable")
    return read_description(text, name=name or "description", gauge=gauge)


def _chain(words: LineWords) -> tuple[QuickRun, ...]:
    missing = [key for key, _ in _WANTED if getattr(words, key) is None]
    if missing:
        example = " ".join(f"--{key} {value}" for key, value in _WANTED)
        raise JobError(
            what=f"--{', --'.join(missing)} {'is' if len(missing) == 1 else 'are'} missing",
            where="command line: soffit line",
            why="an even chain needs how many, their tap, the cable to the first, and its size",
            do=f"give for example {example}, or a description file",
        )
    feed_m = _above_zero(words.feed or "", "length", "--feed")
    return even_chain(
        speakers=words.speakers or 0,
        tap_w=_above_zero(words.tap or "", "power", "--tap"),
        feed_m=feed_m,
        spacing_m=feed_m
        if words.spacing is None
        else _above_zero(words.spacing, "length", "--spacing"),
        gauge=gauge_of(words.cable or "", "--cable"),
    )


def _above_zero(text: str, quantity: Literal["length", "power"], where: str) -> float:
    value = number_or(text, quantity, where)
    if value > 0.0:
        return value
    raise JobError(
        what=f"{where} {text} is not above zero",
        where=where,
        why="cable is longer than nothing, and a tap draws power",
        do=f"give {where} a {quantity} above zero",
    )
