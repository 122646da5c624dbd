"""How far a loudspeaker's impedance strays from U²/P: a prior over frequency, by drawing many.

The model is deliberately small: winding resistance, leakage, shunt inductance and one resonance.
It gives the mean of ln Z over the tap impedance, and two covariances: what all pieces of a
production batch share, and what each has of its own. Derived here from the textbook equivalent
circuits; ranges are common practice without a source, and IEC 60268-5 allows the modulus to fall
to 80 % of the rated impedance (from memory).
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from soffit.circuit.arrays import ComplexArray, FloatArray

BUMP_SD: Final = 0.03
BUMP_SD_OCTAVE: Final = 0.08
BUMP_SD_MOST: Final = 0.35
BUMP_OCTAVES: Final = 0.6
"""Spread of ln Z that the small model leaves out: at 1 kHz, per octave from there; its width."""
N_BATCHES: Final = 400
N_PIECES: Final = 6
SHARE_KEPT: Final = 0.98
OWN_MOST: Final = 4
"""Directions of one piece that are kept: there is a set for every loudspeaker."""
SEED: Final = 20_240_117
"""Draws behind the prior; the seed is fixed so that the same readings give the same answer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShapePrior:
    """Prior of ln(Z / Z_tap) at some tones, with Z_tap = U²/P drawn.

    Parameters
    ----------
    tones_hz : (n_tones,)
        Tones. [Hz]
    mean : (n_tones,)
        Mean of the complex logarithm.
    common : (n_common, n_tones)
        Directions in which a whole batch strays, one standard deviation each.
    own : (n_own, n_tones)
        Directions in which one piece strays from its batch.
    burnt, coil_short : (n_tones,)
        ln(Z / Z_tap) with the voice coil open, and shorted.
    bare : (n_tones,)
        ln(Z / Z_nominal) of the loudspeaker without its transformer.
    """

    tones_hz: tuple[float, ...]
    mean: ComplexArray
    common: ComplexArray
    own: ComplexArray
    burnt: ComplexArray
    coil_short: ComplexArray
    bare: ComplexArray

    def with_capacitor(self, capacitor_uf: float) -> ComplexArray:
        """ln(Z / Z_tap) (n_tones,) with a capacitor before an 8 Ω voice coil. [µF]."""
        omega = 2.0 * np.pi * np.asarray(self.tones_hz)
        extra = 1.0 / (1j * omega * capacitor_uf * 1e-6 * 8.0)
        # The shunt stays where it was; the coil branch is what is left of the admittance.
        shunt = 1.0 / np.exp(self.burnt)
        coil = 1.0 / (1.0 / np.exp(self.mean) - shunt)
        return np.asarray(np.log(1.0 / (shunt + 1.0 / (coil + 0.85 * extra))))


def _cone(tones_hz: FloatArray, parameters: FloatArray) -> ComplexArray:
    """Z / Z_nominal of the bare loudspeaker for rows of parameters: (n_rows, n_tones)."""
    _, _, _, coil, rise_hz, resonance_hz, height, quality = (
        column[:, None] for column in parameters.T
    )
    x = tones_hz[None, :] / resonance_hz
    rise = 1j * tones_hz[None, :] / rise_hz
    return np.asarray(coil * (1.0 + rise + height / (1.0 + 1j * quality * (x - 1.0 / x))))


def _normalised(
    tones_hz: FloatArray, parameters: FloatArray, *, burnt: bool = False, shorted: bool = False
) -> ComplexArray:
    """Z / Z_tap for rows of parameters (see ``_draw``): (n_rows, n_tones)."""
    winding, leak, shunt = (column[:, None] for column in parameters[:, :3].T)
    f = tones_hz[None, :]
    cone = _cone(tones_hz, parameters)
    if shorted:
        cone = 0.1 * np.ones_like(cone)
    series = winding / 2.0 + (1.0 - winding) * cone
    across = 1.0 / (1j * shunt * f / 70.0) + 0.05
    if not burnt:
        across = across + 1.0 / series
    return np.asarray(winding / 2.0 + 1j * leak * f / 1000.0 + 1.0 / across)


def _draw(
    rng: np.random.Generator, *, loss_db: float, low_limit_hz: float
) -> tuple[FloatArray, FloatArray]:
    """Rows of parameters of batches (n_batches, 8) and their pieces (n_batches, n_pieces, 8)."""
    n = N_BATCHES
    centre = loss_db if loss_db > 0.0 else 0.6

    def spread(middle: float, ratio: float) -> FloatArray:
        return np.asarray(middle * np.exp(rng.uniform(-math.log(ratio), math.log(ratio), n)))

    winding = 1.0 - np.exp(-spread(centre, 1.6) * math.log(10.0) / 10.0)
    batch = np.column_stack(
        [
            winding,
            spread(0.015, 3.0),
            spread(1.6 * low_limit_hz / 70.0, 2.2),
            0.88 * np.exp(0.12 * rng.standard_normal(n)),
            spread(3500.0, 2.2),
            spread(95.0, 1.7),
            spread(3.5, 2.0),
            spread(3.0, 1.8),
        ]
    )
    scatter = np.asarray([0.05, 0.1, 0.15, 0.05, 0.06, 0.08, 0.12, 0.12])
    pieces = batch[:, None, :] * np.exp(scatter * rng.standard_normal((n, N_PIECES, 8)))
    return batch, pieces


def _unknown_bumps(tones_hz: FloatArray) -> ComplexArray:
    """Directions for what the small model leaves out: back cans, tiles, a second resonance.

    A smooth random function of frequency, half an octave wide, that grows away from 1 kHz, where
    taps are made for; modulus and phase apart.
    """
    octaves = np.log2(tones_hz / 1000.0)
    sd = np.minimum(BUMP_SD + BUMP_SD_OCTAVE * np.abs(octaves), BUMP_SD_MOST)
    apart = np.subtract.outer(octaves, octaves)
    kernel = np.outer(sd, sd) * np.exp(-0.5 * (apart / BUMP_OCTAVES) ** 2)
    values, vectors = np.linalg.eigh(kernel)
    kept = values > 0.01 * np.max(values)
    rows = (vectors[:, kept] * np.sqrt(values[kept])).T
    return np.asarray(np.concatenate([rows.astype(np.complex128), 1j * rows]))


def _directions(samples: ComplexArray, *, most: int = 8) -> ComplexArray:
    """Principal directions (n_kept, n_tones) of centred complex samples (n, n_tones)."""
    flat = np.concatenate([samples.real, samples.imag], axis=1)
    covariance = flat.T @ flat / len(flat)
    values, vectors = np.linalg.eigh(covariance)
    order = np.argsort(values)[::-1]
    values, vectors = np.maximum(values[order], 0.0), vectors[:, order]
    kept = int(np.searchsorted(np.cumsum(values) / np.sum(values), SHARE_KEPT)) + 1
    kept = min(kept, most)
    rows = (vectors[:, :kept] * np.sqrt(values[:kept])).T
    half = samples.shape[1]
    return np.asarray(rows[:, :half] + 1j * rows[:, half:])


@lru_cache(maxsize=64)
def shape_prior(
    tones_hz: tuple[float, ...], *, loss_db: float = 0.0, low_limit_hz: float = 70.0
) -> ShapePrior:
    """Draw the prior at some tones.

    Parameters
    ----------
    tones_hz
        Tones. [Hz]
    loss_db
        Insertion loss of the type; 0 if unknown. [dB]
    low_limit_hz
        Low limit of its transformer. [Hz]

    Returns
    -------
    ShapePrior
        Mean, common and own directions.
    """
    tones = np.asarray(tones_hz, dtype=np.float64)
    rng = np.random.default_rng(SEED)
    batch, pieces = _draw(rng, loss_db=loss_db, low_limit_hz=low_limit_hz)
    common = np.log(_normalised(tones, batch))
    each = np.log(_normalised(tones, pieces.reshape(-1, 8))).reshape(N_BATCHES, N_PIECES, -1)
    mean = np.mean(common, axis=0)
    typical = np.exp(np.mean(np.log(batch), axis=0))[None, :]
    own = (each - np.mean(each, axis=1, keepdims=True)) * math.sqrt(N_PIECES / (N_PIECES - 1.0))
    return ShapePrior(
        tones_hz=tones_hz,
        mean=mean,
        common=np.concatenate([_directions(common - mean), _unknown_bumps(tones)]),
        own=_directions(own.reshape(-1, len(tones)), most=OWN_MOST),
        burnt=np.log(_normalised(tones, typical, burnt=True))[0],
        coil_short=np.log(_normalised(tones, typical, shorted=True))[0],
        bare=np.log(_cone(tones, typical))[0],
    )
