"""What rooms are drawn on: lines and pictures of plan files, as they lie in the job's ``plans``."""

import hashlib
import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from soffit.errors import SoffitError, TableError
from soffit.work.read_plan_keep import LINES_ENDING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_MOST_BYTES: Final = 60_000_000
_MOST_FILES: Final = 40
_MOST_MM: Final = 100_000_000
_PICTURE_PIXELS: Final = 2400
_MOST_CACHED: Final = 16

Stamp = tuple[str, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Underlay:
    """One thing to draw rooms on.

    Parameters
    ----------
    mark
        Hash of its content: the same address never shows anything else.
    kind
        Lines, whose ends a hand snaps to, or a picture.
    name
        File that it was read from.
    storey
        Key of its storey; empty where the file does not tell.
    box
        Left, low, right and high edge. [m]
    place
        Of a picture: origin x and y, size of a pixel, turn, pixels across and up. [m] [rad]
    content
        Lines packed, or the file of the picture.
    """

    mark: str
    kind: Literal["lines", "picture"]
    name: str
    storey: str
    count: int
    box: tuple[float, float, float, float]
    place: tuple[float, float, float, float, int, int] | None
    content: bytes | Path

    def as_dict(self) -> dict[str, Any]:
        """Return what the page needs before it asks for the content."""
        return {
            "mark": self.mark,
            "kind": self.kind,
            "name": self.name,
            "storey": self.storey,
            "count": self.count,
            "box": [round(value, 3) for value in self.box],
            "place": list(self.place) if self.place else None,
        }


class Underlays:
    """What rooms of a job can be drawn on; each file is read once.

    Parameters
    ----------
    folder
        Folder of the job.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._read: dict[Stamp, tuple[Underlay, ...]] = {}
        self._pictures: dict[str, bytes] = {}

    def items(self) -> tuple[Underlay, ...]:
        """Return what can be drawn on, lines before pictures."""
        plans = self.folder / "plans"
        files = sorted(plans.glob(f"*{LINES_ENDING}")) + sorted(plans.glob("*.png.json"))
        found: list[Underlay] = []
        for path in files[:_MOST_FILES]:
            state = path.stat()
            key = (path.name, state.st_mtime_ns, state.st_size)
            if key not in self._read:
                while len(self._read) >= _MOST_CACHED:
                    self._read.pop(next(iter(self._read)))
                self._read[key] = _read(path, state.st_size)
            found += self._read[key]
        return tuple(found)

    def content(self, mark: str) -> tuple[bytes, str]:
        """Return the content of an underlay and its media type.

        Parameters
        ----------
        mark
            As listed.

        Raises
        ------
        TableError
            If it is not there any more.
        """
        for item in self.items():
            if item.mark != mark:
                continue
            if isinstance(item.content, bytes):
                return item.content, "application/octet-stream"
            if mark not in self._pictures:
                while len(self._pictures) >= _MOST_CACHED:
                    self._pictures.pop(next(iter(self._pictures)))
                self._pictures[mark] = _small(item.content)
            return self._pictures[mark], "image/webp"
        msg = "this underlay is not here any more"
        raise TableError(
            msg, where="plans", why="the plan was read again, or taken away", do="load the page"
        )


def _small(path: Path) -> bytes:
    """Return a picture small enough for a phone; a stranger's file is opened in a child."""
    from soffit.child import run_limited
    from soffit.plans.photo import preview

    return run_limited(preview, path, _PICTURE_PIXELS)[0]


def _read(path: Path, size: int) -> tuple[Underlay, ...]:
    """Read one file of the folder ``plans``; a damaged one shows nothing, the job goes on."""
    if size > _MOST_BYTES:
        return ()
    try:
        text = path.read_bytes()
        body = json.loads(text)
        if path.name.endswith(LINES_ENDING):
            return _lines(path.name.removesuffix(LINES_ENDING), body)
        return _picture(path, text, body)
    except (
        OSError,
        ArithmeticError,
        ValueError,
        LookupError,
        TypeError,
        AttributeError,
        SoffitError,
    ):
        return ()


def _lines(name: str, body: dict[str, Any]) -> tuple[Underlay, ...]:
    import numpy as np

    found = []
    for storey, values in body["storeys"].items():
        ends = np.asarray(values, dtype=np.int64).reshape(-1, 4)
        if not len(ends) or np.abs(ends).max() > _MOST_MM:
            continue
        content = packed_lines(ends)
        x, y = ends[:, 0::2], ends[:, 1::2]
        found.append(
            Underlay(
                mark=hashlib.sha256(content + storey.encode()).hexdigest()[:20],
                kind="lines",
                name=name,
                storey=str(storey),
                count=len(ends),
                box=tuple(float(v) / 1e3 for v in (x.min(), y.min(), x.max(), y.max())),  # type: ignore[arg-type] # four of them
                place=None,
                content=content,
            )
        )
    return tuple(found)


def packed_lines(ends: "NDArray[np.int64]") -> bytes:
    """Return lines as the page unpacks them: 32-bit differences, a column after the other.

    Parameters
    ----------
    ends : (n, 4)
        Ends x1, y1, x2, y2. [mm]

    Returns
    -------
    bytes
        x1, y1, and from there x2 and y2; each but the first as the step from the line before, so
        that it is small on the way.
    """
    import numpy as np

    columns = [ends[:, 0], ends[:, 1], ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]]
    steps = [np.diff(column, prepend=0) for column in columns]
    return np.concatenate(steps).astype("<i4").tobytes()


def _picture(path: Path, text: bytes, body: dict[str, Any]) -> tuple[Underlay, ...]:
    from PIL import Image

    file = path.with_name(str(body["picture"]))
    if file.parent != path.parent or not file.is_file():
        return ()
    with Image.open(file) as picture:  # its head alone; pixels are read in a child
        wide, tall = picture.size
    x, y = (float(value) for value in body["origin_m"])
    pixel, turn = float(body["pixel_m"]), float(body["turn_rad"])
    if not (all(map(math.isfinite, (x, y, pixel, turn))) and 0.0 < pixel < 100.0):
        return ()
    c, s = math.cos(turn), math.sin(turn)
    corners = [(u * pixel, v * pixel) for u in (0, wide) for v in (0, tall)]
    xs = [x + u * c - v * s for u, v in corners]
    ys = [y + u * s + v * c for u, v in corners]
    mark = hashlib.sha256(text + str(file.stat().st_mtime_ns).encode()).hexdigest()[:20]
    return (
        Underlay(
            mark=mark,
            kind="picture",
            name=file.name,
            storey=str(body.get("storey", "")),
            count=0,
            box=(min(xs), min(ys), max(xs), max(ys)),
            place=(x, y, pixel, turn, wide, tall),
            content=file,
        ),
    )
