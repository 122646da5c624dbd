"""Types that a design names must be in the catalogue: said at their place, all at once."""

from collections.abc import Iterator

from soffit.errors import JobError, Problem
from soffit.model.decisions import Job

_Named = tuple[str, str, str, str]
"""Label of the thing, path in design.json, noun, id of its type."""


def check_known_types(job: Job) -> None:
    """Refuse a design that names types which the catalogue has not.

    Parameters
    ----------
    job
        The job.

    Raises
    ------
    JobError
        With a problem for each loudspeaker, run and amplifier whose type is unknown.
    """
    known = {
        "loudspeaker type": [entry.id for entry in job.catalogue.speaker_types],
        "cable type": [entry.id for entry in job.catalogue.cable_types],
        "amplifier type": [entry.id for entry in job.catalogue.amplifier_types],
    }
    problems = [
        Problem(
            what=f"{label}: there is no {noun} {type_id!r}",
            where=f"design.json  {path}",
            why=f"the catalogue has {', '.join(known[noun])}",
            do="put the type back into catalogue.toml, or undo the change that took it out",
        )
        for label, path, noun, type_id in _named(job)
        if type_id not in known[noun]
    ]
    if problems:
        raise JobError.of(problems)


def _named(job: Job) -> Iterator[_Named]:
    design = job.design
    for number, speaker in enumerate(design.speakers):
        path = f"speakers[{number}].type_id"
        yield speaker.label, path, "loudspeaker type", speaker.type_id
    for number, line in enumerate(design.lines):
        for place, run in enumerate(line.runs):
            path = f"lines[{number}].runs[{place}].cable_id"
            yield run.label, path, "cable type", run.cable_id
    for number, amplifier in enumerate(design.amplifiers):
        path = f"amplifiers[{number}].type_id"
        yield amplifier.label, path, "amplifier type", amplifier.type_id
