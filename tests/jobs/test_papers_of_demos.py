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
from soffit.papers.plan import plan_sheets
from soffit.papers.scene import overlap
from soffit.papers.schematic import schematic_sheets
from soffit.papers.sheet import SIZES_MM
from soffit.papers.views import JobView
from soffit.work.demo import make_demo
from soffit.work.make_design import make_design
from soffit.work.make_papers import view_of_folder


@pytest.fixture(scope="session")
def view(library: Path) -> JobView:
    return view_of_folder(library)


def _sheets(view: JobView):
    yield from (scene for _, scene in overview_sheets(view))
    for room in view.rooms:
        speakers = view.in_room(room.key)
        yield from (s.scene for s in plan_sheets(room, speakers, view.title, number="P-01"))
        yield from map_sheets(room, speakers, view.title, number="L-01")
    for line in view.lines:
        yield from schematic_sheets(line, view.on_line(line.key), view.title, number="S-01")


@pytest.fixture(scope="session")
def trouble(tmp_path_factory: pytest.TempPathFactory) -> JobView:
    folder = tmp_path_factory.mktemp("jobs") / "trouble"
    make_demo("trouble", folder)
    return view_of_folder(folder)


@pytest.fixture(scope="session")
def market(tmp_path_factory: pytest.TempPathFactory) -> JobView:
    folder = tmp_path_factory.mktemp("jobs") / "market"
    make_demo("market", folder)
    make_design(folder)
    return view_of_folder(folder)


PAPERS = ["letter", "a4", "a3", "ansi-b"]


@pytest.mark.parametrize(
    ("demo", "paper"),
    [*((demo, paper) for demo in ("view", "trouble") for paper in PAPERS), ("market", "a4")],
)
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
        sheets = plan_sheets(room, view.in_room(room.key), view.title, number="P-01")
        texts = [text for sheet in sheets for text in sheet.scene.texts()]
        labels = [text.text for text in texts if text.layer == "labels"]
        for item in view.in_room(room.key):
            assert labels.count(item.label) == 1
            second = labels[labels.index(item.label) + 1]
            assert second in {item.tap_text, f"{item.type_mark} · {item.tap_text}"}
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


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_a_hall_too_large_for_the_sheet_has_a_key_plan_and_parts_on_it(market, paper) -> None:
    hall = max(market.rooms, key=lambda room: room.count)
    speakers = market.in_room(hall.key)
    title = replace(market.title, paper=paper)
    key, *parts = plan_sheets(hall, speakers, title, number="P-01")
    size = SIZES_MM[paper]
    assert all((s.scene.width, s.scene.height) == size for s in (key, *parts))
    assert key.labels == ()
    assert [s.number for s in parts] == [f"P-01{chr(97 + i)}" for i in range(len(parts))]
    words = [text.text for text in key.scene.texts()]
    for sheet in parts:
        assert any(word == sheet.number for word in words), "the key plan names every sheet"
    drawn = [label for sheet in parts for label in sheet.labels]
    assert sorted(drawn) == sorted(item.label for item in speakers)
    for sheet in parts:
        on = [text.text for text in sheet.scene.texts() if text.layer == "labels"][::2]
        assert sorted(on) == sorted(sheet.labels)
        meets = [t.text for t in sheet.scene.texts() if t.layer == "match lines"]
        others = {other.number for other in parts if other is not sheet}
        assert meets
        assert all(word.rpartition("on to ")[2] in others for word in meets)


def test_cable_cut_by_a_match_line_is_named_on_both_sheets(market) -> None:
    hall = max(market.rooms, key=lambda room: room.count)
    title = replace(market.title, paper="a4")
    _, *parts = plan_sheets(hall, market.in_room(hall.key), title, number="P-01")
    home = {label: sheet for sheet in parts for label in sheet.labels}
    ends = {item.position: item.label for item in market.in_room(hall.key)}
    cut = 0
    for route in hall.routes:
        start, end = ends.get(route.points[0]), ends.get(route.points[-1])
        if start is None or end is None or home[start] is home[end]:
            continue
        cut += 1
        assert f"to {end}" in [text.text for text in home[start].scene.texts()]
        assert f"from {start}" in [text.text for text in home[end].scene.texts()]
    assert cut > 3
