"""Units at the edge: what is read, what is refused, and that both ways agree."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soffit.errors import UnitError
from soffit.units import (
    FOOT_M,
    INCH_M,
    format_feet_inches,
    format_length,
    format_mass,
    parse,
    parse_gauge,
    units_of,
)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("9 ft 6 in", 9 * FOOT_M + 6 * INCH_M),
        ("9' 6 1/2\"", 9 * FOOT_M + 6.5 * INCH_M),
        ("9'-6 1/2\"", 9 * FOOT_M + 6.5 * INCH_M),
        ("9′ 6″", 9 * FOOT_M + 6 * INCH_M),
        ("24 in", 24 * INCH_M),
        ("1/2 in", INCH_M / 2),
        ("85 ft", 25.908),
        ("600 mm", 0.6),
        ("2.4 m", 2.4),
        ("-3 ft", -3 * FOOT_M),
    ],
)
def test_lengths_are_read(text: str, metres: float) -> None:
    assert parse(text, "length") == pytest.approx(metres, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "quantity", "value"),
    [
        ("5 lb", "mass", 2.26796185),
        ("20 %", "ratio", 0.2),
        ("104 °F", "temperature", 40.0),
        ("90 deg", "angle", math.pi / 2),
        ("90", "angle", math.pi / 2),
        ("4.7 kohm", "resistance", 4700.0),
        ("1 psf", "surface_mass", 4.88242763638305),
    ],
)
def test_other_quantities_are_read(text: str, quantity: str, value: float) -> None:
    assert parse(text, quantity) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("text", ["", "ft", "9", "9 kg", "1/0 in", "1e999 m", "9 ft 6 lb", "nan m"])
def test_bad_lengths_are_refused(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, "length")
    assert caught.value.problems[0].do


@pytest.mark.parametrize("value", [True, math.nan, math.inf])
def test_bad_numbers_are_refused(value: float) -> None:
    with pytest.raises(UnitError):
        parse(value, "length")


def test_gauges_keep_their_system() -> None:
    assert parse_gauge("18 AWG") == ("AWG", "18")
    assert parse_gauge("2.50 mm2") == ("mm2", "2.5")
    with pytest.raises(UnitError):
        parse_gauge("18")


@given(st.integers(min_value=-100_000, max_value=100_000))
def test_feet_and_inches_are_the_identity_on_eighths(eighths: int) -> None:
    length_m = eighths * INCH_M / 8
    assert parse(format_feet_inches(length_m), "length") == pytest.approx(length_m, abs=1e-9)


def test_lengths_are_written() -> None:
    assert format_length(0.0, imperial=True) == '0"'
    assert format_length(0.0127, imperial=True, fine=True) == '1/2"'
    assert format_length(0.2159, imperial=False, fine=True) == "216 mm"
    assert format_length(5.0, imperial=True, fine=True) == "16' 4 7/8\""
    assert format_mass(1.0, imperial=False) == "1.0 kg"
    assert "ft" in units_of("length")
