"""How a loudspeaker spreads its sound: polar tables, a piston in a baffle, a cosine power.

Every model becomes the same fine table of energy ratios D² over the angle from the axis, so that
whoever computes levels needs one look-up only. The name of the model stays with it: it decides
the evenness more than anything else and is printed beside every evenness figure.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from soffit.acoustics.bands import BAND_TEXT, MID_HZ, N_BANDS, FloatArray, per_band
from soffit.decibel import power_ratio, power_ratio_db
from soffit.errors import DomainError

DirectivityModel = Literal["polar table", "polar pair", "piston in a baffle", "cosine power"]

N_ANGLES: Final = 721
FINE_ANGLE_RAD: Final = np.linspace(0.0, np.pi, N_ANGLES)
"""Angles of the fine table: every quarter degree from the axis to straight behind. [rad]"""

N_COSINES: Final = 8193
LEAST_DB: Final = -80.0
"""Deeper nulls than this are cut; no measured polar table reaches it. [dB]"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Directivity:
    """Energy ratios D² over the angle from the axis, per octave band.

    Parameters
    ----------
    model
        What it was made from.
    text
        The model in words, with its numbers, as printed beside evenness figures.
    energy_ratio : (n_angles, n_bands)
        D² at `FINE_ANGLE_RAD`, 1 on the axis; of the horizontal plane if there is a vertical one.
    vertical_energy_ratio : (n_angles, n_bands) or None
        D² in the vertical plane of a horn or a wall unit.
    is_baffled
        Whether nothing is radiated behind the ceiling or wall.
    cosine_table : (n_cosines, n_bands)
        `energy_ratio` at cosines from -1 to 1 in equal steps, for look-ups without arc cosines.
    """

    model: DirectivityModel
    text: str
    energy_ratio: FloatArray
    vertical_energy_ratio: FloatArray | None
    is_baffled: bool
    cosine_table: FloatArray

    def at_angle(self, angle_rad: ArrayLike, azimuth_rad: ArrayLike = 0.0) -> FloatArray:
        """Energy ratio in a direction.

        Parameters
        ----------
        angle_rad : (...)
            Angle from the axis, 0 to π. [rad]
        azimuth_rad : (...)
            Angle about the axis, 0 in the horizontal plane; counts for pairs only. [rad]

        Returns
        -------
        (..., n_bands)
            D².

        Notes
        -----
        Between the two planes of a pair levels are weighted with cos² and sin² of the azimuth:
        common practice, no source.
        """
        angle = np.asarray(angle_rad, dtype=np.float64)
        horizontal = _look_up(self.energy_ratio, angle / np.pi)
        if self.vertical_energy_ratio is None:
            return horizontal
        vertical = _look_up(self.vertical_energy_ratio, angle / np.pi)
        share = np.cos(np.asarray(azimuth_rad, dtype=np.float64))[..., None] ** 2
        with np.errstate(divide="ignore", invalid="ignore"):
            mixed = np.exp(share * np.log(horizontal) + (1.0 - share) * np.log(vertical))
        return np.where((horizontal > 0.0) & (vertical > 0.0), mixed, 0.0)

    def at_cosine(self, cosine: FloatArray, bands: slice | int = slice(None)) -> FloatArray:
        """Energy ratio of an axisymmetric model by the cosine of the angle from the axis.

        Parameters
        ----------
        cosine : (...)
            Cosine, -1 to 1.
        bands
            Bands wanted; an index drops the band axis.

        Returns
        -------
        (..., n_bands) or (...)
            D².

        Raises
        ------
        DomainError
            If the model is a pair, which needs an azimuth as well.
        """
        if self.vertical_energy_ratio is not None:
            msg = "a horizontal and vertical pair needs the azimuth"
            raise DomainError(msg, where="directivity", why=self.text, do="use at_angle")
        return _look_up(self.cosine_table[:, bands], (cosine + 1.0) / 2.0)


def _look_up(table: FloatArray, share: FloatArray) -> FloatArray:
    """Interpolate linearly in a table over 0 to 1; (n, ...) by (...) gives (..., ...)."""
    place = np.clip(share, 0.0, 1.0) * (table.shape[0] - 1)
    low = np.minimum(place.astype(np.intp), table.shape[0] - 2)
    part = place - low
    if table.ndim > 1:
        part = part[..., None]
    return np.asarray(table[low] * (1.0 - part) + table[low + 1] * part)


def _made(
    model: DirectivityModel,
    text: str,
    energy: FloatArray,
    vertical: FloatArray | None = None,
    *,
    baffled: bool,
) -> Directivity:
    if baffled:
        energy = energy.copy()
        energy[np.pi / 2 + 1e-9 < FINE_ANGLE_RAD] = 0.0
        if vertical is not None:
            vertical = vertical.copy()
            vertical[np.pi / 2 + 1e-9 < FINE_ANGLE_RAD] = 0.0
    cosines = np.linspace(-1.0, 1.0, N_COSINES)
    angles = np.arccos(cosines)
    cosine_table = np.stack(
        [np.interp(angles, FINE_ANGLE_RAD, energy[:, band]) for band in range(N_BANDS)], axis=-1
    )
    if baffled:
        cosine_table[cosines < -1e-12] = 0.0
    for array in (energy, vertical, cosine_table):
        if array is not None:
            array.flags.writeable = False
    return Directivity(
        model=model,
        text=text,
        energy_ratio=energy,
        vertical_energy_ratio=vertical,
        is_baffled=baffled,
        cosine_table=cosine_table,
    )


def _fine_levels(angle_rad: FloatArray, level_db: FloatArray, name: str) -> FloatArray:
    if level_db.ndim != 2 or level_db.shape != (angle_rad.size, N_BANDS):
        msg = f"{name} has shape {level_db.shape}"
        raise DomainError(
            msg,
            where=name,
            why=f"{angle_rad.size} angles by {N_BANDS} bands ({', '.join(BAND_TEXT)}) are wanted",
            do="give every octave at every angle",
        )
    if not np.all(np.isfinite(level_db)):
        row, band = np.argwhere(~np.isfinite(level_db))[0]
        degrees = np.degrees(angle_rad[row])
        msg = f"{name} is {level_db[row, band]} at {degrees:g}° in the {BAND_TEXT[band]} band"
        raise DomainError(
            msg, where=name, why="a polar table has a level everywhere", do="fill or drop the row"
        )
    if np.any(np.diff(angle_rad) <= 0.0) or angle_rad[0] != 0.0 or angle_rad[-1] > np.pi + 1e-9:
        msg = f"the angles of {name} do not rise from 0 to at most 180°"
        raise DomainError(msg, where=name, why=f"they are {angle_rad.tolist()}", do="sort them")
    if angle_rad[-1] < np.pi / 2 - 1e-9:
        msg = f"{name} ends at {np.degrees(angle_rad[-1]):g}°"
        raise DomainError(
            msg,
            where=name,
            why="ears under neighbouring speakers see them at up to 90° from the axis",
            do="give the polar data up to 90° or more, or fit a coverage angle instead",
        )
    relative = np.maximum(level_db - level_db[0], LEAST_DB)
    return np.stack(
        [np.interp(FINE_ANGLE_RAD, angle_rad, relative[:, band]) for band in range(N_BANDS)],
        axis=-1,
    )


def polar_table(*, angle_rad: ArrayLike, level_db: ArrayLike, baffled: bool = True) -> Directivity:
    """Directivity of a polar table with any spacing, the same all round the axis.

    Parameters
    ----------
    angle_rad : (n_angles,)
        Angles from the axis, rising from 0 to 90° at least. [rad]
    level_db : (n_angles, n_bands)
        Levels; only differences to the axis count. [dB]
    baffled
        Whether it hangs in a ceiling or wall, so that nothing goes behind it.

    Returns
    -------
    Directivity
        Fine table; levels are linear in the angle between rows, and flat beyond the last.

    Raises
    ------
    DomainError
        If a value is not a number, a band is missing or the angles do not rise from the axis.
    """
    angle = np.atleast_1d(np.asarray(angle_rad, dtype=np.float64))
    levels = _fine_levels(angle, np.asarray(level_db, dtype=np.float64), "level_db")
    text = f"polar table, {angle.size} angles to {np.degrees(angle[-1]):.0f}°"
    return _made("polar table", text, power_ratio(levels), baffled=baffled)


def polar_pair(
    *,
    angle_rad: ArrayLike,
    horizontal_db: ArrayLike,
    vertical_db: ArrayLike,
    baffled: bool = False,
) -> Directivity:
    """Directivity of a horizontal and a vertical polar table, for wall units and horns.

    Parameters
    ----------
    angle_rad : (n_angles,)
        Angles from the axis of both tables. [rad]
    horizontal_db : (n_angles, n_bands)
        Levels in the horizontal plane. [dB]
    vertical_db : (n_angles, n_bands)
        Levels in the vertical plane. [dB]
    baffled
        Whether nothing goes behind it.

    Returns
    -------
    Directivity
        Pair of fine tables.
    """
    angle = np.atleast_1d(np.asarray(angle_rad, dtype=np.float64))
    horizontal = _fine_levels(angle, np.asarray(horizontal_db, dtype=np.float64), "horizontal_db")
    vertical = _fine_levels(angle, np.asarray(vertical_db, dtype=np.float64), "vertical_db")
    text = f"horizontal and vertical polar tables, {angle.size} angles"
    return _made(
        "polar pair", text, power_ratio(horizontal), power_ratio(vertical), baffled=baffled
    )


def piston_energy_ratio(*, ka_sin: ArrayLike) -> FloatArray:
    """Energy ratio of a rigid circular piston in an infinite baffle.

    Parameters
    ----------
    ka_sin : (...)
        k a sin θ.

    Returns
    -------
    (...)
        D² = (2 J1(x) / x)².

    References
    ----------
    Beranek and Mellow, Acoustics: Sound Fields and Transducers, Eq. (4.42), as named by an open
    library; Kinsler et al., Fundamentals of Acoustics, section 7.4 (from memory).

    Examples
    --------
    >>> float(piston_energy_ratio(ka_sin=0.0))
    1.0
    """
    from scipy.special import j1  # noqa: PLC0415 - loaded for pistons only

    x = np.asarray(ka_sin, dtype=np.float64)
    safe = np.where(np.abs(x) < 1e-8, 1.0, x)
    return np.where(np.abs(x) < 1e-8, 1.0, 2.0 * j1(safe) / safe) ** 2


def piston(*, radius_m: float, speed_of_sound_m_s: float = 343.2, tones: int = 9) -> Directivity:
    """Directivity of a rigid circular piston in the ceiling.

    Parameters
    ----------
    radius_m
        Effective radius of the cone. [m]
    speed_of_sound_m_s
        Speed of sound. [m/s]
    tones
        Frequencies averaged in each octave, as pink noise would; 1 takes the mid-band frequency.

    Returns
    -------
    Directivity
        Fine table.

    Raises
    ------
    DomainError
        If the radius is not between 5 mm and 0.6 m.
    """
    if not 0.005 <= radius_m <= 0.6:
        msg = f"a piston of {radius_m:g} m radius"
        raise DomainError(
            msg, where="radius_m", why="5 mm to 0.6 m are accepted", do="give the cone's radius"
        )
    # Equal steps in the logarithm of frequency: pink noise has equal energy in each.
    offsets = (np.arange(tones) + 0.5) / tones - 0.5
    tone_hz = np.outer(10.0 ** (0.3 * offsets), MID_HZ)
    ka = 2.0 * np.pi * tone_hz * radius_m / speed_of_sound_m_s
    energy = np.mean(
        piston_energy_ratio(ka_sin=ka[:, None, :] * np.sin(FINE_ANGLE_RAD)[None, :, None]), axis=0
    )
    text = f"piston in a baffle, radius {radius_m * 1000:.0f} mm"
    if tones > 1:
        text += ", octave average"
    return _made("piston in a baffle", text, energy, baffled=True)


def cosine_exponent(coverage_angle_rad: ArrayLike) -> FloatArray:
    """Exponent n of D² = cos^n that is 6 dB down at half the coverage angle.

    Parameters
    ----------
    coverage_angle_rad : (...)
        Full angle between the -6 dB directions, up to π (then n = 0). [rad]

    Returns
    -------
    (...)
        n = 6 / (-10 lg cos(α/2)).

    Raises
    ------
    DomainError
        If an angle is not between 5° and 180°.

    Notes
    -----
    Derived here: 10 lg cos^n(α/2) = -6 dB.

    Examples
    --------
    >>> import numpy as np
    >>> cosine_exponent(np.radians([60.0, 90.0, 120.0])).round(2).tolist()
    [9.6, 3.99, 1.99]
    """
    angle = np.asarray(coverage_angle_rad, dtype=np.float64)
    if not np.all((angle >= np.radians(5.0) - 1e-12) & (angle <= np.pi + 1e-9)):
        msg = f"a coverage angle of {np.degrees(angle).round(1).tolist()}°"
        raise DomainError(
            msg,
            where="coverage_angle_rad",
            why="a speaker in a ceiling covers 5° to 180°; wider is 180°",
            do="give the full angle between the -6 dB directions",
        )
    cosine = np.clip(np.cos(np.minimum(angle, np.pi) / 2.0), 1e-300, None)
    wide = cosine < 1e-9
    return np.where(wide, 0.0, 6.0 / -power_ratio_db(np.where(wide, 0.5, cosine)))


def cosine_power(*, coverage_angle_rad: ArrayLike) -> Directivity:
    """Directivity fitted to the coverage angle of each band: D² = cos^n θ.

    Parameters
    ----------
    coverage_angle_rad : (n_bands,)
        Full -6 dB angle per band, or one for all. [rad]

    Returns
    -------
    Directivity
        Fine table.
    """
    angles = per_band(coverage_angle_rad, "coverage_angle_rad")
    exponent = cosine_exponent(angles)
    cosine = np.clip(np.cos(FINE_ANGLE_RAD), 0.0, 1.0)[:, None]
    energy = np.where(
        FINE_ANGLE_RAD[:, None] <= np.pi / 2 + 1e-9, cosine ** np.broadcast_to(exponent, (8,)), 0.0
    )
    shown = sorted({round(float(np.degrees(a))) for a in angles})
    span = f"{shown[0]}°" if len(shown) == 1 else f"{shown[0]}° to {shown[-1]}°"
    return _made(
        "cosine power", f"cosine power fitted to a coverage of {span}", energy, baffled=True
    )


def omnidirectional(*, baffled: bool = True) -> Directivity:
    """Directivity of a source that radiates alike into the half space, or the whole of it.

    Parameters
    ----------
    baffled
        Whether it hangs in a ceiling.

    Returns
    -------
    Directivity
        Fine table of ones.
    """
    return _made(
        "polar table", "the same in all directions", np.ones((N_ANGLES, N_BANDS)), baffled=baffled
    )


def directivity_factor(directivity: Directivity) -> FloatArray:
    """Directivity factor Q by integrating the energy over the sphere.

    Parameters
    ----------
    directivity
        Any model.

    Returns
    -------
    (n_bands,)
        Axial intensity over the mean intensity over the whole sphere.

    Notes
    -----
    Derived here: Q = 2 / integral of D² sin θ dθ, exact for D² linear between the quarter degrees;
    pairs by the mean over 90 azimuths.

    Examples
    --------
    >>> directivity_factor(omnidirectional()).round(4).tolist()[0]
    2.0
    """
    if directivity.vertical_energy_ratio is None:
        mean = directivity.energy_ratio
    else:
        azimuth = (np.arange(90) + 0.5) * np.pi / 180.0
        mean = np.mean(directivity.at_angle(FINE_ANGLE_RAD[None, :], azimuth[:, None]), axis=0)
    if directivity.is_baffled:
        keep = np.pi / 2 + 1e-9 >= FINE_ANGLE_RAD
        return np.asarray(2.0 / _sphere_integral(FINE_ANGLE_RAD[keep], mean[keep]))
    return np.asarray(2.0 / _sphere_integral(FINE_ANGLE_RAD, mean))


def _sphere_integral(angle: FloatArray, energy: FloatArray) -> FloatArray:
    """Integral of a piecewise linear D² times sin θ, exactly."""
    a, b = angle[:-1, None], angle[1:, None]
    slope = (energy[1:] - energy[:-1]) / (b - a)
    # integral of (e0 + s (t - a)) sin t = [-(e0 + s (t - a)) cos t + s sin t] from a to b
    parts = energy[:-1] * np.cos(a) - energy[1:] * np.cos(b) + slope * (np.sin(b) - np.sin(a))
    return np.asarray(np.sum(parts, axis=0))


def directivity_index_db(directivity: Directivity) -> FloatArray:
    """Directivity index, 10 lg Q.

    Parameters
    ----------
    directivity
        Any model.

    Returns
    -------
    (n_bands,)
        Directivity index. [dB]
    """
    return power_ratio_db(directivity_factor(directivity))


def coverage_angle_rad(directivity: Directivity, *, drop_db: float = 6.0) -> FloatArray:
    """Full angle between the directions in which the level has dropped, per band.

    Parameters
    ----------
    directivity
        Any model; the horizontal plane of a pair.
    drop_db
        Drop that bounds the coverage. [dB]

    Returns
    -------
    (n_bands,)
        Coverage angle; π (or 2π without a baffle) where the level never drops so far. [rad]

    Examples
    --------
    >>> import numpy as np
    >>> made = cosine_power(coverage_angle_rad=np.radians(90.0))
    >>> np.degrees(coverage_angle_rad(made)).round(1).tolist()[0]
    90.0
    """
    with np.errstate(divide="ignore"):
        levels = power_ratio_db(directivity.energy_ratio)
    widest = np.pi if directivity.is_baffled else 2.0 * np.pi
    result = np.full(N_BANDS, widest)
    for band in range(N_BANDS):
        below = np.flatnonzero(levels[:, band] < -drop_db)
        if below.size == 0 or FINE_ANGLE_RAD[below[0]] > widest / 2.0 + 1e-9:
            continue
        high = int(below[0])
        upper, lower = levels[high - 1, band], levels[high, band]
        step = FINE_ANGLE_RAD[1]
        part = 1.0 if not np.isfinite(lower) else (upper + drop_db) / (upper - lower)
        result[band] = 2.0 * (FINE_ANGLE_RAD[high - 1] + part * step)
    return result


def aim_vector(*, tilt_rad: float = 0.0, bearing_rad: float = 0.0) -> FloatArray:
    """Return the unit vector of a speaker's axis.

    Parameters
    ----------
    tilt_rad
        Angle from straight down: 0 for a ceiling speaker, π/2 for a wall unit aimed level. [rad]
    bearing_rad
        Direction of the tilt in the plan, counter-clockwise from the x axis. [rad]

    Returns
    -------
    (3,)
        Unit vector, z up.

    Examples
    --------
    >>> aim_vector().tolist()
    [0.0, 0.0, -1.0]
    """
    sine = np.sin(tilt_rad)
    return np.array([sine * np.cos(bearing_rad), sine * np.sin(bearing_rad), -np.cos(tilt_rad)])
