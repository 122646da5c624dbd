"""Make a job of what was read, and remember what the plan said for the next reading."""

import json
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from soffit.errors import JobError
from soffit.plans.proposal import PlanProposal

if TYPE_CHECKING:
    from soffit.plans.to_job import SiteWishes
    from soffit.work.read_plan import ReadReport

LINES_ENDING: Final = ".lines.json"
"""What a plan draws, storey by storey, to draw rooms on: its file name and this."""

MEMORY_ENDING: Final = ".read.json"
"""What the last reading of a plan said: its file name and this, in the folder ``plans``."""

_COPY_MOST_BYTES: Final = 50_000_000


def check_free(folder: Path) -> None:
    """Refuse a folder into which no new job can go, before time is spent on reading.

    Parameters
    ----------
    folder
        Where the job is to be made.

    Raises
    ------
    JobError
        If it is a file, or holds other things.
    """
    if folder.exists() and not folder.is_dir():
        raise JobError(
            what=f"{folder.name!r} is a file",
            where=str(folder),
            why="a job is a folder",
            do="choose another name",
        )
    if folder.is_dir() and any(folder.iterdir()):
        raise JobError(
            what=f"the folder {folder.name!r} is not empty and holds no job",
            where=str(folder),
            why="a new job goes into a folder of its own",
            do="choose another folder",
        )


def keep_new(
    report: "ReadReport",
    path: Path,
    folder: Path,
    *,
    site: "SiteWishes",
    others: Sequence[Path] = (),
    who: str = "",
) -> "ReadReport":
    """Make a job of the rooms that are kept.

    Parameters
    ----------
    report
        What was read.
    path
        File it was read from.
    folder
        Where the job goes.
    site
        What a plan does not tell of a job.
    others
        Further files that were read with it.
    who
        For history.

    Returns
    -------
    ReadReport
        The same with the folder.

    Raises
    ------
    JobError
        If no room is kept, or the job cannot be written.
    """
    from soffit.job.api import create_job, job_to_toml
    from soffit.plans.to_job import job_tables

    if not report.kept:
        raise nothing_kept(report, path)
    tables = job_tables(report.proposal, report.kept, site, name=path.stem)
    comment = (
        f"Made by soffit read from {path.name}. Bare numbers are metres.\n"
        "Look through every note: it says what was read, what was assumed and what is in doubt."
    )
    create_job(folder, job_to_toml(tables, comment=comment), who=who)
    keep_files(report, folder, (path, *others))
    remember(folder, path.name, report.proposal, tables["rooms"])
    return replace(report, folder=folder, is_changed=True)


def nothing_kept(report: "ReadReport", path: Path) -> JobError:
    """Return the error for a plan of which no room is kept.

    Parameters
    ----------
    report
        What was read.
    path
        The file.
    """
    count = len(report.proposal.rooms)
    if not count and report.proposal.underlays:
        why = " ".join(report.proposal.notes)[:300]
        do = "begin a job with soffit new, then read the picture into it: it becomes an underlay"
    elif not count:
        why = "no room was found; " + " ".join(report.proposal.notes)[:300]
        do = "see the drawing (--drawing), name the layer of the walls, or make a list of rooms"
    else:
        best = max(report.proposal.rooms, key=lambda room: room.confidence)
        why = f"it shows {count} rooms, the surest {best.label} with {best.confidence:.0%}"
        do = "look at the drawing (--drawing), then name rooms with --rooms, or --accept all"
    return JobError(what=f"no room of {path.name} was kept", where=str(path), why=why, do=do)


def keep_files(report: "ReadReport", folder: Path, files: Sequence[Path]) -> None:
    """Put the plan, its drawing, its lines and its pictures into the job's folder ``plans``.

    Parameters
    ----------
    report
        What was read.
    folder
        Folder of the job.
    files
        Files that were read; very large ones stay where they are.
    """
    from soffit.job.files import replace_file

    plans = folder / "plans"
    plans.mkdir(exist_ok=True)
    for file in files:
        target = plans / file.name
        if file.stat().st_size <= _COPY_MOST_BYTES and file.resolve() != target.resolve():
            part = plans / f".{file.name}.part"
            shutil.copyfile(file, part)
            part.replace(target)
    replace_file(plans / f"{files[0].stem}-read.svg", report.drawing)
    for item in report.proposal.underlays:
        part = plans / f".{item.name}.part"
        part.write_bytes(item.png)
        part.replace(plans / item.name)
        about = {
            "picture": item.name,
            "origin_m": list(item.origin),
            "pixel_m": item.pixel_m,
            "turn_rad": item.turn_rad,
            "storey": report.proposal.storeys[0].key if report.proposal.storeys else "",
            "snap_points_m": [list(point) for point in item.snap_points],
        }
        replace_file(plans / f"{item.name}.json", json.dumps(about) + "\n")
    if any(item.lines for item in report.proposal.drawn):
        replace_file(plans / f"{files[0].name}{LINES_ENDING}", _lines_text(report.proposal))


def _lines_text(proposal: PlanProposal) -> str:
    """Return what a plan draws as text: ends of its lines in whole millimetres."""
    body = {
        "format": 1,
        "source": proposal.source,
        "storeys": {
            item.storey_key: [round(value * 1e3) for line in item.lines for value in line]
            for item in proposal.drawn
        },
    }
    return json.dumps(body, ensure_ascii=False, separators=(",", ":")) + "\n"


def remember(
    folder: Path, name: str, proposal: PlanProposal, tables: dict[str, dict[str, Any]]
) -> None:
    """Write down what a plan said, so that a later reading can tell what changed.

    Parameters
    ----------
    folder
        Folder of the job.
    name
        Name of the plan file.
    proposal
        What was read.
    tables
        Tables of its rooms as they went into job.toml, by key.
    """
    from soffit.job.files import replace_file

    origins = {room.key: room.origin_id for room in proposal.rooms}
    body = {
        "format": 1,
        "file": name,
        "rooms": {
            key: {"origin": origins.get(key, ""), "table": table} for key, table in tables.items()
        },
        "others": [
            {"key": room.key, "origin": room.origin_id, "label": room.label}
            for room in proposal.rooms
            if room.key not in tables
        ],
    }
    text = json.dumps(body, ensure_ascii=False, indent=1, sort_keys=True) + "\n"
    (folder / "plans").mkdir(exist_ok=True)
    replace_file(folder / "plans" / f"{name}{MEMORY_ENDING}", text)


def memories_of(folder: Path) -> dict[str, dict[str, Any]]:
    """Return what the last reading of each plan said, by file name.

    Parameters
    ----------
    folder
        Folder of the job.

    Raises
    ------
    JobError
        If a file is damaged.
    """
    found: dict[str, dict[str, Any]] = {}
    for path in sorted((folder / "plans").glob(f"*{MEMORY_ENDING}")):
        try:
            body: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
            rooms = body["rooms"]
            if not all(isinstance(entry["table"], dict) for entry in rooms.values()):
                raise KeyError("table")  # noqa: EM101 caught below
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            raise JobError(
                what="what was read before cannot be told",
                where=str(path),
                why=f"the file is damaged: {error}",
                do="delete it: the next reading then compares with job.toml itself",
            ) from None
        found[path.name.removesuffix(MEMORY_ENDING)] = body
    return found
