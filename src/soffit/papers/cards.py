"""A card for every loudspeaker: what one person on one ladder needs, and nothing else."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from soffit.model.findings import DEFER
from soffit.papers import fonts, words
from soffit.papers.codes import qr_svg
from soffit.papers.placement import Field, Wanted, place_all
from soffit.papers.plan_drawing import clipped_lines, family
from soffit.papers.projection import fill_plan
from soffit.papers.scene import (
    ACCENT,
    FAINT,
    INK,
    SOFT,
    TINT,
    WHITE,
    Anchor,
    Box,
    Disc,
    Path,
    Pen,
    Scene,
    Text,
)
from soffit.papers.svg import write_svg
from soffit.papers.views import JobView, RoomView, SpeakerView, WireView
from soffit.units import format_length, format_mass

_HERE: Final = 2.4
"""Radius of the mark of the card's own loudspeaker. [mm]"""
_WIDTH: Final = 58.0
_HEIGHT: Final = 50.0
_WIRING: Final = 116.0
_FACTS_MM: Final = 89.0
_RIGHT_MM: Final = 46.0
_LEFT_MM: Final = 71.0
"""Room for facts and cautions on half a page of the lower of the two papers, letter."""
_CAUTION: Final = f"Amplifier off, both legs disconnected, footing safe. {DEFER}"
_TICKS: Final = ("hole", "safety wire", "tap", "wires + −", "hung", "heard")


def cards(view: JobView) -> list[dict[str, Any]]:
    """Return the cards of a job in label order, as data for the template.

    Parameters
    ----------
    view
        The job.
    """
    rooms = {room.key: room for room in view.rooms}
    backs = {room.key: _Background(room, view.in_room(room.key)) for room in view.rooms}
    counts: dict[str, int] = {}
    for item in view.speakers:
        counts[item.line_key] = counts.get(item.line_key, 0) + 1
    return [
        _card(view, item, rooms[item.room_key], backs[item.room_key], counts[item.line_key])
        for item in view.speakers
    ]


def card_pages(made: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """Return cards two to a page; one with more to say than half a page holds stands alone.

    Parameters
    ----------
    made
        All cards, in order.
    """
    pages: list[list[dict[str, Any]]] = []
    for card in made:
        if not card["tall"] and pages and len(pages[-1]) == 1 and not pages[-1][0]["tall"]:
            pages[-1].append(card)
        else:
            pages.append([card])
    return pages


def _is_tall(
    facts: Sequence[tuple[str, str]], cautions: Sequence[str], find: str, *, back_mm: float
) -> bool:
    """Return whether a card needs more than half a page, by the lines that its texts run to."""
    lines = sum(len(fonts.wrap(text, room_mm=_FACTS_MM, cap_mm=1.98)) for _, text in facts)
    right = 3.8 * len(facts) + 3.5 * (lines - len(facts))
    right += 5.2 * len(fonts.wrap(find, room_mm=_WIRING, cap_mm=3.03, weight="semibold"))
    below = sum(len(fonts.wrap(text, room_mm=_WIDTH - 3.0, cap_mm=1.87)) for text in cautions)
    left = back_mm + 3.4 * below + 1.4 * len(cautions)
    return right > _RIGHT_MM or left > _LEFT_MM


def _card(
    view: JobView, item: SpeakerView, room: RoomView, back: "_Background", count: int
) -> dict[str, Any]:
    imperial = view.title.is_imperial
    hole = (
        "none"
        if item.cutout_m is None
        else "ø " + format_length(item.cutout_m, imperial=imperial, fine=True)
    )
    kind = item.type_name if item.state == "planned" else f"{item.type_name} ({item.state})"
    if imperial and item.cutout_m is not None:
        kind = f"{1e3 * item.cutout_m:.0f} mm; {kind}"
    lift = format_length(item.mount_height_m, imperial=imperial)
    facts = [
        ("Weight, support", f"{format_mass(item.mass_kg, imperial=imperial)}; {item.support_text}"),
        ("Second support", item.safety_text),
        ("Above it", item.void_text),
        ("Hangs at", f"{lift} above floor, {item.aim_text}"),
        ("Note", item.card_note),
        ("Findings", ", ".join(item.findings)),
    ]
    facts = [row for row in facts if row[1]]
    find = item.tile_text or item.place_text or "see the plan"
    return {
        "tall": _is_tall(facts, item.cautions, find, back_mm=back.height),
        "label": item.label,
        "order": f"no. {item.order} of {count} on line {item.line_label}",
        "room": room.label,
        "find": find,
        "place": item.place_text if item.tile_text else "",
        "tap": item.tap_text,
        "tap_mark": item.tap_mark,
        "bypass": item.bypass_text,
        "cut": hole,
        "type": kind,
        "terminals": write_svg(terminals(item, imperial=imperial)),
        "facts": facts,
        "cautions": list(item.cautions),
        "ticks": list(_TICKS),
        "caution": _CAUTION,
        "map": back.svg,
        "here": write_svg(back.here(item)),
        "read": _read(item),
        "qr": qr_svg(link(view, item)),
    }


def _read(item: SpeakerView) -> list[list[str]]:
    """Return what is read here and written down: its name, and what it should be."""
    onward = words.meter(item.meter_out, item.impedance_out_ohm)
    alone = words.meter(item.meter_alone, item.impedance_alone_ohm)
    return [
        ["volts", f"{words.volts(item.voltage_v)} at full level"],
        ["ohms onward", onward or "not known"],
        ["ohms alone", alone or "not known"],
    ]


def link(view: JobView, item: SpeakerView) -> str:
    """Return what the QR code of a speaker says: an address, or its name.

    Parameters
    ----------
    view
        The job.
    item
        The speaker.
    """
    if view.link:
        return view.link.replace("{key}", item.key)
    return f"{item.label} | {item.key} | {view.title.job} | rev {view.title.revision}"


def terminals(item: SpeakerView, *, imperial: bool) -> Scene:
    """Draw which wire comes from where and goes where, core by core.

    Parameters
    ----------
    item
        The speaker.
    imperial
        Feet instead of metres.
    """
    onward = item.wires_out
    rows = max(1, len(onward))
    scene = Scene(_WIRING, 17.0 * rows, title=f"Wires at {item.label}")
    middle, half = _WIRING / 2, 15.0
    box = (middle - half, 0.6, middle + half, 17.0 * rows - 0.6)
    scene.box(box, layer="unit", pen=Pen(0.3, INK))
    scene.add(
        Text(
            at=(middle, 17.0 * rows / 2 + 1.1),
            text=item.label,
            layer="unit",
            cap=2.4,
            weight="semibold",
            anchor="middle",
        )
    )
    _wire(scene, item.wire_in, 0.0, box[0], imperial=imperial, side="in")
    for index, wire in enumerate(onward):
        _wire(scene, wire, 17.0 * index, box[2], imperial=imperial, side="on")
    if not onward:
        at = (box[2] + 3.0, 9.4)
        scene.add(Text(at=at, text="last on its branch: nothing goes on", layer="wires", cap=1.8))
    return scene


def _wire(
    scene: Scene, wire: WireView | None, top: float, edge: float, *, imperial: bool, side: str
) -> None:
    """Draw one cable with its two cores up to the terminals at the unit's edge."""
    left = side == "in"
    far = 0.0 if left else _WIRING
    anchor: Anchor = "start" if left else "end"
    if wire is None:
        at = (far, top + 9.4)
        scene.add(Text(at=at, text="not wired yet", layer="wires", cap=1.8, anchor=anchor))
        return
    for shift, colour, sign in ((7.6, ACCENT, "+"), (10.4, INK, "−")):
        y = top + shift
        scene.line((far, y), (edge, y), layer="wires", pen=Pen(0.5, colour))
        scene.add(Disc(centre=(edge, y), radius=0.9, layer="wires", pen=Pen(0.3, INK), fill=WHITE))
        inside = edge + 1.8 if left else edge - 1.8
        scene.add(Text(at=(inside, y + 0.95), text=sign, layer="wires", cap=1.9, anchor=anchor))
    length = words.run_length(wire.length_m, imperial=imperial)
    word = f"{'from' if left else 'on to'} {wire.to_label}"
    above = "  ".join(part for part in (wire.run_label, length) if part)
    room = _WIRING / 2 - 17.0
    head = fonts.fit(word, room_mm=room, cap_mm=2.2, weight="semibold")
    width = fonts.width_mm(head, cap_mm=2.2, weight="semibold") + 2.0
    rest = fonts.fit(above, room_mm=max(room - width, 1.0), cap_mm=1.8)
    scene.add(
        Text(
            at=(far, top + 5.2), text=head, layer="wires", cap=2.2, weight="semibold", anchor=anchor
        ),
        Text(
            at=(far + width if left else far - width, top + 5.2),
            text=rest,
            layer="wires",
            cap=1.8,
            anchor=anchor,
        ),
    )
    y = top + 13.9
    for part in (wire.cable, wire.colours):
        line = fonts.fit(part, room_mm=room + 1.0, cap_mm=1.8)
        scene.add(Text(at=(far, y), text=line, layer="wires", cap=1.8, colour=SOFT, anchor=anchor))
        y += 2.9
    name = wire.terminals.split("+")[0].split("/")[0].strip() or side.upper()
    scene.add(
        Text(
            at=(edge + 5.0 if left else edge - 5.0, top + 9.9),
            text=fonts.fit(name, room_mm=9.0, cap_mm=1.8),
            layer="wires",
            cap=1.8,
            colour=SOFT,
            anchor=anchor,
        )
    )


class _Background:
    """What the little plans of one room share: walls, tiles, the other loudspeakers."""

    def __init__(self, room: RoomView, speakers: Sequence[SpeakerView]) -> None:
        self.room = room
        self.to_paper = fill_plan(room.outline, (2.0, 2.0, _WIDTH - 2.0, _HEIGHT - 2.0))
        high = max(y for _, y in self.to_paper.ring(room.outline))
        low = min(y for _, y in self.to_paper.ring(room.outline))
        x, y = self.to_paper.at
        self.to_paper = replace(self.to_paper, at=(x, y - low + 2.0))
        ring, high = self.to_paper.ring(room.outline), high - low + 2.0
        self.height = high + 2.0
        self.walls = Path(rings=(ring,), layer="walls", pen=Pen(0.4, INK), closed=True)
        self.lines = self._lines()
        size = 0.45
        squares = tuple(
            ((x - size, y - size), (x + size, y - size), (x + size, y + size), (x - size, y + size))
            for x, y in (self.to_paper(item.position) for item in speakers)
        )
        self.symbols: list[Box] = [
            (x - _HERE, y - _HERE, x + _HERE, y + _HERE)
            for x, y in (self.to_paper(item.position) for item in speakers)
        ]
        self.others = Path(rings=squares, layer="speakers", pen=None, fill=SOFT, closed=True)
        self.doors: list[Box] = []
        self.edges = list(itertools.pairwise((*ring, ring[0])))
        self.svg = write_svg(self._scene())

    def _lines(self) -> Path | None:
        from shapely import Polygon  # noqa: PLC0415 - only plans need it

        shape = Polygon(self.room.outline, self.room.holes)
        lines = []
        for ceiling in self.room.ceilings:
            grid = ceiling.grid
            if grid is None or self.to_paper.mm(min(grid.pitch_x_m, grid.pitch_y_m)) < 1.3:
                continue
            box = shape.bounds
            lines += family(grid.origin, grid.angle_rad, grid.pitch_y_m, box)
            lines += family(grid.origin, grid.angle_rad + math.pi / 2, grid.pitch_x_m, box)
        pieces = tuple(self.to_paper.ring(piece) for piece in clipped_lines(lines, shape))
        return Path(rings=pieces, layer="tile grid", pen=Pen(0.07, FAINT)) if pieces else None

    def _scene(self) -> Scene:
        """Draw walls, tiles, doors and all loudspeakers of the room."""
        scene = Scene(_WIDTH, self.height, title=self.room.label)
        if self.lines is not None:
            scene.add(self.lines)
        for hole in self.room.holes:
            ring = self.to_paper.ring(hole)
            pen = Pen(0.2, INK)
            scene.add(Path(rings=(ring,), layer="walls", pen=pen, fill=FAINT, closed=True))
        scene.add(self.walls, self.others)
        room = Field(sheet=(0.0, 0.0, _WIDTH, self.height))
        room.lines = list(self.edges)
        names = [fonts.fit(door.label, room_mm=_WIDTH / 2, cap_mm=1.8) for door in self.room.doors]
        places = [self.to_paper(door.position) for door in self.room.doors]
        room.boxes = [(x - 1.0, y - 1.0, x + 1.0, y + 1.0) for x, y in places]
        room.boxes += self.symbols  # one of them is drawn large on its own card
        wanted = [
            Wanted(anchor=at, radius=1.0, width=fonts.width_mm(name, cap_mm=1.8), height=2.4)
            for at, name in zip(places, names, strict=True)
        ]
        for at in places:
            scene.add(Disc(centre=at, radius=1.0, layer="doors", pen=Pen(0.3, INK), fill=WHITE))
        for name, place in zip(names, place_all(wanted, room), strict=True):
            if place is None:
                continue
            self.doors.append(place.box)
            at = (place.box[0], place.box[3] - 0.5)
            scene.add(Text(at=at, text=name, layer="names", cap=1.8, colour=SOFT, halo=True))
        return scene

    def here(self, item: SpeakerView) -> Scene:
        """Draw what lies over the room's little plan: this loudspeaker."""
        scene = Scene(_WIDTH, self.height, title=f"{item.label} in {self.room.label}")
        at = self.to_paper(item.position)
        width = fonts.width_mm(item.label, cap_mm=2.0, weight="semibold")
        room = Field(
            sheet=(0.0, 0.0, _WIDTH, self.height),
            boxes=list(self.doors),
            lines=list(self.edges),
        )
        halo = 0.5
        wanted = Wanted(anchor=at, radius=_HERE, width=width + 2.0 * halo, height=2.6 + 2.0 * halo)
        (place,) = place_all([wanted], room)
        scene.add(
            Disc(centre=at, radius=_HERE, layer="here", pen=Pen(0.3, ACCENT), fill=TINT),
            Disc(centre=at, radius=1.0, layer="here", pen=None, fill=ACCENT),
        )
        if place is not None:  # the card's heading names it, too
            word = Text(
                at=(place.box[0] + halo, place.box[3] - 0.4 - halo),
                text=item.label,
                layer="here",
                cap=2.0,
                weight="semibold",
                halo=True,
            )
            scene.add(word)
        return scene
