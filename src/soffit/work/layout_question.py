"""The search that decides a room: one type in it, or a type for each of its ceilings."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from soffit.design.place import RoomLayouts, choose_layouts
from soffit.design.place_proof import prove_room
from soffit.design.place_question import usual_family
from soffit.design.place_wishes import Wished, lay_wishes
from soffit.errors import JobError, NoSolutionError
from soffit.model.catalogue import Catalogue, SpeakerType
from soffit.model.survey import Obstacle, PlacedSpeaker, Room
from soffit.tables.settings import Limits

Progress = Callable[[float, str], None]


LEAST_PROOF_S: Final = 1.0
MOST_PROOF_S: Final = 3600.0

SEARCH_WORDS: Final[dict[str, tuple[str, str]]] = {
    "free": (
        "Layouts without a pattern",
        "For odd rooms with one ceiling: from the best pattern speakers are taken away and the rest"
        " moved. Some seconds a room more; the look suffers and says so.",
    ),
    "all_offsets": (
        "Every offset of a pattern",
        "Not only patterns in the middle of the room or one place beside it. About twice as many"
        " lattices are tried.",
    ),
    "prove": (
        "Prove the count",
        "Whether no arrangement at all has fewer speakers. For rooms with one ceiling and one type;"
        " rooms of some 100 m² take half a minute, in larger ones the gap is printed.",
    ),
}
"""What can be asked of a search beyond the usual: key of ``Search.of``, name, what it brings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What is tried beyond the usual family, and whether counts are proven.

    Every face asks for it the same way: ``make_design(folder, search=Search.of(...))`` with what
    the person ticked, and ``Effort(...)`` beside it for processes, time and the wish to stop.
    ``progress`` of ``make_design`` is told while searching (0 to 0.8), proving (to 0.9), wiring
    and at the end; texts begin with the room's label. What was proven comes back as ``bound`` of
    each room, empty where no proof was asked for, and "none: ..." with the reason where none is
    possible; ``is_reproducible`` of the room is false where a clock ended it. Free-form layouts
    stand among the alternatives with "placed freely" in their pattern. All of it is kept in
    design.json; options that differ from the usual are among ``made_with``.

    Parameters
    ----------
    has_free
        Free form too, by seeded exchange from the best pattern.
    has_all_offsets
        Every offset from the middle of a room.
    proof_s
        Time for the proof of each room's count; ``None`` for no proof. [s]
    seed
        Seed of free form; ``make_design`` puts its own in.
    """

    has_free: bool = False
    has_all_offsets: bool = False
    proof_s: float | None = None
    seed: int = 1

    @classmethod
    def of(
        cls,
        *,
        free: bool = False,
        all_offsets: bool = False,
        prove: bool = False,
        proof_seconds: float = 60.0,
    ) -> "Search":
        """Return a search by the words that faces use, as they are in ``SEARCH_WORDS``.

        Parameters
        ----------
        free, all_offsets, prove
            What the person ticked.
        proof_seconds
            Time for the proof of each room, used with ``prove`` only. [s]

        Raises
        ------
        JobError
            If the time is none that a proof can be given.
        """
        if prove and not LEAST_PROOF_S <= proof_seconds <= MOST_PROOF_S:
            raise JobError(
                what=f"{proof_seconds:g} s is no time for a proof",
                where="search.proof_seconds",
                why=f"it can have {LEAST_PROOF_S:g} to {MOST_PROOF_S:g} s a room",
                do="name a time in that range, or leave the proof out",
            )
        return cls(
            has_free=free, has_all_offsets=all_offsets, proof_s=proof_seconds if prove else None
        )

    def settings(self) -> tuple[tuple[str, str], ...]:
        """Return what differs from the usual, as design.json keeps it."""
        out = []
        if self.has_all_offsets:
            out.append(("all_offsets", "true"))
        if self.has_free:
            out.append(("free", "true"))
        if self.proof_s is not None:
            out.append(("proof_seconds", f"{self.proof_s:g}"))
        return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutQuestion:
    """One search for one type in one room; picklable, so that a process of its own can answer.

    Parameters
    ----------
    room, speaker_type, line_voltage_v, obstacles, catalogue, placed, limits, is_imperial
        As :func:`soffit.design.place.choose_layouts` takes them. [V]
    search
        What is tried beyond the usual.
    types
        Type by ceiling key where ceilings have types of their own; the fields of all types are then
        summed at all ears and one front holds them all.
    """

    room: Room
    speaker_type: SpeakerType
    line_voltage_v: float
    obstacles: tuple[Obstacle, ...]
    catalogue: Catalogue
    placed: tuple[PlacedSpeaker, ...]
    limits: Limits
    is_imperial: bool
    search: Search = Search()
    types: tuple[tuple[str, SpeakerType], ...] = ()

    @property
    def is_mixed(self) -> bool:
        """Whether ceilings have types of their own."""
        return len({kind.id for _, kind in self.types}) > 1

    def answer(self, progress: Progress | None = None) -> RoomLayouts:
        """Search; raises ``NoSolutionError`` where nothing can be placed.

        Parameters
        ----------
        progress
            Told the share done and what is being done.
        """
        wished = self.wished()
        found = choose_layouts(
            self.room,
            speaker_type=self.speaker_type,
            line_voltage_v=self.line_voltage_v,
            obstacles=self.obstacles,
            catalogue=self.catalogue,
            placed=(*self.placed, *wished.placed),
            limits=self.limits,
            is_imperial=self.is_imperial,
            family=replace(
                usual_family(self.limits),
                has_free=self.search.has_free,
                has_all_offsets=self.search.has_all_offsets,
                seed=self.search.seed,
            ),
            progress=progress,
            types=dict(self.types),
        )
        if not self.room.wishes:
            return found
        words = f" Kept as wished: {', '.join(wished.kept)}." if wished.kept else ""
        return replace(
            found,
            reason=found.reason + words,
            not_kept=(*found.not_kept, *wished.not_kept),
            wished=wished.placed,
        )

    def wished(self) -> Wished:
        """Return what becomes of the wishes of the room with this type."""
        return lay_wishes(
            self.room,
            speaker_type=self.speaker_type,
            obstacles=self.obstacles,
            taken=[
                (*item.position, self.catalogue.speaker(item.type_id).flange_diameter_m / 2.0)
                for item in self.placed
            ],
            limits=self.limits,
            types=dict(self.types),
            catalogue=self.catalogue,
        )

    def proven(self, layouts: RoomLayouts, progress: Progress | None = None) -> RoomLayouts:
        """Return the layouts with what is proven about their count, or why nothing is.

        Parameters
        ----------
        layouts
            Its answer.
        progress
            Told the share done and what is being done.
        """
        if self.is_mixed:
            return replace(layouts, bound="none: a proof covers one type in one ceiling")
        try:
            proof = prove_room(
                self.room,
                layouts,
                speaker_type=self.speaker_type,
                line_voltage_v=self.line_voltage_v,
                obstacles=self.obstacles,
                catalogue=self.catalogue,
                placed=(*self.placed, *layouts.wished),
                limits=self.limits,
                seconds=self.search.proof_s or 0.0,
                progress=progress,
            )
        except NoSolutionError as error:
            return replace(layouts, bound=f"none: {error.problems[0].what}")
        return proof.layouts
