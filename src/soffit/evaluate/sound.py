"""The sound in every room of a job: levels, evenness, echoes and test points, as one record.

Energies are kept per octave as if each speaker's full tap power lay in that octave; they are
linear in the watts. A programme spreads its watts over the octaves (`spectrum_share`) and its mean
lies under the tap power by its crest factor (`crest_drive_db`); both turn energies into levels.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from soffit.acoustics.bands import N_BANDS, FloatArray
from soffit.acoustics.delays import late_arrivals
from soffit.acoustics.evenness import Evenness, evenness
from soffit.acoustics.hearing import allowed_hours
from soffit.acoustics.images import (
    level_reflector,
    reflected_energy_per_watt,
    wall_reflectors,
)
from soffit.acoustics.room import critical_distance_m
from soffit.decibel import power_ratio, power_ratio_db
from soffit.errors import DomainError, Problem, SoffitError
from soffit.evaluate.sound_ears import Ears, find_ears
from soffit.evaluate.sound_room import RoomAcoustics, RoomNoise, room_acoustics, room_noise
from soffit.evaluate.sound_source import (
    MEASURES,
    Sources,
    columns,
    crest_drive_db,
    late_per_watt,
    measure_weights,
    pink_share,
    programme_spectrum,
    sources_of,
    spectrum_share,
)
from soffit.evaluate.sound_zones import RoomVoice, ZoneLag, zone_lags
from soffit.evaluate.speech import Speech, room_speech
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Survey
from soffit.model.speakers import Speaker
from soffit.model.survey import EvennessMeasure, Room
from soffit.tables.settings import Limits

PAIRS_AT_ONCE = 250_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TestLevel:
    """What a meter will read at a test point with pink noise on the line.

    Parameters
    ----------
    key, label
        Of the test point.
    position_m : (3,)
        Where the meter stands. [m]
    octave_db : (n_bands,)
        Octave levels of the whole field. [dB]
    direct_octave_db : (n_bands,)
        Octave levels of the direct field. [dB]
    level_dba
        A-weighted level of the whole field. [dB]
    nearest_key
        Speaker that brings the most.
    """

    key: str
    label: str
    position_m: FloatArray
    octave_db: FloatArray
    direct_octave_db: FloatArray
    level_dba: float
    nearest_key: str

    __test__ = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomSound:
    """The sound in one room.

    Parameters
    ----------
    room_key, room_label
        Room.
    acoustics, noise, ears, sources
        What it was computed from.
    direct_energy, whole_energy : (n_ears, n_bands)
        Energy with the full tap power in each octave, re (20 µPa)².
    share : (n_bands,)
        Share of each octave in one watt of the programme.
    programme_text
        Programme and source of its spectrum.
    drive_db
        Mean power of the programme re the tap power when its peaks fill the line. [dB]
    evenness
        By measure, all six.
    measure
        The one that the brief counts.
    full_level_dba
        Mean level at the ears with the line filled, programme, whole field. [dB]
    target_dba
        Wanted level: absolute, or noise plus margin; ``None`` if neither is known. [dB]
    reserve_db
        Full level less wanted level; ``None`` without a target. [dB]
    loudest_dba
        Level at the loudest ear at the wanted level, or at full level without a target. [dB]
    hearing_hours
        Hours a day that this level may last, 24 at most.
    critical_distance_m : (n_bands,)
        For the mean Q and all speakers together. [m]
    direct_over_late_db : (n_bands,)
        Direct over reverberant energy at the median ear. [dB]
    late_ratio, worst_lag_s, worst_lag_m
        Share of ears with an echo; its longest lag; where that is. [s, m]
    test_levels
        Expected readings.
    speech
        Speech transmission; ``None`` for a room without speakers.
    """

    room_key: str
    room_label: str
    acoustics: RoomAcoustics
    noise: RoomNoise | None
    ears: Ears
    sources: Sources
    direct_energy: FloatArray
    whole_energy: FloatArray
    share: FloatArray
    programme_text: str
    drive_db: float
    evenness: Mapping[EvennessMeasure, Evenness]
    measure: EvennessMeasure
    full_level_dba: float
    target_dba: float | None
    reserve_db: float | None
    loudest_dba: float
    hearing_hours: float
    critical_distance_m: FloatArray
    direct_over_late_db: FloatArray
    late_ratio: float
    worst_lag_s: float
    worst_lag_m: FloatArray
    test_levels: tuple[TestLevel, ...]
    speech: Speech

    @property
    def model_text(self) -> str:
        """Models in use, as printed beside each figure."""
        return f"{self.sources.text}; {self.acoustics.text}; {self.ears.text}"

    def levels_db(self, measure: EvennessMeasure) -> FloatArray:
        """Level at every ear with the line filled.

        Parameters
        ----------
        measure
            Field and band.

        Returns
        -------
        (n_ears,)
            Levels. [dB]
        """
        energy = self.direct_energy if measure.startswith("direct") else self.whole_energy
        drive = float(power_ratio(self.drive_db))
        return power_ratio_db(energy @ measure_weights(measure, self.share) * drive)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SoundState:
    """The sound in all rooms that have speakers.

    Parameters
    ----------
    rooms
        One record per room, in the order of the survey.
    refused
        Room keys and the reason why there is no record.
    silent
        Keys of rooms without speakers.
    zone_lags
        Zones that are heard too far apart in time where their rooms touch.
    """

    rooms: tuple[RoomSound, ...]
    refused: tuple[tuple[str, Problem], ...]
    silent: tuple[str, ...]
    zone_lags: tuple[ZoneLag, ...] = ()

    def room(self, key: str) -> RoomSound | None:
        """Return a room's record; ``None`` where it is silent or refused.

        Parameters
        ----------
        key
            Room key.
        """
        return next((room for room in self.rooms if room.room_key == key), None)


def sound_state(
    survey: Survey,
    catalogue: Catalogue,
    speakers: Sequence[Speaker],
    *,
    loss_db: Mapping[str, float] | None = None,
) -> SoundState:
    """Evaluate the sound of all rooms.

    Parameters
    ----------
    survey
        Rooms, noise, briefs, test points, limits.
    catalogue
        Speaker types.
    speakers
        All placed speakers.
    loss_db
        Line loss by speaker key, positive; none by default. [dB]

    Returns
    -------
    SoundState
        Complete; a room whose data are impossible is listed with its reason.
    """
    rooms: list[RoomSound] = []
    refused: list[tuple[str, Problem]] = []
    silent: list[str] = []
    for room in survey.rooms:
        inside = [speaker for speaker in speakers if speaker.room_key == room.key]
        if not any(catalogue.speaker(s.type_id).kind != "subwoofer" for s in inside):
            silent.append(room.key)
            continue
        try:
            rooms.append(
                room_sound(
                    room,
                    catalogue,
                    inside,
                    limits=survey.limits,
                    line_voltage_v=survey.site.line_voltage_v,
                    loss_db=loss_db,
                )
            )
        except SoffitError as error:
            refused.append((room.key, error.problems[0]))
    voices = [
        RoomVoice(
            room=survey.room(found.room_key),
            sources=found.sources,
            acoustics=found.acoustics,
            share=found.share,
        )
        for found in rooms
    ]
    return SoundState(
        rooms=tuple(rooms),
        refused=tuple(refused),
        silent=tuple(silent),
        zone_lags=zone_lags(voices, survey.zones, survey.limits),
    )


def room_sound(
    room: Room,
    catalogue: Catalogue,
    speakers: Sequence[Speaker],
    *,
    limits: Limits,
    line_voltage_v: float,
    loss_db: Mapping[str, float] | None = None,
) -> RoomSound:
    """Evaluate the sound of one room.

    Parameters
    ----------
    room
        Room with noise, brief and test points.
    catalogue
        Speaker types.
    speakers
        Speakers of this room.
    limits
        Settings in force.
    line_voltage_v
        Nominal line voltage. [V]
    loss_db
        Line loss by speaker key, positive. [dB]

    Returns
    -------
    RoomSound
        Complete record.

    Raises
    ------
    DomainError
        If ears are not below the speakers, a listening area lies outside, or data are impossible.
    """
    acoustics = room_acoustics(room, limits)
    ears = find_ears(room, step_m=limits["sound_ear_grid_m"])
    sources = sources_of(speakers, catalogue, line_voltage_v=line_voltage_v, loss_db=loss_db)
    _check_heights(room, ears, sources)
    direct = direct_energy(sources, ears.point_m, acoustics)
    late = sources.power_w @ late_per_watt(sources, acoustics.diffuse_constant_m2)
    late_at = late + first_reflections(sources, ears.point_m, acoustics)
    whole = direct + late_at
    spectrum = programme_spectrum(room.brief.programme)
    share = spectrum_share(spectrum)
    drive = crest_drive_db(room.brief.programme, limits)
    noise = room_noise(room.noise, people_from_dba=limits["sound_people_from_dba"])
    dba = whole @ measure_weights("whole dBA", share) * float(power_ratio(drive))
    full_dba = float(power_ratio_db(np.mean(dba)))
    target = target_level_dba(room, noise)
    played = min(full_dba, target) if target is not None else full_dba
    loudest = float(power_ratio_db(np.max(dba))) + played - full_dba
    lag = _echoes(sources, ears, acoustics, share, limits)
    weight = sources.power_w / sources.power_w.sum()
    q = weight @ np.array([kind.directivity_factor for kind in sources.radiators])
    return RoomSound(
        room_key=room.key,
        room_label=room.label,
        acoustics=acoustics,
        noise=noise,
        ears=ears,
        sources=sources,
        direct_energy=direct,
        whole_energy=whole,
        share=share,
        programme_text=f"{spectrum.name} ({spectrum.source})",
        drive_db=drive,
        evenness=all_evenness(direct, whole, share, drive),
        measure=room.brief.evenness_measure,
        full_level_dba=full_dba,
        target_dba=target,
        reserve_db=None if target is None else full_dba - target,
        loudest_dba=loudest,
        hearing_hours=min(
            24.0, float(allowed_hours(loudest, criterion_dba=limits["sound_hearing_8h_dba"]))
        ),
        critical_distance_m=critical_distance_m(
            directivity_factor=q,
            room_constant_m2=acoustics.room_constant_m2,
            n_sources=len(sources.keys),
        ),
        direct_over_late_db=power_ratio_db(
            np.median(direct, axis=0) / np.median(np.atleast_2d(late_at), axis=0)
        ),
        late_ratio=lag[0],
        worst_lag_s=lag[1],
        worst_lag_m=lag[2],
        test_levels=test_levels(room, sources, acoustics, drive_db=-limits["sound_test_drive_db"]),
        speech=room_speech(
            sources,
            ears,
            acoustics,
            noise,
            limits=limits,
            level_dba=played,
            asked=room.brief.sti_min,
        ),
    )


def _check_heights(room: Room, ears: Ears, sources: Sources) -> None:
    facing_down = sources.axis[:, 2] < -0.99
    lowest = sources.position_m[facing_down, 2].min(initial=np.inf)
    highest_ear = float(ears.point_m[:, 2].max())
    if lowest <= highest_ear:
        msg = f"{room.label}: ears at {highest_ear:.2f} m, speakers at {lowest:.2f} m"
        raise DomainError(
            msg,
            where=f"rooms.{room.key}",
            why="a speaker that faces down must hang above the ears",
            do="check the ceiling height and the ear height",
        )


def direct_energy(sources: Sources, point_m: FloatArray, acoustics: RoomAcoustics) -> FloatArray:
    """Direct energy at points with the full tap power in each octave, in bounded memory.

    Parameters
    ----------
    sources
        Speakers.
    point_m : (n_points, 3)
        Ears. [m]
    acoustics
        Air and walls.

    Returns
    -------
    (n_points, n_bands)
        Energy.
    """
    every = range(len(sources.keys))
    total = np.zeros((len(point_m), N_BANDS))
    step = max(1, PAIRS_AT_ONCE // max(1, len(sources.keys)))
    for first in range(0, len(point_m), step):
        part = slice(first, first + step)
        energy = columns(
            sources, every, point_m[part], walls=acoustics.walls, air_db_m=acoustics.air_db_m
        )
        total[part] = (energy @ sources.power_w).T
    return total


def first_reflections(
    sources: Sources, point_m: FloatArray, acoustics: RoomAcoustics
) -> FloatArray:
    """Energy of the first reflections of floor and walls, where they are asked for.

    Parameters
    ----------
    sources
        Speakers.
    point_m : (n_points, 3)
        Ears. [m]
    acoustics
        Absorption of floor and walls; whether reflections are asked for.

    Returns
    -------
    (n_points, n_bands)
        Energy with the full tap power in each octave; zero where they are not asked for.
    """
    total = np.zeros((len(point_m), N_BANDS))
    if not acoustics.first_images:
        return total
    planes = [
        *wall_reflectors(acoustics.walls, acoustics.wall_absorption_ratio),
        level_reflector(0.0, acoustics.floor_absorption_ratio, up=True),
    ]
    for kind in {id(kind): kind for kind in sources.radiators}.values():
        rows = [n for n, other in enumerate(sources.radiators) if other is kind]
        step = max(1, PAIRS_AT_ONCE // len(rows))
        for first in range(0, len(point_m), step):
            part = slice(first, first + step)
            energy = reflected_energy_per_watt(
                radiator=kind,
                speaker_m=sources.position_m[rows],
                axis=sources.axis[rows],
                point_m=point_m[part],
                reflectors=planes,
                room=acoustics.walls,
            )
            total[part] += np.einsum("psb,s->pb", energy, sources.power_w[rows])
    return total


def all_evenness(
    direct: FloatArray, whole: FloatArray, share: FloatArray, drive_db: float
) -> dict[EvennessMeasure, Evenness]:
    """Evenness by every measure.

    Parameters
    ----------
    direct, whole : (n_ears, n_bands)
        Energies.
    share : (n_bands,)
        Share of each octave in the programme.
    drive_db
        Mean power re tap power. [dB]

    Returns
    -------
    dict
        Evenness by measure.
    """
    drive = float(power_ratio(drive_db))
    return {
        measure: evenness(
            power_ratio_db(
                (direct if measure.startswith("direct") else whole)
                @ measure_weights(measure, share)
                * drive
            )
        )
        for measure in MEASURES
    }


def target_level_dba(room: Room, noise: RoomNoise | None) -> float | None:
    """Wanted level: absolute, or noise plus margin.

    Parameters
    ----------
    room
        Its brief.
    noise
        Its noise.

    Returns
    -------
    float or None
        ``None`` where the brief states neither or the noise is not known. [dB]
    """
    brief = room.brief
    if brief.level_dba is not None:
        return brief.level_dba
    if brief.margin_db is not None and noise is not None:
        return noise.level_dba + brief.margin_db
    return None


def _echoes(
    sources: Sources, ears: Ears, acoustics: RoomAcoustics, share: FloatArray, limits: Limits
) -> tuple[float, float, FloatArray]:
    """Return the share of ears with an echo, the longest lag and where it is."""
    step = max(1, ears.count * len(sources.keys) // (2 * PAIRS_AT_ONCE))
    points = ears.point_m[::step]
    weights = measure_weights("direct dBA", share)
    gap = np.linalg.norm(points[:, None, :] - sources.position_m[None, :, :], axis=-1)
    found = np.zeros(len(points), dtype=bool)
    lag = np.zeros(len(points))
    rows = max(1, PAIRS_AT_ONCE // max(1, len(sources.keys)))
    for first in range(0, len(points), rows):
        part = slice(first, first + rows)
        energy = columns(
            sources,
            range(len(sources.keys)),
            points[part],
            walls=acoustics.walls,
            air_db_m=acoustics.air_db_m,
            weights=weights,
        )[0]
        late = late_arrivals(
            energy=energy * sources.power_w,
            arrival_s=gap[part] / 343.2,
            limit_s=limits["sound_late_s"],
            within_db=limits["sound_late_within_db"],
        )
        found[part], lag[part] = late.is_late, late.lag_s
    worst = int(np.argmax(lag))
    return float(np.mean(found)), float(lag[worst]), points[worst]


def test_levels(
    room: Room, sources: Sources, acoustics: RoomAcoustics, *, drive_db: float
) -> tuple[TestLevel, ...]:
    """Expected readings at the test points with pink noise on the line.

    Parameters
    ----------
    room
        Its test points.
    sources
        Speakers.
    acoustics
        Room.
    drive_db
        Line voltage re nominal, negative. [dB]

    Returns
    -------
    tuple of TestLevel
        In the order of the survey.
    """
    if not room.test_points:
        return ()
    points = np.array([(*p.position, p.height_m) for p in room.test_points], dtype=np.float64)
    return levels_at(
        points,
        [(p.key, p.label) for p in room.test_points],
        sources,
        acoustics,
        drive_db=drive_db,
    )


test_levels.__test__ = False  # type: ignore[attr-defined]  # a reading, not a test of ours


def levels_at(
    point_m: FloatArray,
    names: Sequence[tuple[str, str]],
    sources: Sources,
    acoustics: RoomAcoustics,
    *,
    drive_db: float,
    power_w: FloatArray | None = None,
) -> tuple[TestLevel, ...]:
    """Return expected readings at any points with pink noise on the line.

    Parameters
    ----------
    point_m : (n_points, 3)
        Where the meter stands. [m]
    names
        Key and label of each point.
    sources
        Speakers.
    acoustics
        Room.
    drive_db
        Line voltage re nominal, negative. [dB]
    power_w : (n_speakers,)
        Power at each voice coil instead of the planned one, for faults and retapping. [W]

    Returns
    -------
    tuple of TestLevel
        One per point.
    """
    watts = sources.power_w if power_w is None else power_w
    energy = columns(
        sources,
        range(len(sources.keys)),
        point_m,
        walls=acoustics.walls,
        air_db_m=acoustics.air_db_m,
    )
    pink = pink_share() * float(power_ratio(drive_db))
    direct = (energy @ watts).T * pink
    late = watts @ late_per_watt(sources, acoustics.diffuse_constant_m2)
    early = first_reflections(replace(sources, power_w=watts), point_m, acoustics)
    whole = direct + (late + early) * pink
    a_weights = measure_weights("whole dBA", np.ones(N_BANDS))
    nearest = np.argmax(np.tensordot(a_weights, energy, axes=1) * watts, axis=1)
    return tuple(
        TestLevel(
            key=key,
            label=label,
            position_m=point_m[row],
            octave_db=power_ratio_db(whole[row]),
            direct_octave_db=power_ratio_db(direct[row]),
            level_dba=float(power_ratio_db(whole[row] @ a_weights)),
            nearest_key=sources.keys[int(nearest[row])],
        )
        for row, (key, label) in enumerate(names)
    )
