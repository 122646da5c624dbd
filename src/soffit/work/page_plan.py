"""The plan of a room for the page: the papers' drawing, with every loudspeaker as its own group."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from typing import Any, Final

from soffit.model.decisions import Job
from soffit.model.survey import Point, Room
from soffit.papers import symbols
from soffit.papers.plan_drawing import Drawing
from soffit.papers.projection import Projection, bounds
from soffit.papers.scene import Item, Scene, Text
from soffit.papers.svg import svg_elements
from soffit.papers.views import JobView, RoomView, SpeakerView
from soffit.units import format_length
from soffit.work.page_state import Snapshot
from soffit.work.view_rooms import room_views

_SCALES: Final = (25.0, 50.0, 75.0, 100.0, 150.0, 200.0, 300.0, 500.0)
_WIDTH_MM: Final = 185.0
_MARGIN_MM: Final = 17.0
_MARKS: Final = {"labels", "leaders", "speakers"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """One loudspeaker on the page's plan.

    Parameters
    ----------
    x, y
        Its centre on the drawing. [mm]
    radius
        Of its symbol. [mm]
    symbol, name
        Elements of the symbol, drawn round the origin, and of its lettering.
    """

    speaker: SpeakerView
    x: float
    y: float
    radius: float
    symbol: str
    name: str

    def words(self, *, imperial: bool) -> str:
        """Return what a screen reader says.

        Parameters
        ----------
        imperial
            Feet and inches.
        """
        item = self.speaker
        where = item.tile_text or item.place_text
        fixed = ", fixed by hand" if item.is_fixed else ""
        height = format_length(item.mount_height_m, imperial=imperial)
        return f"{item.label}, {item.type_name}, {item.tap_text}, {where}, {height} up{fixed}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePlan:
    """A plan for the page.

    Parameters
    ----------
    width, height
        Of the drawing. [mm]
    under, over
        Elements below and above the loudspeakers.
    units
        Loudspeakers.
    rings
        Outline and holes on the drawing, for clipping the map. [mm]
    mm_per_m, origin_m, at
        A plan point p falls on ``at + (p - origin_m) * mm_per_m``, y turned.
    """

    room: RoomView
    width: float
    height: float
    floor: str
    under: str
    units: tuple[Unit, ...]
    rings: tuple[tuple[Point, ...], ...]
    mm_per_m: float
    origin_m: Point
    at: Point


def _scale(size_m: tuple[float, float]) -> float:
    for scale in _SCALES:
        if max(size_m) * 1e3 / scale <= _WIDTH_MM:
            return scale
    return _SCALES[-1]


def _projection(outline: Sequence[Point]) -> tuple[Projection, float, float]:
    left, low, right, high = bounds(outline)
    scale = _scale((right - left, high - low))
    wide, tall = (right - left) * 1e3 / scale, (high - low) * 1e3 / scale
    width, height = wide + 2 * _MARGIN_MM, tall + 2 * _MARGIN_MM
    projection = Projection(
        scale=scale,
        origin_m=((left + right) / 2, (low + high) / 2),
        at=(width / 2, height / 2),
    )
    return projection, width, height


def _names(items: Sequence[Item], labels: set[str]) -> Iterator[tuple[str, list[Item]]]:
    """Yield the leader and words of every labelled loudspeaker: they come one after another."""
    waiting: list[Item] = []
    current: list[Item] = []
    label = ""
    for item in items:
        if item.layer == "leaders":
            waiting.append(item)
        elif item.layer == "labels" and isinstance(item, Text) and item.text in labels:
            if label:
                yield label, current
            label, current, waiting = item.text, [*waiting, item], []
        elif item.layer == "labels":
            current.append(item)
    if label:
        yield label, current


def page_plan(view: JobView, room: RoomView) -> PagePlan:
    """Draw the plan of a room for the page.

    Parameters
    ----------
    view
        The job as papers show it.
    room
        The room.

    Returns
    -------
    PagePlan
        Drawing and loudspeakers.
    """
    speakers = view.in_room(room.key)
    projection, width, height = _projection(room.outline)
    scene = Scene(width, height)
    drawing = Drawing(
        scene,
        room,
        speakers,
        projection,
        imperial=view.title.is_imperial,
        area=(1.0, 1.0, width - 1.0, height - 1.0),
    )
    drawing.draw()
    names = dict(_names(scene.items, {item.label for item in speakers}))
    numbers = count(1)
    units = []
    for item in speakers:
        x, y = projection(item.position)
        radius = max(projection.mm(item.flange_m) / 2, 1.5)
        small = Scene(1.0, 1.0)
        symbols.speaker(small, (0.0, 0.0), radius, item.kind, existing=item.state == "existing")
        words = names.get(item.label, [])
        units.append(
            Unit(
                speaker=item,
                x=x,
                y=y,
                radius=radius,
                symbol=svg_elements(small.items),
                name=svg_elements(words, first=1000 * next(numbers)),
            )
        )
    still = [item for item in scene.items if item.layer not in _MARKS]
    floor = [item for item in still if item.layer in {"room", "tiles"}]
    rest = [item for item in still if item.layer not in {"room", "tiles"}]
    return PagePlan(
        room=room,
        width=width,
        height=height,
        floor=svg_elements(floor),
        under=svg_elements(rest, first=len(floor)),
        units=tuple(units),
        rings=tuple(projection.ring(ring) for ring in (room.outline, *room.holes)),
        mm_per_m=projection.mm(1.0),
        origin_m=projection.origin_m,
        at=projection.at,
    )


def tiles_of(job: Job, room: Room) -> list[dict[str, Any]]:
    """Return the ceilings of a room with the tiles that a loudspeaker can sit in.

    Parameters
    ----------
    job
        The job.
    room
        The room.

    Returns
    -------
    list of dict
        ``ceiling`` and ``tiles``: column, row, centre x and y, and 1 where the tile may carry one.
        A ceiling without a grid has no tiles.
    """
    from soffit.evaluate.ceiling import tile_field

    del job
    found = []
    for ceiling in room.ceilings:
        field = tile_field(room, ceiling)
        cells = []
        if field is not None:
            for index in range(len(field)):
                x, y = field.centre_m[index]
                cells.append(
                    [
                        int(field.column[index]),
                        int(field.row[index]),
                        round(float(x), 4),
                        round(float(y), 4),
                        int(field.is_usable[index]),
                    ]
                )
        found.append({"ceiling": ceiling.key, "kind": ceiling.kind, "tiles": cells})
    return found


def room_of(now: Snapshot, key: str) -> Room:
    """Return a room by key, the first one for an empty key.

    Parameters
    ----------
    now
        The job.
    key
        Key of the room.
    """
    return now.job.survey.room(key) if key else now.job.survey.rooms[0]


def bare_view(now: Snapshot) -> JobView:
    """Return the job as papers show it; of a job without a design only what was surveyed.

    Parameters
    ----------
    now
        The job.
    """
    if now.job.design.speakers:
        return now.view
    from soffit.work.view_job import title_view

    return JobView(title=title_view(now.job), rooms=room_views(now.whole), speakers=(), lines=())


def plan_dict(now: Snapshot, room_key: str) -> dict[str, Any]:
    """Return what the page needs to work on a plan, as plain data.

    Parameters
    ----------
    now
        The job.
    room_key
        Key of the room.
    """
    if room_key not in now.plans:
        now.plans[room_key] = _plan_dict(now, room_key)
    return now.plans[room_key]


def _plan_dict(now: Snapshot, room_key: str) -> dict[str, Any]:
    job = now.job
    room = room_of(now, room_key)
    view = bare_view(now)
    drawn = next(item for item in view.rooms if item.key == room.key)
    plan = page_plan(view, drawn)
    imperial = job.survey.site.is_imperial
    speakers = {item.key: item for item in job.design.speakers}
    return {
        "revision": job.design.revision,
        "room": room.key,
        "label": room.label,
        "width": plan.width,
        "height": plan.height,
        "floor": plan.floor,
        "under": plan.under,
        "rings": [[[round(x, 3), round(y, 3)] for x, y in ring] for ring in plan.rings],
        "mm_per_m": plan.mm_per_m,
        "origin_m": list(plan.origin_m),
        "at": list(plan.at),
        "ceilings": tiles_of(job, room),
        "units": [
            {
                "key": unit.speaker.key,
                "label": unit.speaker.label,
                "words": unit.words(imperial=imperial),
                "x": round(unit.x, 3),
                "y": round(unit.y, 3),
                "radius": round(unit.radius, 3),
                "symbol": unit.symbol,
                "name": unit.name,
                "at_m": list(unit.speaker.position),
                "tile": list(unit.speaker.tile) if unit.speaker.tile else None,
                "tile_text": unit.speaker.tile_text,
                "place_text": unit.speaker.place_text,
                "type_id": unit.speaker.type_id,
                "type_name": unit.speaker.type_name,
                "tap_text": unit.speaker.tap_text,
                "taps": [f"{tap.power_w:g} W" for tap in _taps(job, unit.speaker)],
                "line": unit.speaker.line_label,
                "volts": round(unit.speaker.voltage_v, 2),
                "loss_db": round(unit.speaker.loss_db, 3),
                "arrives_w": round(unit.speaker.delivered_w, 2),
                "is_fixed": unit.speaker.is_fixed,
                "state": unit.speaker.state,
                "findings": list(unit.speaker.findings),
                "ceiling": speakers[unit.speaker.key].ceiling_key,
            }
            for unit in plan.units
        ],
        "brief": [
            {"what": row.what, "asked": row.asked, "got": row.got, "verdict": row.verdict,
             "note": row.note}
            for row in drawn.brief
        ],
        "pattern": drawn.pattern,
        "reason": drawn.reason,
        "bound": next((item.bound for item in job.design.rooms if item.room_key == room.key), ""),
        "ceiling_text": drawn.ceiling_text,
        "notes": list(drawn.notes),
    }  # fmt: skip


def _taps(job: Job, speaker: SpeakerView) -> Any:  # noqa: ANN401 a tuple of taps
    entry = job.catalogue.speaker(speaker.type_id)
    return entry.taps_at(job.survey.site.line_voltage_v)
