"""How a line without a job is described: by a few numbers, or by one run a line of text."""

import csv
from dataclasses import dataclass
from typing import Final, Literal

from soffit.constants import LINE_70_V
from soffit.errors import DomainError, JobError, Problem, SoffitError, UnitError
from soffit.units import parse, parse_gauge

Gauge = tuple[Literal["AWG", "mm2"], str]
AMPLIFIER: Final = "amplifier"
"""Name of the amplifier in a description."""

COLUMNS: Final = ("start", "end", "length", "tap", "cable")
"""Columns of a description, in order; the last two may be empty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickRun:
    """One piece of cable and what hangs at its far end.

    Parameters
    ----------
    start, end
        Names of the two ends; :data:`AMPLIFIER` is where the line begins.
    length_m
        Route length. [m]
    gauge
        Conductor size.
    tap_w
        Tap of the loudspeaker at the far end; 0 for a bare joint. [W]
    """

    start: str
    end: str
    length_m: float
    gauge: Gauge
    tap_w: float = 0.0


def number_or(
    text: str,
    quantity: Literal["length", "power", "voltage", "temperature", "ratio", "level"],
    where: str,
) -> float:
    """Read what a person typed: a bare number in SI, or a number with a unit.

    Parameters
    ----------
    text
        Such as ``10 m``, ``32 ft`` or ``10``.
    quantity
        What it must be.
    where
        Option or line to name in the error.

    Returns
    -------
    float
        Value in SI; temperature in °C.

    Raises
    ------
    UnitError
        If it is neither.
    """
    try:
        plain = float(text)
    except ValueError:
        plain = None
    try:
        return parse(text if plain is None else plain, quantity)
    except UnitError as error:
        problem = error.problems[0]
        raise UnitError(problem.what, where=where, why=problem.why, do=problem.do) from None


def line_voltage_v(text: str, where: str = "--volts") -> float:
    """Read a line voltage; 70.7 is the trade's name for 100/sqrt(2), all others are literal.

    Parameters
    ----------
    text
        Such as ``70.7``, ``100 V`` or ``25``.
    where
        Option to name in the error.

    Returns
    -------
    float
        Voltage. [V]

    Raises
    ------
    UnitError
        If it is no voltage.
    DomainError
        If it is not above zero.

    Examples
    --------
    >>> line_voltage_v("100 V"), round(line_voltage_v("70.7"), 4)
    (100.0, 70.7107)
    """
    voltage = number_or(text, "voltage", where)
    if not 1.0 <= voltage <= 300.0:
        msg = f"{text!r} is not the voltage of a loudspeaker line"
        raise DomainError(
            msg, where=where, why="lines are built from 25 to 200 V", do="give 25, 70.7 or 100"
        )
    return LINE_70_V if abs(voltage - 70.7) < 1e-9 else voltage


def even_chain(
    *, speakers: int, tap_w: float, feed_m: float, spacing_m: float, gauge: Gauge
) -> tuple[QuickRun, ...]:
    """Describe loudspeakers one after the other, equally far apart.

    Parameters
    ----------
    speakers
        How many, at least one.
    tap_w
        Tap of each. [W]
    feed_m
        Amplifier to the first. [m]
    spacing_m
        One to the next. [m]
    gauge
        Conductor size.

    Returns
    -------
    tuple of QuickRun
        Runs in order.

    Raises
    ------
    DomainError
        If the count is below one.

    Examples
    --------
    >>> len(even_chain(speakers=3, tap_w=5, feed_m=12, spacing_m=4, gauge=("AWG", "16")))
    3
    """
    if not 1 <= speakers <= 10_000:
        msg = f"a line of {speakers} loudspeakers"
        raise DomainError(
            msg, where="--speakers", why="from 1 to 10000 are solved", do="give how many there are"
        )
    names = [AMPLIFIER, *(str(number) for number in range(1, speakers + 1))]
    return tuple(
        QuickRun(
            start=names[place],
            end=names[place + 1],
            length_m=spacing_m if place else feed_m,
            gauge=gauge,
            tap_w=tap_w,
        )
        for place in range(speakers)
    )


def read_description(text: str, *, name: str, gauge: Gauge | None = None) -> tuple[QuickRun, ...]:
    """Read an odd chain: one run a line, ``start, end, length, tap, cable``.

    Parameters
    ----------
    text
        Comma-separated lines; ``#`` begins a remark; a heading is welcome. An empty tap is a bare
        joint; an empty cable is ``gauge``. ``amplifier`` is where the line begins. A second run to
        the same end closes a ring.
    name
        What to call the text in errors.
    gauge
        Conductor size where a line names none.

    Returns
    -------
    tuple of QuickRun
        Runs in the order of the text.

    Raises
    ------
    JobError
        With every line that cannot be read.

    Examples
    --------
    >>> runs = read_description("amplifier, A, 30 ft, 5 W", name="text", gauge=("AWG", "18"))
    >>> runs[0].end, runs[0].tap_w, round(runs[0].length_m, 3)
    ('A', 5.0, 9.144)
    """
    problems: list[Problem] = []
    runs: list[QuickRun] = []
    for number, raw in enumerate(text.splitlines(), 1):
        body = raw.split("#", 1)[0]
        cells = [cell.strip() for cell in next(csv.reader([body], skipinitialspace=True), [])]
        if not any(cells) or (cells[0].lower() == "start" and not runs):
            continue
        try:
            runs.append(_read_run(cells, f"{name}:{number}", gauge))
        except SoffitError as error:
            problems.extend(error.problems)
    if not problems and not runs:
        problems.append(
            Problem(
                what=f"{name} describes no run",
                where=name,
                why="it has no line such as: amplifier, A, 30 m, 5 W",
                do=f"write one run a line: {', '.join(COLUMNS)}",
            )
        )
    if problems:
        raise JobError.of(problems)
    return tuple(runs)


def _read_run(cells: list[str], where: str, gauge: Gauge | None) -> QuickRun:
    if not 3 <= len(cells) <= len(COLUMNS) or not all(cells[:3]):
        msg = f"{', '.join(cells)!r} is not a run"
        raise JobError(
            what=msg,
            where=where,
            why=f"a run has {', '.join(COLUMNS)}; tap and cable may be empty",
            do="write for example: amplifier, A, 30 m, 5 W, 18 AWG",
        )
    start, end, length, tap, cable = [*cells, "", ""][:5]
    start, end = (AMPLIFIER if cell.lower() == AMPLIFIER else cell for cell in (start, end))
    length_m = number_or(length, "length", where)
    tap_w = number_or(tap, "power", where) if tap else 0.0
    size = gauge_of(cable, where) if cable else gauge
    if size is None:
        raise JobError(
            what=f"the run {start} - {end} names no cable",
            where=where,
            why="neither its line nor --cable does",
            do="add the size as fifth column, or give --cable",
        )
    if tap_w < 0.0:
        raise JobError(
            what=f"{end}: tap {tap} is below zero",
            where=where,
            why="a tap draws power",
            do="write the tap without the minus sign, or leave it empty for a bare joint",
        )
    return QuickRun(start=start, end=end, length_m=length_m, gauge=size, tap_w=tap_w)


def gauge_of(text: str, where: str) -> Gauge:
    """Read a conductor size.

    Parameters
    ----------
    text
        ``18 AWG`` or ``1.5 mm2``.
    where
        Option or line to name in the error.

    Returns
    -------
    tuple
        System and size.

    Raises
    ------
    UnitError
        If it is neither.
    """
    try:
        return parse_gauge(text)
    except UnitError as error:
        problem = error.problems[0]
        raise UnitError(problem.what, where=where, why=problem.why, do=problem.do) from None
