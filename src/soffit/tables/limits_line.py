"""Settings and limits of lines, cable and amplifiers."""

from typing import Final

from soffit.tables.setting import PRACTICE, Setting

ROWS: Final = (
    Setting(
        name="line_loss_warn_db",
        default=0.5,
        unit="dB",
        quantity="level",
        source=PRACTICE,
        help="Line loss at a speaker above which a warning is given.",
        least=0.01,
        most=6.0,
    ),
    Setting(
        name="line_loss_stop_db",
        default=1.0,
        unit="dB",
        quantity="level",
        source=PRACTICE,
        help="Line loss at a speaker that must not be exceeded.",
        least=0.01,
        most=12.0,
    ),
    Setting(
        name="amplifier_headroom_ratio",
        default=0.20,
        unit="",
        quantity="ratio",
        source="common practice, no source: 10-25 % on the sum of taps",
        help="Amplifier rating must reach load x (1 + headroom).",
        least=0.0,
        most=2.0,
    ),
    Setting(
        name="conductor_degc",
        default=40.0,
        unit="°C",
        quantity="temperature",
        source="common practice, no source: copper in a ceiling void",
        help="Temperature of the copper in ceiling voids.",
        least=-40.0,
        most=105.0,
    ),
)
