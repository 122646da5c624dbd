"""Schematic and impedance curve of a line without a job, as SVG in millimetres."""

import math
from dataclasses import dataclass
from html import escape
from typing import Final

import numpy as np

from soffit.circuit.arrays import FloatArray
from soffit.circuit.cable import conductor_resistance_ohm_m
from soffit.circuit.network import solve_network
from soffit.circuit.sweep import TapModel, tap_sweep_ohm
from soffit.work.quick_line import QuickAnswer, QuickLine, tap_ohm
from soffit.work.quick_line_text import AMPLIFIER, QuickRun

INK: Final = "#1d2433"
ACCENT: Final = "#9a3b26"
PALE: Final = "#c9cdd6"
_TEXT_MM: Final = 2.4
_COLUMN_MM: Final = 24.0
_ROW_MM: Final = 32.0
_COLUMNS: Final = 10
_MARGIN_MM: Final = 10.0
_OCTAVES_HZ: Final = (20, 31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000)


class Sheet:
    """A few marks on a sheet, written out as SVG."""

    def __init__(self, *, width_mm: float, height_mm: float, title: str) -> None:
        self._head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm:.1f}mm" '
            f'height="{height_mm:.1f}mm" viewBox="0 0 {width_mm:.1f} {height_mm:.1f}" '
            f'font-family="sans-serif">\n<title>{escape(title)}</title>\n'
            f'<rect width="{width_mm:.1f}" height="{height_mm:.1f}" fill="#ffffff"/>\n'
        )
        self._marks: list[str] = []

    def path(
        self, points: list[tuple[float, float]], *, width_mm: float = 0.3, colour: str = INK
    ) -> None:
        """Draw a polyline through points in millimetres."""
        body = " ".join(f"{x:.2f},{y:.2f}" for x, y in points)
        self._marks.append(
            f'<polyline points="{body}" fill="none" stroke="{colour}" '
            f'stroke-width="{width_mm:.2f}" stroke-linejoin="round"/>'
        )

    def dot(self, x_mm: float, y_mm: float) -> None:
        """Draw a joint."""
        self._marks.append(f'<circle cx="{x_mm:.2f}" cy="{y_mm:.2f}" r="0.7" fill="{INK}"/>')

    def text(
        self,
        x_mm: float,
        y_mm: float,
        words: str,
        *,
        anchor: str = "middle",
        bold: bool = False,
        colour: str = INK,
    ) -> None:
        """Write words with their base line at a point."""
        weight = ' font-weight="bold"' if bold else ""
        self._marks.append(
            f'<text x="{x_mm:.2f}" y="{y_mm:.2f}" font-size="{_TEXT_MM}" fill="{colour}" '
            f'text-anchor="{anchor}"{weight}>{escape(words)}</text>'
        )

    def svg(self) -> str:
        """Return the sheet as SVG text."""
        return self._head + "\n".join(self._marks) + "\n</svg>\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """Runs that follow one another on one row of the schematic."""

    start: str
    runs: tuple[QuickRun, ...]


def draw_schematic(answer: QuickAnswer, *, imperial: bool = False) -> str:
    """Draw a line as rows of loudspeakers, a row a branch, with watts, volts and loss.

    Parameters
    ----------
    answer
        Solved line.
    imperial
        Lengths in feet.

    Returns
    -------
    str
        SVG in millimetres; long rows go on below, headed by the name they go on from.
    """
    rows = _rows(answer.question.runs)
    widest = max(len(row.runs) for row in rows)
    width = 2 * _MARGIN_MM + (widest + 1.5) * _COLUMN_MM
    width = max(width, 150.0)
    height = 2 * _MARGIN_MM + 18.0 + len(rows) * _ROW_MM
    sheet = Sheet(width_mm=width, height_mm=height, title="Line schematic")
    worst = answer.worst
    heading = (
        f"{answer.question.line_voltage_v:.1f} V line: load {answer.load_w:.1f} W, amplifier at "
        f"least {answer.amplifier_w_min:.1f} W, {answer.impedance_ohm:.2f} Ω at 1 kHz"
    )
    sheet.text(_MARGIN_MM, _MARGIN_MM + 3.0, heading, anchor="start", bold=True)
    sheet.text(
        _MARGIN_MM,
        _MARGIN_MM + 7.5,
        f"worst loss {worst.loss_db:.2f} dB at {worst.name}; copper at "
        f"{answer.question.conductor_degc:.0f} °C",
        anchor="start",
    )
    for number, row in enumerate(rows):
        _draw_row(sheet, answer, row, _MARGIN_MM + 24.0 + number * _ROW_MM, imperial=imperial)
    return sheet.svg()


def _rows(runs: tuple[QuickRun, ...]) -> list[_Row]:
    """Follow each branch to its end; the first run out of a node goes on along the row."""
    leaving: dict[str, list[QuickRun]] = {}
    for run in runs:
        leaving.setdefault(run.start, []).append(run)
    rows: list[_Row] = []
    pending = [AMPLIFIER]
    used: set[int] = set()
    while pending:
        start = pending.pop(0)
        for first in leaving.get(start, []):
            if id(first) in used:
                continue
            row_start, row, run = start, [], first
            while True:
                used.add(id(run))
                row.append(run)
                pending.append(run.end)
                onward = [one for one in leaving.get(run.end, []) if id(one) not in used]
                if len(row) == _COLUMNS or not onward:
                    rows.append(_Row(start=row_start, runs=tuple(row)))
                    row_start, row = run.end, []
                if not onward:
                    break
                run = onward[0]
    return rows


def _draw_row(sheet: Sheet, answer: QuickAnswer, row: _Row, y_mm: float, *, imperial: bool) -> None:
    by_name = {speaker.name: speaker for speaker in answer.speakers}
    x = _MARGIN_MM + 10.0
    if row.start == AMPLIFIER:
        box = [(x - 8, y_mm - 4), (x + 4, y_mm - 4), (x + 4, y_mm + 6), (x - 8, y_mm + 6)]
        sheet.path([*box, box[0]], width_mm=0.5)
        sheet.text(x - 2, y_mm + 1.8, "amp", bold=True)
        x += 4.0
    else:
        sheet.text(x + 2.0, y_mm - 1.2, f"from {row.start}")
        x += 4.0
    begin = x
    for run in row.runs:
        x += _COLUMN_MM
        sheet.text(x - _COLUMN_MM / 2, y_mm - 3.6, _length(run.length_m, imperial=imperial))
        sheet.text(x - _COLUMN_MM / 2, y_mm - 1.0, _size(run))
        sheet.dot(x, y_mm)
        sheet.dot(x, y_mm + 1.6)
        speaker = by_name.get(run.end)
        if speaker is None or run.tap_w == 0.0:
            closes = speaker is not None or run.end == AMPLIFIER
            sheet.text(x, y_mm + 6.0, f"back to {run.end}" if closes else run.end)
            continue
        _draw_speaker(sheet, x, y_mm)
        colour = ACCENT if speaker is answer.worst else INK
        sheet.text(x, y_mm + 14.2, speaker.name, bold=True)
        sheet.text(x, y_mm + 17.2, f"{speaker.tap_w:g} W")
        sheet.text(x, y_mm + 20.2, f"{speaker.voltage_v:.2f} V")
        sheet.text(x, y_mm + 23.2, f"-{speaker.loss_db:.2f} dB", colour=colour)
    for offset in (0.0, 1.6):
        sheet.path([(begin, y_mm + offset), (x, y_mm + offset)])


def _draw_speaker(sheet: Sheet, x: float, y: float) -> None:
    sheet.path([(x, y), (x, y + 5)])
    sheet.path([(x - 1.4, y + 5), (x + 1.4, y + 5), (x + 1.4, y + 8), (x - 1.4, y + 8)])
    sheet.path([(x - 1.4, y + 8), (x - 1.4, y + 5)])
    sheet.path([(x - 1.4, y + 8), (x - 3.2, y + 11), (x + 3.2, y + 11), (x + 1.4, y + 8)])


def _length(length_m: float, *, imperial: bool) -> str:
    return f"{length_m / 0.3048:.0f} ft" if imperial else f"{length_m:.1f} m"


def _size(run: QuickRun) -> str:
    system, size = run.gauge
    return f"{size} AWG" if system == "AWG" else f"{size} mm²"


def impedance_curve_ohm(question: QuickLine, frequency_hz: FloatArray) -> FloatArray:
    """Magnitude of the impedance at the amplifier's end over frequency.

    Parameters
    ----------
    question
        The line.
    frequency_hz : (n_frequencies,)
        Frequencies. [Hz]

    Returns
    -------
    (n_frequencies,)
        |Z| with generic transformers and loudspeakers (settings ``generic_...``). [Ω]
    """
    limits = question.limits
    names = [AMPLIFIER, *dict.fromkeys(run.end for run in question.runs if run.end != AMPLIFIER)]
    place_of = {name: place for place, name in enumerate(names)}
    omega = 2.0 * math.pi * frequency_hz
    load = np.zeros((len(names), frequency_hz.size), dtype=np.complex128)
    length = np.asarray([run.length_m for run in question.runs])
    ends = np.asarray([[place_of[run.start], place_of[run.end]] for run in question.runs])
    half = 0.5j * omega * limits["cable_capacitance_f_m"]
    for column in (0, 1):
        np.add.at(load, ends[:, column], length[:, np.newaxis] * half)
    tapped = {run.end: run.tap_w for run in question.runs if run.tap_w > 0.0}
    model = TapModel(
        load_ohm=tap_ohm(question, list(tapped.values())),
        insertion_loss_db=question.insertion_loss_db,
        lf_limit_hz=limits["generic_lf_limit_hz"],
        resonance_hz=limits["generic_resonance_hz"],
        resonance_rise=limits["generic_resonance_rise"],
    )
    load[[place_of[name] for name in tapped]] += 1.0 / tap_sweep_ohm(
        model, frequency_hz=frequency_hz
    )
    per_metre = np.asarray(
        [
            conductor_resistance_ohm_m(
                *run.gauge,
                conductor_degc=question.conductor_degc,
                standard=question.standard,
                metal=question.metal,
            )
            for run in question.runs
        ]
    )
    series = 2.0 * per_metre[:, np.newaxis] + 1j * omega * limits["cable_inductance_h_m"]
    state = solve_network(ends, run_ohm=length[:, np.newaxis] * series, load_siemens=load)
    return np.abs(state.impedance_ohm)


def _ticks(least: float, most: float) -> list[float]:
    """Return 1-2-5 values that enclose two numbers, at least a decade apart."""
    values = [step * 10.0**decade for decade in range(-3, 8) for step in (1.0, 2.0, 5.0)]
    below = max(place for place, value in enumerate(values) if value <= max(least, 1e-3))
    above = min(place for place, value in enumerate(values) if value >= min(most, 5e7))
    return values[below : max(above, below + 3) + 1]


def draw_impedance(answer: QuickAnswer) -> str:
    """Draw the impedance at the amplifier's end from 20 Hz to 20 kHz.

    Parameters
    ----------
    answer
        Solved line.

    Returns
    -------
    str
        SVG in millimetres, both axes logarithmic, with the generic values it assumes.
    """
    frequency = np.geomspace(20.0, 20_000.0, 241)
    size = impedance_curve_ohm(answer.question, frequency)
    sheet = Sheet(width_mm=180.0, height_mm=120.0, title="Line impedance over frequency")
    left, right, top, bottom = 22.0, 170.0, 24.0, 98.0
    ticks = _ticks(float(size.min()), float(size.max()))
    low, high = ticks[0], ticks[-1]

    def across(hertz: float) -> float:
        return left + (right - left) * math.log(hertz / 20.0) / math.log(1000.0)

    def up(ohm: float) -> float:
        return bottom - (bottom - top) * math.log(ohm / low) / math.log(high / low)

    for hertz in _OCTAVES_HZ:
        sheet.path([(across(hertz), top), (across(hertz), bottom)], width_mm=0.15, colour=PALE)
        label = f"{hertz / 1000:g}k" if hertz >= 1000 else f"{hertz:g}"
        sheet.text(across(hertz), bottom + 4.0, label)
    for ohm in ticks:
        sheet.path([(left, up(ohm)), (right, up(ohm))], width_mm=0.15, colour=PALE)
        sheet.text(left - 1.5, up(ohm) + 0.8, f"{ohm:.12g}", anchor="end")
    marks = [(across(float(f)), up(float(v))) for f, v in zip(frequency, size, strict=True)]
    sheet.path(marks, width_mm=0.5, colour=ACCENT)
    limits = answer.question.limits
    sheet.text(left, 9.0, "Impedance at the amplifier's end, Ω", anchor="start", bold=True)
    sheet.text(
        left,
        13.5,
        f"{answer.impedance_ohm:.2f} Ω at 1 kHz with taps as resistances; "
        f"lowest {float(size.min()):.2f} Ω at {float(frequency[size.argmin()]):.0f} Hz",
        anchor="start",
    )
    sheet.text((left + right) / 2, bottom + 9.0, "frequency, Hz")
    sheet.text(
        left,
        bottom + 15.0,
        f"Assumed: transformers from {limits['generic_lf_limit_hz']:g} Hz, loudspeakers resonant "
        f"at {limits['generic_resonance_hz']:g} Hz, rising {limits['generic_resonance_rise']:g} "
        "times; real ones differ.",
        anchor="start",
    )
    return sheet.svg()
