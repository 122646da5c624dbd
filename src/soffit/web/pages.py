"""The sheets of the page: HTML by Jinja2, drawings by the papers' own code."""

from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from soffit import __version__
from soffit.errors import Problem, TableError
from soffit.web.common import DeskOf, PageOf, ShelfOf
from soffit.web.late import Late

router = APIRouter(include_in_schema=False)

SHEETS: Final[tuple[tuple[str, str, str], ...]] = (
    ("survey", "Survey", "rooms, ceilings, what was asked"),
    ("ceiling", "Ceiling", "what hangs where, and how even it is"),
    ("choices", "Choices", "alternatives beside the chosen one"),
    ("lines", "Lines", "order, volts, loss, amplifiers"),
    ("check", "Check", "what is risky, and what cures it"),
    ("papers", "Papers", "print and save"),
    ("prove", "Prove", "readings and verdicts"),
    ("trace", "Trace", "find a fault"),
    ("log", "Log", "who changed what, and undo"),
)

if TYPE_CHECKING:
    from soffit.work import demo, page_sheets
else:
    demo = Late("soffit.work.demo")
    page_sheets = Late("soffit.work.page_sheets")
"""Name in addresses, title and help of every sheet of a job, in the order of the work."""


@cache
def _templates() -> Any:  # noqa: ANN401 a jinja2 Environment
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415 - late

    return Environment(
        loader=FileSystemLoader(str(resources.files("soffit.web") / "templates")),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )


def _page(request: Request, name: str, *, status: int = 200, **values: object) -> HTMLResponse:
    shared = {
        "static": f"/static/{request.app.state.mark}",
        "version": __version__,
        "sheets": SHEETS,
        "job": "",
        "title": "",
        "sheet": "",
        "revision": 0,
        "job_revision": 0,
        "undo": "",
        "redo": "",
        "is_stale": False,
        "is_invented": False,
        "is_imperial": False,
        "has_design": False,
        "rooms": [],
        "room": "",
    }
    text = _templates().get_template(f"{name}.html").render(**{**shared, **values})
    return HTMLResponse(text, status_code=status)


def fault_page(request: Request, status: int, problems: tuple[Problem, ...]) -> HTMLResponse:
    """Return an error as a sheet a person can read.

    Parameters
    ----------
    request
        What was asked for.
    status
        HTTP status.
    problems
        What is wrong.
    """
    return _page(request, "fault", status=status, problems=problems, sheet="fault")


@router.get("/")
def shelf_page(request: Request, shelf: ShelfOf) -> Response:
    """Show the list of jobs, or the job itself where there is only one to show."""
    if shelf.is_single:
        return RedirectResponse(f"/jobs/{shelf.folder.name}/ceiling", status_code=303)
    return _page(
        request,
        "shelf",
        sheet="shelf",
        entries=shelf.entries(),
        demos=demo.demo_names(),
        folder=shelf.folder.name,
    )


@router.get("/plan-files/{plan}")
def plan_file_page(
    request: Request, shelf: ShelfOf, desk: DeskOf, plan: str, job: str = ""
) -> Response:
    """Show what was read from a plan file, to accept or mend."""
    found = desk.find(plan)
    if found.first != plan:
        return RedirectResponse(f"/plan-files/{found.first}", status_code=303)
    return _page(
        request,
        "plan_file",
        sheet="plan_file",
        plans=[
            (page_sheets.plan_file(item), item.report.drawing if item.report else "")
            for item in desk.group(plan)
        ],
        jobs=[entry for entry in shelf.entries() if not entry.problem and not entry.is_put_away],
        is_single=shelf.is_single,
        into=job,
    )


@router.get("/favicon.ico")
def icon(request: Request) -> Response:
    """Send browsers that ask on their own to the page's mark."""
    return RedirectResponse(f"/static/{request.app.state.mark}/mark.svg", status_code=308)


@router.get("/jobs/{job}")
def job_page(job: str) -> Response:
    """Send a job's address to its first sheet."""
    return RedirectResponse(f"/jobs/{job}/ceiling", status_code=303)


@router.get("/jobs/{job}/{sheet}")
def sheet_page(request: Request, page: PageOf, job: str, sheet: str) -> Response:
    """Show one sheet of a job."""
    if sheet not in {name for name, _, _ in SHEETS}:
        msg = f"there is no sheet {sheet!r}"
        raise TableError(
            msg,
            where=request.url.path,
            why=f"the sheets are {', '.join(name for name, _, _ in SHEETS)}",
            do="open one of these",
        )
    query = {str(key): str(value) for key, value in request.query_params.items()}
    values = page_sheets.sheet_values(page, sheet, query)
    return _page(request, sheet, job=job, sheet=sheet, **values)
