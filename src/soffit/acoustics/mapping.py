"""Level maps: one convolution per speaker type and height, rank-one updates, shadows.

A map is an energy per octave band on a grid of ears. Speakers that sit on grid points are summed
by a fast Fourier convolution with the kernel of `direct.kernel_energy`; others one by one. The
kernel is even in both directions, so its transform is a real cosine transform of one quadrant.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soffit.acoustics.bands import N_BANDS, BoolArray, FloatArray
from soffit.acoustics.direct import Radiator
from soffit.acoustics.radial import look_up, radial_table
from soffit.acoustics.visibility import Outline, hidden_by_walls, is_inside
from soffit.errors import DomainError

MapArray = NDArray[np.float32]

ON_GRID: Final = 1e-6
"""Share of a grid step within which a speaker sits on a grid point."""

FEW_SPEAKERS: Final = 12
"""So many speakers or fewer are stamped rather than convolved."""

WORKERS: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class MapGrid:
    """Grid of ears.

    Parameters
    ----------
    x0_m, y0_m
        First point. [m]
    step_m
        Distance of neighbours. [m]
    n_x, n_y
        Points along x and y.
    """

    x0_m: float
    y0_m: float
    step_m: float
    n_x: int
    n_y: int

    def x_m(self) -> FloatArray:
        """Return the first coordinates. [m]."""
        return np.asarray(self.x0_m + self.step_m * np.arange(self.n_x), dtype=np.float64)

    def y_m(self) -> FloatArray:
        """Return the second coordinates. [m]."""
        return np.asarray(self.y0_m + self.step_m * np.arange(self.n_y), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpeakerGroup:
    """Speakers of one type at one height over the ears, all facing down.

    Parameters
    ----------
    radiator
        What the type radiates.
    throw_m
        Height over the ears. [m]
    position_m : (n, 2)
        In plan. [m]
    power_w : (n,)
        Power at the voice coil. [W]
    air_db_m : (n_bands,)
        Absorption of air; none by default. [dB/m]
    """

    radiator: Radiator
    throw_m: float
    position_m: FloatArray
    power_w: FloatArray
    air_db_m: ArrayLike = 0.0


def grid_over(outer_m: ArrayLike, *, step_m: float, through_m: ArrayLike = (0.0, 0.0)) -> MapGrid:
    """Return the grid that covers a room and passes through a point, such as a tile's centre.

    Parameters
    ----------
    outer_m : (n, 2)
        Corners of the room. [m]
    step_m
        Distance of neighbours; a tile's pitch over a whole number keeps speakers on the grid. [m]
    through_m : (2,)
        A point of the grid. [m]

    Returns
    -------
    MapGrid
        Smallest grid with a point at or beyond every wall.
    """
    corners = np.asarray(outer_m, dtype=np.float64)
    through = np.asarray(through_m, dtype=np.float64)
    first = np.floor((corners.min(axis=0) - through) / step_m + 1e-9)
    last = np.ceil((corners.max(axis=0) - through) / step_m - 1e-9)
    start = through + first * step_m
    counts = (last - first).astype(int) + 1
    return MapGrid(
        x0_m=float(start[0]),
        y0_m=float(start[1]),
        step_m=step_m,
        n_x=int(counts[0]),
        n_y=int(counts[1]),
    )


class Kernel:
    """Energy per watt of one type at one height, on and off a grid.

    Parameters
    ----------
    radiator
        What the type radiates.
    throw_m
        Height over the ears. [m]
    grid
        Grid of the map.
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]
    weights : (n_measures, n_bands)
        Measures as weighted sums of bands; the eight bands themselves by default.
    """

    def __init__(
        self,
        radiator: Radiator,
        throw_m: float,
        grid: MapGrid,
        *,
        air_db_m: ArrayLike = 0.0,
        weights: ArrayLike | None = None,
    ) -> None:
        self.throw_m = throw_m
        self.grid = grid
        self.table = radial_table(radiator, throw_m=throw_m, air_db_m=air_db_m, weights=weights)
        self._quadrant: MapArray | None = None

    def at_offsets(self, dx_m: FloatArray, dy_m: FloatArray) -> FloatArray:
        """Energy per watt at offsets from the speaker; the two arrays broadcast.

        Parameters
        ----------
        dx_m, dy_m : (...)
            Offsets. [m]

        Returns
        -------
        (n_measures, ...)
            Energy per watt. [1/W]
        """
        return look_up(self.table, self.throw_m, np.asarray(dx_m**2 + dy_m**2))

    def quadrant(self, row: int) -> FloatArray:
        """Energy per watt at offsets of whole grid steps, x and y from zero, one measure.

        Parameters
        ----------
        row
            Which measure.

        Returns
        -------
        (n_y, n_x)
            Energy per watt. [1/W]
        """
        x = self.grid.step_m * np.arange(self.grid.n_x)
        y = self.grid.step_m * np.arange(self.grid.n_y)
        square = x[None, :] ** 2 + y[:, None] ** 2
        return np.asarray(look_up(self.table[row : row + 1], self.throw_m, square)[0])

    def stamps(self) -> MapArray:
        """All quadrants in single precision, made once; what a drag adds and takes away.

        Returns
        -------
        (n_measures, n_y, n_x)
            Energy per watt. [1/W]
        """
        if self._quadrant is None:
            self._quadrant = np.stack(
                [self.quadrant(row).astype(np.float32) for row in range(len(self.table))]
            )
        return self._quadrant


def grid_indices(grid: MapGrid, position_m: ArrayLike) -> tuple[NDArray[np.intp], BoolArray]:
    """Grid indices of positions, and which of them sit on a grid point inside the grid.

    Parameters
    ----------
    grid
        Grid.
    position_m : (n, 2)
        Positions. [m]

    Returns
    -------
    indices : (n, 2)
        Column and row.
    is_on_grid : (n,)
        Whether the position is that grid point.
    """
    position = np.asarray(position_m, dtype=np.float64).reshape(-1, 2)
    place = (position - [grid.x0_m, grid.y0_m]) / grid.step_m
    nearest = np.rint(place)
    on_grid = np.all(np.abs(place - nearest) < ON_GRID, axis=1)
    on_grid &= np.all((nearest >= 0) & (nearest < [grid.n_x, grid.n_y]), axis=1)
    return nearest.astype(np.intp), on_grid


def add_stamp(energy: MapArray, stamps: MapArray, column: int, row: int, power_w: float) -> None:
    """Add one speaker on a grid point to a map, in place; a negative power takes it away.

    Parameters
    ----------
    energy : (n_measures, n_y, n_x)
        Map that changes.
    stamps : (n_measures, n_y, n_x)
        Of `Kernel.stamps`.
    column, row
        Grid point.
    power_w
        Power; negative to remove. [W]
    """
    n_y, n_x = energy.shape[1:]
    scaled = np.float32(power_w)
    right, up = n_x - column, n_y - row
    energy[:, row:, column:] += scaled * stamps[:, :up, :right]
    if column:
        energy[:, row:, :column] += scaled * stamps[:, :up, column:0:-1]
    if row:
        energy[:, :row, column:] += scaled * stamps[:, row:0:-1, :right]
    if row and column:
        energy[:, :row, :column] += scaled * stamps[:, row:0:-1, column:0:-1]


def _convolve(kernel: Kernel, weight: FloatArray, energy: MapArray) -> None:
    """Add the sum of kernels at weighted grid points to ``energy``, band by band."""
    from scipy import fft  # noqa: PLC0415 - loaded for maps only

    n_y, n_x = kernel.grid.n_y, kernel.grid.n_x
    half_y, half_x = fft.next_fast_len(n_y), fft.next_fast_len(n_x)
    # Only the rows of the source and of the result that hold something are transformed.
    source = fft.rfft(weight, n=2 * half_x, axis=1, workers=WORKERS)
    source = fft.fft(source, n=2 * half_y, axis=0, workers=WORKERS, overwrite_x=True)
    x = kernel.grid.step_m * np.arange(half_x + 1)
    y = kernel.grid.step_m * np.arange(half_y + 1)
    square = x[None, :] ** 2 + y[:, None] ** 2
    for row in range(len(kernel.table)):
        quadrant = look_up(kernel.table[row : row + 1], kernel.throw_m, square)[0]
        even = fft.dctn(quadrant, type=1, workers=WORKERS, overwrite_x=True)
        product = np.empty_like(source)
        np.multiply(source[: half_y + 1], even, out=product[: half_y + 1])
        np.multiply(source[half_y + 1 :], even[half_y - 1 : 0 : -1], out=product[half_y + 1 :])
        product = fft.ifft(product, axis=0, workers=WORKERS, overwrite_x=True)[:n_y]
        energy[row] += fft.irfft(product, n=2 * half_x, axis=1, workers=WORKERS)[:, :n_x]


def map_energy(
    grid: MapGrid,
    groups: Sequence[SpeakerGroup],
    *,
    weights: ArrayLike | None = None,
    room: Outline | None = None,
) -> MapArray:
    """Direct energy of all groups on a grid.

    Parameters
    ----------
    grid
        Grid of ears.
    groups
        Speakers by type and height.
    weights : (n_measures, n_bands)
        Measures as weighted sums of bands; the eight bands themselves by default.
    room
        Walls that cast shadows; none by default. Points outside the room are left unshadowed.

    Returns
    -------
    (n_measures, n_y, n_x)
        Mean square pressure over (20 µPa)², never below zero.
    """
    rows = np.eye(N_BANDS) if weights is None else np.atleast_2d(np.asarray(weights, float))
    energy = np.zeros((len(rows), grid.n_y, grid.n_x), dtype=np.float32)
    for group in groups:
        kernel = Kernel(group.radiator, group.throw_m, grid, air_db_m=group.air_db_m, weights=rows)
        _add_group(energy, kernel, group)
        if room is not None and not room.is_convex:
            _subtract_shadows(energy, kernel, group, room)
    return np.maximum(energy, 0.0, out=energy)


def _add_group(energy: MapArray, kernel: Kernel, group: SpeakerGroup) -> None:
    power = np.broadcast_to(np.asarray(group.power_w, dtype=np.float64), (len(group.position_m),))
    if not (np.all(power >= 0.0) and np.all(np.isfinite(power))):
        msg = "a power is negative or not a number"
        raise DomainError(msg, where="power_w", why=f"{power.tolist()}", do="check the taps")
    grid = kernel.grid
    index, on_grid = grid_indices(grid, group.position_m)
    if on_grid.sum() > FEW_SPEAKERS:
        weight = np.zeros((grid.n_y, grid.n_x))
        np.add.at(weight, (index[on_grid, 1], index[on_grid, 0]), power[on_grid])
        _convolve(kernel, weight, energy)
    else:
        on_grid = np.zeros_like(on_grid)
    x, y = grid.x_m(), grid.y_m()
    for speaker in np.flatnonzero(~on_grid):
        dx, dy = x - group.position_m[speaker, 0], y - group.position_m[speaker, 1]
        energy += (power[speaker] * kernel.at_offsets(dx[None, :], dy[:, None])).astype(np.float32)


def _subtract_shadows(energy: MapArray, kernel: Kernel, group: SpeakerGroup, room: Outline) -> None:
    """Take away what each speaker would bring to points it cannot see."""
    grid = kernel.grid
    x, y = grid.x_m(), grid.y_m()
    inside = is_inside(room, np.stack(np.meshgrid(x, y), axis=-1))
    power = np.broadcast_to(np.asarray(group.power_w, dtype=np.float64), (len(group.position_m),))
    flat = energy.reshape(len(energy), -1)
    for (px, py), watts in zip(group.position_m, power, strict=True):
        hidden = hidden_by_walls(room, (px, py), x[None, :], y[:, None]) & inside
        where = np.flatnonzero(hidden)
        if where.size:
            dx, dy = x[where % grid.n_x] - px, y[where // grid.n_x] - py
            flat[:, where] -= watts * kernel.at_offsets(dx, dy).astype(np.float32)
