"""Levels at test points and retap by the whole field, on both demo jobs, a line laid by hand."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from soffit.cli.main import run
from soffit.decibel import power_ratio, power_ratio_db
from soffit.job.api import open_job, read_job, write_design
from soffit.model.catalogue import Tap
from soffit.model.decisions import Design
from soffit.model.lines import Amplifier, Channel, Line, Run
from soffit.model.speakers import Speaker
from soffit.tables.settings import Limits
from soffit.work.demo import make_demo
from soffit.work.retap import whole_per_watt
from soffit.work.whole import evaluate_job

COUNT = {"library": 6, "market": 24}


@pytest.fixture(params=["library", "market"])
def job(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """The hall of a demo job with an even field of loudspeakers; no search runs here."""
    folder = make_demo(request.param, tmp_path / "job")
    read = read_job(folder)
    room, volts = read.survey.room("hall"), read.survey.site.line_voltage_v
    kind = next(k for k in read.catalogue.speaker_types if k.kind == "ceiling")
    offered = kind.taps_at(volts)
    tap = Tap(power_w=offered[len(offered) // 2].power_w, voltage_v=volts)
    count = COUNT[request.param]
    x0, y0 = np.min(room.outline, axis=0)
    x1, y1 = np.max(room.outline, axis=0)
    columns = count // 3
    places = [
        (x0 + (x1 - x0) * (i + 0.5) / columns, y0 + (y1 - y0) * (j + 0.5) / 3)
        for j in range(3)
        for i in range(columns)
    ]
    speakers = tuple(
        Speaker(
            key=f"s{i + 1:04d}",
            label=f"L1-{i + 1:02d}",
            room_key=room.key,
            ceiling_key=room.ceilings[0].key,
            type_id=kind.id,
            position=(float(x), float(y)),
            mount_height_m=room.ceilings[0].height_m,
            tap=tap,
            line_key="l0001",
        )
        for i, (x, y) in enumerate(places)
    )
    rack = read.survey.racks[0].key
    keys = [rack, *(speaker.key for speaker in speakers)]
    runs = tuple(
        Run(
            key=f"r{i + 1:04d}",
            label=f"L1/{i + 1}",
            start_key=keys[i],
            end_key=keys[i + 1],
            length_m=6.0,
            cable_id=read.catalogue.cable_types[0].id,
        )
        for i in range(count)
    )
    line = Line(
        key="l0001",
        label="L1",
        voltage_v=volts,
        zone_keys=(),
        rack_key=rack,
        speaker_keys=tuple(speaker.key for speaker in speakers),
        runs=runs,
    )
    amplifier = Amplifier(
        key="a0001",
        label="A1",
        type_id=max(read.catalogue.amplifier_types, key=lambda a: a.channel_power_w[0]).id,
        rack_key=rack,
        channels=(Channel(number=1, line_keys=("l0001",)),),
    )
    design = Design(speakers=speakers, lines=(line,), amplifiers=(amplifier,), next_key=100)
    write_design(folder, design, read.design.revision, date="2026-01-01")
    return folder


def spoken(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict]:
    code = run([*words, "--json"])
    return code, json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("images", [0.0, 1.0])
def test_retap_and_acceptance_use_one_field_and_it_is_the_whole_one(job: Path, images: float):
    read = open_job(job)
    limits = Limits((*read.survey.limits.overrides, ("sound_first_images", images)))
    read = replace(read, survey=replace(read.survey, limits=limits))
    room = evaluate_job(read).sound.room("hall")
    assert room is not None
    assert room.test_levels
    drive = float(power_ratio(-limits["sound_test_drive_db"]))
    for level in room.test_levels:
        whole = whole_per_watt(room.sources, room.acoustics, level.position_m[None])
        mine = float(power_ratio_db(whole @ room.sources.power_w * drive)[0])
        assert mine == pytest.approx(level.level_dba, rel=0, abs=1e-9)
        # A meter reads more than the direct field in every octave.
        assert np.all(level.octave_db > level.direct_octave_db)


def test_levels_as_planned_pass_and_a_level_6_db_under_fails(job: Path, capsys):
    levels = evaluate_job(open_job(job)).sound.room("hall").test_levels  # type: ignore[union-attr]
    words = [f"--add='{level.label}' {level.level_dba:.1f} dBA" for level in levels]
    code, body = spoken(capsys, "prove", str(job), *words)
    assert code == 0
    assert {v["status"] for v in body["verdicts"]} == {"pass"}
    assert "confidence" in body["proven"][0]
    first = levels[0]
    low = f"--add='{first.label}' {first.level_dba - 6.0:.1f} dBA"
    code, body = spoken(capsys, "prove", str(job), low, "--sure")
    assert code == 1
    assert body["verdicts"][-1]["status"] == "fail"


def test_retap_raises_what_was_read_low_and_checks_the_line_again(job: Path, capsys):
    levels = evaluate_job(open_job(job)).sound.room("hall").test_levels  # type: ignore[union-attr]
    text = (job / "job.toml").read_text(encoding="utf-8")
    site = open_job(job).survey.room("hall")
    cut = text.index("[[rooms.hall.test_points]]")
    xs = [point[0] for point in site.outline]
    ys = [point[1] for point in site.outline]
    seats = [
        (min(xs) + (max(xs) - min(xs)) * u, min(ys) + (max(ys) - min(ys)) * v)
        for u, v in ((0.1, 0.2), (0.35, 0.8), (0.65, 0.2), (0.9, 0.8))
    ]
    extra = "".join(
        f'[[rooms.hall.test_points]]\nkey = "x{k}"\nlabel = "seat {k}"\n'
        f'at = ["{x:.2f} m", "{y:.2f} m"]\nheight = "1.2 m"\n\n'
        for k, (x, y) in enumerate(seats)
    )
    (job / "job.toml").write_text(text[:cut] + extra + text[cut:], encoding="utf-8")
    levels = evaluate_job(open_job(job)).sound.room("hall").test_levels  # type: ignore[union-attr]
    as_read = {level.label: level.level_dba for level in levels if level.label.startswith("seat")}
    as_read["seat 0"] -= 5.0
    run(["prove", str(job), *(f"--add='{k}' {v:.1f} dBA" for k, v in as_read.items())])
    capsys.readouterr()
    code, body = spoken(capsys, "retap", str(job), "--room", "hall")
    assert code == 0
    assert body["spread_after_db"] < body["spread_before_db"]
    assert body["changes"]
    assert any(change["to_w"] > change["from_w"] for change in body["changes"])
    line = body["lines"][0]
    assert line["load_after_w"] <= max(line["limit_w"], line["load_before_w"])
    assert line["loss_after_db"] > 0.0
    code, body = spoken(capsys, "retap", str(job), "--room", "hall", "--keep", "--who", "me")
    assert body["kept"]
    taps = {s.label: s.tap.power_w for s in open_job(job).design.speakers}
    assert all(taps[change["speaker"]] == change["to_w"] for change in body["changes"])


@pytest.mark.parametrize("job", ["market"], indirect=True)
def test_retap_says_when_the_amplifier_is_what_forbids_a_higher_tap(job: Path, capsys):
    read = read_job(job)
    weak = min(read.catalogue.amplifier_types, key=lambda a: a.channel_power_w[0])
    top = tuple(
        replace(
            s, tap=max(read.catalogue.speaker(s.type_id).taps_at(s.tap.voltage_v), key=power_of)
        )
        for s in read.design.speakers
    )
    amplifier = replace(read.design.amplifiers[0], type_id=weak.id)
    design = replace(read.design, speakers=top, amplifiers=(amplifier,))
    write_design(job, design, read.design.revision, date="2026-01-01")
    assert sum(s.tap.power_w for s in top) > weak.channel_power_w[0]
    room = evaluate_job(open_job(job)).sound.room("hall")
    assert room is not None
    run(
        ["prove", str(job), *(f"--add='{v.label}' {v.level_dba:.1f} dBA" for v in room.test_levels)]
    )
    capsys.readouterr()
    code, body = spoken(capsys, "retap", str(job), "--room", "hall")
    assert code == 0
    assert "channel" in body["advice"]
    assert body["lines"][0]["load_after_w"] <= body["lines"][0]["load_before_w"]


def power_of(tap: Tap) -> float:
    return tap.power_w
