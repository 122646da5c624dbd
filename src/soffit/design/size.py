"""Lines to amplifier channels: least rated watts and boxes with headroom, zones kept apart."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from soffit.circuit.amplifier import amplifier_power_min_w
from soffit.errors import NoSolutionError
from soffit.model.catalogue import AmplifierType

_STEPS_MOST: Final = 20_000
"""Openings tried before the best packing so far is taken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """What one line asks of a channel.

    Parameters
    ----------
    key, label
        Of the line.
    zone
        Lines of different zones never share a channel.
    load_w
        Sum of its taps. [W]
    """

    key: str
    label: str
    zone: str
    load_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FilledAmplifier:
    """One amplifier and the lines on its channels.

    Parameters
    ----------
    type_id
        Catalogue entry.
    channels
        Keys of the lines on each channel; empty where it is spare.
    spare_w
        What each channel could still take, headroom kept. [W]
    """

    type_id: str
    channels: tuple[tuple[str, ...], ...]
    spare_w: tuple[float, ...]


def largest_load_w(
    types: Sequence[AmplifierType], *, line_voltage_v: float, headroom_ratio: float
) -> float:
    """Largest sum of taps that one channel of any type takes, headroom kept.

    Parameters
    ----------
    types
        Amplifiers that may be used.
    line_voltage_v
        Voltage of the line. [V]
    headroom_ratio
        Part of the load that stays free.

    Returns
    -------
    float
        Load; 0 if no type has the voltage. [W]
    """
    fitting = usable(types, line_voltage_v=line_voltage_v)
    biggest = max((max(entry.channel_power_w) for entry in fitting), default=0.0)
    return biggest / (1.0 + headroom_ratio)


def usable(types: Sequence[AmplifierType], *, line_voltage_v: float) -> list[AmplifierType]:
    """Return the types that can be set to a line voltage.

    Parameters
    ----------
    types
        Amplifiers that may be used.
    line_voltage_v
        Voltage of the line. [V]
    """
    return [
        entry
        for entry in types
        if any(abs(voltage - line_voltage_v) < 0.1 for voltage in entry.voltages_v)
    ]


def choose_amplifiers(
    demands: Sequence[Demand],
    types: Sequence[AmplifierType],
    *,
    line_voltage_v: float,
    headroom_ratio: float,
    box_w: float = 0.0,
) -> tuple[FilledAmplifier, ...]:
    """Put lines on channels of as few rated watts and as few amplifiers as possible.

    Parameters
    ----------
    demands
        Lines.
    types
        Amplifiers that may be used, any number of each.
    line_voltage_v
        Voltage of the lines. [V]
    headroom_ratio
        Part of each load that stays free.
    box_w
        Rated watts that one amplifier fewer is worth. [W]

    Returns
    -------
    tuple of FilledAmplifier
        Amplifiers in the order of their largest line.

    Raises
    ------
    NoSolutionError
        If a line fits no channel.
    """
    fitting = sorted(usable(types, line_voltage_v=line_voltage_v), key=lambda entry: entry.id)
    _check_each(demands, fitting, line_voltage_v, headroom_ratio)
    waiting = tuple(sorted(demands, key=lambda entry: (-entry.load_w, entry.key)))
    packer = _Packer(fitting, headroom_ratio, box_w)
    packer.search(waiting, (), 0.0)
    return packer.best


def _check_each(
    demands: Sequence[Demand],
    fitting: Sequence[AmplifierType],
    line_voltage_v: float,
    headroom_ratio: float,
) -> None:
    largest = max((max(entry.channel_power_w) for entry in fitting), default=0.0)
    for demand in demands:
        wanted = float(amplifier_power_min_w(load_w=demand.load_w, headroom_ratio=headroom_ratio))
        if wanted > largest + 1e-9:
            msg = f"{demand.label}: no amplifier channel takes {demand.load_w:.1f} W"
            raise NoSolutionError(
                msg,
                where=f"lines.{demand.key}",
                why=(
                    f"with {headroom_ratio:.0%} headroom it needs {wanted:.1f} W at "
                    f"{line_voltage_v:.1f} V; the largest channel has {largest:.1f} W"
                ),
                do="allow a larger amplifier type, split the line, or lower its taps",
            )


class _Packer:
    """Depth first over which amplifier to open next; channels fill themselves, largest first."""

    def __init__(self, types: Sequence[AmplifierType], headroom_ratio: float, box_w: float) -> None:
        self._box_w = box_w
        self._types = types
        self._headroom = headroom_ratio
        self._steps = 0
        self._best_cost = (float("inf"), 0)
        self._seen: dict[tuple[str, ...], tuple[float, int]] = {}
        self.best: tuple[FilledAmplifier, ...] = ()

    def search(
        self, waiting: tuple[Demand, ...], opened: tuple[FilledAmplifier, ...], watts_w: float
    ) -> None:
        cost = (round(watts_w, 6), len(opened))
        if not waiting:
            if cost < self._best_cost:
                self._best_cost, self.best = cost, opened
            return
        least = sum(entry.load_w for entry in waiting) * (1.0 + self._headroom)
        state = tuple(entry.key for entry in waiting)
        if (cost[0] + least - 1e-6, cost[1]) >= self._best_cost or self._steps >= _STEPS_MOST:
            return
        if self._seen.get(state, (float("inf"), 0)) <= cost:
            return
        self._seen[state] = cost
        self._steps += 1
        for entry in sorted(self._types, key=lambda one: (sum(one.channel_power_w), one.id)):
            filled, rest = self._fill(entry, waiting)
            if len(rest) < len(waiting):
                cost_w = watts_w + self._box_w + sum(entry.channel_power_w)
                self.search(rest, (*opened, filled), cost_w)

    def _fill(
        self, entry: AmplifierType, waiting: tuple[Demand, ...]
    ) -> tuple[FilledAmplifier, tuple[Demand, ...]]:
        left = list(waiting)
        order = sorted(
            range(len(entry.channel_power_w)), key=lambda one: entry.channel_power_w[one]
        )
        channels: list[tuple[str, ...]] = [()] * len(order)
        spare = [power / (1.0 + self._headroom) for power in entry.channel_power_w]
        zones: dict[int, str] = {}
        # first one line a channel, then more of the same zone where watts are left
        for is_first in (True, False):
            for channel in order:
                for demand in list(left):
                    if (
                        is_first is (channel in zones)
                        or zones.get(channel, demand.zone) != demand.zone
                    ):
                        continue
                    if demand.load_w <= spare[channel] + 1e-9:
                        zones[channel] = demand.zone
                        channels[channel] += (demand.key,)
                        left.remove(demand)
                        spare[channel] -= demand.load_w
        filled = FilledAmplifier(
            type_id=entry.id,
            channels=tuple(channels),
            spare_w=tuple(max(0.0, one) for one in spare),
        )
        return filled, tuple(left)
