"""Readings as taken, each with its verdict, and what the field page said is otherwise."""

from collections.abc import Iterable, Sequence

from soffit.measure.verdict import Verdict
from soffit.model.readings import Reading
from soffit.papers.views import ReadingRow
from soffit.papers.words import hertz
from soffit.work.prove import FIELD_NOTE, report
from soffit.work.whole import Whole

_QUANTITIES = {
    "ear": "by ear",
    "visual": "seen",
    "level dba": "level",
    "sti": "speech transmission index",
}
"""Quantities that people call otherwise than the file."""

_WAYS = {
    "whole": "whole line",
    "out": "onward",
    "in": "back to the amplifier",
    "alone": "alone",
    "": "",
}


def reading_rows(whole: Whole) -> tuple[ReadingRow, ...]:
    """Return every reading that counts, in the order in which they came.

    Parameters
    ----------
    whole
        The job and its states.
    """
    from soffit.job.api import standing

    job = whole.job
    if not job.readings:
        return ()
    verdicts = {verdict.key: verdict for verdict in report(job).verdicts}
    counted = standing(job.readings)
    rows = [_row(reading, verdicts[reading.key]) for reading in counted if reading.key in verdicts]
    return (*rows, *_changes(counted))


def _row(reading: Reading, verdict: Verdict) -> ReadingRow:
    tone = hertz(reading.frequency_hz)
    quantity = _QUANTITIES.get(reading.quantity, reading.quantity)
    what = ", ".join(
        part for part in (quantity, _WAYS[reading.direction], tone, reading.note) if part
    )
    reason = f": {verdict.reasons[0]}" if verdict.reasons and verdict.status != "pass" else ""
    return ReadingRow(
        place=reading.place,
        what=what,
        value_text=verdict.measured,
        expected_text=verdict.expected,
        verdict=f"{verdict.status}{reason}",
        taken_at=reading.taken_at,
        instrument=reading.instrument,
        who=reading.who,
    )


def _changes(readings: Sequence[Reading]) -> Iterable[ReadingRow]:
    """Return what hangs otherwise than planned; ticks stay in the file."""
    for reading in readings:
        if reading.quantity == "setting" and reading.word.startswith(FIELD_NOTE):
            kind, _, value = reading.word.removeprefix(FIELD_NOTE).partition(": ")
            yield ReadingRow(
                place=reading.place,
                what=f"hangs otherwise than planned: {kind}",
                value_text=value,
                verdict=reading.note.partition(".")[0],
                taken_at=reading.taken_at,
                who=reading.who,
            )
