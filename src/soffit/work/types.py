"""The types of a job: list them, show one, write them out, give one a measured directivity."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from soffit.acoustics.directivity import coverage_angle_rad
from soffit.errors import JobError
from soffit.evaluate.sound_source import radiator_of
from soffit.job.catalogue import CATALOGUE_FILE, load_demo_catalogue
from soffit.job.catalogue_edit import put_directivity
from soffit.job.catalogue_text import (
    amplifier_toml,
    cable_toml,
    catalogue_toml,
    directivity_toml,
    hardware_toml,
    speaker_toml,
)
from soffit.job.polar_csv import ReadDirectivity, polar_csv, read_polar_csv
from soffit.job.read import catalogue_of
from soffit.model.catalogue import (
    BANDS,
    AmplifierType,
    CableType,
    Catalogue,
    Directivity,
    HardwareType,
    PolarTable,
    SpeakerType,
)
from soffit.work.make_papers import write_file
from soffit.work.read_directivity import read_directivity

AnyType = SpeakerType | AmplifierType | CableType | HardwareType


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeRow:
    """One type in the list.

    Parameters
    ----------
    group
        ``loudspeaker``, ``amplifier``, ``cable`` or ``part``.
    is_own
        Whether the job's own catalogue has it.
    """

    group: str
    id: str
    name: str
    source: str
    is_own: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PutTables:
    """What became of a file with a directivity.

    Parameters
    ----------
    tables
        Polar tables as read.
    notes
        What had to be decided to read them.
    toml
        Their text for a catalogue.
    is_changed
        Whether the job's catalogue has changed; ``None`` if there is no job.
    """

    type_id: str
    tables: tuple[PolarTable, ...]
    notes: tuple[str, ...]
    toml: str
    is_changed: bool | None

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "id": self.type_id,
            "changed": self.is_changed,
            "notes": list(self.notes),
            "tables": [
                {
                    "plane": table.plane,
                    "angle_deg": [round(float(a), 6) for a in np.degrees(table.angle_rad)],
                    "level_db": {
                        band: list(row) for band, row in zip(BANDS, table.level_db, strict=True)
                    },
                }
                for table in self.tables
            ],
        }

    def text(self) -> str:
        """Return it as text."""
        if self.is_changed is None:
            return "\n".join([*(f"# {note}" for note in self.notes), self.toml]).rstrip()
        planes = " and ".join(table.plane for table in self.tables)
        count = len(self.tables[0].angle_rad)
        last = np.degrees(self.tables[0].angle_rad[-1])
        done = "put into" if self.is_changed else "was already in"
        lines = [f"{self.type_id}: {planes} table of {count} angles to {last:.0f}° {done}"]
        return "\n".join([f"{lines[0]} {CATALOGUE_FILE}", *self.notes])


def _catalogues(folder: Path | None) -> tuple[Catalogue, Catalogue]:
    if folder is None:
        return load_demo_catalogue(), Catalogue()
    if not folder.is_dir():
        raise JobError(
            what=f"there is no job folder {folder.name!r}",
            where=str(folder),
            why="the folder does not exist",
            do="name the folder of a job, or leave --into out for the demo types alone",
        )
    known, own = catalogue_of(folder)
    return known, own or Catalogue()


def _groups(catalogue: Catalogue) -> tuple[tuple[str, Sequence[AnyType]], ...]:
    return (
        ("loudspeaker", catalogue.speaker_types),
        ("amplifier", catalogue.amplifier_types),
        ("cable", catalogue.cable_types),
        ("part", catalogue.hardware_types),
    )


def list_types(folder: Path | None) -> tuple[TypeRow, ...]:
    """Return all types that a job may use.

    Parameters
    ----------
    folder
        Folder of the job; ``None`` for the demo types alone.

    Raises
    ------
    JobError
        If there is no such folder or its catalogue is wrong.
    """
    known, own = _catalogues(folder)
    ours = {(group, entry.id) for group, entries in _groups(own) for entry in entries}
    return tuple(
        TypeRow(
            group=group,
            id=entry.id,
            name=entry.name,
            source=entry.source,
            is_own=(group, entry.id) in ours,
        )
        for group, entries in _groups(known)
        for entry in entries
    )


def find_type(folder: Path | None, type_id: str) -> AnyType:
    """Return one type by id, of whatever kind.

    Parameters
    ----------
    folder
        Folder of the job; ``None`` for the demo types alone.
    type_id
        Its id.

    Raises
    ------
    JobError
        If there is no such type.
    """
    known, _ = _catalogues(folder)
    found = [entry for _, entries in _groups(known) for entry in entries if entry.id == type_id]
    if not found:
        ids = ", ".join(entry.id for _, entries in _groups(known) for entry in entries)
        raise JobError(
            what=f"there is no type {type_id!r}",
            where=f"{CATALOGUE_FILE}  {type_id}",
            why=f"known: {ids}",
            do="name one of these; soffit type --list shows them with their names",
        )
    return found[0]


def _hertz(band: str) -> str:
    """Write an octave band with its unit: ``500 Hz``, ``4 kHz``."""
    return f"{band.removesuffix('k')} kHz" if band.endswith("k") else f"{band} Hz"


def type_text(entry: AnyType) -> str:
    """Return one type as it would stand in a catalogue, and what follows from it.

    Parameters
    ----------
    entry
        The type.
    """
    if isinstance(entry, AmplifierType):
        return amplifier_toml(entry)
    if isinstance(entry, CableType):
        return cable_toml(entry)
    if isinstance(entry, HardwareType):
        return hardware_toml(entry)
    angles = coverage_deg(entry)
    shown = ", ".join(
        f"{_hertz(band)} {angle:.0f}°" for band, angle in zip(BANDS, angles, strict=True)
    )
    return f"{speaker_toml(entry)}# covers (-6 dB, full angle): {shown}\n"


def coverage_deg(entry: SpeakerType) -> tuple[float, ...]:
    """Return the full angle between the -6 dB directions of each octave, in degrees.

    Parameters
    ----------
    entry
        Loudspeaker type.
    """
    angles = np.degrees(coverage_angle_rad(radiator_of(entry).directivity))
    return tuple(float(angle) for angle in angles)


def export_types(path: Path, *, folder: Path | None, ids: Sequence[str] = ()) -> Path:
    """Write types into a file: TOML for any, a table of polar levels (CSV) for one loudspeaker.

    Parameters
    ----------
    path
        File ending in ``.toml`` or ``.csv``.
    folder
        Folder of the job; ``None`` for the demo types alone.
    ids
        Types to write; all if empty.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    JobError
        If a type is unknown, the ending is another one, or a CSV is asked of what has no table.
    """
    kind = path.suffix.casefold()
    if kind == ".csv" and len(ids) == 1:
        entry = find_type(folder, ids[0])
        tables = entry.directivity.polar if isinstance(entry, SpeakerType) else ()
        if not tables:
            raise JobError(
                what=f"{ids[0]} has no polar table",
                where=str(path),
                why="only loudspeaker types with polar tables have one",
                do="write it as .toml, or give it a measured directivity first",
            )
        write_file(path, polar_csv(tables))
        return path
    if kind != ".toml":
        raise JobError(
            what=f"types cannot be written into {path.name}",
            where=str(path),
            why="types are written as .toml, the polar table of one loudspeaker as .csv",
            do="end the name in .toml; for .csv name one type with --id",
        )
    chosen = [find_type(folder, type_id) for type_id in ids]
    known, _ = _catalogues(folder)
    catalogue = known if not ids else _only(chosen)
    write_file(path, catalogue_toml(catalogue, head="Types written by soffit; numbers are SI."))
    return path


def _only(entries: Sequence[AnyType]) -> Catalogue:
    return Catalogue(
        speaker_types=tuple(entry for entry in entries if isinstance(entry, SpeakerType)),
        amplifier_types=tuple(entry for entry in entries if isinstance(entry, AmplifierType)),
        cable_types=tuple(entry for entry in entries if isinstance(entry, CableType)),
        hardware_types=tuple(entry for entry in entries if isinstance(entry, HardwareType)),
    )


def read_tables(path: Path) -> ReadDirectivity:
    """Read polar tables from an AES69 file (``.sofa``) or a plain table (``.csv``, ``.txt``).

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    JobError
        If there is no such file, or its content is no directivity.
    """
    if path.suffix.casefold() != ".sofa":
        return read_polar_csv(path)
    if not path.is_file():
        raise JobError(
            what=f"there is no file {path.name}",
            where=str(path),
            why="nothing can be read from it",
            do="check the path",
        )
    found = read_directivity(path)
    levels = (
        (("axial", found.axial_db),)
        if found.is_round
        else (("horizontal", found.horizontal_db), ("vertical", found.vertical_db))
    )
    notes = ["directions averaged over rings of 5° and over each octave"]
    if found.missing:
        notes.append(f"not measured, taken from the next octave: {', '.join(found.missing)}")
    return ReadDirectivity(
        tables=tuple(
            PolarTable(
                angle_rad=tuple(float(angle) for angle in found.angle_rad),
                level_db=tuple(
                    tuple(max(round(float(level), 2), -60.0) + 0.0 for level in row)
                    for row in table.T
                ),
                plane=plane,  # type: ignore[arg-type]  # one of the three words above
            )
            for plane, table in levels
        ),
        notes=tuple(notes),
    )


def take_directivity(
    path: Path, *, folder: Path | None, type_id: str, like: str = "", who: str = ""
) -> PutTables:
    """Read a directivity and put it into a job's own catalogue.

    Parameters
    ----------
    path
        AES69 file, or a table of levels over angle.
    folder
        Folder of the job; ``None`` to see the text alone.
    type_id
        Loudspeaker type that it belongs to.
    like
        Type whose other data a new type takes over.
    who
        For history.

    Returns
    -------
    PutTables
        Tables, notes, and whether the job has changed.

    Raises
    ------
    JobError
        If the file holds no directivity, or the type is unknown; nothing is written then.
    """
    read = read_tables(path)
    made = Directivity(model="polar", polar=read.tables)
    note = "; ".join((f"from {path.name}", *read.notes))
    changed = None
    if folder is not None:
        changed = put_directivity(folder, type_id, made, like=like, note=note, who=who)
    return PutTables(
        type_id=type_id,
        tables=read.tables,
        notes=read.notes,
        toml=directivity_toml(type_id, made, note=note),
        is_changed=changed,
    )
