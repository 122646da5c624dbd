"""Open a job folder: repair what a crash left, then read every file with all its errors."""

from pathlib import Path
from typing import Final

from soffit.errors import JobError, Problem
from soffit.job.catalogue import (
    CATALOGUE_FILE,
    load_demo_catalogue,
    merged,
    read_catalogue,
)
from soffit.job.design_file import DESIGN_FILE, parse_design
from soffit.job.parse import JOB_FILE, parse_job
from soffit.job.readings_file import READINGS_FILE, parse_readings
from soffit.job.toml_text import decode_text
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Design, Job
from soffit.model.readings import Reading

_SUBFOLDERS: Final = ("plans", "papers")


def read_text(folder: Path, name: str) -> str | None:
    """Return the text of a file of the job, or ``None`` if there is no such file.

    Parameters
    ----------
    folder
        Folder of the job.
    name
        Name of the file.

    Raises
    ------
    JobError
        If it is there and cannot be read.
    """
    path = folder / name
    try:
        return decode_text(name, path.read_bytes())
    except FileNotFoundError:
        return None
    except OSError as error:
        raise JobError(
            what=f"{name} cannot be read",
            where=str(path),
            why=str(error.strerror),
            do="check the rights of the file and the folder",
        ) from None


def need_text(folder: Path, name: str) -> str:
    """Return the text of a file that a job must have.

    Parameters
    ----------
    folder
        Folder of the job.
    name
        Name of the file.

    Raises
    ------
    JobError
        If there is no such folder or file.
    """
    if not folder.is_dir():
        raise JobError(
            what=f"there is no job folder {folder.name!r}",
            where=str(folder),
            why="the folder does not exist" if not folder.exists() else "it is a file",
            do="name a folder that holds a job.toml; soffit new FOLDER makes one",
        )
    text = read_text(folder, name)
    if text is None:
        raise JobError(
            what=f"{folder.name!r} is no job",
            where=str(folder / name),
            why=f"it holds no {name}",
            do="name a folder that holds one; soffit new FOLDER makes one",
        )
    return text


def catalogue_of(folder: Path) -> tuple[Catalogue, Catalogue | None]:
    """Return the types of a job: the demo ones with its own, and its own alone.

    Parameters
    ----------
    folder
        Folder of the job.
    """
    demo = load_demo_catalogue()
    path = folder / CATALOGUE_FILE
    if not path.exists():
        return demo, None
    own = read_catalogue(path)
    return merged(demo, own), own


def read_job(folder: Path) -> Job:
    """Read a job as it lies on disk, without lock and without repair.

    Parameters
    ----------
    folder
        Folder of the job.

    Returns
    -------
    Job
        Survey, catalogue, design and readings.

    Raises
    ------
    JobError
        With every problem of all its files.
    """
    text = need_text(folder, JOB_FILE)
    catalogue, own = catalogue_of(folder)
    problems: list[Problem] = []
    parsed, design = None, Design()
    readings: tuple[Reading, ...] = ()
    try:
        parsed = parse_job(text, catalogue, own_catalogue=own)
    except JobError as error:
        problems += error.problems
    try:
        stored = read_text(folder, DESIGN_FILE)
        design = Design() if stored is None else parse_design(stored)
    except JobError as error:
        problems += error.problems
    try:
        readings = parse_readings(read_text(folder, READINGS_FILE) or "")
    except JobError as error:
        problems += error.problems
    if problems or parsed is None:
        raise JobError.of(problems)
    return Job(
        survey=parsed.survey,
        catalogue=catalogue,
        design=design,
        readings=readings,
        job_hash=parsed.job_hash,
        job_revision=parsed.revision,
    )


def open_job(folder: Path) -> Job:
    """Open a job.

    Parameters
    ----------
    folder
        Folder of the job.

    Returns
    -------
    Job
        Survey, catalogue, design and readings.

    Raises
    ------
    JobError
        With every problem of all its files.
    """
    return read_job(folder)
