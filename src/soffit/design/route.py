"""From placed loudspeakers to lines: groups, order, branches, cable, labels and amplifiers."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import Point as PlanPoint
from shapely.geometry import Polygon

from soffit.circuit.transformer import flux_limit_hz
from soffit.circuit.wiring_class import Space
from soffit.design.cable import Wiring
from soffit.design.route_build import (
    KeyMaker,
    Laid,
    Sized,
    Stop,
    build_line,
    rise_m,
    size_line,
    wiring_of,
)
from soffit.design.route_cables import cables_for
from soffit.design.route_graph import Way, Ways, find_ways
from soffit.design.route_group import Group, groups_of, interleave, split_by_load
from soffit.design.route_order import choose_order, nearest_neighbour
from soffit.design.route_tree import Branches, free_tees, tees_at_speakers
from soffit.design.size import Demand, choose_amplifiers, largest_load_w
from soffit.errors import NoSolutionError
from soffit.model.catalogue import AmplifierType, CableType, Catalogue
from soffit.model.decisions import Design, Survey
from soffit.model.lines import Amplifier, Channel, Joint, Line, Topology
from soffit.model.speakers import Speaker
from soffit.model.survey import CableWay, Point, Room
from soffit.tables.settings import Limits

_MORE_LINES = 4
"""Lines tried beyond what the load asks for, to keep the loss limit."""
_COMPARED_SPEAKERS = 80
"""Up to here all topologies are laid for comparison."""


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

    Returns
    -------
    Wired
        Complete lines and amplifiers.

    Raises
    ------
    NoSolutionError
        If there is no rack, no cable, no amplifier for the voltage, or no way for a cable.
    """
    return _Job(survey, catalogue, previous, new_key, seed).wire(tuple(speakers))


def amplifier_types(survey: Survey, catalogue: Catalogue) -> tuple[AmplifierType, ...]:
    """Return the amplifier types that a job may use.

    Parameters
    ----------
    survey
        Equipment of the job.
    catalogue
        All types.
    """
    wanted = survey.equipment.amplifier_types
    return tuple(entry for entry in catalogue.amplifier_types if not wanted or entry.id in wanted)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Field:
    """The ceilings that a group is wired over."""

    ways: Ways
    root: Stop
    control: Stop | None
    extra_m: float
    rooms: tuple[Room, ...]
    reachable: np.ndarray


class _Job:
    def __init__(
        self, survey: Survey, catalogue: Catalogue, previous: Design, new_key: KeyMaker, seed: int
    ) -> None:
        self._survey, self._catalogue, self._previous = survey, catalogue, previous
        self._new_key, self._seed, self._limits = new_key, seed, survey.limits
        limits = survey.limits
        self._headroom = (1.0 + limits["amplifier_headroom_ratio"]) * (
            1.0 + survey.equipment.spare_ratio
        ) - 1.0
        self._run_keys = {
            (run.start_key, run.end_key): run.key for line in previous.lines for run in line.runs
        }
        self._free_keys: dict[tuple[tuple[str, ...], bool], list[str]] = {}
        self._notes: list[str] = []
        self._not_kept: list[str] = []

    def wire(self, speakers: tuple[Speaker, ...]) -> Wired:
        kept = self._fixed_lines(speakers)
        self._collect_keys(kept)
        held = {key for line in kept for key in line.speaker_keys}
        by_key = {speaker.key: speaker for speaker in speakers}
        lines: list[Line] = []
        free = [speaker for speaker in speakers if speaker.key not in held]
        for group in groups_of(self._survey, self._catalogue, free) if free else ():
            for line, members in self._wire_group(group, number=len(lines) + 1):
                lines.append(line)
                by_key.update((member.key, member) for member in members)
        for line in kept:
            relabelled = replace(line, label=f"L{len(lines) + 1}")
            lines.append(relabelled)
            for place, key in enumerate(line.speaker_keys, 1):
                label = f"{relabelled.label}-{place:02d}"
                by_key[key] = replace(by_key[key], label=label, line_key=line.key)
        amplifiers = self._amplifiers(lines, by_key)
        finished = tuple(self._with_high_pass(line, by_key, amplifiers) for line in lines)
        return Wired(
            lines=finished,
            amplifiers=amplifiers,
            speakers=tuple(by_key[speaker.key] for speaker in speakers),
            notes=tuple(self._notes),
            not_kept=tuple(self._not_kept),
        )

    def _fixed_lines(self, speakers: tuple[Speaker, ...]) -> list[Line]:
        present = {speaker.key for speaker in speakers}
        kept = []
        for line in self._previous.lines:
            if not line.fixed:
                continue
            missing = [key for key in line.speaker_keys if key not in present]
            if missing:
                self._not_kept.append(
                    f"{line.label} was fixed by hand; {len(missing)} of its loudspeakers are gone"
                )
            else:
                kept.append(line)
        return kept

    def _collect_keys(self, kept: list[Line]) -> None:
        held = {line.key for line in kept}
        for line in self._previous.lines:
            if line.key not in held:
                self._free_keys.setdefault((line.zone_keys, False), []).append(line.key)

    def _line_key(self, zone_keys: tuple[str, ...]) -> str:
        waiting = self._free_keys.get((zone_keys, False), [])
        return waiting.pop(0) if waiting else self._new_key()

    def _wire_group(self, group: Group, *, number: int) -> list[tuple[Line, tuple[Speaker, ...]]]:
        field = self._field(group)
        first = 2 if field.control else 1
        places = list(range(first, first + len(group.speakers)))
        load = {place: group.speakers[place - first].tap.power_w for place in places}
        most = largest_load_w(
            amplifier_types(self._survey, self._catalogue),
            line_voltage_v=self._survey.site.line_voltage_v,
            headroom_ratio=self._headroom,
        )
        self._check_taps(group, load, most, first)
        start = 1 if field.control else 0
        order = choose_order(field.ways.cost_m[np.ix_([start, *places], [start, *places])])
        sequence = [places[one - 1] for one in order.order]
        wanted = 1
        for _ in range(_MORE_LINES):
            parts = self._parts(sequence, load, most, wanted)
            laid = [self._lay(group, field, part, first) for part in parts]
            sized = [size_line(*self._sizing(one, field)) for one in laid]
            if all(one.chosen.meets_limit for one in sized) or len(parts) >= len(places):
                break
            wanted = len(parts) + 1
        else:
            self._notes.append(
                f"{group.label}: even {len(parts)} lines of the thickest cable lose more than "
                f"{self._limits['line_loss_warn_db']:.2f} dB"
            )
        return [
            self._record(group, field, one, size, number + place)
            for place, (one, size) in enumerate(zip(laid, sized, strict=True))
        ]

    def _check_taps(self, group: Group, load: dict[int, float], most: float, first: int) -> None:
        if most <= 0.0:
            msg = f"no amplifier may be set to {self._survey.site.line_voltage_v:.1f} V"
            raise NoSolutionError(
                msg,
                where="equipment.amplifier_types",
                why="none of the allowed types has this line voltage",
                do="allow a type that has it, or change the line voltage of the job",
            )
        for place, watts in load.items():
            if watts > most + 1e-9:
                speaker = group.speakers[place - first]
                msg = f"{speaker.label or speaker.key}: no amplifier channel takes its {watts:g} W"
                raise NoSolutionError(
                    msg,
                    where=f"design.json speakers.{speaker.key}",
                    why=f"with headroom the largest channel carries {most:.1f} W of taps",
                    do="allow a larger amplifier type, or choose a lower tap",
                )

    def _parts(
        self, sequence: list[int], load: dict[int, float], most: float, wanted: int
    ) -> list[list[int]]:
        if self._limits["line_interleave"] >= 0.5:
            halves = interleave(sequence)
            return [
                part
                for half in halves
                for part in split_by_load(
                    half, load, most_w=most, parts=max(1, wanted - len(halves) + 1)
                )
            ]
        return split_by_load(sequence, load, most_w=most, parts=wanted)

    # ---------------------------------------------------------------- ways and stops
    def _field(self, group: Group) -> _Field:
        survey = self._survey
        rooms = tuple(room for room in survey.rooms if room.storey_key == group.storey_key)
        lanes = [way for way in survey.cable_ways if way.storey_key == group.storey_key]
        root, extra_m = self._root(group, lanes)
        control = self._control(group)
        points: list[Point] = [root.position]
        points += [control.position] if control else []
        points += [speaker.position for speaker in group.speakers]
        labels = ["the rack", *(["its volume control"] if control else [])]
        labels += [speaker.label or speaker.key for speaker in group.speakers]
        ways = find_ways(points, rooms=rooms, cable_ways=lanes, limits=self._limits, labels=labels)
        return _Field(
            ways=ways,
            root=root,
            control=control,
            extra_m=extra_m,
            rooms=rooms,
            reachable=self._reachable(ways, rooms),
        )

    def _root(self, group: Group, lanes: list[CableWay]) -> tuple[Stop, float]:
        rack = group.rack
        stop = Stop(key=rack.key, position=rack.position, rise_m=rack.drop_m)
        if rack.storey_key == group.storey_key:
            return stop, 0.0
        risers = [way for way in lanes if way.is_riser and way.points]
        foot = min(
            (way.points[0] for way in risers),
            key=lambda point: np.hypot(point[0] - rack.position[0], point[1] - rack.position[1]),
            default=rack.position,
        )
        heights = {storey.key: storey.elevation_m for storey in self._survey.storeys}
        climb = abs(heights[rack.storey_key] - heights[group.storey_key])
        below = tuple(room for room in self._survey.rooms if room.storey_key == rack.storey_key)
        lower = [way for way in self._survey.cable_ways if way.storey_key == rack.storey_key]
        across = find_ways(
            [rack.position, foot], rooms=below, cable_ways=lower, limits=self._limits
        )
        plan = across.way(across.path(0, int(across.point_node[1]))).length_m
        slack = 1.0 + self._limits["route_slack_ratio"]
        return replace(stop, position=foot), climb + plan * slack

    def _control(self, group: Group) -> Stop | None:
        zone = group.zone
        if zone is None or not zone.has_volume_control or group.is_low:
            return None
        storey = group.storey_key
        rooms = [
            room
            for key in zone.room_keys
            for room in self._survey.rooms
            if room.key == key and room.storey_key == storey
        ]
        if not rooms:
            return None
        room = rooms[0]
        door = room.doors[0].position if room.doors else room.outline[0]
        position = _just_inside(room, door)
        height = max((ceiling.height_m for ceiling in room.ceilings), default=2.5)
        drop = height - self._limits["volume_control_height_m"] + self._limits["void_rise_m"]
        total = sum(speaker.tap.power_w for speaker in group.speakers)
        rated = [
            part.rated_power_w
            for part in self._catalogue.hardware_types
            if part.kind == "volume control" and part.rated_power_w >= total
        ]
        key = self._joint_key("volume control", position)
        joint = Joint(
            key=key,
            label="",
            position=position,
            storey_key=storey,
            kind="volume control",
            rated_power_w=min(rated, default=0.0),
        )
        return Stop(key=key, position=position, rise_m=max(drop, 0.0), joint=joint)

    def _joint_key(self, kind: str, position: Point) -> str:
        for line in self._previous.lines:
            for joint in line.joints:
                near = np.hypot(joint.position[0] - position[0], joint.position[1] - position[1])
                if joint.kind == kind and near < 0.01:
                    return joint.key
        return self._new_key()

    def _reachable(self, ways: Ways, rooms: tuple[Room, ...]) -> np.ndarray:
        """Crossings where a joint can be reached later: lay-in grids, open ceilings, hatches."""
        reachable = np.zeros(ways.node_xy.shape[0], dtype=np.bool_)
        for place, room in enumerate(rooms):
            inside = ways.node_room == place
            for ceiling in room.ceilings:
                if ceiling.kind not in ("grid", "open"):
                    continue
                if ceiling.region is None:
                    reachable |= inside
                else:
                    shape = Polygon(ceiling.region)
                    reachable |= inside & shapely.contains_xy(shape, *ways.node_xy.T)
            for obstacle in self._survey.obstacles_in(room.key):
                if obstacle.kind == "hatch":
                    shape = Polygon(obstacle.outline).buffer(0.5)
                    reachable |= inside & shapely.contains_xy(shape, *ways.node_xy.T)
        return reachable

    # ---------------------------------------------------------------- one line
    def _lay(self, group: Group, field: _Field, part: list[int], first: int) -> Laid:
        fixed = self._fixed_places(group, part, first)
        topology: Topology = self._survey.site.topology if not fixed else "chain"
        return self._laid(group, field, part, first, topology, fixed)

    def _fixed_places(self, group: Group, part: list[int], first: int) -> tuple[int, ...]:
        held = [place for place in part if group.speakers[place - first].fixed_order]
        rank = {
            key: (number, place)
            for number, line in enumerate(self._previous.lines)
            for place, key in enumerate(line.speaker_keys)
        }
        last = (len(rank), 0)
        held.sort(key=lambda place: rank.get(group.speakers[place - first].key, last))
        return tuple(part.index(place) + 1 for place in held)

    def _laid(
        self,
        group: Group,
        field: _Field,
        part: list[int],
        first: int,
        topology: Topology,
        fixed: tuple[int, ...] = (),
    ) -> Laid:
        start = 1 if field.control else 0
        ways = field.ways.only([start, *part])
        branches, note = self._branches(ways, field, topology, fixed)
        stops = [field.control or field.root]
        stops += [self._speaker_stop(group.speakers[place - first]) for place in part]
        stops += [self._tee_stop(ways, node, group.storey_key) for node in branches.tee_node]
        paths: list[Way | None] = [None]
        paths += [ways.way(path) for path in branches.paths[1:]]
        parent = list(branches.parent)
        if field.control:
            stops.insert(0, field.root)
            whole = field.ways
            feed = whole.way(whole.path(0, int(whole.point_node[1])))
            paths.insert(1, feed)
            parent = [-1, 0, *(feeder + 1 for feeder in parent[1:])]
        extra = [0.0] * len(stops)
        for place, feeder in enumerate(parent):
            if feeder == 0:
                extra[place] = field.extra_m
        return Laid(
            topology=topology,
            stops=tuple(stops),
            parent=tuple(parent),
            ways=tuple(paths),
            extra_m=tuple(extra),
            note=note,
        )

    def _branches(
        self, ways: Ways, field: _Field, topology: Topology, fixed: tuple[int, ...]
    ) -> tuple[Branches, str]:
        most = round(self._limits["terminal_cables_most"])
        if topology == "tees":
            tree = tees_at_speakers(ways, most_runs=most)
            gap = 1.0 - tree.bound_m / tree.cost_m if tree.cost_m else 0.0
            text = "proven the shortest tree" if gap < 1e-6 else f"within {gap:.1%} of the shortest"
            return tree, f"tees at loudspeakers, {text}"
        if topology == "free tees":
            tree = free_tees(
                ways,
                reachable=field.reachable,
                tee_price_m=self._limits["tee_price_m"],
                most_runs=most,
            )
            return tree, "tees where they save cable and can be reached; no bound computed"
        order = choose_order(ways.cost_m, fixed=fixed, seed=self._seed)
        text = order.text() + (", with the order fixed by hand" if fixed else "")
        return _as_chain(ways, order.order, order.cost_m), text

    def _speaker_stop(self, speaker: Speaker) -> Stop:
        return Stop(
            key=speaker.key,
            position=speaker.position,
            rise_m=rise_m(self._survey, speaker, self._limits),
            speaker=speaker,
        )

    def _tee_stop(self, ways: Ways, node: int, storey_key: str) -> Stop:
        x, y = ways.node_xy[node]
        position = (round(float(x), 6), round(float(y), 6))
        key = self._joint_key("tee", position)
        joint = Joint(key=key, label="", position=position, storey_key=storey_key, kind="tee")
        return Stop(key=key, position=position, rise_m=0.3, joint=joint)

    def _sizing(self, laid: Laid, field: _Field) -> tuple[Wiring, Limits]:
        cables = self._cables(laid, field)
        return wiring_of(laid, cables, self._catalogue, self._limits), self._limits

    def _cables(self, laid: Laid, field: _Field) -> tuple[CableType, ...]:
        space: Space = "riser" if field.extra_m > 0.0 else "general"
        corners = [point for way in laid.ways if way for point in way.corners]
        for room in field.rooms:
            plenum = any(ceiling.is_plenum for ceiling in room.ceilings)
            shape = Polygon(room.outline)
            if plenum and any(shape.covers(PlanPoint(point)) for point in corners):
                space = "plenum"
        return cables_for(self._survey, self._catalogue, space=space)

    def _record(
        self, group: Group, field: _Field, laid: Laid, sized: Sized, number: int
    ) -> tuple[Line, tuple[Speaker, ...]]:
        zone_keys = (group.zone.key,) if group.zone else ()
        line = Line(
            key=self._line_key(zone_keys),
            label=f"L{number}",
            voltage_v=self._survey.site.line_voltage_v,
            zone_keys=zone_keys,
            rack_key=group.rack.key,
            speaker_keys=(),
            runs=(),
            route_note=f"{laid.note}; {sized.note}",
            other_routes_m=self._others(group, field, laid),
        )
        return build_line(
            laid,
            sized.chosen.sizes,
            self._cables(laid, field),
            line=line,
            run_keys=self._run_keys,
            new_key=self._new_key,
            limits=self._limits,
        )

    def _others(self, group: Group, field: _Field, laid: Laid) -> tuple[tuple[str, float], ...]:
        """Cable that the other topologies, and the order taken by hand, would need."""
        first = 2 if field.control else 1
        place_of = {speaker.key: first + n for n, speaker in enumerate(group.speakers)}
        part = [place_of[stop.key] for stop in laid.stops if stop.speaker]
        if len(part) > _COMPARED_SPEAKERS:
            return ()
        found: list[tuple[str, float]] = []
        names: tuple[Topology, ...] = ("chain", "tees", "free tees")
        for topology in names:
            if topology != laid.topology:
                other = self._laid(group, field, part, first, topology)
                found.append((topology, round(sum(other.lengths_m(self._limits)), 2)))
        start = 1 if field.control else 0
        ways = field.ways.only([start, *part])
        by_hand = _as_chain(ways, nearest_neighbour(ways.cost_m), 0.0)
        stops = [stop for stop in laid.stops if stop.speaker]
        root = field.control or field.root
        chain = Laid(
            topology="chain",
            stops=(root, *stops),
            parent=by_hand.parent,
            ways=(None, *(ways.way(path) for path in by_hand.paths[1:])),
            extra_m=(0.0,) * (len(stops) + 1),
            note="",
        )
        hand_m = sum(chain.lengths_m(self._limits)) + self._feed_m(field, laid)
        found.append(("always to the nearest", round(hand_m, 2)))
        return tuple(found)

    def _feed_m(self, field: _Field, laid: Laid) -> float:
        """Cable before the first loudspeaker's run that every order shares."""
        before = laid.lengths_m(self._limits)[1] if field.control else field.extra_m
        return float(before)

    # ---------------------------------------------------------------- amplifiers
    def _amplifiers(self, lines: list[Line], by_key: dict[str, Speaker]) -> tuple[Amplifier, ...]:
        present = {line.key for line in lines}
        kept = [
            amplifier
            for amplifier in self._previous.amplifiers
            if amplifier.fixed
            and all(key in present for channel in amplifier.channels for key in channel.line_keys)
        ]
        served = {key for one in kept for channel in one.channels for key in channel.line_keys}
        spare_keys = [one.key for one in self._previous.amplifiers if one not in kept]
        found = list(kept)
        for rack in self._survey.racks:
            demands = [
                Demand(
                    key=line.key,
                    label=line.label,
                    zone="+".join(line.zone_keys) or "none",
                    load_w=sum(by_key[key].tap.power_w for key in line.speaker_keys),
                )
                for line in lines
                if line.rack_key == rack.key and line.key not in served
            ]
            if not demands:
                continue
            packed = choose_amplifiers(
                demands,
                amplifier_types(self._survey, self._catalogue),
                line_voltage_v=self._survey.site.line_voltage_v,
                headroom_ratio=self._headroom,
                box_w=self._limits["amplifier_box_w"],
            )
            found += [
                Amplifier(
                    key=spare_keys.pop(0) if spare_keys else self._new_key(),
                    label="",
                    type_id=filled.type_id,
                    rack_key=rack.key,
                    channels=tuple(
                        Channel(number=number, line_keys=keys)
                        for number, keys in enumerate(filled.channels, 1)
                    ),
                )
                for filled in packed
            ]
        return tuple(replace(one, label=f"A{number}") for number, one in enumerate(found, 1))

    def _with_high_pass(
        self, line: Line, by_key: dict[str, Speaker], amplifiers: tuple[Amplifier, ...]
    ) -> Line:
        if line.fixed and line.high_pass_hz is not None:
            return line
        need = line_high_pass_hz(
            [by_key[key] for key in line.speaker_keys], self._catalogue, line.voltage_v
        )
        for amplifier in amplifiers:
            if any(line.key in channel.line_keys for channel in amplifier.channels):
                offered = self._catalogue.amplifier(amplifier.type_id).high_pass_hz
                fitting = [hertz for hertz in offered if hertz >= need - 1e-9]
                return replace(line, high_pass_hz=min(fitting, default=need))
        return replace(line, high_pass_hz=need)


def line_high_pass_hz(
    speakers: Sequence[Speaker], catalogue: Catalogue, line_voltage_v: float
) -> float:
    """Lowest cut-off of the high-pass that keeps every transformer of a line from saturating.

    Parameters
    ----------
    speakers
        Loudspeakers of the line.
    catalogue
        Their types.
    line_voltage_v
        Voltage of the line. [V]

    Returns
    -------
    float
        Greatest of the low limits, each scaled by line over tap voltage. [Hz]
    """
    return max(
        float(
            flux_limit_hz(
                line_voltage_v=line_voltage_v,
                rated_voltage_v=speaker.tap.voltage_v,
                low_limit_hz=catalogue.speaker(speaker.type_id).transformer.lf_limit_hz,
            )
        )
        for speaker in speakers
    )


def _as_chain(ways: Ways, order: tuple[int, ...], cost_m: float) -> Branches:
    """Write an order as a tree; places stay, parents follow the order."""
    parent = [-1] * (len(order) + 1)
    paths: list[tuple[int, ...]] = [()] * (len(order) + 1)
    before = 0
    for place in order:
        parent[place] = before
        paths[place] = ways.path(before, int(ways.point_node[place]))
        before = place
    return Branches(
        parent=tuple(parent), paths=tuple(paths), tee_node=(), cost_m=cost_m, bound_m=0.0
    )


def _just_inside(room: Room, point: Point) -> Point:
    """Move a point on a room's outline 0.2 m inward, so that no wall is counted at it."""
    shape = Polygon(room.outline, room.holes).buffer(-0.2)
    if shape.is_empty:
        return point
    near = shapely.shortest_line(PlanPoint(point), shape)
    x, y = near.coords[-1]
    return (round(float(x), 6), round(float(y), 6))
