"""What a hand on the page changes: with the revision it saw, a preview where asked, and undo."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from soffit.errors import JobError, StaleError
from soffit.model.decisions import Design, Job, Option
from soffit.model.findings import Finding, Mend
from soffit.model.speakers import Speaker
from soffit.work.edit import EditKind, HandEdit, edited_design
from soffit.work.page_state import PageJob, Snapshot
from soffit.work.summary import finding_dict, option_dict

_KINDS: Final[dict[str, EditKind]] = {
    "move": "move",
    "tap": "tap",
    "cable": "cable",
    "type": "type",
    "remove": "remove",
    "add": "add",
    "channel": "channel",
}


def hand_edit(page: PageJob, edits: Sequence[HandEdit], *, revision: int, who: str) -> Snapshot:
    """Apply changes made by hand and keep them.

    Parameters
    ----------
    page
        The job.
    edits
        Changes, in order.
    revision
        Revision of the design that the person saw.
    who
        For history.

    Returns
    -------
    Snapshot
        The job as it stands now.

    Raises
    ------
    StaleError
        If somebody else has changed the design meanwhile.
    JobError
        If a change names what does not exist.
    """
    from soffit.job.api import write_design

    with page.lock:
        now = page.now()
        labels = {item.key: item.label for item in now.job.design.speakers}
        labels |= {item.key: item.label for item in now.job.design.lines}
        words = "; ".join(
            " ".join(
                (
                    item.kind,
                    labels.get(item.target_key, item.target_key),
                    " ".join(labels.get(part, part) for part in item.value.split()),
                )
            ).strip()
            for item in edits
        )
        if revision != now.job.design.revision:
            raise stale(page, revision, words)
        design = edited_design(now.job, edits)
        write_design(page.folder, design, revision, who=who, what=words[:200])
        return page.now()


def stale(page: PageJob, revision: int, wanted: str) -> StaleError:
    """Return the refusal of a change to a design that somebody has changed since.

    Parameters
    ----------
    page
        The job.
    revision
        Revision that the person saw.
    wanted
        What they wanted, in words.
    """
    from soffit.job.api import read_history

    now = page.job().design.revision
    since = [
        f"{entry.who or 'somebody'}: {entry.what}"
        for entry in read_history(page.folder)
        if entry.state == "done"
        and any(
            change.name == "design.json" and change.revision > revision for change in entry.files
        )
    ]
    return StaleError(
        what="the design has changed since this page was drawn",
        where=f"design.json  revision {now}",
        why=f"you saw revision {revision}; since then " + ("; ".join(since[-3:]) or "another"),
        do=f"look at the new drawing, then do it again: {wanted}",
    )


def _mend_edit(mend: Mend) -> HandEdit:
    kind = _KINDS.get(mend.kind)
    if kind is None:
        raise JobError(
            what=f"this mend is not one click: {mend.text}",
            where=f"mend {mend.kind} {mend.target_key}",
            why="it changes the survey or how the job is divided into lines",
            do="change it on the survey sheet and run the design again",
        )
    return HandEdit(kind=kind, target_key=mend.target_key, value=mend.value)


def can_mend(mend: Mend) -> bool:
    """Return whether a mend is one click.

    Parameters
    ----------
    mend
        The mend.
    """
    return mend.kind in _KINDS


def mend_of(now: Snapshot, code: str, place_key: str, number: int) -> tuple[Finding, Mend]:
    """Return a mend of a finding as it stands.

    Parameters
    ----------
    now
        The job.
    code, place_key
        Of the finding.
    number
        Which of its mends.

    Raises
    ------
    JobError
        If it is gone.
    """
    for item in now.findings:
        if item.code == code and item.place_key == place_key and number < len(item.mends):
            return item, item.mends[number]
    raise JobError(
        what=f"{code} has no such mend any more",
        where=f"findings {code} {place_key}",
        why="the job has changed since the list was drawn",
        do="look at the new list",
    )


def preview(now: Snapshot, edits: Sequence[HandEdit]) -> dict[str, Any]:
    """Tell what changes would do, without keeping them.

    Parameters
    ----------
    now
        The job.
    edits
        Changes, in order.
    """
    from soffit.work.run_checks import find_all
    from soffit.work.whole import evaluate_job

    design = edited_design(now.job, edits)
    then = evaluate_job(replace(now.job, design=design), plans=now.memory)
    after = find_all(then)
    before = {(item.code, item.place_key) for item in now.findings}
    left = {(item.code, item.place_key) for item in after}
    return {
        "cured": [
            finding_dict(item) for item in now.findings if (item.code, item.place_key) not in left
        ],
        "raised": [
            finding_dict(item) for item in after if (item.code, item.place_key) not in before
        ],
        "rooms": _room_changes(now, then),
        "lines": _line_changes(now, then),
    }


def _room_changes(now: Snapshot, then: Any) -> list[dict[str, Any]]:  # noqa: ANN401 a Whole
    from soffit.work.view_rooms import brief_rows

    rows = []
    for room in now.job.survey.rooms:
        old = brief_rows(room, now.whole.sound.room(room.key))
        new = brief_rows(room, then.sound.room(room.key))
        if [row.got for row in old] != [row.got for row in new]:
            was = {row.what: row.got for row in old}
            rows.append(
                {
                    "room": room.label,
                    "rows": [
                        {"what": row.what, "was": was.get(row.what, ""), "is": row.got}
                        for row in new
                        if was.get(row.what) != row.got
                    ],
                }
            )
    return rows


def _line_changes(now: Snapshot, then: Any) -> list[dict[str, Any]]:  # noqa: ANN401 a Whole
    rows = []
    labels = {line.key: line.label for line in then.job.design.lines}
    for key, state in then.lines.items():
        was = now.whole.lines.get(key)
        new = (round(state.load_w, 1), round(state.worst_loss_db, 2), round(state.length_m, 1))
        old = (
            (round(was.load_w, 1), round(was.worst_loss_db, 2), round(was.length_m, 1))
            if was
            else None
        )
        if new != old:
            rows.append({"line": labels.get(key, key), "was": old, "is": new})
    return rows


def mend_edits(now: Snapshot, code: str, place_key: str, number: int) -> list[HandEdit]:
    """Return the changes that a mend is.

    Parameters
    ----------
    now
        The job.
    code, place_key, number
        Which mend.
    """
    return [_mend_edit(mend_of(now, code, place_key, number)[1])]


def options_dict(now: Snapshot) -> list[dict[str, Any]]:
    """Return the alternatives of every room, as plain data.

    Parameters
    ----------
    now
        The job.
    """
    rooms = {room.key: room.label for room in now.job.survey.rooms}
    return [
        {
            "room": entry.room_key,
            "label": rooms.get(entry.room_key, entry.room_key),
            "reason": entry.reason,
            "bound": entry.bound,
            "not_kept": list(entry.not_kept),
            "options": [
                {**option_dict(option), "number": number}
                for number, option in enumerate(entry.options)
            ],
        }
        for entry in now.job.design.rooms
    ]


def option_of(job: Job, room_key: str, number: int) -> Option:
    """Return one alternative of a room.

    Parameters
    ----------
    job
        The job.
    room_key
        The room.
    number
        Its place in the front.

    Raises
    ------
    JobError
        If there is no such alternative.
    """
    for entry in job.design.rooms:
        if entry.room_key == room_key and 0 <= number < len(entry.options):
            return entry.options[number]
    raise JobError(
        what=f"room {room_key} has no alternative {number}",
        where="design.json rooms options",
        why="the design was made again since the list was drawn",
        do="look at the new list",
    )


def option_edits(job: Job, room_key: str, number: int) -> list[HandEdit]:
    """Return the changes that turn a room into one of its alternatives, keeping keys where it can.

    Parameters
    ----------
    job
        The job.
    room_key
        The room.
    number
        Place of the alternative in the front.

    Raises
    ------
    JobError
        If there is no such alternative, or it has no layout.
    """
    option = option_of(job, room_key, number)
    if not option.positions or option.tap_w is None:
        raise JobError(
            what="this alternative was not laid out",
            where=f"room {room_key}, alternative {number}",
            why="only its count and spread were worked out",
            do="choose another one, or ask for its count in the brief and run the design",
        )
    places = [
        f"{option.tiles[index][0]},{option.tiles[index][1]}"
        if index < len(option.tiles)
        else f"{x:.4f} {y:.4f}"
        for index, (x, y) in enumerate(option.positions)
    ]
    free = [
        item
        for item in job.design.speakers
        if item.room_key == room_key
        and item.state == "planned"
        and job.catalogue.speaker(item.type_id).kind != "subwoofer"
    ]
    edits: list[HandEdit] = []
    for index, (place, position) in enumerate(zip(places, option.positions, strict=True)):
        type_id, tap_w = option.type_at(index), option.tap_at(index)
        nearest = _take_nearest(free, position)
        if nearest is None:
            word = f"{type_id} {tap_w:g}W {place}"
            edits.append(HandEdit(kind="add", target_key=room_key, value=word))
            continue
        if nearest.type_id != type_id:
            edits.append(HandEdit(kind="type", target_key=nearest.key, value=type_id))
        edits.append(HandEdit(kind="move", target_key=nearest.key, value=place))
        edits.append(HandEdit(kind="tap", target_key=nearest.key, value=f"{tap_w:g} W"))
    edits += [HandEdit(kind="remove", target_key=item.key) for item in free]
    return edits


def _take_nearest(free: list[Speaker], position: tuple[float, float]) -> Speaker | None:
    if not free:
        return None
    found = min(
        free,
        key=lambda item: (
            (item.position[0] - position[0]) ** 2 + (item.position[1] - position[1]) ** 2
        ),
    )
    free.remove(found)
    return found


def chosen(page: PageJob, room_key: str, number: int, *, revision: int, who: str) -> Snapshot:
    """Turn a room into one of its alternatives and mark it as the chosen one.

    Parameters
    ----------
    page
        The job.
    room_key
        The room.
    number
        Place of the alternative in the front.
    revision
        Revision of the design that the person saw.
    who
        For history.
    """
    from soffit.job.api import write_design

    with page.lock:
        job = page.job()
        option = option_of(job, room_key, number)
        words = f"choose {option.count} x {option.type_id}, {option.pattern} in {room_key}"
        if revision != job.design.revision:
            raise stale(page, revision, words)
        design = edited_design(job, option_edits(job, room_key, number))
        write_design(page.folder, _marked(design, room_key, number), revision, who=who, what=words)
        return page.now()


def _marked(design: Design, room_key: str, number: int) -> Design:
    rooms = []
    for entry in design.rooms:
        if entry.room_key != room_key:
            rooms.append(entry)
            continue
        options = tuple(
            replace(option, mark="chosen")
            if index == number
            else replace(option, mark="" if option.mark == "chosen" else option.mark)
            for index, option in enumerate(entry.options)
        )
        rooms.append(
            replace(entry, options=options, reason="Chosen by hand among the alternatives.")
        )
    return replace(design, rooms=tuple(rooms))


def step_back(page: PageJob, *, back: bool, who: str) -> str:
    """Take back the last write, or make it again.

    Parameters
    ----------
    page
        The job.
    back
        Undo; else redo.
    who
        For history.

    Returns
    -------
    str
        What was taken back or made again.
    """
    from soffit.job.api import redo, undo

    with page.lock:
        entry = undo(page.folder, who=who) if back else redo(page.folder, who=who)
        page.now()
    return entry.what


def history_dict(page: PageJob) -> dict[str, Any]:
    """Return who changed what, newest first, and what can be undone and redone.

    Parameters
    ----------
    page
        The job.
    """
    from soffit.job.api import read_history, undoable

    entries = read_history(page.folder)
    done, undone = undoable(entries)
    by_number = {entry.number: entry for entry in entries}
    return {
        "undo": by_number[done[-1]].what if done else "",
        "redo": by_number[undone[-1]].what if undone else "",
        "entries": [
            {
                "number": entry.number,
                "kind": entry.kind,
                "at": entry.at,
                "who": entry.who,
                "what": entry.what,
                "files": [[change.name, change.revision] for change in entry.files],
                "can_undo": bool(done) and entry.number == done[-1],
            }
            for entry in reversed(entries)
            if entry.state == "done"
        ],
    }
