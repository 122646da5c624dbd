"""Key plans: which sheet covers which part of a large room, and the lines where sheets meet."""

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from soffit.papers import fonts, symbols
from soffit.papers.lanes import side_by_side
from soffit.papers.placement import Field, Wanted, place_all
from soffit.papers.plan_drawing import LINE_DASHES, MATCH_PEN, Drawing
from soffit.papers.plan_parts import Part
from soffit.papers.projection import Projection, bounds, fill_plan
from soffit.papers.scene import (
    ACCENT,
    FAINT,
    INK,
    SOFT,
    TINT,
    WHITE,
    Box,
    Disc,
    Path,
    Pen,
    Point,
    Scene,
    Text,
)
from soffit.papers.sheet import heading
from soffit.papers.views import RoomView, SpeakerView
from soffit.units import format_length

_DOT: Final = 0.9


def label_ranges(speakers: Sequence[SpeakerView]) -> str:
    """Return labels in short, such as ``L1-01 to L1-06, L2-03``.

    Parameters
    ----------
    speakers
        Of one sheet.
    """
    groups: list[list[str]] = []
    numbers: dict[str, tuple[str, int]] = {}
    for item in sorted(speakers, key=lambda s: (s.line_label, s.order, s.label)):
        found = re.fullmatch(r"(.*?)(\d+)", item.label)
        numbers[item.label] = (found[1], int(found[2])) if found else (item.label, 0)
        stem, number = numbers[item.label]
        if groups and numbers[groups[-1][-1]] == (stem, number - 1):
            groups[-1].append(item.label)
        else:
            groups.append([item.label])
    words = []
    for group in groups:
        few = group[:1] if len(group) == 1 else (group[0], group[-1])
        words.append((" to " if len(group) > 2 else ", ").join(few))
    return ", ".join(words)


def _sides(part: Part) -> list[tuple[tuple[Point, Point], tuple[int, int], int]]:
    """Return the sides of a part: its ends, the step to the part beyond, the axis it cuts."""
    left, low, right, high = part.window
    return [
        (((left, low), (left, high)), (-1, 0), 0),
        (((right, low), (right, high)), (1, 0), 0),
        (((left, low), (right, low)), (0, -1), 1),
        (((left, high), (right, high)), (0, 1), 1),
    ]


def _in_room(side: tuple[Point, Point], room: RoomView) -> list[tuple[Point, Point]]:
    from shapely import LineString, Polygon, get_parts  # noqa: PLC0415 - only plans need it

    pieces = get_parts(LineString(side).intersection(Polygon(room.outline)))
    return [
        ((part.coords[0][0], part.coords[0][1]), (part.coords[-1][0], part.coords[-1][1]))
        for part in pieces
        if isinstance(part, LineString) and part.length > 1e-3
    ]


def match_lines(
    drawing: Drawing, room: RoomView, part: Part, parts: Sequence[Part], number: str
) -> None:
    """Say where a part ends, how far in that is, and which sheet goes on there.

    Parameters
    ----------
    drawing
        The part's drawing, before it is drawn: its lettering keeps clear of what is written here.
    room
        The whole room.
    part, parts
        This part and all of them.
    number
        Drawing number of the key plan.
    """
    known = {(item.column, item.row): item for item in parts}
    for side, step, axis in _sides(part):
        beyond = known.get((part.column + step[0], part.row + step[1]))
        if beyond is None:
            continue
        away = side[0][axis] - bounds(room.outline)[axis]
        far = format_length(away, imperial=drawing.imperial)
        word = f"match line {far} from the {_first_wall(room, axis)}, on to {number}{beyond.letter}"
        for piece in _in_room(side, room):
            a, b = drawing.to_paper.ring(piece)
            drawing.field.lines.append((a, b))
            drawing.match_lines.append((a, b))
            _beside(drawing, a, b, step, word)


def _first_wall(room: RoomView, axis: int) -> str:
    """Return the name of the wall that lies at the least x or y."""
    ring = room.outline
    edges = list(zip(ring, (*ring[1:], ring[0]), strict=True))
    least = min(point[axis] for point in ring)
    other = 1 - axis
    found = [
        (abs(b[other] - a[other]), room.wall_names[number])
        for number, (a, b) in enumerate(edges)
        if number < len(room.wall_names)
        and room.wall_names[number]
        and max(a[axis], b[axis]) - least < 0.05
    ]
    return max(found)[1] if found else ("left end" if axis == 0 else "lower end")


def _beside(drawing: Drawing, a: Point, b: Point, step: tuple[int, int], word: str) -> None:
    """Write along a match line, outside the part."""
    long = max(abs(b[0] - a[0]), abs(b[1] - a[1])) - 2.0
    upright = step[0] != 0
    short = word.rpartition(", ")[2]
    text = word if fonts.width_mm(word, cap_mm=1.8) <= long else short
    if fonts.width_mm(text, cap_mm=1.8) > long:
        return
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    at = (
        (middle[0] + (step[0] * 5.0 + 0.9), middle[1])
        if upright
        else (middle[0], middle[1] - step[1] * 5.0 + 0.9)
    )
    item = Text(
        at=at,
        text=text,
        layer="match lines",
        cap=1.8,
        anchor="middle",
        colour=INK,
        angle_deg=-90.0 if upright else 0.0,
    )
    drawing.scene.add(item)
    drawing.field.boxes.append(item.box)


def draw_key(
    scene: Scene,
    room: RoomView,
    speakers: Sequence[SpeakerView],
    projection: Projection,
    parts: Sequence[Part],
    number: str,
    *,
    imperial: bool,
    area: Box,
) -> tuple[str, ...]:
    """Draw the whole room small: parts, loudspeakers as dots, cable, walls and doors by name.

    Parameters
    ----------
    scene
        Where to draw.
    room, speakers
        The room and what hangs in it.
    projection
        From plan to paper.
    parts
        What each sheet covers.
    number
        Drawing number of this sheet.
    imperial
        Dimensions in feet and inches.
    area
        Where lettering may stand.

    Returns
    -------
    tuple
        Labels of the lines, in the order that chose their dashes.
    """
    bare = Drawing(scene, room, speakers, projection, imperial=imperial, area=area)
    bare.draw_shell()
    field = bare.field
    routes = [route for route in room.routes if len(route.points) > 1]
    paths = side_by_side(
        [projection.ring(route.points) for route in routes],
        [route.line_label for route in routes],
        lane_mm=0.6,
    )
    keep = bounds(projection.ring(room.outline))
    for route, points in zip(routes, paths, strict=True):
        index = bare.lines.index(route.line_label)
        pen = Pen(0.18, ACCENT, LINE_DASHES[index % len(LINE_DASHES)])
        box = ((keep[0] - 3, keep[1] - 3), (keep[2] + 3, keep[1] - 3))
        ring = (*box, (keep[2] + 3, keep[3] + 3), (keep[0] - 3, keep[3] + 3))
        scene.add(Path(rings=(points,), layer=f"cable {route.line_label}", pen=pen, clip=(ring,)))
        field.lines += list(pairwise(points))
    _match_grid(scene, room, projection, parts, field)
    for item in speakers:
        at = projection(item.position)
        fill = ACCENT if item.kind == "subwoofer" else WHITE
        scene.add(Disc(centre=at, radius=_DOT, layer="speakers", pen=Pen(0.25, ACCENT), fill=fill))
        field.soft.append((at[0] - _DOT, at[1] - _DOT, at[0] + _DOT, at[1] + _DOT))
    for mark in room.marks:
        if mark.kind != "test point":
            symbols.mark(scene, projection(mark.position), mark.kind)
    _sheet_names(scene, room, projection, parts, number, field)
    return bare.lines


def _match_grid(
    scene: Scene, room: RoomView, projection: Projection, parts: Sequence[Part], field: Field
) -> None:
    known = {(item.column, item.row) for item in parts}
    for part in parts:
        for side, step, _ in _sides(part):
            if sum(step) < 0 or (part.column + step[0], part.row + step[1]) not in known:
                continue
            for piece in _in_room(side, room):
                a, b = projection.ring(piece)
                scene.line(a, b, layer="match lines", pen=MATCH_PEN)
                field.lines.append((a, b))


def _sheet_names(
    scene: Scene,
    room: RoomView,
    projection: Projection,
    parts: Sequence[Part],
    number: str,
    field: Field,
) -> None:
    from shapely import Polygon, box  # noqa: PLC0415 - only plans need it

    words = [number + part.letter for part in parts]
    wanted = []
    for part, word in zip(parts, words, strict=True):
        middle = Polygon(room.outline).intersection(box(*part.window)).representative_point()
        width = fonts.width_mm(word, cap_mm=3.4, weight="semibold") + 2.0
        at = projection((float(middle.x), float(middle.y)))
        wanted.append(Wanted(anchor=at, radius=0.0, width=width, height=5.6))
    for word, place in zip(words, place_all(wanted, field), strict=True):
        if place is None:
            continue
        left, top, right, bottom = place.box
        scene.box(place.box, layer="sheet names", pen=Pen(0.25, INK), fill=WHITE)
        scene.add(
            Text(
                at=((left + right) / 2, bottom - 1.1),
                text=word,
                layer="sheet names",
                cap=3.4,
                weight="semibold",
                anchor="middle",
            )
        )
        field.boxes.append((left, top, right, bottom))


def key_inset(scene: Scene, column: Box, room: RoomView, parts: Sequence[Part], part: Part) -> Box:
    """Draw the room small in the key column, with this sheet's part tinted.

    Parameters
    ----------
    scene
        Where to draw.
    column
        Left, top, right, bottom.
    room
        The whole room.
    parts, part
        All parts and this one.

    Returns
    -------
    Box
        What is left of the column.
    """
    left, top, right, bottom = column[0], column[1] + 5.1, column[2], column[3]
    tall = min(bottom - top - 4.0, 40.0)
    if tall < 12.0:
        return column
    heading(scene, (left, column[1] + 0.5, right, bottom), "Where this part lies")
    from shapely import Polygon, box, get_parts  # noqa: PLC0415 - only plans need it

    projection = fill_plan(room.outline, (left, top + 2.0, right, top + 2.0 + tall))
    shape = Polygon(room.outline).intersection(box(*part.window))
    for piece in get_parts(shape):
        if isinstance(piece, Polygon):
            ring = projection.ring([(x, y) for x, y, *_ in piece.exterior.coords[:-1]])
            scene.add(Path(rings=(ring,), layer="key", pen=None, fill=TINT, closed=True))
    for other in parts:
        for side, step, _ in _sides(other):
            if sum(step) > 0:
                for a, b in _in_room(side, room):
                    pen = Pen(0.18, SOFT, (2.0, 0.8))
                    scene.line(projection(a), projection(b), layer="key", pen=pen)
        middle = Polygon(room.outline).intersection(box(*other.window)).representative_point()
        x, y = projection((float(middle.x), float(middle.y)))
        scene.add(
            Text(
                at=(x, y + 1.0),
                text=other.letter,
                layer="key",
                cap=2.0,
                weight="semibold" if other == part else "regular",
                anchor="middle",
                colour=INK if other == part else SOFT,
            )
        )
    outline = projection.ring(room.outline)
    scene.add(Path(rings=(outline,), layer="key", pen=Pen(0.35, INK), closed=True))
    for hole in room.holes:
        scene.add(
            Path(
                rings=(projection.ring(hole),),
                layer="key",
                pen=Pen(0.13, INK),
                fill=FAINT,
                closed=True,
            )
        )
    return left, bounds(outline)[3] + 3.0, right, bottom
