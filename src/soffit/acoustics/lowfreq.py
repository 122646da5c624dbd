"""Modal sound field of a prismatic room at low frequencies, and where it stops being the model.

A room with vertical walls, a flat ceiling and hard boundaries has modes that are a plan mode times
a cosine in height. The vertical sum is done in closed form here, so that only plan modes are kept;
these come from :class:`RectangleModes` or, for any plan, from :mod:`soffit.acoustics.lowfreq_mesh`.
One set of plan modes serves every source and every ear (reciprocity).
"""

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.constants import SPEED_OF_SOUND_20_DEGC_M_S
from soffit.errors import DomainError

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

DECAY_NEPER: Final = float(3.0 * np.log(10.0))
"""Amplitude decay over the reverberation time: 60 dB is ln(1000) nepers. ISO 3382-2."""

EVANESCENT_NEPER: Final = 6.0
"""How far a plan mode that is left out has died away between ceiling and ear."""

_MARGIN_ABOVE_BAND: Final = 1.25
_CHUNK: Final = 4_000_000


class PlanModes(Protocol):
    """Plan modes of a room, normalised to a mean square of one over the plan."""

    @property
    def area_m2(self) -> float:
        """Plan area. [m²]."""
        ...

    @property
    def wavenumber_per_m(self) -> FloatArray:
        """Wavenumber of each plan mode, rising. [1/m]."""
        ...

    @property
    def model(self) -> str:
        """How the modes were found, in words for the papers."""
        ...

    def at(self, points_m: ArrayLike) -> FloatArray:
        """Mode values at plan points, ``(n_points, n_modes)``, from positions. [m]."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class RectangleModes:
    """Plan modes of a rectangle in closed form.

    Parameters
    ----------
    origin_m
        One corner. [m]
    angle_rad
        Direction of the side ``length_m`` from the plan's x axis. [rad]
    length_m, width_m
        Sides; the second lies a quarter turn counter-clockwise of the first. [m]
    limit_per_m
        Largest wavenumber kept. [1/m]
    """

    origin_m: tuple[float, float]
    angle_rad: float
    length_m: float
    width_m: float
    limit_per_m: float

    def __post_init__(self) -> None:
        """Refuse sides that no room has."""
        if not (self.length_m > 0.0 and self.width_m > 0.0 and self.limit_per_m > 0.0):
            msg = f"a rectangle of {self.length_m!r} x {self.width_m!r} m has no modes"
            raise DomainError(msg, where="length_m", why="sides must be positive", do="check them")

    @property
    def area_m2(self) -> float:
        """Plan area. [m²]."""
        return self.length_m * self.width_m

    @property
    def model(self) -> str:
        """How the modes were found, in words for the papers."""
        return "modes of a rectangle in closed form"

    def _orders(self) -> tuple[NDArray[np.int64], NDArray[np.int64], FloatArray]:
        along, across = np.meshgrid(
            np.arange(int(self.limit_per_m * self.length_m / np.pi) + 1),
            np.arange(int(self.limit_per_m * self.width_m / np.pi) + 1),
            indexing="ij",
        )
        wavenumber = np.pi * np.hypot(along / self.length_m, across / self.width_m).ravel()
        order = np.argsort(wavenumber, kind="stable")
        order = order[wavenumber[order] <= self.limit_per_m]
        return along.ravel()[order], across.ravel()[order], wavenumber[order]

    @property
    def wavenumber_per_m(self) -> FloatArray:
        """Wavenumber of each plan mode, rising. [1/m]."""
        return self._orders()[2]

    def at(self, points_m: ArrayLike) -> FloatArray:
        """Mode values at plan points, ``(n_points, n_modes)``, from positions. [m]."""
        points = np.atleast_2d(np.asarray(points_m, dtype=np.float64)) - np.asarray(self.origin_m)
        cos, sin = float(np.cos(self.angle_rad)), float(np.sin(self.angle_rad))
        along_m = points[:, 0] * cos + points[:, 1] * sin
        across_m = points[:, 1] * cos - points[:, 0] * sin
        along, across, _ = self._orders()
        norm = np.sqrt(np.where(along > 0, 2.0, 1.0) * np.where(across > 0, 2.0, 1.0))
        return np.asarray(
            norm
            * np.cos(np.pi / self.length_m * along_m[:, None] * along)
            * np.cos(np.pi / self.width_m * across_m[:, None] * across)
        )


def rectangle_mode_hz(
    *,
    size_m: ArrayLike,
    orders: ArrayLike,
    speed_of_sound_m_s: float = SPEED_OF_SOUND_20_DEGC_M_S,
) -> FloatArray:
    """Frequencies of the modes of a rectangle or a box with hard walls.

    Parameters
    ----------
    size_m : (n_axes,)
        Sides. [m]
    orders : (..., n_axes)
        Mode orders along the sides.
    speed_of_sound_m_s
        Speed of sound. [m/s]

    Returns
    -------
    (...)
        c/2 sqrt(Σ (n/L)²). [Hz]

    Raises
    ------
    DomainError
        If a side is not positive.

    References
    ----------
    Kuttruff, H., Room Acoustics, chapter 3, rectangular rooms with rigid walls (from memory);
    separation of variables in the wave equation gives it at once.

    Examples
    --------
    >>> rectangle_mode_hz(size_m=[6.0, 4.5], orders=[[1, 0], [0, 1], [1, 1]]).round(1).tolist()
    [28.6, 38.1, 47.7]
    """
    size = np.asarray(size_m, dtype=np.float64)
    if not np.all(size > 0.0):
        msg = f"sides must be greater than zero, got {size_m!r}"
        raise DomainError(msg, where="size_m", why="there is no such room", do="check the sides")
    ratio = np.asarray(orders, dtype=np.float64) / size
    return np.asarray(speed_of_sound_m_s / 2.0 * np.linalg.norm(ratio, axis=-1))


def schroeder_hz(*, reverberation_time_s: float, volume_m3: float) -> float:
    """Frequency above which modes overlap so much that the statistical model takes over.

    Parameters
    ----------
    reverberation_time_s
        Reverberation time about that frequency. [s]
    volume_m3
        Volume of the room. [m³]

    Returns
    -------
    float
        2000 sqrt(T/V). [Hz]

    Raises
    ------
    DomainError
        If T or V is not positive.

    References
    ----------
    Schroeder's frequency as in Kuttruff, H., Room Acoustics, chapter 3 (from memory).

    Examples
    --------
    >>> round(schroeder_hz(reverberation_time_s=0.5, volume_m3=72.9), 1)
    165.6
    """
    if not (reverberation_time_s > 0.0 and volume_m3 > 0.0):
        msg = f"T and V must be positive, got {reverberation_time_s!r} s, {volume_m3!r} m³"
        raise DomainError(
            msg, where="reverberation_time_s", why="it is sqrt(T/V)", do="check T and V"
        )
    return 2000.0 * float(np.sqrt(reverberation_time_s / volume_m3))


def decay_rate_per_s(reverberation_time_s: ArrayLike) -> FloatArray:
    """Decay rate of pressure that belongs to a reverberation time.

    Parameters
    ----------
    reverberation_time_s : (...)
        Reverberation time. [s]

    Returns
    -------
    (...)
        δ = 3 ln 10 / T, about 6.91/T. [1/s]

    Raises
    ------
    DomainError
        If a time is not positive.

    References
    ----------
    Definition of T (60 dB) in ISO 3382-2; derived here.

    Examples
    --------
    >>> float(decay_rate_per_s(1.0).round(3))
    6.908
    """
    time = np.asarray(reverberation_time_s, dtype=np.float64)
    if not np.all(time > 0.0):
        msg = f"reverberation times must be greater than zero, got {time.tolist()!r}"
        raise DomainError(
            msg,
            where="reverberation_time_s",
            why="without absorption or with T of 0 s there is no damping to compute with",
            do="measure T or give the surfaces",
        )
    return np.asarray(DECAY_NEPER / time)


def reverberation_time_at_s(
    *, frequency_hz: ArrayLike, mid_hz: ArrayLike, reverberation_time_s: ArrayLike
) -> FloatArray:
    """Reverberation time between and beyond the octave bands in which it is known.

    Parameters
    ----------
    frequency_hz : (...)
        Where it is wanted. [Hz]
    mid_hz : (n_bands,)
        Mid-band frequencies, rising. [Hz]
    reverberation_time_s : (n_bands,)
        Reverberation time per band. [s]

    Returns
    -------
    (...)
        Straight line over the logarithm of frequency; the end values hold beyond. [s]

    Raises
    ------
    DomainError
        If a time or a frequency is not positive.

    References
    ----------
    Common practice, no published source; below the lowest band its value is carried on.

    Examples
    --------
    >>> float(reverberation_time_at_s(frequency_hz=31.5, mid_hz=[63, 125],
    ...                               reverberation_time_s=[0.8, 0.6]))
    0.8
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    mid = np.asarray(mid_hz, dtype=np.float64)
    decay_rate_per_s(reverberation_time_s)
    if not (np.all(frequency > 0.0) and np.all(mid > 0.0)):
        msg = "frequencies must be greater than zero"
        raise DomainError(msg, where="frequency_hz", why="bands are octaves", do="check them")
    # a place on the axis of octaves, not a level
    return np.asarray(
        np.interp(np.log(frequency), np.log(mid), np.asarray(reverberation_time_s, np.float64))
    )


def plan_limit_per_m(
    *,
    highest_hz: float,
    height_step_m: float,
    decay_neper: float = EVANESCENT_NEPER,
    speed_of_sound_m_s: float = SPEED_OF_SOUND_20_DEGC_M_S,
) -> float:
    """Largest plan wavenumber to keep, so that what is left out has died away at the ears.

    Parameters
    ----------
    highest_hz
        Highest frequency asked for. [Hz]
    height_step_m
        Height of the ceiling over the highest ear. [m]
    decay_neper
        How far what is left out must have died away.
    speed_of_sound_m_s
        Speed of sound. [m/s]

    Returns
    -------
    float
        Plan modes above it die away by at least ``decay_neper`` from ceiling to ear. [1/m]

    Raises
    ------
    DomainError
        If the frequency or the height is not positive.

    References
    ----------
    Derived here: a plan mode above its cut-on dies away as exp(-sqrt(k_m² - k²) Δz).

    Examples
    --------
    >>> round(plan_limit_per_m(highest_hz=160.0, height_step_m=1.8), 2)
    4.44
    """
    if not (highest_hz > 0.0 and height_step_m > 0.0):
        msg = f"ears must be below the ceiling, got {height_step_m!r} m"
        raise DomainError(
            msg, where="height_step_m", why="the ear lies in or over the ceiling", do="check them"
        )
    band_per_m = 2.0 * np.pi * highest_hz / speed_of_sound_m_s
    dying_per_m = np.hypot(band_per_m, decay_neper / height_step_m)
    return float(max(_MARGIN_ABOVE_BAND * band_per_m, dying_per_m))


def vertical_factor(
    *,
    plan_wavenumber_per_m: FloatArray,
    wavenumber_per_m: ComplexArray,
    height_m: float,
    source_height_m: float,
    ear_height_m: float,
) -> ComplexArray:
    """All vertical modes above one plan mode, summed in closed form.

    Parameters
    ----------
    plan_wavenumber_per_m : (n_modes,)
        Wavenumbers of the plan modes. [1/m]
    wavenumber_per_m : (n_tones,)
        Complex wavenumber (ω - jδ)/c. [1/m]
    height_m
        Height of the room. [m]
    source_height_m, ear_height_m
        Heights above the floor. [m]

    Returns
    -------
    (n_modes, n_tones)
        Σ ε_n cos(nπz/H) cos(nπz₀/H) / (H (k_m² + (nπ/H)² - κ²)). [m]

    Raises
    ------
    DomainError
        If a height lies outside the room.

    Notes
    -----
    g'' - s² g = -δ(z - z₀) between hard floor and ceiling, with s² = k_m² - κ², has the solution
    cosh(s z<) cosh(s (H - z>)) / (s sinh(s H)); written with falling exponentials it never
    overflows.

    References
    ----------
    Derived here.
    """
    low, high = sorted((source_height_m, ear_height_m))
    if not 0.0 <= low <= high <= height_m * (1.0 + 1e-9):
        msg = f"heights {source_height_m!r} and {ear_height_m!r} m lie outside 0..{height_m!r} m"
        raise DomainError(
            msg, where="ear_height_m", why="ears are under the ceiling", do="check the heights"
        )
    rate = np.sqrt(plan_wavenumber_per_m[:, None] ** 2 - wavenumber_per_m[None, :] ** 2 + 0j)
    above = max(height_m - high, 0.0)
    images = (1.0 + np.exp(-2.0 * rate * low)) * (1.0 + np.exp(-2.0 * rate * above))
    return np.asarray(
        images * np.exp(-rate * (high - low)) / (2.0 * rate * -np.expm1(-2.0 * rate * height_m))
    )


def half_space_transfer(
    modes: PlanModes,
    *,
    source_m: ArrayLike,
    ear_m: ArrayLike,
    frequency_hz: ArrayLike,
    decay_rate_per_s: ArrayLike,
    height_m: float,
    source_height_m: float | None = None,
    speed_of_sound_m_s: float = SPEED_OF_SOUND_20_DEGC_M_S,
) -> ComplexArray:
    """Complex pressure at ears over the pressure at 1 m in half space, for sources in a ceiling.

    Parameters
    ----------
    modes
        Plan modes of the room.
    source_m : (n_sources, 2)
        Plan positions of sources. [m]
    ear_m : (n_ears, 3)
        Positions of ears: plan and height above the floor. [m]
    frequency_hz : (n_tones,)
        Tones. [Hz]
    decay_rate_per_s : (n_tones,)
        Decay rate of pressure at each tone. [1/s]
    height_m
        Height of the room. [m]
    source_height_m
        Height of the sources; flush in the ceiling unless given. [m]
    speed_of_sound_m_s
        Speed of sound. [m/s]

    Returns
    -------
    (n_sources, n_ears, n_tones)
        2π G × 1 m; times the level at 1 W and 1 m in half space it is the level at the ear.

    Raises
    ------
    DomainError
        If a tone or a decay rate is not positive, or a position is outside the room's height.

    Notes
    -----
    G = Σ ψ(r) ψ(r₀) / (V (k² - κ²)) with κ = (ω - jδ)/c. A source of volume velocity Q gives
    ωρQ|G| in the room and ωρQ/(2π r) in half space; their ratio at r = 1 m is 2π|G|.

    References
    ----------
    Kuttruff, H., Room Acoustics, chapter 3: Green's function of a room with slight damping (from
    memory); Morse and Ingard, Theoretical Acoustics, chapter 9 (from memory).
    """
    tones = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    decay = np.broadcast_to(np.asarray(decay_rate_per_s, dtype=np.float64), tones.shape)
    if not (np.all(tones > 0.0) and np.all(decay > 0.0)):
        msg = "tones and decay rates must be greater than zero"
        raise DomainError(
            msg, where="decay_rate_per_s", why="an undamped mode has no steady state", do="give T"
        )
    wavenumber = np.asarray((2.0 * np.pi * tones - 1j * decay) / speed_of_sound_m_s, np.complex128)
    sources = modes.at(source_m)
    ears = np.atleast_2d(np.asarray(ear_m, dtype=np.float64))
    source_height = height_m if source_height_m is None else source_height_m
    result = np.empty((sources.shape[0], ears.shape[0], tones.size), dtype=np.complex128)
    plan_wavenumber = modes.wavenumber_per_m
    for ear_height in np.unique(ears[:, 2]):
        level = np.flatnonzero(ears[:, 2] == ear_height)
        factor = vertical_factor(
            plan_wavenumber_per_m=plan_wavenumber,
            wavenumber_per_m=wavenumber,
            height_m=height_m,
            source_height_m=source_height,
            ear_height_m=float(ear_height),
        )
        factor *= 2.0 * np.pi / modes.area_m2
        step = max(1, _CHUNK // (plan_wavenumber.size * tones.size))
        for start in range(0, level.size, step):
            chosen = level[start : start + step]
            heard = modes.at(ears[chosen, :2]).T[:, :, None] * factor[:, None, :]
            flat = np.ascontiguousarray(heard.reshape(plan_wavenumber.size, -1)).view(np.float64)
            result[:, chosen, :] = (
                (sources @ flat).view(np.complex128).reshape(-1, chosen.size, tones.size)
            )
    return result


def absorption_area_of_decay_m2(
    *,
    decay_rate_per_s: ArrayLike,
    volume_m3: float,
    speed_of_sound_m_s: float = SPEED_OF_SOUND_20_DEGC_M_S,
) -> FloatArray:
    """Equivalent absorption area that gives a decay rate.

    Parameters
    ----------
    decay_rate_per_s : (...)
        Decay rate of pressure. [1/s]
    volume_m3
        Volume. [m³]
    speed_of_sound_m_s
        Speed of sound. [m/s]

    Returns
    -------
    (...)
        A = 8 V δ / c. [m²]

    References
    ----------
    Sabine's T = 24 ln 10 V/(c A) with δ = 3 ln 10/T; derived here.

    Examples
    --------
    >>> float(absorption_area_of_decay_m2(decay_rate_per_s=6.908, volume_m3=100.0).round(1))
    16.1
    """
    decay = np.asarray(decay_rate_per_s, dtype=np.float64)
    return np.asarray(8.0 * volume_m3 * decay / speed_of_sound_m_s)


def diffuse_transfer_ratio(*, absorption_area_m2: ArrayLike) -> FloatArray:
    """Mean square of :func:`half_space_transfer` that a diffuse field would give.

    Parameters
    ----------
    absorption_area_m2 : (...)
        Equivalent absorption area. [m²]

    Returns
    -------
    (...)
        8π/A × 1 m²: four pi squared times the mean square 2/(πA) of G.

    Raises
    ------
    DomainError
        If an area is not positive.

    References
    ----------
    p² = 4Wρc/A with the power of a source flush in one surface, W = ρω²Q²/(2πc); derived here.

    Examples
    --------
    >>> float(diffuse_transfer_ratio(absorption_area_m2=25.13).round(2))
    1.0
    """
    area = np.asarray(absorption_area_m2, dtype=np.float64)
    if not np.all(area > 0.0):
        msg = f"absorption areas must be greater than zero, got {area.tolist()!r}"
        raise DomainError(
            msg, where="absorption_area_m2", why="the level would be endless", do="check T"
        )
    return np.asarray(8.0 * np.pi / area)
