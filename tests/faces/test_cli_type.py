"""``soffit type``: directivities into a job with its comments kept, lists, exports, refusals."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from soffit.cli.main import run
from soffit.job.api import open_job, undo
from soffit.job.catalogue import load_demo_catalogue, parse_catalogue
from soffit.job.catalogue_edit import text_with_directivity
from soffit.job.catalogue_text import catalogue_toml, speaker_toml
from soffit.job.polar_csv import parse_polar_csv
from soffit.model.catalogue import BANDS, Directivity, PolarTable
from soffit_job_texts import SMALL

OWN = """\
# my own types, measured in the yard

format = 1
source = "our sheets" # for all

# the small one
[speaker_types.small]
name = "Small" # from the sheet
kind = "ceiling"
taps = [{ power = 6, voltage = 100 }]
tap_watt = "drawn"
rated_power = 10
sensitivity = [60, 70, 80, 85, 87, 88, 88, 85]
depth = 0.1
mass = 1.2
flange_diameter = 0.2
cutout_diameter = 0.18

[speaker_types.small.directivity] # guessed
model = "cosine"
coverage_angle = 90

# its transformer
[speaker_types.small.transformer]
lf_limit = 80
insertion_loss = 1.0

# the part that follows
[hardware_types.hook]
name = "Hook"
kind = "safety wire"
"""


def table(drop_db: float = 12.0) -> str:
    """Levels that fall with the angle, more at high bands."""
    rows = ["angle," + ",".join(BANDS)]
    for angle in range(0, 91, 10):
        levels = [-drop_db * (angle / 90.0) ** 2 * band / 7.0 for band in range(8)]
        rows.append(f"{angle}," + ",".join(f"{level:.2f}" for level in levels))
    return "\n".join(rows) + "\n"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "job.toml").write_text(SMALL, encoding="utf-8")
    (folder / "catalogue.toml").write_text(OWN, encoding="utf-8")
    return folder


@pytest.fixture
def polar(tmp_path: Path) -> Path:
    path = tmp_path / "measured.csv"
    path.write_text(table(), encoding="utf-8")
    return path


def test_a_measured_table_replaces_the_guess_and_keeps_every_other_byte(job: Path, polar: Path):
    assert run(["type", str(polar), "--into", str(job), "--id", "small"]) == 0
    text = (job / "catalogue.toml").read_text(encoding="utf-8")
    guess = OWN.index("[speaker_types.small.directivity]"), OWN.index("# its transformer")
    assert text.startswith(OWN[: guess[0]])
    assert OWN[guess[1] : OWN.index("# the part")].strip() in text
    assert text.rstrip().endswith(OWN[OWN.index("# the part") :].rstrip())
    entry = open_job(job).catalogue.speaker("small")
    assert entry.directivity.model == "polar"
    assert entry.directivity.polar == parse_polar_csv(table()).tables
    note = tomllib.loads(text)["speaker_types"]["small"]["directivity"]["note"]
    assert note.startswith("from measured.csv")


def test_putting_the_same_again_changes_nothing_and_undo_takes_it_back(job: Path, polar: Path):
    words = ["type", str(polar), "--into", str(job), "--id", "small", "--who", "kim"]
    assert run(words) == 0
    first = (job / "catalogue.toml").read_bytes()
    assert run(words) == 0
    assert (job / "catalogue.toml").read_bytes() == first
    assert len((job / "history.jsonl").read_text().splitlines()) == 2
    undo(job)
    assert (job / "catalogue.toml").read_text(encoding="utf-8") == OWN


def test_a_demo_type_is_copied_into_the_job_with_the_measured_table(job: Path, polar: Path):
    assert run(["type", str(polar), "--into", str(job), "--id", "ceiling-4"]) == 0
    text = (job / "catalogue.toml").read_text(encoding="utf-8")
    assert text.startswith(OWN)
    own, demo = parse_catalogue(text).speaker("ceiling-4"), load_demo_catalogue()
    assert own.directivity.polar == parse_polar_csv(table()).tables
    assert own.sensitivity_db == demo.speaker("ceiling-4").sensitivity_db
    assert own.taps == demo.speaker("ceiling-4").taps


def test_a_new_type_takes_its_other_data_from_one_that_exists(
    job: Path, polar: Path, capsys: pytest.CaptureFixture[str]
):
    (job / "catalogue.toml").unlink()
    words = ["type", str(polar), "--into", str(job), "--id", "mine", "--like", "ceiling-6"]
    assert run([*words, "--json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert body["changed"] is True
    assert body["tables"][0]["level_db"]["8k"][-1] == -12.0
    mine = open_job(job).catalogue.speaker("mine")
    assert mine.mass_kg == load_demo_catalogue().speaker("ceiling-6").mass_kg
    assert "check each value" in mine.name


@pytest.mark.parametrize(
    ("words", "where"),
    [
        (["--id", "smal"], "speaker_types.smal"),
        (["--id", "mine", "--like", "ceiling-66"], "speaker_types.ceiling-66"),
        (["--id", "no good", "--like", "ceiling-6"], "speaker_types"),
        (["--id", "grün", "--like", "ceiling-6"], "speaker_types"),
        ([], "command line"),
        (["--id", "a", "--id", "b"], "command line"),
    ],
)
def test_what_cannot_be_put_is_refused_and_nothing_is_written(
    job: Path, polar: Path, capsys: pytest.CaptureFixture[str], words: list[str], where: str
):
    assert run(["type", str(polar), "--into", str(job), *words, "--json"]) == 2
    error = json.loads(capsys.readouterr().out)["error"]
    assert where in error["where"]
    assert all(error[part] for part in ("what", "why", "do"))
    assert (job / "catalogue.toml").read_text(encoding="utf-8") == OWN
    assert not (job / "history.jsonl").exists()


@pytest.mark.parametrize("old", ["-12.00\n", "40,"])
def test_a_file_with_a_hole_is_refused(job: Path, polar: Path, old: str):
    polar.write_text(table().replace(old, "nan\n" if old.endswith("\n") else "x,"), "utf-8")
    assert run(["type", str(polar), "--into", str(job), "--id", "small"]) == 2
    assert (job / "catalogue.toml").read_text(encoding="utf-8") == OWN


@pytest.mark.parametrize("name", ["gone.csv", "gone.sofa"])
def test_a_file_that_is_not_there_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
):
    assert run(["type", str(tmp_path / name), "--id", "small"]) == 2
    assert name in capsys.readouterr().err


def test_without_a_job_the_text_is_printed_and_can_be_read(
    polar: Path, capsys: pytest.CaptureFixture[str]
):
    assert run(["type", str(polar), "--id", "small"]) == 0
    raw = tomllib.loads(capsys.readouterr().out)
    assert raw["speaker_types"]["small"]["directivity"]["polar"][0]["level"][7][-1] == -12.0


def test_an_aes69_file_goes_the_same_way(tmp_path: Path, job: Path):
    """A made-up source whose pressure falls as cos(angle / 2) in every band."""
    h5py = pytest.importorskip("h5py", reason="optional: soffit[directivity]")
    path = tmp_path / "half.sofa"
    elevation, azimuth = np.meshgrid(np.arange(-90, 91, 5.0), np.arange(0, 360, 5.0))
    place = np.stack([azimuth, elevation, np.ones_like(azimuth)], axis=-1).reshape(-1, 3)
    toward = np.cos(np.radians(place[:, 0])) * np.cos(np.radians(place[:, 1]))
    pressure = np.cos(np.arccos(np.clip(toward, -1.0, 1.0)) / 2.0)
    frequency = np.geomspace(40.0, 12000.0, 200)
    with h5py.File(path, "w") as file:
        file.attrs["SOFAConventions"] = np.bytes_("FreeFieldDirectivityTF")
        file["Data.Real"] = np.broadcast_to(pressure[None, :, None], (1, len(place), 200))
        file["Data.Imag"] = np.zeros((1, len(place), 200))
        file["N"] = frequency
        file["ReceiverPosition"] = place
        file["ReceiverPosition"].attrs["Type"] = np.bytes_("spherical")
    assert run(["type", str(path), "--into", str(job), "--id", "small"]) == 0
    (polar,) = open_job(job).catalogue.speaker("small").directivity.polar
    assert polar.plane == "axial"
    at = int(np.argmin(np.abs(np.asarray(polar.angle_rad) - np.pi / 3.0)))
    for band in range(8):
        # 20 lg cos 30 degrees
        assert polar.level_db[band][at] == pytest.approx(-1.25, abs=0.03)


def test_an_inline_directivity_is_replaced_too():
    inline = OWN.replace(
        '[speaker_types.small.directivity] # guessed\nmodel = "cosine"\ncoverage_angle = 90\n', ""
    ).replace(
        "cutout_diameter = 0.18\n",
        'cutout_diameter = 0.18\ndirectivity = { model = "cosine", coverage_angle = 90 }\n',
    )
    tables = parse_polar_csv(table()).tables
    new = text_with_directivity(inline, "small", Directivity(model="polar", polar=tables))
    assert parse_catalogue(new).speaker("small").directivity.polar == tables
    assert "# the small one" in new
    assert "# from the sheet" in new


def test_two_planes_go_in_and_come_out(tmp_path: Path, job: Path):
    angle = tuple(float(a) for a in np.radians(np.arange(0, 91, 10)))
    level = tuple(tuple(-0.1 * band * i + 0.0 for i in range(10)) for band in range(8))
    made = Directivity(
        model="polar",
        polar=(
            PolarTable(angle_rad=angle, level_db=level, plane="horizontal"),
            PolarTable(angle_rad=angle, level_db=level, plane="vertical"),
        ),
    )
    text = text_with_directivity(OWN, "small", made)
    (job / "catalogue.toml").write_text(text, encoding="utf-8")
    out = tmp_path / "out.csv"
    assert run(["type", "--export", str(out), "--id", "small", "--into", str(job)]) == 0
    again = parse_polar_csv(out.read_text(encoding="utf-8")).tables
    assert [one.plane for one in again] == ["horizontal", "vertical"]
    np.testing.assert_allclose([t.level_db for t in again], [level, level], atol=0.0051)


def test_an_exported_catalogue_is_read_again_as_it_was(tmp_path: Path):
    out = tmp_path / "all.toml"
    assert run(["type", "--export", str(out)]) == 0
    again, demo = parse_catalogue(out.read_text(encoding="utf-8")), load_demo_catalogue()
    assert again.amplifier_types == demo.amplifier_types
    assert again.cable_types == demo.cable_types
    assert again.hardware_types == demo.hardware_types
    for one, two in zip(again.speaker_types, demo.speaker_types, strict=True):
        for first, second in zip(one.directivity.polar, two.directivity.polar, strict=True):
            assert first.angle_rad == pytest.approx(second.angle_rad, abs=1e-12)
            assert first.level_db == second.level_db
        assert speaker_toml(one) == speaker_toml(two)
        assert (one.taps, one.transformer, one.low_end) == (two.taps, two.transformer, two.low_end)


def test_texts_with_quotes_line_ends_and_signs_survive_the_export():
    odd = 'a "quoted" \\ back\nnext\ttab \x7f é'
    from dataclasses import replace

    demo = load_demo_catalogue()
    part = replace(demo.hardware_types[0], name=odd, note=odd)
    text = catalogue_toml(replace(demo, hardware_types=(part,)))
    assert tomllib.loads(text)["hardware_types"][part.id]["name"] == odd


def test_types_are_listed_and_shown(job: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["type", "--list", "--into", str(job), "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["types"]
    assert {row["group"] for row in rows} == {"loudspeaker", "amplifier", "cable", "part"}
    assert [row["id"] for row in rows if row["is_own"]] == ["small", "hook"]
    assert run(["type", "--list"]) == 0
    assert "ceiling-6" in capsys.readouterr().out
    assert run(["type", "--show", "small", "--into", str(job)]) == 0
    shown = capsys.readouterr().out
    assert "500 Hz 90°, 1 kHz 90°" in shown
    assert "4 kHz 90°" in shown
    assert tomllib.loads(shown)["speaker_types"]["small"]["depth"] == 0.1
    for other in ("awg16-riser", "terminal-3", load_demo_catalogue().amplifier_types[0].id):
        assert run(["type", "--show", other]) == 0
        assert other in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [
        ["--show", "nothing"],
        ["--export", "types.txt"],
        ["--export", "all.csv"],
        ["--export", "cable.csv", "--id", "awg16-riser"],
        ["--export", "x.toml", "--id", "nothing"],
        ["--list", "--show", "small"],
        [],
        ["--list", "--into", "no-such-folder"],
    ],
)
def test_what_makes_no_sense_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]
):
    monkeypatch.chdir(tmp_path)
    assert run(["type", *words]) == 2
    assert list(tmp_path.iterdir()) == []
