"""Read a measured directivity (AES69 file) into polar tables for the catalogue."""

from pathlib import Path
from typing import Any

import numpy as np

from soffit.acoustics.bands import BAND_TEXT, FloatArray
from soffit.acoustics.measured_directivity import MeasuredDirectivity, measured_directivity
from soffit.errors import JobError, MissingExtraError, SoffitError

CONVENTION = "FreeFieldDirectivityTF"


def read_directivity(path: Path) -> MeasuredDirectivity:
    """Read a file of the convention FreeFieldDirectivityTF.

    Parameters
    ----------
    path
        File with one loudspeaker in its middle and receivers around it.

    Returns
    -------
    MeasuredDirectivity
        Polar tables per octave.

    Raises
    ------
    MissingExtraError
        If h5py is not installed.
    JobError
        If the file is something else, or lacks what is needed.

    References
    ----------
    AES69 (SOFA): convention FreeFieldDirectivityTF (from memory, to be confirmed).
    """
    try:
        import h5py
    except ImportError:
        msg = "reading measured directivities needs h5py"
        raise MissingExtraError(
            msg, where=path.name, why="it is optional", do="install soffit[directivity]"
        ) from None
    try:
        file = h5py.File(path, "r")
    except OSError as error:
        raise _unusable(path, f"it cannot be opened: {error}") from None
    with file:
        convention = _text(file.attrs.get("SOFAConventions", b""))
        if convention != CONVENTION:
            raise _unusable(path, f"its convention is {convention!r}, not {CONVENTION!r}")
        try:
            with np.errstate(divide="raise", invalid="raise", over="raise"):
                return _from(file)
        except KeyError as error:
            raise _unusable(path, f"it lacks {error}") from None
        except SoffitError:
            raise
        except (ArithmeticError, IndexError, OSError, RuntimeError, TypeError, ValueError) as error:
            # whatever an odd file makes of the arrays: shapes, texts, silence, no direction
            raise _unusable(path, f"its arrays cannot be used: {error}") from None


def _text(value: Any) -> str:  # noqa: ANN401 - whatever the file holds
    return value.decode() if isinstance(value, bytes) else str(value)


def _unusable(path: Path, why: str) -> JobError:
    return JobError(
        what=f"{path.name} holds no directivity that can be used",
        where=path.name,
        why=why,
        do="export transfer functions of one loudspeaker over directions, or enter polar levels",
    )


def _vectors(dataset: Any) -> FloatArray:  # noqa: ANN401 - an open dataset
    values = np.asarray(dataset, dtype=np.float64)
    if values.ndim == 3:
        values = values[..., 0]
    if not _text(dataset.attrs.get("Type", b"cartesian")).startswith("spherical"):
        return values
    azimuth, elevation = np.radians(values[:, 0]), np.radians(values[:, 1])
    flat = np.cos(elevation)
    return np.stack([flat * np.cos(azimuth), flat * np.sin(azimuth), np.sin(elevation)], axis=-1)


def _from(file: Any) -> MeasuredDirectivity:  # noqa: ANN401 - an open file
    if max(file[name].size for name in _DATA) > _MOST_VALUES:
        msg = f"more than {_MOST_VALUES} values"
        raise ValueError(msg)
    real, imaginary = (np.asarray(file[name], dtype=np.float64) for name in _DATA)
    energy = real**2 + imaginary**2
    # (measurements, receivers, frequencies[, emitters]): the mean over measurements and emitters
    energy = energy.mean(axis=0)
    if energy.ndim == 3:
        energy = energy.mean(axis=2)
    axis = _vectors(file["SourceView"])[0] if "SourceView" in file else (1.0, 0.0, 0.0)
    up = _vectors(file["SourceUp"])[0] if "SourceUp" in file else (0.0, 0.0, 1.0)
    return measured_directivity(
        direction=_vectors(file["ReceiverPosition"]),
        frequency_hz=np.asarray(file["N"], dtype=np.float64).ravel(),
        energy=energy,
        axis=axis,
        up=up,
    )


_DATA = ("Data.Real", "Data.Imag")
_MOST_VALUES = 50_000_000


def catalogue_text(found: MeasuredDirectivity, *, type_id: str, source: str) -> str:
    """Return the tables as the catalogue wants them.

    Parameters
    ----------
    found
        Measured tables.
    type_id
        Id of the loudspeaker type that they belong to.
    source
        Where they come from, for the comment above them.

    Returns
    -------
    str
        TOML to paste below the entry of the type.
    """
    lines = [f"# polar tables from {source}"]
    if found.missing:
        lines.append(f"# not measured, taken from the next octave: {', '.join(found.missing)}")
    lines += [f"[speaker_types.{type_id}.directivity]", 'model = "polar"']
    tables = (
        {"axial": found.axial_db}
        if found.is_round
        else {"horizontal": found.horizontal_db, "vertical": found.vertical_db}
    )
    degrees = ", ".join(f"{angle:g}" for angle in np.degrees(found.angle_rad).round(3))
    for plane, levels in tables.items():
        lines += [
            "",
            f"[[speaker_types.{type_id}.directivity.polar]]",
            f'plane = "{plane}"',
            f"angle = [{degrees}]",
            f"# rows: octave bands {BAND_TEXT[0]} to {BAND_TEXT[-1]}",
            "level = [",
        ]
        for row in levels.T:
            cells = ", ".join(f"{max(float(level), -60.0) + 0.0:.1f}" for level in row)
            lines.append(f"    [{cells}],")
        lines.append("]")
    return "\n".join(lines).replace("-0.0,", "0.0,") + "\n"
