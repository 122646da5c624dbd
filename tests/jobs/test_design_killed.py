"""``soffit design`` killed with -9 at any moment leaves a job that opens, with a whole design."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from soffit.cli.main import run
from soffit.job.api import create_job, open_job, read_history
from soffit_job_texts import ONE_ROOM

# One process imports soffit and forks `soffit design` again and again. Every other one is killed
# as soon as it has begun to write, the rest at any moment of its whole time.
KILLER = """
import itertools, json, os, random, signal, sys, time
from pathlib import Path
from soffit.cli.main import run
from soffit.job.api import edit_survey, open_job, read_history

folder, kills = Path(sys.argv[1]), int(sys.argv[2])
rng = random.Random(9)

def begin():
    pid = os.fork()
    if pid == 0:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os._exit(run(["design", str(folder)]))
    return pid

def is_writing():
    return any(folder.glob(".soffit-*.tmp"))

def change(number):
    # another ceiling height each time, so that there is something to write
    job = open_job(folder)
    edit_survey(folder, [("rooms.hall.ceilings[0].height", 2.6 + number / 100)], job.job_revision)

change(0)
start = time.monotonic()
_, status = os.waitpid(begin(), 0)
takes_s = time.monotonic() - start
assert os.waitstatus_to_exitcode(status) in (0, 1)
revision = open_job(folder).design.revision
caught = finished = 0
for number in range(1, kills + 1):
    change(number)
    until = time.monotonic() + (60.0 if number % 2 else rng.uniform(0.0, takes_s))
    pid = begin()
    ended = 0
    while not ended and time.monotonic() < until and not (number % 2 and is_writing()):
        ended, _ = os.waitpid(pid, os.WNOHANG)
        time.sleep(0.0002)
    if not ended:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        caught += is_writing()
    finished += bool(ended)
    job = open_job(folder)
    written = json.loads((folder / "design.json").read_text(encoding="utf-8"))
    assert written["revision"] == job.design.revision in (revision, revision + 1)
    assert len(job.design.speakers) > 0 and job.design.lines and job.design.rooms
    revision = job.design.revision
    assert all(entry.state != "begun" for entry in read_history(folder))
    assert not is_writing()
print(caught, finished)
"""

KILLS = 20


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kill -9 and fork belong to other systems")
def test_design_killed_twenty_times_leaves_a_job_that_opens(tmp_path: Path):
    folder = tmp_path / "job"
    create_job(folder, ONE_ROOM)
    done = subprocess.run(
        [sys.executable, "-c", KILLER, str(folder), str(KILLS)],
        check=False,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    caught, finished = map(int, done.stdout.split())
    assert caught > 0, "no kill fell into a write"
    assert finished < KILLS // 2
    before = open_job(folder).design.revision
    assert run(["design", str(folder), "--json"]) in (0, 1)
    assert open_job(folder).design.revision >= before
    assert all(entry.state != "begun" for entry in read_history(folder))
