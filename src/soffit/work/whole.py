"""A job with everything that follows from it: lines solved, rooms heard, ceilings measured."""

from collections.abc import Mapping
from dataclasses import dataclass

from soffit.errors import SoffitError
from soffit.evaluate.ceiling import CeilingState, evaluate_ceiling
from soffit.evaluate.line import LineState, evaluate_line
from soffit.evaluate.line_sweep import LineSweep, sweep_line
from soffit.evaluate.sound import SoundState, sound_state
from soffit.model.decisions import Job


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Whole:
    """A job and its states.

    Parameters
    ----------
    job
        As read.
    lines, sweeps
        Solved lines by key, and their curves where the line is a tree.
    failed
        Keys of lines and rooms that could not be worked out, with the reason.
    sound
        Every room with speakers.
    ceiling
        Every speaker against its ceiling.
    """

    job: Job
    lines: Mapping[str, LineState]
    sweeps: Mapping[str, LineSweep]
    sound: SoundState
    ceiling: CeilingState
    failed: tuple[tuple[str, str], ...] = ()


def evaluate_job(job: Job) -> Whole:
    """Work out everything that follows from a job.

    Parameters
    ----------
    job
        The job.

    Returns
    -------
    Whole
        The job and its states; what could not be worked out is named with its reason.
    """
    degc = job.survey.limits["conductor_degc"]
    speakers = job.design.speakers
    lines: dict[str, LineState] = {}
    sweeps: dict[str, LineSweep] = {}
    failed: list[tuple[str, str]] = []
    for line in job.design.lines:
        try:
            lines[line.key] = evaluate_line(line, speakers, job.catalogue, conductor_degc=degc)
            if line.topology != "ring":
                sweeps[line.key] = sweep_line(line, speakers, job.catalogue, conductor_degc=degc)
        except SoffitError as error:
            problem = error.problems[0]
            failed.append((line.key, f"{problem.what}: {problem.why}"))
    loss = {entry.key: entry.loss_db for state in lines.values() for entry in state.speakers}
    sound = sound_state(job.survey, job.catalogue, speakers, loss_db=loss)
    failed += [(key, f"{problem.what}: {problem.why}") for key, problem in sound.refused]
    return Whole(
        job=job,
        lines=lines,
        sweeps=sweeps,
        sound=sound,
        ceiling=evaluate_ceiling(job.survey, speakers, job.catalogue),
        failed=tuple(failed),
    )
