"""What a plan file seems to say: rooms and obstacles to accept or to mend, never silently right."""

from dataclasses import dataclass, field
from typing import Any, Literal

Point = tuple[float, float]
Ring = tuple[Point, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomProposal:
    """One room as a plan file shows it.

    Parameters
    ----------
    outline, holes
        Polygon and holes. [m]
    height_m, height_source
        Ceiling above finished floor, and who says so: ``model`` or ``assumed``. [m]
    height_text
        Where the height comes from, in words.
    ceiling_kind
        Kind of ceiling where the file tells, else ``plasterboard`` as the safer guess.
    confidence
        0 to 1: how sure it is that this is a room of this shape.
    stated_area_m2
        Area that the file states, where it does. [m²]
    doubts
        Sentences that a person should read before accepting.
    """

    key: str
    label: str
    storey_key: str
    outline: Ring
    height_m: float
    height_source: Literal["surveyed", "model", "assumed"]
    height_text: str = ""
    holes: tuple[Ring, ...] = ()
    ceiling_kind: Literal["grid", "plasterboard", "open"] = "plasterboard"
    module_m: tuple[float, float] | None = None
    use: str = ""
    noise: dict[str, Any] | None = None
    confidence: float = 1.0
    stated_area_m2: float | None = None
    doubts: tuple[str, ...] = ()

    @property
    def area_m2(self) -> float:
        """Area of the polygon without its holes. [m²]."""
        return ring_area_m2(self.outline) - sum(ring_area_m2(hole) for hole in self.holes)


@dataclass(frozen=True, slots=True, kw_only=True)
class ObstacleProposal:
    """Something in or under a ceiling as a plan file shows it.

    Parameters
    ----------
    outline
        Its polygon in plan. [m]
    bottom_m, top_m
        Above finished floor; ``None`` if the file does not tell. [m]
    doubt
        Why its kind is not sure; empty if it is.
    """

    label: str
    room_key: str
    kind: str
    outline: Ring
    bottom_m: float | None = None
    top_m: float | None = None
    doubt: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreyProposal:
    """One storey; its elevation above the file's datum. [m]."""

    key: str
    label: str
    elevation_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanProposal:
    """All that was read from one file.

    Parameters
    ----------
    source
        File name and what it is.
    is_imperial
        Whether people of this plan read feet.
    notes
        What was assumed for the whole file.
    """

    source: str
    storeys: tuple[StoreyProposal, ...]
    rooms: tuple[RoomProposal, ...]
    obstacles: tuple[ObstacleProposal, ...] = ()
    is_imperial: bool = False
    notes: tuple[str, ...] = ()
    extra: dict[str, Any] = field(default_factory=dict)


def ring_area_m2(ring: Ring) -> float:
    """Area inside a ring.

    Parameters
    ----------
    ring
        Corners. [m]

    Returns
    -------
    float
        Positive area. [m²]
    """
    total = 0.0
    for (x1, y1), (x2, y2) in zip(ring, (*ring[1:], ring[0]), strict=True):
        total += x1 * y2 - x2 * y1
    return abs(total) / 2.0
