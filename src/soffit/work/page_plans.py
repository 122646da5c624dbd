"""Plan files that were sent to the page: read in a limited child, looked at, then kept or not.

Several files of one building lie together: drawings, a storey each, or a model and its services.
"""

import re
import secrets
import shutil
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from soffit.errors import JobError, Problem, SoffitError, TableError

if TYPE_CHECKING:
    from soffit.plans.proposal import ReadWishes
    from soffit.plans.to_job import SiteWishes
    from soffit.work.read_plan import ReadReport

_SUFFIXES: Final = (
    ".ifc", ".ifczip", ".dxf", ".pdf", ".png", ".jpg", ".jpeg", ".csv", ".xlsx", ".tif", ".tiff",
    ".webp",
)  # fmt: skip
_MOST_KEPT: Final = 24


_PICTURES: Final = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp")
_LOOK_PIXELS: Final = 1600
_NEXT_FLOOR_M: Final = 3.5
"""Guess from floor to floor, shown to be changed; common practice, no source. [m]"""


@dataclass(slots=True, kw_only=True)
class SentPlan:
    """One plan file with what was read from it.

    Parameters
    ----------
    key
        Secret name of it.
    path
        Where it lies until the page is stopped.
    first
        Key of the file that it was sent along with; its own key for the first one.
    told
        What the person said that the file does not say.
    report
        What was read; ``None`` for a picture whose scale nobody has told yet.
    picture
        A picture small enough to be looked at, and pixels of the file across and up.
    rides_on
        Key of the model with which this one is read: services of the same building.
    """

    key: str
    path: Path
    first: str
    told: dict[str, Any]
    report: "ReadReport | None" = None
    picture: tuple[bytes, int, int] | None = None
    rides_on: str = ""

    @property
    def is_model(self) -> bool:
        """Whether it is a building model, which shares coordinates with others."""
        return self.path.suffix.casefold() in {".ifc", ".ifczip"}


class PlanDesk:
    """Plan files on the desk of a running page."""

    def __init__(self) -> None:
        self._work: Path | None = None
        self._known: dict[str, SentPlan] = {}

    def close(self) -> None:
        """Throw away what was not kept."""
        if self._work is not None:
            shutil.rmtree(self._work, ignore_errors=True)

    def take(self, name: str, content: bytes, beside: str = "") -> SentPlan:
        """Read a plan file that was sent.

        Parameters
        ----------
        name
            Name of the file.
        content
            The file.
        beside
            Key of a file that it belongs to: another storey, or services of the same building.

        Raises
        ------
        JobError
            If it is no plan file or cannot be read.
        ChildError
            If reading took more time or memory than allowed.
        """
        clean = re.sub(r"[^A-Za-z0-9._ -]+", "-", Path(name).name)[-80:].lstrip(".-") or "plan"
        if not clean.casefold().endswith(_SUFFIXES):
            raise JobError(
                what=f"{clean} is not a plan file that soffit reads",
                where=clean,
                why=f"it reads {', '.join(_SUFFIXES)}",
                do="save the plan as one of these, or draw the rooms on the survey sheet",
            )
        mates = self.group(beside) if beside else []
        key = secrets.token_hex(8)
        if self._work is None:
            self._work = Path(tempfile.mkdtemp(prefix="soffit-plans-"))
        folder = self._work / key
        folder.mkdir()
        path = folder / _other_name(clean, [mate.path.name for mate in mates])
        path.write_bytes(content)
        plan = SentPlan(key=key, path=path, first=mates[0].first if mates else key, told={})
        with _by_sent_name():
            self._first_read(plan, mates)
        while len(self._known) >= _MOST_KEPT:
            self._known.pop(next(iter(self._known)))
        self._known[key] = plan
        return plan

    def _first_read(self, plan: SentPlan, mates: Sequence[SentPlan]) -> None:
        from soffit.work.read_plan import read_plan

        building = next((mate for mate in mates if mate.is_model and not mate.rides_on), None)
        if plan.is_model and building is not None:
            riders = [mate.path for mate in mates if mate.rides_on == building.key]
            report = read_plan(
                building.path, others=(*riders, plan.path), wishes=_wishes(building.told)
            )
            building.report, plan.rides_on = report, building.key
            return
        if plan.path.suffix.casefold() in _PICTURES:
            from soffit.child import run_limited
            from soffit.plans.photo import preview

            plan.picture = run_limited(preview, plan.path, _LOOK_PIXELS)
            return
        if mates and plan.path.suffix.casefold() in {".dxf", ".pdf"}:
            floors = sum(mate.report is not None and not mate.is_model for mate in mates)
            plan.told = {
                "storey": plan.path.stem.replace("_", " ").replace("-", " ").strip(),
                "elevation": f"{floors * _NEXT_FLOOR_M:g} m",
            }
        plan.report = read_plan(plan.path, wishes=_wishes(plan.told))

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

    def group(self, key: str) -> list[SentPlan]:
        """Return the plan files that were sent together, in the order in which they came.

        Parameters
        ----------
        key
            Of one of them.
        """
        first = self.find(key).first
        return [plan for plan in self._known.values() if plan.first == first]

    def again(self, key: str, told: dict[str, Any]) -> SentPlan:
        """Read a plan file once more, with what a person says that it does not say.

        Parameters
        ----------
        key
            Of the plan file.
        told
            Ceilings, scale, unit, page, storey, layer of walls and known places, as typed.
        """
        from soffit.work.read_plan import read_plan

        plan = self.find(key)
        with _by_sent_name():
            plan.report = read_plan(plan.path, others=self._riders(plan), wishes=_wishes(told))
        plan.told = told
        return plan

    def _riders(self, plan: SentPlan) -> tuple[Path, ...]:
        return tuple(mate.path for mate in self._known.values() if mate.rides_on == plan.key)

    def keep(
        self,
        key: str,
        folder: Path,
        *,
        site: "SiteWishes",
        rooms: Mapping[str, Sequence[str]],
        accept: bool,
        who: str,
    ) -> dict[str, Any]:
        """Make a job of the plan files that were sent together, or bring one up to date.

        Parameters
        ----------
        key
            Of one of the plan files.
        folder
            Folder of the job; a new one is made, whole or not at all.
        site
            What plans do not tell of a new job.
        rooms
            Keys of the rooms to take, by the key of their plan file.
        accept
            Take over differences.
        who
            For history.

        Raises
        ------
        JobError
            If a file cannot be read, or a picture has no known places yet.
        """
        plans = [plan for plan in self.group(key) if not plan.rides_on]
        open_ones = [plan.path.name for plan in plans if plan.report is None]
        if open_ones:
            raise JobError(
                what=f"the scale of {', '.join(open_ones)} is not known",
                where=open_ones[0],
                why="a picture has no lengths of its own",
                do="press two places on it and say how far apart they are",
            )
        plans.sort(key=lambda plan: not rooms.get(plan.key))  # those with rooms make the job
        if (folder / "job.toml").exists():
            return self._into(plans, folder, site, rooms, accept=accept, who=who)
        with tempfile.TemporaryDirectory(prefix=".soffit-new-", dir=folder.parent) as work:
            made = Path(work) / folder.name
            if not rooms.get(plans[0].key):
                _blank(made, site, who=who)
            told = self._into(plans, made, site, rooms, accept=accept, who=who)
            made.rename(folder)
        return told

    def _into(
        self,
        plans: Sequence[SentPlan],
        folder: Path,
        site: "SiteWishes",
        rooms: Mapping[str, Sequence[str]],
        *,
        accept: bool,
        who: str,
    ) -> dict[str, Any]:
        from soffit.work.read_plan import read_into

        differences: list[dict[str, Any]] = []
        is_changed = False
        for plan in plans:
            report = read_into(
                plan.path,
                folder,
                site=site,
                others=self._riders(plan),
                rooms=tuple(rooms.get(plan.key, ())),
                accept=accept,
                wishes=_wishes(plan.told),
                who=who,
            )
            is_changed |= report.is_changed
            differences += [item.as_dict() for item in report.differences]
        return {"changed": is_changed, "differences": differences}


_KEPT_AT: Final = re.compile(r"\S*soffit-plans-\w+/[0-9a-f]+/")
"""Where files that were sent lie for a while; nobody who sent one knows it by that."""


@contextmanager
def _by_sent_name() -> Iterator[None]:
    """Let errors name a file as it was sent, not as it lies on this machine."""
    try:
        yield
    except SoffitError as error:
        error.problems = tuple(
            Problem(**{part: _KEPT_AT.sub("", text) for part, text in problem.as_dict().items()})
            for problem in error.problems
        )
        raise


def site_of(name: str, *, is_imperial: bool) -> "SiteWishes":
    """Return what the page says of a new job.

    Parameters
    ----------
    name
        What papers call it.
    is_imperial
        Feet, AWG and 70.7 V; else metres, mm² and 100 V.
    """
    from soffit.plans.to_job import SiteWishes

    return SiteWishes(
        name=name,
        region="US" if is_imperial else "other",
        line_voltage_v=None,
        units="imperial" if is_imperial else "metric",
    )


def _blank(folder: Path, site: "SiteWishes", *, who: str) -> None:
    """Begin a job whose first room is drawn on a picture."""
    from soffit.job.api import create_job
    from soffit.work.page_shelf import blank_text

    create_job(folder, blank_text(site.name, is_imperial=site.units == "imperial"), who=who)


def _other_name(name: str, taken: Sequence[str]) -> str:
    stem, dot, ending = name.rpartition(".")
    number, trial = 2, name
    while trial in taken:
        trial, number = f"{stem}-{number}{dot}{ending}", number + 1
    return trial


def _wishes(told: dict[str, Any]) -> "ReadWishes":
    from soffit.plans.proposal import ReadWishes
    from soffit.units import parse

    def text(name: str) -> str:
        return str(told.get(name) or "").strip()

    page = text("page")
    layer = text("layer")
    corners = [tuple(float(v) for v in corner) for corner in told.get("corners") or ()]
    corners += [_known(part) for part in text("known").split()]
    return ReadWishes(
        height_m=parse(text("height"), "length") if text("height") else None,
        ceiling_kind=text("ceiling") or None,  # type: ignore[arg-type] # the body allows only these
        scale=float(text("scale")) if text("scale") else None,
        unit_m=parse(text("unit"), "length") if text("unit") else None,
        page=int(page) if page.isdigit() and int(page) > 0 else 1,
        storey=text("storey"),
        elevation_m=parse(text("elevation"), "length") if text("elevation") else None,
        layers=(("wall", layer),) if layer else (),
        corners=tuple(corners),  # type: ignore[arg-type] # the body allows four numbers each
    )


def _known(words: str) -> tuple[float, ...]:
    """Read a known corner as a person writes it."""
    try:
        here, there = words.split("=")
        x, y = here.split(",")
        to_x, to_y = there.split(",")
        return float(x), float(y), float(to_x), float(to_y)
    except ValueError:
        raise JobError(
            what=f"{words!r} is no known corner",
            where="known corners",
            why="a corner is X,Y=X,Y: a place in the file and its place on the plan in metres",
            do="write it like 1200,800=0,0; several with spaces between",
        ) from None


def plan_file_dict(plan: SentPlan) -> dict[str, Any]:
    """Return what was read from a plan file, as plain data.

    Parameters
    ----------
    plan
        The plan file.
    """
    about: dict[str, Any] = {
        "key": plan.key,
        "name": plan.path.name,
        "told": plan.told,
        "first": plan.first,
        "rides_on": plan.rides_on,
        "picture": list(plan.picture[1:]) if plan.picture else None,
        "is_read": plan.report is not None,
    }
    if plan.report is None:
        empty: dict[str, Any] = {"rooms": [], "obstacles": 0, "speakers": 0, "notes": []}
        return {**about, **empty, "set_aside": [], "units": "metric", "underlays": [], "shared": []}
    body = plan.report.as_dict()
    for name in ("obstacles", "speakers"):
        body[name] = len(body[name])
    for room in body["rooms"]:
        for name in ("outline", "holes"):
            room.pop(name)
        for ceiling in room["ceilings"]:
            ceiling.pop("region")
    return {**about, **body, "shared": _shared(body["rooms"])}


def _shared(rooms: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Take what several rooms assume out of them, to be said once."""
    counts = Counter(text for room in rooms for text in room["assumed"])
    often = {text for text, count in counts.items() if count > 2}
    for room in rooms:
        room["assumed"] = [text for text in room["assumed"] if text not in often]
    return [{"text": text, "count": counts[text]} for text in counts if text in often]
