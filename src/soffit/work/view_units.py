"""Sentences in the units that the job is measured in."""

import re
from dataclasses import replace
from typing import Final

from soffit.model.findings import Finding
from soffit.papers.views import LineView, TestRow
from soffit.units import FOOT_M, POUND_KG, format_area, format_force, format_length, format_mass

_NUMBER: Final = r"(?<![\w.])(\d+(?:\.\d+)?) "
_BOTH: Final = r"(?! ?\(\d[^)]*(?:ft|in|lb)\b)"
"""Not where the sentence itself gives the other unit in brackets."""

_METRES: Final = re.compile(_NUMBER + r"m(?![²³/\w])" + _BOTH)
_AREAS: Final = re.compile(_NUMBER + r"m²" + _BOTH)
_LOADS: Final = re.compile(_NUMBER + r"kg/m²" + _BOTH)
_MASSES: Final = re.compile(_NUMBER + r"kg(?![/\w])" + _BOTH)
_FORCES: Final = re.compile(_NUMBER + r"N(?![\w-])" + _BOTH)
_AT_ONE_METRE: Final = re.compile(r"(?:at|and) 1$")


def in_job_units(text: str, *, imperial: bool) -> str:
    """Return a sentence in feet, inches, pounds where the job is measured so.

    Parameters
    ----------
    text
        A sentence with quantities such as ``0.51 m`` or ``12.2 kg``. Levels at 1 m keep it: that
        is how the trade states them everywhere.
    imperial
        Whether the job is measured in feet and inches.

    Examples
    --------
    >>> in_job_units("ears every 0.30 m over 40 m²", imperial=True)
    'ears every 11 3/4" over 431 sq ft'
    >>> in_job_units("100 dB at 1 m, a sub of 12.2 kg, 142 N", imperial=True)
    '100 dB at 1 m, a sub of 26.9 lb, 32 lbf'
    """
    if not imperial:
        return text

    def length(found: re.Match[str]) -> str:
        before = text_now[: found.end(1)]
        if _AT_ONE_METRE.search(before):
            return found[0]
        return format_length(float(found[1]), imperial=True)

    psf = POUND_KG / FOOT_M**2
    text_now = _LOADS.sub(lambda found: f"{float(found[1]) / psf:.1f} lb/sq ft", text)
    text_now = _MASSES.sub(lambda found: format_mass(float(found[1]), imperial=True), text_now)
    text_now = _AREAS.sub(lambda found: format_area(float(found[1]), imperial=True), text_now)
    text_now = _FORCES.sub(lambda found: format_force(float(found[1]), imperial=True), text_now)
    return _METRES.sub(length, text_now)


def finding_in_units(item: Finding, *, imperial: bool) -> Finding:
    """Return a finding in the units of the job.

    Parameters
    ----------
    item
        As the checks word it.
    imperial
        Whether the job is measured in feet and inches.
    """
    if not imperial:
        return item
    return replace(
        item,
        what=in_job_units(item.what, imperial=True),
        limit=in_job_units(item.limit, imperial=True),
        do=in_job_units(item.do, imperial=True),
    )


def test_in_units(row: TestRow, *, imperial: bool) -> TestRow:
    """Return a row of the commissioning sheet in the units of the job.

    Parameters
    ----------
    row
        As worked out.
    imperial
        Whether the job is measured in feet and inches.
    """
    if not imperial:
        return row
    return replace(
        row,
        what=in_job_units(row.what, imperial=True),
        note=in_job_units(row.note, imperial=True),
    )


test_in_units.__test__ = False  # type: ignore[attr-defined]  # a test of the trade


def line_in_units(line: LineView, *, imperial: bool) -> LineView:
    """Return a line with its notes in the units of the job.

    Parameters
    ----------
    line
        As worked out.
    imperial
        Whether the job is measured in feet and inches.
    """
    if not imperial:
        return line
    return replace(
        line,
        route_note=in_job_units(line.route_note, imperial=True),
        notes=tuple(in_job_units(note, imperial=True) for note in line.notes),
    )
