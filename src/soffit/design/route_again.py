"""Lines after an edit by hand: what did not change stays, what did is laid again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from shapely.geometry import LineString, Polygon

from soffit.circuit.wiring_class import Space
from soffit.design.route_build import Sized, size_line, wiring_of
from soffit.design.route_cables import cables_for
from soffit.design.route_field import Base, Field
from soffit.design.route_lay import Laid, lay
from soffit.model.catalogue import CableType
from soffit.model.decisions import Design
from soffit.model.lines import Line
from soffit.model.speakers import Speaker


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One line before it is written as records.

    Parameters
    ----------
    field
        Ceilings that it is wired over.
    laid, cables, sized
        Its stops and ways, the cables that it may use, and the sizes chosen.
    key
        Key of the line in whose place it comes; empty if it is new.
    """

    field: Field
    laid: Laid
    cables: tuple[CableType, ...]
    sized: Sized
    key: str = ""


def plan_line(base: Base, field: Field, part: Sequence[int], *, key: str = "") -> Plan:
    """Lay one line and choose its cable.

    Parameters
    ----------
    base
        The job.
    field
        Ways over the ceilings.
    part
        Places of its loudspeakers.
    key
        Key of the line in whose place it comes.
    """
    laid = lay(base, field, part)
    cables = cables_for(base.survey, base.catalogue, space=_space(field, laid))
    sized = size_line(
        wiring_of(laid, cables, base.catalogue, base.limits),
        base.limits,
        imperial=base.survey.site.is_imperial,
    )
    return Plan(field=field, laid=laid, cables=cables, sized=sized, key=key)


def _space(field: Field, laid: Laid) -> Space:
    """Most demanding kind of void that the line passes."""
    lines = [LineString(way.corners) for way in laid.ways if way and len(way.corners) > 1]
    for room in field.rooms:
        if any(ceiling.is_plenum for ceiling in room.ceilings):
            shape = Polygon(room.outline)
            if any(shape.intersects(line) for line in lines):
                return "plenum"
    return "riser" if field.extra_m > 0.0 else "general"


def relabelled(
    line: Line, number: int, speakers: Mapping[str, Speaker]
) -> tuple[Line, tuple[Speaker, ...]]:
    """Give a line that stays as it is its number, with its runs, joints and loudspeakers.

    Parameters
    ----------
    line
        The line.
    number
        Its place among all lines, from 1.
    speakers
        All loudspeakers by key.

    Returns
    -------
    tuple
        The line, and its loudspeakers in wiring order.
    """
    label = f"L{number}"
    members = tuple(
        replace(speakers[key], label=f"{label}-{place:02d}", line_key=line.key)
        for place, key in enumerate(line.speaker_keys, 1)
    )
    runs = tuple(
        replace(run, label=f"{label}-C{place:02d}") for place, run in enumerate(line.runs, 1)
    )
    joints = tuple(
        replace(joint, label=f"{label}-J{place}") for place, joint in enumerate(line.joints, 1)
    )
    return replace(line, label=label, runs=runs, joints=joints), members


def lines_again(
    base: Base, field: Field, before: Design, load_w: Mapping[int, float], *, most_w: float
) -> tuple[list[Plan | Line], str] | None:
    """Keep the lines of a group, and lay again those whose loudspeakers changed.

    Parameters
    ----------
    base
        The job; its previous design is the edited one.
    field
        Ways over the ceilings of the group.
    before
        Design before the edit, wired for the same survey and catalogue.
    load_w
        Load that each place asks for. [W]
    most_w
        Load that one channel takes. [W]

    Returns
    -------
    tuple or None
        Lines as they were and lines laid again, with a sentence on it; ``None`` where the group
        has to be wired anew: it had no lines, or a changed one would ask or lose too much.
    """
    members = _members(base, field)
    if not members or not _has_same_control(field, [line for line, _ in members]):
        return None
    grown = _with_new(base, field, members, load_w, most_w=most_w)
    if grown is None:
        return None
    found: list[Plan | Line] = []
    for line, places in grown:
        if not places:
            continue
        if _is_as_before(field, line, places, before):
            found.append(line)
            continue
        if sum(load_w[place] for place in places) > most_w + 1e-9:
            return None
        plan = plan_line(base, field, places, key=line.key)
        if not plan.sized.chosen.meets_limit:
            return None
        found.append(plan)
    changed = sum(isinstance(part, Plan) for part in found)
    if not changed:
        return found, ""
    return found, (
        f"{field.group.label}: {changed} of {len(found)} lines laid again after an edit by hand,"
        " the others as they were; a new design groups and proves all of them"
    )


def _members(base: Base, field: Field) -> list[tuple[Line, list[int]]]:
    """Return earlier lines of the group with the places of those who are still there."""
    place_of = {field.speaker(place).key: place for place in field.places}
    group = field.group
    zone_keys = (group.zone.key,) if group.zone else ()
    found = []
    for line in base.previous.lines:
        places = [place_of[key] for key in line.speaker_keys if key in place_of]
        is_ours = line.rack_key == group.rack.key and line.zone_keys == zone_keys
        if places and is_ours and not line.fixed:
            found.append((line, places))
    return found


def _has_same_control(field: Field, lines: Sequence[Line]) -> bool:
    """Whether the volume control that the group needs now is the one on its lines."""
    wanted = None if field.control is None else field.control.joint
    for line in lines:
        have = next((joint for joint in line.joints if joint.kind == "volume control"), None)
        if (wanted is None) != (have is None):
            return False
        if wanted and have and wanted.rated_power_w != have.rated_power_w:
            return False
    return True


def _with_new(
    base: Base,
    field: Field,
    members: list[tuple[Line, list[int]]],
    load_w: Mapping[int, float],
    *,
    most_w: float,
) -> list[tuple[Line, list[int]]] | None:
    """Give every loudspeaker that is on no line to the nearest line that can take it."""
    grown = [(line, list(places)) for line, places in members]
    known = {place for _, places in members for place in places}
    loose = [place for place in field.places if place not in known]
    if loose and base.limits["line_interleave"] >= 0.5:
        return None
    cost = field.ways.cost_m
    for place in loose:
        options = [
            (float(min(cost[place, other] for other in places)), number)
            for number, (_, places) in enumerate(grown)
            if sum(load_w[one] for one in (*places, place)) <= most_w + 1e-9
        ]
        if not options:
            return None
        grown[min(options)[1]][1].append(place)
    return grown


def _is_as_before(field: Field, line: Line, places: Sequence[int], before: Design) -> bool:
    """Whether nothing that wiring looks at has changed on a line."""
    old = next((one for one in before.lines if one.key == line.key), None)
    if old != line or len(places) != len(line.speaker_keys):
        return False
    known = {speaker.key: speaker for speaker in before.speakers}
    return all(
        _bare(field.speaker(place)) == _bare(known.get(field.speaker(place).key))
        for place in places
    )


def _bare(speaker: Speaker | None) -> Speaker | None:
    """Take off what wiring does not look at."""
    if speaker is None:
        return None
    return replace(
        speaker,
        label="",
        line_key=None,
        fixed_place=False,
        fixed_tap=False,
        state="planned",
        note="",
    )
