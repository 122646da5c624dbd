"""What one page of a PDF draws: line segments by pen, door swings, texts, in points as seen."""

import ctypes
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from soffit.errors import MissingExtraError
from soffit.plans.files import refuse

FloatArray = NDArray[np.float64]
Pen = tuple[float, int]
"""Width of a line in points, and its grey: 0 black, 255 white; filled shapes have width -1."""

_MOST_SEGMENTS: Final = 400_000
_MOST_OBJECTS: Final = 400_000
_MOST_DEPTH: Final = 8
_CURVE_STEPS: Final = 4
_WHITE: Final = 245


@dataclass(frozen=True, slots=True, kw_only=True)
class PageText:
    """One run of text: its middle and the height of its line in points, as seen."""

    text: str
    at: tuple[float, float]
    height: float


@dataclass(slots=True)
class Page:
    """One page in points as seen: x to the right, y up, origin at the lower left.

    Parameters
    ----------
    width, height
        Size in points.
    segments
        Ends (x1, y1, x2, y2) by pen.
    swings
        Hinge and both ends of quarter circles.
    """

    width: float
    height: float
    segments: dict[Pen, list[tuple[float, float, float, float]]] = field(default_factory=dict)
    swings: list[tuple[FloatArray, FloatArray, FloatArray]] = field(default_factory=list)
    texts: list[PageText] = field(default_factory=list)
    png: bytes = b""
    png_dpi: float = 0.0
    pages: int = 1
    pictures: int = 0


def _library() -> tuple[Any, Any]:
    try:
        import pypdfium2
        from pypdfium2 import raw
    except ImportError as error:
        msg = "reading PDF needs pypdfium2"
        raise MissingExtraError(
            msg, where="soffit read", why="it is not installed", do="pip install pypdfium2"
        ) from error
    return pypdfium2, raw


def load_page(path: Path, number: int) -> Page:
    """Read one page of a PDF.

    Parameters
    ----------
    path
        The file.
    number
        Page, 1 the first.

    Returns
    -------
    Page
        Its lines, texts and a picture of it.

    Raises
    ------
    JobError
        If the file is damaged, locked, or has no such page.
    MissingExtraError
        If the library is not installed.
    """
    shelf, raw = _library()
    try:
        document = shelf.PdfDocument(str(path))
        count = len(document)
    except shelf.PdfiumError as error:
        locked = "password" in str(error).lower()
        raise refuse(
            path,
            f"{path.name} {'is locked by a password' if locked else 'cannot be read as PDF'}",
            f"the reader says: {str(error)[:150]}",
            "ask for it without a password" if locked else "ask for it again, or for DXF",
        ) from error
    if not 1 <= number <= count:
        raise refuse(
            path,
            f"{path.name} has no page {number}",
            f"it has {count} page(s)",
            "name one of these with --page",
        )
    try:
        page = document[number - 1]
        found = _Reader(shelf, raw, page, path).read()
    except (shelf.PdfiumError, ValueError, OverflowError) as error:
        raise refuse(
            path,
            f"page {number} of {path.name} cannot be read",
            f"it is damaged: {str(error)[:150]}",
            "ask for it again, or for DXF",
        ) from error
    found.pages = count
    return found


class _Reader:
    def __init__(self, shelf: Any, raw: Any, page: Any, path: Path) -> None:  # noqa: ANN401 untyped
        self.shelf, self.raw, self.page, self.path = shelf, raw, page, path
        self.turn = int(page.get_rotation()) % 360
        left, bottom, right, top = page.get_cropbox()
        self.origin = np.array([min(left, right), min(bottom, top)])
        self.size = (abs(right - left), abs(top - bottom))
        wide, high = self.size if self.turn % 180 == 0 else self.size[::-1]
        self.found = Page(width=wide, height=high)
        self.count = 0

    def read(self) -> Page:
        self._objects(self.page.raw, np.eye(3), depth=0, is_form=False)
        self._texts()
        self._picture()
        return self.found

    def _seen(self, points: FloatArray) -> FloatArray:
        """Return points of the page as a person sees it."""
        x, y = (points - self.origin).T
        wide, high = self.size
        turned = {
            0: (x, y),
            90: (y, wide - x),
            180: (wide - x, high - y),
            270: (high - y, x),
        }[self.turn]
        return np.column_stack(turned)

    # ------------------------------------------------------------------- objects
    def _objects(self, parent: Any, matrix: FloatArray, *, depth: int, is_form: bool) -> None:  # noqa: ANN401 untyped
        raw = self.raw
        count = (raw.FPDFFormObj_CountObjects if is_form else raw.FPDFPage_CountObjects)(parent)
        get = raw.FPDFFormObj_GetObject if is_form else raw.FPDFPage_GetObject
        for index in range(count):
            self.count += 1
            if self.count > _MOST_OBJECTS:
                raise self._too_much()
            item = get(parent, index)
            kind = raw.FPDFPageObj_GetType(item)
            if kind == raw.FPDF_PAGEOBJ_PATH:
                self._path(item, matrix)
            elif kind == raw.FPDF_PAGEOBJ_IMAGE:
                self.found.pictures += 1
            elif kind == raw.FPDF_PAGEOBJ_FORM and depth < _MOST_DEPTH:
                self._objects(item, matrix @ self._matrix(item), depth=depth + 1, is_form=True)

    def _too_much(self) -> Exception:
        return refuse(
            self.path,
            f"{self.path.name} draws more than {_MOST_OBJECTS:,} things on one page",
            "no floor plan has so many lines",
            "ask for a page without hatching and furniture, or for DXF",
        )

    def _matrix(self, item: Any) -> FloatArray:  # noqa: ANN401 untyped
        found = self.raw.FS_MATRIX()
        if not self.raw.FPDFPageObj_GetMatrix(item, found):
            return np.eye(3)
        return np.array([[found.a, found.c, found.e], [found.b, found.d, found.f], [0.0, 0.0, 1.0]])

    def _pen(self, item: Any, matrix: FloatArray) -> Pen | None:  # noqa: ANN401 untyped
        raw = self.raw
        fill, stroke = ctypes.c_int(), ctypes.c_int()
        raw.FPDFPath_GetDrawMode(item, fill, stroke)
        if stroke.value:
            grey = self._grey(item, raw.FPDFPageObj_GetStrokeColor)
            width = ctypes.c_float()
            raw.FPDFPageObj_GetStrokeWidth(item, width)
            scale = math.sqrt(abs(float(np.linalg.det(matrix[:2, :2]))))
            return (round(width.value * scale, 2), grey) if grey < _WHITE else None
        if fill.value:
            grey = self._grey(item, raw.FPDFPageObj_GetFillColor)
            return (-1.0, grey) if grey < _WHITE else None
        return None

    def _grey(self, item: Any, get: Any) -> int:  # noqa: ANN401 untyped
        red, green, blue, alpha = (ctypes.c_uint() for _ in range(4))
        if not get(item, red, green, blue, alpha):
            return 0
        light = (red.value + green.value + blue.value) / 3.0
        return round(255 - (255 - light) * alpha.value / 255.0)

    def _path(self, item: Any, matrix: FloatArray) -> None:  # noqa: ANN401 untyped
        own = matrix @ self._matrix(item)
        pen = self._pen(item, own)
        if pen is None:
            return
        store = self.found.segments.setdefault(pen, [])
        for line in self._lines(item, own):
            if len(line) < 2:
                continue
            for (x1, y1), (x2, y2) in zip(line[:-1].tolist(), line[1:].tolist(), strict=True):
                store.append((x1, y1, x2, y2))
            if len(store) > _MOST_SEGMENTS:
                raise self._too_much()

    def _lines(self, item: Any, matrix: FloatArray) -> Iterator[FloatArray]:  # noqa: ANN401 untyped
        """Yield the polylines of a path as seen; curves are flattened."""
        raw = self.raw
        run: list[tuple[float, float]] = []
        curve: list[tuple[float, float]] = []
        x, y = ctypes.c_float(), ctypes.c_float()
        for index in range(min(raw.FPDFPath_CountSegments(item), _MOST_SEGMENTS)):
            segment = raw.FPDFPath_GetPathSegment(item, index)
            raw.FPDFPathSegment_GetPoint(segment, x, y)
            point = (float(x.value), float(y.value))
            if not all(math.isfinite(value) and abs(value) < 1e9 for value in point):
                continue
            kind = raw.FPDFPathSegment_GetType(segment)
            if kind == raw.FPDF_SEGMENT_MOVETO:
                yield self._placed(run, matrix)
                run = [point]
            elif kind == raw.FPDF_SEGMENT_LINETO:
                run.append(point)
            elif kind == raw.FPDF_SEGMENT_BEZIERTO:
                curve.append(point)
                if len(curve) == 3 and run:
                    self._swing([run[-1], *curve], matrix)
                    run += _flat(run[-1], curve)
                    curve = []
            if raw.FPDFPathSegment_GetClose(segment) and run:
                run.append(run[0])
                yield self._placed(run, matrix)
                run = [run[0]]
        yield self._placed(run, matrix)

    def _placed(self, run: list[tuple[float, float]], matrix: FloatArray) -> FloatArray:
        if len(run) < 2:
            return np.zeros((0, 2))
        points = np.column_stack([np.array(run), np.ones(len(run))]) @ matrix.T
        return self._seen(points[:, :2])

    def _swing(self, curve: list[tuple[float, float]], matrix: FloatArray) -> None:
        """Keep a quarter circle as a door's swing: hinge and both ends."""
        start, one, two, end = self._placed(curve, matrix)
        first, second = one - start, end - two
        across = first[0] * second[1] - first[1] * second[0]
        size = float(np.hypot(*first) * np.hypot(*second))
        if size < 1e-9 or abs(across) < 0.98 * size:
            return
        reach = ((end - start)[0] * second[1] - (end - start)[1] * second[0]) / across
        corner = start + reach * first
        radii = np.hypot(*(corner - start)), np.hypot(*(corner - end))
        if min(radii) < 1e-6 or abs(radii[0] - radii[1]) > 0.03 * max(radii):
            return
        self.found.swings.append((start + end - corner, start, end))

    # --------------------------------------------------------------------- texts
    def _texts(self) -> None:
        page = self.page.get_textpage()
        for index in range(min(page.count_rects(), 20_000)):
            left, bottom, right, top = page.get_rect(index)
            text = " ".join(page.get_text_bounded(left, bottom, right, top).split())
            if not text:
                continue
            corners = self._seen(np.array([[left, bottom], [right, top]]))
            low, high = corners.min(axis=0), corners.max(axis=0)
            middle = (low + high) / 2.0
            self.found.texts.append(
                PageText(
                    text=text[:200],
                    at=(float(middle[0]), float(middle[1])),
                    height=float(min(high - low)),
                )
            )

    def _picture(self) -> None:
        import io

        dpi = min(150.0, 72.0 * 4000.0 / max(self.found.width, self.found.height, 1.0))
        image = self.page.render(scale=dpi / 72.0).to_pil().convert("L")
        stream = io.BytesIO()
        image.save(stream, "PNG", optimize=False)
        self.found.png, self.found.png_dpi = stream.getvalue(), dpi


def _flat(
    start: tuple[float, float], curve: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    points = np.array([start, *curve])
    found = []
    for step in range(1, _CURVE_STEPS + 1):
        t = step / _CURVE_STEPS
        weights = np.array([(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3])
        x, y = weights @ points
        found.append((float(x), float(y)))
    return found
