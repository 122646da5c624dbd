"""The question of one room as the search needs it: fields, ears, ceilings and their parts."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.design.place_blocks import rectangles
from soffit.design.place_ceiling import Span2
from soffit.design.place_family import Family
from soffit.design.place_field import Field, make_field, reverberant_per_watt
from soffit.design.tiles import Sites, ceiling_polygon, face_height_m, find_sites, to_local
from soffit.errors import DomainError, NoSolutionError
from soffit.evaluate.sound import first_reflections
from soffit.evaluate.sound_ears import Ears, find_ears
from soffit.evaluate.sound_room import RoomAcoustics, room_acoustics
from soffit.evaluate.sound_source import (
    Sources,
    columns,
    measure_weights,
    programme_spectrum,
    radiator_of,
    spectrum_share,
)
from soffit.model.catalogue import Catalogue, SpeakerType, Tap
from soffit.model.survey import Ceiling, EvennessMeasure, Obstacle, PlacedSpeaker, Room
from soffit.tables.settings import Limits

FloatArray = NDArray[np.float64]

_LOUDNESS_EARS = 400

WHOLE: Final[dict[EvennessMeasure, EvennessMeasure]] = {
    "direct 4 kHz": "whole 4 kHz",
    "direct 2 kHz": "whole 2 kHz",
    "direct dBA": "whole dBA",
    "whole 4 kHz": "whole 4 kHz",
    "whole 2 kHz": "whole 2 kHz",
    "whole dBA": "whole dBA",
}
"""The whole field of each measure: what is printed beside what was chosen on."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Question:
    """Everything that placing in one room needs.

    Parameters
    ----------
    room, speaker_type, voltage_v, obstacles, catalogue, placed, limits, family, is_imperial
        As in ``design.place.choose_layouts``.
    acoustics, ears
        Of the room.
    share : (n_bands,)
        Share of each octave in one watt of programme.
    guess_w
        Watts at each searched voice coil that hand-placed speakers are weighed against: a guess
        first, then those of the tap that was chosen. [W]
    least_tap_w
        Least tap that searched speakers get, so that they stand up to what hangs by hand. [W]
    """

    room: Room
    speaker_type: SpeakerType
    voltage_v: float
    obstacles: tuple[Obstacle, ...]
    catalogue: Catalogue
    placed: tuple[PlacedSpeaker, ...]
    limits: Limits
    family: Family
    is_imperial: bool
    acoustics: RoomAcoustics
    ears: Ears
    share: FloatArray
    guess_w: float
    least_tap_w: float = 0.0

    def type_of(self, item: PlacedSpeaker) -> SpeakerType:
        """Return the type of a hand-placed speaker."""
        if item.type_id == self.speaker_type.id:
            return self.speaker_type
        return self.catalogue.speaker(item.type_id)

    @property
    def mains(self) -> tuple[PlacedSpeaker, ...]:
        """Hand-placed speakers that are no subwoofers."""
        return tuple(item for item in self.placed if self.type_of(item).kind != "subwoofer")

    @property
    def named_w(self) -> tuple[float, ...]:
        """Watts at the voice coils of hand-placed speakers whose tap is named. [W]."""
        out = []
        for item in self.mains:
            kind = self.type_of(item)
            taps = kind.taps_at(self.voltage_v)
            if item.tap_w is not None and taps:
                wanted = item.tap_w
                near = min(taps, key=lambda tap: (abs(tap.power_w - wanted), tap.power_w))
                out.append(kind.delivered_w(near))
        return tuple(out)

    def allowed_taps(self) -> tuple[Tap, ...]:
        """Return the taps that a searched speaker may get: those it stands, or the brief's one."""
        kind = self.speaker_type
        taps = tuple(
            tap
            for tap in kind.taps_at(self.voltage_v)
            if kind.delivered_w(tap) <= kind.rated_power_w * 1.001
        )
        asked = self.room.brief.tap_w
        if asked is not None and taps:
            return (min(taps, key=lambda tap: (abs(tap.power_w - asked), tap.power_w)),)
        return tuple(tap for tap in taps if tap.power_w >= self.least_tap_w) or taps

    def placed_taps(self) -> tuple[Tap, ...]:
        """Return the taps of the hand-placed speakers, as named or nearest to the searched ones."""
        out: list[Tap] = []
        for item in self.mains:
            kind = self.type_of(item)
            taps = kind.taps_at(self.voltage_v)
            if not taps:
                continue
            named = item.tap_w
            if named is None:
                out.append(nearest_tap(kind, taps, self.guess_w))
            else:
                out.append(min(taps, key=lambda tap: (abs(tap.power_w - named), tap.power_w)))
        return tuple(out)

    def fixed_energy(self, weight: FloatArray, ears: Ears, late: bool) -> FloatArray:
        """Return the energy of the hand-placed speakers for one watt at each searched one.

        Parameters
        ----------
        weight : (n_bands,)
            Measure.
        ears
            Where.
        late
            Whether their reverberant energy counts, and first reflections where asked for.
        """
        total = np.zeros(ears.count)
        for item, tap in zip(self.mains, self.placed_taps(), strict=False):
            kind = self.type_of(item)
            radiator = radiator_of(kind)
            height = item.mount_height_m
            if height is None:
                ceiling = self.room.ceilings[0]
                height = float(face_height_m(ceiling, np.array([item.position]), self.limits)[0])
            aim = np.asarray(item.aim, dtype=np.float64)
            source = Sources(
                keys=(item.key,),
                radiators=(radiator,),
                position_m=np.array([(*item.position, height)]),
                axis=(aim / max(float(np.linalg.norm(aim)), 1e-9)).reshape(1, 3),
                power_w=np.ones(1),
                text="",
            )
            energy = columns(
                source,
                [0],
                ears.point_m,
                walls=self.acoustics.walls,
                air_db_m=self.acoustics.air_db_m,
                weights=weight,
            )[0][:, 0]
            if late:
                energy = energy + reverberant_per_watt(radiator, weight, self.acoustics)
                energy += first_reflections(source, ears.point_m, self.acoustics) @ weight
            total += energy * kind.delivered_w(tap) / self.guess_w
        return total

    def field(self, measure: EvennessMeasure | None = None, ears: Ears | None = None) -> Field:
        """Return the field of a measure at all ears.

        Parameters
        ----------
        measure
            The brief's by default.
        ears
            All by default.
        """
        used = ears or self.ears
        named = measure or self.room.brief.evenness_measure
        weight = measure_weights(named, self.share)
        return make_field(
            radiator=radiator_of(self.speaker_type),
            measure=named,
            share=self.share,
            acoustics=self.acoustics,
            ears=used,
            fixed_energy=self.fixed_energy(weight, used, named.startswith("whole")),
        )

    def loudness_field(self) -> Field:
        """Return the whole field in dBA at some hundred ears, for taps."""
        step = max(1, -(-self.ears.count // _LOUDNESS_EARS))
        some = replace(
            self.ears,
            point_m=self.ears.point_m[::step],
            area_index=self.ears.area_index[::step],
        )
        return self.field("whole dBA", some)

    def model_text(self) -> str:
        """Return measure, directivity model, ears and what the total holds in words."""
        text = radiator_of(self.speaker_type).directivity.text
        early = ", first reflections of walls and floor" if self.acoustics.first_images else ""
        total = f"the total is direct{early} and diffuse"
        return f"{self.room.brief.evenness_measure}; {text}; {self.ears.text}; {total}"


def nearest_tap(kind: SpeakerType, taps: Sequence[Tap], coil_w: float) -> Tap:
    """Return the tap that brings a voice coil nearest to some watts.

    Parameters
    ----------
    kind
        The type.
    taps
        Its taps; at least one.
    coil_w
        Watts wanted at the voice coil. [W]
    """
    return min(taps, key=lambda tap: (round(abs(kind.delivered_w(tap) - coil_w), 9), tap.power_w))


def usual_family(limits: Limits) -> Family:
    """Return all regular lattices, nudged within the limits.

    Parameters
    ----------
    limits
        Settings in force.
    """
    return Family(
        nudge_ratio=limits["place_nudge_ratio"],
        omit_ratio=limits["place_omit_ratio"],
        is_symmetric=limits["place_nudge_symmetric"] >= 0.5,
        margin_ratio=limits["place_margin_ratio"],
        aspect_ratio=limits["place_aspect_ratio"],
    )


def make_question(  # noqa: PLR0913 the whole question of a room, each by name
    room: Room,
    *,
    speaker_type: SpeakerType,
    voltage_v: float,
    obstacles: Sequence[Obstacle],
    catalogue: Catalogue | None,
    placed: Sequence[PlacedSpeaker],
    limits: Limits,
    family: Family | None,
    is_imperial: bool,
) -> Question:
    """Gather what placing in one room needs.

    Parameters
    ----------
    room, speaker_type, obstacles, catalogue, placed, limits, family, is_imperial
        As in ``design.place.choose_layouts``.
    voltage_v
        Nominal line voltage. [V]

    Returns
    -------
    Question
        Checked.

    Raises
    ------
    NoSolutionError
        If the room has no ceiling or no ear.
    """
    where = f"rooms.{room.key}"
    if not room.ceilings:
        msg = f"{room.label} has no ceiling"
        raise NoSolutionError(msg, where=where, why="speakers need one", do="survey its ceiling")
    try:
        acoustics = room_acoustics(room, limits)
        ears = find_ears(room, step_m=limits["sound_ear_grid_m"])
    except DomainError as error:
        first = error.problems[0]
        raise NoSolutionError(first.what, where=first.where, why=first.why, do=first.do) from error
    taps = speaker_type.taps_at(voltage_v)
    asked = room.brief.tap_w
    guess = taps[len(taps) // 2] if taps else None
    if taps and asked is not None:
        guess = min(taps, key=lambda tap: (abs(tap.power_w - asked), tap.power_w))
    return Question(
        room=room,
        speaker_type=speaker_type,
        voltage_v=voltage_v,
        obstacles=tuple(item for item in obstacles if item.room_key == room.key),
        catalogue=catalogue or Catalogue(),
        placed=tuple(item for item in placed if item.room_key == room.key),
        limits=limits,
        family=family or usual_family(limits),
        is_imperial=is_imperial,
        acoustics=acoustics,
        ears=ears,
        share=spectrum_share(programme_spectrum(room.brief.programme)),
        guess_w=speaker_type.delivered_w(guess) if guess is not None else asked or 1.0,
    )


def make_plans(question: Question, whole: Field) -> list[tuple[Span2, ...]]:
    """Return the ways to divide a room into parts with a lattice each.

    Parameters
    ----------
    question
        Room and family.
    whole
        The brief's measure at all ears.

    Returns
    -------
    list of tuple of Span2
        First the whole (one part per ceiling), then one lattice per rectangle.

    Raises
    ------
    NoSolutionError
        If no ceiling offers a free place.
    """
    room = question.room
    wholes: list[Span2] = []
    problems: list[NoSolutionError] = []
    for ceiling in room.ceilings:
        try:
            wholes.append(_whole(question, ceiling, whole, is_only=len(room.ceilings) == 1))
        except NoSolutionError as error:
            problems.append(error)
    if not wholes:
        raise problems[0]
    _check_throw(question, wholes)
    plans: list[tuple[Span2, ...]] = [tuple(wholes)]
    if len(room.ceilings) == 1 and question.family.has_blocks:
        plans += [_cut(wholes[0], cut) for cut in rectangles(wholes[0])]
    return [plan for plan in plans if plan]


def mixed_plan(
    voices: Sequence[Question], fields: Sequence[Field], ceiling_voice: Sequence[int]
) -> tuple[tuple[Span2, ...], tuple[int, ...]]:
    """Return the parts of a room whose ceilings have types of their own, and the type of each.

    Parameters
    ----------
    voices
        One question a type.
    fields
        The brief's measure of each type at all ears.
    ceiling_voice
        Type of every ceiling, as a place in ``voices``.

    Returns
    -------
    tuple
        One part for each ceiling that offers a place, and its type.

    Raises
    ------
    NoSolutionError
        If no ceiling offers a free place.
    """
    parts: list[Span2] = []
    part_voice: list[int] = []
    problems: list[NoSolutionError] = []
    for ceiling, voice in zip(voices[0].room.ceilings, ceiling_voice, strict=True):
        try:
            parts.append(_whole(voices[voice], ceiling, fields[voice], is_only=False))
            part_voice.append(voice)
        except NoSolutionError as error:
            problems.append(error)
    if not parts:
        raise problems[0]
    _check_throw(voices[0], parts)
    return tuple(parts), tuple(part_voice)


def _check_throw(question: Question, parts: Sequence[Span2]) -> None:
    lowest = min(float(part.sites.height_m[part.sites.is_inside].min()) for part in parts)
    highest = float(question.ears.point_m[:, 2].max())
    if lowest <= highest + 0.05:
        room = question.room
        msg = f"{room.label}: ears at {highest:.2f} m, speakers at {lowest:.2f} m"
        raise NoSolutionError(
            msg,
            where=f"rooms.{room.key}",
            why="speakers that face down must hang above the ears",
            do="check the ceiling height, the ear height and the height of pendants",
        )


def _whole(question: Question, ceiling: Ceiling, field: Field, *, is_only: bool) -> Span2:
    sites = find_sites(
        question.room,
        ceiling,
        obstacles=question.obstacles,
        speaker_type=question.speaker_type,
        taken=[
            (*item.position, question.type_of(item).flange_diameter_m / 2.0)
            for item in question.placed
        ],
        limits=question.limits,
    )
    region = ceiling_polygon(question.room, ceiling)
    ring = np.asarray(region.exterior.coords)[:, :2]
    x, y = to_local(ring, origin=sites.origin, angle_rad=sites.angle_rad)
    walls = (float(x.min()), float(x.max()), float(y.min()), float(y.max()))
    if not is_only:
        import shapely  # noqa: PLC0415 keeps `soffit line` free of shapely

        points = question.ears.point_m
        under = shapely.intersects_xy(region, points[:, 0], points[:, 1])
        if under.any():
            field = field.thinned(under)
    return Span2(sites=sites, walls_local=walls, field=field)


def _cut(whole: Span2, boxes: tuple[tuple[float, float, float, float], ...]) -> tuple[Span2, ...]:
    """Divide a part into boxes in its local frame; none if a box holds no site or no ear."""
    out: list[Span2] = []
    lx, ly = whole.sites.local_m()
    ears = whole.field.ears.point_m
    ex, ey = to_local(ears[:, :2], origin=whole.sites.origin, angle_rad=whole.sites.angle_rad)
    for x0, x1, y0, y1 in boxes:
        mask = ((lx >= x0) & (lx < x1))[:, None] & ((ly >= y0) & (ly < y1))[None, :]
        under = (ex >= x0) & (ex < x1) & (ey >= y0) & (ey < y1)
        sites = _masked(whole.sites, mask)
        if not sites.is_free.any() or not under.any():
            return ()
        out.append(
            Span2(sites=sites, walls_local=(x0, x1, y0, y1), field=whole.field.thinned(under))
        )
    return tuple(out)


def _masked(sites: Sites, mask: NDArray[np.bool_]) -> Sites:
    return replace(sites, is_inside=sites.is_inside & mask, is_free=sites.is_free & mask)
