"""Quote a job: quantities, hours and prices, with what is assumed and what is not included."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soffit.errors import JobError
from soffit.papers.quote import PriceList, parse_prices, quote_pdf, quote_view, quote_xlsx
from soffit.papers.views import QuoteView
from soffit.work.make_papers import view_of_folder, write_file

PRICE_FILE = "prices.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Quoted:
    """A quote and its files."""

    quote: QuoteView
    files: tuple[Path, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        quote = self.quote
        return {
            "currency": quote.currency,
            "hours": list(quote.hours),
            "total": list(quote.total) if quote.total else None,
            "missing_prices": list(quote.missing_prices),
            "assumptions": list(quote.assumptions),
            "exclusions": list(quote.exclusions),
            "rows": [
                {
                    "section": row.section,
                    "item": row.item,
                    "unit": row.unit,
                    "low": row.quantity_low,
                    "likely": row.quantity,
                    "high": row.quantity_high,
                    "hours_each": row.hours_each,
                    "price_each": row.price_each,
                    "basis": row.basis,
                }
                for row in quote.rows
            ],
            "files": [str(path) for path in self.files],
        }

    def text(self) -> str:
        """Return it as text."""
        quote = self.quote
        low, likely, high = quote.hours
        lines = [f"hours    {low:.1f} low, {likely:.1f} likely, {high:.1f} high"]
        if quote.total:
            cheap, middle, dear = quote.total
            lines.append(
                f"price    {cheap:.2f} low, {middle:.2f} likely, {dear:.2f} high {quote.currency}"
            )
        else:
            lines.append(f"no total: prices are missing for {', '.join(quote.missing_prices)}")
        lines += ["", "assumed:", *(f"  {text}" for text in quote.assumptions)]
        lines += ["not included:", *(f"  {text}" for text in quote.exclusions)]
        return "\n".join([*lines, "", *(str(path) for path in self.files)])


def make_quote(folder: Path, *, prices: Path | None = None, out: Path | None = None) -> Quoted:
    """Quote the job in a folder.

    Parameters
    ----------
    folder
        Folder of the job.
    prices
        The user's own price list; ``prices.toml`` of the job's folder if it is there.
    out
        Where; ``papers`` in the job's folder by default.

    Returns
    -------
    Quoted
        Quote and files: PDF and workbook.

    Raises
    ------
    JobError
        If the job or the price list cannot be read.
    """
    from soffit.job.api import open_job

    view = view_of_folder(folder)
    quote = quote_view(view, open_job(folder).survey.limits, _prices(folder, prices))
    target = out or folder / "papers"
    files = (target / "quote.pdf", target / "quote.xlsx")
    write_file(files[0], quote_pdf(view, quote))
    write_file(files[1], quote_xlsx(view, quote))
    return Quoted(quote=quote, files=files)


def _prices(folder: Path, prices: Path | None) -> PriceList:
    path = prices or folder / PRICE_FILE
    if prices is None and not path.is_file():
        return PriceList()
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise JobError(
            what=f"the price list {path.name} cannot be read",
            where=str(path),
            why=str(error),
            do="name a TOML file with your own prices, or leave it out",
        ) from None
    return parse_prices(text, name=str(path))
