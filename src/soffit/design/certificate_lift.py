"""Coverage rows made stronger: what stands near an ear is never alone.

Let one site j near ear i be chosen, and no other near it. The ears round about must be covered too,
so the sites farther off give ear i at least f_ij. In the row of ear i it is then enough to count j
at T - f_ij; where two near sites are chosen, each counts half of T at least. Derived here.

The weights u that prove f come from a small linear program for each ear:
maximise the mean of f_ij = Σ u_k (t1 - c_kj) subject to Σ u_k c_km <= g_im for all sites m that are
not near. Any u >= 0 that satisfies this is valid, so rounding and time limits cost strength only.
Ears k that are left out weaken f by u_k t2: the row gets them as further columns.
"""

import time
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from soffit.design.certificate_model import INFINITE, Program

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

NEAR_RATIO: Final = 0.55
"""A site is near an ear to which it gives more than this share of T; must be 0.5 at least."""

_LARGEST_LIFT: Final = 0.5
"""Largest f over T: two near sites then still cover an ear together."""

_WINDOW: Final = 2.1
"""Half side of the window of ears looked at, over the radius within which sites are near."""

_SMOOTH: Final = 0.7
"""Largest weight of one ear, over one in the number of ears near a site."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lift:
    """Weights of neighbouring ears, for every ear.

    Parameters
    ----------
    weight : (n_ears, n_ears)
        Row i are the weights u that prove what ear i gets from afar.
    """

    weight: FloatArray

    def rows(self, program: Program, low: float, high: float) -> tuple[FloatArray, FloatArray]:
        """Return lifted coverage rows for an interval of the level.

        Parameters
        ----------
        program
            The program.
        low, high
            Interval of T.

        Returns
        -------
        (n_ears, n_sites), (n_ears, n_ears)
            Coefficients of sites, and of ears left out (over the upper end), own column not
            counted.
        """
        gain = program.gain.T
        cover = np.minimum(gain, high)
        near = gain > NEAR_RATIO * high
        used = self.weight @ cover
        with np.errstate(divide="ignore", invalid="ignore"):
            room = np.where(~near & (used > 0.0), gain / used, np.inf).min(axis=1)
        scale = np.minimum(room, 1.0) * (1.0 - 1e-9)
        weight = self.weight * scale[:, None]
        far = low * weight.sum(axis=1)[:, None] - weight @ cover
        far = np.clip(far, 0.0, _LARGEST_LIFT * high) * near
        lifted = np.minimum(cover, high - far)
        weight[~np.any(lifted < cover, axis=1)] = 0.0
        return lifted, weight


def make_lift(program: Program, low: float, high: float, seconds: float) -> Lift:
    """Find weights that prove much at one interval of the level; they hold for all others.

    Parameters
    ----------
    program
        The program.
    low, high
        Interval of T.
    seconds
        Time at most; ears that it does not reach keep their rows. [s]

    Returns
    -------
    Lift
        Weights.
    """
    n = len(program.ear_m)
    weight = np.zeros((n, n))
    if np.any(program.fixed):
        return Lift(weight=weight)
    end = time.monotonic() + seconds
    gain = program.gain.T
    cover = np.minimum(gain, high)
    near = gain > NEAR_RATIO * high
    around = int(np.median(near.sum(axis=0)[near.any(axis=0)])) if near.any() else 0
    if around == 0:
        return Lift(weight=weight)
    cell = float(np.median(_nearest(program.ear_m)))
    half = _WINDOW * cell * float(np.sqrt(around / np.pi))
    known: dict[tuple[bytes, bytes], FloatArray] = {}
    for ear in range(n):
        if not near[ear].any():
            continue
        window = np.flatnonzero((np.abs(program.ear_m - program.ear_m[ear]) <= half).all(axis=1))
        key, window = _signature(program, ear, window, half)
        if key not in known:
            if time.monotonic() > end:
                break
            known[key] = _weights(
                (cover[window], gain[ear], near[ear]), low, min(1.0, _SMOOTH / around)
            )
        weight[ear, window] = known[key]
    return Lift(weight=weight)


def _nearest(ear_m: FloatArray) -> FloatArray:
    from scipy.spatial import cKDTree  # noqa: PLC0415 loaded in the child only

    return np.asarray(cKDTree(ear_m).query(ear_m, k=2)[0])[:, 1]


def _signature(
    program: Program, ear: int, window: NDArray[np.intp], half: float
) -> tuple[tuple[bytes, bytes], NDArray[np.intp]]:
    """Return what an ear's surroundings look like, mirror images alike, and its ears in order."""
    ears = program.ear_m[window] - program.ear_m[ear]
    sites = program.site_m - program.ear_m[ear]
    sites = sites[(np.abs(sites) <= 2.0 * half).all(axis=1)]
    best: tuple[tuple[bytes, bytes], NDArray[np.intp]] | None = None
    for x in (1.0, -1.0):
        for y in (1.0, -1.0):
            a = np.round(ears * (x, y), 3) + 0.0
            b = np.round(sites * (x, y), 3) + 0.0
            order = np.lexsort(a.T)
            key = (a[order].tobytes(), b[np.lexsort(b.T)].tobytes())
            if best is None or key < best[0]:
                best = (key, window[order])
    assert best is not None  # noqa: S101 four candidates were seen
    return best


def _weights(
    what: tuple[FloatArray, FloatArray, BoolArray], low: float, largest: float
) -> FloatArray:
    """Solve one ear's small linear program."""
    from importlib import import_module  # noqa: PLC0415 loaded in the child only

    highspy: Any = import_module("highspy")
    cover, gain, near = what
    aim = low - cover[:, near].mean(axis=1)
    others = np.flatnonzero(~near & (gain > 0.0) & (cover.sum(axis=0) > 1e-3 * low))
    table = cover[:, others].T / gain[others][:, None]
    n = cover.shape[0]
    solver = highspy.Highs()
    for name, value in (
        ("output_flag", False),
        ("threads", 1),
        ("random_seed", 1),
        ("presolve", "off"),
        ("solver", "simplex"),
        ("simplex_strategy", 4),
    ):
        solver.setOptionValue(name, value)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = n, len(others)
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = -aim, np.zeros(n), np.full(n, largest)
    lp.row_lower_, lp.row_upper_ = np.full(len(others), -INFINITE), np.ones(len(others))
    line, column = np.nonzero(table)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.searchsorted(line, np.arange(len(others) + 1)).astype(np.int32)
    lp.a_matrix_.index_ = column.astype(np.int32)
    lp.a_matrix_.value_ = table[line, column]
    solver.passModel(lp)
    solver.run()
    if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return np.zeros(n)
    return np.clip(np.array(solver.getSolution().col_value, dtype=np.float64), 0.0, None)
