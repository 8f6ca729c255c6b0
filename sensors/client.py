"""The broker as the recorder sees it: messages in arrival order, acknowledged one by one, by us.

A thin adapter over paho-mqtt: MQTT 5, quality of service 1, a session that the broker keeps while we
are away, and no thread, so that nothing is read while nothing can be stored.
"""

from __future__ import annotations

import select
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from shared.errors import BadInput
from shared.settings import Settings

SESSION_KEPT_S = 30 * 86_400
RECEIVE_MAXIMUM = 2000  # said explicitly: without it a broker sends 20 and waits
MAX_PACKET_BYTES = 65_536
KEEPALIVE_S = 30
RETRY_S = (0.5, 1.0, 2.0, 5.0)
STEADY_S = 10.0  # a connection that lasted this long was a good one: the next attempts start quick again


@dataclass(frozen=True)
class Arrived:
    """One message as it came."""

    topic: str
    payload: bytes
    retained: bool
    repeated: bool
    mid: int
    qos: int
    life: int  # which connection it came on: an acknowledgement must not go out on a later one


class Client:
    """A connection that comes back by itself, and hands over each message once it is asked to read."""

    def __init__(self, settings: Settings, on_message: Callable[[Arrived], None], on_lost: Callable[[], None]) -> None:
        """Prepare; ``on_lost`` is called when the connection goes, before anything arrives on the next."""
        self._settings = settings
        self._deliver, self._lost = on_message, on_lost
        self.connected = False
        self.session_kept = False
        self.note = "not yet connected"
        self._life = 0
        self._attempts = 0
        self._next_attempt_s = 0.0
        self._connected_at_s = 0.0
        self._refused = False
        self._mqtt = self._make()

    def _make(self) -> mqtt.Client:
        made = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2,
            client_id=self._settings.recorder_id,
            protocol=mqtt.MQTTv5,
            manual_ack=True,
            reconnect_on_failure=False,
        )
        if self._settings.broker_username:
            made.username_pw_set(self._settings.broker_username, self._settings.broker_password or None)
        made.on_connect = self._on_connect
        made.on_disconnect = self._on_disconnect
        made.on_message = self._on_message
        made.on_subscribe = self._on_subscribe
        return made

    def step(self, wait_s: float, *, read: bool) -> None:
        """Let the connection live for at most ``wait_s``; take messages in only when ``read``."""
        sock = self._mqtt.socket()
        if sock is None:
            self._connect_when_due(wait_s)
            return
        wants_write = [sock] if self._mqtt.want_write() else []
        readable, writable, _ = select.select([sock] if read else [], wants_write, [], wait_s)
        if readable:
            self._mqtt.loop_read()
        if writable and self._mqtt.socket() is not None:
            self._mqtt.loop_write()
        self._mqtt.loop_misc()

    def acknowledge(self, message: Arrived) -> None:
        """Tell the broker that this message is on disk; one from an earlier connection is forgotten."""
        if message.qos > 0 and message.life == self._life and self.connected:
            self._mqtt.ack(message.mid, message.qos)

    def close(self) -> None:
        """Leave; the broker keeps the session and queues for us."""
        if self.connected:
            self._mqtt.disconnect()
            self.step(0.2, read=False)

    def _connect_when_due(self, wait_s: float) -> None:
        now_s = time.monotonic()
        if now_s < self._next_attempt_s:
            time.sleep(min(wait_s, self._next_attempt_s - now_s))
            return
        self._next_attempt_s = now_s + RETRY_S[min(self._attempts, len(RETRY_S) - 1)]
        self._attempts += 1
        wanted = Properties(PacketTypes.CONNECT)
        wanted.SessionExpiryInterval = SESSION_KEPT_S
        wanted.ReceiveMaximum = RECEIVE_MAXIMUM
        wanted.MaximumPacketSize = MAX_PACKET_BYTES
        host, port = self._settings.broker_host, self._settings.broker_port
        try:
            self._mqtt.connect(host, port, keepalive=KEEPALIVE_S, clean_start=False, properties=wanted)
        except (OSError, ValueError) as error:  # ValueError: no name that could be looked up
            self.note = f"no broker at {host}:{port} ({getattr(error, 'strerror', None) or error}); trying again"

    def _on_connect(self, client: mqtt.Client, _data: Any, flags: Any, reason: Any, _props: Any) -> None:
        if reason.is_failure:
            self.note = f"the broker refused the connection: {reason}"
            self._refused = True
            return
        self._life += 1
        self._connected_at_s = time.monotonic()
        self.connected, self.session_kept = True, bool(flags.session_present)
        self.note = "connected"
        options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
        client.subscribe([(topic, options) for topic in self._settings.broker_topics.split()])

    def _on_subscribe(self, _client: Any, _data: Any, _mid: int, reasons: list[Any], _props: Any) -> None:
        refused = [str(reason) for reason in reasons if reason.is_failure]
        if refused:
            self.note = f"the broker refused the subscription: {', '.join(refused)}"
        elif any(reason.value == 0 for reason in reasons):
            self.note = "the broker grants no acknowledged delivery: readings can be lost"

    def _on_disconnect(self, _client: Any, _data: Any, _flags: Any, reason: Any, _props: Any) -> None:
        if self.connected and time.monotonic() - self._connected_at_s >= STEADY_S:
            self._attempts = 0
        self.connected = False
        if not self._refused:  # a refusal is followed by the end of the connection, and is the better word
            self.note = f"connection lost: {reason}"
        self._refused = False
        if reason.value == 0x8E:  # session taken over: another recorder uses our id; do not fight
            self.note = f"another client uses the id {self._settings.recorder_id}; trying again in a minute"
            self._next_attempt_s = time.monotonic() + 60
        self._lost()

    def _on_message(self, _client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = ""
        self._deliver(
            Arrived(topic, bytes(message.payload), message.retain, message.dup, message.mid, message.qos, self._life)
        )


def check_topics(settings: Settings) -> None:
    """Raise BadInput when the topic filter is not one that MQTT allows."""
    filters = settings.broker_topics.split()
    for one in filters:
        levels = one.split("/")
        misplaced = any(("#" in level and (level != "#" or i != len(levels) - 1)) for i, level in enumerate(levels))
        if misplaced or any("+" in level and level != "+" for level in levels):
            raise BadInput("setting broker_topics", one, "topic filters like workshop/# or shed/+/air")
    if not filters:
        raise BadInput("setting broker_topics", "", "at least one topic filter, like workshop/#")
