"""The quote: quantities of the design, hours of the job's table, prices of the user's list."""

import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from soffit.errors import JobError
from soffit.model.findings import DEFER
from soffit.papers import blocks, words
from soffit.papers.letters import missing_letters, shown
from soffit.papers.packs import pack_data
from soffit.papers.parts import flow
from soffit.papers.pdf import compile_pdf
from soffit.papers.views import JobView, QuoteRow, QuoteView
from soffit.tables.settings import setting
from soffit.units import FOOT_M

EXCLUSIONS: Final = (
    "Mains supply, earthing and data to the rack.",
    "Survey and removal of hazardous material, making good and painting.",
    "Rating of fire-rated ceilings and walls beyond the stopping of the passages listed.",
    "Emergency and fire alarm sound: out of scope; a licensed designer must do it.",
    "Work outside normal hours, waiting for other trades, and second visits they cause.",
    "Permits, inspections and taxes.",
)
_TOGETHER: Final = 24
_COLUMNS: Final = ((0, 0, 18), (1, 1, 38), (2, 2, 7), (3, 6, 9), (7, 9, 10), (10, 10, 38))
_LINE_LETTERS: Final = 150
"""Columns of the workbook and their widths, and letters in a line over all of them."""
SECTIONS: Final[dict[str, str]] = {
    "material": "Material",
    "labour": "Work",
    "access": "Access",
    "testing": "Tests and hand-over",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceList:
    """The user's own prices.

    Parameters
    ----------
    currency
        As printed beside every amount.
    rate_per_hour
        Price of one hour of work; ``None`` if not given.
    prices
        Price of one piece, or of one metre or foot as the material list counts cable, by the id
        of its type or by its name.
    lift_day
        Price of a day of access equipment; ``None`` if not given.
    """

    currency: str = ""
    rate_per_hour: float | None = None
    lift_day: float | None = None
    prices: Mapping[str, float] = field(default_factory=dict)

    def of(self, *names: str) -> float | None:
        """Return the price by the first of several names that is known.

        Parameters
        ----------
        *names
            Ids and names.
        """
        return next((self.prices[name] for name in names if name in self.prices), None)


def parse_prices(text: str, *, name: str) -> PriceList:
    """Read the user's own price list.

    Parameters
    ----------
    text
        TOML with ``currency``, ``rate_per_hour``, ``lift_day`` and a table ``prices``.
    name
        Name of the file as people see it.

    Raises
    ------
    JobError
        With every key that is wrong.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise JobError(
            what="the price list cannot be read",
            where=name,
            why=str(error),
            do='write for example: currency = "EUR" and, below [prices], demo-6in = 84.0',
        ) from error
    known = {"currency", "rate_per_hour", "lift_day", "prices"}
    for key in raw:
        if key not in known:
            raise _wrong(name, key, f"known keys are {', '.join(sorted(known))}")
    prices = raw.get("prices", {})
    if not isinstance(prices, dict):
        raise _wrong(name, "prices", "it must be a table")
    return PriceList(
        currency=str(raw.get("currency", "")),
        rate_per_hour=_amount(raw.get("rate_per_hour"), name, "rate_per_hour"),
        lift_day=_amount(raw.get("lift_day"), name, "lift_day"),
        prices={
            key: amount
            for key, value in prices.items()
            if (amount := _amount(value, name, f"prices.{key}")) is not None
        },
    )


def _amount(value: object, name: str, key: str) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 1e9:
        raise _wrong(name, key, f"{value!r} is no amount of money")
    return float(value)


def _wrong(name: str, key: str, why: str) -> JobError:
    return JobError(
        what=f"the price list has a wrong entry {key!r}",
        where=f"{name}: {key}",
        why=why,
        do="write a number of zero or more, without a currency sign",
    )


def quote_view(view: JobView, limits: Mapping[str, float], prices: PriceList) -> QuoteView:
    """Return the quote of a job.

    Parameters
    ----------
    view
        The job.
    limits
        Limits in force, which hold the hours a piece.
    prices
        The user's own list; an empty one gives quantities and hours only.

    Returns
    -------
    QuoteView
        Low, likely and high; no total while any price is missing.
    """
    rows = (
        *_material(view, limits, prices),
        *_labour(view, limits),
        *_access(view, limits, prices),
    )
    hours = (
        sum(row.quantity_low * row.hours_each for row in rows) * limits["quote_low_ratio"],
        sum(row.quantity * row.hours_each for row in rows),
        sum(row.quantity_high * row.hours_each for row in rows) * limits["quote_high_ratio"],
    )
    goods = [row for row in rows if not row.hours_each]
    missing = [row.item for row in goods if row.price_each is None]
    if prices.rate_per_hour is None:
        missing.append("one hour of work")
    total = None
    if not missing and prices.rate_per_hour is not None:
        money = [
            sum(getattr(row, name) * (row.price_each or 0.0) for row in goods)
            for name in ("quantity_low", "quantity", "quantity_high")
        ]
        low, likely, high = (
            m + h * prices.rate_per_hour for m, h in zip(money, hours, strict=True)
        )
        total = (low, likely, high)
    return QuoteView(
        rows=rows,
        currency=prices.currency,
        rate_per_hour=prices.rate_per_hour,
        hours=hours,
        total=total,
        missing_prices=tuple(dict.fromkeys(missing)),
        exclusions=EXCLUSIONS,
        assumptions=(
            *dict.fromkeys(f"{item.text} ({item.source})" for item in view.assumptions),
            "Hours a piece are assumptions of this program where the job sets none in [limits].",
            "Ceilings can be opened where the plan shows loudspeakers; nothing unknown lies above.",
        ),
        valid_text=f"For revision {view.title.revision} of {view.title.date}; another design"
        " needs another quote.",
    )


def _material(view: JobView, limits: Mapping[str, float], prices: PriceList) -> list[QuoteRow]:
    rows = []
    for item in view.materials:
        price = prices.of(item.type_id, item.item) if prices.prices else None
        is_cable = item.section == "Cable"
        high = item.quantity * (limits["quote_cable_high_ratio"] if is_cable else 1.0)
        rows.append(
            QuoteRow(
                section="material",
                item=item.item,
                unit=item.unit,
                quantity_low=item.quantity,
                quantity=item.quantity,
                quantity_high=high,
                price_each=item.price_each if price is None else price,
                basis="counted from the design" if item.source in {"", "design"} else item.source,
            )
        )
    return rows


def _labour(view: JobView, limits: Mapping[str, float]) -> list[QuoteRow]:
    kinds = Counter(
        _place_kind(view, item.key) for item in view.speakers if item.state != "existing"
    )
    amplifiers = sum(len(rack.amplifiers) for rack in view.racks)
    points = sum(len(room.test_points) for room in view.rooms)
    unit_m = FOOT_M if view.title.is_imperial else 1.0
    counts: tuple[tuple[str, str, str, float, str], ...] = (
        ("labour", "Loudspeaker in a tile", "pcs", kinds["grid"], "labour_grid_speaker_h"),
        ("labour", "Loudspeaker in plasterboard", "pcs", kinds["board"], "labour_board_speaker_h"),
        ("labour", "Pendant or surface loudspeaker", "pcs", kinds["hung"], "labour_hung_speaker_h"),
        ("labour", "Ceiling subwoofer", "pcs", kinds["sub"], "labour_subwoofer_h"),
        ("labour", "Run of cable, routed and ended", "runs", len(view.cables), "labour_run_h"),
        (
            "labour",
            "Cable pulled",
            "ft" if view.title.is_imperial else "m",
            round(sum(row.length_m for row in view.cables) / unit_m, 1),
            "labour_cable_m_h",
        ),
        (
            "labour",
            "Wall passed and stopped",
            "pcs",
            sum(row.penetrations for row in view.cables),
            "labour_firestop_h",
        ),
        ("labour", "Rack", "pcs", len(view.racks), "labour_rack_h"),
        ("labour", "Amplifier mounted, wired and set", "pcs", amplifiers, "labour_amplifier_h"),
        ("testing", "Line tested dead and live", "lines", len(view.lines), "labour_line_test_h"),
        ("testing", "Walk under every loudspeaker", "pcs", len(view.speakers), "labour_listen_h"),
        ("testing", "Place measured", "pcs", points, "labour_level_point_h"),
        ("testing", "As-built papers and hand-over", "job", 1, "labour_handover_h"),
    )
    return [
        QuoteRow(
            section=section,
            item=item,
            unit=unit,
            quantity_low=count,
            quantity=count,
            quantity_high=count,
            hours_each=limits[name] * (unit_m if name == "labour_cable_m_h" else 1.0),
            basis=_hours_text(name, limits),
            is_assumption=limits[name] == setting(name).default,
        )
        for section, item, unit, count, name in counts
        if count
    ]


def _hours_text(name: str, limits: Mapping[str, float]) -> str:
    each = " a metre" if name == "labour_cable_m_h" else " each"
    hours = limits[name]
    time = f"{hours:g} h" if hours >= 1.0 else f"{60.0 * hours:.3g} min"
    return f"{time}{each}{_mark(name, limits)} ({name})"


def _mark(name: str, limits: Mapping[str, float]) -> str:
    return ", assumed" if limits[name] == setting(name).default else ", the job's own"


def _place_kind(view: JobView, key: str) -> str:
    item = next(entry for entry in view.speakers if entry.key == key)
    if item.kind == "subwoofer":
        return "sub"
    if item.kind in {"pendant", "surface"}:
        return "hung"
    return "grid" if item.tile is not None else "board"


def _access(view: JobView, limits: Mapping[str, float], prices: PriceList) -> list[QuoteRow]:
    count = sum(item.state != "existing" for item in view.speakers)
    if not count:
        return []
    days = -(-count // int(limits["access_speakers_day"]))
    return [
        QuoteRow(
            section="access",
            item="Platform or lift",
            unit="days",
            quantity_low=days,
            quantity=days,
            quantity_high=days + 1,
            price_each=prices.lift_day,
            basis=f"{limits['access_speakers_day']:g} loudspeakers a day"
            + _mark("access_speakers_day", limits),
            is_assumption=True,
        )
    ]


def _money(value: float | None, currency: str) -> str:
    return "no price" if value is None else f"{value:,.2f} {currency}".strip().replace(",", " ")


def _rows(quote: QuoteView, section: str) -> list[Sequence[Any]]:
    out: list[Sequence[Any]] = []
    for row in quote.rows:
        if row.section != section:
            continue
        hours = words.quantity(row.quantity * row.hours_each) + " h" if row.hours_each else ""
        price = row.price_each
        if row.hours_each:
            price = None if quote.rate_per_hour is None else quote.rate_per_hour * row.hours_each
        amount = None if price is None else price * row.quantity
        number = words.quantity(row.quantity)
        if row.quantity_high > row.quantity:
            number += f" to {words.quantity(row.quantity_high)}"
        out.append((row.item, number, row.unit, hours, _money(amount, quote.currency), row.basis))
    return out


def quote_pdf(view: JobView, quote: QuoteView) -> bytes:
    """Return the quote as PDF.

    Parameters
    ----------
    view
        The job.
    quote
        Of :func:`quote_view`.
    """
    low, likely, high = quote.hours
    money = quote.total or (None, None, None)
    summary = blocks.table(
        ("", "low", "likely", "high"),
        ("1fr", "auto", "auto", "auto"),
        "lrrr",
        [
            ("Hours", f"{low:.1f} h", f"{likely:.1f} h", f"{high:.1f} h"),
            ("Price", *(_money(value, quote.currency) for value in money)),
        ],
    )
    content: list[blocks.Block] = [
        {"kind": "lead", "text": "Quote"},
        *(blocks.text(line) for line in view.headline[:1]),
        summary,
        blocks.text(quote.valid_text, small=True, soft=True),
    ]
    if quote.missing_prices:
        names = "; ".join(quote.missing_prices)
        content.append(blocks.note("No total while these prices are missing", [names]))
    head = ("Item", "how many", "", "hours", "price", "from")
    widths = ("5fr", "auto", "auto", "auto", "auto", "4fr")
    for section, name in SECTIONS.items():
        rows = _rows(quote, section)
        if rows:
            table = blocks.table(head, widths, "lrlrrl", rows, strong=False)
            section_blocks = [blocks.heading(name), table]
            whole = [blocks.together(section_blocks)]
            content += whole if len(rows) <= _TOGETHER else section_blocks
    content += [
        blocks.heading("Assumed"),
        {"kind": "bullets", "items": list(quote.assumptions)},
        blocks.heading("Not included"),
        {"kind": "bullets", "items": list(quote.exclusions)},
        {"kind": "text", "text": DEFER, "strong": True},  # nobody takes a quote up a ladder
    ]
    sheet = {**flow("Q-01", view.title.job, content), "foot": "Quote"}
    data = pack_data(view, "Quote", [sheet])
    return compile_pdf(shown(data, missing_letters(data)), date=view.title.date)


def quote_xlsx(view: JobView, quote: QuoteView) -> bytes:
    """Return the quote as a workbook: change a quantity, an hour or a price and totals follow.

    Parameters
    ----------
    view
        The job.
    quote
        Of :func:`quote_view`.
    """
    from soffit.papers.tables_out import (  # noqa: PLC0415 - keeps workbooks late
        new_workbook,
        print_setup,
        set_height,
    )

    book, stream, formats = new_workbook(view)
    sheet = book.add_worksheet("Quote")
    sheet.write_row(0, 0, ("Rate per hour", quote.rate_per_hour or 0.0, quote.currency))
    head = (
        "Section",
        "Item",
        "Unit",
        "Low",
        "Likely",
        "High",
        "Hours each",
        "Price each",
        "Hours",
        "Price",
        "From",
    )
    for column, name in enumerate(head):
        sheet.write_string(2, column, name, formats["head"])
    widths = [wide for first, last, wide in _COLUMNS for _ in range(first, last + 1)]
    set_height(sheet, 2, head, widths, is_head=True)
    for number, row in enumerate(quote.rows, 4):
        sheet.write_string(number - 1, 0, SECTIONS[row.section], formats["body"])
        sheet.write_string(number - 1, 1, row.item, formats["long"])
        sheet.write_string(number - 1, 2, row.unit, formats["text"])
        counts = (row.quantity_low, row.quantity, row.quantity_high)
        for column, count in enumerate(counts, 3):
            sheet.write_number(number - 1, column, count, formats["one"])
        sheet.write_number(number - 1, 6, row.hours_each, formats["hours"])
        if row.price_each is not None:
            sheet.write_number(number - 1, 7, row.price_each, formats["two"])
        hours = row.quantity * row.hours_each
        price = hours * (quote.rate_per_hour or 0.0) + row.quantity * (row.price_each or 0.0)
        sheet.write_formula(number - 1, 8, f"=E{number}*G{number}", formats["one"], round(hours, 6))
        formula = f"=I{number}*$B$1+E{number}*H{number}"
        sheet.write_formula(number - 1, 9, formula, formats["two"], round(price, 6))
        sheet.write_string(number - 1, 10, row.basis, formats["long"])
        words_ = ("", row.item, *("" for _ in range(8)), row.basis)
        set_height(sheet, number - 1, words_, widths)
    _quote_foot(sheet, quote, formats)
    for first, last, wide in _COLUMNS:
        sheet.set_column(first, last, wide)
    sheet.freeze_panes(3, 2)
    print_setup(sheet, view, "Quote", rows=2)
    book.close()
    return bytes(stream.getvalue())


def _quote_foot(sheet: Any, quote: QuoteView, formats: Mapping[str, Any]) -> None:  # noqa: ANN401 - untyped library
    last = len(quote.rows) + 3
    sheet.write_string(last, 0, "Likely", formats["total"])
    rate = quote.rate_per_hour or 0.0
    hours = quote.hours[1]
    price = hours * rate + sum(row.quantity * (row.price_each or 0.0) for row in quote.rows)
    sheet.write_formula(last, 8, f"=SUM(I4:I{last})", formats["total one"], round(hours, 6))
    sheet.write_formula(last, 9, f"=SUM(J4:J{last})", formats["total two"], round(price, 6))
    missing = "Without a price: " + (", ".join(quote.missing_prices) or "none")
    for number, text in enumerate((missing, *quote.assumptions, *quote.exclusions), last + 2):
        sheet.merge_range(number, 0, number, 10, text, formats["long"])
        sheet.set_row(number, 15.0 * (1 + len(text) // _LINE_LETTERS))
