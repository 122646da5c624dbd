"""Air, reverberation formulas and piston against stored results of an independent library.

The library, its version and how the results were made stand in `make_room_golden.py`.
"""

import importlib.util
import json
from pathlib import Path

import numpy as np
import pytest

from soffit.acoustics.air import air_absorption_db_m
from soffit.acoustics.directivity import piston_energy_ratio
from soffit.acoustics.room import (
    reverberation_time_arau_s,
    reverberation_time_eyring_s,
    reverberation_time_fitzroy_s,
    reverberation_time_sabine_s,
)

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def cases():
    spec = importlib.util.spec_from_file_location("room_cases", HERE / "room_cases.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def golden():
    return json.loads((HERE / "data" / "room_golden.json").read_text(encoding="utf-8"))


def test_air_at_300_random_conditions(cases, golden):
    for number, row in enumerate(golden["air_db_m"]):
        degc, percent, kilopascal = cases.air(number)
        found = air_absorption_db_m(
            temperature_degc=degc, humidity_percent=percent, pressure_kpa=kilopascal
        )
        np.testing.assert_allclose(found, np.array(row, dtype=float), rtol=1e-9)


def test_four_formulas_in_300_random_boxes(cases, golden):
    for number, row in enumerate(golden["time_s"]):
        (x, y, z), absorption, m = cases.room(number)
        areas = np.array([2 * y * z, 2 * x * z, 2 * x * y])
        shared = {
            "volume_m3": x * y * z,
            "absorption_area_m2": float(areas @ absorption),
            "air_db_m": m * 10.0 / np.log(10.0),
            "speed_m_s": 343.0,
        }
        box = {"dimensions_m": (x, y, z), "absorption_ratio": absorption, "speed_m_s": 343.0}
        found = [
            reverberation_time_sabine_s(**shared)[0],
            reverberation_time_eyring_s(**shared, surface_m2=float(areas.sum()))[0],
            reverberation_time_arau_s(**box),
            reverberation_time_fitzroy_s(**box),
        ]
        np.testing.assert_allclose(found, np.array(row, dtype=float), rtol=1e-9)


def test_piston_in_300_random_directions(cases, golden):
    found = [piston_energy_ratio(ka_sin=ka * np.sin(t)) for ka, t in map(cases.cone, range(300))]
    expected = np.array(golden["piston"], dtype=float) ** 2
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-14)
