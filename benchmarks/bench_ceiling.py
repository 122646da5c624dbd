"""Ceilings and checks: tiles of a hall, speakers among obstacles, all checks of the bad demo."""

import tempfile
from pathlib import Path

import numpy as np
import shapely

from benchmarks.row import Row, best_of
from soffit.ceiling.tiles import GridLines, blocked, tiles
from soffit.evaluate.ceiling import evaluate_ceiling
from soffit.job.api import load_demo_catalogue, open_job
from soffit.model.catalogue import Tap
from soffit.model.decisions import Survey
from soffit.model.speakers import Speaker
from soffit.model.survey import Ceiling, Grid, Obstacle, Room, Site, Storey
from soffit.work.demo import make_demo
from soffit.work.run_checks import check_job

Ring = tuple[tuple[float, float], ...]

SIDE_M = 60.0
HALL: Ring = ((0.0, 0.0), (SIDE_M, 0.0), (SIDE_M, SIDE_M), (0.0, SIDE_M))


def _square(x: float, y: float) -> Ring:
    return ((x, y), (x + 0.6, y), (x + 0.6, y + 0.6), (x, y + 0.6))


def _hall() -> tuple[Survey, tuple[Speaker, ...]]:
    ceiling = Ceiling(
        key="c",
        kind="grid",
        height_m=4.0,
        void_depth_m=0.5,
        structure_height_m=4.8,
        grid=Grid(origin=(0.0, 0.0), pitch_x_m=0.6, pitch_y_m=0.6, load_class="heavy"),
    )
    room = Room(key="r", label="Hall", storey_key="g", outline=HALL, ceilings=(ceiling,))
    lights = tuple(
        Obstacle(
            key=f"o{number}",
            label=f"light {number}",
            room_key="r",
            kind="light",
            outline=_square(2.4 + 3.0 * (number % 18), 2.4 + 3.0 * (number // 18)),
        )
        for number in range(324)
    )
    speakers = tuple(
        Speaker(
            key=f"s{number}",
            label=f"L{number}",
            room_key="r",
            ceiling_key="c",
            type_id="ceiling-6",
            position=(0.9 + 1.2 * (number % 45), 0.9 + 1.2 * (number // 45)),
            mount_height_m=4.0,
            tap=Tap(power_w=7.5, voltage_v=100.0),
        )
        for number in range(2000)
    )
    survey = Survey(
        site=Site(name="Bench"),
        storeys=(Storey(key="g", label="G"),),
        rooms=(room,),
        obstacles=lights,
    )
    return survey, speakers


def rows() -> list[Row]:
    grid = GridLines(origin=(0.3, 0.3), pitch_x_m=0.6, pitch_y_m=0.6, angle_rad=0.2)
    field = tiles(HALL, grid=grid)
    survey, speakers = _hall()
    catalogue = load_demo_catalogue()
    outlines = [item.outline for item in survey.obstacles]
    shapes = np.array([shapely.Polygon(ring) for ring in outlines])

    def block() -> None:
        blocked(field, outlines=outlines, clearance_m=0.3, takes_tile=False, radius_m=0.12)

    def block_by_hand() -> None:
        points = shapely.points(field.centre_m)
        (shapely.distance(points[:, None], shapes[None, :]) < 0.42).any(axis=1)

    laid = best_of(3, lambda: tiles(HALL, grid=grid))
    fast, slow = best_of(3, block), best_of(1, block_by_hand)
    judged = best_of(1, lambda: evaluate_ceiling(survey, speakers, catalogue))
    with tempfile.TemporaryDirectory() as name:
        job = open_job(make_demo("trouble", Path(name) / "job"))
        checked = best_of(2, lambda: check_job(job))
    return [
        Row(
            name=f"grid turned by 11 degrees over a hall, {len(field)} tiles",
            measured=laid * 1e3,
            unit="ms",
            target=200.0,
            target_text="< 200 ms",
        ),
        Row(
            name="tiles blocked by 324 lights",
            measured=fast * 1e3,
            unit="ms",
            target=200.0,
            target_text="< 200 ms",
            note=f"{slow / fast:.0f} times faster than every distance",
        ),
        Row(
            name="2000 speakers held against a ceiling with 324 lights",
            measured=judged,
            unit="s",
            target=5.0,
            target_text="< 5 s",
        ),
        Row(
            name="demo of mistakes: evaluate and run every check",
            measured=checked,
            unit="s",
            target=3.0,
            target_text="< 3 s",
        ),
    ]
