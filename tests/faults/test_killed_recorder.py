"""The recorder is killed under load: nothing that the broker acknowledged is missing, nothing is doubled."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from sqlalchemy import text

from sensors.broker import Broker
from shared.store import Store, readings

T0 = 1_775_023_200_000
KILLS = 3
PATIENCE_S = 120.0
RUNNER = Path(__file__).with_name("recorder_process.py")


class Publisher(threading.Thread):
    """Publishes numbered readings until told to stop, and notes which the broker acknowledged."""

    def __init__(self, port: int) -> None:
        super().__init__()
        self.acknowledged: set[int] = set()
        self.stopping = threading.Event()
        self._port = port

    def run(self) -> None:
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        client.max_inflight_messages_set(100)
        client.connect("127.0.0.1", self._port)
        client.loop_start()
        number, waiting = 0, []
        while not self.stopping.is_set():
            payload = json.dumps({"temperature": number / 1000, "ts": T0 + number * 1000})
            waiting.append((number, client.publish("workshop/shed", payload, qos=1)))
            number += 1
            self.stopping.wait(0.001)
        for sent, info in waiting:
            info.wait_for_publish(PATIENCE_S)
            if info.is_published():
                self.acknowledged.add(sent)
        client.disconnect()
        client.loop_stop()


def start_recorder(store: Store, broker: Broker) -> subprocess.Popen[bytes]:
    environment = os.environ | {"PYTHONPATH": str(RUNNER.parent.parent.parent)}
    command = [sys.executable, str(RUNNER), str(store.path), str(broker.port_v5)]
    return subprocess.Popen(command, env=environment)


def wait_until(holds: Callable[[], bool], process: subprocess.Popen[bytes]) -> None:
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert process.poll() is None, "the recorder ended by itself"
        assert time.monotonic() < deadline_s, "waited in vain"
        time.sleep(0.02)


def count(store: Store) -> int:
    with store.reading() as connection:
        return readings.count(connection)


@pytest.mark.parametrize("kind", ["mosquitto", "embedded"])
def test_a_recorder_killed_three_times_under_load_misses_nothing_and_doubles_nothing(
    kind: str, start_broker: Callable[..., Broker], store: Store
) -> None:
    broker = start_broker(kind)
    recorder = start_recorder(store, broker)
    publisher = Publisher(broker.port)
    try:
        wait_until(lambda: _is_connected(store), recorder)
        publisher.start()
        for _ in range(KILLS):
            before = count(store)
            wait_until(lambda seen=before: count(store) > seen + 100, recorder)  # type: ignore[misc]
            recorder.send_signal(signal.SIGKILL)
            recorder.wait()
            recorder = start_recorder(store, broker)
        publisher.stopping.set()
        publisher.join(PATIENCE_S)
        assert len(publisher.acknowledged) > KILLS * 100
        wait_until(lambda: count(store) >= len(publisher.acknowledged), recorder)
    finally:
        publisher.stopping.set()
        recorder.kill()
        recorder.wait()
    with store.reading() as connection:
        rows = [tuple(row) for row in connection.execute(text("SELECT at_ms, value FROM reading"))]
        assert {(at_ms - T0) // 1000 for at_ms, _ in rows} >= publisher.acknowledged, "an acknowledged reading is gone"
        assert all(round(value * 1000) == (at_ms - T0) // 1000 for at_ms, value in rows)
        assert len({at_ms for at_ms, _ in rows}) == len(rows)
        assert readings.count_conflicts(connection) == 0
        for tier in ("tier_10min", "tier_hour", "tier_day"):  # in the same transaction, so never doubled either
            total = connection.execute(text(f"SELECT sum(n + bad), sum(total) FROM {tier}")).one()
            assert total[0] == len(rows)
            assert total[1] == pytest.approx(sum(value for _, value in rows))
        assert connection.execute(text("PRAGMA integrity_check")).scalar() == "ok"


def _is_connected(store: Store) -> bool:
    with store.reading() as connection:
        state = readings.recorder_state(connection)
    return state is not None and state.connected
