"""The recorder: every message is on disk before the broker is told that it was received.

One thread. A message is decoded and judged as it arrives; a batch is written in one transaction; only
then are its messages acknowledged, in the order they came. When a write fails, the rows are kept and
the socket is left unread until it works, so that the broker holds what we cannot. When the connection
goes, what is waiting is written at once and its message ids are forgotten: the broker sends those
again, and the key (series, time) absorbs them. Readings that bring no time of their own have rules
of their own: ``sensors.untimed``. A message that cannot be stored, whatever the cause, becomes a
reject with its bytes; it never takes its batch with it.
"""

from __future__ import annotations

import logging
import os
import sqlite3
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from sqlalchemy import Connection, exc

from sensors import arrivals, payloads, quality, recovery, second_look, untimed, wear
from sensors.arrivals import Waiting, Written
from sensors.client import Arrived, Client
from sensors.decoding import Decoder
from sensors.due import Due
from sensors.outbox import Outbox
from sensors.remarks import Remarks
from sensors.topics import Topics
from shared import verdict_topics
from shared.settings import Settings
from shared.store import Store, readings
from shared.store.records import NewReading, Quality, RecorderState, TimeSource

log = logging.getLogger("benchdry.recorder")

BEAT_EVERY_S = 5.0
GENTLE_BEAT_EVERY_S = 20.0  # each beat is a write too
RETRY_WRITE_S = (0.2, 0.5, 1.0, 2.0, 5.0)
QUIET_S = 0.02
RECOVERED_AFTER_S = 1.0  # nothing came for so long: the broker has sent again what it had to
MOST_HELD = 20_000
# A store that fails is waited for; where the message is at fault, waiting would not help.
STORE_FAILS = (exc.SQLAlchemyError, sqlite3.Error, OSError)
AT_FAULT = (exc.IntegrityError, exc.DataError, exc.InterfaceError, exc.ProgrammingError)


def wall_clock_ms() -> int:
    """Return the time now in UTC ms."""
    return time.time_ns() // 1_000_000


class Recorder:
    """Reads from the broker, writes to the store, then acknowledges."""

    def __init__(
        self,
        settings: Settings,
        store: Store,
        clock_ms: Callable[[], int] = wall_clock_ms,
        clock_s: Callable[[], float] = time.monotonic,
        folder: Path = Path(),
    ) -> None:
        """Prepare a recorder for one store; ``clock_ms`` gives the time now, ``clock_s`` measures spans.

        Files named in the settings lie in ``folder``. Raises BadInput for settings that cannot be used.
        """
        self._settings, self._store, self._clock_ms, self._clock_s = settings, store, clock_ms, clock_s
        self._client = Client(settings, self._take, self._connection_lost, folder)
        self._decoder = Decoder(settings, folder)
        self._waiting: list[Waiting] = []
        self._topics = Topics()
        self._due = Due(settings)
        self._outbox = Outbox(settings, store, gentle=self._due.gentle)
        self._client.on_published = self._outbox.answered
        self._own_root = verdict_topics.root(settings)
        self._memory = untimed.Memory()
        self._ahead: dict[int, int] = {}
        self._life = 0
        self._rush: tuple[recovery.Counts, float] | None = None  # how things stood when the connection was made
        self._heard_s = self._came_s = 0.0
        self._writing = False
        self._failed_writes = 0
        self._retry_at_s = 0.0
        self._beat_at_s = 0.0
        self._said_connected = False
        self._write_note = ""
        self._remarks = Remarks(clock_s, clock_ms())
        self.stored = self.rejected = self.retained_ignored = self.repeated = self.conflicting = self.late = 0
        self.own_ignored = 0
        self._begin()

    def _begin(self) -> None:
        """Learn from the store what was before, and say how the readings will be kept."""
        now_ms, now_s = self._clock_ms(), self._clock_s()
        try:
            with self._store.reading() as connection:
                state = readings.recorder_state(connection)
                rows = wear.rows_of_the_last_day(connection, now_ms)
        except exc.SQLAlchemyError as error:
            log.warning("the store cannot be read: %s", getattr(error, "orig", error))
            state, rows = None, 0
        self._before = arrivals.Before.of(state, now_ms, self._settings.commit_every_s)
        self._queue = untimed.Queue(None if state is None else state.beat_ms, now_ms, now_s)
        self._recovering, self._undecided = self._before is not None, False
        log.info(recovery.begun(state))
        log.info(wear.sentence(rows, self._settings.commit_every_s, self._due.limit))

    def run(self, stop: Callable[[], bool]) -> None:
        """Record until ``stop`` says so; what is waiting is written before it returns."""
        while not stop():
            self.step()
        self._write_and_acknowledge()
        self._client.close()
        self._outbox.mark(self._clock_ms())
        self._beat(recovery.STOPPED)
        log.info(recovery.ended(self._counts(), len(self._waiting), self._write_note))

    def step(self, wait_s: float = 0.1) -> None:
        """Read what has come, write it when it is due, and note that we are alive."""
        before = len(self._waiting)
        self._client.step(QUIET_S if before else wait_s, read=self._failed_writes == 0)
        self._notice()
        now_s = self._clock_s()
        if self._recovering and self._client.connected and now_s - self._came_s >= RECOVERED_AFTER_S:
            self._recovering = False
        if self._waiting and self._write_due(now_s, quiet=len(self._waiting) == before):
            self._write_and_acknowledge()
        if self._rush and self._client.connected and now_s - self._came_s >= RECOVERED_AFTER_S and not self._waiting:
            counts, began_s = self._rush
            took_s = max(self._came_s - began_s, 0.0)
            log.info(recovery.caught_up(counts, self._counts(), took_s, session_kept=self._client.session_kept))
            self._rush = None
        if now_s >= self._beat_at_s or self._client.connected != self._said_connected:
            self._beat("")
        if not self._failed_writes:
            self._outbox.turn(self._clock_ms(), now_s, self._client.publish if self._client.connected else None)

    def _counts(self) -> recovery.Counts:
        return recovery.Counts(self.stored, self.repeated, self.conflicting, self.rejected, self.late)

    def _write_due(self, now_s: float, *, quiet: bool) -> bool:
        if self._failed_writes:
            return now_s >= self._retry_at_s
        if self._recovering and self._undecided:
            return len(self._waiting) >= MOST_HELD  # only all of them together tell which were stored
        return self._due.is_due(len(self._waiting), now_s, quiet=quiet)

    def _notice(self) -> tuple[int, float]:
        """Take note of what the connection has been through since the last look; return the times now."""
        now_ms, now_s = self._clock_ms(), self._clock_s()
        if self._client.life != self._life:
            self._new_connection(now_ms, now_s)
        if self._client.heard_s != self._heard_s:
            self._heard_s = self._client.heard_s
            self._queue.read(now_ms, now_s)
        return now_ms, now_s

    def _new_connection(self, now_ms: int, now_s: float) -> None:
        first = self._life == 0 and self._before is None
        self._life, self._came_s = self._client.life, now_s
        self._rush = (self._counts(), now_s)
        self._due.new_connection()
        self._queue.acknowledged(now_s)
        if self._client.session_kept:
            return
        self._memory.forget()
        self._decoder.session_lost()
        self._queue.new_session(now_ms, now_s)
        self._recovering = False
        if not first:
            self._remarks.add("the broker had kept nothing for us: what was published meanwhile is lost")

    def _take(self, message: Arrived) -> None:
        """Decode one message into the batch; nothing here may fail on what a stranger sends."""
        arrived_ms, now_s = self._notice()
        self._queue.read(arrived_ms, now_s)
        one = Waiting(message, arrived_ms, late=self._queue.is_late(now_s))
        if verdict_topics.is_own(self._own_root, message.topic):
            self.own_ignored += 1  # what we say ourselves, where our topics lie under those we listen to
        elif message.retained:
            # The broker's copy of an old message: its age is unknown, so it is never a fresh reading.
            self.retained_ignored += 1
            self._decoder.learn(message)
        else:
            self._decoder.decode(one)
        one.repeat = self._memory.holds(one.message)
        self._recovering = self._recovering and message.repeated
        one.in_doubt = self._recovering and not one.repeat and not message.retained
        self._undecided = self._undecided or (one.in_doubt and one.without_time > 0)
        self._waiting.append(one)
        self._came_s = now_s
        self._due.took(len(self._waiting), now_s)

    def _connection_lost(self) -> None:
        self._write_and_acknowledge()  # ids of this connection mean nothing on the next: none goes out there

    def _write_and_acknowledge(self) -> None:
        if self._writing:  # the connection went while its acknowledgements were sent
            return
        self._writing = True
        try:
            self._commit(self._waiting)
        except STORE_FAILS as error:
            self._write_failed(error)
        finally:
            self._writing = False

    def _commit(self, batch: Sequence[Waiting]) -> None:
        """Write, then acknowledge; when a message is at fault, find it by halves and make it a reject."""
        if not batch:
            return
        fault: Exception | None = None
        try:
            with self._store.writing() as connection:
                written = self._write(connection, batch)
        except Exception as error:
            self._topics.forget()  # a series made in the transaction that failed does not exist
            if isinstance(error, STORE_FAILS) and not isinstance(error, AT_FAULT):
                raise
            fault = error
        if fault is None:
            self._acknowledge(batch, written)
        else:
            self._find_the_fault(batch, fault)

    def _find_the_fault(self, batch: Sequence[Waiting], error: Exception) -> None:
        if len(batch) > 1:
            middle = len(batch) // 2
            self._commit(batch[:middle])
            self._commit(batch[middle:])
            return
        if batch[0].reason is not None:
            raise error
        log.error("a message on %s could not be stored: %s", batch[0].message.topic, error)
        batch[0].reason = f"could not be stored ({type(error).__name__})"
        self._commit(batch)

    def _acknowledge(self, batch: Sequence[Waiting], written: Written) -> None:
        self._waiting = self._waiting[len(batch) :]
        self._undecided = False
        self._failed_writes, self._write_note = 0, ""
        self._ahead = written.ahead
        self.stored += written.new
        self.repeated += written.repeated
        self.conflicting += written.conflicting
        self.rejected += written.rejected
        self._due.wrote(len(batch), self._clock_s())
        late = 0
        for one in batch:
            without_time = one.without_time > 0
            self._memory.stored(one.message, untimed=without_time)
            late += one.late and without_time and not one.repeat and one.reason is None
        self._client.acknowledge([one.message for one in batch])
        self._queue.acknowledged(self._clock_s())
        self.late += late
        if late:
            self._remarks.add(
                "readings without a time of their own waited in the broker's queue: flagged, not believed"
            )

    def _write_failed(self, error: Exception) -> None:
        pause_s = RETRY_WRITE_S[min(self._failed_writes, len(RETRY_WRITE_S) - 1)]
        self._failed_writes += 1
        self._retry_at_s = self._clock_s() + pause_s
        self._write_note = f"cannot write to the store ({getattr(error, 'orig', None) or error}); nothing is lost"
        log.warning("%s: %d messages wait", self._write_note, len(self._waiting))

    def _write(self, connection: Connection, batch: Sequence[Waiting]) -> Written:
        self._topics.new_batch()
        rows: list[NewReading] = []
        rejects = []
        dropped = self._tell_repeats(connection, batch)
        for one in batch:
            if one.reason is None:
                try:
                    rows += self._rows(connection, one)
                except payloads.BadPayload as error:
                    one.reason = str(error)
            if one.reason is not None and not one.repeat:
                rejects.append((one.message.topic, one.message.payload, one.reason))
        arrived_ms, ahead = batch[-1].arrived_ms, dict(self._ahead)
        apart = arrivals.set_apart(connection, rows, ahead)
        appended = readings.append(connection, apart, arrived_ms)
        second_look.after(connection, apart)
        readings.add_rejects(connection, rejects, arrived_ms)
        return Written(appended.new, appended.repeated + dropped, appended.conflicting, len(rejects), ahead)

    def _tell_repeats(self, connection: Connection, batch: Sequence[Waiting]) -> int:
        """Mark what was stored before; return how many readings and rejects are dropped for it."""
        if self._before is not None and any(one.in_doubt for one in batch):
            stored = arrivals.repeats(connection, self._before, batch, self._series_of(connection, batch[0].arrived_ms))
            for one in stored:
                one.repeat = True
        return sum(one.without_time for one in batch if one.repeat)

    def _series_of(self, connection: Connection, now_ms: int) -> arrivals.SeriesOf:
        return lambda topic, quantity: self._topics.series_id(connection, topic, quantity, now_ms)

    def _rows(self, connection: Connection, one: Waiting) -> list[NewReading]:
        rows = []
        series_of = self._series_of(connection, one.arrived_ms)
        for topic, value in one.values():
            if value.at_ms is None and one.repeat:
                continue
            at_ms = one.arrived_ms if value.at_ms is None else value.at_ms
            source = TimeSource.RECEIVED if value.at_ms is None else TimeSource.PAYLOAD
            flag = quality.judge(value.quantity, value.value, at_ms, one.arrived_ms)
            if one.late and source is TimeSource.RECEIVED and flag is Quality.GOOD:
                flag = Quality.LATE
            rows.append(NewReading(series_of(topic, value.quantity), at_ms, value.value, flag, source))
        return rows

    def _note(self) -> str:
        """Say how we stand: what is wrong, or "connected", with what is worth knowing for an hour."""
        if self._write_note or self._client.note != "connected":
            return self._write_note or self._client.note
        gentle = f"each reading is stored up to {self._settings.commit_every_s:g} s after it came"
        outbox = [self._outbox.note] if self._outbox.note else []
        return "; ".join(["connected", *([gentle] if self._due.gentle else []), *outbox, *self._remarks.standing()])

    def _beat(self, note: str) -> None:
        """Note in the store that we are alive and how we stand; skipped while the store cannot be written."""
        now_ms, now_s = self._clock_ms(), self._clock_s()
        self._beat_at_s = now_s + (GENTLE_BEAT_EVERY_S if self._due.gentle else BEAT_EVERY_S)
        self._said_connected = self._client.connected
        self._topics.forget()  # people may have moved a topic to another probe
        self._remarks.look(now_ms, now_s)
        state = RecorderState(
            beat_ms=now_ms,
            pid=os.getpid(),
            connected=self._client.connected,
            broker=f"{self._settings.broker_host}:{self._settings.broker_port}",
            session_kept=self._client.session_kept,
            waiting=len(self._waiting),
            stored=self.stored,
            rejected=self.rejected,
            retained_ignored=self.retained_ignored,
            note=note or self._note(),
        )
        if self._failed_writes:
            return
        try:
            with self._store.writing() as connection:
                readings.set_recorder_state(connection, state)
        except exc.SQLAlchemyError as error:
            log.warning("the store is busy: %s", getattr(error, "orig", error))
