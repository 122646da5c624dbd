"""Print the papers of a job: PDF packs, drawings, lists."""

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final, cast

from soffit.errors import JobError
from soffit.papers.packs import PACKS, Pack, make_packs
from soffit.papers.plan import plan_sheet, plan_sheets
from soffit.papers.schematic import schematic_sheets
from soffit.papers.svg import write_svg
from soffit.papers.views import JobView, LogRow, Paper
from soffit.work.run_checks import find_all
from soffit.work.view_job import job_view
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
    notes
        What a reader of the papers should know, such as letters that their font lacks.
    """

    folder: Path
    files: tuple[Path, ...]
    notes: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data."""
        return {
            "folder": str(self.folder),
            "files": [str(path) for path in self.files],
            "notes": list(self.notes),
        }


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
    try:
        partial.write_bytes(data)
        partial.replace(path)
    except OSError as error:  # a full disk names no file by itself
        raise OSError(error.errno, error.strerror, str(path)) from None
    finally:
        with suppress(OSError):
            partial.unlink(missing_ok=True)


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
    return job_view(whole, find_all(whole), log=log)


PACK_NAMES: Final[dict[str, str]] = {str(name): title for name, title in PACKS.items()}
"""Packs by name, with their title."""

EXTRAS: Final[dict[str, str]] = {
    "drawings": "plans and schematics as SVG",
    "template": "1:1 drilling templates, PDF",
    "labels": "labels for both ends of every cable, speakers, amplifiers and rack, PDF",
    "xlsx": "schedule and material list as a workbook",
    "csv": "the same tables as CSV",
    "dxf": "plans and schematics for drafting programs",
    "field": "one HTML page for the phone, no network needed",
    "ifc": "loudspeakers, cables and lines as a building model, or into one (--model)",
}
"""What can be printed besides packs, with its help."""


def make_papers(
    folder: Path,
    *,
    packs: Sequence[str] = ("job",),
    extras: Sequence[str] = ("drawings",),
    paper: Paper | None = None,
    out: Path | None = None,
    model: Path | None = None,
    progress: Progress = lambda _done, _text: None,
) -> Printed:
    """Print the papers of the job in a folder.

    Parameters
    ----------
    folder
        Folder of the job.
    packs
        Which packs.
    extras
        Which of :data:`EXTRAS` besides.
    paper
        Paper size instead of the job's.
    out
        Where; ``papers`` in the job's folder by default.
    model
        Building model that the extra ``ifc`` adds to; it is read, never written.
    progress
        Told the share done and what is being done.

    Returns
    -------
    Printed
        The files.

    Raises
    ------
    JobError
        If the job cannot be read or has no design, or a pack does not exist, or the model is none.
    MissingExtraError
        If an extra needs what is not installed.
    """
    _check_names("pack", packs, PACKS)
    _check_names("extra", extras, EXTRAS)
    if model is not None and "ifc" not in extras:
        raise JobError(
            what="nothing would be added to that model",
            where="papers --model",
            why="only the extra ifc reads a model",
            do="add --extra ifc",
        )
    progress(0.02, "reading and evaluating the job")
    view = view_of_folder(folder)
    if paper:
        view = replace(view, title=replace(view.title, paper=paper))
    target = out or folder / "papers"
    files: list[Path] = []
    # what may be refused comes before anything is written
    first = _extra(view, "ifc", model) if "ifc" in extras else {}
    if packs:
        made = make_packs(
            view, cast("tuple[Pack, ...]", tuple(packs)), progress=partial(progress, 0.4)
        )
        for pack, content in made.items():
            files.append(target / f"{pack}.pdf")
            write_file(files[-1], content)
    for number, extra in enumerate(extras):
        progress(0.8 + 0.2 * number / len(extras), extra)
        made_now = first if extra == "ifc" else _extra(view, extra, None)
        for name, whole in made_now.items():
            files.append(target / name)
            write_file(files[-1], whole)
    progress(1.0, "done")
    letters = tuple(item.what for item in view.findings if item.code == "PAPER-01")
    return Printed(folder=target, files=tuple(files), notes=letters)


def _check_names(kind: str, wanted: Sequence[str], known: Iterable[str]) -> None:
    for name in wanted:
        if name not in set(known):
            raise JobError(
                what=f"there is no {kind} {name!r}",
                where=f"papers --{kind}",
                why=f"there are {', '.join(known)}",
                do="name one of these",
            )


def _extra(view: JobView, name: str, model: Path | None) -> dict[str, bytes | str]:
    """Make the files of one extra, by name."""
    from soffit.papers import dxf, field_page, ifc, labels, tables_out, template

    made: dict[str, Callable[[], dict[str, bytes | str]]] = {
        "drawings": lambda: {f"drawings/{key}": text for key, text in drawing_texts(view).items()},
        "template": lambda: {"template.pdf": template.template_pdf(view)},
        "labels": lambda: {"labels.pdf": labels.label_pdf(view)},
        "xlsx": lambda: {"tables.xlsx": tables_out.write_xlsx(view)},
        "csv": lambda: {
            f"tables/{table.name.lower().replace(' ', '-')}.csv": tables_out.write_csv(table)
            for table in tables_out.tables(view)
        },
        "dxf": lambda: {"plans.dxf": dxf.write_dxf(view)},
        "field": lambda: {"field.html": field_page.field_page(view)},
        "ifc": lambda: {"loudspeakers.ifc": ifc.write_ifc(view, model=model)},
    }
    return made[name]()


def one_drawing(
    folder: Path, kind: str, *, room: str | None = None, line: str | None = None
) -> str:
    """Return one drawing as SVG, for pipes.

    Parameters
    ----------
    folder
        Folder of the job.
    kind
        ``plan`` or ``line``.
    room
        Key or label of the room of a plan.
    line
        Key or label of the line of a schematic.

    Returns
    -------
    str
        SVG text.

    Raises
    ------
    JobError
        If there is no such drawing.
    """
    view = view_of_folder(folder)
    if kind == "plan":
        wanted = [item for item in view.rooms if room in {item.key, item.label}]
        known = [item.key for item in view.rooms]
        if wanted:
            sheet = plan_sheet(wanted[0], view.in_room(wanted[0].key), view.title, number="P-01")
            return write_svg(sheet)
    else:
        found = [item for item in view.lines if line in {item.key, item.label}]
        known = [item.label for item in view.lines]
        if found:
            speakers = view.on_line(found[0].key)
            return write_svg(schematic_sheets(found[0], speakers, view.title, number="S-01")[0])
    raise JobError(
        what=f"there is no {kind} of {room or line!r}",
        where="papers --only",
        why=f"there are {', '.join(known)}",
        do="name one of these with --room or --line",
    )


def drawing_texts(view: JobView) -> dict[str, str]:
    """Return every plan and schematic as SVG, by file name.

    Parameters
    ----------
    view
        The job.
    """
    texts = {}
    for number, room in enumerate(view.rooms, 1):
        for sheet in plan_sheets(
            room, view.in_room(room.key), view.title, number=f"P-{number:02d}"
        ):
            letter = sheet.number.removeprefix(f"P-{number:02d}")
            name = f"plan-{room.key}-{letter}" if letter else f"plan-{room.key}"
            texts[f"{name}.svg"] = write_svg(sheet.scene)
    for number, line in enumerate(view.lines, 1):
        sheets = schematic_sheets(
            line, view.on_line(line.key), view.title, number=f"S-{number:02d}"
        )
        for place, scene in enumerate(sheets, 1):
            more = f"-{place}" if len(sheets) > 1 else ""
            texts[f"line-{line.label}{more}.svg"] = write_svg(scene)
    return texts
