"""Open a job folder: repair what a crash left, then read every file with all its errors."""

from pathlib import Path

from soffit.errors import JobError, Problem
from soffit.job.catalogue import (
    CATALOGUE_FILE,
    load_demo_catalogue,
    merged,
    read_catalogue,
)
from soffit.job.design_file import DESIGN_FILE, parse_design
from soffit.job.files import locked
from soffit.job.history import HISTORY_FILE
from soffit.job.parse import JOB_FILE, parse_job
from soffit.job.readings_file import READINGS_FILE, parse_readings
from soffit.job.repair import repair
from soffit.job.texts import need_text, read_text
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Design, Job
from soffit.model.readings import Reading


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
    """Open a job, and mend what a crash left.

    Parameters
    ----------
    folder
        Folder of the job.

    Returns
    -------
    Job
        Survey, catalogue, design and readings (struck ones included).

    Raises
    ------
    JobError
        With every problem of all its files.
    """
    need_text(folder, JOB_FILE)
    if not (folder / HISTORY_FILE).exists():
        return read_job(folder)  # nothing was written by soffit, so there is nothing to mend
    try:
        with locked(folder):
            repair(folder)
            return read_job(folder)
    except JobError as error:
        if "cannot be written" not in error.problems[0].what:
            raise
        return read_job(folder)  # a medium that cannot be written can still be read
