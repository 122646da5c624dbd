"""A plan that is read again: what it says differently, and taking that over without losing work."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soffit.model.survey import Point
from soffit.plans.compare import Difference, Known, Step, compare_room, match_rooms
from soffit.plans.proposal import PlanProposal, RoomProposal
from soffit.tables.settings import DEFAULT_LIMITS
from soffit.work.read_plan_keep import keep_files, memories_of, remember

if TYPE_CHECKING:
    from soffit.model.decisions import Job
    from soffit.work.read_plan import ReadReport

Table = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Known:
    """What the last reading said, and what stands in the job."""

    base: Mapping[str, Table]
    origins: Mapping[str, str]
    mine: Mapping[str, Table]
    aside: frozenset[str]
    is_remembered: bool
    file: str = ""


def keep_again(
    report: "ReadReport", path: Path, folder: Path, *, is_named: bool, accept: bool, who: str
) -> "ReadReport":
    """Compare a plan with a job, and take differences over if asked.

    Parameters
    ----------
    report
        What was read now.
    path
        File it was read from.
    folder
        Folder of the job.
    is_named
        Whether rooms were asked for by name: those that the job has not are added.
    accept
        Take over what people did not change themselves.
    who
        For history.

    Returns
    -------
    ReadReport
        With the differences.

    Raises
    ------
    JobError
        If the job cannot be read, or would not be sound afterwards; nothing is changed then.
    """
    from soffit.job.api import Edit, edit_survey, open_job

    job = open_job(folder)
    known = _known(folder, job, path.name, report.proposal)
    proposal = _with_known_keys(report.proposal, known)
    wanted = {proposal.rooms[report.proposal.rooms.index(room)].key for room in report.kept}
    differences, tables = _differences(proposal, known, job, wanted)
    changed = replace(
        report,
        proposal=proposal,
        kept=tuple(room for room in proposal.rooms if room.key in tables),
        left=tuple((r, "not in the job") for r in proposal.rooms if r.key not in tables),
        folder=folder,
        differences=tuple(differences),
    )
    if report.proposal.underlays or report.proposal.drawn:
        keep_files(changed, folder, (path,))
    steps = [step for item in differences for step in item.steps]
    if not (accept or is_named) or not steps:
        return changed
    if not accept:  # rooms that were named are added, nothing else is touched
        steps = [step for step in steps if _is_new_room(step, known)]
    if not steps:
        return changed
    edits = [Edit(path=where, op=op, value=value) for where, op, value in _in_order(steps)]
    what = f"read again: {path.name}"
    edit_survey(folder, edits, job.job_revision, who=who, what=what)
    keep_files(changed, folder, (path,))
    if accept:
        remember(
            folder,
            path.name,
            proposal,
            {**_copies(known.base), **_remembered(tables, known, proposal)},
        )
    else:
        added = {key: table for key, table in tables.items() if key not in known.mine}
        remember(folder, path.name, proposal, {**_copies(known.base), **added})
    return replace(changed, is_changed=True)


def _copies(tables: Mapping[str, Table]) -> dict[str, dict[str, Any]]:
    return {key: dict(table) for key, table in tables.items()}


def _is_new_room(step: Step, known: _Known) -> bool:
    where = step[0]
    return where[0] in {"zones", "storeys"} or (len(where) == 2 and where[1] not in known.mine)


def _known(folder: Path, job: "Job", name: str, proposal: PlanProposal) -> _Known:
    text = (folder / "job.toml").read_text(encoding="utf-8")
    mine = tomllib.loads(text).get("rooms", {})
    memories = memories_of(folder)
    memory = memories.get(name) or _same_plan(memories, proposal)
    if memory is None and memories:
        return _Known(base={}, origins={}, mine=mine, aside=frozenset(), is_remembered=True)
    if memory is not None:
        rooms = memory["rooms"]
        return _Known(
            base={key: entry["table"] for key, entry in rooms.items()},
            origins={key: str(entry.get("origin", "")) for key, entry in rooms.items()},
            mine=mine,
            aside=frozenset(str(item.get("origin", "")) for item in memory.get("others", ())),
            is_remembered=True,
            file=str(memory.get("file", "")),
        )
    base = {
        room.key: {
            "label": room.label,
            "storey": room.storey_key,
            "outline": [list(p) for p in room.outline],
        }
        for room in job.survey.rooms
    }
    return _Known(base=base, origins={}, mine=mine, aside=frozenset(), is_remembered=False)


def _same_plan(
    memories: Mapping[str, Mapping[str, Any]], proposal: PlanProposal
) -> Mapping[str, Any] | None:
    """Return what is remembered of a plan that came under another name, such as a later issue."""
    best: tuple[int, Mapping[str, Any]] | None = None
    for memory in memories.values():
        known = {
            key: _entry(str(entry.get("origin", "")), entry["table"])
            for key, entry in memory["rooms"].items()
        }
        count = len(match_rooms(known, _entries(proposal)))
        if 2 * count >= len(known) and (best is None or count > best[0]):
            best = (count, memory)
    return best[1] if best else None


def _entry(origin: str, table: Table) -> Known:
    ring = [(float(x), float(y)) for x, y in table["outline"]]
    return Known(
        origin_id=origin,
        label=str(table.get("label", "")),
        storey_key=str(table.get("storey", "")),
        outline=ring,
    )


def _entries(proposal: PlanProposal) -> dict[str, Known]:
    return {
        room.key: Known(
            origin_id=room.origin_id,
            label=room.label,
            storey_key=room.storey_key,
            outline=room.outline,
        )
        for room in proposal.rooms
    }


def _with_known_keys(proposal: PlanProposal, known: _Known) -> PlanProposal:
    """Give rooms the keys by which the job knows them, and new ones keys that are free."""
    from soffit.plans.keys import key_of

    old = {key: _entry(known.origins.get(key, ""), table) for key, table in known.base.items()}
    keys = match_rooms(old, _entries(proposal))
    taken = set(known.base) | set(known.mine)
    for room in proposal.rooms:
        if room.key not in keys:
            keys[room.key] = key_of(room.label, taken)
            taken.add(keys[room.key])
    return replace(
        proposal,
        rooms=tuple(replace(room, key=keys[room.key]) for room in proposal.rooms),
        obstacles=tuple(
            replace(item, room_key=keys.get(item.room_key, item.room_key))
            for item in proposal.obstacles
        ),
        speakers=tuple(
            replace(item, room_key=keys.get(item.room_key, item.room_key))
            for item in proposal.speakers
        ),
    )


def _differences(
    proposal: PlanProposal, known: _Known, job: "Job", wanted: set[str]
) -> tuple[list[Difference], dict[str, dict[str, Any]]]:
    from soffit.plans.to_job import obstacles_of, room_table

    found: list[Difference] = []
    tables: dict[str, dict[str, Any]] = {}
    known = replace(known, base=_without_absent(known.base, proposal, known.file))
    read = {room.key for room in proposal.rooms}
    for room in proposal.rooms:
        table = room_table(room, obstacles_of(proposal, room.key))
        if room.key in known.base and room.key in known.mine:
            tables[room.key] = table
            found += _of_room(room, table, known, job)
        elif room.key in known.base:
            continue  # people took it out of the job
        elif room.origin_id not in known.aside or room.key in wanted:
            found.append(_new_room(room, table, proposal, job, is_wanted=room.key in wanted))
            if room.key in wanted:
                tables[room.key] = table
    for key in known.base:
        if key in known.mine and key not in read and known.is_remembered:
            what = "the plan does not show this room any more"
            found.append(Difference(room_key=key, what=what, kept="take it out by hand"))
    return found, tables


def _without_absent(
    base: Mapping[str, Table], proposal: PlanProposal, file: str
) -> dict[str, Table]:
    """Leave out things of models that were read along last time and are not now."""
    if proposal.others:
        return dict(base)
    found: dict[str, Table] = {}
    for key, table in base.items():
        things = table.get("obstacles")
        if things:
            kept = [item for item in things if _is_own(str(item.get("source", "")), file)]
            table = {**table, "obstacles": kept}  # noqa: PLW2901 the room without them
        found[key] = table
    return found


def _remembered(
    tables: Mapping[str, Table], known: _Known, proposal: PlanProposal
) -> dict[str, dict[str, Any]]:
    """Return tables as they were read, with what a model not read along this time had said."""
    found = _copies(tables)
    if proposal.others:
        return found
    for key, table in found.items():
        before = known.base.get(key, {}).get("obstacles") or ()
        absent = [item for item in before if not _is_own(str(item.get("source", "")), known.file)]
        if absent:
            table["obstacles"] = [*(table.get("obstacles") or ()), *absent]
    return found


def _is_own(source: str, file: str) -> bool:
    return source == file or not source.lower().endswith((".ifc", ".ifczip"))


def _of_room(
    room: RoomProposal, table: dict[str, Any], known: _Known, job: "Job"
) -> list[Difference]:
    base = known.base[room.key]
    mine = known.mine[room.key]
    speakers: list[tuple[str, Point]] = [
        (item.label, item.position) for item in job.design.speakers if item.room_key == room.key
    ]
    moved = DEFAULT_LIMITS["plan_moved_least_m"]
    if known.is_remembered:
        return compare_room(room.key, base, table, mine, speakers=speakers, moved_m=moved)
    # a job that was not made by reading: outlines and things are compared, people's work stays
    only = {name: value for name, value in table.items() if name in {"outline", "obstacles"}}
    return [
        replace(item, kept="the job was not made from a plan: change it by hand", steps=())
        for item in compare_room(room.key, base, only, mine, speakers=speakers, moved_m=moved)
    ]


def _new_room(
    room: RoomProposal,
    table: dict[str, Any],
    proposal: PlanProposal,
    job: "Job",
    *,
    is_wanted: bool,
) -> Difference:
    what = f"new room {room.label!r}, {room.area_m2:.1f} m², {room.confidence:.0%} sure"
    if not is_wanted:
        return Difference(room_key=room.key, what=what, kept="name it with --rooms to add it")
    steps: list[Step] = [(("rooms", room.key), "set", table)]
    if room.storey_key not in {storey.key for storey in job.survey.storeys}:
        storey = next(item for item in proposal.storeys if item.key == room.storey_key)
        entry = {"label": storey.label, "elevation": storey.elevation_m}
        steps.insert(0, (("storeys", storey.key), "set", entry))
    zone = job.survey.zones[0]
    if zone.key == "all":
        steps.append((("zones", "all", "rooms"), "append", room.key))
    return Difference(room_key=room.key, what=what, steps=tuple(steps))


def _in_order(steps: Sequence[Step]) -> list[Step]:
    """Put values first, then what goes (the last of a list first), then what comes."""
    gone = [step for step in steps if step[1] == "remove"]
    gone.sort(key=lambda step: [-part if isinstance(part, int) else 0 for part in step[0]])
    return [
        *(step for step in steps if step[1] == "set"),
        *gone,
        *(step for step in steps if step[1] == "append"),
    ]
