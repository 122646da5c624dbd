"""``soffit line`` as a person or a script calls it."""

import json
import subprocess
import sys

import pytest

from soffit.cli.main import run

LADDER = [
    *("--volts", "70.7", "--speakers", "10", "--tap", "10 W", "--feed", "10 m"),
    *("--spacing", "10 m", "--cable", "18 AWG", "--temperature", "20"),
]


def test_ladder_as_json(capsys):
    assert run(["line", *LADDER, "--headroom", "10%", "--json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert body["speakers"][-1]["loss_db"] == pytest.approx(0.3942, abs=5e-5)
    assert body["speakers"][0]["loss_db"] == pytest.approx(0.0708, abs=5e-5)
    assert body["impedance_ohm"] == pytest.approx(51.605, abs=5e-4)
    assert body["worst_loss_db"] == body["speakers"][-1]["loss_db"]
    assert body["load_w"] == 100.0
    assert body["amplifier_w_min"] == 110.0
    assert body["drawn_w"] == pytest.approx(5000.0 / 51.605, rel=1e-5)
    assert body["speakers"][3]["voltage_v"] < body["speakers"][2]["voltage_v"]
    assert body["findings"] == []


def test_same_numbers_for_people(capsys):
    assert run(["line", *LADDER]) == 0
    text = capsys.readouterr().out
    assert "0.3942 dB" in text
    assert "51.605 ohm" in text
    assert "licensed" in text


def test_a_loss_over_the_limit_ends_with_1(capsys):
    words = ["--volts", "25", "--speakers", "5", "--tap", "20 W", "--feed", "30 m"]
    assert run(["line", *words, "--cable", "18 AWG", "--json"]) == 1
    (finding,) = json.loads(capsys.readouterr().out)["findings"]
    assert finding["severity"] == "stop"


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["--speakers", "0", "--tap", "5 W", "--feed", "3 m", "--cable", "18 AWG"],
        ["--speakers", "two", "--tap", "5 W", "--feed", "3 m", "--cable", "18 AWG"],
        ["--speakers", "3", "--tap", "-5 W", "--feed", "3 m", "--cable", "18 AWG"],
        ["--speakers", "3", "--tap", "5 W", "--feed", "-3 m", "--cable", "18 AWG"],
        ["--speakers", "3", "--tap", "5 W", "--feed", "3 m", "--cable", "18 gauge wire"],
        ["--speakers", "3", "--tap", "5 W", "--feed", "3 m", "--cable", "1.7 mm2"],
        [*LADDER, "--headroom", "900%"],
        [*LADDER, "--volts", "0"],
        [*LADDER, "--temperature", "900"],
        [*LADDER, "--insertion-loss", "-1 dB"],
        ["no-such-file.txt", "--cable", "18 AWG"],
    ],
)
def test_bad_calls_end_with_2_and_four_parts(words, capsys):
    assert run(["line", *words, "--json"]) == 2
    error = json.loads(capsys.readouterr().out)["error"]
    assert all(error[part] for part in ("what", "where", "why", "do"))


def test_description_from_a_file_with_drawings(tmp_path, capsys):
    file = tmp_path / "odd.txt"
    file.write_text("amplifier, A, 20 ft, 5 W\nA, B, 12 ft, 5 W\n", encoding="utf-8")
    drawn, curve = tmp_path / "line.svg", tmp_path / "z.svg"
    words = [str(file), "--cable", "16 AWG", "--schematic", str(drawn), "--curve", str(curve)]
    assert run(["line", *words]) == 0
    assert "ft" in capsys.readouterr().out
    assert drawn.read_text(encoding="utf-8").startswith("<svg")
    assert curve.read_text(encoding="utf-8").startswith("<svg")


def test_a_binary_file_is_refused(tmp_path, capsys):
    file = tmp_path / "odd.bin"
    file.write_bytes(b"\xff\xfe\x00\x81")
    assert run(["line", str(file), "--cable", "16 AWG", "--json"]) == 2
    assert "UTF-8" in json.loads(capsys.readouterr().out)["error"]["why"]


def test_description_from_standard_input():
    done = subprocess.run(
        [sys.executable, "-c", "from soffit.cli.main import main; main()", "line", "-", "--json"],
        check=False,
        input="amplifier, A, 20 m, 5 W, 1.5 mm2\n",
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0
    assert json.loads(done.stdout)["load_w"] == 5.0


def test_starts_without_heavy_modules():
    code = (
        "import sys; from soffit.cli.main import run;"
        "run(['line','--speakers','3','--tap','5 W','--feed','3 m','--cable','18 AWG']);"
        "heavy={'scipy','pydantic','rich','shapely','fastapi','typst','highspy'};"
        "found=heavy & {name.split('.')[0] for name in sys.modules};"
        "sys.exit(str(found) if found else 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=False, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
