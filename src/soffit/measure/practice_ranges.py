"""Ranges from which practice lines are drawn: how real lines differ from their papers.

These ranges were fixed before any inference was written and are not tuned to it. They are
assumptions from common practice without a published source, wide on purpose: a real line is
allowed to be worse than the model that judges it.
"""

from dataclasses import dataclass
from typing import Final

Range = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeRanges:
    """How imperfect practice lines are; pairs are drawn evenly between their ends.

    Parameters
    ----------
    batches
        A line holds loudspeakers of one to this many production batches, in stretches of the line.
    voice_coil_ohm
        Voice coil resistance of a batch, 8 Ω nominal. [Ω]
    voice_coil_sd
        Relative scatter of one piece within its batch.
    coil_inductance_mh
        Voice coil inductance of a batch. [mH]
    coil_eddy_ohm
        Resistance across that inductance (eddy currents). [Ω]
    resonance_hz
        Resonance of a batch. [Hz]
    resonance_sd
        Relative scatter of the resonance of one piece.
    mechanical_q, electrical_q
        Quality factors of the resonance.
    second_resonance_share
        Part of the batches with a second resonance (back can, tile).
    second_resonance_factor
        Second resonance over first.
    second_resonance_height
        Its height over the voice coil resistance.
    second_resonance_q
        Its quality factor.
    winding_share
        Winding resistance of a batch over the tap impedance: insertion loss 0.3 to 1 dB.
    ratio_sd
        Relative scatter of the impedance ratio of a batch.
    piece_sd
        Relative scatter of the whole impedance of one piece within its batch.
    shunt_ratio
        Reactance of the shunt inductance at 70 Hz over the tap impedance, of a batch.
    shunt_sd
        Relative scatter of the shunt inductance of one piece.
    leakage_ratio
        Reactance of the leakage inductance at 10 kHz over the tap impedance.
    core_ratio
        Core loss resistance over the tap impedance.
    convention_wrong_share
        Part of the lines whose papers mistake delivered tap watts for drawn ones.
    capacitor_share
        Part of the lines where one batch has an unplanned capacitor before its voice coils.
    capacitor_uf
        Its capacitance. [µF]
    length_common
        Real over planned length, common to the line (people forget the drops).
    length_sd
        Relative scatter of one run.
    slack_m
        Slack left at each loudspeaker. [m]
    conductor_degc
        Temperature of the copper on the day. [°C]
    wire_common
        Real over tabled resistance at 20 °C.
    joint_ohm
        Resistance of the terminals of each joint. [Ω]
    cable_inductance_uh_m, cable_capacitance_pf_m
        Of the loop. [µH/m], [pF/m]
    meter_gain_sd
        Gain error of one instrument.
    meter_noise_sd
        Relative scatter of one reading.
    meter_digits
        Significant digits shown.
    meter_lead_ohm
        Resistance of the test leads. [Ω]
    meter_floor_ohm, meter_ceiling_ohm
        Below and above these the meter shows "<" and ">". [Ω]
    clamp_floor_a
        Least current that a clamp shows. [A]
    ear_sd_db
        Error of a comparison by ear, room included. [dB]
    ear_step_db
        Difference from the plan that a listener calls loud or faint. [dB]
    ear_silent_db
        Level below plan that a listener calls silent. [dB]
    ear_lapse
        Part of the judgements by ear that are wrong for no reason (wrong tile, talk, ducts).
    """

    batches: int = 3
    voice_coil_ohm: Range = (5.6, 7.2)
    voice_coil_sd: float = 0.03
    coil_inductance_mh: Range = (0.15, 0.8)
    coil_eddy_ohm: Range = (6.0, 30.0)
    resonance_hz: Range = (60.0, 150.0)
    resonance_sd: float = 0.08
    mechanical_q: Range = (2.0, 6.0)
    electrical_q: Range = (0.5, 1.3)
    second_resonance_share: float = 0.4
    second_resonance_factor: Range = (1.8, 5.0)
    second_resonance_height: Range = (0.15, 0.8)
    second_resonance_q: Range = (1.0, 4.0)
    winding_share: Range = (0.06, 0.2)
    ratio_sd: float = 0.02
    piece_sd: float = 0.05
    shunt_ratio: Range = (0.8, 4.0)
    shunt_sd: float = 0.12
    leakage_ratio: Range = (0.05, 0.45)
    core_ratio: Range = (8.0, 30.0)
    convention_wrong_share: float = 0.15
    capacitor_share: float = 0.06
    capacitor_uf: Range = (33.0, 220.0)
    length_common: Range = (0.95, 1.2)
    length_sd: float = 0.10
    slack_m: Range = (0.2, 1.5)
    conductor_degc: Range = (15.0, 45.0)
    wire_common: Range = (0.98, 1.06)
    joint_ohm: Range = (0.005, 0.08)
    cable_inductance_uh_m: Range = (0.5, 0.8)
    cable_capacitance_pf_m: Range = (50.0, 150.0)
    meter_gain_sd: float = 0.01
    meter_noise_sd: float = 0.005
    meter_digits: int = 3
    meter_lead_ohm: Range = (0.02, 0.25)
    meter_floor_ohm: float = 1.0
    meter_ceiling_ohm: float = 20_000.0
    clamp_floor_a: float = 0.01
    ear_sd_db: float = 1.5
    ear_step_db: float = 3.5
    ear_silent_db: float = 18.0
    ear_lapse: float = 0.01


PRACTICE_RANGES: Final = PracticeRanges()
"""Ranges used for practice, for the published calibration and for the tests."""
