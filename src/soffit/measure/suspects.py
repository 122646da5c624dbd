"""What may be wrong: every kind of fault at every place, in a few sizes, with its weight."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Final

from soffit.constants import LINE_70_V
from soffit.measure.line_plan import LinePlan, Place
from soffit.tables.load import load_table

WHOLE_LINE: Final = frozenset({"none", "all other voltage", "thin cable", "all capacitor"})
SILENT: Final = frozenset({"missing", "burnt", "coil short"})
NEEDS_SPEAKER: Final = frozenset(
    {
        "missing",
        "burnt",
        "coil short",
        "tap",
        "bypass",
        "other voltage",
        "capacitor",
        "turned down",
    }
)
LINE_VOLTAGES_V: Final = (25.0, LINE_70_V, 100.0)
TAP_FACTORS: Final = (0.25, 0.5, 2.0, 4.0)
"""Steps to try where the taps of a transformer are unknown (common practice: steps of two)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultKind:
    """One kind of fault as the table has it.

    Parameters
    ----------
    name
        Name in the table.
    weight
        Weight of the kind before any reading.
    logged
        Factor on the weight where a log of the healthy line shows that it was right once.
    sizes
        Sizes to try; empty where the plan gives them. [Ω, µF or a factor]
    size_sd
        Spread of ln(size) around each.
    words, sign, mend
        What is wrong, how to tell it from its likes, and what to do, with ``{place}``.
    """

    name: str
    weight: float
    logged: float
    sizes: tuple[float, ...]
    size_sd: float
    words: str
    sign: str
    mend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """One thing that may be wrong.

    Parameters
    ----------
    kind
        Name of the kind.
    place
        Index of the place; -1 for the whole line.
    size
        Ohms, tap watts, volts, microfarads or a factor, by kind.
    weight
        Weight before any reading; all suspects together have 1.
    """

    kind: str
    place: int
    size: float
    weight: float


@cache
def fault_kinds() -> dict[str, FaultKind]:
    """Return all kinds by name, in the order of the table."""
    table = load_table("fault_kinds")
    return {
        row["kind"]: FaultKind(
            name=row["kind"],
            weight=float(row["weight"]),
            logged=float(row["logged"]),
            sizes=tuple(float(text) for text in row["sizes"].split()),
            size_sd=float(row["sd"]),
            words=row["words"],
            sign=row["sign"],
            mend=row["mend"],
        )
        for row in table.rows
    }


def other_voltages_v(line_voltage_v: float) -> tuple[float, ...]:
    """Return the line voltages that a line is not for.

    Parameters
    ----------
    line_voltage_v
        Nominal voltage of the line. [V]
    """
    return tuple(u for u in LINE_VOLTAGES_V if abs(u - line_voltage_v) > 1.0)


def _tap_sizes(place: Place) -> tuple[float, ...]:
    if place.taps_w:
        return tuple(w for w in place.taps_w if not math.isclose(w, place.tap_w, rel_tol=0.02))
    return tuple(factor * place.tap_w for factor in TAP_FACTORS)


def _sizes(kind: FaultKind, plan: LinePlan, place: Place | None) -> tuple[float, ...]:
    match kind.name:
        case "tap" if place is not None:
            return _tap_sizes(place)
        case "other voltage" | "all other voltage":
            return other_voltages_v(plan.voltage_v)
        case "extra":
            taps = [p.tap_w for p in plan.places if p.tap_w > 0.0]
            return (sorted(taps)[len(taps) // 2],) if taps else ()
        case _:
            return kind.sizes or (1.0,)


def _places(kind: FaultKind, plan: LinePlan) -> Iterator[int]:
    if kind.name in WHOLE_LINE:
        yield -1
        return
    for i, place in enumerate(plan.places):
        if place.tap_w > 0.0 or kind.name not in NEEDS_SPEAKER:
            yield i


def suspects_of(
    plan: LinePlan, *, factor: Callable[[str], float] | None = None, is_logged: bool = False
) -> tuple[Suspect, ...]:
    """List everything that may be wrong with a line, once each.

    Parameters
    ----------
    plan
        The line.
    factor
        Factor on the weight of a kind, such as what people said about the line.
    is_logged
        Whether a log of the healthy line is at hand.

    Returns
    -------
    tuple of Suspect
        Weights add up to 1.
    """
    found: list[Suspect] = []
    for kind in fault_kinds().values():
        raw = [
            (place, size)
            for place in _places(kind, plan)
            for size in _sizes(kind, plan, plan.places[place] if place >= 0 else None)
        ]
        weight = kind.weight * (factor(kind.name) if factor else 1.0)
        weight *= kind.logged if is_logged else 1.0
        found += [
            Suspect(kind=kind.name, place=place, size=size, weight=weight / len(raw))
            for place, size in raw
        ]
    total = sum(suspect.weight for suspect in found)
    return tuple(
        Suspect(kind=s.kind, place=s.place, size=s.size, weight=s.weight / total) for s in found
    )
