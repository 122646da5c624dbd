"""One row of the table of settings."""

from dataclasses import dataclass
from typing import Final

from soffit.units import Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One number that a job may change.

    Parameters
    ----------
    name
        Key in ``[limits]`` of the job; carries its unit.
    default
        Value in SI, used unless the job says otherwise.
    unit
        Unit shown to people.
    quantity
        How a text in the job is read; ``None`` for plain numbers.
    source
        Document, edition and place, or "common practice, no source".
    help
        One sentence in the trade's words.
    least, most
        Smallest and largest value that makes sense, in SI.
    """

    name: str
    default: float
    unit: str
    quantity: Quantity | None
    source: str
    help: str
    least: float
    most: float


PRACTICE: Final = "common practice, no source"
