"""Numbers as the trade writes them on paper: fixed digits, unit always beside the number."""

from collections.abc import Sequence

from soffit.papers.views import MeterBand, SpeakerView, TestRow
from soffit.units import FOOT_M


def ohms(value: float | None) -> str:
    """Return an impedance with three figures; empty for none.

    Parameters
    ----------
    value
        Impedance. [Ω]
    """
    if value is None:
        return ""
    if value >= 9995.0:
        return f"{value / 1e3:.3g} kΩ"
    return (
        f"{value:.0f} Ω"
        if value >= 99.95
        else f"{value:.1f} Ω"
        if value >= 9.995
        else f"{value:.2f} Ω"
    )


def meter(band: MeterBand | None, by_taps_ohm: float | None) -> str:
    """Return what a meter shows with its band; by the taps alone where nothing is expected.

    Parameters
    ----------
    band
        Reading of a sound line.
    by_taps_ohm
        The same with taps as resistances. [Ω]
    """
    if band is not None:
        low = ohms(band.low_ohm)
        short = low.removesuffix(" Ω") if "k" not in low + ohms(band.high_ohm) else low
        return f"{ohms(band.middle_ohm)} ({short} to {ohms(band.high_ohm)})"
    return f"{ohms(by_taps_ohm)} by the taps" if by_taps_ohm is not None else ""


def volts(value: float) -> str:
    """Return a voltage with one decimal.

    Parameters
    ----------
    value
        Voltage. [V]
    """
    return f"{value:.1f} V"


def watts(value: float) -> str:
    """Return a power with up to one decimal.

    Parameters
    ----------
    value
        Power. [W]
    """
    return (
        f"{value:.1f} W" if value < 100 and abs(value - round(value)) > 0.05 else f"{value:.0f} W"
    )


def decibels(value: float) -> str:
    """Return a loss with two decimals.

    Parameters
    ----------
    value
        Level difference. [dB]
    """
    return f"{value:.2f} dB"


def run_length(length_m: float, *, imperial: bool) -> str:
    """Return a length of cable: feet, or metres with one decimal.

    Parameters
    ----------
    length_m
        Length. [m]
    imperial
        Feet instead of metres.
    """
    return f"{length_m / FOOT_M:.0f} ft" if imperial else f"{length_m:.1f} m"


def hertz(value: float | None) -> str:
    """Return a frequency; empty for none.

    Parameters
    ----------
    value
        Frequency. [Hz]
    """
    if value is None:
        return ""
    return f"{value / 1e3:.3g} kHz" if value >= 1e3 else f"{value:.3g} Hz"


def quantity(value: float) -> str:
    """Return a number of things without needless decimals.

    Parameters
    ----------
    value
        How many.
    """
    return f"{value:.0f}" if abs(value - round(value)) < 1e-6 else f"{value:.1f}"


def percent(ratio: float) -> str:
    """Return a ratio as a whole percentage.

    Parameters
    ----------
    ratio
        For example 0.8.
    """
    return f"{100.0 * ratio:.0f} %"


def expected(row: TestRow) -> str:
    """Return what a test should show, as printed beside the space for the reading.

    Parameters
    ----------
    row
        The test.
    """
    if row.expected is None:
        return row.expected_text
    digits = 0 if abs(row.expected) >= 99.95 else 2 if abs(row.expected) < 1.95 else 1
    unit = f" {row.unit}" if row.unit else ""
    if row.low is not None and row.high is not None:
        text = f"{row.expected:.{digits}f} ({row.low:.{digits}f} to {row.high:.{digits}f}){unit}"
    elif row.low is not None:
        text = f"≥ {row.low:.{digits}f}{unit}"
    elif row.high is not None:
        text = f"≤ {row.high:.{digits}f}{unit}"
    else:
        text = f"{row.expected:.{digits}f}{unit}"
    return f"{text}, {row.expected_text}" if row.expected_text else text


def tally(items: Sequence[SpeakerView]) -> str:
    """Return how many speakers carry which tap, such as ``18 × 5 W, 2 × 2.5 W``.

    Parameters
    ----------
    items
        Speakers.
    """
    found: dict[tuple[float, str], int] = {}
    for item in items:
        key = (-item.tap_w, item.tap_text)
        found[key] = found.get(key, 0) + 1
    return ", ".join(f"{count} × {text}" for (_, text), count in sorted(found.items()))


def named(kind: str, label: str) -> str:
    """Return a label with the kind of thing before it, unless it says so itself.

    Parameters
    ----------
    kind
        Such as ``Rack``.
    label
        As surveyed.

    Examples
    --------
    >>> named("Rack", "R1"), named("Rack", "Rack"), named("Rack", "rack 2")
    ('Rack R1', 'Rack', 'rack 2')
    """
    return label if label.lower().startswith(kind.lower()) else f"{kind} {label}"


def wiring_class(mark: str) -> str:
    """Return how an amplifier's output must be wired, by the class marked on it.

    Parameters
    ----------
    mark
        ``1``, ``2``, ``3`` or words of its own; empty where nothing is marked.

    Examples
    --------
    >>> wiring_class("3")
    'Class 3, as marked on the amplifier'
    """
    if not mark:
        return "class not marked: treat as the strictest"
    return f"Class {mark}, as marked on the amplifier" if mark in {"1", "2", "3"} else mark


def on_the_line(drive: str) -> str:
    """Return what is on the line during a test, or why nothing is.

    Parameters
    ----------
    drive
        As planned, such as ``pink noise, 7.07 V`` or ``nothing: amplifier off``.

    Examples
    --------
    >>> on_the_line("nothing: amplifier off"), on_the_line("pink noise, 7.07 V")
    ('amplifier off', 'on the line: pink noise, 7.07 V')
    """
    nothing = drive.removeprefix("nothing: ")
    return nothing if nothing != drive else f"on the line: {drive}"
