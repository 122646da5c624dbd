"""A job as one ZIP file, and back; archives of strangers are unpacked with care."""

import shutil
import stat
import tempfile
import zipfile
from pathlib import Path, PurePosixPath
from typing import Final

from soffit.errors import JobError
from soffit.job.catalogue import CATALOGUE_FILE
from soffit.job.design_file import DESIGN_FILE
from soffit.job.files import locked
from soffit.job.history import HISTORY_FILE
from soffit.job.parse import JOB_FILE
from soffit.job.read import open_job
from soffit.job.readings_file import READINGS_FILE
from soffit.job.repair import repair
from soffit.job.texts import need_text
from soffit.model.decisions import Job

FILES: Final = (JOB_FILE, CATALOGUE_FILE, DESIGN_FILE, READINGS_FILE, HISTORY_FILE)
FOLDERS: Final = ("plans", "papers")

MOST_FILES: Final = 2000
MOST_BYTES: Final = 500_000_000
"""Largest job that is unpacked, counted while unpacking: archives can lie about sizes."""

_CHUNK: Final = 1 << 16
_MOMENT: Final = (1980, 1, 1, 0, 0, 0)


def zip_job(folder: Path, target: Path, *, with_papers: bool = True) -> Path:
    """Pack a job: the same job gives the same bytes.

    Parameters
    ----------
    folder
        Folder of the job.
    target
        ZIP file to write.
    with_papers
        Whether to pack what was printed.

    Returns
    -------
    Path
        The ZIP file.

    Raises
    ------
    JobError
        If the folder is no job or the file cannot be written.
    """
    need_text(folder, JOB_FILE)
    temporary = target.with_name(f".{target.name}.tmp")
    try:
        with locked(folder):
            repair(folder)
            paths = [folder / name for name in FILES if (folder / name).is_file()]
            for name in FOLDERS if with_papers else FOLDERS[:1]:
                paths += [
                    path
                    for path in sorted((folder / name).rglob("*"))
                    if path.is_file() and not path.is_symlink()
                ]
            with zipfile.ZipFile(temporary, "w", zipfile.ZIP_DEFLATED) as archive:
                for path in paths:
                    info = zipfile.ZipInfo(path.relative_to(folder).as_posix(), _MOMENT)
                    info.compress_type = zipfile.ZIP_DEFLATED
                    info.external_attr = 0o644 << 16
                    archive.writestr(info, path.read_bytes())
        temporary.replace(target)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise JobError(
            what=f"{target.name} cannot be written",
            where=str(target),
            why=str(error.strerror),
            do="choose another place, or make room",
        ) from None
    return target


def unzip_job(source: Path, folder: Path) -> Job:
    """Unpack a job into a new folder.

    Parameters
    ----------
    source
        ZIP file made by :func:`zip_job` or by packing a job folder.
    folder
        New folder; nothing may be there.

    Returns
    -------
    Job
        The job, opened.

    Raises
    ------
    JobError
        If the archive is broken, holds what no job holds, or the job in it has problems; the
        folder is not made then.
    """
    if folder.exists():
        raise JobError(
            what=f"{folder.name!r} is there already",
            where=str(folder),
            why="a job is unpacked into a new folder",
            do="choose another name",
        )
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=".soffit-unzip-", dir=folder.parent))
    except OSError as error:
        raise _refused(source, str(error.strerror), "choose another place") from None
    try:
        _extract(source, work / "job")
        open_job(work / "job")
        (work / "job").replace(folder)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return open_job(folder)


def _refused(source: Path, why: str, do: str) -> JobError:
    return JobError(what=f"{source.name} is not unpacked", where=str(source), why=why, do=do)


def _extract(source: Path, into: Path) -> None:
    into.mkdir()
    left = MOST_BYTES
    try:
        with zipfile.ZipFile(source) as archive:
            members = [info for info in archive.infolist() if not info.is_dir()]
            if len(members) > MOST_FILES:
                raise _refused(source, f"it holds {len(members)} files", "pack one job only")
            top = _top_folder(members)
            seen: set[str] = set()
            for info in members:
                name = _safe_name(source, info, top)
                if name is None:
                    continue
                if name.lower() in seen:
                    raise _refused(source, f"it holds {name!r} twice", "pack the job again")
                seen.add(name.lower())
                left = _copy(archive, info, into / name, left, source)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        if isinstance(error, JobError):
            raise
        raise _refused(source, f"it is no whole ZIP file ({error})", "fetch it again") from None
    except OSError as error:
        raise _refused(source, str(error.strerror or error), "check file and folder") from None


def _top_folder(members: list[zipfile.ZipInfo]) -> str:
    """Return the folder that holds everything, as when a person packs a folder."""
    names = [info.filename for info in members]
    if JOB_FILE in names:
        return ""
    tops = {name.split("/")[0] for name in names if name.endswith(f"/{JOB_FILE}")}
    return f"{tops.pop()}/" if len(tops) == 1 else ""


def _safe_name(source: Path, info: zipfile.ZipInfo, top: str) -> str | None:
    """Return the place inside the job; ``None`` for what is not part of a job."""
    name = info.filename
    parts = PurePosixPath(name).parts
    is_link = stat.S_ISLNK(info.external_attr >> 16)
    if name.startswith("/") or ".." in parts or "\\" in name or ":" in name or is_link:
        raise _refused(
            source,
            f"{name!r} would be written outside the job, or is a link",
            "do not trust this archive; ask for one that soffit packed",
        )
    if not name.startswith(top):
        return None
    inner = PurePosixPath(name[len(top) :])
    if str(inner) in FILES or (len(inner.parts) > 1 and inner.parts[0] in FOLDERS):
        return str(inner)
    return None


def _copy(
    archive: zipfile.ZipFile, info: zipfile.ZipInfo, target: Path, left: int, source: Path
) -> int:
    target.parent.mkdir(parents=True, exist_ok=True)
    with archive.open(info) as packed, target.open("wb") as out:
        while chunk := packed.read(_CHUNK):
            left -= len(chunk)
            if left < 0:
                raise _refused(
                    source,
                    f"unpacked it is larger than {MOST_BYTES / 1e6:.0f} MB",
                    "pack the job without papers and underlays",
                )
            out.write(chunk)
    return left
