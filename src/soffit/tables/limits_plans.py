"""Settings and limits of reading plan files."""

from typing import Final

from soffit.tables.setting import PRACTICE, Setting

_OURS: Final = "our own choice, tried on drawn and on found plans"

ROWS: Final[tuple[Setting, ...]] = (
    Setting(
        name="plan_keep_ratio",
        default=0.8,
        unit="",
        quantity="ratio",
        source=_OURS,
        help="Confidence from which a room of a plan file is kept without being named.",
        least=0.0,
        most=1.0,
    ),
    Setting(
        name="plan_read_s",
        default=300.0,
        unit="s",
        quantity="time",
        source=_OURS,
        help="Longest that reading one plan file may take before it is stopped.",
        least=5.0,
        most=7200.0,
    ),
    Setting(
        name="plan_read_memory_gb",
        default=6.0,
        unit="GB",
        quantity=None,
        source=_OURS,
        help="Most memory that reading one plan file may take.",
        least=1.0,
        most=256.0,
    ),
    Setting(
        name="plan_ceiling_height_m",
        default=2.7,
        unit="m",
        quantity="length",
        source=PRACTICE,
        help="Ceiling height that is assumed where a plan file tells none.",
        least=2.0,
        most=20.0,
    ),
    Setting(
        name="plan_obstacle_least_height_m",
        default=1.8,
        unit="m",
        quantity="length",
        source=PRACTICE,
        help="Things of a plan file that end lower than this above the floor are no obstacles.",
        least=0.5,
        most=10.0,
    ),
    Setting(
        name="plan_area_doubt_ratio",
        default=0.02,
        unit="",
        quantity="ratio",
        source=_OURS,
        help="Difference between stated and drawn area from which a doubt is told.",
        least=0.001,
        most=0.5,
    ),
    Setting(
        name="plan_size_doubt_ratio",
        default=0.06,
        unit="",
        quantity="ratio",
        source=_OURS,
        help="Difference between a printed size and the drawn one from which a room is doubted.",
        least=0.005,
        most=0.5,
    ),
    Setting(
        name="plan_moved_least_m",
        default=0.02,
        unit="m",
        quantity="length",
        source=_OURS,
        help="Shift of a wall or thing from which a second reading tells a difference.",
        least=0.001,
        most=1.0,
    ),
)
