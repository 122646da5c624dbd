"""May I add four more? Against the same line with the loudspeakers really added, and refusals."""

from dataclasses import replace

import pytest

from line_sample import key_maker, sample_catalogue, six_rooms, speakers_in
from soffit.design.route import wire
from soffit.errors import JobError
from soffit.evaluate.line import evaluate_line
from soffit.model.decisions import Design, Job
from soffit.model.lines import Joint, Run
from soffit.model.survey import Equipment
from soffit.work.add_to_line import AddQuestion, answer_for

CATALOGUE = sample_catalogue()


@pytest.fixture(scope="module")
def job() -> Job:
    survey = six_rooms(equipment=Equipment(amplifier_types=("amp-2x120",)))
    wired = wire(
        survey,
        CATALOGUE,
        speakers_in(survey, 2),
        previous=Design(),
        new_key=key_maker(),
    )
    design = Design(speakers=wired.speakers, lines=wired.lines, amplifiers=wired.amplifiers)
    return Job(survey=survey, catalogue=CATALOGUE, design=design)


def test_the_answer_is_what_the_line_becomes(job):
    (line,) = job.design.lines
    answer = answer_for(job, AddQuestion(count=3, spacing="4 m"))
    by_key = {speaker.key: speaker for speaker in job.design.speakers}
    last = by_key[line.speaker_keys[-1]]
    cable = line.runs[-1].cable_id
    new = [replace(last, key=f"x{n}", label=f"x{n}") for n in range(3)]
    ends = [last.key, "x0", "x1", "x2"]
    runs = [
        Run(
            key=f"y{n}",
            label="",
            start_key=ends[n],
            end_key=ends[n + 1],
            length_m=4.0,
            cable_id=cable,
        )
        for n in range(3)
    ]
    longer = replace(
        line, speaker_keys=(*line.speaker_keys, "x0", "x1", "x2"), runs=(*line.runs, *runs)
    )
    state = evaluate_line(
        longer,
        [*job.design.speakers, *new],
        CATALOGUE,
        conductor_degc=job.survey.limits["conductor_degc"],
    )
    assert answer.loss_db == pytest.approx(state.worst_loss_db, rel=1e-12)
    assert answer.impedance_ohm == pytest.approx(state.impedance_ohm, rel=1e-12)
    assert answer.load_w == pytest.approx(state.load_w)
    assert answer.worst == "new 3"
    assert answer.is_yes
    assert answer.as_dict()["answer"] == "yes"


def test_the_most_is_the_last_yes(job):
    first = answer_for(job, AddQuestion(spacing="4 m"))
    most = first.most
    assert answer_for(job, AddQuestion(count=most, spacing="4 m")).is_yes
    over = answer_for(job, AddQuestion(count=most + 1, spacing="4 m"))
    assert not over.is_yes
    assert over.findings[0].limit_source


def test_a_channel_without_room_says_which_watts_are_missing(job):
    answer = answer_for(job, AddQuestion(count=9, tap="12 W", spacing="0.5 m"))
    (finding,) = [one for one in answer.findings if one.code.startswith("AMP")]
    assert answer.channel_w_min > answer.channel_rated_w == 120.0
    assert "W" in finding.what


def test_a_tee_in_the_middle_is_not_the_end(job):
    label = job.design.speakers[0].label
    end = answer_for(job, AddQuestion(count=2, spacing="4 m"))
    middle = answer_for(job, AddQuestion(count=2, spacing="4 m", after=label))
    assert middle.after == label
    assert middle.loss_db <= end.loss_db + 1e-12


@pytest.mark.parametrize(
    ("question", "where"),
    [
        (AddQuestion(line="L9"), "--line"),
        (AddQuestion(after="L1-99"), "--after"),
        (AddQuestion(tap="7 W"), "--tap"),
        (AddQuestion(spacing="-2 m"), "--spacing"),
        (AddQuestion(count=-1), "--add"),
        (AddQuestion(count=1000), "--add"),
    ],
)
def test_what_does_not_exist_is_refused(job, question, where):
    with pytest.raises(JobError) as caught:
        answer_for(job, question)
    assert caught.value.problems[0].where == where


def test_an_undesigned_job_says_what_to_do(job):
    with pytest.raises(JobError) as caught:
        answer_for(replace(job, design=Design()), AddQuestion(count=1))
    assert "soffit design" in caught.value.problems[0].why


def test_a_volume_control_on_the_way_must_carry_the_new_ones_too(job):
    (line,) = job.design.lines
    by_key = {speaker.key: speaker for speaker in job.design.speakers}
    taps = sum(by_key[key].tap.power_w for key in line.speaker_keys)
    each = by_key[line.speaker_keys[-1]].tap.power_w
    control = Joint(
        key="vc",
        label="V1",
        position=(1.0, 1.0),
        storey_key=job.survey.storeys[0].key,
        kind="volume control",
        rated_power_w=taps + 2.0 * each,
    )
    first = line.runs[0]
    behind = replace(first, key="behind", start_key="vc")
    runs = (replace(first, end_key="vc"), behind, *line.runs[1:])
    lines = (replace(line, joints=(*line.joints, control), runs=runs),)
    controlled = replace(job, design=replace(job.design, lines=lines))
    codes = [
        {finding.code for finding in answer_for(controlled, AddQuestion(count=count)).findings}
        for count in (2, 3)
    ]
    assert "LINE-13" not in codes[0]
    assert "LINE-13" in codes[1]
    assert answer_for(controlled, AddQuestion(count=1)).most == 2
