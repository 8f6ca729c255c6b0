"""The recorder: every message is on disk before the broker is told that it was received.

One thread. A message is decoded and judged as it arrives; a batch is written in one transaction; only
then are its messages acknowledged, in the order they came. When a write fails, the rows are kept and
the socket is left unread until it works, so that the broker holds what we cannot. When the connection
goes, what is waiting is written at once and its message ids are forgotten: the broker sends those
again, and the key (series, time) absorbs them.
"""

from __future__ import annotations

import logging
import os
import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, exc

from sensors import payloads, quality
from sensors.client import Arrived, Client
from shared.settings import Settings
from shared.store import Store, facts, readings
from shared.store.records import (
    NewReading,
    ProbeFact,
    Quantity,
    RecorderState,
    SubjectKind,
    TimeSource,
)

log = logging.getLogger("benchdry.recorder")

BEAT_EVERY_S = 5.0
RETRY_WRITE_S = (0.2, 0.5, 1.0, 2.0, 5.0)
QUIET_S = 0.02
MANY_WAITING = 50
MAX_PROBES = 500  # a new topic for each message must not fill the store with probes
UNKNOWN_QUEUE = "recorder"


def wall_clock_ms() -> int:
    """Return the time now in UTC ms."""
    return time.time_ns() // 1_000_000


@dataclass
class Waiting:
    """A decoded message that is not yet on disk."""

    message: Arrived
    arrived_ms: int
    probe_topic: str = ""
    values: list[payloads.Value] = field(default_factory=list)
    reason: str | None = None


class Recorder:
    """Reads from the broker, writes to the store, then acknowledges."""

    def __init__(self, settings: Settings, store: Store, clock_ms: Callable[[], int] = wall_clock_ms) -> None:
        """Prepare a recorder for one store; ``clock_ms`` gives the time now."""
        self._settings, self._store, self._clock_ms = settings, store, clock_ms
        self._client = Client(settings, self._take, self._connection_lost)
        self._waiting: list[Waiting] = []
        self._oldest_s = 0.0
        self._series: dict[tuple[str, Quantity], int] = {}
        self._failed_writes = 0
        self._retry_at_s = 0.0
        self._beat_at_s = 0.0
        self._said_connected = False
        self._write_note = ""
        self.stored = self.rejected = self.retained_ignored = 0

    def run(self, stop: Callable[[], bool]) -> None:
        """Record until ``stop`` says so; what is waiting is written before it returns."""
        while not stop():
            self.step()
        self._write_and_acknowledge()
        self._client.close()
        self._beat("stopped")

    def step(self, wait_s: float = 0.1) -> None:
        """Read what has come, write it when it is due, and note that we are alive."""
        before = len(self._waiting)
        self._client.step(QUIET_S if before else wait_s, read=self._failed_writes == 0)
        quiet = len(self._waiting) == before
        if self._waiting and self._write_due(quiet):
            self._write_and_acknowledge()
        if time.monotonic() >= self._beat_at_s or self._client.connected != self._said_connected:
            self._beat("")

    def _write_due(self, quiet: bool) -> bool:
        now_s = time.monotonic()
        if self._failed_writes:
            return now_s >= self._retry_at_s
        # Many waiting and nothing more coming: the broker's window is full, it waits for us.
        full = len(self._waiting) >= (MANY_WAITING if quiet else self._settings.commit_rows)
        return full or now_s - self._oldest_s >= self._settings.commit_every_s

    def _take(self, message: Arrived) -> None:
        """Decode one message into the batch; nothing here may fail on what a stranger sends."""
        arrived_ms = self._clock_ms()
        one = Waiting(message, arrived_ms)
        if message.retained:
            # The broker's copy of an old message: its age is unknown, so it is never a fresh reading.
            self.retained_ignored += 1
        elif not message.topic:
            one.reason = "a topic that is not text (UTF-8)"
        else:
            try:
                decoded = payloads.decode(message.topic, message.payload, arrived_ms)
                one.probe_topic, one.values = decoded.probe_topic, decoded.values
            except payloads.BadPayload as error:
                one.reason = str(error)
        if not self._waiting:
            self._oldest_s = time.monotonic()
        self._waiting.append(one)

    def _connection_lost(self) -> None:
        # Ids of this connection mean nothing on the next: write now, acknowledge nothing.
        self._write_and_acknowledge()

    def _write_and_acknowledge(self) -> None:
        if not self._waiting:
            return
        batch = self._waiting
        try:
            with self._store.writing() as connection:
                counts = self._write(connection, batch)
        except exc.SQLAlchemyError as error:
            self._write_failed(error)
            return
        self._waiting = []
        self._failed_writes, self._write_note = 0, ""
        self.stored += counts[0]
        self.rejected += counts[1]
        for one in batch:
            self._client.acknowledge(one.message)

    def _write_failed(self, error: exc.SQLAlchemyError) -> None:
        self._series.clear()  # a series made in the transaction that failed does not exist
        pause_s = RETRY_WRITE_S[min(self._failed_writes, len(RETRY_WRITE_S) - 1)]
        self._failed_writes += 1
        self._retry_at_s = time.monotonic() + pause_s
        self._write_note = f"cannot write to the store ({getattr(error, 'orig', None) or error}); nothing is lost"
        log.warning("%s: %d messages wait", self._write_note, len(self._waiting))

    def _write(self, connection: Connection, batch: list[Waiting]) -> tuple[int, int]:
        new, rejects = [], []
        for one in batch:
            if one.reason is None:
                try:
                    new += self._rows(connection, one)
                except payloads.BadPayload as error:
                    one.reason = str(error)
            if one.reason is not None:
                rejects.append((one.message.topic, one.message.payload, one.reason))
        arrived_ms = batch[-1].arrived_ms
        appended = readings.append(connection, new, arrived_ms)
        readings.add_rejects(connection, rejects, arrived_ms)
        return appended.new, len(rejects)

    def _rows(self, connection: Connection, one: Waiting) -> list[NewReading]:
        rows = []
        for value in one.values:
            at_ms = one.arrived_ms if value.at_ms is None else value.at_ms
            source = TimeSource.RECEIVED if value.at_ms is None else TimeSource.PAYLOAD
            flag = quality.judge(value.quantity, value.value, at_ms, one.arrived_ms)
            series_id = self._series_id(connection, one.probe_topic, value.quantity, one.arrived_ms)
            rows.append(NewReading(series_id, at_ms, value.value, flag, source))
        return rows

    def _series_id(self, connection: Connection, topic: str, quantity: Quantity, now_ms: int) -> int:
        key = (topic, quantity)
        if key not in self._series:
            probe_id = _probe_of(connection, topic, now_ms)
            self._series[key] = readings.series_of(connection, probe_id, quantity)
        return self._series[key]

    def _beat(self, note: str) -> None:
        """Note in the store that we are alive and how we stand; skipped while the store cannot be written."""
        self._beat_at_s = time.monotonic() + BEAT_EVERY_S
        self._said_connected = self._client.connected
        state = RecorderState(
            beat_ms=self._clock_ms(),
            pid=os.getpid(),
            connected=self._client.connected,
            broker=f"{self._settings.broker_host}:{self._settings.broker_port}",
            session_kept=self._client.session_kept,
            waiting=len(self._waiting),
            stored=self.stored,
            rejected=self.rejected,
            retained_ignored=self.retained_ignored,
            note=note or self._write_note or self._client.note,
        )
        if self._failed_writes:
            return
        try:
            with self._store.writing() as connection:
                readings.set_recorder_state(connection, state)
        except exc.SQLAlchemyError as error:
            log.warning("the store is busy: %s", getattr(error, "orig", error))


def _probe_of(connection: Connection, topic: str, now_ms: int) -> int:
    """Return the probe that publishes on ``topic``; a new topic makes a probe that waits for its place."""
    for fact in facts.standing(connection, ProbeFact):
        if fact.topic == topic:
            return fact.subject_id
    known = facts.subjects(connection, SubjectKind.PROBE)
    if len(known) >= MAX_PROBES:
        raise payloads.BadPayload(f"a new topic, and there are already {MAX_PROBES} probes")
    code = _free_code(topic, {one.code.lower() for one in known})
    made = facts.add_subject(connection, SubjectKind.PROBE, code)
    values: dict[str, Any] = {"name": code, "topic": topic}
    facts.add(connection, ProbeFact, made.id, true_at_ms=now_ms, entered_at_ms=now_ms, by=UNKNOWN_QUEUE, **values)
    log.info("a new probe publishes on %s", topic)
    return made.id


def _free_code(topic: str, taken: set[str]) -> str:
    base = re.sub(r"[^A-Za-z0-9]+", "-", topic.split("/", 1)[-1]).strip("-")[:40] or "probe"
    code, number = base, 2
    while code.lower() in taken:
        code, number = f"{base}-{number}", number + 1
    return code
