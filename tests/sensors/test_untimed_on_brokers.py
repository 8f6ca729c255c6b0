"""Readings without a time of their own on a real broker: what it redelivers after a commit is not stored again."""

from __future__ import annotations

import socket
from collections.abc import Callable, Sequence

import pytest

from sensors.broker import Broker
from sensors.client import Arrived
from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store
from shared.store.records import Reading

Start = Callable[..., Broker]
Publish = Callable[..., None]
Until = Callable[..., None]
Connected = Callable[[Recorder], None]
Stored = Callable[[Store], list[Reading]]
SettingsFor = Callable[..., Settings]
TOPIC = "workshop/shed/temperature"


def deaf(recorder: Recorder) -> None:
    """Let no acknowledgement reach the broker, as when the line breaks after a commit."""

    def lost(_messages: Sequence[Arrived]) -> None:
        pass

    recorder._client.acknowledge = lost  # type: ignore[method-assign]


@pytest.mark.parametrize("restarted", [False, True])
def test_what_was_committed_and_comes_again_is_dropped(
    restarted: bool,
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
    acknowledge = recorder._client.acknowledge
    publish(broker, [(TOPIC, "20.5"), (TOPIC, "20.5")])
    until(recorder.step, lambda: len(stored(store)) == 2)
    deaf(recorder)
    publish(broker, [(TOPIC, str(value)) for value in (21, 21, 22)])
    until(recorder.step, lambda: len(stored(store)) == 5)
    if restarted:
        recorder._client.close()
        recorder = Recorder(settings_for(broker), store)
    else:
        recorder._client._mqtt.socket().shutdown(socket.SHUT_RDWR)  # type: ignore[union-attr]
        until(recorder.step, lambda: not recorder._client.connected)
        recorder._client.acknowledge = acknowledge  # type: ignore[method-assign]
    until(recorder.step, lambda: recorder.repeated == 3)
    publish(broker, [(TOPIC, "22")])
    until(recorder.step, lambda: len(stored(store)) == 6)
    recorder.run(stop=lambda: True)
    assert [row.value for row in stored(store)] == [20.5, 20.5, 21, 21, 22, 22]
    again = Recorder(settings_for(broker), store)
    connected(again)
    assert again._waiting == [] and again.stored == again.repeated == 0, "something was left unacknowledged"
