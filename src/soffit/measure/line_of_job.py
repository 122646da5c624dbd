"""From the design's line, or from what somebody tells, to the line that a meter meets."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from soffit.errors import DomainError
from soffit.evaluate.line import cable_ohm_m
from soffit.measure.line_plan import LinePlan, Place
from soffit.model.catalogue import Catalogue, SpeakerType
from soffit.model.lines import Joint, Line, Run
from soffit.model.speakers import Speaker


def opened_ring(line: Line) -> tuple[Line, tuple[Run, ...]]:
    """Return a line without the runs that close a ring, and those runs.

    Parameters
    ----------
    line
        A line of the design.

    Returns
    -------
    tuple
        The line as a tree, and the runs to take off; none if it is a tree already.
    """
    fed = {line.rack_key}
    kept: list[Run] = []
    closing: list[Run] = []
    for run in line.runs:
        (closing if run.end_key in fed and run.start_key in fed else kept).append(run)
        fed.add(run.end_key)
    if not closing:
        return line, ()
    return replace(line, runs=tuple(kept), topology="chain"), tuple(closing)


def plan_of_line(
    line: Line,
    speakers: Sequence[Speaker],
    catalogue: Catalogue,
    *,
    conductor_degc: float,
    amplifier_w: float = 0.0,
    areas: Mapping[str, str] | None = None,
) -> LinePlan:
    """Turn a line of the design into places for the meter.

    Parameters
    ----------
    line
        The line.
    speakers
        All speakers of the design, or at least those of the line.
    catalogue
        Types they refer to.
    conductor_degc
        Temperature of the copper. [°C]
    amplifier_w
        Rating of its channel; 0 if unknown. [W]
    areas
        Label of each room by key.

    Returns
    -------
    LinePlan
        Places in the order of the runs.

    Raises
    ------
    DomainError
        If the line is a ring: what a meter sees in one place then depends on both ways round; or
        if a run begins where no cable arrives.
    TableError
        If a type is unknown.
    """
    by_key = {speaker.key: speaker for speaker in speakers}
    joints = {joint.key: joint for joint in line.joints}
    index: dict[str, int] = {line.rack_key: -1}
    places: list[Place] = []
    for run in line.runs:
        if run.start_key not in index:
            msg = f"{line.label}: {run.label or run.key} begins where no cable arrives"
            raise DomainError(
                msg,
                where=f"design.json lines.{line.key}.runs",
                why="every run must start at the rack or at the end of another run",
                do="add the missing run, or run the design again",
            )
        if run.end_key in index:
            msg = f"{line.label} is not a tree at {run.label or run.key}"
            raise DomainError(
                msg,
                where=f"design.json lines.{line.key}.runs",
                why="a ring is fed from both ends, so that no joint has one side only",
                do="take one end of the ring off, note it, and prove the line as a chain",
            )
        wire = cable_ohm_m(catalogue.cable(run.cable_id), conductor_degc=conductor_degc)
        parent = index[run.start_key]
        index[run.end_key] = len(places)
        speaker = by_key.get(run.end_key)
        if speaker is None:
            places.append(_bare(run, joints.get(run.end_key), parent, wire))
        else:
            kind = catalogue.speaker(speaker.type_id)
            places.append(_hung(run, speaker, kind, parent, wire, line.voltage_v, areas or {}))
    return LinePlan(
        key=line.key,
        label=line.label,
        voltage_v=line.voltage_v,
        places=tuple(places),
        amplifier_w=amplifier_w,
    )


def _bare(run: Run, joint: Joint | None, parent: int, wire_ohm_m: float) -> Place:
    return Place(
        key=run.end_key,
        label=joint.label if joint else run.end_key,
        parent=parent,
        length_m=run.length_m,
        wire_ohm_m=wire_ohm_m,
        tap_w=0.0,
        position=joint.position if joint else None,
    )


def _hung(
    run: Run,
    speaker: Speaker,
    kind: SpeakerType,
    parent: int,
    wire_ohm_m: float,
    voltage_v: float,
    areas: Mapping[str, str],
) -> Place:
    return Place(
        key=speaker.key,
        label=speaker.label,
        parent=parent,
        length_m=run.length_m,
        wire_ohm_m=wire_ohm_m,
        tap_w=speaker.tap.power_w * (voltage_v / speaker.tap.voltage_v) ** 2,
        taps_w=tuple(tap.power_w for tap in kind.taps_at(voltage_v)),
        loss_db=kind.transformer.insertion_loss_db,
        is_delivered=kind.tap_watt == "delivered",
        bypass_ohm=kind.bypass_ohm or 8.0,
        low_limit_hz=kind.transformer.lf_limit_hz,
        position=speaker.position,
        area=areas.get(speaker.room_key, ""),
    )


def guessed_line(
    *,
    label: str,
    voltage_v: float,
    count: int,
    tap_w: float,
    spacing_m: float,
    feed_m: float,
    wire_ohm_m: float,
) -> LinePlan:
    """Make a chain for a line of which only the count is known.

    Parameters
    ----------
    label
        What to call it.
    voltage_v
        Line voltage. [V]
    count
        Loudspeakers, counted or guessed.
    tap_w
        Usual tap. [W]
    spacing_m, feed_m
        Cable from one to the next, and from the rack to the first. [m]
    wire_ohm_m
        One conductor. [Ω/m]

    Returns
    -------
    LinePlan
        A chain that is trusted as little as a guess.

    Raises
    ------
    DomainError
        If there is no loudspeaker.
    """
    if count < 1:
        msg = f"a line of {count} loudspeakers cannot be traced"
        raise DomainError(
            msg, where="count", why="nothing would hang on it", do="count the loudspeakers you see"
        )
    places = tuple(
        Place(
            key=f"{label}-{i + 1:02d}",
            label=f"{label}-{i + 1:02d}",
            parent=i - 1,
            length_m=feed_m if i == 0 else spacing_m,
            wire_ohm_m=wire_ohm_m,
            tap_w=tap_w,
        )
        for i in range(count)
    )
    return LinePlan(
        key=label.lower(), label=label, voltage_v=voltage_v, places=places, trust="guessed"
    )
