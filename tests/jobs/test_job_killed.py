"""A process that is killed in the middle of writing leaves a job that opens, whole."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from soffit.job.api import create_job, open_job, read_history
from soffit_job_texts import SMALL

# One process imports soffit and forks a writer again and again; each is killed while it writes.
KILLER = """
import dataclasses, os, random, signal, sys, time
from pathlib import Path
from soffit.job.api import (
    append_readings, edit_survey, open_job, read_history, redo, undo, write_design
)
from soffit.model.catalogue import Tap
from soffit.model.readings import Reading
from soffit.model.speakers import Speaker

def write_for_ever(folder, say):
    number = len(open_job(folder).readings)
    while True:
        number += 1
        job = open_job(folder)
        edit_survey(folder, [("rooms.hall.ceilings[0].height", 3 + number % 7 / 10),
                             ("site.note", "x" * (number % 50) * 40)], job.job_revision)
        speakers = tuple(
            Speaker(key=f"s{k}", label=f"L1-{k}", room_key="hall", ceiling_key="grid",
                    type_id="ceiling-4", position=(float(k), float(number)), mount_height_m=3.0,
                    tap=Tap(power_w=6.0, voltage_v=100.0))
            for k in range(1, 60)
        )
        new = dataclasses.replace(job.design, speakers=speakers)
        write_design(folder, new, job.design.revision)
        append_readings(folder, [Reading(key=f"r{number}", place_key="L1", place="L1",
                                         quantity="impedance", value=51.0,
                                         taken_at="2030-01-01")])
        os.write(say, f"r{number} ".encode())
        if number % 5 == 0:
            undo(folder)
            redo(folder)

folder, kills = Path(sys.argv[1]), int(sys.argv[2])
open_job(folder)
rng = random.Random(5)
saved, revision, design_revision = set(), 0, 0
for _ in range(kills):
    hear, say = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(hear)
        write_for_ever(folder, say)
    os.close(say)
    time.sleep(rng.uniform(0.005, 0.15))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(hear) as words:
        saved |= set(words.read().split())
    job = open_job(folder)
    assert saved <= {reading.key for reading in job.readings}, "a saved reading is lost"
    assert job.job_revision >= revision and job.design.revision >= design_revision
    revision, design_revision = job.job_revision, job.design.revision
    rows = {speaker.position[1] for speaker in job.design.speakers}
    assert len(rows) <= 1, "a design is one write, never a mixture"
    assert all(entry.state != "begun" for entry in read_history(folder))
    assert not list(folder.glob("*.tmp"))
print(len(saved), revision, sum(entry.state == "dropped" for entry in read_history(folder)))
"""

KILLS = 40


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kill -9 and fork belong to other systems")
def test_a_killed_writer_loses_nothing_that_it_said_was_saved(tmp_path: Path):
    folder = tmp_path / "job"
    create_job(folder, SMALL)
    done = subprocess.run(
        [sys.executable, "-c", KILLER, str(folder), str(KILLS)],
        check=False,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    saved, revision, _dropped = map(int, done.stdout.split())
    job = open_job(folder)
    assert saved > 0
    assert job.job_revision == revision > 1


@pytest.mark.parametrize("step", range(1, 14))
def test_a_crash_at_every_single_step_of_a_write(tmp_path: Path, step: int):
    """Stop the writer at its n-th call of the operating system, then open the job."""
    folder = tmp_path / "job"
    create_job(folder, SMALL)
    code = f"""
import os, sys
from pathlib import Path
from soffit.job.api import create_job, open_job
count = 0
def stop_at(function):
    def call(*args, **kwargs):
        global count
        count += 1
        if count == {step}:
            os._exit(9)
        return function(*args, **kwargs)
    return call
open_job(Path(sys.argv[1]))
os.fsync = stop_at(os.fsync)
os.replace = stop_at(os.replace)
os.rename = stop_at(os.rename)
Path.replace = stop_at(Path.replace)
text = (Path(sys.argv[1]) / "job.toml").read_text(encoding="utf-8")
create_job(Path(sys.argv[1]), text.replace("12, 9", "14, 9"), force=True)
os._exit(0)
"""
    first = open_job(folder)
    done = subprocess.run([sys.executable, "-c", code, str(folder)], check=False)
    assert done.returncode in (0, 9)
    job = open_job(folder)
    width = job.survey.room("hall").outline[1][0]
    assert (width, job.job_revision) in ((12.0, 1), (14.0, 2))
    if done.returncode == 0:
        assert (width, job.job_revision) == (14.0, 2)
    assert all(entry.state != "begun" for entry in read_history(folder))
    assert first.job_revision == 1
