"""Schedule, cable, material and findings as tables: CSV and XLSX, the same bytes every time."""

import csv
import datetime as dt
import io
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
            round(item.position[0], 3),
            round(item.position[1], 3),
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
        "x m",
        "y m",
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
            round(row.cut_m / unit, 2),
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
            ". ".join(part for part in (row.note, row.source) if part),
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


_WIDEST: Final = 48


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
    }
    return book, stream, formats


def _sheet(book: Any, table: Table, formats: dict[str, Any], view: JobView) -> None:  # noqa: ANN401 - the library brings no types
    sheet = book.add_worksheet(table.name)
    for column, name in enumerate(table.head):
        sheet.write_string(0, column, name, formats["head"])
        sheet.set_column(column, column, _width(table, column))
    products = {target: (left, right) for target, left, right in table.products}
    for number, row in enumerate(table.rows, 1):
        for column, cell in enumerate(row):
            if cell is None:
                continue
            if column in products:
                left, right = (_letter(part) for part in products[column])
                formula = f"={left}{number + 1}*{right}{number + 1}"
                sheet.write_formula(number, column, formula, formats["body"], cell)
            elif isinstance(cell, str):
                sheet.write_string(number, column, cell, formats["body"])
            else:
                sheet.write_number(number, column, cell, formats["body"])
    last = len(table.rows)
    if table.totals and last:
        sheet.write_string(last + 1, 0, "Total", formats["total"])
        for column in table.totals:
            letter = _letter(column)
            value = sum(float(row[column] or 0.0) for row in table.rows)
            formula = f"=SUM({letter}2:{letter}{last + 1})"
            sheet.write_formula(last + 1, column, formula, formats["total"], round(value, 6))
    sheet.freeze_panes(1, 1)
    if last:
        sheet.autofilter(0, 0, last, len(table.head) - 1)
    sheet.set_landscape()
    sheet.set_paper(9 if view.title.paper in {"a4", "a3"} else 1)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    note = "invented example, " if view.title.is_invented else ""
    sheet.set_footer(f"&L{note}revision {view.title.revision}&C{table.name}&R&P of &N")


def _width(table: Table, column: int) -> float:
    longest = max([len(table.head[column]), *(len(str(row[column] or "")) for row in table.rows)])
    return float(min(longest + 2, _WIDEST))


def _letter(column: int) -> str:
    return chr(ord("A") + column)
