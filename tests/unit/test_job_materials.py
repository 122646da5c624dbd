"""Materials that a job enters itself: read, refused with line and key path, computed with."""

import numpy as np
import pytest

from soffit.acoustics.room import absorption_coefficients, absorption_object_m2
from soffit.errors import JobError
from soffit.evaluate.sound_room import room_acoustics
from soffit.job.catalogue import load_demo_catalogue
from soffit.job.parse import parse_job
from soffit.model.decisions import Survey
from soffit.tables.settings import Limits
from soffit_job_texts import SMALL

FELT = """
[materials.felt]
label = "felt panel"
absorption = [0.25, 0.68, 1.05, 0.95, "90 %", 0.9]
source = "invented sheet"

[[rooms.hall.surfaces]]
part = "walls"
material = "felt"
area = 40
"""

SEATS = """
[materials.seat]
each = [0.1, 0.15, 0.2, 0.3, 0.35, 0.4, 0.4, 0.4]
source = "invented sheet"

[[rooms.hall.surfaces]]
part = "furniture"
material = "seat"
count = 30

[[rooms.hall.surfaces]]
part = "furniture"
material = "person_standing"
count = 4
"""


def survey(text: str) -> Survey:
    return parse_job(text, load_demo_catalogue()).survey


def places(text: str) -> list[str]:
    with pytest.raises(JobError) as caught:
        survey(text)
    return [problem.where for problem in caught.value.problems]


def test_a_job_enters_a_material_in_six_octaves():
    job = survey(SMALL + FELT)
    material = job.materials[0]
    assert material.absorption_ratio == (0.25, 0.25, 0.68, 1.05, 0.95, 0.9, 0.9, 0.9)
    assert (material.id, material.label, material.source) == (
        "felt",
        "felt panel",
        "invented sheet",
    )
    said = [item.text for item in job.assumptions if item.path == "materials.felt.absorption"]
    assert "63 Hz is taken as 125 Hz and 8 kHz as 4 kHz" in said[0]
    assert "1.05 at most" in said[1]
    assert "at 500 Hz" in said[1]


def test_eight_octaves_without_a_value_above_one_need_no_assumption():
    text = FELT.replace('1.05, 0.95, "90 %", 0.9', '1, 0.95, "90 %", 0.9, 0.1, 0.2')
    job = survey(SMALL + text)
    assert job.materials[0].absorption_ratio == (0.25, 0.68, 1.0, 0.95, 0.9, 0.9, 0.1, 0.2)
    assert not [item for item in job.assumptions if item.path.startswith("materials")]


def test_the_room_absorbs_what_its_own_material_does_with_values_above_one_as_one():
    plain, felt = survey(SMALL).room("hall"), survey(SMALL + FELT).room("hall")
    wall = absorption_coefficients("gypsum_board_on_studs")
    own = np.array([0.25, 0.25, 0.68, 1.0, 0.95, 0.9, 0.9, 0.9])
    # the stated 40 m² lie beside what the rest of the walls is assumed to be
    gained = (
        room_acoustics(felt, Limits()).absorption_area_m2
        - room_acoustics(plain, Limits()).absorption_area_m2
    )
    assert gained == pytest.approx(40.0 * (own - wall), abs=1e-9)


def test_a_material_of_the_job_goes_before_the_table():
    text = FELT.replace("materials.felt", "materials.painted_concrete").replace(
        '"felt"', '"painted_concrete"'
    )
    surface = survey(SMALL + text).room("hall").surfaces[0]
    assert surface.absorption_ratio[3] == 1.05


def test_objects_absorb_by_the_piece():
    none = SMALL + SEATS.replace("count = 30", "count = 1").replace("count = 4", "count = 1")
    fewer = room_acoustics(survey(none).room("hall"), Limits()).absorption_area_m2
    more = room_acoustics(survey(SMALL + SEATS).room("hall"), Limits()).absorption_area_m2
    seat = np.array([0.1, 0.15, 0.2, 0.3, 0.35, 0.4, 0.4, 0.4])
    person = absorption_object_m2("person_standing")
    assert more - fewer == pytest.approx(29.0 * seat + 3.0 * person, abs=1e-9)


def test_an_unused_later_key_leaves_the_hash_and_a_material_changes_it():
    catalogue = load_demo_catalogue()
    hashes = {
        parse_job(text, catalogue).job_hash
        for text in (SMALL, SMALL + FELT, SMALL + FELT.replace("0.68", "0.69"))
    }
    assert len(hashes) == 3
    empty = SMALL + "\n[materials]\n"
    assert parse_job(empty, catalogue).job_hash == parse_job(SMALL, catalogue).job_hash


@pytest.mark.parametrize(
    ("old", "new", "path"),
    [
        ("1.05", "1.21", "materials.felt.absorption[2]"),
        ("0.25", "-0.01", "materials.felt.absorption[0]"),
        ("0.25, 0.68", "0.68", "materials.felt.absorption"),
        ("0.25", "nan", "materials.felt.absorption[0]"),
        ("absorption =", "each = [1, 1, 1, 1, 1, 1]\nabsorption =", "materials.felt"),
        ('absorption = [0.25, 0.68, 1.05, 0.95, "90 %", 0.9]', "", "materials.felt"),
        ('source = "invented sheet"', "", "materials.felt"),
        ('material = "felt"', 'material = "fel"', "rooms.hall.surfaces[0].material"),
        ("area = 40", "count = 3", "rooms.hall.surfaces[0].count"),
        ("0.68", "0.68, 0.69", "materials.felt.absorption"),
    ],
)
def test_an_impossible_material_is_refused_at_its_line(old: str, new: str, path: str):
    text = SMALL + FELT
    assert old in text
    where = places(text.replace(old, new, 1))
    assert len(where) == 1, where
    assert path in where[0]
    assert ":" in where[0].split()[0]


@pytest.mark.parametrize(
    ("old", "new", "path"),
    [
        ("count = 30", "area = 30", "rooms.hall.surfaces[0].area"),
        ("count = 30", "", "rooms.hall.surfaces[0].material"),
        ('part = "furniture"', 'part = "floor"', "rooms.hall.surfaces[0].part"),
        ("0.15", "21", "materials.seat.each[1]"),
        ("count = 30", "count = 0", "rooms.hall.surfaces[0].count"),
    ],
)
def test_impossible_objects_are_refused_at_their_line(old: str, new: str, path: str):
    where = places((SMALL + SEATS).replace(old, new, 1))
    assert path in where[0], where


def test_a_wrong_material_is_named_once_however_many_surfaces_use_it():
    text = SMALL + FELT.replace("1.05", "1.5")
    again = '\n[[rooms.hall.surfaces]]\npart = "floor"\nmaterial = "felt"\n'
    assert len(places(text + again)) == 1


@pytest.mark.parametrize(
    ("part", "most_m2"),
    # 12 m by 9 m and 3 m high: 108 m² of floor, 126 m² of walls
    [("floor", 113.4), ("ceiling", 162.0), ("walls", 189.0), ("furniture", 324.0)],
)
def test_areas_that_the_room_cannot_have_are_refused(part: str, most_m2: float):
    def text(area: float) -> str:
        half = f'\n[[rooms.hall.surfaces]]\npart = "{part}"\nmaterial = "carpet_on_pad"\n'
        return SMALL + f"{half}area = {area / 2:.3f}\n" * 2

    assert survey(text(most_m2 - 0.1)).room("hall").surfaces
    assert places(text(most_m2 + 0.1))[0].endswith("rooms.hall.surfaces[1].area")
