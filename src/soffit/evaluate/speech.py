"""How well speech is understood in a room, and which remedy would help."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from soffit.acoustics.alcons import alcons_from_sti_percent, alcons_percent
from soffit.acoustics.bands import SPEECH_BANDS, FloatArray, band_index
from soffit.acoustics.evenness import percentile_sorted
from soffit.acoustics.room import late_share, room_constant_m2
from soffit.acoustics.spectrum import Edition, speech_spectrum
from soffit.acoustics.speechmap import sti_at_points
from soffit.acoustics.sti import method_text, sti_rating
from soffit.decibel import power_ratio
from soffit.evaluate.sound_ears import Ears
from soffit.evaluate.sound_room import RoomAcoustics, RoomNoise
from soffit.evaluate.sound_source import (
    Sources,
    columns,
    late_per_watt,
    measure_weights,
    spectrum_share,
)
from soffit.tables.settings import Limits

SPEED_M_S = 343.2
MOST_PAIRS = 1_000_000
REMEDY_EARS = 400
CHUNK_PAIRS = 250_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Remedies:
    """What would change the STI that the asked share of ears reaches.

    Parameters
    ----------
    sti_now
        As it is, over the same ears.
    louder_db, sti_louder
        A level that much higher, and the STI it gives. [dB]
    sti_quieter
        Without any noise.
    sti_even
        With endlessly many speakers of the same total power: the direct field even everywhere and
        all of it in time, the late field as it is. An upper bound.
    sti_dry
        Without any reverberant sound.
    needed_time_s
        Mean T of 500 Hz to 2 kHz at which the asked STI is reached by absorption alone; ``None``
        where nothing is asked, it is reached already, or absorption alone cannot. [s]
    """

    sti_now: float
    louder_db: float
    sti_louder: float
    sti_quieter: float
    sti_even: float
    sti_dry: float
    needed_time_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Speech:
    """Speech transmission at the ears of a room.

    Parameters
    ----------
    sti : (n,)
        STI at the ears that were taken.
    ear_index : (n,)
        Which of the room's ears.
    mean_sti
        Mean.
    share
        Share of the ears that has to reach the wanted value, from the limits.
    reached_sti
        STI that this share of the ears reaches.
    low_sti, best_sti
        5 % and 95 % percentiles.
    rating
        Word for the mean.
    asked_sti
        Wanted value; ``None`` if none.
    asked_ratio
        Share of ears that reaches the wanted value; ``None`` if none.
    level_dba
        Mean speech level at the ears, whole field. [dB]
    remedies
        What would help.
    alcons_percent
        %ALcons at the ear farthest from its nearest speaker, from T and Q at 2 kHz. [%]
    alcons_from_sti_percent
        %ALcons that the mean STI corresponds to. [%]
    text
        Edition, method, late model, noise.
    """

    sti: FloatArray
    ear_index: NDArray[np.intp]
    mean_sti: float
    share: float
    reached_sti: float
    low_sti: float
    best_sti: float
    rating: str
    asked_sti: float | None
    asked_ratio: float | None
    level_dba: float
    remedies: Remedies
    alcons_percent: float
    alcons_from_sti_percent: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Path:
    """Everything that the STI at some points depends on; energies for one programme watt."""

    direct: FloatArray
    delay_s: FloatArray
    late: FloatArray
    near_late: FloatArray
    time_s: FloatArray
    noise_db: FloatArray
    a_weights: FloatArray
    scale: float

    def balanced(self) -> "_Path":
        """Return the path whose late energy is the diffuse one on average over these points.

        Late sound falls with distance, but the room loses no energy by that: what is missing far
        from a speaker is found near it.
        """
        share = late_share(delay_s=self.delay_s[..., None], reverberation_time_s=self.time_s)
        return replace(self, near_late=1.0 / np.maximum(np.mean(share, axis=0), 1e-6))

    def levelled(self, level_dba: float) -> "_Path":
        """Return the path with the power that gives a mean level at these points."""
        late = self.late.sum(axis=0)
        mean = float(np.mean((self.direct.sum(axis=1) + late) @ self.a_weights))
        return replace(self.balanced(), scale=float(power_ratio(level_dba)) / mean)

    def sti(self) -> FloatArray:
        return sti_at_points(
            direct_energy=self.direct * self.scale,
            late_energy=self.late * self.near_late * self.scale,
            delay_s=self.delay_s,
            reverberation_time_s=self.time_s,
            noise_level_db=self.noise_db,
        )


def room_speech(
    sources: Sources,
    ears: Ears,
    acoustics: RoomAcoustics,
    noise: RoomNoise | None,
    *,
    limits: Limits,
    level_dba: float,
    asked: float | None,
    edition: Edition = 5,
) -> Speech:
    """Speech transmission over the ears of a room at a mean level.

    Parameters
    ----------
    sources
        Speakers.
    ears
        Ears.
    acoustics
        Reverberation, walls, air.
    noise
        Background noise; none is taken where nothing is known.
    limits
        Share of ears, tried rise.
    level_dba
        Mean speech level at the ears, whole field. [dB]
    asked
        Wanted STI; ``None`` if none.
    edition
        Edition of the speech spectrum.

    Returns
    -------
    Speech
        Complete record.
    """
    n_speakers = len(sources.keys)
    stride = max(1, -(-ears.count * n_speakers // MOST_PAIRS))
    index = np.arange(0, ears.count, stride)
    build = _path_builder(sources, acoustics, noise, edition)
    few = index[:: max(1, -(-len(index) // REMEDY_EARS))]
    sample = build(ears.point_m[few])
    sample = sample.levelled(level_dba)
    step = max(1, CHUNK_PAIRS // n_speakers)
    values = np.concatenate(
        [
            replace(
                build(ears.point_m[index[i : i + step]]),
                scale=sample.scale,
                near_late=sample.near_late,
            ).sti()
            for i in range(0, len(index), step)
        ]
    )
    share = limits["sound_sti_share"]
    remedies = _remedies(
        sample,
        acoustics,
        share=share,
        asked=asked,
        level_dba=level_dba,
        louder_db=limits["sound_louder_db"],
    )
    ordered = np.sort(values)
    mean = float(np.mean(values))
    year = method_text(edition)
    words = "no noise known" if noise is None else f"noise {noise.text}"
    return Speech(
        sti=values,
        ear_index=index,
        mean_sti=mean,
        share=share,
        reached_sti=float(percentile_sorted(ordered, 1.0 - share)),
        low_sti=float(percentile_sorted(ordered, 0.05)),
        best_sti=float(percentile_sorted(ordered, 0.95)),
        rating=sti_rating(mean),
        asked_sti=asked,
        asked_ratio=None if asked is None else float(np.mean(values >= asked - 5e-4)),
        level_dba=level_dba,
        remedies=remedies,
        alcons_percent=_alcons(sources, ears, acoustics),
        alcons_from_sti_percent=float(alcons_from_sti_percent(mean)),
        text=f"{year}, late sound falling with distance, speech at {level_dba:.0f} dBA, {words}",
    )


def _path_builder(
    sources: Sources,
    acoustics: RoomAcoustics,
    noise: RoomNoise | None,
    edition: Edition,
) -> Callable[[FloatArray], _Path]:
    """Return a function from points to paths at full power."""
    share = spectrum_share(speech_spectrum(edition))
    weights = measure_weights("whole dBA", np.ones(8))[SPEECH_BANDS]
    late = late_per_watt(sources, acoustics.room_constant_m2) * sources.power_w[:, None] * share
    noise_db = np.full(7, -np.inf) if noise is None else noise.octave_db[SPEECH_BANDS]

    speech = np.diag(share)[SPEECH_BANDS]

    def build(points: FloatArray) -> _Path:
        energy = columns(
            sources,
            range(len(sources.keys)),
            points,
            walls=acoustics.walls,
            air_db_m=acoustics.air_db_m,
            weights=speech,
        )
        gap = np.linalg.norm(points[:, None, :] - sources.position_m[None, :, :], axis=-1)
        return _Path(
            direct=np.moveaxis(energy * sources.power_w, 0, -1),
            delay_s=gap / SPEED_M_S,
            late=late[:, SPEECH_BANDS],
            near_late=np.ones_like(late[:, SPEECH_BANDS]),
            time_s=acoustics.reverberation_time_s[SPEECH_BANDS],
            noise_db=noise_db,
            a_weights=weights,
            scale=1.0,
        )

    return build


def _reached(path: _Path, share: float) -> float:
    return float(percentile_sorted(np.sort(path.sti()), 1.0 - share))


def _remedies(
    path: _Path,
    acoustics: RoomAcoustics,
    *,
    share: float,
    asked: float | None,
    level_dba: float,
    louder_db: float,
) -> Remedies:
    even_direct = np.zeros_like(path.direct)
    nearest = np.argmin(path.delay_s, axis=1)
    even_direct[np.arange(len(nearest)), nearest] = np.mean(path.direct.sum(axis=1), axis=0)
    even = replace(path, direct=even_direct)
    levelled = path.levelled(level_dba)
    quiet = replace(levelled, noise_db=np.full(7, -np.inf))
    dry = replace(path, late=path.late * 1e-9).levelled(level_dba)
    return Remedies(
        sti_now=_reached(levelled, share),
        louder_db=louder_db,
        sti_louder=_reached(path.levelled(level_dba + louder_db), share),
        sti_quieter=_reached(quiet, share),
        sti_even=_reached(even.levelled(level_dba), share),
        sti_dry=_reached(dry, share),
        needed_time_s=_needed_time_s(path, acoustics, share, asked, level_dba),
    )


def _absorbed_sti(
    path: _Path, acoustics: RoomAcoustics, factor: float, share: float, level_dba: float
) -> float:
    """Return the STI that is reached with ``factor`` times the absorption area."""
    after = room_constant_m2(
        surface_m2=acoustics.surface_m2, absorption_area_m2=acoustics.absorption_area_m2 * factor
    )
    changed = replace(
        path,
        late=path.late * (acoustics.room_constant_m2 / after)[SPEECH_BANDS],
        time_s=np.maximum(path.time_s / factor, 0.05),
    )
    return _reached(changed.levelled(level_dba), share)


def _needed_time_s(
    path: _Path, acoustics: RoomAcoustics, share: float, asked: float | None, level_dba: float
) -> float | None:
    if asked is None or _reached(path.levelled(level_dba), share) >= asked:
        return None
    low, high = 1.0, 0.95 * acoustics.surface_m2 / float(np.max(acoustics.absorption_area_m2))
    if high <= 1.0 or _absorbed_sti(path, acoustics, high, share, level_dba) < asked:
        return None
    for _ in range(10):
        middle = float(np.sqrt(low * high))
        if _absorbed_sti(path, acoustics, middle, share, level_dba) >= asked:
            high = middle
        else:
            low = middle
    return float(np.mean(acoustics.reverberation_time_s[3:6])) / high


def _alcons(sources: Sources, ears: Ears, acoustics: RoomAcoustics) -> float:
    band = band_index("2k")
    step = max(1, ears.count // 2000)
    nearest = np.full(len(ears.point_m[::step]), np.inf)
    for position in sources.position_m:
        gap = np.linalg.norm(ears.point_m[::step] - position, axis=1)
        nearest = np.minimum(nearest, gap)
    weight = sources.power_w / sources.power_w.sum()
    q = float(weight @ np.array([kind.directivity_factor[band] for kind in sources.radiators]))
    return float(
        alcons_percent(
            distance_m=float(nearest.max()),
            reverberation_time_s=float(acoustics.reverberation_time_s[band]),
            volume_m3=acoustics.volume_m3,
            directivity_factor=q,
            n_groups=float(len(sources.keys)),
        )
    )
