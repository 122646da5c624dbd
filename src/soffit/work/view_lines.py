"""Lines, racks and cable as papers show them."""

from collections.abc import Mapping, Sequence
from math import ceil

from soffit.evaluate.line import LineState
from soffit.evaluate.line_sweep import LineSweep
from soffit.model.catalogue import CableType
from soffit.model.decisions import Job
from soffit.model.lines import Amplifier, Channel, Line, Run
from soffit.papers.views import (
    AmplifierView,
    CableRow,
    ChannelView,
    LineView,
    NodeView,
    RackView,
    WireView,
)
from soffit.papers.words import run_length

_SAME_M = 0.5
"""Another route that differs by less says nothing. [m]"""


def cable_text(cable: CableType) -> str:
    """Return size and jacket of a cable as a person asks for it at the counter.

    Parameters
    ----------
    cable
        Catalogue entry.
    """
    return f"{cable.cores} x {cable.size_text} {cable.jacket}".strip()


def colours_text(cable: CableType) -> str:
    """Return which core is plus and which is minus.

    Parameters
    ----------
    cable
        Catalogue entry.
    """
    return f"{cable.colours[0]} = +, {cable.colours[1]} = −"


def place_labels(job: Job) -> dict[str, str]:
    """Return the label of every rack, joint and speaker by its permanent key.

    Parameters
    ----------
    job
        The job.
    """
    labels = {rack.key: rack.label for rack in job.survey.racks}
    for line in job.design.lines:
        labels.update({joint.key: joint.label for joint in line.joints})
    labels.update({speaker.key: speaker.label for speaker in job.design.speakers})
    return labels


def channel_of(job: Job, line_key: str) -> tuple[Amplifier, Channel] | None:
    """Return amplifier and channel that feed a line; ``None`` if none does.

    Parameters
    ----------
    job
        The job.
    line_key
        The line.
    """
    for amplifier in job.design.amplifiers:
        for channel in amplifier.channels:
            if line_key in channel.line_keys:
                return amplifier, channel
    return None


def channel_text(job: Job, line_key: str) -> str:
    """Return where a line begins, such as "A1 channel 2".

    Parameters
    ----------
    job
        The job.
    line_key
        The line.
    """
    found = channel_of(job, line_key)
    return f"{found[0].label} channel {found[1].number}" if found else "no channel yet"


def _zones_text(job: Job, line: Line) -> str:
    return ", ".join(zone.label for zone in job.survey.zones if zone.key in line.zone_keys)


def _limit_text(job: Job) -> str:
    limits = job.survey.limits
    return (
        f"warn above {limits['line_loss_warn_db']:g} dB, stop above"
        f" {limits['line_loss_stop_db']:g} dB ({limits.source('line_loss_stop_db')})"
    )


def _nodes(
    job: Job, line: Line, state: LineState, labels: Mapping[str, str]
) -> tuple[NodeView, ...]:
    speakers = {entry.key: entry for entry in state.speakers}
    joints = {joint.key: joint for joint in line.joints}
    rack = NodeView(
        key=line.rack_key,
        label=labels.get(line.rack_key, line.rack_key),
        kind="rack",
        voltage_v=line.voltage_v,
        impedance_out_ohm=state.impedance_ohm,
        open_here="both legs off the amplifier: read the whole line",
    )
    middle = _halving_key(line) if len(line.speaker_keys) > 1 else ""
    nodes = [rack]
    for run, run_state in zip(line.runs, state.runs, strict=True):
        cable = job.catalogue.cable(run.cable_id)
        known = speakers.get(run.end_key)
        joint = joints.get(run.end_key)
        nodes.append(
            NodeView(
                key=run.end_key,
                label=labels.get(run.end_key, run.end_key),
                kind="speaker" if known else joint.kind if joint else "tee",
                parent_key=run.start_key,
                run_label=run.label,
                run_length_m=run.length_m,
                cable=cable_text(cable),
                colours=colours_text(cable),
                terminals="in + / in −, on to out + / out −",
                voltage_v=run_state.end_voltage_v,
                loss_db=known.loss_db if known else 0.0,
                current_a=run_state.current_a,
                impedance_out_ohm=run_state.end_outward_ohm,
                open_here="halves the line: open here first" if run.end_key == middle else "",
            )
        )
    return tuple(nodes)


def _halving_key(line: Line) -> str:
    """Return the end of the run beyond which nearest half of the speakers hang."""
    below = {run.end_key: 0 for run in line.runs}
    feeder = {run.end_key: run.start_key for run in line.runs}
    for key in line.speaker_keys:
        seen: set[str] = set()
        while key in feeder and key not in seen:
            seen.add(key)
            below[key] += 1
            key = feeder[key]  # noqa: PLW2901 walks from the speaker to the rack
    half = len(line.speaker_keys) / 2
    return min(sorted(below), key=lambda key: abs(below[key] - half))


def line_views(
    job: Job, states: Mapping[str, LineState], sweeps: Mapping[str, LineSweep]
) -> tuple[LineView, ...]:
    """Return every line with its nodes, parents before children.

    Parameters
    ----------
    job
        The job.
    states, sweeps
        Solved lines and their curves by key; a ring has no curve.
    """
    labels = place_labels(job)
    views = []
    for line in job.design.lines:
        state = states[line.key]
        sweep = sweeps.get(line.key)
        used = sorted({run.cable_id for run in line.runs})
        views.append(
            LineView(
                key=line.key,
                label=line.label,
                title=_zones_text(job, line),
                voltage_v=line.voltage_v,
                load_w=state.load_w,
                drawn_w=state.amplifier_w,
                impedance_ohm=state.impedance_ohm,
                worst_loss_db=state.worst_loss_db,
                worst_label=labels[state.worst_key],
                loss_limit_text=_limit_text(job),
                length_m=state.length_m,
                cable_text=" and ".join(cable_text(job.catalogue.cable(key)) for key in used),
                nodes=_nodes(job, line, state, labels),
                curve=tuple(zip(sweep.frequency_hz, sweep.impedance_ohm, strict=True))
                if sweep
                else (),
                channel_text=channel_text(job, line.key),
                high_pass_hz=sweep.high_pass_hz if sweep else line.high_pass_hz,
                conductor_degc=state.conductor_degc,
                topology=line.topology,
                zones_text=_zones_text(job, line),
                route_note=line.route_note,
                notes=_notes(line, state, sweep, labels, imperial=job.survey.site.is_imperial),
            )
        )
    return tuple(views)


def _notes(
    line: Line,
    state: LineState,
    sweep: LineSweep | None,
    labels: Mapping[str, str],
    *,
    imperial: bool,
) -> tuple[str, ...]:
    notes = [
        f"Copper at {state.conductor_degc:g} °C, 1 kHz. {source}."
        for _, source in state.resistance_sources
    ]
    if sweep:
        notes.append(
            f"Lowest frequency at full voltage {sweep.flux_limit_hz:.0f} Hz, set by"
            f" {labels[sweep.flux_limit_key]}; by the taps the amplifier must supply above"
            f" {sweep.high_pass_hz:.0f} Hz at most {sweep.va_max:.0f} VA,"
            f" at {sweep.va_max_hz:.0f} Hz."
        )
    notes += [
        f"As {kind} the cable would be {run_length(length, imperial=imperial)}."
        for kind, length in line.other_routes_m
        if abs(length - state.length_m) >= _SAME_M
    ]
    return tuple(notes)


def wires_at(
    job: Job, line: Line, key: str, labels: Mapping[str, str]
) -> tuple[WireView | None, tuple[WireView, ...]]:
    """Return the cable that comes to a place and those that go on from it.

    Parameters
    ----------
    job
        The job.
    line
        Its line.
    key
        Speaker or joint.
    labels
        Label by key.
    """
    incoming = [run for run in line.runs if run.end_key == key]
    outgoing = [run for run in line.runs if run.start_key == key]
    wire_in = _wire(job, incoming[0], incoming[0].start_key, "IN", labels) if incoming else None
    return wire_in, tuple(_wire(job, run, run.end_key, "OUT", labels) for run in outgoing)


def _wire(job: Job, run: Run, other: str, side: str, labels: Mapping[str, str]) -> WireView:
    cable = job.catalogue.cable(run.cable_id)
    return WireView(
        to_label=labels.get(other, other),
        length_m=run.length_m,
        cable=cable_text(cable),
        colours=colours_text(cable),
        terminals=f"{side} +, {side} −",
        run_label=run.label,
    )


def cable_rows(job: Job, *, slack_ratio: float) -> tuple[CableRow, ...]:
    """Return the list of runs to cut.

    Parameters
    ----------
    job
        The job.
    slack_ratio
        Waste and slack on top of the route length.
    """
    labels = place_labels(job)
    rows = []
    for line in job.design.lines:
        for run in line.runs:
            cable = job.catalogue.cable(run.cable_id)
            rows.append(
                CableRow(
                    run_label=run.label,
                    line_label=line.label,
                    from_label=labels.get(run.start_key, run.start_key),
                    to_label=labels.get(run.end_key, run.end_key),
                    cable=cable_text(cable),
                    length_m=run.length_m,
                    cut_m=ceil(run.length_m * (1.0 + slack_ratio) * 2.0) / 2.0,
                    colours=colours_text(cable),
                    note=f"through {run.penetrations} wall" + "s" * (run.penetrations > 1)
                    if run.penetrations
                    else "",
                    penetrations=run.penetrations,
                )
            )
    return tuple(rows)


def rack_views(
    job: Job, states: Mapping[str, LineState], sweeps: Mapping[str, LineSweep]
) -> tuple[RackView, ...]:
    """Return every rack with its amplifiers, channels and what to set.

    Parameters
    ----------
    job
        The job.
    states, sweeps
        Solved lines and their curves by key.
    """
    return tuple(
        RackView(
            key=rack.key,
            label=rack.label,
            place_text=_rack_place(job, rack.room_key),
            amplifiers=tuple(
                _amplifier(job, amplifier, states, sweeps)
                for amplifier in job.design.amplifiers
                if amplifier.rack_key == rack.key
            ),
        )
        for rack in job.survey.racks
    )


def _rack_place(job: Job, room_key: str | None) -> str:
    return job.survey.room(room_key).label if room_key else ""


def _amplifier(
    job: Job,
    amplifier: Amplifier,
    states: Mapping[str, LineState],
    sweeps: Mapping[str, LineSweep],
) -> AmplifierView:
    entry = job.catalogue.amplifier(amplifier.type_id)
    return AmplifierView(
        key=amplifier.key,
        label=amplifier.label,
        type_name=entry.name,
        channels=tuple(
            _channel(job, channel, entry.channel_power_w[channel.number - 1], states, sweeps)
            for channel in amplifier.channels
        ),
        rack_units=entry.rack_units,
        mass_kg=entry.mass_kg,
        class_mark=_class_text(entry.class_mark),
        output_text="floating output" if entry.floating_output else "one leg of the output earthed",
        note=entry.note,
    )


def _class_text(mark: str) -> str:
    """Return the mark of the output's wiring class as installers say it: "Class 2"."""
    return f"Class {mark}" if mark in {"1", "2", "3"} else mark


def _channel(
    job: Job,
    channel: Channel,
    rated_w: float,
    states: Mapping[str, LineState],
    sweeps: Mapping[str, LineSweep],
) -> ChannelView:
    on_it = [states[key] for key in channel.line_keys]
    lines: Sequence[Line] = [job.design.line(key) for key in channel.line_keys]
    drawn = sum(state.amplifier_w for state in on_it)
    corners = [sweeps[key].high_pass_hz for key in channel.line_keys if key in sweeps]
    return ChannelView(
        number=channel.number,
        lines_text=", ".join(line.label for line in lines) or "spare",
        load_w=sum(state.load_w for state in on_it),
        drawn_w=drawn,
        rated_w=rated_w,
        load_ratio=drawn / rated_w,
        voltage_v=lines[0].voltage_v if lines else job.survey.site.line_voltage_v,
        impedance_ohm=1.0 / sum(1.0 / state.impedance_ohm for state in on_it) if on_it else None,
        high_pass_hz=max(corners) if corners else None,
        zones_text=", ".join(
            dict.fromkeys(filter(None, (_zones_text(job, line) for line in lines)))
        ),
    )
