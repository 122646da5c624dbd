"""What several test folders share."""

import json
import os
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest


class Printed:
    """A printed value that equals whatever lies within half a unit of its last digit.

    With ``SOFFIT_VALIDATION`` set to a file, every comparison is written there, one JSON object a
    line: the validation page of the manual is made from them.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        value = Decimal(text)
        exponent = value.as_tuple().exponent
        assert isinstance(exponent, int), "printed values are finite"
        half_digit = float(Decimal(5).scaleb(exponent - 1)) * (1 + 1e-9)
        self.value = float(value)
        self.expected = pytest.approx(self.value, rel=0, abs=half_digit)

    def __eq__(self, ours: object) -> bool:
        """Compare, and write the comparison down where that is asked for."""
        file = os.environ.get("SOFFIT_VALIDATION")
        if file and np.ndim(ours) == 0:  # type: ignore[arg-type]
            _record(file, self.text, float(ours))  # type: ignore[arg-type]
        return bool(self.expected == ours)

    def __hash__(self) -> int:
        """Printed values are compared, never looked up."""
        return hash(self.text)

    def __repr__(self) -> str:
        """Show the printed digits and their tolerance in a failure."""
        return f"printed {self.text} ({self.expected})"


def _record(file: str, text: str, ours: float) -> None:
    test = os.environ.get("PYTEST_CURRENT_TEST", "").split(" (")[0]
    row = {"test": test, "printed": text, "ours": ours}
    with Path(file).open("a", encoding="utf-8") as stream:
        stream.write(json.dumps(row) + "\n")


def printed(text: str) -> Any:
    """Expect the printed value, within half a unit of its last printed digit."""
    return Printed(text)
