"""The design: plans, maps, drags, hand changes, alternatives, mends, long runs, papers."""

import json
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

from fastapi import APIRouter, Response
from fastapi.responses import FileResponse, StreamingResponse

from soffit.errors import TableError
from soffit.web.bodies import (
    DesignRun,
    Drag,
    HandChanges,
    LineMore,
    MendChoice,
    OptionChoice,
    PapersRun,
)
from soffit.web.common import PageOf, Who, WorksOf
from soffit.web.late import Late
from soffit.work.page_state import PageJob, Snapshot

if TYPE_CHECKING:
    from soffit.work import edit, page_edit, page_lines, page_live, page_plan, summary
    from soffit.work.edit import HandEdit
else:
    edit = Late("soffit.work.edit")
    page_edit = Late("soffit.work.page_edit")
    page_lines = Late("soffit.work.page_lines")
    page_live = Late("soffit.work.page_live")
    page_plan = Late("soffit.work.page_plan")
    summary = Late("soffit.work.summary")

router = APIRouter(prefix="/api", tags=["design"])
_SVG: Final = "image/svg+xml"


def _json(body: dict[str, Any]) -> Response:
    """Return plain data without a second look at it: drags are asked for sixty times a second."""
    text = json.dumps(body, ensure_ascii=False, separators=(",", ":"))
    return Response(text, media_type="application/json")


def _edits(body: HandChanges) -> "list[HandEdit]":
    return [
        edit.HandEdit(kind=item.kind, target_key=item.target, value=item.value)
        for item in body.edits
    ]


def _changed(now: Snapshot) -> dict[str, Any]:
    return {"revision": now.job.design.revision, "job_revision": now.job.job_revision}


@router.get("/jobs/{job}", operation_id="get_job")
def get_job(page: PageOf) -> dict[str, Any]:
    """Return revisions, rooms and lines of a job, and what can be undone."""
    now = page.now()
    history = page_edit.history_dict(page)
    survey, design = now.job.survey, now.job.design
    return {
        **_changed(now),
        "title": survey.site.name,
        "is_imperial": survey.site.is_imperial,
        "rooms": [{"key": room.key, "label": room.label} for room in survey.rooms],
        "lines": [{"key": line.key, "label": line.label} for line in design.lines],
        "speakers": len(design.speakers),
        "undo": history["undo"],
        "redo": history["redo"],
        "is_stale": bool(design.speakers) and design.job_hash != now.job.job_hash,
    }


@router.get("/jobs/{job}/rooms/{room}/plan", operation_id="get_plan")
def get_plan(page: PageOf, room: str) -> Response:
    """Return the plan of a room: drawing, tiles, loudspeakers, brief."""
    return _json(page_plan.plan_dict(page.now(), room))


@router.get("/jobs/{job}/rooms/{room}/map", operation_id="get_map")
def get_map(page: PageOf, room: str, measure: str = "") -> Response:
    """Return level map and evenness of a room."""
    now = page.now()
    here = now.job.survey.room(room)
    if measure in {"sti", "low end"}:
        drag = page_live.drag_room(now, here)
        return _json({**drag.rest(), "map": page_live.drawn_map(now, here, measure)})
    return _json(page_live.drag_room(now, here, measure).rest())


@router.post("/jobs/{job}/rooms/{room}/drag", operation_id="drag_speaker")
def drag_speaker(page: PageOf, room: str, body: Drag) -> Response:
    """Answer for a loudspeaker held at a place; nothing is kept."""
    now = _seen(page, body.revision, "drag the loudspeaker")
    drag = page_live.drag_room(now, now.job.survey.room(room), body.measure)
    return _json(drag.at(body.key, body.x, body.y))


def _seen(page: PageJob, revision: int, wanted: str) -> Snapshot:
    now = page.now()
    if revision != now.job.design.revision:
        raise page_edit.stale(page, revision, wanted)
    return now


@router.post("/jobs/{job}/edits", operation_id="change_design")
def change_design(page: PageOf, body: HandChanges, who: Who) -> dict[str, Any]:
    """Apply changes made by hand and keep them."""
    return _changed(page_edit.hand_edit(page, _edits(body), revision=body.revision, who=who))


@router.post("/jobs/{job}/edits/preview", operation_id="preview_change")
def preview_change(page: PageOf, body: HandChanges) -> dict[str, Any]:
    """Tell what changes would do, without keeping them."""
    return page_edit.preview(_seen(page, body.revision, "preview"), _edits(body))


@router.get("/jobs/{job}/findings", operation_id="list_findings")
def list_findings(page: PageOf) -> dict[str, Any]:
    """List the findings of the checks, worst first."""
    now = page.now()
    rows = []
    for item in now.findings:
        row = summary.finding_dict(item)
        row["one_click"] = [page_edit.can_mend(mend) for mend in item.mends]
        rows.append(row)
    return {"revision": now.job.design.revision, "findings": rows}


@router.post("/jobs/{job}/mends", operation_id="apply_mend")
def apply_mend(page: PageOf, body: MendChoice, who: Who) -> dict[str, Any]:
    """Apply a mend of a finding and keep it."""
    now = _seen(page, body.revision, f"mend {body.code}")
    edits = page_edit.mend_edits(now, body.code, body.place_key, body.number)
    return _changed(page_edit.hand_edit(page, edits, revision=body.revision, who=who))


@router.post("/jobs/{job}/mends/preview", operation_id="preview_mend")
def preview_mend(page: PageOf, body: MendChoice) -> dict[str, Any]:
    """Tell what a mend would do, without keeping it."""
    now = _seen(page, body.revision, f"mend {body.code}")
    return page_edit.preview(now, page_edit.mend_edits(now, body.code, body.place_key, body.number))


@router.get("/jobs/{job}/options", operation_id="list_options")
def list_options(page: PageOf) -> dict[str, Any]:
    """List the alternatives of every room."""
    now = page.now()
    return {"revision": now.job.design.revision, "rooms": page_edit.options_dict(now)}


@router.post("/jobs/{job}/options", operation_id="choose_option")
def choose_option(page: PageOf, body: OptionChoice, who: Who) -> dict[str, Any]:
    """Turn a room into one of its alternatives."""
    return _changed(page_edit.chosen(page, body.room, body.number, revision=body.revision, who=who))


@router.post("/jobs/{job}/options/preview", operation_id="preview_option")
def preview_option(page: PageOf, body: OptionChoice) -> dict[str, Any]:
    """Tell what an alternative would do to the whole job."""
    now = _seen(page, body.revision, "preview")
    return page_edit.preview(now, page_edit.option_edits(now.job, body.room, body.number))


@router.get(
    "/jobs/{job}/options/{room}/{number}/drawing",
    operation_id="draw_option",
    response_class=Response,
)
def draw_option(page: PageOf, room: str, number: int) -> Response:
    """Draw an alternative small, to compare."""
    return Response(page_lines.option_drawing(page.now(), room, number), media_type=_SVG)


@router.get("/jobs/{job}/lines", operation_id="list_lines")
def list_lines(page: PageOf) -> dict[str, Any]:
    """List lines with volts, loss and load, and amplifiers with what is left."""
    return page_lines.lines_dict(page.need_design())


@router.post("/jobs/{job}/lines/{line}/more", operation_id="ask_more")
def ask_more(page: PageOf, line: str, body: LineMore) -> dict[str, Any]:
    """Tell what more loudspeakers at the end of a line would do."""
    return page_lines.more_dict(
        page.need_design(), line, count=body.count, tap=body.tap, spacing=body.spacing
    )


@router.get("/jobs/{job}/lines/{line}/drawing", operation_id="draw_line", response_class=Response)
def draw_line(page: PageOf, line: str) -> Response:
    """Draw the schematic of a line as the papers do."""
    return Response(page_lines.line_drawing(page.need_design(), line), media_type=_SVG)


@router.post("/jobs/{job}/undo", operation_id="undo")
def undo(page: PageOf, who: Who) -> dict[str, Any]:
    """Take back the last write."""
    what = page_edit.step_back(page, back=True, who=who)
    return {"what": what, **_changed(page.now())}


@router.post("/jobs/{job}/redo", operation_id="redo")
def redo(page: PageOf, who: Who) -> dict[str, Any]:
    """Make the last undone write again."""
    what = page_edit.step_back(page, back=False, who=who)
    return {"what": what, **_changed(page.now())}


@router.get("/jobs/{job}/history", operation_id="get_history")
def get_history(page: PageOf) -> dict[str, Any]:
    """Return who changed what, newest first."""
    return page_edit.history_dict(page)


@router.post("/jobs/{job}/design", operation_id="run_design", status_code=202)
def run_design(page: PageOf, works: WorksOf, body: DesignRun, who: Who) -> dict[str, str]:
    """Start the search of a design."""
    work = works.start("design", page.folder, {**body.model_dump(), "who": who})
    return {"work": work.key}


@router.post("/jobs/{job}/papers", operation_id="print_papers", status_code=202)
def print_papers(page: PageOf, works: WorksOf, body: PapersRun) -> dict[str, str]:
    """Start printing papers."""
    work = works.start("papers", page.folder, {"packs": body.packs, "extras": body.extras})
    return {"work": work.key}


@router.get("/works/{work}/events", operation_id="follow_work", response_class=StreamingResponse)
def follow_work(works: WorksOf, work: str) -> StreamingResponse:
    """Follow a run: server-sent events until it ends."""
    found = works.find(work)

    def stream() -> Iterator[str]:
        for event in found.follow():
            if event is None:
                yield ": still at it\n\n"
                continue
            text = json.dumps(event, ensure_ascii=False)
            yield f"event: {event['event']}\ndata: {text}\n\n"

    headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
    return StreamingResponse(stream(), media_type="text/event-stream", headers=headers)


@router.post("/works/{work}/stop", operation_id="stop_work")
def stop_work(works: WorksOf, work: str) -> dict[str, bool]:
    """Stop a run; nothing is left half-written."""
    works.find(work).stop()
    return {"stopped": True}


@router.get("/jobs/{job}/papers", operation_id="list_papers")
def list_papers(page: PageOf) -> dict[str, Any]:
    """List what can be printed, and what has been."""
    return page_lines.papers_dict(page)


@router.get("/jobs/{job}/papers/{path:path}", operation_id="get_paper", response_class=FileResponse)
def get_paper(page: PageOf, path: str, save: bool = False) -> FileResponse:
    """Return a printed file."""
    root = (page.folder / "papers").resolve()
    target = (root / path).resolve()
    if not target.is_relative_to(root) or not target.is_file():
        msg = f"there is no paper {path!r}"
        raise TableError(msg, where="papers", why="it has not been printed", do="print it first")
    is_shown = target.suffix in {".pdf", ".svg"} and not save
    kind = "inline" if is_shown else "attachment"
    return FileResponse(target, content_disposition_type=kind, filename=target.name)
