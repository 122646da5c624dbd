"""Laws of drawing: lettering never collides, a plan keeps its shape, scales fit, texts survive."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soffit.papers import fonts
from soffit.papers.blocks import breakable
from soffit.papers.letters import missing_letters, shown
from soffit.papers.placement import Field, Wanted, place_all
from soffit.papers.projection import fill_plan, fit_plan
from soffit.papers.scene import overlap
from soffit.papers.sheet import choose_scale

places = st.tuples(st.floats(5.0, 175.0), st.floats(5.0, 135.0))
words = st.builds(
    Wanted,
    anchor=places,
    radius=st.floats(0.0, 3.0),
    width=st.floats(2.0, 30.0),
    height=st.floats(2.0, 6.0),
)
boxes = places.map(lambda p: (p[0] - 1.5, p[1] - 1.5, p[0] + 1.5, p[1] + 1.5))
SHEET = (0.0, 0.0, 180.0, 140.0)


@given(st.lists(words, max_size=25), st.lists(boxes, max_size=25))
def test_lettering_never_touches_lettering_or_a_symbol_or_leaves_the_sheet(wanted, taken):
    room = Field(sheet=SHEET, boxes=taken)
    found = [place.box for place in place_all(wanted, room) if place is not None]
    assert not any(overlap(a, b) for a, b in itertools.combinations(found, 2))
    assert not any(overlap(a, b) for a in found for b in taken)
    for left, top, right, bottom in found:
        assert left >= 0.0
        assert top >= 0.0
        assert right <= 180.0
        assert bottom <= 140.0


points = st.tuples(st.floats(-500, 500), st.floats(-500, 500))


@given(st.lists(points, min_size=2, max_size=8, unique=True), st.booleans())
def test_a_plan_keeps_its_shape_on_paper(plan, turned):
    projection = fill_plan(plan, (10.0, 10.0, 190.0, 130.0), turned=turned)
    for a, b in itertools.combinations(plan, 2):
        on_paper = math.dist(projection(a), projection(b))
        assert on_paper == pytest.approx(projection.mm(math.dist(a, b)), rel=1e-9, abs=1e-9)
        assert projection.metres(projection.mm(3.0)) == pytest.approx(3.0)


@given(st.lists(points, min_size=2, max_size=8, unique=True), st.booleans())
def test_a_fitted_plan_lies_inside_its_area(plan, imperial):
    area = (12.0, 15.0, 195.0, 170.0)
    projection = fit_plan(plan, area, imperial=imperial)
    for x, y in projection.ring(plan):
        assert area[0] - 1e-6 <= x <= area[2] + 1e-6
        assert area[1] - 1e-6 <= y <= area[3] + 1e-6


@given(st.floats(0.5, 200.0), st.floats(0.5, 200.0), st.booleans())
def test_a_larger_room_never_gets_a_larger_scale(width, depth, imperial):
    room = (180.0, 150.0)
    here = choose_scale((width, depth), room, imperial=imperial)
    larger = choose_scale((width * 1.3, depth * 1.3), room, imperial=imperial)
    assert larger >= here
    assert width * 1e3 / here <= room[0] * (1 + 1e-9)


@given(st.text(max_size=60), st.floats(5.0, 60.0))
def test_wrapping_loses_only_blanks_and_keeps_the_width(text, room_mm):
    lines = fonts.wrap(text, room_mm=room_mm, cap_mm=2.0)
    for line in lines:
        assert fonts.width_mm(line, cap_mm=2.0) <= room_mm or len(line) <= 1
    if all(fonts.width_mm(w, cap_mm=2.0) <= room_mm for w in text.split()):
        assert " ".join(lines).split() == text.split()


@given(st.text(max_size=80))
def test_breaks_change_no_letter(text):
    assert breakable(text).replace("\u200b", "") == text.replace("\u200b", "")


@given(st.text(max_size=40))
def test_after_replacing_no_letter_is_missing(text):
    data = {"a": [text, {"b": text}]}
    assert missing_letters(shown(data, missing_letters(data))) == ()
