"""What a person should know about a layout: briefs not met, levels not reached, assumptions."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from soffit.design.place_ceiling import CeilingSearch
from soffit.design.place_question import Question, make_question
from soffit.evaluate.sound_source import radiator_of
from soffit.model.decisions import Option
from soffit.model.findings import Finding
from soffit.model.survey import ListeningArea


def place_findings(
    question: Question,
    searches: Sequence[CeilingSearch],
    chosen: Option,
    *,
    is_loud: bool,
    wanted_dba: float,
    assumed: str,
    meeting: int | None,
    retry: Callable[[Question], int | None] | None,
) -> tuple[Finding, ...]:
    """Return the findings of one room's layout.

    Parameters
    ----------
    question
        Room and brief.
    searches
        What was found.
    chosen
        The layout taken.
    is_loud
        Whether the wanted level is reached on its tap.
    wanted_dba
        Wanted level. [dB]
    assumed
        What was assumed for it, in words.
    meeting
        Fewest speakers that meet the brief; ``None`` if nothing does.
    retry
        Fewest speakers that meet the brief of a changed question, ``None`` if none do; no function
        for rooms with several types, where nothing is tried again.
    """
    room = question.room
    out: list[Finding] = []
    if not chosen.meets_brief:
        out.append(_uneven(question, searches, chosen, meeting, retry))
    if not is_loud:
        out.append(
            Finding(
                code="PLACE-02",
                severity="warn",
                place=room.label,
                place_key=room.key,
                room_key=room.key,
                what=f"{wanted_dba:.0f} dBA is not reached on the {chosen.tap_w or 0:g} W tap",
                do="choose a type with more sensitivity or a higher tap, or more speakers",
                why=f"{chosen.count} speakers, programme with its peaks filling the line",
            )
        )
    if assumed:
        out.append(
            Finding(
                code="PLACE-03",
                severity="note",
                place=room.label,
                place_key=room.key,
                room_key=room.key,
                what=f"taps were chosen for an assumed {assumed}",
                do="survey the noise or name a level in the brief",
            )
        )
    out += _areas_outside(question)
    if chosen.mark == "chosen" and "beside the pattern" in chosen.pattern:
        out.append(
            Finding(
                code="PLACE-05",
                severity="note",
                place=room.label,
                place_key=room.key,
                room_key=room.key,
                what=f"{chosen.pattern}: something is in the way of the pattern",
                do="accept it, or move what is in the way",
            )
        )
    return tuple(out)


def _uneven(
    question: Question,
    searches: Sequence[CeilingSearch],
    chosen: Option,
    meeting: int | None,
    retry: Callable[[Question], int | None] | None,
) -> Finding:
    room = question.room
    reasons: list[str] = []
    mends: list[str] = []
    if room.brief.count is not None:
        reasons.append(f"the brief names {room.brief.count} speakers")
    elif room.brief.spacing_m is not None:
        reasons.append(f"the specification names a spacing of {room.brief.spacing_m:.2f} m")
    if meeting is not None:
        mends.append(f"{meeting} speakers in the best pattern meet it")
    elif not reasons and retry is None:
        reasons = ["no arrangement of its types together that was tried is more even"]
    elif not reasons and retry is not None:
        reasons, mends = _binding(question, searches, retry)
    step = float(np.ceil(chosen.spread_db / 2.0 * 10.0) / 10.0)
    mends.append(f"or ask for ±{step:.1f} dB" if mends else f"ask for ±{step:.1f} dB")
    return Finding(
        code="PLACE-01",
        severity="warn",
        place=room.label,
        place_key=room.key,
        room_key=room.key,
        what=f"evenness ±{chosen.spread_db / 2:.1f} dB with {chosen.count} speakers",
        limit=f"±{room.brief.evenness_db:.1f} dB over {room.brief.evenness_share:.0%} of the ears",
        limit_source="the brief",
        do="; ".join(mends) or "allow more speakers",
        why="; ".join(reasons),
    )


def _binding(
    question: Question, searches: Sequence[CeilingSearch], retry: Callable[[Question], int | None]
) -> tuple[list[str], list[str]]:
    """Which limit binds, and what would meet the brief: each is tried, none is guessed."""
    most = int(question.limits["place_most_speakers"])
    tried = max(item.layout.count for search in searches for item in search.every())
    free = sum(search.part.sites.count_free for search in searches)
    if 0.9 * most <= tried < free:
        return (
            [f"no more than {most} speakers are tried (place_most_speakers)"],
            ["raise that limit, or choose a type with a wider coverage"],
        )
    inside = sum(int(search.part.sites.is_inside.sum()) for search in searches)
    taken: dict[str, int] = {}
    for search in searches:
        for name, number in search.part.sites.blocked_by:
            taken[name] = taken.get(name, 0) + number
    if free < inside:
        clear = retry(replace(question, obstacles=()))
        if clear is not None:
            names = ", ".join(f"{name} {number}" for name, number in taken.items())
            return (
                [f"only {free} of {inside} places are free ({names})"],
                [f"with nothing in the way {clear} speakers would meet it: move what is there"],
            )
    wider = retry(_with_margin(question, 1.0))
    if wider is not None:
        return (
            ["the ears near the walls set the limit"],
            [f"with ears 1 m from the walls {wider} speakers would meet it"],
        )
    text = radiator_of(question.speaker_type).directivity.text
    return (
        [f"the type's directivity sets the limit ({text}), not the number of speakers"],
        ["choose a type with a wider coverage, or hang it higher"],
    )


def _with_margin(question: Question, margin_m: float) -> Question:
    areas = question.room.listening_areas or (ListeningArea(key="room"),)
    wide = tuple(replace(area, wall_margin_m=max(area.wall_margin_m, margin_m)) for area in areas)
    return make_question(
        replace(question.room, listening_areas=wide),
        speaker_type=question.speaker_type,
        voltage_v=question.voltage_v,
        obstacles=question.obstacles,
        catalogue=question.catalogue,
        placed=question.placed,
        limits=question.limits,
        family=question.family,
        is_imperial=question.is_imperial,
    )


def _areas_outside(question: Question) -> list[Finding]:
    from shapely.geometry import Polygon  # noqa: PLC0415 keeps `soffit line` free of shapely

    room = question.room
    whole = Polygon(room.outline, room.holes)
    out: list[Finding] = []
    for area in room.listening_areas:
        if area.outline is None or area.is_excluded:
            continue
        outside = Polygon(area.outline).difference(whole).area
        if outside > 0.01:
            out.append(
                Finding(
                    code="PLACE-04",
                    severity="warn",
                    place=f"{room.label}, {area.label or area.key}",
                    place_key=room.key,
                    room_key=room.key,
                    what=f"{outside:.1f} m² of the listening area lie outside the room",
                    do="draw the listening area inside the walls; only that part is counted",
                )
            )
    return out
