"""Practice: put a fault on a made-up line and answer readings as instruments and ears would."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from soffit.measure.practice_line import (
    HIDDEN_KINDS,
    WHOLE_LINE,
    Heard,
    HiddenFault,
    HiddenKind,
    Look,
    PracticeLine,
    draw_meter,
    draw_plan,
    hang,
)
from soffit.measure.practice_ranges import PRACTICE_RANGES, PracticeRanges, Range
from soffit.measure.practice_speaker import draw

SHORT_OHM: Final[Range] = (0.05, 2.0)
CORRODED_OHM: Final[Range] = (10.0, 300.0)
COIL_SHORT_OHM: Final[Range] = (0.3, 1.5)
CAPACITOR_UF: Final[Range] = (8.0, 80.0)
TURNED_DOWN: Final[Range] = (2.0, 20.0)
CABLE_FACTOR: Final[Range] = (1.5, 4.0)
PROTECT_RATIO: Final[Range] = (0.25, 0.55)
"""Sizes of the faults: ohms, ohms, ohms, microfarads, impedance factor, resistance factor and the
part of the planned impedance below which the amplifier protects itself."""


def draw_fault(rng: np.random.Generator, line: PracticeLine, kind: HiddenKind) -> HiddenFault:
    """Draw the place and size of one kind of fault.

    Parameters
    ----------
    rng
        Source of chance.
    line
        The healthy line.
    kind
        What goes wrong.

    Returns
    -------
    HiddenFault
        Fault with place and value.
    """
    plan = line.plan
    place = -1 if kind in WHOLE_LINE else int(rng.integers(0, len(plan.speakers)))
    value = 0.0
    match kind:
        case "short":
            value = draw(rng, SHORT_OHM)
        case "corroded":
            value = draw(rng, CORRODED_OHM)
        case "coil_short":
            value = draw(rng, COIL_SHORT_OHM)
        case "capacitor":
            value = draw(rng, CAPACITOR_UF)
        case "turned_down":
            value = draw(rng, TURNED_DOWN)
        case "wrong_cable":
            value = draw(rng, CABLE_FACTOR)
        case "tap":
            speaker = plan.speakers[place]
            others = [tap for tap in speaker.taps_w if not math.isclose(tap, speaker.tap_w)]
            value = float(rng.choice(others))
        case "extra":
            value = plan.speakers[place].tap_w
        case "other_voltage" | "all_other_voltage":
            low = 25.0 if kind == "other_voltage" and rng.random() < 0.5 else 0.0
            high = 100.0 if plan.line_voltage_v < 90.0 else math.sqrt(5000.0)
            value = low or high
        case _:
            pass
    return HiddenFault(kind=kind, place=place, value=value)


def draw_line(
    seed: int,
    *,
    count: int,
    kind: HiddenKind | None = None,
    ranges: PracticeRanges = PRACTICE_RANGES,
) -> tuple[PracticeLine, PracticeLine]:
    """Draw a line and its healthy state at hand-over from one seed.

    Parameters
    ----------
    seed
        Kept, so that a line can be practised again.
    count
        Number of loudspeakers.
    kind
        Fault; drawn from all kinds if omitted.
    ranges
        Ranges to draw from.

    Returns
    -------
    tuple of PracticeLine
        The line of today with its fault, and the same line on the day of hand-over: without the
        fault, with another instrument and another copper temperature.
    """
    rng = np.random.default_rng(seed)
    plan = draw_plan(rng, count=count, ranges=ranges)
    healthy = hang(rng, plan, ranges)
    chosen: HiddenKind = kind or HIDDEN_KINDS[int(rng.integers(0, len(HIDDEN_KINDS)))]
    fault = draw_fault(rng, healthy, chosen)
    today = replace(healthy, faults=() if chosen == "none" else (fault,))
    warmer = 1.0 + 0.00393 * float(rng.uniform(-15.0, 15.0))
    before = replace(healthy, run_ohm=healthy.run_ohm * warmer, meter=draw_meter(rng, ranges))
    return today, before


def rounded(value: float, digits: int) -> float:
    """Round to significant digits, as a display does."""
    return float(f"{value:.{digits}g}")


@dataclass(slots=True)
class PracticeBench:
    """Answers readings on a practice line; chance goes on from reading to reading.

    Parameters
    ----------
    line
        The line.
    rng
        Source of chance for instruments and ears.
    """

    line: PracticeLine
    rng: np.random.Generator

    def ohms(self, look: Look, place: int, tones_hz: Sequence[float]) -> tuple[str, ...]:
        """Read the impedance meter at every tone.

        Parameters
        ----------
        look, place
            See ``PracticeLine.true_ohm``.
        tones_hz
            Tones. [Hz]

        Returns
        -------
        tuple of str
            What the display shows, such as ``"51.6"``, ``"> 20000"`` or ``"< 1"``. [Ω]
        """
        line, ranges = self.line, self.line.ranges
        true = np.abs(line.true_ohm(look, place, np.asarray(tones_hz, dtype=np.float64)))
        shown = []
        for ohm in true:
            noise = math.exp(ranges.meter_noise_sd * self.rng.standard_normal())
            value = (float(ohm) + line.meter.lead_ohm) * line.meter.gain * noise
            if value > ranges.meter_ceiling_ohm:
                shown.append(f"> {ranges.meter_ceiling_ohm:g}")
            elif value < ranges.meter_floor_ohm:
                shown.append(f"< {ranges.meter_floor_ohm:g}")
            else:
                shown.append(f"{rounded(value, ranges.meter_digits):g}")
        return tuple(shown)

    def volts(self, place: int, *, drive_v: float, tone_hz: float) -> str:
        """Read a voltmeter at a loudspeaker while the rack drives a tone.

        Parameters
        ----------
        place
            Index of the loudspeaker.
        drive_v
            Voltage at the amplifier end. [V]
        tone_hz
            Tone. [Hz]

        Returns
        -------
        str
            What the display shows. [V]
        """
        true = abs(self.line.true_volts(drive_v, np.asarray([tone_hz]))[0, place])
        noise = math.exp(self.line.ranges.meter_noise_sd * self.rng.standard_normal())
        return f"{rounded(float(true) * self.line.meter.gain * noise, 3):g}"

    def amps(self, place: int, *, drive_v: float, tone_hz: float) -> str:
        """Read a clamp on one core of the run that ends at a place.

        Parameters
        ----------
        place
            Index of the loudspeaker at the far end of the run.
        drive_v
            Voltage at the amplifier end. [V]
        tone_hz
            Tone. [Hz]

        Returns
        -------
        str
            What the display shows. [A]
        """
        true = abs(self.line.true_amps(place, drive_v, np.asarray([tone_hz]))[0])
        # A clamp is coarser than an impedance meter: 2 % and 1 mA, common practice, no source.
        value = float(true) * math.exp(0.02 * self.rng.standard_normal())
        value += 0.001 * self.rng.standard_normal()
        if value < self.line.ranges.clamp_floor_a:
            return f"< {self.line.ranges.clamp_floor_a:g}"
        return f"{rounded(value, 3):g}"

    def is_protecting(self) -> bool:
        """Say whether the amplifier gives up on this line."""
        healthy = replace(self.line, faults=())
        tone = np.asarray([1000.0])
        ratio = abs(self.line.true_ohm("rack", -1, tone)[0] / healthy.true_ohm("rack", -1, tone)[0])
        return bool(ratio < draw(self.rng, PROTECT_RATIO))

    def heard(self, places: Sequence[int] | None = None) -> tuple[Heard, ...]:
        """Listen under each loudspeaker with noise on the line.

        Parameters
        ----------
        places
            Where to listen; everywhere if omitted.

        Returns
        -------
        tuple of str
            ``heard``, ``silent``, ``loud`` or ``faint`` for each place: loud and faint are judged
            against the other loudspeakers of the line, silent against nothing at all.
        """
        ranges = self.line.ranges
        excess = self.line.excess_db()
        usual = float(np.median(excess))
        words: list[Heard] = []
        for place in range(len(excess)) if places is None else places:
            told = float(excess[place]) + ranges.ear_sd_db * self.rng.standard_normal()
            if self.rng.random() < ranges.ear_lapse:
                words.append(("heard", "faint", "silent", "loud")[int(self.rng.integers(0, 4))])
            elif told < -ranges.ear_silent_db:
                words.append("silent")
            elif told > usual + ranges.ear_step_db:
                words.append("loud")
            elif told < usual - ranges.ear_step_db:
                words.append("faint")
            else:
                words.append("heard")
        return tuple(words)

    def floor_db(self, place: int, *, expected_db: float) -> float:
        """Read a sound level meter on the floor below a loudspeaker.

        Parameters
        ----------
        place
            Index of the loudspeaker.
        expected_db
            Level that the plan gives there. [dB]

        Returns
        -------
        float
            Level shown. [dB]
        """
        excess = float(self.line.excess_db()[place])
        return round(expected_db + excess + self.line.ranges.ear_sd_db * self.rng.normal(), 1)
