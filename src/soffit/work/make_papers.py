"""Print the papers of a job: PDF packs, drawings, lists."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import cast

from soffit.errors import JobError
from soffit.papers.packs import PACKS, Pack, make_pack
from soffit.papers.plan import plan_sheet
from soffit.papers.schematic import schematic_sheets
from soffit.papers.svg import write_svg
from soffit.papers.views import JobView, LogRow, Paper
from soffit.work.run_checks import find_all
from soffit.work.view_job import job_view
from soffit.work.view_tests import test_rows
from soffit.work.whole import evaluate_job

Progress = Callable[[float, str], None]


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


def view_of_folder(folder: Path) -> JobView:
    """Return everything that the papers of a job show.

    Parameters
    ----------
    folder
        Folder of the job.

    Returns
    -------
    JobView
        For any pack.

    Raises
    ------
    JobError
        If the job cannot be read or has no design.
    """
    from soffit.job.api import open_job, read_history

    job = open_job(folder)
    need_design(folder, len(job.design.speakers))
    whole = evaluate_job(job)
    log = [
        LogRow(date=entry.at[:10], text=entry.what, who=entry.who)
        for entry in read_history(folder)
        if entry.state == "done"
    ]
    return job_view(whole, find_all(whole), tests=test_rows(whole), log=log)


def make_papers(
    folder: Path,
    *,
    packs: Sequence[str] = ("job",),
    paper: Paper | None = None,
    drawings: bool = True,
    out: Path | None = None,
    progress: Progress = lambda _done, _text: None,
) -> Printed:
    """Print the papers of the job in a folder.

    Parameters
    ----------
    folder
        Folder of the job.
    packs
        Which packs.
    paper
        Paper size instead of the job's.
    drawings
        Write plans and schematics as SVG too.
    out
        Where; ``papers`` in the job's folder by default.
    progress
        Told the share done and what is being done.

    Returns
    -------
    Printed
        The files.

    Raises
    ------
    JobError
        If the job cannot be read or has no design, or a pack does not exist.
    """
    for pack in packs:
        if pack not in PACKS:
            raise JobError(
                what=f"there is no pack {pack!r}",
                where="papers --pack",
                why=f"there are {', '.join(PACKS)}",
                do="name one of these",
            )
    progress(0.02, "reading and evaluating the job")
    view = view_of_folder(folder)
    target = out or folder / "papers"
    files: list[Path] = []
    for number, pack in enumerate(packs):
        share = 0.3 + 0.5 * number / len(packs)
        content = make_pack(
            view, cast("Pack", pack), paper=paper, progress=partial(progress, share)
        )
        files.append(target / f"{pack}.pdf")
        write_file(files[-1], content)
    if drawings:
        files += _draw(view, paper, target, progress)
    progress(1.0, "done")
    return Printed(folder=target, files=tuple(files))


def drawing_texts(view: JobView) -> dict[str, str]:
    """Return every plan and schematic as SVG, by file name.

    Parameters
    ----------
    view
        The job.
    """
    texts = {}
    for number, room in enumerate(view.rooms, 1):
        scene = plan_sheet(room, view.in_room(room.key), view.title, number=f"P-{number:02d}")
        texts[f"plan-{room.key}.svg"] = write_svg(scene)
    for number, line in enumerate(view.lines, 1):
        sheets = schematic_sheets(
            line, view.on_line(line.key), view.title, number=f"S-{number:02d}"
        )
        for place, scene in enumerate(sheets, 1):
            more = f"-{place}" if len(sheets) > 1 else ""
            texts[f"line-{line.label}{more}.svg"] = write_svg(scene)
    return texts


def _draw(view: JobView, paper: Paper | None, target: Path, progress: Progress) -> list[Path]:
    progress(0.85, "drawings")
    if paper:
        view = replace(view, title=replace(view.title, paper=paper))
    files = []
    for name, text in drawing_texts(view).items():
        files.append(target / "drawings" / name)
        write_file(files[-1], text)
    return files
