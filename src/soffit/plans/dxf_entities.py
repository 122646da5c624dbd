"""What a DXF file draws, flattened: segments, arcs, texts, dimensions, blocks, in drawing units."""

import logging
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from soffit.errors import MissingExtraError, SoffitError
from soffit.plans.files import refuse
from soffit.plans.labels import plain_text

_MOST_PIECES: Final = 400_000
_MOST_DEPTH: Final = 12
_FARTHEST: Final = 1e12
_LINES: Final = frozenset(
    {"LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "SOLID", "TRACE"}
)
_TEXTS: Final = frozenset({"TEXT", "MTEXT", "ATTRIB"})


@dataclass(frozen=True, slots=True, kw_only=True)
class RawText:
    """One text with its middle and letter height in drawing units."""

    text: str
    at: tuple[float, float]
    height: float
    layer: str
    is_underlined: bool = False
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RawArc:
    """A circular arc in drawing units; angles in radians, counter-clockwise."""

    centre: tuple[float, float]
    radius: float
    start_rad: float
    end_rad: float
    layer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RawBlock:
    """A placed block: its name, attributes and the points that it covers in drawing units."""

    name: str
    layer: str
    at: tuple[float, float]
    points: NDArray[np.float64]
    attributes: tuple[tuple[str, str], ...] = ()
    handle: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RawRing:
    """A closed outline in drawing units."""

    points: NDArray[np.float64]
    layer: str


@dataclass(slots=True)
class Drawing:
    """All of a drawing's model space.

    Parameters
    ----------
    segments
        Ends (x1, y1, x2, y2) by layer, in drawing units.
    dimensions
        Printed text and measured length of each dimension.
    unit_code, measurement
        What the header says.
    """

    segments: dict[str, list[tuple[float, float, float, float]]] = field(default_factory=dict)
    arcs: list[RawArc] = field(default_factory=list)
    texts: list[RawText] = field(default_factory=list)
    blocks: list[RawBlock] = field(default_factory=list)
    rings: list[RawRing] = field(default_factory=list)
    dimensions: list[tuple[str, float, int]] = field(default_factory=list)
    unit_code: int = 0
    measurement: int = 1
    version: str = ""
    damages: int = 0
    count: int = 0


def _library() -> Any:  # noqa: ANN401 untyped library
    try:
        import ezdxf
        import ezdxf.path
        import ezdxf.recover
    except ImportError as error:
        msg = "reading DXF needs ezdxf"
        raise MissingExtraError(
            msg, where="soffit read", why="it is not installed", do="pip install ezdxf"
        ) from error
    return ezdxf


def load_drawing(path: Path) -> Drawing:
    """Read a DXF file, damaged ones too, and flatten it.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    Drawing
        Its model space, blocks exploded.

    Raises
    ------
    JobError
        If it cannot be read, is empty, or holds more than can be sensible.
    MissingExtraError
        If the library is not installed.
    """
    shelf = _library()
    try:
        document, damages = _opened(shelf, path)
    except (OSError, shelf.DXFError, ValueError, LookupError, TypeError, StopIteration) as error:
        raise refuse(
            path,
            f"{path.name} cannot be read as DXF",
            f"the reader says: {' '.join(str(error).split())[:200] or type(error).__name__}",
            "ask for the drawing saved again as DXF (2007 or later), or as PDF",
        ) from error
    except AttributeError as error:  # a header of nonsense
        raise refuse(
            path,
            f"{path.name} cannot be read as DXF",
            f"it is damaged: {str(error)[:150]}",
            "ask for the drawing saved again as DXF (2007 or later), or as PDF",
        ) from error
    drawing = Drawing(
        unit_code=_whole(document.header.get("$INSUNITS", 0)),
        measurement=_whole(document.header.get("$MEASUREMENT", 1)),
        version=str(document.dxfversion),
        damages=damages,
    )
    flattener = _Flattener(shelf, drawing, path)
    flattener.take(document.modelspace(), depth=0)
    if not drawing.segments and not drawing.rings:
        raise refuse(
            path,
            f"{path.name} draws no lines in its model space",
            "rooms are found between lines",
            "ask for the drawing with its reference files bound into it, or as PDF",
        )
    return drawing


def _opened(shelf: Any, path: Path) -> tuple[Any, int]:  # noqa: ANN401 untyped library
    """Open a drawing the quick way, or the patient way if it is damaged."""
    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)  # damages are counted, not printed
    try:
        return shelf.readfile(str(path)), 0
    except (shelf.DXFError, ValueError, LookupError, TypeError, AttributeError, StopIteration):
        document, auditor = shelf.recover.readfile(str(path))
        return document, len(auditor.errors)


def _whole(value: Any) -> int:  # noqa: ANN401 any value of a header
    try:
        return int(value)
    except (TypeError, ValueError):
        return 0


class _Flattener:
    def __init__(self, shelf: Any, drawing: Drawing, path: Path) -> None:  # noqa: ANN401 untyped
        self.shelf, self.drawing, self.path = shelf, drawing, path
        self.extent = 0.0

    def take(self, entities: Iterable[Any], *, depth: int, layer: str = "0") -> None:
        for entity in entities:
            self._count()
            try:
                self._one(entity, depth, layer)
            except SoffitError:
                raise
            except (ValueError, TypeError, ZeroDivisionError, ArithmeticError, AttributeError,
                    IndexError, KeyError, self.shelf.DXFError):  # fmt: skip
                self.drawing.damages += 1

    def _count(self) -> None:
        self.drawing.count += 1
        if self.drawing.count > _MOST_PIECES:
            raise refuse(
                self.path,
                f"{self.path.name} draws more than {_MOST_PIECES:,} things",
                "blocks within blocks multiply; no floor plan has so many lines",
                "ask for one storey, without furniture, hatching and reference files",
            )

    def _one(self, entity: Any, depth: int, inherited: str) -> None:  # noqa: ANN401 untyped
        kind = entity.dxftype()
        layer = str(entity.dxf.get("layer", "0"))
        if layer == "0":
            layer = inherited
        if entity.dxf.get("invisible", 0):
            return
        if kind == "INSERT":
            self._insert(entity, depth, layer)
        elif kind in _TEXTS:
            self._text(entity, layer)
        elif kind == "DIMENSION":
            self._dimension(entity)
        elif kind in _LINES:
            self._line(entity, kind, layer)

    def _insert(self, entity: Any, depth: int, layer: str) -> None:  # noqa: ANN401 untyped
        if depth >= _MOST_DEPTH:
            return
        name = str(entity.dxf.name)
        before = {key: len(value) for key, value in self.drawing.segments.items()}
        rings = len(self.drawing.rings)
        if entity.mcount > 1:
            for single in entity.multi_insert():
                self._count()
                self._insert(single, depth + 1, layer)
            return
        self.take(entity.virtual_entities(), depth=depth + 1, layer=layer)
        self.take(entity.attribs, depth=depth + 1, layer=layer)
        points = [
            point
            for key, lines in self.drawing.segments.items()
            for line in lines[before.get(key, 0) :]
            for point in (line[:2], line[2:])
        ]
        points += [tuple(point) for ring in self.drawing.rings[rings:] for point in ring.points]
        at = (float(entity.dxf.insert.x), float(entity.dxf.insert.y))
        if not _is_sound(at):
            return
        self.drawing.blocks.append(
            RawBlock(
                name=name,
                layer=layer,
                at=at,
                points=np.array(points or [at], dtype=np.float64).reshape(-1, 2),
                attributes=tuple(
                    (str(item.dxf.tag), str(item.dxf.text)) for item in entity.attribs
                ),
                handle=str(entity.dxf.handle or ""),
            )
        )

    def _text(self, entity: Any, layer: str) -> None:  # noqa: ANN401 untyped
        is_block = entity.dxftype() == "MTEXT"
        raw = entity.plain_text() if is_block else entity.dxf.text
        height = float(entity.dxf.char_height if is_block else entity.dxf.height)
        lines = [plain_text(line) for line in str(raw).splitlines()]
        x, y, across, down = self._anchor(entity, is_block)
        turn = math.radians(float(entity.get_rotation() if is_block else entity.dxf.rotation))
        cos, sin = math.cos(turn), math.sin(turn)
        for number, line in enumerate(lines):
            if not line:
                continue
            right = 0.62 * height * len(line) * (0.5 - across)
            up = height * (0.5 - down) - number * 1.6 * height
            middle = (x + right * cos - up * sin, y + right * sin + up * cos)
            if _is_sound(middle) and math.isfinite(height):
                self.drawing.texts.append(
                    RawText(
                        text=line[:200],
                        at=middle,
                        height=abs(height),
                        layer=layer,
                        is_underlined="%%u" in str(raw).lower(),
                        turn_rad=turn,
                    )
                )

    def _anchor(self, entity: Any, is_block: bool) -> tuple[float, float, float, float]:  # noqa: ANN401 untyped
        """Return the anchor and where it lies in the line: 0 left or bottom, 1 right or top."""
        if is_block:
            point = int(entity.dxf.get("attachment_point", 1)) - 1
            at = entity.dxf.insert
            return float(at.x), float(at.y), (point % 3) / 2.0, 1.0 - (point // 3) / 2.0
        halign, valign = int(entity.dxf.get("halign", 0)), int(entity.dxf.get("valign", 0))
        use_second = (halign or valign) and entity.dxf.hasattr("align_point")
        at = entity.dxf.align_point if use_second else entity.dxf.insert
        across = {1: 0.5, 2: 1.0, 4: 0.5}.get(halign, 0.0)
        down = {2: 0.5, 3: 1.0}.get(valign, 0.5 if halign == 4 else 0.0)
        return float(at.x), float(at.y), across, down

    def _dimension(self, entity: Any) -> None:  # noqa: ANN401 untyped
        measured = entity.get_measurement()
        if not isinstance(measured, float | int) or not math.isfinite(measured):
            return
        style = entity.get_dim_style() if hasattr(entity, "get_dim_style") else None
        form = 0
        if entity.dimtype in {0, 1}:
            override = entity.override()
            form = _whole(override.get("dimlunit", 2)) if style is not None else 0
            self.drawing.dimensions.append((str(entity.dxf.get("text", "")), float(measured), form))

    def _line(self, entity: Any, kind: str, layer: str) -> None:  # noqa: ANN401 untyped
        if kind == "LINE":
            a, b = entity.dxf.start, entity.dxf.end
            self._add(layer, [(a.x, a.y), (b.x, b.y)])
            return
        if kind == "ARC":
            centre = entity.ocs().to_wcs(entity.dxf.center)
            mirrored = entity.dxf.extrusion.z < 0
            start, end = math.radians(entity.dxf.start_angle), math.radians(entity.dxf.end_angle)
            if mirrored:
                start, end = math.pi - end, math.pi - start
            if _is_sound((centre.x, centre.y)):
                self.drawing.arcs.append(
                    RawArc(
                        centre=(float(centre.x), float(centre.y)),
                        radius=float(entity.dxf.radius),
                        start_rad=start,
                        end_rad=end,
                        layer=layer,
                    )
                )
            return
        path = self.shelf.path.make_path(entity)
        size = max(self._size(path), 1e-9)
        points = [(point.x, point.y) for point in path.flattening(size / 200.0, segments=4)]
        points = points[:5000]
        closed = getattr(entity, "is_closed", False) or getattr(entity, "closed", False)
        closed = bool(closed) or kind in {"CIRCLE", "SOLID", "TRACE"}
        is_bent = kind in {"LWPOLYLINE", "POLYLINE"} and getattr(entity, "has_arc", False)
        if is_bent:  # its arcs may be the swings of doors
            for part in entity.virtual_entities():
                self._count()
                self._line(part, part.dxftype(), layer)
        else:
            self._add(layer, points)
        if len(points) > 2 and all(map(_is_sound, points)):
            ends_meet = math.dist(points[0], points[-1]) < 1e-3 * size
            if closed or ends_meet:
                ring = points[:-1] if ends_meet else points
                self.drawing.rings.append(RawRing(points=np.array(ring), layer=layer))
                if not ends_meet and not is_bent:
                    self._add(layer, [points[-1], points[0]])

    def _size(self, path: Any) -> float:  # noqa: ANN401 untyped
        box = self.shelf.path.bbox([path], fast=True)
        return float(max(box.size.x, box.size.y)) if box.has_data else 0.0

    def _add(self, layer: str, points: list[tuple[float, float]]) -> None:
        store = self.drawing.segments.setdefault(layer, [])
        for (x1, y1), (x2, y2) in pairwise(points):
            self._count()
            if _is_sound((x1, y1)) and _is_sound((x2, y2)) and (x1, y1) != (x2, y2):
                store.append((float(x1), float(y1), float(x2), float(y2)))


def _is_sound(point: tuple[float, float]) -> bool:
    return all(math.isfinite(value) and abs(value) < _FARTHEST for value in point)


def arc_points(arc: RawArc, count: int = 8) -> Iterator[tuple[float, float]]:
    """Yield points along an arc.

    Parameters
    ----------
    arc
        The arc.
    count
        Pieces.

    Yields
    ------
    tuple
        x and y in drawing units.
    """
    sweep = (arc.end_rad - arc.start_rad) % math.tau or math.tau
    for step in range(count + 1):
        turn = arc.start_rad + sweep * step / count
        yield (
            arc.centre[0] + arc.radius * math.cos(turn),
            arc.centre[1] + arc.radius * math.sin(turn),
        )
