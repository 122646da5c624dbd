"""The field page: one offline HTML file for a phone on a ladder."""

import json
import math
from collections.abc import Sequence
from importlib import resources
from typing import Any, Final

from soffit.papers import words
from soffit.papers.blocks import GENERAL_CAUTIONS, test_numbers
from soffit.papers.projection import fill_plan
from soffit.papers.views import JobView, LineView, RoomView, SpeakerView
from soffit.units import format_length, format_mass

_NUMERIC: Final = frozenset(
    {
        "impedance",
        "dc resistance",
        "voltage",
        "current",
        "insulation",
        "level",
        "level dba",
        "polarity",
        "noise",
        "sti",
    }
)
_FACTORS: Final = {"MΩ": 1e6, "kΩ": 1e3, "mA": 1e-3, "mV": 1e-3}
_PLAN: Final = 360.0


def field_page(view: JobView) -> str:
    """Return the field page of a job as one HTML document without any outside part.

    Parameters
    ----------
    view
        The job.

    Returns
    -------
    str
        HTML; plan and cards can be read without scripts, ticks and readings need them.
    """
    from jinja2 import BaseLoader, Environment  # noqa: PLC0415 - only this page needs it
    from markupsafe import Markup  # noqa: PLC0415 - comes with it

    def text(name: str) -> str:
        return (resources.files("soffit.papers") / "templates" / name).read_text(encoding="utf-8")

    page = Environment(loader=BaseLoader(), autoescape=True, trim_blocks=True, lstrip_blocks=True)
    data = json.dumps(_data(view), ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    return page.from_string(text("field.html")).render(
        title=view.title,
        css=Markup(text("field.css")),  # noqa: S704 - our own file
        js=Markup(text("field.js")),  # noqa: S704 - our own file
        data=Markup(data.replace("<", "\\u003c")),  # noqa: S704 - no tag can begin in it
        rooms=[
            {"label": room.label, "svg": Markup(_plan(view, room))}  # noqa: S704 - escaped below
            for room in view.rooms
        ],
        speakers=[_card(view, item) for item in view.speakers],
        cautions=GENERAL_CAUTIONS,
    )


def _data(view: JobView) -> dict[str, Any]:
    rated = {
        name.strip(): channel.rated_w
        for rack in view.racks
        for amplifier in rack.amplifiers
        for channel in amplifier.channels
        for name in channel.lines_text.split(",")
    }
    sentences = _Sentences()
    rooms = {room.key: room for room in view.rooms}
    heights = {room.key: _ear_m(room) for room in view.rooms}
    data = {
        "job": view.title.job,
        "hash": view.title.job_hash,
        "revision": view.title.revision,
        "volts": round(view.title.line_voltage_v, 1),
        "imperial": view.title.is_imperial,
        "rooms": [_room(room) for room in view.rooms],
        "lines": [_line(line, rated.get(line.label, 0.0)) for line in view.lines],
        "speakers": [
            {
                "k": item.key,
                "l": item.label,
                "r": item.room_key,
                "w": [sentences.number(name) for name in walls_around(rooms[item.room_key], item)],
                "n": item.line_key,
                "t": item.tap_w,
                "h": round(item.mount_height_m - heights[item.room_key], 2),
                "f": [
                    number for row in _facts(view, item) for number in map(sentences.number, row)
                ],
            }
            for item in view.speakers
        ],
        "tests": [
            {
                "step": number,
                "phase": row.phase,
                "place": row.place,
                "key": row.place_key,
                "what": row.what,
                "quantity": row.quantity,
                "numeric": row.quantity in _NUMERIC,
                "expected": words.expected(row),
                "low": row.low,
                "high": row.high,
                "factor": _FACTORS.get(row.unit, 1.0),
                "hz": row.frequency_hz,
                "direction": row.direction,
                "drive": row.drive,
            }
            for number, row in test_numbers(view.tests)
        ],
    }
    return {**data, "texts": sentences.texts}


def walls_around(room: RoomView, item: SpeakerView) -> list[str]:
    """Return the names of the walls that lie left, right, up and down the plan from a loudspeaker.

    Parameters
    ----------
    room
        Its room.
    item
        The loudspeaker.

    Returns
    -------
    list
        Four names; empty where no named wall lies that way. In a grid the ways are those of its
        tiles, as far as it lies within 45 degrees of the plan.
    """
    grid = next((ceiling.grid for ceiling in room.ceilings if ceiling.grid), None)
    lean = math.remainder(grid.angle_rad, math.pi / 2) if grid else 0.0
    cos, sin = math.cos(lean), math.sin(lean)
    ways = ((-1.0, 0.0), (1.0, 0.0), (0.0, 1.0), (0.0, -1.0))
    return [_wall_ahead(room, item, (x * cos - y * sin, x * sin + y * cos)) for x, y in ways]


def _wall_ahead(room: RoomView, item: SpeakerView, way: tuple[float, float]) -> str:
    (px, py), (dx, dy) = item.position, way
    ring = room.outline
    nearest, name = math.inf, ""
    for number, ((ax, ay), (bx, by)) in enumerate(zip(ring, (*ring[1:], ring[0]), strict=True)):
        across = dx * (by - ay) - dy * (bx - ax)
        if abs(across) < 1e-9:
            continue
        along = ((ax - px) * (by - ay) - (ay - py) * (bx - ax)) / across
        share = ((ax - px) * dy - (ay - py) * dx) / across
        if 0.0 <= share <= 1.0 and 1e-9 < along < nearest:
            names = room.wall_names
            nearest, name = along, names[number] if number < len(names) else ""
    return name


def _ear_m(room: RoomView) -> float:
    return min((area.ear_height_m for area in room.listening_areas), default=1.2)


def _room(room: RoomView) -> dict[str, Any]:
    grid = next((ceiling.grid for ceiling in room.ceilings if ceiling.grid), None)
    return {
        "k": room.key,
        "l": room.label,
        "px": grid.pitch_x_m if grid else None,
        "py": grid.pitch_y_m if grid else None,
    }


def _line(line: LineView, rated_w: float) -> dict[str, Any]:
    return {
        "k": line.key,
        "l": line.label,
        "u": round(line.voltage_v, 3),
        "load": round(line.load_w, 3),
        "drawn": round(line.drawn_w, 3),
        "ohm": round(line.impedance_ohm, 4),
        "rated": rated_w,
    }


def _card(view: JobView, item: SpeakerView) -> dict[str, Any]:
    """Return what can be read without scripts: where, tap, hole, wires."""
    imperial = view.title.is_imperial
    hole = (
        "" if item.cutout_m is None else format_length(item.cutout_m, imperial=imperial, fine=True)
    )
    rows = [
        ("tap", f"{item.tap_text}  {item.tap_mark}", True),
        ("hole", f"ø {hole}" if hole else "none", True),
        ("wire in", _wire(view, item, onward=False) or "not wired yet", False),
        ("wire on", _wire(view, item, onward=True) or "end of its branch", False),
    ]
    return {
        "key": item.key,
        "label": item.label,
        "room": item.room_label,
        "find": item.tile_text or item.place_text,
        "rows": rows,
    }


def _facts(view: JobView, item: SpeakerView) -> list[tuple[str, str]]:
    """Return the rest of a card, which scripts fill in from a table of its sentences."""
    imperial = view.title.is_imperial
    wires = [*(() if item.wire_in is None else (item.wire_in,)), *item.wires_out]
    cables = sorted({f"{wire.cable}, {wire.colours}" for wire in wires})
    rows = [
        ("place", item.place_text if item.tile_text else ""),
        ("cable", "; ".join(cables)),
        ("not on", item.bypass_text),
        ("weight", format_mass(item.mass_kg, imperial=imperial)),
        ("carried by", item.support_text),
        ("second", item.safety_text),
        ("above", item.void_text),
        ("onward", words.meter(item.meter_out, item.impedance_out_ohm)),
        ("alone", words.meter(item.meter_alone, item.impedance_alone_ohm)),
        ("volts", words.volts(item.voltage_v)),
        ("findings", ", ".join(item.findings)),
        ("note", item.card_note),
        *(("caution", text) for text in item.cautions),
    ]
    return [row for row in rows if row[1]]


class _Sentences:
    """Each sentence once; cards refer to it by number."""

    def __init__(self) -> None:
        self.texts: list[str] = []
        self._numbers: dict[str, int] = {}

    def number(self, text: str) -> int:
        """Return the number of a sentence."""
        if text not in self._numbers:
            self._numbers[text] = len(self.texts)
            self.texts.append(text)
        return self._numbers[text]


def _wire(view: JobView, item: SpeakerView, *, onward: bool) -> str:
    wires = item.wires_out if onward else (item.wire_in,) if item.wire_in else ()
    return "; ".join(
        f"{'to' if onward else 'from'} {wire.to_label},"
        f" {words.run_length(wire.length_m, imperial=view.title.is_imperial)}"
        for wire in wires
    )


def _wall_words(room: RoomView, ring: Sequence[tuple[float, float]]) -> list[str]:
    """Return the names of the walls along them, inside the room."""
    from markupsafe import escape  # noqa: PLC0415 - comes with the page's templates

    turn = sum(p[0] * q[1] - q[0] * p[1] for p, q in zip(ring, (*ring[1:], ring[0]), strict=True))
    out = []
    for number, (a, b) in enumerate(zip(ring, (*ring[1:], ring[0]), strict=True)):
        name = room.wall_names[number] if number < len(room.wall_names) else ""
        length = math.dist(a, b)
        if not name or length < 4.2 * len(name):
            continue
        nx, ny = (a[1] - b[1]) / length, (b[0] - a[0]) / length
        if turn < 0:
            nx, ny = -nx, -ny
        angle = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
        angle = angle - 180 if angle > 90.5 else angle + 180 if angle < -89.5 else angle
        x, y = (a[0] + b[0]) / 2 - 7 * nx, (a[1] + b[1]) / 2 - 7 * ny
        spin = f' transform="rotate({angle:.0f} {x:.1f} {y:.1f})"' if abs(angle) > 0.5 else ""
        out.append(
            f'<text class="w" x="{x:.1f}" y="{y + 3:.1f}" text-anchor="middle"{spin}>'
            f"{escape(name)}</text>"
        )
    return out


def _plan(view: JobView, room: RoomView) -> str:
    """Return the room small, each speaker a button of its own."""
    from markupsafe import escape  # noqa: PLC0415 - comes with the page's templates

    projection = fill_plan(room.outline, (16.0, 16.0, _PLAN - 16.0, _PLAN * 1.2))
    ring = projection.ring(room.outline)
    low, high = min(y for _, y in ring) - 16.0, max(y for _, y in ring) + 16.0
    out = [
        f'<svg viewBox="0 {low:.0f} {_PLAN:.0f} {high - low:.0f}" font-size="9" role="group"'
        f' aria-label="{escape(room.label)}">'
    ]
    for index, points in enumerate((room.outline, *room.holes)):
        path = "L".join(f"{x:.1f} {y:.1f}" for x, y in projection.ring(points))
        fill = "none" if index == 0 else "#b3bac0"
        out.append(f'<path d="M{path}Z" fill="{fill}" stroke="#1d2329" stroke-width="2"/>')
    for route in room.routes:
        path = "L".join(f"{x:.1f} {y:.1f}" for x, y in projection.ring(route.points))
        out.append(f'<path d="M{path}" fill="none" stroke="#b5371c" stroke-width=".7"/>')
    out += _wall_words(room, ring)
    middle = (_PLAN / 2, (low + high) / 2)
    for door in room.doors:
        x, y = projection(door.position)
        out.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="#fff" stroke="#1d2329"/>')
        inward = 12.0 / max(math.dist((x, y), middle), 1e-6)
        at = (x + (middle[0] - x) * inward, y + (middle[1] - y) * inward)
        anchor = "end" if x > 0.7 * _PLAN else "start" if x < 0.3 * _PLAN else "middle"
        out.append(
            f'<text class="w" x="{at[0]:.1f}" y="{at[1] + 3:.1f}" text-anchor="{anchor}">'
            f"{escape(door.label)}</text>"
        )
    for item in view.in_room(room.key):
        x, y = projection(item.position)
        short = item.label.rsplit("-", maxsplit=1)[-1]
        out.append(
            f'<g class="s" data-key="{escape(item.key)}" tabindex="0" role="button"'
            f' aria-label="{escape(item.label)}"><circle class="hit" cx="{x:.1f}" cy="{y:.1f}"'
            f' r="14"/><circle class="ring" cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
            f'<text x="{x:.1f}" y="{y - 6:.1f}" text-anchor="middle">{escape(short)}</text></g>'
        )
    out.append("</svg>")
    return "".join(out)
