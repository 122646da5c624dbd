"""The survey: rooms, briefs, ceilings; single values, or the whole text."""

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Response

from soffit.errors import TableError
from soffit.web.bodies import RoomMerge, RoomSplit, SurveyChanges, SurveyText, ThingMove
from soffit.web.common import PageOf, Who
from soffit.web.late import Late

if TYPE_CHECKING:
    from soffit.work import page_rooms, page_sheets, page_survey, page_things
else:
    page_rooms = Late("soffit.work.page_rooms")
    page_sheets = Late("soffit.work.page_sheets")
    page_things = Late("soffit.work.page_things")
    page_survey = Late("soffit.work.page_survey")

router = APIRouter(prefix="/api", tags=["survey"])


@router.get("/jobs/{job}/survey", operation_id="get_survey")
def get_survey(page: PageOf) -> dict[str, Any]:
    """Return the survey as the page edits it."""
    return page_survey.survey_dict(page)


@router.get("/jobs/{job}/survey/drawing", operation_id="draw_survey")
def draw_survey(page: PageOf, storey: str = "") -> dict[str, Any]:
    """Draw all rooms of a storey on one sheet."""
    now = page.now()
    storey = storey or page_survey.storey_of(now, "")
    boxes = [item["box"] for item in page_sheets.underlays(page, storey)]
    return page_survey.overview(now, storey, boxes)


@router.get("/jobs/{job}/underlays", operation_id="list_underlays")
def list_underlays(page: PageOf) -> dict[str, Any]:
    """List what rooms can be drawn on: lines and pictures of the plan files."""
    items = page.underlays.items() if page.underlays is not None else ()
    return {"underlays": [item.as_dict() for item in items]}


@router.get("/jobs/{job}/underlays/{mark}", operation_id="get_underlay", response_class=Response)
def get_underlay(page: PageOf, mark: str) -> Response:
    """Return an underlay: lines as packed steps of 32 bits, or a picture.

    Its address holds the hash of its content, so a browser asks for it once.
    """
    if page.underlays is None:
        msg = "no plan was read into this job"
        raise TableError(msg, where="plans", why="its folder is empty", do="read a plan into it")
    content, kind = page.underlays.content(mark)
    headers = {"cache-control": "private, max-age=31536000, immutable"}
    return Response(content, media_type=kind, headers=headers)


@router.post("/jobs/{job}/survey", operation_id="change_survey")
def change_survey(page: PageOf, body: SurveyChanges, who: Who) -> dict[str, Any]:
    """Change values of the survey; comments stay."""
    edits = [item.model_dump() for item in body.edits]
    now = page_survey.change_survey(page, edits, revision=body.revision, who=who, what=body.what)
    return {"revision": now.job.job_revision}


@router.get("/jobs/{job}/survey/text", operation_id="get_survey_text")
def get_survey_text(page: PageOf) -> dict[str, Any]:
    """Return job.toml as it stands."""
    return page_survey.survey_text(page)


@router.put("/jobs/{job}/survey/text", operation_id="replace_survey")
def replace_survey(page: PageOf, body: SurveyText, who: Who) -> dict[str, Any]:
    """Write job.toml as a whole."""
    now = page_survey.replace_survey(page, body.text, revision=body.revision, who=who)
    return {"revision": now.job.job_revision}


@router.post("/jobs/{job}/survey/move", operation_id="move_thing")
def move_thing(page: PageOf, body: ThingMove, who: Who) -> dict[str, Any]:
    """Move a thing of the survey, into another room where it is carried there."""
    by = (body.by[0], body.by[1])
    edits, room, path = page_things.move_edits(page, body.path, by)
    if not edits:
        return {"revision": page.now().job.job_revision, "room": room, "path": path}
    now = page_survey.change_survey(
        page, edits, revision=body.revision, who=who, what=body.what or "move a thing"
    )
    return {"revision": now.job.job_revision, "room": room, "path": path}


@router.post("/jobs/{job}/survey/split", operation_id="split_room")
def split_room(page: PageOf, body: RoomSplit, who: Who) -> dict[str, Any]:
    """Cut a room in two along a straight line, with everything in it."""
    start, end = (body.start[0], body.start[1]), (body.end[0], body.end[1])
    change = page_rooms.split_room(page, body.room, start, end)
    what = f"cut {body.room} in two"
    now = page_rooms.keep_rooms(page, change, revision=body.revision, who=who, what=what)
    return {"revision": now.job.job_revision, "room": change.room, "told": list(change.told)}


@router.post("/jobs/{job}/survey/merge", operation_id="merge_rooms")
def merge_rooms(page: PageOf, body: RoomMerge, who: Who) -> dict[str, Any]:
    """Make one room of two that lie side by side, with everything in both."""
    change = page_rooms.merge_rooms(page, body.first, body.second)
    what = f"{body.first} and {body.second} are one room"
    now = page_rooms.keep_rooms(page, change, revision=body.revision, who=who, what=what)
    return {"revision": now.job.job_revision, "room": change.room, "told": list(change.told)}
