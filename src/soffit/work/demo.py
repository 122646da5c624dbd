"""Invented demo jobs: copied into a folder, to play with."""

from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from soffit.errors import JobError


def _demos() -> Traversable:
    return resources.files("soffit.work") / "demos"


def demo_names() -> tuple[str, ...]:
    """Return the names of the demo jobs that ship, the first one first."""
    names = sorted(entry.name for entry in _demos().iterdir() if (entry / "job.toml").is_file())
    return tuple(sorted(names, key=lambda name: (name != "library", name)))


def make_demo(name: str, folder: Path, *, force: bool = False, who: str = "") -> Path:
    """Copy a demo job into a folder.

    Parameters
    ----------
    name
        Which one.
    folder
        Where; made if it does not exist.
    force
        Replace a job that is there; its history stays.
    who
        For history.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    JobError
        If there is no such demo, or the folder is in use.
    """
    from soffit.job.api import create_job, parse_design, write_design

    if name not in demo_names():
        raise JobError(
            what=f"there is no demo {name!r}",
            where="demo",
            why=f"there are {', '.join(demo_names())}",
            do="name one of these",
        )
    source = _demos() / name
    job = create_job(
        folder, (source / "job.toml").read_text(encoding="utf-8"), force=force, who=who
    )
    decided = source / "design.json"
    if decided.is_file():
        design = parse_design(decided.read_text(encoding="utf-8"))
        write_design(folder, design, job.design.revision, who=who, what=f"demo {name}")
    return folder


def begin_job(folder: Path, *, force: bool = False, who: str = "") -> Path:
    """Begin a job of one room in a folder.

    Parameters
    ----------
    folder
        Where; made if it does not exist.
    force
        Replace a job that is there; its history stays.
    who
        For history.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    JobError
        If the folder is in use.
    """
    from soffit.job.api import create_job

    create_job(folder, force=force, who=who)
    return folder
