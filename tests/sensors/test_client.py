"""The connection: what it notes of itself, and which acknowledgements it may send."""

from __future__ import annotations

import socket
import struct
import subprocess
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from sensors import client as module
from sensors.broker import Broker, free_port
from sensors.client import Arrived, Client, check_topics
from shared.errors import BadInput
from shared.settings import Settings

Start = Callable[..., Broker]
Publish = Callable[..., None]
Until = Callable[..., None]


class Held(Client):
    """A client that keeps what arrives and counts how often the connection went."""

    def __init__(self, settings: Settings) -> None:
        self.arrived: list[Arrived] = []
        self.losses = 0
        super().__init__(settings, self.arrived.append, self._count)

    def _count(self) -> None:
        self.losses += 1

    def look(self) -> None:
        self.step(0.05, read=True)

    def reconnect(self, until: Until) -> None:
        self.close()
        until(self.look, lambda: not self.connected)
        self.arrived.clear()
        until(self.look, lambda: self.connected)
        for _ in range(10):
            self.look()


def client_for(broker: Broker, **others: str) -> Held:
    return Held(replace(Settings(), broker_port=broker.port_v5, **others))  # type: ignore[arg-type]


@pytest.mark.parametrize("topics", ["workshop/#", "#", "+/air", "a/+/b c/#", "workshop", "/"])
def test_topic_filters_that_mqtt_allows_are_taken(topics: str) -> None:
    check_topics(replace(Settings(), broker_topics=topics))


@pytest.mark.parametrize("topics", ["workshop#", "a/#/b", "a+/b", "a/b#", "ok/# bad+", "", "  ", "##", "++"])
def test_topic_filters_that_mqtt_forbids_are_refused(topics: str) -> None:
    with pytest.raises(BadInput, match="setting broker_topics"):
        check_topics(replace(Settings(), broker_topics=topics))


@pytest.mark.parametrize("host", ["127.0.0.1", "", "no such host", "a" * 80 + ".example"])
def test_without_a_broker_it_says_so_and_goes_on_trying(host: str) -> None:
    client = Held(replace(Settings(), broker_host=host, broker_port=free_port()))
    client.look()
    assert not client.connected
    assert (host or "broker_host") in client.note and client.note.endswith("; trying again")
    client.look()


def test_it_is_there_as_soon_as_the_broker_is(start_broker: Start, until: Until) -> None:
    port = free_port()
    client = Held(replace(Settings(), broker_port=port))
    client.look()
    broker = start_broker(port=port)
    assert broker.port == port
    until(client.look, lambda: client.connected)
    assert client.note == "connected" and not client.session_kept
    client.reconnect(until)
    assert client.session_kept


def test_nothing_is_read_until_it_is_asked_to_read(start_broker: Start, publish: Publish, until: Until) -> None:
    broker = start_broker()
    client = client_for(broker)
    until(client.look, lambda: client.connected)
    for _ in range(5):
        client.look()
    publish(broker, [("workshop/a", "1")])
    for _ in range(5):
        client.step(0.02, read=False)
    assert client.arrived == []
    until(client.look, lambda: len(client.arrived) == 1)


def test_what_was_acknowledged_does_not_come_again_and_what_was_not_does(
    start_broker: Start, publish: Publish, until: Until
) -> None:
    broker = start_broker()
    client = client_for(broker)
    until(client.look, lambda: client.connected)
    for _ in range(5):
        client.look()
    publish(broker, [("workshop/a", "1"), ("workshop/b", "2")])
    until(client.look, lambda: len(client.arrived) == 2)
    client.acknowledge(client.arrived[:1])
    client.reconnect(until)
    assert [(one.topic, one.repeated) for one in client.arrived] == [("workshop/b", True)]
    client.acknowledge(client.arrived[:1])
    client.reconnect(until)
    assert client.arrived == []


def test_an_acknowledgement_from_an_earlier_connection_is_not_sent_on_a_later_one(
    start_broker: Start, publish: Publish, until: Until
) -> None:
    broker = start_broker()
    client = client_for(broker)
    until(client.look, lambda: client.connected)
    for _ in range(5):
        client.look()
    publish(broker, [("workshop/a", "1")])
    until(client.look, lambda: len(client.arrived) == 1)
    old = client.arrived[0]
    client.reconnect(until)
    assert client.losses == 1
    client.acknowledge([old])  # its id now belongs to whatever this connection gave it to
    client.reconnect(until)
    assert [one.topic for one in client.arrived] == ["workshop/a"]


def test_an_acknowledgement_without_a_connection_is_not_an_error(
    start_broker: Start, publish: Publish, until: Until
) -> None:
    broker = start_broker()
    client = client_for(broker)
    until(client.look, lambda: client.connected)
    for _ in range(5):
        client.look()
    publish(broker, [("workshop/a", "1")])
    until(client.look, lambda: len(client.arrived) == 1)
    broker.stop()
    until(client.look, lambda: not client.connected)
    client.acknowledge(client.arrived[:1])


def test_when_another_client_takes_its_name_it_leaves_the_other_alone_for_a_minute(until: Until) -> None:
    with socket.socket() as scripted:  # a broker that says one thing: mosquitto 2.0.11 hangs up without the word
        scripted.bind(("127.0.0.1", 0))
        scripted.listen()
        scripted.settimeout(30)
        client = Held(replace(Settings(), broker_port=scripted.getsockname()[1]))
        client.look()
        wire, _ = scripted.accept()
        with wire:
            wire.recv(1000)
            wire.sendall(b"\x20\x03\x00\x00\x00")  # CONNACK: welcome (MQTT 5, section 3.2)
            until(client.look, lambda: client.connected)
            wire.sendall(b"\xe0\x02\x8e\x00")  # DISCONNECT: session taken over (section 3.14)
            until(client.look, lambda: not client.connected)
        assert client.note == "another client uses the id benchdry-recorder; trying again in a minute"
        scripted.settimeout(1.5)  # longer than the pause before an ordinary attempt
        with pytest.raises(TimeoutError):
            threading.Thread(target=lambda: [client.look() for _ in range(20)]).start()
            scripted.accept()


def test_a_refusal_by_the_broker_is_said(start_broker: Start, until: Until) -> None:
    broker = start_broker()
    config = Path(broker.process.args[-1])  # type: ignore[index, arg-type]
    broker.stop()
    text = config.read_text(encoding="utf-8")
    config.write_text(text.replace("allow_anonymous true", "allow_anonymous false"), encoding="utf-8")
    with subprocess.Popen(broker.process.args, stderr=subprocess.DEVNULL) as strict:
        try:
            client = client_for(broker)
            until(client.look, lambda: "refused the connection" in client.note)
            for _ in range(10):
                client.look()
            assert not client.connected
            assert client.note == "the broker refused the connection: Not authorized"
        finally:
            strict.terminate()


def test_one_that_has_left_does_not_come_back_by_itself(start_broker: Start, until: Until) -> None:
    client = client_for(start_broker())
    until(client.look, lambda: client.connected)
    client.close()
    assert not client.connected and client._mqtt.socket() is None


def publish_packet(mid: int) -> bytes:
    """Write a PUBLISH of quality 1 by hand (MQTT 5, section 3.3)."""
    topic, payload = b"workshop/a", str(mid).encode()
    body = struct.pack("!H", len(topic)) + topic + struct.pack("!H", mid) + b"\x00" + payload
    return bytes([0x32, len(body)]) + body


def test_what_a_broker_sent_before_it_died_is_read_although_nothing_can_be_sent_to_it(until: Until) -> None:
    with socket.socket() as scripted:
        scripted.bind(("127.0.0.1", 0))
        scripted.listen()
        scripted.settimeout(30)
        client = Held(replace(Settings(), broker_port=scripted.getsockname()[1]))
        client.look()
        wire, _ = scripted.accept()
        with wire:
            wire.recv(1000)
            wire.sendall(b"\x20\x03\x00\x00\x00" + b"".join(publish_packet(mid) for mid in range(1, 301)))
            until(client.look, lambda: len(client.arrived) >= 10)
            wire.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))  # what a kill looks like
    for message in list(client.arrived):  # its acknowledgements fail, all but the first perhaps
        client.acknowledge([message])
    for _ in range(5):
        client.step(0.01, read=False)
    until(client.look, lambda: not client.connected)
    assert [one.payload for one in client.arrived] == [str(mid).encode() for mid in range(1, 301)]
    assert client.losses == 1


def test_connections_that_do_not_last_are_tried_less_and_less_often(
    until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "SHORT_LIVED_S", (0.01, 0.02, 0.03, 0.04, 60.0))
    with socket.socket() as scripted:  # a broker that hangs up without a word, as one does when an id is used twice
        scripted.bind(("127.0.0.1", 0))
        scripted.listen()
        scripted.settimeout(30)
        client = Held(replace(Settings(), broker_port=scripted.getsockname()[1]))
        for round_ in range(5):
            until(client.look, lambda: client._mqtt.socket() is not None)
            wire, _ = scripted.accept()
            with wire:
                wire.recv(1000)
                wire.sendall(b"\x20\x03\x00\x00\x00")
                until(client.look, lambda: client.connected)
            until(client.look, lambda: not client.connected)
            assert client.losses == round_ + 1
        assert client.note.startswith("connection lost again and again (does another client use the id benchdry-")
        assert client.note.endswith("trying again in 60 s")
        for _ in range(10):
            client.look()
        assert client._mqtt.socket() is None
