"""The recorder on real brokers, private instances on free ports: mosquitto, and the embedded one."""

from __future__ import annotations

import json
import socket
import sqlite3
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from sqlalchemy import Connection, exc

from sensors.broker import Broker
from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store, engine, facts, readings
from shared.store.records import ProbeFact, Reading

T0 = 1_775_023_200_000
both = pytest.mark.parametrize("kind", ["mosquitto", "embedded"])

Start = Callable[..., Broker]
Publish = Callable[..., None]
Until = Callable[..., None]
Connected = Callable[[Recorder], None]
Stored = Callable[[Store], list[Reading]]
SettingsFor = Callable[..., Settings]


def air(count: int, start: int = 0, topic: str = "workshop/shed") -> list[tuple[str, str]]:
    """Numbered readings: the value says which one it is."""
    return [(topic, json.dumps({"temperature": i / 100, "ts": T0 + i * 1000})) for i in range(start, start + count)]


def numbers(rows: list[Reading]) -> list[int]:
    return sorted(round(row.value * 100) for row in rows)


@both
@pytest.mark.parametrize("version", [4, 5])
def test_a_publisher_of_either_version_is_stored_once(
    kind: str,
    version: int,
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    stored: Stored,
    settings_for: SettingsFor,
) -> None:
    broker = start_broker(kind)
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    publish(broker, air(120), version=version)
    until(recorder.step, lambda: len(stored(store)) >= 120)
    recorder.run(stop=lambda: True)
    assert numbers(stored(store)) == list(range(120))
    with store.reading() as connection:
        assert [probe.topic for probe in facts.standing(connection, ProbeFact)] == ["workshop/shed"]
        assert readings.count_conflicts(connection) == 0


@both
def test_what_is_published_while_the_recorder_is_away_is_stored_when_it_is_back(
    kind: str,
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    stored: Stored,
    settings_for: SettingsFor,
) -> None:
    broker = start_broker(kind)
    first = Recorder(settings_for(broker), store)
    connected(first)
    first.run(stop=lambda: True)
    for start in range(0, 60, 3):  # what a probe does that wakes, sends three and sleeps again
        publish(broker, air(3, start))
    second = Recorder(settings_for(broker), store)
    until(second.step, lambda: len(stored(store)) >= 60)
    assert numbers(stored(store)) == list(range(60))
    second.run(stop=lambda: True)


@both
def test_retained_messages_of_before_are_not_stored_as_fresh_however_often_it_connects(
    kind: str,
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    stored: Stored,
    settings_for: SettingsFor,
) -> None:
    broker = start_broker(kind)
    publish(broker, air(10, topic="workshop/old"), retain=True)
    for round_ in range(3):
        recorder = Recorder(settings_for(broker, recorder_id="again" if round_ else "first"), store)
        connected(recorder)
        recorder.run(stop=lambda: True)
    assert stored(store) == []
    recorder = Recorder(settings_for(broker, recorder_id="again"), store)
    connected(recorder)
    publish(broker, air(1))
    until(recorder.step, lambda: stored(store) != [])
    assert numbers(stored(store)) == [0]


@both
def test_a_live_message_that_its_probe_asks_the_broker_to_retain_is_stored(
    kind: str,
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    stored: Stored,
    settings_for: SettingsFor,
) -> None:
    broker = start_broker(kind)
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    publish(broker, air(3), retain=True)
    until(recorder.step, lambda: len(stored(store)) >= 3)
    assert recorder.retained_ignored == 0


class NoStore:
    """A store that cannot be written to."""

    def __init__(self, store: Store) -> None:
        self.reading = store.reading

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        raise exc.OperationalError("BEGIN", {}, sqlite3.OperationalError("disk I/O error"))
        yield


@both
def test_what_could_not_be_written_was_not_acknowledged_and_comes_again(
    kind: str,
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    stored: Stored,
    settings_for: SettingsFor,
) -> None:
    broker = start_broker(kind)
    subscriber = Recorder(settings_for(broker), store)
    connected(subscriber)
    subscriber.run(stop=lambda: True)
    publish(broker, air(20))
    failing = Recorder(settings_for(broker), NoStore(store))  # type: ignore[arg-type]
    until(failing.step, lambda: len(failing._waiting) > 0)
    for _ in range(5):
        failing.step()
    failing._client.close()
    working = Recorder(settings_for(broker), store)
    until(working.step, lambda: len(stored(store)) >= 20)
    assert numbers(stored(store)) == list(range(20))
    working.run(stop=lambda: True)


def test_after_a_restart_of_the_broker_the_recorder_is_back_by_itself(
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    stored: Stored,
    settings_for: SettingsFor,
) -> None:
    broker = start_broker()
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    publish(broker, air(5))
    until(recorder.step, lambda: len(stored(store)) == 5)
    broker.stop()
    until(recorder.step, lambda: not recorder._client.connected)
    broker = start_broker(port=broker.port)
    publish(broker, air(5, start=5))  # while the recorder is still away: the broker kept its session on disk
    until(recorder.step, lambda: len(stored(store)) >= 10)
    publish(broker, air(5, start=10))
    until(recorder.step, lambda: len(stored(store)) >= 15)
    assert numbers(stored(store)) == list(range(15))
    assert recorder._client.session_kept


def test_another_writer_that_holds_the_store_delays_readings_and_loses_none(
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    stored: Stored,
    settings_for: SettingsFor,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(engine, "BUSY_TIMEOUT_MS", 50)
    broker = start_broker()
    impatient = Store(store.path)
    recorder = Recorder(settings_for(broker), impatient)
    connected(recorder)
    holder = sqlite3.connect(store.path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    publish(broker, air(200))
    until(recorder.step, lambda: recorder._failed_writes >= 3)
    assert stored(store) == []
    holder.execute("ROLLBACK")
    holder.close()
    until(recorder.step, lambda: len(stored(store)) >= 200)
    assert numbers(stored(store)) == list(range(200))
    recorder.run(stop=lambda: True)
    again = Recorder(settings_for(broker), store)
    connected(again)
    assert again._waiting == [] and again.stored == 0, "something was left unacknowledged"
    impatient.close()


def raw_publish(port: int, topic: bytes, payload: bytes) -> None:
    """Speak MQTT 3.1.1 by hand: a client library would refuse such a topic."""
    with socket.create_connection(("127.0.0.1", port), timeout=30) as wire:
        name = b"raw"
        connect = b"\x00\x04MQTT\x04\x02\x00\x3c" + struct.pack("!H", len(name)) + name
        wire.sendall(bytes([0x10, len(connect)]) + connect)
        assert wire.recv(4)[:1] == b"\x20"
        body = struct.pack("!H", len(topic)) + topic + payload
        wire.sendall(bytes([0x30, len(body)]) + body)
        wire.sendall(b"\xc0\x00")  # ask for a sign of life: what came before has been read once it is answered
        with suppress(ConnectionError):  # a broker may well hang up on this
            wire.recv(2)


@both
def test_a_topic_that_is_no_text_stops_nothing(
    kind: str,
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    stored: Stored,
    settings_for: SettingsFor,
) -> None:
    broker = start_broker(kind)
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    raw_publish(broker.port, b"workshop/\xff\xfe", b'{"temperature": 99}')
    publish(broker, air(5))
    until(recorder.step, lambda: len(stored(store)) >= 5)
    assert numbers(stored(store)) == list(range(5))
    with store.reading() as connection:
        assert [probe.topic for probe in facts.standing(connection, ProbeFact)] == ["workshop/shed"]


@both
def test_a_reading_is_stored_whatever_comes_with_it(
    kind: str,
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    stored: Stored,
    settings_for: SettingsFor,
    tmp_path: Path,
) -> None:
    broker = start_broker(kind)
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    hostile = [b"", b"\xff\xfe", b"NaN", b"[" * 9000, b'{"temperature": 1' + b"0" * 4000 + b"}", b'{"rh": "\\ud800"}']
    publish(broker, [("workshop/bad", one) for one in hostile] + air(5))
    until(recorder.step, lambda: len(stored(store)) >= 5)
    with store.reading() as connection:
        assert len(readings.recent_rejects(connection, 100)) == len(hostile)
