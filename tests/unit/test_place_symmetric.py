"""Nudges in mirror images where they are asked for."""

import numpy as np
import pytest

from soffit.design.place import choose_layouts
from soffit.design.place_mirror import Mirror, images_of_step, mirrors_of, orbits
from soffit.model.survey import Brief
from soffit.tables.settings import Limits
from soffit_place_cases import block, rectangle, room, speaker_type

ASKED = Limits(
    overrides=(
        ("place_nudge_symmetric", 1.0),
        ("place_nudge_ratio", 0.34),
        ("place_omit_ratio", 0.0),
    )
)
LOOSE = Limits(overrides=(("place_nudge_ratio", 0.34), ("place_omit_ratio", 0.0)))


def is_mirrored(tiles) -> bool:
    """Written out anew: the set of tiles is its own image, left to right, back, or turned."""
    x = [column for column, _ in tiles]
    y = [row for _, row in tiles]
    a, b = min(x) + max(x), min(y) + max(y)
    every = set(tiles)
    return any(
        {((a - c) if across else c, (b - r) if along else r) for c, r in every} == every
        for across, along in ((True, False), (False, True), (True, True))
    )


def test_the_images_of_a_speaker_that_is_in_the_way_move_with_it() -> None:
    """One light in the only good pattern of four: alone one moves, in images two or four do."""
    made = room(rectangle(7.8, 6.0), brief=Brief(margin_db=10.0, evenness_db=3.4))
    whole = choose_layouts(made, speaker_type=speaker_type(), line_voltage_v=100.0).chosen
    light = [block(*whole.tiles[0])]
    counts = set()
    for limits in (LOOSE, ASKED):
        found = choose_layouts(
            made, speaker_type=speaker_type(), line_voltage_v=100.0, obstacles=light, limits=limits
        )
        nudged = [o for o in found.options if "beside the pattern" in o.pattern and not o.mark]
        counts |= {int(o.pattern.split(" beside")[0].rsplit(" ", 1)[-1]) for o in nudged}
        if limits is ASKED:
            assert "nudged in mirror images" in found.scope
            assert nudged or "beside the pattern" not in found.chosen.pattern
            assert is_mirrored(found.chosen.tiles) or "beside" not in found.chosen.pattern
    assert counts


@pytest.mark.parametrize("seed", range(6))
def test_what_is_taken_is_mirrored_where_it_left_its_pattern(seed: int) -> None:
    rng = np.random.default_rng(seed)
    made = room(rectangle(9.0, 7.2), brief=Brief(margin_db=10.0, evenness_db=2.6))
    taken = [block(c, r) for c in range(15) for r in range(12) if rng.uniform() < 0.25]
    found = choose_layouts(
        made, speaker_type=speaker_type(), line_voltage_v=100.0, obstacles=taken, limits=ASKED
    )
    if "beside the pattern" in found.chosen.pattern:
        assert is_mirrored(found.chosen.tiles)
    free = choose_layouts(
        made, speaker_type=speaker_type(), line_voltage_v=100.0, obstacles=taken, limits=LOOSE
    )
    assert free.chosen.meets_brief or not found.chosen.meets_brief


def test_images_of_places_and_steps() -> None:
    pattern = [(0, 0), (4, 0), (8, 0), (0, 6), (4, 6), (8, 6)]
    mirrors = mirrors_of(pattern)
    assert mirrors == (Mirror(8, None), Mirror(None, 6), Mirror(8, 6))
    assert orbits([(0, 0), (8, 6)], mirrors) == [((0, 0), (8, 0), (0, 6), (8, 6))]
    assert orbits([(4, 0)], mirrors) == [((4, 0), (4, 6))]
    assert images_of_step((0, 0), (1, 0), mirrors) == ((1, 0), (7, 0), (1, 6), (7, 6))
    # A speaker on the axis cannot leave it: its image would have to stand at two places.
    assert images_of_step((4, 0), (1, 0), mirrors) is None
    assert images_of_step((4, 0), (0, 1), mirrors) == ((4, 1), (4, 5))
    assert images_of_step((3, 0), (1, 1), ()) == ((4, 1),)
    # Two images that would meet in one tile.
    assert images_of_step((0, 0), (1, 0), mirrors_of([(0, 0), (2, 0)])) is None
