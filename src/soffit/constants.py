"""Physical constants and reference values, each with its source."""

from math import sqrt
from typing import Final

REFERENCE_PRESSURE_PA: Final = 20e-6
"""Reference of sound pressure level. ISO 80000-8:2020, item 8-14. [Pa]"""

REFERENCE_POWER_W: Final = 1e-12
"""Reference of sound power level. ISO 80000-8:2020, item 8-15. [W]"""

SPEED_OF_SOUND_20_DEGC_M_S: Final = 343.2
"""Dry air at 20 °C, ISO 9613-1:1993, 343.2 m/s at 293.15 K (Eq. A.5). [m/s]"""

LINE_70_V: Final = 100.0 / sqrt(2.0)
"""What the trade calls 70.7 V: the r.m.s. value of a sine of 100 V peak. [V]"""

COPPER_RESISTIVITY_20_DEGC_OHM_M: Final = 1.0 / 58.0e6
"""Annealed copper, 100 % IACS: 58 MS/m at 20 °C. IEC 60028:1925. [Ω·m]"""

COPPER_TEMPERATURE_COEFFICIENT_PER_K: Final = 3.93e-3
"""Constant-mass coefficient of annealed copper at 20 °C. IEC 60028:1925. [1/K]"""

IEC_60228_TEMPERATURE_COEFFICIENT_PER_K: Final = 4.0e-3
"""What the temperature factors of IEC 60228 are made with; never mixed with the other. [1/K]"""
