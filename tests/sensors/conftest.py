"""A recorder without a broker: a client made of a list, a store that fails when told to, clocks set by hand."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import Connection, exc

from sensors import recorder as module
from sensors.client import Arrived
from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store
from shared.store.records import Outgoing

NOW_MS = 1_795_000_000_000


class ListedClient:
    """Stands in for the broker's connection: hands over what was put in, notes what was acknowledged."""

    def __init__(
        self, _settings: Settings, on_message: Callable[[Arrived], None], on_lost: Callable[[], None], _folder: object
    ) -> None:
        self.deliver, self.lose = on_message, on_lost
        self.connected, self.session_kept, self.note = True, True, "connected"
        self.life, self.heard_s = 1, 0.0
        self.coming: list[Arrived] = []
        self.acknowledged: list[int] = []
        self.on_acknowledge: Callable[[], None] = lambda: None
        self.on_published: Callable[[int, str], None] = lambda _packet_id, _refusal: None
        self.published: list[tuple[int, Outgoing]] = []
        self.takes = True  # whether what is published goes out
        self.closed = False

    def step(self, wait_s: float, *, read: bool) -> None:
        if read:
            coming, self.coming = self.coming, []
            for message in coming:
                self.deliver(message)

    def acknowledge(self, messages: Sequence[Arrived]) -> None:
        for message in messages:
            self.on_acknowledge()
            self.acknowledged.append(message.mid)

    def publish(self, row: Outgoing) -> int | None:
        if not self.takes:
            return None
        if "#" in row.topic:
            raise ValueError("no such topic")
        self.published.append((len(self.published) + 1, row))
        return len(self.published)

    def close(self) -> None:
        self.closed = True


class BrokenStore:
    """A store whose next transactions fail, before or after their body ran."""

    def __init__(self, store: Store) -> None:
        self.store, self.failures_before, self.failures_after = store, 0, 0
        self.reading = store.reading

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        if self.failures_before:
            self.failures_before -= 1
            raise exc.OperationalError("BEGIN", {}, sqlite3.OperationalError("disk I/O error"))
        with self.store.writing() as connection:
            yield connection
            if self.failures_after:
                self.failures_after -= 1
                raise exc.OperationalError("COMMIT", {}, sqlite3.OperationalError("database or disk is full"))


class Bench:
    """A recorder that is started, fed and restarted at times set by hand."""

    def __init__(self, store: Store) -> None:
        self.store, self.ms, self.s = BrokenStore(store), NOW_MS, 1000.0
        self.recorder: Any = None
        self.client: Any = None

    def start(self, *, kept: bool = True, **settings: float) -> None:
        """Start a recorder anew, as after a kill: the one before says no more."""
        chosen = Settings(**{"commit_every_s": 0.4, **settings})  # type: ignore[arg-type]
        store: Any = self.store
        self.recorder = Recorder(chosen, store, clock_ms=lambda: self.ms, clock_s=lambda: self.s)
        self.client = self.recorder._client
        self.client.session_kept = kept
        self.recorder.step()

    def wait(self, seconds: float, *, wall_s: float | None = None) -> None:
        """Let time pass; ``wall_s`` is what this machine's clock makes of it."""
        self.s += seconds
        self.ms += round((seconds if wall_s is None else wall_s) * 1000)

    def give(self, *messages: Arrived, ping: bool = False) -> None:
        """Let messages arrive; ``ping`` stands for a sign of life of the broker."""
        self.client.coming += messages
        self.client.heard_s += 1.0 if ping or messages else 0.0
        self.recorder.step()

    def commit(self) -> None:
        """Let the time of a batch pass, with all that is held back for longer."""
        for _ in range(3):
            self.wait(0.6)
            self.recorder.step()

    def reconnect(self, *, kept: bool = True) -> None:
        """Lose the connection and make the next."""
        self.client.lose()
        self.client.life += 1
        self.client.session_kept = kept
        self.give(ping=True)


@pytest.fixture
def listed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give every recorder made in the test a client made of a list."""
    monkeypatch.setattr(module, "Client", ListedClient)


@pytest.fixture
def broken(store: Store) -> BrokenStore:
    return BrokenStore(store)


@pytest.fixture
def recorder(broken: BrokenStore, listed: None) -> Recorder:
    return Recorder(Settings(commit_every_s=0.05), broken, clock_ms=lambda: NOW_MS)  # type: ignore[arg-type]


@pytest.fixture
def client(recorder: Recorder) -> ListedClient:
    return recorder._client  # type: ignore[return-value]


@pytest.fixture
def bench(store: Store, listed: None) -> Bench:
    return Bench(store)
