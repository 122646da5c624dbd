"""Decisions made by hand: move, tap, type, cable, order; everything else follows by itself."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from soffit.ceiling.plane import height_at_m
from soffit.errors import JobError
from soffit.evaluate.ceiling import tile_field
from soffit.model.catalogue import Tap
from soffit.model.decisions import Design, Job
from soffit.model.lines import Line
from soffit.model.speakers import Speaker, TileRef
from soffit.model.survey import Ceiling, Point
from soffit.units import parse
from soffit.work.keys import KeyBook

EditKind = Literal[
    "move", "tap", "type", "remove", "add", "cable", "channel", "order", "lock", "unlock"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class HandEdit:
    """One change made by hand.

    Parameters
    ----------
    kind
        What is changed.
    target_key
        Key of the speaker, line, amplifier or (to add) room.
    value
        New value: ``"C,R"`` or ``"x y"`` in metres for a place, ``"5 W"`` for a tap, an id for
        a type, cable or amplifier, keys separated by blanks for an order, ``"TYPE TAP x y"`` or
        ``"TYPE TAP C,R"`` to add.
    """

    kind: EditKind
    target_key: str
    value: str = ""


def _refuse(edit: HandEdit, what: str, why: str, do: str) -> JobError:
    return JobError(what=what, where=f"design.json {edit.kind} {edit.target_key}", why=why, do=do)


def _speaker(design: Design, edit: HandEdit) -> Speaker:
    for speaker in design.speakers:
        if edit.target_key in {speaker.key, speaker.label}:
            return speaker
    raise _refuse(
        edit,
        f"there is no speaker {edit.target_key!r}",
        "it is neither a key nor a label of this design",
        "choose a label such as L1-03 from the schedule",
    )


def _swap(design: Design, speaker: Speaker) -> Design:
    changed = tuple(speaker if item.key == speaker.key else item for item in design.speakers)
    return replace(design, speakers=changed)


def _spot(job: Job, edit: HandEdit, ceiling: Ceiling, text: str) -> tuple[Point, TileRef | None]:
    """Read a place: a tile, or plan coordinates."""
    room = next(room for room in job.survey.rooms if ceiling in room.ceilings)
    field = tile_field(room, ceiling)
    try:
        if "," in text:
            column, row = (int(part) for part in text.split(","))
        else:
            x, y = (float(part) for part in text.split())
            if field is None:
                return (x, y), None
            column, row = field.tile_at((x, y))
    except ValueError:
        raise _refuse(
            edit,
            f"{text!r} is not a place",
            "a place is a tile as column,row or a position as x y in metres",
            "write for example 4,7 or 3.20 5.45",
        ) from None
    index = field.index(column, row) if field else None
    if field is None or index is None:
        raise _refuse(
            edit,
            f"{room.label} has no tile {column},{row}",
            "the grid has no such tile inside the walls",
            "choose a tile of this ceiling",
        )
    x, y = (float(value) for value in field.centre_m[index])
    return (x, y), TileRef(column=column, row=row)


def _height_m(ceiling: Ceiling, position: Point, before: Speaker | None) -> float:
    face = float(
        height_at_m(
            [position],
            height_m=ceiling.height_m,
            slope_ratio=ceiling.slope_ratio,
            slope_angle_rad=ceiling.slope_angle_rad,
            slope_at=ceiling.slope_at,
        )[0]
    )
    return before.mount_height_m if before and ceiling.kind == "open" else face


def _move(job: Job, design: Design, edit: HandEdit) -> Design:
    speaker = _speaker(design, edit)
    ceiling = job.survey.ceiling(speaker.room_key, speaker.ceiling_key)
    position, tile = _spot(job, edit, ceiling, edit.value)
    return _swap(
        design,
        replace(
            speaker,
            position=position,
            tile=tile,
            mount_height_m=_height_m(ceiling, position, speaker),
            fixed_place=True,
        ),
    )


def find_tap(job: Job, type_id: str, text: str, edit: HandEdit) -> Tap:
    """Return a tap of a type at the job's line voltage.

    Parameters
    ----------
    job
        The job.
    type_id
        The type.
    text
        Such as ``"5 W"``.
    edit
        The change that asks, for its error.

    Returns
    -------
    Tap
        The tap.

    Raises
    ------
    JobError
        If the type has no such tap.
    """
    taps = job.catalogue.speaker(type_id).taps_at(job.survey.site.line_voltage_v)
    power = parse(text, "power")
    for tap in taps:
        if abs(tap.power_w - power) < 0.01 * power:
            return tap
    known = ", ".join(f"{tap.power_w:g} W" for tap in taps) or "none"
    raise _refuse(
        edit,
        f"tap {text} does not exist on {type_id}",
        f"at {job.survey.site.line_voltage_v:.3g} V its transformer offers {known}",
        "choose one of these",
    )


def _tap(job: Job, design: Design, edit: HandEdit) -> Design:
    speaker = _speaker(design, edit)
    tap = find_tap(job, speaker.type_id, edit.value, edit)
    return _swap(design, replace(speaker, tap=tap, fixed_tap=True))


def _type(job: Job, design: Design, edit: HandEdit) -> Design:
    speaker = _speaker(design, edit)
    entry = job.catalogue.speaker(edit.value)
    taps = entry.taps_at(job.survey.site.line_voltage_v)
    if not taps:
        raise _refuse(
            edit,
            f"{entry.id} has no tap at {job.survey.site.line_voltage_v:.3g} V",
            "its transformer is made for other line voltages",
            "choose another type",
        )
    tap = min(taps, key=lambda item: abs(item.power_w - speaker.tap.power_w))
    return _swap(design, replace(speaker, type_id=entry.id, tap=tap, fixed_place=True))


def _remove(job: Job, design: Design, edit: HandEdit) -> Design:  # noqa: ARG001 all edits look alike
    speaker = _speaker(design, edit)
    left = tuple(item for item in design.speakers if item.key != speaker.key)
    return replace(design, speakers=left)


def _add(job: Job, design: Design, edit: HandEdit) -> Design:
    words = edit.value.split()
    if len(words) < 3:
        raise _refuse(
            edit,
            f"{edit.value!r} does not say what to add",
            "a type, a tap and a place are needed",
            "write for example: ceiling-6 5W 4,7",
        )
    type_id, tap_text, place = words[0], words[1], " ".join(words[2:])
    room = job.survey.room(edit.target_key)
    ceiling = _ceiling_for(job, edit, room.ceilings, place)
    position, tile = _spot(job, edit, ceiling, place)
    book = KeyBook(design.next_key)
    speaker = Speaker(
        key=book.new("s"),
        label="new",
        room_key=room.key,
        ceiling_key=ceiling.key,
        type_id=job.catalogue.speaker(type_id).id,
        position=position,
        mount_height_m=_height_m(ceiling, position, None),
        tap=find_tap(job, type_id, tap_text, edit),
        tile=tile,
        fixed_place=True,
        fixed_tap=True,
    )
    return replace(design, speakers=(*design.speakers, speaker), next_key=book.next_key)


def _ceiling_for(job: Job, edit: HandEdit, ceilings: Sequence[Ceiling], place: str) -> Ceiling:
    if not ceilings:
        raise _refuse(
            edit,
            f"room {edit.target_key} has no ceiling",
            "a speaker needs one to hang from",
            "add a ceiling to the room in job.toml",
        )
    for ceiling in ceilings:
        try:
            _spot(job, edit, ceiling, place)
        except JobError:
            continue
        return ceiling
    return ceilings[0]


def _line(design: Design, edit: HandEdit) -> Line:
    for line in design.lines:
        if edit.target_key in {line.key, line.label}:
            return line
    raise _refuse(
        edit,
        f"there is no line {edit.target_key!r}",
        "it is neither a key nor a label of this design",
        "choose a label such as L1",
    )


def _cable(job: Job, design: Design, edit: HandEdit) -> Design:
    line = _line(design, edit)
    cable = job.catalogue.cable(edit.value)
    runs = tuple(replace(run, cable_id=cable.id, fixed=True) for run in line.runs)
    changed = replace(line, runs=runs, fixed=True)
    return replace(
        design, lines=tuple(changed if item.key == line.key else item for item in design.lines)
    )


def _channel(job: Job, design: Design, edit: HandEdit) -> Design:
    entry = job.catalogue.amplifier(edit.value)
    known = [item for item in design.amplifiers if edit.target_key in {item.key, item.label}]
    if not known or len(entry.channel_power_w) < len(known[0].channels):
        raise _refuse(
            edit,
            f"{entry.id} cannot take the place of {edit.target_key!r}",
            "there is no such amplifier, or it has more channels in use",
            "choose an amplifier of the rack sheet and a type with as many channels",
        )
    changed = replace(known[0], type_id=entry.id, fixed=True)
    return replace(
        design,
        amplifiers=tuple(
            changed if item.key == changed.key else item for item in design.amplifiers
        ),
    )


def _order(job: Job, design: Design, edit: HandEdit) -> Design:  # noqa: ARG001 all edits look alike
    line = _line(design, edit)
    wanted = tuple(edit.value.split())
    if sorted(wanted) != sorted(line.speaker_keys):
        raise _refuse(
            edit,
            f"the new order of {line.label} is not its {len(line.speaker_keys)} speakers",
            "each of them must be named once",
            "send all keys of the line in their new order",
        )
    changed = replace(line, speaker_keys=wanted)
    speakers = tuple(
        replace(item, fixed_order=True) if item.key in wanted else item for item in design.speakers
    )
    lines = tuple(changed if item.key == line.key else item for item in design.lines)
    return replace(design, lines=lines, speakers=speakers)


def _lock(job: Job, design: Design, edit: HandEdit) -> Design:  # noqa: ARG001 all edits look alike
    speaker = _speaker(design, edit)
    held = edit.kind == "lock"
    return _swap(design, replace(speaker, fixed_place=held, fixed_tap=held, fixed_order=held))


_EDITS: dict[EditKind, Callable[[Job, Design, HandEdit], Design]] = {
    "move": _move,
    "tap": _tap,
    "type": _type,
    "remove": _remove,
    "add": _add,
    "cable": _cable,
    "channel": _channel,
    "order": _order,
    "lock": _lock,
    "unlock": _lock,
}


def applied_edits(job: Job, edits: Sequence[HandEdit]) -> Design:
    """Return the design with hand decisions applied and nothing else touched, lines neither.

    Parameters
    ----------
    job
        The job.
    edits
        Changes, in order.

    Returns
    -------
    Design
        For what hangs already: cable that lies is not laid again.

    Raises
    ------
    JobError
        If a change names something that does not exist.
    """
    design = job.design
    for edit in edits:
        design = _EDITS[edit.kind](job, design, edit)
    return design


def edited_design(job: Job, edits: Sequence[HandEdit]) -> Design:
    """Return the design of a job with hand decisions applied and everything else following.

    Parameters
    ----------
    job
        The job.
    edits
        Changes, in order.

    Returns
    -------
    Design
        With lines, labels and amplifiers worked out again; hand decisions carry their mark.

    Raises
    ------
    JobError
        If a change names something that does not exist.
    NoSolutionError
        If the lines cannot be wired any more.
    """
    design = applied_edits(job, edits)
    # a design of another survey is wired anew: its lines may lead through other walls
    is_current = bool(job.job_hash) and job.job_hash == job.design.job_hash
    return rewired(job, design, before=job.design if is_current else None)


def rewired(job: Job, design: Design, *, seed: int = 1, before: Design | None = None) -> Design:
    """Return a design with its lines, labels and amplifiers worked out again.

    Parameters
    ----------
    job
        Survey and catalogue.
    design
        Speakers as decided; its lines give the keys, fixed ones stay.
    seed
        Seed of the order search.
    before
        Design of the same survey that was edited: lines that the edits do not touch stay as they
        are. ``None`` groups and lays all lines anew.

    Returns
    -------
    Design
        Complete.

    Raises
    ------
    NoSolutionError
        If the lines cannot be wired.
    """
    from soffit.design.route import wire

    if not design.speakers:
        return replace(design, lines=(), amplifiers=(), wiring_notes=(), wiring_not_kept=())
    book = KeyBook(design.next_key)
    wired = wire(
        job.survey,
        job.catalogue,
        design.speakers,
        previous=design,
        new_key=lambda: book.new("n"),
        seed=seed,
        before=before,
    )
    return replace(
        design,
        speakers=wired.speakers,
        lines=wired.lines,
        amplifiers=wired.amplifiers,
        next_key=book.next_key,
        wiring_notes=wired.notes,
        wiring_not_kept=wired.not_kept,
    )


def edit_design(
    folder: Path,
    edits: Sequence[HandEdit],
    *,
    base_revision: int | None = None,
    who: str = "",
    what: str = "",
) -> Job:
    """Apply hand decisions to the design of a job on disk.

    Parameters
    ----------
    folder
        Folder of the job.
    edits
        Changes, in order.
    base_revision
        Revision of the design that the person saw; the one on disk if ``None``.
    who, what
        For history.

    Returns
    -------
    Job
        The job as it stands now.

    Raises
    ------
    StaleError
        If somebody else has changed the design.
    JobError
        If a change names something that does not exist.
    """
    from soffit.job.api import open_job, write_design

    job = open_job(folder)
    design = edited_design(job, edits)
    words = what or ", ".join(
        f"{item.kind} {item.target_key} {item.value}".strip() for item in edits
    )
    base = job.design.revision if base_revision is None else base_revision
    written = write_design(folder, design, base, who=who, what=words)
    return replace(job, design=written)
