"""The recorder by itself: a client made of a list, so that each order of events can be set up."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from sensors import topics
from sensors.client import Arrived
from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store, facts, readings
from shared.store.records import ProbeFact, ProbePosition, Quality, Reading, Reject, SubjectKind, TimeSource

NOW_MS = 1_795_000_000_000
ListedClient = BrokenStore = Any  # in conftest.py


def message(mid: int, payload: str | bytes, topic: str = "workshop/shed", *, retained: bool = False) -> Arrived:
    raw = payload.encode() if isinstance(payload, str) else payload
    return Arrived(topic, raw, retained=retained, repeated=False, mid=mid, qos=1, life=1)


def humidity(mid: int, value: float = 71.0, at_ms: int | None = None, topic: str = "workshop/shed") -> Arrived:
    return message(mid, f'{{"humidity": {value}, "ts": {NOW_MS + mid if at_ms is None else at_ms}}}', topic)


def rejects(store: Store) -> list[Reject]:
    with store.reading() as connection:
        return readings.recent_rejects(connection, 100)


def probes(store: Store) -> list[ProbeFact]:
    with store.reading() as connection:
        return facts.standing(connection, ProbeFact)


def record(recorder: Recorder, client: ListedClient, until: Callable[..., None], *messages: Arrived) -> None:
    """Hand messages over and step until all of them are acknowledged."""
    client.coming += messages
    wanted = len(client.acknowledged) + len(messages)
    until(recorder.step, lambda: len(client.acknowledged) >= wanted)


Stored = Callable[[Store], list[Reading]]
Until = Callable[..., None]


def test_a_message_is_on_disk_before_it_is_acknowledged_and_acknowledgements_keep_the_order(
    recorder: Recorder, client: ListedClient, store: Store, until: Until, stored: Stored
) -> None:
    on_disk: list[int] = []
    client.on_acknowledge = lambda: on_disk.append(len(stored(store)))
    record(recorder, client, until, *(humidity(mid) for mid in (3, 1, 2)))
    assert on_disk == [3, 3, 3]
    assert client.acknowledged == [3, 1, 2]


def test_a_write_that_fails_acknowledges_nothing_reads_nothing_more_and_loses_nothing(
    recorder: Recorder, client: ListedClient, broken: BrokenStore, store: Store, until: Until, stored: Stored
) -> None:
    recorder.step()
    broken.failures_before = 2
    client.coming = [humidity(1), humidity(2)]
    until(recorder.step, lambda: broken.failures_before == 1)
    client.coming = [humidity(3)]
    recorder.step()
    assert client.acknowledged == [] and stored(store) == []
    assert len(client.coming) == 1, "read on while nothing could be written"
    until(recorder.step, lambda: len(client.acknowledged) == 3)
    assert [row.at_ms - NOW_MS for row in stored(store)] == [1, 2, 3]


def test_a_probe_made_in_a_transaction_that_failed_is_made_again(
    recorder: Recorder, client: ListedClient, broken: BrokenStore, store: Store, until: Until, stored: Stored
) -> None:
    recorder.step()
    broken.failures_after = 1
    record(recorder, client, until, humidity(1))
    assert broken.failures_after == 0
    assert [row.value for row in stored(store)] == [71.0]
    assert [probe.topic for probe in probes(store)] == ["workshop/shed"]


def test_what_waits_when_the_connection_goes_is_written_at_once(
    recorder: Recorder, client: ListedClient, store: Store, stored: Stored
) -> None:
    client.deliver(humidity(1))
    assert stored(store) == []
    client.lose()
    assert len(stored(store)) == 1


def test_a_message_that_comes_again_after_a_lost_connection_is_stored_once(
    recorder: Recorder, client: ListedClient, store: Store, until: Until, stored: Stored
) -> None:
    client.deliver(humidity(1))
    client.lose()
    record(recorder, client, until, humidity(1), humidity(2))
    assert [row.at_ms - NOW_MS for row in stored(store)] == [1, 2]


def test_what_waits_when_the_recorder_is_stopped_is_written_and_acknowledged(
    recorder: Recorder, client: ListedClient, store: Store, stored: Stored
) -> None:
    client.deliver(humidity(1))
    recorder.run(stop=lambda: True)
    assert len(stored(store)) == 1
    assert client.acknowledged == [1]
    assert client.closed
    with store.reading() as connection:
        state = readings.recorder_state(connection)
    assert state is not None and (state.note, state.stored, state.waiting) == ("stopped", 1, 0)


def test_a_retained_copy_is_acknowledged_and_never_stored_as_fresh(
    recorder: Recorder, client: ListedClient, store: Store, until: Until, stored: Stored
) -> None:
    record(recorder, client, until, message(1, '{"humidity": 71}', retained=True))
    assert stored(store) == [] and rejects(store) == [] and probes(store) == []
    assert recorder.retained_ignored == 1


def test_a_message_without_a_reading_is_kept_with_its_reason_and_acknowledged(
    recorder: Recorder, client: ListedClient, store: Store, until: Until, stored: Stored
) -> None:
    record(recorder, client, until, message(1, "unavailable"))
    assert [(one.topic, one.payload, one.reason) for one in rejects(store)] == [
        ("workshop/shed", b"unavailable", "neither JSON nor a number")
    ]
    assert stored(store) == [] and probes(store) == [] and recorder.rejected == 1


@pytest.mark.parametrize("place", [0, 250, 499])
def test_one_bad_message_among_five_hundred_costs_no_other(
    recorder: Recorder, client: ListedClient, store: Store, until: Until, stored: Stored, place: int
) -> None:
    batch = [humidity(mid) for mid in range(500)]
    batch[place] = message(place, '{"temperature": "\\ud800"}')  # its reason alone could break the batch
    record(recorder, client, until, *batch)
    assert len(stored(store)) == 499
    assert len(rejects(store)) == 1


@pytest.mark.parametrize(
    "payload",
    [b"", b"\xff", b"[" * 9000, b'{"humidity": 1' + b"0" * 4000 + b"}", b'{"humidity": 71, "ts": 1e30}', b"\x00"],
)
def test_hostile_payloads_are_kept_as_rejects_and_the_next_reading_is_stored(
    recorder: Recorder, client: ListedClient, store: Store, until: Until, stored: Stored, payload: bytes
) -> None:
    record(recorder, client, until, message(1, payload), humidity(2))
    assert [one.payload for one in rejects(store)] == [payload[: readings.REJECT_PAYLOAD_BYTES]]
    assert len(stored(store)) == 1


@pytest.mark.parametrize(
    "topic", ["workshop/../etc", "workshop/'; DROP TABLE reading;--", "workshop/<b>", "workshop/Ü"]
)
def test_any_topic_that_is_text_names_a_probe_and_nothing_else(
    recorder: Recorder, client: ListedClient, store: Store, until: Until, stored: Stored, topic: str
) -> None:
    record(recorder, client, until, humidity(1, topic=topic))
    assert [probe.topic for probe in probes(store)] == [topic]
    assert len(stored(store)) == 1


def test_a_topic_that_is_no_text_makes_no_probe(
    recorder: Recorder, client: ListedClient, store: Store, until: Until, stored: Stored
) -> None:
    record(recorder, client, until, humidity(1, topic=""), humidity(2))
    assert [one.reason for one in rejects(store)] == ["a topic that is not text (UTF-8)"]
    assert [probe.topic for probe in probes(store)] == ["workshop/shed"]
    assert len(stored(store)) == 1


@pytest.mark.parametrize(
    ("payload", "flag"),
    [
        (f'{{"humidity": 140, "ts": {NOW_MS}}}', Quality.OUT_OF_RANGE),
        (f'{{"temperature": -80, "ts": {NOW_MS}}}', Quality.OUT_OF_RANGE),
        (f'{{"temperature": 20, "ts": {NOW_MS + 3_600_000}}}', Quality.CLOCK_AHEAD),
        (f'{{"temperature": 20, "ts": {NOW_MS}}}', Quality.GOOD),
    ],
)
def test_an_impossible_value_or_time_is_stored_as_it_came_with_a_flag(
    recorder: Recorder, client: ListedClient, store: Store, until: Until, stored: Stored, payload: str, flag: Quality
) -> None:
    record(recorder, client, until, message(1, payload))
    (row,) = stored(store)
    assert row.quality is flag
    assert f": {row.value:g}" in payload and f": {row.at_ms}" in payload


def test_a_reading_without_a_time_gets_that_of_its_arrival_and_says_so(
    recorder: Recorder, client: ListedClient, store: Store, until: Until, stored: Stored
) -> None:
    record(recorder, client, until, message(1, '{"humidity": 71}'), humidity(2))
    assert [(row.at_ms - NOW_MS, row.time_source) for row in stored(store)] == [
        (0, TimeSource.RECEIVED), (2, TimeSource.PAYLOAD),
    ]  # fmt: skip


def test_a_new_topic_makes_a_probe_that_waits_for_its_place(
    recorder: Recorder, client: ListedClient, store: Store, until: Until
) -> None:
    record(recorder, client, until, humidity(1, topic="workshop/shed north"), humidity(2, topic="workshop/shed north"))
    (probe,) = probes(store)
    assert (probe.name, probe.topic, probe.true_at_ms) == ("shed-north", "workshop/shed north", NOW_MS)
    with store.reading() as connection:
        assert facts.standing(connection, ProbePosition) == []


def test_topics_that_would_share_a_code_get_codes_of_their_own(
    recorder: Recorder, client: ListedClient, store: Store, until: Until
) -> None:
    topics = ["a/x y", "a/X-Y", "b/x+y", "/"]
    record(recorder, client, until, *(humidity(mid, topic=topic) for mid, topic in enumerate(topics)))
    assert [probe.name for probe in probes(store)] == ["x-y", "X-Y-2", "x-y-3", "probe"]


def test_a_probe_entered_by_hand_gets_the_readings_of_its_topic(
    recorder: Recorder, client: ListedClient, store: Store, until: Until
) -> None:
    with store.writing() as connection:
        made = facts.add_subject(connection, SubjectKind.PROBE, "north")
        values = {"name": "North wall", "topic": "workshop/shed"}
        facts.add(connection, ProbeFact, made.id, true_at_ms=1, entered_at_ms=1, by="Ada", **values)
    record(recorder, client, until, humidity(1))
    with store.reading() as connection:
        assert [one.probe_id for one in readings.all_series(connection)] == [made.id]


def test_a_topic_for_each_message_does_not_fill_the_store_with_probes(
    recorder: Recorder,
    client: ListedClient,
    store: Store,
    until: Until,
    stored: Stored,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(topics, "MAX_PROBES", 3)
    record(recorder, client, until, *(humidity(mid, topic=f"workshop/{mid}") for mid in range(10)))
    assert len(probes(store)) == 3
    assert len(stored(store)) == 3
    assert {one.reason for one in rejects(store)} == {"a new topic, and there are already 3 probes"}
    record(recorder, client, until, humidity(100, topic="workshop/1"))  # those that are there go on
    assert len(stored(store)) == 4


def test_the_store_says_that_the_recorder_is_alive_and_what_it_did(
    recorder: Recorder, client: ListedClient, store: Store, until: Until
) -> None:
    record(recorder, client, until, humidity(1), message(2, "x"), message(3, "1", retained=True))
    recorder._beat_at_s = 0.0
    recorder.step()
    with store.reading() as connection:
        state = readings.recorder_state(connection)
    assert state is not None
    assert (state.beat_ms, state.connected, state.session_kept) == (NOW_MS, True, True)
    assert (state.stored, state.rejected, state.retained_ignored, state.waiting) == (1, 1, 1, 0)


def test_a_full_batch_is_written_without_waiting_for_its_time(
    broken: BrokenStore, store: Store, stored: Stored, listed: None
) -> None:
    patient = Recorder(Settings(commit_every_s=60, commit_rows=3), broken)
    client: ListedClient = patient._client
    client.coming = [humidity(1), humidity(2)]
    patient.step()
    patient.step()
    assert stored(store) == []
    client.coming = [humidity(3)]
    patient.step()
    assert len(stored(store)) == 3


def test_a_probe_entered_while_the_recorder_runs_gets_the_readings_of_its_topic_from_then_on(
    recorder: Recorder, client: ListedClient, store: Store, until: Until
) -> None:
    record(recorder, client, until, humidity(1, topic="workshop/other"))
    with store.writing() as connection:
        made = facts.add_subject(connection, SubjectKind.PROBE, "north")
        values = {"name": "North wall", "topic": "workshop/shed"}
        facts.add(connection, ProbeFact, made.id, true_at_ms=1, entered_at_ms=1, by="Ada", **values)
    record(recorder, client, until, humidity(2))
    assert len(probes(store)) == 2
    with store.writing() as connection:
        other = facts.add_subject(connection, SubjectKind.PROBE, "south")
        (moved,) = [one for one in facts.standing(connection, ProbeFact) if one.subject_id == made.id]
        facts.undo(connection, ProbeFact, moved.id, entered_at_ms=2, by="Ada")
        facts.add(connection, ProbeFact, other.id, true_at_ms=2, entered_at_ms=2, by="Ada", **values)
    recorder._beat_at_s = 0.0
    recorder.step()
    record(recorder, client, until, humidity(3))
    with store.reading() as connection:
        assert [one.probe_id for one in readings.all_series(connection)][1:] == [made.id, other.id]
