"""The gain and processing sheet: what was planned for each line and zone, and what was left.

A setting is planned where the design knows it: the high-pass from the line's transformers, delay
and paging priority from the zones, the drive for test noise from the line's voltage. The rest has
room for what was left and is noted.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from soffit.decibel import field_ratio_db
from soffit.errors import UnitError
from soffit.measure.verdict import Status, Verdict
from soffit.model.readings import Reading
from soffit.units import Quantity, parse

SettingName = Literal[
    "test drive",
    "input level",
    "high-pass",
    "crossover",
    "limiter",
    "equalisation",
    "delay",
    "paging priority",
]
_KNOWN: Final[tuple[tuple[SettingName, str], ...]] = (
    ("test drive", r"(test )?(drive|noise)"),
    ("input level", r"(input )?(level|gain)"),
    ("high-pass", r"(high[- ]?pass|hpf?|low[- ]?cut)"),
    ("crossover", r"(cross[- ]?over|low[- ]?pass|lpf?|high[- ]?cut)"),
    ("limiter", r"limit(er)?"),
    ("equalisation", r"(eq|equali[sz](ation|er))"),
    ("delay", r"delay"),
    ("paging priority", r"(paging )?priority"),
)
_OFF: Final = frozenset({"off", "none", "out", "bypass", "flat"})


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSetting:
    """One row of the sheet.

    Parameters
    ----------
    place_key, place
        Line or zone.
    name
        What is set.
    value
        Planned; ``None`` where the design knows none. [SI]
    unit
        Unit that people write.
    text
        What is expected, in words.
    what
        What to do or where it comes from.
    """

    place_key: str
    place: str
    name: SettingName
    value: float | None
    unit: str
    text: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossover:
    """Where the subwoofers of a line's rooms take over.

    Parameters
    ----------
    hz
        Frequency of both filters. [Hz]
    is_low
        Whether the line feeds the subwoofers, not the others.
    rooms
        Labels of the rooms.
    """

    hz: float
    is_low: bool
    rooms: tuple[str, ...]


_Row = tuple[SettingName, float | None, str, str, str]


def line_settings(
    *,
    key: str,
    label: str,
    voltage_v: float,
    drive_v: float,
    high_pass_hz: float,
    limit_key: str,
    crossover: Crossover | None = None,
) -> tuple[PlannedSetting, ...]:
    """Plan the settings of one line's amplifier channel.

    Parameters
    ----------
    key, label
        Of the line.
    voltage_v
        Nominal line voltage. [V]
    drive_v
        Line voltage with the test noise. [V]
    high_pass_hz
        High-pass in force. [Hz]
    limit_key
        Label of the loudspeaker whose transformer asks for it.
    crossover
        Where subwoofers take over; ``None`` where its rooms have none on lines of their own.

    Returns
    -------
    tuple of PlannedSetting
        In the order in which a channel is set.
    """
    rows: tuple[_Row, ...] = (
        (
            "test drive",
            drive_v,
            "V",
            f"{drive_v:.2f} V r.m.s. on the line",
            "pink noise, true r.m.s. meter across the line: every level is read with this",
        ),
        (
            "input level",
            None,
            "dB",
            f"as it stands when the test noise reads {drive_v:.2f} V",
            "input level as left, and where its control stands",
        ),
        (
            "high-pass",
            high_pass_hz,
            "Hz",
            f"{high_pass_hz:.0f} Hz or higher",
            "high-pass of the channel" + (f"; {limit_key} asks for it" if limit_key else ""),
        ),
        *_crossover_rows(crossover),
        (
            "limiter",
            voltage_v,
            "V",
            f"{voltage_v:.1f} V r.m.s. on the line or lower",
            "limiter: over the line's voltage transformers saturate and taps get more than theirs",
        ),
        ("equalisation", None, "", "as left", "equalisation: bands, gains, widths"),
    )
    return tuple(
        PlannedSetting(
            place_key=key, place=label, name=name, value=value, unit=unit, text=text, what=what
        )
        for name, value, unit, text, what in rows
    )


def _crossover_rows(crossover: Crossover | None) -> tuple[_Row, ...]:
    if crossover is None:
        return ()
    way = "low-pass" if crossover.is_low else "high-pass"
    whom = "the other loudspeakers" if crossover.is_low else "the subwoofers"
    where = ", ".join(crossover.rooms)
    return (
        (
            "crossover",
            crossover.hz,
            "Hz",
            f"{way} {crossover.hz:.0f} Hz, 24 dB/oct, before this channel",
            f"crossover to {whom} of {where}; in a processor where the channel has no such filter",
        ),
    )


def zone_settings(
    *, key: str, label: str, delay_s: float, priority: int, advice: str = ""
) -> tuple[PlannedSetting, ...]:
    """Plan the settings of one zone.

    Parameters
    ----------
    key, label
        Of the zone.
    delay_s
        Planned. [s]
    priority
        Paging priority, 0 the highest.
    advice
        What the sound field says about its delay, in words.

    Returns
    -------
    tuple of PlannedSetting
        Delay and priority.
    """
    return (
        PlannedSetting(
            place_key=key,
            place=label,
            name="delay",
            value=delay_s,
            unit="ms",
            text=f"{1e3 * delay_s:.1f} ms",
            what="delay of the zone" + (f"; {advice}" if advice else ""),
        ),
        PlannedSetting(
            place_key=key,
            place=label,
            name="paging priority",
            value=float(priority),
            unit="",
            text=f"{priority} (0 is the highest)",
            what="paging priority; page over music and see it step down",
        ),
    )


def parse_setting(text: str) -> tuple[SettingName | None, float | None, str]:
    """Read a setting as a person writes it.

    Parameters
    ----------
    text
        Such as ``high-pass 80 Hz``, ``delay 12 ms`` or ``equalisation flat``.

    Returns
    -------
    tuple
        Which setting, ``None`` if unknown; its value in SI, ``None`` for words; and the words.

    Examples
    --------
    >>> parse_setting("HPF 80 Hz"), parse_setting("delay 12 ms")
    (('high-pass', 80.0, '80 Hz'), ('delay', 0.012, '12 ms'))
    """
    cleaned = " ".join(text.replace("=", " ").split())
    for name, pattern in _KNOWN:
        match = re.match(rf"{pattern}\b[: ]*", cleaned, re.IGNORECASE)
        if match is not None:
            rest = cleaned[match.end() :].strip()
            return name, _value(name, rest), rest
    return None, None, cleaned


_QUANTITY: Final[Mapping[SettingName, tuple[str, Quantity]]] = {
    "high-pass": ("Hz", "frequency"),
    "crossover": ("Hz", "frequency"),
    "delay": ("ms", "time"),
    "test drive": ("V", "voltage"),
    "limiter": ("V", "voltage"),
}
"""Unit of a bare number, and the quantity."""


def _value(name: SettingName, text: str) -> float | None:
    if text.casefold() in _OFF and name in {"high-pass", "delay"}:
        return 0.0
    try:
        if name == "paging priority":
            return float(text)
        if name not in _QUANTITY:
            return None
        unit, quantity = _QUANTITY[name]
        return parse(f"{text} {unit}" if _is_number(text) else text, quantity)
    except (UnitError, ValueError):
        return None


def _is_number(text: str) -> bool:
    return re.fullmatch(r"\d+(\.\d+)?", text) is not None


def setting_verdict(
    reading: Reading, planned: Sequence[PlannedSetting], limits: Mapping[str, float]
) -> Verdict:
    """Judge one setting as left.

    Parameters
    ----------
    reading
        Of quantity ``setting``.
    planned
        Rows of its line or zone.
    limits
        Settings of soffit by name.

    Returns
    -------
    Verdict
        ``noted`` where there is no plan value or the words have none.
    """
    name, value, _ = parse_setting(reading.word)
    row = next((row for row in planned if row.name == name), None)
    if row is None or row.value is None or value is None:
        expected = row.text if row is not None else ""
        return Verdict(
            key=reading.key,
            place=reading.place,
            status="noted",
            measured=reading.word,
            expected=expected,
        )
    status, why, step = _held(row, row.value, value, limits)
    return Verdict(
        key=reading.key,
        place=reading.place,
        status=status,
        measured=reading.word,
        expected=row.text,
        low=None,
        high=None,
        tolerance=f"as planned: {row.what} (common practice, no source)",
        reasons=(why,) if why else (),
        next_step=step,
    )


def _held(
    row: PlannedSetting, planned: float, left: float, limits: Mapping[str, float]
) -> tuple[Status, str, str]:
    """Hold a setting against its plan: status, reason, next step."""
    slack = 1.0 + limits["setting_slack_ratio"]
    why = step = ""
    match row.name:
        case "high-pass" if left > planned * limits["high_pass_over_ratio"]:
            return "look", "much higher than planned: bass is lost", "listen, and note why it is so"
        case "high-pass" if left * slack < planned:
            why = "lower than planned: transformers saturate on bass and overload the amplifier"
            step = f"set the high-pass to {planned:.0f} Hz or higher"
        case "crossover" if not planned / slack <= left <= planned * slack:
            why = "another crossover than planned: both lines need the same one"
            return "look", why, f"set both to {planned:.0f} Hz, or note why it is so"
        case "limiter" if left > planned * slack:
            why = "it lets the line over its voltage: transformers saturate, taps get too much"
            step = f"set the limiter to {planned:.1f} V on the line"
        case "test drive":
            off = float(field_ratio_db(max(left, 1e-9) / planned))
            if abs(off) > limits["setting_drive_tolerance_db"]:
                why = f"the drive is {off:+.1f} dB off plan: so is every level read with it"
                step = f"set the noise to {planned:.2f} V, or write its volts to each level"
        case "delay" if abs(left - planned) > limits["setting_delay_tolerance_s"]:
            why = f"{1e3 * (left - planned):+.1f} ms off plan"
            step = f"set {1e3 * planned:.1f} ms, or plan it anew and listen"
        case "paging priority" if left != planned:
            why = "another priority than planned"
            step = f"set it to {row.text}, page and listen"
    return ("fail" if why else "pass"), why, step
