"""One line in records: runs with lengths, walls and cable, from a way through the ceiling."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from soffit.circuit.cable import conductor_area_m2, copper_mass_kg_m
from soffit.circuit.tap import tap_load_ohm
from soffit.circuit.tree import tree_of
from soffit.design.cable import (
    SizeChoice,
    Wiring,
    choose_one_size,
    choose_tapered,
    choose_two_sizes,
)
from soffit.design.route_field import KeyMaker
from soffit.design.route_lay import Laid
from soffit.evaluate.line import cable_ohm_m
from soffit.model.catalogue import CableType, Catalogue
from soffit.model.lines import Joint, Line, Run
from soffit.model.speakers import Speaker
from soffit.tables.settings import Limits
from soffit.units import format_mass


def wiring_of(
    laid: Laid, cables: Sequence[CableType], catalogue: Catalogue, limits: Limits
) -> Wiring:
    """Turn a laid line into arrays with open conductor sizes.

    Parameters
    ----------
    laid
        Stops and lengths.
    cables
        Cable types that may be used, thickest first.
    catalogue
        Types of the loudspeakers.
    limits
        Temperature, slack and loops.

    Returns
    -------
    Wiring
        For the choice of sizes.
    """
    load = np.zeros(len(laid.stops))
    for place, stop in enumerate(laid.stops):
        if stop.speaker is not None:
            entry = catalogue.speaker(stop.speaker.type_id)
            load[place] = 1.0 / float(
                tap_load_ohm(
                    tap_power_w=stop.speaker.tap.power_w,
                    line_voltage_v=stop.speaker.tap.voltage_v,
                    insertion_loss_db=entry.transformer.insertion_loss_db,
                    tap_watt=entry.tap_watt,
                )
            )
    degc = limits["conductor_degc"]
    return Wiring(
        tree=tree_of(laid.parent, labels=[stop.key for stop in laid.stops]),
        length_m=np.asarray(laid.lengths_m(limits)),
        load_siemens=load,
        size_ohm_m=np.asarray([cable_ohm_m(cable, conductor_degc=degc) for cable in cables]),
        size_kg_m=np.asarray(
            [
                copper_mass_kg_m(conductor_area_m2(cable.gauge_system, cable.gauge))
                for cable in cables
            ]
        ),
        step_ratio=np.ones(len(laid.stops)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sized:
    """Sizes chosen for a laid line, and what the other choices would take.

    Parameters
    ----------
    chosen
        Sizes in use.
    note
        Copper of one size, two sizes and tapered, in words.
    """

    chosen: SizeChoice
    note: str


def size_line(wiring: Wiring, limits: Limits, *, imperial: bool = False) -> Sized:
    """Choose conductor sizes within the design's loss limit.

    Parameters
    ----------
    wiring
        Line whose sizes are open.
    limits
        ``line_loss_warn_db`` and ``cable_sizes_most``.
    imperial
        Pounds of copper instead of kilograms.

    Returns
    -------
    Sized
        The choice and what the others would save.
    """
    limit = limits["line_loss_warn_db"]
    one = choose_one_size(wiring, limit_db=limit)
    two = choose_two_sizes(wiring, limit_db=limit)
    tapered = choose_tapered(wiring, limit_db=limit, pair=two)
    most = round(limits["cable_sizes_most"])
    chosen = {1: one, 2: two}.get(most, tapered)
    if not one.meets_limit and two.meets_limit:
        chosen = chosen if chosen.meets_limit else two
    worst = f"worst loss {one.worst_loss_db:.2f} dB"
    text = f"copper {format_mass(one.copper_kg, imperial=imperial)} in one size, {worst}"
    for name, other in (("two sizes", two), ("tapered", tapered)):
        if other.meets_limit and other.copper_kg < one.copper_kg * 0.995:
            saved = 1.0 - other.copper_kg / one.copper_kg
            mass = format_mass(other.copper_kg, imperial=imperial)
            text += f"; {name} would take {mass} ({saved:.0%} less)"
    return Sized(chosen=chosen, note=text)


def build_line(
    laid: Laid,
    sizes: Sequence[int],
    cables: Sequence[CableType],
    *,
    line: Line,
    run_keys: dict[tuple[str, str], str],
    new_key: KeyMaker,
    limits: Limits,
) -> tuple[Line, tuple[Speaker, ...]]:
    """Write a laid and sized line as records, with labels in wiring order.

    Parameters
    ----------
    laid
        Stops and ways.
    sizes
        Place of the cable of each run in ``cables``.
    cables
        Cable types, thickest first.
    line
        Line to fill: key, label, voltage, zones, rack.
    run_keys
        Keys of earlier runs by their two ends, which are used again.
    new_key
        Maker of permanent keys.
    limits
        Slack and loops.

    Returns
    -------
    tuple
        The line, and its loudspeakers with new labels and line key.
    """
    order = _walk(laid.parent)
    lengths = laid.lengths_m(limits)
    speakers: list[Speaker] = []
    joints: list[Joint] = []
    runs: list[Run] = []
    for place in order[1:]:
        stop, feeder = laid.stops[place], laid.stops[laid.parent[place]]
        if stop.speaker is not None:
            label = f"{line.label}-{len(speakers) + 1:02d}"
            speakers.append(replace(stop.speaker, label=label, line_key=line.key))
        elif stop.joint is not None:
            label = f"{line.label}-J{len(joints) + 1}"
            joints.append(replace(stop.joint, label=label))
        way = laid.ways[place]
        runs.append(
            Run(
                key=run_keys.get((feeder.key, stop.key)) or new_key(),
                label=f"{line.label}-C{len(runs) + 1:02d}",
                start_key=feeder.key,
                end_key=stop.key,
                length_m=lengths[place],
                cable_id=cables[sizes[place]].id,
                route=way.corners if way else (),
                penetrations=way.penetrations if way else 0,
            )
        )
    filled = replace(
        line,
        speaker_keys=tuple(speaker.key for speaker in speakers),
        runs=tuple(runs),
        joints=tuple(joints),
        topology=laid.topology,
    )
    return filled, tuple(speakers)


def _walk(parent: Sequence[int]) -> list[int]:
    """Return stops from the rack outward, each branch to its end, in the order of places."""
    below: dict[int, list[int]] = {}
    for place, feeder in enumerate(parent):
        below.setdefault(feeder, []).append(place)
    order: list[int] = []
    stack = [0]
    while stack:
        place = stack.pop()
        order.append(place)
        stack.extend(reversed(below.get(place, [])))
    return order
