"""Which series a message's value belongs to; a new topic makes a probe that waits for its place."""

from __future__ import annotations

import logging
import re
from typing import Any

from sqlalchemy import Connection

from sensors.payloads import BadPayload
from shared.store import facts, readings
from shared.store.records import ProbeFact, Quantity, SubjectKind

log = logging.getLogger("benchdry.recorder")

MAX_PROBES = 500  # a new topic for each message must not fill the store with probes
BY = "recorder"


class Topics:
    """The probes and series by topic, remembered between batches."""

    def __init__(self) -> None:
        """Know nothing yet."""
        self._series: dict[tuple[str, Quantity], int] = {}
        self._probes: dict[str, int] = {}
        self._codes: set[str] = set()
        self._loaded = self._of_this_batch = False

    def new_batch(self) -> None:
        """Look again for probes that people have entered before a probe is made."""
        self._of_this_batch = False

    def forget(self) -> None:
        """Look everything up again: a topic may have moved to another probe, or a transaction have failed."""
        self._series.clear()
        self._loaded = False

    def series_id(self, connection: Connection, topic: str, quantity: Quantity, now_ms: int) -> int:
        """Return the series; raises BadPayload for a new topic when there are too many probes."""
        key = (topic, quantity)
        if key not in self._series:
            probe_id = self._probe_id(connection, topic, now_ms)
            self._series[key] = readings.series_of(connection, probe_id, quantity)
        return self._series[key]

    def _probe_id(self, connection: Connection, topic: str, now_ms: int) -> int:
        if not self._loaded:
            self._load(connection)
        if topic not in self._probes and len(self._codes) < MAX_PROBES and not self._of_this_batch:
            self._load(connection)
        if topic not in self._probes:
            if len(self._codes) >= MAX_PROBES:
                raise BadPayload(f"a new topic, and there are already {MAX_PROBES} probes")
            self._probes[topic] = self._make(connection, topic, now_ms)
        return self._probes[topic]

    def _load(self, connection: Connection) -> None:
        self._probes.clear()
        for fact in facts.standing(connection, ProbeFact):
            self._probes.setdefault(fact.topic, fact.subject_id)
        self._codes = {one.code.casefold() for one in facts.subjects(connection, SubjectKind.PROBE)}
        self._loaded = self._of_this_batch = True

    def _make(self, connection: Connection, topic: str, now_ms: int) -> int:
        code = _free_code(topic, self._codes)
        made = facts.add_subject(connection, SubjectKind.PROBE, code)
        self._codes.add(code.casefold())
        values: dict[str, Any] = {"name": code, "topic": topic}
        facts.add(connection, ProbeFact, made.id, true_at_ms=now_ms, entered_at_ms=now_ms, by=BY, **values)
        log.info("a new probe publishes on %s", topic)
        return made.id


def _free_code(topic: str, taken: set[str]) -> str:
    base = re.sub(r"[^A-Za-z0-9]+", "-", topic.split("/", 1)[-1]).strip("-")[:40] or "probe"
    code, number = base, 2
    while code.casefold() in taken:
        code, number = f"{base}-{number}", number + 1
    return code
