"""Texts of the files in a job folder."""

from pathlib import Path

from soffit.errors import JobError
from soffit.job.toml_text import decode_text


def name_of(folder: Path) -> str:
    """Return the name by which a message calls a folder, also where it was given as ``.``.

    Parameters
    ----------
    folder
        Folder of the job.
    """
    return folder.absolute().name or str(folder)


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
            what=f"there is no job folder {name_of(folder)!r}",
            where=str(folder),
            why="the folder does not exist" if not folder.exists() else "it is a file",
            do="name a folder that holds a job.toml; soffit new FOLDER makes one",
        )
    text = read_text(folder, name)
    if text is None:
        raise JobError(
            what=f"{name_of(folder)!r} is no job",
            where=str(folder / name),
            why=f"it holds no {name}",
            do="name a folder that holds one; soffit new FOLDER makes one",
        )
    return text
