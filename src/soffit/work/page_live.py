"""What answers while a loudspeaker is dragged: map, evenness, its line, what speaks against it."""

import base64
import math
import threading
from dataclasses import dataclass, replace
from typing import Any, Final, get_args

import numpy as np

from soffit.errors import DomainError, JobError, SoffitError
from soffit.evaluate.ceiling import CeilingPlace
from soffit.evaluate.line import LineState, evaluate_line
from soffit.evaluate.sound_live import LevelMap, LiveRoom, LiveState
from soffit.model.lines import Line
from soffit.model.speakers import Speaker, TileRef
from soffit.model.survey import EvennessMeasure, Point, Room
from soffit.work.page_state import Snapshot

MAP_STEP_M: Final = 0.3
_MOST_CELLS: Final = 40_000
_MOST_MOVING: Final = 24_000
"""Cells of a map that follows a finger: of a larger one every other row and column is sent."""

_OUTSIDE: Final = 255
_PER_DB: Final = 8.0
MEASURES: Final[tuple[str, ...]] = get_args(EvennessMeasure)


def map_dict(level: LevelMap, *, most: int = 10**9) -> dict[str, Any]:
    """Return a map as small bytes: an eighth of a decibel a step over ``floor_db``.

    Parameters
    ----------
    level
        The map.
    most
        Cells that may be sent; of a larger map every other row and column, or fewer.
    """
    every = math.ceil(math.sqrt(level.level_db.size / most))
    values = level.level_db[::every, ::every]
    inside = level.inside[::every, ::every] & np.isfinite(values)
    top = float(values[inside].max()) if inside.any() else 0.0
    floor = math.floor(top) - 28.0
    steps = np.clip(np.rint((values - floor) * _PER_DB), 0, _OUTSIDE - 1)
    packed = np.where(inside, np.nan_to_num(steps), _OUTSIDE).astype(np.uint8)
    grid = level.grid
    return {
        "x0_m": grid.x0_m,
        "y0_m": grid.y0_m,
        "step_m": grid.step_m * every,
        "columns": values.shape[1],
        "rows": values.shape[0],
        "floor": floor,
        "per_band": _PER_DB,
        "band": 1.0,
        "outside": _OUTSIDE,
        "measure": level.measure,
        "unit": "dBA" if "dBA" in level.measure else "dB",
        "cells": base64.b64encode(packed.tobytes()).decode("ascii"),
    }


WORDS: Final[dict[str, str]] = {
    "direct 4 kHz": "evenness: direct sound at 4 kHz",
    "direct 2 kHz": "evenness: direct sound at 2 kHz",
    "direct dBA": "direct sound, dBA",
    "whole 2 kHz": "announcement: with the room, 2 kHz",
    "whole 4 kHz": "announcement: with the room, 4 kHz",
    "whole dBA": "music: how loud with the room, dBA",
    "sti": "clarity: speech transmission index",
    "low end": "bass: from seat to seat",
}
"""What the page can show, by name, in the words of what a person asks."""


def drawn_map(now: Snapshot, room: Room, kind: str) -> dict[str, Any]:
    """Return a map of the papers, clarity or bass, packed as the level map is.

    Parameters
    ----------
    now
        The job; it has a design.
    room
        The room.
    kind
        ``sti`` or ``low end``.

    Raises
    ------
    JobError
        If the room has no such map.
    """
    drawn = next(item for item in now.view.rooms if item.key == room.key)
    view = next((item for item in drawn.maps if item.kind == kind), None)
    if view is None:
        raise JobError(
            what=f"{room.label} has no map of {WORDS.get(kind, kind)}",
            where=f"rooms.{room.key}",
            why="clarity is mapped where the brief asks for it, bass where a subwoofer hangs",
            do="ask for it on the survey sheet, or choose another map",
        )
    band = round(float(view.edges[1] - view.edges[0]), 6)
    inside = np.isfinite(view.values)
    scaled = view.values / band
    floor = math.floor(float(np.nanmin(scaled))) - 1.0 if inside.any() else 0.0
    steps = np.clip(np.rint((scaled - floor) * _PER_DB), 0, _OUTSIDE - 1)
    packed = np.where(inside, np.nan_to_num(steps), _OUTSIDE).astype(np.uint8)
    rows, columns = view.values.shape
    return {
        "x0_m": view.origin[0],
        "y0_m": view.origin[1],
        "step_m": view.step_m,
        "columns": columns,
        "rows": rows,
        "floor": floor,
        "per_band": _PER_DB,
        "band": band,
        "outside": _OUTSIDE,
        "measure": view.title,
        "unit": view.unit,
        "note": view.note,
        "cells": base64.b64encode(packed.tobytes()).decode("ascii"),
    }


def state_dict(state: LiveState) -> dict[str, Any]:
    """Return evenness and level as plain data.

    Parameters
    ----------
    state
        As computed.
    """
    even = state.evenness
    return {
        "spread_db": round(float(even.spread_db), 2),
        "half_text": f"{even.spread_db / 2:.1f}",  # rounded once, as the brief's own row
        "spread_90_db": round(float(even.spread_90_db), 2),
        "std_db": round(float(even.std_db), 2),
        "worst_db": round(float(even.worst_db), 2),
        "level_dba": round(state.level_dba, 1),
    }


def _step_m(room: Room) -> float:
    xs = [x for x, _ in room.outline]
    ys = [y for _, y in room.outline]
    area = (max(xs) - min(xs)) * (max(ys) - min(ys))
    return max(MAP_STEP_M, math.sqrt(area / _MOST_CELLS))


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """A place to which a loudspeaker is dragged: snapped to its tile where there is a grid."""

    position: Point
    tile: TileRef | None
    is_place: bool


class DragRoom:
    """One room at one revision, ready for drags; asks are answered one after another.

    Parameters
    ----------
    now
        The job.
    room
        The room.
    measure
        What the map shows.
    """

    def __init__(self, now: Snapshot, room: Room, measure: EvennessMeasure) -> None:
        sound = now.whole.sound.room(room.key)
        if sound is None:
            raise JobError(
                what=f"{room.label} has no loudspeakers yet",
                where=f"rooms.{room.key}",
                why="there is no sound to show",
                do="run the design, or add a loudspeaker by hand",
            )
        self.now, self.room = now, room
        self.live = LiveRoom(room, sound, measure=measure, map_step_m=_step_m(room))
        self._lock = threading.Lock()
        self._moved: tuple[str, Point] | None = None
        self._fields = {ceiling.key: _field(room, ceiling) for ceiling in room.ceilings}
        self._speakers = {item.key: item for item in now.job.design.speakers}
        self._places: dict[str, CeilingPlace] = {}
        self._others = [item for item in now.job.design.speakers if item.room_key == room.key]

    def snapped(self, speaker: Speaker, x: float, y: float) -> Where:
        """Return the place at which a loudspeaker would sit.

        Parameters
        ----------
        speaker
            The loudspeaker.
        x, y
            Where the finger is. [m]
        """
        field = self._fields.get(speaker.ceiling_key)
        if field is None:
            return Where(position=(x, y), tile=None, is_place=_inside(self.room, (x, y)))
        column, row = field.tile_at((x, y))
        index = field.index(column, row)
        if index is None:
            return Where(position=(x, y), tile=None, is_place=False)
        cx, cy = (float(value) for value in field.centre_m[index])
        return Where(
            position=(cx, cy),
            tile=TileRef(column=column, row=row),
            is_place=bool(field.is_usable[index]),
        )

    def at(self, key: str, x: float, y: float) -> dict[str, Any]:
        """Answer for a loudspeaker held at a place; nothing is kept.

        Parameters
        ----------
        key
            Permanent key.
        x, y
            Where the finger is. [m]

        Returns
        -------
        dict
            Place, evenness, map, line, and words that speak against the place.
        """
        with self._lock:
            speaker = self._speaker(key)
            where = self.snapped(speaker, x, y)
            if self._moved is not None and self._moved[0] != key:
                before = self._speaker(self._moved[0])
                self.live.move(before.key, before.position)
                self._moved = None
            state = self.live.move(key, where.position)
            self._moved = (key, where.position)
            level = self.live.level_map()
        return {
            "key": key,
            "revision": self.now.job.design.revision,
            "at_m": list(where.position),
            "tile": [where.tile.column, where.tile.row] if where.tile else None,
            "is_place": where.is_place,
            "against": self._against(speaker, where),
            "state": state_dict(state),
            "line": self._line(speaker, where.position),
            "map": map_dict(level, most=_MOST_MOVING),
        }

    def rest(self) -> dict[str, Any]:
        """Return map and evenness of the design as it is."""
        with self._lock:
            if self._moved is not None:
                before = self._speaker(self._moved[0])
                self.live.move(before.key, before.position)
                self._moved = None
            state, level = self.live.state(), self.live.level_map()
        return {
            "revision": self.now.job.design.revision,
            "state": state_dict(state),
            "map": map_dict(level),
        }

    def _speaker(self, key: str) -> Speaker:
        found = self._speakers.get(key)
        if found is None or found.room_key != self.room.key:
            raise JobError(
                what=f"there is no loudspeaker {key!r} in {self.room.label}",
                where="key",
                why="the design has changed, or the key belongs to another room",
                do="load the page again",
            )
        return found

    def _against(self, speaker: Speaker, where: Where) -> list[str]:
        """Return what speaks against a place, as far as a glance at the ceiling tells."""
        if not where.is_place:
            return ["no loudspeaker can sit here"]
        from soffit.evaluate.ceiling import ceiling_place, crowd_of, fit_speaker

        job = self.now.job
        held = replace(speaker, position=where.position, tile=where.tile)
        place = self._places.get(speaker.ceiling_key)
        if place is None:
            place = self._places[speaker.ceiling_key] = ceiling_place(
                job.survey, job.catalogue, self.room.key, speaker.ceiling_key
            )
        others = [item for item in self._others if item.key != speaker.key]
        crowd = crowd_of([held, *others], job.catalogue, self.room.key)
        fit = fit_speaker(place, held, crowd, is_named=False)
        words = []
        if fit.shares_tile_with:
            words.append("another loudspeaker sits in this tile")
        words += [
            f"too near to {near.label or near.kind}" for near in fit.neighbours if near.is_short
        ]
        if (
            fit.void_have_m is not None
            and fit.void_need_m is not None
            and fit.void_have_m < fit.void_need_m - 1e-6
        ):
            words.append("the void is too shallow here")
        return list(dict.fromkeys(words))

    def _line(self, speaker: Speaker, position: Point) -> dict[str, Any] | None:
        """Solve the line with its wiring order kept and the two or more runs here stretched."""
        job = self.now.job
        line = next((item for item in job.design.lines if item.key == speaker.line_key), None)
        if line is None:
            return None
        stretched = stretched_line(line, speaker, position)
        try:
            state = evaluate_line(
                stretched,
                job.design.speakers,
                job.catalogue,
                conductor_degc=job.survey.limits["conductor_degc"],
            )
        except SoffitError:
            return None
        return line_dict(line, state, speaker.key)


def _field(room: Room, ceiling: Any) -> Any:  # noqa: ANN401 a ceiling, and its tiles or nothing
    from soffit.evaluate.ceiling import tile_field

    return tile_field(room, ceiling)


def _inside(room: Room, point: Point) -> bool:
    """Whether a point lies in a room, by counting crossings of a ray."""
    within = False
    for ring in (room.outline, *room.holes):
        for (ax, ay), (bx, by) in zip(ring, (*ring[1:], ring[0]), strict=True):
            if (ay > point[1]) != (by > point[1]):
                cross = ax + (point[1] - ay) * (bx - ax) / (by - ay)
                within ^= point[0] < cross
    return within


def stretched_line(line: Line, speaker: Speaker, position: Point) -> Line:
    """Return a line whose runs at one loudspeaker follow it, in straight steps along the walls.

    Parameters
    ----------
    line
        As wired.
    speaker
        The loudspeaker where it was.
    position
        Where it is held. [m]
    """
    runs = []
    for run in line.runs:
        if speaker.key not in {run.start_key, run.end_key} or len(run.route) < 2:
            runs.append(run)
            continue
        other = run.route[0] if run.end_key == speaker.key else run.route[-1]
        more = _steps_m(other, position) - _steps_m(other, speaker.position)
        runs.append(replace(run, length_m=max(run.length_m + more, 0.1)))
    return replace(line, runs=tuple(runs))


def _steps_m(a: Point, b: Point) -> float:
    return abs(a[0] - b[0]) + abs(a[1] - b[1])


def line_dict(line: Line, state: LineState, key: str = "") -> dict[str, Any]:
    """Return a solved line as plain data.

    Parameters
    ----------
    line, state
        The line and its solution.
    key
        A loudspeaker whose volts are wanted, too.
    """
    here = next((item for item in state.speakers if item.key == key), None)
    return {
        "key": line.key,
        "label": line.label,
        "load_w": round(state.load_w, 2),
        "drawn_w": round(state.amplifier_w, 2),
        "ohm": round(state.impedance_ohm, 2),
        "worst_loss_db": round(state.worst_loss_db, 3),
        "length_m": round(state.length_m, 2),
        "volts_here": round(here.voltage_v, 2) if here else None,
        "loss_here_db": round(here.loss_db, 3) if here else None,
    }


def drag_room(now: Snapshot, room: Room, measure: str = "") -> DragRoom:
    """Return the room ready for drags; it is made once a revision and measure.

    Parameters
    ----------
    now
        The job.
    room
        The room.
    measure
        What the map shows; the brief's if empty.

    Raises
    ------
    DomainError
        If there is no such measure.
    """
    wanted = measure or room.brief.evenness_measure
    if wanted not in MEASURES:
        msg = f"there is no measure {wanted!r}"
        raise DomainError(
            msg, where="measure", why=f"there are {', '.join(MEASURES)}", do="name one of these"
        )
    name = (room.key, wanted)
    found = now.lives.get(name)
    if found is None:
        found = now.lives[name] = DragRoom(now, room, wanted)  # type: ignore[arg-type] # just checked
    made: DragRoom = found
    return made
