"""STI at many ears from many speakers: direct sound, late sound, arrival times, noise.

Derived here from the complex modulation transfer of an energy response,
m(F) = |Σ_j (E_ij + L_ij / (1 + 2 π i F T / 13.8)) exp(-2 π i F t_ij)| / Σ_j (E_ij + L_ij),
where the late energy L_ij of speaker j begins with its direct sound at t_ij and decays with T.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.acoustics.bands import FloatArray
from soffit.acoustics.sti import (
    DECAY,
    N_STI_BANDS,
    modulation_frequencies_hz,
    speech_share,
    sti_from_transfer_indices,
    transmission_indices,
)
from soffit.decibel import power_ratio

PAIRS_AT_ONCE: Final = 30_000

# Frequencies whose phase factors are squares of others: 0.8 -> 1.6, 1 -> 2 -> 4 -> 8, ...
_DOUBLE_OF: Final = {4: 1, 5: 2, 6: 3, 8: 5, 9: 6, 10: 7, 11: 8, 12: 9}


def phase_factors(delay_s: FloatArray) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Cosine and sine of 2 π F t at the 14 modulation frequencies.

    Parameters
    ----------
    delay_s : (n_points, n_speakers)
        Arrival times re the first at each point. [s]

    Returns
    -------
    cosine, sine : (n_points, 14, n_speakers)
        Single precision; eight of the fourteen by doubling the angle.
    """
    frequency = modulation_frequencies_hz()
    cosine = np.empty((delay_s.shape[0], frequency.size, delay_s.shape[1]), dtype=np.float32)
    sine = np.empty_like(cosine)
    delay = delay_s.astype(np.float32)
    for index, hertz in enumerate(frequency):
        if index in _DOUBLE_OF:
            half = _DOUBLE_OF[index]
            c, s = cosine[:, half], sine[:, half]
            cosine[:, index] = c * c - s * s
            sine[:, index] = 2.0 * c * s
        else:
            angle = delay * np.float32(2.0 * np.pi * hertz)
            np.cos(angle, out=cosine[:, index])
            np.sin(angle, out=sine[:, index])
    return cosine, sine


def sti_at_points(
    *,
    direct_energy: ArrayLike,
    late_energy: ArrayLike,
    delay_s: ArrayLike,
    reverberation_time_s: ArrayLike,
    noise_level_db: ArrayLike,
) -> FloatArray:
    """STI at points, from energies that already carry the speech spectrum and the taps.

    Parameters
    ----------
    direct_energy : (n_points, n_speakers, 7)
        Direct energy of speech, re (20 µPa)², 125 Hz to 8 kHz.
    late_energy : (n_speakers, 7)
        Energy of the whole reverberant field that each speaker feeds; of it a share
        exp(-13.8 t / T) reaches a point t after the sound left the speaker.
    delay_s : (n_points, n_speakers)
        Travel time plus electrical delay. [s]
    reverberation_time_s : (7,)
        T. [s]
    noise_level_db : (7,)
        Noise octave levels; -inf for none. [dB]

    Returns
    -------
    (n_points,)
        STI.
    """
    direct = np.asarray(direct_energy)
    delay = np.asarray(delay_s)
    late = np.asarray(late_energy, dtype=np.float64)
    time = np.asarray(reverberation_time_s, dtype=np.float64)
    noise = power_ratio(noise_level_db)
    result = np.empty(len(direct))
    step = max(1, PAIRS_AT_ONCE // max(1, direct.shape[1]))
    for first in range(0, len(direct), step):
        part = slice(first, first + step)
        result[part] = _sti_part(direct[part], late, delay[part], time, noise)
    return result


def _sti_part(
    direct: NDArray[np.floating],
    late: FloatArray,
    delay: NDArray[np.floating],
    time: FloatArray,
    noise: FloatArray,
) -> FloatArray:
    scale = 1.0 / max(float(direct.max(initial=0.0)), float(late.max(initial=0.0)), 1e-30)
    joint = np.empty((direct.shape[0], direct.shape[1], 2 * N_STI_BANDS), dtype=np.float32)
    joint[..., :N_STI_BANDS] = direct * scale
    decay = (-DECAY / time).astype(np.float32)
    np.multiply(delay[..., None], decay, out=joint[..., N_STI_BANDS:], casting="same_kind")
    np.exp(joint[..., N_STI_BANDS:], out=joint[..., N_STI_BANDS:])
    joint[..., N_STI_BANDS:] *= (late * scale).astype(np.float32)
    cosine, sine = phase_factors(delay - delay.min(axis=1, keepdims=True))
    real, imaginary = np.matmul(cosine, joint), np.matmul(sine, joint)
    filtered = 1.0 / (
        1.0 + 2j * np.pi * modulation_frequencies_hz()[:, None] * time[None, :] / DECAY
    )
    response = (real - 1j * imaginary).astype(np.complex128)
    summed = response[..., :N_STI_BANDS] + response[..., N_STI_BANDS:] * filtered
    energy = joint.sum(axis=1, dtype=np.float64)
    whole = energy[:, :N_STI_BANDS] + energy[:, N_STI_BANDS:]
    modulation = np.abs(summed) / np.maximum(whole, 1e-300)[:, None, :]
    share = speech_share(speech_energy=whole / scale, noise_energy=noise)
    index = transmission_indices(modulation * share[:, None, :])
    return sti_from_transfer_indices(np.mean(index, axis=1))
