"""Readings, verdicts, and the hunt for a fault."""

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Query

from soffit.web.bodies import HuntEntry, Readings
from soffit.web.common import PageOf, Who
from soffit.web.late import Late

if TYPE_CHECKING:
    from soffit.work import page_prove
else:
    page_prove = Late("soffit.work.page_prove")

router = APIRouter(prefix="/api", tags=["prove"])


@router.get("/jobs/{job}/readings", operation_id="list_readings")
def list_readings(page: PageOf) -> dict[str, Any]:
    """Return the commissioning sheet with what was read, and verdicts."""
    return page_prove.sheet_dict(page.need_design())


@router.post("/jobs/{job}/readings", operation_id="add_readings")
def add_readings(page: PageOf, body: Readings, who: Who) -> dict[str, Any]:
    """Keep readings; the same one sent twice is kept once."""
    return page_prove.add_entries(
        page,
        [entry.model_dump() for entry in body.entries],
        who=who,
        is_sure=body.is_sure,
        is_log=body.is_log,
    )


@router.post("/jobs/{job}/readings/{key}/strike", operation_id="strike_reading")
def strike_reading(page: PageOf, key: str, who: Who) -> dict[str, Any]:
    """Strike a reading out; it stays in the file."""
    return page_prove.strike(page, key, who=who)


@router.get("/jobs/{job}/trace", operation_id="get_advice")
def get_advice(
    page: PageOf,
    line: str,
    said: Annotated[list[str] | None, Query()] = None,
    can_listen: bool = True,
) -> dict[str, Any]:
    """Return what is known of a line's fault and what to do next."""
    return page_prove.advice(page, line, said=said or (), can_listen=can_listen)


@router.post("/jobs/{job}/trace", operation_id="take_step")
def take_step(page: PageOf, body: HuntEntry, who: Who) -> dict[str, Any]:
    """Take a reading, a mend or the beginning of a hunt in, and answer with what to do next."""
    doubts = page_prove.hunt_entry(
        page, body.line, body.entry.model_dump(), who=who, is_sure=body.is_sure
    )
    told = page_prove.advice(page, body.line, said=body.said, can_listen=body.can_listen)
    return {**told, "doubts": doubts}


@router.get("/sayings", operation_id="list_sayings")
def list_sayings() -> dict[str, Any]:
    """Return what people say of a faulty line."""
    return {"said": page_prove.sayings()}


@router.get("/first-hour", operation_id="get_first_hour")
def get_first_hour() -> dict[str, Any]:
    """Return the sheet for a line that nobody documented."""
    return page_prove.first_hour_dict()
