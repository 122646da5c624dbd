"""Plan modes of a room of any plan, columns included, by finite elements of the fourth degree.

The mesh is Delaunay's over a triangular lattice, the subdivided walls, and rings that close in on
corners that point into the room, where the field is singular. Elements of the fourth degree on a
coarse mesh cost less than quadratic ones on a fine mesh and get the nulls right, too: a tone a
tenth of a percent off its mode tilts a null by decibels.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csc_array
from scipy.sparse.linalg import LinearOperator, eigsh, splu
from scipy.spatial import Delaunay
from shapely.geometry.polygon import orient

from soffit.acoustics.lowfreq import PlanModes, RectangleModes
from soffit.errors import DomainError, NoSolutionError

FloatArray = NDArray[np.float64]

MESH_STEP_M: Final = 0.5
"""Mesh that keeps levels within 0.02 dB up to 160 Hz, in nulls too. [m]"""

MOST_UNKNOWNS: Final = 14_000
"""Size of the eigenvalue problem that still solves in seconds."""

MOST_MODES: Final = 350
"""Number of plan modes that still solves in seconds."""

_UNKNOWNS: Final = 5_000
_STEP_PHASE_RAD: Final = (2.5, 3.6)
_RINGS: Final = 4
_RINGS_SMALL: Final = 2
_CORNER_SHARE: Final = 0.4
_ORDERS: Final = {2: (4, 4.0), 3: (6, 9.0), 4: (8, 16.0)}
"""Degree of the elements: order of quadrature, unknowns per corner of the mesh."""
_SHIFT_PER_M2: Final = -0.05
_SEED: Final = 11
_REPAIRS: Final = 12


def mesh_step_m(*, area_m2: float, limit_per_m: float) -> float:
    """Mesh size for elements of the fourth degree.

    Parameters
    ----------
    area_m2
        Plan area. [m²]
    limit_per_m
        Largest wavenumber kept. [1/m]

    Returns
    -------
    float
        2.5 over the wavenumber; up to 3.6 over it where the plan is large. [m]

    References
    ----------
    Derived here: a triangular lattice has 2/(√3 h²) corners per area, each with 16 unknowns. At
    k h = 2.5 transfers are within 0.02 dB of the closed form, at 3.6 within 0.3 dB, nulls included.
    """
    fine, coarse = (phase / limit_per_m for phase in _STEP_PHASE_RAD)
    cheap = float(np.sqrt(2.0 * 16.0 / np.sqrt(3.0) * area_m2 / _UNKNOWNS))
    return min(max(fine, cheap), coarse)


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
    degree
        Degree of the elements.
    """

    basis: Any = field(repr=False)
    values: FloatArray = field(repr=False)
    wavenumber_per_m: FloatArray
    area_m2: float
    step_m: float
    degree: int

    @property
    def model(self) -> str:
        """How the modes were found, in words for the papers."""
        kind = {2: "quadratic", 3: "cubic", 4: "quartic"}[self.degree]
        return f"modes of the plan by {kind} finite elements, mesh {self.step_m:.2g} m"

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
    area_m2 = float(_polygon(outline_m, holes_m).area)
    step = step_m or mesh_step_m(area_m2=area_m2, limit_per_m=limit_per_m)
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
    degree: Literal[2, 3, 4] = 4,
) -> MeshModes:
    """Plan modes by finite elements; takes rectangles, too.

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
    degree
        Degree of the elements; with 4 the relative error of k² grows as (k h)⁸.

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
    ∫∇u·∇v = k² ∫uv over the plan with hard walls, shift and invert. The relative error of k²
    grows as (k h) to twice the degree, away from corners that point into the room.

    References
    ----------
    Any text on the finite element method. Benchmark of the eigenvalues: tests/published.
    """
    import skfem  # noqa: PLC0415 (only odd rooms need it)
    from skfem.models.poisson import laplace, mass  # noqa: PLC0415 (only odd rooms need it)

    polygon = _polygon(outline_m, holes_m)
    quadrature, per_corner = _ORDERS[degree]
    unknowns = per_corner * polygon.area / (step_m**2 * np.sqrt(3.0) / 2.0)
    if unknowns > MOST_UNKNOWNS:
        msg = f"a plan of {polygon.area:.0f} m² is too large for the modal model"
        raise NoSolutionError(
            msg,
            where="outline_m",
            why=f"about {unknowns:.0f} unknowns, most {MOST_UNKNOWNS}",
            do="use the statistical level: so large a room is even at all but the lowest notes",
        )
    points, triangles = _mesh(polygon, step_m)
    element = {2: skfem.ElementTriP2, 3: skfem.ElementTriP3, 4: skfem.ElementTriP4}[degree]()
    mesh = skfem.MeshTri(points.T.copy(), triangles.T.copy())
    basis = skfem.Basis(mesh, element, intorder=quadrature)
    stiffness, inertia = laplace.assemble(basis), mass.assemble(basis)
    count = mode_count(area_m2=polygon.area, perimeter_m=polygon.length, limit_per_m=limit_per_m)
    wanted = min(int(1.03 * count) + 6, stiffness.shape[0] - 2)
    squares, vectors = _smallest(csc_array(stiffness), csc_array(inertia), wanted)
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
        degree=degree,
    )


def _smallest(
    stiffness: csc_array, inertia: csc_array, wanted: int
) -> tuple[FloatArray, FloatArray]:
    """Return the smallest eigenvalues and their vectors, normalised by the inertia."""
    size = stiffness.shape[0]
    factors = splu(
        (stiffness - _SHIFT_PER_M2 * inertia).tocsc(),
        permc_spec="MMD_AT_PLUS_A",  # symmetric: half the fill of the default order
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    found: tuple[FloatArray, FloatArray] = eigsh(
        stiffness,
        k=wanted,
        M=inertia,
        sigma=_SHIFT_PER_M2,
        which="LM",
        OPinv=LinearOperator((size, size), matvec=factors.solve, dtype=np.float64),
        v0=np.random.default_rng(_SEED).standard_normal(size),
        ncv=min(wanted + wanted // 3 + 20, size - 1),
    )
    return found


def _rings(polygon: shapely.Polygon) -> list[FloatArray]:
    oriented: shapely.Polygon = orient(polygon)  # fluid always on the left
    return [np.asarray(ring.coords)[:-1] for ring in (oriented.exterior, *oriented.interiors)]


def _corner_radii(ring: FloatArray, step_m: float) -> FloatArray:
    """Radius within which the mesh closes in on each corner; zero where it needs not. [m]."""
    after = np.roll(ring, -1, axis=0) - ring
    before = ring - np.roll(ring, 1, axis=0)
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    lengths = np.hypot(after[:, 0], after[:, 1]), np.hypot(before[:, 0], before[:, 1])
    sharp = turn < -0.05 * lengths[0] * lengths[1]
    room = _CORNER_SHARE * np.minimum(*lengths)
    return np.where(sharp & (room > 0.1 * step_m), np.minimum(step_m, room), 0.0)


def _ring_radii(radius_m: float, step_m: float) -> FloatArray:
    """Radii of the rings around a corner, rising. [m]."""
    count = _RINGS if radius_m > 0.9 * step_m else _RINGS_SMALL
    return np.asarray(radius_m * 0.5 ** np.arange(count, -1, -1))


def _wall_places(length_m: float, step_m: float, graded_m: tuple[float, float]) -> FloatArray:
    """Places of nodes along a wall from its first corner, that corner included. [m]."""
    first, last = graded_m
    head = np.concatenate([[0.0], _ring_radii(first, step_m) if first else []])
    tail = length_m - _ring_radii(last, step_m)[::-1] if last else np.array([])
    end = length_m - last
    parts = max(1, int(np.ceil((end - head[-1]) / step_m - 1e-9)))
    middle = head[-1] + (end - head[-1]) * np.arange(1, parts) / parts
    return np.concatenate([head, middle, tail])


def _fan(ring: FloatArray, index: int, radii_m: FloatArray) -> Iterator[FloatArray]:
    """Rings of nodes around a corner that points into the room."""
    corner = ring[index]
    towards = ring[(index + 1) % len(ring)] - corner
    first = float(np.arctan2(towards[1], towards[0]))
    back = ring[index - 1] - corner
    opening = (float(np.arctan2(back[1], back[0])) - first) % (2.0 * np.pi)
    parts = max(3, int(np.ceil(opening / (np.pi / 2.0))))
    angles = first + opening * np.arange(1, parts) / parts
    for radius in radii_m:
        yield corner + radius * np.column_stack([np.cos(angles), np.sin(angles)])


def _nodes(polygon: shapely.Polygon, step_m: float) -> tuple[list[FloatArray], FloatArray]:
    walls: list[FloatArray] = []
    fans: list[FloatArray] = []
    kept_free: list[tuple[FloatArray, float]] = []
    for ring in _rings(polygon):
        radii = _corner_radii(ring, step_m)
        nodes = []
        for index, corner in enumerate(ring):
            towards = ring[(index + 1) % len(ring)] - corner
            length = float(np.hypot(*towards))
            graded = (float(radii[index]), float(radii[(index + 1) % len(ring)]))
            places = _wall_places(length, step_m, graded)
            nodes.append(corner + places[:, None] / length * towards)
            if radii[index]:
                fans += list(_fan(ring, index, _ring_radii(graded[0], step_m)))
                kept_free.append((corner, 1.6 * graded[0]))
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
    for centre, radius in kept_free:
        away = np.hypot(*(lattice - centre).T)
        lattice = lattice[away > radius]
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
