"""The overview of a storey: all rooms, where each line runs and where the rack stands."""

import itertools
import math
from collections.abc import Sequence
from typing import Final

from soffit.papers import fonts, symbols, words
from soffit.papers.lanes import side_by_side
from soffit.papers.legend import Legend
from soffit.papers.placement import Field, Wanted, place_near
from soffit.papers.plan_drawing import LINE_DASHES
from soffit.papers.projection import Projection, fit_plan
from soffit.papers.scene import (
    ACCENT,
    FAINT,
    INK,
    SOFT,
    WHITE,
    Box,
    Disc,
    Path,
    Pen,
    Point,
    Scene,
    Text,
)
from soffit.papers.sheet import north_arrow, open_sheet, paragraph, scale_bar, scale_text
from soffit.papers.views import JobView, RoomView, SpeakerView

_MARGIN: Final = 6.0
_DOT: Final = 0.8
_GRID: Final = 10
_ELSEWHERE: Final = 0.08
_FEW_TAPS: Final = 3


def overview_sheets(view: JobView) -> tuple[tuple[str, Scene], ...]:
    """Draw one sheet a storey.

    Parameters
    ----------
    view
        The job.

    Returns
    -------
    tuple
        Name of the storey and its sheet; nothing for a job of one room.
    """
    if len(view.rooms) < 2:
        return ()
    storeys: dict[str, list[RoomView]] = {}
    for room in view.rooms:
        storeys.setdefault(room.storey, []).append(room)
    return tuple(
        (name, _sheet(view, name, rooms, f"G-{number:02d}"))
        for number, (name, rooms) in enumerate(storeys.items(), 1)
    )


def _sheet(view: JobView, name: str, rooms: Sequence[RoomView], number: str) -> Scene:
    title = view.title
    points = [point for room in rooms for point in room.outline]
    points += [point for room in rooms for route in room.routes for point in route.points]
    area = open_sheet(title, paper=title.paper, number="", name="", scale="").area
    left, top, right, bottom = area
    inner = (left + _MARGIN, top + _MARGIN, right - _MARGIN, bottom - _MARGIN)
    projection = fit_plan(points, inner, imperial=title.is_imperial)
    scale = round(projection.scale)
    sheet = open_sheet(
        title,
        paper=title.paper,
        number=number,
        name=f"{name}: overview",
        scale=scale_text(scale, imperial=title.is_imperial),
    )
    scene = sheet.scene
    lines = sorted({route.line_label for room in rooms for route in room.routes})
    drawn = _draw(scene, view, rooms, projection, lines)
    missing = _names(scene, view, rooms, projection, area, drawn)
    _column(scene, sheet.column, view, rooms, name, lines, projection, missing)
    return scene


def _draw(
    scene: Scene,
    view: JobView,
    rooms: Sequence[RoomView],
    projection: Projection,
    lines: Sequence[str],
) -> Field:
    """Draw rooms, cable, loudspeakers and marks; return what lettering must keep clear of."""
    field = Field(sheet=(0.0, 0.0, scene.width, scene.height))
    for room in rooms:
        rings = tuple(projection.ring(ring) for ring in (room.outline, *room.holes))
        scene.add(Path(rings=rings[:1], layer="walls", pen=Pen(0.4, INK), closed=True))
        for hole in rings[1:]:
            scene.add(
                Path(rings=(hole,), layer="walls", pen=Pen(0.2, INK), fill=FAINT, closed=True)
            )
        ring = rings[0]
        edges = list(zip(ring, (*ring[1:], ring[0]), strict=True))
        field.lines += edges + edges  # a name had rather cross a cable than a wall
    once = {
        route.run_key: route for room in rooms for route in room.routes if len(route.points) > 1
    }
    paths = side_by_side(
        [projection.ring(route.points) for route in once.values()],
        [route.line_label for route in once.values()],
    )
    for route, points in zip(once.values(), paths, strict=True):
        index = lines.index(route.line_label)
        pen = Pen(0.3, ACCENT, LINE_DASHES[index % len(LINE_DASHES)])
        scene.line(*points, layer=f"cable {route.line_label}", pen=pen)
        field.lines += list(itertools.pairwise(points))
    for item in (item for room in rooms for item in view.in_room(room.key)):
        at = projection(item.position)
        fill = ACCENT if item.kind == "subwoofer" else WHITE
        scene.add(Disc(centre=at, radius=_DOT, layer="speakers", pen=Pen(0.25, ACCENT), fill=fill))
        field.soft.append((at[0] - _DOT, at[1] - _DOT, at[0] + _DOT, at[1] + _DOT))
    for mark in (mark for room in rooms for mark in room.marks if mark.kind != "test point"):
        at = projection(mark.position)
        symbols.mark(scene, at, mark.kind)
        field.boxes.append((at[0] - 2.4, at[1] - 1.8, at[0] + 2.4, at[1] + 1.8))
    return field


def _places(room: RoomView) -> list[Point]:
    """Return places inside a room where its name may stand, the middle first."""
    from shapely import Point as Spot  # noqa: PLC0415 - only plans need it
    from shapely import Polygon  # noqa: PLC0415

    shape = Polygon(room.outline, room.holes)
    middle = shape.representative_point()
    left, low, right, high = shape.bounds
    grid = [
        (left + (right - left) * (i + 0.5) / _GRID, low + (high - low) * (j + 0.5) / _GRID)
        for i in range(_GRID)
        for j in range(_GRID)
    ]
    first = (float(middle.x), float(middle.y))
    inside = [at for at in grid if shape.contains(Spot(at))]
    return [first, *sorted(inside, key=lambda at: (math.dist(at, first), at))]


def _what_hangs(speakers: Sequence[SpeakerView]) -> str:
    """Return the taps of a room in short, or their number and sum where they are many kinds."""
    if len({item.tap_w for item in speakers}) <= _FEW_TAPS:
        return words.tally(speakers)
    watts = words.watts(sum(item.tap_w for item in speakers))
    return f"{len(speakers)} loudspeakers, {watts}"


def _names(
    scene: Scene,
    view: JobView,
    rooms: Sequence[RoomView],
    projection: Projection,
    area: Box,
    field: Field,
) -> list[str]:
    """Name rooms and marks; return the names that found no place."""
    field.sheet = area
    blocks: list[tuple[list[Point], str, str]] = [
        ([projection(at) for at in _places(room)], room.label, _what_hangs(view.in_room(room.key)))
        for room in rooms
    ]
    blocks += [
        ([projection(mark.position)], mark.label, "")
        for room in rooms
        for mark in room.marks
        if mark.kind != "test point"
    ]
    missing = []
    for anchors, name, below in blocks:
        width = fonts.width_mm(name, cap_mm=2.0, weight="semibold")
        width = max(width, fonts.width_mm(below, cap_mm=1.8)) + 0.6
        radius, height = (0.0, 5.4) if below else (2.4, 2.6)
        wanted = [Wanted(anchor=at, radius=radius, width=width, height=height) for at in anchors]
        place = place_near(wanted, field, anchor_cost=_ELSEWHERE)
        if place is None:
            missing.append(name)
            continue
        field.boxes.append(place.box)
        x, y = place.box[0] + 0.3, place.box[1] + 2.2
        scene.add(
            Text(at=(x, y), text=name, layer="names", cap=2.0, weight="semibold", halo=True)
            if below
            else Text(at=(x, y), text=name, layer="names", cap=1.8, colour=SOFT, halo=True)
        )
        if below:
            scene.add(Text(at=(x, y + 2.8), text=below, layer="names", cap=1.8, halo=True))
    return missing


def _column(
    scene: Scene,
    column: Box,
    view: JobView,
    rooms: Sequence[RoomView],
    name: str,
    lines: Sequence[str],
    projection: Projection,
    missing: Sequence[str],
) -> None:
    left, top, right, bottom = column
    title = fonts.fit(name, room_mm=right - left - 16.0, cap_mm=3.6, weight="light")
    scene.add(Text(at=(left, top + 4.0), text=title, layer="notes", cap=3.6, weight="light"))
    north_arrow(scene, (right - 6.0, top + 8.0), projection.vector(view.title.north_angle_rad))
    legend = Legend(scene, (left, top + 14.0, right, bottom))
    legend.dot("Loudspeaker; filled: subwoofer")
    legend.marks(mark.kind for room in rooms for mark in room.marks if mark.kind != "test point")
    imperial = view.title.is_imperial
    about = {
        line.label: f"{line.channel_text}, {words.watts(line.load_w)},"
        f" {words.run_length(line.length_m, imperial=imperial)} of cable"
        for line in view.lines
    }
    legend.lines(lines, more={label: about.get(label, "") for label in lines})
    box = legend.below
    if missing:
        text = "Not named for want of room: " + ", ".join(missing)
        paragraph(scene, (box[0], box[1], right, bottom - 10.0), text, colour=ACCENT)
    scale_bar(
        scene,
        (left + 1.0, bottom - 4.5),
        scale=round(projection.scale),
        imperial=view.title.is_imperial,
    )
