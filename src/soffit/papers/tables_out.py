"""Schedule, cable, material and findings as tables: CSV and XLSX, the same bytes every time."""

import csv
import datetime as dt
import io
import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from soffit.papers.views import JobView, MeterBand
from soffit.units import FOOT_M, POUND_KG

Cell = str | float | int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One sheet: names of columns, rows, and the columns whose sum is asked for."""

    name: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    totals: tuple[int, ...] = ()
    products: tuple[tuple[int, int, int], ...] = ()


def tables(view: JobView) -> tuple[Table, ...]:
    """Return all tables of a job.

    Parameters
    ----------
    view
        The job.
    """
    return (_schedule(view), _lines(view), _cables(view), _materials(view), _findings(view))


def _schedule(view: JobView) -> Table:
    feet = view.title.is_imperial
    unit = FOOT_M if feet else 1.0
    rows = tuple(
        (
            item.label,
            item.line_label,
            item.order,
            item.room_label,
            item.type_name,
            item.tile_text or item.place_text,
            item.tap_w,
            item.tap_mark,
            round(item.voltage_v, 2),
            round(item.loss_db, 3),
            round(item.delivered_w, 2),
            round(item.mass_kg / POUND_KG if feet else item.mass_kg, 2),
            round(item.position[0] / unit, 3),
            round(item.position[1] / unit, 3),
            item.state,
            item.key,
        )
        for item in view.speakers
    )
    head = (
        "No.",
        "Line",
        "Order",
        "Room",
        "Type",
        "Place",
        "Tap W",
        "Tap mark",
        "Volts",
        "Loss dB",
        "Arrives W",
        "Mass lb" if feet else "Mass kg",
        "x ft" if feet else "x m",
        "y ft" if feet else "y m",
        "State",
        "Key",
    )
    return Table(name="Schedule", head=head, rows=rows, totals=(6, 10, 11))


def _lines(view: JobView) -> Table:
    feet = view.title.is_imperial
    rows = tuple(
        (
            item.label,
            item.title,
            item.channel_text,
            round(item.voltage_v, 2),
            round(item.load_w, 2),
            round(item.drawn_w, 2),
            round(item.impedance_ohm, 3),
            *_band(item.meter),
            round(item.worst_loss_db, 3),
            item.worst_label,
            round(item.length_m / FOOT_M if feet else item.length_m, 2),
            item.cable_text,
        )
        for item in view.lines
    )
    head = (
        "Line",
        "Serves",
        "Fed from",
        "Line V",
        "Taps W",
        "Drawn W",
        "Ohms by taps",
        "Meter ohms 1 kHz",
        "least",
        "most",
        "Worst loss dB",
        "at",
        "Cable ft" if feet else "Cable m",
        "Cable",
    )
    return Table(name="Lines", head=head, rows=rows, totals=(4, 5, 12))


def _band(meter: MeterBand | None) -> tuple[float | str, float | str, float | str]:
    if meter is None:
        return ("", "", "")
    return (round(meter.middle_ohm, 1), round(meter.low_ohm, 1), round(meter.high_ohm, 1))


def _cables(view: JobView) -> Table:
    feet = view.title.is_imperial
    unit = FOOT_M if feet else 1.0
    rows = tuple(
        (
            row.run_label,
            row.line_label,
            row.from_label,
            row.to_label,
            row.cable,
            row.colours,
            round(row.length_m / unit, 2),
            math.ceil(row.cut_m / unit - 1e-6) if feet else round(row.cut_m, 2),
            row.note,
        )
        for row in view.cables
    )
    name = "ft" if feet else "m"
    head = ("Run", "Line", "From", "To", "Cable", "Cores", f"Route {name}", f"Cut {name}", "Note")
    return Table(name="Cable", head=head, rows=rows, totals=(6, 7))


def _materials(view: JobView) -> Table:
    rows = tuple(
        (
            row.section,
            row.item,
            row.type_id,
            row.quantity,
            row.unit,
            row.price_each,
            None if row.price_each is None else round(row.quantity * row.price_each, 2),
            ". ".join(part for part in (row.note, row.source) if part and part != "design"),
        )
        for row in view.materials
    )
    head = ("Section", "Item", "Type", "Quantity", "Unit", "Price each", "Price", "Note")
    return Table(name="Material", head=head, rows=rows, totals=(6,), products=((6, 3, 5),))


def _findings(view: JobView) -> Table:
    rows = tuple(
        (
            item.code,
            item.severity,
            item.place,
            item.what,
            item.limit,
            item.limit_source,
            item.do,
            item.accepted_by,
        )
        for item in view.findings
    )
    head = ("Code", "Severity", "Place", "What", "Limit", "Source", "Do", "Accepted by")
    return Table(name="Findings", head=head, rows=rows)


def write_csv(table: Table) -> str:
    """Return a table as CSV (RFC 4180): comma, quotes where needed, CRLF.

    Parameters
    ----------
    table
        Any of :func:`tables`.
    """
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(table.head)
    writer.writerows([["" if cell is None else cell for cell in row] for row in table.rows])
    return stream.getvalue()


_WIDEST: Final = 34
_WRAP: Final = 30
_ROW_PT: Final = 15.0
_VERY_LONG: Final = 120
"""Widest column, and the length from which a cell is set in several lines. [characters]"""


def write_xlsx(view: JobView) -> bytes:
    """Return all tables as a workbook: frozen heads, filters, totals as formulas, set for print.

    Parameters
    ----------
    view
        The job.

    Returns
    -------
    bytes
        The workbook, dated by the revision; same job, same bytes.
    """
    book, stream, formats = new_workbook(view)
    for table in tables(view):
        _sheet(book, table, formats, view)
    book.close()
    return stream.getvalue()


def new_workbook(view: JobView) -> tuple[Any, io.BytesIO, dict[str, Any]]:
    """Return an empty workbook dated by the revision, its stream and its formats.

    Parameters
    ----------
    view
        The job.
    """
    import xlsxwriter  # noqa: PLC0415 - only workbooks need it

    stream = io.BytesIO()
    book = xlsxwriter.Workbook(
        stream, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    )
    title = view.title
    day = dt.date.fromisoformat(title.date[:10]) if title.date else dt.date(2000, 1, 1)
    book.set_properties(
        {
            "title": title.job,
            "subject": f"revision {title.revision}",
            "author": title.made_with,
            "created": dt.datetime.combine(day, dt.time(12)),
        }
    )
    formats = {
        "head": book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}),
        "total": book.add_format({"bold": True, "top": 1}),
        "body": book.add_format({"valign": "top"}),
        "text": book.add_format({"valign": "top", "align": "left", "indent": 1}),
        "long": book.add_format({"valign": "top", "align": "left", "indent": 1, "text_wrap": True}),
        "one": book.add_format({"valign": "top", "num_format": "0.0"}),
        "two": book.add_format({"valign": "top", "num_format": "0.00"}),
        "three": book.add_format({"valign": "top", "num_format": "0.000"}),
        "hours": book.add_format({"valign": "top", "num_format": "0.000;-0.000;"}),
        "total one": book.add_format({"bold": True, "top": 1, "num_format": "0.0"}),
        "total two": book.add_format({"bold": True, "top": 1, "num_format": "0.00"}),
        "total three": book.add_format({"bold": True, "top": 1, "num_format": "0.000"}),
    }
    return book, stream, formats


def _sheet(book: Any, table: Table, formats: dict[str, Any], view: JobView) -> None:  # noqa: ANN401 - the library brings no types
    sheet = book.add_worksheet(table.name)
    digits = [_digits(table, column) for column in range(len(table.head))]
    for column, name in enumerate(table.head):
        sheet.write_string(0, column, name, formats["head"])
        sheet.set_column(column, column, _width(table, column))
    widths = [_width(table, column) for column in range(len(table.head))]
    set_height(sheet, 0, table.head, widths, is_head=True)
    for number, row in enumerate(table.rows, 1):
        set_height(sheet, number, row, widths)
    _write_rows(sheet, table, formats, digits)
    last = len(table.rows)
    if table.totals and last:
        sheet.write_string(last + 1, 0, "Total", formats["total"])
        for column in table.totals:
            letter = _letter(column)
            value = sum(float(row[column] or 0.0) for row in table.rows)
            formula = f"=SUM({letter}2:{letter}{last + 1})"
            total = formats[f"total {digits[column]}".strip()]
            sheet.write_formula(last + 1, column, formula, total, round(value, 6))
    sheet.freeze_panes(1, 1)
    if last:
        sheet.autofilter(0, 0, last, len(table.head) - 1)
    print_setup(sheet, view, table.name, rows=0)


def _write_rows(
    sheet: Any,  # noqa: ANN401 - the library brings no types
    table: Table,
    formats: dict[str, Any],
    digits: Sequence[str],
) -> None:
    products = {target: (left, right) for target, left, right in table.products}
    for number, row in enumerate(table.rows, 1):
        for column, cell in enumerate(row):
            if cell is None:
                continue
            if column in products:
                left, right = (_letter(part) for part in products[column])
                formula = f"={left}{number + 1}*{right}{number + 1}"
                sheet.write_formula(number, column, formula, formats["two"], cell)
            elif isinstance(cell, str):
                kind = "long" if len(cell) > _WRAP else "text" if column else "body"
                sheet.write_string(number, column, cell, formats[kind])
            else:
                sheet.write_number(number, column, cell, formats[digits[column] or "body"])


def set_height(
    sheet: Any,  # noqa: ANN401 - the library brings no types
    number: int,
    row: Sequence[Cell],
    widths: Sequence[float],
    *,
    is_head: bool = False,
) -> None:
    """Make a row as high as its longest cell runs; office programs do not all do so themselves.

    Parameters
    ----------
    sheet
        The worksheet.
    number
        Number of the row, from 0.
    row
        Its cells.
    widths
        Widths of the columns. [characters]
    is_head
        Whether short cells wrap, too.
    """
    lines = [
        len(textwrap.wrap(cell, max(int(width) - 2, 4)))
        for cell, width in zip(row, widths, strict=True)
        if isinstance(cell, str) and (is_head or len(cell) > _WRAP)
    ]
    sheet.set_row(number, _ROW_PT * max(lines, default=1))


def print_setup(sheet: Any, view: JobView, name: str, *, rows: int) -> None:  # noqa: ANN401 - the library brings no types
    """Set a sheet up for print: landscape, one page wide, head repeated, revision at the foot.

    Parameters
    ----------
    sheet
        The worksheet.
    view
        The job.
    name
        What it is, for the foot.
    rows
        Number of the row that is repeated, from 0.
    """
    title = view.title
    sheet.set_landscape()
    sheet.set_paper(9 if title.paper in {"a4", "a3"} else 1)
    sheet.set_margins(left=0.4, right=0.4, top=0.7, bottom=0.7)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(rows)
    job = title.job.replace("&", "&&")[:120]
    note = "invented example, " if title.is_invented else ""
    sheet.set_header(f"&L&B{job}&R{name}")
    sheet.set_footer(f"&L{note}revision {title.revision} of {title.date}&R&P of &N")


def _digits(table: Table, column: int) -> str:
    """Return the name of the number format that shows every value of a column in full."""
    values = [row[column] for row in table.rows if isinstance(row[column], float)]
    most = max((len(f"{value:.3f}".rstrip("0").partition(".")[2]) for value in values), default=0)
    return ("", "one", "two", "three")[most]


def _width(table: Table, column: int) -> float:
    cells = [str(row[column] or "") for row in table.rows]
    longest = max([len(cell) for cell in cells], default=0)
    head = max(len(word) for word in table.head[column].split())
    widest = _WIDEST if longest <= _VERY_LONG else 2 * _WIDEST
    return float(min(max(longest + 2, head + 3), widest))


def _letter(column: int) -> str:
    return chr(ord("A") + column)
