"""Speech transmission index from modulation transfer, level, noise, masking and threshold.

References
----------
IEC 60268-16:2020 (edition 5) and IEC 60268-16:2011 (edition 4), annex A. Weights, thresholds and
masking are the same in both for the male spectrum; the speech spectrum is not.
"""

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import FloatArray
from soffit.acoustics.spectrum import Edition
from soffit.decibel import power_ratio, power_ratio_db
from soffit.errors import DomainError
from soffit.tables.load import load_table

N_STI_BANDS: Final = 7
DECAY: Final = 13.8
"""6 ln 10 as the standard prints it: 60 dB in T is a decay constant of T / 13.8."""

RATINGS: Final = ((0.75, "excellent"), (0.60, "good"), (0.45, "fair"), (0.30, "poor"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tables:
    alpha: FloatArray
    beta: FloatArray
    threshold_energy: FloatArray
    modulation_hz: FloatArray
    masking: tuple[tuple[float, float, float], ...]


@cache
def _tables() -> _Tables:
    weights = load_table("sti_weights")
    masking = load_table("sti_masking")
    return _Tables(
        alpha=np.array(weights.values("alpha")),
        beta=np.array([float(row["beta"]) for row in weights.rows if "beta" in row]),
        threshold_energy=power_ratio(weights.values("threshold_db")),
        modulation_hz=np.array(load_table("sti_modulation").values("modulation_hz")),
        masking=tuple(
            zip(
                masking.values("below_db"),
                masking.values("slope"),
                masking.values("constant_db"),
                strict=True,
            )
        ),
    )


def modulation_frequencies_hz() -> FloatArray:
    """Modulation frequencies of the STI.

    Returns
    -------
    (14,)
        0.63 Hz to 12.5 Hz. [Hz]
    """
    return _tables().modulation_hz.copy()


def octave_weights() -> tuple[FloatArray, FloatArray]:
    """Octave weights α (7,) and redundancies β (6,) of neighbouring octaves.

    Returns
    -------
    alpha, beta
        Sum of α less sum of β is one.
    """
    return _tables().alpha.copy(), _tables().beta.copy()


def modulation_of_decay(reverberation_time_s: ArrayLike) -> FloatArray:
    """Modulation transfer of an exponential decay.

    Parameters
    ----------
    reverberation_time_s : (...)
        T. [s]

    Returns
    -------
    (..., 14)
        m(F) = 1 / sqrt(1 + (2 π F T / 13.8)²).

    References
    ----------
    IEC 60268-16:2020, annex A (after Houtgast and Steeneken 1980).

    Examples
    --------
    >>> float(modulation_of_decay(1.0)[2].round(4))
    0.9101
    """
    time = np.asarray(reverberation_time_s, dtype=np.float64)[..., None]
    turn = 2.0 * np.pi * _tables().modulation_hz * time / DECAY
    return np.asarray(1.0 / np.sqrt(1.0 + turn**2))


def masking_level_db(level_db: ArrayLike) -> FloatArray:
    """Level-dependent auditory masking that a band throws on the next higher one.

    Parameters
    ----------
    level_db : (...)
        Level of speech and noise together in the lower band. [dB]

    Returns
    -------
    (...)
        Masking re that level. [dB]

    References
    ----------
    IEC 60268-16:2020, Table A.2.

    Examples
    --------
    >>> masking_level_db([50.0, 65.0, 80.0, 120.0]).round(1).tolist()
    [-40.0, -29.9, -19.8, -10.0]
    """
    level = np.asarray(level_db, dtype=np.float64)
    rows = _tables().masking
    return np.asarray(
        np.select(
            [level < below for below, _, _ in rows[:-1]],
            [slope * level + constant for _, slope, constant in rows[:-1]],
            default=rows[-1][2],
        )
    )


def speech_share(*, speech_energy: FloatArray, noise_energy: FloatArray | float) -> FloatArray:
    """Share of the modulation that noise, masking and the threshold of hearing leave.

    Parameters
    ----------
    speech_energy : (..., 7)
        Energy of the speech per band, re (20 µPa)².
    noise_energy : (..., 7)
        Energy of the noise per band.

    Returns
    -------
    (..., 7)
        I / (I + I_n + I_am + I_rt), 0 where there is no speech.

    References
    ----------
    IEC 60268-16:2020, A.5.3.
    """
    total = speech_energy + noise_energy
    with np.errstate(divide="ignore"):
        lower = power_ratio_db(total[..., :-1])
    masked = np.zeros_like(total)
    finite = np.isfinite(lower)
    masked[..., 1:][finite] = total[..., :-1][finite] * power_ratio(masking_level_db(lower[finite]))
    return np.asarray(speech_energy / (total + masked + _tables().threshold_energy))


def transmission_indices(modulation: FloatArray) -> FloatArray:
    """Transmission index of a modulation transfer value.

    Parameters
    ----------
    modulation : (...)
        m, 0 to 1; above 1 is cut.

    Returns
    -------
    (...)
        TI = (10 lg(m / (1 - m)), cut to ±15 dB, + 15) / 30.

    References
    ----------
    IEC 60268-16:2020, A.5.4 and A.5.5.
    """
    m = np.clip(modulation, 0.0, 1.0)
    with np.errstate(divide="ignore"):
        snr = power_ratio_db(m / np.where(m < 1.0, 1.0 - m, 1e-300))
    return np.asarray((np.clip(snr, -15.0, 15.0) + 15.0) / 30.0)


def sti_from_transfer_indices(mti: ArrayLike) -> FloatArray:
    """Speech transmission index of the octaves' modulation transfer indices.

    Parameters
    ----------
    mti : (..., 7)
        Mean transmission index of each octave, 125 Hz to 8 kHz.

    Returns
    -------
    (...)
        Σ α MTI - Σ β sqrt(MTI_k MTI_k+1), cut to 0 to 1.

    References
    ----------
    IEC 60268-16:2020, A.5.6 and Table A.1.

    Examples
    --------
    >>> float(sti_from_transfer_indices([0, 0, 0, 0, 1, 1, 0]).round(3))
    0.486
    """
    index = np.asarray(mti, dtype=np.float64)
    tables = _tables()
    raw = index @ tables.alpha - np.sqrt(index[..., :-1] * index[..., 1:]) @ tables.beta
    return np.asarray(np.clip(raw, 0.0, 1.0))


def transfer_indices(
    *,
    modulation: ArrayLike,
    speech_level_db: ArrayLike | None = None,
    noise_level_db: ArrayLike | None = None,
    snr_db: ArrayLike | None = None,
) -> FloatArray:
    """Modulation transfer index of each octave.

    Parameters
    ----------
    modulation : (..., 7, 14)
        Modulation transfer of the room (and system) without noise.
    speech_level_db : (..., 7)
        Speech octave levels at the ear; without them masking and threshold are left out. [dB]
    noise_level_db : (..., 7)
        Noise octave levels; none by default. Needs ``speech_level_db``. [dB]
    snr_db : (..., 7)
        Signal-to-noise ratio, for use without levels. [dB]

    Returns
    -------
    (..., 7)
        MTI.

    Raises
    ------
    DomainError
        If bands are missing, a value is not a number, or noise comes without speech.
    """
    m = np.asarray(modulation, dtype=np.float64)
    if m.ndim < 2 or m.shape[-2] != N_STI_BANDS or not np.all(m >= 0.0):
        msg = f"modulation has shape {m.shape} or holds what is no number"
        raise DomainError(
            msg, where="modulation", why="(..., 7, 14) of 0 to 1 is wanted", do="check the bands"
        )
    m = np.minimum(m, 1.0)
    if speech_level_db is None:
        if noise_level_db is not None:
            msg = "noise levels without speech levels"
            raise DomainError(
                msg, where="noise_level_db", why="a ratio is needed", do="give both or snr_db"
            )
        if snr_db is not None:
            m = m / (1.0 + power_ratio(-np.asarray(snr_db, dtype=np.float64)))[..., None]
        return np.asarray(np.mean(transmission_indices(m), axis=-1))
    speech = power_ratio(_seven(speech_level_db, "speech_level_db"))
    noise: FloatArray | float = 0.0
    if noise_level_db is not None:
        noise = power_ratio(_seven(noise_level_db, "noise_level_db"))
    elif snr_db is not None:
        noise = speech / power_ratio(_seven(snr_db, "snr_db"))
    share = speech_share(speech_energy=speech, noise_energy=noise)
    return np.asarray(np.mean(transmission_indices(m * share[..., None]), axis=-1))


def _seven(values: ArrayLike, name: str) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim == 0 or array.shape[-1] != N_STI_BANDS or np.any(np.isnan(array)):
        msg = f"{name} has shape {array.shape} or holds what is no number"
        raise DomainError(
            msg, where=name, why="seven octaves, 125 Hz to 8 kHz, are wanted", do="fill them in"
        )
    return array


def sti(
    *,
    modulation: ArrayLike,
    speech_level_db: ArrayLike | None = None,
    noise_level_db: ArrayLike | None = None,
    snr_db: ArrayLike | None = None,
) -> FloatArray:
    """Speech transmission index.

    Parameters
    ----------
    modulation : (..., 7, 14)
        Modulation transfer without noise, see `modulation_of_decay`.
    speech_level_db : (..., 7)
        Speech octave levels at the ear, 125 Hz to 8 kHz. [dB]
    noise_level_db : (..., 7)
        Noise octave levels. [dB]
    snr_db : (..., 7)
        Signal-to-noise ratio, for use without levels. [dB]

    Returns
    -------
    (...)
        STI.

    Examples
    --------
    >>> import numpy as np
    >>> decay = np.broadcast_to(modulation_of_decay(1.0), (7, 14))
    >>> float(sti(modulation=decay).round(3))
    0.588
    """
    return sti_from_transfer_indices(
        transfer_indices(
            modulation=modulation,
            speech_level_db=speech_level_db,
            noise_level_db=noise_level_db,
            snr_db=snr_db,
        )
    )


def sti_rating(value: float) -> str:
    """Word for an STI: bad, poor, fair, good or excellent.

    Parameters
    ----------
    value
        STI.

    Returns
    -------
    str
        Word.

    Examples
    --------
    >>> sti_rating(0.52)
    'fair'
    """
    for least, word in RATINGS:
        if value >= least:
            return word
    return "bad"


def sti_letter(value: float) -> str:
    """Qualification letter of an STI, U to A+, in steps of 0.04 from 0.36.

    Parameters
    ----------
    value
        STI.

    Returns
    -------
    str
        Letter. Measurements repeat to 0.02 or 0.03 only, so that it may be one letter off.

    References
    ----------
    IEC 60268-16:2020, annex F (read in one second source).

    Examples
    --------
    >>> sti_letter(0.35), sti_letter(0.50), sti_letter(0.76)
    ('U', 'G', 'A+')
    """
    letters = ("U", "J", "I", "H", "G", "F", "E", "D", "C", "B", "A", "A+")
    return letters[min(11, max(0, int(np.floor((value - 0.36) / 0.04 + 1e-9)) + 1))]


def method_text(edition: Edition) -> str:
    """Words that go with every STI: edition and method.

    Parameters
    ----------
    edition
        Edition of the speech spectrum.

    Returns
    -------
    str
        Edition, year and that it is predicted.
    """
    year = {5: 2020, 4: 2011}[edition]
    return f"STI predicted by IEC 60268-16:{year} (edition {edition}), male speech"
