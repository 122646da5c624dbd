"""Which conductor size for which run: one, two or many sizes, least copper within the loss limit.

Every choice is judged by the exact solution of the line. Tapering starts from a price on lost
volts, and from the thinnest size everywhere, thickened by loss for copper; then it thins the run
that gives back most copper for what it costs in loss, and lets pairs of runs trade sizes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from soffit.circuit.arrays import FloatArray, IntArray
from soffit.circuit.cable import line_loss_db
from soffit.circuit.tree import Tree, solve_tree
from soffit.errors import DomainError

_TRADE_ROUNDS: Final = 60
_ALL_COMBINATIONS: Final = 50_000
"""Up to here every combination is tried, which proves the least copper."""
_BLOCK: Final = 20_000
_PRICES: Final = 96
_PAIRS_SETTLED: Final = 2
"""Pairs of sizes that are worked out after a quick look at all of them."""
_THICKER_SIZES: Final = 2
"""Sizes thicker than the single one that are tried as the thick one of a pair."""
_KICKED_RUNS: Final = 30
"""Up to here single runs are thickened on trial, which takes time with the square of runs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """A line whose conductor sizes are open.

    Parameters
    ----------
    tree
        Which place feeds which.
    length_m : (n,)
        Route length of the run that feeds each place; entry 0 is 0. [m]
    load_siemens : (n,)
        Admittance of the tap at each place; 0 for a joint. [S]
    size_ohm_m : (k,)
        Resistance of one conductor of each size, thickest first. [Ω/m]
    size_kg_m : (k,)
        Copper of a pair of each size. [kg/m]
    step_ratio : (n,)
        Voltage ratio of a volume control at each place, else 1.
    """

    tree: Tree
    length_m: FloatArray
    load_siemens: FloatArray
    size_ohm_m: FloatArray
    size_kg_m: FloatArray
    step_ratio: FloatArray

    def losses_db(self, sizes: IntArray) -> FloatArray:
        """Loss at every loudspeaker, exactly, for sizes by run.

        Parameters
        ----------
        sizes : (n, ...)
            Place of the size of each run; further axes are cases.

        Returns
        -------
        (n_speakers, ...)
            Loss. [dB]
        """
        shape = (-1,) + (1,) * (sizes.ndim - 1)
        state = solve_tree(
            self.tree,
            run_ohm=2.0 * self.size_ohm_m[sizes] * self.length_m.reshape(shape),
            load_siemens=self.load_siemens,
            step_ratio=self.step_ratio,
        )
        loud = self.load_siemens > 0.0
        stepped = _steps(self.tree, self.step_ratio)
        reference = stepped[loud].reshape(shape)
        return line_loss_db(
            amplifier_voltage_v=reference, speaker_voltage_v=np.real(state.voltage_v)[loud]
        )

    def copper_kg(self, sizes: IntArray) -> float:
        """Copper in all runs.

        Parameters
        ----------
        sizes : (n,)
            Place of the size of each run.

        Returns
        -------
        float
            Mass of both conductors. [kg]
        """
        return float(np.sum(self.size_kg_m[sizes] * self.length_m))


def _steps(tree: Tree, step_ratio: FloatArray) -> FloatArray:
    """Voltage that volume controls alone would leave at each place."""
    left = step_ratio.copy()
    for place in tree.order[1:].tolist():
        left[place] *= left[tree.parent[place]]
    return left


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeChoice:
    """Conductor sizes by run, and what they cost.

    Parameters
    ----------
    sizes : (n,)
        Place of the size of each run, thickest 0; entry 0 means nothing.
    worst_loss_db
        Exact loss at the worst loudspeaker. [dB]
    copper_kg
        Copper of both conductors. [kg]
    meets_limit
        Whether the worst loss is within the limit.
    """

    sizes: tuple[int, ...]
    worst_loss_db: float
    copper_kg: float
    meets_limit: bool


def _choice(wiring: Wiring, sizes: IntArray, limit_db: float) -> SizeChoice:
    worst = float(np.max(wiring.losses_db(sizes)))
    return SizeChoice(
        sizes=tuple(sizes.tolist()),
        worst_loss_db=worst,
        copper_kg=wiring.copper_kg(sizes),
        meets_limit=worst <= limit_db + 1e-12,
    )


def choose_one_size(wiring: Wiring, *, limit_db: float) -> SizeChoice:
    """Thinnest single size within the limit; the thickest if none is.

    Parameters
    ----------
    wiring
        Line whose sizes are open.
    limit_db
        Loss allowed at any loudspeaker. [dB]

    Returns
    -------
    SizeChoice
        One size for all runs.

    Raises
    ------
    DomainError
        If there is no size or no loudspeaker.
    """
    _check(wiring)
    count = wiring.tree.n_nodes
    every = np.broadcast_to(np.arange(wiring.size_ohm_m.size), (count, wiring.size_ohm_m.size))
    worst = np.max(wiring.losses_db(np.array(every)), axis=0)
    fits = np.flatnonzero(worst <= limit_db + 1e-12)
    size = int(fits[np.argmin(wiring.size_kg_m[fits])]) if fits.size else 0
    return _choice(wiring, np.full(count, size, dtype=np.int64), limit_db)


def choose_two_sizes(wiring: Wiring, *, limit_db: float) -> SizeChoice:
    """Least copper with at most two sizes on the line.

    Parameters
    ----------
    wiring
        Line whose sizes are open.
    limit_db
        Loss allowed at any loudspeaker. [dB]

    Returns
    -------
    SizeChoice
        Best pair, or one size where a second saves nothing.

    Raises
    ------
    DomainError
        If there is no size or no loudspeaker.
    """
    best = choose_one_size(wiring, limit_db=limit_db)
    single = best.sizes[-1]
    if not best.meets_limit or single == wiring.size_ohm_m.size - 1:
        return best
    pairs = [
        [thick, thin]
        for thick in range(max(0, single - _THICKER_SIZES), single + 1)
        for thin in range(single + 1, wiring.size_ohm_m.size)
    ]
    quick = {tuple(pair): _quick_kg(wiring, limit_db, pair) for pair in pairs}
    promising = sorted(pairs, key=lambda pair: (quick[tuple(pair)], pair))[:_PAIRS_SETTLED]
    for pair in promising:
        tried = _taper(wiring, limit_db, pair)
        if tried.meets_limit and tried.copper_kg < best.copper_kg - 1e-9:
            best = tried
    return best


def choose_tapered(
    wiring: Wiring, *, limit_db: float, pair: SizeChoice | None = None
) -> SizeChoice:
    """Least copper with any size in any run.

    Parameters
    ----------
    wiring
        Line whose sizes are open.
    limit_db
        Loss allowed at any loudspeaker. [dB]
    pair
        Result of :func:`choose_two_sizes` where it is known already.

    Returns
    -------
    SizeChoice
        Sizes by run; the best pair where that is as good.

    Raises
    ------
    DomainError
        If there is no size or no loudspeaker.
    """
    pair = pair or choose_two_sizes(wiring, limit_db=limit_db)
    if not pair.meets_limit or set(pair.sizes[1:]) == {wiring.size_ohm_m.size - 1}:
        return pair
    tapered = _taper(wiring, limit_db, list(range(wiring.size_ohm_m.size)))
    better = tapered.meets_limit and tapered.copper_kg < pair.copper_kg - 1e-9
    return tapered if better else pair


def _check(wiring: Wiring) -> None:
    if wiring.size_ohm_m.size == 0 or not np.any(wiring.load_siemens > 0.0):
        msg = "there is no cable to choose from, or nothing to feed"
        raise DomainError(
            msg, where="cable", why="a line needs a cable and a load", do="allow a cable type"
        )
    if np.any(np.diff(wiring.size_ohm_m) <= 0.0):
        msg = "conductor sizes are not in order"
        raise DomainError(
            msg, where="size_ohm_m", why="the thickest comes first", do="sort them by resistance"
        )


def _taper(wiring: Wiring, limit_db: float, allowed: Sequence[int]) -> SizeChoice:
    """Thin runs one step at a time by copper for loss, then trade between runs."""
    count = wiring.tree.n_nodes
    table = np.asarray(allowed, dtype=np.int64)
    if table.size ** (count - 1) <= _ALL_COMBINATIONS:
        return _every_combination(wiring, limit_db, table)
    thickest = np.zeros(count, dtype=np.int64)
    if float(np.max(wiring.losses_db(table[thickest]))) > limit_db:
        return _choice(wiring, table[thickest], limit_db)
    starts = [_priced(wiring, limit_db, table)]
    if count <= _KICKED_RUNS or table.size > 2:
        starts.append(_thicken(wiring, limit_db, table))
    ends = [_settled(wiring, limit_db, table, start) for start in starts]
    best = min(ends, key=lambda level: wiring.copper_kg(table[level]))
    return _choice(wiring, table[best], limit_db)


def _quick_kg(wiring: Wiring, limit_db: float, allowed: Sequence[int]) -> float:
    table = np.asarray(allowed, dtype=np.int64)
    return wiring.copper_kg(table[_priced(wiring, limit_db, table)])


def _priced(wiring: Wiring, limit_db: float, table: IntArray) -> IntArray:
    """Size every run for one price of lost volts, and take the lowest price that keeps the limit.

    With a price p, a run takes the size with least copper + p x current x resistance: for a chain
    this is the Lagrangian relaxation of the whole task. Where a line branches, runs that feed many
    ends are weighed more in a second set of cases.
    """
    current = solve_tree(
        wiring.tree,
        run_ohm=2.0 * wiring.size_ohm_m[table[0]] * wiring.length_m,
        load_siemens=wiring.load_siemens,
        step_ratio=wiring.step_ratio,
    ).run_current_a
    weights = np.abs(current)[:, np.newaxis] * np.stack(
        [np.ones(current.size), np.sqrt(_ends_beyond(wiring.tree))], axis=1
    )
    mass, resistance = wiring.size_kg_m[table], wiring.size_ohm_m[table]
    span = (mass[0] - mass[-1]) / (resistance[-1] - resistance[0])
    largest = float(np.max(weights[1:]))
    prices = span / largest * np.geomspace(1e-2, 1e6, _PRICES)
    cost = (
        mass[:, np.newaxis, np.newaxis, np.newaxis]
        + resistance[:, np.newaxis, np.newaxis, np.newaxis]
        * weights[np.newaxis, :, :, np.newaxis]
        * prices
    )
    levels = np.argmin(cost, axis=0).reshape(current.size, -1)
    levels = np.unique(levels, axis=1)
    fits = np.max(wiring.losses_db(table[levels]), axis=0) <= limit_db
    copper = np.sum(mass[levels] * wiring.length_m[:, np.newaxis], axis=0)
    best = int(np.argmin(np.where(fits, copper, np.inf)))
    return levels[:, best] if fits[best] else np.zeros(current.size, dtype=np.int64)


def _ends_beyond(tree: Tree) -> FloatArray:
    """Dead ends that each run feeds."""
    ends = np.zeros(tree.n_nodes)
    fed = set(tree.parent.tolist())
    for node in reversed(tree.order.tolist()):
        if node not in fed:
            ends[node] = 1.0
        if node:
            ends[tree.parent[node]] += ends[node]
    return ends


def _settled(wiring: Wiring, limit_db: float, table: IntArray, level: IntArray) -> IntArray:
    """Thin, then trade and thin again until neither saves copper."""
    level = _thin(wiring, limit_db, table, level)
    for _ in range(_TRADE_ROUNDS):
        traded = _trade(wiring, limit_db, table, level)
        if traded is None:
            traded = _kick(wiring, limit_db, table, level)
        if traded is None:
            break
        level = _thin(wiring, limit_db, table, traded)
    return level


def _thicken(wiring: Wiring, limit_db: float, table: IntArray) -> IntArray:
    """Start with the thinnest and thicken, each time, what takes off most loss for its copper."""
    level = np.full(wiring.tree.n_nodes, table.size - 1, dtype=np.int64)
    while True:
        present = wiring.losses_db(table[level])
        if float(np.max(present)) <= limit_db:
            return level
        pairs = [(run, new) for run in range(1, level.size) for new in range(int(level[run]))]
        runs, levels = np.asarray(pairs, dtype=np.int64).T
        cases = np.repeat(level[:, np.newaxis], runs.size, axis=1)
        cases[runs, np.arange(runs.size)] = levels
        losses = np.maximum(wiring.losses_db(table[cases]) - limit_db, 0.0)
        relief = np.sum(np.maximum(present - limit_db, 0.0)) - np.sum(losses, axis=0)
        added = wiring.length_m[runs] * (
            wiring.size_kg_m[table[levels]] - wiring.size_kg_m[table[level[runs]]]
        )
        best = int(np.argmax(relief / np.maximum(added, 1e-12)))
        level[runs[best]] = levels[best]


def _kick(wiring: Wiring, limit_db: float, table: IntArray, level: IntArray) -> IntArray | None:
    """Thicken one run, thin whatever that allows; the first that saves copper, heaviest first."""
    if level.size > _KICKED_RUNS or table.size < 3:
        return None
    least = wiring.copper_kg(table[level]) - 1e-9
    for run in sorted(range(1, level.size), key=lambda one: -float(wiring.length_m[one])):
        if level[run] == 0:
            continue
        tried = level.copy()
        tried[run] -= 1
        tried = _thin(wiring, limit_db, table, tried, held=run)
        if wiring.copper_kg(table[tried]) < least:
            return tried
    return None


def _every_combination(wiring: Wiring, limit_db: float, table: IntArray) -> SizeChoice:
    """Try all sizes in all runs; the thickest everywhere if nothing keeps the limit."""
    runs = wiring.tree.n_nodes - 1
    best, best_kg = np.full(runs + 1, table[0]), np.inf
    for begin in range(0, table.size**runs, _BLOCK):
        numbers = np.arange(begin, min(begin + _BLOCK, table.size**runs))
        digits = numbers[np.newaxis, :] // table.size ** np.arange(runs)[:, np.newaxis]
        cases = np.vstack([np.zeros((1, numbers.size), dtype=np.int64), digits % table.size])
        mass = np.sum(wiring.size_kg_m[table[cases]] * wiring.length_m[:, np.newaxis], axis=0)
        fits = np.max(wiring.losses_db(table[cases]), axis=0) <= limit_db
        mass = np.where(fits, mass, np.inf)
        least = int(np.argmin(mass))
        if mass[least] < best_kg - 1e-12:
            best, best_kg = table[cases[:, least]], float(mass[least])
    return _choice(wiring, best, limit_db)


def _steps_down(table: IntArray, level: IntArray) -> tuple[IntArray, IntArray]:
    """All single changes to any thinner size: run and new level."""
    runs, levels = [], []
    for run in range(1, level.size):
        for new in range(int(level[run]) + 1, table.size):
            runs.append(run)
            levels.append(new)
    return np.asarray(runs, dtype=np.int64), np.asarray(levels, dtype=np.int64)


def _thin(
    wiring: Wiring, limit_db: float, table: IntArray, level: IntArray, *, held: int = 0
) -> IntArray:
    level = level.copy()
    while True:
        runs, levels = _steps_down(table, level)
        runs, levels = runs[runs != held], levels[runs != held]
        if runs.size == 0:
            return level
        cases = np.repeat(level[:, np.newaxis], runs.size, axis=1)
        cases[runs, np.arange(runs.size)] = levels
        losses = wiring.losses_db(table[cases])
        present = wiring.losses_db(table[level])
        saved = wiring.length_m[runs] * (
            wiring.size_kg_m[table[level[runs]]] - wiring.size_kg_m[table[levels]]
        )
        feasible = (np.max(losses, axis=0) <= limit_db) & (saved > 0.0)
        if not np.any(feasible):
            return level
        # loss used up, weighed by how near the limit each loudspeaker is; thinning a side branch
        # may raise other voltages, which must not count as a gain: clamp
        slack = np.maximum(limit_db - present, 1e-6)[:, np.newaxis]
        used = np.max(np.maximum(losses - present[:, np.newaxis], 0.0) / slack, axis=0)
        score = np.where(feasible, saved / np.maximum(used, 1e-9), -np.inf)
        best = int(np.argmax(score))
        level[runs[best]] = levels[best]


def _trade(wiring: Wiring, limit_db: float, table: IntArray, level: IntArray) -> IntArray | None:
    """Thicken one run a step and thin another, if that saves copper within the limit."""
    count = level.size
    thicker = [run for run in range(1, count) if level[run] > 0]
    thinner = [run for run in range(1, count) if level[run] < table.size - 1]
    mass = wiring.size_kg_m[table]
    moves = []
    for up in thicker:
        cost = wiring.length_m[up] * (mass[level[up] - 1] - mass[level[up]])
        for down in thinner:
            if up == down:
                continue
            gain = wiring.length_m[down] * (mass[level[down]] - mass[level[down] + 1])
            if gain > cost + 1e-9:
                moves.append((gain - cost, up, down))
    moves.sort(key=lambda move: (-move[0], move[1], move[2]))
    for begin in range(0, len(moves), 512):
        block = moves[begin : begin + 512]
        cases = np.repeat(level[:, np.newaxis], len(block), axis=1)
        places = np.arange(len(block))
        cases[[up for _, up, _ in block], places] -= 1
        cases[[down for _, _, down in block], places] += 1
        fits = np.flatnonzero(np.max(wiring.losses_db(table[cases]), axis=0) <= limit_db)
        if fits.size:
            return np.asarray(cases[:, int(fits[0])])
    return None


def reels(length_m: float, *, reel_m: float, waste_ratio: float) -> tuple[int, float]:
    """Whole reels for a length of cable with its cutting waste.

    Parameters
    ----------
    length_m
        Cable that is laid. [m]
    reel_m
        Cable on one reel. [m]
    waste_ratio
        Cable cut off and thrown away, as a share of what is laid.

    Returns
    -------
    tuple
        Number of reels, and what is left over on the last one. [m]

    Raises
    ------
    DomainError
        If a length is not positive or the waste negative.

    Examples
    --------
    >>> count, left_m = reels(300.0, reel_m=152.4, waste_ratio=0.05)
    >>> count, round(left_m, 1)
    (3, 142.2)
    """
    if not (length_m >= 0.0 and reel_m > 0.0 and waste_ratio >= 0.0):
        msg = f"{length_m!r} m of cable from reels of {reel_m!r} m"
        raise DomainError(
            msg, where="reel_m", why="a reel holds cable", do="check the catalogue's reel length"
        )
    wanted = length_m * (1.0 + waste_ratio)
    count = int(np.ceil(wanted / reel_m - 1e-9))
    return count, count * reel_m - wanted


def reels_for_pieces(pieces_m: Sequence[float], *, reel_m: float) -> tuple[int, float]:
    """Whole reels from which every piece can be cut without a joint in it.

    Parameters
    ----------
    pieces_m
        Cable of each run as it is cut, none longer than a reel. [m]
    reel_m
        Cable on one reel. [m]

    Returns
    -------
    tuple
        Number of reels, and the longest end that is left on one of them. [m]

    Raises
    ------
    DomainError
        If a length is not positive, or a piece is longer than a reel.

    Notes
    -----
    First fit of the pieces by falling length: at most 11/9 of the least number of reels and one
    more, in practice the least (bin packing; from memory, to be confirmed).

    Examples
    --------
    >>> reels_for_pieces([60.0, 60.0, 60.0, 30.0], reel_m=100.0)
    (3, 40.0)
    """
    if not reel_m > 0.0 or any(not piece >= 0.0 for piece in pieces_m):
        msg = f"pieces of cable from reels of {reel_m!r} m"
        raise DomainError(
            msg, where="reel_m", why="a reel holds cable", do="check the catalogue's reel length"
        )
    left: list[float] = []
    for piece in sorted(pieces_m, reverse=True):
        if piece > reel_m + 1e-9:
            msg = f"a run of {piece:.1f} m is longer than a reel of {reel_m:g} m"
            raise DomainError(
                msg,
                where="reel_m",
                why="a run is one piece of cable: nothing is joined inside it",
                do="order the run in one length, or put a joint where a person can reach it",
            )
        place = next((i for i, rest in enumerate(left) if rest >= piece - 1e-9), None)
        if place is None:
            left.append(reel_m - piece)
        else:
            left[place] -= piece
    return len(left), max(left, default=0.0)
