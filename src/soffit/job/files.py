"""Writing that survives a crash: one lock for the folder, atomic replacement, synced appends."""

import os
import re
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Final

from soffit.errors import JobError

LOCK_FILE: Final = ".soffit.lock"
WAIT_S: Final = 10.0
"""How long a writer waits for another one. [s]"""

_STALE_S: Final = 120.0
"""Age at which the lock file of another machine is taken to be left over. [s]"""

_TEMPORARY: Final = re.compile(r"^\.soffit-.+\.tmp$")


@contextmanager
def locked(folder: Path, *, wait_s: float = WAIT_S) -> Iterator[None]:
    """Hold the folder's lock, so that only one process writes.

    The operating system frees the lock when a process dies. Where the file system has no locks,
    a lock file with the owner's name does the work; it is taken over when its owner is gone.

    Parameters
    ----------
    folder
        Folder of the job.
    wait_s
        How long to wait for another writer. [s]

    Raises
    ------
    JobError
        If another process holds it longer than that, or the folder cannot be written.
    """
    path = folder / LOCK_FILE
    try:
        handle = path.open("a+b")
    except OSError as error:
        raise JobError(
            what=f"the job {folder.name!r} cannot be written",
            where=str(folder),
            why=str(error.strerror),
            do="check the rights of the folder, or copy the job to where you may write",
        ) from None
    with handle:
        release = _take(handle, folder, wait_s)
        try:
            yield
        finally:
            release()


def _take(handle: IO[bytes], folder: Path, wait_s: float) -> "_Release":
    until = time.monotonic() + wait_s
    while True:
        try:
            release = _try_system_lock(handle)
        except OSError:  # this file system has no locks
            release = _try_owner_file(folder)
        if release is not None:
            return release
        if time.monotonic() > until:
            raise JobError(
                what=f"the job {folder.name!r} is being written by somebody else",
                where=str(folder),
                why=f"its lock was not free for {wait_s:g} s",
                do="wait until the other program has ended, then try again",
            )
        time.sleep(0.01)


class _Release:
    """What gives a lock back."""

    def __init__(self, handle: IO[bytes] | None, owner_file: Path | None = None) -> None:
        self._handle = handle
        self._owner_file = owner_file

    def __call__(self) -> None:
        if self._owner_file is not None:
            self._owner_file.unlink(missing_ok=True)
        if self._handle is not None:
            _system_unlock(self._handle)


def _try_system_lock(handle: IO[bytes]) -> _Release | None:
    try:
        if os.name == "nt":
            import msvcrt  # noqa: PLC0415 - exists on one system only

            handle.seek(0)
            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        else:
            import fcntl  # noqa: PLC0415 - exists on one system only

            fcntl.flock(handle.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return None
    return _Release(handle)


def _system_unlock(handle: IO[bytes]) -> None:
    if os.name == "nt":
        import msvcrt  # noqa: PLC0415 - exists on one system only

        handle.seek(0)
        msvcrt.locking(handle.fileno(), msvcrt.LK_UNLCK, 1)  # type: ignore[attr-defined,unused-ignore]
    else:
        import fcntl  # noqa: PLC0415 - exists on one system only

        fcntl.flock(handle.fileno(), fcntl.LOCK_UN)


def _try_owner_file(folder: Path) -> _Release | None:
    path = folder / f"{LOCK_FILE}.owner"
    try:
        number = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY)
    except FileExistsError:
        if is_left_over(path):
            path.unlink(missing_ok=True)
        return None
    with os.fdopen(number, "w", encoding="utf-8") as owner:
        owner.write(f"{os.getpid()} {socket.gethostname()}")
    return _Release(None, path)


def is_left_over(path: Path) -> bool:
    """Return whether the process that made a lock file is gone.

    Parameters
    ----------
    path
        The lock file with process number and machine.

    Returns
    -------
    bool
        For a process of this machine: whether it is gone; for others: whether the file is old.
    """
    try:
        words = path.read_text(encoding="utf-8").split()
        age = time.time() - path.stat().st_mtime
    except OSError:
        return False
    if len(words) != 2 or words[1] != socket.gethostname() or os.name == "nt":
        return age > _STALE_S
    try:
        os.kill(int(words[0]), 0)
    except (ProcessLookupError, ValueError):
        return True
    except PermissionError:
        return False
    return False


def sync_folder(folder: Path) -> None:
    """Make renames in a folder durable.

    Parameters
    ----------
    folder
        The folder.
    """
    if os.name == "nt":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):  # some network file systems cannot sync folders
            os.fsync(number)
    finally:
        os.close(number)


def replace_file(path: Path, text: str) -> None:
    """Write a whole file: temporary file, sync, atomic replacement, sync of the folder.

    Parameters
    ----------
    path
        The file.
    text
        Its new content.

    Raises
    ------
    JobError
        If it cannot be written; the old file is as it was.
    """
    temporary = path.with_name(f".soffit-{path.name}.{os.getpid()}.tmp")
    try:
        with temporary.open("wb") as handle:
            handle.write(text.encode("utf-8"))
            handle.flush()
            os.fsync(handle.fileno())
        temporary.replace(path)
    except OSError as error:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise _cannot_write(path, error) from None
    sync_folder(path.parent)


def append_lines(path: Path, lines: list[str]) -> None:
    """Append lines to a file and sync it before returning.

    Parameters
    ----------
    path
        The file; made if absent.
    lines
        Lines without line end.

    Raises
    ------
    JobError
        If it cannot be written.
    """
    is_new = not path.exists()
    data = "".join(f"{line}\n" for line in lines).encode("utf-8")
    try:
        with path.open("ab") as handle:
            handle.write(data)
            handle.flush()
            os.fsync(handle.fileno())
    except OSError as error:
        raise _cannot_write(path, error) from None
    if is_new:
        sync_folder(path.parent)


def mend_tail(path: Path) -> bool:
    """Cut off a last line that a crash left unfinished.

    Parameters
    ----------
    path
        A file of JSON lines.

    Returns
    -------
    bool
        Whether anything was mended. A last line without line end that is whole is kept.
    """
    import json  # noqa: PLC0415 - only where a tail is torn

    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return False
    if not data or data.endswith(b"\n"):
        return False
    start = data.rfind(b"\n") + 1
    try:
        json.loads(data[start:])
        whole = True
    except ValueError:
        whole = False
    with path.open("r+b") as handle:
        if whole:
            handle.seek(0, os.SEEK_END)
            handle.write(b"\n")
        else:
            handle.truncate(start)
        handle.flush()
        os.fsync(handle.fileno())
    return True


def remove_temporary_files(folder: Path) -> None:
    """Remove what a crash left of unfinished replacements.

    Parameters
    ----------
    folder
        Folder of the job; its lock must be held.
    """
    for path in folder.iterdir():
        if _TEMPORARY.match(path.name):
            path.unlink(missing_ok=True)


def _cannot_write(path: Path, error: OSError) -> JobError:
    return JobError(
        what=f"{path.name} cannot be written",
        where=str(path),
        why=str(error.strerror),
        do="make room on the disk or check the rights; nothing was changed",
    )
