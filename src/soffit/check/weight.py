"""Findings about what carries a speaker, and what catches it."""

from typing import Final

from soffit.check.kit import Check, Context, at_room, at_speaker, count_text
from soffit.evaluate.ceiling import RESTING, SpeakerFit, support_kind
from soffit.evaluate.ceiling_runners import span_groups
from soffit.model.findings import Finding
from soffit.model.survey import Ceiling
from soffit.units import format_force, format_surface_mass


def _ceiling(context: Context, fit: SpeakerFit) -> Ceiling:
    return context.job.survey.ceiling(fit.room_key, fit.ceiling_key)


def _rests_on_grid(context: Context, fit: SpeakerFit) -> bool:
    support = context.job.catalogue.speaker(fit.type_id).support
    return _ceiling(context, fit).kind == "grid" and support in RESTING


def _support_kind(context: Context, fit: SpeakerFit) -> str:
    return support_kind(context.job.catalogue.speaker(fit.type_id), _ceiling(context, fit))


def _grouped(fits: list[SpeakerFit]) -> list[tuple[str, str, list[SpeakerFit]]]:
    groups: dict[tuple[str, str], list[SpeakerFit]] = {}
    for fit in fits:
        groups.setdefault((fit.room_key, fit.type_id), []).append(fit)
    return [(room, type_id, members) for (room, type_id), members in groups.items()]


def _room_label(context: Context, key: str) -> str:
    return context.job.survey.room(key).label


def _drop_text(context: Context, fits: list[SpeakerFit]) -> str:
    """Say how far wires must reach where units hang by them."""
    lengths = [fit.safety_length_m for fit in fits if fit.safety_length_m is not None]
    if _support_kind(context, fits[0]) != "suspension" or not lengths:
        return ""
    drop = max(lengths) - context.limits["safety_slack_m"]
    return f", {context.long(drop)} under the structure"


def _no_support(context: Context) -> list[Finding]:
    fits = [fit for fit in context.states.ceiling.speakers if not fit.support_id]
    return [
        at_room(
            room,
            _room_label(context, room),
            f"no {_support_kind(context, members[0])} of the catalogue carries"
            f" {type_id} ({context.mass(members[0].mass_kg)}) and fits this ceiling"
            f"{_drop_text(context, members)}; {count_text(len(members), 'unit')}",
            limit=context.mass(members[0].mass_kg),
        )
        for room, type_id, members in _grouped(fits)
    ]


def _light_grid(context: Context) -> list[Finding]:
    fits = [
        fit
        for fit in context.states.ceiling.speakers
        if _rests_on_grid(context, fit) and _load_class(context, fit) == "light"
    ]
    return [
        at_room(
            room,
            _room_label(context, room),
            f"its grid is of the light class, made for tiles only;"
            f" {count_text(len(members), 'unit')} of {type_id} would rest on it",
            limit="no fixtures on light grids",
        )
        for room, type_id, members in _grouped(fits)
    ]


def _load_class(context: Context, fit: SpeakerFit) -> str:
    grid = _ceiling(context, fit).grid
    return "" if grid is None else grid.load_class


def _over_grid(context: Context) -> list[Finding]:
    fits = [
        fit
        for fit in context.states.ceiling.speakers
        if fit.grid_capacity_kg is not None
        and _rests_on_grid(context, fit)
        and _load_class(context, fit) in {"intermediate", "heavy"}
        and fit.mass_kg > fit.grid_capacity_kg
    ]
    return [
        at_room(
            room,
            _room_label(context, room),
            f"{count_text(len(members), 'unit')} of {type_id} weighing"
            f" {context.mass(members[0].mass_kg)}: the grid can carry"
            f" {context.mass(members[0].grid_capacity_kg or 0.0)} at mid-span, tiles taken off",
            limit=context.mass(members[0].grid_capacity_kg or 0.0),
        )
        for room, type_id, members in _grouped(fits)
    ]


def _shared_span(context: Context) -> list[Finding]:
    resting: dict[tuple[str, str], list[SpeakerFit]] = {}
    for fit in context.states.ceiling.speakers:
        if (
            fit.grid_capacity_kg is not None
            and _rests_on_grid(context, fit)
            and _load_class(context, fit) in {"intermediate", "heavy"}
        ):
            resting.setdefault((fit.room_key, fit.ceiling_key), []).append(fit)
    findings = []
    for (room, _), fits in resting.items():
        groups = span_groups(
            _ceiling(context, fits[0]), fits, hanger_spacing_m=context.limits["hanger_spacing_m"]
        )
        over = [group for group in groups if group.is_over]
        if not over:
            continue
        worst, more = over[0], len(over) - 1
        others = f"; {count_text(more, 'more such group')}" if more else ""
        findings.append(
            at_room(
                room,
                _room_label(context, room),
                f"{', '.join(worst.labels)} may rest on one span of a main runner:"
                f" {context.mass(worst.mass_kg)} together{others}",
                limit=context.mass(worst.capacity_kg),
            )
        )
    return findings


def _unknown_grid(context: Context) -> list[Finding]:
    fits = [
        fit
        for fit in context.states.ceiling.speakers
        if _rests_on_grid(context, fit) and _load_class(context, fit) == "unknown"
    ]
    return [
        at_room(
            room,
            _room_label(context, room),
            f"nobody knows the class of its grid; {count_text(len(members), 'unit')} of"
            f" {context.mass(members[0].mass_kg)} would rest on it",
            limit="a known class",
        )
        for room, _, members in _grouped(fits)
    ]


def _heavy_ceiling(context: Context) -> list[Finding]:
    most = context.limits["ceiling_load_most_kg_m2"]
    return [
        at_room(
            load.room_key,
            _room_label(context, load.room_key),
            f"ceiling {load.ceiling_key!r} with everything on it weighs"
            f" {format_surface_mass(load.load_kg_m2, imperial=context.is_imperial)}",
            limit=format_surface_mass(most, imperial=context.is_imperial),
        )
        for load in context.states.ceiling.ceilings
        if load.load_kg_m2 > most
    ]


def _seismic_wires(context: Context) -> list[Finding]:
    fits = [
        fit
        for fit in context.states.ceiling.speakers
        if fit.seismic is not None and fit.seismic.carried_by == "grid"
    ]
    return [
        at_room(
            room,
            _room_label(context, room),
            f"{count_text(len(members), 'unit')} of {type_id}"
            f" ({context.mass(members[0].mass_kg)}): {_wires(members[0])}",
            limit=f"seismic design category {context.job.survey.site.seismic_category}",
        )
        for room, type_id, members in _grouped(fits)
    ]


def _wires(fit: SpeakerFit) -> str:
    if fit.seismic is not None and fit.seismic.wires > 1:
        return "each needs two slack 12 ga wires to the structure, at opposite corners"
    return "each needs one slack 12 ga wire to the structure"


def _seismic_independent(context: Context) -> list[Finding]:
    return [
        at_speaker(
            fit,
            f"weighs {context.mass(fit.mass_kg)}: the structure carries it, not the grid",
            limit="56 lb (25.4 kg) on the grid",
        )
        for fit in context.states.ceiling.speakers
        if fit.seismic is not None
        and fit.seismic.carried_by == "independent"
        and _rests_on_grid(context, fit)
    ]


def _assumed_tiles(context: Context) -> list[Finding]:
    return [
        at_room(
            load.room_key,
            _room_label(context, load.room_key),
            f"nobody weighed its tiles; {_taken_tile_mass(context)} is taken",
            limit="a weighed tile",
        )
        for load in context.states.ceiling.ceilings
        if load.tile_mass_is_assumed and load.units_mass_kg > 0.0
    ]


def _taken_tile_mass(context: Context) -> str:
    return format_surface_mass(context.limits["tile_mass_kg_m2"], imperial=context.is_imperial)


def _no_wire(context: Context) -> list[Finding]:
    fits = [fit for fit in context.states.ceiling.speakers if not fit.safety_wire_id]
    return [
        at_room(
            room,
            _room_label(context, room),
            f"no safety wire of the catalogue is long and strong enough for {type_id}: it needs"
            f" {_wire_text(context, members)} and a breaking load of"
            f" {format_force(members[0].safety_breaking_n, imperial=context.is_imperial)}",
            limit=f"{context.limits['safety_factor']:g} : 1",
        )
        for room, type_id, members in _grouped(fits)
    ]


def _wire_text(context: Context, fits: list[SpeakerFit]) -> str:
    lengths = [fit.safety_length_m for fit in fits if fit.safety_length_m is not None]
    return context.long(max(lengths)) if lengths else "a length that nobody has measured"


def _unknown_structure(context: Context) -> list[Finding]:
    fits = [fit for fit in context.states.ceiling.speakers if fit.safety_length_m is None]
    rooms: dict[str, int] = {}
    for fit in fits:
        rooms[fit.room_key] = rooms.get(fit.room_key, 0) + 1
    return [
        at_room(
            room,
            _room_label(context, room),
            f"the height of its structure is unknown, so the safety wires of"
            f" {count_text(count, 'unit')} have no length",
            limit="a measured structure",
        )
        for room, count in rooms.items()
    ]


def _is_framed(context: Context, fit: SpeakerFit) -> bool:
    """Whether a frame to the joists, strong enough, is planned for it."""
    return bool(fit.support_id) and context.job.catalogue.hardware(fit.support_id).kind == "frame"


def _heavy_on_board(context: Context) -> list[Finding]:
    most = context.limits["board_unit_most_kg"]
    fits = [
        fit
        for fit in context.states.ceiling.speakers
        if _ceiling(context, fit).kind == "plasterboard"
        and context.job.catalogue.speaker(fit.type_id).support != "suspension"
        and fit.mass_kg > most
        and not _is_framed(context, fit)
    ]
    return [
        at_room(
            room,
            _room_label(context, room),
            f"{count_text(len(members), 'unit')} of {type_id}, {context.mass(members[0].mass_kg)}"
            " each: plasterboard alone does not carry that",
            limit=context.mass(most),
        )
        for room, type_id, members in _grouped(fits)
    ]


def _not_short(context: Context) -> list[Finding]:
    most = context.limits["safety_drop_most_m"]
    findings = []
    for room, type_id, members in _grouped(
        [fit for fit in context.states.ceiling.speakers if fit.safety_wire_id]
    ):
        spare = [
            (context.job.catalogue.hardware(fit.safety_wire_id).length_m - fit.safety_length_m, fit)
            for fit in members
            if fit.safety_length_m is not None
        ]
        if not spare:
            continue
        longest, fit = max(spare, key=lambda pair: pair[0])
        fall = context.limits["safety_slack_m"] + longest
        if fall > most:
            wire = context.job.catalogue.hardware(fit.safety_wire_id)
            findings.append(
                at_room(
                    room,
                    _room_label(context, room),
                    f"{wire.id} at its full length leaves {type_id} {context.fine(fall)} to fall:"
                    f" fix it at {context.long(fit.safety_length_m or 0.0)}, as the cards say",
                    limit=f"{context.fine(most)} at most",
                )
            )
    return findings


CHECKS: Final = (
    Check(
        code="WEIGHT-01",
        severity="stop",
        title="Nothing in the catalogue carries it",
        why="The tile carries nothing: without rails, bridge, bracket or suspension of its own the"
        " unit hangs on its trim.",
        do="add a mounting part that fits the grid and carries the unit, or choose a lighter type",
        find=_no_support,
        is_caution=True,
        no_mend="mounting parts are entered in the catalogue by a person who has their label",
    ),
    Check(
        code="WEIGHT-02",
        severity="stop",
        title="Light grid",
        why="Light-duty grids are made for tiles only, not for fixtures.",
        do="carry the units from the structure, or have the grid replaced",
        find=_light_grid,
        source="ASTM C635/C635M-17, 4.1.3",
        is_caution=True,
        no_mend="what carries a unit past a grid is a structural decision",
    ),
    Check(
        code="WEIGHT-03",
        severity="stop",
        title="Heavier than the grid carries",
        why="The runner bends past L/360 with tiles and unit on it.",
        do="hang the unit from the structure, add hangers beside it, or choose a lighter type",
        find=_over_grid,
        limits=("hanger_spacing_m",),
        source="ASTM C635/C635M-17, 4.1.2; loads of Table 1 from memory; point load derived",
        is_caution=True,
        no_mend="what carries a unit past a grid is a structural decision",
    ),
    Check(
        code="WEIGHT-04",
        severity="warn",
        title="Class of the grid unknown",
        why="A light grid carries no fixtures at all.",
        do="read the maker's mark on a runner and write load_class",
        find=_unknown_grid,
        source="ASTM C635/C635M-17, 4.1.3",
        is_caution=True,
        no_mend="only a person on site can read the mark",
    ),
    Check(
        code="WEIGHT-05",
        severity="stop",
        title="Ceiling too heavy",
        why="The usual prescriptive rules for suspended ceilings end there; above, an engineer"
        " designs it.",
        do="choose lighter units, or have a structural engineer look at it",
        find=_heavy_ceiling,
        limits=("ceiling_load_most_kg_m2",),
        is_caution=True,
        no_mend="a structural decision",
    ),
    Check(
        code="WEIGHT-06",
        severity="note",
        title="Seismic wires",
        why="In these categories every fixture in a grid gets slack wires of its own.",
        do="fix the wires to the structure as the cards say",
        find=_seismic_wires,
        source="ASTM E580/E580M as city plan-check sheets retell it",
        is_caution=True,
        no_mend="it is work to do, not a thing to change",
    ),
    Check(
        code="WEIGHT-07",
        severity="stop",
        title="Seismic: carried by the structure",
        why="Fixtures over 56 lb are carried by the structure and not by the grid.",
        do="hang the unit from the structure by its own rods or wires",
        find=_seismic_independent,
        source="ASTM E580/E580M as city plan-check sheets retell it",
        is_caution=True,
        no_mend="a structural decision",
    ),
    Check(
        code="WEIGHT-08",
        severity="note",
        title="Mass of the tiles assumed",
        why="What the tiles weigh is taken off what the grid carries.",
        do="weigh a tile and write tile_mass",
        find=_assumed_tiles,
        limits=("tile_mass_kg_m2",),
        no_mend="only a person on site can weigh it",
    ),
    Check(
        code="WEIGHT-09",
        severity="warn",
        title="No safety wire fits",
        why="Without a second support to the structure a failed clamp drops the unit on people.",
        do="add a safety wire that is long and strong enough to the catalogue",
        find=_no_wire,
        limits=("safety_factor", "safety_label_factor"),
        is_caution=True,
        no_mend="mounting parts are entered in the catalogue by a person who has their label",
    ),
    Check(
        code="WEIGHT-10",
        severity="warn",
        title="Structure not measured",
        why="Safety wires go to the structure, and nobody knows how far that is.",
        do="measure up to the structure and write structure_height",
        find=_unknown_structure,
        is_caution=True,
        no_mend="only a person on site can measure it",
    ),
    Check(
        code="WEIGHT-11",
        severity="warn",
        title="Too heavy for plasterboard alone",
        why="The board sags and cracks around the hole, and no frame of the catalogue carries it to"
        " the joists.",
        do="put bearers across the joists, or use a bracket fixed to them",
        find=_heavy_on_board,
        limits=("board_unit_most_kg",),
        is_caution=True,
        no_mend="what carries the unit is fixed on site",
    ),
    Check(
        code="WEIGHT-12",
        severity="note",
        title="Safety wire has too much slack",
        why="A long fall breaks a wire that would have held a short one.",
        do="shorten the wire at the structure",
        find=_not_short,
        limits=("safety_drop_most_m",),
        is_caution=True,
        no_mend="it is set on site",
    ),
    Check(
        code="WEIGHT-13",
        severity="stop",
        title="Units on one runner span too heavy together",
        why="Each alone would do, but masses on one span of a main runner add up. Where hangers and"
        " main runners are is not surveyed, so units closer than a span along the runners, and"
        " closer than the runners' spacing across them, are taken to share one span, all at its"
        " middle.",
        do="move one of them a span away, add hangers beside them, or hang them from the structure",
        find=_shared_span,
        limits=("hanger_spacing_m",),
        source="ASTM C635/C635M-17, 4.1.2; loads of Table 1 from memory; point load derived",
        is_caution=True,
        no_mend="what carries a unit past a grid is a structural decision",
    ),
)
