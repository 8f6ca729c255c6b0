"""What the fault tests share: a publisher that notes each acknowledgement, brokers and recorders to kill, the sum.

Every message bears a number. At the end each number that the broker acknowledged must be a row exactly once,
with the same value; the numbers are the whole of what may be in the store.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from sqlalchemy import text

from sensors import broker as brokers
from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store, readings

T0 = 1_775_023_200_000
PATIENCE_S = 240.0  # nothing here depends on how quick it is
RUNNER = Path(__file__).with_name("recorder_process.py")


def wait_until(holds: Callable[[], object], running: Callable[[], object] = lambda: True) -> None:
    """Wait until something holds; fail when it does not come to hold, or what must run has ended."""
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert running(), "the recorder ended by itself"
        assert time.monotonic() < deadline_s, "waited in vain"
        time.sleep(0.02)


class Publisher(threading.Thread):
    """Publishes numbered readings until told to stop, through whatever happens to the broker."""

    def __init__(self, port: int, *, per_second: float = 800, topics: int = 4, untimed: bool = False) -> None:
        """``untimed``: every second topic brings readings without a time of their own."""
        super().__init__(daemon=True)
        self.sent = 0
        self.acknowledged: set[int] = set()
        self.stopping = threading.Event()
        self.pausing = threading.Event()
        self._numbers: dict[int, int] = {}
        self._early: set[int] = set()
        self._lock = threading.Lock()
        self._port, self._pause_s, self._topics, self._untimed = port, 1 / per_second, topics, untimed

    def message(self, number: int) -> tuple[str, str]:
        """Return topic and payload of one message."""
        place = number % self._topics
        if self._untimed and place % 2:
            return f"workshop/u{place}/temperature", repr(number / 1000)
        return f"workshop/t{place}", json.dumps({"temperature": number / 1000, "ts": T0 + number * 1000})

    def run(self) -> None:
        """Publish, and go on until everything sent has been acknowledged."""
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="publisher", clean_session=False)
        client.max_inflight_messages_set(100)
        client.reconnect_delay_set(1, 1)
        client.on_publish = self._acknowledge
        client.connect("127.0.0.1", self._port)
        client.loop_start()
        while not self.stopping.is_set():
            while self.pausing.is_set() or self.sent - len(self.acknowledged) > 20_000:  # then the broker is away
                time.sleep(0.05)
            mid = client.publish(*self.message(self.sent), qos=1).mid
            with self._lock:
                self._numbers[mid] = self.sent
                self.sent += 1
                if mid in self._early:
                    self._early.discard(mid)
                    self.acknowledged.add(self._numbers.pop(mid))
            self.stopping.wait(self._pause_s)
        wait_until(lambda: len(self.acknowledged) == self.sent)
        client.disconnect()
        client.loop_stop()

    def _acknowledge(self, _client: object, _data: object, mid: int, *_: object) -> None:
        with self._lock:
            if mid in self._numbers:
                self.acknowledged.add(self._numbers.pop(mid))
            else:
                self._early.add(mid)

    def finish(self) -> None:
        """Send no more, and wait for the acknowledgements."""
        self.stopping.set()
        self.join(PATIENCE_S)
        assert not self.is_alive() and len(self.acknowledged) == self.sent


@dataclass(frozen=True)
class Sum:
    """What was sent and what became of it."""

    sent: int
    stored: int
    duplicates: int
    conflicts: int
    rejected: int

    def __str__(self) -> str:
        return (
            f"sent {self.sent}, stored {self.stored}, duplicates {self.duplicates}, "
            f"conflicts {self.conflicts}, rejected {self.rejected}"
        )


def summed(store: Store, sent: int) -> Sum:
    """Count what is in the store by number, which a reading's value bears; ``sent`` were acknowledged."""
    with store.reading() as connection:
        rows = connection.execute(text("SELECT value FROM reading")).scalars()
        numbers = Counter(round(value * 1000) for value in rows)
        rejected = connection.execute(text("SELECT count(*) FROM reject")).scalar_one()
        conflicts = readings.count_conflicts(connection)
        assert connection.execute(text("PRAGMA integrity_check")).scalar() == "ok"
    duplicates = sum(count - 1 for count in numbers.values())
    return Sum(sent, len(numbers), duplicates, conflicts, rejected)


def check(store: Store, acknowledged: set[int], *, rejected: int = 0, said: str = "") -> Sum:
    """Assert that each acknowledged number is a row exactly once, and the summaries agree; print the sum."""
    found = summed(store, len(acknowledged) + rejected)
    print(f"{said}{': ' if said else ''}{found}")
    with store.reading() as connection:
        rows = [(row.at_ms, row.value, row.time_source) for row in connection.execute(text("SELECT * FROM reading"))]
        tiers = [
            connection.execute(text(f"SELECT sum(n + bad) FROM {name}")).scalar_one()
            for name in ("tier_10min", "tier_hour", "tier_day")
        ]
    numbers = {round(value * 1000) for _, value, _ in rows}
    assert not acknowledged - numbers, f"{len(acknowledged - numbers)} acknowledged readings are not in the store"
    assert not numbers - acknowledged, "the store holds what nobody sent"
    assert all(at_ms == T0 + round(value * 1000) * 1000 for at_ms, value, source in rows if source == 0)
    assert tiers == [len(rows)] * 3
    assert (found.duplicates, found.conflicts, found.rejected) == (0, 0, rejected)
    assert found.sent == found.stored + found.rejected
    return found


def stop_and_leave(recorder: Recorder, broker: brokers.Broker) -> None:
    """Stop a recorder in order, and wait until the broker has gone through all that it had sent.

    One that connects under the same id before that takes its place, acknowledgements unread.
    """
    log = Path(str(broker.process.args[-1])).with_name("mosquitto.log")  # type: ignore[index]

    def departures() -> int:
        return log.read_text(encoding="utf-8").count(f"Client {Settings().recorder_id} disconnected")

    before = departures()
    recorder.run(stop=lambda: True)
    wait_until(lambda: departures() > before)


class Yard:
    """A broker, a store and a recorder in a process of its own."""

    def __init__(self, folder: Path, kind: str = "mosquitto", *settings: str, wired: bool = False) -> None:
        """Start the broker, and the recorder with these settings, ``wired`` through a proxy; wait until it listens."""
        self.folder, self.kind, self.settings = folder, kind, settings
        self.store = Store(folder / "store.sqlite3")
        self.store.create_or_upgrade()
        self.broker = brokers.start(folder / kind, embedded=kind == "embedded")
        self.port = self.broker.port_v5
        self.wire = Proxy(self.port)
        if wired:
            self.wire.start()
            self.port = self.wire.port
        self.lives = 0
        self.start_recorder()

    def start_recorder(self) -> None:
        """Start the recorder, and wait until it is connected: a broker keeps nothing for one it does not know."""
        self.lives += 1
        environment = os.environ | {"PYTHONPATH": str(RUNNER.parent.parent.parent)}
        command = [sys.executable, str(RUNNER), str(self.store.path), str(self.port), *self.settings]
        with (self.folder / "recorder.log").open("ab") as log:
            self.recorder = subprocess.Popen(command, env=environment, stderr=log)
        if self.lives == 1:
            wait_until(self.is_connected, self.is_running)
            time.sleep(0.5)  # its subscription follows

    def kill_recorder(self) -> None:
        """End it at this very moment, and start it anew."""
        self.recorder.send_signal(signal.SIGKILL)
        self.recorder.wait()
        self.start_recorder()

    def save_broker(self) -> None:
        """Let the broker write to its disk what it keeps, as it does each autosave_interval."""
        saved = self.folder / self.kind / "mosquitto.db"
        before = saved.stat().st_mtime_ns if saved.exists() else 0
        self.broker.process.send_signal(signal.SIGUSR1)
        wait_until(lambda: saved.exists() and saved.stat().st_mtime_ns != before)

    def catch_up(self, publisher: Publisher) -> None:
        """Hold the publisher until the recorder has taken all, and let it go on: now nothing lies with the broker."""
        publisher.pausing.set()
        wait_until(lambda: self.count() == publisher.sent == len(publisher.acknowledged), self.is_running)
        publisher.pausing.clear()

    def kill_broker(self) -> None:
        """End it at this very moment, start it anew with what it had saved, and wait for the recorder to come back."""
        before = self.welcomes()
        self.broker.process.kill()
        self.broker.process.wait()
        self.start_broker()
        wait_until(lambda: self.welcomes() > before, self.is_running)

    def welcomes(self) -> int:
        """Return how often the broker has let the recorder in."""
        log = self.folder / self.kind / "mosquitto.log"
        return log.read_text(encoding="utf-8").count(f" as {Settings().recorder_id} (")

    def start_broker(self) -> None:
        """Start the broker again where it was."""
        self.broker = brokers.start(self.folder / self.kind, port=self.broker.port)

    def is_running(self) -> bool:
        """Tell whether the recorder is there."""
        return self.recorder.poll() is None

    def is_connected(self) -> bool:
        """Tell whether the recorder that runs now says that it is connected."""
        with self.store.reading() as connection:
            state = readings.recorder_state(connection)
        return state is not None and state.connected and state.pid == self.recorder.pid

    def count(self) -> int:
        """Return how many readings are stored."""
        with self.store.reading() as connection:
            return readings.count(connection)

    def wait_for(self, count: int) -> None:
        """Wait until so many readings are stored."""
        wait_until(lambda: self.count() >= count, self.is_running)

    def close(self) -> None:
        """End everything."""
        self.recorder.kill()
        self.recorder.wait()
        self.wire.close()
        self.broker.stop()
        self.store.close()


class Proxy(threading.Thread):
    """A wire between recorder and broker that can be cut, or go dead without a word to either side."""

    def __init__(self, to_port: int) -> None:
        super().__init__(daemon=True)
        self._to = to_port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self.connections = 0
        self._open: list[socket.socket] = []
        self._dead: set[socket.socket] = set()

    def run(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
                far = socket.create_connection(("127.0.0.1", self._to))
            except OSError:
                if self._listener.fileno() < 0:
                    return
                near.close()
                continue
            self.connections += 1
            self._open += [near, far]
            for source, sink in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=(source, sink), daemon=True).start()

    def _carry(self, source: socket.socket, sink: socket.socket) -> None:
        try:
            while data := source.recv(4096):
                if source not in self._dead:  # else swallowed, and neither side is told
                    sink.sendall(data)
        except OSError:
            pass
        for one in (source, sink):
            one.close()

    def cut(self) -> None:
        """Close every connection at once."""
        ending, self._open = self._open, []
        for one in ending:
            try:
                one.shutdown(socket.SHUT_RDWR)
            except OSError:
                one.close()

    def go_dead(self) -> None:
        """Carry nothing more on the connections that there are, and close none of them."""
        self._dead |= set(self._open)

    def close(self) -> None:
        """Take the wire away."""
        self._listener.close()
        self.cut()


@pytest.fixture
def yards(tmp_path: Path):  # type: ignore[no-untyped-def]
    """Make yards; they end with the test."""
    made: list[Yard] = []

    def make(kind: str = "mosquitto", *settings: str, wired: bool = False) -> Yard:
        made.append(Yard(tmp_path, kind, *settings, wired=wired))
        return made[-1]

    yield make
    for one in made:
        one.close()
