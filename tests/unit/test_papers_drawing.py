"""Lettering on the drawings: measured with the font that prints, never touching, never too small.

The least height of lettering, 1.8 mm, is the first of the series of ISO 3098-1 (from memory).
"""

import itertools

import pytest
from fontTools.ttLib import TTFont

from papers_sample import sample_job
from soffit.errors import DomainError
from soffit.papers import fonts
from soffit.papers.map_sheets import map_sheets
from soffit.papers.maps import band_colours
from soffit.papers.overview import overview_sheets
from soffit.papers.placement import Field, Wanted, place_all
from soffit.papers.plan import plan_sheet, plan_sheets
from soffit.papers.scene import Scene, Text, overlap
from soffit.papers.schematic import schematic_sheets
from soffit.papers.sheet import choose_scale
from soffit.papers.svg import write_svg


def _sheets(job):
    yield from (scene for _, scene in overview_sheets(job))
    for number, room in enumerate(job.rooms, 1):
        speakers = job.in_room(room.key)
        yield from (
            s.scene for s in plan_sheets(room, speakers, job.title, number=f"P-{number:02d}")
        )
        yield plan_sheet(room, speakers, job.title, number="whole")
        yield from map_sheets(room, speakers, job.title, number=f"L-{number:02d}")
    for number, line in enumerate(job.lines, 1):
        yield from schematic_sheets(
            line, job.on_line(line.key), job.title, number=f"S-{number:02d}"
        )


JOBS = {
    "letter": {"hall": (5, 4), "paper": "letter"},
    "a4 metric": {"hall": (4, 3), "paper": "a4", "imperial": False},
    "200 speakers": {"hall": (20, 10), "paper": "letter"},
}


@pytest.fixture(scope="module", params=JOBS, ids=str)
def sheets(request):
    return tuple(_sheets(sample_job(**JOBS[request.param])))


def test_no_two_words_of_a_sheet_touch(sheets):
    for scene in sheets:
        words = [(text, text.box) for text in scene.texts() if text.text]
        touching = [
            (a.text, b.text)
            for (a, box_a), (b, box_b) in itertools.combinations(words, 2)
            if overlap(box_a, box_b)
        ]
        assert touching == [], scene.title


def test_no_word_leaves_its_sheet(sheets):
    for scene in sheets:
        for text in scene.texts():
            left, top, right, bottom = text.box
            assert left >= 3.0, text.text
            assert top >= 3.0, text.text
            assert right <= scene.width - 3.0, text.text
            assert bottom <= scene.height - 3.0, text.text


def test_no_lettering_is_under_the_least_height(sheets):
    heights = [text.cap for scene in sheets for text in scene.texts()]
    assert min(heights) >= fonts.MIN_CAP_MM


def test_every_label_of_a_room_is_on_its_plan(sheets):
    plans = [scene for scene in sheets if scene.title.endswith("ceiling plan")]
    assert plans
    for scene in plans:
        labels = [text.text for text in scene.texts() if text.layer == "labels"]
        named = [text for text in labels if "-" in text]
        assert len(named) == len(set(named)) == len(labels) / 2


def test_lettering_under_the_least_height_is_refused():
    scene = Scene(100.0, 100.0)
    with pytest.raises(DomainError):
        scene.add(Text(at=(10.0, 10.0), text="too small", layer="notes", cap=1.7))


@pytest.mark.parametrize(("weight", "file"), sorted(fonts._FILES.items()))
def test_capitals_have_the_height_that_the_font_file_states(weight, file):
    with TTFont(fonts.folder() / file, lazy=True) as font:
        ratio = font["OS/2"].sCapHeight / font["head"].unitsPerEm
    assert ratio == pytest.approx(fonts.CAP_RATIO, abs=0.001)


def test_figures_are_tabular():
    widths = {fonts.width_mm(digit, cap_mm=2.0) for digit in "0123456789"}
    assert len(widths) == 1


def test_missing_letters_are_found_and_none_is_blank():
    assert fonts.missing_glyphs(["Café Ω ² ✓", "漢"]) == ("漢",)


def test_a_text_is_shortened_until_it_fits():
    short = fonts.fit("a very long name of a very small room", room_mm=20.0, cap_mm=2.0)
    assert short.endswith("…")
    assert fonts.width_mm(short, cap_mm=2.0) <= 20.0


def test_labels_that_find_no_place_are_reported_not_forced():
    room = Field(sheet=(0.0, 0.0, 10.0, 10.0))
    wanted = [Wanted(anchor=(5.0, 5.0), radius=1.0, width=9.0, height=3.0) for _ in range(6)]
    places = place_all(wanted, room)
    found = [place.box for place in places if place is not None]
    assert None in places
    assert found
    assert not any(overlap(a, b) for a, b in itertools.combinations(found, 2))


def test_scales_are_the_usual_ones():
    assert choose_scale((8.0, 5.0), (180.0, 150.0), imperial=False) == 50
    assert choose_scale((8.0, 5.0), (180.0, 150.0), imperial=True) == 48


def test_map_colours_rise_in_lightness_so_that_grey_prints_read():
    for count in (3, 8, 15):
        grey = [0.2126 * r + 0.7152 * g + 0.0722 * b for r, g, b in band_colours(count)]
        steps = [b - a for a, b in itertools.pairwise(grey)]
        assert min(steps) > 6.0 * 3 / count


def test_same_views_give_the_same_svg():
    first = [write_svg(scene) for scene in _sheets(sample_job())]
    second = [write_svg(scene) for scene in _sheets(sample_job())]
    assert first == second
