"""Polar tables from text files: what comes in comes out, and wrong files are refused."""

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from soffit.errors import JobError
from soffit.job.catalogue import load_demo_catalogue, parse_catalogue
from soffit.job.polar_csv import (
    parse_polar_csv,
    polar_csv,
    polar_toml,
    read_polar_csv,
)
from soffit.model.catalogue import BANDS

HEAD = "angle," + ",".join(BANDS)


def table(level: Callable[[float, int], float], angles: list[float] | None = None) -> str:
    angles = angles if angles is not None else list(range(0, 181, 10))
    rows = [
        f"{angle}," + ",".join(f"{level(angle, band):.3f}" for band in range(8)) for angle in angles
    ]
    return "\n".join([HEAD, *rows]) + "\n"


def cardioid(angle: float, band: int) -> float:
    return 20 * math.log10(0.55 + 0.45 * math.cos(math.radians(angle)) ** (1 + band))


def quiet(angle: float, band: int) -> float:
    return -angle / 90 * (band + 1)


def test_a_table_is_read_as_it_stands() -> None:
    read = parse_polar_csv(table(quiet))
    (polar,) = read.tables
    assert polar.plane == "axial"
    assert np.degrees(polar.angle_rad) == pytest.approx(np.arange(0, 181, 10))
    assert polar.level_db[7][9] == pytest.approx(-8.0)
    assert read.notes == ()


def test_levels_become_relative_to_the_axis() -> None:
    absolute = parse_polar_csv(table(lambda angle, band: 88.0 + band + quiet(angle, band)))
    assert absolute.tables == parse_polar_csv(table(quiet)).tables


@pytest.mark.parametrize("mark", [";", "\t"])
def test_other_separators_and_decimal_commas(mark: str) -> None:
    text = table(quiet).replace(",", mark).replace(".", ",")
    assert parse_polar_csv(text).tables == parse_polar_csv(table(quiet)).tables


def test_both_sides_of_a_plane_are_averaged_by_energy() -> None:
    angles = [*range(-180, 0, 10), *range(0, 181, 10)]
    read = parse_polar_csv(
        table(
            lambda angle, band: (
                quiet(abs(angle), band)
                if angle >= 0
                else quiet(abs(angle), band) - 6.0 * (abs(angle) not in (0, 180))
            ),
            angles,
        )
    )
    expected = 10 * math.log10((1 + 10**-0.6) / 2)
    assert read.tables[0].level_db[7][9] == pytest.approx(-8.0 + expected, abs=0.01)
    assert "both sides" in read.notes[0]


def test_angles_up_to_360_are_the_other_side() -> None:
    angles = list(range(0, 360, 10))
    read = parse_polar_csv(table(lambda angle, band: quiet(min(angle, 360 - angle), band), angles))
    assert read.tables == parse_polar_csv(table(quiet)).tables


def test_thirds_of_an_octave_are_averaged_by_energy() -> None:
    thirds = [50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000,
              2500, 3150, 4000, 5000, 6300, 8000, 10000]  # fmt: skip
    rows = ["angle," + ",".join(str(hertz) for hertz in thirds)]
    rows += [
        f"{angle},"
        + ",".join("0" if angle == 0 else f"{-6 - (hertz == 4000) * 3}" for hertz in thirds)
        for angle in range(0, 181, 10)
    ]
    read = parse_polar_csv("\n".join(rows))
    at_4k = read.tables[0].level_db[BANDS.index("4k")][3]
    assert at_4k == pytest.approx(10 * math.log10((2 * 10**-0.6 + 10**-0.9) / 3), abs=0.006)
    assert read.tables[0].level_db[BANDS.index("1k")][3] == pytest.approx(-6.0, abs=0.006)


def test_missing_low_bands_are_said() -> None:
    text = "\n".join(
        ",".join(cell for index, cell in enumerate(line.split(",")) if index not in (1, 2))
        for line in table(quiet).splitlines()
    )
    read = parse_polar_csv(text)
    assert read.tables[0].level_db[0] == read.tables[0].level_db[2]
    assert "below 250 Hz" in read.notes[0]


def test_two_planes_in_one_table() -> None:
    lines = table(quiet).splitlines()
    head = lines[0].replace("angle,", "angle,plane,")
    rows = [
        line.replace(",", f",{plane},", 1)
        for plane in ("horizontal", "vertical")
        for line in lines[1:]
    ]
    read = parse_polar_csv("\n".join([head, *rows]))
    assert [polar.plane for polar in read.tables] == ["horizontal", "vertical"]


def test_what_is_written_is_read_again() -> None:
    for entry in load_demo_catalogue().speaker_types:
        polar = entry.directivity.polar
        again = parse_polar_csv(polar_csv(polar)).tables
        assert [item.plane for item in again] == [item.plane for item in polar]
        for first, second in zip(again, polar, strict=True):
            assert np.allclose(first.angle_rad, second.angle_rad)
            assert np.allclose(first.level_db, second.level_db, atol=0.006)


def test_the_text_for_a_catalogue_is_read_by_it() -> None:
    tables = parse_polar_csv(table(cardioid)).tables
    text = f"""
format = 1
[speaker_types.mine]
name = "Mine"
kind = "ceiling"
taps = [{{ power = "5 W", voltage = 100 }}]
tap_watt = "drawn"
rated_power = "10 W"
sensitivity = [70, 80, 85, 86, 87, 88, 88, 85]
depth = "100 mm"
mass = "2 kg"
flange_diameter = "200 mm"
cutout_diameter = "180 mm"

[speaker_types.mine.transformer]
lf_limit = "80 Hz"
insertion_loss = 1

{polar_toml("mine", tables)}"""
    read = parse_catalogue(text).speaker("mine").directivity
    assert np.allclose(read.polar[0].level_db, tables[0].level_db, atol=0.006)
    assert np.allclose(read.polar[0].angle_rad, tables[0].angle_rad, atol=1e-6)


BAD = {
    "letters": table(quiet).replace("-2.000", "loud"),
    "nan": table(quiet).replace("-2.000", "nan"),
    "radians": table(quiet, [round(x, 3) for x in np.linspace(0, math.pi, 19)]),
    "ratios": table(lambda angle, band: max(0.0, 1 - angle / 200)),
    "all the same": table(lambda angle, band: -3.0),
    "no axis": table(quiet, list(range(10, 181, 10))),
    "ends early": table(quiet, list(range(0, 61, 10))),
    "hole": table(quiet, [0, 10, 20, 50, 60, 70, 80, 90]),
    "beyond": table(quiet, [*range(0, 181, 10), -190]),
    "missing band": "\n".join(
        ",".join(cell for index, cell in enumerate(line.split(",")) if index != 6)
        for line in table(quiet).splitlines()
    ),
    "missing top": "\n".join(line.rsplit(",", 1)[0] for line in table(quiet).splitlines()),
    "short row": table(quiet).replace("\n90,", "\n90,1,"),
    "no head": "\n".join(table(quiet).splitlines()[1:]),
    "bad frequency": table(quiet).replace("1k", "1 GHz"),
    "odd plane": table(quiet).replace("angle,", "angle,plane,", 1).replace("\n", "\n", 1),
    "empty": "",
    "comments only": "# nothing\n# here\n# at all\n",
}


@pytest.mark.parametrize("name", sorted(BAD))
def test_what_an_import_may_get_wrong_is_refused_in_four_parts(name: str) -> None:
    with pytest.raises(JobError) as caught:
        parse_polar_csv(BAD[name], name="speaker.csv")
    problem = caught.value.problems[0]
    assert problem.what
    assert "speaker.csv" in problem.where
    assert problem.why
    assert problem.do


def test_a_missing_and_a_binary_file(tmp_path: Path) -> None:
    with pytest.raises(JobError):
        read_polar_csv(tmp_path / "none.csv")
    binary = tmp_path / "x.csv"
    binary.write_bytes(b"\xff\xfe\x00\x81" * 100)
    with pytest.raises(JobError):
        read_polar_csv(binary)
    large = tmp_path / "large.csv"
    large.write_bytes(b"0," * 3_000_000)
    with pytest.raises(JobError):
        read_polar_csv(large)
    good = tmp_path / "good.csv"
    good.write_text("# made by hand\n" + table(quiet), encoding="utf-8-sig")
    assert read_polar_csv(good).tables
