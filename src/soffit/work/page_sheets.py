"""What the server writes into each sheet of the page before any script runs."""

import json
from collections.abc import Mapping
from typing import Any

from soffit.errors import SoffitError
from soffit.work import page_edit, page_lines, page_plan, page_prove
from soffit.work.page_plans import SentPlan
from soffit.work.page_state import PageJob, Snapshot


def plan_file(plan: SentPlan) -> dict[str, Any]:
    """Return what was read from a plan file.

    Parameters
    ----------
    plan
        The plan file.
    """
    from soffit.work.page_plans import plan_file_dict

    return plan_file_dict(plan)


def sheet_values(page: PageJob, sheet: str, query: Mapping[str, str]) -> dict[str, Any]:
    """Return the values of one sheet's template.

    Parameters
    ----------
    page
        The job.
    sheet
        Name of the sheet.
    query
        What the address asks for, such as a room or a line.
    """
    now = page.now()
    history = page_edit.history_dict(page)
    survey, design = now.job.survey, now.job.design
    rooms = [{"key": room.key, "label": room.label} for room in survey.rooms]
    keys = [room.key for room in survey.rooms]
    wanted = query.get("room", "")
    values: dict[str, Any] = {
        "title": survey.site.name,
        "revision": design.revision,
        "job_revision": now.job.job_revision,
        "undo": history["undo"],
        "redo": history["redo"],
        "is_stale": bool(design.speakers) and design.job_hash != now.job.job_hash,
        "is_invented": survey.site.is_invented,
        "is_imperial": survey.site.is_imperial,
        "has_design": bool(design.speakers),
        "rooms": rooms,
        "room": wanted if wanted in keys else (keys[0] if keys else ""),
    }
    maker = _MAKERS.get(sheet)
    return {**values, **(maker(page, now, values, query) if maker else {})}


def _data(body: Any) -> str:  # noqa: ANN401 plain data
    """Return plain data for a script element: no tag can begin or end in it."""
    text = json.dumps(body, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _ceiling(
    page: PageJob, now: Snapshot, values: Mapping[str, Any], query: Mapping[str, str]
) -> dict[str, Any]:
    from soffit.papers.maps import band_colours
    from soffit.work.page_live import MEASURES, WORDS

    plan = page_plan.plan_dict(now, values["room"]) if values["room"] else None
    site, catalogue = now.job.survey.site, now.job.catalogue
    room = now.job.survey.room(values["room"]) if values["room"] else None
    data = {
        "plan": plan,
        "colours": [list(colour) for colour in band_colours(14)],
        "is_imperial": site.is_imperial,
        "measure": room.brief.evenness_measure if room else "",
        "evenness_db": room.brief.evenness_db if room else 3.0,
        "share": room.brief.evenness_share if room else 0.95,
        "pick": query.get("pick", ""),
        "underlays": underlays(page, room.storey_key) if room else [],
        "types": [
            {
                "id": item.id,
                "name": item.name,
                "taps": [f"{tap.power_w:g}W" for tap in item.taps_at(site.line_voltage_v)],
            }
            for item in catalogue.speaker_types
            if item.taps_at(site.line_voltage_v)
        ],
    }
    drawn = {
        item.kind
        for drawn_room in (now.view.rooms if now.job.design.speakers else ())
        if drawn_room.key == values["room"]
        for item in drawn_room.maps
    }
    lying = data["underlays"]
    names = [*MEASURES, *(kind for kind in ("sti", "low end") if kind in drawn)]
    return {
        "plan": plan,
        "underlays": lying,
        "measures": [(name, WORDS.get(name, name)) for name in names],
        "data": _data(data),
    }


def _choices(
    page: PageJob, now: Snapshot, values: Mapping[str, Any], query: Mapping[str, str]
) -> dict[str, Any]:
    del page, query
    fronts = {entry["room"]: entry for entry in page_edit.options_dict(now)}
    front = fronts.get(values["room"])
    chart = page_lines.front_drawing(now, values["room"]) if front else ""
    return {"front": front, "chart": chart}


def _lines(
    page: PageJob, now: Snapshot, values: Mapping[str, Any], query: Mapping[str, str]
) -> dict[str, Any]:
    del page, values
    if not now.job.design.lines:
        return {"lines": [], "line": None, "racks": [], "drawings": [], "data": "{}"}
    body = page_lines.lines_dict(now)
    wanted = query.get("line", "")
    line = next((item for item in body["lines"] if wanted in {item["key"], item["label"]}), None)
    line = line or body["lines"][0]
    return {
        "lines": body["lines"],
        "line": line,
        "racks": body["racks"],
        "drawings": page_lines.line_drawings(now, line["key"]),
        "data": _data({"line": line}),
    }


def _check(
    page: PageJob, now: Snapshot, values: Mapping[str, Any], query: Mapping[str, str]
) -> dict[str, Any]:
    del page, values, query
    from soffit.model.findings import DEFER
    from soffit.work.summary import finding_dict

    rows = []
    for item in now.findings:
        row = finding_dict(item)
        row["do"] = item.do.removesuffix(DEFER).strip()
        row["one_click"] = [page_edit.can_mend(mend) for mend in item.mends]
        row["place_link"] = _place_link(now, item.place_key, item.room_key)
        rows.append(row)
    counts = {
        name: sum(row["severity"] == name for row in rows) for name in ("stop", "warn", "note")
    }
    return {"findings": rows, "counts": counts, "defer": DEFER, "data": _data({"findings": rows})}


def _place_link(now: Snapshot, key: str, room_key: str | None) -> str:
    """Return the part of an address at which a finding's place is seen."""
    rooms = {room.key for room in now.job.survey.rooms}
    for speaker in now.job.design.speakers:
        if speaker.key == key:
            return f"ceiling?room={speaker.room_key}&pick={speaker.key}"
    for line in now.job.design.lines:
        parts = {line.key, *(run.key for run in line.runs), *(joint.key for joint in line.joints)}
        if key in parts:
            return f"lines?line={line.key}"
    if key in rooms:
        return f"ceiling?room={key}"
    if room_key in rooms:
        return f"ceiling?room={room_key}"
    return ""


def _papers(
    page: PageJob, now: Snapshot, values: Mapping[str, Any], query: Mapping[str, str]
) -> dict[str, Any]:
    del now, values, query
    return page_lines.papers_dict(page)


def _prove(
    page: PageJob, now: Snapshot, values: Mapping[str, Any], query: Mapping[str, str]
) -> dict[str, Any]:
    del page, values
    if not now.job.design.lines:
        return {"body": None, "data": "{}", "line": ""}
    body = page_prove.sheet_dict(now)
    labels = body["lines"]
    wanted = query.get("line", "")
    return {
        "body": body,
        "line": wanted if wanted in labels else "",
        "data": _data(body),
    }


def _trace(
    page: PageJob, now: Snapshot, values: Mapping[str, Any], query: Mapping[str, str]
) -> dict[str, Any]:
    del values
    labels = [line.label for line in now.job.design.lines]
    wanted = query.get("line", "")
    line = wanted if wanted in labels else (labels[0] if labels else "")
    problem = ""
    advice: dict[str, Any] | None = None
    if line:
        try:
            advice = page_prove.advice(page, line)
        except SoffitError as error:
            problem = f"{error.problems[0].what}: {error.problems[0].why}"
    return {
        "labels": labels,
        "line": line,
        "advice": advice,
        "problem": problem,
        "said": page_prove.sayings(),
        "first_hour": page_prove.first_hour_dict(),
        "data": _data({"line": line, "advice": advice}),
    }


def _survey(
    page: PageJob, now: Snapshot, values: Mapping[str, Any], query: Mapping[str, str]
) -> dict[str, Any]:
    del query
    from soffit.work.page_survey import overview, storey_of, survey_dict

    body = survey_dict(page)
    storey = storey_of(now, values["room"])
    body["underlays"] = underlays(page, storey)
    boxes = [item["box"] for item in body["underlays"]]
    drawing = overview(now, storey, boxes)
    place = _data({name: value for name, value in drawing.items() if name != "drawing"})
    return {
        "body": body,
        "drawing": drawing,
        "underlays": body["underlays"],
        "data": _data(body),
        "place": place,
    }


def underlays(page: PageJob, storey: str) -> list[dict[str, Any]]:
    """Return what rooms of a storey can be drawn on, without the lines and pictures themselves.

    Parameters
    ----------
    page
        The job.
    storey
        Key of the storey.
    """
    items = page.underlays.items() if page.underlays is not None else ()
    return [item.as_dict() for item in items if item.storey in {"", storey}]


def _log(
    page: PageJob, now: Snapshot, values: Mapping[str, Any], query: Mapping[str, str]
) -> dict[str, Any]:
    del now, values, query
    return {"entries": page_edit.history_dict(page)["entries"]}


_MAKERS = {
    "survey": _survey,
    "ceiling": _ceiling,
    "choices": _choices,
    "lines": _lines,
    "check": _check,
    "papers": _papers,
    "prove": _prove,
    "trace": _trace,
    "log": _log,
}
