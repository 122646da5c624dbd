"""A job with everything that follows from it: lines solved, rooms heard, ceilings measured."""

from collections.abc import Mapping
from dataclasses import dataclass

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


def solve_lines(job: Job) -> dict[str, LineState]:
    """Solve every line that has speakers.

    Parameters
    ----------
    job
        The job.

    Returns
    -------
    dict
        State by line key.
    """
    degc = job.survey.limits["conductor_degc"]
    return {
        line.key: evaluate_line(line, job.design.speakers, job.catalogue, conductor_degc=degc)
        for line in job.design.lines
        if line.speaker_keys
    }


def evaluate_job(job: Job) -> Whole:
    """Work out everything that follows from a job.

    Parameters
    ----------
    job
        The job.

    Returns
    -------
    Whole
        The job and its states.
    """
    degc = job.survey.limits["conductor_degc"]
    speakers = job.design.speakers
    lines = solve_lines(job)
    sweeps = {
        line.key: sweep_line(line, speakers, job.catalogue, conductor_degc=degc)
        for line in job.design.lines
        if line.speaker_keys and line.topology != "ring"
    }
    loss = {entry.key: entry.loss_db for state in lines.values() for entry in state.speakers}
    return Whole(
        job=job,
        lines=lines,
        sweeps=sweeps,
        sound=sound_state(job.survey, job.catalogue, speakers, loss_db=loss),
        ceiling=evaluate_ceiling(job.survey, speakers, job.catalogue),
    )
