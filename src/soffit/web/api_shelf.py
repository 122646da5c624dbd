"""Jobs: list, begin, copy, put away, pack and unpack."""

from typing import Any

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool

from soffit.web.bodies import Demo, NewJob
from soffit.web.common import ShelfOf, Who

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
