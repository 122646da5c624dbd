"""Free form: fewer speakers in odd rooms, seeded, judged by the same spread."""

import numpy as np

from soffit.design.place import choose_layouts
from soffit.design.place_family import Family
from soffit_place_cases import block, room, speaker_type

L_SHAPE = ((0.0, 0.0), (9.0, 0.0), (9.0, 5.4), (5.4, 5.4), (5.4, 9.0), (0.0, 9.0))
TAKEN = [(c, r) for c in range(15) for r in range(15) if (3 * c + 5 * r) % 7 == 0]


def chosen(family: Family):
    return choose_layouts(
        room(L_SHAPE, height=2.8),
        speaker_type=speaker_type(),
        line_voltage_v=100.0,
        obstacles=[block(c, r) for c, r in TAKEN],
        family=family,
    )


def test_free_form_never_takes_more_speakers_and_repeats_itself() -> None:
    plain = chosen(Family())
    free = chosen(Family(has_free=True, seed=5))
    assert free.chosen.count <= plain.chosen.count
    assert free.chosen.meets_brief
    assert chosen(Family(has_free=True, seed=5)) == free
    places = np.array(free.chosen.tiles)
    assert len({tuple(place) for place in places.tolist()}) == len(places)
    assert not {tuple(place) for place in places.tolist()} & set(TAKEN)
    loose = [o for o in free.options if "placed freely" in o.pattern]
    assert all(o.look_penalty >= 2.0 for o in loose)
