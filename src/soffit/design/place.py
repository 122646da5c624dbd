"""Choose the layout of one room: every regular lattice tried, the front of alternatives shown."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.design.place_ceiling import CeilingSearch, Span2, one_speaker, search_ceiling
from soffit.design.place_engine import is_large
from soffit.design.place_family import Family
from soffit.design.place_findings import place_findings
from soffit.design.place_free import free_form
from soffit.design.place_front import Candidate, Choice, best_spreads, choose, non_dominated
from soffit.design.place_hand import hand_layout
from soffit.design.place_join import Joint, join_parts, laid_by_rule
from soffit.design.place_layouts import RoomLayouts
from soffit.design.place_level import wanted_level_dba
from soffit.design.place_look import BLOCKS, LookFrame, look_frame, look_penalty
from soffit.design.place_mix import Mix, gains_tried, mix_of, types_in
from soffit.design.place_option import Known, fields_of, option_of, option_speakers
from soffit.design.place_question import (
    Question,
    make_plans,
    make_question,
    mixed_plan,
    nearest_tap,
)
from soffit.design.place_search import Layout, keeps_limits, spread_of
from soffit.design.place_words import pattern_text
from soffit.errors import NoSolutionError
from soffit.model.catalogue import Catalogue, SpeakerType
from soffit.model.decisions import Option
from soffit.model.survey import Brief, Obstacle, PlacedSpeaker, Room
from soffit.tables.settings import DEFAULT_LIMITS, Limits

__all__ = ["RoomLayouts", "choose_layouts", "option_speakers"]

FloatArray = NDArray[np.float64]

Progress = Callable[[float, str], None]
"""Told the share done and what is being done."""

_MOST_OPTIONS: Final = 40

_ROUNDS: Final = 3
"""Most searches until what hangs by hand is weighed against the tap that the others get."""

_SPECIFIED: Final = "specified spacing"

_SHADOW_DB: Final = 2.0
_ROUGH_DB: Final = 0.25
"""How far over the brief a layout as searched may lie and still be made exact. [dB]"""

_DOUBT_DB: Final = 0.02
"""Searches err by less than half of this; see docs/theory/placing.md."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Plan:
    """One way to divide a room, what was found in its parts, and the gains to join them with."""

    found: tuple[CeilingSearch, ...]
    part_voice: tuple[int, ...]
    gains: tuple[tuple[float, ...], ...]
    type_ids: tuple[str, ...]
    is_first: bool


def choose_layouts(  # noqa: PLR0913 the whole question of a room, each by name
    room: Room,
    *,
    speaker_type: SpeakerType,
    line_voltage_v: float,
    obstacles: Sequence[Obstacle] = (),
    catalogue: Catalogue | None = None,
    placed: Sequence[PlacedSpeaker] = (),
    limits: Limits = DEFAULT_LIMITS,
    family: Family | None = None,
    is_imperial: bool = False,
    progress: Progress | None = None,
    types: Mapping[str, SpeakerType] | None = None,
) -> RoomLayouts:
    """Choose how many speakers a room gets, and where; of one type, or one for each ceiling.

    Parameters
    ----------
    room
        Room with its ceilings, ears and brief.
    speaker_type
        Type to place.
    line_voltage_v
        Nominal line voltage. [V]
    obstacles
        Obstacles; only those of the room count.
    catalogue
        Types of the speakers placed by hand; needed if there are any of another type.
    placed
        Speakers put by hand or hanging already; only those of the room count. They stay, and what
        they bring to the ears is counted.
    limits
        Settings in force.
    family
        Which lattices are tried; by default all regular ones, nudged within the limits.
    is_imperial
        Feet and inches in texts.
    progress
        Told the share done and what is being done.
    types
        Type by ceiling key, for ceilings that have one of their own; the fields of all types are
        summed at all ears of the room, with every ratio of their taps near to equal levels.

    Returns
    -------
    RoomLayouts
        Front, choice and reason. A brief that cannot be met is a finding; the most even layout
        found is chosen then.

    Raises
    ------
    NoSolutionError
        If no tile is free, no ear lies in the room, or the room has no ceiling.
    """
    keys = [ceiling.key for ceiling in room.ceilings]
    kinds, ceiling_voice = types_in(keys, types or {}, speaker_type)
    voices = tuple(
        make_question(
            room,
            speaker_type=kind,
            voltage_v=line_voltage_v,
            obstacles=obstacles,
            catalogue=catalogue,
            placed=placed,
            limits=limits,
            family=family,
            is_imperial=is_imperial,
        )
        for kind in kinds or (speaker_type,)
    )
    tell = progress or (lambda _done, _text: None)
    tell(0.0, f"{room.label}: looking for free places")
    result = _weighed(voices, ceiling_voice, tell)
    tell(1.0, f"{room.label}: {result.chosen.count} speakers")
    return result


def _weighed(
    voices: tuple[Question, ...], ceiling_voice: Sequence[int], tell: Progress
) -> RoomLayouts:
    """Search until what hangs by hand is weighed against the tap that the others get.

    Where taps of it are named, the others may also follow them instead of taking the least that
    reaches the level; whichever needs fewer speakers is taken.
    """
    starts = [voices]
    named = sorted(voices[0].named_w)
    taps = voices[0].allowed_taps()
    if named and taps and voices[0].room.brief.tap_w is None:
        kind = voices[0].speaker_type
        tap = nearest_tap(kind, taps, named[len(named) // 2])
        coil_w = kind.delivered_w(tap)
        first = replace(voices[0], least_tap_w=tap.power_w)
        starts.append(tuple(replace(v, guess_w=coil_w) for v in (first, *voices[1:])))
    most = len(starts) * (_ROUNDS if voices[0].mains else 1)
    done = 0
    results: list[RoomLayouts] = []
    for start in starts:
        now = start
        for _ in range(_ROUNDS):

            def tick(part: float, text: str, at: int = done) -> None:
                tell(min((at + part) / most, 0.99), text)

            result = _searched_once(now, ceiling_voice, tick)
            done += 1
            coil_w = _coil_w(now[0], result)
            if _by_hand(now[0], coil_w) == _by_hand(now[0], now[0].guess_w):
                break
            now = tuple(replace(voice, guess_w=coil_w) for voice in now)
        results.append(result)
    return min(results, key=_needs)


def _needs(result: RoomLayouts) -> tuple[bool, float, float, float]:
    """Rank: brief met, fewest speakers, watts, spread; where it is missed the most even first."""
    chosen = result.chosen
    count = float(chosen.count) if chosen.meets_brief else round(chosen.spread_db, 3)
    return not chosen.meets_brief, count, round(chosen.watts_w, 6), round(chosen.spread_db, 4)


def _by_hand(question: Question, coil_w: float) -> tuple[float, ...]:
    """Watts of what hangs by hand against those of the searched speakers."""
    at = replace(question, guess_w=coil_w)
    pairs = zip(at.mains, at.placed_taps(), strict=False)
    return tuple(round(at.type_of(item).delivered_w(tap) / coil_w, 6) for item, tap in pairs)


def _coil_w(question: Question, result: RoomLayouts) -> float:
    """Watts at the voice coil of the first type on the tap chosen; the guess where it has none."""
    chosen, kind = result.chosen, question.speaker_type
    for number in range(len(chosen.positions)):
        if chosen.type_at(number) == kind.id:
            watts = chosen.tap_at(number)
            for tap in kind.taps_at(question.voltage_v):
                if tap.power_w == watts:
                    return kind.delivered_w(tap)
    return question.guess_w


def _searched_once(
    voices: tuple[Question, ...], ceiling_voice: Sequence[int], tell: Progress
) -> RoomLayouts:
    """Search with what hangs by hand weighed against the watts guessed."""
    question = voices[0]
    room = question.room
    whole = mix_of(voices)
    plans, candidates = _tried(voices, ceiling_voice, whole, tell)
    searches = [search for plan in plans for search in plan.found]
    if question.family.has_free and len(plans[0].found) == 1 and candidates:
        tell(0.85, f"{room.label}: trying free form")
        candidates += _free(question, searches[0], candidates, whole)
    tell(0.9, f"{room.label}: comparing layouts")
    if not candidates:
        raise _no_place(question, [search.part for search in plans[0].found])
    shadows = any(is_large(search.part.field, search.part.sites) for search in searches)
    if shadows or any(search.is_rough for search in searches):
        near_db = _SHADOW_DB if shadows else _ROUGH_DB
        candidates = _shadowed(candidates, whole, room.brief, near_db)
    else:
        candidates = _settled(candidates, whole, room.brief)
    choice = choose(candidates, room.brief)
    return _result(voices, searches, candidates, choice, whole)


def _tried(
    voices: tuple[Question, ...], ceiling_voice: Sequence[int], whole: Mix, tell: Progress
) -> tuple[list[_Plan], list[Candidate]]:
    """Search every plan of a room and join what its parts give."""
    question = voices[0]
    if len(voices) > 1:
        parts, part_voice = mixed_plan(voices, whole.fields, ceiling_voice)
        divided = [(parts, part_voice)]
    else:
        divided = [(plan, (0,) * len(plan)) for plan in make_plans(question, whole.first)]
    plans: list[_Plan] = []
    candidates: list[Candidate] = []
    for number, (plan, part_voice) in enumerate(divided):
        start = 0.05 + 0.8 * number / len(divided)

        def tick(done: float, start: float = start) -> None:
            tell(start + 0.8 * done / len(divided), f"{question.room.label}: trying every pattern")

        found = tuple(_searched(question, part, tick) for part in plan)
        plans.append(
            _Plan(
                found=found,
                part_voice=part_voice,
                gains=gains_tried(voices, found, part_voice),
                type_ids=tuple(voice.speaker_type.id for voice in voices),
                is_first=number == 0,
            )
        )
        candidates += _candidates(question, plans[-1], whole)
    return plans, candidates


def _searched(question: Question, part: Span2, tick: Callable[[float], None]) -> CeilingSearch:
    brief = question.room.brief
    return search_ceiling(
        part,
        family=question.family,
        share=brief.evenness_share,
        enough_db=2.0 * brief.evenness_db * question.limits["place_finer_ratio"],
        most_speakers=int(question.limits["place_most_speakers"]),
        tick=tick,
    )


def _candidates(question: Question, plan: _Plan, whole: Mix) -> list[Candidate]:
    if len(plan.found) > 1:
        return _joint_candidates(question, plan, whole)
    search = plan.found[0]
    part = search.part
    frame = look_frame(part.sites, part.walls_local, question.obstacles)
    out = [
        _candidate(question, search, item.layout, item.spread_db, frame)
        for item in search.every()
        if item.layout.count
    ]
    if not plan.is_first:
        return out
    for rule, spread in search.hand:
        out.append(_candidate(question, search, rule.layout, spread, frame, rule.text))
    layout = _specified(question, part)
    if layout is not None:
        spread = spread_of(
            search.energy_of(layout.column, layout.row), question.room.brief.evenness_share
        )
        out.append(_candidate(question, search, layout, spread, frame, _SPECIFIED))
    if not any(one.count == 1 for one in out) and part.sites.count_free:
        layout = one_speaker(part, search.energy_of)
        spread = spread_of(
            search.energy_of(layout.column, layout.row), question.room.brief.evenness_share
        )
        out.append(_candidate(question, search, layout, spread, frame))
    return out


def _specified(question: Question, part: Span2) -> Layout | None:
    """Lay the spacing of the specification in one part; None where it names none."""
    spacing = question.room.brief.spacing_m
    if spacing is None:
        return None
    return hand_layout(
        part.sites, part.walls_local, spacing_m=spacing, is_offset=False, is_exact_pitch=True
    )


def _joint_candidates(question: Question, plan: _Plan, whole: Mix) -> list[Candidate]:
    """Layouts of all parts together, and hand rules and specified spacings laid in every part."""
    share = question.room.brief.evenness_share
    out: list[Candidate] = []
    for gains in plan.gains:
        joints = join_parts(
            whole,
            plan.found,
            plan.part_voice,
            gains,
            share=share,
            most_count=int(question.limits["place_most_speakers"]),
        )
        out += [_joined(question, plan, joint) for joint in joints]
    if not plan.is_first:
        return out
    laid: dict[str, list[Layout | None]] = {}
    for number, search in enumerate(plan.found):
        rules = {rule.text: rule.layout for rule, _ in search.hand}
        for text, layout in (*rules.items(), (_SPECIFIED, _specified(question, search.part))):
            laid.setdefault(text, [None] * len(plan.found))[number] = layout
    for text, layouts in laid.items():
        joint = laid_by_rule(
            whole, plan.found, plan.part_voice, plan.gains, tuple(layouts), share=share
        )
        if joint is not None:
            out.append(_joined(question, plan, joint, text))
    return out


def _candidate(
    question: Question,
    search: CeilingSearch,
    layout: Layout,
    spread_db: float,
    frame: LookFrame,
    mark: str = "",
) -> Candidate:
    sites = search.part.sites
    order = np.lexsort((layout.column, layout.row))
    column, row = layout.column[order], layout.row[order]
    return Candidate(
        site_m=sites.site_m(column, row),
        tile=np.stack([column + sites.first_column, row + sites.first_row], axis=1),
        ceiling_keys=(sites.ceiling_key,) * layout.count,
        is_tiled=sites.kind == "tile",
        pattern=pattern_text(layout, sites, is_imperial=question.is_imperial),
        spread_db=spread_db,
        look=look_penalty(layout, sites, frame),
        mark=mark,
        nudged=layout.nudged,
        omitted=layout.omitted,
        energy=lambda: search.energy_of(column, row),
        is_eligible=keeps_limits(layout, question.family),
    )


def _free(
    question: Question, search: CeilingSearch, candidates: Sequence[Candidate], whole: Mix
) -> list[Candidate]:
    """Free-form layouts with fewer speakers than the best that has a pattern."""
    brief = question.room.brief
    part = search.part
    choice = choose(_settled(candidates, whole, brief), brief)
    if not choice.is_met or set(choice.chosen.ceiling_keys) != {part.sites.ceiling_key}:
        return []
    tile = choice.chosen.tile
    start = Layout(
        column=tile[:, 0] - part.sites.first_column,
        row=tile[:, 1] - part.sites.first_row,
        kind="free",
        pitch_x_m=0.0,
        pitch_y_m=0.0,
        is_even=False,
        off_middle_m=0.0,
        lines=(choice.chosen.count, 1),
    )
    found = free_form(
        part,
        start,
        search.energy_of,
        share=brief.evenness_share,
        target_db=2.0 * brief.evenness_db,
        rng=np.random.default_rng(question.family.seed),
    )
    frame = look_frame(part.sites, part.walls_local, question.obstacles)
    return [_candidate(question, search, item.layout, item.spread_db, frame) for item in found]


def _joined(question: Question, plan: _Plan, joint: Joint, mark: str = "") -> Candidate:
    parts: list[Candidate] = []
    voice: list[int] = []
    words: list[str] = []
    is_mixed = len(joint.gains) > 1
    for search, of, layout in zip(plan.found, plan.part_voice, joint.layouts, strict=True):
        if layout is not None and layout.count:
            part = search.part
            frame = look_frame(part.sites, part.walls_local, question.obstacles)
            parts.append(_candidate(question, search, layout, joint.spread_db, frame))
            voice += [of] * layout.count
            name = f"{plan.type_ids[of]}: " if is_mixed else ""
            words.append(name + parts[-1].pattern)
    count = sum(part.count for part in parts)
    return Candidate(
        site_m=np.concatenate([part.site_m for part in parts]),
        tile=np.concatenate([part.tile for part in parts]),
        ceiling_keys=tuple(key for part in parts for key in part.ceiling_keys),
        is_tiled=all(part.is_tiled for part in parts),
        pattern=" + ".join(words),
        spread_db=joint.spread_db,
        look=round(
            sum(part.look * part.count for part in parts) / count + BLOCKS * (len(parts) - 1), 3
        ),
        mark=mark,
        nudged=sum(part.nudged for part in parts),
        omitted=sum(part.omitted for part in parts),
        voice=np.array(voice if is_mixed else [], dtype=np.int64),
        gains=joint.gains,
        is_eligible=all(part.is_eligible for part in parts),
    )


def _no_place(question: Question, plan: Sequence[Span2]) -> NoSolutionError:
    room = question.room
    blocked: dict[str, int] = {}
    for part in plan:
        for name, number in part.sites.blocked_by:
            blocked[name] = blocked.get(name, 0) + number
    taken = ", ".join(f"{name} takes {number}" for name, number in blocked.items())
    inside = sum(int(part.sites.is_inside.sum()) for part in plan)
    msg = f"{room.label}: no place is free for a {question.speaker_type.id}"
    return NoSolutionError(
        msg,
        where=f"rooms.{room.key}.ceilings",
        why=f"of {inside} places {taken or 'none is usable'}",
        do="choose a smaller type, move what is in the way, or put a speaker by hand",
    )


def _settled(candidates: Sequence[Candidate], whole: Mix, brief: Brief) -> list[Candidate]:
    """Make spreads exact where a few thousandths of a decibel decide on the brief."""
    target = 2.0 * brief.evenness_db
    sure = [
        one.count
        for one in candidates
        if one.is_eligible and one.spread_db <= target - _DOUBT_DB and not one.mark
    ]
    least = min(sure, default=0) if brief.count is None else 0
    out: list[Candidate] = []
    for one in candidates:
        decides = not least or one.count <= least or bool(one.mark)
        if decides and abs(one.spread_db - target) < _DOUBT_DB:
            exact = spread_of(whole.energy(one), brief.evenness_share)
            out.append(replace(one, spread_db=exact))
        else:
            out.append(one)
    return out


def _shadowed(
    candidates: Sequence[Candidate], whole: Mix, brief: Brief, near_db: float
) -> list[Candidate]:
    """Make the best of each count exact, from the smallest on, until two meet the brief.

    For rooms whose columns the search ignored, or that it judged at some ears only; larger counts
    stay as searched.
    """
    target = 2.0 * brief.evenness_db
    out: list[Candidate] = []
    met = 0
    for one in sorted(best_spreads(candidates), key=Candidate.order):
        if met < 2 and one.spread_db < target + near_db:
            energy = whole.energy(one)
            exact = spread_of(energy, brief.evenness_share)
            out.append(replace(one, spread_db=exact, energy=Known(energy)))
            met += exact <= target and one.is_eligible
        else:
            out.append(one)
    return out + [one for one in candidates if one.mark]


def _result(
    voices: tuple[Question, ...],
    searches: Sequence[CeilingSearch],
    candidates: Sequence[Candidate],
    choice: Choice,
    whole: Mix,
) -> RoomLayouts:
    question = voices[0]
    room = question.room
    shown = _shown(candidates, choice)
    wanted, assumed = wanted_level_dba(room, question.limits)
    fields = fields_of(voices, whole)
    options: list[Option] = []
    reached: dict[int, bool] = {}
    for one, mark in shown:
        option, is_reached = option_of(voices, one, mark, fields, wanted)
        reached[id(one)] = is_reached
        options.append(option)
    by_mark = {mark: option for (_, mark), option in zip(shown, options, strict=True)}
    chosen = by_mark["chosen"]
    cheaper = [o for (_, mark), o in zip(shown, options, strict=True) if mark == "cheaper"]
    options.sort(
        key=lambda o: (
            o.count,
            round(o.spread_db, 6),
            o.look_penalty,
            o.mark,
            o.positions,
            o.taps_w,
        )
    )
    models = dict.fromkeys(voice.model_text() for voice in voices)
    return RoomLayouts(
        room_key=room.key,
        type_id=question.speaker_type.id,
        options=tuple(options),
        chosen=chosen,
        cheaper=tuple(sorted(cheaper, key=lambda o: -o.count)),
        finer=by_mark.get("finer"),
        reason=choice.reason,
        footprint_m=max(search.footprint_m for search in searches),
        n_placed=len(question.mains),
        model_text=" / ".join(models),
        scope=_scope(voices, searches),
        n_tried=sum(search.n_tried for search in searches),
        is_mixed=len(voices) > 1,
        findings=place_findings(
            question,
            searches,
            chosen,
            is_loud=reached[id(choice.chosen)],
            wanted_dba=wanted,
            assumed=assumed,
            meeting=_least(candidates, room.brief),
            retry=_fewest_of if len(voices) == 1 else None,
        ),
    )


def _scope(voices: Sequence[Question], searches: Sequence[CeilingSearch]) -> str:
    tried = sum(search.n_tried for search in searches)
    scope = f"{voices[0].family.text()}; {tried} lattices tried on free places"
    if len(voices) > 1:
        names = ", ".join(voice.speaker_type.id for voice in voices)
        scope += f"; {names}, each under its ceilings, the best of each joined at all ears"
    if any(is_large(search.part.field, search.part.sites) for search in searches):
        scope += "; corners and columns counted for the best of each count"
    for text in sorted({text for search in searches for text in search.limited}):
        scope += f"; {text}"
    thinned = max(search.thinning for search in searches)
    if thinned > 1:
        scope += f"; screened on every {thinned}. ear along each axis, the best made exact"
    return scope


def _least(candidates: Sequence[Candidate], brief: Brief) -> int | None:
    """Fewest speakers that meet the brief and may be chosen."""
    counts = [
        one.count
        for one in candidates
        if one.is_eligible and one.spread_db <= 2.0 * brief.evenness_db + 1e-6
    ]
    return min(counts, default=None)


def _fewest_of(question: Question) -> int | None:
    """Fewest speakers of a regular layout that meets the brief of a changed question."""
    try:
        _, candidates = _tried((question,), (), mix_of((question,)), lambda _done, _text: None)
    except NoSolutionError:
        return None
    return _least(candidates, question.room.brief)


def _shown(candidates: Sequence[Candidate], choice: Choice) -> list[tuple[Candidate, str]]:
    """Return the front with chosen, cheaper and finer marked, and every hand rule."""
    front = non_dominated([one for one in candidates if not one.mark])
    line = best_spreads([one for one in candidates if one.is_eligible])
    least = min([choice.chosen.count, *(one.count for one in choice.cheaper)])
    most = max([choice.chosen.count, *([choice.finer.count] if choice.finer is not None else [])])
    near = [one for one in front if 0.5 * least <= one.count <= 1.3 * most]
    near += [one for one in line if 0.25 * least <= one.count <= 2.0 * most]
    named = [(choice.chosen, "chosen"), *((one, "cheaper") for one in choice.cheaper)]
    if choice.finer is not None:
        named.append((choice.finer, "finer"))
    seen = {id(one) for one, _ in named}
    rest = [(one, one.mark) for one in candidates if one.mark and id(one) not in seen]
    seen |= {id(one) for one, _ in rest}
    unique = {id(one): one for one in near if id(one) not in seen}
    others = sorted(unique.values(), key=lambda one: abs(one.count - choice.chosen.count))
    return named + rest + [(one, "") for one in others[:_MOST_OPTIONS]]
