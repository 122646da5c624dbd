"""Plan modes of a room of any plan, columns included, by quadratic finite elements.

The mesh is Delaunay's over a triangular lattice, the subdivided walls, and rings that close in on
corners that point into the room, where the field is singular. Straight (linear) elements would need
a mesh ten times finer for the same frequencies.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.linalg import eigsh
from scipy.spatial import Delaunay
from shapely.geometry.polygon import orient

from soffit.acoustics.lowfreq import PlanModes, RectangleModes
from soffit.errors import DomainError, NoSolutionError

FloatArray = NDArray[np.float64]

MESH_STEP_M: Final = 0.4
"""Mesh that keeps frequencies within 0.03 % up to 120 Hz. [m]"""

MOST_UNKNOWNS: Final = 14_000
"""Size of the eigenvalue problem that still solves in seconds."""

MOST_MODES: Final = 350
"""Number of plan modes that still solves in seconds."""

_UNKNOWNS: Final = 4_000
_STEPS_M: Final = (0.2, 0.5)
_RINGS: Final = 4
_SHIFT_PER_M2: Final = -0.05
_SEED: Final = 11
_REPAIRS: Final = 12


def mesh_step_m(*, area_m2: float) -> float:
    """Mesh size that spends about the same work on every plan.

    Parameters
    ----------
    area_m2
        Plan area. [m²]

    Returns
    -------
    float
        Between 0.2 and 0.5 m. [m]

    References
    ----------
    Derived here: a triangular lattice has 2/(√3 h²) corners per area, P2 four unknowns for each.
    """
    step = float(np.sqrt(8.0 / np.sqrt(3.0) * area_m2 / _UNKNOWNS))
    return min(max(step, _STEPS_M[0]), _STEPS_M[1])


def mode_count(*, area_m2: float, perimeter_m: float, limit_per_m: float) -> float:
    """How many plan modes lie below a wavenumber, about.

    Parameters
    ----------
    area_m2, perimeter_m
        Area and length of all walls of the plan. [m², m]
    limit_per_m
        Wavenumber. [1/m]

    Returns
    -------
    float
        S k²/4π + P k/4π + 1.

    References
    ----------
    Weyl's law for hard walls in two dimensions, with its term of the boundary.
    """
    return (area_m2 * limit_per_m**2 + perimeter_m * limit_per_m) / (4.0 * np.pi) + 1.0


@dataclass(frozen=True, slots=True, eq=False)
class MeshModes:
    """Plan modes found on a mesh.

    Parameters
    ----------
    basis
        Finite element basis; only this module looks inside.
    values : (n_unknowns, n_modes)
        Coefficients, normalised to a mean square of one over the plan.
    wavenumber_per_m : (n_modes,)
        Wavenumbers, rising. [1/m]
    area_m2
        Plan area. [m²]
    step_m
        Mesh size. [m]
    """

    basis: Any = field(repr=False)
    values: FloatArray = field(repr=False)
    wavenumber_per_m: FloatArray
    area_m2: float
    step_m: float

    @property
    def model(self) -> str:
        """How the modes were found, in words for the papers."""
        return f"modes of the plan by quadratic finite elements, mesh {self.step_m:.2g} m"

    def at(self, points_m: ArrayLike) -> FloatArray:
        """Mode values at plan points, ``(n_points, n_modes)``, from positions. [m]."""
        points = np.atleast_2d(np.asarray(points_m, dtype=np.float64))
        try:
            probe = self.basis.probes(points.T.copy())
        except ValueError as error:
            msg = "a position lies outside the room"
            raise DomainError(
                msg, where="points_m", why=str(error), do="give places inside the outline"
            ) from None
        return np.asarray(probe @ self.values)


def plan_modes(
    outline_m: ArrayLike,
    holes_m: Sequence[ArrayLike] = (),
    *,
    limit_per_m: float,
    step_m: float | None = None,
) -> PlanModes:
    """Plan modes of a room: in closed form for a rectangle, by finite elements else.

    Parameters
    ----------
    outline_m : (n, 2)
        Corners of the plan. [m]
    holes_m
        Corners of each column or court. [m]
    limit_per_m
        Largest wavenumber kept. [1/m]
    step_m
        Mesh size where a mesh is needed; by :func:`mesh_step_m` unless given. [m]

    Returns
    -------
    PlanModes
        Modes in rising order.

    Raises
    ------
    DomainError
        If the outline crosses itself or a column touches it.
    NoSolutionError
        If the plan is too large for a mesh; the statistical model then serves.
    """
    if not holes_m:
        rectangle = _as_rectangle(np.asarray(outline_m, dtype=np.float64), limit_per_m)
        if rectangle is not None:
            return rectangle
    step = step_m or mesh_step_m(area_m2=float(_polygon(outline_m, holes_m).area))
    return mesh_modes(outline_m, holes_m, limit_per_m=limit_per_m, step_m=step)


def _as_rectangle(outline: FloatArray, limit_per_m: float) -> RectangleModes | None:
    polygon = _polygon(outline, ())
    corners = shapely.get_coordinates(polygon.simplify(1e-6))[:-1]
    if len(corners) != 4:
        return None
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    square = np.abs(np.sum(sides * np.roll(sides, -1, axis=0), axis=1))
    if np.any(square > 1e-6 * lengths * np.roll(lengths, -1)):
        return None
    clockwise = sides[0, 0] * sides[1, 1] - sides[0, 1] * sides[1, 0] < 0.0
    first = 1 if clockwise else 0
    along = -sides[first] if clockwise else sides[first]
    origin = corners[2] if clockwise else corners[0]
    return RectangleModes(
        origin_m=(float(origin[0]), float(origin[1])),
        angle_rad=float(np.arctan2(along[1], along[0])),
        length_m=float(lengths[first]),
        width_m=float(lengths[1 - first]),
        limit_per_m=limit_per_m,
    )


def _polygon(outline: ArrayLike, holes: Sequence[ArrayLike]) -> shapely.Polygon:
    polygon = shapely.Polygon(
        np.asarray(outline, dtype=np.float64), [np.asarray(hole, np.float64) for hole in holes]
    )
    if not polygon.is_valid or polygon.area <= 0.0:
        msg = "the plan is not a simple polygon with its columns inside"
        raise DomainError(
            msg,
            where="outline_m",
            why=str(shapely.is_valid_reason(polygon)),
            do="mend the outline so that it does not cross or touch itself",
        )
    return polygon


def mesh_modes(
    outline_m: ArrayLike,
    holes_m: Sequence[ArrayLike] = (),
    *,
    limit_per_m: float,
    step_m: float = MESH_STEP_M,
) -> MeshModes:
    """Plan modes by quadratic finite elements; takes rectangles, too.

    Parameters
    ----------
    outline_m : (n, 2)
        Corners of the plan. [m]
    holes_m
        Corners of each column or court. [m]
    limit_per_m
        Largest wavenumber kept. [1/m]
    step_m
        Mesh size. [m]

    Returns
    -------
    MeshModes
        Modes in rising order, the constant one first.

    Raises
    ------
    DomainError
        If the outline crosses itself or a column touches it.
    NoSolutionError
        If the plan is too large for a mesh.

    Notes
    -----
    ∫∇u·∇v = k² ∫uv over the plan with hard walls; P2 elements, shift and invert.
    The relative error of k² grows as (k h)⁴.

    References
    ----------
    Any text on the finite element method. Benchmark of the eigenvalues: tests/published.
    """
    from skfem import Basis, ElementTriP2, MeshTri  # noqa: PLC0415 (only odd rooms need it)
    from skfem.models.poisson import laplace, mass  # noqa: PLC0415 (only odd rooms need it)

    polygon = _polygon(outline_m, holes_m)
    unknowns = 4.0 * polygon.area / (step_m**2 * np.sqrt(3.0) / 2.0)
    if unknowns > MOST_UNKNOWNS:
        msg = f"a plan of {polygon.area:.0f} m² is too large for the modal model"
        raise NoSolutionError(
            msg,
            where="outline_m",
            why=f"about {unknowns:.0f} unknowns, most {MOST_UNKNOWNS}",
            do="use the statistical level: so large a room is even at all but the lowest notes",
        )
    points, triangles = _mesh(polygon, step_m)
    basis = Basis(MeshTri(points.T.copy(), triangles.T.copy()), ElementTriP2(), intorder=4)
    stiffness, inertia = laplace.assemble(basis), mass.assemble(basis)
    count = mode_count(area_m2=polygon.area, perimeter_m=polygon.length, limit_per_m=limit_per_m)
    wanted = min(int(1.03 * count) + 6, stiffness.shape[0] - 2)
    start = np.random.default_rng(_SEED).standard_normal(stiffness.shape[0])
    squares, vectors = eigsh(
        stiffness,
        k=wanted,
        M=inertia,
        sigma=_SHIFT_PER_M2,
        which="LM",
        v0=start,
        ncv=min(wanted + wanted // 2 + 20, stiffness.shape[0] - 1),
    )
    order = np.argsort(squares, kind="stable")
    wavenumber = np.sqrt(np.maximum(squares[order], 0.0))
    wavenumber[0] = 0.0  # the constant mode, known exactly
    kept = order[wavenumber <= limit_per_m]
    return MeshModes(
        basis=basis,
        values=np.ascontiguousarray(vectors[:, kept] * np.sqrt(polygon.area)),
        wavenumber_per_m=wavenumber[: kept.size],
        area_m2=float(polygon.area),
        step_m=step_m,
    )


def _rings(polygon: shapely.Polygon) -> list[FloatArray]:
    oriented: shapely.Polygon = orient(polygon)  # fluid always on the left
    return [np.asarray(ring.coords)[:-1] for ring in (oriented.exterior, *oriented.interiors)]


def _corners(ring: FloatArray, step_m: float) -> NDArray[np.bool_]:
    """Mark corners that point into the room and whose walls are long enough to grade."""
    after = np.roll(ring, -1, axis=0) - ring
    before = ring - np.roll(ring, 1, axis=0)
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    lengths = np.hypot(after[:, 0], after[:, 1]), np.hypot(before[:, 0], before[:, 1])
    sharp = turn < -0.05 * lengths[0] * lengths[1]
    return np.asarray(sharp & (lengths[0] > 2.0 * step_m) & (lengths[1] > 2.0 * step_m))


def _wall_places(length_m: float, step_m: float, graded: tuple[bool, bool]) -> FloatArray:
    """Places of nodes along a wall from its first corner, that corner included. [m]."""
    radii = step_m * 0.5 ** np.arange(_RINGS, -1, -1)
    head = np.concatenate([[0.0], radii]) if graded[0] else np.array([0.0])
    tail = length_m - radii[::-1] if graded[1] else np.array([])
    end = length_m - step_m if graded[1] else length_m
    parts = max(1, int(np.ceil((end - head[-1]) / step_m - 1e-9)))
    middle = head[-1] + (end - head[-1]) * np.arange(1, parts) / parts
    return np.concatenate([head, middle, tail])


def _fan(ring: FloatArray, index: int, step_m: float) -> Iterator[FloatArray]:
    """Rings of nodes around a corner that points into the room."""
    corner = ring[index]
    towards = ring[(index + 1) % len(ring)] - corner
    first = float(np.arctan2(towards[1], towards[0]))
    back = ring[index - 1] - corner
    opening = (float(np.arctan2(back[1], back[0])) - first) % (2.0 * np.pi)
    parts = max(3, int(np.ceil(opening / (np.pi / 3.0))))
    angles = first + opening * np.arange(1, parts) / parts
    for power in range(_RINGS + 1):
        radius = step_m * 0.5**power
        yield corner + radius * np.column_stack([np.cos(angles), np.sin(angles)])


def _nodes(polygon: shapely.Polygon, step_m: float) -> tuple[list[FloatArray], FloatArray]:
    walls: list[FloatArray] = []
    fans: list[FloatArray] = []
    centres: list[FloatArray] = []
    for ring in _rings(polygon):
        sharp = _corners(ring, step_m)
        nodes = []
        for index, corner in enumerate(ring):
            towards = ring[(index + 1) % len(ring)] - corner
            length = float(np.hypot(*towards))
            graded = (bool(sharp[index]), bool(sharp[(index + 1) % len(ring)]))
            places = _wall_places(length, step_m, graded)
            nodes.append(corner + places[:, None] / length * towards)
            if sharp[index]:
                fans += list(_fan(ring, index, step_m))
                centres.append(corner)
        walls.append(np.vstack(nodes))
    left, low, right, high = polygon.bounds
    # rows and columns that end at the walls: a last gap that is wider would set the error
    rows = np.linspace(low, high, int(np.ceil((high - low) / (step_m * np.sqrt(3.0) / 2.0))) + 1)
    columns = np.linspace(left, right, int(np.ceil((right - left) / step_m)) + 1)
    lattice = np.vstack(
        [
            np.column_stack(
                [
                    columns + (index % 2) * (columns[1] - columns[0]) / 2.0,
                    np.full(columns.size, row),
                ]
            )
            for index, row in enumerate(rows)
        ]
    )
    for centre in centres:
        away = np.hypot(*(lattice - centre).T)
        lattice = lattice[away > 1.6 * step_m]
    for extra, margin in ((np.vstack(fans) if fans else np.empty((0, 2)), 0.02), (lattice, 0.5)):
        marks = shapely.points(extra)
        inside = shapely.contains(polygon, marks)
        inside &= shapely.distance(polygon.boundary, marks) > margin * step_m
        fans = [extra[inside]] if margin < 0.1 else [*fans, extra[inside]]
    return walls, np.vstack(fans)


def _mesh(polygon: shapely.Polygon, step_m: float) -> tuple[FloatArray, NDArray[np.int64]]:
    """Triangles over the plan whose edges follow every wall."""
    walls, inner = _nodes(polygon, step_m)
    for _ in range(_REPAIRS):
        points = np.vstack([*walls, inner])
        triangles = Delaunay(points).simplices
        corners = points[triangles]
        sides = corners[:, 1:] - corners[:, :1]
        area = 0.5 * np.abs(sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0])
        centre = corners.mean(axis=1)
        kept = shapely.contains_xy(polygon, centre[:, 0], centre[:, 1])
        kept &= area > 1e-9 * step_m**2
        triangles = triangles[kept]
        edges = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        present = {(int(first), int(second)) for first, second in edges}
        walls, missing = _split_missing(walls, present)
        if not missing and abs(area[kept].sum() / polygon.area - 1.0) < 1e-6:
            used, renumbered = np.unique(triangles, return_inverse=True)
            return points[used], renumbered.reshape(triangles.shape)
    msg = "no mesh follows the walls of this plan"
    raise NoSolutionError(
        msg,
        where="outline_m",
        why=f"{missing} pieces of wall are still cut after {_REPAIRS} refinements",
        do="leave out details smaller than a hand's breadth from the outline",
    )


def _split_missing(
    walls: list[FloatArray], present: set[tuple[int, int]]
) -> tuple[list[FloatArray], int]:
    """Halve each piece of wall that is no edge of the triangulation."""
    offset, missing, result = 0, 0, []
    for ring in walls:
        number = len(ring)
        nodes = []
        for index in range(number):
            following = (index + 1) % number
            nodes.append(ring[index])
            pair = sorted((offset + index, offset + following))
            if (pair[0], pair[1]) not in present:
                missing += 1
                nodes.append((ring[index] + ring[following]) / 2.0)
        offset += number
        result.append(np.asarray(nodes))
    return result, missing
