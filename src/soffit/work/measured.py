"""Lines of a job as a meter meets them, shared by prove, trace and the papers."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from soffit.errors import DomainError
from soffit.measure.line_of_job import opened_ring, plan_of_line
from soffit.measure.line_plan import LinePlan
from soffit.model.decisions import Job
from soffit.model.lines import Line, Run

RING_OPENED: Final = "ring opened"
RING_CLOSED: Final = "ring closed"
"""What somebody saw of a ring; the last word counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """A line that is a ring as it hangs, and where to open it.

    Parameters
    ----------
    line_key, label
        Key and label of the line.
    places
        Keys of the line, its loudspeakers and joints.
    what, why, do
        That it is not read as it is, the reason, and what to do, in words.
    """

    line_key: str
    label: str
    places: frozenset[str]
    what: str
    why: str
    do: str

    @property
    def text(self) -> str:
        """All of it in one sentence."""
        return f"{self.what}: {self.why}; {self.do}"


def _names(job: Job, line: Line) -> dict[str, str]:
    names = {speaker.key: speaker.label for speaker in job.design.speakers}
    names |= {joint.key: joint.label for joint in line.joints}
    names |= {rack.key: f"the rack {rack.label}" for rack in job.survey.racks}
    return {line.rack_key: "the rack", **names}


def ring_ends(job: Job, line: Line, runs: Sequence[Run]) -> str:
    """Say which runs are taken off to open a ring.

    Parameters
    ----------
    job
        The job.
    line
        The line.
    runs
        Runs that close it.
    """
    names = _names(job, line)
    return " and ".join(
        f"{run.label or run.key} between {names.get(run.start_key, run.start_key)} and"
        f" {names.get(run.end_key, run.end_key)}"
        for run in runs
    )


def _is_opened(job: Job, line_key: str) -> bool:
    from soffit.job.api import standing

    words = [
        reading.word
        for reading in standing(job.readings)
        if reading.place_key == line_key and reading.word in {RING_OPENED, RING_CLOSED}
    ]
    return bool(words) and words[-1] == RING_OPENED


def closed_rings(job: Job) -> tuple[Ring, ...]:
    """Return the lines that are rings and that nobody has opened.

    Parameters
    ----------
    job
        The job with its readings.
    """
    found = []
    for line in job.design.lines:
        tree, closing = opened_ring(line)
        if not closing or _is_opened(job, line.key):
            continue
        where = ring_ends(job, line, closing)
        places = {run.end_key for run in tree.runs} | {line.key}
        found.append(
            Ring(
                line_key=line.key,
                label=line.label,
                places=frozenset(places - {line.rack_key}),
                what=f"{line.label} is a ring and is not read or traced as it is",
                why="it is fed from both ends, so that no joint has one side only",
                do=f"with the amplifier off open the ring: take off {where}, at both ends; then say"
                f" soffit prove --add '{line.label} seen {RING_OPENED}', read it as a chain, and"
                f" when the run is back on say '{line.label} seen {RING_CLOSED}'",
            )
        )
    return tuple(found)


def line_plans(job: Job) -> tuple[LinePlan, ...]:
    """Return all lines of a job that can be read, in their order; rings once they are opened.

    Parameters
    ----------
    job
        The job.
    """
    closed = {ring.line_key for ring in closed_rings(job)}
    lost = {ring.line_key for ring in broken_lines(job)}
    return tuple(line_plan(job, line) for line in job.design.lines if line.key not in closed | lost)


def broken_lines(job: Job) -> tuple[Ring, ...]:
    """Return the lines that nothing can be expected of, because their wiring makes no sense.

    Parameters
    ----------
    job
        The job.

    Returns
    -------
    tuple
        In the words that are used for rings; papers refuse the same lines.
    """
    found = []
    for line in job.design.lines:
        try:
            line_plan(job, line)
        except DomainError as error:
            ends = {key for run in line.runs for key in (run.start_key, run.end_key)}
            places = {*ends, *line.speaker_keys, line.key} - {line.rack_key}
            problem = error.problems[0]
            found.append(
                Ring(
                    line_key=line.key,
                    label=line.label,
                    places=frozenset(places),
                    what=f"{line.label} cannot be read or traced: its wiring makes no sense",
                    why=f"{problem.what}: {problem.why}",
                    do="soffit check names it; mend the line in design.json, or run soffit design"
                    " again",
                )
            )
    return tuple(found)


def line_plan(job: Job, line: Line) -> LinePlan:
    """Return one line of a job for the meter, a ring as it is when it is opened.

    Parameters
    ----------
    job
        The job.
    line
        The line.
    """
    return plan_of_line(
        opened_ring(line)[0],
        job.design.speakers,
        job.catalogue,
        conductor_degc=job.survey.limits["conductor_degc"],
        amplifier_w=channel_rating_w(job, line.key),
        areas={room.key: room.label for room in job.survey.rooms},
    )


def channel_rating_w(job: Job, line_key: str) -> float:
    """Return the rating of the channel that feeds a line; 0 if none does. [W].

    Parameters
    ----------
    job
        The job.
    line_key
        Key of the line.
    """
    for amplifier in job.design.amplifiers:
        kind = job.catalogue.amplifier(amplifier.type_id)
        for channel in amplifier.channels:
            if line_key in channel.line_keys and channel.number <= len(kind.channel_power_w):
                return kind.channel_power_w[channel.number - 1]
    return 0.0
