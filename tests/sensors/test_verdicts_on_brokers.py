"""Verdicts on real brokers: retained, marked after the broker's answer, cleared when they end."""

from __future__ import annotations

import json
import socket
import struct
import subprocess
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest

from sensors.broker import Broker
from sensors.recorder import Recorder, wall_clock_ms
from shared.settings import Settings
from shared.store import Store, outbox, readings
from shared.units import datetime_from_ms

both = pytest.mark.parametrize("kind", ["mosquitto", "embedded"])
ROOT = "benchdry/verdict"

Start = Callable[..., Broker]
Publish = Callable[..., None]
Until = Callable[..., None]
Connected = Callable[[Recorder], None]
SettingsFor = Callable[..., Settings]
Valid = Callable[[str | bytes], dict[str, Any]]


class Listener:
    """Somebody who subscribes to the verdicts: what comes at first and later, the retained flag beside it."""

    def __init__(self, broker: Broker, name: str = "shop") -> None:
        self.heard: list[tuple[str, str, bool]] = []
        self.granted = False
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id=name, protocol=mqtt.MQTTv311)
        self._client.on_connect = lambda *_: self._client.subscribe(f"{ROOT}/#", 1)
        self._client.on_subscribe = lambda *_: setattr(self, "granted", True)
        self._client.on_message = lambda _c, _d, one: self.heard.append((one.topic, one.payload.decode(), one.retain))
        self._client.connect("127.0.0.1", broker.port)

    def step(self) -> None:
        self._client.loop(0.02)

    def of(self, code: str) -> list[str]:
        return [payload for topic, payload, _ in self.heard if topic == f"{ROOT}/board/{code}"]

    @property
    def status(self) -> str:
        return next((payload for topic, payload, _ in reversed(self.heard) if topic == f"{ROOT}/status"), "")

    def leave(self) -> None:
        self._client.disconnect()


@pytest.fixture
def listen(until: Until) -> Iterator[Callable[..., Listener]]:
    made: list[Listener] = []

    def begin(broker: Broker, name: str = "shop") -> Listener:
        made.append(Listener(broker, name))
        until(made[-1].step, lambda: made[-1].granted)
        for _ in range(20):
            made[-1].step()
        return made[-1]

    yield begin
    for one in made:
        one.leave()


def message(code: str) -> str:
    """A verdict as the watch tells it, invented."""
    now_ms = wall_clock_ms()
    at, until = (f"{datetime_from_ms(now_ms + round(1000 * s)):%Y-%m-%dT%H:%M:%SZ}" for s in (0, 1800))
    return json.dumps(
        {
            "schema_version": 1,
            "kind": "board",
            "code": code,
            "name": f"Board {code}",
            "word": "WAIT",
            "number": "12 days",
            "reason": "It stands at 14.1 % (13.2–15.0).",
            "next_step": "Leave it be.",
            "probability": 0.02,
            "at": at,
            "known_until": at,
            "valid_until": until,
            "use": "machine",
            "booked": None,
            "overridden": None,
            "moisture_mc_pct": {"p10": 13.2, "p50": 14.1, "p90": 15.0},
        }
    )


def post(store: Store, code: str, payload: str) -> None:
    with store.writing() as connection:
        outbox.put(connection, topic=f"{ROOT}/board/{code}", payload=payload, retain=True, made_ms=wall_clock_ms() - 1)


def waiting(store: Store) -> int:
    with store.reading() as connection:
        return outbox.waiting(connection)


@both
def test_verdicts_reach_who_listens_and_who_comes_later_and_are_marked(
    kind: str,
    start_broker: Start,
    store: Store,
    until: Until,
    connected: Connected,
    settings_for: SettingsFor,
    listen: Callable[..., Listener],
    valid_message: Valid,
) -> None:
    broker = start_broker(kind)
    early = listen(broker)
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    for number in range(50):
        post(store, f"A{number}", message(f"A{number}"))
    until(lambda: (recorder.step(0.01), early.step()), lambda: waiting(store) == 0)
    until(early.step, lambda: len({topic for topic, _, _ in early.heard}) == 51)
    late = listen(broker, "later")
    until(late.step, lambda: len(late.heard) == 51)
    for one in (early, late):
        assert one.status == "online"
        for number in range(50):
            (payload,) = one.of(f"A{number}")
            assert valid_message(payload)["code"] == f"A{number}"
    assert all(retained for _, _, retained in late.heard)
    recorder.run(stop=lambda: True)


@both
def test_an_empty_message_clears_a_topic(
    kind: str,
    start_broker: Start,
    store: Store,
    until: Until,
    connected: Connected,
    settings_for: SettingsFor,
    listen: Callable[..., Listener],
) -> None:
    broker = start_broker(kind)
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    for payload in (message("A1"), ""):
        post(store, "A1", payload)
        until(recorder.step, lambda: waiting(store) == 0)
    late = listen(broker)
    until(late.step, lambda: late.status == "online")
    assert late.of("A1") == []
    recorder.run(stop=lambda: True)


@both
def test_whoever_comes_finds_whether_the_recorder_is_connected(
    kind: str,
    start_broker: Start,
    store: Store,
    until: Until,
    connected: Connected,
    settings_for: SettingsFor,
    listen: Callable[..., Listener],
) -> None:
    broker = start_broker(kind)
    listener = listen(broker)
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    until(lambda: (recorder.step(0.01), listener.step()), lambda: listener.status == "online")
    recorder.run(stop=lambda: True)
    until(listener.step, lambda: listener.status == "offline")
    another = Recorder(settings_for(broker), store)
    connected(another)
    until(lambda: (another.step(0.01), listener.step()), lambda: listener.status == "online")
    wire = another._client._mqtt.socket()
    assert wire is not None
    wire.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    wire.close()  # without a word, as when the machine goes
    until(listener.step, lambda: listener.status == "offline")


def test_without_a_prefix_not_even_the_status_is_published(
    start_broker: Start,
    store: Store,
    connected: Connected,
    settings_for: SettingsFor,
    listen: Callable[..., Listener],
) -> None:
    broker = start_broker()
    recorder = Recorder(settings_for(broker, verdict_topic_prefix=""), store)
    connected(recorder)
    recorder.run(stop=lambda: True)
    late = listen(broker)
    for _ in range(20):
        late.step()
    assert late.heard == []


def test_a_broker_that_does_not_let_us_write_still_gives_us_every_reading(
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    settings_for: SettingsFor,
    tmp_path: Path,
) -> None:
    broker = start_broker()
    config = Path(broker.process.args[-1])  # type: ignore[index, arg-type]
    broker.stop()
    rules = tmp_path / "acl"
    rules.write_text("topic read workshop/#\ntopic write workshop/#\n", encoding="utf-8")
    config.write_text(f"{config.read_text(encoding='utf-8')}acl_file {rules}\n", encoding="utf-8")
    with subprocess.Popen(broker.process.args, stderr=subprocess.DEVNULL) as strict:
        try:
            recorder = Recorder(settings_for(broker), store)
            connected(recorder)
            post(store, "A1", message("A1"))
            publish(broker, [("workshop/a/temperature", "21.5")])
            until(recorder.step, lambda: recorder.stored == 1 and bool(recorder._outbox.note))
            recorder._beat("")
            with store.reading() as connection:
                state = readings.recorder_state(connection)
                (row,) = outbox.due(connection, 10**14, 10)
            assert state is not None
            assert state.note == "connected; the broker does not take our verdicts (Not authorized)"
            assert (row.tries, row.note) == (1, "Not authorized") and row.next_try_ms > wall_clock_ms() + 5000
            recorder.run(stop=lambda: True)
        finally:
            strict.terminate()


def test_a_recorder_that_listens_to_everything_takes_nothing_of_its_own(
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    settings_for: SettingsFor,
) -> None:
    broker = start_broker()
    recorder = Recorder(settings_for(broker, broker_topics="#"), store)
    connected(recorder)
    for number in range(20):
        post(store, f"A{number}", message(f"A{number}"))
    publish(broker, [("workshop/a/temperature", "21.5")])
    until(recorder.step, lambda: waiting(store) == 0 and recorder.own_ignored >= 21 and recorder.stored == 1)
    recorder.run(stop=lambda: True)
    with store.reading() as connection:
        assert len(readings.all_series(connection)) == 1
    assert recorder.rejected == 0


# --- a broker that says one thing after the other ----------------------------------------------------


def packets(wire: socket.socket) -> Iterator[tuple[int, bytes]]:
    """Yield (first byte, body) of each packet that comes (MQTT 5, section 2.1)."""
    while True:
        first = wire.recv(1)
        if not first:
            return
        length, shift = 0, 0
        while True:
            one = wire.recv(1)[0]
            length |= (one & 0x7F) << shift
            shift += 7
            if one < 0x80:
                break
        body = b""
        while len(body) < length:
            body += wire.recv(length - len(body))
        yield first[0], body


def next_verdict(wire: socket.socket) -> tuple[bool, bool, int, str]:
    """Return of the next PUBLISH of a board (section 3.3): repeated, retained, packet id, topic."""
    for first, body in packets(wire):
        size = struct.unpack("!H", body[:2])[0]
        topic = body[2 : 2 + size].decode()
        if first >> 4 == 3 and "/board/" in topic:
            return bool(first & 8), bool(first & 1), struct.unpack("!H", body[2 + size : 4 + size])[0], topic
    raise AssertionError("the recorder hung up")


def test_what_was_under_way_when_the_line_went_is_sent_again_under_its_number_and_marked_once(
    store: Store, until: Until
) -> None:
    """MQTT 5, section 4.4: unacknowledged PUBLISH packets are sent again with their packet identifiers."""
    post(store, "A1", message("A1"))
    with socket.socket() as scripted:
        scripted.bind(("127.0.0.1", 0))
        scripted.listen()
        scripted.settimeout(30)
        settings = replace(Settings(), broker_port=scripted.getsockname()[1], commit_every_s=0.05)
        recorder = Recorder(settings, store)
        recorder.step()
        seen = []
        for life, welcome in enumerate((b"\x20\x03\x00\x00\x00", b"\x20\x03\x01\x00\x00"), start=1):
            until(lambda: recorder.step(0.01), lambda: recorder._client._mqtt.socket() is not None)
            wire, _ = scripted.accept()
            with wire:
                wire.settimeout(30)
                wire.sendall(welcome)
                until(lambda: recorder.step(0.01), lambda: bool(recorder._outbox._under_way))
                until(lambda: recorder.step(0.01), lambda life=life: recorder._client.life == life)  # type: ignore[misc]
                for _ in range(10):
                    recorder.step(0.01)
                if life == 1:
                    post(store, "A1", message("A1"))  # a newer one, which must wait for its turn
                seen.append(next_verdict(wire))
                if life == 2:
                    wire.sendall(struct.pack("!BBH", 0x40, 2, seen[-1][2]))
                    until(lambda: recorder.step(0.01), lambda: not recorder._outbox._answers and not _older(recorder))
                    until(lambda: recorder.step(0.1), lambda: bool(recorder._outbox._under_way))
                    seen.append(next_verdict(wire))
                    wire.sendall(struct.pack("!BBH", 0x40, 2, seen[-1][2]))
                    until(lambda: recorder.step(0.1), lambda: waiting(store) == 0)
            with suppress(AssertionError):
                until(lambda: recorder.step(0.01), lambda: not recorder._client.connected)
    (first, again, newer) = seen
    assert first[0] is False and again[0] is True and again[1:] == first[1:] and first[1]
    assert newer[0] is False and newer[2] != first[2]


def _older(recorder: Recorder) -> bool:
    """Whether the row that was under way first still is."""
    return bool(recorder._outbox._under_way) and min(row.id for row in recorder._outbox._under_way.values()) == 1
