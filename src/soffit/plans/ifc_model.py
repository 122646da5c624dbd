"""IFC models: opening them, and the shapes of their elements in metres and plan coordinates."""

import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from soffit.errors import JobError, MissingExtraError
from soffit.plans.files import refuse

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

FAR_M: Final = 5000.0
"""Plans further from their origin are moved, so that a job's coordinates stay readable. [m]"""

_MOST_FACES: Final = 400_000
_MOST_UNZIPPED: Final = 2_000_000_000
_MOST_RATIO: Final = 200


@dataclass(frozen=True, slots=True)
class Mesh:
    """Corners (n, 3) in metres and triangles (m, 3) of one element."""

    corners: FloatArray
    faces: IntArray

    @property
    def low(self) -> float:
        """Lowest level. [m]."""
        return float(self.corners[:, 2].min())

    @property
    def high(self) -> float:
        """Highest level. [m]."""
        return float(self.corners[:, 2].max())

    def moved(self, shift: FloatArray) -> "Mesh":
        """Return the mesh moved by ``shift`` (3,). [m]."""
        return Mesh(self.corners + shift, self.faces)


def library() -> Any:  # noqa: ANN401 untyped library
    """Return ifcopenshell, or say how to install it.

    Raises
    ------
    MissingExtraError
        If it is not installed.
    """
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
            do='pip install "soffit[ifc]"',
        ) from error
    return ifcopenshell


@contextmanager
def _step_file(path: Path) -> Iterator[Path]:
    """Give the STEP file itself, unpacked with limits where it comes in an archive."""
    with path.open("rb") as handle:
        zipped = handle.read(4).startswith(b"PK")
    if not zipped:
        yield path
        return
    with zipfile.ZipFile(path) as archive, tempfile.TemporaryDirectory() as folder:
        inside = [item for item in archive.infolist() if item.filename.lower().endswith(".ifc")]
        item = max(inside, key=lambda entry: entry.file_size)
        ratio = item.file_size / max(1, item.compress_size)
        if item.file_size > _MOST_UNZIPPED or ratio > _MOST_RATIO or item.flag_bits & 1:
            locked = "it is locked by a password" if item.flag_bits & 1 else "it would unpack to"
            size = "" if item.flag_bits & 1 else f" {item.file_size / 1e6:.0f} MB"
            raise refuse(
                path,
                f"{path.name} is an archive that is not opened",
                f"{locked}{size}",
                "take the .ifc out of the archive yourself and read that",
            )
        target = Path(folder) / "model.ifc"
        with archive.open(item) as source, target.open("wb") as sink:
            left = item.file_size
            while chunk := source.read(min(1 << 20, left + 1)):
                left -= len(chunk)
                if left < 0:
                    raise refuse(
                        path,
                        f"{path.name} is a damaged archive",
                        "it holds more than it says",
                        "send or copy it again",
                    )
                sink.write(chunk)
        yield target


def open_model(path: Path) -> Any:  # noqa: ANN401 untyped library
    """Open a model, or say why it is none.

    Parameters
    ----------
    path
        The file; STEP text, alone or in an archive.

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
    shelf = library()
    try:
        with _step_file(path) as step:
            model = shelf.open(str(step))
    except JobError:
        raise
    except Exception as error:
        raise refuse(
            path,
            f"{path.name} cannot be read as IFC",
            f"the reader says: {' '.join(str(error).split())[:200]}",
            "open it in the program that made it and export it again",
        ) from error
    if not str(model.schema).upper().startswith("IFC"):
        raise refuse(
            path,
            f"{path.name} is STEP text of another kind",
            f"its schema is {model.schema}, not one of IFC",
            "ask for the building model as IFC 2x3 or IFC 4",
        )
    return model


class Mesher:
    """Shapes in metres and world coordinates; a shape that types share is meshed once."""

    def __init__(self, model: Any) -> None:  # noqa: ANN401 untyped library
        self._shelf = library()
        self._settings = self._shelf.geom.settings()
        self._settings.set("weld-vertices", True)
        self.scale = length_scale(model)
        self.failed: list[str] = []
        self._shared: dict[tuple[Any, ...], Mesh | None] = {}

    def mesh(self, element: Any) -> Mesh | None:  # noqa: ANN401 untyped library
        """Return the shape of an element; ``None`` for what has no sound one.

        Parameters
        ----------
        element
            An element with a placement.
        """
        try:
            key = self._share_key(element)
        except (AttributeError, TypeError, RuntimeError):  # a damaged file
            key = None
        if key is None:
            local = self._local(element)
        else:
            if key not in self._shared:
                self._shared[key] = self._local(element)
            local = self._shared[key]
        if local is None:
            return None
        matrix = self.matrix(element)
        if not np.all(np.isfinite(matrix)):
            return None
        return Mesh(local.corners @ matrix[:3, :3].T + matrix[:3, 3], local.faces)

    def matrix(self, element: Any) -> FloatArray:  # noqa: ANN401 untyped library
        """Return the placement of an element as a matrix (4, 4) in metres.

        Parameters
        ----------
        element
            An element; the identity if it has no placement.
        """
        placement = getattr(element, "ObjectPlacement", None)
        if placement is None:
            return np.eye(4)
        try:
            found = self._shelf.util.placement.get_local_placement(placement)
        except (AttributeError, ValueError, RuntimeError, ZeroDivisionError, IndexError):
            return np.eye(4)
        matrix = np.asarray(found, dtype=np.float64).copy()
        matrix[:3, 3] *= self.scale
        return matrix

    def _share_key(self, element: Any) -> tuple[Any, ...] | None:  # noqa: ANN401 untyped library
        shape = getattr(element, "Representation", None)
        if shape is None or getattr(element, "HasOpenings", None):
            return None
        for representation in shape.Representations or ():
            items: Any = representation.Items or ()
            if representation.RepresentationIdentifier != "Body" or len(items) != 1:
                continue
            if not items[0].is_a("IfcMappedItem"):
                return None
            target = items[0].MappingTarget
            origin = target.LocalOrigin.Coordinates if target.LocalOrigin else ()
            axes = [getattr(target, name, None) for name in ("Axis1", "Axis2", "Axis3")]
            ratios = [value for axis in axes if axis for value in axis.DirectionRatios]
            return (float(items[0].MappingSource.id()), target.Scale or 1.0, *origin, *ratios)
        return None

    def _local(self, element: Any) -> Mesh | None:  # noqa: ANN401 untyped library
        try:
            shape = self._shelf.geom.create_shape(self._settings, element)
        except (RuntimeError, ValueError, TypeError) as error:
            self.failed.append(f"{element.is_a()} {element.Name or ''}: {str(error)[:120]}")
            return None
        corners = np.asarray(shape.geometry.verts, dtype=np.float64).reshape(-1, 3)
        faces = np.asarray(shape.geometry.faces, dtype=np.int64).reshape(-1, 3)
        if not len(faces) or len(faces) > _MOST_FACES or not np.all(np.isfinite(corners)):
            return None
        return Mesh(corners, faces)


def length_scale(model: Any) -> float:  # noqa: ANN401 untyped library
    """Return the length of one unit of the file. [m].

    Parameters
    ----------
    model
        The model.
    """
    try:
        scale = float(library().util.unit.calculate_unit_scale(model))
    except (AttributeError, ValueError, RuntimeError, TypeError, IndexError):
        return 1.0
    return scale if np.isfinite(scale) and scale > 0 else 1.0


def names_of(element: Any) -> list[str]:  # noqa: ANN401 untyped library
    """Return what an element, its type and its materials are called, the nearest first.

    Parameters
    ----------
    element
        Any element.

    Returns
    -------
    list of str
        Names without empty ones.
    """
    util = library().util.element
    kind = util.get_type(element)
    found = [element.Name, getattr(element, "ObjectType", None)]
    if kind is not None:
        found += [kind.Name, getattr(kind, "ElementType", None)]
    with suppress(AttributeError, RuntimeError, TypeError):
        found += [material.Name for material in util.get_materials(element)]
    return [str(name) for name in found if name]
