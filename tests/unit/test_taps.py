"""Taps: never worse than equal ones, changed only for what the brief asks."""

from dataclasses import replace

import numpy as np
import pytest

from soffit.design.place import choose_layouts, option_speakers
from soffit.design.taps import choose_taps
from soffit.errors import NoSolutionError
from soffit.evaluate.sound import room_sound
from soffit.model.catalogue import Catalogue
from soffit.model.survey import Brief
from soffit.tables.settings import DEFAULT_LIMITS
from soffit_place_cases import rectangle, room, speaker_type

KIND = speaker_type()
CATALOGUE = Catalogue(speaker_types=(KIND,))


def placed(made):
    chosen = choose_layouts(made, speaker_type=KIND, line_voltage_v=100.0).chosen
    return option_speakers(
        made,
        chosen,
        speaker_type=KIND,
        line_voltage_v=100.0,
        keys=[f"k{i}" for i in range(chosen.count)],
    )


def spread_db(made, speakers) -> float:
    sound = room_sound(made, CATALOGUE, speakers, limits=DEFAULT_LIMITS, line_voltage_v=100.0)
    return sound.evenness[made.brief.evenness_measure].spread_db


def test_taps_that_meet_the_brief_stay() -> None:
    made = room(rectangle(7.2, 6.0))
    speakers = placed(made)
    choice = choose_taps(made, speakers, CATALOGUE, line_voltage_v=100.0)
    assert choice.speakers == speakers
    assert choice.changed_keys == ()
    assert "meet the brief" in choice.reason


@pytest.mark.parametrize("missing", [0, 3])
def test_a_missing_speaker_is_made_up_for_as_far_as_taps_can(missing: int) -> None:
    made = room(rectangle(9.6, 6.0), brief=Brief(margin_db=10.0, evenness_db=2.0))
    speakers = placed(made)
    left = tuple(s for i, s in enumerate(speakers) if i != missing)
    choice = choose_taps(made, left, CATALOGUE, line_voltage_v=100.0)
    assert choice.spread_db <= choice.equal_spread_db
    assert choice.spread_db == pytest.approx(spread_db(made, choice.speakers), abs=1e-3)
    assert choice.equal_spread_db == pytest.approx(spread_db(made, left), abs=1e-3)
    for speaker in choice.speakers:
        assert KIND.delivered_w(speaker.tap) <= KIND.rated_power_w


@pytest.mark.parametrize("seed", range(4))
def test_never_worse_than_equal_taps(seed: int) -> None:
    rng = np.random.default_rng(seed)
    made = room(rectangle(9.6, 7.2), brief=Brief(margin_db=10.0, evenness_db=1.0))
    speakers = [
        replace(
            s,
            position=(
                s.position[0] + float(rng.uniform(-0.8, 0.8)),
                s.position[1] + float(rng.uniform(-0.8, 0.8)),
            ),
        )
        for s in placed(room(rectangle(9.6, 7.2)))
    ]
    choice = choose_taps(made, speakers, CATALOGUE, line_voltage_v=100.0)
    assert choice.spread_db <= spread_db(made, speakers) + 1e-3


def test_exhaustive_search_is_never_beaten_by_a_random_choice() -> None:
    made = room(rectangle(6.0, 4.8), brief=Brief(margin_db=10.0, evenness_db=0.5))
    speakers = placed(room(rectangle(6.0, 4.8)))
    choice = choose_taps(made, speakers, CATALOGUE, line_voltage_v=100.0)
    assert choice.is_exhaustive
    rng = np.random.default_rng(3)
    for _ in range(60):
        trial = [replace(s, tap=KIND.taps[int(rng.integers(len(KIND.taps)))]) for s in speakers]
        assert spread_db(made, trial) >= choice.spread_db - 1e-3


def test_fixed_taps_stay_and_a_room_without_speakers_is_refused() -> None:
    made = room(rectangle(9.6, 6.0), brief=Brief(margin_db=10.0, evenness_db=1.0))
    speakers = tuple(replace(s, fixed_tap=True) for s in placed(room(rectangle(9.6, 6.0))))
    assert choose_taps(made, speakers, CATALOGUE, line_voltage_v=100.0).speakers == speakers
    with pytest.raises(NoSolutionError):
        choose_taps(made, (), CATALOGUE, line_voltage_v=100.0)
