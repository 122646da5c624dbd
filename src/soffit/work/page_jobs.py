"""Long work that the page starts: in a process of its own, told step by step, stopped at once."""

import contextlib
import json
import os
import secrets
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final, Literal

from soffit.errors import JobError, Problem, SoffitError, TableError

Kind = Literal["design", "papers"]
_MOST_KEPT: Final = 50


class Work:
    """One piece of long work.

    Parameters
    ----------
    kind
        What it is.
    folder
        Folder of the job.
    arguments
        As the child understands them.
    """

    def __init__(self, kind: Kind, folder: Path, arguments: dict[str, Any]) -> None:
        self.key = secrets.token_hex(8)
        self.kind, self.folder = kind, folder
        self.events: list[dict[str, Any]] = []
        self._news = threading.Condition()
        self._is_stopped = False
        question = json.dumps({"kind": kind, "folder": str(folder), **arguments})
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
        self._process = subprocess.Popen(
            [sys.executable, "-m", "soffit.work.page_child"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
            start_new_session=True,  # so that its solvers can be stopped with it
        )
        if self._process.stdin is not None:
            self._process.stdin.write(question.encode("utf-8"))
            self._process.stdin.close()
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        stdout = self._process.stdout
        if stdout is not None:
            for line in stdout:
                self._tell(json.loads(line))
            stdout.close()
        code = self._process.wait()
        if not self.is_over:
            words = "it was stopped" if self._is_stopped else f"its process died (code {code})"
            self._tell(
                {
                    "event": "stopped" if self._is_stopped else "failed",
                    "error": Problem(
                        what=f"the {self.kind} run has not ended",
                        where=self.folder.name,
                        why=words,
                        do="nothing was changed; start it again",
                    ).as_dict(),
                }
            )

    def _tell(self, event: dict[str, Any]) -> None:
        with self._news:
            self.events.append(event)
            self._news.notify_all()

    @property
    def is_over(self) -> bool:
        """Whether the last event has come."""
        return bool(self.events) and self.events[-1]["event"] != "progress"

    def stop(self) -> None:
        """End it now; writing is atomic, so nothing is left half-written."""
        self._is_stopped = True
        if self._process.poll() is None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self._process.pid, signal.SIGKILL)

    def follow(
        self, start: int = 0, *, patience_s: float = 15.0
    ) -> Iterator[dict[str, Any] | None]:
        """Yield events as they come; ``None`` where nothing came for a while.

        Parameters
        ----------
        start
            Events that are known already.
        patience_s
            How long to wait for the next one. [s]
        """
        index = start
        while True:
            with self._news:
                if index >= len(self.events):
                    self._news.wait(patience_s)
                fresh = self.events[index:]
            if not fresh:
                yield None
            for event in fresh:
                index += 1
                yield event
                if event["event"] != "progress":
                    return


class Works:
    """All long work of a server; one piece a job at a time."""

    def __init__(self) -> None:
        self._known: dict[str, Work] = {}
        self._lock = threading.Lock()

    def start(self, kind: Kind, folder: Path, arguments: dict[str, Any]) -> Work:
        """Start a piece of work.

        Parameters
        ----------
        kind
            What.
        folder
            Folder of the job.
        arguments
            As the child understands them.

        Raises
        ------
        JobError
            If one runs on this job already.
        """
        with self._lock:
            for work in self._known.values():
                if work.folder == folder and work.kind == kind and not work.is_over:
                    raise JobError(
                        what=f"a {kind} run is under way on this job",
                        where=folder.name,
                        why="two at once would overwrite each other",
                        do="wait for it, or stop it",
                    )
            while len(self._known) >= _MOST_KEPT:
                self._known.pop(next(iter(self._known)))
            work = Work(kind, folder, arguments)
            self._known[work.key] = work
            return work

    def find(self, key: str) -> Work:
        """Return a piece of work by key.

        Parameters
        ----------
        key
            As it was told when it started.
        """
        found = self._known.get(key)
        if found is None:
            msg = "there is no such run"
            raise TableError(
                msg,
                where="works",
                why="it ended long ago, or the page was restarted",
                do="start it",
            )
        return found

    def stop_all(self) -> None:
        """Stop everything, as when the server ends."""
        for work in self._known.values():
            work.stop()


def problems_dict(problems: Sequence[Problem]) -> dict[str, Any]:
    """Return problems in the one shape that errors have.

    Parameters
    ----------
    problems
        At least one.
    """
    first, *rest = problems
    return {"error": first.as_dict(), "more": [item.as_dict() for item in rest], "findings": []}


def run(question: dict[str, Any], tell: Any) -> None:  # noqa: ANN401 a function of one event
    """Do a piece of work in the child.

    Parameters
    ----------
    question
        Kind, folder and arguments.
    tell
        Told every event.
    """
    folder = Path(question["folder"])

    def progress(done: float, text: str) -> None:
        tell({"event": "progress", "done": round(done, 4), "text": text})

    try:
        if question["kind"] == "design":
            from soffit.work.layout_question import Search
            from soffit.work.make_design import make_design

            report = make_design(
                folder,
                rooms=tuple(question["rooms"]),
                seed=question["seed"],
                who=question["who"],
                search=Search(
                    has_free=question["has_free"],
                    has_all_offsets=question["has_all_offsets"],
                    proof_s=question["proof_s"],
                ),
                progress=progress,
            )
            tell({"event": "done", "result": report.as_dict()})
        else:
            from soffit.work.make_papers import make_papers

            printed = make_papers(
                folder,
                packs=tuple(question["packs"]),
                extras=tuple(question["extras"]),
                progress=progress,
            )
            names = [path.relative_to(printed.folder).as_posix() for path in printed.files]
            tell({"event": "done", "result": {"files": names}})
    except SoffitError as error:
        tell({"event": "failed", **problems_dict(error.problems)})
