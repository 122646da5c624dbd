"""The gain and processing sheet: settings as planned and as left (common practice, no source)."""

from dataclasses import replace

import pytest

from soffit.measure.gain_sheet import (
    Crossover,
    line_settings,
    parse_setting,
    setting_verdict,
    zone_settings,
)
from soffit.model.readings import Reading
from soffit.tables.settings import DEFAULT_LIMITS
from soffit.work.settings_plan import planned_line_settings
from soffit_checked_job import clean_job, clean_speaker, with_design

LINE = line_settings(
    key="l1", label="L1", voltage_v=100.0, drive_v=10.0, high_pass_hz=70.0, limit_key="L1-04"
)
ZONE = zone_settings(key="z1", label="hall", delay_s=0.012, priority=1, advice="listen")


def left(text: str) -> Reading:
    return Reading(key="r1", place_key="l1", place="L1", quantity="setting", word=text, taken_at="")


@pytest.mark.parametrize(
    ("text", "status"),
    [
        ("high-pass 80 Hz", "pass"),
        ("high-pass 70 Hz", "pass"),
        ("HPF 69", "pass"),
        ("high-pass 50 Hz", "fail"),
        ("high-pass off", "fail"),
        ("high-pass 150 Hz", "look"),
        ("limiter 100 V", "pass"),
        ("limiter 120 V", "fail"),
        ("test drive 10.4 V", "pass"),
        ("drive 7.07 V", "fail"),
        ("input level -12 dBu", "noted"),
        ("eq flat", "noted"),
        ("something else", "noted"),
        ("high-pass as before", "noted"),
    ],
)
def test_a_line_as_left_against_its_plan(text: str, status: str) -> None:
    verdict = setting_verdict(left(text), LINE, DEFAULT_LIMITS)
    assert verdict.status == status
    if status in {"fail", "look"}:
        assert verdict.reasons
        assert verdict.next_step


@pytest.mark.parametrize(
    ("text", "status"),
    [
        ("delay 12 ms", "pass"),
        ("delay 0.012 s", "pass"),
        ("delay 20 ms", "fail"),
        ("delay off", "fail"),
        ("priority 1", "pass"),
        ("paging priority 2", "fail"),
        ("high-pass 50 Hz", "noted"),
    ],
)
def test_a_zone_as_left_against_its_plan(text: str, status: str) -> None:
    assert setting_verdict(left(text), ZONE, DEFAULT_LIMITS).status == status


def test_every_setting_of_the_sheet_can_be_read_back() -> None:
    names = {row.name for row in (*LINE, *ZONE)}
    assert names == {
        "test drive", "input level", "high-pass", "limiter", "equalisation", "delay",
        "paging priority",
    }  # fmt: skip
    assert all(parse_setting(f"{name} 3")[0] == name for name in names)


@pytest.mark.parametrize(
    ("text", "status"),
    [
        ("crossover 100 Hz", "pass"),
        ("low-pass 100", "pass"),
        ("low-pass 150 Hz", "look"),
        ("crossover 80 Hz", "look"),
        ("high-pass 40 Hz", "pass"),
    ],
)
def test_a_subwoofer_line_is_sent_its_low_pass(text: str, status: str) -> None:
    low = line_settings(
        key="l1",
        label="L1",
        voltage_v=100.0,
        drive_v=10.0,
        high_pass_hz=40.0,
        limit_key="L1-01",
        crossover=Crossover(hz=100.0, is_low=True, rooms=("Hall",)),
    )
    assert "low-pass 100 Hz, 24 dB/oct, before this channel" in {row.text for row in low}
    assert setting_verdict(left(text), low, DEFAULT_LIMITS).status == status


def test_lines_of_a_room_with_a_subwoofer_get_the_crossover_that_its_findings_ask_for() -> None:
    speakers = (
        clean_speaker(1, 2, 2),
        replace(clean_speaker(2, 8, 2), type_id="ceiling-sub", line_key="low"),
    )
    job = clean_job()
    main = replace(
        job.design.lines[0], speaker_keys=(speakers[0].key,), runs=job.design.lines[0].runs[:1]
    )
    low = replace(
        main,
        key="low",
        label="L2",
        speaker_keys=(speakers[1].key,),
        runs=(replace(main.runs[0], key="r2", end_key=speakers[1].key),),
    )
    job = with_design(job, speakers=speakers, lines=(main, low))
    texts = {
        key: [row.text for row in planned_line_settings(job, key) if row.name == "crossover"]
        for key in ("l", "low")
    }
    assert texts["l"] == ["high-pass 100 Hz, 24 dB/oct, before this channel"]
    assert texts["low"] == ["low-pass 100 Hz, 24 dB/oct, before this channel"]
    alone = with_design(job, speakers=speakers[:1], lines=(main,))
    assert not [row for row in planned_line_settings(alone, "l") if row.name == "crossover"]
