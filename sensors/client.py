"""The broker as the recorder sees it: messages in arrival order, acknowledged one by one, by us.

A thin adapter over paho-mqtt: MQTT 5, quality of service 1, a session that the broker keeps while we
are away, and no thread, so that nothing is read while nothing can be stored. The read path of its own
overrides what paho calls private: pyproject.toml holds paho to the versions that it is tested with.
"""

from __future__ import annotations

import select
import ssl
import struct
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import paho.mqtt.client as mqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from sensors import secure
from sensors.packets import publish_at
from shared import verdict_topics
from shared.errors import BadInput
from shared.settings import Settings
from shared.store.records import Outgoing

SESSION_KEPT_S = 30 * 86_400
RECEIVE_MAXIMUM = 2000  # said explicitly: without it a broker sends 20 and waits
# Ample, since a broker drops what is larger without a word to anybody; the recorder refuses it and says so.
MAX_PACKET_BYTES = 2 * 2**20
KEEPALIVE_S = 30
READ_BYTES = 16_384  # some hundred messages: few enough to look at batch and clock in between
PUBACK = struct.Struct("!BBH")
RETRY_S = (0.5, 1.0, 2.0, 5.0)
STEADY_S = 10.0  # a connection that lasted this long was a good one: the next attempts start quick again
# After connections that were made and did not last. Not every broker says that another client uses our
# id (mosquitto 2.0 just hangs up), and two recorders that take it from each other must not go on at full speed.
SHORT_LIVED_S = (0.5, 1.0, 2.0, 5.0, 20.0, 60.0)
SUSPICIOUS = 4
FAREWELL_S = 2.0
WITH_WILL = ReasonCode(PacketTypes.DISCONNECT, "Disconnect with will message")
MOST_UNANSWERED = 65_535  # where a broker names no Receive Maximum (MQTT 5, section 3.2.2.3.3)
NO_SUCH_WILL = (0x9A, 0x9B)  # a broker that keeps nothing retained, or knows no quality of service 1


class Arrived(NamedTuple):
    """One message as it came."""

    topic: str
    payload: bytes
    retained: bool
    repeated: bool
    mid: int
    qos: int
    life: int  # which connection it came on: an acknowledgement must not go out on a later one


class _Line(mqtt.Client):
    """paho's client, reading in bulk: three calls to the kernel for each message are what it spends most time on.

    What is read stays in ``held`` until it is asked for. A whole PUBLISH at the head of it is taken here (those
    of quality 0 and 1 without properties: nearly every message); anything else is left to paho.

    Closes nothing for a write that fails: what the broker sent before it went is still to be read.
    paho closes the socket at such a write, and with it goes what came and was not yet read. A broker that was
    killed cannot send that again, and it had acknowledged it to the probe. Reading finds the end by itself.
    """

    hung_up = False
    held = b""
    taken = 0  # how much of ``held`` has been asked for

    def fresh(self) -> None:
        """Begin a new connection: what the last one left is half a message."""
        self.hung_up, self.held, self.taken = False, b"", 0

    @property
    def holds(self) -> bool:
        """Whether something was read that nobody has asked for yet."""
        return self.taken < len(self.held)

    def acknowledge(self, mids: Sequence[int]) -> None:
        """Send an acknowledgement for each packet id, in order, in one piece (PUBACK: MQTT 5, section 3.4)."""
        self._packet_queue(mqtt.PUBACK, b"".join(PUBACK.pack(mqtt.PUBACK, 2, mid) for mid in mids), 0, 1)

    def take(self) -> tuple[int, bytes, int, bytes] | None:
        """Return the next message that lies whole at the head of what was read: first byte, topic, id, payload."""
        if self._in_packet["command"]:  # paho has begun with the one that lies there
            return None
        found = publish_at(self.held, self.taken)
        if found is None:
            return None
        self.taken, *message = found
        return tuple(message)

    def _sock_recv(self, bufsize: int) -> bytes:
        if not self.holds:
            self.held, self.taken = super()._sock_recv(READ_BYTES), 0
        piece = self.held[self.taken : self.taken + bufsize]
        self.taken += len(piece)
        return piece

    def _sock_send(self, buf: bytes | bytearray) -> int:
        try:
            return super()._sock_send(buf)
        except BlockingIOError:
            raise
        except OSError:
            self.hung_up = True
            raise BlockingIOError from None


class Client:
    """A connection that comes back by itself, and hands over each message once it is asked to read."""

    def __init__(
        self,
        settings: Settings,
        on_message: Callable[[Arrived], None],
        on_lost: Callable[[], None],
        folder: Path = Path(),
    ) -> None:
        """Prepare; ``on_lost`` is called when the connection goes, before anything arrives on the next.

        Certificates and the password file lie in ``folder``. Raises BadInput for those that cannot be used.
        """
        self._settings = settings
        self._deliver, self._lost = on_message, on_lost
        self.connected = False
        self.session_kept = False
        self.note = "not yet connected"
        self.life = 0  # how many connections there have been
        self.heard_s = 0.0  # when something was last read
        self._attempts = 0
        self._short_lived = 0
        self._next_attempt_s = 0.0
        self._connected_at_s = 0.0
        self._refused = False
        self.on_published: Callable[[int, str], None] = lambda _packet_id, _refusal: None
        self._unanswered, self._most_unanswered, self._keeps = 0, 0, True  # of what we publish
        root = verdict_topics.root(settings)
        self._status = verdict_topics.status_of(root) if root else ""
        self._mqtt = self._make(folder)

    def _make(self, folder: Path) -> _Line:
        made = _Line(
            mqtt.CallbackAPIVersion.VERSION2,
            client_id=self._settings.recorder_id,
            protocol=mqtt.MQTTv5,
            manual_ack=True,
            reconnect_on_failure=False,
        )
        secure.apply(made, self._settings, folder)
        made.on_connect = self._on_connect
        made.on_disconnect = self._on_disconnect
        made.on_message = self._on_message
        made.on_subscribe = self._on_subscribe
        made.on_publish = self._on_publish
        if self._status:
            made.will_set(self._status, verdict_topics.OFFLINE, qos=1, retain=True)
        return made

    def step(self, wait_s: float, *, read: bool) -> None:
        """Let the connection live for at most ``wait_s``; take messages in only when ``read``."""
        sock = self._mqtt.socket()
        if sock is None:
            self._connect_when_due(wait_s)
            return
        wants_write = [sock] if self._mqtt.want_write() and not self._mqtt.hung_up else []
        # What was read, or decrypted by TLS, no longer shows at the socket.
        ready = read and (self._mqtt.holds or (isinstance(sock, ssl.SSLSocket) and sock.pending() > 0))
        readable, writable, _ = select.select([sock] if read else [], wants_write, [], 0.0 if ready else wait_s)
        if readable or ready:
            self._read()
        if writable and self._mqtt.socket() is not None:
            self._mqtt.loop_write()
        if not self._mqtt.hung_up:  # or a keepalive that cannot be sent would close what is not yet read
            self._mqtt.loop_misc()

    def _read(self) -> None:
        """Take one packet as paho does, and the messages that came with it."""
        self._mqtt.loop_read()
        self.heard_s = time.monotonic()
        while (message := self._mqtt.take()) is not None:
            first, topic, mid, payload = message
            self._hand_over(topic, payload, mid, retained=bool(first & 1), repeated=bool(first & 8), qos=first >> 1 & 3)

    def acknowledge(self, messages: Sequence[Arrived]) -> None:
        """Tell the broker that these are on disk, in their order; those of an earlier connection are forgotten."""
        mids = [one.mid for one in messages if one.qos > 0 and one.life == self.life]
        if mids and self.connected:
            self._mqtt.acknowledge(mids)

    def publish(self, row: Outgoing) -> int | None:
        """Publish at quality of service 1 and return the packet id that ``on_published`` is called with; None: not now.

        It is sent again by itself on the next connection when this one goes before the broker has answered.
        Without properties: the embedded broker hangs up on those who listen by MQTT 3.1.1 when a message has some, so
        that not even a time after which to forget it is said. Raises ValueError, in words, for what it cannot keep.
        """
        if not self.connected or self._mqtt.hung_up or self._unanswered >= self._most_unanswered:
            return None
        if row.retain and not self._keeps:
            raise ValueError("it keeps no retained messages")
        made = self._mqtt.publish(row.topic, row.payload, qos=1, retain=row.retain)
        if made.rc == mqtt.MQTT_ERR_QUEUE_SIZE:
            return None
        self._unanswered += 1
        return made.mid

    def close(self) -> None:
        """Leave; the broker keeps the session and queues for us, and says that we are offline."""
        deadline_s = time.monotonic() + FAREWELL_S
        while self.connected and self._mqtt.want_write() and time.monotonic() < deadline_s:
            self.step(0.05, read=False)  # acknowledgements that the line has not yet taken
        if self.connected:
            self._mqtt.disconnect(WITH_WILL if self._status else None)

    def _connect_when_due(self, wait_s: float) -> None:
        now_s = time.monotonic()
        if now_s < self._next_attempt_s:
            time.sleep(min(wait_s, self._next_attempt_s - now_s))
            return
        self._next_attempt_s = now_s + RETRY_S[min(self._attempts, len(RETRY_S) - 1)]
        self._attempts += 1
        self._mqtt.fresh()
        wanted = Properties(PacketTypes.CONNECT)
        wanted.SessionExpiryInterval = SESSION_KEPT_S
        wanted.ReceiveMaximum = RECEIVE_MAXIMUM
        wanted.MaximumPacketSize = MAX_PACKET_BYTES
        host, port = self._settings.broker_host, self._settings.broker_port
        try:
            self._mqtt.connect(host, port, keepalive=KEEPALIVE_S, clean_start=False, properties=wanted)
        except (OSError, ValueError) as error:  # ValueError: no name that could be looked up
            self.note = f"{secure.explain(error, self._settings)}; trying again"

    def _on_connect(self, client: mqtt.Client, _data: Any, flags: Any, reason: Any, told: Any) -> None:
        if reason.is_failure:
            self.note = f"the broker refused the connection: {reason}"
            self._refused = True
            if reason.value in NO_SUCH_WILL:
                self._status = ""
                self._mqtt.will_clear()
            return
        self.life += 1
        self._connected_at_s = time.monotonic()
        self.connected, self.session_kept = True, bool(flags.session_present)
        self.note = "connected"
        options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
        client.subscribe([(topic, options) for topic in self._settings.broker_topics.split()])
        self._most_unanswered = getattr(told, "ReceiveMaximum", MOST_UNANSWERED)
        self._keeps = bool(getattr(told, "RetainAvailable", 1)) and getattr(told, "MaximumQoS", 2) > 0
        if self._status and self._keeps:
            client.publish(self._status, verdict_topics.ONLINE, qos=1, retain=True)
            self._unanswered += 1

    def _on_publish(self, _client: Any, _data: Any, packet_id: int, reason: Any, _props: Any) -> None:
        self._unanswered -= 1
        self.on_published(packet_id, str(reason) if reason.is_failure else "")

    def _on_subscribe(self, _client: Any, _data: Any, _mid: int, reasons: list[Any], _props: Any) -> None:
        refused = [str(reason) for reason in reasons if reason.is_failure]
        if refused:
            self.note = f"the broker refused the subscription: {', '.join(refused)}"
        elif any(reason.value == 0 for reason in reasons):
            self.note = "the broker grants no acknowledged delivery: readings can be lost"

    def _on_disconnect(self, _client: Any, _data: Any, _flags: Any, reason: Any, _props: Any) -> None:
        was_connected, self.connected = self.connected, False
        if not self._refused:  # a refusal is followed by the end of the connection, and is the better word
            self.note = f"connection lost: {reason}"
        self._refused = False
        if was_connected and reason.value != 0:  # 0: it was we who left
            self._pause_after(time.monotonic() - self._connected_at_s)
        if reason.value == 0x8E:  # session taken over: another recorder uses our id; do not fight
            self.note = f"another client uses the id {self._settings.recorder_id}; trying again in a minute"
            self._next_attempt_s = time.monotonic() + 60
        self._lost()

    def _pause_after(self, lasted_s: float) -> None:
        """Choose when to connect again, after a connection that lasted so long."""
        self._attempts = 0
        self._short_lived = 0 if lasted_s >= STEADY_S else self._short_lived + 1
        if self._short_lived:
            pause_s = SHORT_LIVED_S[min(self._short_lived, len(SHORT_LIVED_S)) - 1]
            self._next_attempt_s = time.monotonic() + pause_s
        if self._short_lived >= SUSPICIOUS:
            whose = f"does another client use the id {self._settings.recorder_id}?"
            self.note = f"connection lost again and again ({whose}); trying again in {pause_s:g} s"

    def _on_message(self, _client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
        self._hand_over(
            message._topic,
            bytes(message.payload),
            message.mid,
            retained=message.retain,
            repeated=message.dup,
            qos=message.qos,
        )

    def _hand_over(self, topic: bytes, payload: bytes, mid: int, *, retained: bool, repeated: bool, qos: int) -> None:
        try:
            name = topic.decode("utf-8")
        except UnicodeDecodeError:
            name = ""
        self._deliver(Arrived(name, payload, retained, repeated, mid, qos, self.life))


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
