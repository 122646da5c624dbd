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
    own = source / "catalogue.toml"
    if own.is_file() and (force or not folder.exists() or _is_empty(folder)):
        bring_catalogue(folder, own.read_text(encoding="utf-8"))
        force = True  # the folder was empty, or may be replaced: nothing is lost
    job = create_job(
        folder, (source / "job.toml").read_text(encoding="utf-8"), force=force, who=who
    )
    decided = source / "design.json"
    if decided.is_file():
        design = parse_design(decided.read_text(encoding="utf-8"))
        write_design(folder, design, job.design.revision, who=who, what=f"demo {name}")
    return folder


def _is_empty(folder: Path) -> bool:
    return folder.is_dir() and not any(folder.iterdir())


def bring_catalogue(folder: Path, text: str) -> None:
    """Write a job's own types before the job, which names them.

    Parameters
    ----------
    folder
        Folder of the job; made if it does not exist.
    text
        Text of catalogue.toml.

    Raises
    ------
    JobError
        If the folder cannot be written, or has another catalogue.
    """
    from soffit.job.files import replace_file

    path = folder / "catalogue.toml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        other = path.exists() and path.read_text(encoding="utf-8") != text
    except (OSError, UnicodeDecodeError) as error:
        raise JobError(
            what=f"the demo cannot be copied to {folder.name!r}",
            where=str(folder),
            why=str(error),
            do="choose another place, or check its rights",
        ) from None
    if other:
        raise JobError(
            what=f"there is another catalogue.toml in {folder.name!r}",
            where=str(path),
            why="the demo brings types of its own, and yours would be lost",
            do="choose another folder",
        )
    replace_file(path, text)


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
