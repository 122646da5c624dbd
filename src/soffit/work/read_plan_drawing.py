"""A drawing of what was read from a plan: rooms with their size, height and how sure they are."""

from collections.abc import Sequence
from typing import Final

from soffit.model.survey import Point, Ring
from soffit.papers import fonts, symbols
from soffit.papers.projection import Projection
from soffit.papers.scene import (
    ACCENT,
    FAINT,
    FIRM,
    INK,
    PALE,
    SOFT,
    THIN,
    TINT,
    WHITE,
    Box,
    Disc,
    Path,
    Pen,
    Scene,
    Text,
    overlap,
)
from soffit.papers.sheet import choose_scale, scale_text
from soffit.papers.svg import write_svg
from soffit.plans.proposal import PlanProposal, RoomProposal
from soffit.tables.settings import DEFAULT_LIMITS
from soffit.units import FOOT_M

_SHEET_MM: Final = (420.0, 297.0)
_MARGIN_MM: Final = 12.0
_HEAD_MM: Final = 16.0
_FOOT_MM: Final = 26.0
_KEY_ROWS: Final = 5
_WIDER: Final = 0.18
_GAP_MM: Final = 8.0


def draw_proposal(proposal: PlanProposal, rooms: Sequence[RoomProposal] | None = None) -> str:
    """Draw what was found, one plan a storey, as SVG.

    Parameters
    ----------
    proposal
        What was read.
    rooms
        Those to draw; all by default.

    Returns
    -------
    str
        SVG in millimetres.
    """
    shown = tuple(proposal.rooms if rooms is None else rooms)
    plans = [
        (storey, [room for room in shown if room.storey_key == storey.key])
        for storey in proposal.storeys
    ]
    plans = [(storey, members) for storey, members in plans if members]
    width, height = _SHEET_MM
    scene = Scene(width, height * max(1, len(plans)), title=f"What was read: {proposal.source}")
    scene.box((0.0, 0.0, scene.width, scene.height), layer="sheet", pen=None, fill=WHITE)
    for number, (storey, members) in enumerate(plans):
        top = number * height
        title = f"{storey.label}: {len(members)} rooms as read from {proposal.source}"
        _storey(scene, proposal, members, top, title)
    return write_svg(scene)


def _storey(
    scene: Scene,
    proposal: PlanProposal,
    rooms: list[RoomProposal],
    top: float,
    title: str,
) -> None:
    width, height = _SHEET_MM
    xs = [x for room in rooms for x, _ in room.outline]
    ys = [y for room in rooms for _, y in room.outline]
    size = (max(xs) - min(xs), max(ys) - min(ys))
    room_mm = (width - 2 * _MARGIN_MM, height - 2 * _MARGIN_MM - _HEAD_MM - _FOOT_MM)
    scale = choose_scale(size, room_mm, imperial=proposal.is_imperial)
    middle = ((max(xs) + min(xs)) / 2.0, (max(ys) + min(ys)) / 2.0)
    at = (width / 2.0, top + _MARGIN_MM + _HEAD_MM + room_mm[1] / 2.0)
    project = Projection(scale=scale, origin_m=middle, at=at)
    scene.add(
        Text(
            at=(_MARGIN_MM, top + _MARGIN_MM + 4.0),
            text=title,
            layer="text",
            cap=3.5,
            weight="semibold",
        )
    )
    scene.add(
        Text(
            at=(_MARGIN_MM, top + _MARGIN_MM + 10.0),
            text=f"Scale {scale_text(scale, imperial=proposal.is_imperial)} on A3."
            " A proposal: check it against the building before anything is cut.",
            layer="text",
            colour=SOFT,
        )
    )
    _linework(scene, proposal, project, (min(xs), min(ys), max(xs), max(ys)))
    keep = DEFAULT_LIMITS["plan_keep_ratio"]
    for room in rooms:
        _room(scene, room, project, is_sure=room.confidence >= keep)
    keys = {room.key for room in rooms}
    for item in proposal.obstacles:
        if item.room_key in keys:
            symbols.obstacle(scene, project.ring(item.outline), item.kind)
            if item.doubt:
                _question(scene, project.ring(item.outline))
    for speaker in proposal.speakers:
        if speaker.room_key in keys:
            spot = project(speaker.position)
            scene.add(Disc(centre=spot, radius=1.2, layer="speakers", pen=THIN, fill=WHITE))
            scene.add(Disc(centre=spot, radius=0.4, layer="speakers", pen=None, fill=ACCENT))
    _labels(scene, rooms, project, imperial=proposal.is_imperial)
    _legend(scene, top + height - _MARGIN_MM, keep)


def _linework(
    scene: Scene,
    proposal: PlanProposal,
    project: Projection,
    box: tuple[float, float, float, float],
) -> None:
    low_x, low_y, high_x, high_y = box
    for start, end in proposal.linework:
        if all(low_x - 1 < x < high_x + 1 and low_y - 1 < y < high_y + 1 for x, y in (start, end)):
            scene.line(project(start), project(end), layer="plan", pen=Pen(0.09, FAINT))


def _room(scene: Scene, room: RoomProposal, project: Projection, *, is_sure: bool) -> None:
    rings = tuple(project.ring(ring) for ring in (room.outline, *room.holes))
    pen = FIRM if is_sure else Pen(0.35, ACCENT, (2.4, 1.2))
    fill = None if is_sure else TINT
    scene.add(Path(rings=rings, layer="rooms", pen=pen, fill=fill, closed=True))
    for column in room.columns:
        scene.add(
            Path(rings=(project.ring(column),), layer="rooms", pen=THIN, fill=PALE, closed=True)
        )
    for ceiling in room.ceilings:
        if ceiling.region:
            ring = project.ring(ceiling.region)
            scene.add(
                Path(rings=(ring,), layer="ceilings", pen=Pen(0.13, SOFT, (1.0, 1.0)), closed=True)
            )
    for door in room.doors:
        scene.add(Disc(centre=project(door.position), radius=0.6, layer="rooms", pen=THIN))


def _question(scene: Scene, ring: tuple[Point, ...]) -> None:
    x = sum(point[0] for point in ring) / len(ring)
    y = min(point[1] for point in ring)
    scene.add(
        Text(at=(x, y - 0.4), text="?", layer="doubts", anchor="middle", colour=ACCENT, cap=1.8)
    )


def _labels(
    scene: Scene, rooms: list[RoomProposal], project: Projection, *, imperial: bool
) -> None:
    """Write name, area and height into each room; a number where that does not fit."""
    from shapely.geometry import Polygon

    taken: list[Box] = []
    numbered: list[str] = []
    for room in sorted(rooms, key=lambda item: -item.area_m2):
        spot = Polygon(room.outline, room.holes).representative_point()
        at = project((spot.x, spot.y))
        lines = _words(room, imperial=imperial)
        ring = project.ring(room.outline)
        for shown in (lines, lines[:2], lines[:1]):
            texts = _lettered(shown, at)
            if _fits(texts, ring) and not _hits(texts, taken):
                break
        else:
            numbered.append(room.label)
            texts = _lettered([str(len(numbered))], at)
        scene.add(*texts)
        taken += [text.box for text in texts]
    if numbered:
        _key(scene, numbered, project)


def _lettered(lines: list[str], at: Point) -> list[Text]:
    return [
        Text(
            at=(at[0], at[1] + 3.2 * (index - (len(lines) - 1) / 2.0)),
            text=line,
            layer="names",
            anchor="middle",
            cap=2.0 if index == 0 else 1.8,
            weight="semibold" if index == 0 else "regular",
            colour=INK if index == 0 else SOFT,
            halo=True,
        )
        for index, line in enumerate(lines)
    ]


def _hits(texts: list[Text], taken: list[Box]) -> bool:
    return any(overlap(_wide(text), box) for text in texts for box in taken)


def _wide(text: Text) -> Box:
    """Return the box of lettering in a font that runs wider than ours."""
    left, top, right, bottom = text.box
    spare = _WIDER * (right - left) / 2.0
    return left - spare, top, right + spare, bottom


def _key(scene: Scene, numbered: list[str], project: Projection) -> None:
    """Write the names that do not fit along the foot of the plan."""
    high = _SHEET_MM[1] - 2 * _MARGIN_MM - _HEAD_MM - _FOOT_MM
    y = project.at[1] + high / 2.0 + 4.0
    x = _MARGIN_MM
    last = y + 3.4 * (_KEY_ROWS - 1)
    for number, name in enumerate(numbered, 1):
        text = f"{number} {name}"
        wide = fonts.width_mm(text, cap_mm=1.8) * (1.0 + _WIDER) + 3.0
        if x + wide > _SHEET_MM[0] - _MARGIN_MM - (16.0 if y >= last else 0.0):
            if y >= last:
                scene.add(Text(at=(x, y), text="and more", layer="names", cap=1.8, colour=SOFT))
                return
            x, y = _MARGIN_MM, y + 3.4
        scene.add(Text(at=(x, y), text=text, layer="names", cap=1.8, colour=SOFT))
        x += wide


def _fits(texts: list[Text], ring: tuple[Point, ...]) -> bool:
    from shapely.geometry import Polygon, box

    shape = Polygon(ring).buffer(0.5)
    return all(shape.covers(box(*_wide(text))) for text in texts)


def _words(room: RoomProposal, *, imperial: bool) -> list[str]:
    if imperial:
        size = f"{room.area_m2 / FOOT_M**2:.0f} sq ft"
        height = f"{room.height_m / FOOT_M:.1f} ft"
    else:
        size, height = f"{room.area_m2:.1f} m²", f"{room.height_m:.2f} m"
    lines = [room.label, size, f"ceiling {height} ({room.height_source})"]
    if len(room.ceilings) > 1:
        lines.append(f"{len(room.ceilings)} ceilings, the lowest named")
    if room.confidence < 1.0:
        lines.append(f"sure {room.confidence:.0%}")
    return lines


def _legend(scene: Scene, y: float, keep: float) -> None:
    x = _MARGIN_MM
    entries: tuple[tuple[Pen, str | None, str], ...] = (
        (FIRM, None, f"room, at least {keep:.0%} sure"),
        (Pen(0.35, ACCENT, (2.4, 1.2)), TINT, "room to check by hand"),
        (Pen(0.13, SOFT, (1.0, 1.0)), None, "edge of another ceiling height"),
    )
    for pen, fill, text in entries:
        ring: Ring = ((x, y - 3.0), (x + 7.0, y - 3.0), (x + 7.0, y), (x, y))
        scene.add(Path(rings=(ring,), layer="legend", pen=pen, fill=fill, closed=True))
        scene.add(Text(at=(x + _GAP_MM, y - 0.6), text=text, layer="legend", cap=1.9))
        x += _GAP_MM + fonts.width_mm(text, cap_mm=1.9) * (1.0 + _WIDER) + _GAP_MM
    scene.add(
        Text(
            at=(x, y - 0.6), text="?  kind or place in doubt", layer="legend", cap=1.9, colour=SOFT
        )
    )
