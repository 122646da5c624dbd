"""The script of the gallery runs, and the page on papers names only what exists."""

import importlib.util
import re
from pathlib import Path

import pytest

from papers_sample import sample_job
from soffit.papers.labels import LABEL_SHEETS
from soffit.papers.packs import PACKS
from soffit.papers.quote import parse_prices
from soffit.tables.limits_papers import ROWS

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGE = (DOCS / "how-to" / "papers.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def gallery():
    path = DOCS / "gallery" / "make_gallery.py"
    spec = importlib.util.spec_from_file_location("make_gallery", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_gallery_finds_a_page_of_every_kind(gallery):
    found = gallery.pictures(sample_job())
    assert set(found) == set(gallery.PAGES)
    assert all(data.startswith(b"\x89PNG") and len(data) < 200_000 for data in found.values())


def test_gallery_shows_a_large_room_in_parts_and_a_small_one_not(gallery):
    found = gallery.large_room(sample_job(hall=(20, 10)))
    assert set(found) == {"key-plan", "part-plan"}
    assert all(data.startswith(b"\x89PNG") and len(data) < 200_000 for data in found.values())
    assert gallery.large_room(sample_job()) == {}


def test_gallery_draws_plan_and_schematic(gallery):
    drawn = gallery.drawings(sample_job())
    assert set(drawn) == {"plan", "schematic"}
    assert all(text.startswith("<svg ") for text in drawn.values())


def test_readme_shows_pictures_that_are_there_and_small(gallery):
    text = (DOCS.parent / "README.md").read_text(encoding="utf-8")
    named = set(re.findall(r"docs/pictures/([\w-]+)\.png", text))
    assert named == set(gallery.README.values())
    for name in named:
        data = (DOCS / "pictures" / f"{name}.png").read_bytes()
        assert data.startswith(b"\x89PNG")
        assert 10_000 < len(data) < 200_000


def test_page_names_every_pack_and_only_real_ones():
    named = set(re.findall(r"--pack (\w+)", PAGE))
    assert named == set(PACKS) - {"job"}


def test_page_names_a_real_sheet_of_labels():
    assert set(re.findall(r"`(\w+-\dx\d+)`", PAGE)) <= set(LABEL_SHEETS)


def test_price_list_on_the_page_can_be_read():
    text = PAGE.split("```toml")[1].split("```")[0]
    prices = parse_prices(text, name="the page")
    assert prices.currency == "EUR"
    assert prices.prices == {"ceiling-6": 84.0}


def test_hours_are_marked_as_assumptions():
    hours = [row for row in ROWS if row.name.startswith("labour_")]
    assert len(hours) >= 10
    assert all("assumption" in row.source for row in hours)
