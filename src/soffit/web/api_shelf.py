"""Jobs: list, begin, copy, put away, pack and unpack."""

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool

from soffit.errors import TableError
from soffit.web.bodies import Demo, NewJob, PlanKeep, PlanWishes
from soffit.web.common import DeskOf, ShelfOf, Who
from soffit.web.late import Late

if TYPE_CHECKING:
    from soffit.work import page_plans
else:
    page_plans = Late("soffit.work.page_plans")

router = APIRouter(prefix="/api", tags=["jobs"])


@router.get("/jobs", operation_id="list_jobs")
def list_jobs(shelf: ShelfOf) -> dict[str, Any]:
    """List the jobs of the shelf."""
    return {"jobs": [entry.as_dict() for entry in shelf.entries()]}


@router.post("/jobs", operation_id="begin_job", status_code=201)
def begin_job(body: NewJob, shelf: ShelfOf, who: Who) -> dict[str, str]:
    """Begin a job with one room."""
    return {"job": shelf.new(body.title, is_imperial=body.is_imperial, who=who)}


@router.post("/demos", operation_id="copy_demo", status_code=201)
def copy_demo(body: Demo, shelf: ShelfOf, who: Who) -> dict[str, str]:
    """Copy an invented demo job."""
    return {"job": shelf.demo(body.name, who=who)}


@router.post("/jobs/{job}/duplicate", operation_id="duplicate_job", status_code=201)
def duplicate_job(job: str, shelf: ShelfOf) -> dict[str, str]:
    """Copy a job."""
    return {"job": shelf.duplicate(job)}


@router.post("/jobs/{job}/put-away", operation_id="put_job_away")
def put_job_away(job: str, shelf: ShelfOf) -> dict[str, str]:
    """Put a job away, or take it out again."""
    shelf.put_away(job)
    return {"job": job}


@router.get("/jobs/{job}/zip", operation_id="pack_job", response_class=Response)
def pack_job(job: str, shelf: ShelfOf) -> Response:
    """Return a job as one ZIP file."""
    headers = {"content-disposition": f'attachment; filename="{job}.zip"'}
    return Response(shelf.packed(job), media_type="application/zip", headers=headers)


@router.post("/jobs/upload", operation_id="unpack_job", status_code=201)
async def unpack_job(request: Request, shelf: ShelfOf, name: str = "job.zip") -> dict[str, str]:
    """Take in a job that was packed."""
    content = await request.body()
    return {"job": await run_in_threadpool(shelf.unpack, name[:120], content)}


@router.post("/plan-files/upload", operation_id="send_plan_file", status_code=201)
async def send_plan_file(
    request: Request, desk: DeskOf, name: str, beside: str = ""
) -> dict[str, Any]:
    """Read a plan file: IFC, DXF, PDF, a picture, or a list of rooms; nothing is kept yet.

    With ``beside`` it belongs to a file that was sent before: another storey of the building, or a
    model of its services.
    """
    content = await request.body()
    plan = await run_in_threadpool(desk.take, name[:120], content, beside)
    return page_plans.plan_file_dict(plan)


@router.get("/plan-files/{plan}", operation_id="get_plan_file")
def get_plan_file(desk: DeskOf, plan: str) -> dict[str, Any]:
    """Return what was read from a plan file."""
    return page_plans.plan_file_dict(desk.find(plan))


@router.get("/plan-files/{plan}/drawing", operation_id="draw_plan_file", response_class=Response)
def draw_plan_file(desk: DeskOf, plan: str) -> Response:
    """Draw what was read from a plan file."""
    report = desk.find(plan).report
    return Response(report.drawing if report else "", media_type="image/svg+xml")


@router.get("/plan-files/{plan}/picture", operation_id="show_plan_file", response_class=Response)
def show_plan_file(desk: DeskOf, plan: str) -> Response:
    """Show a picture that was sent, small enough to be looked at."""
    picture = desk.find(plan).picture
    if picture is None:
        msg = "this plan file is no picture"
        raise TableError(msg, where="plan files", why="it is read as lines", do="see its drawing")
    return Response(picture[0], media_type="image/webp")


@router.post("/plan-files/{plan}/again", operation_id="read_plan_file_again")
def read_plan_file_again(desk: DeskOf, plan: str, body: PlanWishes) -> dict[str, Any]:
    """Read a plan file once more, with what a person says that it does not say."""
    return page_plans.plan_file_dict(desk.again(plan, body.model_dump()))


@router.post("/plan-files/{plan}/keep", operation_id="keep_plan_file", status_code=201)
def keep_plan_file(
    desk: DeskOf, shelf: ShelfOf, plan: str, body: PlanKeep, who: Who
) -> dict[str, Any]:
    """Make a job of a plan file and those sent along with it, or bring one up to date."""
    folder = shelf.path(body.job) if body.job else shelf.free(body.title or "plan")
    told = desk.keep(
        plan,
        folder,
        site=page_plans.site_of(body.title, is_imperial=body.is_imperial),
        rooms={**body.more, plan: body.rooms},
        accept=body.accept,
        who=who,
    )
    return {"job": folder.name, **told}
