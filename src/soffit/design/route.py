"""From placed loudspeakers to lines: groups, order, branches, cable, labels and amplifiers."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from soffit.design.route_again import Plan, lines_again, plan_line, relabelled
from soffit.design.route_amplifiers import (
    amplifier_types,
    amplifiers_for,
    asked_w,
    with_high_pass,
)
from soffit.design.route_build import build_line
from soffit.design.route_field import Base, Field, KeyMaker, field_of
from soffit.design.route_group import Group, groups_of, interleave, split_by_load
from soffit.design.route_lay import Laid, other_lengths_m
from soffit.design.route_order import choose_order
from soffit.design.size import largest_load_w
from soffit.errors import NoSolutionError
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Design, Survey
from soffit.model.lines import Amplifier, Joint, Line
from soffit.model.speakers import Speaker

_MORE_LINES = 24
"""Numbers of lines tried, to keep the loss limit."""
_MORE_IN_VAIN = 4
"""The same where one loudspeaker alone loses too much, so that no number of lines helps."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wired:
    """Lines, amplifiers and relabelled loudspeakers.

    Parameters
    ----------
    lines, amplifiers
        Ready for the design.
    speakers
        All loudspeakers given, with label and line.
    notes
        What was decided and why, a sentence each.
    not_kept
        Hand decisions that could not be kept, in words.
    """

    lines: tuple[Line, ...]
    amplifiers: tuple[Amplifier, ...]
    speakers: tuple[Speaker, ...]
    notes: tuple[str, ...]
    not_kept: tuple[str, ...]


def wire(
    survey: Survey,
    catalogue: Catalogue,
    speakers: Sequence[Speaker],
    *,
    previous: Design,
    new_key: KeyMaker,
    seed: int = 1,
    before: Design | None = None,
) -> Wired:
    """Wire all loudspeakers: lines by zone, order, branches, cable, amplifier channels.

    Parameters
    ----------
    survey
        Rooms, zones, racks, cable ways, equipment and limits.
    catalogue
        Types of loudspeakers, cables and amplifiers.
    speakers
        Placed and tapped loudspeakers.
    previous
        Design before: fixed lines and fixed orders are kept, keys are used again.
    new_key
        Maker of permanent keys.
    seed
        Seed of the order search.
    before
        Wired design of the same survey and catalogue from which this one was edited by hand: lines
        whose loudspeakers did not change stay as they are, the others keep their members. ``None``
        groups and lays all lines anew.

    Returns
    -------
    Wired
        Complete lines and amplifiers.

    Raises
    ------
    NoSolutionError
        If there is no rack, no cable, no amplifier for the voltage, or no way for a cable.
    """
    limits = survey.limits
    base = Base(
        survey=survey,
        catalogue=catalogue,
        previous=previous,
        new_key=new_key,
        headroom_ratio=(1.0 + limits["amplifier_headroom_ratio"])
        * (1.0 + limits["amplifier_spare_ratio"])
        - 1.0,
        seed=seed,
    )
    kept, not_kept = _fixed_lines(previous, speakers)
    held = {key for line in kept for key in line.speaker_keys}
    by_key = {speaker.key: speaker for speaker in speakers}
    free = [speaker for speaker in speakers if speaker.key not in held]
    groups = groups_of(survey, catalogue, free) if free else ()
    planned = [_plan_group(base, group, before) for group in groups]
    book = _Keys(base, kept, [part for parts, _ in planned for part in parts])
    lines: list[Line] = []
    for parts, _ in planned:
        for part in parts:
            number = len(lines) + 1
            line, members = (
                relabelled(part, number, by_key)
                if isinstance(part, Line)
                else _record(base, book, part, number=number)
            )
            lines.append(line)
            by_key.update((member.key, member) for member in members)
    for old in kept:
        line, members = relabelled(old, len(lines) + 1, by_key)
        lines.append(line)
        by_key.update((member.key, member) for member in members)
    amplifiers = amplifiers_for(base, lines, by_key)
    return Wired(
        lines=tuple(with_high_pass(base, line, by_key, amplifiers) for line in lines),
        amplifiers=amplifiers,
        speakers=tuple(by_key[speaker.key] for speaker in speakers),
        notes=tuple(note for _, note in planned if note),
        not_kept=tuple(not_kept),
    )


def _fixed_lines(previous: Design, speakers: Sequence[Speaker]) -> tuple[list[Line], list[str]]:
    present = {speaker.key for speaker in speakers}
    kept: list[Line] = []
    not_kept: list[str] = []
    for line in previous.lines:
        if not line.fixed:
            continue
        missing = [key for key in line.speaker_keys if key not in present]
        if missing:
            not_kept.append(
                f"{line.label} was fixed by hand; {len(missing)} of its loudspeakers are gone"
            )
        else:
            kept.append(line)
    return kept, not_kept


class _Keys:
    """Keys of lines, joints and runs that were there before, given out again."""

    def __init__(self, base: Base, kept: Sequence[Line], planned: Sequence[Plan | Line]) -> None:
        self._new_key = base.new_key
        self.run_keys = {
            (run.start_key, run.end_key): run.key
            for line in base.previous.lines
            for run in line.runs
        }
        held = {line.key for line in (*kept, *planned) if isinstance(line, Line)}
        taken = held | {plan.key for plan in planned if isinstance(plan, Plan)}
        self._joints = [
            joint for line in base.previous.lines if line.key not in held for joint in line.joints
        ]
        self._waiting: dict[tuple[str, ...], list[str]] = {}
        for line in base.previous.lines:
            if line.key not in taken:
                self._waiting.setdefault(line.zone_keys, []).append(line.key)

    def line_key(self, zone_keys: tuple[str, ...]) -> str:
        """Return the next earlier key of lines of these zones, or a new one."""
        waiting = self._waiting.get(zone_keys, [])
        return waiting.pop(0) if waiting else self._new_key()

    def with_joint_keys(self, laid: Laid) -> Laid:
        """Give the joints of a line their keys: earlier ones at the same place, or new ones."""
        stops = [
            replace(stop, key=key, joint=replace(stop.joint, key=key))
            if stop.joint is not None and (key := self._joint_key(stop.joint))
            else stop
            for stop in laid.stops
        ]
        return replace(laid, stops=tuple(stops))

    def _joint_key(self, joint: Joint) -> str:
        for place, other in enumerate(self._joints):
            if other.kind == joint.kind and math.dist(other.position, joint.position) < 0.01:
                return self._joints.pop(place).key
        return self._new_key()


def _plan_group(
    base: Base, group: Group, before: Design | None
) -> tuple[Sequence[Plan | Line], str]:
    """Order, split, lay and size a group; more lines than the load asks for where loss does."""
    field = field_of(base, group)
    load = {place: asked_w(base, field.speaker(place)) for place in field.places}
    most_w = _most_w(base, field, load)
    if before is not None:
        again = lines_again(base, field, before, load, most_w=most_w)
        if again is not None:
            return again
    stops = [field.start, *field.places]
    order = choose_order(field.ways.cost_m[np.ix_(stops, stops)], seed=base.seed, is_rough=True)
    sequence = [field.places[one - 1] for one in order.order]
    wanted = 1
    planned: list[Plan] = []
    most = _MORE_LINES if _far_one_alone(base, field) else _MORE_IN_VAIN
    for attempt in range(most):
        parts = _parts(base, sequence, load, most_w=most_w, wanted=wanted)
        is_last = attempt == most - 1 or len(parts) >= len(field.places)
        planned = []
        for part in reversed(parts):  # the far ones lose most, and one too many is enough
            planned.insert(0, plan_line(base, field, part))
            if not planned[0].sized.chosen.meets_limit and not is_last:
                break
        if all(one.sized.chosen.meets_limit for one in planned):
            return planned, ""
        if is_last:
            break
        wanted = len(parts) + 1
    limit = base.limits["line_loss_warn_db"]
    return planned, (
        f"{group.label}: even {len(planned)} lines of the thickest cable lose more than "
        f"{limit:.2f} dB"
    )


def _far_one_alone(base: Base, field: Field) -> bool:
    """Whether the farthest loudspeaker keeps the loss limit on a line of its own."""
    far = max(field.places, key=lambda place: (float(field.ways.cost_m[field.start, place]), place))
    return plan_line(base, field, [far]).sized.chosen.meets_limit


def _most_w(base: Base, field: Field, load: Mapping[int, float]) -> float:
    """Load that one channel takes; refuse what no channel can."""
    voltage = base.survey.site.line_voltage_v
    most = largest_load_w(
        amplifier_types(base.survey, base.catalogue),
        line_voltage_v=voltage,
        headroom_ratio=base.headroom_ratio,
    )
    if most <= 0.0:
        msg = f"no amplifier may be set to {voltage:.1f} V"
        raise NoSolutionError(
            msg,
            where="equipment.amplifier_types",
            why="none of the allowed types has this line voltage",
            do="allow a type that has it, or change the line voltage of the job",
        )
    for place, watts in load.items():
        if watts > most + 1e-9:
            speaker = field.speaker(place)
            msg = f"{speaker.label or speaker.key}: no amplifier channel takes its {watts:g} W"
            raise NoSolutionError(
                msg,
                where=f"design.json speakers.{speaker.key}",
                why=f"with headroom the largest channel carries {most:.1f} W of taps",
                do="allow a larger amplifier type, or choose a lower tap",
            )
    return most


def _parts(
    base: Base, sequence: Sequence[int], load: Mapping[int, float], *, most_w: float, wanted: int
) -> list[list[int]]:
    if base.limits["line_interleave"] < 0.5:
        return split_by_load(sequence, load, most_w=most_w, parts=wanted)
    each = (wanted + 1) // 2
    return [
        part
        for half in interleave(sequence)
        for part in split_by_load(half, load, most_w=most_w, parts=each)
    ]


def _record(
    base: Base, book: _Keys, plan: Plan, *, number: int
) -> tuple[Line, tuple[Speaker, ...]]:
    group = plan.field.group
    zone_keys = (group.zone.key,) if group.zone else ()
    line = Line(
        key=plan.key or book.line_key(zone_keys),
        label=f"L{number}",
        voltage_v=base.survey.site.line_voltage_v,
        zone_keys=zone_keys,
        rack_key=group.rack.key,
        speaker_keys=(),
        runs=(),
        route_note=f"{plan.laid.note}; {plan.sized.note}",
        other_routes_m=other_lengths_m(base, plan.field, plan.laid),
    )
    return build_line(
        book.with_joint_keys(plan.laid),
        plan.sized.chosen.sizes,
        plan.cables,
        line=line,
        run_keys=book.run_keys,
        new_key=base.new_key,
        limits=base.limits,
    )
