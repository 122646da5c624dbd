"""A photograph or scan of a plan, straightened by known corners, as an underlay to draw on."""

import io
import math
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from soffit.errors import DomainError, JobError
from soffit.plans.calibrate import Corner, homography_by, project, similar_by
from soffit.plans.files import refuse
from soffit.plans.proposal import PlanProposal, ReadWishes, StoreyProposal, Underlay

FloatArray = NDArray[np.float64]

_MOST_PIXELS: Final = 80_000_000
_SHEET_PIXELS: Final = 4000
_MOST_M: Final = 2000.0
_NEVER: Final = "Never drill from a photograph: measure what matters in the room."


def read_photo(path: Path, wishes: ReadWishes | None = None) -> PlanProposal:
    """Read a photograph or scan.

    Parameters
    ----------
    path
        PNG, JPEG, TIFF, WebP, BMP or GIF.
    wishes
        Known corners: pixel from the upper left = place on the plan. Four straighten the picture,
        two only scale and turn it. [m]

    Returns
    -------
    PlanProposal
        No rooms: the straightened picture as an underlay.

    Raises
    ------
    JobError
        If it cannot be opened, is unreasonably large, or corners are missing.
    """
    wishes = wishes or ReadWishes()
    image = _open(path)
    if len(wishes.corners) < 2:
        raise refuse(
            path,
            f"{path.name} is a picture without known corners",
            f"its scale is not known; it has {image.width} x {image.height} pixels",
            "name four corners of something rectangular: --corner 120,80=0,0 and three more"
            " (pixels from the upper left = metres on the plan)",
        )
    _check_inside(path, image, wishes.corners)
    try:
        if len(wishes.corners) >= 4:
            underlay, error_m = _straightened(path, image, wishes.corners)
            note = (
                f"Straightened by {len(wishes.corners)} corners, which fit within {error_m:.3f} m."
            )
        else:
            underlay, error_m = _scaled(path, image, wishes.corners)
            note = (
                "Scaled and turned by two or three corners only: if the picture was not taken"
                " straight from above, it is distorted; give four corners."
            )
    except DomainError as error:
        problem = error.problems[0]
        raise JobError(
            what=problem.what, where=str(path), why=problem.why, do=problem.do
        ) from error
    return PlanProposal(
        source=f"{path.name} (picture)",
        storeys=(StoreyProposal(key="ground", label="Storey as drawn", elevation_m=0.0),),
        rooms=(),
        notes=(note, _NEVER, "Rooms are not read from pictures: draw them on the underlay."),
        underlays=(underlay,),
    )


def preview(path: Path, most: int) -> tuple[bytes, int, int]:
    """Return a picture small enough to be looked at, as WebP, with the size that the file has.

    Parameters
    ----------
    path
        The file.
    most
        Most pixels across or up.

    Returns
    -------
    tuple
        The small picture, and pixels of the file across and up.

    Raises
    ------
    JobError
        If it cannot be opened, or is unreasonably large.
    """
    image = _open(path)
    wide, tall = image.size
    image.thumbnail((most, most))
    stream = io.BytesIO()
    image.save(stream, "WEBP", quality=70, method=3)
    return stream.getvalue(), wide, tall


def _open(path: Path) -> Any:  # noqa: ANN401 a picture of the library
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # told below
            image = Image.open(path)
        with image:
            if image.width * image.height > _MOST_PIXELS:
                raise refuse(
                    path,
                    f"{path.name} has {image.width} x {image.height} pixels",
                    f"pictures up to {_MOST_PIXELS / 1e6:.0f} million pixels are opened",
                    "make it smaller first",
                )
            return ImageOps.exif_transpose(image).convert("L")
    except JobError:
        raise
    except (
        UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError,
    ) as error:  # fmt: skip
        raise refuse(
            path,
            f"{path.name} cannot be opened as a picture",
            f"the reader says: {' '.join(str(error).split())[:150]}",
            "send it again as PNG or JPEG",
        ) from error


def _check_inside(path: Path, image: Any, corners: Sequence[Corner]) -> None:  # noqa: ANN401 a picture
    for x, y, to_x, to_y in corners:
        if not (-0.5 <= x <= image.width + 0.5 and -0.5 <= y <= image.height + 0.5):
            raise refuse(
                path,
                f"corner {x:g},{y:g} lies outside the picture",
                f"it has {image.width} x {image.height} pixels, counted from the upper left",
                "give places inside it",
            )
        if not all(math.isfinite(v) and abs(v) <= _MOST_M for v in (to_x, to_y)):
            raise refuse(
                path,
                f"corner {to_x:g},{to_y:g} is no place on a plan",
                f"places are metres within {_MOST_M:g} m of the origin",
                "write metres",
            )


def _straightened(path: Path, image: Any, corners: Sequence[Corner]) -> tuple[Underlay, float]:  # noqa: ANN401 a picture
    """Lay the picture flat: each pixel of the plan is looked up where it lies in the picture."""
    from PIL import Image

    matrix = homography_by(corners)
    known = np.array(corners)
    error = float(np.abs(project(matrix, known[:, :2]) - known[:, 2:]).max())
    low, high = known[:, 2:].min(axis=0), known[:, 2:].max(axis=0)
    margin = 0.5 * (high - low).max()
    low, high = _seen_part(matrix, image, low - margin, high + margin)
    pixel = float(max(high - low)) / _SHEET_PIXELS
    wide, tall = (max(1, math.ceil(side / pixel)) for side in high - low)
    to_plan = np.array([[pixel, 0, low[0]], [0, -pixel, high[1]], [0, 0, 1]])
    back = np.linalg.inv(matrix) @ to_plan
    back = back / back[2, 2]
    flat = image.transform(
        (wide, tall),
        Image.Transform.PERSPECTIVE,
        back.ravel()[:8].tolist(),
        Image.Resampling.BILINEAR,
        fillcolor=255,
    )
    return _as_underlay(path, flat, (float(low[0]), float(high[1] - tall * pixel)), pixel), error


def _seen_part(
    matrix: FloatArray,
    image: Any,  # noqa: ANN401 a picture
    low: FloatArray,
    high: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return the box of the plan that the picture shows, not far beyond the known corners."""
    edge = np.array(
        [[0, 0], [image.width, 0], [image.width, image.height], [0, image.height]], dtype=float
    )
    lifted = np.column_stack([edge, np.ones(4)]) @ matrix.T
    if np.all(lifted[:, 2] > 1e-9):
        shown = lifted[:, :2] / lifted[:, 2:]
        return np.maximum(low, shown.min(axis=0)), np.minimum(high, shown.max(axis=0))
    return low, high


def _scaled(path: Path, image: Any, corners: Sequence[Corner]) -> tuple[Underlay, float]:  # noqa: ANN401 a picture
    upright = [(x, image.height - y, to_x, to_y) for x, y, to_x, to_y in corners]
    place = similar_by(upright)
    known = np.array(upright)
    error = float(np.abs(place(known[:, :2]) - known[:, 2:]).max())
    origin = place(np.zeros((1, 2)))[0]
    found = _as_underlay(path, image, (float(origin[0]), float(origin[1])), place.scale)
    return (
        Underlay(
            name=found.name,
            png=found.png,
            origin=found.origin,
            pixel_m=found.pixel_m,
            turn_rad=place.turn_rad,
        ),
        error,
    )


def _as_underlay(path: Path, image: Any, origin: tuple[float, float], pixel_m: float) -> Underlay:  # noqa: ANN401 a picture
    stream = io.BytesIO()
    image.save(stream, "PNG")
    return Underlay(
        name=f"{path.stem}-underlay.png",
        png=stream.getvalue(),
        origin=(round(origin[0], 4), round(origin[1], 4)),
        pixel_m=pixel_m,
    )
