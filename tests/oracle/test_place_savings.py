"""The published savings: some of them recomputed, all of them honest about hand patterns.

The stored comparisons were made by ``python -m benchmarks.placing_savings``.
"""

import json
from pathlib import Path

import pytest
from benchmarks.placing_savings import compared, is_tidy, page

STORED = json.loads(
    (Path(__file__).parent / "data" / "placing_savings.json").read_text(encoding="utf-8")
)
PAGE = Path(__file__).resolve().parents[2] / "docs" / "theory" / "placing-savings.md"


def test_the_page_is_made_from_the_stored_comparisons() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(STORED)


def test_200_rooms_were_compared_half_of_them_with_tiles_taken() -> None:
    seeds = {row["seed"] for row in STORED}
    assert len(seeds) == 200
    assert len({row["seed"] for row in STORED if row["blocked"]}) >= 99
    assert len(STORED) == 1200


@pytest.mark.parametrize("seed", [0, 7, 18, 41])
def test_stored_comparisons_come_out_again(seed: int) -> None:
    assert compared(seed) == [row for row in STORED if row["seed"] == seed]


def test_hand_patterns_within_the_nudging_limit_are_matched_but_for_what_is_published() -> None:
    worse = [row for row in STORED if row["ours"] is None or row["ours"] > row["hand"]]
    assert len(worse) <= 4
    assert sum(is_tidy(row) for row in worse) <= 1
