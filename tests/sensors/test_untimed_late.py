"""Rule 5 of sensors/untimed.py: what may have waited long in the broker's queue is stored, and not believed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from sensors import untimed
from sensors.client import Arrived
from sensors.untimed import Queue
from shared.store import Store
from shared.store.records import Quality, Reading

NOW_MS = 1_795_000_000_000
HOUR_S = 3600.0
Bench = Any  # in conftest.py
Stored = Callable[[Store], list[Reading]]


def plain(mid: int, value: float) -> Arrived:
    """A number on its topic, without a time."""
    return Arrived("workshop/shed/humidity", str(value).encode(), False, False, mid, 1, 1)


def timed(mid: int, value: float, at_ms: int) -> Arrived:
    return Arrived("workshop/kiln", f'{{"temperature": {value}, "ts": {at_ms}}}'.encode(), False, False, mid, 1, 1)


def test_a_queue_of_a_night_is_stored_and_not_believed_until_a_pause_shows_its_end(
    bench: Bench, store: Store, stored: Stored
) -> None:
    bench.start(kept=False)
    bench.give(plain(1, 71))
    bench.commit()
    bench.client.lose()
    bench.wait(8 * HOUR_S)
    bench.client.life += 1
    bench.client.session_kept = True
    bench.give(ping=True)
    for mid in range(2, 12):
        bench.give(plain(mid, 40 + mid))
        bench.wait(0.01)
    bench.commit()
    bench.give(plain(12, 80), timed(13, 20.0, bench.ms))
    bench.commit()
    by_value = {row.value: row.quality for row in stored(store)}
    assert {by_value[40 + mid] for mid in range(2, 12)} == {Quality.LATE}
    assert {by_value[one] for one in (71, 80, 20.0)} == {Quality.GOOD}
    assert bench.recorder.late == 10
    assert "waited in the broker's queue" in bench.recorder._note()


def test_readings_with_their_own_time_may_come_as_late_as_they_like(bench: Bench, store: Store, stored: Stored) -> None:
    bench.start()
    bench.client.lose()
    bench.wait(8 * HOUR_S)
    bench.client.life += 1
    bench.give(timed(1, 20.0, NOW_MS + 1000), ping=True)
    bench.commit()
    assert [row.quality for row in stored(store)] == [Quality.GOOD]


@pytest.mark.parametrize(("away_s", "flag"), [(240.0, Quality.GOOD), (360.0, Quality.LATE)])
def test_a_restart_is_an_absence_like_any_other(
    bench: Bench, store: Store, stored: Stored, away_s: float, flag: Quality
) -> None:
    bench.start()
    bench.recorder.run(stop=lambda: True)
    bench.wait(away_s)
    bench.start()
    bench.give(plain(1, 71))
    bench.commit()
    assert [row.quality for row in stored(store)] == [flag]


@pytest.mark.parametrize(("told", "flag"), [({"kept": False}, Quality.GOOD), ({"kept": True}, Quality.LATE)])
def test_a_queue_on_a_store_that_knows_no_recorder_is_of_unknown_age(
    bench: Bench, store: Store, stored: Stored, told: dict[str, bool], flag: Quality
) -> None:
    bench.start(**told)
    bench.give(plain(1, 71))
    bench.commit()
    assert [row.quality for row in stored(store)] == [flag]


def test_a_flag_for_a_worse_fault_stays(bench: Bench, store: Store, stored: Stored) -> None:
    bench.start()
    bench.give(plain(1, 171))
    bench.commit()
    assert [row.quality for row in stored(store)] == [Quality.OUT_OF_RANGE]


class TestQueue:
    """The rule by itself: spans of silence, and pauses that show an empty queue."""

    def test_signs_of_life_keep_it_from_being_an_absence(self) -> None:
        queue = Queue(0, 0, 0.0)
        for second in range(0, 3600, 30):
            queue.read(second * 1000, float(second))
        assert not queue.is_late(3600.0)

    @pytest.mark.parametrize(("wall_s", "monotonic_s"), [(3600, 3600.0), (3600, 1.0), (-3600, 3600.0), (0, 3600.0)])
    def test_either_clock_can_show_an_absence(self, wall_s: int, monotonic_s: float) -> None:
        queue = Queue(0, 0, 0.0)
        queue.read(wall_s * 1000, monotonic_s)
        assert queue.is_late(monotonic_s)

    def test_an_acknowledgement_is_followed_by_what_waited_so_that_only_a_pause_after_it_counts(self) -> None:
        queue = Queue(None, 0, 0.0)
        queue.acknowledged(5.0)
        assert queue.is_late(5.0 + untimed.PAUSE_S / 2)
        assert not queue.is_late(5.0 + 2 * untimed.PAUSE_S)
        assert not queue.is_late(5.0 + 2 * untimed.PAUSE_S + 0.001), "once empty, it stays so"

    def test_a_clock_set_back_during_a_restart_tells_no_span(self) -> None:
        assert Queue(3_600_000, 0, 0.0).is_late(0.0)
        assert not Queue(60_000, 0, 0.0).is_late(0.0)
