"""Decide on subwoofers of a room: how many, in which tiles, on which tap, cut off where.

:func:`choose_subs` takes the room's records and returns one complete :class:`SubDesign` with its
findings; it reads nothing and asks nobody.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.acoustics.lowfreq import (
    DECAY_NEPER,
    schroeder_hz,
)
from soffit.acoustics.lowfreq_loudness import loudness_tilt_db
from soffit.acoustics.lowfreq_seats import (
    low_tones,
    third_octave_levels_db,
)
from soffit.decibel import field_ratio, mean_energy_db, power_ratio_db
from soffit.design.subs_answer import (
    BandRow,
    LowMap,
    SpreadOfTiles,
    SubDesign,
    SubOption,
    SubQuestion,
)
from soffit.design.subs_field import LowField, low_decay_per_s, solve_low_field
from soffit.design.subs_level import (
    PolarityTest,
    TapPlan,
    low_band_level_db,
    low_end_of,
    low_limit,
    plan_taps,
    predict_polarity,
    third_octave_sensitivity_db,
    used_bands,
)
from soffit.design.subs_room import (
    SubPlace,
    map_lattice,
    places_wished,
    positions_of,
    reference_places,
)
from soffit.design.subs_search import (
    TileChoice,
    TileSearch,
    choose_settings,
    choose_tiles,
    judge_tiles,
)
from soffit.errors import NoSolutionError
from soffit.tables.settings import DEFAULT_LIMITS, Limits

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

MOST_CANDIDATES: Final = 700
"""Candidates kept where a lattice is finer than low notes can tell; every pair of them is tried."""

_SEED: Final = 20260
_CELL_M: Final = 0.3
_MUSIC: Final = ("background music", "foreground music")


def _thinned(places: tuple[SubPlace, ...]) -> tuple[SubPlace, ...]:
    """One candidate per cell, of a lattice that is finer than low notes can tell."""
    kept, cell_m = places, _CELL_M
    while len(kept) > MOST_CANDIDATES:
        cells = np.floor(positions_of(places) / cell_m).astype(np.int64)
        _, first = np.unique(cells, axis=0, return_index=True)
        kept = tuple(places[index] for index in np.sort(first))
        cell_m *= 1.1
    return kept


def _tilt(question: SubQuestion, bands: tuple[str, ...], limits: Limits) -> tuple[float, str]:
    """Low over mid band to aim at, and where that comes from."""
    brief = question.room.brief
    if brief.low_tilt_db is not None:
        return brief.low_tilt_db, "asked in the brief"
    if brief.programme not in _MUSIC:
        return 0.0, "flat for speech (common practice, no source)"
    mix = limits["lowfreq_mix_phon"]
    heard = question.listening_dba if question.listening_dba is not None else mix - 10.0
    heard = min(max(heard, 20.0), 90.0)
    tilt = loudness_tilt_db(
        frequency_hz=[float(label) for label in bands], mix_phon=mix, listening_phon=heard
    )
    return tilt, (
        f"ISO 226:2003 contours (from memory) between {mix:.0f} phon at the mix"
        f" and {heard:.0f} phon here"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Levels:
    """What the level at the seats is judged with."""

    sensitivity_db: FloatArray
    wanted_db: float | None
    tilt_db: float


def _taps(
    question: SubQuestion,
    together: ComplexArray,
    solved: LowField,
    levels: _Levels,
    count: int,
    limits: Limits,
) -> TapPlan | None:
    if levels.wanted_db is None:
        return None
    seat_level = third_octave_levels_db(together, solved.tones) - power_ratio_db(count)
    one_watt = low_band_level_db(
        sensitivity_db=levels.sensitivity_db, seat_level_db=seat_level, power_w=1.0
    )
    plan = plan_taps(
        sub_type=question.sub_type,
        line_voltage_v=question.line_voltage_v,
        count=count,
        level_at_1_w_db=one_watt,
        wanted_db=levels.wanted_db,
        tolerance_db=limits["lowfreq_tilt_tolerance_db"],
    )
    return replace(plan, tilt_db=plan.tilt_db + levels.tilt_db)


def _options(
    question: SubQuestion,
    search: TileSearch,
    solved: LowField,
    levels: _Levels,
    limits: Limits,
) -> tuple[SubOption, ...]:
    numbers = ("one tile", "two tiles", "three tiles", "four tiles")
    options: list[SubOption] = []

    def add(
        words: str, choice: TileChoice, places: tuple[SubPlace, ...], field_: ComplexArray
    ) -> None:
        options.append(
            SubOption(
                words=words,
                places=places,
                spread_db=choice.spread_db,
                support_db=choice.support_db,
                smoothness_db=choice.smoothness_db,
                taps=_taps(question, field_, solved, levels, len(places), limits),
                is_proven=choice.is_proven,
            )
        )

    for choice, words in zip(search.best, numbers, strict=False):
        add(
            f"best {words}",
            choice,
            tuple(question.places[tile] for tile in choice.tiles),
            solved.transfer[list(choice.tiles)].sum(axis=0),
        )
    for words, index in reference_places(solved.shape, positions_of(question.places)):
        choice = judge_tiles(solved.transfer, (index,))
        add(words, choice, (question.places[index],), solved.transfer[index])
    if question.placed:
        by_hand = solved.from_points(
            np.array(question.placed), solved.seats, solved.tones, solved.decay
        )
        choice = judge_tiles(by_hand, tuple(range(len(by_hand))))
        places = tuple(SubPlace(position=place) for place in question.placed)
        add("as placed by hand", choice, places, by_hand.sum(axis=0))
    return tuple(options)


def _wanted_count(question: SubQuestion, options: tuple[SubOption, ...], most: int) -> int:
    """Fewest subwoofers whose taps reach the tilt; a person's number comes first."""
    if question.count is not None:
        return question.count
    for number, option in enumerate(options[:most], 1):
        if option.taps is None or option.taps.is_enough:
            return number
    return 1


def _rows(
    question: SubQuestion,
    solved: LowField,
    chosen: SubOption,
    together: ComplexArray,
    levels: _Levels,
    limits: Limits,
) -> tuple[BandRow, ...]:
    each_w = question.sub_type.delivered_w(chosen.taps.tap) if chosen.taps else 1.0
    lift = levels.sensitivity_db + power_ratio_db(each_w)
    seat_level = third_octave_levels_db(together, solved.tones) + lift
    mean = np.asarray(mean_energy_db(seat_level, axis=0))
    low, high = np.percentile(seat_level - mean, [2.5, 97.5], axis=0)
    before = None
    if question.placed:
        placed = solved.from_points(
            np.array(question.placed), solved.seats, solved.tones, solved.decay
        ).sum(axis=0)
        before = np.std(third_octave_levels_db(placed, solved.tones), axis=0)
    leaks = []
    for share in (0.0, 1.0):
        decay = low_decay_per_s(question, solved.tones, solved.height_m, share, limits)
        moved = solved.from_points(
            positions_of(chosen.places), solved.seats, solved.tones, decay
        ).sum(axis=0)
        level = third_octave_levels_db(moved, solved.tones) + lift
        leaks.append(np.asarray(mean_energy_db(level, axis=0)))
    leak = np.max(np.abs(np.array(leaks) - mean), axis=0)
    return tuple(
        BandRow(
            label=label,
            level_db=float(mean[n]),
            spread_db=float(np.std(seat_level[:, n])),
            low_db=float(low[n]),
            high_db=float(high[n]),
            before_spread_db=None if before is None else float(before[n]),
            leak_db=float(leak[n]),
        )
        for n, label in enumerate(solved.tones.labels)
    )


def _low_map(solved: LowField, places: tuple[SubPlace, ...], together: ComplexArray) -> LowMap:
    x, y, inside = map_lattice(solved.shape)
    heights, seats = np.unique(solved.seats[:, 2], return_counts=True)
    height = float(heights[np.argmax(seats)])
    rows, columns = np.nonzero(inside)
    ears = np.column_stack([x[columns], y[rows], np.full(rows.size, height)])
    level = np.full((len(solved.tones.labels), y.size, x.size), np.nan)
    mean = mean_energy_db(third_octave_levels_db(together, solved.tones), axis=0)
    if rows.size:
        heard = solved.from_points(positions_of(places), ears, solved.tones, solved.decay)
        points = third_octave_levels_db(heard.sum(axis=0), solved.tones) - mean
        level[:, rows, columns] = points.T
    return LowMap(x_m=x, y_m=y, ear_height_m=height, labels=solved.tones.labels, level_db=level)


def _polarity(
    question: SubQuestion,
    solved: LowField,
    chosen: SubOption,
    levels: _Levels,
    crossover_hz: float,
    limits: Limits,
) -> PolarityTest | None:
    mains = question.mains
    if mains is None or not len(mains.position_m) or chosen.taps is None:
        return None
    label = min(solved.tones.labels, key=lambda name: abs(float(name) - crossover_hz))
    band = solved.tones.labels.index(label)
    tones = low_tones(low_hz=float(label), high_hz=float(label), per_band=solved.tones.per_band)
    decay = solved.tones.by_band(solved.decay)[band]
    sub = solved.from_points(positions_of(chosen.places), solved.seats, tones, decay).sum(axis=0)
    sub_gain = float(
        field_ratio(
            levels.sensitivity_db[band]
            + power_ratio_db(question.sub_type.delivered_w(chosen.taps.tap))
        )
    )
    gains = field_ratio(mains.sensitivity_db + power_ratio_db(mains.power_w))
    others = solved.from_points(mains.position_m, solved.seats, tones, decay)
    return predict_polarity(
        sub_pressure=sub * sub_gain,
        mains_pressure=np.tensordot(gains, others, axes=1),
        frequency_hz=tones.frequency_hz,
        band_label=label,
        delay_most_s=limits["lowfreq_delay_most_s"],
    )


def crossover_hz_of(question: SubQuestion, limits: Limits) -> float:
    """Crossover: the setting, or the other speakers' own limit where that is higher. [Hz].

    Parameters
    ----------
    question
        The room.
    limits
        Settings in force.
    """
    own = question.mains.low_limit_hz if question.mains is not None else 0.0
    return max(limits["lowfreq_crossover_hz"], own)


def choose_subs(question: SubQuestion, *, limits: Limits = DEFAULT_LIMITS) -> SubDesign:
    """Choose tiles, number and tap of subwoofers for one room.

    Parameters
    ----------
    question
        The room and all that the choice depends on.
    limits
        Settings in force.

    Returns
    -------
    SubDesign
        The complete answer; :func:`soffit.design.subs_words.find_subs` words it.

    Raises
    ------
    DomainError
        If T is missing, the type has no low-frequency data, or the ceiling lies under the ears.
    NoSolutionError
        If there is no free tile, no seat, no tap at the line's voltage, or the plan is too large.
    """
    low_end = low_end_of(question.sub_type)
    if not question.places:
        msg = f"{question.room.label}: no free tile takes the {question.sub_type.id}"
        raise NoSolutionError(
            msg,
            where=f"rooms.{question.room.key}.ceilings",
            why="obstacles, cut tiles, other speakers or a shallow void hold all of them",
            do="free a tile, allow border tiles, or choose a smaller subwoofer",
        )
    taps = question.sub_type.taps_at(question.line_voltage_v)
    limit = low_limit(
        sub_type=question.sub_type,
        line_voltage_v=question.line_voltage_v,
        tap=(taps or question.sub_type.taps)[0],
    )
    crossover = crossover_hz_of(question, limits)
    bands = used_bands(limit=limit, crossover_hz=crossover)
    question = replace(question, places=_thinned(question.places))
    solved, highest_hz = solve_low_field(question, bands, limits)
    bands = solved.tones.labels
    tilt, tilt_source = _tilt(question, bands, limits)
    levels = _Levels(
        sensitivity_db=third_octave_sensitivity_db(low_end, bands),
        wanted_db=None if question.mid_level_db is None else question.mid_level_db + tilt,
        tilt_db=tilt,
    )
    allowed = places_wished(solved.shape, positions_of(question.places), question.wish)
    most = min(max(question.most, question.count or 1), allowed.size)
    search = choose_tiles(
        solved.transfer,
        most=most,
        support_loss_most_db=limits["lowfreq_support_loss_most_db"],
        allowed=allowed,
        rng=np.random.default_rng(_SEED),
    )
    options = _options(question, search, solved, levels, limits)
    number = min(_wanted_count(question, options, most), most)
    options = tuple(
        replace(option, mark="chosen") if place == number - 1 else option
        for place, option in enumerate(options)
    )
    chosen = options[number - 1]
    tiles = list(search.best[number - 1].tiles)
    together = solved.transfer[tiles].sum(axis=0)
    setting = None
    if question.own_channels and number > 1:
        setting = choose_settings(
            solved.transfer[tiles],
            frequency_hz=solved.tones.frequency_hz,
            delay_most_s=limits["lowfreq_delay_most_s"],
            support_loss_most_db=limits["lowfreq_support_loss_most_db"],
        )
    volume = solved.modes.area_m2 * solved.height_m
    time = float(np.mean(DECAY_NEPER / solved.decay))
    return SubDesign(
        room_key=question.room.key,
        type_id=question.sub_type.id,
        model=solved.modes.model,
        height_m=solved.height_m,
        volume_m3=volume,
        schroeder_hz=schroeder_hz(reverberation_time_s=time, volume_m3=volume),
        valid_to_hz=highest_hz,
        crossover_hz=crossover,
        limit=limit,
        bands=bands,
        tilt_asked_db=tilt,
        tilt_source=tilt_source,
        chosen=chosen,
        options=options,
        tiles=SpreadOfTiles(
            free=len(question.places),
            best_db=float(search.single_spread_db.min()),
            median_db=float(np.median(search.single_spread_db)),
            worst_db=float(search.single_spread_db.max()),
        ),
        rows=_rows(question, solved, chosen, together, levels, limits),
        low_map=_low_map(solved, chosen.places, together),
        settings=setting,
        polarity=_polarity(question, solved, chosen, levels, crossover, limits),
        seats_m=solved.seats,
        notes=solved.notes,
    )
