"""The papers of the demo jobs under the same machine checks as the invented building."""

import itertools
from dataclasses import replace
from pathlib import Path

import pypdfium2 as pdfium
import pytest

from soffit.papers import fonts
from soffit.papers.field_page import field_page
from soffit.papers.map_sheets import map_sheets
from soffit.papers.overview import overview_sheets
from soffit.papers.packs import make_pack
from soffit.papers.plan import plan_sheet
from soffit.papers.scene import overlap
from soffit.papers.schematic import schematic_sheets
from soffit.papers.views import JobView
from soffit.work.demo import make_demo
from soffit.work.make_papers import view_of_folder


@pytest.fixture(scope="session")
def view(library: Path) -> JobView:
    return view_of_folder(library)


def _sheets(view: JobView):
    yield from (scene for _, scene in overview_sheets(view))
    for room in view.rooms:
        speakers = view.in_room(room.key)
        yield plan_sheet(room, speakers, view.title, number="P-01")
        yield from map_sheets(room, speakers, view.title, number="L-01")
    for line in view.lines:
        yield from schematic_sheets(line, view.on_line(line.key), view.title, number="S-01")


@pytest.fixture(scope="session")
def trouble(tmp_path_factory: pytest.TempPathFactory) -> JobView:
    folder = tmp_path_factory.mktemp("jobs") / "trouble"
    make_demo("trouble", folder)
    return view_of_folder(folder)


@pytest.mark.parametrize("paper", ["letter", "a4", "a3", "ansi-b"])
@pytest.mark.parametrize("demo", ["view", "trouble"])
def test_no_words_touch_or_leave_a_sheet_on_any_paper(demo, paper, request) -> None:
    view = request.getfixturevalue(demo)
    view = replace(view, title=replace(view.title, paper=paper))
    for scene in _sheets(view):
        words = [(text, text.box) for text in scene.texts() if text.text]
        for text, (left, top, right, bottom) in words:
            assert text.cap >= fonts.MIN_CAP_MM
            inside = left > 3 and top > 3 and right < scene.width - 3 and bottom < scene.height - 3
            assert inside, (scene.title, text.text)
        touching = [
            (a.text, b.text)
            for (a, one), (b, two) in itertools.combinations(words, 2)
            if overlap(one, two)
        ]
        assert touching == [], scene.title


def test_every_speaker_has_one_symbol_one_card_and_one_row(view: JobView) -> None:
    for room in view.rooms:
        scene = plan_sheet(room, view.in_room(room.key), view.title, number="P-01")
        labels = [text.text for text in scene.texts() if text.layer == "labels"]
        for item in view.in_room(room.key):
            assert labels.count(item.label) == 1
            assert labels[labels.index(item.label) + 1] == item.tap_text
    document = pdfium.PdfDocument(make_pack(view))
    pages = [page.get_textpage().get_text_bounded() for page in document]
    document.close()
    assert all(len(text.strip()) > 40 for text in pages)
    cards = [text for text in pages if "Find it" in text]
    for item in view.speakers:
        order = f"no. {item.order} of {len(view.on_line(item.line_key))} on line {item.line_label}"
        assert sum(text.count(order + "\r\n") for text in cards) == 1


def test_field_page_of_the_demo_is_small_and_names_every_speaker(view: JobView) -> None:
    page = field_page(view)
    assert len(page.encode()) < 300_000
    assert all(f'<details data-key="{item.key}">' in page for item in view.speakers)


def _touching(page) -> list[tuple[str, str]]:
    """Return lines of text of a page that lie over each other by a third of their height."""
    text = page.get_textpage()
    boxes = [text.get_rect(index) for index in range(text.count_rects())]
    found = []
    for one, two in itertools.combinations(boxes, 2):
        wide = min(one[2], two[2]) - max(one[0], two[0])
        high = min(one[3], two[3]) - max(one[1], two[1])
        if wide > 0.5 and high > 0.35 * min(one[3] - one[1], two[3] - two[1]):
            found.append((text.get_text_bounded(*one), text.get_text_bounded(*two)))
    edge = 3 * 72 / 25.4
    width, height = page.get_size()
    inside = (edge, edge, width - edge, height - edge)
    off = [
        box
        for box in boxes
        if box[0] < inside[0] or box[1] < inside[1] or box[2] > inside[2] or box[3] > inside[3]
    ]
    found += [(text.get_text_bounded(*box), "the edge") for box in off]
    return found


@pytest.mark.parametrize("demo", ["view", "trouble"])
@pytest.mark.parametrize("pack", ["job", "office", "handover"])
def test_no_text_of_a_pack_touches_other_text_or_leaves_the_page(demo, pack, request) -> None:
    document = pdfium.PdfDocument(make_pack(request.getfixturevalue(demo), pack))
    bad = {number: found for number, page in enumerate(document, 1) if (found := _touching(page))}
    document.close()
    assert bad == {}


def test_a_job_that_is_wrong_on_purpose_still_prints(trouble: JobView) -> None:
    document = pdfium.PdfDocument(make_pack(trouble))
    pages = [page.get_textpage().get_text_bounded() for page in document]
    document.close()
    assert all(len(text.strip()) > 40 for text in pages)
    assert "Stops: read these first" in "".join(pages)
