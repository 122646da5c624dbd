"""What a person should know about a layout: briefs not met, levels not reached, assumptions."""

from collections.abc import Sequence

import numpy as np

from soffit.design.place_ceiling import CeilingSearch
from soffit.design.place_question import Question
from soffit.model.decisions import Option
from soffit.model.findings import Finding


def place_findings(
    question: Question,
    searches: Sequence[CeilingSearch],
    chosen: Option,
    *,
    is_met: bool,
    is_loud: bool,
    wanted_dba: float,
    assumed: str,
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
    is_met
        Whether its evenness is met.
    is_loud
        Whether the wanted level is reached on its tap.
    wanted_dba
        Wanted level. [dB]
    assumed
        What was assumed for it, in words.
    """
    room = question.room
    out: list[Finding] = []
    if not is_met:
        out.append(_uneven(question, searches, chosen))
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


def _uneven(question: Question, searches: Sequence[CeilingSearch], chosen: Option) -> Finding:
    room = question.room
    asked = 2.0 * room.brief.evenness_db
    free = sum(search.part.sites.count_free for search in searches)
    inside = sum(int(search.part.sites.is_inside.sum()) for search in searches)
    reasons: list[str] = []
    mends: list[str] = []
    if room.brief.count is not None:
        reasons.append(f"the brief names {room.brief.count} speakers")
        meeting = _meeting(searches, asked)
        if meeting is not None:
            mends.append(f"allow {meeting} speakers")
    elif room.brief.spacing_m is not None:
        reasons.append(f"the specification names a spacing of {room.brief.spacing_m:.2f} m")
        meeting = _meeting(searches, asked)
        if meeting is not None:
            mends.append(f"{meeting} speakers in the best pattern meet it")
    else:
        least = question.limits["place_most_speakers"]
        if free < 0.5 * inside:
            taken = dict(searches[0].part.sites.blocked_by)
            names = ", ".join(f"{name} {number}" for name, number in taken.items())
            reasons.append(f"only {free} of {inside} places are free ({names})")
            mends.append("move what is in the way, or allow border tiles")
        if chosen.count >= least:
            reasons.append(f"no more than {least:.0f} speakers are tried")
        reasons.append("the type's directivity and the listening area near the walls set the limit")
        mends.append(
            f"ask for ±{np.ceil(chosen.spread_db / 2 * 10) / 10:.1f} dB, widen the margin to the"
            " walls, or choose a type with a wider coverage"
        )
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


def _meeting(searches: Sequence[CeilingSearch], asked: float) -> int | None:
    counts = [
        item.layout.count
        for search in searches
        for item in search.every()
        if item.spread_db <= asked + 1e-6
    ]
    return min(counts, default=None)


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
