"""Findings and mends: a risky job still prints; it says what is risky and what would cure it."""

from dataclasses import dataclass
from typing import Final, Literal

from soffit.model.survey import Point

Severity = Literal["stop", "warn", "note"]

DEFER: Final = (
    "Defer to the local code, the authority having jurisdiction (AHJ) and a licensed electrician"
    " (structural or fire engineer where loads or fire ratings are touched)."
)
"""Fixed ending of every caution."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mend:
    """A change that would cure a finding, as data.

    Parameters
    ----------
    kind
        What is changed.
    target_key
        Key of the speaker, run, line or room.
    value
        New value in the form that ``job`` stores: a tile ``"C,R"``, a tap ``"5 W"``, a cable id,
        a type id.
    text
        The change in words, such as "move to tile C7".
    """

    kind: Literal["move", "tap", "cable", "type", "remove", "add", "line", "channel", "limit"]
    target_key: str
    value: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that a person should know before going up.

    Parameters
    ----------
    code
        Stable code with a page of its own, such as ``LINE-03``.
    severity
        ``stop``, ``warn`` or ``note``.
    place, place_key
        Label a person reads, and the permanent key.
    what
        The fact with its number and unit.
    limit, limit_source
        The limit with unit, and document, edition and place, or "common practice, no source".
    do
        One action that cures it.
    why
        More, where the fact needs it.
    mends
        Changes that ``soffit check --mend`` can apply.
    position, room_key
        Where to draw it. [m]
    is_caution
        A caution of safety; it ends with :data:`DEFER`.
    accepted_by
        Role and reason, where somebody has accepted it.
    """

    code: str
    severity: Severity
    place: str
    what: str
    do: str
    place_key: str = ""
    limit: str = ""
    limit_source: str = ""
    why: str = ""
    mends: tuple[Mend, ...] = ()
    position: Point | None = None
    room_key: str | None = None
    is_caution: bool = False
    accepted_by: str = ""

    def text(self) -> str:
        """Return the finding as one line of text."""
        limit = f" (limit {self.limit})" if self.limit else ""
        source = f"  ({self.limit_source})" if self.limit_source else ""
        accepted = f"  [accepted by {self.accepted_by}]" if self.accepted_by else ""
        return (
            f"{self.code} {self.severity:<4}  {self.place}  {self.what}{limit}{source}"
            f"  {self.do}{accepted}"
        )
