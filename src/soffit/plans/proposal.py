"""What a plan file seems to say: rooms and obstacles to accept or to mend, never silently right."""

from dataclasses import dataclass, field
from typing import Literal

from soffit.model.survey import HeightSource, Noise, ObstacleKind, Point, Ring

CeilingKind = Literal["grid", "plasterboard", "concealed", "open"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CeilingProposal:
    """One ceiling of a room as a plan file shows it.

    Parameters
    ----------
    height_m, height_source
        Ceiling above finished floor, and who says so. [m]
    height_text
        Where the height comes from, in words.
    kind, kind_text
        Kind of ceiling, and which words of the file say so; empty text if it is a guess.
    region
        Part of the room it covers; ``None`` for what other ceilings leave, or all. [m]
    pitch_m : (2,)
        Tile size along local x and y where the file tells. [m]
    grid_origin, grid_angle_rad
        One crossing and the turn of a grid that the file draws. [m] [rad]
    slope_ratio, slope_angle_rad, slope_at
        Rise per metre, direction of rise, and where ``height_m`` holds. [rad]
    structure_height_m
        Underside of the structure above where the file shows one. [m]
    """

    height_m: float
    height_source: HeightSource
    height_text: str = ""
    kind: CeilingKind = "plasterboard"
    kind_text: str = ""
    region: Ring | None = None
    pitch_m: tuple[float, float] | None = None
    grid_origin: Point | None = None
    grid_angle_rad: float = 0.0
    slope_ratio: float = 0.0
    slope_angle_rad: float = 0.0
    slope_at: Point = (0.0, 0.0)
    structure_height_m: float | None = None
    material: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DoorProposal:
    """A door on the outline of a room; its middle and its clear width. [m]."""

    label: str
    position: Point
    width_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomProposal:
    """One room as a plan file shows it.

    Parameters
    ----------
    key
        Key that it would get in job.toml.
    origin_id
        What names it in the file for good: a global id, or a name and place.
    outline, holes
        Polygon and the courts or ducts in it. [m]
    columns
        Columns that stand in it; the area counts them as floor. [m]
    ceilings
        At least one.
    confidence
        0 to 1: how sure it is that this is a room of this shape.
    stated_area_m2
        Area that the file states, where it does. [m²]
    doubts
        Sentences that a person should read before accepting.
    assumed
        What was taken because the file does not say.
    """

    key: str
    label: str
    storey_key: str
    outline: Ring
    ceilings: tuple[CeilingProposal, ...]
    origin_id: str = ""
    holes: tuple[Ring, ...] = ()
    columns: tuple[Ring, ...] = ()
    doors: tuple[DoorProposal, ...] = ()
    use: str = ""
    noise: Noise | None = None
    confidence: float = 1.0
    stated_area_m2: float | None = None
    doubts: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()

    @property
    def area_m2(self) -> float:
        """Area of the polygon without its holes. [m²]."""
        return ring_area_m2(self.outline) - sum(ring_area_m2(hole) for hole in self.holes)

    @property
    def height_m(self) -> float:
        """Height of the lowest ceiling above finished floor. [m]."""
        return min(ceiling.height_m for ceiling in self.ceilings)

    @property
    def height_source(self) -> HeightSource:
        """The weakest source among its ceilings."""
        sources = {ceiling.height_source for ceiling in self.ceilings}
        order: tuple[HeightSource, ...] = ("assumed", "model", "surveyed")
        return next(source for source in order if source in sources)


@dataclass(frozen=True, slots=True, kw_only=True)
class ObstacleProposal:
    """Something in or under a ceiling as a plan file shows it.

    Parameters
    ----------
    origin_id
        What names it in the file for good.
    outline
        Its polygon in plan. [m]
    bottom_m, top_m
        Above finished floor; ``None`` if the file does not tell. [m]
    doubt
        Why its kind is not sure; empty if it is.
    source
        File it was read from.
    """

    label: str
    room_key: str
    kind: ObstacleKind
    outline: Ring
    origin_id: str = ""
    bottom_m: float | None = None
    top_m: float | None = None
    doubt: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeakerProposal:
    """A loudspeaker that the file shows.

    Parameters
    ----------
    position
        Middle in plan. [m]
    mount_height_m
        Above finished floor; ``None`` if the file does not tell. [m]
    facts
        What the file says of it, name and text.
    """

    label: str
    room_key: str
    position: Point
    mount_height_m: float | None = None
    facts: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreyProposal:
    """One storey; its elevation above the file's datum. [m]."""

    key: str
    label: str
    elevation_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """Something that was seen and left out, with the reason."""

    what: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Underlay:
    """A picture to draw rooms on by hand.

    Parameters
    ----------
    png
        The picture.
    origin
        Plan position of its lower left corner. [m]
    pixel_m
        Size of a pixel. [m]
    turn_rad
        Turn of the picture about that corner. [rad]
    snap_points : (n, 2)
        Corners of the drawing that a pointer snaps to. [m]
    """

    name: str
    png: bytes
    origin: Point
    pixel_m: float
    turn_rad: float = 0.0
    snap_points: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnLines:
    """All lines that a file draws of one storey, walls or not, to draw rooms on.

    Parameters
    ----------
    storey_key
        Its storey.
    lines : (n, 4)
        Ends x1, y1, x2, y2 in plan. [m]
    """

    storey_key: str
    lines: tuple[tuple[float, float, float, float], ...] = field(repr=False)


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
    set_aside
        Things that were seen and left out.
    linework
        Lines of the plan for the drawing of what was found. [m]
    underlays
        Pictures to draw on.
    others
        Further files that were read along.
    drawn
        All lines of the file, storey by storey, to draw rooms on.
    """

    source: str
    storeys: tuple[StoreyProposal, ...]
    rooms: tuple[RoomProposal, ...]
    obstacles: tuple[ObstacleProposal, ...] = ()
    speakers: tuple[SpeakerProposal, ...] = ()
    is_imperial: bool = False
    notes: tuple[str, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    linework: tuple[tuple[Point, Point], ...] = ()
    underlays: tuple[Underlay, ...] = field(default=(), repr=False)
    others: tuple[str, ...] = ()
    drawn: tuple[DrawnLines, ...] = field(default=(), repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadWishes:
    """What a person says about a plan that the file does not.

    Parameters
    ----------
    unit_m
        Length of one drawing unit; ``None`` to find out. [m]
    scale
        Denominator of the drawing's scale; ``None`` to find out.
    layers
        Layer by meaning: ``wall``, ``door``, ``text``, ``obstacle``, ``grid``, ``skip``.
    height_m
        Ceiling height where the file has none. [m]
    ceiling_kind
        Kind of ceiling where the file does not tell.
    storey, elevation_m
        Name and level of the storey where the file tells none. [m]
    page
        Page of a PDF, 1 the first.
    corners : (n, 4)
        Known points: place in the file (drawing units, points or pixels), place on the plan. [m]
    """

    unit_m: float | None = None
    scale: float | None = None
    layers: tuple[tuple[str, str], ...] = ()
    height_m: float | None = None
    ceiling_kind: CeilingKind | None = None
    storey: str = ""
    elevation_m: float | None = None
    page: int = 1
    corners: tuple[tuple[float, float, float, float], ...] = ()


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
