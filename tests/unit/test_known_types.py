"""A design that names types which the catalogue has not is refused at every place."""

from dataclasses import replace

import pytest

from soffit.errors import JobError
from soffit.work.whole import evaluate_job
from soffit_checked_job import clean_job


def test_every_unknown_type_is_named_with_its_label_and_path():
    job = clean_job()
    design = job.design
    line, amplifier = design.lines[0], design.amplifiers[0]
    runs = (line.runs[0], replace(line.runs[1], cable_id="awg99"), *line.runs[2:])
    wrong = replace(
        design,
        speakers=(replace(design.speakers[0], type_id="gone"), *design.speakers[1:]),
        lines=(replace(line, runs=runs),),
        amplifiers=(replace(amplifier, type_id="none"),),
    )
    with pytest.raises(JobError) as caught:
        evaluate_job(replace(job, design=wrong))
    found = [(problem.what, problem.where) for problem in caught.value.problems]
    assert found == [
        (
            "L1-01: there is no loudspeaker type 'gone'",
            "design.json  speakers[0].type_id",
        ),
        ("L1/2: there is no cable type 'awg99'", "design.json  lines[0].runs[1].cable_id"),
        ("A1: there is no amplifier type 'none'", "design.json  amplifiers[0].type_id"),
    ]


def test_a_design_of_known_types_is_worked_out():
    assert not evaluate_job(clean_job()).failed
