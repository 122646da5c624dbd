"""Rooms from a page of a PDF, and always the page itself as an underlay to draw on."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from soffit.model.survey import Point
from soffit.plans.calibrate import POINT_M, Similar, scale_notes, similar_by
from soffit.plans.door_swings import closed_doors
from soffit.plans.drawn_lines import drawn_lines
from soffit.plans.labels import DrawnText, room_labels
from soffit.plans.pdf_page import Page, load_page
from soffit.plans.proposal import (
    PlanProposal,
    ReadWishes,
    RoomProposal,
    StoreyProposal,
    Underlay,
)
from soffit.plans.rooms_of_lines import PlanLines, propose_rooms

if TYPE_CHECKING:
    from collections.abc import Iterator

FloatArray = NDArray[np.float64]

_ASSUMED_SCALE: Final = 100.0
_THICK_RATIO: Final = 0.08
_SNAP_MOST: Final = 4000
_DOOR_M: Final = (0.5, 1.7)
_MOST_SURE: Final = {"corners": 0.95, "asked": 0.9, "note": 0.85, "notes": 0.6, "assumed": 0.3}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scale:
    """From points on the page to the plan, and who says so."""

    place: Similar
    source: str
    text: str


def read_pdf(path: Path, wishes: ReadWishes | None = None) -> PlanProposal:
    """Read a page of a PDF.

    Parameters
    ----------
    path
        The file.
    wishes
        Page, scale or known corners, and ceilings that a person states.

    Returns
    -------
    PlanProposal
        Rooms, none of them surer than the scale; the page as an underlay with points to snap to.

    Raises
    ------
    JobError
        If it is damaged, locked by a password, or has no such page.
    MissingExtraError
        If the library is not installed.
    """
    wishes = wishes or ReadWishes()
    page = load_page(path, wishes.page)
    scale = _scale(page, wishes)
    lines, picked = _best(page, scale, wishes)
    rooms, notes, aside = propose_rooms(lines, wishes) if len(lines.walls) else ([], [], [])
    limit = _MOST_SURE[scale.source]
    rooms = [replace(room, confidence=min(room.confidence, limit)) for room in rooms]
    if scale.source in {"notes", "assumed"}:
        rooms = [replace(room, doubts=(*room.doubts, scale.text)) for room in rooms]
    said = [f"Page {wishes.page} of {page.pages}. {scale.text}", picked, *notes]
    if not len(lines.walls):
        said.append("The page holds no lines: it is a scan. Draw the rooms on the underlay.")
    storey = StoreyProposal(key="ground", label=f"Page {wishes.page}", elevation_m=0.0)
    return PlanProposal(
        source=f"{path.name} (PDF, page {wishes.page})",
        storeys=(storey,),
        rooms=tuple(rooms),
        is_imperial="'" in scale.text or _is_feet(page),
        notes=tuple(text for text in said if text),
        set_aside=tuple(aside[:40]),
        linework=_linework(lines.walls),
        underlays=(_underlay(path, page, scale, wishes.page),),
        drawn=(drawn_lines(storey.key, [_segments(page, list(page.segments), scale.place)]),),
    )


def _is_feet(page: Page) -> bool:
    feet = sum("'" in item.text and '"' in item.text for item in page.texts)
    return feet > 3


def _scale(page: Page, wishes: ReadWishes) -> _Scale:
    if len(wishes.corners) >= 2:
        place = similar_by(wishes.corners)
        ratio = place.scale / POINT_M
        return _Scale(
            place=place, source="corners", text=f"Calibrated by known corners: 1:{ratio:.1f}."
        )
    if wishes.scale:
        return _plain(wishes.scale, "asked", f"Scale 1:{wishes.scale:g} as asked.")
    found = scale_notes([item.text for item in page.texts])
    if not found:
        return _plain(
            _ASSUMED_SCALE,
            "assumed",
            f"No scale is written: 1:{_ASSUMED_SCALE:g} is assumed; calibrate with two --corner.",
        )
    best = found[0][0]
    if len(found) > 1:
        names = ", ".join(f"1:{value:g}" for value, _ in found)
        return _plain(
            best, "notes", f"Several scales are written ({names}): 1:{best:g} is taken, check it."
        )
    return _plain(best, "note", f"Scale 1:{best:g} as written; holds only if printed to scale.")


def _plain(denominator: float, source: str, text: str) -> _Scale:
    place = Similar(scale=POINT_M * denominator, turn_rad=0.0, shift=(0.0, 0.0))
    return _Scale(place=place, source=source, text=text)


def _segments(page: Page, pens: Sequence[tuple[float, int]], place: Similar) -> FloatArray:
    lines = [line for pen in pens for line in page.segments[pen]]
    if not lines:
        return np.zeros((0, 2, 2))
    points = np.array(lines, dtype=np.float64).reshape(-1, 2)
    return place(points).reshape(-1, 2, 2)


def _candidates(page: Page, place: Similar) -> "Iterator[tuple[str, FloatArray]]":
    """Yield sets of lines that may be the walls: thick pens, filled shapes, everything."""
    lengths = {
        pen: float(np.linalg.norm(np.diff(_segments(page, [pen], place), axis=1), axis=2).sum())
        for pen, lines in page.segments.items()
        if lines
    }
    whole = sum(lengths.values())
    strokes = sorted((pen for pen in lengths if pen[0] >= 0), reverse=True)
    fills = [pen for pen in lengths if pen[0] < 0]
    taken = 0.0
    for number, pen in enumerate(strokes, 1):
        taken += lengths[pen]
        if taken > _THICK_RATIO * whole and number < len(strokes):
            width = pen[0]
            thick = [p for p in strokes if p[0] >= width]
            text = f"Walls are taken as lines of at least {width:g} pt."
            yield text, _segments(page, thick, place)
            if fills:
                yield (
                    f"Walls are taken as filled shapes and lines of at least {width:g} pt.",
                    _segments(page, [*thick, *fills], place),
                )
            break
    if fills:
        yield "Walls are taken as filled shapes.", _segments(page, fills, place)
    yield "All lines of the page are taken as walls.", _segments(page, list(lengths), place)


def _best(page: Page, scale: _Scale, wishes: ReadWishes) -> tuple[PlanLines, str]:
    """Choose the set of lines that makes the most rooms that can be believed."""
    place = scale.place
    texts = [
        DrawnText(
            text=item.text,
            at=(float(at[0]), float(at[1])),
            height_m=item.height * place.scale,
        )
        for item in page.texts
        for at in place(np.array([item.at]))
    ]
    labels = tuple(room_labels(texts))
    swings = []
    for swing in page.swings:
        hinge, start, end = place(np.array(swing))
        if _DOOR_M[0] <= float(np.hypot(*(start - hinge))) <= _DOOR_M[1]:
            swings.append((hinge, start, end))
    best: tuple[float, PlanLines, str] | None = None
    for text, walls in _candidates(page, place):
        lines = PlanLines(
            walls=walls,
            doors=closed_doors(swings, walls),
            labels=labels,
            grid=np.zeros((0, 2, 2)),
        )
        rooms = propose_rooms(lines, wishes)[0] if len(walls) else []
        score = sum(_worth(room) for room in rooms)
        if best is None or score > best[0] + 0.5:
            best = (score, lines, text)
    if best is None:
        empty = np.zeros((0, 2, 2))
        return PlanLines(walls=empty, doors=empty, labels=labels, grid=empty), ""
    return best[1], best[2]


def _worth(room: RoomProposal) -> float:
    is_named = bool(room.origin_id)
    return room.confidence if is_named else 0.02


def _linework(walls: FloatArray) -> tuple[tuple[Point, Point], ...]:
    return tuple(
        ((round(x1, 3), round(y1, 3)), (round(x2, 3), round(y2, 3)))
        for (x1, y1), (x2, y2) in walls[:20_000].tolist()
    )


def _underlay(path: Path, page: Page, scale: _Scale, number: int) -> Underlay:
    """Return the page as a picture on the plan; a turned plan has its picture turned."""
    place = scale.place
    origin = place(np.zeros((1, 2)))[0]
    corners = np.array(
        [
            point
            for lines in page.segments.values()
            for line in lines
            for point in (line[:2], line[2:])
        ]
    ).reshape(-1, 2)
    unique = np.unique(np.round(place(corners), 3), axis=0) if len(corners) else corners
    step = max(1, len(unique) // _SNAP_MOST)
    return Underlay(
        name=f"{path.stem}-page{number}.png",
        png=page.png,
        origin=(round(float(origin[0]), 4), round(float(origin[1]), 4)),
        pixel_m=place.scale * 72.0 / page.png_dpi,
        turn_rad=place.turn_rad,
        snap_points=tuple((float(x), float(y)) for x, y in unique[::step]),
    )
