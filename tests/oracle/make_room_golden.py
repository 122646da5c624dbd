"""Make the stored results for air, reverberation and pistons with the open library phonometry.

It needs Python 3.13, see `make_sti_golden.py` for how to run this.
"""

import json
import sys
from importlib.metadata import version
from pathlib import Path

import numpy as np

OCTAVES = [63, 125, 250, 500, 1000, 2000, 4000, 8000]


def times(case: tuple[list[float], list[float], float]) -> list[float]:
    from phonometry.room import reverberation_prediction as predicted

    size, absorption, m = case
    x, y, z = size
    surfaces = [
        (area, ratio)
        for area, ratio in zip((2 * y * z, 2 * x * z, 2 * x * y), absorption, strict=True)
    ]
    volume = x * y * z
    return [
        float(predicted.sabine_reverberation_time(volume, surfaces, air_attenuation=m)),
        float(predicted.eyring_reverberation_time(volume, surfaces, air_attenuation=m)),
        float(predicted.arau_puchades_reverberation_time(size, absorption)),
        float(predicted.fitzroy_reverberation_time(size, absorption)),
    ]


def main() -> None:
    # Here, so that collecting the tests does not need the library.
    sys.path.insert(0, str(Path(__file__).parent))
    from phonometry.electroacoustics.piston import piston_directivity
    from phonometry.environmental.air_absorption import air_attenuation
    from room_cases import N_CASES, air, cone, room

    golden = {
        "made_with": f"phonometry {version('phonometry')}, numpy {np.__version__}",
        "air_db_m": [
            [repr(float(v)) for v in air_attenuation(OCTAVES, *air(n), exact_midband=True)]
            for n in range(N_CASES)
        ],
        "time_s": [[repr(v) for v in times(room(n))] for n in range(N_CASES)],
        "piston": [repr(float(piston_directivity(*cone(n)))) for n in range(N_CASES)],
    }
    path = Path(__file__).parent / "data" / "room_golden.json"
    path.write_text(json.dumps(golden, indent=0) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
