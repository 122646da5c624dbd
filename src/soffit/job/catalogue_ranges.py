"""Values that no data sheet can hold: a wrong unit or a slip, refused before anything computes."""

from collections.abc import Mapping
from typing import Final

from pydantic import BaseModel

from soffit.job.locate import Path
from soffit.job.problems import Problems

RANGES: Final[Mapping[str, tuple[float, float, str]]] = {
    "bend_radius": (0.0, 2.0, "m"),
    "box_depth": (0.0, 5.0, "m"),
    "bypass": (0.1, 1e5, "Ω"),
    "capacity": (0.0, 1e5, "kg"),
    "channel_power": (0.1, 1e5, "W"),
    "coverage_angle": (0.01, 6.284, "rad"),
    "cutout_diameter": (0.005, 5.0, "m"),
    "depth": (0.0, 5.0, "m"),
    "flange_diameter": (0.005, 5.0, "m"),
    "high_pass": (1.0, 20e3, "Hz"),
    "high_pass_slope": (0.0, 200.0, "dB per octave"),
    "insertion_loss": (0.0, 20.0, "dB"),
    "leakage_ratio": (0.0, 1.0, ""),
    "length": (0.0, 1000.0, "m"),
    "level": (-120.0, 40.0, "dB"),
    "lf_limit": (1.0, 20e3, "Hz"),
    "low_limit": (1.0, 2e3, "Hz"),
    "magnetising": (1e-3, 1e6, "H·W"),
    "mass": (0.0, 5000.0, "kg"),
    "mass_per_metre": (0.0, 100.0, "kg/m"),
    "max_power": (0.01, 1e5, "W"),
    "mid": (1.0, 20e3, "Hz"),
    "outer_diameter": (1e-4, 0.5, "m"),
    "piston_radius": (1e-3, 2.0, "m"),
    "power": (1e-3, 1e4, "W"),
    "quality_factor": (0.01, 100.0, ""),
    "rated_power": (0.0, 1e5, "W"),
    "reel": (0.1, 1e5, "m"),
    "resonance": (1.0, 20e3, "Hz"),
    "resonance_rise": (0.1, 1000.0, ""),
    "sensitivity": (-20.0, 140.0, "dB"),
    "voltage": (1.0, 1000.0, "V"),
    "voltage_rating": (1.0, 1e5, "V"),
    "voltages": (1.0, 1000.0, "V"),
}
"""Least, most and unit in SI by key; far outside anything that is sold."""


def check_ranges(problems: Problems, path: Path, value: object, name: str = "") -> None:
    """Report every number of an entry that lies outside its range.

    Parameters
    ----------
    problems
        Where to report.
    path
        Key path of the value.
    value
        Entry, list or number.
    name
        Key that it stands under.
    """
    if isinstance(value, BaseModel):
        for key in type(value).model_fields:
            check_ranges(problems, (*path, key), getattr(value, key), key)
    elif isinstance(value, dict):
        for key, item in value.items():
            check_ranges(problems, (*path, key), item)
    elif isinstance(value, list):
        for index, item in enumerate(value):
            check_ranges(problems, (*path, index), item, name)
    elif name in RANGES and isinstance(value, int | float) and not isinstance(value, bool):
        least, most, unit = RANGES[name]
        if not least <= value <= most:
            problems.add(
                path,
                f"{name} of {value:g} {unit} is not possible".replace("  ", " "),
                why=f"it lies outside {least:g} to {most:g} {unit}".rstrip(),
                do="compare it with the data sheet, and look at the unit",
            )
