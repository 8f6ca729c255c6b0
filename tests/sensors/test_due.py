"""When a batch is written: by age, by rows, by half of the window, and for a broker whose window is narrower."""

from __future__ import annotations

from collections import deque

import pytest

from sensors import client, wear
from sensors.due import Due
from shared.settings import Settings


def gentle(**others: float) -> Due:
    return Due(Settings(**{"commit_every_s": 60.0, "commit_rows": 5000, **others}))  # type: ignore[arg-type]


def test_a_batch_is_written_after_its_time_and_not_for_a_lull() -> None:
    due = gentle()
    for waiting in range(1, 241):
        due.took(waiting, 100.0 + waiting / 4)
    assert not due.is_due(240, 160.0, quiet=True)
    assert due.is_due(240, 160.25, quiet=False)


def test_with_quick_commits_a_lull_with_many_waiting_is_enough() -> None:
    due = Due(Settings())
    due.took(1, 100.0)
    assert due.is_due(50, 100.1, quiet=True)
    assert not due.is_due(49, 100.1, quiet=True)
    assert not due.is_due(499, 100.1, quiet=False)
    assert due.is_due(500, 100.1, quiet=False)


@pytest.mark.parametrize("rows", [1000, 2000, 5000])
def test_half_of_the_window_is_never_exceeded_whatever_the_settings_say(rows: int) -> None:
    due = gentle(commit_rows=rows)
    assert due.limit == 1000 == client.RECEIVE_MAXIMUM // 2
    due.took(1, 0.0)
    assert due.is_due(1000, 0.1, quiet=False)


def stored_in(due: Due, window: int, backlog: int, seconds: float) -> int:
    """Play a broker that has ``backlog`` waiting, sends until ``window`` are unacknowledged, and adds four a second."""
    queue, waiting, stored, now_s, came = backlog, deque[float](), 0, 0.0, 0.0
    while now_s < seconds:
        now_s += 0.001
        came += 0.004
        if queue + int(came) and len(waiting) < window:
            queue, came = (queue - 1, came) if queue else (queue, came - 1)
            waiting.append(now_s)
            due.took(len(waiting), now_s)
        if waiting and due.is_due(len(waiting), now_s, quiet=False):
            due.wrote(len(waiting), now_s)
            stored += len(waiting)
            waiting.clear()
    return stored


@pytest.mark.parametrize("window", [20, 32, 100, 65_535])
def test_a_broker_with_a_window_of_its_own_is_not_kept_waiting_for_each_batch(window: int) -> None:
    assert stored_in(gentle(), window, backlog=3000, seconds=300.0) >= 3000


def test_a_new_connection_may_be_to_another_broker() -> None:
    due = gentle()
    stored_in(due, 20, backlog=3000, seconds=130.0)
    assert due.limit == 10
    due.new_connection()
    assert due.limit == 1000


# --- what it costs the disk ------------------------------------------------------------------------


def test_the_estimate_gives_back_what_was_measured() -> None:
    # The measurement of sensors/wear.py: 40 series, a reading of each every 10 s; MB a day.
    for every_s, megabytes in ((0.5, 8290), (1, 5740), (5, 5820), (30, 2390), (60, 1450)):
        assert wear.bytes_a_day(345_600, every_s, 1000) / 1e6 == pytest.approx(megabytes, rel=0.02)


@pytest.mark.parametrize("rows", [1.0, 5760.0, 345_600.0, 5e6])
def test_waiting_longer_never_writes_more(rows: float) -> None:
    costs = [wear.bytes_a_day(rows, every_s, 1000) for every_s in (0.05, 0.4, 1, 5, 10, 30, 60)]
    assert costs == sorted(costs, reverse=True)


def test_a_limit_of_rows_is_reckoned_with() -> None:
    assert wear.bytes_a_day(345_600, 60, 20) == wear.bytes_a_day(345_600, 5, 1000)


def test_the_sentence_says_the_delay_and_that_it_is_an_estimate() -> None:
    assert wear.sentence(0, 60.0, 500) == (
        "a reading is written at most 60 s after it came, or when 500 wait; "
        "for 40 series with a reading each 10 s about 1,452 MB a day are written (an estimate)"
    )
    assert "the 5,760 readings of the last day" in wear.sentence(5760, 0.4, 500)
