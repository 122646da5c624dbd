"""Lines on amplifier channels, as records, and the high-pass that each line needs."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from soffit.circuit.transformer import flux_limit_hz
from soffit.design.route_field import Base
from soffit.design.size import Demand, choose_amplifiers
from soffit.model.catalogue import AmplifierType, Catalogue
from soffit.model.decisions import Survey
from soffit.model.lines import Amplifier, Channel, Line
from soffit.model.speakers import Speaker

_SAME_VOLTAGE: Final = 0.01
"""70.7 V and 100/sqrt(2) V are one line voltage."""


def amplifier_types(survey: Survey, catalogue: Catalogue) -> tuple[AmplifierType, ...]:
    """Return the amplifier types that a job may use.

    Parameters
    ----------
    survey
        Equipment of the job.
    catalogue
        All types.
    """
    wanted = survey.equipment.amplifier_types
    return tuple(entry for entry in catalogue.amplifier_types if not wanted or entry.id in wanted)


def asked_w(base: Base, speaker: Speaker) -> float:
    """Return what a loudspeaker asks of its channel, headroom not yet added. [W].

    Parameters
    ----------
    base
        The job.
    speaker
        The loudspeaker.

    Returns
    -------
    float
        Its tap; more where a lossy transformer draws more than tap and headroom together, or where
        the tap is one for another line voltage, as it may be by hand. [W]
    """
    scale = (base.survey.site.line_voltage_v / speaker.tap.voltage_v) ** 2
    scale = scale if abs(scale - 1.0) > _SAME_VOLTAGE else 1.0
    drawn = base.catalogue.speaker(speaker.type_id).drawn_w(speaker.tap)
    return scale * max(speaker.tap.power_w, drawn / (1.0 + base.headroom_ratio))


def amplifiers_for(
    base: Base, lines: Sequence[Line], by_key: Mapping[str, Speaker]
) -> tuple[Amplifier, ...]:
    """Put all lines on amplifiers, rack by rack; hand-fixed amplifiers stay as they are.

    Parameters
    ----------
    base
        The job.
    lines
        All lines.
    by_key
        Loudspeakers by key.

    Returns
    -------
    tuple of Amplifier
        Labelled A1, A2 and so on.

    Raises
    ------
    NoSolutionError
        If a line fits no channel.
    """
    present = {line.key for line in lines}
    kept = [
        amplifier
        for amplifier in base.previous.amplifiers
        if amplifier.fixed
        and all(key in present for channel in amplifier.channels for key in channel.line_keys)
    ]
    served = {key for one in kept for channel in one.channels for key in channel.line_keys}
    spare_keys = [one.key for one in base.previous.amplifiers if one not in kept]
    found = list(kept)
    for rack in base.survey.racks:
        demands = [
            Demand(
                key=line.key,
                label=line.label,
                zone=_share(base, line, by_key),
                load_w=sum(asked_w(base, by_key[key]) for key in line.speaker_keys),
            )
            for line in lines
            if line.rack_key == rack.key and line.key not in served
        ]
        if not demands:
            continue
        packed = choose_amplifiers(
            demands,
            amplifier_types(base.survey, base.catalogue),
            line_voltage_v=base.survey.site.line_voltage_v,
            headroom_ratio=base.headroom_ratio,
            box_w=base.limits["amplifier_box_w"],
        )
        found += [
            Amplifier(
                key=spare_keys.pop(0) if spare_keys else base.new_key(),
                label="",
                type_id=filled.type_id,
                rack_key=rack.key,
                channels=tuple(
                    Channel(number=number, line_keys=keys)
                    for number, keys in enumerate(filled.channels, 1)
                ),
            )
            for filled in packed
        ]
    return tuple(replace(one, label=f"A{number}") for number, one in enumerate(found, 1))


def _share(base: Base, line: Line, by_key: Mapping[str, Speaker]) -> str:
    """Name what may share a channel: same zone, and never subwoofers with others."""
    kinds = {base.catalogue.speaker(by_key[key].type_id).kind for key in line.speaker_keys}
    zone = "+".join(line.zone_keys) or "none"
    return f"{zone}, low" if kinds == {"subwoofer"} else zone


def with_high_pass(
    base: Base, line: Line, by_key: Mapping[str, Speaker], amplifiers: Sequence[Amplifier]
) -> Line:
    """Set the lowest high-pass that its amplifier offers and its transformers stand.

    Parameters
    ----------
    base
        The job.
    line
        Line to complete.
    by_key
        Loudspeakers by key.
    amplifiers
        All amplifiers.

    Returns
    -------
    Line
        With its high-pass; what the transformers need where the amplifier offers none.
    """
    if line.fixed and line.high_pass_hz is not None:
        return line
    for amplifier in amplifiers:
        for channel in amplifier.channels:
            if line.key in channel.line_keys:
                # one filter serves all lines of a channel
                speakers = [one for one in by_key.values() if one.line_key in channel.line_keys]
                need = line_high_pass_hz(speakers, base.catalogue, line.voltage_v)
                offered = base.catalogue.amplifier(amplifier.type_id).high_pass_hz
                fitting = [hertz for hertz in offered if hertz >= need - 1e-9]
                return replace(line, high_pass_hz=min(fitting, default=need))
    own = [by_key[key] for key in line.speaker_keys]
    return replace(line, high_pass_hz=line_high_pass_hz(own, base.catalogue, line.voltage_v))


def line_high_pass_hz(
    speakers: Sequence[Speaker], catalogue: Catalogue, line_voltage_v: float
) -> float:
    """Lowest cut-off of the high-pass that keeps every transformer of a line from saturating.

    Parameters
    ----------
    speakers
        Loudspeakers of the line.
    catalogue
        Their types.
    line_voltage_v
        Voltage of the line. [V]

    Returns
    -------
    float
        Greatest of the low limits, each scaled by line over tap voltage. [Hz]
    """
    return max(
        float(
            flux_limit_hz(
                line_voltage_v=line_voltage_v,
                rated_voltage_v=speaker.tap.voltage_v,
                low_limit_hz=catalogue.speaker(speaker.type_id).transformer.lf_limit_hz,
            )
        )
        for speaker in speakers
    )
