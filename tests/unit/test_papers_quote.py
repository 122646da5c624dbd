"""Quotes: sums follow from the rows, missing prices are named, ranges stay in order."""

import openpyxl
import pypdfium2 as pdfium
import pytest

from papers_sample import sample_job
from soffit.errors import JobError
from soffit.papers.quote import PriceList, parse_prices, quote_pdf, quote_view, quote_xlsx
from soffit.tables.settings import Limits

PRICES = """
currency = "EUR"
rate_per_hour = 60
lift_day = 110
[prices]
"16 AWG CL3P, red/black" = 95.0
"""


@pytest.fixture(scope="module")
def job():
    return sample_job()


def test_hours_and_total_are_the_sums_of_the_rows(job):
    quote = quote_view(job, Limits(), parse_prices(PRICES, name="prices.toml"))
    hours = sum(row.quantity * row.hours_each for row in quote.rows)
    goods = sum(row.quantity * (row.price_each or 0.0) for row in quote.rows)
    assert quote.hours[1] == pytest.approx(hours)
    assert quote.total is not None
    assert quote.total[1] == pytest.approx(goods + 60.0 * hours)
    assert quote.hours[0] < quote.hours[1] < quote.hours[2]
    assert quote.total[0] < quote.total[1] < quote.total[2]


def test_without_prices_there_is_no_total_and_the_gaps_are_named(job):
    quote = quote_view(job, Limits(), PriceList())
    assert quote.total is None
    assert "one hour of work" in quote.missing_prices
    assert "16 AWG CL3P, red/black" in quote.missing_prices


def test_hours_of_the_job_replace_the_assumed_ones(job):
    mine = quote_view(job, Limits((("labour_grid_speaker_h", 2.0),)), PriceList())
    row = next(row for row in mine.rows if row.item == "Loudspeaker in a tile")
    assert row.hours_each == 2.0
    assert not row.is_assumption
    assert "the job's own" in row.basis


def test_every_assumed_figure_says_so(job):
    quote = quote_view(job, Limits(), PriceList())
    assert all("assumed" in row.basis for row in quote.rows if row.hours_each)


def test_workbook_sums_are_formulas_with_the_values_of_the_quote(job, tmp_path):
    quote = quote_view(job, Limits(), parse_prices(PRICES, name="prices.toml"))
    data = quote_xlsx(job, quote)
    assert data == quote_xlsx(job, quote)
    path = tmp_path / "quote.xlsx"
    path.write_bytes(data)
    foot = len(quote.rows) + 4
    book = openpyxl.load_workbook(path)
    assert book["Quote"].cell(foot, 10).value == f"=SUM(J4:J{foot - 1})"
    book.close()
    book = openpyxl.load_workbook(path, data_only=True)
    assert book["Quote"].cell(foot, 10).value == pytest.approx(quote.total[1])
    book.close()


def test_printed_quote_says_what_is_not_included(job):
    quote = quote_view(job, Limits(), PriceList())
    document = pdfium.PdfDocument(quote_pdf(job, quote))
    text = "".join(page.get_textpage().get_text_bounded() for page in document)
    document.close()
    assert "Not included" in text
    assert "out of scope" in text
    assert "No total" in text


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("currency = ", "prices.toml"),
        ("rate_per_hour = -1", "prices.toml: rate_per_hour"),
        ("rate = 3", "prices.toml: rate"),
        ('[prices]\nx = "9"', "prices.toml: prices.x"),
    ],
)
def test_a_wrong_price_list_is_refused_with_its_place(text, where):
    with pytest.raises(JobError) as caught:
        parse_prices(text, name="prices.toml")
    assert caught.value.problems[0].where == where
