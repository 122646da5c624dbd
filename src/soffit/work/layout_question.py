"""The searches that decide a room: one type in it, or a type for each of its ceilings."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from soffit.design.place import RoomLayouts, choose_layouts
from soffit.design.place_proof import prove_room
from soffit.design.place_question import usual_family
from soffit.design.place_wishes import Wished, lay_wishes
from soffit.design.tiles import ceiling_polygon
from soffit.errors import NoSolutionError
from soffit.model.catalogue import Catalogue, SpeakerType
from soffit.model.survey import Ceiling, ListeningArea, Obstacle, PlacedSpeaker, Room
from soffit.tables.settings import Limits

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What is tried beyond the usual family, and whether counts are proven.

    Parameters
    ----------
    has_free
        Free form too, by seeded exchange from the best pattern.
    has_all_offsets
        Every offset from the middle of a room.
    proof_s
        Time for the proof of each room's count; ``None`` for no proof. [s]
    seed
        Seed of free form.
    """

    has_free: bool = False
    has_all_offsets: bool = False
    proof_s: float | None = None
    seed: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutQuestion:
    """One search for one type in one room; picklable, so that a process of its own can answer.

    Parameters
    ----------
    room, speaker_type, line_voltage_v, obstacles, catalogue, placed, limits, is_imperial
        As :func:`soffit.design.place.choose_layouts` takes them. [V]
    search
        What is tried beyond the usual.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedQuestion(LayoutQuestion):
    """One search for a room whose ceilings ask for different types, one type after the other.

    What one type brings to the ears is counted when the next is searched; then the first are
    searched again with all others counted. No arrangement of both at once is tried.

    Parameters
    ----------
    types
        Types by the key of their ceiling, the brief's or the tried one where it names none.
    """

    types: tuple[tuple[str, SpeakerType], ...]

    def answer(self, progress: Progress | None = None) -> RoomLayouts:
        """Search; raises ``NoSolutionError`` where nothing can be placed.

        Parameters
        ----------
        progress
            Told the share done and what is being done.
        """
        wished = self.wished()
        groups = self._groups()
        found: dict[str, RoomLayouts] = {}
        order = [*groups, *list(groups)[:-1]]
        for number, type_id in enumerate(order):
            part = groups[type_id]
            others = [_laid(found[key]) for key in found if key != type_id]
            around = [item for group in others for item in group]
            question = replace(part, placed=(*self.placed, *wished.placed, *around))

            def tell(done: float, text: str, at: int = number) -> None:
                if progress is not None:
                    progress((at + done) / len(order), text)

            found[type_id] = LayoutQuestion.answer(question, tell)
        return self._joined(found, wished)

    def _groups(self) -> dict[str, LayoutQuestion]:
        """One question a type, for its ceilings and the ears under them."""
        kinds = {entry.id: entry for _, entry in self.types}
        out: dict[str, LayoutQuestion] = {}
        for type_id, entry in kinds.items():
            keys = {key for key, item in self.types if item.id == type_id}
            ceilings = tuple(item for item in self.room.ceilings if item.key in keys)
            areas = _areas_under(self.room, ceilings)
            if not any(not area.is_excluded for area in areas):
                continue
            out[type_id] = LayoutQuestion(
                room=replace(
                    self.room,
                    ceilings=ceilings,
                    listening_areas=areas,
                    wishes=(),
                    brief=replace(self.room.brief, count=None, spacing_m=None),
                ),
                speaker_type=entry,
                line_voltage_v=self.line_voltage_v,
                obstacles=self.obstacles,
                catalogue=self.catalogue,
                placed=self.placed,
                limits=self.limits,
                is_imperial=self.is_imperial,
                search=self.search,
            )
        if not out:
            msg = f"{self.room.label}: no ears under any of its ceilings"
            raise NoSolutionError(
                msg,
                where=f"rooms.{self.room.key}.listening",
                why="each type is judged at the ears under its own ceilings",
                do="check the listening areas and the shapes of the ceilings",
            )
        return out

    def _joined(self, found: dict[str, RoomLayouts], wished: Wished) -> RoomLayouts:
        *others, last = found.values()
        laid = tuple(item for layouts in others for item in _laid(layouts))
        brief = self.room.brief
        missed = list(wished.not_kept)
        if brief.count is not None or brief.spacing_m is not None:
            missed.append("the count or spacing of the brief: ceilings have types of their own")
        chosen = replace(
            last.chosen,
            pattern=" + ".join(f"{key}: {item.chosen.pattern}" for key, item in found.items()),
            count=len(self.placed) + len(wished.placed) + len(laid) + len(last.chosen.positions),
            watts_w=round(
                sum((i.chosen.tap_w or 0.0) * len(i.chosen.positions) for i in found.values())
                + sum(item.tap_w or 0.0 for item in self.placed),
                6,
            ),
            spread_db=max(item.chosen.spread_db for item in found.values()),
            meets_brief=all(item.chosen.meets_brief for item in found.values()),
            whole_spread_db=None,
            std_db=None,
            worst_db=None,
        )
        words = f" Kept as wished: {', '.join(wished.kept)}." if wished.kept else ""
        return replace(
            last,
            options=(chosen,),
            chosen=chosen,
            cheaper=(),
            finer=None,
            reason=" ".join(f"{key}: {item.reason}" for key, item in found.items())
            + " One type was searched after the other, each with the others' energy counted."
            + words,
            n_placed=len(self.placed) + len(wished.placed) + len(laid),
            n_tried=sum(item.n_tried for item in found.values()),
            findings=tuple(item for layouts in found.values() for item in layouts.findings),
            not_kept=tuple(missed),
            wished=(*wished.placed, *laid),
            is_mixed=True,
        )

    def proven(self, layouts: RoomLayouts, progress: Progress | None = None) -> RoomLayouts:
        """Return the layouts with the note that no proof covers them.

        Parameters
        ----------
        layouts
            Its answer.
        progress
            Not used.
        """
        if progress is not None:
            progress(1.0, self.room.label)
        return replace(layouts, bound="none: a proof covers one type in one ceiling")


def _laid(layouts: RoomLayouts) -> tuple[PlacedSpeaker, ...]:
    return tuple(
        PlacedSpeaker(
            key=f"{layouts.type_id}-{number + 1}",
            room_key=layouts.room_key,
            type_id=layouts.type_id,
            position=position,
            tap_w=layouts.chosen.tap_w,
        )
        for number, position in enumerate(layouts.chosen.positions)
    )


def _areas_under(room: Room, ceilings: tuple[Ceiling, ...]) -> tuple[ListeningArea, ...]:
    """Cut listening areas to what lies under some ceilings; excluded ones stay."""
    from shapely import Polygon, union_all

    under = union_all([ceiling_polygon(room, ceiling) for ceiling in ceilings])
    out: list[ListeningArea] = []
    listened = [area for area in room.listening_areas if not area.is_excluded]
    for area in listened or [ListeningArea(key="room", label="whole room")]:
        part = under if area.outline is None else under.intersection(Polygon(area.outline))
        for number, piece in enumerate(getattr(part, "geoms", [part])):
            if piece.geom_type == "Polygon" and piece.area > 0.5:
                ring = tuple((float(x), float(y)) for x, y in piece.exterior.coords[:-1])
                out.append(replace(area, key=f"{area.key}-{number + 1}", outline=ring))
    return (*out, *(area for area in room.listening_areas if area.is_excluded))
