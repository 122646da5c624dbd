"""What several test folders share."""

from decimal import Decimal
from typing import Any

import pytest


def printed(text: str) -> Any:
    """Expect the printed value, within half a unit of its last printed digit."""
    value = Decimal(text)
    exponent = value.as_tuple().exponent
    assert isinstance(exponent, int), "printed values are finite"
    half_digit = Decimal(5).scaleb(exponent - 1)
    return pytest.approx(float(value), rel=0, abs=float(half_digit) * (1 + 1e-9))
