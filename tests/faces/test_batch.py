"""Batches: the same draws on any machine, an error is a row and not the end."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from soffit.cli.main import root, run
from soffit.evaluate.line import line_arrays
from soffit.job.api import open_job
from soffit.work import batch
from soffit.work.demo import begin_job
from soffit.work.make_design import make_design


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("batch") / "job"
    begin_job(folder)
    make_design(folder)
    return folder


def test_draws_without_spread_are_the_plan(job: Path) -> None:
    read = open_job(job)
    line = read.design.lines[0]
    arrays = line_arrays(line, read.design.speakers, read.catalogue, conductor_degc=40.0)
    exact = batch.Tolerances(piece_sd=0.0, batch_sd=0.0, length_sd=0.0, copper_sd_k=0.0)
    task = batch._Task(
        arrays=arrays, voltage_v=line.voltage_v, tolerances=exact, seed=(1, 0), draws=3
    )
    drawn = batch._draw(task)
    report = make_design(job, is_kept=False)
    assert np.ptp(drawn, axis=1) == pytest.approx(0.0, abs=1e-9)
    assert drawn[0, 0] == pytest.approx(report.lines[0].worst_loss_db, rel=1e-9)
    assert drawn[1, 0] == pytest.approx(report.lines[0].impedance_ohm, rel=1e-9)


def test_a_seed_gives_the_same_draws_and_wider_tolerances_a_wider_band(job: Path) -> None:
    def draws(piece_sd: float) -> batch.LineSpread:
        wide = batch.Tolerances(piece_sd=piece_sd)
        (spread,) = batch.draw_tolerances(
            job, draws=600, tolerances=wide, progress=lambda _done, _text: None
        )
        return spread

    one, two, wide = draws(0.08), draws(0.08), draws(0.3)
    assert one == two
    assert (
        wide.impedance_ohm[2] - wide.impedance_ohm[0] > one.impedance_ohm[2] - one.impedance_ohm[0]
    )


def test_one_bad_job_does_not_end_the_batch(job: Path, tmp_path: Path) -> None:
    result = CliRunner().invoke(root, ["batch", str(job), str(tmp_path / "none"), "--json"])
    rows = json.loads(result.output[result.output.index("{") :])["jobs"]
    assert rows[0]["speakers"] > 0
    assert not rows[0]["problems"]
    (problem,) = rows[1]["problems"]
    assert "no job folder" in problem["what"]
    assert all(problem[part] for part in ("where", "why", "do"))
    told = CliRunner().invoke(root, ["batch", str(tmp_path / "none")]).output
    assert all(f"  {part} " in told for part in ("where", "why", "do"))


def test_no_draws_and_two_jobs_for_draws_are_refused(job: Path) -> None:
    assert run(["batch", str(job), "--draws", "0"]) == 2
    assert run(["batch", str(job), str(job), "--draws", "5"]) == 2
