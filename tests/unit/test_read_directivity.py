"""A measured directivity becomes the polar tables of a catalogue entry.

The measurement here is made up: a rigid piston, whose octave tables are known otherwise.
"""

import tomllib

import numpy as np
import pytest
from scipy.special import j1

from soffit.acoustics.directivity import FINE_ANGLE_RAD, piston, polar_table
from soffit.acoustics.measured_directivity import measured_directivity
from soffit.errors import DomainError, JobError
from soffit.work.read_directivity import catalogue_text, read_directivity

h5py = pytest.importorskip("h5py", reason="optional: soffit[directivity]")

RADIUS_M = 0.065
FREQUENCY = np.geomspace(40.0, 12000.0, 1600)


def directions(step_deg: float = 5.0, azimuths: int = 8) -> np.ndarray:
    """Azimuth and elevation as spherical coordinates about the x axis being the front."""
    found = [(1.0, 0.0, 0.0)]
    for angle in np.radians(np.arange(step_deg, 180.1, step_deg)):
        found += [
            (np.cos(angle), np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn))
            for turn in np.arange(azimuths) * 2 * np.pi / azimuths
        ]
    return np.array(found)


def pressure(toward: np.ndarray, stretch: float = 1.0) -> np.ndarray:
    """Piston, in the vertical plane ``stretch`` times as large."""
    angle = np.arccos(np.clip(toward[:, 0], -1, 1))
    radius = RADIUS_M * np.where(np.abs(toward[:, 2]) > 1e-9, stretch, 1.0)
    x = 2 * np.pi * FREQUENCY[None, :] / 343.2 * (radius * np.sin(angle))[:, None]
    safe = np.where(x < 1e-9, 1.0, x)
    return np.where(x < 1e-9, 1.0, 2 * j1(safe) / safe)


def write(path, toward, values, *, convention="FreeFieldDirectivityTF", leave_out=""):
    radius = np.ones(len(toward))
    azimuth = np.degrees(np.arctan2(toward[:, 1], toward[:, 0]))
    elevation = np.degrees(np.arcsin(np.clip(toward[:, 2], -1, 1)))
    with h5py.File(path, "w") as file:
        file.attrs["SOFAConventions"] = np.bytes_(convention)
        parts = {
            "Data.Real": values[None, :, :] * np.cos(1.0),
            "Data.Imag": values[None, :, :] * np.sin(1.0),
            "N": FREQUENCY,
            "ReceiverPosition": np.stack([azimuth, elevation, radius], axis=-1)[..., None],
            "SourceView": np.array([[1.0, 0.0, 0.0]]),
            "SourceUp": np.array([[0.0, 0.0, 1.0]]),
        }
        for name, part in parts.items():
            if name != leave_out:
                file[name] = part
        if "ReceiverPosition" in file:
            file["ReceiverPosition"].attrs["Type"] = np.bytes_("spherical")


def test_a_measured_piston_has_the_octave_tables_of_a_piston(tmp_path):
    path = tmp_path / "piston.sofa"
    toward = directions()
    write(path, toward, pressure(toward))
    found = read_directivity(path)
    assert found.is_round
    assert found.missing == ()
    exact = piston(radius_m=RADIUS_M, tones=201).energy_ratio
    at = np.searchsorted(FINE_ANGLE_RAD, found.angle_rad[:19] - 1e-9)
    for band in range(8):
        expected = 10 * np.log10(exact[at, band])
        loud = expected > -25.0
        np.testing.assert_allclose(found.axial_db[:19, band][loud], expected[loud], atol=0.1)


def test_its_text_is_what_the_catalogue_reads(tmp_path):
    path = tmp_path / "piston.sofa"
    toward = directions()
    write(path, toward, pressure(toward))
    found = read_directivity(path)
    text = catalogue_text(found, type_id="demo", source="a made-up measurement")
    entry = tomllib.loads(text)["speaker_types"]["demo"]["directivity"]
    assert entry["model"] == "polar"
    (table,) = entry["polar"]
    made = polar_table(
        angle_rad=np.radians(table["angle"]), level_db=np.transpose(table["level"]), baffled=True
    )
    assert made.energy_ratio[:, 6] == pytest.approx(
        piston(radius_m=RADIUS_M).energy_ratio[:, 6], abs=0.05
    )
    assert "-0.0," not in text


def test_a_speaker_that_is_taller_than_wide_gets_two_planes(tmp_path):
    path = tmp_path / "tall.sofa"
    toward = directions()
    write(path, toward, pressure(toward, stretch=2.0))
    found = read_directivity(path)
    assert not found.is_round
    assert found.vertical_db[6, 6] < found.horizontal_db[6, 6] - 6.0
    planes = tomllib.loads(catalogue_text(found, type_id="tall", source="x"))
    tables = planes["speaker_types"]["tall"]["directivity"]["polar"]
    assert [table["plane"] for table in tables] == ["horizontal", "vertical"]


def test_octaves_that_were_not_measured_are_named():
    toward = directions()
    high = FREQUENCY > 180.0
    found = measured_directivity(
        direction=toward, frequency_hz=FREQUENCY[high], energy=pressure(toward)[:, high] ** 2
    )
    assert found.missing == ("63 Hz", "125 Hz")
    np.testing.assert_allclose(found.axial_db[:, 0], found.axial_db[:, 2])


@pytest.mark.parametrize(
    "options",
    [{"convention": "SimpleFreeFieldHRIR"}, {"leave_out": "N"}, {"leave_out": "Data.Imag"}],
)
def test_other_files_are_refused_in_words(tmp_path, options):
    path = tmp_path / "other.sofa"
    toward = directions(30.0)
    write(path, toward, pressure(toward), **options)
    with pytest.raises(JobError) as caught:
        read_directivity(path)
    assert caught.value.problems[0].where == "other.sofa"


def test_a_file_that_is_no_such_file_is_refused(tmp_path):
    path = tmp_path / "text.sofa"
    path.write_text("hello", encoding="utf-8")
    with pytest.raises(JobError):
        read_directivity(path)


def test_gaps_and_values_that_are_no_numbers_are_refused():
    toward = directions()
    energy = pressure(toward) ** 2
    ahead = toward[:, 0] > np.cos(np.radians(50.0))
    with pytest.raises(DomainError):
        measured_directivity(direction=toward[ahead], frequency_hz=FREQUENCY, energy=energy[ahead])
    energy[3, 5] = np.nan
    with pytest.raises(DomainError):
        measured_directivity(direction=toward, frequency_hz=FREQUENCY, energy=energy)
    with pytest.raises(DomainError):
        measured_directivity(
            direction=directions(), frequency_hz=[1.0, 2.0], energy=np.ones((len(toward), 2))
        )
