"""``soffit prove``, ``trace`` and ``retap`` as a person or a script calls them."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from soffit.cli.main import run
from soffit.cli.trace import command as trace_command
from soffit.job.api import open_job, read_job, write_design
from soffit.model.catalogue import Tap
from soffit.model.decisions import Design
from soffit.model.lines import Amplifier, Channel, Line, Run
from soffit.model.speakers import Speaker
from soffit.work.demo import make_demo
from soffit.work.view_tests import commissioning_rows
from soffit.work.whole import evaluate_job

LINE_V = 70.71067811865476
TOLD = ["--speakers", "8", "--tap", "5 W", "--volts", "70.7", "--feed", "20 m", "--spacing", "6 m",
        "--cable", "16 AWG"]  # fmt: skip


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """The demo job with one line of six, laid by hand: no search runs here."""
    folder = make_demo("library", tmp_path / "job")
    read = read_job(folder)
    kind = next(k for k in read.catalogue.speaker_types if k.kind == "ceiling")
    tap = Tap(power_w=kind.taps_at(LINE_V)[1].power_w, voltage_v=LINE_V)
    room = read.survey.room("hall")
    ceiling = room.ceilings[0]
    xs = [point[0] for point in room.outline]
    ys = [point[1] for point in room.outline]
    speakers = tuple(
        Speaker(
            key=f"s{i + 1:04d}",
            label=f"L1-{i + 1:02d}",
            room_key=room.key,
            ceiling_key=ceiling.key,
            type_id=kind.id,
            position=(
                min(xs) + (max(xs) - min(xs)) * (i + 0.5) / 6.0,
                min(ys) + (max(ys) - min(ys)) * (0.3 + 0.4 * (i % 2)),
            ),
            mount_height_m=ceiling.height_m,
            tap=tap,
            line_key="l0001",
        )
        for i in range(6)
    )
    rack = read.survey.racks[0].key
    cable = read.catalogue.cable_types[0].id
    runs = tuple(
        Run(
            key=f"r{i + 1:04d}",
            label=f"L1/{i + 1}",
            start_key=rack if i == 0 else f"s{i:04d}",
            end_key=f"s{i + 1:04d}",
            length_m=12.0 if i == 0 else 5.0,
            cable_id=cable,
        )
        for i in range(6)
    )
    line = Line(
        key="l0001",
        label="L1",
        voltage_v=LINE_V,
        zone_keys=(),
        rack_key=rack,
        speaker_keys=tuple(speaker.key for speaker in speakers),
        runs=runs,
    )
    amplifier = Amplifier(
        key="a0001",
        label="A1",
        type_id=read.catalogue.amplifier_types[0].id,
        rack_key=rack,
        channels=(Channel(number=1, line_keys=("l0001",)),),
    )
    design = Design(speakers=speakers, lines=(line,), amplifiers=(amplifier,), next_key=100)
    write_design(folder, design, read.design.revision, date="2026-01-01")
    return folder


def spoken(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict]:
    code = run([*words, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_expected_readings_as_json(job, capsys):
    code, body = spoken(capsys, "prove", str(job), "--expect")
    assert code == 0
    rack = [row for row in body["expected"] if row["direction"] == "whole" and row["middle"]]
    assert len(rack) == 1
    assert rack[0]["low"] < rack[0]["middle"] < rack[0]["high"]


def test_a_reading_is_kept_judged_and_can_be_struck_but_not_lost(job, capsys):
    _, sheet = spoken(capsys, "prove", str(job), "--expect")
    middle = next(r["middle"] for r in sheet["expected"] if r["direction"] == "whole" and r["plan"])
    code, body = spoken(capsys, "prove", str(job), "--add", f"L1 whole {middle:.4g}", "--who", "me")
    assert code == 0
    assert [v["status"] for v in body["verdicts"]] == ["pass"]
    assert "not proven" in body["lines"][0]["verdict"]
    code, body = spoken(capsys, "prove", str(job), "--add", "L1-03 silent")
    assert code == 1
    assert body["verdicts"][-1]["status"] == "fail"
    key = body["verdicts"][0]["key"]
    code, body = spoken(capsys, "prove", str(job), "--strike", key)
    assert len(body["verdicts"]) == 1
    lines = (job / "readings.jsonl").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 3
    assert any(key in line for line in lines)


def test_odd_readings_are_asked_about_and_not_kept(job, capsys):
    code, body = spoken(capsys, "prove", str(job), "--add", "L1 whole 0", "--add", "L8-01 silent")
    assert code == 2
    assert {d["code"] for d in body["doubts"]} == {"zero", "unknown place"}
    assert body["added"] == []
    code, body = spoken(capsys, "prove", str(job), "--add", "L1 whole 0.5")
    assert [d["code"] for d in body["doubts"]] == ["kilo"]
    code, body = spoken(capsys, "prove", str(job), "--add", "L1 whole 0.5", "--sure")
    assert len(body["added"]) == 1


def test_a_table_of_readings(job, capsys, tmp_path):
    table = tmp_path / "readings.csv"
    table.write_text(
        "place;way;tone_hz;value;unit;word\nL1;whole;1000;400;ohm;\nL1-02;;;;;loud\n",
        encoding="utf-8",
    )
    told = ("--drive", "7.07 V", "--instrument", "meter 3", "--who", "me")
    code, body = spoken(capsys, "prove", str(job), "--csv", str(table), *told)
    assert len(body["added"]) == 2
    assert code in {0, 1}
    kept = open_job(job).readings
    assert {(item.drive, item.instrument, item.who) for item in kept} == {
        ("7.07 V", "meter 3", "me")
    }
    table.write_text("where,what\nL1,3\n", encoding="utf-8")
    code, body = spoken(capsys, "prove", str(job), "--csv", str(table))
    assert code == 2
    assert body["error"]["do"]


def test_trace_in_a_job_goes_on_where_it_was(job, capsys):
    code, body = spoken(capsys, "trace", str(job), "--line", "L1", "--add", "L1-04 silent")
    assert code == 0
    assert body["next"]["steps"]
    code, body = spoken(capsys, "trace", str(job), "--line", "L1", "--add", "L1-04 alone OL")
    assert body["readings"] == 2
    assert body["outcome"] == "found"
    assert body["suspects"][0]["place"] == "L1-04"
    _, body = spoken(capsys, "trace", str(job), "--line", "L1", "--add", "mended L1-04")
    assert body["readings"] == 0


def test_trace_without_a_job_and_with_a_session_file(tmp_path, capsys):
    session = str(tmp_path / "hunt.json")
    code, body = spoken(capsys, "trace", *TOLD, "--session", session, "--add", "rack 1.5")
    assert code == 0
    assert body["trust"] == "told"
    assert body["kinds"][0][0] == "short"
    code, body = spoken(capsys, "trace", "--session", session, "--add", "rack silent")
    assert body["readings"] == 2


def test_trace_asks_about_odd_readings_as_prove_does(job, tmp_path, capsys):
    odd = {
        "L1 whole 0.5": "kilo",
        "L1 whole 0": "zero",
        "L1 whole -98": "negative",
        "L9-01 silent": "unknown place",
        "L1-01 50": "no way",
        "L1-01 whole 50": "no way",
        "L1 whole 400 at=2999-01-01T10:00": "future",
    }
    for text, code in odd.items():
        by_trace, body = spoken(capsys, "trace", str(job), "--line", "L1", "--add", text)
        by_prove, asked = spoken(capsys, "prove", str(job), "--add", text)
        assert (by_trace, by_prove) == (2, 2)
        assert [d["code"] for d in body["doubts"]] == [code] == [d["code"] for d in asked["doubts"]]
        assert body["readings"] == 0
    code, body = spoken(
        capsys, "trace", str(job), "--line", "L1", "--add", "L1 whole 0.5", "--sure"
    )
    assert (code, body["readings"], body["doubts"]) == (0, 1, [])


def test_trace_asks_about_repeats_until_something_was_mended(job, capsys):
    hunt = ("trace", str(job), "--line", "L1")
    spoken(capsys, *hunt, "--add", "L1 whole 400")
    code, body = spoken(capsys, *hunt, "--add", "L1 whole 400", "--add", "L1 whole 300")
    assert code == 2
    assert [d["code"] for d in body["doubts"]] == ["duplicate", "contradiction"]
    spoken(capsys, *hunt, "--add", "mended L1-03")
    code, body = spoken(capsys, *hunt, "--add", "L1 whole 300")
    assert (code, body["doubts"]) == (0, [])
    code, body = spoken(capsys, "prove", str(job), "--add", "L1 whole 300")
    assert [d["code"] for d in body["doubts"]] == ["duplicate"]


def test_the_terminal_asks_before_it_keeps_an_odd_reading():
    talk = "rack 0.08\nn\nrack 0.08\ny\nL9-09 silent\nwhy\nquit\n"
    result = CliRunner().invoke(trace_command, [*TOLD, "--ask"], input=talk)
    assert result.exit_code == 0
    assert result.output.count("it would fit as kilo-ohms") == 2
    assert result.output.count("keep it as it is?") == 2
    assert result.output.count("not kept") == 2
    assert "no line, loudspeaker, joint or test point of that name" in result.output


def ring_of(folder: Path) -> None:
    """Close the line of the fixture to a ring: one run more, from the last back to the rack."""
    read = read_job(folder)
    line = read.design.lines[0]
    last = replace(
        line.runs[-1],
        key="r0099",
        label="L1/7",
        start_key=line.speaker_keys[-1],
        end_key=line.rack_key,
        length_m=14.0,
    )
    ring = replace(line, runs=(*line.runs, last), topology="ring")
    design = replace(read.design, lines=(ring,))
    write_design(folder, design, read.design.revision, date="2026-01-01")


def test_a_ring_is_not_traced_as_it_is_but_once_it_was_opened(job, capsys):
    _, chain = spoken(capsys, "prove", str(job), "--expect")
    ring_of(job)
    code, body = spoken(capsys, "trace", str(job), "--line", "L1")
    assert code == 2
    assert "ring" in body["error"]["what"]
    assert "take off L1/7 between L1-06 and the rack" in body["error"]["do"]
    _, body = spoken(capsys, "prove", str(job), "--add", "L1 whole 400")
    assert body["verdicts"][0]["status"] == "noted"
    assert "not judged" in body["verdicts"][0]["reasons"][0]
    assert any("L1/7" in note for note in body["notes"])
    _, sheet = spoken(capsys, "prove", str(job), "--expect")
    of_line = [row for row in sheet["expected"] if row["quantity"] != "level dba"]
    of_chain = [row for row in chain["expected"] if row["quantity"] != "level dba"]
    assert [row["middle"] for row in of_line] == [row["middle"] for row in of_chain]
    assert all("ring opened first" in row["drive"] for row in of_line)
    spoken(capsys, "prove", str(job), "--add", "L1 seen ring opened")
    code, body = spoken(capsys, "trace", str(job), "--line", "L1")
    assert code == 0
    _, body = spoken(capsys, "prove", str(job))
    assert body["verdicts"][0]["status"] != "noted"
    spoken(capsys, "prove", str(job), "--add", "L1 seen ring closed")
    code, _ = spoken(capsys, "trace", str(job), "--line", "L1")
    assert code == 2


def test_the_sheet_says_where_a_ring_is_opened(job):
    ring_of(job)
    rows = commissioning_rows(evaluate_job(open_job(job)))
    first = next(row for row in rows if row.expected_text == "ring opened")
    assert "L1/7" in first.what
    assert any(row.place == "L1" and row.direction == "whole" for row in rows)


def test_settings_as_left_are_judged_where_the_design_knows_them(job, capsys):
    rows = [r for r in commissioning_rows(evaluate_job(open_job(job))) if r.quantity == "setting"]
    high = next(r for r in rows if r.place == "L1" and "high-pass" in r.expected_text)
    planned = float(high.expected_text.split()[1])
    zones = {zone.label for zone in open_job(job).survey.zones}
    assert zones
    assert zones <= {r.place for r in rows if "delay" in r.expected_text}
    assert zones <= {r.place for r in rows if "paging priority" in r.expected_text}
    code, body = spoken(
        capsys, "prove", str(job), "--add", f"L1 set high-pass {planned / 2:.0f} Hz"
    )
    assert code == 1
    assert body["verdicts"][0]["status"] == "fail"
    assert "saturate" in body["verdicts"][0]["reasons"][0]
    zone = sorted(zones)[0]
    _, body = spoken(capsys, "prove", str(job), "--add", f"'{zone}' set delay 77 ms")
    assert body["verdicts"][1]["status"] == "fail"
    _, body = spoken(capsys, "prove", str(job), "--add", "L1 set input level -10 dBu")
    assert body["verdicts"][2]["status"] == "noted"


def test_trace_takes_the_other_instruments_of_the_bag(capsys):
    code, body = spoken(
        capsys, "trace", *TOLD, "--have", "clamp", "--have", "volts", "--no-ears",
        "--add", "L1-05 1 kHz 0.01 V drive=7.07V", "--add", "L1-04 1 kHz 6.9 V drive=7.07V",
    )  # fmt: skip
    assert code == 0
    assert body["suspects"][0]["place"] == "L1-05"
    assert run(["trace", *TOLD, "--have", "dowser"]) == 2
    capsys.readouterr()


def test_trace_with_nothing_but_a_count_and_a_sweep(capsys):
    code, body = spoken(
        capsys, "trace", "--speakers", "24", "--tap", "5 W", "--volts", "70.7", "--guess",
        "--add", "rack 100Hz 45", "--add", "rack 44",
    )  # fmt: skip
    assert code == 0
    assert body["trust"] == "guessed"
    assert body["outcome"] in {"go on", "cannot tell"}


def test_trace_says_what_is_missing_and_lists_what_it_knows(capsys):
    assert run(["trace"]) == 2
    assert "first-hour" in capsys.readouterr().err
    _, body = spoken(capsys, "trace", "--first-hour")
    assert "life-safety" in body["first_hour"][0]
    _, body = spoken(capsys, "trace", "--said", "list")
    assert len(body["said"]) >= 15


def test_practice_at_the_terminal_from_first_reading_to_found():
    talk = "read\nread\nread\nread\nread\nread\nwhy\nreveal\nquit\n"
    result = CliRunner().invoke(
        trace_command, ["--practice", "--speakers", "12", "--seed", "12"], input=talk
    )
    assert result.exit_code == 0
    assert "found" in result.output
    assert "amplifier" in result.output
    assert "licensed" in result.output


def test_retap_needs_levels_then_balances_and_keeps_only_when_asked(job, capsys):
    code, body = spoken(capsys, "retap", str(job), "--room", "hall")
    assert code == 2
    assert body["error"]["do"]
    text = (job / "job.toml").read_text(encoding="utf-8")
    cut = text.index("[[rooms.hall.test_points]]")
    extra = "".join(
        f'[[rooms.hall.test_points]]\nkey = "x{k}"\nlabel = "seat {k}"\n'
        f'at = ["{x} ft", "20 ft"]\nheight = "4 ft"\n\n'
        for k, x in enumerate((6, 18, 32, 44))
    )
    (job / "job.toml").write_text(text[:cut] + extra + text[cut:], encoding="utf-8")
    levels = [f"--add='seat {k}' {v} dBA" for k, v in enumerate((58.0, 62.0, 63.0, 63.5))]
    run(["prove", str(job), *levels])
    capsys.readouterr()
    before = (job / "design.json").read_bytes()
    code, body = spoken(capsys, "retap", str(job), "--room", "hall")
    assert code == 0, body
    assert body["spread_after_db"] <= body["spread_before_db"] + 1e-9
    assert body["lines"][0]["load_after_w"] <= max(
        body["lines"][0]["limit_w"], body["lines"][0]["load_before_w"]
    )
    assert (job / "design.json").read_bytes() == before
    code, body = spoken(capsys, "retap", str(job), "--room", "hall", "--keep")
    assert body["kept"] is bool(body["changes"])


@pytest.mark.parametrize(
    "words",
    [
        ["trace", "--practice", "--speakers", "100000"],
        ["trace", "--practice", "--seed", "-1"],
        ["trace", "--speakers", "9000", "--tap", "5 W", "--guess"],
        ["trace", *TOLD, "--add", "rack 1e999"],
        ["trace", *TOLD, "--tone", "5 MHz"],
        ["trace", *TOLD, "--said", "nonsense"],
        ["trace", "/nowhere/line.txt"],
        ["prove", "/nowhere"],
        ["retap", "/nowhere", "--room", "hall"],
    ],
)
def test_what_cannot_be_is_refused_in_words(words, capsys):
    assert run([*words, "--json"]) == 2
    body = json.loads(capsys.readouterr().out)
    assert body["error"]["what"]
    assert body["error"]["do"]


def test_a_file_that_is_no_text_is_refused(tmp_path, capsys):
    path = tmp_path / "line.txt"
    path.write_bytes(b"\xff\xfe\x00\x81")
    assert run(["trace", str(path), "--volts", "100"]) == 2
    assert "UTF-8" in capsys.readouterr().err
    session = tmp_path / "hunt.json"
    session.write_text("{}", encoding="utf-8")
    assert run(["trace", "--session", str(session)]) == 2
