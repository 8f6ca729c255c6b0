"""What is published: each row once, marked after the broker's answer, tried again when it is refused."""

from __future__ import annotations

import json
from typing import Any

import pytest

from sensors.client import Arrived
from sensors.outbox import RETRY_S, UNDER_WAY
from shared.errors import BadInput
from shared.store import Store, outbox, readings
from shared.store.records import Outgoing

TOPIC = "benchdry/verdict/board/{}"
NOW_MS = 1_795_000_000_000


def post(store: Store, code: str, payload: str, *, topic: str = TOPIC, made_ms: int = NOW_MS) -> int:
    with store.writing() as connection:
        return outbox.put(connection, topic=topic.format(code), payload=payload, retain=True, made_ms=made_ms)


def waiting(store: Store) -> int:
    with store.reading() as connection:
        return outbox.waiting(connection)


def row(store: Store, now_ms: int = 10**14) -> Outgoing:
    with store.reading() as connection:
        (found,) = outbox.due(connection, now_ms, 10)
    return found


def went_out(bench: Any) -> list[str]:
    return [one.payload for _, one in bench.client.published]


def turn(bench: Any, seconds: float = 1.0) -> None:
    bench.wait(seconds)
    bench.recorder.step()


def answer(bench: Any, refusal: str = "") -> None:
    """Answer what went out last as the broker does."""
    bench.client.on_published(bench.client.published[-1][0], refusal)


def test_a_row_goes_out_once_and_is_marked_after_the_answer(bench: Any, store: Store) -> None:
    post(store, "A1", "first")
    bench.start()
    assert went_out(bench) == ["first"]
    for _ in range(5):
        turn(bench)
    assert went_out(bench) == ["first"] and waiting(store) == 1, "not before the answer"
    answer(bench)
    turn(bench)
    assert waiting(store) == 0
    for _ in range(5):
        turn(bench)
    assert went_out(bench) == ["first"]


def test_a_newer_row_of_a_topic_waits_for_the_answer_to_the_older(bench: Any, store: Store) -> None:
    post(store, "A1", "first")
    bench.start()
    post(store, "A1", "second")
    post(store, "A2", "other")
    turn(bench)
    assert went_out(bench) == ["first", "other"]
    bench.client.on_published(1, "")
    turn(bench)
    assert went_out(bench) == ["first", "other", "second"], "the answer to the first does not count for the second"
    assert waiting(store) == 2


def test_a_refused_row_is_tried_again_later_and_later_and_says_why(bench: Any, store: Store) -> None:
    post(store, "A1", "first")
    bench.start()
    for tries, pause_s in enumerate([*RETRY_S, RETRY_S[-1]], start=1):
        assert len(went_out(bench)) == tries
        answer(bench, "Not authorized")
        turn(bench)
        assert (row(store).tries, row(store).note) == (tries, "Not authorized")
        turn(bench, pause_s - 5)
        assert len(went_out(bench)) == tries, "too early"
        turn(bench, 5)
    turn(bench, 5)
    with store.reading() as connection:
        state = readings.recorder_state(connection)
    assert state is not None and state.note == "connected; the broker does not take our verdicts (Not authorized)"
    answer(bench)
    turn(bench)
    turn(bench, 5)
    with store.reading() as connection:
        state = readings.recorder_state(connection)
    assert state is not None and state.note == "connected" and waiting(store) == 0


def test_without_a_connection_nothing_is_tried(bench: Any, store: Store) -> None:
    bench.start()
    bench.client.connected = False
    post(store, "A1", "first")
    for _ in range(5):
        turn(bench)
    assert went_out(bench) == [] and row(store).tries == 0
    bench.client.connected = True
    turn(bench)
    assert went_out(bench) == ["first"]


def test_a_line_that_takes_nothing_more_is_asked_again(bench: Any, store: Store) -> None:
    bench.start()
    bench.client.takes = False
    post(store, "A1", "first")
    turn(bench)
    bench.client.takes = True
    turn(bench)
    assert went_out(bench) == ["first"]


def test_an_answer_that_cannot_be_written_down_is_kept_and_nothing_goes_out_twice(bench: Any, store: Store) -> None:
    post(store, "A1", "first")
    bench.start()
    answer(bench)
    bench.store.failures_after = 2
    turn(bench)
    turn(bench)
    assert waiting(store) == 1
    turn(bench)
    assert waiting(store) == 0 and went_out(bench) == ["first"]


def test_a_store_that_cannot_be_written_is_left_alone_until_readings_are_on_disk(bench: Any, store: Store) -> None:
    bench.start()
    bench.store.failures_before = 10**6
    bench.give(Arrived("workshop/a/temperature", b"21.5", False, False, 7, 1, 1))
    bench.commit()
    post(store, "A1", "first")
    turn(bench, 0.1)
    assert went_out(bench) == [] and bench.client.acknowledged == []
    bench.store.failures_before = 0
    bench.commit()
    turn(bench)
    assert bench.client.acknowledged == [7] and went_out(bench) == ["first"]


def test_in_one_turn_only_so_much_is_done_and_in_the_end_all(bench: Any, store: Store) -> None:
    for number in range(3 * UNDER_WAY):
        post(store, f"B{number}", str(number))
    bench.start()
    assert len(went_out(bench)) == UNDER_WAY
    answered = 0
    while answered < 3 * UNDER_WAY:
        for packet_id, _ in bench.client.published[answered:]:
            bench.client.on_published(packet_id, "")
            answered += 1
        before = len(went_out(bench))
        turn(bench)
        assert len(went_out(bench)) - before <= UNDER_WAY
    assert went_out(bench) == [str(number) for number in range(3 * UNDER_WAY)] and waiting(store) == 0


def test_between_two_looks_the_outbox_costs_no_query(bench: Any, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.start()
    looks = 0

    def due(*_: object) -> list[Outgoing]:
        nonlocal looks
        looks += 1
        return []

    monkeypatch.setattr("sensors.outbox.outbox.due", due)
    for _ in range(100):
        turn(bench, 0.05)
    assert looks <= 6


def test_a_recorder_that_spares_the_disk_looks_and_marks_rarely(bench: Any, store: Store) -> None:
    bench.start(commit_every_s=30.0)
    post(store, "A1", "first")
    for _ in range(15):
        turn(bench)
    assert went_out(bench) == []
    turn(bench, 5)
    assert went_out(bench) == ["first"]


def test_a_row_that_no_broker_would_take_stops_neither_readings_nor_other_rows(bench: Any, store: Store) -> None:
    bench.start()
    post(store, "A1", "bad", topic="benchdry/#/{}")
    post(store, "A2", "good")
    turn(bench)
    assert went_out(bench) == ["good"]
    answer(bench)
    turn(bench)
    assert row(store).note == "no such topic"


def test_with_an_empty_prefix_nothing_is_published(bench: Any, store: Store) -> None:
    post(store, "A1", "first")
    bench.start(verdict_topic_prefix="")
    turn(bench)
    assert went_out(bench) == [] and waiting(store) == 1


def test_a_prefix_that_mqtt_forbids_is_refused(bench: Any) -> None:
    with pytest.raises(BadInput, match="verdict_topic_prefix"):
        bench.start(verdict_topic_prefix="a/#")


def test_a_recorder_that_ends_writes_down_what_was_answered(bench: Any, store: Store) -> None:
    post(store, "A1", "first")
    bench.start()
    answer(bench)
    bench.recorder.run(stop=lambda: True)
    assert waiting(store) == 0


def test_an_answer_to_something_else_is_nothing(bench: Any, store: Store) -> None:
    post(store, "A1", "first")
    bench.start()
    bench.client.on_published(999, "")
    turn(bench)
    assert waiting(store) == 1


# --- what is our own is no reading -------------------------------------------------------------------


def test_our_own_verdicts_are_taken_for_no_reading_and_yet_acknowledged(bench: Any, store: Store) -> None:
    bench.start(broker_topics="#")
    own = json.dumps({"temperature": 21.5, "humidity": 60})
    for mid, (topic, retained) in enumerate(
        [(TOPIC.format("A1"), False), ("benchdry/verdict/status", True), ("benchdry/shed/north", False)], start=1
    ):
        bench.give(Arrived(topic, own.encode(), retained, False, mid, 1, 1))
    bench.commit()
    assert bench.client.acknowledged == [1, 2, 3]
    assert bench.recorder.own_ignored == 2 and bench.recorder.rejected == 0
    assert bench.recorder.stored == 2, "only of the probe that lies beside them"
