"""How much wood there is: of a board, of a stack, after cuts and drying; against volumes worked out by hand."""

import pytest

from dashboards import display, entries, situation, volumes
from dashboards.answers import lifting
from dashboards.answers.records import Asked
from dashboards.cut_story import read as story_of
from dashboards.pages.board import board_page
from dashboards.pages.stack import stack_page

CAME_M3 = 0.027 * 0.190 * 1.500


def board_volume(yard, code="A1"):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    board = next(one for one in now.boards if one.subject.code == code)
    return volumes.of_board(yard.store, board.subject.id, yard.now_ms)


def on_stack(yard):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    return stack_page(now, now.stacks[0], "Ida", None).volume


def test_a_volume_is_told_in_cubic_metres_and_board_feet():
    # a board of 1 in × 12 in × 12 ft is 12 board feet by definition
    assert display.volume(0.0254 * 0.3048 * 3.6576) == "0.0283 m³ (12.0 board feet)"
    assert display.volume(2.5) == "2.500 m³ (1059 board feet)"


def test_a_board_as_it_came_has_one_volume(yard):
    found = board_volume(yard)
    assert found.now_m3 == found.came_m3 == pytest.approx(CAME_M3)
    assert volumes.board_words(found) == "Net volume 0.0077 m³ (3.26 board feet)"
    assert on_stack(yard) == f"Net volume {display.volume(2 * CAME_M3)}"


def test_cuts_and_a_measured_thickness_count_and_a_later_cut_ends_the_measured_one(yard):
    yard.act(entries.plane_board, "A1", off_marked_mm=2, days_ago=9)
    assert board_volume(yard).now_m3 == pytest.approx(0.025 * 0.190 * 1.5)
    yard.act(entries.add_outcome, "A1", kind="thickness", thickness_mm=24, days_ago=6)
    assert "by its measured thickness of 24 mm" in volumes.board_words(board_volume(yard))
    assert board_volume(yard).now_m3 == pytest.approx(0.024 * 0.190 * 1.5)
    yard.act(entries.plane_board, "A1", off_other_mm=3, days_ago=3)
    found = board_volume(yard)
    assert found.now_m3 == pytest.approx(0.022 * 0.190 * 1.5) and found.dry_thickness_m is None
    assert volumes.board_words(found).endswith(f"; {display.volume(CAME_M3)} when it was entered")
    assert on_stack(yard).endswith(f"; {display.volume(2 * CAME_M3)} when they came")


def test_a_piece_sawn_off_in_the_stack_came_as_a_part_of_its_board(yard):
    yard.act(entries.rip_board, "A1", piece="A1-b", kerf_mm=2, width_mm=100, days_ago=2)
    left_m3 = 0.027 * 1.5 * (0.190 - 0.002) + CAME_M3
    assert on_stack(yard) == f"Net volume {display.volume(left_m3)}; {display.volume(2 * CAME_M3)} when they came"


def test_the_board_page_and_the_question_of_lifting_tell_it(yard):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    board = now.boards[0]
    page = board_page(now, board, story_of(yard.store, board.subject, yard.now_ms), "Ida", None)
    assert page.volume.startswith("Net volume 0.0077 m³")
    typed = {"species": "Quercus rubra", "diameter_mm": "400", "length_mm": "3000", "pieces": "2"}
    lines = {one.name: one.value for one in lifting.answer(Asked(typed, None)).lines}
    assert lines["Net volume of 2"] == display.volume(2 * 0.3769911)  # π 0.2² 3
    lines = {one.name: one.value for one in lifting.answer(Asked({"stack": "S1"}, now)).lines}
    assert lines["Net volume"] == display.volume(2 * CAME_M3)
