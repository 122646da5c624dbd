"""Readings and hunts on the page: what to expect, what was read, what it means, what to do next."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from soffit.errors import JobError, Problem
from soffit.model.readings import Reading
from soffit.papers.views import TestRow
from soffit.work.page_state import PageJob, Snapshot

_KEY: Final = re.compile(r"^[A-Za-z0-9_-]{6,64}$")
_TIME: Final = re.compile(r"^\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:\d\d)?$")
_MOST_TEXT: Final = 200


def sheet_dict(now: Snapshot) -> dict[str, Any]:
    """Return the commissioning sheet with what has been read so far.

    Parameters
    ----------
    now
        The job; it has a design.
    """
    from soffit.work.prove import report
    from soffit.work.view_tests import commissioning_rows

    judged = report(now.job)
    verdicts = {verdict.key: verdict for verdict in judged.verdicts}
    read: dict[Place, list[dict[str, Any]]] = {}
    for reading in _standing(now.job.readings):
        verdict = verdicts.get(reading.key)
        read.setdefault(_place_of(reading), []).append(
            {
                "key": reading.key,
                "measured": verdict.measured if verdict else reading.word,
                "status": verdict.status if verdict else "noted",
                "taken_at": reading.taken_at,
                "who": reading.who,
            }
        )
    rows = [_row_dict(row, read) for row in commissioning_rows(now.whole)]
    return {
        "revision": now.job.design.revision,
        "rows": rows,
        "read": sum(bool(row["read"]) for row in rows),
        "lines": [line.label for line in now.job.design.lines],
        **report_dict(judged),
    }


def _standing(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    from soffit.job.api import standing

    return standing(readings)


Place = tuple[str, str, str]


def _place_of(reading: Reading) -> Place:
    """Return which row of the sheet a reading answers; each setting of a line has its own."""
    if reading.quantity == "setting":
        from soffit.measure.gain_sheet import parse_setting

        return (reading.place.casefold(), "setting", parse_setting(reading.word)[0] or "")
    return (reading.place_key, reading.quantity, reading.direction)


def _row_dict(row: TestRow, read: Mapping[Place, list[dict[str, Any]]]) -> dict[str, Any]:
    from soffit.measure.gain_sheet import parse_setting

    names = (
        "step", "phase", "place", "what", "quantity", "place_key", "expected", "low", "high",
        "unit", "expected_text", "drive", "frequency_hz", "direction", "room_label", "note",
    )  # fmt: skip
    body = {name: getattr(row, name) for name in names}
    where: Place = (row.place_key, row.quantity, row.direction)
    body["setting"] = ""
    if row.quantity == "setting":
        body["setting"] = parse_setting(row.expected_text)[0] or ""
        where = (row.place.casefold(), "setting", body["setting"])
    body["read"] = read.get(where, [])
    return body


def report_dict(judged: Any) -> dict[str, Any]:  # noqa: ANN401 a ProveReport; its module stays unimported
    """Return verdicts with what was read, the newest first.

    Parameters
    ----------
    judged
        As ``prove`` reports.
    """
    body: dict[str, Any] = judged.as_dict()
    body["verdicts"] = body["verdicts"][::-1]
    body["line_words"] = body.pop("lines")
    return body


def readings_of(entries: Sequence[Mapping[str, Any]], *, who: str) -> list[Reading]:
    """Read entries of the page, each with the key that the page gave it once and for all.

    Parameters
    ----------
    entries
        ``key``, ``text`` and ``taken_at`` of each; ``instrument`` and ``drive`` where told.
    who
        Who read them.

    Raises
    ------
    JobError
        With every entry that cannot be used.
    """
    from soffit.measure.entry import parse_entry

    found: list[Reading] = []
    problems: list[Problem] = []
    for entry in entries:
        text, key = str(entry.get("text", ""))[:_MOST_TEXT], str(entry.get("key", ""))
        taken_at = str(entry.get("taken_at", ""))
        if not _KEY.match(key) or not _TIME.match(taken_at):
            problems.append(
                Problem(
                    what=f"{text!r} came without a proper key or time",
                    where="readings key, taken_at",
                    why="a key of 6 to 64 letters and digits and an ISO 8601 time belong to each",
                    do="load the page again and send it once more",
                )
            )
            continue
        try:
            found.append(
                parse_entry(
                    text,
                    key=key,
                    taken_at=taken_at,
                    who=who,
                    instrument=str(entry.get("instrument", ""))[:_MOST_TEXT],
                    drive=str(entry.get("drive", ""))[:_MOST_TEXT],
                )
            )
        except JobError as error:
            problems += error.problems
    if problems:
        raise JobError.of(problems)
    return found


def add_entries(
    page: PageJob,
    entries: Sequence[Mapping[str, Any]],
    *,
    who: str,
    is_sure: bool = False,
    is_log: bool = False,
) -> dict[str, Any]:
    """Keep readings of the page; the same one sent twice is kept once.

    Parameters
    ----------
    page
        The job.
    entries
        As :func:`readings_of` reads them.
    who
        Who read them.
    is_sure
        Keep odd ones, too.
    is_log
        They are the hand-over log of the sound line.
    """
    from soffit.work.prove import add_readings

    readings = readings_of(entries, who=who)
    known = {reading.key for reading in page.job().readings}
    judged = add_readings(page.folder, readings, is_sure=is_sure, is_log=is_log)
    body = report_dict(judged)
    doubted = {doubt["key"] for doubt in body["doubts"]}
    body["kept"] = [item.key for item in readings if item.key not in doubted]
    body["known"] = [item.key for item in readings if item.key in known]
    return body


def strike(page: PageJob, key: str, *, who: str) -> dict[str, Any]:
    """Strike a reading out; it stays in the file.

    Parameters
    ----------
    page
        The job.
    key
        Of the reading.
    who
        Who strikes it.
    """
    from soffit.work.prove import strike_reading

    return report_dict(strike_reading(page.folder, key, who=who))


def advice(
    page: PageJob, line: str, *, said: Sequence[str] = (), can_listen: bool = True
) -> dict[str, Any]:
    """Return what is known of a line's fault and what to do next.

    Parameters
    ----------
    page
        The job.
    line
        Label or key of the line.
    said
        What people say, by id.
    can_listen
        Whether noise may be put on the line.
    """
    from soffit.work.trace import advice_dict, book_of_job

    book = book_of_job(page.folder, line)
    book.said = tuple(said)
    book.can_listen = can_listen
    body = advice_dict(book)
    body["places"] = [
        {"key": place.key, "label": place.label, "is_speaker": index in set(book.plan.speakers)}
        for index, place in enumerate(book.plan.places)
    ]
    body["taken"] = [
        {
            "key": reading.key,
            "text": _words(reading),
            "taken_at": reading.taken_at,
            "who": reading.who,
        }
        for reading in reversed(book.standing())
        if reading.note != _log_note()
    ]
    return body


def _log_note() -> str:
    from soffit.work.trace_book import LOG_NOTE

    return LOG_NOTE


def _words(reading: Reading) -> str:
    from soffit.measure.entry import value_text

    value = value_text(reading)
    return " ".join(part for part in (reading.place, reading.direction, value) if part)


def hunt_entry(
    page: PageJob, line: str, entry: Mapping[str, Any], *, who: str, is_sure: bool = False
) -> list[dict[str, Any]]:
    """Take a reading, a mend or the beginning of a hunt in; ask about an odd one first.

    Parameters
    ----------
    page
        The job.
    line
        Label or key of the line.
    entry
        ``key``, ``taken_at`` and ``text``: a reading, ``mended PLACE`` or ``begin``.
    who
        Who did it.
    is_sure
        Keep an odd one, too, where it can be used at all.

    Returns
    -------
    list of dict
        What is asked about it, as ``soffit trace`` asks; it is kept where nothing is.
    """
    from soffit.job.api import append_readings
    from soffit.work.prove import now_text
    from soffit.work.trace import book_of_job

    book = book_of_job(page.folder, line)
    reading = _hunt_reading(book.plan.label, entry, who=who)
    if any(known.key == reading.key for known in page.job().readings):
        return []  # it was sent twice: the first has arrived
    before = len(book.readings)
    if reading.quantity == "visual" and reading.word in _milestones():
        book.take(reading)
        doubts: tuple[Any, ...] = ()
    else:
        _, doubts = book.take_clear([reading], now=now_text(), is_sure=is_sure)
    revision = page.job().design.revision
    append_readings(
        page.folder, [replace(item, revision=revision) for item in book.readings[before:]]
    )
    return [doubt.as_dict() for doubt in doubts]


def _milestones() -> frozenset[str]:
    from soffit.work.trace_book import BEGIN, MENDED

    return frozenset({BEGIN, MENDED})


def _hunt_reading(line: str, entry: Mapping[str, Any], *, who: str) -> Reading:
    from soffit.work.trace_book import BEGIN, MENDED

    text = str(entry.get("text", "")).strip()
    head, _, rest = text.partition(" ")
    if head.casefold() not in {"begin", MENDED}:
        return readings_of([entry], who=who)[0]
    key, taken_at = str(entry.get("key", "")), str(entry.get("taken_at", ""))
    if not _KEY.match(key) or not _TIME.match(taken_at):
        readings_of([entry], who=who)
    is_begin = head.casefold() == "begin"
    return Reading(
        key=key,
        place_key="",
        place=line if is_begin else rest.strip() or "rack",
        quantity="visual",
        word=BEGIN if is_begin else MENDED,
        taken_at=taken_at,
        who=who,
    )


def sayings() -> list[dict[str, Any]]:
    """Return what people say of a faulty line, with first suspicions."""
    from soffit.measure.symptoms import symptoms

    return [dict(entry.as_dict()) for entry in symptoms().values()]


def first_hour_dict() -> dict[str, Any]:
    """Return the sheet for a line that nobody documented."""
    from soffit.work import trace

    return {
        "steps": list(trace.first_hour()),
        "life_safety": trace.LIFE_SAFETY,
        "caution": trace.CAUTION,
    }
