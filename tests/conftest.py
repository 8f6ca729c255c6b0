"""What several folders of tests need: an empty store, a private broker, publishers, a recorder stepped by hand."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import paho.mqtt.client as mqtt
import pytest
from hypothesis import settings

from sensors import broker as brokers
from sensors.broker import Broker
from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store, readings
from shared.store.records import Reading

settings.register_profile("benchdry", deadline=None)  # nothing here depends on how quick a machine is
settings.load_profile("benchdry")

PROJECT = Path(__file__).resolve().parent.parent
PATIENCE_S = 60.0  # how long to wait before calling it a failure; nothing here depends on how quick it is


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store in a folder of its own."""
    made = Store(tmp_path / "store.sqlite3")
    made.create_or_upgrade()
    yield made
    made.close()


@pytest.fixture(scope="session")
def valid_message() -> Callable[[str | bytes], dict[str, Any]]:
    """Read a verdict's message, and fail where its documented schema (JSON Schema, draft 2020-12) does not hold."""
    schema = json.loads((PROJECT / "docs" / "verdict_message.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)

    def read(payload: str | bytes) -> dict[str, Any]:
        message: dict[str, Any] = json.loads(payload)
        validator.validate(message)
        return message

    return read


@pytest.fixture
def start_broker(tmp_path: Path) -> Iterator[Callable[..., brokers.Broker]]:
    """Start private brokers, "mosquitto" or "embedded"; they end with the test."""
    running: list[brokers.Broker] = []

    def start(kind: str = "mosquitto", port: int = 0) -> brokers.Broker:
        if kind == "mosquitto":
            assert brokers.find_mosquitto(), "mosquitto is not installed: make setup-test"
        running.append(brokers.start(tmp_path / kind, embedded=kind == "embedded", port=port))
        return running[-1]

    yield start
    for one in running:
        one.stop()


@pytest.fixture
def publish() -> Callable[..., None]:
    """Publish (topic, payload) pairs at QoS 1 and return when the broker has acknowledged each."""

    def send(
        broker: Broker, messages: Iterable[tuple[str, str | bytes]], *, version: int = 4, retain: bool = False
    ) -> None:
        protocol = {4: mqtt.MQTTv311, 5: mqtt.MQTTv5}[version]
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=protocol)
        client.connect("127.0.0.1", broker.port if version == 4 else broker.port_v5)
        client.loop_start()
        sent = [client.publish(topic, payload, qos=1, retain=retain) for topic, payload in messages]
        for one in sent:
            one.wait_for_publish(PATIENCE_S)
            assert one.is_published()
        client.disconnect()
        client.loop_stop()

    return send


@pytest.fixture
def until() -> Callable[..., None]:
    """Step something until a condition holds; fail when it does not come to hold."""

    def step_until(step: Callable[[], object], holds: Callable[[], bool]) -> None:
        deadline_s = time.monotonic() + PATIENCE_S
        while not holds():
            assert time.monotonic() < deadline_s, "waited in vain"
            step()

    return step_until


@pytest.fixture
def settings_for() -> Callable[..., Settings]:
    """Settings of a recorder for one broker, with quick commits."""

    def make(broker: Broker, **others: object) -> Settings:
        return replace(Settings(), broker_port=broker.port_v5, commit_every_s=0.05, **others)  # type: ignore[arg-type]

    return make


@pytest.fixture
def connected(until: Callable[..., None]) -> Callable[[Recorder], None]:
    """Step a recorder until it is connected, and a little longer: its subscription follows."""

    def wait(recorder: Recorder) -> None:
        until(recorder.step, lambda: recorder._client.connected)
        for _ in range(5):
            recorder.step()

    return wait


@pytest.fixture
def stored() -> Callable[[Store], list[Reading]]:
    """Every reading in the store."""

    def read(store: Store) -> list[Reading]:
        with store.reading() as connection:
            every = readings.all_series(connection)
            return [row for one in every for row in readings.raw(connection, one.id, 0, 10**14)]

    return read
