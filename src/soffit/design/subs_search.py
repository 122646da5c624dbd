"""Choose one to four tiles for subwoofers out of all free ones, on what every seat gets.

One and two are tried exhaustively; three and four start from the best pairs and from random tiles,
grow greedily and exchange one tile at a time until nothing gets better. All play the same signal.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.acoustics.lowfreq_seats import seat_spread_db, smoothness_db, support_db
from soffit.decibel import power_ratio
from soffit.errors import NoSolutionError

FloatArray = NDArray[np.float64]
SingleArray = NDArray[np.float32]
ComplexArray = NDArray[np.complex128]
IndexArray = NDArray[np.int64]

MOST_SUBS: Final = 4

_BLOCK: Final = 64
_STARTS: Final = 10
_SWEEPS: Final = 12
_TIE: Final = 1e-4
_SHORTFALL: Final = 10.0
_TINY: Final = 1e-30


@dataclass(frozen=True, slots=True, kw_only=True)
class TileChoice:
    """Tiles for so many subwoofers, and what the seats get from them.

    Parameters
    ----------
    tiles
        Positions in the list of candidates, rising.
    spread_db
        Seat-to-seat deviation. [dB]
    support_db
        Level at the seats per watt, over the level at 1 m in half space. [dB]
    smoothness_db
        Deviation along the notes, mean over seats. [dB]
    is_proven
        Whether every possibility was tried.
    tried
        How many were.
    keeps_support
        Whether the limit on lost level per watt is kept.
    """

    tiles: tuple[int, ...]
    spread_db: float
    support_db: float
    smoothness_db: float
    is_proven: bool
    tried: int
    keeps_support: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TileSearch:
    """Best tiles by number of subwoofers, and how all single tiles compare.

    Parameters
    ----------
    best
        One choice for each number, beginning with one.
    single_spread_db : (n_tiles,)
        Seat-to-seat deviation of each tile alone. [dB]
    single_support_db : (n_tiles,)
        Level at the seats per watt of each tile alone. [dB]
    """

    best: tuple[TileChoice, ...]
    single_spread_db: FloatArray
    single_support_db: FloatArray


class _Field:
    """Transfers as single-precision parts, seats last, and the quick score of many sums."""

    def __init__(self, transfer: ComplexArray, support_least: float) -> None:
        n_tiles, self.n_seats, self.n_tones = transfer.shape
        flat = np.swapaxes(transfer, 1, 2).reshape(n_tiles, -1)
        scale = float(np.sqrt(np.mean(np.abs(flat) ** 2)))
        self.real = np.ascontiguousarray(flat.real / scale, dtype=np.float32)
        self.imag = np.ascontiguousarray(flat.imag / scale, dtype=np.float32)
        self.support_least = support_least / scale**2
        self.tried = 0

    def score(self, rows: IndexArray, base: tuple[int, ...]) -> FloatArray:
        """Variance over seats in nepers², plus a penalty where level per watt is short."""
        real = self.real[list(base)].sum(axis=0)
        imag = self.imag[list(base)].sum(axis=0)
        scores = np.empty(rows.size)
        for start in range(0, rows.size, _BLOCK):
            block = rows[start : start + _BLOCK]
            scores[start : start + _BLOCK] = self._block(block, real, imag, len(base) + 1)
        self.tried += rows.size
        return scores

    def _block(
        self, rows: IndexArray, real: SingleArray, imag: SingleArray, count: int
    ) -> FloatArray:
        square = self.real[rows]
        square += real
        square *= square
        other = self.imag[rows]
        other += imag
        other *= other
        square += other
        mean_square = square.mean(axis=1, dtype=np.float64) / count
        square += np.float32(_TINY)
        # nepers, in single precision, only to rank; what is shown comes from soffit.decibel
        level = np.log(square, out=square)
        means = level.reshape(-1, self.n_seats).mean(axis=1).reshape(rows.size, self.n_tones)
        whole = np.einsum("ij,ij->i", level, level) / level.shape[1]
        variance = whole - np.einsum("ij,ij->i", means, means) / self.n_tones
        short = np.maximum(1.0 - mean_square / self.support_least, 0.0)
        return np.asarray(variance + np.where(short > 1e-6, _SHORTFALL * (1.0 + short), 0.0))


def _first_best(scores: FloatArray) -> int:
    """Index of the best score; among ties the first, so that a mirror image never flips it."""
    return int(np.argmax(scores <= scores.min() + _TIE))


def _pairs(field: _Field, allowed: IndexArray) -> list[tuple[float, tuple[int, int]]]:
    """Best partner of every tile, best pair first."""
    found: list[tuple[float, tuple[int, int]]] = []
    for place, first in enumerate(allowed[:-1]):
        rest = allowed[place + 1 :]
        scores = field.score(rest, (int(first),))
        best = _first_best(scores)
        found.append((float(scores[best]), (int(first), int(rest[best]))))
    found.sort(key=lambda pair: (round(pair[0] / _TIE), pair[1]))
    return found


def _exchange(
    field: _Field, allowed: IndexArray, start: tuple[int, ...], count: int
) -> tuple[float, tuple[int, ...]]:
    tiles = list(start)
    score = np.inf
    while len(tiles) < count:
        scores = field.score(allowed, tuple(tiles))
        scores[np.isin(allowed, tiles)] = np.inf
        best = _first_best(scores)
        tiles.append(int(allowed[best]))
        score = float(scores[best])
    for _ in range(_SWEEPS):
        before = score
        for place in range(count):
            others = tuple(tiles[:place] + tiles[place + 1 :])
            scores = field.score(allowed, others)
            scores[np.isin(allowed, others)] = np.inf
            best = _first_best(scores)
            if scores[best] < score - _TIE:
                tiles[place], score = int(allowed[best]), float(scores[best])
        if score > before - _TIE:
            break
    return score, tuple(sorted(tiles))


def _many(
    field: _Field,
    allowed: IndexArray,
    starts: list[tuple[int, ...]],
    count: int,
) -> tuple[int, ...]:
    found = [_exchange(field, allowed, start, count) for start in starts]
    return min(found, key=lambda item: (round(item[0] / _TIE), item[1]))[1]


def _spread_apart(pairs: list[tuple[float, tuple[int, int]]]) -> list[tuple[int, ...]]:
    """Good pairs that share no tile, so that starts differ."""
    starts: list[tuple[int, ...]] = []
    used: set[int] = set()
    for _, pair in pairs:
        if not used & set(pair):
            starts.append(pair)
            used |= set(pair)
        if len(starts) == _STARTS:
            break
    return starts


def choose_tiles(
    transfer: ComplexArray,
    *,
    most: int,
    support_loss_most_db: float,
    allowed: NDArray[np.int64] | None = None,
    exact_pairs: bool = True,
    rng: np.random.Generator,
) -> TileSearch:
    """Choose the most even tiles that keep the level per watt, for one up to ``most`` subwoofers.

    Parameters
    ----------
    transfer : (n_tiles, n_seats, n_tones)
        Complex transfer from every candidate to every seat, at the tones that count.
    most
        Largest number of subwoofers, one to four.
    support_loss_most_db
        Level per watt that may be lost against the strongest single tile allowed. [dB]
    allowed : (n_allowed,)
        Candidates that may be used; all unless given.
    exact_pairs
        Try every pair. If not, pairs are found by growing and exchanging, like three and four.
    rng
        Chance for the random starts.

    Returns
    -------
    TileSearch
        The best choice for each number, and all single tiles.

    Raises
    ------
    NoSolutionError
        If there are fewer candidates than subwoofers wanted, or no seats.

    References
    ----------
    Derived here: seat-to-seat variance as ranked by published subwoofer studies; search by greedy
    growth and exchange.
    """
    free = np.arange(transfer.shape[0]) if allowed is None else np.unique(allowed)
    if not 1 <= most <= min(MOST_SUBS, free.size) or transfer.shape[1] < 2:
        msg = f"{most} subwoofers wanted, {free.size} free tiles, {transfer.shape[1]} seats"
        raise NoSolutionError(
            msg,
            where="most",
            why=f"one to {MOST_SUBS} subwoofers, a free tile for each, and two seats are needed",
            do="free a tile, or ask for fewer subwoofers",
        )
    spread = seat_spread_db(transfer)
    strength = support_db(transfer)
    least = float(power_ratio(float(strength[free].max()) - support_loss_most_db))
    field = _Field(transfer, least)
    singles = field.score(free, ())
    single_order = free[np.argsort(np.round(singles / _TIE), kind="stable")]
    chosen: list[tuple[tuple[int, ...], bool, int]] = [((int(single_order[0]),), True, field.tried)]
    pairs: list[tuple[float, tuple[int, int]]] = []
    starts: list[tuple[int, ...]] = [(int(tile),) for tile in single_order[:_STARTS]]
    if most >= 2 and exact_pairs:
        field.tried = 0
        pairs = _pairs(field, free)
        chosen.append((pairs[0][1], True, field.tried))
        starts = _spread_apart(pairs)
    starts += [
        tuple(int(tile) for tile in rng.choice(free, 1)) for _ in range(_STARTS if most > 2 else 0)
    ]
    for count in range(len(chosen) + 1, most + 1):
        field.tried = 0
        usable = [start for start in [*starts, chosen[-1][0]] if len(start) <= count]
        chosen.append((_many(field, free, usable, count), False, field.tried))
    return TileSearch(
        best=tuple(
            judge_tiles(transfer, tiles, is_proven=proven, tried=tried, support_least_ratio=least)
            for tiles, proven, tried in chosen
        ),
        single_spread_db=spread,
        single_support_db=strength,
    )


def judge_tiles(
    transfer: ComplexArray,
    tiles: tuple[int, ...],
    *,
    is_proven: bool = False,
    tried: int = 1,
    support_least_ratio: float = 0.0,
) -> TileChoice:
    """Judge given tiles by what the seats get from them.

    Parameters
    ----------
    transfer : (n_tiles, n_seats, n_tones)
        Complex transfer from every candidate.
    tiles
        Candidates that play together, the same signal at the same power.
    is_proven, tried
        How they were found.
    support_least_ratio
        Mean square per watt that should be kept.

    Returns
    -------
    TileChoice
        Spread, support and smoothness.
    """
    together = transfer[list(tiles)].sum(axis=0)
    strength = float(support_db(together, sources=len(tiles)))
    return TileChoice(
        tiles=tiles,
        spread_db=float(seat_spread_db(together)),
        support_db=strength,
        smoothness_db=float(smoothness_db(together)),
        is_proven=is_proven,
        tried=tried,
        keeps_support=float(power_ratio(strength)) >= support_least_ratio * (1.0 - 1e-4),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SubSetting:
    """Polarity and delay of one subwoofer on a channel of its own.

    Parameters
    ----------
    is_reversed
        Whether its two cores are swapped.
    delay_s
        Delay against the first one. [s]
    """

    is_reversed: bool
    delay_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingChoice:
    """Polarity and delay of each subwoofer, and what they save.

    Parameters
    ----------
    settings
        One for each subwoofer, the first unchanged.
    spread_db, plain_spread_db
        Seat-to-seat deviation with them and without. [dB]
    support_db, plain_support_db
        Level per watt with them and without. [dB]
    """

    settings: tuple[SubSetting, ...]
    spread_db: float
    plain_spread_db: float
    support_db: float
    plain_support_db: float


def choose_settings(
    transfer: ComplexArray,
    *,
    frequency_hz: FloatArray,
    delay_most_s: float,
    delay_step_s: float = 0.0005,
    support_loss_most_db: float,
) -> SettingChoice:
    """Polarity and delay for subwoofers that each have an amplifier channel, one at a time.

    Parameters
    ----------
    transfer : (n_subs, n_seats, n_tones)
        Complex transfer of each chosen subwoofer.
    frequency_hz : (n_tones,)
        Tones. [Hz]
    delay_most_s, delay_step_s
        Longest delay and step tried. [s]
    support_loss_most_db
        Level per watt that may be lost against no setting at all. [dB]

    Returns
    -------
    SettingChoice
        The best found; for two subwoofers the best of the grid.

    References
    ----------
    Derived here: exhaustive over polarity and delay of one subwoofer, in turn until nothing gains.
    """
    count = transfer.shape[0]
    plain = transfer.sum(axis=0)
    least = float(support_db(plain, sources=count)) - support_loss_most_db
    delays = np.arange(round(delay_most_s / delay_step_s) + 1) * delay_step_s
    turns = np.exp(-2j * np.pi * delays[:, None] * frequency_hz[None, :])
    turns = np.concatenate([turns, -turns])
    state = [0] * count
    best = float(seat_spread_db(plain))
    for _ in range(_SWEEPS):
        before = best
        for sub in range(1, count):
            rest = sum(transfer[n] * turns[state[n]] for n in range(count) if n != sub)
            sums = rest[None] + transfer[sub][None] * turns[:, None, :]
            spread = seat_spread_db(sums)
            spread = np.where(support_db(sums, sources=count) >= least - 1e-9, spread, np.inf)
            found = int(np.argmin(np.round(spread, 4)))
            if spread[found] < best - 1e-4:
                state[sub], best = found, float(spread[found])
        if best > before - 1e-4:
            break
    final = sum(transfer[n] * turns[state[n]] for n in range(count))
    return SettingChoice(
        settings=tuple(
            SubSetting(is_reversed=index >= delays.size, delay_s=float(delays[index % delays.size]))
            for index in state
        ),
        spread_db=float(seat_spread_db(final)),
        plain_spread_db=float(seat_spread_db(plain)),
        support_db=float(support_db(final, sources=count)),
        plain_support_db=float(support_db(plain, sources=count)),
    )
