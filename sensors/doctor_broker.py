"""What the broker itself answers: a client of the doctor's own asks, and leaves nothing behind.

Three short calls: one that subscribes as the recorder does and counts what is retained; one that leaves
a session, without a subscription, so that nothing can queue in it; one that finds it again and ends it.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from sensors import secure
from sensors.client import SESSION_KEPT_S
from sensors.findings import Finding, Level, time_words
from shared.errors import BadInput
from shared.settings import Settings

ANSWER_WITHIN_S = 10.0
QUIET_S = 0.5  # no retained message for so long: that was all
COUNTING_S = 5.0
MANY_RETAINED = 500
UNSUPPORTED_VERSION, BAD_PASSWORD, NOT_ALLOWED = 0x84, 0x86, 0x87
LOOPBACK = ("127.0.0.1", "::1", "localhost")


class _Call:
    """One connection, stepped by hand; ``answer`` is None when the broker closed it without a word."""

    def __init__(self, settings: Settings, folder: Path, *, fresh: bool, session_s: int) -> None:
        self.answer: Any = None
        self.present = False
        self.kept_s = session_s
        self.granted: list[Any] | None = None
        self.retained: set[str] = set()
        self._retained_at_s = 0.0
        self._ended = False
        self._client = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2,
            client_id=f"{settings.recorder_id}-doctor",
            protocol=mqtt.MQTTv5,
            reconnect_on_failure=False,
        )
        self._client.on_connect, self._client.on_subscribe = self._on_connect, self._on_subscribe
        self._client.on_message, self._client.on_disconnect = self._on_message, self._on_disconnect
        secure.apply(self._client, settings, folder)
        wanted = Properties(PacketTypes.CONNECT)
        wanted.SessionExpiryInterval = session_s
        self._client.connect(settings.broker_host, settings.broker_port, 30, clean_start=fresh, properties=wanted)
        self._until(lambda: self.answer is not None)

    @property
    def let_in(self) -> bool:
        return self.answer is not None and not self.answer.is_failure

    def _until(self, holds: Any) -> None:
        deadline_s = time.monotonic() + ANSWER_WITHIN_S
        while not holds() and not self._ended and time.monotonic() < deadline_s:
            self._client.loop(0.05)

    def subscribe(self, topics: list[str]) -> None:
        options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE)
        self._client.subscribe([(topic, options) for topic in topics])
        self._until(lambda: self.granted is not None)
        started_s = self._retained_at_s = time.monotonic()
        while time.monotonic() < min(self._retained_at_s + QUIET_S, started_s + COUNTING_S) and not self._ended:
            self._client.loop(0.05)

    def leave(self) -> None:
        self._client.disconnect()
        self._until(lambda: self._ended)

    def _on_connect(self, _client: Any, _data: Any, flags: Any, reason: Any, properties: Any) -> None:
        self.answer, self.present = reason, bool(flags.session_present)
        self.kept_s = getattr(properties, "SessionExpiryInterval", self.kept_s)

    def _on_subscribe(self, _client: Any, _data: Any, _mid: int, reasons: list[Any], _props: Any) -> None:
        self.granted = reasons

    def _on_message(self, _client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
        if message.retain:
            self.retained.add(repr(message._topic))  # the bytes: a topic may be no text
            self._retained_at_s = time.monotonic()

    def _on_disconnect(self, *_: Any) -> None:
        self._ended = True


def examine_broker(settings: Settings, folder: Path = Path()) -> list[Finding]:
    """Return what the broker answers to a client that asks as the recorder does.

    Files named in the settings lie in ``folder`` unless absolute. Takes a few seconds; nothing that is
    found here raises.
    """
    try:
        call = _Call(settings, folder, fresh=True, session_s=0)
        if not call.let_in:
            call.leave()
            return [_kept_out(call.answer, settings)]
        call.subscribe(settings.broker_topics.split())
        call.leave()
        return [
            _let_in(settings),
            *_in_the_clear(settings),
            _granted(call, settings),
            _retained(call),
            _session(settings, folder),
        ]
    except BadInput as error:
        return [Finding(Level.WRONG, str(error), "mend that setting; `benchdry settings` shows where it comes from")]
    except (OSError, ValueError) as error:
        told = secure.explain(error, settings)
        return [Finding(Level.WRONG, f"{told[0].upper()}{told[1:]}.", _remedy_of(told))]


def _remedy_of(told: str) -> str:
    if "prove who it is" in told:
        return "set broker_ca_file to the certificate that the broker's own was issued by, and broker_host to its name"
    if "TLS" in told:
        return "set broker_tls to false, or broker_port to the port that speaks TLS (mostly 8883)"
    return "start the broker, or set broker_host and broker_port to where it is"


def _kept_out(answer: Any, settings: Settings) -> Finding:
    where = f"The broker at {settings.broker_host}:{settings.broker_port}"
    if answer is None:
        told = f"{where} closed the connection without an answer, or gave none."
        if settings.broker_tls:
            return Finding(
                Level.WRONG, told, "it may want a client certificate: set broker_cert_file and broker_key_file"
            )
        return Finding(
            Level.WRONG, told, "it may want TLS: set broker_tls to true; or something else listens on that port"
        )
    if answer.value == UNSUPPORTED_VERSION:
        remedy = "use a broker that speaks MQTT 5, such as mosquitto 1.6 or newer"
        return Finding(Level.WRONG, f"{where} does not speak MQTT 5, without which readings can be lost.", remedy)
    if answer.value in (BAD_PASSWORD, NOT_ALLOWED):
        name = f"the user {settings.broker_username}" if settings.broker_username else "a client without a user name"
        remedy = "set broker_username, and the password as BENCHDRY_BROKER_PASSWORD or in broker_password_file"
        return Finding(Level.WRONG, f"{where} does not let in {name} ({answer}).", remedy)
    return Finding(Level.WRONG, f"{where} refused the connection: {answer}.", "look into the broker's own log")


def _let_in(settings: Settings) -> Finding:
    how = "over TLS" if settings.broker_tls else "without TLS"
    return Finding(
        Level.FINE, f"The broker at {settings.broker_host}:{settings.broker_port} speaks MQTT 5 with us, {how}."
    )


def _in_the_clear(settings: Settings) -> list[Finding]:
    if settings.broker_tls or settings.broker_host in LOOPBACK or not settings.broker_username:
        return []
    told = f"The broker's password travels to {settings.broker_host} where others on the network can read it."
    return [
        Finding(Level.CARE, told, "set broker_tls to true, and broker_port to the port that speaks TLS (mostly 8883)")
    ]


def _granted(call: _Call, settings: Settings) -> Finding:
    topics = settings.broker_topics
    if call.granted is None:
        return Finding(Level.WRONG, f"The broker did not answer the subscription to {topics}.", "look into its own log")
    refused = [str(reason) for reason in call.granted if reason.is_failure]
    if refused:
        remedy = f"let the recorder read {topics}, in the broker's acl_file"
        return Finding(Level.WRONG, f"The broker refuses the subscription to {topics} ({refused[0]}).", remedy)
    if any(reason.value == 0 for reason in call.granted):
        told = f"The broker grants no acknowledged delivery of {topics} (QoS 0): what it sends can get lost."
        return Finding(Level.WRONG, told, "let the listener grant QoS 1 (max_qos in mosquitto)")
    return Finding(Level.FINE, f"The broker grants acknowledged delivery of {topics} (QoS 1).")


def _retained(call: _Call) -> Finding:
    number = len(call.retained)
    if number > MANY_RETAINED:
        told = f"The broker keeps {number:,} retained messages and sends them to every client that subscribes anew."
        return Finding(Level.CARE, told, "let the probes publish without the retain flag, and clear the old messages")
    if number:
        some = f"The broker keeps {number} retained message{'s'[: number > 1]}"
        return Finding(Level.FINE, f"{some}; the recorder never takes them for new.")
    return Finding(Level.FINE, "The broker keeps no retained messages below these topics.")


def _session(settings: Settings, folder: Path) -> Finding:
    left = _Call(settings, folder, fresh=True, session_s=SESSION_KEPT_S)
    left.leave()
    found = _Call(settings, folder, fresh=False, session_s=0)
    found.leave()
    if not found.present:
        told = "The broker keeps no session for a client that is away: what comes meanwhile is lost."
        return Finding(Level.WRONG, told, "use a broker that keeps MQTT 5 sessions, such as mosquitto")
    if left.kept_s < SESSION_KEPT_S:
        told = f"The broker keeps our session for {time_words(left.kept_s / 86_400)} only, then drops what it queued."
        return Finding(Level.CARE, told, "raise its limit on how long sessions are kept")
    return Finding(Level.FINE, "The broker keeps our session while we are away, and what comes for us.")
