"""Which unit a drawing is in: a vote of dimensions, doors, printed sizes, extent and header."""

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from soffit.plans.labels import FEET_INCHES, feet_m
from soffit.units import FOOT_M, INCH_M

if TYPE_CHECKING:
    from soffit.plans.dxf_entities import Drawing

UNITS: Final[dict[str, float]] = {
    "mm": 1e-3,
    "cm": 1e-2,
    "m": 1.0,
    "in": INCH_M,
    "ft": FOOT_M,
}
_HEADER: Final = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
_ARCHITECTURAL: Final = frozenset({3, 4})
_DOOR_M: Final = (0.58, 1.3)
_EXTENT_M: Final = (4.0, 500.0)
_WEIGHTS: Final = {"dimensions": 4.0, "doors": 3.0, "sizes": 3.0, "extent": 1.0, "header": 1.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitVote:
    """The unit that won, how sure it is, and the votes in words.

    Parameters
    ----------
    unit
        Name of the unit.
    unit_m
        Its length. [m]
    confidence
        Share of the votes that it got.
    text
        Who voted for what.
    header_differs
        The header says another unit.
    """

    unit: str
    unit_m: float
    confidence: float
    text: str
    header_differs: bool = False

    @property
    def is_imperial(self) -> bool:
        """Whether people of this drawing read feet."""
        return self.unit in {"in", "ft"}


def vote_unit(drawing: "Drawing") -> UnitVote:
    """Find the unit of a drawing.

    Parameters
    ----------
    drawing
        The drawing.

    Returns
    -------
    UnitVote
        The winner; a header alone never outvotes dimensions or doors.
    """
    votes: dict[str, dict[str, float]] = {
        "dimensions": _by_dimensions(drawing),
        "doors": _by_doors(drawing),
        "sizes": _by_sizes(drawing),
        "extent": _by_extent(drawing),
        "header": {_HEADER[drawing.unit_code]: 1.0} if drawing.unit_code in _HEADER else {},
    }
    score = dict.fromkeys(UNITS, 0.0)
    for voter, shares in votes.items():
        for unit, share in shares.items():
            score[unit] += _WEIGHTS[voter] * share
    whole = sum(score.values())
    if whole == 0.0:
        return UnitVote(unit="mm", unit_m=1e-3, confidence=0.3, text="nothing tells: mm is assumed")
    unit = max(score, key=lambda name: score[name])
    said = [
        f"{voter} say {max(shares, key=lambda name: shares[name])}" if voter in {"dimensions",
         "doors", "sizes"} else f"{voter} says {max(shares, key=lambda name: shares[name])}"
        for voter, shares in votes.items()
        if shares
    ]  # fmt: skip
    header = _HEADER.get(drawing.unit_code)
    return UnitVote(
        unit=unit,
        unit_m=UNITS[unit],
        confidence=score[unit] / whole,
        text="; ".join(said),
        header_differs=header is not None and header != unit,
    )


def _shares(counts: dict[str, float]) -> dict[str, float]:
    whole = sum(counts.values())
    return {unit: count / whole for unit, count in counts.items() if count} if whole else {}


def _by_dimensions(drawing: "Drawing") -> dict[str, float]:
    """Compare printed texts with measured lengths; a style of feet and inches counts inches."""
    counts: dict[str, float] = {}
    for text, measured, form in drawing.dimensions:
        if measured <= 0:
            continue
        printed = _printed_m(text)
        if printed is None:
            if form in _ARCHITECTURAL:
                counts["in"] = counts.get("in", 0.0) + 1.0
            continue
        for unit, size in UNITS.items():
            if any(abs(measured * size - value) < 0.02 * value for value in printed):
                counts[unit] = counts.get(unit, 0.0) + 1.0
    return _shares(counts)


def _printed_m(text: str) -> list[float] | None:
    """Return what a dimension's own text may mean; ``None`` if it prints what it measures."""
    plain = text.replace("<>", "").strip()
    if not plain:
        return None
    feet = re.fullmatch(FEET_INCHES, plain)
    if feet:
        return [feet_m(feet.groups())]
    number = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(mm|cm|m|\"|in)?", plain)
    if not number:
        return None
    value = float(number.group(1).replace(",", "."))
    if value <= 0:
        return None
    unit = {'"': "in"}.get(number.group(2) or "", number.group(2) or "")
    return [value * UNITS[unit]] if unit else [value * UNITS[name] for name in ("mm", "cm", "m")]


def _by_doors(drawing: "Drawing") -> dict[str, float]:
    """Quarter circles are doors: their radius is a door's width."""
    radii = np.array(
        [
            arc.radius
            for arc in drawing.arcs
            if np.pi / 3 < (arc.end_rad - arc.start_rad) % (2 * np.pi) < 2 * np.pi / 3
        ]
    )
    if len(radii) < 2:
        return {}
    fits: dict[str, float] = {}
    for unit, size in UNITS.items():
        wide = radii * size
        count = int(((wide >= _DOOR_M[0]) & (wide <= _DOOR_M[1])).sum())
        if count >= 0.3 * len(radii):
            fits[unit] = float(count)
    return _shares(fits)


def _by_sizes(drawing: "Drawing") -> dict[str, float]:
    """Feet and inches, or square metres, in room names tell the unit by the size of the letters."""
    feet = sum(bool(re.search(FEET_INCHES + r"\s*[x×X]", item.text)) for item in drawing.texts)
    metric = sum(bool(re.search(r"\d\s*(m²|m2|qm)\b", item.text)) for item in drawing.texts)
    if feet + metric < 2:
        return {}
    names = ("in", "ft") if feet > metric else ("mm", "cm", "m")
    heights = [item.height for item in drawing.texts if item.height > 0]
    middle = float(np.median(heights)) if heights else 0.0
    fits = {name: 1.0 for name in names if 0.06 <= middle * UNITS[name] <= 0.8}
    return _shares(fits or dict.fromkeys(names, 1.0))


def _by_extent(drawing: "Drawing") -> dict[str, float]:
    """Most of the lines must lie within a building's extent."""
    lines = [line for lines in drawing.segments.values() for line in lines]
    points = np.array(lines, dtype=np.float64).reshape(-1, 2) if lines else np.zeros((0, 2))
    if len(points) < 8:
        return {}
    span = float(np.max(np.percentile(points, 95, axis=0) - np.percentile(points, 5, axis=0)))
    fits = {
        unit: 1.0 for unit, size in UNITS.items() if _EXTENT_M[0] <= span * size <= _EXTENT_M[1]
    }
    return _shares(fits)
