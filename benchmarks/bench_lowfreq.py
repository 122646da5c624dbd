"""Low end: modes, transfers, choice of tiles; ratios to plain sums.

Meshes are timed in a child with one thread of linear algebra: on a full machine two threads of it
wait for each other ten times longer than they work.
"""

import os
import subprocess
import sys

import numpy as np

from benchmarks.row import Row, best_of

OUTLINE = [(0.0, 0.0), (15.0, 0.0), (15.0, 12.0), (0.0, 12.0)]
L_PLAN = [(0.0, 0.0), (12.0, 0.0), (12.0, 6.0), (7.0, 6.0), (7.0, 11.0), (0.0, 11.0)]
COLUMNS = [
    [(x, y), (x + 0.4, y), (x + 0.4, y + 0.4), (x, y + 0.4)]
    for x, y in ((3.0, 3.0), (3.0, 7.5), (6.4, 3.0), (9.5, 3.2))
]


SOLVE = """
import sys
from benchmarks.bench_lowfreq import COLUMNS, L_PLAN, OUTLINE
from benchmarks.row import best_of
from soffit.acoustics.lowfreq_mesh import mesh_modes, plan_modes
limit = float(sys.argv[2])
if sys.argv[1] == "columns":
    print(best_of(3, lambda: plan_modes(L_PLAN, COLUMNS, limit_per_m=limit)))
else:
    print(best_of(3, lambda: mesh_modes([(0, 0), (7, 0), (7, 5), (0, 5)], limit_per_m=limit)))
"""


def _alone(what: str, limit_per_m: float) -> float:
    """Shortest of three solves with one thread, in seconds."""
    done = subprocess.run(
        [sys.executable, "-c", SOLVE, what, str(limit_per_m)],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        check=True,
        text=True,
    )
    return float(done.stdout)


def rows() -> list[Row]:
    from soffit.acoustics.lowfreq import (
        decay_rate_per_s,
        half_space_transfer,
        plan_limit_per_m,
    )
    from soffit.acoustics.lowfreq_mesh import plan_modes
    from soffit.acoustics.lowfreq_seats import low_tones, seat_spread_db
    from soffit.design.subs_search import choose_tiles

    limit = plan_limit_per_m(highest_hz=165.0, height_step_m=1.8)
    tones = low_tones(low_hz=25.0, high_hz=160.0, per_band=6).frequency_hz
    tiles = np.array([(0.3 + 0.6 * c, 0.3 + 0.6 * r) for r in range(20) for c in range(25)])
    seats = np.array(
        [(x, y, 1.2) for y in np.linspace(0.5, 11.5, 5) for x in np.linspace(0.5, 14.5, 8)]
    )
    decay = decay_rate_per_s(0.6)

    def field() -> np.ndarray:
        return half_space_transfer(
            plan_modes(OUTLINE, limit_per_m=limit),
            source_m=tiles,
            ear_m=seats,
            frequency_hz=tones,
            decay_rate_per_s=decay,
            height_m=3.0,
        )

    transfer = field()

    def choose(most: int, *, exact: bool) -> None:
        choose_tiles(
            transfer,
            most=most,
            support_loss_most_db=3.0,
            exact_pairs=exact,
            rng=np.random.default_rng(1),
        )

    modal = best_of(3, field)
    greedy = best_of(3, lambda: choose(4, exact=False))
    pairs = best_of(3, lambda: choose(2, exact=True))

    def plain_pairs() -> None:
        for first in range(20):
            for second in range(first + 1, 100):
                seat_spread_db(transfer[first] + transfer[second])

    plain = best_of(2, plain_pairs) / 1790 * 124_750
    columns = _alone("columns", limit)
    needed = plan_limit_per_m(highest_hz=113.0, height_step_m=1.8, decay_neper=4.5)
    used = _alone("columns", needed)
    box = _alone("box", plan_limit_per_m(highest_hz=160.0, height_step_m=1.6))
    note = "best of 3, loaded machine"
    return [
        Row(
            name="subs: 500 tiles x 40 seats x 54 tones, 1-4 subs, with modes",
            measured=modal + greedy,
            unit="s",
            target=5.0,
            target_text="< 5 s",
            note=f"{note}; modes and transfer {modal:.2f} s",
        ),
        Row(
            name="subs: every pair of 500 tiles, exact",
            measured=pairs + modal,
            unit="s",
            target=5.0,
            target_text="< 5 s",
            note=f"{note}; {plain / pairs:.0f} times as fast as a plain loop",
        ),
        Row(
            name="modes of an L-shaped room of 107 m2 with four columns, 160 Hz",
            measured=columns,
            unit="s",
            target=4.0,
            target_text="< 4 s",
            note="one thread, best of 3",
        ),
        Row(
            name="same room, as far as a crossover of 100 Hz needs",
            measured=used,
            unit="s",
            target=4.0,
            target_text="< 4 s",
            note=note,
        ),
        Row(
            name="modes of a 7 x 5 m rectangle by elements, to 160 Hz, transfers within 0.2 dB",
            measured=box,
            unit="s",
            target=1.0,
            target_text="< 1 s",
            note=note,
        ),
    ]
