"""One line laid out: a chain or a tree of stops, with the ways between them."""

from collections.abc import Sequence
from dataclasses import dataclass

from soffit.design.route_field import Base, Field, Stop
from soffit.design.route_graph import Way, Ways
from soffit.design.route_order import choose_order, nearest_neighbour
from soffit.design.route_tree import Branches, free_tees, tees_at_speakers
from soffit.model.decisions import Survey
from soffit.model.lines import Joint, Topology
from soffit.model.speakers import Speaker
from soffit.tables.settings import Limits

_COMPARED_SPEAKERS = 80
"""Up to here all topologies are laid for comparison."""

_NAMES: dict[Topology, str] = {
    "chain": "a chain",
    "tees": "tees at loudspeakers",
    "free tees": "tees wherever they can be reached",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A tree of stops with the ways between them; place 0 is the rack.

    Parameters
    ----------
    topology
        How it branches.
    stops
        Rack first.
    parent
        What feeds each stop; -1 for the rack.
    ways
        Way from the feeder to each stop; ``None`` for the rack.
    extra_m
        Cable of the run to each stop that is not in its way: a rise between storeys. [m]
    note
        What is proven, in words.
    """

    topology: Topology
    stops: tuple[Stop, ...]
    parent: tuple[int, ...]
    ways: tuple[Way | None, ...]
    extra_m: tuple[float, ...]
    note: str

    def lengths_m(self, limits: Limits) -> tuple[float, ...]:
        """Return the cable in the run to each stop, 0 for the rack.

        Parameters
        ----------
        limits
            Slack and loops.
        """
        lengths = [0.0]
        for place in range(1, len(self.stops)):
            way, feeder = self.ways[place], self.stops[self.parent[place]]
            plan = way.length_m if way else 0.0
            laid = plan * (1.0 + limits["route_slack_ratio"])
            laid += feeder.rise_m + self.stops[place].rise_m + self.extra_m[place]
            lengths.append(round(max(laid, 0.05), 3))
        return tuple(lengths)


def rise_m(survey: Survey, speaker: Speaker, limits: Limits) -> float:
    """Cable from a loudspeaker to the level where cable is hung, with its service loop.

    Parameters
    ----------
    survey
        Rooms and their ceilings.
    speaker
        The loudspeaker.
    limits
        Void rise and service loop where the survey says nothing.

    Returns
    -------
    float
        Length at each cable end. [m]
    """
    ceiling = survey.ceiling(speaker.room_key, speaker.ceiling_key)
    hang = max(ceiling.height_m - speaker.mount_height_m, 0.0)
    if ceiling.kind == "open":
        void = 0.0
    else:
        known = ceiling.void_depth_m
        void = limits["void_rise_m"] if known is None else known
    return hang + void + limits["service_loop_m"]


def lay(base: Base, field: Field, part: Sequence[int]) -> Laid:
    """Lay a line the way the job asks for; a hand-fixed order makes it a chain.

    Parameters
    ----------
    base
        The job.
    field
        Ways over the ceilings.
    part
        Places of its loudspeakers.

    Returns
    -------
    Laid
        Stops and ways.
    """
    fixed = _fixed_places(base, field, part)
    topology: Topology = base.survey.site.topology if not fixed else "chain"
    return lay_as(base, field, part, topology, fixed=fixed)


def _fixed_places(base: Base, field: Field, part: Sequence[int]) -> tuple[int, ...]:
    held = [place for place in part if field.speaker(place).fixed_order]
    rank = {
        key: (number, place)
        for number, line in enumerate(base.previous.lines)
        for place, key in enumerate(line.speaker_keys)
    }
    last = (len(rank), 0)
    held.sort(key=lambda place: rank.get(field.speaker(place).key, last))
    return tuple(list(part).index(place) + 1 for place in held)


def lay_as(
    base: Base,
    field: Field,
    part: Sequence[int],
    topology: Topology,
    *,
    fixed: tuple[int, ...] = (),
) -> Laid:
    """Lay a line in one topology.

    Parameters
    ----------
    base
        The job.
    field
        Ways over the ceilings.
    part
        Places of its loudspeakers.
    topology
        Chain, tees at loudspeakers, or free tees.
    fixed
        Places in the line, from 1, whose order was fixed by hand.

    Returns
    -------
    Laid
        Stops and ways.
    """
    ways = field.ways.only([field.start, *part])
    branches, note = _branches(base, ways, field, topology, fixed)
    return _with_stops(base, field, part, topology, branches=branches, note=note)


def _with_stops(
    base: Base,
    field: Field,
    part: Sequence[int],
    topology: Topology,
    *,
    branches: Branches,
    note: str,
) -> Laid:
    ways = field.ways.only([field.start, *part])
    stops = [field.control or field.root]
    stops += [_speaker_stop(base, field.speaker(place)) for place in part]
    stops += [_tee_stop(ways, node, field.group.storey_key) for node in branches.tee_node]
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
    base: Base, ways: Ways, field: Field, topology: Topology, fixed: tuple[int, ...]
) -> tuple[Branches, str]:
    most = round(base.limits["terminal_cables_most"])
    if topology == "tees":
        tree = tees_at_speakers(ways, most_runs=most)
        gap = 1.0 - tree.bound_m / tree.cost_m if tree.cost_m else 0.0
        text = "proven the shortest tree" if gap < 1e-6 else f"within {gap:.1%} of the shortest"
        return tree, f"tees at loudspeakers, {text}"
    if topology == "free tees":
        tree = free_tees(
            ways,
            reachable=field.reachable,
            tee_price_m=base.limits["tee_price_m"],
            most_runs=most,
        )
        return tree, "tees where they save cable and can be reached; no bound computed"
    order = choose_order(ways.cost_m, fixed=fixed, seed=base.seed)
    text = f"{order.text()}, walls and bends priced"
    if fixed:
        text += ", with the order fixed by hand"
    return as_chain(ways, order.order, order.cost_m), text


def _speaker_stop(base: Base, speaker: Speaker) -> Stop:
    return Stop(
        key=speaker.key,
        position=speaker.position,
        rise_m=rise_m(base.survey, speaker, base.limits),
        speaker=speaker,
    )


def _tee_stop(ways: Ways, node: int, storey_key: str) -> Stop:
    x, y = ways.node_xy[node]
    position = (round(float(x), 6), round(float(y), 6))
    key = f"tee {node}"
    joint = Joint(key=key, label="", position=position, storey_key=storey_key, kind="tee")
    return Stop(key=key, position=position, rise_m=0.3, joint=joint)


def other_lengths_m(base: Base, field: Field, laid: Laid) -> tuple[tuple[str, float], ...]:
    """Measure the cable that the other topologies, and the order taken by hand, would need.

    Parameters
    ----------
    base
        The job.
    field
        Ways over the ceilings.
    laid
        The line as laid.

    Returns
    -------
    tuple
        Name and cable of each; empty for very long lines. [m]
    """
    place_of = {field.speaker(place).key: place for place in field.places}
    part = [place_of[stop.key] for stop in laid.stops if stop.speaker]
    if len(part) > _COMPARED_SPEAKERS:
        return ()
    found = [
        (name, lay_as(base, field, part, topology))
        for topology, name in _NAMES.items()
        if topology != laid.topology
    ]
    ways = field.ways.only([field.start, *part])
    by_hand = as_chain(ways, nearest_neighbour(ways.cost_m), 0.0)
    hand = _with_stops(base, field, part, "chain", branches=by_hand, note="")
    found.append(("a chain always to the nearest", hand))
    return tuple((name, round(sum(one.lengths_m(base.limits)), 2)) for name, one in found)


def as_chain(ways: Ways, order: tuple[int, ...], cost_m: float) -> Branches:
    """Write an order as a tree; places stay, parents follow the order.

    Parameters
    ----------
    ways
        Ways between rack (place 0) and loudspeakers.
    order
        Places from the rack outward.
    cost_m
        Priced length. [m]

    Returns
    -------
    Branches
        Chain.
    """
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
