"""Substitution: what another type changes, in memory and on disk."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from soffit.cli.swap import command
from soffit.decibel import power_ratio_db
from soffit.errors import JobError, TableError
from soffit.job.api import open_job
from soffit.work.demo import make_demo
from soffit.work.substitute import candidates, compare, matching_tap
from soffit_checked_job import clean_job, with_ceiling


def test_the_tap_keeps_the_level_as_near_as_taps_allow() -> None:
    catalogue = clean_job().catalogue
    old, new = catalogue.speaker("ceiling-6"), catalogue.speaker("ceiling-8")
    for tap in old.taps_at(100.0):
        chosen = matching_tap(old, tap, new, line_voltage_v=100.0)
        wanted = sum(old.sensitivity_db[3:7]) / 4 + float(power_ratio_db(old.delivered_w(tap)))
        errors = [
            abs(
                sum(new.sensitivity_db[3:7]) / 4
                + float(power_ratio_db(new.delivered_w(own)))
                - wanted
            )
            for own in new.taps_at(100.0)
        ]
        index = new.taps_at(100.0).index(chosen)
        assert errors[index] == min(errors)


def test_a_type_takes_its_own_place_without_a_change() -> None:
    job = clean_job()
    twin = replace(job.catalogue.speaker("ceiling-6"), id="twin")
    types = (*job.catalogue.speaker_types, twin)
    found = compare(
        replace(job, catalogue=replace(job.catalogue, speaker_types=types)), "ceiling-6", "twin"
    )
    assert found.added == ()
    assert found.cured == ()
    assert found.units == ()
    assert found.lines == ()
    assert all(item.now == item.then for item in found.rooms)
    assert [item.now.split(" (")[0] for item in found.taps] == ["7.5 W"]
    assert [item.then.split(" (")[0] for item in found.taps] == ["7.5 W"]
    assert found.verdict == "It fits: no new stop and no new warning."


def test_a_larger_type_that_does_not_go_in_is_a_new_stop() -> None:
    job = with_ceiling(clean_job(), void_depth_m=0.28)
    found = compare(job, "ceiling-6", "ceiling-8")
    assert {item.code for item in found.added} >= {"CEIL-08"}
    assert found.verdict.startswith("It does not fit")
    places = {item.place: (item.now, item.then) for item in found.units}
    assert places["holes cut already"] == ("fit", "cut them wider")
    assert places["mass"][0] != places["mass"][1]
    assert "-> " in found.text()
    assert found.as_dict()["new"] == "ceiling-8"


def test_a_smaller_type_leaves_holes() -> None:
    found = compare(clean_job(), "ceiling-6", "ceiling-4")
    places = {item.place: item.then for item in found.units}
    assert places["holes cut already"].startswith("too large")


def test_candidates_are_of_the_same_kind_nearest_hole_first() -> None:
    assert candidates(clean_job(), "ceiling-6") == ("ceiling-4", "ceiling-8")
    assert candidates(clean_job(), "pendant-6") == ()


@pytest.mark.parametrize(("old", "new"), [("ceiling-4", "ceiling-6"), ("ceiling-6", "ceiling-6")])
def test_nothing_to_replace_is_said(old: str, new: str) -> None:
    with pytest.raises(JobError) as caught:
        compare(clean_job(), old, new)
    assert caught.value.problems[0].do


def test_an_unknown_type_and_a_type_for_other_lines() -> None:
    with pytest.raises(TableError):
        compare(clean_job(), "ceiling-6", "nothing")
    job = clean_job()
    taps = tuple(tap for tap in job.catalogue.speaker("ceiling-4").taps if tap.voltage_v < 30)
    other = replace(job.catalogue.speaker("ceiling-4"), taps=taps)
    types = tuple(other if item.id == "ceiling-4" else item for item in job.catalogue.speaker_types)
    with pytest.raises(JobError) as caught:
        compare(
            replace(job, catalogue=replace(job.catalogue, speaker_types=types)),
            "ceiling-6",
            "ceiling-4",
        )
    assert "25 V" in caught.value.problems[0].why


def test_the_command_says_prints_and_applies(tmp_path: Path) -> None:
    folder = make_demo("trouble", tmp_path / "job")
    runner = CliRunner()
    shown = runner.invoke(
        command, [str(folder), "pendant-6", "surface-5", "--paper", "--json"], standalone_mode=False
    )
    assert shown.exception is None
    body = json.loads(shown.output)
    assert body["substitutions"][0]["speakers"]
    assert Path(body["paper"]).read_bytes().startswith(b"%PDF")
    before = open_job(folder)
    done = runner.invoke(
        command,
        [str(folder), "pendant-6", "surface-5", "--apply", "--who", "test"],
        standalone_mode=False,
    )
    assert done.exception is None
    after = open_job(folder)
    assert after.design.revision == before.design.revision + 1
    used = {item.type_id for item in after.design.speakers}
    assert "surface-5" in used
    assert "pendant-6" not in used
