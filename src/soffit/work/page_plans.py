"""Plan files that were sent to the page: read in a limited child, looked at, then kept or not."""

import re
import secrets
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from soffit.errors import JobError, TableError

if TYPE_CHECKING:
    from soffit.plans.proposal import ReadWishes
    from soffit.work.read_plan import ReadReport

_SUFFIXES: Final = (
    ".ifc", ".ifczip", ".dxf", ".pdf", ".png", ".jpg", ".jpeg", ".csv", ".xlsx", ".tif", ".tiff",
    ".webp",
)  # fmt: skip
_MOST_KEPT: Final = 12


@dataclass(slots=True, kw_only=True)
class SentPlan:
    """One plan file with what was read from it.

    Parameters
    ----------
    key
        Secret name of it.
    path
        Where it lies until the page is stopped.
    told
        What the person said that the file does not say.
    """

    key: str
    path: Path
    told: dict[str, Any]
    report: "ReadReport"


class PlanDesk:
    """Plan files on the desk of a running page."""

    def __init__(self) -> None:
        self._work: Path | None = None
        self._known: dict[str, SentPlan] = {}

    def close(self) -> None:
        """Throw away what was not kept."""
        if self._work is not None:
            shutil.rmtree(self._work, ignore_errors=True)

    def take(self, name: str, content: bytes) -> SentPlan:
        """Read a plan file that was sent.

        Parameters
        ----------
        name
            Name of the file.
        content
            The file.

        Raises
        ------
        JobError
            If it is no plan file or cannot be read.
        ChildError
            If reading took more time or memory than allowed.
        """
        from soffit.work.read_plan import read_plan

        clean = re.sub(r"[^A-Za-z0-9._ -]+", "-", Path(name).name)[-80:].lstrip(".-") or "plan"
        if not clean.casefold().endswith(_SUFFIXES):
            raise JobError(
                what=f"{clean} is not a plan file that soffit reads",
                where=clean,
                why=f"it reads {', '.join(_SUFFIXES)}",
                do="save the plan as one of these, or draw the rooms on the survey sheet",
            )
        key = secrets.token_hex(8)
        if self._work is None:
            self._work = Path(tempfile.mkdtemp(prefix="soffit-plans-"))
        folder = self._work / key
        folder.mkdir()
        path = folder / clean
        path.write_bytes(content)
        report = read_plan(path)
        plan = SentPlan(key=key, path=path, told={}, report=report)
        while len(self._known) >= _MOST_KEPT:
            self._known.pop(next(iter(self._known)))
        self._known[key] = plan
        return plan

    def find(self, key: str) -> SentPlan:
        """Return a plan file by its key.

        Parameters
        ----------
        key
            As it was told when the file was sent.
        """
        found = self._known.get(key)
        if found is None:
            msg = "this plan file is not here any more"
            raise TableError(
                msg,
                where="plan files",
                why="it was sent before the page was started, or many others since",
                do="send it again",
            )
        return found

    def again(self, key: str, told: dict[str, Any]) -> SentPlan:
        """Read a plan file once more, with what a person says that it does not say.

        Parameters
        ----------
        key
            Of the plan file.
        told
            ``height``, ``ceiling``, ``scale``, ``unit`` and ``page`` as typed.
        """
        from soffit.work.read_plan import read_plan

        plan = self.find(key)
        plan.report = read_plan(plan.path, wishes=_wishes(told))
        plan.told = told
        return plan

    def keep(
        self,
        key: str,
        folder: Path,
        *,
        name: str,
        is_imperial: bool,
        rooms: Sequence[str],
        accept: bool,
        who: str,
    ) -> dict[str, Any]:
        """Make a job of a plan file, or bring one up to date.

        Parameters
        ----------
        key
            Of the plan file.
        folder
            Folder of the job; a new one is made.
        name
            What papers call a new job.
        is_imperial
            Habit of a new job.
        rooms
            Keys of the rooms to take; all sure ones if empty.
        accept
            Take over differences.
        who
            For history.
        """
        from soffit.plans.to_job import SiteWishes
        from soffit.work.read_plan import read_into

        plan = self.find(key)
        report = read_into(
            plan.path,
            folder,
            site=SiteWishes(
                name=name,
                region="US" if is_imperial else "other",
                line_voltage_v=None,
                units="imperial" if is_imperial else "metric",
            ),
            rooms=tuple(rooms),
            accept=accept,
            wishes=_wishes(plan.told),
            who=who,
        )
        return report.as_dict()


def _wishes(told: dict[str, Any]) -> "ReadWishes":
    from soffit.plans.proposal import ReadWishes
    from soffit.units import parse

    def text(name: str) -> str:
        return str(told.get(name) or "").strip()

    page = text("page")
    return ReadWishes(
        height_m=parse(text("height"), "length") if text("height") else None,
        ceiling_kind=text("ceiling") or None,  # type: ignore[arg-type] # the body allows only these
        scale=float(text("scale")) if text("scale") else None,
        unit_m=parse(text("unit"), "length") if text("unit") else None,
        page=int(page) if page.isdigit() and int(page) > 0 else 1,
    )


def plan_file_dict(plan: SentPlan) -> dict[str, Any]:
    """Return what was read from a plan file, as plain data.

    Parameters
    ----------
    plan
        The plan file.
    """
    body = plan.report.as_dict()
    for name in ("obstacles", "speakers"):
        body[name] = len(body[name])
    for room in body["rooms"]:
        for name in ("outline", "holes"):
            room.pop(name)
        for ceiling in room["ceilings"]:
            ceiling.pop("region")
    return {"key": plan.key, "name": plan.path.name, "told": plan.told, **body}
