"""Run a picklable function in a child process with limits on memory and time, and a hard kill."""

import multiprocessing
import os
import resource
import threading
import traceback
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any, ParamSpec, TypeVar

from soffit.errors import ChildError, SoffitError

P = ParamSpec("P")
R = TypeVar("R")


def end_with_parent() -> None:
    """End this process as soon as the one that started it is gone, however that ended.

    To be called in a process of ``multiprocessing``: one whose parent was killed hard is told
    nothing, and would work on, or wait for work, for ever.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True, name="end with parent").start()


def _serve(
    connection: Connection,
    memory_bytes: int | None,
    function: Callable[..., Any],
    args: tuple[Any, ...],
    kwargs: dict[str, Any],
) -> None:
    end_with_parent()
    try:
        if memory_bytes is not None:
            resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
        outcome: tuple[str, Any] = ("done", function(*args, **kwargs))
    except SoffitError as error:
        outcome = ("refused", (type(error), error.problems))
    except MemoryError:
        outcome = ("memory", None)
    except BaseException:  # noqa: BLE001 the parent must hear of every end of the child
        outcome = ("failed", traceback.format_exc(limit=8))
    connection.send(outcome)
    connection.close()


def _again(error_type: type[SoffitError], problems: tuple[Any, ...]) -> SoffitError:
    first, *rest = problems
    return error_type(
        what=first.what, where=first.where, why=first.why, do=first.do, more=tuple(rest)
    )


def run_limited(
    function: Callable[P, R],
    *args: P.args,
    **kwargs: P.kwargs,
) -> R:
    """Run ``function`` in a child with the default limits: 120 s and 4 GiB.

    Parameters
    ----------
    function
        Importable function.
    *args, **kwargs
        Its picklable arguments.

    Returns
    -------
    R
        What it returned.

    Raises
    ------
    ChildError
        If it ran out of time or memory, or died.
    SoffitError
        The same error that the function raised.
    """
    return run_within(120.0, 4 * 1024**3, function, *args, **kwargs)


def run_within(
    seconds: float,
    memory_bytes: int | None,
    function: Callable[P, R],
    *args: P.args,
    **kwargs: P.kwargs,
) -> R:
    """Run ``function`` in a child process that is killed when it takes too long.

    Parameters
    ----------
    seconds
        Wall-clock limit, after which the child is killed. [s]
    memory_bytes
        Limit on the address space of the child; none if ``None``. [byte]
    function
        Importable function.
    *args, **kwargs
        Its picklable arguments.

    Returns
    -------
    R
        What it returned.

    Raises
    ------
    ChildError
        If it ran out of time or memory, or died.
    SoffitError
        The same error that the function raised.
    """
    context = multiprocessing.get_context("spawn")
    receiver, sender = context.Pipe(duplex=False)
    process = context.Process(
        target=_serve, args=(sender, memory_bytes, function, args, kwargs), daemon=True
    )
    process.start()
    sender.close()
    try:
        if not receiver.poll(seconds):
            msg = f"the work was stopped after {seconds:g} s"
            raise ChildError(
                msg, why="it took longer than its limit", do="try a smaller input or a longer limit"
            )
        kind, result = receiver.recv()
    except EOFError:
        msg = "the work ended without an answer"
        raise ChildError(
            msg,
            why=f"its process died (exit code {process.exitcode})",
            do="try a smaller input; if it happens again, it is our bug: report it",
        ) from None
    finally:
        if process.is_alive():
            process.join(0.2)
        if process.is_alive():
            process.kill()
        process.join()
        receiver.close()
    answer: R = _result(kind, result)
    return answer


def _result(kind: str, result: Any) -> Any:  # noqa: ANN401 whatever the function returned
    if kind == "done":
        return result
    if kind == "refused":
        raise _again(*result)
    if kind == "memory":
        msg = "the work was stopped for want of memory"
        raise ChildError(msg, why="it needed more than its limit", do="try a smaller input")
    msg = "the work failed"
    raise ChildError(msg, why=result, do="this is our bug: report it with this text")
