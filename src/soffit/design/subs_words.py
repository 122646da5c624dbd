"""Say what was decided about subwoofers: findings, steps on site, rows for the papers."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from soffit.decibel import mean_energy_db, power_ratio_db
from soffit.design.subs_answer import SubDesign, SubOption, SubQuestion
from soffit.design.subs_level import low_end_of, third_octave_sensitivity_db
from soffit.design.subs_room import SubPlace
from soffit.errors import SoffitError
from soffit.model.findings import DEFER, Finding, Mend
from soffit.model.survey import Room
from soffit.tables.settings import Limits
from soffit.units import format_length, format_mass, format_surface_mass

_LOOSE: Final = frozenset({"light", "air outlet", "sign", "hatch", "fan", "detector", "other"})
_LOCATED_HZ: Final = 120.0
_OVER_DB: Final = 3.0
_LEAK_TOLD_DB: Final = 0.1
_DELAY_TOLD_DB: Final = 0.5


def place_text(place: SubPlace) -> str:
    """Return a place in a few words.

    Parameters
    ----------
    place
        The place.
    """
    if place.tile is not None:
        return f"tile {place.tile.column},{place.tile.row}"
    return f"x {place.position[0]:.2f} m, y {place.position[1]:.2f} m"


PlaceNamer = Callable[[SubPlace], str]
"""Words for a place; :func:`place_text` where nobody knows the walls."""


def _places_text(option: SubOption, name: PlaceNamer) -> str:
    return " and ".join(name(place) for place in option.places)


def low_end_refused(room: Room, error: SoffitError) -> Finding:
    """Return the finding that stands where the low end could not be computed.

    Parameters
    ----------
    room
        The room.
    error
        Why.
    """
    problem = error.problems[0]
    return Finding(
        code="SUB-10",
        severity="warn",
        place=room.label,
        place_key=room.key,
        room_key=room.key,
        what=f"low end not computed: {problem.what}",
        why=problem.why,
        do=problem.do,
    )


def find_subs(
    question: SubQuestion,
    design: SubDesign,
    *,
    limits: Limits,
    name: PlaceNamer = place_text,
    imperial: bool = False,
) -> tuple[Finding, ...]:
    """Word all that a person should know about the subwoofers of a room.

    Parameters
    ----------
    question
        What was asked.
    design
        What was decided.
    limits
        Settings in force, whose sources are named.
    name
        Words for a place.
    imperial
        Feet and pounds instead of metres and kilograms.

    Returns
    -------
    tuple of Finding
        In the order of their codes.
    """
    found = [
        *_worth(question, design, limits, name),
        *_level(question, design, name),
        *_cut_off(question, design, limits),
        *_rattle(question, design, limits, imperial=imperial),
        *_leak(question, design, limits),
        *_model(question, design),
        *_by_hand(question, design, limits, name),
        *_amplifier(question, design),
    ]
    return tuple(sorted(found, key=lambda finding: finding.code))


def _finding(  # noqa: PLR0913 (the parts of a finding)
    question: SubQuestion,
    code: str,
    *,
    what: str,
    do: str,
    warn: bool = False,
    limit: str = "",
    source: str = "",
    why: str = "",
    mends: tuple[Mend, ...] = (),
    caution: bool = False,
) -> Finding:
    return Finding(
        code=code,
        severity="warn" if warn else "note",
        place=question.room.label,
        place_key=question.room.key,
        room_key=question.room.key,
        what=what,
        do=f"{do} {DEFER}" if caution else do,
        limit=limit,
        limit_source=source,
        why=why,
        mends=mends,
        is_caution=caution,
    )


def _worth(
    question: SubQuestion, design: SubDesign, limits: Limits, name: PlaceNamer
) -> list[Finding]:
    tiles = design.tiles
    gain = tiles.median_db - tiles.best_db
    more = ""
    best = design.chosen.spread_db
    for option in design.options[:4]:
        if (
            option.words.startswith("best")
            and len(option.places) > len(design.chosen.places)
            and best - option.spread_db >= limits["lowfreq_gain_least_db"]
        ):
            more = f"; {option.words} would give {option.spread_db:.1f} dB"
            break
    return [
        _finding(
            question,
            "SUB-01",
            what=f"seat-to-seat deviation {best:.1f} dB from {_places_text(design.chosen, name)};"
            f" one tile gives {tiles.best_db:.1f} dB at best, {tiles.median_db:.1f} typically"
            f" and {tiles.worst_db:.1f} at worst of {tiles.free} free tiles{more}",
            why=f"from a tile taken blindly to the best one it is {gain:.1f} dB",
            do="use this tile if it costs nothing; do not move a duct for it",
        )
    ]


def _level(question: SubQuestion, design: SubDesign, name: PlaceNamer) -> list[Finding]:
    taps = design.chosen.taps
    if taps is None:
        return [
            _finding(
                question,
                "SUB-02",
                warn=True,
                what="no other speaker's level is known here, so the tap is not chosen",
                do="place the other speakers first, or set the tap by hand",
            )
        ]
    mark = f" ({taps.tap.mark})" if taps.tap.mark else ""
    what = (
        f"{taps.count} x tap {taps.tap.power_w:g} W{mark} puts the low band"
        f" {taps.tilt_db:+.1f} dB over the mid band; {design.tilt_asked_db:+.1f} dB asked take"
        f" {taps.needed_w:.1f} W"
    )
    limit = f"{design.tilt_asked_db:+.1f} dB"
    if not taps.is_enough:
        enough = next((o for o in design.options if o.taps is not None and o.taps.is_enough), None)
        cure = (
            f"use {len(enough.places)} subwoofers ({_places_text(enough, name)})"
            if enough is not None
            else f"not even {question.most} reach it: ask for less, or take a stronger type"
        )
        return [
            _finding(
                question,
                "SUB-02",
                warn=True,
                what=what,
                limit=limit,
                source=design.tilt_source,
                do=cure,
            )
        ]
    over = taps.tilt_db - design.tilt_asked_db
    if over > _OVER_DB:
        do = f"it is the smallest tap: turn the subwoofer's channel down by {over:.0f} dB"
    else:
        do = "set this tap, then trim by ear and meter within 3 dB"
    return [_finding(question, "SUB-02", what=what, limit=limit, source=design.tilt_source, do=do)]


def _cut_off(question: SubQuestion, design: SubDesign, limits: Limits) -> list[Finding]:
    usable = design.limit.usable_hz
    found = [
        _finding(
            question,
            "SUB-03",
            what=f"nothing useful below {usable:.0f} Hz: the {design.limit.reason} ends there"
            f" (driver {design.limit.driver_hz:.0f} Hz, transformer"
            f" {design.limit.transformer_hz:.0f} Hz at {question.line_voltage_v:.4g} V)",
            do=f"set a high-pass of {usable:.0f} Hz, or the next higher one that the channel"
            " offers, on the subwoofer's line; 24 dB/oct where there is a choice",
            source="transformer flux goes as U/f; slope: common practice, no source",
        )
    ]
    own = question.mains.low_limit_hz if question.mains is not None else 0.0
    high = design.crossover_hz > _LOCATED_HZ
    found.append(
        _finding(
            question,
            "SUB-04",
            warn=high,
            what=f"crossover {design.crossover_hz:.0f} Hz"
            + (f" (the other speakers end at {own:.0f} Hz)" if own else ""),
            limit=f"{_LOCATED_HZ:.0f} Hz" if high else "",
            source="common practice, no source: higher up an ear hears where it comes from"
            if high
            else limits.source("lowfreq_crossover_hz"),
            do=f"give the subwoofer a line and channel of its own: low-pass"
            f" {design.crossover_hz:.0f} Hz there, high-pass {design.crossover_hz:.0f} Hz on the"
            " other speakers' line, 24 dB/oct both, so that their transformers never see the lows;"
            " in a processor before the amplifiers where the channels have no such filters",
        )
    )
    return found


def _rattle(
    question: SubQuestion, design: SubDesign, limits: Limits, *, imperial: bool
) -> list[Finding]:
    low_end = low_end_of(question.sub_type)
    each_w = question.sub_type.delivered_w(design.chosen.taps.tap) if design.chosen.taps else 1.0
    near_db = float(
        mean_energy_db(third_octave_sensitivity_db(low_end, design.bands)) + power_ratio_db(each_w)
    )
    if near_db < limits["lowfreq_rattle_level_db"]:
        return []
    radius = limits["lowfreq_rattle_radius_m"]
    spots = np.array([place.position for place in design.chosen.places])
    loose = sorted(
        {
            obstacle.label or obstacle.kind
            for obstacle in question.obstacles
            if obstacle.kind in _LOOSE
            and np.min(np.hypot(*(spots - np.mean(obstacle.outline, axis=0)).T)) <= radius
        }
    )
    named = f" ({', '.join(loose)})" if loose else ""
    mass = [c.tile_mass_kg_m2 for c in question.room.ceilings if c.tile_mass_kg_m2]
    tile = f", tiles of {format_surface_mass(mass[0], imperial=imperial)}" if mass else ""
    return [
        _finding(
            question,
            "SUB-05",
            what=f"{near_db:.0f} dB at 1 m from the subwoofer with the line filled{tile}: loose"
            f" parts within {format_length(radius, imperial=imperial)} may rattle{named}",
            limit=f"{limits['lowfreq_rattle_level_db']:.0f} dB",
            source=limits.source("lowfreq_rattle_level_db"),
            do=f"carry its {format_mass(question.sub_type.mass_kg, imperial=imperial)} on the"
            " structure, clip the tiles round it, pad what touches the grid, and sweep a slow sine"
            " from 50 to 500 Hz at programme level before the scaffold goes.",
            caution=True,
        )
    ]


def _leak(question: SubQuestion, design: SubDesign, limits: Limits) -> list[Finding]:
    worst = max(design.rows, key=lambda row: row.leak_db)
    moved = (
        ""
        if question.is_measured or worst.leak_db < _LEAK_TOLD_DB
        else f"; what the ceiling loses to the void moves the level by up to {worst.leak_db:.1f} dB"
        f" at {worst.label} Hz"
    )
    return [
        _finding(
            question,
            "SUB-06",
            what=f"low notes pass a light ceiling into the void and on to neighbours and the floor"
            f" above{moved}; the level there is not computed",
            source=limits.source("lowfreq_leak_share"),
            do="listen next door and above while the sweep runs, and agree the level with them.",
            caution=True,
        )
    ]


def _model(question: SubQuestion, design: SubDesign) -> list[Finding]:
    found = []
    if design.notes:
        found.append(
            _finding(
                question,
                "SUB-07",
                warn=True,
                what=f"the room is no prism: {'; '.join(design.notes)}",
                why="modes of a sloped or stepped room lie some hertz off: the map is a guide",
                do="trust the ranking of tiles less; measure at the seats before the hole is cut",
            )
        )
    over = float(design.bands[-1]) > design.schroeder_hz
    found.append(
        _finding(
            question,
            "SUB-08",
            what=f"{design.model}, up to {design.valid_to_hz:.0f} Hz; above"
            f" {design.schroeder_hz:.0f} Hz (Schroeder) the statistical level serves"
            + (" and single seats can no longer be foretold there" if over else ""),
            source="2000 sqrt(T/V); Kuttruff, Room Acoustics (from memory)",
            do="read the map by thirds of an octave; it does not know furniture or doors",
        )
    )
    return found


def _by_hand(
    question: SubQuestion, design: SubDesign, limits: Limits, name: PlaceNamer
) -> list[Finding]:
    """Compare what hangs or was put by hand with the best of the same number."""
    option = next((o for o in design.options if o.words == "as placed by hand"), None)
    if option is None:
        return []
    best = next(
        (
            other
            for other in design.options
            if other.words.startswith("best") and len(other.places) == len(option.places)
        ),
        design.chosen,
    )
    gain = option.spread_db - best.spread_db
    louder = best.support_db - option.support_db
    is_worth_it = gain >= limits["lowfreq_gain_least_db"]
    mends = tuple(
        Mend(
            kind="move",
            target_key=key,
            value=f"{place.tile.column},{place.tile.row}",
            text=f"move to {name(place)}",
        )
        for key, place in zip(question.placed_keys, best.places, strict=False)
        if place.tile is not None and is_worth_it
    )
    return [
        _finding(
            question,
            "SUB-09",
            what=f"placed by hand: {option.spread_db:.1f} dB seat to seat;"
            f" {_places_text(best, name)}: {best.spread_db:.1f} dB ({gain:+.1f} dB better)"
            f" and {louder:+.1f} dB per watt",
            do=f"move it to {_places_text(best, name)}" if is_worth_it else "leave it",
            mends=mends,
        )
    ]


def _amplifier(question: SubQuestion, design: SubDesign) -> list[Finding]:
    taps = design.chosen.taps
    if taps is None:
        return []
    mains_w = float(np.sum(question.mains.power_w)) if question.mains is not None else 0.0
    share = f", beside {mains_w:.3g} W of taps of the other speakers" if mains_w else ""
    return [
        _finding(
            question,
            "SUB-11",
            what=f"with {taps.count} x tap {taps.tap.power_w:g} W the subwoofers draw"
            f" {taps.drawn_w:.0f} W from the line{share}",
            do="count them in the amplifier's load like any tap; music spends most of its watts"
            " down there",
        )
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteStep:
    """One step of setting a subwoofer on site.

    Parameters
    ----------
    title, do, proof
        What it is, what to do, and which reading proves it.
    """

    title: str
    do: str
    proof: str


def site_steps(design: SubDesign) -> tuple[SiteStep, ...]:
    """Return the steps that set and prove the low end, in order.

    Parameters
    ----------
    design
        What was decided.
    """
    cross = design.crossover_hz
    usable = design.limit.usable_hz
    steps = [
        SiteStep(
            title="Filters",
            do=f"Subwoofer channel: high-pass {usable:.0f} Hz, low-pass {cross:.0f} Hz. Other"
            f" speakers: high-pass {cross:.0f} Hz. 24 dB/oct each.",
            proof=f"With pink noise and the subwoofer off, the {cross:.0f} Hz third octave falls by"
            " about 6 dB or more against before.",
        )
    ]
    polarity = design.polarity
    label = polarity.band_label if polarity else f"{cross:.0f}"
    test = (
        f"Play pink noise in the third octave at {label}"
        " Hz and read the seats; amplifier off, swap the subwoofer's two cores, on again"
    )
    if polarity is None:
        steps.append(
            SiteStep(
                title="Polarity",
                do=f"{test}; keep the LOUDER at the seats.",
                proof="The meter at three seats, averaged: one polarity is louder.",
            )
        )
    else:
        louder = "as wired" if polarity.difference_db >= 0.0 else "swapped"
        sure = (
            f"The model expects it louder {louder}, by about {abs(polarity.difference_db):.0f} dB"
            " (the drivers' own phase is not in it)."
            if abs(polarity.difference_db) >= 1.0
            else "The model expects little difference: set the delay first, then test again."
        )
        steps.append(
            SiteStep(
                title="Polarity",
                do=f"{test}; keep the LOUDER at the seats.",
                proof=f"The meter at three seats, averaged. {sure}",
            )
        )
        who = "the subwoofer" if polarity.delay_s >= 0.0 else "the other speakers"
        steps.append(
            SiteStep(
                title="Delay",
                do=f"Start with {abs(polarity.delay_s) * 1000:.1f} ms on {who}; then try 1 ms"
                " either way and keep the louder. Rule of thumb: 1000 d/343 ms for d metres"
                " nearer.",
                proof=f"The third octave at {polarity.band_label} Hz rises by about"
                f" {polarity.gain_db:.0f} dB at the seats."
                if polarity.gain_db >= _DELAY_TOLD_DB
                else "The model expects nothing from a delay here; keep 0 ms if you hear nothing.",
            )
        )
    if design.settings is not None:
        words = "; ".join(
            f"no. {number}: {'swapped' if one.is_reversed else 'as wired'},"
            f" {one.delay_s * 1000:.1f} ms"
            for number, one in enumerate(design.settings.settings, 1)
        )
        steps.append(
            SiteStep(
                title="Subwoofers against each other",
                do=f"Polarity and delay of each channel: {words}.",
                proof=f"Seat-to-seat deviation {design.settings.spread_db:.1f} dB instead of"
                f" {design.settings.plain_spread_db:.1f} dB.",
            )
        )
    mean = float(mean_energy_db([row.level_db for row in design.rows]))
    taps = design.chosen.taps
    steps.append(
        SiteStep(
            title="Level",
            do="Pink noise, octave or third-octave meter, five seats. Trim the channel,"
            " not the tap.",
            proof=(
                f"Low band {design.tilt_asked_db:+.1f} dB over the octave at 1 kHz, same bandwidth,"
                " within 3 dB; "
                if taps is not None
                else ""
            )
            + "; ".join(f"{row.label} Hz {row.level_db - mean:+.0f} dB" for row in design.rows)
            + " against the low band's mean, with the channel flat.",
        )
    )
    steps.append(
        SiteStep(
            title="Listen",
            do="A walking bass line at programme level: no note should jump out or vanish at the"
            " seats, and the bass should not seem to come from one tile.",
            proof="A note that booms everywhere: cut it by filter. One that is missing at one seat:"
            " leave it.",
        )
    )
    steps.append(
        SiteStep(
            title="Rattle",
            do="Slow sine from 50 to 500 Hz at programme level; walk under every fixture.",
            proof="No buzz from tiles, lights, grilles, back box, safety wire.",
        )
    )
    return tuple(steps)
