"""What a meter shows at every place, put beside what the taps alone would give."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from soffit.measure.expected import Expected
from soffit.papers.views import ChannelView, LineView, MeterBand, RackView, SpeakerView

_Bands = Mapping[tuple[str, str], MeterBand]


def _bands(expected: Mapping[str, tuple[Expected, ...]]) -> _Bands:
    """Return bands at 1 kHz by place and by the way the meter looks."""
    found: dict[tuple[str, str], MeterBand] = {}
    for rows in expected.values():
        for row in rows:
            if row.quantity != "impedance":
                continue
            if row.middle is None or row.low is None or row.high is None:
                continue
            found[row.place_key, row.direction] = MeterBand(
                middle_ohm=row.middle,
                low_ohm=_rounded(row.low) if row.direction == "alone" else row.low,
                high_ohm=_rounded(row.high) if row.direction == "alone" else row.high,
            )
    return found


def _rounded(ohm: float) -> float:
    """Two figures: like units alone have like bands, and no meter tells the third."""
    return float(f"{ohm:.2g}")


def metered_speakers(
    speakers: Iterable[SpeakerView], expected: Mapping[str, tuple[Expected, ...]]
) -> tuple[SpeakerView, ...]:
    """Return speakers with what a meter shows there.

    Parameters
    ----------
    speakers
        Every speaker.
    expected
        What instruments should show, by line key.
    """
    bands = _bands(expected)
    return tuple(
        replace(
            item,
            meter_out=bands.get((item.key, "out")),
            meter_alone=bands.get((item.key, "alone")),
        )
        for item in speakers
    )


def metered_lines(
    lines: Iterable[LineView], expected: Mapping[str, tuple[Expected, ...]]
) -> tuple[LineView, ...]:
    """Return lines and their nodes with what a meter shows there.

    Parameters
    ----------
    lines
        Every line.
    expected
        What instruments should show, by line key.
    """
    bands = _bands(expected)
    return tuple(_line(line, bands) for line in lines)


def _line(line: LineView, bands: _Bands) -> LineView:
    whole = bands.get((line.key, "whole"))
    nodes = tuple(
        replace(node, meter_out=whole if node.kind == "rack" else bands.get((node.key, "out")))
        for node in line.nodes
    )
    return replace(line, meter=whole, nodes=nodes)


def metered_racks(racks: Iterable[RackView], lines: Sequence[LineView]) -> tuple[RackView, ...]:
    """Return racks whose channels say what a meter shows at their terminals.

    Parameters
    ----------
    racks
        Every rack.
    lines
        Lines with their readings.
    """
    by_label = {line.label: line for line in lines}
    return tuple(
        replace(
            rack,
            amplifiers=tuple(
                replace(
                    amplifier,
                    channels=tuple(_channel(item, by_label) for item in amplifier.channels),
                )
                for amplifier in rack.amplifiers
            ),
        )
        for rack in racks
    )


def _channel(channel: ChannelView, by_label: Mapping[str, LineView]) -> ChannelView:
    """Lines of one channel are in parallel."""
    on_it = [by_label[label].meter for label in channel.lines_text.split(", ") if label in by_label]
    middles = [meter.middle_ohm for meter in on_it if meter is not None]
    if not middles or len(middles) < len(on_it):
        return channel
    return replace(channel, meter_ohm=1.0 / sum(1.0 / middle for middle in middles))
