"""What all routes share: the shelf of the running page, and who is asking."""

from typing import Annotated
from urllib.parse import unquote

from fastapi import Depends, Header, Request

from soffit.work.page_jobs import Works
from soffit.work.page_plans import PlanDesk
from soffit.work.page_shelf import Shelf
from soffit.work.page_state import PageJob


def _shelf(request: Request) -> Shelf:
    shelf: Shelf = request.app.state.shelf
    return shelf


def _works(request: Request) -> Works:
    works: Works = request.app.state.works
    return works


def _desk(request: Request) -> PlanDesk:
    desk: PlanDesk = request.app.state.desk
    return desk


def _page(job: str, request: Request) -> PageJob:
    return _shelf(request).job(job)


def _who(x_soffit_who: Annotated[str, Header(max_length=400)] = "") -> str:
    return unquote(x_soffit_who)[:80]


ShelfOf = Annotated[Shelf, Depends(_shelf)]
DeskOf = Annotated[PlanDesk, Depends(_desk)]
WorksOf = Annotated[Works, Depends(_works)]
PageOf = Annotated[PageJob, Depends(_page)]
Who = Annotated[str, Depends(_who)]
