"""Which boards of a stack to take as sample boards, and what they alone would tell of the rest."""

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import t as student

from dashboards import entries, projection, sample_boards, situation
from dashboards.pages.stack import stack_page
from kiln.records import Band

OTHER = {"species": "Fraxinus americana", "width_mm": 190, "length_mm": 1500, "origin": "fresh-sawn", "stack": "S1"}


def stack(yard):
    return situation.read(yard.store, yard.now_ms, yard.settings).stacks[0]


def with_more(yard):
    yard.act(entries.add_board, "A3", thickness_mm=52, cut="flat-sawn", days_ago=30, **OTHER)
    yard.act(entries.add_board, "A4", thickness_mm=52, cut="quarter-sawn", days_ago=30, **OTHER)
    yard.act(entries.add_board, "A5", thickness_mm=27, cut="flat-sawn", days_ago=30, **OTHER)


@pytest.fixture
def made(yard):
    projection.refresh(yard.store, stack(yard).boards[0].subject.id, yard.now_ms, yard.settings)
    return stack(yard).boards[0].projection


def wet(made, mc_pct):
    """A projection with another mean."""
    return replace(made, mean=Band(*(np.full_like(made.mean.p50, mc_pct) for _ in range(7))))


def wetted(found, made, **mc_pct):
    """The stack with boards as wet as told."""
    boards = [
        replace(one, projection=wet(made, mc_pct[one.subject.code])) if one.subject.code in mc_pct else one
        for one in found.boards
    ]
    return replace(found, boards=boards)


def told(found):
    return [(one.board.subject.code, one.why) for one in found.boards]


def test_of_one_board_nothing_is_to_be_chosen(yard):
    found = stack(yard)
    assert sample_boards.samples(replace(found, boards=found.boards[:1])) is None
    assert sample_boards.samples(replace(found, boards=[])) is None


def test_before_anything_is_projected_the_thickest_quarter_sawn_board_is_taken_and_lifting_is_advised(yard):
    with_more(yard)
    found = sample_boards.samples(stack(yard))
    assert told(found) == [
        ("A4", "one of the thickest, 52 mm and quarter-sawn: it dries slowest"),
        ("A1", "of the thinnest, 27 mm: it is the first to be harmed"),
    ]
    assert found.mean_pct is None
    assert "the heaviest for its size" in sample_boards.sentences(found)[-1]


def test_of_boards_that_are_alike_one_in_the_middle_is_taken(yard):
    yard.act(entries.add_board, "A3", thickness_mm=27, cut="flat-sawn", days_ago=30, **OTHER)
    (middle, why), (end, why_end) = told(sample_boards.samples(stack(yard)))
    assert middle == "A2" and why.startswith("in the middle of the pile")
    assert end == "A1" and why_end.startswith("at an end of the pile")


def test_the_slowest_the_wettest_and_the_driest_are_taken_with_what_they_tell_of_all(yard, made):
    with_more(yard)
    yard.act(entries.change_stack, "S1", boards_in_all=12)
    found = sample_boards.samples(wetted(stack(yard), made, A1=31.0, A2=40.0, A3=44.0, A4=38.0, A5=25.0))
    assert told(found) == [
        ("A4", "one of the thickest, 52 mm and quarter-sawn: it dries slowest"),
        ("A3", "the wettest now, 44.0 %"),
        ("A5", "the driest now, 25.0 %: it is the first to be harmed"),
    ]
    # m ± t s / √n · √(1 - n / N) by hand: Student's t of 2 degrees of freedom, 9 in 10 below
    of = np.array([38.0, 44.0, 25.0])
    half = student.ppf(0.9, 2) * of.std(ddof=1) / np.sqrt(3) * np.sqrt(1 - 3 / 12)
    np.testing.assert_allclose(found.mean_pct, [of.mean() - half, of.mean(), of.mean() + half])
    lines = sample_boards.sentences(found)
    assert lines[0].startswith("Take A4, A3 and A5 as sample boards") and "common practice, no source" in lines[0]
    assert "the mean of all 12 would be 35.7 %" in lines[-1]


def test_the_slowest_may_itself_be_the_wettest_and_then_the_wettest_of_the_others_is_said_to_be_that(yard, made):
    with_more(yard)
    found = sample_boards.samples(wetted(stack(yard), made, A1=31.0, A4=48.0, A5=25.0))
    assert told(found)[0][1].startswith("one of the thickest, 52 mm, quarter-sawn and the wettest now, 48.0 %")
    assert told(found)[1] == ("A1", "the wettest now of the others, 31.0 %")


def test_the_page_of_a_stack_tells_them(yard, made):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    page = stack_page(now, now.stacks[0], "Ida", None)
    assert page.samples == sample_boards.sentences(sample_boards.samples(now.stacks[0]))
    assert re.match(r"Take A\d", page.samples[0])
