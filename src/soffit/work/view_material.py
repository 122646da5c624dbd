"""What to order, counted from the design: loudspeakers, parts, cable, amplifiers."""

from collections import Counter
from math import ceil

from soffit.evaluate.ceiling import CeilingState
from soffit.model.decisions import Job
from soffit.papers.views import MaterialRow
from soffit.work.view_lines import cable_text


def material_rows(
    job: Job, ceiling: CeilingState, *, slack_ratio: float
) -> tuple[MaterialRow, ...]:
    """Return the material list.

    Parameters
    ----------
    job
        The job.
    ceiling
        Every speaker against its ceiling, which names the parts that carry it.
    slack_ratio
        Waste and slack on top of the cable's route length.
    """
    return (
        *_speakers(job),
        *_parts(job, ceiling),
        *_cables(job, slack_ratio),
        *_amplifiers(job),
    )


def _speakers(job: Job) -> list[MaterialRow]:
    new = Counter(item.type_id for item in job.design.speakers if item.state != "existing")
    return [
        MaterialRow(
            section="Loudspeakers",
            item=job.catalogue.speaker(type_id).name,
            quantity=count,
            unit="pcs",
            type_id=type_id,
            source="design",
            note=job.catalogue.speaker(type_id).source,
        )
        for type_id, count in sorted(new.items())
    ]


def _parts(job: Job, ceiling: CeilingState) -> list[MaterialRow]:
    supports = Counter(fit.support_id for fit in ceiling.speakers)
    wires: Counter[str] = Counter()
    for fit in ceiling.speakers:
        wires[fit.safety_wire_id] += max(1, fit.seismic.wires if fit.seismic else 1)
    rows = []
    for part_id, count in sorted((supports + wires).items()):
        named = bool(part_id)
        rows.append(
            MaterialRow(
                section="Mounting",
                item=job.catalogue.hardware(part_id).name
                if named
                else "support or safety wire not in the catalogue",
                quantity=count,
                unit="pcs",
                type_id=part_id,
                source="one a speaker",
                note="" if named else "choose a part whose label states what it carries",
            )
        )
    return rows


def _cables(job: Job, slack_ratio: float) -> list[MaterialRow]:
    metres: Counter[str] = Counter()
    for line in job.design.lines:
        for run in line.runs:
            metres[run.cable_id] += run.length_m  # type: ignore[assignment]  # a count of metres
    rows = []
    for cable_id, length in sorted(metres.items()):
        cable = job.catalogue.cable(cable_id)
        wanted = length * (1.0 + slack_ratio)
        reels = ceil(wanted / cable.reel_m)
        rows.append(
            MaterialRow(
                section="Cable",
                item=f"{cable_text(cable)} ({cable.name})",
                quantity=round(wanted, 1),
                unit="m",
                type_id=cable_id,
                source=f"routes {length:.0f} m and {slack_ratio:.0%} waste and slack",
                note=f"{reels} reel{'s' * (reels > 1)} of {cable.reel_m:.0f} m",
            )
        )
    return rows


def _amplifiers(job: Job) -> list[MaterialRow]:
    counted = Counter(item.type_id for item in job.design.amplifiers)
    return [
        MaterialRow(
            section="Rack",
            item=job.catalogue.amplifier(type_id).name,
            quantity=count,
            unit="pcs",
            type_id=type_id,
            source="design",
        )
        for type_id, count in sorted(counted.items())
    ]
