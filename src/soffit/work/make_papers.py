"""Print the papers of a job: PDF packs, drawings, lists."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from soffit.errors import JobError

Progress = Callable[[float, str], None]
Paper = Literal["a4", "a3", "letter", "ansi-b"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """What was printed.

    Parameters
    ----------
    folder
        Where the files are.
    files
        Paths, in the order in which they were made.
    """

    folder: Path
    files: tuple[Path, ...]

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data."""
        return {"folder": str(self.folder), "files": [str(path) for path in self.files]}


def write_file(path: Path, content: bytes | str) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path
        Where.
    content
        Bytes, or a text that is written in UTF-8 with plain line ends.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    path.parent.mkdir(parents=True, exist_ok=True)
    partial = path.with_name(f".{path.name}.partial")
    partial.write_bytes(data)
    partial.replace(path)


def need_design(folder: Path, n_speakers: int) -> None:
    """Refuse to print a job that has no design yet.

    Parameters
    ----------
    folder
        Folder of the job.
    n_speakers
        Speakers in its design.

    Raises
    ------
    JobError
        If there are none.
    """
    if n_speakers == 0:
        raise JobError(
            what="there is nothing to print: the job has no speakers yet",
            where=str(folder / "design.json"),
            why="no design has been made",
            do=f"run: soffit design {folder}",
        )
