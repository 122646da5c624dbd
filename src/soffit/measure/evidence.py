"""Readings as evidence: what was read where, exact or censored, by instrument or by ear."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from scipy.special import expit, ndtr

from soffit.circuit.arrays import FloatArray
from soffit.measure.line_plan import LinePlan
from soffit.measure.predict import Look

Heard = Literal["heard", "silent", "loud", "faint"]
Told = Literal["heard", "silent", "loud", "faint", "distorted"]
"""What a walk asks for, and what people say besides."""
TYPICAL_OHM: Final = 100.0
KIN_OCTAVES: Final = 3.0
"""Octaves over which the model's error stays alike (common practice, no source)."""
CONTACT_OHM: Final = 0.03
"""How differently two contacts of the same leads come out (common practice, no source). [Ω]"""
HEARD: Final[tuple[Heard, ...]] = ("heard", "silent", "loud", "faint")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One reading of an instrument.

    Parameters
    ----------
    look
        What was read.
    value
        Ohms; or volts or amperes over one volt at the rack. [Ω]
    bound
        ``=`` for a value, ``<`` or ``>`` for a censored one.
    """

    look: Look
    value: float
    bound: Literal["=", "<", ">"] = "="


@dataclass(frozen=True, slots=True, kw_only=True)
class Listened:
    """One judgement by ear, or one level from the floor.

    Parameters
    ----------
    place
        Index of the place; -1 for the line as a whole.
    word
        What was heard; empty for a level.
    over_plan_db
        Level over the plan's, for a level. [dB]
    """

    place: int
    word: Told | Literal[""] = ""
    over_plan_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """All readings since the last mend, and the log of the healthy line.

    Parameters
    ----------
    shown, listened
        Readings of instruments and ears.
    log
        Hand-over log of the healthy line; may be empty.
    sound
        Places found sound or mended, which are no longer suspected.
    """

    shown: tuple[Shown, ...] = ()
    listened: tuple[Listened, ...] = ()
    log: tuple[Shown, ...] = ()
    sound: frozenset[int] = field(default_factory=frozenset)

    @property
    def tones_hz(self) -> tuple[float, ...]:
        """Tones that were used. [Hz]."""
        return tuple(sorted({item.look.tone_hz for item in (*self.shown, *self.log)}))


def noise_matrix(
    looks: Sequence[Look],
    limits: Mapping[str, float],
    *,
    ohm: Sequence[float] = (),
    is_logged: bool = False,
) -> FloatArray:
    """Covariance (n_looks, n_looks) of ln(reading) that no unknown of the line explains.

    Parameters
    ----------
    looks
        What is read.
    limits
        Settings by name.
    ohm
        Values, for the contacts of the leads; large ones by default. [Ω]
    is_logged
        Whether a log of the healthy line takes most of the model's error away.

    Returns
    -------
    (n_looks, n_looks)
        Scatter of each reading on its diagonal; the model's error is shared by the tones of one
        look, so that many tones at one joint do not count as many proofs.
    """
    error = limits["logged_model_error_sd" if is_logged else "model_error_sd"]
    values = list(ohm) or [TYPICAL_OHM] * len(looks)
    model, own = np.zeros(len(looks)), np.zeros(len(looks))
    for m, (look, value) in enumerate(zip(looks, values, strict=True)):
        octaves = abs(math.log2(look.tone_hz / 1000.0))
        model[m] = error * (1.0 + octaves)
        match look.direction:
            case "volts":
                model[m], own[m] = 0.0, limits["voltage_reading_sd"]
            case "amps":
                own[m] = limits["clamp_reading_sd"]
            case _:
                contact = CONTACT_OHM / max(value, 0.3)
                own[m] = math.hypot(limits["meter_noise_sd"], contact)
    near = np.asarray(
        [[_kinship(one, two) for two in looks] for one in looks], dtype=np.float64
    ).reshape(len(looks), len(looks))
    return np.diag(own**2) + np.outer(model, model) * near


def _kinship(one: Look, two: Look) -> float:
    """Correlation of the model's error between two looks: tones of one look, by octaves apart."""
    if (one.direction, one.place) != (two.direction, two.place):
        return 0.0
    return math.exp(-abs(math.log2(one.tone_hz / two.tone_hz)) / KIN_OCTAVES)


def ear_log_likelihood(
    excess_db: FloatArray,
    rack_ratio: FloatArray,
    listened: Sequence[Listened],
    plan: LinePlan,
    limits: Mapping[str, float],
) -> FloatArray:
    """Log likelihood (n_suspects,) of what was heard.

    Parameters
    ----------
    excess_db : (n_suspects, n_places)
        Level of each loudspeaker over its plan. [dB]
    rack_ratio : (n_suspects,)
        |Z| at the rack over the plan's.
    listened
        What was heard.
    plan
        The line.
    limits
        Settings by name.

    Returns
    -------
    (n_suspects,)
        Sum over judgements.
    """
    total = np.zeros(len(excess_db))
    words = [item for item in listened if item.place >= 0 and item.word]
    if words:
        table = np.log(word_probability(excess_db, plan, limits))
        for item in words:
            if item.word == "distorted":
                one = distorted_probability(excess_db[:, item.place], limits)
                total += np.log(one)
            else:
                total += table[:, item.place, HEARD.index(item.word or "heard")]
    sd = limits["level_reading_sd_db"]
    for item in listened:
        if item.place < 0 and item.word == "distorted":
            usual = np.median(excess_db[:, list(plan.speakers)], axis=1)
            total += np.log(distorted_probability(usual, limits))
        elif item.place < 0 and item.word:
            word: Heard = "silent" if item.word == "silent" else "heard"
            total += np.log(line_word_probability(excess_db, rack_ratio, word, plan, limits))
        elif not item.word:
            off = (item.over_plan_db - np.maximum(excess_db[:, item.place], -25.0)) / sd
            total += -2.5 * np.log1p(off**2 / 4.0)
    return total


def distorted_probability(excess_db: FloatArray, limits: Mapping[str, float]) -> FloatArray:
    """Probability (n_suspects,) that a loudspeaker is called distorted.

    A tap beyond the loudspeaker, a transformer for a lower voltage (which saturates) and the
    low-impedance bypass drive it over its plan; a damaged cone and a rattle are on no list.

    Parameters
    ----------
    excess_db : (n_suspects,)
        Level over plan. [dB]
    limits
        Settings by name.
    """
    sd = limits["ear_sd_db"]
    sounds = ndtr((excess_db + limits["ear_silent_db"]) / sd)
    driven = ndtr((excess_db - limits["ear_overdriven_db"]) / sd)
    lapse = limits["ear_lapse_share"]
    told = limits["ear_distorted_share"] * driven + lapse
    return np.asarray(np.maximum(sounds * told, lapse / 10.0))


def word_probability(
    excess_db: FloatArray, plan: LinePlan, limits: Mapping[str, float]
) -> FloatArray:
    """Probability (n_suspects, n_places, 4) of each word of ``HEARD`` under each loudspeaker.

    Loud and faint are judged against the other loudspeakers of the line, silent against nothing.

    Parameters
    ----------
    excess_db : (n_suspects, n_places)
        Level of each loudspeaker over its plan. [dB]
    plan
        The line.
    limits
        Settings by name.
    """
    speakers = list(plan.speakers)
    usual = np.median(excess_db[:, speakers], axis=1, keepdims=True)
    sd, step = limits["ear_sd_db"], limits["ear_step_db"]
    silent = ndtr((-limits["ear_silent_db"] - excess_db) / sd)
    loud = ndtr((excess_db - usual - step) / sd) * (1.0 - silent)
    faint = ndtr((usual - step - excess_db) / sd) * (1.0 - silent)
    heard = np.maximum(1.0 - silent - loud - faint, 0.0)
    parts = np.stack([heard, silent, loud, faint], axis=2)
    parts = parts / np.sum(parts, axis=2, keepdims=True)
    lapse = limits["ear_lapse_share"]
    return np.asarray((1.0 - lapse) * parts + lapse / len(HEARD))


def line_word_probability(
    excess_db: FloatArray,
    rack_ratio: FloatArray,
    word: Heard,
    plan: LinePlan,
    limits: Mapping[str, float],
) -> FloatArray:
    """Probability (n_suspects,) of one word about the whole line: ``silent`` or anything else.

    Parameters
    ----------
    excess_db : (n_suspects, n_places)
        Level of each loudspeaker over its plan. [dB]
    rack_ratio : (n_suspects,)
        |Z| at the rack over the plan's.
    word
        What was heard.
    plan
        The line.
    limits
        Settings by name.
    """
    protects = expit((np.log(limits["protect_ratio"]) - np.log(rack_ratio)) / 0.25)
    all_dead = np.all(excess_db[:, list(plan.speakers)] < -limits["ear_silent_db"], axis=1)
    silent = np.where(all_dead, 1.0, protects)
    lapse = limits["ear_lapse_share"]
    probability = silent if word == "silent" else 1.0 - silent
    return np.asarray((1.0 - lapse) * probability + lapse / 2.0)
