"""``soffit line JOB --add``: the answer for people and for scripts, and what is refused."""

import json

import pytest

from line_sample import key_maker, sample_catalogue, six_rooms, speakers_in
from soffit.cli.main import run
from soffit.design.route import wire
from soffit.model.decisions import Design, Job
from soffit.model.survey import Equipment


@pytest.fixture(scope="module")
def job() -> Job:
    survey = six_rooms(equipment=Equipment(amplifier_types=("amp-2x120",)))
    catalogue = sample_catalogue()
    wired = wire(survey, catalogue, speakers_in(survey, 1), previous=Design(), new_key=key_maker())
    design = Design(speakers=wired.speakers, lines=wired.lines, amplifiers=wired.amplifiers)
    return Job(survey=survey, catalogue=catalogue, design=design)


@pytest.fixture
def folder(job, tmp_path, monkeypatch):
    monkeypatch.setattr("soffit.job.api.read_job", lambda _: job)
    return str(tmp_path)


def test_yes_for_people_and_for_scripts(folder, capsys):
    words = ["line", folder, "--line", "L1", "--add", "4", "--spacing", "3 m"]
    assert run(words) == 0
    text = capsys.readouterr().out
    assert text.startswith("yes: 4 more")
    assert "licensed" in text
    assert run([*words, "--json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert body["answer"] == "yes"
    assert body["load_w"] > body["load_before_w"]
    assert body["most"] >= 4


def test_no_with_its_findings_ends_with_1_where_one_says_stop(folder, capsys):
    words = ["line", folder, "--line", "L1", "--add", "30", "--tap", "12 W", "--json"]
    assert run(words) == 1
    body = json.loads(capsys.readouterr().out)
    assert body["answer"] == "no"
    assert {"AMP-01", "AMP-02"} & {finding["code"] for finding in body["findings"]}


@pytest.mark.parametrize(
    "words",
    [["--line", "L7", "--add", "1"], ["--line", "L1", "--add", "1", "--tap", "7 W"]],
)
def test_what_does_not_exist_ends_with_2(words, folder, capsys):
    assert run(["line", folder, *words, "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["error"]["do"]


def test_adding_without_a_job_is_a_usage_error(capsys):
    assert run(["line", "--add", "4", "--json"]) == 2
    assert "job" in json.loads(capsys.readouterr().out)["error"]["what"]


def test_yes_is_what_the_checks_of_the_job_would_say_too(job, folder, capsys):
    """The most that fits keeps what lossy transformers draw within the rating, not taps alone."""
    assert run(["line", folder, "--line", "L1", "--add", "1", "--json"]) == 0
    most = json.loads(capsys.readouterr().out)["most"]
    line = next(one for one in job.design.lines if one.label == "L1")
    amplifier, channel = next(
        (a, c) for a in job.design.amplifiers for c in a.channels if line.key in c.line_keys
    )
    rated = job.catalogue.amplifier(amplifier.type_id).channel_power_w[channel.number - 1]
    speakers = {one.key: one for one in job.design.speakers}
    last = speakers[line.speaker_keys[-1]]
    each = job.catalogue.speaker(last.type_id).drawn_w(last.tap)
    have = sum(
        job.catalogue.speaker(speakers[key].type_id).drawn_w(speakers[key].tap)
        for one in channel.line_keys
        for key in job.design.line(one).speaker_keys
    )
    assert have + most * each <= rated + 1e-9
