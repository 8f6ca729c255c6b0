"""A stack's page: its wettest board, week by week, and what is not known of it."""

import numpy as np

from dashboards import display, entries, projection, situation
from dashboards.pages.stack import stack_page


def stack(yard):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    return now, now.stacks[0]


def test_a_stacks_page_tells_its_wettest_board_now_and_in_weeks_to_come(yard):
    _now, found = stack(yard)
    assert found.wettest is None  # nothing is projected yet
    yard.act(entries.change_stack, "S1", boards_in_all=12)
    for board in found.boards:
        projection.refresh(yard.store, board.subject.id, yard.now_ms, yard.settings)
    now, found = stack(yard)
    page = stack_page(now, found, "Ida", None)
    greatest = np.max([board.projection.member_mc_pct for board in found.boards], axis=0)
    by_hand = np.quantile(greatest, [0.1, 0.5, 0.9], axis=0, method="weibull")
    assert page.wettest[0].startswith(f"The wettest of 2 boards now: {display.band(*by_hand[:, 0])}; most likely A")
    assert page.weeks[1].when.startswith("in 4 weeks, ")
    assert page.weeks[1].mean == display.band(*by_hand[:, 4])
    said = " ".join(page.verdict.evidence)
    assert "1 of 12 boards has been measured." in said
    assert "Nothing is known of the 10 that nobody entered but what these tell." in said
    assert page.holds == "12 boards in all, 2 of them entered"
