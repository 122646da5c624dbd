"""Ask the question about subwoofers from a job's records."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from soffit.acoustics.bands import band_index
from soffit.decibel import mean_energy_db, power_ratio_db
from soffit.design.subs import choose_subs
from soffit.design.subs_answer import SubDesign, SubQuestion
from soffit.design.subs_level import MainsAtCrossover
from soffit.design.subs_room import SubPlace, Wish, places_of
from soffit.design.subs_words import (
    PlaceNamer,
    SiteStep,
    find_subs,
    low_end_refused,
    place_text,
    site_steps,
)
from soffit.design.tiles import find_sites
from soffit.errors import NoSolutionError, SoffitError
from soffit.evaluate.ceiling import ceiling_place, place_words
from soffit.evaluate.sound import RoomSound
from soffit.evaluate.sound_room import surface_absorption_ratio
from soffit.model.catalogue import Catalogue, SpeakerType
from soffit.model.decisions import Survey
from soffit.model.findings import Finding
from soffit.model.speakers import Speaker
from soffit.model.survey import PlacedSpeaker, Room

_OCTAVE_EDGE_HZ: Final = 88.4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomSubs:
    """The low end of one room: what was decided, found, and what to do on site.

    Parameters
    ----------
    room_key, type_id
        Which room, which subwoofer.
    design
        The decision; ``None`` where it could not be made, and ``findings`` say why.
    findings
        What a person should know.
    steps
        Setting and proving it on site.
    """

    room_key: str
    type_id: str
    design: SubDesign | None
    findings: tuple[Finding, ...]
    steps: tuple[SiteStep, ...] = ()


def _places(
    survey: Survey, room: Room, sub_type: SpeakerType, others: Sequence[Speaker]
) -> tuple[SubPlace, ...]:
    found: list[SubPlace] = []
    depth = max(sub_type.depth_m, sub_type.box_depth_m) + sub_type.bend_radius_m
    for ceiling in room.ceilings:
        if ceiling.void_depth_m is not None and ceiling.void_depth_m < depth:
            continue
        try:
            sites = find_sites(
                room,
                ceiling,
                obstacles=survey.obstacles_in(room.key),
                speaker_type=sub_type,
                taken=tuple(speaker.position for speaker in others),
                limits=survey.limits,
            )
        except NoSolutionError:
            continue
        found += places_of(sites)
    return tuple(found)


def _mains(
    catalogue: Catalogue, others: Sequence[Speaker], crossover_hz: float
) -> MainsAtCrossover | None:
    if not others:
        return None
    types = [catalogue.speaker(speaker.type_id) for speaker in others]
    band = 0 if crossover_hz < _OCTAVE_EDGE_HZ else 1
    return MainsAtCrossover(
        position_m=np.array([speaker.position for speaker in others], dtype=np.float64),
        power_w=np.array([kind.delivered_w(s.tap) for kind, s in zip(types, others, strict=True)]),
        sensitivity_db=np.array([kind.sensitivity_db[band] for kind in types]),
        low_limit_hz=max(kind.transformer.lf_limit_hz for kind in types),
    )


def ask_subs(
    survey: Survey,
    catalogue: Catalogue,
    *,
    room_key: str,
    type_id: str,
    speakers: Sequence[Speaker],
    sound: RoomSound | None,
    wish: Wish = "any",
    own_channels: bool = False,
) -> SubQuestion:
    """Gather all that the choice of subwoofers for a room depends on.

    Parameters
    ----------
    survey, catalogue
        The job.
    room_key
        The room.
    type_id
        The subwoofer.
    speakers
        All placed speakers; subwoofers among them are set aside.
    sound
        The room's sound with the other speakers; ``None`` where it is not known.
    wish
        Where the architect would like it.
    own_channels
        Each subwoofer has an amplifier channel of its own.

    Returns
    -------
    SubQuestion
        For :func:`soffit.design.subs.choose_subs`.

    Raises
    ------
    TableError
        If room or type is unknown.
    """
    room = survey.room(room_key)
    sub_type = catalogue.speaker(type_id)
    here = [speaker for speaker in speakers if speaker.room_key == room_key]
    others = [s for s in here if catalogue.speaker(s.type_id).kind != "subwoofer"]
    placed = [
        item
        for item in survey.placed
        if item.room_key == room_key and catalogue.speaker(item.type_id).kind == "subwoofer"
    ]
    mid = None
    if sound is not None and others:
        energy = sound.whole_energy[:, band_index("1k")]
        mid = float(mean_energy_db(power_ratio_db(energy)))
    ceilings = [s for s in room.surfaces if s.part == "ceiling"]
    known = max((float(surface_absorption_ratio(s)[0]) for s in ceilings), default=0.0)
    return SubQuestion(
        room=room,
        sub_type=sub_type,
        places=_places(survey, room, sub_type, others),
        reverberation_s=None
        if sound is None
        else tuple(float(time) for time in sound.acoustics.reverberation_time_s),
        is_measured=sound is not None and sound.acoustics.model == "measured",
        line_voltage_v=survey.site.line_voltage_v,
        mid_level_db=mid,
        listening_dba=None if sound is None else sound.target_dba,
        mains=_mains(catalogue, others, survey.limits["lowfreq_crossover_hz"]),
        placed=tuple(item.position for item in placed),
        placed_keys=tuple(item.key for item in placed),
        wish=wish,
        own_channels=own_channels,
        ceiling_absorption_ratio=known,
        obstacles=survey.obstacles_in(room_key),
    )


def _namer(survey: Survey, catalogue: Catalogue, room_key: str) -> PlaceNamer:
    """Name places as the cards do, counted in tiles or measured from two walls."""

    def name(place: SubPlace) -> str:
        words = place_words(
            ceiling_place(survey, catalogue, room_key, place.ceiling_key),
            place.position,
            imperial=survey.site.is_imperial,
        )
        if place.tile is None:
            return words or place_text(place)
        return f"{place_text(place)} ({words})" if words else place_text(place)

    return name


def placed_subs(plan: RoomSubs, *, keys: Sequence[str]) -> tuple[PlacedSpeaker, ...]:
    """Return the chosen subwoofers as the survey writes speakers that are placed by hand.

    Parameters
    ----------
    plan
        Low end of a room, decided.
    keys
        A permanent key for each subwoofer.

    Returns
    -------
    tuple of PlacedSpeaker
        With place and tap; empty where nothing was decided.
    """
    if plan.design is None:
        return ()
    chosen = plan.design.chosen
    return tuple(
        PlacedSpeaker(
            key=key,
            room_key=plan.room_key,
            type_id=plan.type_id,
            position=place.position,
            tap_w=None if chosen.taps is None else chosen.taps.tap.power_w,
            note="chosen for the low end",
        )
        for key, place in zip(keys, chosen.places, strict=True)
    )


def plan_room_subs(
    survey: Survey,
    catalogue: Catalogue,
    *,
    room_key: str,
    type_id: str,
    speakers: Sequence[Speaker],
    sound: RoomSound | None,
    wish: Wish = "any",
    own_channels: bool = False,
) -> RoomSubs:
    """Plan the low end of a room of a job; what cannot be computed becomes a named finding.

    Parameters
    ----------
    survey, catalogue
        The job.
    room_key, type_id
        The room and the subwoofer.
    speakers
        All placed speakers.
    sound
        The room's sound with the other speakers; ``None`` where it is not known.
    wish
        Where the architect would like it.
    own_channels
        Each subwoofer has an amplifier channel of its own.

    Returns
    -------
    RoomSubs
        Decision, findings and steps.

    Raises
    ------
    TableError
        If room or type is unknown.
    """
    question = ask_subs(
        survey,
        catalogue,
        room_key=room_key,
        type_id=type_id,
        speakers=speakers,
        sound=sound,
        wish=wish,
        own_channels=own_channels,
    )
    try:
        design = choose_subs(question, limits=survey.limits)
    except SoffitError as error:
        refused = low_end_refused(question.room, error)
        return RoomSubs(room_key=room_key, type_id=type_id, design=None, findings=(refused,))
    return RoomSubs(
        room_key=room_key,
        type_id=type_id,
        design=design,
        findings=find_subs(
            question,
            design,
            limits=survey.limits,
            name=_namer(survey, catalogue, room_key),
            imperial=survey.site.is_imperial,
        ),
        steps=site_steps(design),
    )
