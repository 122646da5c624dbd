"""What a person can ask of the search beyond the usual, the same from every face."""

from inspect import signature
from pathlib import Path

import pytest

from soffit.errors import JobError
from soffit.job.api import open_job
from soffit.work.demo import make_demo
from soffit.work.layout_question import SEARCH_WORDS, Search
from soffit.work.make_design import decide


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_demo("library", tmp_path_factory.mktemp("asked") / "library")


def test_every_option_has_a_name_and_says_what_it_brings() -> None:
    asked = set(signature(Search.of).parameters)
    assert set(SEARCH_WORDS) == asked - {"proof_seconds"}
    assert all(name and help_text.endswith(".") for name, help_text in SEARCH_WORDS.values())


def test_options_arrive_by_the_words_that_faces_use() -> None:
    assert Search.of() == Search()
    assert Search.of(proof_seconds=-1.0) == Search()
    assert Search.of(free=True, all_offsets=True, prove=True, proof_seconds=5.0) == Search(
        has_free=True, has_all_offsets=True, proof_s=5.0
    )


@pytest.mark.parametrize("seconds", [0.0, -3.0, 1e9, float("nan")])
def test_a_time_that_is_none_is_refused_in_four_parts(seconds: float) -> None:
    with pytest.raises(JobError) as caught:
        Search.of(prove=True, proof_seconds=seconds)
    (problem,) = caught.value.problems
    assert all((problem.what, problem.where, problem.why, problem.do))


def test_a_design_keeps_what_was_asked_and_tells_how_far_it_is(folder: Path) -> None:
    job = open_job(folder)
    told: list[tuple[float, str]] = []
    design, _ = decide(
        job,
        rooms=["workroom"],
        search=Search.of(all_offsets=True, prove=True, proof_seconds=4.0),
        progress=lambda done, text: told.append((done, text)),
    )
    assert dict(design.made_with)["all_offsets"] == "true"
    assert dict(design.made_with)["proof_seconds"] == "4"
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert any(0.8 <= done <= 0.9 for done, _ in told)
    (decision,) = [item for item in design.rooms if item.room_key == "workroom"]
    assert decision.bound
    usual, _ = decide(job, rooms=["workroom"])
    assert set(dict(usual.made_with)) == {"seed", "soffit"}
