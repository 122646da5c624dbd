"""Findings about cable: class, space, voltage, metal, penetrations."""

from collections.abc import Iterator
from typing import Final

import numpy as np

from soffit.check.euroclass import EUROCLASSES, euroclass
from soffit.check.kit import Check, Context, found
from soffit.circuit.wiring_class import Space, jacket_serves_class, jacket_serves_space
from soffit.model.catalogue import CableType
from soffit.model.findings import Finding, Mend
from soffit.model.lines import Line, Run
from soffit.model.survey import Point


def _used(context: Context) -> Iterator[tuple[Line, CableType]]:
    for line in context.job.design.lines:
        for cable_id in sorted({run.cable_id for run in line.runs}):
            yield line, context.cable_of(cable_id)


def _is_us(context: Context) -> bool:
    return context.job.survey.site.region == "US"


def _is_europe(context: Context) -> bool:
    return context.job.survey.site.region in {"EU", "UK"}


def _same_gauge(context: Context, line: Line, cable: CableType) -> tuple[Mend, ...]:
    """Offer copper of the same size whose jacket suits every output and space of the line."""
    marks = [entry.class_mark or "1" for _, _, entry in context.feeds(line)]
    space: Space = "general"
    if len(_storeys(context, line)) > 1:
        space = "riser"
    if _plenum_rooms(context, line):
        space = "plenum"
    fitting = []
    for other in context.job.catalogue.cable_types:
        is_same = (other.gauge_system, other.gauge) == (cable.gauge_system, cable.gauge)
        wrong = [
            mark
            for mark in marks
            if mark != "1" and jacket_serves_class(other.jacket, mark) is False
        ]
        is_fit = (
            other.id != cable.id
            and other.material == "copper"
            and other.voltage_rating_v >= line.voltage_v * 2**0.5
        )
        is_right_space = not _is_us(context) or jacket_serves_space(other.jacket, space) is True
        if is_same and is_fit and is_right_space and not wrong:
            fitting.append(other)
    if not fitting:
        return ()
    best = min(fitting, key=lambda item: (jacket_serves_class(item.jacket, "3") is False, item.id))
    text = f"use {best.id} ({best.jacket}) instead of {cable.id} on {line.label}"
    return (Mend(kind="cable", target_key=line.key, value=best.id, text=text),)


def _plenum_rooms(context: Context, line: Line) -> tuple[str, ...]:
    speakers = {speaker.key: speaker for speaker in context.speakers}
    rooms = set()
    for key in line.speaker_keys:
        if key in speakers:
            speaker = speakers[key]
            if context.job.survey.ceiling(speaker.room_key, speaker.ceiling_key).is_plenum:
                rooms.add(context.job.survey.room(speaker.room_key).label)
    return tuple(sorted(rooms))


def _class_mismatch(context: Context) -> list[Finding]:
    if not _is_us(context):
        return []
    findings = []
    for line, cable in _used(context):
        for amplifier, channel, entry in context.feeds(line):
            if (
                entry.class_mark in {"2", "3"}
                and jacket_serves_class(cable.jacket, entry.class_mark) is False
            ):
                findings.append(
                    found(
                        line.label,
                        f"{cable.id} is marked {cable.jacket}, the output {amplifier.label}"
                        f" {channel.number} is marked class {entry.class_mark}",
                        key=line.key,
                        limit=f"a cable for class {entry.class_mark}",
                        mends=_same_gauge(context, line, cable),
                    )
                )
    return findings


def _class_one(context: Context) -> list[Finding]:
    if not _is_us(context):
        return []
    return [
        found(
            line.label,
            f"the output of {amplifier.label} is marked class 1, {cable.id} is bare {cable.jacket}",
            key=line.key,
            limit="wiring methods of chapter 3",
        )
        for line, cable in _used(context)
        for amplifier, _, entry in context.feeds(line)
        if entry.class_mark == "1" and cable.jacket.upper().startswith(("CL", "CM"))
    ]


def _not_plenum(context: Context) -> list[Finding]:
    if not _is_us(context):
        return []
    findings = []
    for line, cable in _used(context):
        rooms = _plenum_rooms(context, line)
        if rooms and jacket_serves_space(cable.jacket, "plenum") is not True:
            findings.append(
                found(
                    line.label,
                    f"{cable.id} ({cable.jacket or 'no mark'}) runs through the plenum of"
                    f" {', '.join(rooms)}",
                    key=line.key,
                    limit="a plenum jacket (CL2P, CL3P, CMP)",
                    mends=_same_gauge(context, line, cable),
                )
            )
    return findings


def _storeys(context: Context, line: Line) -> set[str]:
    rooms = {room.key: room.storey_key for room in context.job.survey.rooms}
    storeys = {
        rooms[speaker.room_key]
        for speaker in context.speakers
        if speaker.key in set(line.speaker_keys) and speaker.room_key in rooms
    }
    racks = {rack.key: rack.storey_key for rack in context.job.survey.racks}
    return storeys | ({racks[line.rack_key]} if line.rack_key in racks else set())


def _not_riser(context: Context) -> list[Finding]:
    if not _is_us(context):
        return []
    return [
        found(
            line.label,
            f"{cable.id} ({cable.jacket or 'no mark'}) rises through"
            f" {len(_storeys(context, line))} storeys",
            key=line.key,
            limit="a riser or plenum jacket",
            mends=_same_gauge(context, line, cable),
        )
        for line, cable in _used(context)
        if len(_storeys(context, line)) > 1
        and jacket_serves_space(cable.jacket, "riser") is not True
    ]


def _clad(context: Context) -> list[Finding]:
    return [
        found(
            line.label,
            f"{cable.id} is copper-clad aluminium: about 1.5 to 1.6 times the resistance of copper",
            key=line.key,
            limit="copper",
            mends=_same_gauge(context, line, cable),
        )
        for line, cable in _used(context)
        if cable.material == "copper-clad aluminium"
    ]


def _low_voltage_rating(context: Context) -> list[Finding]:
    return [
        found(
            line.label,
            f"{cable.id} is rated {cable.voltage_rating_v:g} V, the line carries"
            f" {line.voltage_v:.4g} V ({line.voltage_v * 2**0.5:.0f} V peak)",
            key=line.key,
            limit=f"{cable.voltage_rating_v:g} V",
            source="the cable's own rating",
            mends=_same_gauge(context, line, cable),
        )
        for line, cable in _used(context)
        if cable.voltage_rating_v < line.voltage_v * 2**0.5
    ]


def _no_euroclass(context: Context) -> list[Finding]:
    if not _is_europe(context):
        return []
    return [
        found(
            line.label,
            f"{cable.id} declares no reaction-to-fire class ({cable.jacket or 'no mark'})",
            key=line.key,
            limit="a declared Euroclass",
        )
        for line, cable in _used(context)
        if euroclass(cable.jacket) is None
    ]


def _weak_euroclass(context: Context) -> list[Finding]:
    if not _is_europe(context):
        return []
    return [
        found(
            line.label,
            f"{cable.id} is declared {cable.jacket}",
            key=line.key,
            limit="often Dca or better, in UK telecom cabling Cca or better; national rules decide",
        )
        for line, cable in _used(context)
        if (rank := euroclass(cable.jacket)) is not None and rank < EUROCLASSES.index("Dca")
    ]


_FIRESTOP_US: Final = "NFPA 70 (NEC) 300.21; IBC 714; local rules"


def _penetrations(context: Context) -> list[Finding]:
    return [
        found(
            line.label,
            _walls(line),
            key=line.key,
            limit="every opening sealed",
            source=_FIRESTOP_US
            if context.job.survey.site.region == "US"
            else "building rules of the country; common practice, no source",
        )
        for line in context.job.design.lines
        if any(run.penetrations for run in line.runs)
    ]


def _walls(line: Line) -> str:
    count = sum(run.penetrations for run in line.runs)
    return "passes one wall" if count == 1 else f"passes {count} walls"


def _mixed_sizes(context: Context) -> list[Finding]:
    findings = []
    for line in context.job.design.lines:
        systems = {context.cable_of(run.cable_id).gauge_system for run in line.runs}
        if len(systems) > 1:
            findings.append(
                found(
                    line.label,
                    "has cable in AWG and in mm²",
                    key=line.key,
                    limit="one system of sizes",
                )
            )
    return findings


def _places(context: Context, line: Line) -> dict[str, Point]:
    survey = context.job.survey
    places = {rack.key: rack.position for rack in survey.racks}
    places |= {speaker.key: speaker.position for speaker in context.speakers}
    return places | {joint.key: joint.position for joint in line.joints}


def _too_short(context: Context) -> list[Finding]:
    findings = []
    for line in context.job.design.lines:
        places = _places(context, line)
        for run in line.runs:
            if run.start_key in places and run.end_key in places:
                start, end = places[run.start_key], places[run.end_key]
                straight = float(np.hypot(*np.subtract(end, start)))
                if run.length_m < straight - 0.01:
                    findings.append(_short_run(context, line, run, straight))
    return findings


def _short_run(context: Context, line: Line, run: Run, straight_m: float) -> Finding:
    return found(
        f"{line.label} {run.label}",
        f"is {context.long(run.length_m)} long, its ends are {context.long(straight_m)} apart",
        key=run.key,
        limit=context.long(straight_m),
    )


def _many_cores(context: Context) -> list[Finding]:
    return [
        found(
            line.label,
            f"{cable.id} has {cable.cores} cores: only two carry the line, both ends of the others"
            " want a label",
            key=line.key,
            limit="labelled spare cores",
        )
        for line, cable in _used(context)
        if cable.cores > 2
    ]


CHECKS: Final = (
    Check(
        code="CABLE-01",
        severity="stop",
        title="Cable of a lower class than the output",
        why="CL3 may replace CL2, but CL2 may not replace CL3: the class that is marked on the"
        " amplifier decides.",
        do="use cable of the output's class, or an amplifier marked for the cable",
        find=_class_mismatch,
        source="NFPA 70 (NEC), table of cable substitutions (read in a discussion of a real case)",
        is_caution=True,
        has_mend=True,
    ),
    Check(
        code="CABLE-02",
        severity="stop",
        title="Bare cable on a class 1 output",
        why="Class 1 outputs are wired like power: in raceway, by the methods of chapter 3.",
        do="use the wiring methods of chapter 3, or an amplifier marked class 2 or 3",
        find=_class_one,
        source="NFPA 70 (NEC) 640.9(C), 725 (read in articles, clause from memory)",
        is_caution=True,
        no_mend="raceway or another amplifier is a decision",
    ),
    Check(
        code="CABLE-03",
        severity="stop",
        title="Cable not rated for the plenum",
        why="Where the void moves room air, burning jackets send smoke through the building.",
        do="use cable with a plenum jacket",
        find=_not_plenum,
        source="NFPA 70 (NEC) 300.22(C) (read in a code authority's note)",
        is_caution=True,
        has_mend=True,
    ),
    Check(
        code="CABLE-04",
        severity="stop",
        title="Cable not rated for a riser",
        why="A jacket that carries flame carries it from storey to storey.",
        do="use riser or plenum cable, and firestop the opening",
        find=_not_riser,
        source="NFPA 70 (NEC) 722/725, 300.21 (from memory, to be confirmed)",
        is_caution=True,
        has_mend=True,
    ),
    Check(
        code="CABLE-05",
        severity="warn",
        title="Copper-clad aluminium",
        why="More resistance than its size says, brittle at screws, and not what the tables mean.",
        do="use copper",
        find=_clad,
        source="copper-clad aluminium is about 62-68 % IACS (read in an encyclopaedia)",
        has_mend=True,
    ),
    Check(
        code="CABLE-06",
        severity="stop",
        title="Cable rated below the line voltage",
        why="Peaks of a 100 V line reach 141 V.",
        do="use cable rated for the line",
        find=_low_voltage_rating,
        source="the cable's own rating",
        is_caution=True,
        has_mend=True,
    ),
    Check(
        code="CABLE-07",
        severity="warn",
        title="No declared reaction to fire",
        why="Fixed cable in buildings needs a declared class there.",
        do="use cable with a declared class",
        find=_no_euroclass,
        source="EN 50575, EN 13501-6 (read in guides)",
        is_caution=True,
        no_mend="which cable to buy is a decision",
    ),
    Check(
        code="CABLE-08",
        severity="warn",
        title="Low reaction-to-fire class",
        why="The class that a building needs is national and depends on its use.",
        do="ask for the class required in this building",
        find=_weak_euroclass,
        source="EN 50575, EN 13501-6; BS 6701 (read in guides)",
        is_caution=True,
        no_mend="the required class is not in the survey",
    ),
    Check(
        code="CABLE-09",
        severity="note",
        title="Cable passes walls",
        why="An opening in a rated wall must be sealed again with a listed system.",
        do="find out which walls are rated and firestop every opening",
        find=_penetrations,
        source=f"in the US {_FIRESTOP_US}; elsewhere the building rules of the country",
        is_caution=True,
        no_mend="it is work to do, not a thing to change",
    ),
    Check(
        code="CABLE-10",
        severity="note",
        title="AWG and mm² on one line",
        why="Terminals, ferrules and spares for two systems, and the tables do not agree: mm² gives"
        " maxima, AWG nominal values.",
        do="use one system",
        find=_mixed_sizes,
        no_mend="which of the two goes is a decision",
    ),
    Check(
        code="CABLE-11",
        severity="stop",
        title="Run shorter than the way",
        why="The cable will not reach, and the loss is computed too low.",
        do="correct the length, or run the design again",
        find=_too_short,
        source="the plan itself",
        no_mend="only the route can tell the true length",
    ),
    Check(
        code="CABLE-12",
        severity="note",
        title="Spare cores",
        why="An unlabelled spare core is a riddle for whoever comes next.",
        do="label both ends of every core, spare ones too",
        find=_many_cores,
        source="ANSI/INFOCOMM F501.01:2015, unique identifier at every end (abstract read)",
        no_mend="it is work to do, not a thing to change",
    ),
)
