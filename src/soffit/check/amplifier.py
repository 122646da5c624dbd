"""Findings about amplifiers and their channels."""

from collections.abc import Iterator
from typing import Final

from soffit.check.kit import Check, Context, found
from soffit.model.catalogue import AmplifierType
from soffit.model.findings import Finding, Mend
from soffit.model.lines import Amplifier, Channel


def _loads(
    context: Context, *, is_drawn: bool
) -> Iterator[tuple[Amplifier, Channel, AmplifierType, float, float]]:
    """Yield every used channel with its rating, and what leaves it or its taps as marked."""
    for amplifier in context.job.design.amplifiers:
        entry = context.job.catalogue.amplifier(amplifier.type_id)
        for channel in amplifier.channels:
            states = [context.states.line(key) for key in channel.line_keys]
            load = sum(
                state.amplifier_w if is_drawn else state.load_w
                for state in states
                if state is not None
            )
            if channel.line_keys and 1 <= channel.number <= len(entry.channel_power_w):
                rating = entry.channel_power_w[channel.number - 1]
                yield amplifier, channel, entry, rating, load


def _name(amplifier: Amplifier, channel: Channel) -> str:
    return f"{amplifier.label} channel {channel.number}"


def _larger(context: Context, amplifier: Amplifier, needed_w: float) -> tuple[Mend, ...]:
    """Offer the smallest type with as many channels, each large enough."""
    count = len(amplifier.channels)
    fitting = [
        entry
        for entry in context.job.catalogue.amplifier_types
        if len(entry.channel_power_w) >= count and min(entry.channel_power_w) >= needed_w
    ]
    if not fitting:
        return ()
    best = min(fitting, key=lambda entry: (sum(entry.channel_power_w), entry.id))
    text = f"use {best.id} as {amplifier.label}"
    return (Mend(kind="channel", target_key=amplifier.key, value=best.id, text=text),)


def _overload(context: Context) -> list[Finding]:
    return [
        found(
            _name(amplifier, channel),
            f"{load:.1f} W drawn, losses in, rated {rating:g} W ({load / rating:.0%})",
            key=amplifier.key,
            limit=f"{rating:g} W",
            source="the amplifier's rating",
            mends=_larger(context, amplifier, load * _headroom(context)),
        )
        for amplifier, channel, _, rating, load in _loads(context, is_drawn=True)
        if load > rating * (1.0 + 1e-6)
    ]


def _headroom(context: Context) -> float:
    return 1.0 + context.limits["amplifier_headroom_ratio"]


def _thin_headroom(context: Context) -> list[Finding]:
    """Compare taps as marked: the headroom is there for what transformers draw on top."""
    ratio = context.limits["amplifier_headroom_ratio"]
    overloaded = {(item.place_key, item.place) for item in _overload(context)}
    return [
        found(
            _name(amplifier, channel),
            f"{load:.1f} W of taps on {rating:g} W leaves {rating / load - 1.0:.0%} of headroom",
            key=amplifier.key,
            limit=f"{ratio:.0%}",
            mends=_larger(context, amplifier, load * (1.0 + ratio)),
        )
        for amplifier, channel, _, rating, load in _loads(context, is_drawn=False)
        if rating * (1.0 + 1e-6) < load * (1.0 + ratio) - 1e-6
        and (amplifier.key, _name(amplifier, channel)) not in overloaded
    ]


def _no_channel(context: Context) -> list[Finding]:
    return [
        found(line.label, "hangs on no amplifier channel", key=line.key, limit="one channel")
        for line in context.job.design.lines
        if not context.feeds(line)
    ]


def _two_channels(context: Context) -> list[Finding]:
    return [
        found(
            line.label,
            "hangs on "
            + " and ".join(
                _name(amplifier, channel) for amplifier, channel, _ in context.feeds(line)
            ),
            key=line.key,
            limit="one channel",
        )
        for line in context.job.design.lines
        if len(context.feeds(line)) > 1
    ]


def _wrong_voltage(context: Context) -> list[Finding]:
    return [
        found(
            _name(amplifier, channel),
            f"cannot be set to {line.voltage_v:.4g} V, which {line.label} needs",
            key=amplifier.key,
            limit=", ".join(f"{volts:.4g} V" for volts in entry.voltages_v),
            source="the amplifier's own settings",
        )
        for line in context.job.design.lines
        for amplifier, channel, entry in context.feeds(line)
        if not any(abs(volts - line.voltage_v) < 0.1 for volts in entry.voltages_v)
    ]


def _mixed_voltages(context: Context) -> list[Finding]:
    findings = []
    volts = {line.key: line.voltage_v for line in context.job.design.lines}
    for amplifier in context.job.design.amplifiers:
        for channel in amplifier.channels:
            used = sorted({volts[key] for key in channel.line_keys if key in volts})
            if len(used) > 1:
                findings.append(
                    found(
                        _name(amplifier, channel),
                        "has lines of " + " and ".join(f"{value:.4g} V" for value in used),
                        key=amplifier.key,
                        limit="one voltage a channel",
                    )
                )
    return findings


def _spare(context: Context) -> list[Finding]:
    most = context.limits["channel_spare_note_ratio"]
    free: dict[str, list[str]] = {}
    labels: dict[str, str] = {}
    for amplifier, channel, _, rating, load in _loads(context, is_drawn=True):
        if load > 0.0 and 1.0 - load / rating > most:
            labels[amplifier.key] = amplifier.label
            text = f"{rating - load:.0f} of {rating:g} W on channel {channel.number}"
            free.setdefault(amplifier.key, []).append(text)
    return [
        found(labels[key], f"free: {', '.join(texts)}", key=key, limit=f"{most:.0%} free")
        for key, texts in free.items()
    ]


def _no_high_pass(context: Context) -> list[Finding]:
    findings = []
    for line in context.job.design.lines:
        sweep = context.states.sweep(line.key)
        for amplifier, channel, entry in context.feeds(line):
            if sweep is not None and not any(
                corner >= sweep.flux_limit_hz - 0.5 for corner in entry.high_pass_hz
            ):
                offers = ", ".join(f"{corner:g} Hz" for corner in entry.high_pass_hz) or "none"
                findings.append(
                    found(
                        _name(amplifier, channel),
                        f"offers no high-pass at or above {sweep.flux_limit_hz:.0f} Hz for"
                        f" {line.label} (has: {offers})",
                        key=amplifier.key,
                        limit=f"{sweep.flux_limit_hz:.0f} Hz",
                        source="the transformers on the line",
                    )
                )
    return findings


def _apparent(context: Context) -> list[Finding]:
    findings = []
    for amplifier, channel, _, rating, load in _loads(context, is_drawn=True):
        sweeps = [context.states.sweep(key) for key in channel.line_keys]
        apparent = sum(sweep.va_max for sweep in sweeps if sweep is not None)
        if load <= rating < apparent:
            findings.append(
                found(
                    _name(amplifier, channel),
                    f"at the lowest impedance above the high-pass the lines ask {apparent:.0f} VA",
                    key=amplifier.key,
                    limit=f"{rating:g} W",
                    source="the amplifier's rating",
                )
            )
    return findings


def _too_many_channels(context: Context) -> list[Finding]:
    return [
        found(
            _name(amplifier, channel),
            f"{entry.id} has only {len(entry.channel_power_w)} channels",
            key=amplifier.key,
            limit=f"{len(entry.channel_power_w)} channels",
            source="the amplifier's own data",
        )
        for amplifier in context.job.design.amplifiers
        for entry in (context.job.catalogue.amplifier(amplifier.type_id),)
        for channel in amplifier.channels
        if channel.line_keys and not 1 <= channel.number <= len(entry.channel_power_w)
    ]


CHECKS: Final = (
    Check(
        code="AMP-01",
        severity="stop",
        title="Channel overloaded",
        why="It protects itself, or overheats after minutes: sound cuts out at the worst time.",
        do="use a larger amplifier, lower taps, or move a line to another channel",
        find=_overload,
        source="the amplifier's rating",
        has_mend=True,
    ),
    Check(
        code="AMP-02",
        severity="warn",
        title="Less headroom than asked for",
        why="Lossy transformers draw more than their taps say, and lines grow over the years.",
        do="use a larger amplifier or lower taps",
        find=_thin_headroom,
        limits=("amplifier_headroom_ratio",),
        has_mend=True,
    ),
    Check(
        code="AMP-03",
        severity="stop",
        title="Line on no channel",
        why="Nothing drives it.",
        do="add an amplifier, or put the line on a free channel",
        find=_no_channel,
        source="the plan itself",
        no_mend="which amplifier to buy is a decision",
    ),
    Check(
        code="AMP-04",
        severity="stop",
        title="Line on two channels",
        why="Two outputs tied together destroy each other.",
        do="take it off one of them",
        find=_two_channels,
        source="the plan itself",
        no_mend="which channel keeps it is a decision",
    ),
    Check(
        code="AMP-05",
        severity="stop",
        title="Amplifier without this line voltage",
        why="Taps give their marked power at one voltage only.",
        do="choose an amplifier that offers the voltage",
        find=_wrong_voltage,
        source="the amplifier's own settings",
        no_mend="which amplifier to buy is a decision",
    ),
    Check(
        code="AMP-06",
        severity="stop",
        title="Two line voltages on one channel",
        why="One output has one voltage: the other line gets the wrong one.",
        do="separate the lines",
        find=_mixed_voltages,
        source="the plan itself",
        no_mend="which line moves is a decision",
    ),
    Check(
        code="AMP-07",
        severity="note",
        title="Much of a channel is free",
        why="Good for growth; or a smaller amplifier will do.",
        do="keep it as spare capacity, or choose a smaller amplifier",
        find=_spare,
        limits=("channel_spare_note_ratio",),
        no_mend="spare capacity may be wanted",
    ),
    Check(
        code="AMP-08",
        severity="warn",
        title="Amplifier offers no high enough high-pass",
        why="Transformers saturate at low notes and the amplifier limits or protects.",
        do="put a high-pass before the amplifier, or choose one that has it",
        find=_no_high_pass,
        source="the transformers on the line",
        no_mend="which amplifier or processor to buy is a decision",
    ),
    Check(
        code="AMP-09",
        severity="warn",
        title="Apparent power above the rating",
        why="Near resonance and at low notes the lines take more current than their watts say.",
        do="leave more headroom or raise the high-pass",
        find=_apparent,
        source="the amplifier's rating",
        no_mend="headroom and high-pass are decisions",
    ),
    Check(
        code="AMP-10",
        severity="stop",
        title="Channel that the amplifier does not have",
        why="The plan counts outputs that are not there.",
        do="move the line to a channel that exists",
        find=_too_many_channels,
        source="the amplifier's own data",
        no_mend="which channel takes the line is a decision",
    ),
)
