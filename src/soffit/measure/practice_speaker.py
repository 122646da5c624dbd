"""One real loudspeaker with its transformer, as the practice lines draw it.

Nothing here is shared with the model that judges readings: the equivalent circuit is the
textbook one of a small transformer (winding resistances, leakage, shunt inductance, core loss)
that feeds a moving coil loudspeaker (voice coil resistance, lossy inductance, one or two parallel
resonances). Derived here from those two equivalent circuits; no published parameters.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from soffit.measure.practice_ranges import PracticeRanges, Range

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]

NOMINAL_COIL_OHM = 8.0
LEAKAGE_HZ = 10_000.0
SHUNT_HZ = 70.0


def draw(rng: np.random.Generator, ends: Range) -> float:
    """Draw evenly between the ends of a range."""
    return float(rng.uniform(*ends))


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenSpeaker:
    """What is really behind one grille.

    Parameters
    ----------
    voice_coil_ohm
        Resistance of the voice coil; infinite when it is burnt open. [Ω]
    coil_inductance_h
        Inductance of the voice coil. [H]
    coil_eddy_ohm
        Resistance across it. [Ω]
    resonances
        Frequency [Hz], height [Ω] and quality factor of each resonance.
    capacitor_f
        Series capacitance before the voice coil; infinite when there is none. [F]
    winding_share, shunt_ratio, leakage_ratio, core_ratio
        Transformer, over the tap impedance (see ``PracticeRanges``).
    ratio_error
        Impedance ratio over its design value.
    """

    voice_coil_ohm: float
    coil_inductance_h: float
    coil_eddy_ohm: float
    resonances: tuple[tuple[float, float, float], ...]
    capacitor_f: float
    winding_share: float
    shunt_ratio: float
    leakage_ratio: float
    core_ratio: float
    ratio_error: float

    def coil_ohm(self, frequency_hz: FloatArray) -> ComplexArray:
        """Impedance of the bare loudspeaker.

        Parameters
        ----------
        frequency_hz : (n,)
            Frequencies. [Hz]

        Returns
        -------
        (n,)
            Complex impedance. [Ω]
        """
        s = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
        eddy = s * self.coil_inductance_h
        total = self.voice_coil_ohm + eddy * self.coil_eddy_ohm / (eddy + self.coil_eddy_ohm)
        for resonance_hz, height_ohm, quality_factor in self.resonances:
            x = frequency_hz / resonance_hz
            total = total + height_ohm / (1.0 + 1j * quality_factor * (x - 1.0 / x))
        if math.isfinite(self.capacitor_f):
            total = total + 1.0 / (s * self.capacitor_f)
        return np.asarray(total, dtype=np.complex128)

    def line_ohm(
        self, frequency_hz: FloatArray, *, tap_ohm: float, is_delivered: bool
    ) -> ComplexArray:
        """Impedance that the line sees at one tap.

        Parameters
        ----------
        frequency_hz : (n,)
            Frequencies. [Hz]
        tap_ohm
            U²/P printed on the tap. [Ω]
        is_delivered
            Whether the printed watts reach the loudspeaker, so that more is drawn.

        Returns
        -------
        (n,)
            Complex impedance. [Ω]
        """
        keep = 1.0 - self.winding_share
        scale = tap_ohm * (keep if is_delivered else 1.0)
        squared_ratio = keep * scale / NOMINAL_COIL_OHM * self.ratio_error
        winding = self.winding_share * scale
        omega = 2.0 * np.pi * np.asarray(frequency_hz, dtype=np.float64)
        shunt = 1j * omega * self.shunt_ratio * tap_ohm / (2.0 * np.pi * SHUNT_HZ)
        core = self.core_ratio * tap_ohm
        leakage = 1j * omega * self.leakage_ratio * tap_ohm / (2.0 * np.pi * LEAKAGE_HZ)
        across = 1.0 / shunt + 1.0 / core
        if math.isfinite(self.voice_coil_ohm):
            across = across + 1.0 / (winding / 2.0 + squared_ratio * self.coil_ohm(frequency_hz))
        return np.asarray(winding / 2.0 + leakage + 1.0 / across, dtype=np.complex128)

    def delivered_share(
        self, frequency_hz: FloatArray, *, tap_ohm: float, is_delivered: bool
    ) -> FloatArray:
        """Power that turns up in the loudspeaker at 1 V on the primary.

        Parameters
        ----------
        frequency_hz : (n,)
            Frequencies. [Hz]
        tap_ohm
            U²/P printed on the tap. [Ω]
        is_delivered
            Whether the printed watts reach the loudspeaker.

        Returns
        -------
        (n,)
            Power per square volt, zero for a burnt voice coil. [W/V²]
        """
        if not math.isfinite(self.voice_coil_ohm):
            return np.zeros_like(np.asarray(frequency_hz, dtype=np.float64))
        keep = 1.0 - self.winding_share
        scale = tap_ohm * (keep if is_delivered else 1.0)
        squared_ratio = keep * scale / NOMINAL_COIL_OHM * self.ratio_error
        coil = squared_ratio * self.coil_ohm(frequency_hz)
        total = self.line_ohm(frequency_hz, tap_ohm=tap_ohm, is_delivered=is_delivered)
        # The shunt takes little current at the tones by which people judge loudness.
        return np.asarray(coil.real / np.abs(total) ** 2, dtype=np.float64)


def draw_batch(rng: np.random.Generator, ranges: PracticeRanges) -> HiddenSpeaker:
    """Draw the mean piece of one production batch."""
    coil = draw(rng, ranges.voice_coil_ohm)
    mechanical = draw(rng, ranges.mechanical_q)
    height = coil * mechanical / draw(rng, ranges.electrical_q)
    first_hz = draw(rng, ranges.resonance_hz)
    resonances = [(first_hz, height, mechanical)]
    if rng.random() < ranges.second_resonance_share:
        second_hz = first_hz * draw(rng, ranges.second_resonance_factor)
        resonances.append(
            (
                second_hz,
                coil * draw(rng, ranges.second_resonance_height),
                draw(rng, ranges.second_resonance_q),
            )
        )
    return HiddenSpeaker(
        voice_coil_ohm=coil,
        coil_inductance_h=draw(rng, ranges.coil_inductance_mh) * 1e-3,
        coil_eddy_ohm=draw(rng, ranges.coil_eddy_ohm),
        resonances=tuple(resonances),
        capacitor_f=math.inf,
        winding_share=draw(rng, ranges.winding_share),
        shunt_ratio=draw(rng, ranges.shunt_ratio),
        leakage_ratio=draw(rng, ranges.leakage_ratio),
        core_ratio=draw(rng, ranges.core_ratio),
        ratio_error=math.exp(ranges.ratio_sd * rng.standard_normal()),
    )


def draw_piece(
    rng: np.random.Generator, batch: HiddenSpeaker, ranges: PracticeRanges
) -> HiddenSpeaker:
    """Draw one piece of a batch."""
    shift = math.exp(ranges.resonance_sd * rng.standard_normal())
    return replace(
        batch,
        voice_coil_ohm=batch.voice_coil_ohm
        * math.exp(ranges.voice_coil_sd * rng.standard_normal()),
        resonances=tuple((hz * shift, ohm, q) for hz, ohm, q in batch.resonances),
        shunt_ratio=batch.shunt_ratio * math.exp(ranges.shunt_sd * rng.standard_normal()),
        ratio_error=batch.ratio_error * math.exp(ranges.piece_sd * rng.standard_normal()),
    )
