"""Rooms from the spaces of an IFC model: polygons, storeys, ceiling heights with their source."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Point as PlanPoint
from shapely.geometry import Polygon

from soffit.errors import JobError, MissingExtraError
from soffit.plans.keys import key_of
from soffit.plans.proposal import PlanProposal, RoomProposal, StoreyProposal
from soffit.plans.shape import clean_polygons, ring_of

_DOWN: Final = -0.95
_AREA_DOUBT: Final = 0.02
_LEAST_HEIGHT_M: Final = 1.5
_MOST_M: Final = 1e5
FloatArray = NDArray[np.float64]


def _library() -> Any:  # noqa: ANN401 untyped library
    try:
        import ifcopenshell
        import ifcopenshell.geom
        import ifcopenshell.util.element
        import ifcopenshell.util.placement
        import ifcopenshell.util.unit
    except ImportError as error:
        msg = "reading IFC needs ifcopenshell"
        raise MissingExtraError(
            msg,
            where="soffit read",
            why="it is an optional part of the installation",
            do="install soffit[ifc]",
        ) from error
    return ifcopenshell


def _refuse(path: Path, what: str, why: str, do: str) -> JobError:
    return JobError(what=what, where=str(path), why=why, do=do)


def open_model(path: Path) -> Any:  # noqa: ANN401 untyped library
    """Open a model, or say why it is none.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    object
        The model.

    Raises
    ------
    JobError
        If the file is no IFC model.
    MissingExtraError
        If the library is not installed.
    """
    head = path.read_bytes()[:4096].lstrip()
    if not head.startswith(b"ISO-10303-21"):
        kind = "a zip archive" if head.startswith(b"PK") else "something else"
        raise _refuse(
            path,
            f"{path.name} is not an IFC model",
            f"such a file begins with ISO-10303-21; this one is {kind}",
            "ask for the model as .ifc (STEP text), not zipped and not in another format",
        )
    library = _library()
    try:
        return library.open(str(path))
    except Exception as error:
        raise _refuse(
            path,
            f"{path.name} cannot be read as IFC",
            f"the reader says: {str(error)[:200]}",
            "open it in the program that made it and export it again",
        ) from error


class _Mesher:
    """Shapes in metres and world coordinates, one element at a time."""

    def __init__(self, library: Any) -> None:  # noqa: ANN401 untyped library
        self._geom = library.geom
        self._settings = library.geom.settings()
        self._settings.set("use-world-coords", True)

    def mesh(self, element: Any) -> tuple[FloatArray, NDArray[np.int64]] | None:  # noqa: ANN401 untyped library
        """Return corners (n, 3) and triangles (m, 3); ``None`` for what has no shape."""
        try:
            shape = self._geom.create_shape(self._settings, element)
        except (RuntimeError, ValueError):
            return None
        corners = np.asarray(shape.geometry.verts, dtype=np.float64).reshape(-1, 3)
        faces = np.asarray(shape.geometry.faces, dtype=np.int64).reshape(-1, 3)
        if not corners.size or not np.all(np.isfinite(corners)) or np.abs(corners).max() > _MOST_M:
            return None
        return corners, faces


def _down_facing(corners: FloatArray, faces: NDArray[np.int64]) -> list[Polygon]:
    one, two, three = (corners[faces[:, place]] for place in range(3))
    normal = np.cross(two - one, three - one)
    size = np.linalg.norm(normal, axis=1)
    flat = (size > 1e-9) & (normal[:, 2] < _DOWN * size)
    return [Polygon(triangle[:, :2]) for triangle in corners[faces[flat]]]


def _flat_shape(corners: FloatArray, faces: NDArray[np.int64]) -> list[Polygon]:
    shapes = [Polygon(triangle[:, :2]) for triangle in corners[faces]]
    return [shape for shape in shapes if shape.area > 1e-6]


class _Reader:
    def __init__(self, path: Path) -> None:
        self.path = path
        self.library = _library()
        self.model = open_model(path)
        self.mesher = _Mesher(self.library)
        self.scale = float(self.library.util.unit.calculate_unit_scale(self.model))
        self.storeys: dict[int, StoreyProposal] = {}
        self.ceilings = list(self._ceilings())

    # ------------------------------------------------------------------ storeys
    def storey_of(self, space: Any) -> StoreyProposal:  # noqa: ANN401 untyped library
        for relation in space.Decomposes or ():
            parent = relation.RelatingObject
            if parent.is_a("IfcBuildingStorey"):
                return self._storey(parent)
        return self._storey(None)

    def _storey(self, storey: Any) -> StoreyProposal:  # noqa: ANN401 untyped library
        number = storey.id() if storey else 0
        if number not in self.storeys:
            taken = {entry.key for entry in self.storeys.values()}
            label = (storey.LongName or storey.Name or "Storey") if storey else "Storey"
            raw = storey.Elevation if storey else None
            elevation = float(raw) * self.scale if raw is not None else 0.0
            self.storeys[number] = StoreyProposal(
                key=key_of(label, taken, fallback="storey"), label=label, elevation_m=elevation
            )
        return self.storeys[number]

    # ----------------------------------------------------------------- ceilings
    def _ceilings(self) -> Iterator[tuple[float, list[Polygon], str]]:
        for covering in self.model.by_type("IfcCovering"):
            if (covering.PredefinedType or "") not in {"CEILING", "NOTDEFINED", ""}:
                continue
            mesh = self.mesher.mesh(covering)
            if mesh is not None:
                corners, faces = mesh
                yield float(corners[:, 2].min()), _flat_shape(corners, faces), covering.Name or ""

    def ceiling_over(
        self, footprint: Polygon, floor_m: float, top_m: float
    ) -> tuple[float, str] | None:
        """Return height above the floor and name of the lowest covering over most of a space."""
        found = []
        for bottom, shapes, name in self.ceilings:
            if not floor_m + _LEAST_HEIGHT_M < bottom < top_m + 1.0:
                continue
            covered = sum(shape.intersection(footprint).area for shape in shapes)
            if covered / max(1, _layers(shapes)) > 0.3 * footprint.area:
                found.append((bottom - floor_m, name))
        return min(found, default=None)

    # ------------------------------------------------------------------- spaces
    def rooms(self) -> Iterator[RoomProposal]:
        taken: set[str] = set()
        for space in self.model.by_type("IfcSpace"):
            mesh = self.mesher.mesh(space)
            if mesh is None:
                continue
            corners, faces = mesh
            polygons = clean_polygons(_down_facing(corners, faces))
            if not polygons:
                continue
            room = self._room(space, corners, polygons, taken)
            taken.add(room.key)
            yield room

    def _room(
        self,
        space: Any,  # noqa: ANN401 untyped library
        corners: FloatArray,
        polygons: list[Polygon],
        taken: set[str],
    ) -> RoomProposal:
        polygon = polygons[0]
        floor_m, top_m = float(corners[:, 2].min()), float(corners[:, 2].max())
        label = " ".join(part for part in (space.Name, space.LongName) if part) or "Space"
        doubts = []
        if len(polygons) > 1:
            lost = sum(part.area for part in polygons[1:])
            doubts.append(f"{len(polygons) - 1} further part(s) of {lost:.1f} m² were left out")
        over = self.ceiling_over(polygon, floor_m, top_m)
        if over:
            height, height_text = over[0], f"lowest ceiling covering over it ({over[1]})"
        else:
            height, height_text = top_m - floor_m, "top of the space: no ceiling is modelled there"
        stated = self._stated_area(space)
        if stated and abs(stated - polygon.area) > _AREA_DOUBT * polygon.area:
            doubts.append(
                f"the file states {stated:.1f} m², its geometry has {polygon.area:.1f} m²:"
                " geometry is used"
            )
        return RoomProposal(
            key=key_of(label, taken),
            label=label,
            storey_key=self.storey_of(space).key,
            outline=ring_of(polygon.exterior.coords),
            holes=tuple(ring_of(ring.coords) for ring in polygon.interiors),
            height_m=round(height, 3),
            height_source="model" if over else "assumed",
            height_text=height_text,
            use=space.LongName or "",
            confidence=1.0 if over else 0.9,
            stated_area_m2=stated,
            doubts=tuple(doubts),
        )

    def _stated_area(self, space: Any) -> float | None:  # noqa: ANN401 untyped library
        sets = self.library.util.element.get_psets(space)
        for values in sets.values():
            for name, value in values.items():
                is_area = name in {"Area", "NetFloorArea", "GrossFloorArea", "NetArea"}
                if is_area and isinstance(value, int | float) and value > 0:
                    unit = self.library.util.unit.calculate_unit_scale(self.model, "AREAUNIT")
                    return float(value) * float(unit)
        return None


def _layers(shapes: list[Polygon]) -> int:
    """Return how many times a flat body's triangles lie over each other: usually two."""
    if not shapes:
        return 1
    inside = shapes[0].representative_point()
    return max(1, sum(shape.covers(PlanPoint(inside)) for shape in shapes))


def read_ifc(path: Path) -> PlanProposal:
    """Read the spaces of an IFC model.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    PlanProposal
        Every space with a shape as a room.

    Raises
    ------
    JobError
        If the file is no IFC model, or has no spaces.
    MissingExtraError
        If the library is not installed.
    """
    reader = _Reader(path)
    rooms = tuple(reader.rooms())
    if not rooms:
        count = len(reader.model.by_type("IfcSpace"))
        raise _refuse(
            path,
            f"{path.name} has no spaces with a shape",
            f"rooms are read from IfcSpace; the model has {count} of them, none with geometry",
            "ask for an export with rooms (spaces) included",
        )
    imperial = 0.3 < reader.scale < 0.31 or abs(reader.scale - 0.0254) < 1e-6
    return PlanProposal(
        source=f"{path.name} ({reader.model.schema})",
        storeys=tuple(reader.storeys.values()),
        rooms=rooms,
        is_imperial=imperial,
        notes=("Ceilings are taken as plasterboard unless the file says otherwise.",),
    )
