"""What the yard says outside: from the outbox to the broker, each message once, in the order of its topic.

A row is marked as sent only after the broker has acknowledged it. What a kill leaves between the two is sent once
more: such messages are retained, and a broker that is told the same again keeps the same. What was under way when
the connection went is sent again by the client on the next, under its old number (MQTT 5, section 4.4), so no row
is let go of before its answer. Reading comes first: little is done in one turn, and nothing while the store fails.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable

from sqlalchemy import exc

from shared import verdict_topics
from shared.settings import Settings
from shared.store import Store, outbox
from shared.store.records import Outgoing
from shared.units import MS_PER_S

log = logging.getLogger("benchdry.recorder")

LOOK_EVERY_S = 1.0
GENTLE_LOOK_EVERY_S = 20.0  # to mark what was sent is a write too
UNDER_WAY = 20  # the least that brokers take unanswered where they tell a number; one look reads twice as many rows
RETRY_S = (10.0, 60.0, 300.0)  # after the broker refused a row
STORE_FAILS = (exc.SQLAlchemyError, sqlite3.Error, OSError)

Publish = Callable[[Outgoing], int | None]
"""Sends a row and gives its packet id; None: it cannot go out now.

Raises ValueError, in words, for a row that can never go out so.
"""


class Outbox:
    """Publishes what is due, and marks what was acknowledged."""

    def __init__(self, settings: Settings, store: Store, *, gentle: bool = False) -> None:
        """Prepare; ``gentle``: write rarely. Raises BadInput for a prefix that MQTT does not allow."""
        self._off = not verdict_topics.root(settings)
        self._store = store
        self._every_s = GENTLE_LOOK_EVERY_S if gentle else LOOK_EVERY_S
        self._look_at_s = float("-inf")
        self._under_way: dict[int, Outgoing] = {}  # by packet id
        self._answers: list[tuple[Outgoing, str]] = []  # with the refusal, empty: taken
        self.sent = 0
        self.note = ""  # why nothing is taken from us; empty: it is

    def answered(self, packet_id: int, refusal: str) -> None:
        """Take note of the broker's answer: a refusal in its words, or empty."""
        row = self._under_way.pop(packet_id, None)
        if row is not None:
            self._answers.append((row, refusal))

    def turn(self, now_ms: int, now_s: float, publish: Publish | None) -> None:
        """Mark what was answered and send what is due; ``publish`` is None while there is no connection."""
        if self._off or now_s < self._look_at_s or (publish is None and not self._answers):
            return
        self._look_at_s = now_s + self._every_s
        if self.mark(now_ms) and publish is not None:
            self._send(now_ms, publish)

    def mark(self, now_ms: int) -> bool:
        """Write down what the broker answered; False: that cannot be written now, and is kept."""
        if not self._answers:
            return True
        try:
            self.sent += self._write(now_ms)
        except STORE_FAILS as error:
            log.warning("what was published cannot be marked yet: %s", getattr(error, "orig", error))
            return False
        refusal = self._answers[-1][1]
        self._answers.clear()
        self._tell(f"the broker does not take our verdicts ({refusal})" if refusal else "")
        return True

    def _write(self, now_ms: int) -> int:
        taken = 0
        with self._store.writing() as connection:
            for row, refusal in self._answers:
                if refusal:
                    pause_s = RETRY_S[min(row.tries, len(RETRY_S) - 1)]
                    outbox.failed(connection, row.id, now_ms + round(pause_s * MS_PER_S), refusal)
                else:
                    taken += outbox.sent(connection, row.id, now_ms)
        return taken

    def _tell(self, note: str) -> None:
        if note and note != self.note:
            log.warning(note)
        self.note = note

    def _send(self, now_ms: int, publish: Publish) -> None:
        if len(self._under_way) >= UNDER_WAY:
            return
        for row in self._due(now_ms):
            try:
                packet_id = publish(row)
            except ValueError as error:
                self._answers.append((row, str(error)))
                continue
            if packet_id is None:
                return
            self._under_way[packet_id] = row
            if len(self._under_way) >= UNDER_WAY:
                return

    def _due(self, now_ms: int) -> list[Outgoing]:
        """Return what is due, but for topics of which a message is under way: that one comes first."""
        try:
            with self._store.reading() as connection:
                rows = outbox.due(connection, now_ms, 2 * UNDER_WAY)
        except STORE_FAILS as error:
            log.warning("what is to be published cannot be read yet: %s", getattr(error, "orig", error))
            return []
        busy = {row.topic for row in self._under_way.values()}
        return [row for row in rows if row.topic not in busy]
