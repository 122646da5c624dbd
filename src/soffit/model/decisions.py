"""The job in memory: what was surveyed, what was decided, what was measured."""

from dataclasses import dataclass, field

from soffit.errors import TableError
from soffit.model.catalogue import Catalogue
from soffit.model.lines import Amplifier, Line
from soffit.model.readings import Reading
from soffit.model.speakers import Speaker
from soffit.model.survey import (
    Acceptance,
    Assumption,
    CableWay,
    Ceiling,
    Equipment,
    Material,
    Obstacle,
    PlacedSpeaker,
    Rack,
    Room,
    Site,
    Storey,
)
from soffit.model.zones import Zone
from soffit.tables.settings import Limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """All of job.toml."""

    site: Site
    storeys: tuple[Storey, ...]
    rooms: tuple[Room, ...]
    obstacles: tuple[Obstacle, ...] = ()
    zones: tuple[Zone, ...] = ()
    racks: tuple[Rack, ...] = ()
    cable_ways: tuple[CableWay, ...] = ()
    placed: tuple[PlacedSpeaker, ...] = ()
    equipment: Equipment = field(default_factory=Equipment)
    limits: Limits = field(default_factory=Limits)
    acceptances: tuple[Acceptance, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    materials: tuple[Material, ...] = ()

    def room(self, key: str) -> Room:
        """Return a room by key; an unknown one raises ``TableError``."""
        for room in self.rooms:
            if room.key == key:
                return room
        msg = f"there is no room {key!r}"
        raise TableError(
            msg,
            where="rooms",
            why=f"the job has {', '.join(room.key for room in self.rooms)}",
            do="name one of these",
        )

    def ceiling(self, room_key: str, ceiling_key: str) -> Ceiling:
        """Return a ceiling of a room; an unknown one raises ``TableError``."""
        room = self.room(room_key)
        for ceiling in room.ceilings:
            if ceiling.key == ceiling_key:
                return ceiling
        msg = f"room {room_key!r} has no ceiling {ceiling_key!r}"
        raise TableError(
            msg,
            where=f"rooms.{room_key}.ceilings",
            why=f"it has {', '.join(ceiling.key for ceiling in room.ceilings)}",
            do="name one of these",
        )

    def obstacles_in(self, room_key: str) -> tuple[Obstacle, ...]:
        """Return the obstacles of a room."""
        return tuple(item for item in self.obstacles if item.room_key == room_key)


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One point of the front of alternatives for a room.

    Parameters
    ----------
    pattern
        In words, such as "4 x 6, aligned, every 5th tile".
    count
        Speakers.
    spread_db
        Spread of the brief's measure that holds its share of ears (whole width). [dB]
    watts_w
        Sum of taps. [W]
    look_penalty
        0 for a ceiling that an architect would draw; higher is worse.
    meets_brief
        Whether it does.
    mark
        ``chosen``, ``cheaper``, ``finer``, or the hand rule that it stands for; may be empty.
    positions
        A complete layout. [m]
    tiles
        Column and row of each speaker where the ceiling has a grid.
    types, taps_w
        Type and tap of each speaker where they differ; ``type_id`` and ``tap_w`` are then those of
        the first one. [W]
    """

    pattern: str
    count: int
    spread_db: float
    watts_w: float
    look_penalty: float
    meets_brief: bool
    mark: str = ""
    tap_w: float | None = None
    type_id: str = ""
    std_db: float | None = None
    worst_db: float | None = None
    whole_spread_db: float | None = None
    positions: tuple[tuple[float, float], ...] = ()
    tiles: tuple[tuple[int, int], ...] = ()
    types: tuple[str, ...] = ()
    taps_w: tuple[float, ...] = ()

    def type_at(self, index: int) -> str:
        """Return the type of a position by its place in ``positions``."""
        return self.types[index] if self.types else self.type_id

    def tap_at(self, index: int) -> float | None:
        """Return the tap of a position by its place in ``positions``. [W]."""
        return self.taps_w[index] if self.taps_w else self.tap_w

    def counts(self) -> tuple[tuple[int, str], ...]:
        """Return how many of each type are placed, the first type first."""
        named = self.types or (self.type_id,) * self.count
        return tuple((named.count(type_id), type_id) for type_id in dict.fromkeys(named))


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomDecision:
    """What was decided for a room, and what else could have been.

    Parameters
    ----------
    reason
        Why this layout, in one sentence.
    options
        The front of alternatives, count rising.
    bound
        What is proven about the count, with its scope; empty if nothing.
    not_kept
        Hand decisions that could not be kept, in words.
    is_reproducible
        False where a wall-clock stop ended a search.
    """

    room_key: str
    reason: str
    options: tuple[Option, ...] = ()
    bound: str = ""
    not_kept: tuple[str, ...] = ()
    is_reproducible: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """All of design.json.

    Parameters
    ----------
    revision
        Rises by one with every write.
    job_hash
        Hash of the parsed job that it was made from.
    made_with
        Version and settings that made it, as sorted pairs.
    date
        Date of the revision as printed on papers, ISO 8601.
    next_key
        Number for the next permanent key; keys are never used twice.
    wiring_notes, wiring_not_kept
        What wiring decided and why; hand decisions that it could not keep, in words.
    """

    revision: int = 0
    job_hash: str = ""
    made_with: tuple[tuple[str, str], ...] = ()
    date: str = ""
    next_key: int = 1
    speakers: tuple[Speaker, ...] = ()
    lines: tuple[Line, ...] = ()
    amplifiers: tuple[Amplifier, ...] = ()
    rooms: tuple[RoomDecision, ...] = ()
    wiring_notes: tuple[str, ...] = ()
    wiring_not_kept: tuple[str, ...] = ()

    def speaker(self, key: str) -> Speaker:
        """Return a speaker by permanent key; an unknown one raises ``TableError``."""
        for speaker in self.speakers:
            if speaker.key == key:
                return speaker
        msg = f"there is no speaker {key!r}"
        raise TableError(msg, where="design.json", why="no such key", do="use a key of the design")

    def line(self, key: str) -> Line:
        """Return a line by permanent key; an unknown one raises ``TableError``."""
        for line in self.lines:
            if line.key == key:
                return line
        msg = f"there is no line {key!r}"
        raise TableError(msg, where="design.json", why="no such key", do="use a key of the design")


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A whole job as it stands on disk."""

    survey: Survey
    catalogue: Catalogue
    design: Design
    readings: tuple[Reading, ...] = ()
    job_hash: str = ""
    job_revision: int = 0
