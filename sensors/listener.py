"""Live traffic for whoever wants to look: what comes, which shape it seems to have, what it would be stored as.

A client of its own with no session: it takes nothing from the recorder. Retained copies are asked for, and marked
by the broker as the recorder would see them; ``retain as published`` is left off, since it would mark live messages of
a retained topic too.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.subscribeoptions import SubscribeOptions

from sensors import payloads, secure
from sensors.payloads import BadPayload, Heard, Learned
from sensors.shapes import Rule
from shared.errors import Refused
from shared.settings import Settings

CLIENT_ID = "benchdry-listen-"
KEEPALIVE_S = 30
LOOK_EVERY_S = 0.2


@dataclass(frozen=True)
class Traffic:
    """One message as it came: what was understood, or else the reason; retained: a stored copy of unknown age."""

    topic: str
    retained: bool
    shape: str
    heard: Heard | None
    reason: str


class Listener:
    """Listens to a broker without leaving a trace there."""

    def __init__(
        self,
        settings: Settings,
        clock_ms: Callable[[], int],
        *,
        zone: tzinfo | None = None,
        rules: Sequence[Rule] = (),
        folder: Path = Path(),
    ) -> None:
        """Prepare; ``zone`` and ``rules`` are those that the recorder reads with, ``folder`` that of the settings."""
        self._settings, self._clock_ms, self._zone, self._rules = settings, clock_ms, zone, rules
        self._learned = Learned()
        self._tell: Callable[[Traffic], None] = lambda _: None
        self._failed = ""
        self._mqtt = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2,
            client_id=CLIENT_ID + secrets.token_hex(4),
            protocol=mqtt.MQTTv5,
            reconnect_on_failure=False,
        )
        secure.apply(self._mqtt, settings, folder)
        self._mqtt.on_connect = self._on_connect
        self._mqtt.on_subscribe = self._on_subscribe
        self._mqtt.on_message = self._on_message
        self._mqtt.on_disconnect = self._on_disconnect

    def listen(self, topics: Sequence[str], tell: Callable[[Traffic], None], stop: Callable[[], bool]) -> None:
        """Call ``tell`` for each message on the topic filters, until ``stop`` says so.

        Raises Refused when there is no broker, it does not let us in, or the connection goes.
        """
        self._tell, self._topics = tell, topics
        try:
            self._mqtt.connect(self._settings.broker_host, self._settings.broker_port, KEEPALIVE_S, clean_start=True)
        except (OSError, ValueError) as error:  # ValueError: no name that could be looked up
            raise Refused(f"Cannot listen: {secure.explain(error, self._settings)}.") from None
        try:
            while not stop():
                if self._mqtt.loop(LOOK_EVERY_S) != mqtt.MQTT_ERR_SUCCESS or self._failed:
                    raise Refused(f"Cannot listen: {self._failed or 'the connection to the broker is lost'}.")
        finally:
            self._mqtt.disconnect()

    def _on_connect(self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _props: Any) -> None:
        if reason.is_failure:
            self._failed = f"the broker refused the connection: {reason}"
            return
        options = SubscribeOptions(qos=0, retainHandling=SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE)
        client.subscribe([(topic, options) for topic in self._topics])

    def _on_subscribe(self, _client: Any, _data: Any, _mid: int, reasons: list[Any], _props: Any) -> None:
        refused = [str(reason) for reason in reasons if reason.is_failure]
        if refused:
            self._failed = f"the broker refused the subscription: {', '.join(refused)}"

    def _on_disconnect(self, _client: Any, _data: Any, _flags: Any, reason: Any, _props: Any) -> None:
        self._failed = self._failed or f"connection lost: {reason}"

    def _on_message(self, _client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            self._tell(Traffic("", message.retain, "", None, "a topic that is not text (UTF-8)"))
            return
        self._tell(self._traffic(topic, bytes(message.payload), retained=message.retain))

    def _traffic(self, topic: str, payload: bytes, *, retained: bool) -> Traffic:
        now_ms = self._clock_ms()
        try:
            heard = payloads.read(topic, payload, now_ms, zone=self._zone, learned=self._learned, rules=self._rules)
        except BadPayload as error:
            return Traffic(topic, retained, error.shape, None, str(error))
        return Traffic(topic, retained, heard.shape, heard, "")
