"""Lines of a job as a meter meets them, shared by prove, trace and the papers."""

from soffit.measure.line_of_job import plan_of_line
from soffit.measure.line_plan import LinePlan
from soffit.model.decisions import Job


def line_plans(job: Job) -> tuple[LinePlan, ...]:
    """Return all lines of a job that are trees, in their order.

    Parameters
    ----------
    job
        The job.
    """
    areas = {room.key: room.label for room in job.survey.rooms}
    return tuple(
        plan_of_line(
            line,
            job.design.speakers,
            job.catalogue,
            conductor_degc=job.survey.limits["conductor_degc"],
            amplifier_w=channel_rating_w(job, line.key),
            areas=areas,
        )
        for line in job.design.lines
        if line.topology != "ring"
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
