"""A process that is killed hard leaves no process of its own behind."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

PARENT = """
import multiprocessing, sys, time
from concurrent.futures import ProcessPoolExecutor
from soffit.child import end_with_parent, run_limited
import soffit_orphan

if __name__ == "__main__":
    if sys.argv[1] == "limited":
        run_limited(soffit_orphan.show_and_sleep)
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, mp_context=context, initializer=end_with_parent) as pool:
        list(pool.map(soffit_orphan.show_and_sleep_for, [50.0, 50.0]))
"""

CHILD = """
import os, time

def show_and_sleep_for(seconds):
    print(os.getpid(), flush=True)
    time.sleep(seconds)

def show_and_sleep():
    show_and_sleep_for(50.0)
"""


def is_running(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{pid}/stat")  # an ended one that nobody has fetched is still listed
    try:
        return stat.read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return not Path("/proc/self").exists()


@pytest.mark.parametrize(("way", "number"), [("limited", 1), ("pool", 2)])
def test_children_end_when_their_parent_is_killed(tmp_path, way: str, number: int) -> None:
    (tmp_path / "parent.py").write_text(PARENT, encoding="utf-8")
    (tmp_path / "soffit_orphan.py").write_text(CHILD, encoding="utf-8")
    with subprocess.Popen(
        [sys.executable, str(tmp_path / "parent.py"), way], stdout=subprocess.PIPE, text=True
    ) as parent:
        assert parent.stdout is not None
        children = [int(parent.stdout.readline()) for _ in range(number)]
        assert all(is_running(pid) for pid in children)
        parent.send_signal(signal.SIGKILL)
        parent.wait(10.0)
        end = time.monotonic() + 10.0
        while any(is_running(pid) for pid in children) and time.monotonic() < end:
            time.sleep(0.05)
        assert not [pid for pid in children if is_running(pid)]
