"""The survey: rooms, briefs, ceilings; single values, or the whole text."""

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter

from soffit.web.bodies import RoomMerge, RoomSplit, SurveyChanges, SurveyText
from soffit.web.common import PageOf, Who
from soffit.web.late import Late

if TYPE_CHECKING:
    from soffit.work import page_survey
else:
    page_survey = Late("soffit.work.page_survey")

router = APIRouter(prefix="/api", tags=["survey"])


@router.get("/jobs/{job}/survey", operation_id="get_survey")
def get_survey(page: PageOf) -> dict[str, Any]:
    """Return the survey as the page edits it."""
    return page_survey.survey_dict(page)


@router.get("/jobs/{job}/survey/drawing", operation_id="draw_survey")
def draw_survey(page: PageOf) -> dict[str, Any]:
    """Draw all rooms on one sheet."""
    return page_survey.overview(page.now())


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


@router.post("/jobs/{job}/survey/split", operation_id="split_room")
def split_room(page: PageOf, body: RoomSplit, who: Who) -> dict[str, Any]:
    """Cut a room in two along a straight line."""
    start, end = (body.start[0], body.start[1]), (body.end[0], body.end[1])
    edits, fresh = page_survey.split_edits(page, body.room, start, end)
    what = f"cut {body.room} in two"
    now = page_survey.change_survey(page, edits, revision=body.revision, who=who, what=what)
    return {"revision": now.job.job_revision, "room": fresh}


@router.post("/jobs/{job}/survey/merge", operation_id="merge_rooms")
def merge_rooms(page: PageOf, body: RoomMerge, who: Who) -> dict[str, Any]:
    """Make one room of two that lie side by side."""
    edits = page_survey.merge_edits(page, body.first, body.second)
    what = f"{body.first} and {body.second} are one room"
    now = page_survey.change_survey(page, edits, revision=body.revision, who=who, what=what)
    return {"revision": now.job.job_revision, "room": body.first}
