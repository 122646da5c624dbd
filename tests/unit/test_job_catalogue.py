"""Reading catalogues: the demo types, a job's own, and what is refused."""

import json
import math
from pathlib import Path

import pytest

from soffit.errors import JobError
from soffit.job.api import (
    catalogue_as_dict,
    load_demo_catalogue,
    merged,
    parse_catalogue,
    read_catalogue,
)

ROW = "[0, -1, -3]"
TYPE = f"""\
format = 1
source = "data sheet 3"

[speaker_types.own]
name = "Own type"
kind = "ceiling"
taps = [
  {{ power = "3 W", voltage = 70.7, mark = "A" }},
  {{ power = "6 W", voltage = 70.7, mark = "B" }},
  {{ power = "3 W", voltage = "100 V", mark = "C" }},
]
tap_watt = "drawn"
rated_power = "16 W"
sensitivity = [70, 75, 80, 86, 87, 87, 88, 85]
cutout_diameter = "6 in"
flange_diameter = "7 in"
depth = "4 in"
mass = "3 lb"
transformer = {{ lf_limit = "80 Hz", insertion_loss = 1 }}

[speaker_types.own.directivity]
model = "polar"
polar = [{{ angle = [0, 45, 90], level = [{", ".join([ROW] * 8)}] }}]

[cable_types.own]
name = "Own cable"
gauge = "1.5 mm2"
conductor = "class 5"
"""


def wrong(old: str, new: str) -> list[str]:
    assert TYPE.count(old) >= 1
    with pytest.raises(JobError) as caught:
        parse_catalogue(TYPE.replace(old, new, 1))
    assert all(p.what and p.where and p.why and p.do for p in caught.value.problems)
    return [problem.where.split("  ")[-1] for problem in caught.value.problems]


def test_the_demo_catalogue_says_that_it_is_invented():
    catalogue = load_demo_catalogue()
    entries = (
        *catalogue.speaker_types,
        *catalogue.amplifier_types,
        *catalogue.cable_types,
        *catalogue.hardware_types,
    )
    assert {kind.kind for kind in catalogue.speaker_types} == {
        "ceiling",
        "pendant",
        "surface",
        "subwoofer",
    }
    assert all("invented" in entry.source for entry in entries)


def test_values_are_si_and_sources_are_kept():
    catalogue = parse_catalogue(TYPE)
    own = catalogue.speaker("own")
    assert own.cutout_diameter_m == pytest.approx(6 * 0.0254)
    assert own.mass_kg == pytest.approx(3 * 0.45359237)
    assert own.taps[0].voltage_v == 100 / math.sqrt(2)
    assert own.taps[2].voltage_v == 100.0
    assert own.directivity.polar[0].angle_rad[-1] == pytest.approx(math.pi / 2)
    assert own.source == "data sheet 3"
    assert (catalogue.cable("own").gauge_system, catalogue.cable("own").gauge) == ("mm2", "1.5")


def test_a_jobs_own_types_add_to_the_demo_and_override_it():
    demo = load_demo_catalogue()
    own = parse_catalogue(TYPE.replace("speaker_types.own", "speaker_types.ceiling-4"))
    both = merged(demo, own)
    assert both.speaker("ceiling-4").name == "Own type"
    assert both.speaker("ceiling-6") == demo.speaker("ceiling-6")
    assert len(both.cable_types) == len(demo.cable_types) + 1


def test_export_can_be_written_as_json():
    text = json.dumps(catalogue_as_dict(load_demo_catalogue()), allow_nan=False)
    assert "ceiling-sub" in text


@pytest.mark.parametrize(
    ("old", "new", "path"),
    [
        ('power = "6 W"', 'power = "3 W"', "taps[1].power"),
        ('power = "6 W"', 'power = "2 W"', "taps[1].power"),
        ('power = "6 W"', "power = 0", "taps[1].power"),
        ('power = "6 W"', 'power = "6 lb"', "taps[1].power"),
        ("[0, 45, 90]", "[0, 90, 45]", "directivity.polar[0].angle"),
        ("[0, 45, 90]", "[5, 45, 90]", "directivity.polar[0].angle"),
        ("[0, 45, 90]", "[0, 30, 60]", "directivity.polar[0].angle"),
        (ROW, "[0, -1]", "directivity.polar[0].level[0]"),
        (ROW, "[0, nan, -3]", "directivity.polar[0].level[0][1]"),
        (ROW, "[0, -999, -3]", "directivity.polar[0].level[0][1]"),
        (ROW, "[2, -1, -3]", "directivity.polar[0].level[0][0]"),
        (f"{ROW}, ", "", "directivity.polar[0].level"),
        ('model = "polar"', 'model = "piston"', "directivity"),
        ("sensitivity = [70, ", "sensitivity = [", "sensitivity"),
        ("sensitivity = [70", "sensitivity = [inf", "sensitivity[0]"),
        ('cutout_diameter = "6 in"', 'cutout_diameter = "8 in"', "cutout_diameter"),
        ('cutout_diameter = "6 in"\n', "", ""),
        ('mass = "3 lb"', "mass = -1", "mass"),
        ('mass = "3 lb"', "mass = '3 lb'\nmas = 1", "mas"),
        ('tap_watt = "drawn"\n', "", ""),
    ],
)
def test_what_no_type_can_be_is_refused(old: str, new: str, path: str):
    expected = f"speaker_types.own.{path}".rstrip(".")
    assert expected in wrong(old, new)


@pytest.mark.parametrize("gauge", ["1.5", "banana", "1.5 in"])
def test_a_gauge_needs_its_system(gauge: str):
    assert wrong("1.5 mm2", gauge) == ["cable_types.own.gauge"]


def test_a_conductor_goes_with_its_system():
    assert wrong('"class 5"', '"stranded"') == ["cable_types.own.conductor"]


def test_a_file_that_is_not_there_is_an_error(tmp_path: Path):
    with pytest.raises(JobError):
        read_catalogue(tmp_path / "catalogue.toml")
