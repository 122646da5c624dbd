"""The shelf: the job folders that a page shows, by name; nothing outside its folder is touched."""

import re
import shutil
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from soffit.errors import JobError, SoffitError, TableError
from soffit.work.page_state import PageJob

JOB_FILE: Final = "job.toml"
PUT_AWAY: Final = "put-away"
_MOST_NAME: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfEntry:
    """One job as the shelf lists it.

    Parameters
    ----------
    name
        Name of its folder.
    title
        What papers call it; empty where it cannot be read.
    problem
        Why it cannot be read; empty where it can.
    is_put_away
        Archived: it is kept, but not worked on.
    """

    name: str
    title: str
    rooms: int = 0
    speakers: int = 0
    lines: int = 0
    readings: int = 0
    revision: int = 0
    is_invented: bool = False
    is_put_away: bool = False
    problem: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {name: getattr(self, name) for name in self.__slots__}


def folder_name(text: str) -> str:
    """Return a folder's name for what a person calls a job.

    Parameters
    ----------
    text
        Any name.

    Raises
    ------
    JobError
        If no letter or digit is in it.
    """
    name = re.sub(r"[^a-z0-9]+", "-", text.casefold()).strip("-")[:_MOST_NAME].strip("-")
    if not name or name == PUT_AWAY:
        raise JobError(
            what=f"{text!r} cannot name a job",
            where="name",
            why="a job's folder is named by letters, digits and dashes",
            do="give it a name such as chapel or school-2",
        )
    return name


def blank_text(title: str, *, is_imperial: bool) -> str:
    """Return the survey of a job that begins with one room.

    Parameters
    ----------
    title
        What papers call it.
    is_imperial
        Feet, AWG and 70.7 V; else metres, mm² and 100 V.
    """
    from soffit.job.api import edited_text, template_text
    from soffit.job.edit import as_edits

    edits: list[tuple[str, Any]] = [("site.name", title.strip()[:200] or "New job")]
    if is_imperial:
        edits += [
            ("site.region", "US"),
            ("site.units", "imperial"),
            ("site.paper", "letter"),
            ("site.line_voltage", 70.7),
        ]
    return edited_text(template_text("one_room"), as_edits(edits))


class Shelf:
    """Jobs of one folder, or one job alone.

    Parameters
    ----------
    folder
        A folder with job folders in it, or a job folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self.is_single = (self.folder / JOB_FILE).is_file()
        self.root = self.folder.parent if self.is_single else self.folder
        self._open: dict[str, PageJob] = {}
        self._lock = threading.Lock()

    def _names(self) -> Iterator[tuple[str, Path]]:
        if self.is_single:
            yield self.folder.name, self.folder
            return
        for folder in (self.folder, self.folder / PUT_AWAY):
            if not folder.is_dir():
                continue
            for path in sorted(folder.iterdir()):
                if (path / JOB_FILE).is_file() and not path.name.startswith("."):
                    yield path.name, path

    def path(self, name: str) -> Path:
        """Return the folder of a job.

        Parameters
        ----------
        name
            As listed.

        Raises
        ------
        TableError
            If no such job is listed.
        """
        for known, path in self._names():
            if known == name:
                return path
        msg = f"there is no job {name!r} here"
        raise TableError(
            msg, where="jobs", why="no folder of that name holds a job.toml", do="see the list"
        )

    def job(self, name: str) -> PageJob:
        """Return a job that remembers what it has worked out.

        Parameters
        ----------
        name
            As listed.
        """
        path = self.path(name)
        with self._lock:
            found = self._open.get(name)
            if found is None or found.folder != path:
                found = self._open[name] = PageJob(path)
        return found

    def entries(self) -> tuple[ShelfEntry, ...]:
        """Return all jobs, those put away last."""
        return tuple(self._entry(name, path) for name, path in self._names())

    def _entry(self, name: str, path: Path) -> ShelfEntry:
        away = path.parent.name == PUT_AWAY and not self.is_single
        try:
            job = self.job(name).job()
        except SoffitError as error:
            return ShelfEntry(name=name, title="", problem=error.problems[0].what, is_put_away=away)
        return ShelfEntry(
            name=name,
            title=job.survey.site.name,
            rooms=len(job.survey.rooms),
            speakers=len(job.design.speakers),
            lines=len(job.design.lines),
            readings=sum(not reading.strikes for reading in job.readings),
            revision=job.design.revision,
            is_invented=job.survey.site.is_invented,
            is_put_away=away,
        )

    def free(self, wanted: str) -> Path:
        """Return a folder that does not exist, named as wanted or with a number.

        Parameters
        ----------
        wanted
            What a person calls the job.

        Raises
        ------
        JobError
            If the page shows one job only, or the name cannot name a folder.
        """
        if self.is_single:
            raise JobError(
                what="this page shows one job only",
                where=str(self.folder.name),
                why="it was opened on a job's own folder",
                do="open the page on the folder above to keep several jobs",
            )
        name = folder_name(wanted)
        taken = {known for known, _ in self._names()}
        for number in range(1, 1000):
            trial = name if number == 1 else f"{name}-{number}"
            if trial not in taken and not (self.folder / trial).exists():
                return self.folder / trial
        raise JobError(
            what=f"there are too many jobs named {name}",
            where="name",
            why="a thousand are taken",
            do="choose another name",
        )

    def new(self, title: str, *, is_imperial: bool, who: str = "") -> str:
        """Begin a job with one room, to be changed into the real one.

        Parameters
        ----------
        title
            What papers call it.
        is_imperial
            Feet, AWG and 70.7 V; else metres, mm² and 100 V.
        who
            For history.

        Returns
        -------
        str
            Its name on the shelf.
        """
        from soffit.job.api import create_job

        path = self.free(title)
        create_job(path, blank_text(title, is_imperial=is_imperial), who=who)
        return path.name

    def demo(self, name: str, *, who: str = "") -> str:
        """Copy an invented demo job.

        Parameters
        ----------
        name
            Which.
        who
            For history.
        """
        from soffit.work.demo import make_demo

        path = self.free(name)
        make_demo(name, path, who=who)
        return path.name

    def duplicate(self, name: str) -> str:
        """Copy a job with all it holds but its papers.

        Parameters
        ----------
        name
            Which.
        """
        from soffit.job.api import unzip_job, zip_job

        source = self.path(name)
        target = self.free(f"{name}-copy")
        with tempfile.TemporaryDirectory() as work:
            packed = zip_job(source, Path(work) / "job.zip", with_papers=False)
            unzip_job(packed, target)
        return target.name

    def put_away(self, name: str) -> None:
        """Move a job to those put away, or back among the others.

        Parameters
        ----------
        name
            Which.
        """
        source = self.path(name)
        if self.is_single:
            self.free(name)
        away = self.folder / PUT_AWAY
        away.mkdir(exist_ok=True)
        target = self.folder if source.parent == away else away
        if (target / name).exists():
            raise JobError(
                what=f"{name} cannot be moved",
                where=name,
                why="a folder of that name is there already",
                do="rename one of the two folders",
            )
        shutil.move(source, target / name)
        with self._lock:
            self._open.pop(name, None)

    def packed(self, name: str) -> bytes:
        """Return a job as one ZIP file.

        Parameters
        ----------
        name
            Which.
        """
        from soffit.job.api import zip_job

        with tempfile.TemporaryDirectory() as work:
            return zip_job(self.path(name), Path(work) / "job.zip").read_bytes()

    def unpack(self, wanted: str, content: bytes) -> str:
        """Take in a job that was packed.

        Parameters
        ----------
        wanted
            Name of the file.
        content
            The ZIP file.

        Returns
        -------
        str
            Its name on the shelf.
        """
        from soffit.child import run_limited
        from soffit.job.api import unzip_job

        target = self.free(re.sub(r"\.zip$", "", wanted, flags=re.IGNORECASE) or "job")
        with tempfile.TemporaryDirectory(prefix=".soffit-up-", dir=self.folder) as work:
            source = Path(work) / "job.zip"
            source.write_bytes(content)
            run_limited(_try_unzip, source, Path(work) / "tried")
            unzip_job(source, target)
        return target.name


def _try_unzip(source: Path, folder: Path) -> bool:
    """Unpack and read a stranger's archive where it can do no harm: in a limited child."""
    from soffit.job.api import unzip_job

    unzip_job(source, folder)
    return True
