"""Make a job folder: from a text, from a template, or from tables that another reader made."""

from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Final

from soffit.errors import JobError
from soffit.job.design_file import DESIGN_FILE
from soffit.job.files import locked
from soffit.job.parse import JOB_FILE
from soffit.job.read import read_job
from soffit.job.repair import current_text, repair
from soffit.job.revision import empty_text, without_revision
from soffit.job.texts import name_of
from soffit.job.write import check_survey_text, transact
from soffit.model.decisions import Job

TEMPLATES: Final = ("one_room",)
SUBFOLDERS: Final = ("plans", "papers")


def template_text(name: str) -> str:
    """Return the text of a template that ships.

    Parameters
    ----------
    name
        One of :data:`TEMPLATES`.

    Raises
    ------
    JobError
        If there is no such template.
    """
    if name not in TEMPLATES:
        raise JobError(
            what=f"there is no template {name!r}",
            where="template",
            why=f"there are {', '.join(TEMPLATES)}",
            do="name one of these",
        )
    file = resources.files("soffit.job") / "templates" / f"{name}.toml"
    return file.read_text(encoding="utf-8")


def create_job(
    folder: Path,
    survey_toml_text: str | None = None,
    *,
    template: str = "one_room",
    force: bool = False,
    who: str = "",
) -> Job:
    """Make a job folder.

    Parameters
    ----------
    folder
        Where; made if it does not exist.
    survey_toml_text
        Text of job.toml; the template if ``None``.
    template
        Name of a template that ships.
    force
        Replace the survey and the design of a job that is there already. Its readings and
        history stay, and the replacement can be undone; the same survey changes nothing.
    who
        For history.

    Returns
    -------
    Job
        The new job.

    Raises
    ------
    JobError
        If the text has problems (nothing is written then), or the folder is in use.
    """
    text = template_text(template) if survey_toml_text is None else survey_toml_text
    text = text.replace("\r\n", "\n")
    if not text.endswith("\n"):
        text += "\n"
    check_survey_text(folder, text)
    is_job = _check_folder(folder, force=force)
    try:
        for name in ("", *SUBFOLDERS):
            (folder / name).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise JobError(
            what=f"the folder {name_of(folder)!r} cannot be made",
            where=str(folder),
            why=str(error.strerror),
            do="choose another place, or check the rights of its parent",
        ) from None
    with locked(folder):
        repair(folder)
        if not is_job:
            transact(folder, {JOB_FILE: text}, kind="created", who=who, what="job created")
        elif not _is_same(folder, text):
            texts = {JOB_FILE: text}
            if (folder / DESIGN_FILE).exists():
                texts[DESIGN_FILE] = empty_text(DESIGN_FILE)
            transact(folder, texts, kind="edit", who=who, what="job replaced as a whole")
        return read_job(folder)


def _is_same(folder: Path, text: str) -> bool:
    old = without_revision(JOB_FILE, current_text(folder, JOB_FILE))
    return old == without_revision(JOB_FILE, text)


def _check_folder(folder: Path, *, force: bool) -> bool:
    """Return whether the folder is a job already; raise if it must not be touched."""
    if folder.exists() and not folder.is_dir():
        raise JobError(
            what=f"{name_of(folder)!r} is a file",
            where=str(folder),
            why="a job is a folder",
            do="choose another name",
        )
    is_job = (folder / JOB_FILE).exists()
    if is_job and not force:
        raise JobError(
            what=f"there is a job in {name_of(folder)!r} already",
            where=str(folder / JOB_FILE),
            why="a new job does not overwrite another",
            do="choose another folder, or force it: survey and design are replaced",
        )
    if not is_job and not force and folder.is_dir() and any(folder.iterdir()):
        raise JobError(
            what=f"the folder {name_of(folder)!r} is not empty",
            where=str(folder),
            why="a new job goes into a folder of its own",
            do="choose another folder, or force it: what is there stays",
        )
    return is_job


def job_to_toml(tables: Mapping[str, Any], *, comment: str = "") -> str:
    """Return the text of job.toml for tables that another reader made.

    Parameters
    ----------
    tables
        As they stand in job.toml; ``None`` values are left out, ``format`` and ``revision`` are
        added.
    comment
        First lines of the file.

    Returns
    -------
    str
        TOML; check it with :func:`create_job`.
    """
    import tomlkit  # noqa: PLC0415 - only needed where a job is written

    ordered: dict[str, Any] = {"format": 1, "revision": 1}
    for key in ("note", "site", "storeys", "racks", "rooms", "zones"):
        if tables.get(key) is not None:
            ordered[key] = _clean(tables[key])
    for key, value in tables.items():
        if key not in ordered and value is not None:
            ordered[key] = _clean(value)
    head = "".join(f"# {line}\n" for line in comment.splitlines())
    return head + tomlkit.dumps(ordered)


def _clean(value: Any) -> Any:  # noqa: ANN401 - any value of a file
    if isinstance(value, Mapping):
        return {str(key): _clean(item) for key, item in value.items() if item is not None}
    if isinstance(value, list | tuple):
        return [_clean(item) for item in value]
    if isinstance(value, float):
        rounded = round(value, 6)
        return int(rounded) if rounded.is_integer() else rounded
    return value
