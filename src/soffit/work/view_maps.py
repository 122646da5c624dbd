"""Maps as papers show them: level, speech, low end."""

from math import ceil, floor

import numpy as np
from scipy.spatial import cKDTree

from soffit.acoustics.visibility import is_inside
from soffit.decibel import FloatArray, power_ratio, power_ratio_db
from soffit.design.subs_answer import SubDesign
from soffit.design.subs_job import RoomSubs
from soffit.evaluate.sound import RoomSound, direct_energy
from soffit.evaluate.sound_source import late_per_watt, measure_weights
from soffit.model.survey import EvennessMeasure
from soffit.papers.views import MapView

_MAP_STEP_M = 0.25
_HALF_BANDS = 6


def _raster(room_low: FloatArray, room_high: FloatArray) -> tuple[int, int]:
    size = np.ceil((room_high - room_low) / _MAP_STEP_M).astype(int)
    return max(1, int(size[1])), max(1, int(size[0]))


def sound_maps(sound: RoomSound) -> tuple[MapView, ...]:
    """Return level maps of a room, and its speech map where speech was asked for.

    Parameters
    ----------
    sound
        The room's sound.
    """
    outer = sound.acoustics.walls.outer_m
    low, high = outer.min(axis=0), outer.max(axis=0)
    rows, columns = _raster(low, high)
    x = low[0] + (np.arange(columns) + 0.5) * _MAP_STEP_M
    y = low[1] + (np.arange(rows) + 0.5) * _MAP_STEP_M
    mesh = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    inside = is_inside(sound.acoustics.walls, mesh)
    ear = float(np.median(sound.ears.point_m[:, 2]))
    points = np.column_stack([mesh[inside], np.full(int(inside.sum()), ear)])
    direct = direct_energy(sound.sources, points, sound.acoustics)
    late = sound.sources.power_w @ late_per_watt(sound.sources, sound.acoustics.room_constant_m2)
    drive = float(power_ratio(sound.drive_db))

    def level_map(measure: EvennessMeasure, title: str) -> MapView:
        energy = direct if measure.startswith("direct") else direct + late
        level = power_ratio_db(energy @ measure_weights(measure, sound.share) * drive)
        values = np.full(len(mesh), np.nan)
        values[inside] = level
        found = sound.evenness[measure]
        middle = found.median_db
        edges = tuple(
            float(edge)
            for edge in range(floor(middle) - _HALF_BANDS, ceil(middle) + _HALF_BANDS + 1)
        )
        return MapView(
            kind="level" if measure == sound.measure else "evenness",
            title=title,
            unit="dBA" if measure.endswith("dBA") else "dB",
            values=values.reshape(rows, columns),
            origin=(float(x[0]), float(y[0])),
            step_m=_MAP_STEP_M,
            edges=edges,
            note=(
                f"95 % of the ears within ±{found.spread_db / 2.0:.1f} dB of"
                f" {middle:.1f} {'dBA' if measure.endswith('dBA') else 'dB'};"
                f" {sound.sources.text}"
            ),
        )

    second: EvennessMeasure = "whole dBA" if sound.measure != "whole dBA" else "direct 4 kHz"
    maps = [
        level_map(sound.measure, f"Level with the line filled, {sound.measure}"),
        level_map(second, f"Level with the line filled, {second}"),
    ]
    if sound.speech.asked_sti is not None:
        maps.append(_sti_map(sound, mesh, (rows, columns), (float(x[0]), float(y[0]))))
    return tuple(maps)


def _sti_map(
    sound: RoomSound, mesh: FloatArray, shape: tuple[int, int], origin: tuple[float, float]
) -> MapView:
    """Spread the index at the computed ears over the raster: each cell takes the nearest ear's."""
    ears = sound.ears.point_m[sound.speech.ear_index, :2]
    away, nearest = cKDTree(ears).query(mesh)
    reach = max(_MAP_STEP_M, 1.5 * _ear_distance(ears))
    values = np.where(away <= reach, sound.speech.sti[nearest], np.nan)
    return MapView(
        kind="sti",
        title="Speech transmission index at the wanted level",
        unit="",
        values=values.reshape(shape),
        origin=origin,
        step_m=_MAP_STEP_M,
        edges=tuple(round(0.30 + 0.05 * step, 2) for step in range(12)),
        note=(
            f"{sound.speech.reached_sti:.2f} or more at {sound.speech.share:.0%} of the ears,"
            f" mean {sound.speech.mean_sti:.2f}; {sound.speech.text}"
        ),
    )


def _ear_distance(ears: FloatArray) -> float:
    if len(ears) < 2:
        return _MAP_STEP_M
    away, _ = cKDTree(ears).query(ears, k=2)
    return float(np.median(np.asarray(away)[:, 1]))


def low_maps(plan: RoomSubs | None) -> tuple[MapView, ...]:
    """Return maps of the low end: the third octave that differs most, and the middle one.

    Parameters
    ----------
    plan
        Plan of the low end; ``None`` or without a design where there is none.
    """
    if plan is None or plan.design is None:
        return ()
    design = plan.design
    low = design.low_map
    used = [low.labels.index(row.label) for row in design.rows if row.label in low.labels]
    widest = max(used, key=lambda band: _row_spread(design, low.labels[band]))
    chosen = list(dict.fromkeys([widest, used[len(used) // 2]]))
    step = float(low.x_m[1] - low.x_m[0]) if low.x_m.size > 1 else _MAP_STEP_M
    marks = tuple(
        (place.position, f"subwoofer {number}")
        for number, place in enumerate(design.chosen.places, 1)
    )
    return tuple(
        MapView(
            kind="low end",
            title=f"Low end, third octave of {low.labels[band]} Hz, {design.chosen.words}",
            unit="dB",
            values=low.level_db[band],
            origin=(float(low.x_m[0]), float(low.y_m[0])),
            step_m=step,
            edges=tuple(float(edge) for edge in range(-12, 13, 2)),
            note=f"against the mean of the seats; {design.model}",
            marks=marks,
        )
        for band in chosen
    )


def _row_spread(design: SubDesign, label: str) -> float:
    return next(row.spread_db for row in design.rows if row.label == label)


def low_notes(plan: RoomSubs | None) -> tuple[str, ...]:
    """Return what the choice of the subwoofer's place is worth, and how to set it.

    Parameters
    ----------
    plan
        Plan of the low end; ``None`` where there is none.
    """
    if plan is None or plan.design is None:
        return ()
    design = plan.design
    notes = [
        f"Subwoofer, {option.words}: seats differ by {option.spread_db:.1f} dB"
        f" (standard deviation), {option.support_db:+.1f} dB a watt at the seats."
        for option in design.options
    ]
    notes += [f"{step.title}: {step.do}" for step in plan.steps]
    return tuple(notes)
