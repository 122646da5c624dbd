"""Bodies of requests, as the page sends them; OpenAPI is made from these."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Text = Annotated[str, Field(max_length=4000)]
Short = Annotated[str, Field(max_length=200)]


class Body(BaseModel):
    """What all bodies share: no unknown keys, no infinite numbers."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class NewJob(Body):
    """A job to begin."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    is_imperial: bool = False


class Demo(Body):
    """A demo job to copy."""

    name: Short


class Drag(Body):
    """A loudspeaker held at a place. [m]."""

    key: Short
    x: float
    y: float
    revision: int
    measure: Short = ""


class HandChange(Body):
    """One change made by hand."""

    kind: Literal[
        "move", "tap", "type", "remove", "add", "cable", "channel", "order", "lock", "unlock"
    ]
    target: Short
    value: Text = ""


class HandChanges(Body):
    """Changes made by hand, with the revision of the design that was seen."""

    revision: int
    edits: Annotated[list[HandChange], Field(min_length=1, max_length=2000)]


class MendChoice(Body):
    """A mend of a finding."""

    code: Short
    place_key: Short = ""
    number: Annotated[int, Field(ge=0)] = 0
    revision: int


class OptionChoice(Body):
    """An alternative of a room."""

    room: Short
    number: Annotated[int, Field(ge=0)]
    revision: int


class DesignRun(Body):
    """A search to start: which rooms, what is tried beyond the usual, and how long to prove."""

    rooms: list[Short] = []
    has_free: bool = False
    has_all_offsets: bool = False
    proof_s: Annotated[float, Field(ge=1.0, le=3600.0)] | None = None
    seed: Annotated[int, Field(ge=0, le=2**31)] = 1


class PapersRun(Body):
    """Papers to print."""

    packs: list[Short] = []
    extras: list[Short] = []


class ReadingEntry(Body):
    """A reading as typed, with the key that the page gave it."""

    key: Short
    text: Short
    taken_at: Short
    instrument: Short = ""
    drive: Short = ""


class Readings(Body):
    """Readings to keep."""

    entries: Annotated[list[ReadingEntry], Field(min_length=1, max_length=500)]
    is_sure: bool = False
    is_log: bool = False


class HuntEntry(Body):
    """A step of a hunt on one line."""

    line: Short
    entry: ReadingEntry
    said: list[Short] = []
    can_listen: bool = True
    is_sure: bool = False


class SurveyChange(Body):
    """One change of the survey: a key path of job.toml and its value."""

    path: Annotated[list[str | int], Field(min_length=1, max_length=12)]
    op: Literal["set", "append", "remove"] = "set"
    value: Any = None


class SurveyChanges(Body):
    """Changes of the survey, with the revision of job.toml that was seen."""

    revision: int
    edits: Annotated[list[SurveyChange], Field(min_length=1, max_length=500)]
    what: Short = ""


class SurveyText(Body):
    """The whole text of job.toml."""

    revision: int
    text: Annotated[str, Field(max_length=900_000)]


class LineMore(Body):
    """More loudspeakers at the end of a line, as a question."""

    count: Annotated[int, Field(ge=1, le=200)] = 1
    tap: Short = ""
    spacing: Short = ""


Place = Annotated[list[float], Field(min_length=4, max_length=4)]


class PlanWishes(Body):
    """What a person says that a plan file does not.

    Corners are known places: x and y in the file (pixels from the upper left of a picture, points
    of a PDF, units of a drawing), and the same place on the plan in metres; ``known`` are the same
    as a person writes them, ``1200,800=0,0`` with spaces between.
    """

    height: Short = ""
    ceiling: Literal["", "grid", "plasterboard", "open"] = ""
    scale: Annotated[str, Field(pattern=r"^\d*\.?\d*$", max_length=12)] = ""
    unit: Short = ""
    page: Annotated[str, Field(pattern=r"^\d*$", max_length=5)] = ""
    storey: Short = ""
    elevation: Short = ""
    layer: Short = ""
    known: Text = ""
    corners: Annotated[list[Place], Field(max_length=12)] = []


class PlanKeep(Body):
    """Which rooms of which plan files become which job.

    ``rooms`` are those of the file in the address; ``more`` those of files sent along with it.
    """

    title: Short = ""
    job: Short = ""
    is_imperial: bool = False
    rooms: list[Short] = []
    more: dict[str, list[Short]] = {}
    accept: bool = False


class ThingMove(Body):
    """A thing of the survey, moved in plan. [m]."""

    path: Annotated[list[str | int], Field(min_length=2, max_length=4)]
    by: Annotated[list[float], Field(min_length=2, max_length=2)]
    revision: int
    what: Short = ""


class RoomSplit(Body):
    """A straight line that cuts a room in two. [m]."""

    room: Short
    start: Annotated[list[float], Field(min_length=2, max_length=2)]
    end: Annotated[list[float], Field(min_length=2, max_length=2)]
    revision: int


class RoomMerge(Body):
    """Two rooms that become one; the first one's name and brief stay."""

    first: Short
    second: Short
    revision: int
