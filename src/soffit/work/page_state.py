"""A job as the page holds it: read once, worked out once, thrown away when its files change."""

import threading
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from soffit.errors import JobError

if TYPE_CHECKING:
    from soffit.design.subs_job import RoomSubs
    from soffit.evaluate.sound import SoundState
    from soffit.model.decisions import Job
    from soffit.model.findings import Finding
    from soffit.papers.views import JobView
    from soffit.work.page_underlay import Underlays
    from soffit.work.whole import Whole

_WATCHED: Final = ("job.toml", "design.json", "readings.jsonl", "catalogue.toml")
_MOST_REMEMBERED: Final = 24

Stamp = tuple[tuple[int, int], ...]


class LowMemory:
    """Low-end plans of rooms, remembered while nothing that they depend on changes."""

    def __init__(self) -> None:
        self._known: dict[str, RoomSubs] = {}

    def __call__(self, job: "Job", sound: "SoundState") -> "dict[str, RoomSubs]":
        """Plan the low end of every room with subwoofers, as ``low_plans`` does.

        Parameters
        ----------
        job, sound
            The job and its rooms.
        """
        from soffit.work.whole import low_plans

        subs = {item.id for item in job.catalogue.speaker_types if item.kind == "subwoofer"}
        rooms = {item.room_key for item in job.design.speakers if item.type_id in subs}
        plans: dict[str, RoomSubs] = {}
        for key in sorted(rooms):
            name = self._name(job, key)
            if name not in self._known:
                speakers = tuple(item for item in job.design.speakers if item.room_key == key)
                alone = replace(job, design=replace(job.design, speakers=speakers))
                if len(self._known) >= _MOST_REMEMBERED:
                    self._known.clear()
                self._known[name] = low_plans(alone, sound)[key]
            plans[key] = self._known[name]
        return plans

    @staticmethod
    def _name(job: "Job", room_key: str) -> str:
        """Everything that the low end of a room depends on, as a text."""
        here = [
            (item.key, item.type_id, item.position, item.mount_height_m, item.tap)
            for item in job.design.speakers
            if item.room_key == room_key
        ]
        survey = job.survey
        limits = sorted(survey.limits.items())
        return repr((survey.room(room_key), survey.obstacles_in(room_key), here, limits))


@dataclass
class Snapshot:
    """A job at one moment, with what follows from it worked out when it is first asked for."""

    job: "Job"
    stamp: Stamp
    memory: LowMemory
    folder: Path

    def __post_init__(self) -> None:
        self._lock = threading.RLock()
        self.lives: dict[tuple[str, str], Any] = {}
        self.plans: dict[str, dict[str, Any]] = {}

    @cached_property
    def _whole(self) -> "Whole":
        from soffit.work.whole import evaluate_job

        return evaluate_job(self.job, plans=self.memory)

    @property
    def whole(self) -> "Whole":
        """The job and its states."""
        with self._lock:
            return self._whole

    @cached_property
    def _findings(self) -> "tuple[Finding, ...]":
        from soffit.work.run_checks import find_all

        return find_all(self._whole)

    @property
    def findings(self) -> "tuple[Finding, ...]":
        """All findings, worst first."""
        with self._lock:
            return self._findings

    @cached_property
    def _view(self) -> "JobView":
        from soffit.job.api import read_history
        from soffit.papers.views import LogRow
        from soffit.work.view_job import job_view

        log = [
            LogRow(date=entry.at[:10], text=entry.what, who=entry.who)
            for entry in read_history(self.folder)
            if entry.state == "done"
        ]
        return job_view(self._whole, self._findings, log=log)

    @property
    def view(self) -> "JobView":
        """The job as papers show it."""
        with self._lock:
            return self._view

    @property
    def is_worked_out(self) -> bool:
        """Whether the states are there already."""
        return "_whole" in self.__dict__


class PageJob:
    """One job folder as the page holds it.

    Parameters
    ----------
    folder
        Folder of the job.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.lock = threading.RLock()
        self._memory = LowMemory()
        self._now: Snapshot | None = None
        self._underlays: Underlays | None = None

    @property
    def underlays(self) -> "Underlays | None":
        """What rooms can be drawn on; nothing where no plan was read into the job."""
        if self._underlays is None and (self.folder / "plans").is_dir():
            from soffit.work.page_underlay import Underlays

            self._underlays = Underlays(self.folder)
        return self._underlays

    def _stamp(self) -> Stamp:
        found = []
        for name in _WATCHED:
            try:
                state = (self.folder / name).stat()
                found.append((state.st_mtime_ns, state.st_size))
            except FileNotFoundError:
                found.append((0, 0))
        return tuple(found)

    def now(self) -> Snapshot:
        """Return the job as its files stand.

        Raises
        ------
        JobError
            If it cannot be read.
        """
        from soffit.job.api import open_job

        with self.lock:
            stamp = self._stamp()
            if self._now is None or self._now.stamp != stamp:
                job = open_job(self.folder)
                before = self._now
                self._now = Snapshot(
                    job=job, stamp=self._stamp(), memory=self._memory, folder=self.folder
                )
                if before is not None:
                    _carry(before, self._now)
            return self._now

    def job(self) -> "Job":
        """Return the job as its files stand."""
        return self.now().job

    def need_design(self) -> Snapshot:
        """Return the job as its files stand; refuse one without a design.

        Raises
        ------
        JobError
            If it has no speakers yet.
        """
        now = self.now()
        if not now.job.design.speakers:
            raise JobError(
                what="the job has no design yet",
                where="design.json",
                why="no loudspeaker has been placed",
                do="run the design, or add a loudspeaker by hand",
            )
        return now


def _carry(before: Snapshot, after: Snapshot) -> None:
    """Keep what new readings alone do not change."""
    same = before.job.survey == after.job.survey and before.job.design == after.job.design
    if same and before.is_worked_out and before.job.catalogue == after.job.catalogue:
        after.__dict__["_whole"] = replace(before.whole, job=after.job)
