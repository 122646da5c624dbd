"""First reflections in a shoebox against the image sources of pyroomacoustics.

Only positions and damping of its images are used; its reverberation formulas have sign errors in
the air term, and its responses lack 1/(4 pi).
"""

import numpy as np
import pytest

from soffit.acoustics.direct import energy_per_watt, radiator
from soffit.acoustics.directivity import aim_vector, omnidirectional
from soffit.acoustics.images import level_reflector, reflected_energy_per_watt, wall_reflectors
from soffit.acoustics.visibility import outline

pyroomacoustics = pytest.importorskip("pyroomacoustics", reason="test-only library")

SIZE = (7.3, 5.1, 3.2)
SPEAKER = np.array([2.2, 3.4, 2.6])
EARS = np.array([[1.0, 1.0, 1.2], [6.6, 0.7, 1.2], [3.3, 4.4, 1.6]])
ABSORPTION = {"west": 0.1, "east": 0.3, "south": 0.2, "north": 0.5, "floor": 0.05, "ceiling": 0.7}


def library_energy(max_order: int) -> np.ndarray:
    room = pyroomacoustics.ShoeBox(
        SIZE,
        fs=16000,
        max_order=max_order,
        materials={name: pyroomacoustics.Material(a) for name, a in ABSORPTION.items()},
    )
    room.add_source(SPEAKER)
    room.add_microphone_array(EARS.T)
    room.image_source_model()
    images, damping = room.sources[0].images, room.sources[0].damping
    gap = np.linalg.norm(EARS[:, None, :] - images.T[None, :, :], axis=-1)
    return np.sum(damping[0] ** 2 / gap**2, axis=1)


def our_reflectors(walls):
    order = [ABSORPTION[name] for name in ("south", "east", "north", "west")]
    ratios = np.repeat(np.array(order)[:, None], 8, axis=1)
    return [
        *wall_reflectors(walls, ratios),
        level_reflector(0.0, ABSORPTION["floor"], up=True),
        level_reflector(SIZE[2], ABSORPTION["ceiling"], up=False),
    ]


def test_direct_and_first_reflections_of_a_shoebox():
    walls = outline([(0, 0), (SIZE[0], 0), (SIZE[0], SIZE[1]), (0, SIZE[1])])
    made = radiator(sensitivity_db=0.0, directivity=omnidirectional(baffled=False))
    options = {"radiator": made, "speaker_m": SPEAKER, "axis": aim_vector(), "point_m": EARS}
    direct = energy_per_watt(**options)[:, 0, 4]
    reflected = reflected_energy_per_watt(**options, reflectors=our_reflectors(walls), room=walls)
    np.testing.assert_allclose(direct, library_energy(0), rtol=1e-6)
    np.testing.assert_allclose(direct + reflected[:, 0, 4], library_energy(1), rtol=1e-6)


def test_first_reflections_of_an_l_plan_are_hidden_by_its_corner():
    """The far wall of one wing reflects nothing into the other wing."""
    walls = outline([(0, 0), (8, 0), (8, 3), (3, 3), (3, 8), (0, 8)])
    made = radiator(sensitivity_db=0.0, directivity=omnidirectional(baffled=False))
    far_wall = [
        r for r in wall_reflectors(walls, np.zeros(8)) if np.allclose(r.point_m[:2], [8, 0])
    ]
    assert len(far_wall) == 1
    hidden = reflected_energy_per_watt(
        radiator=made,
        speaker_m=[1.0, 7.0, 2.5],
        axis=aim_vector(),
        point_m=[[1.0, 5.0, 1.2]],
        reflectors=far_wall,
        room=walls,
    )
    assert float(np.max(hidden)) == 0.0
    seen = reflected_energy_per_watt(
        radiator=made,
        speaker_m=[1.0, 2.0, 2.5],
        axis=aim_vector(),
        point_m=[[1.0, 1.0, 1.2]],
        reflectors=far_wall,
        room=walls,
    )
    # path by hand: 7 m to the wall, 7 m back, 1 m across, 1.3 m down
    assert float(seen[0, 0, 4]) == pytest.approx(1.0 / (14.0**2 + 1.0 + 1.3**2), rel=1e-9)
