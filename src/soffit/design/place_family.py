"""Every regular lattice of a ceiling: aligned or offset, with even and near-even pitch.

A lattice is a product of two progressions of sites, one along local x and one along local y; an
offset one is two such products with every second row (or column) on the places between.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, floor
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
SingleArray = NDArray[np.float32]
IntArray = NDArray[np.int64]

Kind = Literal["aligned", "rows offset", "columns offset", "free", "two blocks"]


_LONG_SPAN: Final = 45
"""From so many sites on, one site more or less off the middle is nothing to hear or see."""

LONG_AXIS: Final = 500
"""From so many sites along an axis on, near-regular pitches are equal parts of it only."""

_NEAR_MARGIN: Final = (0.2, 0.8)
"""Distance of the outer line from the wall for near-regular progressions, in pitches."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Which lattices are tried; a larger family never gives a worse front.

    Parameters
    ----------
    has_offset
        Rows or columns offset by half a pitch.
    has_near_regular
        Pitches that alternate between p and p + 1 sites, mirror-symmetric.
    has_all_offsets
        Every offset from the middle, not only the middle and up to one site beside it.
    has_blocks
        One lattice per rectangle of an L or T.
    has_free
        Free form by annealing, from the best lattice.
    seed
        Seed of its chance.
    nudge_ratio, omit_ratio
        Share of speakers that may sit one site beside the pattern, or be left out, where something
        is in the way.
    is_symmetric
        Whether the mirror images of a speaker that is nudged or left out go with it.
    margin_ratio
        Farthest outer row from the wall, in pitches.
    aspect_ratio
        Largest ratio of the two pitches.
    least_spacing_ratio
        Smallest pitch in footprints.
    """

    has_offset: bool = True
    has_near_regular: bool = True
    has_all_offsets: bool = False
    has_blocks: bool = True
    has_free: bool = False
    seed: int = 0
    nudge_ratio: float = 0.10
    omit_ratio: float = 0.10
    is_symmetric: bool = False
    margin_ratio: float = 1.0
    aspect_ratio: float = 2.0
    least_spacing_ratio: float = 0.35

    def text(self) -> str:
        """Return the scope of the search in words."""
        parts = ["aligned"]
        if self.has_offset:
            parts.append("rows or columns offset")
        if self.has_near_regular:
            parts.append("near-regular pitch")
        place = "every offset" if self.has_all_offsets else "the middle or one place beside it"
        if self.is_symmetric:
            place += "; nudged in mirror images"
        return (
            f"{', '.join(parts)}; {place}; outer rows at most {self.margin_ratio:g} pitches from"
            f" the wall; pitches at most {self.aspect_ratio:g} to 1"
        )


def most_of(ratio: float, count: int) -> int:
    """Return how many of so many speakers a share allows, rounded up.

    Parameters
    ----------
    ratio
        Share.
    count
        Speakers.

    Examples
    --------
    >>> most_of(0.10, 8), most_of(0.10, 20), most_of(0.0, 8)
    (1, 2, 0)
    """
    return ceil(ratio * count - 1e-9)


@dataclass(frozen=True, slots=True)
class Span:
    """Sites and walls along one local axis, in units of the pitch, site i at i.

    Parameters
    ----------
    first, last
        First and last usable site.
    wall_low, wall_high
        Where the walls are.
    pitch_m
        Distance of neighbouring sites. [m]
    """

    first: int
    last: int
    wall_low: float
    wall_high: float
    pitch_m: float

    @property
    def middle(self) -> float:
        """Halfway between the walls."""
        return (self.wall_low + self.wall_high) / 2.0


@dataclass(frozen=True, slots=True)
class Progression:
    """Sites along one axis.

    Parameters
    ----------
    sites
        Their indices, rising.
    pitch
        Mean pitch in sites; 0 for a single one.
    is_even
        Whether all pitches are the same.
    off_middle
        Distance of its middle from the room's. In sites.
    """

    sites: tuple[int, ...]
    pitch: float
    is_even: bool
    off_middle: float


@dataclass(frozen=True, slots=True)
class Pair:
    """A progression, and the one that every second line takes where lines are offset."""

    main: Progression
    other: Progression | None

    @property
    def is_offset(self) -> bool:
        """Whether lines are offset."""
        return self.other is not None


def _starts(span: Span, length: int, family: Family) -> list[int]:
    """First sites of a progression that is ``length`` sites long from first to last."""
    last = span.last - length
    if family.has_all_offsets:
        return list(range(span.first, last + 1))
    exact = span.middle - length / 2.0
    reach = 1.0 if span.last - span.first < _LONG_SPAN else 0.5
    return [
        start
        for start in range(floor(exact - reach), ceil(exact + reach) + 1)
        if span.first <= start <= last and abs(start - exact) <= reach + 1e-6
    ]


def _is_within_margin(span: Span, start: int, length: float, pitch: float, family: Family) -> bool:
    reach = family.margin_ratio * pitch + 1e-9
    return start - span.wall_low <= reach and span.wall_high - (start + length) <= reach


def _is_near_margin(span: Span, start: int, length: float, pitch: float) -> bool:
    low, high = _NEAR_MARGIN[0] * pitch - 0.5, _NEAR_MARGIN[1] * pitch + 0.5
    before, after = start - span.wall_low, span.wall_high - (start + length)
    return low <= before <= high and low <= after <= high


def progressions(
    span: Span, *, least_pitch: float, family: Family, is_short: bool = False
) -> tuple[Progression, ...]:
    """Return every progression of an axis.

    Parameters
    ----------
    span
        The axis.
    least_pitch
        Smallest pitch in sites.
    family
        Which are wanted.
    is_short
        Of near-regular ones only those that divide the axis into equal parts.

    Returns
    -------
    tuple of Progression
        One site, then two and more, pitch rising; no two alike.
    """
    found: dict[tuple[int, ...], Progression] = {}
    room = span.last - span.first
    is_short = is_short or room >= LONG_AXIS
    for start in _starts(span, 0, family):
        _keep(found, span, (start,), 0.0, is_even=True)
    whole = max(1, ceil(least_pitch - 1e-9))
    for count in range(2, int(room / max(1.0, least_pitch)) + 2):
        for pitch in range(whole, room // (count - 1) + 1):
            length = pitch * (count - 1)
            for start in _starts(span, length, family):
                if _is_within_margin(span, start, length, pitch, family):
                    sites = tuple(range(start, start + length + 1, pitch))
                    _keep(found, span, sites, float(pitch), is_even=True)
        if family.has_near_regular and count >= 3:
            if not is_short:
                _near_regular(found, span, count, whole)
            for part in _snapped_pitches(span, count, least_pitch, is_short=is_short):
                for sites in _snapped(span, count, part, 0.0):
                    _keep(found, span, sites, part, is_even=False)
    return tuple(found.values())


def _keep(
    found: dict[tuple[int, ...], Progression],
    span: Span,
    sites: tuple[int, ...],
    pitch: float,
    *,
    is_even: bool,
) -> None:
    if sites not in found:
        off = (sites[0] + sites[-1]) / 2.0 - span.middle
        found[sites] = Progression(sites, pitch, is_even, off)


def _near_regular(
    found: dict[tuple[int, ...], Progression],
    span: Span,
    count: int,
    least_pitch: int,
) -> None:
    """Mirror-symmetric pitches that differ by one site, as near to the middle as can be."""
    room = span.last - span.first
    for length in range(least_pitch * (count - 1), room + 1):
        low, extra = divmod(length, count - 1)
        if extra == 0:
            continue
        gaps = _mirrored_gaps(low, extra, count - 1)
        if gaps is None:
            continue
        exact = span.middle - length / 2.0
        for start in {floor(exact + 0.5 - 1e-6), ceil(exact - 0.5 + 1e-6)}:
            fits = span.first <= start <= span.last - length
            if fits and _is_near_margin(span, start, length, length / (count - 1)):
                sites = tuple(int(start + step) for step in np.concatenate([[0], np.cumsum(gaps)]))
                _keep(found, span, sites, length / (count - 1), is_even=False)


def _snapped_pitches(span: Span, count: int, least_pitch: float, *, is_short: bool) -> list[float]:
    """Pitches that need not be whole sites: equal parts of the axis, and others near them."""
    equal = (span.wall_high - span.wall_low) / count
    out = [equal] if equal >= least_pitch else []
    if not is_short and count >= 2:
        low, high = _NEAR_MARGIN
        room = span.wall_high - span.wall_low
        least = max(least_pitch * (count - 1), room / (1 + 2 * high / (count - 1)))
        most = min(span.last - span.first + 0.5, room / (1 + 2 * low / (count - 1)))
        out += [length / (count - 1) for length in range(ceil(least), floor(most) + 1)]
    return out


def _snapped(span: Span, count: int, pitch: float, shift: float) -> list[tuple[int, ...]]:
    """Evenly spread places, each on the nearest site; both ways where two are as near."""
    out: list[tuple[int, ...]] = []
    place = span.middle + shift + (np.arange(count) - (count - 1) / 2.0) * pitch
    for lean in (-1e-6, 1e-6):
        sites = np.clip(np.floor(place + 0.5 + lean).astype(np.int64), span.first, span.last)
        if not bool(np.all(np.diff(sites) > 0)):
            continue
        made = tuple(sites.tolist())
        if made not in out:
            out.append(made)
    return out


def _mirrored_gaps(low: int, extra: int, count: int) -> list[int] | None:
    """Gaps of low and low + 1 sites, ``extra`` of the longer, mirrored; None if there are none."""
    half, has_middle = divmod(count, 2)
    if extra % 2 == 1 and not has_middle:
        return None
    middle_is_long = bool(has_middle) and extra % 2 == 1
    longer = (extra - middle_is_long) // 2
    if longer > half:
        return None
    # Spread the longer gaps evenly over one half; the other half is its mirror.
    side = [low + (((i + 1) * longer) // half - (i * longer) // half) for i in range(half)]
    middle = [low + int(middle_is_long)] if has_middle else []
    return [*side, *middle, *side[::-1]]


def pairs(
    span: Span, found: tuple[Progression, ...], family: Family, *, least_pitch: float
) -> tuple[Pair, ...]:
    """Return the progressions of lines whose every second one is offset by half a pitch.

    Parameters
    ----------
    span
        The axis along which the lines run.
    found
        Progressions of that axis.
    family
        Which are wanted.
    least_pitch
        Smallest pitch in sites.

    Returns
    -------
    tuple of Pair
        k and k - 1 places, k - 1 and k, and k and k.
    """
    out: list[Pair] = []
    seen: set[tuple[tuple[int, ...], tuple[int, ...]]] = set()

    def add(main: Progression, other: Progression) -> None:
        key = (main.sites, other.sites)
        if key not in seen:
            seen.add(key)
            out.append(Pair(main, other))

    for line in found:
        if len(line.sites) < 2 or not line.is_even:
            continue
        pitch = int(line.pitch)
        for half in sorted({pitch // 2, (pitch + 1) // 2}):
            if half == 0:
                continue
            between = tuple(site + half for site in line.sites[:-1])
            middle = (between[0] + between[-1]) / 2.0 - span.middle
            other = Progression(between, line.pitch, True, middle)
            add(line, other)
            add(other, line)
    for main, other in _shifted(span, found, family):
        add(main, other)
    if family.has_near_regular:
        for main, other in _snapped_pairs(span, least_pitch):
            add(main, other)
            add(other, main)
    return tuple(out)


def _snapped_pairs(span: Span, least_pitch: float) -> Iterator[tuple[Progression, Progression]]:
    """Offset lines whose pitch is no whole number of sites: equal parts of the axis."""

    def line(count: int, pitch: float, shift: float) -> list[Progression]:
        return [
            Progression(sites, pitch, False, (sites[0] + sites[-1]) / 2.0 - span.middle)
            for sites in _snapped(span, count, pitch, shift)
        ]

    for count in range(2, int((span.last - span.first) / max(1.0, least_pitch)) + 3):
        for pitch in _snapped_pitches(span, count, least_pitch, is_short=True):
            for main in line(count, pitch, 0.0):
                for other in line(count - 1, pitch, 0.0):
                    yield main, other
            for main in line(count, pitch, -pitch / 4.0):
                for other in line(count, pitch, pitch / 4.0):
                    yield main, other


def _shifted(
    span: Span, found: tuple[Progression, ...], family: Family
) -> Iterator[tuple[Progression, Progression]]:
    """Lines of equal count, shifted against each other, together in the middle."""
    shapes = sorted({(len(p.sites), int(p.pitch)) for p in found if p.is_even and p.pitch})
    shapes += [
        (1, pitch) for pitch in sorted({int(p.pitch) for p in found if p.is_even and p.pitch})
    ]
    for count, pitch in shapes:
        for half in sorted({pitch // 2, (pitch + 1) // 2}):
            if half == 0:
                continue
            length = pitch * (count - 1) + half
            for start in _starts(span, length, family):
                if not _is_within_margin(span, start, length, pitch, family):
                    continue
                first = tuple(range(start, start + pitch * (count - 1) + 1, pitch))
                second = tuple(site + half for site in first)
                off = start + length / 2.0 - span.middle
                one = Progression(first, float(pitch), True, off)
                two = Progression(second, float(pitch), True, off)
                yield one, two
                yield two, one


def membership(lines: list[tuple[int, ...]], n_sites: int) -> SingleArray:
    """Return which sites belong to which progression.

    Parameters
    ----------
    lines
        Site indices per progression.
    n_sites
        Sites of the axis.

    Returns
    -------
    (n_lines, n_sites)
        1 where it belongs, else 0.
    """
    out = np.zeros((len(lines), n_sites), dtype=np.float32)
    for row, sites in enumerate(lines):
        out[row, list(sites)] = 1.0
    return out
