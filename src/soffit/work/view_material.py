"""What to order, counted from the design: loudspeakers, parts, cable, amplifiers."""

import math
from collections import Counter

from soffit.design.cable import reels_for_pieces
from soffit.evaluate.ceiling import CeilingState
from soffit.model.catalogue import CableType
from soffit.model.decisions import Job
from soffit.papers.views import MaterialRow
from soffit.papers.words import run_length
from soffit.units import FOOT_M, format_length
from soffit.work.view_lines import cable_text
from soffit.work.view_small_parts import wiring_parts, with_spares


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
    counted = (*_speakers(job), *_parts(job, ceiling), *_hooks(job), *wiring_parts(job))
    return (
        *with_spares(counted, job.survey.equipment.spare_ratio),
        *_cables(job, slack_ratio),
        *with_spares(_amplifiers(job), job.survey.equipment.spare_ratio),
        *_labels(job),
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
    hanging = {item.key for item in job.design.speakers if item.state == "existing"}
    fits = [fit for fit in ceiling.speakers if fit.key not in hanging]
    supports = Counter(fit.support_id for fit in fits)
    wires = Counter(fit.safety_wire_id for fit in fits)
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
                source="one for each loudspeaker",
                note="" if named else "choose a part whose label states what it carries",
            )
        )
    slack = sum(fit.seismic.wires for fit in fits if fit.seismic is not None)
    if slack:
        rows.append(
            MaterialRow(
                section="Mounting",
                item="Hanger wire, 12 ga, slack, from unit to structure",
                quantity=slack,
                unit="pcs",
                source="earthquakes: beside the safety wire",
            )
        )
    return rows


def _cables(job: Job, slack_ratio: float) -> list[MaterialRow]:
    runs: dict[str, list[float]] = {}
    for line in job.design.lines:
        for run in line.runs:
            runs.setdefault(run.cable_id, []).append(run.length_m)
    imperial = job.survey.site.is_imperial
    rows = []
    for cable_id, lengths in sorted(runs.items()):
        cable = job.catalogue.cable(cable_id)
        length = sum(lengths)
        wanted = length * (1.0 + slack_ratio)
        pieces = [one * (1.0 + slack_ratio) for one in lengths]
        quantity = float(math.ceil(wanted / FOOT_M - 1e-9)) if imperial else round(wanted, 1)
        unit = "ft" if imperial else "m"
        rows.append(
            MaterialRow(
                section="Cable",
                item=f"{cable_text(cable)} ({cable.name})",
                quantity=quantity,
                unit=unit,
                type_id=cable_id,
                source=f"routes {_whole(length, imperial)} and {slack_ratio:.0%} waste and slack",
                note=f"{_reels_text(cable, pieces, imperial)};"
                f" {_cores_text(cable, f'{quantity:.0f} {unit}')}",
            )
        )
    return rows


def _hooks(job: Job) -> list[MaterialRow]:
    """Count what carries the cable: not tiles, not hanger wires, not other services."""
    every_m = job.survey.limits["cable_support_every_m"]
    lengths = [run.length_m for line in job.design.lines for run in line.runs]
    if not lengths:
        return []
    step = format_length(every_m, imperial=job.survey.site.is_imperial)
    return [
        MaterialRow(
            section="Boxes, terminals, seals",
            item="Hook or clip for cable, fixed to the structure",
            quantity=sum(math.ceil(one / every_m) for one in lengths),
            unit="pcs",
            source="design",
            note=f"one every {step} of route; fewer where runs share a hook",
        )
    ]


def _whole(length_m: float, imperial: bool) -> str:
    """Return a length of cable in whole feet or metres."""
    return run_length(length_m, imperial=True) if imperial else f"{length_m:.0f} m"


def _reels_text(cable: CableType, pieces: list[float], imperial: bool) -> str:
    """Say how many whole reels the runs are cut from; a run longer than a reel is named."""
    long = [piece for piece in pieces if piece > cable.reel_m]
    count, left = reels_for_pieces(
        [piece for piece in pieces if piece <= cable.reel_m], reel_m=cable.reel_m
    )
    words = f"{count} reel{'s' * (count != 1)} of {_whole(cable.reel_m, imperial)}"
    if count:
        words += f", every run in one piece, longest end left {_whole(left, imperial)}"
    if long:
        lengths = ", ".join(_whole(piece, imperial) for piece in sorted(long, reverse=True))
        words += f"; longer than a reel, to be ordered in one length: {lengths}"
    return words


def _cores_text(cable: CableType, each: str) -> str:
    plus, minus = cable.colours
    spare = f", {cable.cores - 2} cores spare" if cable.cores > 2 else ""
    return f"in use {each} of {plus} core (+) and {each} of {minus} (−){spare}"


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


def _labels(job: Job) -> list[MaterialRow]:
    """Count the labels that the label sheets print."""
    runs = sum(len(line.runs) for line in job.design.lines)
    channels = sum(len(item.channels) for item in job.design.amplifiers)
    racks = len(job.survey.racks) + len(job.design.amplifiers) + channels
    count = 2 * runs + len(job.design.speakers) + racks
    if not job.design.lines:
        return []
    return [
        MaterialRow(
            section="Labels",
            item="printed label",
            quantity=count,
            unit="pcs",
            source=f"two for each run, one for each loudspeaker, {racks} for rack, amplifiers and"
            " channels",
        )
    ]
