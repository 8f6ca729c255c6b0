"""Reading in bulk: the same messages as paho's own decoder finds, however the bytes are cut on their way."""

from __future__ import annotations

import socket
import struct
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt._packet import decode_publish
from paho.mqtt.enums import MQTTProtocolVersion

from sensors.client import Arrived, Client, publish_at
from shared.settings import Settings

Until = Callable[..., None]

EXPIRES = b"\x05\x02" + struct.pack("!I", 60)  # one property: message expiry interval (MQTT 5, section 3.3.2.3.3)


def length_of(size: int) -> bytes:
    """Write a variable byte integer (MQTT 5, section 1.5.5)."""
    made = b""
    while True:
        size, digit = divmod(size, 128)
        made += bytes([digit | (0x80 if size else 0)])
        if not size:
            return made


def packet(
    topic: bytes, payload: bytes, *, mid: int = 7, qos: int = 1, flags: int = 0, properties: bytes = b"\0"
) -> bytes:
    """Write a PUBLISH (MQTT 5, section 3.3); ``flags``: DUP is 8, RETAIN 1."""
    body = struct.pack("!H", len(topic)) + topic + (struct.pack("!H", mid) if qos else b"") + properties + payload
    return bytes([0x30 | qos << 1 | flags]) + length_of(len(body)) + body


packets = st.builds(
    packet,
    st.binary(max_size=200),
    st.binary(max_size=20_000),
    mid=st.integers(1, 65_535),
    qos=st.sampled_from([0, 1]),
    flags=st.sampled_from([0, 1, 8, 9]),
)


@given(st.binary(max_size=20), packets, st.binary(max_size=20))
def test_a_message_is_what_paho_finds_in_it(before: bytes, one: bytes, after: bytes) -> None:
    """Reference: paho-mqtt's decode_publish."""
    found = publish_at(before + one + after, len(before))
    assert found is not None
    end, first, topic, mid, payload = found
    body = one[len(one) - _length(one) :]
    expected = decode_publish(one[0], body, MQTTProtocolVersion.MQTTv5)
    assert end == len(before) + len(one)
    assert (topic, mid, payload) == (expected.topic, expected.mid, expected.payload)
    assert (bool(first & 8), first >> 1 & 3, bool(first & 1)) == (expected.dup, expected.qos, expected.retain)


def _length(one: bytes) -> int:
    size, at = 0, 1
    while True:
        size |= (one[at] & 0x7F) << 7 * (at - 1)
        if one[at] < 0x80:
            return size
        at += 1


@given(packets, st.data())
def test_half_a_message_is_left_alone(one: bytes, data: st.DataObject) -> None:
    assert publish_at(one[: data.draw(st.integers(0, len(one) - 1))], 0) is None


@given(st.binary(max_size=60), st.integers(0, 60))
def test_any_bytes_are_either_a_message_or_left_alone(held: bytes, at: int) -> None:
    found = publish_at(held, min(at, len(held)))
    if found is not None:
        end, first, topic, _, payload = found
        assert at < end <= len(held) and first in (0x30, 0x31, 0x32, 0x33, 0x38, 0x39, 0x3A, 0x3B)
        assert held[at:end].endswith(payload) and topic in held[at:end]


@pytest.mark.parametrize(
    "other",
    [
        packet(b"a", b"1", properties=EXPIRES),
        packet(b"a", b"1", qos=2),
        packet(b"a", b"1", qos=3),
        b"\x20\x03\x00\x00\x00",
        b"\xd0\x00",
        b"\x32\x02\x00\x00\x00\x00",  # shorter than the topic that it announces
        b"\x32\x00\x00\x00\x00\x00",
        b"\x32\xff\xff\xff\xff\x00",  # a length that ends nowhere
        b"",
    ],
)
def test_what_is_no_plain_message_is_left_to_paho(other: bytes) -> None:
    assert publish_at(other, 0) is None


class Script:
    """A broker that says what it is told to, cut where it is told to."""

    def __init__(self) -> None:
        self.arrived: list[Arrived] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(30)
        settings = replace(Settings(), broker_port=self._listener.getsockname()[1])
        self.client = Client(settings, self.arrived.append, lambda: None)
        self.look()
        self.wire, _ = self._listener.accept()
        self.wire.recv(1000)
        self.wire.sendall(b"\x20\x03\x00\x00\x00")  # CONNACK: welcome

    def look(self) -> None:
        self.client.step(0.05, read=True)

    def close(self) -> None:
        self.wire.close()
        self._listener.close()
        self.client.close()


@pytest.mark.parametrize("cut", [1, 2, 3, 7, 100, 1000, 16_384, 1_000_000])
def test_messages_come_whole_and_in_order_however_they_are_cut(cut: int, until: Until) -> None:
    script = Script()
    payloads = [str(n).encode() * (1 + n % 40) for n in range(120)]
    payloads[60] = b"x" * 50_000  # more than is read at once
    sent = b""
    for n, payload in enumerate(payloads):
        kind: dict[str, int | bytes] = {"qos": n % 2, "mid": n + 1}
        if n % 10 == 3:
            kind["properties"] = EXPIRES  # by paho's own way, in between
        sent += packet(b"workshop/\xc3\xa9", payload, **kind)  # type: ignore[arg-type]
    if cut < 10:
        sent = sent[: len(sent) * 2 // 5]  # in pieces so small the rest adds nothing but time
    for at in range(0, len(sent), cut):
        script.wire.sendall(sent[at : at + cut])
        if cut < 10 and at % 50 == 0:
            script.look()
    whole = len(payloads) if cut >= 10 else 40
    until(script.look, lambda: len(script.arrived) >= whole)
    assert [one.payload for one in script.arrived[:whole]] == payloads[:whole]
    assert [one.mid for one in script.arrived[:whole]] == [n + 1 if n % 2 else 0 for n in range(whole)]
    assert {one.topic for one in script.arrived} == {"workshop/é"}
    script.close()


def test_what_was_read_and_not_yet_taken_waits_until_it_is_asked_to_read(until: Until) -> None:
    script = Script()
    until(script.look, lambda: script.client.connected)
    script.wire.sendall(packet(b"a", b"1") + packet(b"b", b"2", properties=EXPIRES) + packet(b"c", b"3"))
    until(script.look, lambda: len(script.arrived) >= 1)
    before = len(script.arrived)
    for _ in range(3):
        script.client.step(0.01, read=False)
    assert len(script.arrived) == before
    until(script.look, lambda: len(script.arrived) == 3)
    assert [one.payload for one in script.arrived] == [b"1", b"2", b"3"]
    script.close()


def test_half_a_message_of_a_lost_connection_is_not_the_beginning_of_the_next(until: Until) -> None:
    script = Script()
    script.wire.sendall(packet(b"a", b"1") + packet(b"b", b"22222222")[:-4])
    until(script.look, lambda: len(script.arrived) == 1)
    script.look()
    script.wire.close()
    until(script.look, lambda: not script.client.connected)
    script._listener.settimeout(30)
    until(script.look, lambda: script.client._mqtt.socket() is not None)
    script.wire, _ = script._listener.accept()
    script.wire.recv(1000)
    script.wire.sendall(b"\x20\x03\x00\x00\x00" + packet(b"c", b"3"))
    until(script.look, lambda: len(script.arrived) == 2)
    assert [one.topic for one in script.arrived] == ["a", "c"]
    script.close()


def test_acknowledgements_go_out_in_the_order_asked_for(until: Until) -> None:
    script = Script()
    script.wire.sendall(b"".join(packet(b"a", b"1", mid=mid) for mid in (5, 3, 9)))
    until(script.look, lambda: len(script.arrived) == 3)
    script.look()
    script.wire.settimeout(30)
    script.wire.recv(1000)  # its subscription
    script.client.acknowledge(script.arrived)
    assert script.wire.recv(1000) == b"\x40\x02\x00\x05\x40\x02\x00\x03\x40\x02\x00\x09"
    script.close()
