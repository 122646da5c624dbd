"""What was decided for one room, and all alternatives."""

from dataclasses import dataclass

from soffit.model.decisions import Option, RoomDecision
from soffit.model.findings import Finding
from soffit.model.survey import PlacedSpeaker


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomLayouts:
    """What was decided for one room, and all alternatives.

    Parameters
    ----------
    room_key, type_id
        Room, and the type that was placed.
    options
        The front, count rising; hand patterns stand on it with their mark. ``count`` includes
        ``n_placed``, ``positions`` are those of the searched speakers only.
    chosen
        The one to take; also in ``options``, marked ``chosen``.
    cheaper
        At most two cheaper ones, nearest first.
    finer
        A finer one; ``None`` if none was found.
    reason
        In one sentence.
    footprint_m
        Circle on the ear plane inside which one speaker keeps -6 dB. [m]
    n_placed
        Speakers put by hand or hanging already that were kept.
    model_text
        Directivity model, measure and ears, as printed beside each figure.
    scope
        What was searched, in words.
    n_tried
        Lattices tried.
    bound
        What is proven about the count, with its scope; empty if nothing.
    findings
        What a person should know.
    not_kept
        Hand decisions that could not be kept.
    is_reproducible
        False where a wall-clock stop ended a search.
    wished
        Speakers laid for the wishes of the room or with another type, counted in ``n_placed``.
    is_mixed
        Whether ceilings of the room have types of their own; figures are then those under them.
    """

    room_key: str
    type_id: str
    options: tuple[Option, ...]
    chosen: Option
    cheaper: tuple[Option, ...]
    finer: Option | None
    reason: str
    footprint_m: float
    n_placed: int
    model_text: str
    scope: str
    n_tried: int
    bound: str = ""
    findings: tuple[Finding, ...] = ()
    not_kept: tuple[str, ...] = ()
    is_reproducible: bool = True
    wished: tuple[PlacedSpeaker, ...] = ()
    is_mixed: bool = False

    def decision(self) -> RoomDecision:
        """Return the record that design.json keeps."""
        return RoomDecision(
            room_key=self.room_key,
            reason=self.reason,
            options=self.options,
            bound=self.bound,
            not_kept=self.not_kept,
            is_reproducible=self.is_reproducible,
        )
