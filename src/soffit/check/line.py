"""Findings about lines: loss, taps, order, saturation."""

from collections.abc import Iterator
from typing import Final

from soffit.check.kit import Check, Context, at_speaker, count_text, found
from soffit.evaluate.line import LineState
from soffit.model.catalogue import Tap
from soffit.model.findings import Finding, Mend
from soffit.model.lines import Line
from soffit.model.speakers import Speaker


def _states(context: Context) -> Iterator[tuple[Line, LineState]]:
    for line in context.job.design.lines:
        state = context.states.line(line.key)
        if state is not None:
            yield line, state


def _thicker(context: Context, line: Line) -> tuple[Mend, ...]:
    """Offer the next thicker cable of the same system and jacket."""
    mends = []
    for cable_id in sorted({run.cable_id for run in line.runs}):
        own = context.cable_of(cable_id)
        same = [
            other
            for other in context.job.catalogue.cable_types
            if (other.gauge_system, other.jacket, other.material)
            == (own.gauge_system, own.jacket, own.material)
        ]
        sign = -1.0 if own.gauge_system == "AWG" else 1.0
        bigger = [item for item in same if sign * float(item.gauge) > sign * float(own.gauge)]
        if bigger:
            best = min(bigger, key=lambda item: sign * float(item.gauge))
            text = f"use {best.size_text} ({best.id}) instead of {own.size_text} on {line.label}"
            mends.append(Mend(kind="cable", target_key=line.key, value=best.id, text=text))
    return tuple(mends)


def _loss(context: Context, least: str, most: str | None) -> list[Finding]:
    low = context.limits[least]
    high = context.limits[most] if most is not None else float("inf")
    findings = []
    for line, state in _states(context):
        over = [item for item in state.speakers if low < item.loss_db <= high]
        if not over or (most is not None and state.worst_loss_db > high):
            continue
        worst = max(over, key=lambda item: item.loss_db)
        findings.append(
            found(
                line.label,
                f"loss {worst.loss_db:.2f} dB at {worst.label}, {state.conductor_degc:.0f} °C"
                f" copper, 1 kHz; {count_text(len(over), 'speaker')} over the limit",
                key=line.key,
                limit=f"{low:.2f} dB",
                source=context.limits.source(least),
                mends=_thicker(context, line),
            )
        )
    return findings


def _loss_warn(context: Context) -> list[Finding]:
    return _loss(context, "line_loss_warn_db", "line_loss_stop_db")


def _loss_stop(context: Context) -> list[Finding]:
    return _loss(context, "line_loss_stop_db", None)


def _failed(context: Context) -> list[Finding]:
    labels = {line.key: line.label for line in context.job.design.lines}
    return [
        found(labels[key], f"cannot be computed: {why}", key=key, limit="a computable line")
        for key, why in context.states.failed
        if key in labels
    ]


def _wired(context: Context) -> Iterator[tuple[Line, Speaker]]:
    speakers = {speaker.key: speaker for speaker in context.speakers}
    for line in context.job.design.lines:
        for key in line.speaker_keys:
            if key in speakers:
                yield line, speakers[key]


def _tap_mends(context: Context, speaker: Speaker, volts: float) -> tuple[Mend, ...]:
    taps = context.type_of(speaker).taps_at(volts)
    if not taps or speaker.state == "existing":
        return ()
    near = min(taps, key=lambda tap: (abs(tap.power_w - speaker.tap.power_w), tap.power_w))
    text = f"tap {near.power_w:g} W at {volts:.4g} V on {speaker.label}"
    return (Mend(kind="tap", target_key=speaker.key, value=f"{near.power_w:g} W", text=text),)


def _wrong_voltage(context: Context) -> list[Finding]:
    findings = []
    for line, speaker in _wired(context):
        volts = speaker.tap.voltage_v
        if abs(volts - line.voltage_v) > 0.1:
            ratio = (line.voltage_v / volts) ** 2
            findings.append(
                at_speaker(
                    speaker,
                    f"a {volts:.4g} V tap on a {line.voltage_v:.4g} V line takes {ratio:.2g} times"
                    " its marked power",
                    limit=f"{line.voltage_v:.4g} V",
                    mends=_tap_mends(context, speaker, line.voltage_v),
                )
            )
    return findings


def _has(taps: tuple[Tap, ...], tap: Tap) -> bool:
    return any(abs(own.power_w - tap.power_w) < 1e-6 * own.power_w for own in taps)


def _no_such_tap(context: Context) -> list[Finding]:
    findings = []
    for speaker in context.speakers:
        taps = context.type_of(speaker).taps_at(speaker.tap.voltage_v)
        if taps and not _has(taps, speaker.tap):
            offers = ", ".join(f"{tap.power_w:g}" for tap in taps)
            findings.append(
                at_speaker(
                    speaker,
                    f"{speaker.type_id} has no {speaker.tap.power_w:g} W tap at"
                    f" {speaker.tap.voltage_v:.4g} V",
                    limit=f"{offers} W",
                    mends=_tap_mends(context, speaker, speaker.tap.voltage_v),
                )
            )
    return findings


def _no_transformer(context: Context) -> list[Finding]:
    findings = []
    for line, speaker in _wired(context):
        entry = context.type_of(speaker)
        if not entry.taps_at(line.voltage_v):
            offers = sorted({f"{tap.voltage_v:.4g} V" for tap in entry.taps}) or ["none at all"]
            findings.append(
                at_speaker(
                    speaker,
                    f"{entry.id} has no tap for a {line.voltage_v:.4g} V line"
                    f" (taps: {', '.join(offers)})",
                    limit=f"a {line.voltage_v:.4g} V tap",
                )
            )
    return findings


def _over_rating(context: Context) -> list[Finding]:
    findings = []
    for speaker in context.speakers:
        entry = context.type_of(speaker)
        delivered = entry.delivered_w(speaker.tap)
        if delivered > entry.rated_power_w * 1.001:
            taps = [
                tap
                for tap in entry.taps_at(speaker.tap.voltage_v)
                if entry.delivered_w(tap) <= entry.rated_power_w
            ]
            mends: tuple[Mend, ...] = ()
            if taps:
                text = f"tap {taps[-1].power_w:g} W on {speaker.label}"
                value = f"{taps[-1].power_w:g} W"
                mends = (Mend(kind="tap", target_key=speaker.key, value=value, text=text),)
            findings.append(
                at_speaker(
                    speaker,
                    f"its tap sends {delivered:.3g} W into a loudspeaker rated"
                    f" {entry.rated_power_w:g} W",
                    limit=f"{entry.rated_power_w:g} W",
                    source="the type's rated power",
                    mends=mends,
                )
            )
    return findings


def _unwired(context: Context) -> list[Finding]:
    wired = {key for line in context.job.design.lines for key in line.speaker_keys}
    return [
        at_speaker(speaker, "hangs on no line", limit="a line")
        for speaker in context.speakers
        if speaker.key not in wired
    ]


def _long(context: Context) -> list[Finding]:
    most = context.limits["line_length_most_m"]
    return [
        found(
            line.label,
            f"{context.long(state.length_m)} of cable",
            key=line.key,
            limit=context.long(most),
        )
        for line, state in _states(context)
        if state.length_m > most
    ]


def _many(context: Context) -> list[Finding]:
    most = context.limits["speakers_per_line_most"]
    return [
        found(
            line.label,
            f"{len(line.speaker_keys)} speakers on one line",
            key=line.key,
            limit=f"{most:g}",
        )
        for line in context.job.design.lines
        if len(line.speaker_keys) > most
    ]


def _saturates(context: Context) -> list[Finding]:
    findings = []
    for line in context.job.design.lines:
        sweep = context.states.sweep(line.key)
        if sweep is None:
            continue
        own = line.high_pass_hz
        if own is None or own < sweep.flux_limit_hz - 0.5:
            label = next(
                (item.label for item in context.speakers if item.key == sweep.flux_limit_key), ""
            )
            there = "no high-pass" if own is None else f"a high-pass at {own:.0f} Hz"
            findings.append(
                found(
                    line.label,
                    f"{there}, and the transformer of {label} saturates below"
                    f" {sweep.flux_limit_hz:.0f} Hz at full line voltage",
                    key=line.key,
                    limit=f"a high-pass at {sweep.flux_limit_hz:.0f} Hz or above",
                )
            )
    return findings


def _several_zones(context: Context) -> list[Finding]:
    labels = {zone.key: zone.label for zone in context.job.survey.zones}
    return [
        found(
            line.label,
            "feeds the zones " + ", ".join(labels.get(key, key) for key in line.zone_keys),
            key=line.key,
            limit="one zone a line",
        )
        for line in context.job.design.lines
        if len(line.zone_keys) > 1
    ]


def _small_control(context: Context) -> list[Finding]:
    findings = []
    for line in context.job.design.lines:
        children: dict[str, list[str]] = {}
        for run in line.runs:
            children.setdefault(run.start_key, []).append(run.end_key)
        for joint in line.joints:
            if joint.kind != "volume control":
                continue
            below = _below(children, joint.key)
            load = sum(item.tap.power_w for item in context.speakers if item.key in below)
            if load > joint.rated_power_w * 1.001:
                findings.append(
                    found(
                        f"{line.label} {joint.label}",
                        _control_text(joint.rated_power_w, load),
                        key=joint.key,
                        limit=f"{joint.rated_power_w:g} W" if joint.rated_power_w else "a rating",
                        source="the control's own rating",
                    )
                )
    return findings


def _control_takes(context: Context) -> list[Finding]:
    """Say what a control loses at its loudest: the levels on the papers do not count it."""
    controls = [p for p in context.job.catalogue.hardware_types if p.kind == "volume control"]
    findings = []
    for line in context.job.design.lines:
        for joint in line.joints:
            part = next(
                (
                    item
                    for item in controls
                    if joint.kind == "volume control"
                    and item.rated_power_w == joint.rated_power_w > 0.0
                    and item.insertion_loss_db > 0.0
                ),
                None,
            )
            if part is not None:
                findings.append(
                    found(
                        f"{line.label} {joint.label}",
                        f"turned full up its volume control still takes"
                        f" {part.insertion_loss_db:g} dB; levels, volts and watts behind it are"
                        " printed without that",
                        key=joint.key,
                        limit="counted",
                    )
                )
    return findings


def _control_text(rated_w: float, load_w: float) -> str:
    if rated_w <= 0.0:
        return (
            f"no volume control of the catalogue is rated for its {load_w:g} W of taps downstream"
        )
    return f"volume control rated {rated_w:g} W has {load_w:g} W of taps downstream"


def _below(children: dict[str, list[str]], start: str) -> set[str]:
    reached: set[str] = set()
    waiting = [start]
    while waiting:
        for key in children.get(waiting.pop(), []):
            if key not in reached:
                reached.add(key)
                waiting.append(key)
    return reached


def _ring(context: Context) -> list[Finding]:
    return [
        found(
            line.label,
            "is wired as a ring: an open joint stays unheard, and a cut needs both ends looked at",
            key=line.key,
            limit="a tree",
        )
        for line in context.job.design.lines
        if line.topology == "ring"
    ]


def _low_impedance(context: Context) -> list[Finding]:
    least = context.limits["impedance_least_ohm"]
    return [
        found(
            line.label,
            f"the amplifier sees {state.impedance_ohm:.2f} Ω",
            key=line.key,
            limit=f"{least:g} Ω",
        )
        for line, state in _states(context)
        if state.impedance_ohm < least
    ]


def _as_found(context: Context) -> list[Finding]:
    return [
        found(
            line.label,
            "was drawn from a walk: order and lengths are not proven",
            key=line.key,
            limit="a measured line",
            do="measure its impedance at 1 kHz, halve it at reachable joints, and keep the log",
        )
        for line in context.job.design.lines
        if line.topology == "as found"
    ]


_ON_SITE: Final = "the wiring is a person's decision"

CHECKS: Final = (
    Check(
        code="LINE-01",
        severity="warn",
        title="Line loss above the preferred limit",
        why="The far speakers are quieter than the near ones, and the amplifier heats copper.",
        do="use thicker cable, a shorter route, or split the line",
        find=_loss_warn,
        limits=("line_loss_warn_db", "line_loss_stop_db", "conductor_degc"),
        has_mend=True,
    ),
    Check(
        code="LINE-02",
        severity="stop",
        title="Line loss above the limit",
        why="The loss is audible along the line, and the plan's levels no longer hold.",
        do="use thicker cable, a shorter route, or split the line",
        find=_loss_stop,
        limits=("line_loss_stop_db", "conductor_degc"),
        has_mend=True,
    ),
    Check(
        code="LINE-03",
        severity="stop",
        title="Line cannot be computed",
        why="Something on it is not connected, or a type contradicts the line.",
        do="mend what the message names, or run the design again",
        find=_failed,
        source="the plan itself",
        no_mend="what is wrong is in the message, and the cure depends on it",
    ),
    Check(
        code="LINE-04",
        severity="stop",
        title="Tap for another line voltage",
        why="A 70.7 V tap on a 100 V line takes twice its power, a 25 V tap on 70.7 V eight times:"
        " the amplifier overloads and the transformer saturates.",
        do="use a tap for this line's voltage",
        find=_wrong_voltage,
        source="the line's voltage",
        has_mend=True,
    ),
    Check(
        code="LINE-05",
        severity="stop",
        title="No such tap",
        why="The installer stands on the ladder and finds no such position.",
        do="choose a tap that the type has",
        find=_no_such_tap,
        source="the type's tap table",
        has_mend=True,
    ),
    Check(
        code="LINE-06",
        severity="stop",
        title="Type without a transformer for this line",
        why="A bare 8 Ω unit on a 70.7 V line asks 625 W and takes the whole line down.",
        do="choose a type with taps for this line voltage",
        find=_no_transformer,
        source="the type's tap table",
        no_mend="another type changes holes and sound; design again with it",
    ),
    Check(
        code="LINE-07",
        severity="stop",
        title="Tap above what the loudspeaker stands",
        why="It burns out, later and at a loud event.",
        do="use a lower tap",
        find=_over_rating,
        source="the type's rated power",
        has_mend=True,
    ),
    Check(
        code="LINE-08",
        severity="stop",
        title="Speaker on no line",
        why="It will hang there and stay silent.",
        do="run the design again, or put it on a line",
        find=_unwired,
        source="the plan itself",
        no_mend="which line it belongs to follows from the design",
    ),
    Check(
        code="LINE-09",
        severity="note",
        title="Very long line",
        why="Capacitance begins to count, and a fault anywhere silences everything.",
        do="split the line",
        find=_long,
        limits=("line_length_most_m",),
        no_mend=_ON_SITE,
    ),
    Check(
        code="LINE-10",
        severity="note",
        title="Many speakers on one line",
        why="Finding one bad unit among so many takes long, and one short silences all.",
        do="split the line, or plan joints where it can be opened",
        find=_many,
        limits=("speakers_per_line_most",),
        no_mend=_ON_SITE,
    ),
    Check(
        code="LINE-11",
        severity="warn",
        title="No high-pass against saturation",
        why="Below its limit a transformer saturates at full voltage: it looks like a short, the"
        " amplifier limits or protects, and bass rasps.",
        do="set a high-pass at or above the limit, 12 to 24 dB an octave",
        find=_saturates,
        source="flux follows voltage over frequency; the transformer's rated low limit",
        no_mend="the high-pass is set in the amplifier when it is commissioned",
    ),
    Check(
        code="LINE-12",
        severity="warn",
        title="Line feeds several zones",
        why="Zones on one line share source and level.",
        do="give each zone a line of its own, or join the zones",
        find=_several_zones,
        no_mend=_ON_SITE,
    ),
    Check(
        code="LINE-13",
        severity="stop",
        title="Volume control too small",
        why="An overloaded autotransformer burns or works in one step only.",
        do="use a control rated for the sum of taps downstream, split the zone, or turn the level"
        " before the amplifier",
        find=_small_control,
        source="the control's own rating",
        no_mend="another control is another wall box",
    ),
    Check(
        code="LINE-14",
        severity="note",
        title="Line wired as a ring",
        why="A ring hides its first fault.",
        do="keep the log of the healthy ring, and open it for every test",
        find=_ring,
        no_mend=_ON_SITE,
    ),
    Check(
        code="LINE-15",
        severity="stop",
        title="Line impedance near a short",
        why="No amplifier drives it.",
        do="look for a wrong tap or a wrong type",
        find=_low_impedance,
        limits=("impedance_least_ohm",),
        no_mend="several things can be wrong; the other findings name them",
    ),
    Check(
        code="LINE-16",
        severity="note",
        title="Line as found",
        why="Taps and order of an old line are guesses until they are measured.",
        do="measure it",
        find=_as_found,
        no_mend="only a meter can tell",
    ),
    Check(
        code="LINE-17",
        severity="note",
        title="Volume control takes a part",
        why="An autotransformer has windings of its own: 0.5 to 1 dB are usual.",
        do="expect that much less behind it, or turn the input up by as much",
        find=_control_takes,
        source="the control's own data",
        no_mend="it is a property of the control",
    ),
)
