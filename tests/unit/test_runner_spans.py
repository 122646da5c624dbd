"""Masses on one span of a main runner add up."""

import pytest

from soffit.ceiling.structure import grid_capacity_kg
from soffit.evaluate.ceiling import evaluate_ceiling
from soffit.evaluate.ceiling_runners import span_groups
from soffit.model.decisions import Job
from soffit.model.speakers import TileRef
from soffit_checked_job import (
    clean_job,
    findings_of,
    tile_centre,
    with_grid,
    with_speaker,
    with_type,
)


def two(columns: int, rows: int, *, mass_kg: float = 5.0, **grid: object) -> Job:
    job = with_grid(with_type(clean_job(), mass_kg=mass_kg), load_class="intermediate", **grid)
    for number, (column, row) in ((1, (2, 2)), (2, (2 + columns, 2 + rows))):
        job = with_speaker(
            job, number, position=tile_centre(column, row), tile=TileRef(column=column, row=row)
        )
    return job


def codes(job: Job) -> set[str]:
    return {item.code for item in findings_of(job, without_sound=True)}


@pytest.mark.parametrize(
    ("columns", "rows", "shared"),
    # 0.6 m tiles, hangers and runners every 1.2 m: one tile away shares, two do not
    [(1, 0, True), (2, 0, False), (0, 1, True), (1, 1, True), (0, 2, False), (1, 2, False)],
)
@pytest.mark.parametrize("axis", ["x", "y"])
def test_units_a_span_apart_do_not_share(columns: int, rows: int, shared: bool, axis: str) -> None:
    job = two(columns, rows, main_runner_axis=axis)
    # ASTM C635 Table 1 (from memory): 12 lb/ft less 4 kg/m² of tiles carries 9.8 kg at mid-span
    carries = grid_capacity_kg(
        load_class="intermediate", span_m=1.2, tile_mass_kg_m2=4.0, runner_spacing_m=1.2
    )
    assert 5.0 < carries < 10.0
    assert ("WEIGHT-13" in codes(job)) == shared
    assert "WEIGHT-03" not in codes(job)


def test_two_light_units_may_share() -> None:
    assert "WEIGHT-13" not in codes(two(1, 0, mass_kg=4.0))


def test_both_units_and_both_masses_are_named() -> None:
    found = [
        item for item in findings_of(two(1, 0), without_sound=True) if item.code == "WEIGHT-13"
    ]
    assert len(found) == 1
    assert "L1-01, L1-02" in found[0].what
    assert "10.0 kg together" in found[0].what


def test_closer_hangers_part_them_and_a_group_is_named_once() -> None:
    job = two(1, 0)
    fits = evaluate_ceiling(job.survey, job.design.speakers, job.catalogue).speakers
    ceiling = job.survey.ceiling("r", "c")
    assert [len(g.labels) for g in span_groups(ceiling, fits, hanger_spacing_m=1.2)] == [2]
    assert span_groups(ceiling, fits, hanger_spacing_m=0.6) == ()
    # all four in one wide span: one group, no smaller one inside it
    assert [len(g.labels) for g in span_groups(ceiling, fits, hanger_spacing_m=9.0)] == [2, 2]
