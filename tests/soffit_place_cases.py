"""Invented rooms and loudspeakers for the tests of placing."""

from math import radians

import numpy as np

from soffit.model.catalogue import Directivity, PolarTable, SpeakerType, Tap, TransformerData
from soffit.model.survey import (
    Brief,
    Ceiling,
    Grid,
    Joists,
    ListeningArea,
    Noise,
    Obstacle,
    Room,
    Surface,
)


def speaker_type(coverage_deg: float = 90.0, **changes) -> SpeakerType:
    fields = {
        "id": f"invented-{coverage_deg:.0f}",
        "name": f"Invented {coverage_deg:.0f}",
        "kind": "ceiling",
        "taps": tuple(Tap(power_w=w, voltage_v=100.0) for w in (1.5, 3.0, 6.0, 12.0)),
        "tap_watt": "delivered",
        "rated_power_w": 15.0,
        "sensitivity_db": (80.0, 86.0, 89.0, 90.0, 90.0, 90.0, 90.0, 88.0),
        "directivity": Directivity(model="cosine", coverage_angle_rad=radians(coverage_deg)),
        "transformer": TransformerData(lf_limit_hz=60.0, insertion_loss_db=1.0),
        "depth_m": 0.12,
        "mass_kg": 2.0,
        "flange_diameter_m": 0.22,
        "cutout_diameter_m": 0.2,
        "source": "invented",
    }
    fields.update(changes)
    return SpeakerType(**fields)


def polar_type() -> SpeakerType:
    """A lobe that narrows with frequency and has a shoulder, as measured units do."""
    angles = np.radians(np.arange(0.0, 91.0, 10.0))
    bands = []
    for band in range(8):
        drop = 2.0 + 1.6 * band
        bands.append(tuple((-drop * np.sin(angles) ** 2 - 1.0 * np.sin(2 * angles) ** 4).tolist()))
    return speaker_type(
        95.0,
        id="invented-polar",
        directivity=Directivity(
            model="polar",
            polar=(PolarTable(angle_rad=tuple(angles.tolist()), level_db=tuple(bands)),),
        ),
    )


def rectangle(lx: float, ly: float, x: float = 0.0, y: float = 0.0) -> tuple:
    return ((x, y), (x + lx, y), (x + lx, y + ly), (x, y + ly))


def room(
    outline,
    *,
    height: float = 3.0,
    pitch=(0.6, 0.6),
    origin=(0.0, 0.0),
    angle: float = 0.0,
    kind: str = "grid",
    joists: Joists | None = None,
    border: bool = False,
    areas: tuple[ListeningArea, ...] = (),
    brief: Brief | None = None,
    holes=(),
    ceilings=None,
) -> Room:
    grid = Grid(
        origin=origin,
        pitch_x_m=pitch[0],
        pitch_y_m=pitch[1],
        angle_rad=angle,
        border_tiles_usable=border,
    )
    default = Ceiling(
        key="c",
        kind=kind,
        height_m=height,
        grid=grid if kind == "grid" else None,
        joists=joists,
        void_depth_m=0.5,
    )
    return Room(
        key="room",
        label="Room",
        storey_key="ground",
        outline=tuple(outline),
        holes=tuple(holes),
        ceilings=ceilings or (default,),
        surfaces=(Surface(part="floor", material="carpet_on_concrete"),),
        noise=Noise(kind="dba", value=45.0),
        brief=brief or Brief(margin_db=10.0),
        listening_areas=areas,
    )


def block(column: int, row: int, pitch: float = 0.6, kind: str = "light") -> Obstacle:
    """Something that takes exactly one tile."""
    inset = 0.05
    size = pitch - 2 * inset
    return Obstacle(
        key=f"o{column}-{row}",
        label="light",
        room_key="room",
        kind=kind,
        outline=rectangle(size, size, column * pitch + inset, row * pitch + inset),
        clearance_m=0.0,
    )


def random_case(seed: int):
    """A room, its obstacles and a type; obstacles in every second one."""
    rng = np.random.default_rng(seed)
    pitch = ((0.6, 0.6), (0.6096, 0.6096), (1.2, 0.6))[int(rng.integers(3))]
    lx, ly = float(rng.uniform(5.0, 24.0)), float(rng.uniform(4.0, 16.0))
    height = float(rng.choice([2.6, 2.8, 3.0, 3.5, 4.2]))
    origin = (float(rng.uniform(0.0, pitch[0])), float(rng.uniform(0.0, pitch[1])))
    kind = [speaker_type(90.0), speaker_type(120.0), speaker_type(75.0), polar_type()][
        int(rng.integers(4))
    ]
    made = room(rectangle(lx, ly), height=height, pitch=pitch, origin=origin)
    obstacles = []
    if seed % 2:
        share = float(rng.uniform(0.03, 0.15))
        columns, rows = int(lx / pitch[0]) + 1, int(ly / pitch[1]) + 1
        for column in range(columns):
            for row in range(rows):
                if rng.uniform() < share:
                    x = origin[0] + (column - 1) * pitch[0] + 0.05
                    y = origin[1] + (row - 1) * pitch[1] + 0.05
                    outline = rectangle(pitch[0] - 0.1, pitch[1] - 0.1, x, y)
                    obstacles.append(
                        Obstacle(
                            key=f"o{column}-{row}",
                            label="light",
                            room_key="room",
                            kind="light",
                            outline=outline,
                            clearance_m=0.0,
                        )
                    )
    return made, tuple(obstacles), kind
