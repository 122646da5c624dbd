"""Level maps, dragging and STI maps; times are the best of several runs on a shared machine."""

import resource

import numpy as np

from benchmarks.row import Row, best_of
from soffit.acoustics.direct import Radiator, radiator
from soffit.acoustics.directivity import piston
from soffit.acoustics.mapping import Kernel, MapGrid, SpeakerGroup, add_stamp, map_energy
from soffit.acoustics.speechmap import sti_at_points

THROW_M = 1.8


def plain_map(made: Radiator, group: SpeakerGroup, points: np.ndarray) -> np.ndarray:
    """Straightforward sum in numpy: one speaker at a time, roots, arc cosines, interpolation."""
    angle = np.linspace(0, np.pi, len(made.directivity.energy_ratio))
    total = np.zeros((8, len(points)))
    for (px, py), watts in zip(group.position_m, group.power_w, strict=True):
        gap = np.sqrt((points[:, 0] - px) ** 2 + (points[:, 1] - py) ** 2 + THROW_M**2)
        theta = np.arccos(THROW_M / gap)
        for band in range(8):
            pattern = np.interp(theta, angle, made.directivity.energy_ratio[:, band])
            total[band] += watts * 10 ** (made.sensitivity_db[band] / 10) * pattern / gap**2
    return total


def lattice(made: Radiator, grid: MapGrid, columns: int, rows: int) -> SpeakerGroup:
    x = np.floor((np.arange(columns) + 0.5) * grid.n_x / columns) * grid.step_m
    y = np.floor((np.arange(rows) + 0.5) * grid.n_y / rows) * grid.step_m
    place = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    return SpeakerGroup(
        radiator=made, throw_m=THROW_M, position_m=place, power_w=np.full(len(place), 5.0)
    )


def map_rows(made: Radiator) -> list[Row]:
    found = []
    for columns, rows_, n_x, n_y, most_s in ((25, 20, 500, 400, 0.4), (50, 40, 1000, 1000, 2.0)):
        grid = MapGrid(x0_m=0.0, y0_m=0.0, step_m=0.1, n_x=n_x, n_y=n_y)
        group = lattice(made, grid, columns, rows_)
        time_s = best_of(4, lambda grid=grid, group=group: map_energy(grid, [group]))
        few = np.random.default_rng(1).integers(0, [n_x, n_y], (2000, 2))
        sample = few * grid.step_m
        plain_s = best_of(1, lambda group=group, sample=sample: plain_map(made, group, sample))
        energy = map_energy(grid, [group])[:, few[:, 1], few[:, 0]]
        worst = np.max(np.abs(10 * np.log10(energy / plain_map(made, group, sample))))
        whole_s = plain_s * n_x * n_y / len(sample)
        found.append(
            Row(
                name=f"level map, {columns * rows_} speakers x {n_x * n_y} points x 8 bands",
                measured=time_s,
                unit="s",
                target=most_s,
                target_text=f"< {most_s:g} s",
                note=f"best of 4; plain numpy {whole_s / time_s:.0f} times longer (scaled up)",
            )
        )
        found.append(
            Row(
                name=f"level map, {columns * rows_} speakers, error against the plain sum",
                measured=float(worst),
                unit="dB",
                target=0.001,
                target_text="<= 0.001 dB",
                note="2000 random points, all bands",
            )
        )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    found.append(
        Row(
            name="level maps, peak memory of the process",
            measured=peak,
            unit="GiB",
            target=1.0,
            target_text="< 1 GiB",
        )
    )
    return found


def stamp_row(made: Radiator) -> Row:
    grid = MapGrid(x0_m=0.0, y0_m=0.0, step_m=0.1, n_x=1000, n_y=1000)
    kernel = Kernel(made, THROW_M, grid, weights=np.eye(8)[6])
    stamps = kernel.stamps()
    energy = np.ones_like(stamps)

    def move() -> None:
        add_stamp(energy, stamps, 500, 400, -5.0)
        add_stamp(energy, stamps, 503, 400, 5.0)

    return Row(
        name="move one speaker on a map of 1 000 000 points, one measure",
        measured=best_of(10, move) * 1000,
        unit="ms",
        target=30.0,
        target_text="< 30 ms",
        note="best of 10",
    )


def drag_row() -> Row:
    """Request to new map and new evenness, 100 speakers in 40 x 25 m, shadows included."""
    import importlib.util
    import time
    from pathlib import Path

    path = Path(__file__).parents[1] / "tests" / "unit" / "test_evaluate_sound.py"
    spec = importlib.util.spec_from_file_location("test_evaluate_sound", path)
    assert spec is not None
    assert spec.loader is not None
    demo = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(demo)
    spots = [(2.0 + 4 * i, 1.25 + 2.5 * j) for i in range(10) for j in range(10)]
    room = demo.make_room(
        outline=((0, 0), (40, 0), (40, 25), (0, 25)),
        holes=(((19.5, 12), (20.5, 12), (20.5, 13), (19.5, 13)),),
    )
    sound = demo.evaluate(room, demo.make_speakers(spots=spots))
    live = demo.LiveRoom(room, sound)
    times = []
    for step in range(200):
        start = time.perf_counter()
        live.move("s45", (15.0 + 0.02 * step, 11.0 + 0.01 * step))
        live.level_map()
        times.append(time.perf_counter() - start)
    return Row(
        name="drag, 100 speakers: new evenness and map (95th percentile)",
        measured=float(np.percentile(times, 95)) * 1000,
        unit="ms",
        target=10.0,
        target_text="< 10 ms",
        note=f"{live.grid.n_x * live.grid.n_y} points, {sound.ears.count} ears, a column",
    )


def sti_row() -> Row:
    chance = np.random.default_rng(1)
    ears, speakers = 10_000, 100
    place = chance.uniform(0, [40, 25], (speakers, 2))
    ear = chance.uniform(0, [40, 25], (ears, 2))
    gap = np.sqrt(((ear[:, None] - place[None]) ** 2).sum(-1) + THROW_M**2)
    options = {
        "direct_energy": (1e6 / gap[..., None] ** 2) * np.ones(7),
        "late_energy": np.full((speakers, 7), 1e4),
        "delay_s": gap / 343.2,
        "reverberation_time_s": np.full(7, 1.0),
        "noise_level_db": np.full(7, 30.0),
    }
    return Row(
        name="STI map, 10 000 points x 100 speakers",
        measured=best_of(8, lambda: sti_at_points(**options)),
        unit="s",
        target=0.3,
        target_text="< 0.3 s",
        note="best of 8; from energies and arrival times",
    )


def rows() -> list[Row]:
    made = radiator(sensitivity_db=90.0, directivity=piston(radius_m=0.08))
    return [*map_rows(made), stamp_row(made), drag_row(), sti_row()]
