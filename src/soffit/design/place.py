"""Choose the layout of one room: every regular lattice tried, the front of alternatives shown."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio_db
from soffit.design.place_ceiling import CeilingSearch, Span2, one_speaker, search_ceiling
from soffit.design.place_engine import is_large
from soffit.design.place_family import Family
from soffit.design.place_field import Field
from soffit.design.place_findings import place_findings
from soffit.design.place_free import free_form
from soffit.design.place_front import Candidate, Choice, best_spreads, choose, non_dominated
from soffit.design.place_hand import hand_layout
from soffit.design.place_join import Joint, join_parts
from soffit.design.place_level import level_of, wanted_level_dba
from soffit.design.place_look import BLOCKS, LookFrame, look_frame, look_penalty
from soffit.design.place_question import Question, make_plans, make_question
from soffit.design.place_search import Layout, keeps_limits, spread_of
from soffit.design.place_words import pattern_text
from soffit.design.tiles import ceiling_at, face_height_m
from soffit.errors import NoSolutionError
from soffit.evaluate.sound_source import crest_drive_db
from soffit.model.catalogue import Catalogue, SpeakerType
from soffit.model.decisions import Option, RoomDecision
from soffit.model.findings import Finding
from soffit.model.speakers import Speaker, TileRef
from soffit.model.survey import Brief, Obstacle, PlacedSpeaker, Room
from soffit.tables.settings import DEFAULT_LIMITS, Limits

FloatArray = NDArray[np.float64]

Progress = Callable[[float, str], None]
"""Told the share done and what is being done."""

_MOST_OPTIONS: Final = 40

_SMALL: Final = 250_000
"""Pairs of speaker and ear up to which every alternative is taken from the public field."""

_SHADOW_DB: Final = 2.0
_ROUGH_DB: Final = 0.25
"""How far over the brief a layout as searched may lie and still be made exact. [dB]"""

_LARGE: Final = 15_000_000
"""Pairs from which only the chosen one is; the others come from the search, within 0.01 dB."""

_DOUBT_DB: Final = 0.02
"""Searches err by less than half of this; see docs/theory/placing.md."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomLayouts:
    """What was decided for one room, and all alternatives.

    Parameters
    ----------
    room_key, type_id
        Room, and the type that was placed.
    options
        The front, count rising; hand patterns stand on it with their mark. ``count`` includes
        ``n_placed``, ``positions`` are those of the searched speakers only.
    chosen
        The one to take; also in ``options``, marked ``chosen``.
    cheaper
        At most two cheaper ones, nearest first.
    finer
        A finer one; ``None`` if none was found.
    reason
        In one sentence.
    footprint_m
        Circle on the ear plane inside which one speaker keeps -6 dB. [m]
    n_placed
        Speakers put by hand or hanging already that were kept.
    model_text
        Directivity model, measure and ears, as printed beside each figure.
    scope
        What was searched, in words.
    n_tried
        Lattices tried.
    bound
        What is proven about the count, with its scope; empty if nothing.
    findings
        What a person should know.
    not_kept
        Hand decisions that could not be kept.
    is_reproducible
        False where a wall-clock stop ended a search.
    wished
        Speakers laid for the wishes of the room or with another type, counted in ``n_placed``.
    is_mixed
        Whether ceilings of the room have types of their own; figures are then those under them.
    """

    room_key: str
    type_id: str
    options: tuple[Option, ...]
    chosen: Option
    cheaper: tuple[Option, ...]
    finer: Option | None
    reason: str
    footprint_m: float
    n_placed: int
    model_text: str
    scope: str
    n_tried: int
    bound: str = ""
    findings: tuple[Finding, ...] = ()
    not_kept: tuple[str, ...] = ()
    is_reproducible: bool = True
    wished: tuple[PlacedSpeaker, ...] = ()
    is_mixed: bool = False

    def decision(self) -> RoomDecision:
        """Return the record that design.json keeps."""
        return RoomDecision(
            room_key=self.room_key,
            reason=self.reason,
            options=self.options,
            bound=self.bound,
            not_kept=self.not_kept,
            is_reproducible=self.is_reproducible,
        )


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
) -> RoomLayouts:
    """Choose how many speakers of one type a room gets, and where.

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
    question = make_question(
        room,
        speaker_type=speaker_type,
        voltage_v=line_voltage_v,
        obstacles=obstacles,
        catalogue=catalogue,
        placed=placed,
        limits=limits,
        family=family,
        is_imperial=is_imperial,
    )
    tell = progress or (lambda _done, _text: None)
    tell(0.0, f"{room.label}: looking for free places")
    whole = question.field()
    plans = make_plans(question, whole)
    candidates: list[Candidate] = []
    searches: list[CeilingSearch] = []
    for number, plan in enumerate(plans):
        start = 0.05 + 0.8 * number / len(plans)

        def tick(done: float, start: float = start) -> None:
            tell(start + 0.8 * done / len(plans), f"{room.label}: trying every pattern")

        found = [_searched(question, part, tick) for part in plan]
        searches += found
        candidates += _candidates(question, found, whole, is_first=number == 0)
    if question.family.has_free and len(plans[0]) == 1 and candidates:
        tell(0.85, f"{room.label}: trying free form")
        candidates += _free(question, searches[0], candidates, whole)
    tell(0.9, f"{room.label}: comparing layouts")
    if not candidates:
        raise _no_place(question, plans[0])
    shadows = any(is_large(search.part.field, search.part.sites) for search in searches)
    if shadows or any(search.is_rough for search in searches):
        near_db = _SHADOW_DB if shadows else _ROUGH_DB
        candidates = _shadowed(candidates, whole, room.brief, near_db)
    else:
        candidates = _settled(candidates, whole, room.brief)
    choice = choose(candidates, room.brief)
    result = _result(question, searches, candidates, choice, whole)
    tell(1.0, f"{room.label}: {result.chosen.count} speakers")
    return result


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


def _candidates(
    question: Question, found: Sequence[CeilingSearch], whole: Field, *, is_first: bool
) -> list[Candidate]:
    if len(found) > 1:
        joints = join_parts(
            whole,
            found,
            share=question.room.brief.evenness_share,
            most_count=int(question.limits["place_most_speakers"]),
        )
        return [_joined(question, found, joint) for joint in joints]
    search = found[0]
    part = search.part
    frame = look_frame(part.sites, part.walls_local, question.obstacles)
    out = [
        _candidate(question, search, item.layout, item.spread_db, frame)
        for item in search.every()
        if item.layout.count
    ]
    if not is_first:
        return out
    for rule, spread in search.hand:
        out.append(_candidate(question, search, rule.layout, spread, frame, rule.text))
    spacing = question.room.brief.spacing_m
    if spacing is not None:
        layout = hand_layout(
            part.sites, part.walls_local, spacing_m=spacing, is_offset=False, is_exact_pitch=True
        )
        if layout is not None:
            spread = spread_of(
                search.energy_of(layout.column, layout.row), question.room.brief.evenness_share
            )
            out.append(_candidate(question, search, layout, spread, frame, "specified spacing"))
    if not any(one.count == 1 for one in out) and part.sites.count_free:
        layout = one_speaker(part, search.energy_of)
        spread = spread_of(
            search.energy_of(layout.column, layout.row), question.room.brief.evenness_share
        )
        out.append(_candidate(question, search, layout, spread, frame))
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
    question: Question, search: CeilingSearch, candidates: Sequence[Candidate], whole: Field
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


def _joined(question: Question, found: Sequence[CeilingSearch], joint: Joint) -> Candidate:
    parts: list[Candidate] = []
    for search, layout in zip(found, joint.layouts, strict=True):
        if layout is not None:
            part = search.part
            frame = look_frame(part.sites, part.walls_local, question.obstacles)
            parts.append(_candidate(question, search, layout, joint.spread_db, frame))
    count = sum(part.count for part in parts)
    return Candidate(
        site_m=np.concatenate([part.site_m for part in parts]),
        tile=np.concatenate([part.tile for part in parts]),
        ceiling_keys=tuple(key for part in parts for key in part.ceiling_keys),
        is_tiled=all(part.is_tiled for part in parts),
        pattern=" + ".join(part.pattern for part in parts),
        spread_db=joint.spread_db,
        look=round(
            sum(part.look * part.count for part in parts) / count + BLOCKS * (len(parts) - 1), 3
        ),
        nudged=sum(part.nudged for part in parts),
        omitted=sum(part.omitted for part in parts),
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


def _settled(candidates: Sequence[Candidate], whole: Field, brief: Brief) -> list[Candidate]:
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
            exact = spread_of(whole.energy(one.site_m), brief.evenness_share)
            out.append(replace(one, spread_db=exact))
        else:
            out.append(one)
    return out


@dataclass(frozen=True, slots=True, eq=False)
class _Known:
    """Energy of a layout that the public field computed before."""

    energy: FloatArray

    def __call__(self) -> FloatArray:
        return self.energy


def _shadowed(
    candidates: Sequence[Candidate], whole: Field, brief: Brief, near_db: float
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
            energy = whole.energy(one.site_m)
            exact = spread_of(energy, brief.evenness_share)
            out.append(replace(one, spread_db=exact, energy=_Known(energy)))
            met += exact <= target and one.is_eligible
        else:
            out.append(one)
    return out + [one for one in candidates if one.mark]


def _result(
    question: Question,
    searches: Sequence[CeilingSearch],
    candidates: Sequence[Candidate],
    choice: Choice,
    whole: Field,
) -> RoomLayouts:
    room = question.room
    shown = _shown(candidates, choice)
    wanted, assumed = wanted_level_dba(room, question.limits)
    fields = Fields(brief=whole, total=question.whole_field(), loud=question.loudness_field())
    options: list[Option] = []
    reached: dict[int, bool] = {}
    for one, mark in shown:
        option, is_reached = _option(question, one, mark, fields, wanted)
        reached[id(one)] = is_reached
        options.append(option)
    by_mark = {mark: option for (_, mark), option in zip(shown, options, strict=True)}
    chosen = by_mark["chosen"]
    cheaper = [o for (_, mark), o in zip(shown, options, strict=True) if mark == "cheaper"]
    options.sort(
        key=lambda o: (o.count, round(o.spread_db, 6), o.look_penalty, o.mark, o.positions)
    )
    tried = sum(search.n_tried for search in searches)
    scope = f"{question.family.text()}; {tried} lattices tried on free places"
    if any(is_large(search.part.field, search.part.sites) for search in searches):
        scope += "; corners and columns counted for the best of each count"
    for text in sorted({text for search in searches for text in search.limited}):
        scope += f"; {text}"
    thinned = max(search.thinning for search in searches)
    if thinned > 1:
        scope += f"; screened on every {thinned}. ear along each axis, the best made exact"
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
        model_text=question.model_text(),
        scope=scope,
        n_tried=sum(search.n_tried for search in searches),
        findings=place_findings(
            question,
            searches,
            chosen,
            is_met=choice.is_met,
            is_loud=reached[id(choice.chosen)],
            wanted_dba=wanted,
            assumed=assumed,
            retry=_fewest_of,
        ),
    )


def _fewest_of(question: Question) -> int | None:
    """Fewest speakers of a regular layout that meets the brief of a changed question."""
    asked = 2.0 * question.room.brief.evenness_db
    try:
        plan = make_plans(question, question.field())[0]
        found = [_searched(question, part, lambda _done: None) for part in plan]
    except NoSolutionError:
        return None
    if len(found) > 1:
        return None
    counts = [i.layout.count for i in found[0].every() if i.spread_db <= asked + 1e-6]
    return min(counts, default=None)


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fields:
    """The fields that an alternative is shown in.

    Parameters
    ----------
    brief
        The brief's measure: chosen on.
    total
        The whole field in the same band: printed beside it.
    loud
        The whole field in dBA at some hundred ears, for taps.
    """

    brief: Field
    total: Field
    loud: Field


def _option(
    question: Question,
    one: Candidate,
    mark: str,
    fields: Fields,
    wanted: float,
) -> tuple[Option, bool]:
    brief = question.room.brief
    whole, loud = fields.brief, fields.loud
    level = level_of(
        speaker_type=question.speaker_type,
        voltage_v=question.voltage_v,
        count=one.count,
        energy_per_watt=float(np.mean(loud.energy(one.site_m))),
        wanted_dba=wanted,
        drive_db=crest_drive_db(brief.programme, question.limits),
        asked_tap_w=brief.tap_w,
    )
    pairs = one.count * whole.ears.count
    is_main = mark == "chosen" or pairs < _SMALL
    is_main = is_main or (mark in {"cheaper", "finer"} and pairs < _LARGE)
    is_known = isinstance(one.energy, _Known)
    is_public = one.energy is None or (is_main and not is_known)
    energy = whole.energy(one.site_m) if is_public or one.energy is None else one.energy()
    levels = power_ratio_db(np.maximum(energy, 1e-30))
    spread = spread_of(energy, brief.evenness_share)
    total = _total_db(question, one, spread, energy, fields, is_exact=is_public or is_known)
    placed_w = sum(tap.power_w for tap in question.placed_taps())
    option = Option(
        pattern=one.pattern,
        count=one.count + len(question.mains),
        spread_db=round(spread, 4),
        watts_w=round((level.watts_w if level else 0.0) + placed_w, 6),
        look_penalty=one.look,
        meets_brief=spread <= 2.0 * brief.evenness_db + 1e-6,
        mark=mark,
        tap_w=level.tap.power_w if level else None,
        type_id=question.speaker_type.id,
        std_db=round(float(np.std(levels)), 4),
        worst_db=round(float(levels.min() - np.median(levels)), 4),
        whole_spread_db=total if total is None else round(total, 4),
        positions=tuple((round(float(x), 6), round(float(y), 6)) for x, y in one.site_m[:, :2]),
        tiles=tuple((int(c), int(r)) for c, r in one.tile) if one.is_tiled else (),
    )
    return option, level is not None and level.is_reached


def _total_db(
    question: Question,
    one: Candidate,
    spread_db: float,
    energy: FloatArray,
    fields: Fields,
    *,
    is_exact: bool,
) -> float | None:
    """Spread of the whole field; None where reflections would be too much work to sum."""
    brief, total = question.room.brief, fields.total
    if brief.evenness_measure.startswith("whole"):
        return spread_db
    if total.early is None:
        late = total.fixed_energy - fields.brief.fixed_energy + total.reverberant * one.count
        return spread_of(energy + late, brief.evenness_share)
    return spread_of(total.energy(one.site_m), brief.evenness_share) if is_exact else None


def option_speakers(
    room: Room,
    option: Option,
    *,
    speaker_type: SpeakerType,
    line_voltage_v: float,
    keys: Sequence[str],
    limits: Limits = DEFAULT_LIMITS,
) -> tuple[Speaker, ...]:
    """Return the speakers of an option as records, not yet wired.

    Parameters
    ----------
    room
        Room with its ceilings.
    option
        From :func:`choose_layouts`.
    speaker_type
        The type placed.
    line_voltage_v
        Nominal line voltage. [V]
    keys
        Permanent keys, one per position; labels are set when lines are known.
    limits
        Height of pendants.

    Returns
    -------
    tuple of Speaker
        In the order of the option's positions, labels equal to the keys.

    Raises
    ------
    NoSolutionError
        If the type has no tap at the line's voltage.
    """
    taps = speaker_type.taps_at(line_voltage_v)
    tap = next((t for t in taps if t.power_w == option.tap_w), None)
    if tap is None:
        msg = f"{room.label}: {speaker_type.id} has no tap at {line_voltage_v:.1f} V"
        raise NoSolutionError(
            msg,
            where=f"rooms.{room.key}",
            why=f"its taps are for {sorted({round(t.voltage_v, 1) for t in speaker_type.taps})} V",
            do="choose a type for this line voltage",
        )
    out: list[Speaker] = []
    for number, (key, position) in enumerate(zip(keys, option.positions, strict=True)):
        ceiling = ceiling_at(room, position)
        height = face_height_m(ceiling, np.array([position]), limits)[0]
        tile = (
            TileRef(column=option.tiles[number][0], row=option.tiles[number][1])
            if option.tiles
            else None
        )
        out.append(
            Speaker(
                key=key,
                label=key,
                room_key=room.key,
                ceiling_key=ceiling.key,
                type_id=speaker_type.id,
                position=position,
                mount_height_m=round(float(height), 6),
                tap=tap,
                tile=tile,
            )
        )
    return tuple(out)
