"""A child answers, is refused, is killed: the parent always gets an answer or a clear error."""

import os
import time

import pytest

from soffit.child import run_limited, run_within
from soffit.errors import ChildError, DomainError


def double(value: int) -> int:
    return 2 * value


def sleep(seconds: float) -> None:
    time.sleep(seconds)


def refuse() -> None:
    msg = "no"
    raise DomainError(msg, where="here", why="because", do="stop")


def stumble() -> None:
    raise RuntimeError("a bug")  # noqa: EM101 the text is the test


def die() -> None:
    os._exit(7)


def swallow() -> int:
    return len(bytearray(3 * 1024**3))


def test_a_child_returns_what_the_function_returned() -> None:
    assert run_limited(double, 21) == 42


def test_a_slow_child_is_killed() -> None:
    start = time.monotonic()
    with pytest.raises(ChildError, match="stopped after"):
        run_within(0.5, None, sleep, 60.0)
    assert abs(time.monotonic() - start) < 20.0


def test_a_refusal_comes_back_whole() -> None:
    with pytest.raises(DomainError) as caught:
        run_within(30.0, None, refuse)
    assert caught.value.problems[0].do == "stop"


def test_a_stumbling_child_is_told_apart() -> None:
    with pytest.raises(ChildError, match="failed") as caught:
        run_within(30.0, None, stumble)
    assert "a bug" in caught.value.problems[0].why


def test_a_dead_child_is_told_apart() -> None:
    with pytest.raises(ChildError, match="without an answer"):
        run_within(30.0, None, die)


def test_a_greedy_child_is_stopped() -> None:
    with pytest.raises(ChildError, match="memory"):
        run_within(60.0, 2 * 1024**3, swallow)
