"""Trade units at the edge: texts such as ``9' 6 1/2"``, ``24 in`` or ``18 AWG`` to SI and back."""

import math
import re
from collections.abc import Mapping
from typing import Final, Literal

from soffit.errors import UnitError

Quantity = Literal[
    "angle",
    "area",
    "force",
    "frequency",
    "length",
    "level",
    "mass",
    "power",
    "ratio",
    "resistance",
    "surface_mass",
    "temperature",
    "time",
    "voltage",
    "volume",
]

FOOT_M: Final = 0.3048
INCH_M: Final = 0.0254
POUND_KG: Final = 0.45359237
POUND_FORCE_N: Final = 4.4482216152605
"""International yard and pound agreement (1959) and standard gravity 9.80665 m/s²: exact."""

# Factors to the SI unit (or, for angle, to the radian; for temperature see _temperature_degc).
_FACTORS: Final[Mapping[Quantity, Mapping[str, float]]] = {
    "angle": {"rad": 1.0, "deg": math.pi / 180.0, "°": math.pi / 180.0},
    "area": {"m2": 1.0, "m²": 1.0, "ft2": FOOT_M**2, "ft²": FOOT_M**2, "sq ft": FOOT_M**2},
    "force": {"N": 1.0, "kN": 1e3, "lbf": POUND_FORCE_N},
    "frequency": {"Hz": 1.0, "kHz": 1e3},
    "length": {
        "m": 1.0,
        "cm": 1e-2,
        "mm": 1e-3,
        "km": 1e3,
        "ft": FOOT_M,
        "feet": FOOT_M,
        "foot": FOOT_M,
        "'": FOOT_M,
        "in": INCH_M,
        "inch": INCH_M,
        "inches": INCH_M,
        '"': INCH_M,
        "yd": 3.0 * FOOT_M,
    },
    "level": {"dB": 1.0, "dBA": 1.0, "dB(A)": 1.0},
    "mass": {"kg": 1.0, "g": 1e-3, "lb": POUND_KG, "lbs": POUND_KG, "oz": POUND_KG / 16.0},
    "power": {"W": 1.0, "kW": 1e3, "mW": 1e-3},
    "ratio": {"%": 1e-2},
    "resistance": {"ohm": 1.0, "Ω": 1.0, "kohm": 1e3, "kΩ": 1e3, "k": 1e3, "Mohm": 1e6, "MΩ": 1e6},
    "surface_mass": {
        "kg/m2": 1.0,
        "kg/m²": 1.0,
        "psf": POUND_KG / FOOT_M**2,
        "lb/ft2": POUND_KG / FOOT_M**2,
    },
    "temperature": {
        "degC": 1.0,
        "°C": 1.0,
        "C": 1.0,
        "degF": 5.0 / 9.0,
        "°F": 5.0 / 9.0,
        "F": 5 / 9,
    },
    "time": {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0},
    "voltage": {"V": 1.0, "mV": 1e-3, "kV": 1e3},
    "volume": {"m3": 1.0, "m³": 1.0, "ft3": FOOT_M**3, "ft³": FOOT_M**3, "l": 1e-3},
}

_NUMBER: Final = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_MIXED: Final = r"(?:\d+[ -]\d+/\d+|\d+/\d+)"
_FEET_INCHES: Final = re.compile(
    rf"""^(?P<sign>-)?\s*(?P<feet>{_NUMBER})\s*(?:ft|feet|foot|')\s*-?\s*
         (?P<inches>{_MIXED}|{_NUMBER})\s*(?:in|inch|inches|")?$""",
    re.VERBOSE,
)
_PLAIN: Final = re.compile(rf"^(?P<number>-?{_MIXED}|{_NUMBER})\s*(?P<unit>\D.*)?$")
_TYPOGRAPHY: Final = str.maketrans(
    {"′": "'", "’": "'", "″": '"', "”": '"', "−": "-", "\u00a0": " "}
)


def _number(text: str) -> float:
    """Read ``6``, ``6.5``, ``1/2`` or ``6 1/2``."""
    sign = -1.0 if text.startswith("-") else 1.0
    body = text.lstrip("+-")
    if "/" not in body:
        return float(text)
    whole, _, fraction = body.replace("-", " ").rpartition(" ")
    upper, lower = fraction.split("/")
    if int(lower) == 0:
        msg = f"{text!r} divides by zero"
        raise UnitError(msg, why="the fraction has a lower part of 0", do="write the length again")
    return sign * ((float(whole) if whole else 0.0) + int(upper) / int(lower))


def units_of(quantity: Quantity) -> tuple[str, ...]:
    """Return the unit names that :func:`parse` accepts for a quantity."""
    return tuple(_FACTORS[quantity])


def parse(value: float | str, quantity: Quantity) -> float:
    """Read a number or a text with a unit as an SI value.

    Parameters
    ----------
    value
        A bare number is taken as SI already (temperature: °C; angle: degrees, as in files).
    quantity
        What kind of quantity the text must be.

    Returns
    -------
    float
        SI value; angles in radians, temperature in °C.

    Raises
    ------
    UnitError
        If the text is no number, is not finite, or has no or a wrong unit.

    Examples
    --------
    >>> round(parse("9' 6 1/2\\"", "length"), 4)
    2.9083
    >>> parse("20 %", "ratio")
    0.2
    >>> parse(3, "length")
    3.0
    """
    if isinstance(value, bool):
        msg = f"{value!r} is not a {quantity}"
        raise UnitError(msg, why="true and false are no numbers", do=_advice(quantity))
    if isinstance(value, int | float):
        number = float(value)
        result = math.radians(number) if quantity == "angle" else number
    else:
        result = _parse_text(value.translate(_TYPOGRAPHY).strip(), quantity)
    if not math.isfinite(result):
        msg = f"{value!r} is not a finite {quantity}"
        raise UnitError(msg, why="infinite or not a number", do=_advice(quantity))
    return result


def _advice(quantity: Quantity) -> str:
    examples = ", ".join(list(_FACTORS[quantity])[:6])
    return f"write a number with one of the units {examples}"


def _parse_text(text: str, quantity: Quantity) -> float:
    if quantity == "length" and (match := _FEET_INCHES.match(text)):
        size = _number(match["feet"]) * FOOT_M + _number(match["inches"]) * INCH_M
        return -size if match["sign"] else size
    match = _PLAIN.match(text)
    if match is None:
        msg = f"{text!r} is not a {quantity}"
        raise UnitError(msg, why="it does not begin with a number", do=_advice(quantity))
    number, unit = _number(match["number"]), (match["unit"] or "").strip()
    if not unit:
        if quantity == "angle":
            return math.radians(number)
        if quantity == "ratio":
            return number
        msg = f"{text!r} has no unit"
        raise UnitError(msg, why="a text must carry its unit", do=_advice(quantity))
    factors = _FACTORS[quantity]
    if unit not in factors:
        known = ", ".join(factors)
        msg = f"{text!r} is not a {quantity}"
        raise UnitError(msg, why=f"unit {unit!r} is none of {known}", do=_advice(quantity))
    if quantity == "temperature" and unit.endswith("F"):
        return (number - 32.0) * factors[unit]
    return number * factors[unit]


_AWG: Final = re.compile(r"^#?(\d{1,2})\s*(?:AWG|awg|ga|gauge)$")
_AREA: Final = re.compile(rf"^({_NUMBER})\s*(?:mm2|mm²|sqmm)$")


def parse_gauge(text: str) -> tuple[Literal["AWG", "mm2"], str]:
    """Read a conductor size; AWG and mm² stay what they are and are never converted.

    Parameters
    ----------
    text
        ``18 AWG`` or ``1.5 mm2``.

    Returns
    -------
    tuple
        The system and the size as printed in its table, such as ``("mm2", "1.5")``.

    Raises
    ------
    UnitError
        If it is neither.

    Examples
    --------
    >>> parse_gauge("1.50 mm²")
    ('mm2', '1.5')
    """
    cleaned = text.translate(_TYPOGRAPHY).strip()
    if match := _AWG.match(cleaned):
        return "AWG", str(int(match[1]))
    if match := _AREA.match(cleaned):
        return "mm2", f"{float(match[1]):g}"
    msg = f"{text!r} is not a conductor size"
    raise UnitError(
        msg, why="sizes are AWG numbers or mm²", do="write for example 16 AWG or 1.5 mm2"
    )


def format_feet_inches(length_m: float, *, denominator: int = 8) -> str:
    """Write a length in feet, inches and a fraction of an inch, as a tape measure shows it.

    Parameters
    ----------
    length_m
        Length. [m]
    denominator
        Finest division of an inch.

    Returns
    -------
    str
        For example ``9' 6 1/2"``.

    Examples
    --------
    >>> format_feet_inches(2.9083)
    '9\\' 6 1/2"'
    """
    steps = round(abs(length_m) / INCH_M * denominator)
    inches, part = divmod(steps, denominator)
    feet, inches = divmod(inches, 12)
    common = math.gcd(part, denominator)
    fraction = f" {part // common}/{denominator // common}" if part else ""
    sign = "-" if length_m < 0 and steps else ""
    if feet == 0 and inches == 0 and part:
        return f'{sign}{fraction.strip()}"'
    body = f'{inches}{fraction}"'
    return f"{sign}{feet}' {body}" if feet else f"{sign}{body}"


def format_length(length_m: float, *, imperial: bool, fine: bool = False) -> str:
    """Write a length as the trade of the region reads it.

    Parameters
    ----------
    length_m
        Length. [m]
    imperial
        Feet and inches, else metres (or millimetres where ``fine``).
    fine
        For cut-outs and clearances: inches alone, or millimetres.

    Returns
    -------
    str
        Length with its unit.

    Examples
    --------
    >>> format_length(0.2159, imperial=True, fine=True), format_length(2.5, imperial=False)
    ('8 1/2"', '2.50 m')
    """
    if imperial:
        if fine and abs(length_m) < 4.0 * FOOT_M:
            steps = round(abs(length_m) / INCH_M * 8)
            inches, part = divmod(steps, 8)
            common = math.gcd(part, 8)
            fraction = f"{part // common}/{8 // common}" if part else ""
            body = " ".join(
                piece for piece in (str(inches) if inches or not part else "", fraction) if piece
            )
            return f'{"-" if length_m < 0 and steps else ""}{body}"'
        return format_feet_inches(length_m)
    return f"{length_m * 1e3:.0f} mm" if fine else f"{length_m:.2f} m"


def format_area(area_m2: float, *, imperial: bool) -> str:
    """Write an area of floor or ceiling as people of the job read it.

    Parameters
    ----------
    area_m2
        Area. [m²]
    imperial
        Whether square feet are read.

    Examples
    --------
    >>> format_area(12.34, imperial=False), format_area(12.34, imperial=True)
    ('12.3 m²', '133 sq ft')
    """
    if imperial:
        return f"{area_m2 / FOOT_M**2:.0f} sq ft"
    return f"{area_m2:.1f} m²"


def format_mass(mass_kg: float, *, imperial: bool) -> str:
    """Write a mass in pounds or kilograms.

    Parameters
    ----------
    mass_kg
        Mass. [kg]
    imperial
        Pounds instead of kilograms.

    Returns
    -------
    str
        Mass with its unit.

    Examples
    --------
    >>> format_mass(2.0, imperial=True)
    '4.4 lb'
    """
    return f"{mass_kg / POUND_KG:.1f} lb" if imperial else f"{mass_kg:.1f} kg"


def format_surface_mass(mass_kg_m2: float, *, imperial: bool) -> str:
    """Write a mass an area in pounds a square foot or kilograms a square metre.

    Parameters
    ----------
    mass_kg_m2
        Mass an area. [kg/m²]
    imperial
        Pounds a square foot instead.

    Returns
    -------
    str
        With its unit.

    Examples
    --------
    >>> format_surface_mass(19.5, imperial=True)
    '4.0 lb/sq ft'
    """
    if imperial:
        return f"{mass_kg_m2 / POUND_KG * FOOT_M**2:.1f} lb/sq ft"
    return f"{mass_kg_m2:.1f} kg/m²"


def format_force(force_n: float, *, imperial: bool) -> str:
    """Write a force in pounds-force or newtons.

    Parameters
    ----------
    force_n
        Force. [N]
    imperial
        Pounds-force instead of newtons.

    Returns
    -------
    str
        Force with its unit.

    Examples
    --------
    >>> format_force(142.3, imperial=True), format_force(142.3, imperial=False)
    ('32 lbf', '142 N')
    """
    return f"{force_n / POUND_FORCE_N:.0f} lbf" if imperial else f"{force_n:.0f} N"
