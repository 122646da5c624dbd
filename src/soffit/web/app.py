"""The application: routes, errors in one shape, the page's own files."""

import hashlib
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Final, Literal

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles
from starlette.types import Receive, Scope, Send

from soffit import __version__
from soffit.errors import Problem, SoffitError
from soffit.web import api_design, api_prove, api_shelf, api_survey, pages
from soffit.web.faults import body_of, status_of
from soffit.web.guard import App, Guard, Rules
from soffit.work.page_jobs import Works
from soffit.work.page_plans import PlanDesk
from soffit.work.page_shelf import Shelf

_WARM_AFTER_S: Final = 0.8


def _folder(name: str) -> Path:
    return Path(str(resources.files("soffit.web") / name))


@cache
def static_mark() -> str:
    """Return a mark that changes when any of the page's own files does."""
    digest = hashlib.sha256()
    for path in sorted(_folder("static").rglob("*")):
        if path.is_file():
            digest.update(path.name.encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:10]


def make_app(folder: Path, rules: Rules, *, is_warm: bool = False) -> App:
    """Return the page's application behind its guard.

    Parameters
    ----------
    folder
        A job, or a folder of jobs.
    rules
        Who may talk to it.
    is_warm
        Import what is slow to import in the background, so that the first plan comes at once.
    """
    works, desk = Works(), PlanDesk()

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        if is_warm:
            timer = threading.Timer(_WARM_AFTER_S, _warm_up)  # the first page goes first
            timer.daemon = True
            timer.start()
        yield
        works.stop_all()
        desk.close()

    app = FastAPI(
        title="soffit",
        version=__version__,
        description="What the page itself uses. Errors have one shape: error, more, findings.",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=life,
    )
    app.state.shelf = Shelf(folder)
    app.state.works = works
    app.state.desk = desk
    app.state.mark = static_mark()
    _add_errors(app)
    app.add_middleware(_Packed, minimum_size=1200, compresslevel=4)
    for module in (api_shelf, api_design, api_survey, api_prove, pages):
        app.include_router(module.router)
    _add_fonts(app)
    app.mount(f"/static/{static_mark()}", StaticFiles(directory=_folder("static")), name="static")
    return Guard(app, rules)


class _Packed(GZipMiddleware):
    """Pack what goes over a network; a drag on this machine is answered sooner unpacked."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if scope["type"] == "http" and scope["path"].endswith("/drag"):
            client = scope.get("client")
            if client and client[0] in {"127.0.0.1", "::1"}:
                await self.app(scope, receive, send)
                return
        await super().__call__(scope, receive, send)


def _add_fonts(app: FastAPI) -> None:
    """Serve the papers' own faces, cut down to what the page writes."""

    @app.get(f"/static/{static_mark()}/{{weight}}.woff", include_in_schema=False)
    def font(weight: Literal["light", "regular", "semibold"]) -> Response:
        from soffit.web.faces import face  # noqa: PLC0415 - slow to import, asked for once

        return Response(face(weight), media_type="font/woff")


def _wants_html(request: Request) -> bool:
    return not request.url.path.startswith("/api/") and request.method == "GET"


def _told(request: Request, status: int, problems: tuple[Problem, ...]) -> Response:
    if _wants_html(request):
        return pages.fault_page(request, status, problems)
    return JSONResponse(body_of(problems), status_code=status)


def _add_errors(app: FastAPI) -> None:
    @app.exception_handler(SoffitError)
    async def _known(request: Request, error: SoffitError) -> Response:
        return _told(request, status_of(error), error.problems)

    @app.exception_handler(RequestValidationError)
    async def _misread(request: Request, error: RequestValidationError) -> Response:
        problems = tuple(
            Problem(
                what=str(item.get("msg", "a value is wrong")),
                where=".".join(str(part) for part in item.get("loc", ())),
                why=f"it was {str(item.get('input'))[:80]!r}",
                do="see /api/openapi.json for what this address takes",
            )
            for item in error.errors()[:20]
        )
        return _told(request, 422, problems)

    @app.exception_handler(HTTPException)
    async def _plain(request: Request, error: HTTPException) -> Response:
        problem = Problem(
            what=str(error.detail),
            where=request.url.path,
            why=f"the server answers {error.status_code}",
            do="go back to the list of jobs",
        )
        return _told(request, error.status_code, (problem,))

    @app.exception_handler(Exception)
    async def _bug(request: Request, error: Exception) -> Response:
        problem = Problem(
            what=f"soffit stumbled: {type(error).__name__}: {error}",
            where=request.url.path,
            why="this is our bug, not your job; what was saved is safe",
            do="report it with what you did",
        )
        return _told(request, 500, (problem,))


def _warm_up() -> None:
    import soffit.job.api  # noqa: PLC0415 - only to have it at hand
    import soffit.work.make_papers  # noqa: PLC0415 - only to have it at hand
    import soffit.work.page_sheets  # noqa: PLC0415 - only to have it at hand
    import soffit.work.prove  # noqa: F401, PLC0415 - only to have it at hand
