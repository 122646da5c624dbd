"""How loud the low end gets, how many watts and subwoofers that takes, and where it is cut off."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.acoustics.lowfreq_seats import THIRD_OCTAVE_LABELS
from soffit.decibel import mean_energy_db, power_ratio, power_ratio_db
from soffit.errors import DomainError, NoSolutionError
from soffit.model.catalogue import LowEnd, SpeakerType, Tap

FloatArray = NDArray[np.float64]

_AS_GOOD_DB: Final = 0.2

OCTAVE_MID_HZ: Final = (63.0, 125.0, 250.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class LowLimit:
    """Where a subwoofer on a line stops, and what stops it.

    Parameters
    ----------
    driver_hz, transformer_hz
        Lowest frequency of full use of the driver; of the transformer at the line's voltage. [Hz]
    """

    driver_hz: float
    transformer_hz: float

    @property
    def usable_hz(self) -> float:
        """Lowest frequency of full use. [Hz]."""
        return max(self.driver_hz, self.transformer_hz)

    @property
    def reason(self) -> str:
        """What sets it."""
        return "transformer" if self.transformer_hz > self.driver_hz else "driver"


def low_end_of(sub_type: SpeakerType) -> LowEnd:
    """Return the low-frequency data of a type, or say that it has none.

    Parameters
    ----------
    sub_type
        Catalogue entry.

    Returns
    -------
    LowEnd
        Its data.

    Raises
    ------
    DomainError
        If it has no low-frequency data, or they are not usable.
    """
    low = sub_type.low_end
    where = f"speaker_types.{sub_type.id}.low_end"
    if low is None:
        msg = f"{sub_type.id}: the type has no low-frequency data"
        raise DomainError(
            msg,
            where=where,
            why="its level in third octaves from 25 to 160 Hz is not known",
            do="enter mid, sensitivity, low_limit and max_power from its sheet,"
            " or choose a subwoofer that has them",
        )
    values = np.array([*low.mid_hz, *low.sensitivity_db, low.low_limit_hz, low.max_power_w])
    if (
        len(low.mid_hz) != len(low.sensitivity_db)
        or not np.all(np.isfinite(values))
        or not np.all(np.diff(low.mid_hz) > 0.0)
        or min(low.low_limit_hz, low.max_power_w) <= 0.0
    ):
        msg = f"{sub_type.id}: its low-frequency data do not fit together"
        raise DomainError(
            msg,
            where=where,
            why="each rising mid-band frequency needs one sensitivity; limits must be positive",
            do="mend the entry from the type's sheet",
        )
    return low


def low_limit(*, sub_type: SpeakerType, line_voltage_v: float, tap: Tap) -> LowLimit:
    """Lowest frequency of full use of a subwoofer on a line.

    Parameters
    ----------
    sub_type
        Catalogue entry with low-frequency data.
    line_voltage_v
        Voltage of the line. [V]
    tap
        Tap in use; its own voltage is what the core is made for.

    Returns
    -------
    LowLimit
        Of driver and transformer.

    References
    ----------
    Flux goes as U/f: a core that takes its rated voltage down to f₀ takes U down to f₀ U/U₀.
    """
    transformer_hz = sub_type.transformer.lf_limit_hz * line_voltage_v / tap.voltage_v
    return LowLimit(driver_hz=low_end_of(sub_type).low_limit_hz, transformer_hz=transformer_hz)


def third_octave_sensitivity_db(low_end: LowEnd, labels: Sequence[str]) -> FloatArray:
    """Sensitivity of a subwoofer in nominal third octaves.

    Parameters
    ----------
    low_end
        Its data.
    labels : (n_bands,)
        Nominal third octaves.

    Returns
    -------
    (n_bands,)
        Level at 1 W and 1 m in half space. [dB]

    Raises
    ------
    DomainError
        If a band is missing; nothing is interpolated.
    """
    known = {
        f"{mid:g}": level for mid, level in zip(low_end.mid_hz, low_end.sensitivity_db, strict=True)
    }
    missing = [label for label in labels if label not in known]
    if missing:
        msg = f"the subwoofer has no sensitivity at {', '.join(missing)} Hz"
        raise DomainError(
            msg,
            where="low_end.mid",
            why=f"it has {', '.join(known)} Hz",
            do="enter every third octave between its low limit and the crossover",
        )
    return np.array([known[label] for label in labels])


def used_bands(*, limit: LowLimit, crossover_hz: float) -> tuple[str, ...]:
    """Third octaves in which the subwoofer is what is heard.

    Parameters
    ----------
    limit
        Where it stops.
    crossover_hz
        Where the other speakers take over. [Hz]

    Returns
    -------
    tuple of str
        Nominal labels.

    Raises
    ------
    DomainError
        If there is none.
    """
    edge = 10.0**0.05
    labels = tuple(
        label
        for label in THIRD_OCTAVE_LABELS
        if float(label) * edge > limit.usable_hz and float(label) < crossover_hz * 1.02
    )
    if not labels:
        msg = f"nothing is left between {limit.usable_hz:.0f} and {crossover_hz:.0f} Hz"
        raise DomainError(
            msg,
            where="lowfreq_crossover_hz",
            why=f"the {limit.reason} ends at {limit.usable_hz:.0f} Hz",
            do="raise the crossover, or choose a subwoofer that reaches lower",
        )
    return labels


def low_band_level_db(
    *, sensitivity_db: FloatArray, seat_level_db: FloatArray, power_w: float
) -> float:
    """Energy mean over seats and third octaves, for a given power in every octave.

    Parameters
    ----------
    sensitivity_db : (n_bands,)
        Level at 1 W and 1 m in half space. [dB]
    seat_level_db : (n_seats, n_bands)
        Level at the seats over the level at 1 m, per watt. [dB]
    power_w
        Power of all subwoofers together. [W]

    Returns
    -------
    float
        Level. With the same drive per octave it compares with octave levels of other speakers. [dB]

    Notes
    -----
    Pink noise puts a third of an octave's watts in each third octave, and three of these make the
    octave: its level is the energy mean of the three levels per watt.
    """
    return float(mean_energy_db(sensitivity_db + seat_level_db) + power_ratio_db(power_w))


@dataclass(frozen=True, slots=True, kw_only=True)
class TapPlan:
    """Tap of each subwoofer, and what it reaches.

    Parameters
    ----------
    count
        Subwoofers.
    tap
        Tap of each.
    needed_w
        Power that the asked tilt takes, of all together, at the loudspeakers. [W]
    delivered_w, drawn_w
        What the taps deliver; what they draw from the line; all together. [W]
    tilt_db
        Low band over mid band at the seats that the taps give. [dB]
    is_enough
        Whether the asked tilt is reached within the tolerance.
    """

    count: int
    tap: Tap
    needed_w: float
    delivered_w: float
    drawn_w: float
    tilt_db: float
    is_enough: bool


def plan_taps(
    *,
    sub_type: SpeakerType,
    line_voltage_v: float,
    count: int,
    level_at_1_w_db: float,
    wanted_db: float,
    tolerance_db: float,
) -> TapPlan:
    """Smallest tap that reaches a level with so many subwoofers, or the largest there is.

    Parameters
    ----------
    sub_type
        Catalogue entry.
    line_voltage_v
        Voltage of the line. [V]
    count
        Subwoofers.
    level_at_1_w_db
        Low-band level at the seats with one watt shared by all of them. [dB]
    wanted_db
        Low-band level wanted, with the same drive per octave. [dB]
    tolerance_db
        How much may be missing. [dB]

    Returns
    -------
    TapPlan
        ``tilt_db`` in it is relative to ``wanted_db`` here; the caller adds the tilt asked.

    Raises
    ------
    NoSolutionError
        If the type has no tap at the line's voltage.
    """
    taps = sub_type.taps_at(line_voltage_v)
    if not taps:
        known = ", ".join(sorted({f"{tap.voltage_v:.4g} V" for tap in sub_type.taps}))
        msg = f"{sub_type.id} has no tap at {line_voltage_v:.4g} V"
        raise NoSolutionError(
            msg,
            where=f"speaker_types.{sub_type.id}.taps",
            why=f"its transformer is made for {known or 'no line at all'}",
            do="choose a type for this line, or feed it from an amplifier channel of its own",
        )
    most_w = min(sub_type.rated_power_w, low_end_of(sub_type).max_power_w)
    allowed = [tap for tap in taps if sub_type.delivered_w(tap) <= most_w * 1.001] or [taps[0]]
    needed_w = float(power_ratio(wanted_db - level_at_1_w_db))
    enough = [
        tap
        for tap in allowed
        if count * sub_type.delivered_w(tap) >= needed_w * float(power_ratio(-tolerance_db))
    ]
    tap = enough[0] if enough else allowed[-1]
    delivered_w = count * sub_type.delivered_w(tap)
    return TapPlan(
        count=count,
        tap=tap,
        needed_w=needed_w,
        delivered_w=delivered_w,
        drawn_w=count * sub_type.drawn_w(tap),
        tilt_db=float(power_ratio_db(delivered_w / needed_w)),
        is_enough=bool(enough),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MainsAtCrossover:
    """The other speakers of the room, as far as the crossover needs them.

    Parameters
    ----------
    position_m : (n_mains, 2)
        Plan positions. [m]
    power_w : (n_mains,)
        Power at each loudspeaker at nominal line voltage. [W]
    sensitivity_db : (n_mains,)
        Level at 1 W and 1 m about the crossover, half space. [dB]
    low_limit_hz
        Highest low limit among them, transformer included. [Hz]
    """

    position_m: FloatArray
    power_w: FloatArray
    sensitivity_db: FloatArray
    low_limit_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PolarityTest:
    """What a meter at the seats should show when a subwoofer's polarity is swapped.

    Parameters
    ----------
    band_label
        Third octave to play.
    difference_db
        Level as wired over level with the subwoofers swapped, energy mean over seats. [dB]
    delay_s
        Delay of the subwoofers, in the louder polarity, that sums best; negative: delay the
        others. [s]
    gain_db
        What that delay adds to the louder polarity. [dB]
    """

    band_label: str
    difference_db: float
    delay_s: float
    gain_db: float


def predict_polarity(
    *,
    sub_pressure: NDArray[np.complex128],
    mains_pressure: NDArray[np.complex128],
    frequency_hz: FloatArray,
    band_label: str,
    delay_most_s: float,
) -> PolarityTest:
    """Predict the polarity test at the crossover, both filtered to the same phase there.

    Parameters
    ----------
    sub_pressure, mains_pressure : (n_seats, n_tones)
        Complex pressure of all subwoofers, and of all other speakers.
    frequency_hz : (n_tones,)
        Tones of the third octave at the crossover. [Hz]
    band_label
        Its nominal label.
    delay_most_s
        Longest delay tried either way. [s]

    Returns
    -------
    PolarityTest
        Difference of the two polarities as they stand, and the delay that sums best.

    References
    ----------
    Derived here; in phase at equal drive as with filters of the fourth order (common practice).
    """
    plus = float(power_ratio_db(np.mean(np.abs(mains_pressure + sub_pressure) ** 2)))
    minus = float(power_ratio_db(np.mean(np.abs(mains_pressure - sub_pressure) ** 2)))
    sign = 1.0 if plus >= minus else -1.0
    quarter_s = 0.25 / float(np.mean(frequency_hz))  # beyond it the other polarity would be nearer
    steps = int(min(delay_most_s, quarter_s) * 2000.0)
    delays = np.arange(-steps, steps + 1) / 2000.0
    turn = sign * np.exp(-2j * np.pi * delays[:, None] * frequency_hz)
    sums = np.abs(mains_pressure[None] + sub_pressure[None] * turn[:, None, :]) ** 2
    level_db = power_ratio_db(sums.mean(axis=(1, 2)))
    good = np.flatnonzero(level_db >= level_db.max() - _AS_GOOD_DB)
    best = int(good[np.argmin(np.abs(delays[good]))])
    return PolarityTest(
        band_label=band_label,
        difference_db=plus - minus,
        delay_s=float(delays[best]),
        gain_db=float(level_db[best]) - max(plus, minus),
    )
