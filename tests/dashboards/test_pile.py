"""The pile's drawing: proportions, textures, marks, what can be read and reached, and what is left out."""

import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards import marks, pile
from dashboards.pile import BoardEnd
from kiln.records import Word

ENDS = re.compile(r'class="end" x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)" fill="([^"]+)"')
TOUCH = re.compile(r'class="touch" x="[\d.-]+" y="[\d.-]+" width="([\d.]+)" height="([\d.]+)"')
NARROWEST_PX = 288.0  # the room on a phone of 320 px, less the page's edges
LEAST_TARGET_PX = 24.0  # WCAG 2.2, success criterion 2.5.8


def end(code="K1", mc_pct=15.0, word=Word.WAIT, thickness_m=0.03, width_m=0.2, weighed=False):
    return BoardEnd(code, f"board {code}", f"/board/{code}", mc_pct, word, thickness_m, width_m, weighed)


def drawn(some):
    return [tuple(map(float, one[:4])) for one in ENDS.findall(pile.pile(some, "p"))]


@pytest.mark.parametrize(
    ("mc_pct", "fill"),
    [
        (28.0, "url(#p-dots)"),
        (27.9, "url(#p-close)"),
        (20.0, "url(#p-close)"),
        (13.0, "url(#p-open)"),
        (12.9, marks.PAPER),
        (None, "none"),
    ],
)
def test_more_ink_is_more_water_and_what_is_not_known_is_an_outline(mc_pct, fill):
    text = pile.pile([end(mc_pct=mc_pct)], "p")
    assert ENDS.search(text).group(5) == fill
    assert ("stroke-dasharray" in text.split('class="end"')[1].split("/>")[0]) == (mc_pct is None)


def test_thickness_and_width_are_in_proportion_where_they_fit():
    (_x, _y, wide, high), (_x2, _y2, other_wide, other_high) = drawn(
        [end("A", thickness_m=0.06, width_m=0.14), end("B", thickness_m=0.05, width_m=0.12)]
    )
    assert wide / high == pytest.approx(0.14 / 0.06, rel=0.01)
    assert (wide / other_wide, high / other_high) == pytest.approx((14 / 12, 6 / 5), rel=0.01)


def test_thin_boards_are_all_drawn_taller_by_the_same_factor():
    thin, thick = drawn([end("A", thickness_m=0.025), end("B", thickness_m=0.04)])
    assert thick[3] / thin[3] == pytest.approx(0.04 / 0.025, rel=0.01)
    assert thin[3] > thin[2] * 0.025 / 0.2


def test_the_first_board_lies_lowest_and_a_weighed_one_has_a_thicker_edge():
    first, _second, third = drawn([end("A"), end("B"), end("C")])
    assert first[1] > third[1]
    edges = re.findall(r'class="end".*?stroke-width="([\d.]+)"', pile.pile([end("A"), end("B", weighed=True)], "p"))
    assert float(edges[1]) > 2 * float(edges[0])


@pytest.mark.parametrize("word", list(Word))
def test_only_what_is_stopped_or_cannot_be_said_carries_its_mark(word):
    text = pile.pile([end(word=word)], "p")
    assert (marks.JOINTS[Word.STOP if word is Word.STOP else Word.CANT_SAY] in text) == (word in pile.CHALKED)
    assert f"board K1, {word.value}".replace("'", "&#39;") in text


def test_the_key_is_drawn_with_the_same_textures_and_tells_of_marks_only_those_that_are_there():
    plain = pile.key([end()])
    assert [one.text for one in plain] == ["from 28 %", "20 to 27 %", "13 to 19 %", "below 13 %"]
    assert "key-dots" in plain[0].swatch and "key-open" in plain[2].swatch
    full = pile.key([end(word=Word.STOP), end(mc_pct=None, word=Word.CANT_SAY), end(weighed=True)])
    assert [one.text for one in full[4:]] == ["broken: not known", "thick: weighed", "STOP", "CAN'T SAY"]
    assert pile.key([]) == ()


def test_of_more_boards_than_can_be_told_apart_it_is_said_how_many_are_left_out():
    assert pile.not_drawn(range(24)) == ""
    assert pile.not_drawn(range(25)) == "The first 24 are drawn; 1 more is listed below."
    assert pile.not_drawn(range(40)) == "The first 24 are drawn; 16 more are listed below."


def test_a_code_and_a_name_of_signs_are_no_markup():
    text = pile.pile([BoardEnd('<a"&', "<b>", "/board/x", 12.0, Word.WAIT, 0.03, 0.2, False)], "p")
    assert '<a"&' not in text and "<b>" not in text and "&lt;b&gt;" in text


@given(
    st.lists(
        st.tuples(st.floats(0.003, 0.15), st.floats(0.05, 0.6), st.text("ABK-0123456789", min_size=1, max_size=20)),
        min_size=1,
        max_size=24,
    )
)
def test_no_board_overlaps_another_or_leaves_the_drawing_and_each_can_be_touched(sizes):
    some = [end(code, thickness_m=thickness, width_m=width) for thickness, width, code in sizes]
    text = pile.pile(some, "p")
    found = drawn(some)
    (height,) = re.findall(rf'viewBox="0 0 {pile.WIDTH:g} (\d+)"', text)
    assert len(found) == len(some) == text.count("<a href")
    short = [one.code for one in some if len(one.code) <= 2]
    assert all(f">{code}" in text for code in short)  # a short code is never cut
    for left, top, wide, high in found:
        assert left >= 0 and left + wide <= pile.WIDTH and top >= 0 and top + high <= float(height)
    for one, other in pairwise(found):
        beside = other[0] >= one[0] + one[2] - 0.2
        above = other[1] + other[3] <= one[1] + one[3] - 1.0
        assert beside or above
    scale = NARROWEST_PX / pile.WIDTH
    for wide, high in TOUCH.findall(text):
        assert min(float(wide), float(high)) * scale >= LEAST_TARGET_PX
