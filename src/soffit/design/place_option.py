"""Layouts as the alternatives that a person compares: figures, taps, and speakers as records."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.decibel import power_ratio, power_ratio_db
from soffit.design.place_front import Candidate
from soffit.design.place_level import LEVEL_SLACK_DB, level_of
from soffit.design.place_mix import Mix, loudness_mix, mix_of, tap_sets
from soffit.design.place_question import WHOLE, Question
from soffit.design.place_search import spread_of
from soffit.design.tiles import ceiling_at, face_height_m
from soffit.errors import NoSolutionError
from soffit.evaluate.sound_source import crest_drive_db
from soffit.model.catalogue import Catalogue, SpeakerType, Tap
from soffit.model.decisions import Option
from soffit.model.speakers import Speaker, TileRef
from soffit.model.survey import Room
from soffit.tables.settings import DEFAULT_LIMITS, Limits

FloatArray = NDArray[np.float64]

_SMALL: Final = 250_000
"""Pairs of speaker and ear up to which every alternative is taken from the public field."""

_LARGE: Final = 15_000_000
"""Pairs from which only the chosen one is; the others come from the search, within 0.01 dB."""


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """Energy of a layout that the public field computed before."""

    energy: FloatArray

    def __call__(self) -> FloatArray:
        """Return it."""
        return self.energy


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

    brief: Mix
    total: Mix
    loud: Mix
    by_hand: dict[float, tuple[FloatArray, FloatArray]] = field(default_factory=dict)
    """Energy of what hangs by hand in ``brief`` and ``total``, by the watts it is weighed against,
    each computed once."""


def fields_of(voices: Sequence[Question], whole: Mix) -> Fields:
    """Return the fields that alternatives are shown in.

    Parameters
    ----------
    voices
        One question a type.
    whole
        The brief's measure.
    """
    measure = WHOLE[voices[0].room.brief.evenness_measure]
    return Fields(brief=whole, total=mix_of(voices, measure), loud=loudness_mix(voices))


def option_of(
    voices: Sequence[Question],
    one: Candidate,
    mark: str,
    fields: Fields,
    wanted: float,
) -> tuple[Option, bool]:
    """Return a layout as an alternative, and whether it reaches the wanted level.

    Parameters
    ----------
    voices
        One question a type.
    one
        The layout.
    mark
        What it stands for.
    fields
        Fields of the room.
    wanted
        Wanted level. [dB]
    """
    question, whole = voices[0], fields.brief
    brief = question.room.brief
    taps, is_reached = _taps(voices, one, fields.loud, wanted)
    coil_w = question.speaker_type.delivered_w(taps[0]) if taps else question.guess_w
    fixed = _by_hand(question, fields, coil_w)
    pairs = one.count * whole.first.ears.count
    is_main = mark == "chosen" or pairs < _SMALL
    is_main = is_main or (mark in {"cheaper", "finer"} and pairs < _LARGE)
    is_known = isinstance(one.energy, Known)
    is_public = one.energy is None or (is_main and not is_known)
    energy = whole.energy(one) if is_public or one.energy is None else one.energy()
    is_thin = energy.size < whole.first.ears.count  # judged at some ears of a very large room
    if is_thin and question.mains:
        energy, is_thin = whole.energy(one), False
    if question.mains:
        energy = energy - whole.first.fixed_energy + fixed[0]
    levels = power_ratio_db(np.maximum(energy, 1e-30))
    spread = spread_of(energy, brief.evenness_share)
    total: float | None = spread
    if not brief.evenness_measure.startswith("whole"):
        is_exact = is_public or is_known
        everything = None if is_thin else _total(one, energy, fields, fixed, is_exact=is_exact)
        total = None if everything is None else spread_of(everything, brief.evenness_share)
    placed_w = sum(tap.power_w for tap in replace(question, guess_w=coil_w).placed_taps())
    of = one.voice if len(voices) > 1 else np.zeros(one.count, np.int64)
    kinds = tuple(voices[int(k)].speaker_type.id for k in of)
    watts = tuple(taps[int(k)].power_w for k in of) if taps else ()
    is_mixed = len(set(kinds)) > 1
    option = Option(
        pattern=one.pattern,
        count=one.count + len(question.mains),
        spread_db=round(spread, 4),
        watts_w=round(sum(watts) + placed_w, 6),
        look_penalty=one.look,
        meets_brief=spread <= 2.0 * brief.evenness_db + 1e-6,
        mark=mark,
        tap_w=watts[0] if watts else None,
        type_id=kinds[0],
        std_db=round(float(np.std(levels)), 4),
        worst_db=round(float(levels.min() - np.median(levels)), 4),
        whole_spread_db=total if total is None else round(total, 4),
        positions=tuple((round(float(x), 6), round(float(y), 6)) for x, y in one.site_m[:, :2]),
        tiles=tuple((int(c), int(r)) for c, r in one.tile) if one.is_tiled else (),
        types=kinds if is_mixed else (),
        taps_w=watts if is_mixed else (),
    )
    return option, bool(taps) and is_reached


def _by_hand(question: Question, fields: Fields, coil_w: float) -> tuple[FloatArray, FloatArray]:
    """Energy of what hangs by hand for one watt at each searched speaker, at the watts it has."""
    if coil_w not in fields.by_hand:
        at = replace(question, guess_w=coil_w)
        ears, measure = fields.brief.first.ears, question.room.brief.evenness_measure
        late = measure.startswith("whole")
        fields.by_hand[coil_w] = (
            at.fixed_energy(fields.brief.first.weight, ears, late),
            at.fixed_energy(fields.total.first.weight, ears, True),
        )
    return fields.by_hand[coil_w]


def _taps(
    voices: Sequence[Question], one: Candidate, loud: Mix, wanted_dba: float
) -> tuple[tuple[Tap, ...], bool]:
    """Tap of each type: the least watts that reach the wanted level, in the ratio of the gains."""
    question = voices[0]
    drive_db = crest_drive_db(question.room.brief.programme, question.limits)
    by_hand = float(np.mean(loud.first.fixed_energy))
    per_watt = float(np.mean(loud.energy(one))) - by_hand
    fixed = by_hand * question.guess_w
    if len(voices) == 1:
        level = level_of(
            speaker_type=question.speaker_type,
            taps=question.allowed_taps(),
            count=one.count,
            energy_per_watt=per_watt,
            fixed_energy=fixed,
            wanted_dba=wanted_dba,
            drive_db=drive_db,
        )
        return ((level.tap,), level.is_reached) if level else ((), False)
    numbers = [int(np.sum(one.voice == number)) for number in range(len(voices))]
    sets = tap_sets(voices, one.gains)
    sets.sort(key=lambda taps: sum(n * tap.power_w for n, tap in zip(numbers, taps, strict=True)))
    drive = float(power_ratio(drive_db))
    for taps in sets:
        watts = question.speaker_type.delivered_w(taps[0])
        full = float(power_ratio_db(max(per_watt * watts + fixed, 1e-30) * drive))
        if full >= wanted_dba - LEVEL_SLACK_DB:
            return taps, True
    return (sets[-1], False) if sets else ((), False)


def _total(
    one: Candidate,
    energy: FloatArray,
    fields: Fields,
    fixed: tuple[FloatArray, FloatArray],
    *,
    is_exact: bool,
) -> FloatArray | None:
    """Energy of the whole field; None where reflections would be too much work to sum."""
    total = fields.total
    if total.first.early is None:
        return np.asarray(energy + (fixed[1] - fixed[0]) + total.late(one))
    return total.energy(one) - total.first.fixed_energy + fixed[1] if is_exact else None


def option_speakers(
    room: Room,
    option: Option,
    *,
    speaker_type: SpeakerType,
    line_voltage_v: float,
    keys: Sequence[str],
    limits: Limits = DEFAULT_LIMITS,
    catalogue: Catalogue | None = None,
) -> tuple[Speaker, ...]:
    """Return the speakers of an option as records, not yet wired.

    Parameters
    ----------
    room
        Room with its ceilings.
    option
        From :func:`choose_layouts`.
    speaker_type
        The type placed; not used where ``catalogue`` is given.
    line_voltage_v
        Nominal line voltage. [V]
    keys
        Permanent keys, one per position; labels are set when lines are known.
    limits
        Height of pendants.
    catalogue
        Types of a room that has several.

    Returns
    -------
    tuple of Speaker
        In the order of the option's positions, labels equal to the keys.

    Raises
    ------
    NoSolutionError
        If the type has no tap at the line's voltage.
    """
    out: list[Speaker] = []
    for number, (key, position) in enumerate(zip(keys, option.positions, strict=True)):
        ceiling = ceiling_at(room, position)
        height = face_height_m(ceiling, np.array([position]), limits)[0]
        type_id = option.type_at(number)
        kind = speaker_type if catalogue is None else catalogue.speaker(type_id)
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
                type_id=kind.id,
                position=position,
                mount_height_m=round(float(height), 6),
                tap=_tap(room, kind, line_voltage_v, option.tap_at(number)),
                tile=tile,
            )
        )
    return tuple(out)


def _tap(room: Room, kind: SpeakerType, voltage_v: float, power_w: float | None) -> Tap:
    tap = next((item for item in kind.taps_at(voltage_v) if item.power_w == power_w), None)
    if tap is not None:
        return tap
    msg = f"{room.label}: {kind.id} has no tap at {voltage_v:.1f} V"
    raise NoSolutionError(
        msg,
        where=f"rooms.{room.key}",
        why=f"its taps are for {sorted({round(t.voltage_v, 1) for t in kind.taps})} V",
        do="choose a type for this line voltage",
    )
