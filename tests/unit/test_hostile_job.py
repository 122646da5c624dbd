"""Job files that mean something impossible: each is refused at its line, with a way out."""

import pytest

from soffit.errors import JobError, NoSolutionError
from soffit.job.api import create_job, open_job
from soffit.job.plain_text import LONGEST
from soffit.work.make_design import make_design
from soffit_job_texts import SMALL, changed

ROOM = 'use = "classroom"'


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("at = [0.5, 0.5]", "at = [0.5, 0.5]\ndrop = 1e6", "racks.main.drop"),
        ('tap = "6 W"', 'tap = "6 W"\nmount_height = 0.5', "placed[0].mount_height"),
        (ROOM, f"{ROOM}\nbrief = {{ spacing = 0.01 }}", "rooms.hall.brief.spacing"),
        (
            ROOM,
            f"{ROOM}\nreverberation = [1, 1, 1, 1, 1, 1, 1, 1e-9]",
            "rooms.hall.reverberation[7]",
        ),
        (
            ROOM,
            f"{ROOM}\ncolumns = [{{ corner = [0, 0], size = [12, 9] }}]",
            "rooms.hall.columns",
        ),
        (
            "height = 3.0",
            "height = 3.0\nslope = { ratio = 1e6, at = [0, 0] }",
            "rooms.hall.ceilings[0].slope.ratio",
        ),
        (ROOM, f'{ROOM}\nlabel = "a\\u0007b"', "rooms.hall.label"),
        (ROOM, f'{ROOM}\nlabel = "{"x" * (LONGEST + 1)}"', "rooms.hall.label"),
        ('name = "Test"', 'name = "\\uFFFE"', "site.name"),
    ],
)
def test_it_is_refused_where_it_stands(tmp_path, old, new, where):
    with pytest.raises(JobError) as error:
        create_job(tmp_path / "job", changed(SMALL, old, new))
    assert where in [problem.where.split("  ")[-1] for problem in error.value.problems]
    assert not (tmp_path / "job").exists()


def test_a_name_is_folded_to_one_line(tmp_path):
    text = changed(SMALL, 'name = "Test"', 'name = " two\\nlines \\t here "')
    create_job(tmp_path / "job", changed(text, ROOM, f'{ROOM}\nlabel = " \\n "\nnote = "a\\nb"'))
    survey = open_job(tmp_path / "job").survey
    assert survey.site.name == "two lines here"
    assert survey.room("hall").label == "hall"
    assert survey.room("hall").note == "a\nb"


def test_a_voltage_without_types_names_the_voltages_that_have_some(tmp_path):
    text = changed(SMALL, "line_voltage = 100", "line_voltage = 50")
    create_job(tmp_path / "job", text[: text.index("[[placed]]")])
    with pytest.raises(NoSolutionError) as error:
        make_design(tmp_path / "job")
    (problem,) = error.value.problems
    assert "25, 70.7, 100 V" in problem.why
    assert "line_voltage" in problem.do
