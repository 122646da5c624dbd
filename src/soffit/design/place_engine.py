"""Energies of many lattices at once: separable in rectangles, a tensor of columns elsewhere.

Both engines hold the same three-step sum: lines along the first axis are summed first, then all
choices of the second axis come out of one matrix product.
"""

from copy import copy
from dataclasses import dataclass, replace
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from soffit.design.place_family import membership
from soffit.design.place_field import Field
from soffit.design.tiles import Sites, to_local

FloatArray = NDArray[np.float64]
SingleArray = NDArray[np.float32]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_MOST_TENSOR: Final = 24_000_000
"""Elements of the tensor of columns; beyond, ears are thinned for screening."""

_MOST_WALLED: Final = 12_000_000
"""Pairs of site and ear up to which walls and columns are counted in every lattice tried."""

_MOST_MISSING: Final = 0.08
"""Share of places lost to columns and chamfers up to which a room counts as a rectangle."""

_MOST_FACTORS: Final = 60_000_000
"""Factors of a separable engine for all ears; beyond, a room has none."""

_SAMPLES: Final = 240
_RANK_ERROR: Final = 1e-6
"""Singular values of the kernel, re the largest, that are left out of the sum of products."""

_SAME_M: Final = 1e-6
"""What counts as the same place for mirror images. [m]"""

_MOST_RANK: Final = 24

_MOST_DISTANCES: Final = 8000
"""Distinct distances along one axis up to which each is computed; beyond, between dense nodes."""

_NODE_M: Final = 0.01
_NODE_GROWTH: Final = 1.001
"""Nodes: a centimetre apart, growing with distance; linear between them errs under 0.001 dB."""

_LONG_M: Final = 150.0
"""Reach from which samples of the kernel crowd on the scale of the throw."""


class Engine(Protocol):
    """Energies of products of progressions at the ears that it screens on."""

    thinning: int
    """Every how many-th ear along each axis is used; 1 for all."""

    n_ears: int
    """Ears used."""

    mirror: tuple[int | None, int | None]
    """Sums of the indices of sites that are mirror images for the ears, along each axis; ``None``
    where mirrored lattices are heard differently."""

    @property
    def fixed(self) -> SingleArray | None:
        """Energy of what is placed by hand at the ears used, not in ``energy``."""
        ...

    def first_axis(self, lines: list[tuple[int, ...]]) -> None:
        """Prepare progressions of the first axis."""
        ...

    def second_axis(self, lines: list[tuple[int, ...]]) -> None:
        """Prepare progressions of the second axis."""
        ...

    def energy(self, first: int, second: IntArray) -> SingleArray:
        """Return energies of one first-axis line set with several second-axis ones."""
        ...

    def energy_of(self, column: IntArray, row: IntArray) -> FloatArray:
        """Return the energy of any set of sites at the ears in use."""
        ...

    def swapped(self) -> "Engine":
        """Return the same engine with the axes exchanged."""
        ...


@dataclass(frozen=True, slots=True)
class EarGrid:
    """Ears as a product of local coordinates, where they are one.

    Parameters
    ----------
    x, y : (nx,), (ny,)
        Local coordinates. [m]
    used : (nx, ny)
        Which points of the product are ears.
    index : (n_ears,)
        Where in the flattened product each ear is.
    throw_m
        Height of the speakers over all of them. [m]
    """

    x: FloatArray
    y: FloatArray
    throw_m: float
    used: BoolArray
    index: IntArray

    @property
    def is_full(self) -> bool:
        """Whether every point of the product is an ear."""
        return bool(self.used.all())


def ear_grid(field: Field, sites: Sites, *, are_walls_ignored: bool = False) -> EarGrid | None:
    """Return the ears as a product grid in the frame of the sites, or None if they are none.

    Parameters
    ----------
    field
        Its ears and walls.
    sites
        Their frame; one height only.
    are_walls_ignored
        Take rooms with corners and columns too, as if everybody saw everybody.
    """
    if not field.is_axial or sites.seat_m is not None or field.early is not None:
        return None
    if not field.walls.is_convex and not are_walls_ignored:
        return None
    if missing_share(sites) > _MOST_MISSING:
        return None
    ears = field.ears.point_m
    x, y = to_local(ears[:, :2], origin=sites.origin, angle_rad=sites.angle_rad)
    xs, ys = np.unique(np.round(x, 6)), np.unique(np.round(y, 6))
    heights = np.unique(np.round(sites.height_m[sites.is_inside], 6))
    if len(heights) != 1 or np.ptp(ears[:, 2]) > 1e-9 or len(xs) * len(ys) > 2.5 * len(ears):
        return None
    index = np.searchsorted(xs, np.round(x, 6)) * len(ys) + np.searchsorted(ys, np.round(y, 6))
    used = np.zeros(len(xs) * len(ys), dtype=bool)
    used[index] = True
    return EarGrid(xs, ys, float(heights[0] - ears[0, 2]), used.reshape(len(xs), len(ys)), index)


def _basis(sample: FloatArray) -> FloatArray:
    """Directions of the second coordinate that span a sampled kernel, the strongest first."""
    weight, direction = np.linalg.eigh(sample.T @ sample)
    size = np.sqrt(np.maximum(weight[::-1], 0.0))
    rank = max(1, min(_MOST_RANK, int(np.sum(size > _RANK_ERROR * size[0]))))
    return np.asarray(direction[:, ::-1][:, :rank] / size[:rank])


def _samples(reach_m: float, throw_m: float) -> FloatArray:
    """Distances at which the kernel is sampled, crowded where it bends."""
    even: FloatArray = np.linspace(0.0, 1.0, _SAMPLES)
    if reach_m <= _LONG_M:
        return np.multiply(reach_m, even**1.5)
    return np.asarray(throw_m * np.sinh(even * np.arcsinh(reach_m / throw_m)))


def _nodes(distance_m: FloatArray) -> FloatArray:
    """Distances at which factors are computed: all of them where they are few."""
    if len(distance_m) <= _MOST_DISTANCES:
        return distance_m
    out = [0.0]
    while out[-1] < distance_m[-1]:
        out.append(max(out[-1] + _NODE_M, out[-1] * _NODE_GROWTH))
    return np.array(out)


def _read(distance_m: FloatArray, nodes_m: FloatArray, values: FloatArray) -> FloatArray:
    """Values, one row a node, read at the distances."""
    if nodes_m is distance_m:
        return values
    place = np.clip(np.searchsorted(nodes_m, distance_m) - 1, 0, len(nodes_m) - 2)
    part = (distance_m - nodes_m[place]) / (nodes_m[place + 1] - nodes_m[place])
    return np.asarray(values[place] * (1.0 - part)[:, None] + values[place + 1] * part[:, None])


def _mirror(site_m: FloatArray, ear_m: FloatArray, used: BoolArray, axis: int) -> int | None:
    """Index sum of mirrored sites where the ears are their own mirror image, else None."""
    if not np.array_equal(used, np.flip(used, axis)):
        return None
    middle = (ear_m[0] + ear_m[-1]) / 2.0
    if np.max(np.abs(ear_m + ear_m[::-1] - 2.0 * middle)) > _SAME_M:
        return None
    total = (2.0 * middle - 2.0 * site_m[0]) / (site_m[1] - site_m[0]) if len(site_m) > 1 else 0.0
    return round(total) if abs(total - round(total)) < _SAME_M else None


class SeparableEngine:
    """Kernel as a short sum of products f(dx) g(dy): a layout costs two thin matrix products."""

    def __init__(self, field: Field, sites: Sites, grid: EarGrid, *, thinning: int) -> None:
        self.thinning = thinning
        x, y = grid.x[::thinning], grid.y[::thinning]
        self._used = grid.used[::thinning, ::thinning]
        self.n_ears = int(self._used.sum())
        cx, cy = sites.local_m()
        dx, dy = np.abs(x[None, :] - cx[:, None]), np.abs(y[None, :] - cy[:, None])
        reach_x, reach_y = float(dx.max()) + 1e-6, float(dy.max()) + 1e-6
        kernel = field.kernel(grid.throw_m)

        def between(a: FloatArray, b: FloatArray) -> FloatArray:
            return kernel.at(a[:, None] ** 2 + b[None, :] ** 2)

        # Samples crowd at zero, where the kernel bends most.
        sx, sy = _samples(reach_x, grid.throw_m), _samples(reach_y, grid.throw_m)
        sample = between(sx, sy)
        basis = _basis(sample)
        ux, place = np.unique(np.round(dx, 9).astype(np.float64), return_inverse=True)
        uy, place_y = np.unique(np.round(dy, 9).astype(np.float64), return_inverse=True)
        nodes_x, nodes_y = _nodes(ux), _nodes(uy)
        left = _read(ux, nodes_x, between(nodes_x, sy) @ basis)
        # The second factor fits exact kernel values at the samples of dx.
        fit = sample @ basis
        inner = np.linalg.solve(fit.T @ fit, fit.T @ between(sx, nodes_y))
        right = _read(uy, nodes_y, np.asarray(inner.T, dtype=np.float64))
        self._left = left[place.reshape(dx.shape)].astype(np.float32)  # (nx, mx, r)
        self._right = right[place_y.reshape(dy.shape)].astype(np.float32)  # (ny, my, r)
        self._reverberant = np.float32(field.reverberant)
        self._fixed_plane: SingleArray | None = None
        if np.any(field.fixed_energy):
            flat = np.zeros(grid.used.size)
            flat[grid.index] = field.fixed_energy
            plane = flat.reshape(grid.used.shape)
            self._fixed_plane = plane[::thinning, ::thinning].astype(np.float32)
        whole = self._fixed_plane is None
        self.mirror = (
            _mirror(cx, grid.x, grid.used, 0) if whole else None,
            _mirror(cy, grid.y, grid.used, 1) if whole else None,
        )
        self._first: SingleArray = np.zeros((0, 0, 0), np.float32)
        self._second: SingleArray = np.zeros((0, 0, 0), np.float32)
        self._first_count: SingleArray = np.zeros(0, np.float32)
        self._second_count: SingleArray = np.zeros(0, np.float32)

    def first_axis(self, lines: list[tuple[int, ...]]) -> None:
        """Prepare progressions of the first axis.

        Parameters
        ----------
        lines
            Site indices per progression.
        """
        n, m, r = self._left.shape
        self._first = (membership(lines, n) @ self._left.reshape(n, m * r)).reshape(-1, m, r)
        self._first_count = np.array([len(line) for line in lines], np.float32)

    def second_axis(self, lines: list[tuple[int, ...]]) -> None:
        """Prepare progressions of the second axis.

        Parameters
        ----------
        lines
            Site indices per progression.
        """
        n, m, r = self._right.shape
        summed = (membership(lines, n) @ self._right.reshape(n, m * r)).reshape(-1, m, r)
        self._second = np.ascontiguousarray(summed.transpose(0, 2, 1))
        self._second_count = np.array([len(line) for line in lines], np.float32)

    def energy(self, first: int, second: IntArray) -> SingleArray:
        """Return energies of one first-axis line set with several second-axis ones.

        Parameters
        ----------
        first
            Index of the first-axis line set.
        second : (n,)
            Indices of second-axis line sets.

        Returns
        -------
        (n, n_ears)
            Energy per watt, single precision. [1/W]
        """
        flat = np.matmul(self._first[first], self._second[second]).reshape(len(second), -1)
        if not self._used.all():
            flat = flat[:, self._used.ravel()]
        if self._reverberant:
            count = self._first_count[first] * self._second_count[second]
            flat += self._reverberant * count[:, None]
        return np.asarray(flat)

    @property
    def fixed(self) -> SingleArray | None:
        """Energy of what is placed by hand at the ears used."""
        return None if self._fixed_plane is None else self._fixed_plane[self._used]

    def energy_of(self, column: IntArray, row: IntArray) -> FloatArray:
        """Return the energy of any set of sites at the ears in use.

        Parameters
        ----------
        column, row : (n,)
            Site indices.

        Returns
        -------
        (n_ears,)
            Energy per watt, hand-placed speakers included. [1/W]
        """
        lines, which = np.unique(row, return_inverse=True)
        summed = np.zeros((len(lines), *self._left.shape[1:]))
        for number in range(len(lines)):
            summed[number] = self._left[column[which == number]].sum(axis=0, dtype=np.float64)
        left = summed.transpose(1, 0, 2).reshape(self._left.shape[1], -1)
        right = self._right[lines].transpose(1, 0, 2).reshape(self._right.shape[1], -1)
        out = (left @ right.astype(np.float64).T)[self._used]
        out += float(self._reverberant) * len(column)
        return np.asarray(out if self.fixed is None else out + self.fixed)

    def swapped(self) -> "SeparableEngine":
        """Return the same engine with the axes exchanged."""
        other = copy(self)
        other._left, other._right = self._right, self._left  # noqa: SLF001 a copy of itself
        other._used = np.ascontiguousarray(self._used.T)  # noqa: SLF001 a copy of itself
        other.mirror = self.mirror[::-1]
        if self._fixed_plane is not None:
            plane = np.ascontiguousarray(self._fixed_plane.T)
            other._fixed_plane = plane  # noqa: SLF001 a copy of itself
        return other


class TensorEngine:
    """Columns of all sites, (n_columns, n_rows, n_ears), walls and heights counted."""

    mirror: tuple[int | None, int | None] = (None, None)

    def __init__(self, field: Field, sites: Sites, *, most: int = _MOST_TENSOR) -> None:
        columns, rows = sites.shape
        inside = np.argwhere(sites.is_inside)
        if not field.walls.is_convex or field.early is not None:
            most = min(most, _MOST_WALLED)
        keep, self.thinning = _thinned(field, sites, most // max(1, columns * rows))
        self.n_ears = int(keep.sum())
        position = sites.site_m(inside[:, 0], inside[:, 1])
        part = field.thinned(keep)
        self._tensor = np.zeros((columns, rows, self.n_ears), np.float32)
        for first in range(0, len(inside), 512):
            some = inside[first : first + 512]
            self._tensor[some[:, 0], some[:, 1]] = part.columns(position[first : first + 512])
        has_fixed = bool(np.any(part.fixed_energy))
        self._fixed = part.fixed_energy.astype(np.float32) if has_fixed else None
        self._second = np.zeros((0, rows), np.float32)
        self._lines: list[tuple[int, ...]] = []
        self._last: tuple[int, SingleArray] = (-1, np.zeros((0, 0), np.float32))

    def first_axis(self, lines: list[tuple[int, ...]]) -> None:
        """Prepare progressions of the first axis.

        Parameters
        ----------
        lines
            Site indices per progression.
        """
        self._lines = lines
        self._last = (-1, np.zeros((0, 0), np.float32))

    def second_axis(self, lines: list[tuple[int, ...]]) -> None:
        """Prepare progressions of the second axis.

        Parameters
        ----------
        lines
            Site indices per progression.
        """
        self._second = membership(lines, self._tensor.shape[1])

    def energy(self, first: int, second: IntArray) -> SingleArray:
        """Return energies of one first-axis line set with several second-axis ones.

        Parameters
        ----------
        first
            Index of the first-axis line set.
        second : (n,)
            Indices of second-axis line sets.

        Returns
        -------
        (n, n_ears)
            Energy per watt, single precision. [1/W]
        """
        if self._last[0] != first:
            summed = self._tensor[list(self._lines[first])].sum(axis=0)
            self._last = (first, np.asarray(summed, dtype=np.float32))
        return np.asarray(self._second[second] @ self._last[1])

    def energy_of(self, column: IntArray, row: IntArray) -> FloatArray:
        """Return the energy of any set of sites at the ears in use.

        Parameters
        ----------
        column, row : (n,)
            Site indices.

        Returns
        -------
        (n_ears,)
            Energy per watt, hand-placed speakers included. [1/W]
        """
        out = self._tensor[column, row].sum(axis=0, dtype=np.float64)
        return np.asarray(out if self.fixed is None else out + self.fixed)

    @property
    def fixed(self) -> SingleArray | None:
        """Energy of what is placed by hand at the ears used."""
        return self._fixed

    def swapped(self) -> "TensorEngine":
        """Return the same engine with the axes exchanged."""
        other = copy(self)
        other._tensor = self._tensor.transpose(1, 0, 2)  # noqa: SLF001 a copy of itself
        return other


def _thinned(field: Field, sites: Sites, most: int) -> tuple[NDArray[np.bool_], int]:
    """Every n-th ear along both axes, with the least n that leaves at most ``most``."""
    ears = field.ears
    x, y = to_local(ears.point_m[:, :2], origin=sites.origin, angle_rad=sites.angle_rad)
    column = np.round((x - x.min()) / ears.step_m).astype(int)
    row = np.round((y - y.min()) / ears.step_m).astype(int)
    for thinning in range(1, 64):
        keep = (column % thinning == thinning // 2) & (row % thinning == thinning // 2)
        if keep.any() and int(keep.sum()) <= max(most, 60):
            return keep, thinning
    return np.ones(ears.count, dtype=bool), 1


def missing_share(sites: Sites) -> float:
    """Return the share of the lattice's bounds that lies outside the ceiling.

    Parameters
    ----------
    sites
        Candidate positions.
    """
    return 1.0 - float(_bounds(sites).mean())


def _bounds(sites: Sites) -> BoolArray:
    columns = np.flatnonzero(sites.is_inside.any(axis=1))
    rows = np.flatnonzero(sites.is_inside.any(axis=0))
    return sites.is_inside[columns[0] : columns[-1] + 1, rows[0] : rows[-1] + 1]


def filled(sites: Sites) -> Sites:
    """Return sites without gaps in their bounds: what a column takes is inside but not free.

    Parameters
    ----------
    sites
        Candidate positions with few gaps.
    """
    inside = sites.is_inside.copy()
    columns = np.flatnonzero(inside.any(axis=1))
    rows = np.flatnonzero(inside.any(axis=0))
    inside[columns[0] : columns[-1] + 1, rows[0] : rows[-1] + 1] = True
    return replace(sites, is_inside=inside)


def is_large(field: Field, sites: Sites) -> bool:
    """Return whether a room with corners or columns is too large for a tensor with its walls.

    Parameters
    ----------
    field
        Ears and walls.
    sites
        Candidate positions.
    """
    work = int(sites.is_inside.sum()) * field.ears.count
    is_rectangle = missing_share(sites) <= _MOST_MISSING
    return not field.walls.is_convex and work > _MOST_WALLED and is_rectangle


def _factors(grid: EarGrid, sites: Sites, thinning: int) -> int:
    columns, rows = sites.shape
    wide, deep = len(grid.x) // thinning, len(grid.y) // thinning
    return _MOST_RANK * (columns * wide + rows * deep)


def full_engine(field: Field, sites: Sites) -> SeparableEngine | None:
    """Return the engine that leaves out no ear; None where there is none, or it is too large.

    Parameters
    ----------
    field
        Ears, walls and measure.
    sites
        Candidate positions.
    """
    grid = ear_grid(field, sites, are_walls_ignored=is_large(field, sites))
    if grid is None or _factors(grid, sites, 1) > _MOST_FACTORS:
        return None
    return SeparableEngine(field, sites, grid, thinning=1)


def make_engine(field: Field, sites: Sites, *, most_ears: int) -> Engine:
    """Return the quickest engine that fits a room.

    Parameters
    ----------
    field
        Ears, walls and measure.
    sites
        Candidate positions.
    most_ears
        More ears than this are thinned while screening; what is kept is then computed on all.

    Returns
    -------
    Engine
        Separable in a rectangle with one height, else a tensor.
    """
    grid = ear_grid(field, sites)
    if grid is None and is_large(field, sites):
        grid = ear_grid(field, sites, are_walls_ignored=True)
    if grid is None:
        return TensorEngine(field, sites)
    thinning = 1
    while _factors(grid, sites, thinning) > _MOST_FACTORS // 2:
        thinning += 1
    while int(grid.used[::thinning, ::thinning].sum()) > most_ears:
        thinning += 1
    return SeparableEngine(field, sites, grid, thinning=thinning)
