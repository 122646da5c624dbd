"""Read a plan file in a child process, show what was found, and make or bring up to date a job."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soffit.errors import JobError
from soffit.plans.proposal import PlanProposal, ReadWishes, RoomProposal
from soffit.tables.settings import DEFAULT_LIMITS

if TYPE_CHECKING:
    from soffit.plans.compare import Difference
    from soffit.plans.to_job import SiteWishes


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadReport:
    """What was read, and what became of it.

    Parameters
    ----------
    proposal
        All that was found.
    kept
        Rooms that went into the job, or would go.
    left
        Rooms that did not, with the reason.
    drawing
        SVG of what was found.
    folder
        Job that was made or changed; ``None`` if nothing was kept.
    differences
        What the plan says now and did not say before, for a job that had been read before.
    is_changed
        Whether the job was written.
    """

    proposal: PlanProposal
    kept: tuple[RoomProposal, ...]
    left: tuple[tuple[RoomProposal, str], ...]
    drawing: str
    folder: Path | None = None
    differences: tuple["Difference", ...] = ()
    is_changed: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON faces."""
        why = {room.key: text for room, text in self.left}
        return {
            "source": self.proposal.source,
            "units": "imperial" if self.proposal.is_imperial else "metric",
            "storeys": [
                {"key": item.key, "label": item.label, "elevation_m": item.elevation_m}
                for item in self.proposal.storeys
            ],
            "rooms": [
                _room_dict(room, self.proposal, why.get(room.key)) for room in self.proposal.rooms
            ],
            "obstacles": [
                {
                    "kind": item.kind,
                    "label": item.label,
                    "room": item.room_key,
                    "outline": [list(point) for point in item.outline],
                    "bottom_m": item.bottom_m,
                    "top_m": item.top_m,
                    "doubt": item.doubt,
                    "source": item.source,
                }
                for item in self.proposal.obstacles
            ],
            "speakers": [
                {
                    "label": item.label,
                    "room": item.room_key,
                    "position": list(item.position),
                    "mount_height_m": item.mount_height_m,
                    "facts": dict(item.facts),
                }
                for item in self.proposal.speakers
            ],
            "notes": list(self.proposal.notes),
            "set_aside": [{"what": i.what, "why": i.why} for i in self.proposal.set_aside],
            "underlays": [item.name for item in self.proposal.underlays],
            "folder": str(self.folder) if self.folder else None,
            "changed": self.is_changed,
            "differences": [item.as_dict() for item in self.differences],
            "findings": [],
        }


def _room_dict(room: RoomProposal, proposal: PlanProposal, left: str | None) -> dict[str, Any]:
    return {
        "key": room.key,
        "label": room.label,
        "storey": room.storey_key,
        "area_m2": round(room.area_m2, 4),
        "stated_area_m2": room.stated_area_m2,
        "outline": [list(point) for point in room.outline],
        "holes": [[list(point) for point in ring] for ring in room.holes],
        "columns": len(room.columns),
        "doors": len(room.doors),
        "height_m": room.height_m,
        "height_source": room.height_source,
        "ceilings": [
            {
                "kind": item.kind,
                "kind_text": item.kind_text,
                "height_m": item.height_m,
                "height_source": item.height_source,
                "height_text": item.height_text,
                "region": [list(point) for point in item.region] if item.region else None,
                "pitch_m": list(item.pitch_m) if item.pitch_m else None,
                "slope_ratio": item.slope_ratio,
                "structure_height_m": item.structure_height_m,
            }
            for item in room.ceilings
        ],
        "obstacles": sum(item.room_key == room.key for item in proposal.obstacles),
        "confidence": round(room.confidence, 3),
        "doubts": list(room.doubts),
        "assumed": list(room.assumed),
        "kept": left is None,
        "why_not_kept": left or "",
    }


def read_plan(
    path: Path,
    *,
    others: Sequence[Path] = (),
    rooms: Sequence[str] = (),
    accept: bool = False,
    wishes: ReadWishes | None = None,
) -> ReadReport:
    """Read a plan file and say what was found; nothing is kept.

    Parameters
    ----------
    path
        The file.
    others
        Further models of the same building.
    rooms
        Keys or labels of the rooms that are wanted; all sure ones by default.
    accept
        Take doubtful rooms too.
    wishes
        What a person says that the file does not.

    Returns
    -------
    ReadReport
        The proposal and its drawing.

    Raises
    ------
    JobError
        If the file cannot be read, or a wanted room is not in it.
    ChildError
        If reading took more time or memory than allowed.
    """
    from soffit.child import run_within
    from soffit.errors import ChildError
    from soffit.plans.read import read_file
    from soffit.work.read_plan_drawing import draw_proposal

    try:
        proposal = run_within(
            DEFAULT_LIMITS["plan_read_s"],
            int(DEFAULT_LIMITS["plan_read_memory_gb"] * 1e9),
            read_file,
            path,
            tuple(others),
            wishes,
        )
    except ChildError as error:
        problem = error.problems[0]
        msg = f"reading {path.name} was given up: {problem.what}"
        raise ChildError(
            msg,
            where=str(path),
            why=problem.why,
            do="ask for one storey, or for another export of it; a damaged file can end its reader",
        ) from error
    kept, left = choose_rooms(proposal, rooms, accept=accept)
    return ReadReport(proposal=proposal, kept=kept, left=left, drawing=draw_proposal(proposal))


def choose_rooms(
    proposal: PlanProposal, wanted: Sequence[str], *, accept: bool
) -> tuple[tuple[RoomProposal, ...], tuple[tuple[RoomProposal, str], ...]]:
    """Return the rooms to keep and those not, with the reason.

    Parameters
    ----------
    proposal
        What was read.
    wanted
        Keys or labels; all sure ones if empty.
    accept
        Take doubtful rooms too.

    Raises
    ------
    JobError
        If a wanted room was not read.
    """
    if wanted:
        names = [name.strip() for name in wanted if name.strip()]
        chosen = {_named(proposal, name).key for name in names}
        return (
            tuple(room for room in proposal.rooms if room.key in chosen),
            tuple((room, "not asked for") for room in proposal.rooms if room.key not in chosen),
        )
    least = DEFAULT_LIMITS["plan_keep_ratio"]
    kept, left = [], []
    for room in proposal.rooms:
        if accept or room.confidence >= least:
            kept.append(room)
        else:
            reason = f"only {room.confidence:.0%} sure; name it with --rooms, or --accept all"
            left.append((room, reason))
    return tuple(kept), tuple(left)


def _named(proposal: PlanProposal, name: str) -> RoomProposal:
    low = name.casefold()
    exact = [room for room in proposal.rooms if low in {room.key.casefold(), room.label.casefold()}]
    part = [room for room in proposal.rooms if low in room.label.casefold()]
    for found in (exact, part):
        if len(found) == 1:
            return found[0]
        if found:
            raise JobError(
                what=f"{name!r} names {len(found)} rooms",
                where="--rooms",
                why=f"it fits {', '.join(room.key for room in found[:8])}",
                do="name one of these keys",
            )
    keys = ", ".join(room.key for room in proposal.rooms[:20]) or "none"
    raise JobError(
        what=f"there is no room {name!r} in the plan",
        where="--rooms",
        why=f"it has {keys}{' ...' if len(proposal.rooms) > 20 else ''}",
        do="name keys or labels of these, with commas between them",
    )


def read_into(
    path: Path,
    folder: Path,
    *,
    site: "SiteWishes",
    others: Sequence[Path] = (),
    rooms: Sequence[str] = (),
    accept: bool = False,
    wishes: ReadWishes | None = None,
    who: str = "",
) -> ReadReport:
    """Read a plan file into a job folder.

    A folder without a job gets one. A job that was read before gets a list of what the plan says
    differently now; it is changed only if ``accept`` is given, and never where people changed it.

    Parameters
    ----------
    path
        The file.
    folder
        Folder of the job.
    site
        What a plan does not tell of a job.
    others
        Further models of the same building.
    rooms
        Keys or labels of the rooms that are wanted.
    accept
        Take doubtful rooms; take over differences.
    wishes
        What a person says that the file does not.
    who
        For history.

    Returns
    -------
    ReadReport
        What was found and done.

    Raises
    ------
    JobError
        If the file cannot be read or the job cannot be written; nothing is changed then.
    ChildError
        If reading took more time or memory than allowed.
    """
    from soffit.work.read_plan_again import keep_again
    from soffit.work.read_plan_keep import check_free, keep_new

    is_job = (folder / "job.toml").exists()
    if not is_job:
        check_free(folder)
    report = read_plan(path, others=others, rooms=rooms, accept=accept, wishes=wishes)
    if is_job:
        return keep_again(report, path, folder, is_named=bool(rooms), accept=accept, who=who)
    return keep_new(report, path, folder, site=site, others=others, who=who)


def write_drawing(report: ReadReport, path: Path) -> None:
    """Write the drawing of what was found.

    Parameters
    ----------
    report
        What was read.
    path
        Where.

    Raises
    ------
    JobError
        If it cannot be written.
    """
    from soffit.job.files import replace_file

    replace_file(path, report.drawing)
