"""Directivity from plain tables of levels over angle, and back to text.

Whatever comes in becomes polar tables per octave band, relative to the axis. What had to be decided
on the way is said in notes, because evenness rests on these tables.
"""

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio, power_ratio_db
from soffit.errors import JobError
from soffit.model.catalogue import BANDS, PolarTable

FloatArray = NDArray[np.float64]

_MID_HZ: Final = dict(zip(BANDS, (62.5, 125.0, 250.0, 500.0, 1e3, 2e3, 4e3, 8e3), strict=True))
_EDGE: Final = math.sqrt(2.0)
_FLOOR_DB: Final = -60.0
_MOST_BYTES: Final = 5_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadDirectivity:
    """Polar tables that a file gave, and what had to be decided to read it.

    Parameters
    ----------
    tables
        One axial table, or a horizontal and a vertical one.
    notes
        Sentences for the person who imports.
    """

    tables: tuple[PolarTable, ...]
    notes: tuple[str, ...] = ()


def _error(what: str, where: str, why: str, do: str) -> JobError:
    return JobError(what=what, where=where, why=why, do=do)


def read_polar_csv(path: Path) -> ReadDirectivity:
    """Read polar tables from a text file: angles down, frequencies across.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    ReadDirectivity
        Tables and notes.

    Raises
    ------
    JobError
        If there is no such file or its content is no directivity.
    """
    try:
        size = path.stat().st_size
        text = path.read_text(encoding="utf-8-sig") if size <= _MOST_BYTES else ""
    except (OSError, UnicodeDecodeError) as error:
        msg = f"{path.name} cannot be read"
        raise _error(msg, str(path), str(error), "check the path and its encoding") from None
    if size > _MOST_BYTES:
        msg = f"{path.name} is too large for a table"
        why = f"{size} bytes, at most {_MOST_BYTES}"
        raise _error(msg, str(path), why, "give a table of levels over angle and frequency")
    return parse_polar_csv(text, name=path.name)


def parse_polar_csv(text: str, *, name: str = "directivity.csv") -> ReadDirectivity:
    """Read a table with angles down and frequencies across.

    Parameters
    ----------
    text
        First row: ``angle`` (degrees), perhaps ``plane``, then frequencies such as ``1k``,
        ``1000`` or ``1 kHz``; thirds of an octave or finer are averaged by energy. Levels in dB.
        Cells are separated by comma, semicolon or tab; lines that begin with # are left out.
    name
        Name of the file as people see it.

    Returns
    -------
    ReadDirectivity
        Tables and notes.

    Raises
    ------
    JobError
        If a cell is no number, a band or an angle is missing, or rows contradict each other.
    """
    rows = _rows(text, name)
    head = [cell.strip().casefold() for cell in rows[0][1]]
    if not head or not head[0].startswith("angle"):
        msg = f"{name} does not begin with a column of angles"
        raise _error(
            msg,
            f"{name}:{rows[0][0]}",
            f"its first cell is {rows[0][1][0]!r}",
            "begin the first row with angle, then the frequencies",
        )
    has_plane = len(head) > 1 and head[1] == "plane"
    first = 2 if has_plane else 1
    frequencies = [_frequency(cell, f"{name}:{rows[0][0]}") for cell in head[first:]]
    planes: dict[str, list[tuple[float, list[float]]]] = {}
    for number, cells in rows[1:]:
        where = f"{name}:{number}"
        if len(cells) != len(head):
            msg = f"row {number} has {len(cells)} cells"
            raise _error(
                msg,
                where,
                f"the first row has {len(head)}",
                "fill every cell, or write the decimal sign as the first row does",
            )
        plane = cells[1].strip().casefold() if has_plane else "axial"
        values = [_number(cell, where) for cell in cells[first:]]
        planes.setdefault(plane, []).append((_number(cells[0], where), values))
    if sorted(planes) not in (["axial"], ["horizontal", "vertical"]):
        msg = f"{name} has the planes {', '.join(sorted(planes))}"
        raise _error(
            msg,
            f"{name}, column plane",
            "one axial table, or a horizontal and a vertical one, describe a type",
            "name the planes so",
        )
    notes: list[str] = []
    tables = tuple(
        _table(plane, entries, frequencies, name, notes)
        for plane, entries in sorted(planes.items())
    )
    return ReadDirectivity(tables=tables, notes=tuple(dict.fromkeys(notes)))


def _rows(text: str, name: str) -> list[tuple[int, list[str]]]:
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if len(lines) < 3:
        msg = f"{name} holds no table"
        raise _error(
            msg,
            name,
            f"{len(lines)} rows are not empty",
            "give a row of frequencies and a row for each angle",
        )
    head = lines[0][1]
    mark = max(";\t,", key=head.count)
    try:
        return [
            (number, next(csv.reader(io.StringIO(line), delimiter=mark))) for number, line in lines
        ]
    except (csv.Error, StopIteration) as error:
        msg = f"{name} is no table"
        raise _error(msg, name, str(error), "save it as text with one separator") from None


def _number(cell: str, where: str) -> float:
    text = cell.strip().rstrip("°").strip()
    if text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        msg = f"{cell.strip()!r} is not a number"
        raise _error(msg, where, "every cell holds a level", "write a number")
    return value


def _frequency(cell: str, where: str) -> float:
    text = cell.strip().casefold().replace(" ", "").removesuffix("hz")
    factor = 1e3 if text.endswith("k") else 1.0
    value = _number(text.removesuffix("k"), where) * factor
    if not 10.0 <= value <= 40_000.0:
        msg = f"{cell.strip()!r} is no frequency of sound"
        raise _error(
            msg,
            where,
            "10 Hz to 40 kHz are read",
            "write the frequencies in Hz, or with k for thousand",
        )
    return value


def _table(
    plane: str,
    entries: Sequence[tuple[float, list[float]]],
    frequencies: Sequence[float],
    name: str,
    notes: list[str],
) -> PolarTable:
    where = f"{name}, {plane}"
    angle = np.array([entry[0] for entry in entries])
    level = np.array([entry[1] for entry in entries])
    _check_levels(angle, level, where)
    angle, level = _folded(angle, level, notes)
    _check_angles(angle, where)
    energy = power_ratio(level - level[0])
    return _octaves(np.radians(angle), energy, frequencies, where, plane=plane, notes=notes)


def _check_levels(angle: FloatArray, level: FloatArray, where: str) -> None:
    largest = float(np.abs(angle).max())
    if largest <= math.pi + 0.01 and len(angle) > 3:
        msg = f"the angles end at {largest:g}"
        raise _error(
            msg,
            where,
            "that looks like radians; angles are read in degrees",
            "write degrees",
        )
    if float(np.ptp(level)) < 1e-6:
        msg = "all levels are the same"
        raise _error(
            msg,
            where,
            "a loudspeaker is not the same in all directions at all frequencies",
            "check what was exported",
        )
    if bool(np.all(level >= 0.0)) and float(level.max()) <= 1.0 + 1e-9:
        msg = "the levels lie between 0 and 1"
        raise _error(
            msg,
            where,
            "that looks like pressure ratios; levels are read in dB",
            "write decibels",
        )


def _folded(
    angle: FloatArray, level: FloatArray, notes: list[str]
) -> tuple[FloatArray, FloatArray]:
    """Fold both sides of a plane onto one, energies averaged, and sort."""
    turned = np.where(angle > 180.0, angle - 360.0, angle)
    if np.any(turned < -1e-9):
        notes.append("both sides of a plane were averaged by energy")
    folded = np.round(np.abs(turned), 6)
    values = np.unique(folded).astype(np.float64)
    energy = np.array([power_ratio(level[folded == value]).mean(axis=0) for value in values])
    if len(values) < len(angle) and not np.any(turned < -1e-9):
        notes.append("rows of the same angle were averaged by energy")
    return values, power_ratio_db(energy)


def _check_angles(angle: FloatArray, where: str) -> None:
    if abs(float(angle[0])) > 0.5:
        msg = f"the table begins at {angle[0]:g}°"
        raise _error(
            msg,
            where,
            "levels are relative to the axis, so 0° is needed",
            "add the axis",
        )
    if float(angle[-1]) < 90.0 - 1e-6:
        msg = f"the table ends at {angle[-1]:g}°"
        raise _error(
            msg,
            where,
            "a ceiling speaker fills a room up to 90° from its axis",
            "add the missing angles",
        )
    if float(angle[-1]) > 180.0 + 1e-6:
        msg = f"the table goes to {angle[-1]:g}°"
        raise _error(msg, where, "180° is behind", "check the angles")
    steps = np.diff(angle)
    if float(steps.max()) > 15.0 + 1e-6:
        hole = int(np.argmax(steps))
        msg = f"nothing between {angle[hole]:g}° and {angle[hole + 1]:g}°"
        raise _error(
            msg,
            where,
            "steps of more than 15° miss lobes",
            "add the missing angles",
        )


def _octaves(
    angle_rad: FloatArray,
    energy: FloatArray,
    frequencies: Sequence[float],
    where: str,
    *,
    plane: str,
    notes: list[str],
) -> PolarTable:
    """Average energies (n_angles, n_frequencies) into octave bands, relative to the axis."""
    hertz = np.asarray(frequencies)
    rows: list[FloatArray | None] = []
    for mid in _MID_HZ.values():
        inside = (hertz >= mid / _EDGE) & (hertz < mid * _EDGE)
        rows.append(energy[:, inside].mean(axis=1) if inside.any() else None)
    known = [index for index, row in enumerate(rows) if row is not None]
    if not known or known != list(range(known[0], len(BANDS))):
        missing = ", ".join(band for band, row in zip(BANDS, rows, strict=True) if row is None)
        msg = f"no levels for the bands {missing}"
        raise _error(
            msg,
            where,
            "all octave bands up to 8 kHz are needed; only the lowest may be missing",
            "add these frequencies",
        )
    if known[0] > 0:
        lowest = BANDS[known[0]]
        notes.append(
            f"bands below {lowest} Hz were not measured: they are taken like {lowest} Hz, which"
            " makes them too narrow rather than too wide"
        )
    filled = [rows[max(index, known[0])] for index in range(len(BANDS))]
    levels = [
        np.maximum(power_ratio_db(row / row[0]), _FLOOR_DB) for row in filled if row is not None
    ]
    return PolarTable(
        angle_rad=tuple(float(value) for value in angle_rad),
        level_db=tuple(tuple(round(float(v), 2) + 0.0 for v in level) for level in levels),
        plane="axial"
        if plane == "axial"
        else ("horizontal" if plane == "horizontal" else "vertical"),
    )


def polar_csv(tables: Sequence[PolarTable]) -> str:
    """Write polar tables as a plain table that :func:`parse_polar_csv` reads.

    Parameters
    ----------
    tables
        One axial table, or a horizontal and a vertical one.

    Returns
    -------
    str
        Text with one row for each plane and angle.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["angle", "plane", *BANDS])
    for table in tables:
        for column, angle in enumerate(table.angle_rad):
            levels = [f"{row[column]:.2f}" for row in table.level_db]
            writer.writerow([f"{math.degrees(angle):g}", table.plane, *levels])
    return out.getvalue()


def polar_toml(type_id: str, tables: Sequence[PolarTable]) -> str:
    """Write polar tables as they stand in catalogue.toml.

    Parameters
    ----------
    type_id
        Id of the loudspeaker type.
    tables
        Its tables.

    Returns
    -------
    str
        Text to put behind the type.
    """
    parts = [f"[speaker_types.{type_id}.directivity]", 'model = "polar"', ""]
    for table in tables:
        angles = ", ".join(f"{math.degrees(angle):g}" for angle in table.angle_rad)
        rows = [
            "    [" + ", ".join(f"{level:.2f}" for level in row) + "]," for row in table.level_db
        ]
        parts += [
            f"[[speaker_types.{type_id}.directivity.polar]]",
            f'plane = "{table.plane}"',
            f"angle = [{angles}]",
            "# rows: octave bands 63 Hz to 8 kHz",
            "level = [",
            *rows,
            "]",
            "",
        ]
    return "\n".join(parts)
