"""First reflections and the diffuse field in placing, against sums written out anew.

The oracle builds every image source by hand (mirror the speaker, not the ear, as the search does),
asks shapely whether both legs of the path stay in the room, and adds energies one by one.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from soffit.acoustics.evenness import evenness
from soffit.decibel import power_ratio_db
from soffit.design.place import choose_layouts, option_speakers
from soffit.design.place_question import make_question
from soffit.evaluate.sound import room_sound
from soffit.evaluate.sound_source import radiator_of
from soffit.model.catalogue import Catalogue
from soffit.model.survey import Brief, PlacedSpeaker, Surface
from soffit.tables.settings import Limits
from soffit_place_cases import rectangle, room, speaker_type

WALLS = Limits(overrides=(("sound_first_images", 1.0), ("sound_ear_grid_m", 0.6)))
PLAIN = Limits(overrides=(("sound_ear_grid_m", 0.6),))
L_SHAPE = ((0.0, 0.0), (7.2, 0.0), (7.2, 4.2), (4.2, 4.2), (4.2, 6.6), (0.0, 6.6))
KIND = speaker_type(100.0)
BAND_4K = 6


def surveyed(outline, measure="whole 4 kHz"):
    made = room(outline, brief=Brief(margin_db=10.0, evenness_measure=measure, evenness_db=1.5))
    surfaces = (Surface(part="floor", material="vinyl_on_concrete"),)
    return replace(made, surfaces=surfaces)


def asked(made, limits=WALLS, placed=()):
    return make_question(
        made,
        speaker_type=KIND,
        voltage_v=100.0,
        obstacles=(),
        catalogue=None,
        placed=placed,
        limits=limits,
        family=None,
        is_imperial=False,
    )


def summed(question, site_m, share_4k):
    """Direct, diffuse and once reflected energy at every ear, path by path."""
    acoustics = question.acoustics
    kind = radiator_of(KIND)
    shape = Polygon(acoustics.walls.outer_m).buffer(1e-7)
    ring = np.asarray(Polygon(acoustics.walls.outer_m).exterior.coords)
    alpha_wall = acoustics.wall_absorption_ratio[BAND_4K]
    alpha_floor = acoustics.floor_absorption_ratio[BAND_4K]
    strength = 10.0 ** (kind.sensitivity_db[BAND_4K] / 10.0)
    # A cosine to a power: -6 dB at half the coverage angle, energy cos^2n.
    power = np.log(10.0 ** (-6.0 / 10.0)) / np.log(np.cos(np.radians(50.0)))

    def path(source, ear, aim):
        way = ear - source
        distance = float(np.linalg.norm(way))
        cosine = float(way @ aim) / distance
        return strength * max(cosine, 0.0) ** power / distance**2

    out = np.zeros(question.ears.count)
    down = np.array([0.0, 0.0, -1.0])
    for number, ear in enumerate(question.ears.point_m):
        for speaker in site_m:
            air = 10.0 ** (
                -acoustics.air_db_m[BAND_4K] * float(np.linalg.norm(ear - speaker)) / 10.0
            )
            if shape.covers(LineString([speaker[:2], ear[:2]])):
                out[number] += path(speaker, ear, down) * air
            below = speaker * np.array([1.0, 1.0, -1.0])
            out[number] += (1.0 - alpha_floor) * path(below, ear, -down)
            for a, b in pairwise(ring):
                along = (b - a) / np.linalg.norm(b - a)
                normal = np.array([-along[1], along[0]])
                away = float((speaker[:2] - a) @ normal)
                image = speaker.copy()
                image[:2] -= 2.0 * away * normal
                side = float((ear[:2] - a) @ normal)
                if away * side <= 0.0:
                    continue
                hit = image[:2] + (ear[:2] - image[:2]) * away / (away + side)
                if not -1e-9 <= float((hit - a) @ along) <= np.linalg.norm(b - a) + 1e-9:
                    continue
                legs = (LineString([speaker[:2], hit]), LineString([hit, ear[:2]]))
                if all(shape.covers(leg) for leg in legs):
                    out[number] += (1.0 - alpha_wall) * path(image, ear, down)
    mean = min(acoustics.absorption_area_m2[BAND_4K] / acoustics.surface_m2, 0.99)
    constant = acoustics.room_constant_m2[BAND_4K] / (1.0 - mean)
    diffuse = 16.0 * np.pi * strength / (kind.directivity_factor[BAND_4K] * constant)
    return (out + len(site_m) * diffuse) * share_4k


@pytest.mark.parametrize("outline", [rectangle(6.6, 4.8), L_SHAPE], ids=["rectangle", "L"])
def test_a_layout_has_the_energy_of_every_path_summed_by_hand(outline) -> None:
    question = asked(surveyed(outline))
    field = question.field()
    rng = np.random.default_rng(5)
    plan = np.array([[1.5, 1.5], [3.3, 3.3], [5.7, 2.1], *rng.uniform(0.4, 4.0, (2, 2))])
    site_m = np.column_stack([plan, np.full(len(plan), 3.0)])
    ours = power_ratio_db(field.energy(site_m))
    theirs = power_ratio_db(summed(question, site_m, question.share[BAND_4K]))
    assert np.max(np.abs(ours - theirs)) < 0.002  # two radial tables of 0.001 dB each


@pytest.mark.parametrize("limits", [WALLS, PLAIN], ids=["walls", "diffuse only"])
@pytest.mark.parametrize("measure", ["whole 4 kHz", "direct 4 kHz"])
@pytest.mark.parametrize("outline", [rectangle(6.6, 4.8), L_SHAPE], ids=["rectangle", "L"])
def test_every_alternative_has_the_figures_of_the_public_field(outline, measure, limits) -> None:
    made = surveyed(outline, measure)
    made = replace(made, brief=replace(made.brief, evenness_db=3.0))
    result = choose_layouts(made, speaker_type=KIND, line_voltage_v=100.0, limits=limits)
    assert result.chosen.meets_brief
    assert ("first reflections" in result.model_text) == (limits is WALLS)
    for option in result.options[:4]:
        keys = [f"s{i}" for i in range(option.count)]
        speakers = option_speakers(
            made, option, speaker_type=KIND, line_voltage_v=100.0, keys=keys, limits=limits
        )
        sound = room_sound(
            made, Catalogue(speaker_types=(KIND,)), speakers, limits=limits, line_voltage_v=100.0
        )
        # Alternatives come from single-precision columns; the chosen one is exact.
        error = 2e-4 if option is result.chosen else 6e-3
        assert option.spread_db == pytest.approx(sound.evenness[measure].spread_db, abs=error)
        assert option.whole_spread_db == pytest.approx(
            sound.evenness["whole 4 kHz"].spread_db, abs=error
        )


def test_the_default_is_chosen_on_direct_sound_whatever_is_printed_beside_it() -> None:
    made = surveyed(rectangle(6.6, 4.8), "direct 4 kHz")
    with_walls = choose_layouts(made, speaker_type=KIND, line_voltage_v=100.0, limits=WALLS)
    without = choose_layouts(made, speaker_type=KIND, line_voltage_v=100.0, limits=PLAIN)
    assert with_walls.chosen.positions == without.chosen.positions
    assert with_walls.chosen.spread_db == without.chosen.spread_db
    assert with_walls.chosen.whole_spread_db != without.chosen.whole_spread_db


def test_a_speaker_put_by_hand_brings_its_reflections_too() -> None:
    made = surveyed(rectangle(6.6, 4.8))
    hung = PlacedSpeaker(
        key="p",
        room_key="room",
        type_id=KIND.id,
        position=(3.3, 2.1),
        tap_w=6.0,
        mount_height_m=3.0,
    )
    question = asked(made, placed=(hung,))
    ratio = 6.0 / question.guess_w
    alone = summed(question, np.array([[3.3, 2.1, 3.0]]), question.share[BAND_4K]) * ratio
    ours = power_ratio_db(question.field().fixed_energy)
    assert np.max(np.abs(ours - power_ratio_db(alone))) < 0.002  # radial tables


def test_the_spread_of_reflected_energy_is_the_spread_that_the_search_ranks_on() -> None:
    question = asked(surveyed(rectangle(6.6, 4.8)))
    site_m = np.array([[1.5, 1.5, 3.0], [4.5, 3.3, 3.0]])
    by_hand = evenness(power_ratio_db(summed(question, site_m, 1.0))).spread_db
    ours = evenness(power_ratio_db(question.field().energy(site_m))).spread_db
    assert abs(by_hand - ours) < 0.002  # radial tables
