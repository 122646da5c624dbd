"""Search all rooms: in turn, or in processes of their own, within a time, until stopped."""

import multiprocessing
import os
import time
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace

from soffit.child import end_with_parent
from soffit.design.place import RoomLayouts
from soffit.errors import ChildError, Problem, SoffitError, StoppedError
from soffit.work.layout_question import LayoutQuestion

Progress = Callable[[float, str], None]

_LOOK_S = 0.1
_WORTH_M2 = 2500.0
"""Floor to search, all types together, from which a process of its own pays for its start."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How hard to work, and when to give up.

    Parameters
    ----------
    workers
        Processes; 1 searches in this one, 0 chooses by the size of the rooms.
    seconds
        Time for all searches; ``None`` for as long as they take. [s]
    is_stopped
        Asked now and then whether a person wants to stop.
    """

    workers: int = 1
    seconds: float | None = None
    is_stopped: Callable[[], bool] = lambda: False


@dataclass(frozen=True, slots=True, kw_only=True)
class Searched:
    """One search as it ended.

    Parameters
    ----------
    layouts
        Its answer; ``None`` if it has none or did not end in time.
    problems
        Why nothing can be placed; empty otherwise.
    """

    layouts: RoomLayouts | None = None
    problems: tuple[Problem, ...] = ()

    @property
    def is_late(self) -> bool:
        """Whether time ran out before it ended."""
        return self.layouts is None and not self.problems


def _answer(question: LayoutQuestion) -> Searched:
    """Search in a child; errors travel as problems, since exceptions with words do not."""
    try:
        return Searched(layouts=question.answer())
    except SoffitError as error:
        return Searched(problems=error.problems)


def search_all(
    questions: Sequence[LayoutQuestion], effort: Effort, progress: Progress
) -> tuple[Searched, ...]:
    """Search all questions.

    Parameters
    ----------
    questions
        One a room and type.
    effort
        Processes, time, and the person's wish.
    progress
        Told the share done and what is being done.

    Returns
    -------
    tuple of Searched
        In the order of the questions.

    Raises
    ------
    StoppedError
        If a person stopped it.
    ChildError
        If a process died.
    """
    deadline = None if effort.seconds is None else time.monotonic() + effort.seconds
    workers = effort.workers or _usual_workers(questions)
    if workers > 1 and len(questions) > 1:
        effort = replace(effort, workers=workers)
        return _in_processes(questions, effort, deadline, progress)
    return _in_turn(questions, effort, deadline, progress)


def _usual_workers(questions: Sequence[LayoutQuestion]) -> int:
    floor_m2 = 0.0
    for question in questions:
        x, y = zip(*question.room.outline, strict=True)
        floor_m2 += (max(x) - min(x)) * (max(y) - min(y))
    return (os.cpu_count() or 1) if floor_m2 > _WORTH_M2 else 1


def stopped() -> StoppedError:
    """Return what is raised where a person stopped the work."""
    msg = "the design was stopped"
    return StoppedError(
        msg,
        where="design",
        why="somebody asked for it",
        do="run it again when you like; the design before is untouched",
    )


class _LateError(Exception):
    """Time ran out inside a search."""


def _in_turn(
    questions: Sequence[LayoutQuestion],
    effort: Effort,
    deadline: float | None,
    progress: Progress,
) -> tuple[Searched, ...]:
    found: list[Searched] = []
    for number, question in enumerate(questions):

        def tell(done: float, text: str, at: int = number) -> None:
            if effort.is_stopped():
                raise stopped()
            if deadline is not None and time.monotonic() > deadline:
                raise _LateError
            progress((at + done) / len(questions), text)

        try:
            tell(0.0, question.room.label)
            found.append(Searched(layouts=question.answer(tell)))
        except _LateError:
            found.append(Searched())
        except StoppedError:
            raise
        except SoffitError as error:
            found.append(Searched(problems=error.problems))
    return tuple(found)


def _in_processes(
    questions: Sequence[LayoutQuestion],
    effort: Effort,
    deadline: float | None,
    progress: Progress,
) -> tuple[Searched, ...]:
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(
        min(effort.workers, len(questions)), mp_context=context, initializer=end_with_parent
    )
    futures: list[Future[Searched]] = [pool.submit(_answer, question) for question in questions]
    waiting = set(futures)
    try:
        while waiting:
            if effort.is_stopped():
                raise stopped()
            if deadline is not None and time.monotonic() > deadline:
                break
            done, waiting = wait(waiting, timeout=_LOOK_S, return_when=FIRST_COMPLETED)
            for future in done:
                label = questions[futures.index(future)].room.label
                progress(1.0 - len(waiting) / len(futures), label)
        return tuple(future.result() if future.done() else Searched() for future in futures)
    except BrokenProcessPool as error:
        msg = "a search ended without an answer"
        raise ChildError(
            msg, why=str(error), do="run it again with --workers 1; if it happens again, report it"
        ) from error
    finally:
        _kill(pool)


def _kill(pool: ProcessPoolExecutor) -> None:
    """End the pool at once: a search that nobody waits for must not keep a core busy."""
    processes = list((pool._processes or {}).values())  # noqa: SLF001 no public way before 3.14
    pool.shutdown(wait=False, cancel_futures=True)
    for process in processes:
        process.kill()
