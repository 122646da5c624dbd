"""Types of values in the files people write: bare numbers are SI, texts carry their unit."""

import math
from collections.abc import Callable
from typing import Annotated, Any, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from soffit.errors import UnitError
from soffit.units import Quantity, parse, units_of

SEVENTY_VOLT: Final = 100.0 / math.sqrt(2.0)
"""What 70.7 V names: the r.m.s. of a sine of 100 V peak. [V]"""


class Entry(BaseModel):
    """Base of everything in a file: unknown keys refused, nothing coerced, notes welcome."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, defer_build=True)

    note: str = Field(default="", description="Free words for whoever comes next.")


def _reader(quantity: Quantity) -> Callable[[Any], float]:
    def read(value: Any) -> float:  # noqa: ANN401 - a file has just been parsed
        if not isinstance(value, int | float | str):
            msg = f"{value!r} is not a {quantity}"
            raise UnitError(
                msg,
                why="a number, or a text with a unit, is needed",
                do=f"write for example 1 or one of the units {', '.join(units_of(quantity)[:6])}",
            )
        try:
            return parse(value, quantity)
        except OverflowError:
            msg = f"{str(value)[:40]} is too large"
            raise UnitError(
                msg, why="no such quantity fits a number", do="write it again"
            ) from None

    return read


def _schema(quantity: Quantity, si: str) -> WithJsonSchema:
    words = f"A number in {si}, or a text with one of: {', '.join(units_of(quantity))}."
    return WithJsonSchema({"type": ["number", "string"], "description": words, "x-unit": si})


Length = Annotated[float, BeforeValidator(_reader("length")), _schema("length", "m")]
Angle = Annotated[float, BeforeValidator(_reader("angle")), _schema("angle", "degrees")]
Level = Annotated[float, BeforeValidator(_reader("level")), _schema("level", "dB")]
Power = Annotated[float, BeforeValidator(_reader("power")), _schema("power", "W")]
Mass = Annotated[float, BeforeValidator(_reader("mass")), _schema("mass", "kg")]
Area = Annotated[float, BeforeValidator(_reader("area")), _schema("area", "m²")]
Ratio = Annotated[float, BeforeValidator(_reader("ratio")), _schema("ratio", "1 (0.2 is 20 %)")]
Time = Annotated[float, BeforeValidator(_reader("time")), _schema("time", "s")]
Frequency = Annotated[float, BeforeValidator(_reader("frequency")), _schema("frequency", "Hz")]
Resistance = Annotated[float, BeforeValidator(_reader("resistance")), _schema("resistance", "Ω")]
SurfaceMass = Annotated[
    float, BeforeValidator(_reader("surface_mass")), _schema("surface_mass", "kg/m²")
]
Voltage = Annotated[float, BeforeValidator(_reader("voltage")), _schema("voltage", "V")]


def line_voltage_v(value: Any) -> float:  # noqa: ANN401 - a file has just been parsed
    """Read a nominal line voltage; 70.7 names 100/sqrt(2), every other number is literal.

    Parameters
    ----------
    value
        Number in volts, or a text with a unit.

    Returns
    -------
    float
        Line voltage. [V]

    Raises
    ------
    UnitError
        If it is no voltage.

    Examples
    --------
    >>> round(line_voltage_v("70.7 V"), 4), line_voltage_v(70), line_voltage_v("100 V")
    (70.7107, 70.0, 100.0)
    """
    volts = _reader("voltage")(value)
    return SEVENTY_VOLT if abs(volts - 70.7) < 1e-9 else volts


LineVoltage = Annotated[
    float,
    BeforeValidator(line_voltage_v),
    WithJsonSchema(
        {
            "type": ["number", "string"],
            "description": "Nominal line voltage in V; 70.7 names 100/sqrt(2).",
            "x-unit": "V",
        }
    ),
]


Key = Annotated[
    str,
    Field(
        pattern=r"^\w[\w-]{0,59}$",
        description="Letters, digits, - and _; permanent, used in paths and labels.",
    ),
]
PlanPoint = Annotated[list[Length], Field(min_length=2, max_length=2)]
Pair = Annotated[list[Length], Field(min_length=2, max_length=2)]
Count = Annotated[int, Field(ge=1, le=1000)]


def _plain(value: Any) -> Any:  # noqa: ANN401 - read later, in the unit of its row
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        msg = f"{value!r} is not a number"
        raise UnitError(msg, why="a setting is a number or a text with a unit", do="write a number")
    return value


LimitValue = Annotated[Any, BeforeValidator(_plain), WithJsonSchema({"type": ["number", "string"]})]
