"""Findings about holes, tiles, voids and heights."""

from collections.abc import Iterator
from typing import Final

import numpy as np

from soffit.check.kit import Check, Context, at_room, at_speaker, count_text, found
from soffit.evaluate.ceiling import SpeakerFit, is_above_face
from soffit.evaluate.ceiling_move import nearest_good_place
from soffit.model.findings import Finding, Mend
from soffit.model.survey import Ceiling, Room
from soffit.tables.load import load_table


def move_mends(context: Context, fit: SpeakerFit) -> tuple[Mend, ...]:
    """Return the move to the nearest good place, where the speaker may be moved.

    Parameters
    ----------
    context
        The job.
    fit
        Speaker with something against its place.
    """
    if fit.key not in context.moves:
        context.moves[fit.key] = _search_move(context, fit)
    return context.moves[fit.key]


def _search_move(context: Context, fit: SpeakerFit) -> tuple[Mend, ...]:
    speaker = context.job.design.speaker(fit.key)
    if speaker.state != "planned":
        return ()
    survey, catalogue = context.job.survey, context.job.catalogue
    move = nearest_good_place(survey, catalogue, speaker, context.speakers)
    if move is None:
        return ()
    where = f"to a place {context.fine(move.distance_m)} away"
    if move.tile is not None:
        where = f"to tile {move.tile.column},{move.tile.row}: {move.text}"
    text = f"move {fit.label} {where}"
    return (Mend(kind="move", target_key=fit.key, value=move.value(), text=text),)


def _fits(context: Context) -> Iterator[tuple[SpeakerFit, Ceiling]]:
    for fit in context.states.ceiling.speakers:
        yield fit, context.job.survey.ceiling(fit.room_key, fit.ceiling_key)


def _is_cut_in(context: Context, fit: SpeakerFit) -> bool:
    return is_above_face(context.job.catalogue.speaker(fit.type_id))


def _outside(context: Context) -> list[Finding]:
    return [
        at_speaker(
            fit,
            f"its middle is not under the ceiling {fit.ceiling_key!r}",
            limit="inside the ceiling",
            mends=move_mends(context, fit),
        )
        for fit, _ in _fits(context)
        if not fit.is_inside
    ]


def _no_tile(context: Context) -> list[Finding]:
    return [
        at_speaker(
            fit,
            "there is no tile there: only a sliver at the wall",
            limit="a tile",
            mends=move_mends(context, fit),
        )
        for fit, ceiling in _fits(context)
        if ceiling.kind == "grid"
        and ceiling.grid is not None
        and fit.is_inside
        and not fit.has_tile
    ]


def _cut_tile(context: Context) -> list[Finding]:
    return [
        at_speaker(
            fit,
            f"sits in a cut tile: {fit.place_text}",
            limit="full tiles only",
            mends=move_mends(context, fit),
        )
        for fit, _ in _fits(context)
        if fit.has_tile and not fit.tile_is_usable and fit.is_inside
    ]


def _hole_on_tee(context: Context) -> list[Finding]:
    return [
        at_speaker(
            fit,
            f"its cut-out reaches {context.fine(-fit.hole_gap_m)} into a tee or a wall",
            limit="0 at least",
            mends=move_mends(context, fit),
        )
        for fit, _ in _fits(context)
        if fit.hole_gap_m is not None and fit.hole_gap_m < -1e-6
    ]


def _hole_near_tee(context: Context) -> list[Finding]:
    least = context.limits["cutout_tee_clearance_m"]
    return [
        at_speaker(
            fit,
            f"its cut-out ends {context.fine(fit.hole_gap_m)} from a tee or a wall",
            limit=f"{context.fine(least)} at least",
            mends=move_mends(context, fit),
        )
        for fit, _ in _fits(context)
        if fit.hole_gap_m is not None and -1e-6 <= fit.hole_gap_m < least - 1e-6
    ]


def _hole_on_joist(context: Context) -> list[Finding]:
    return [
        at_speaker(
            fit,
            f"its cut-out reaches {context.fine(-fit.joist_gap_m)} into a joist",
            limit="0 at least",
            mends=move_mends(context, fit),
        )
        for fit, _ in _fits(context)
        if fit.joist_gap_m is not None and fit.joist_gap_m < -1e-6
    ]


def _hole_near_joist(context: Context) -> list[Finding]:
    least = context.limits["cutout_joist_clearance_m"]
    return [
        at_speaker(
            fit,
            f"its cut-out ends {context.fine(fit.joist_gap_m)} from a joist",
            limit=f"{context.fine(least)} at least",
            mends=move_mends(context, fit),
        )
        for fit, _ in _fits(context)
        if fit.joist_gap_m is not None and -1e-6 <= fit.joist_gap_m < least - 1e-6
    ]


def _shallow_void(context: Context) -> list[Finding]:
    return [
        at_speaker(
            fit,
            f"needs {context.fine(fit.void_need_m)} of void, has {context.fine(fit.void_have_m)}"
            f" under {fit.void_by}",
            limit=context.fine(fit.void_need_m),
            mends=move_mends(context, fit),
        )
        for fit, _ in _fits(context)
        if fit.void_have_m is not None and fit.void_have_m < fit.void_need_m - 1e-6
    ]


def _unknown_void(context: Context) -> list[Finding]:
    rooms: dict[tuple[str, str], list[SpeakerFit]] = {}
    for fit, ceiling in _fits(context):
        if ceiling.kind != "open" and fit.void_have_m is None and _is_cut_in(context, fit):
            rooms.setdefault((fit.room_key, fit.ceiling_key), []).append(fit)
    return [
        at_room(
            room_key,
            context.job.survey.room(room_key).label,
            f"nobody has measured the void over {count_text(len(fits), 'speaker')};"
            f" {context.fine(max(fit.void_need_m for fit in fits))} is needed",
            limit="a measured void",
        )
        for (room_key, _), fits in rooms.items()
    ]


def _shared_tile(context: Context) -> list[Finding]:
    return [
        at_speaker(
            fit,
            f"shares its tile with {fit.shares_tile_with}",
            limit="one unit a tile",
            mends=move_mends(context, fit),
        )
        for fit, _ in _fits(context)
        if fit.shares_tile_with
    ]


def _units_touch(context: Context) -> list[Finding]:
    least = context.limits["unit_gap_least_m"]
    return [
        at_speaker(
            fit,
            f"its trim is {context.fine(fit.unit_gap_m)} from that of {fit.nearest_unit_label}",
            limit=f"{context.fine(least)} at least",
            mends=move_mends(context, fit),
        )
        for fit, _ in _fits(context)
        if fit.unit_gap_m is not None and fit.unit_gap_m < least - 1e-6
    ]


def _off_centre(context: Context) -> list[Finding]:
    return [
        at_speaker(
            fit,
            f"sits {context.fine(fit.off_centre_m)} beside the middle of its tile",
            limit="the middle",
        )
        for fit, _ in _fits(context)
        if fit.tile_is_full and fit.off_centre_m > 0.02
    ]


def _off_plumb(context: Context) -> list[Finding]:
    findings = []
    for fit, ceiling in _fits(context):
        slope = float(np.degrees(np.arctan(ceiling.slope_ratio)))
        aim = context.job.design.speaker(fit.key).aim
        if slope > 3.0 and _is_cut_in(context, fit) and aim[2] < -0.999:
            findings.append(
                at_speaker(
                    fit,
                    f"is planned to look straight down, its ceiling slopes by {slope:.0f}°",
                    limit="the ceiling's own direction",
                )
            )
    return findings


def _ceilings(context: Context) -> Iterator[tuple[Room, Ceiling]]:
    for room in context.job.survey.rooms:
        for ceiling in room.ceilings:
            yield room, ceiling


def _pitches(ceiling: Ceiling) -> tuple[float, ...]:
    if ceiling.kind != "grid" or ceiling.grid is None:
        return ()
    return tuple(sorted({ceiling.grid.pitch_x_m, ceiling.grid.pitch_y_m}))


def _system(pitch_m: float) -> str:
    for row in load_table("grid_sizes").rows:
        if abs(pitch_m * 1e3 - float(row["pitch"])) < 0.3:
            return row["system"]
    return ""


def _mixed_grids(context: Context) -> list[Finding]:
    seen: dict[str, str] = {}
    for room, ceiling in _ceilings(context):
        for pitch in _pitches(ceiling):
            if system := _system(pitch):
                seen.setdefault(system, room.label)
    if len(seen) < 2:
        return []
    return [
        found(
            "job",
            f"{seen['metric']} has a metric grid, {seen['inch']} one in inches:"
            " 600 mm tiles and rails do not fit 24 in grids",
            limit="one system",
        )
    ]


def _odd_pitch(context: Context) -> list[Finding]:
    findings = []
    known = {row["name"]: float(row["pitch"]) / 1e3 for row in load_table("grid_sizes").rows}
    for room, ceiling in _ceilings(context):
        for pitch in _pitches(ceiling):
            name, near = min(known.items(), key=lambda item: abs(item[1] - pitch))
            if 0.0003 < abs(near - pitch) < 0.016:
                findings.append(
                    at_room(
                        room.key,
                        room.label,
                        f"grid pitch {pitch * 1e3:.1f} mm is {abs(near - pitch) * 1e3:.1f} mm off"
                        f" {name}: over ten tiles that is {abs(near - pitch) * 1e4:.0f} mm",
                        limit=f"{near * 1e3:g} mm",
                        source=load_table("grid_sizes").source.cite(),
                    )
                )
    return findings


def _nothing_to_cut(context: Context) -> list[Finding]:
    return [
        at_speaker(
            fit,
            f"{fit.type_id} is cut into a ceiling, and this one is open",
            limit="a pendant or surface type",
            mends=_other_type(context, fit),
        )
        for fit, ceiling in _fits(context)
        if ceiling.kind == "open" and _is_cut_in(context, fit)
    ]


def _other_type(context: Context, fit: SpeakerFit) -> tuple[Mend, ...]:
    volts = context.job.survey.site.line_voltage_v
    tap = context.job.design.speaker(fit.key).tap
    for entry in context.job.catalogue.speaker_types:
        if entry.kind in {"pendant", "surface"} and entry.taps_at(volts):
            near = min(entry.taps_at(volts), key=lambda own: abs(own.power_w - tap.power_w))
            text = f"use {entry.id} on its {near.power_w:g} W tap"
            return (Mend(kind="type", target_key=fit.key, value=entry.id, text=text),)
    return ()


def _hangs_low(context: Context) -> list[Finding]:
    least = context.limits["head_height_least_m"]
    findings = []
    for fit, _ in _fits(context):
        entry = context.job.catalogue.speaker(fit.type_id)
        face = context.job.design.speaker(fit.key).mount_height_m
        low = face - (entry.depth_m if entry.kind == "surface" else 0.0)
        if not is_above_face(entry) and low < least - 1e-6:
            findings.append(
                at_speaker(
                    fit,
                    f"hangs down to {context.long(low)} above the floor",
                    limit=f"{context.long(least)} at least",
                )
            )
    return findings


def _high_work(context: Context) -> list[Finding]:
    most = context.limits["ladder_height_most_m"]
    rooms: dict[str, list[SpeakerFit]] = {}
    for fit, _ in _fits(context):
        if fit.ceiling_height_m > most + 1e-6:
            rooms.setdefault(fit.room_key, []).append(fit)
    return [
        at_room(
            room_key,
            context.job.survey.room(room_key).label,
            f"{count_text(len(fits), 'speaker')} go up at"
            f" {context.long(max(fit.ceiling_height_m for fit in fits))}",
            limit=f"{context.long(most)} for a step ladder",
        )
        for room_key, fits in rooms.items()
    ]


def _assumed_height(context: Context) -> list[Finding]:
    return [
        at_room(
            room.key,
            room.label,
            f"its ceiling height of {context.long(ceiling.height_m)} is assumed",
            limit="a measured height",
        )
        for room, ceiling in _ceilings(context)
        if ceiling.height_source == "assumed"
    ]


def _not_in_face(context: Context) -> list[Finding]:
    findings = []
    for fit, ceiling in _fits(context):
        face = context.job.design.speaker(fit.key).mount_height_m
        if (
            _is_cut_in(context, fit)
            and ceiling.kind != "open"
            and abs(face - fit.ceiling_height_m) > 0.05
        ):
            findings.append(
                at_speaker(
                    fit,
                    f"its face is planned at {context.long(face)}, the ceiling is at"
                    f" {context.long(fit.ceiling_height_m)}",
                    limit="the ceiling's height",
                )
            )
    return findings


def _no_way_up(context: Context) -> list[Finding]:
    rooms: dict[str, int] = {}
    for fit, ceiling in _fits(context):
        if ceiling.kind in {"concealed", "plasterboard"} and _is_cut_in(context, fit):
            rooms[fit.room_key] = rooms.get(fit.room_key, 0) + 1
    return [
        at_room(
            key,
            context.job.survey.room(key).label,
            f"{count_text(count, 'unit')} in a closed ceiling: later work goes through a hole or a"
            " hatch",
            limit="a hatch, or service loops long enough to bring the unit down",
        )
        for key, count in rooms.items()
        if not any(item.kind == "hatch" for item in context.job.survey.obstacles_in(key))
    ]


def _near_edge(context: Context) -> list[Finding]:
    least = context.limits["place_edge_clearance_m"]
    return [
        at_speaker(
            fit,
            f"its trim is {context.fine(fit.edge_gap_m)} from the edge of the ceiling",
            limit=f"{context.fine(least)} at least",
            mends=move_mends(context, fit),
        )
        for fit, ceiling in _fits(context)
        if ceiling.kind in {"plasterboard", "concealed"}
        and fit.is_inside
        and fit.edge_gap_m < least - 1e-6
    ]


_NO_MEND_SURVEY: Final = "only a person on site can measure it"

CHECKS: Final = (
    Check(
        code="CEIL-01",
        severity="stop",
        title="Speaker outside its ceiling",
        why="The place is over a wall, a column or another ceiling: there is nothing to fix it to.",
        do="move it, or give it the ceiling that is there",
        find=_outside,
        has_mend=True,
    ),
    Check(
        code="CEIL-02",
        severity="stop",
        title="No tile there",
        why="The grid leaves only a sliver at the wall, too small to hold a unit.",
        do="move it to a full tile",
        find=_no_tile,
        has_mend=True,
    ),
    Check(
        code="CEIL-03",
        severity="warn",
        title="Cut tile",
        why="A cut tile rests on a wall angle on one side, so rails and bridges do not span it,"
        " and its true size is known only on site.",
        do="move it to a full tile, or allow border tiles in the ceiling's grid",
        find=_cut_tile,
        has_mend=True,
    ),
    Check(
        code="CEIL-04",
        severity="stop",
        title="Cut-out meets a tee or a wall",
        why="A tee cut through no longer carries its ceiling.",
        do="move it to the middle of a tile, or choose a smaller type",
        find=_hole_on_tee,
        has_mend=True,
        is_caution=True,
    ),
    Check(
        code="CEIL-05",
        severity="warn",
        title="Cut-out close to a tee",
        why="A narrow strip of tile breaks when it is cut, and the trim hits the tee.",
        do="move it to the middle of the tile, or choose a smaller type",
        find=_hole_near_tee,
        limits=("cutout_tee_clearance_m",),
        has_mend=True,
    ),
    Check(
        code="CEIL-06",
        severity="stop",
        title="Cut-out meets a joist",
        why="A joist is structure: it is not notched for a loudspeaker.",
        do="move it between two joists",
        find=_hole_on_joist,
        has_mend=True,
        is_caution=True,
    ),
    Check(
        code="CEIL-07",
        severity="warn",
        title="Cut-out close to a joist",
        why="The clamps of the unit need room to swing out, and joists are not where drawings say.",
        do="move it between the joists",
        find=_hole_near_joist,
        limits=("cutout_joist_clearance_m",),
        has_mend=True,
    ),
    Check(
        code="CEIL-08",
        severity="stop",
        title="Void too shallow",
        why="Unit, box and the bend of the cable do not go in: the hole is cut for nothing.",
        do="move it, or choose a type with less depth",
        find=_shallow_void,
        limits=("void_margin_m", "void_extra_ratio"),
        has_mend=True,
    ),
    Check(
        code="CEIL-09",
        severity="warn",
        title="Void unknown",
        why="Nobody knows whether the unit goes in until its hole is cut.",
        do="lift a tile or drill a pilot hole, measure, and write void_depth",
        find=_unknown_void,
        no_mend=_NO_MEND_SURVEY,
    ),
    Check(
        code="CEIL-10",
        severity="warn",
        title="Two units in one tile",
        why="Two holes leave too little tile, and one pair of rails carries both.",
        do="move one of them",
        find=_shared_tile,
        has_mend=True,
    ),
    Check(
        code="CEIL-11",
        severity="warn",
        title="Units too close together",
        why="Their trims touch or their boxes meet above.",
        do="move one of them",
        find=_units_touch,
        limits=("unit_gap_least_m",),
        has_mend=True,
    ),
    Check(
        code="CEIL-12",
        severity="note",
        title="Not in the middle of its tile",
        why="It will look like a mistake, and the template is drawn from the middle.",
        do="move it to the middle if nothing is in the way",
        find=_off_centre,
        no_mend="it was put there by hand; only a person knows why",
    ),
    Check(
        code="CEIL-13",
        severity="note",
        title="Flush unit under a slope planned to look straight down",
        why="It will look square to the slope, so the sound lands elsewhere than computed.",
        do="give it the aim of the slope",
        find=_off_plumb,
        no_mend="the aim is a survey fact, not a choice of the design",
    ),
    Check(
        code="CEIL-14",
        severity="warn",
        title="Metric and inch grids in one job",
        why="600 mm and 24 in differ by 9.6 mm: tiles, rails and counts of tiles go wrong"
        " where they are mixed up.",
        do="measure both grids again over ten tiles",
        find=_mixed_grids,
        source="600 mm is not 24 in (609.6 mm)",
        no_mend=_NO_MEND_SURVEY,
    ),
    Check(
        code="CEIL-15",
        severity="warn",
        title="Grid pitch is no usual one",
        why="The size of a tile (595 mm, 23 3/4 in) is not the pitch of the grid; over a hall"
        " the error adds up to whole tiles.",
        do="measure tee centre to tee centre over ten tiles",
        find=_odd_pitch,
        source="pitches in use",
        no_mend=_NO_MEND_SURVEY,
    ),
    Check(
        code="CEIL-16",
        severity="stop",
        title="Cut-in unit where there is no ceiling",
        why="There is nothing to cut it into.",
        do="choose a pendant or a surface type",
        find=_nothing_to_cut,
        has_mend=True,
    ),
    Check(
        code="CEIL-17",
        severity="stop",
        title="Hangs too low",
        why="People walk into it.",
        do="hang it higher",
        find=_hangs_low,
        limits=("head_height_least_m",),
        is_caution=True,
        no_mend="the height of a pendant is a survey entry",
    ),
    Check(
        code="CEIL-18",
        severity="note",
        title="Work higher than a step ladder",
        why="A lift or a scaffold must be booked, and the floor must carry it.",
        do="plan a lift or a scaffold",
        find=_high_work,
        limits=("ladder_height_most_m",),
        is_caution=True,
        no_mend="the room is as high as it is",
    ),
    Check(
        code="CEIL-19",
        severity="warn",
        title="Ceiling height assumed",
        why="Level, evenness and spacing all follow from it.",
        do="measure the height and write height",
        find=_assumed_height,
        no_mend=_NO_MEND_SURVEY,
    ),
    Check(
        code="CEIL-20",
        severity="warn",
        title="Flush unit not at the height of its ceiling",
        why="The plan contradicts itself: the unit is cut in, but its face is not in the ceiling.",
        do="take mount_height out, or correct the ceiling's height",
        find=_not_in_face,
        no_mend="one of two survey entries is wrong, and only a person knows which",
    ),
    Check(
        code="CEIL-21",
        severity="note",
        title="Closed ceiling without a hatch",
        why="Years later somebody must reach the terminals.",
        do="leave loops long enough to bring each unit down, or ask for a hatch",
        find=_no_way_up,
        no_mend="a hatch is the builder's work",
    ),
    Check(
        code="CEIL-22",
        severity="warn",
        title="Close to the edge of a closed ceiling",
        why="Frames and cornices run along walls, and the sound of a unit at a wall is uneven.",
        do="move it away from the edge",
        find=_near_edge,
        limits=("place_edge_clearance_m",),
        has_mend=True,
    ),
)
