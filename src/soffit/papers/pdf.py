"""Compile a pack to PDF/A-2b, tagged, with fonts from the package and a fixed date."""

import datetime as dt
import functools
import json
from collections.abc import Mapping
from importlib import resources
from typing import Any

from soffit.errors import DomainError
from soffit.papers import fonts


@functools.cache
def _fonts() -> Any:  # noqa: ANN401 - the compiler brings no types
    import typst  # noqa: PLC0415 - only PDF packs need the compiler

    return typst.Fonts(
        include_system_fonts=False,
        include_embedded_fonts=False,
        font_paths=[str(fonts.folder())],
    )


def timestamp(date: str) -> int:
    """Return the seconds of a revision's date, noon universal time; none gives 2000-01-01.

    Parameters
    ----------
    date
        ISO 8601; a time of day is ignored.
    """
    day = dt.date.fromisoformat(date[:10]) if date else dt.date(2000, 1, 1)
    noon = dt.datetime.combine(day, dt.time(12), tzinfo=dt.UTC)
    return int(noon.timestamp())


def compile_pdf(data: Mapping[str, object], *, template: str = "pack.typ", date: str) -> bytes:
    """Return a pack as PDF.

    Parameters
    ----------
    data
        What the template lays out.
    template
        Its file among the package's templates.
    date
        Date of the revision, the only date in the file.

    Returns
    -------
    bytes
        PDF/A-2b, tagged; same data, same bytes.

    Raises
    ------
    DomainError
        If the layout compiler refuses or warns: a paper is never silently incomplete.
    """
    import typst  # noqa: PLC0415 - only PDF packs need the compiler

    source = (resources.files("soffit.papers") / "templates" / template).read_bytes()
    pdf, warnings = typst.compile_with_warnings(
        source,
        font_paths=_fonts(),
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
        pdf_standards="a-2b",
        timestamp=timestamp(date),
        format="pdf",
    )
    if warnings:
        msg = f"the layout compiler warns: {warnings[0].message}"
        raise DomainError(
            msg,
            where=f"papers/templates/{template}",
            why="; ".join(str(warning.message) for warning in warnings),
            do="report this with the job that caused it",
        )
    # said by default anyway (ISO 32000-1, table 321); some viewers warn where it is said in words
    return bytes(pdf).replace(b"/Suspects false", b" " * len(b"/Suspects false"), 1)
