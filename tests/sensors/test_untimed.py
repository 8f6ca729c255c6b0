"""Readings without a time of their own: each rule of sensors/untimed.py, by itself and in the recorder."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.client import Arrived
from sensors.untimed import Memory, Redelivered, stored_before
from shared.store import Store, readings
from shared.store.records import Reading, TimeSource

NOW_MS = 1_795_000_000_000
HOUR_S = 3600.0
Bench = Any  # in conftest.py
Stored = Callable[[Store], list[Reading]]


def plain(mid: int, value: float | str, *, again: bool = False, topic: str = "workshop/shed", qos: int = 1) -> Arrived:
    """A number on its topic, without a time."""
    return Arrived(f"{topic}/humidity", str(value).encode(), retained=False, repeated=again, mid=mid, qos=qos, life=1)


def timed(mid: int, value: float, at_ms: int, *, again: bool = False) -> Arrived:
    payload = f'{{"temperature": {value}, "ts": {at_ms}}}'.encode()
    return Arrived("workshop/kiln", payload, retained=False, repeated=again, mid=mid, qos=1, life=1)


def values(rows: list[Reading]) -> list[float]:
    return [row.value for row in rows]


def never(_series_id: int, _at_ms: int) -> bool:
    """Nothing with a time of its own is stored."""
    return False


# --- rule 1: two in one millisecond are two --------------------------------------------------------


def test_readings_that_arrive_in_the_same_millisecond_are_each_stored(
    bench: Bench, store: Store, stored: Stored
) -> None:
    bench.start()
    bench.give(*(plain(mid, value) for mid, value in enumerate([71, 71, 72, 71])))
    bench.commit()
    rows = stored(store)
    assert values(rows) == [71, 71, 72, 71]
    assert [row.at_ms - NOW_MS for row in rows] == [0, 1, 2, 3]
    assert {row.time_source for row in rows} == {TimeSource.RECEIVED}
    with store.reading() as connection:
        assert readings.count_conflicts(connection) == 0


def test_a_burst_that_runs_ahead_of_the_clock_stays_in_order_over_commits_and_a_restart(
    bench: Bench, store: Store, stored: Stored
) -> None:
    bench.start()
    for start in (0, 500, 1000):
        bench.give(*(plain(start + i, 20 + (start + i) / 100) for i in range(500)))  # each fills a batch, at one time
        bench.wait(0.001)
    bench.commit()
    bench.ms -= 1000
    bench.start()
    bench.give(*(plain(i, 20 + i / 100) for i in range(1500, 1510)))
    bench.commit()
    rows = stored(store)
    assert len(rows) == len({row.at_ms for row in rows}) == 1510
    assert sorted(values(rows)) == [20 + i / 100 for i in range(1510)]
    assert values(rows[:1500]) == [20 + i / 100 for i in range(1500)]


def test_an_hour_that_the_clock_goes_through_twice_keeps_every_reading(
    bench: Bench, store: Store, stored: Stored
) -> None:
    bench.start()
    for round_ in range(2):
        for i in range(60):
            bench.give(plain(round_ * 60 + i, 50 + i / 10 + round_))
            bench.wait(60)
        bench.wait(0, wall_s=-HOUR_S)
    bench.commit()
    assert len(stored(store)) == 120
    with store.reading() as connection:
        assert readings.count_conflicts(connection) == 0
        state = readings.recorder_state(connection)
    assert state is not None and "clock was set back by 3600 s" in state.note


def test_a_reading_with_its_own_time_is_not_moved(bench: Bench, store: Store, stored: Stored) -> None:
    bench.start()
    own = Arrived("workshop/shed", f'{{"humidity": 60, "ts": {NOW_MS}}}'.encode(), False, False, 2, 1, 1)
    bench.give(plain(1, 70), own, plain(3, 80))
    bench.commit()
    assert [(row.at_ms - NOW_MS, row.value) for row in stored(store)] == [(0, 60), (1, 70), (2, 80)]


# --- rule 2: redelivered to the same recorder ------------------------------------------------------


def test_what_was_stored_and_comes_again_after_a_lost_connection_is_dropped_and_counted(
    bench: Bench, store: Store, stored: Stored
) -> None:
    bench.start()
    bench.give(plain(1, 71), plain(2, 72))
    bench.reconnect()
    bench.give(plain(1, 71, again=True), plain(2, 72, again=True), plain(3, 73, again=True))
    bench.commit()
    bench.reconnect()  # and once more, for no acknowledgement is known to have come through
    bench.give(plain(1, 71, again=True), plain(3, 73, again=True))
    bench.commit()
    assert values(stored(store)) == [71, 72, 73]
    assert bench.recorder.repeated == 4
    assert bench.client.acknowledged[-2:] == [1, 3]


@pytest.mark.parametrize(
    "second",
    [
        plain(1, 71),  # not marked as redelivered
        plain(2, 71, again=True),  # another message, that was lost on its way to us
        plain(1, 72, again=True),  # the id has been given to another message since
        plain(1, 71, again=True, topic="workshop/attic"),
    ],
)
def test_what_only_looks_like_a_repeat_is_a_reading(
    bench: Bench, store: Store, stored: Stored, second: Arrived
) -> None:
    bench.start()
    bench.give(plain(1, 71))
    bench.reconnect()
    bench.give(second)
    bench.commit()
    assert len(stored(store)) == 2
    assert bench.recorder.repeated == 0


def test_an_id_that_a_timed_message_has_used_since_tells_nothing_any_more(
    bench: Bench, store: Store, stored: Stored
) -> None:
    bench.start()
    bench.give(plain(1, 71))
    bench.commit()
    bench.give(timed(1, 20.0, NOW_MS))
    bench.reconnect()
    bench.give(plain(1, 71, again=True))
    bench.commit()
    assert sorted(values(stored(store))) == [20.0, 71, 71]


def test_in_a_new_session_ids_tell_nothing_and_the_loss_is_said(bench: Bench, store: Store, stored: Stored) -> None:
    bench.start()
    bench.give(plain(1, 71))
    bench.reconnect(kept=False)
    bench.give(plain(1, 71, again=True))
    bench.commit()
    assert values(stored(store)) == [71, 71]
    assert "kept nothing" in bench.recorder._note()


def test_a_message_that_was_not_stored_before_the_connection_went_is_stored_once(
    bench: Bench, store: Store, stored: Stored
) -> None:
    bench.start()
    bench.store.failures_before = 1
    bench.give(plain(1, 71))
    bench.client.lose()
    assert stored(store) == [] and bench.client.acknowledged == []
    bench.client.life += 1
    bench.commit()  # the write works again; only then is the socket read
    bench.give(plain(1, 71, again=True))
    bench.commit()
    assert values(stored(store)) == [71]


def test_a_reject_that_comes_again_is_kept_once(bench: Bench, store: Store) -> None:
    bench.start()
    bench.give(plain(1, "unavailable"))
    bench.reconnect()
    bench.give(plain(1, "unavailable", again=True))
    bench.commit()
    bench.start()
    bench.give(plain(1, "unavailable", again=True), plain(2, "unavailable", again=True))
    bench.commit()
    with store.reading() as connection:
        assert len(readings.recent_rejects(connection, 10)) == 2


def test_a_large_reject_that_comes_again_is_kept_once_and_its_bytes_are_not_held(bench: Bench, store: Store) -> None:
    bench.start()
    bench.give(plain(1, "9" * 1_000_000))
    assert len(bench.recorder._waiting[0].message.payload) == readings.REJECT_PAYLOAD_BYTES
    bench.reconnect()
    bench.give(plain(1, "9" * 1_000_000, again=True))
    bench.commit()
    with store.reading() as connection:
        (one,) = readings.recent_rejects(connection, 10)
    assert "1000" in one.reason and len(one.payload) == readings.REJECT_PAYLOAD_BYTES


def test_memory_of_messages_that_are_never_redelivered_is_not_kept() -> None:
    memory = Memory()
    memory.stored(plain(0, 71, qos=0), untimed=True)
    assert not memory.holds(plain(0, 71, again=True))


# --- rule 3: redelivered to a recorder that was started anew -----------------------------------------


@pytest.mark.parametrize("acknowledged", [0, 1, 3])
def test_after_a_restart_the_store_tells_what_was_stored(
    bench: Bench, store: Store, stored: Stored, acknowledged: int
) -> None:
    bench.start()
    bench.give(plain(1, 71), plain(2, 72), plain(3, 73))
    bench.commit()
    bench.give(plain(4, 74))  # read, and lost with the recorder
    bench.wait(5)
    bench.start()
    held = [plain(1, 71, again=True), plain(2, 72, again=True), plain(3, 73, again=True)][acknowledged:]
    for one in [*held, plain(4, 74, again=True)]:
        bench.give(one)
        bench.wait(0.05)
    assert len(stored(store)) == 3, "judged before all of them had come"
    bench.give(plain(5, 75))
    bench.commit()
    assert values(stored(store)) == [71, 72, 73, 74, 75]
    assert bench.recorder.repeated == 3 - acknowledged


def test_a_redelivery_is_judged_once_nothing_more_comes(bench: Bench, store: Store, stored: Stored) -> None:
    bench.start()
    bench.give(plain(1, 71))
    bench.commit()
    bench.start()
    bench.give(plain(1, 71, again=True), plain(2, 72, again=True))
    bench.wait(0.6)
    bench.recorder.step()
    assert len(stored(store)) == 1 and bench.client.acknowledged == []
    bench.commit()
    assert values(stored(store)) == [71, 72]
    assert bench.client.acknowledged == [1, 2]


def test_an_older_reading_of_the_same_figure_is_no_repeat(bench: Bench, store: Store, stored: Stored) -> None:
    bench.start()
    bench.give(plain(1, 71))
    bench.commit()
    bench.wait(120)
    bench.recorder.step()  # a sign of life: the acknowledgement of 71 came through long ago
    bench.give(plain(2, 71))  # lost with the recorder
    bench.start()
    bench.give(plain(2, 71, again=True))
    bench.commit()
    assert values(stored(store)) == [71, 71]


def test_two_that_were_redelivered_with_a_timed_one_between_are_told_by_it(
    bench: Bench, store: Store, stored: Stored
) -> None:
    bench.start()
    bench.give(plain(1, 71), plain(2, 71))
    bench.commit()
    bench.start()
    # Both figures fit, but the timed one between shows that only the first was stored.
    bench.give(plain(2, 71, again=True), timed(3, 20.0, NOW_MS + 1000, again=True), plain(4, 71, again=True))
    bench.commit()
    rows = stored(store)
    assert sorted(values(rows)) == [20.0, 71, 71, 71]
    assert bench.recorder.repeated == 1


def test_without_a_recorder_before_nothing_is_held_back_or_dropped(bench: Bench, store: Store, stored: Stored) -> None:
    bench.start()
    bench.give(plain(1, 71, again=True))
    bench.wait(0.5)
    bench.recorder.step()
    assert values(stored(store)) == [71]


def test_what_is_held_back_is_written_when_the_connection_goes(bench: Bench, store: Store, stored: Stored) -> None:
    bench.start()
    bench.give(plain(1, 71), plain(2, 72))
    bench.commit()
    bench.start()
    bench.give(plain(1, 71, again=True), plain(2, 72, again=True))
    bench.reconnect()
    bench.give(plain(1, 71, again=True), plain(2, 72, again=True), plain(3, 73, again=True))
    bench.commit()
    assert values(stored(store)) == [71, 72, 73]
    assert bench.recorder.repeated == 4


def test_a_broker_that_kept_no_session_redelivers_nothing(bench: Bench, store: Store, stored: Stored) -> None:
    bench.start()
    bench.give(plain(1, 71))
    bench.commit()
    bench.start(kept=False)
    bench.give(plain(1, 71, again=True))
    bench.commit()
    assert values(stored(store)) == [71, 71]


@given(
    stored=st.lists(st.tuples(st.integers(1, 2), st.integers(0, 9)), max_size=12),
    lost=st.integers(0, 12),
    new=st.lists(st.tuples(st.integers(1, 2), st.integers(10, 19)), max_size=6),
)
def test_the_number_stored_before_is_found_when_figures_differ(
    stored: list[tuple[int, int]], lost: int, new: list[tuple[int, int]]
) -> None:
    kept = [(series, float(number * 100 + value)) for number, (series, value) in enumerate(stored)]
    coming = kept[len(kept) - min(lost, len(kept)) :]
    tails: dict[int, list[float]] = {}
    for series, value in kept:
        tails.setdefault(series, []).append(value)
    sequence = [*coming, *((series, float(-value)) for series, value in new)]
    assert stored_before([Redelivered([one]) for one in sequence], tails, never) == len(coming)


@given(
    tail=st.lists(st.integers(0, 1).map(float), max_size=6),
    said=st.lists(st.integers(0, 1).map(float), max_size=6),
)
def test_the_number_is_the_largest_for_which_the_end_of_what_is_stored_begins_what_came(
    tail: list[float], said: list[float]
) -> None:
    found = stored_before([Redelivered([(1, value)]) for value in said], {1: tail}, never)
    fits = [n for n in range(len(said) + 1) if n <= len(tail) and tail[len(tail) - n :] == said[:n]]
    assert found == max(fits)


def test_a_timed_reading_that_is_not_stored_ends_what_was() -> None:
    one, timed_one = Redelivered([(1, 5.0)]), Redelivered([], [(2, NOW_MS)])
    assert stored_before([one, timed_one, one], {1: [5.0, 5.0]}, never) == 1
    assert stored_before([one, timed_one, one], {1: [5.0, 5.0]}, lambda *_: True) == 3
