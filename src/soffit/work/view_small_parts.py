"""Small parts that wiring needs, as far as the design knows them: boxes, terminals, seals."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from math import ceil

from soffit.model.catalogue import HardwareType
from soffit.model.decisions import Job
from soffit.model.lines import Line
from soffit.model.speakers import Speaker
from soffit.papers.views import MaterialRow

_SECTION = "Boxes, terminals, seals"
_OWN_TERMINALS = 2
"""Cables that a loudspeaker's own terminals take: in and out."""


def with_spares(rows: Iterable[MaterialRow], spare_ratio: float) -> tuple[MaterialRow, ...]:
    """Add the job's spare part to everything that is counted by the piece.

    Parameters
    ----------
    rows
        Rows counted from the design.
    spare_ratio
        Spare pieces, as a share; whole pieces, rounded up.
    """
    out = []
    for row in rows:
        extra = ceil(row.quantity * spare_ratio - 1e-9)
        if extra > 0:
            note = "; ".join(part for part in (row.note, f"{extra} of them spare") if part)
            out.append(replace(row, quantity=row.quantity + extra, note=note))
        else:
            out.append(row)
    return tuple(out)


def wiring_parts(job: Job) -> list[MaterialRow]:
    """Return back boxes, joint boxes, terminals, seals and volume controls.

    Parameters
    ----------
    job
        The job.

    Returns
    -------
    list of MaterialRow
        Parts that the catalogue lacks are rows too, and say so.
    """
    return [*_boxes(job), *_joint_boxes(job), *_terminals(job), *_seals(job), *_controls(job)]


def _of_kind(job: Job, kind: str) -> list[HardwareType]:
    return [part for part in job.catalogue.hardware_types if part.kind == kind]


def _row(
    count: int, part: HardwareType | None, missing: str, source: str, note: str = ""
) -> MaterialRow:
    lacks = "" if part else "not in the catalogue: choose one"
    return MaterialRow(
        section=_SECTION,
        item=part.name if part else missing,
        quantity=count,
        unit="pcs",
        type_id=part.id if part else "",
        source=source,
        note="; ".join(text for text in (note, lacks) if text),
    )


def _needs_box(job: Job, speaker: Speaker) -> bool:
    """Whether an open-backed unit is cut into a ceiling that must stay closed."""
    kind = job.catalogue.speaker(speaker.type_id)
    ceiling = job.survey.ceiling(speaker.room_key, speaker.ceiling_key)
    is_open = kind.cutout_diameter_m is not None and kind.box_depth_m <= 0.0
    return speaker.state != "existing" and is_open and (ceiling.is_plenum or ceiling.fire_rated)


def _boxes(job: Job) -> list[MaterialRow]:
    count = sum(_needs_box(job, speaker) for speaker in job.design.speakers)
    if not count:
        return []
    boxes = _of_kind(job, "box")
    return [
        _row(
            count,
            boxes[0] if len(boxes) == 1 else None,
            "back box of the unit's own maker",
            "one for each open-backed unit in a plenum or a fire-rated ceiling",
            "check that it fits the unit and carries the mark that the ceiling asks for",
        )
    ]


def _joint_boxes(job: Job) -> list[MaterialRow]:
    kinds = Counter(
        joint.kind
        for line in job.design.lines
        for joint in line.joints
        if joint.kind != "volume control"
    )
    return [
        _row(
            count,
            None,
            f"joint box for a {kind}",
            f"one for each {kind}",
            "accessible, with strain relief",
        )
        for kind, count in sorted(kinds.items())
    ]


def _conductors(job: Job, line: Line) -> list[int]:
    """Return how many conductors meet, per core, wherever loose terminals are needed."""
    meets = Counter(key for run in line.runs for key in (run.start_key, run.end_key))
    speakers = {item.key: item for item in job.design.speakers}
    found = [meets[joint.key] for joint in line.joints if joint.kind != "volume control"]
    for key, count in meets.items():
        speaker = speakers.get(key)
        if speaker is None:
            continue
        words = job.catalogue.speaker(speaker.type_id).terminals.casefold()
        has_leads = "lead" in words or "splice" in words
        if has_leads or count > _OWN_TERMINALS:
            found.append(count + 1)
    return [count for count in found if count > 1]


def _terminals(job: Job) -> list[MaterialRow]:
    parts = sorted(
        (part for part in _of_kind(job, "terminal") if part.ways > 1),
        key=lambda part: (part.ways, part.id),
    )
    counts: Counter[int] = Counter()
    for line in job.design.lines:
        for conductors in _conductors(job, line):
            ways = next((part.ways for part in parts if part.ways >= conductors), conductors)
            counts[ways] += 2  # one a core
    rows = []
    for ways, count in sorted(counts.items()):
        part = next((part for part in parts if part.ways == ways), None)
        rows.append(
            _row(
                count,
                part,
                f"terminal for {ways} conductors",
                "two for each joint: joints, units with leads, units where a branch begins",
            )
        )
    return rows


def _seals(job: Job) -> list[MaterialRow]:
    count = sum(run.penetrations for line in job.design.lines for run in line.runs)
    if not count:
        return []
    parts = _of_kind(job, "firestop")
    return [
        _row(
            count,
            parts[0] if len(parts) == 1 else None,
            "seal for one cable opening",
            "one for each wall that a cable passes",
            "fewer where cables share an opening; a fire-rated wall wants the listed system for"
            " its construction",
        )
    ]


def _controls(job: Job) -> list[MaterialRow]:
    ratings = Counter(
        joint.rated_power_w
        for line in job.design.lines
        for joint in line.joints
        if joint.kind == "volume control"
    )
    rows = []
    for rating, count in sorted(ratings.items()):
        part = next(
            (one for one in _of_kind(job, "volume control") if one.rated_power_w == rating > 0.0),
            None,
        )
        missing = f"volume control of {rating:g} W" if rating else "volume control for its line"
        rows.append(_row(count, part, missing, "design"))
    return rows
