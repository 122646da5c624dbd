"""What people say about a line, and what it makes likelier."""

from dataclasses import dataclass
from functools import cache
from typing import Final

from soffit.errors import TableError
from soffit.tables.load import load_table

FIRST_FACTOR: Final = 6.0
LATER_FACTOR: Final = 3.0
"""What a saying is worth: common practice, no source. Readings overrule it quickly."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Symptom:
    """One thing that people say.

    Parameters
    ----------
    id
        Short name.
    said, first, look
        What is said, what to suspect first, what to look at first.
    kinds
        Kinds of fault that it makes likelier, likeliest first.
    """

    id: str
    said: str
    first: str
    look: str
    kinds: tuple[str, ...]

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "id": self.id,
            "said": self.said,
            "first": self.first,
            "look": self.look,
            "kinds": list(self.kinds),
        }


@cache
def symptoms() -> dict[str, Symptom]:
    """Return all symptoms by id."""
    return {
        row["id"]: Symptom(
            id=row["id"],
            said=row["said"],
            first=row["first"],
            look=row["look"],
            kinds=tuple(kind.strip() for kind in row["kinds"].split(";")),
        )
        for row in load_table("symptoms").rows
    }


def symptom(name: str) -> Symptom:
    """Return one symptom by id.

    Parameters
    ----------
    name
        Its id.

    Raises
    ------
    TableError
        If there is no such symptom.
    """
    if name in symptoms():
        return symptoms()[name]
    msg = f"there is no symptom {name!r}"
    raise TableError(
        msg, where="said", why=f"there are {', '.join(symptoms())}", do="choose one of these"
    )


def factors(names: tuple[str, ...]) -> dict[str, float]:
    """Return the factor on the weight of each kind that some symptoms make likelier.

    Parameters
    ----------
    names
        Ids of what was said.
    """
    found: dict[str, float] = {}
    for name in names:
        for place, kind in enumerate(symptom(name).kinds):
            worth = FIRST_FACTOR if place == 0 else LATER_FACTOR
            found[kind] = max(found.get(kind, 1.0), worth)
    return found
