"""Tells what is judged: a message on its way out for every change, and a row in the journal.

Part of the watch. It looks when a projection or an entry is new, and each minute, since a verdict also changes by
the clock alone: air grows old, a booked day comes near. What it writes of one look stands in one transaction.

The journal gets a row when the word, the number or the words of a verdict change. Figures within its reason and next
step move with every hour of air: of a change in those alone there is one row a day, or a yard of a hundred boards
would fill gigabytes a year with them. What exactly was known at any moment is worked out again from the entries.

While a projection is only being worked out anew, as after a change of the physics, what was told last stands: until it
runs out, and unless something was entered since.
"""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dashboards import situation, verdict_messages
from dashboards.api import as_json
from dashboards.projection_json import BEING_MADE
from dashboards.verdict_messages import Told
from kiln.records import Verdict, Word
from shared import verdict_topics
from shared.settings import Settings
from shared.store import Connection, Store, cache, facts, outbox, verdicts
from shared.store.records import KeptVerdict, Outcome, OutcomeKind, Subject, SubjectKind
from shared.units import MS_PER_DAY, MS_PER_MINUTE, ms_from_datetime

log = logging.getLogger("benchdry.watch")

LOOK_EVERY_S = 60.0
KEPT_DAYS = 7.0  # of messages that were sent; the journal is kept for ever
NO_MORE = ""  # the word of a row that ends what was said of a thing
CLOSED, TAKEN_BACK = "Its drying is closed.", "It was taken back."
KINDS = (SubjectKind.BOARD, SubjectKind.SET, SubjectKind.STACK)


@dataclass(frozen=True)
class _Held:
    """What the store says beside the yard itself, at one moment."""

    entry: int
    latest: dict[int, KeptVerdict]
    closed: set[int]
    subjects: dict[int, Subject]


class Judge:
    """Looks at the yard, and remembers only what it has seen and when it told of each thing."""

    def __init__(
        self,
        store: Store,
        settings: Settings,
        clock_ms: Callable[[], int],
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Prepare; ``clock_ms`` gives the time now in UTC ms, ``clock_s`` measures spans.

        Raises BadInput for a prefix of topics that MQTT does not allow.
        """
        self._store, self._settings, self._clock_ms, self._clock_s = store, settings, clock_ms, clock_s
        self._root = verdict_topics.root(settings)
        self._seen: tuple[int, int] | None = None
        self._looked_s = float("-inf")
        self._told: dict[int, tuple[int, dict[str, Any]]] = {}  # when, and what
        self._pruned_ms = 0

    def look(self, *, busy: bool = False) -> None:
        """Tell what there is to tell; while the watch is ``busy``, no more often than each minute.

        Between an entry and the projections that it bears on, every verdict would only say so. Whatever goes wrong
        here, the watch goes on.
        """
        try:
            if self._is_due(busy):
                self._tell()
        except Exception:
            log.exception("the verdicts could not be told")

    def _is_due(self, busy: bool) -> bool:
        now_s = self._clock_s()
        a_minute_on = now_s - self._looked_s >= LOOK_EVERY_S
        if busy and not a_minute_on:
            return False
        newest = self._newest()
        if newest == self._seen and not a_minute_on:
            return False
        self._seen, self._looked_s = newest, now_s
        return True

    def _newest(self) -> tuple[int, int]:
        with self._store.reading() as connection:
            return facts.newest_entry(connection), cache.newest_projection_ms(connection)

    def _tell(self) -> None:
        now_ms = self._clock_ms()
        held = self._read(now_ms)
        now = situation.read(self._store, now_ms, self._settings)
        told = verdict_messages.told(now, self._settings, held.closed)
        every = [(one, verdict_messages.message(one, now_ms, self._settings)) for one in told]
        messages = [pair for pair in every if not self._stands(*pair, held, now_ms)]
        changed = [one for one in messages if not _is_written(held.latest.get(one[0].subject.id), one[1], now_ms)]
        to_publish = [(one.subject, text) for one, text in messages if self._is_to_publish(one, text, now_ms)]
        gone = _gone(held, {one.subject.id for one in told})
        if not (changed or to_publish or gone):
            return
        with self._store.writing() as connection:
            for one, text in changed:
                _write(connection, one, text, now_ms, held.entry)
            for subject, why in gone:
                _write_end(connection, subject, why, now_ms, held.entry)
            self._post(connection, to_publish, [subject for subject, _ in gone], now_ms)
        self._told |= {subject.id: (now_ms, text) for subject, text in to_publish}

    def _stands(self, one: Told, text: dict[str, Any], held: _Held, now_ms: int) -> bool:
        """Whether what was told last of a thing is not to be replaced by this: it only says that a moment is needed."""
        if not _is_being_made(one.verdict):
            return False
        with self._store.reading() as connection:
            last = self._told_last(connection, one.subject, held)
            if last is None or BEING_MADE[1:] in last[1]["reason"]:
                return False
            unchanged = facts.newest_entry(connection, last[0]) == held.entry
        return unchanged and str(text["at"]) < str(last[1].get("valid_until"))

    def _told_last(self, connection: Connection, subject: Subject, held: _Held) -> tuple[int, Mapping[str, Any]] | None:
        """When something was told of a thing last, and what; a new start finds it in the outbox or the journal."""
        row = held.latest.get(subject.id)
        if row is None or row.word == NO_MORE:
            return None
        if subject.id in self._told:
            return self._told[subject.id]
        sent = outbox.newest(connection, self._topic_of(subject)) if self._root else None
        text: dict[str, Any] = json.loads(sent or row.body)
        return (ms_from_datetime(datetime.fromisoformat(text["at"])), text) if "at" in text else None

    def _read(self, now_ms: int) -> _Held:
        with self._store.reading() as connection:
            ends = facts.standing(connection, Outcome)
            return _Held(
                facts.newest_entry(connection),
                verdicts.latest_by_subject(connection),
                {one.subject_id for one in ends if one.kind is OutcomeKind.FINISHED and one.true_at_ms <= now_ms},
                {one.id: one for kind in KINDS for one in facts.subjects(connection, kind)},
            )

    def _is_to_publish(self, one: Told, text: dict[str, Any], now_ms: int) -> bool:
        if not self._root:
            return False
        told_ms, before = self._told.get(one.subject.id, (0, {}))
        if not verdict_messages.says_the_same(before, text):
            return True
        # A clock that was set back must not silence it.
        return not 0 <= now_ms - told_ms < self._settings.verdict_every_minutes * MS_PER_MINUTE

    def _post(
        self, connection: Connection, to_publish: list[tuple[Subject, dict[str, Any]]], gone: list[Subject], now_ms: int
    ) -> None:
        if not self._root:
            return
        for subject, text in to_publish:
            self._put(connection, subject, json.dumps(text, ensure_ascii=False, allow_nan=False), now_ms)
        for subject in gone:
            self._told.pop(subject.id, None)
            self._put(connection, subject, "", now_ms)  # an empty retained message clears its topic
        if now_ms - self._pruned_ms >= MS_PER_DAY:
            outbox.prune(connection, now_ms, KEPT_DAYS)
            self._pruned_ms = now_ms

    def _put(self, connection: Connection, subject: Subject, payload: str, now_ms: int) -> None:
        outbox.put(connection, topic=self._topic_of(subject), payload=payload, retain=True, made_ms=now_ms)

    def _topic_of(self, subject: Subject) -> str:
        return verdict_topics.topic_of(self._root, str(subject.kind), subject.code)


def _is_being_made(verdict: Verdict) -> bool:
    """Whether nothing can be said of a thing for the one reason that a projection of it is being worked out."""
    if verdict.word is not Word.CANT_SAY:
        return False
    reasons = [one.reason for one in verdict.pieces if one.word is Word.CANT_SAY] or [verdict.reason]
    return all(BEING_MADE[1:] in one for one in reasons)


def _is_written(row: KeptVerdict | None, text: Mapping[str, Any], now_ms: int) -> bool:
    """Whether the journal's last row of a thing says what a message says, or did so today but for figures in it."""
    if row is None or row.word == NO_MORE:
        return False
    before = json.loads(row.body)
    if verdict_messages.says_the_same(before, text):
        return True
    return 0 <= now_ms - row.at_ms < MS_PER_DAY and verdict_messages.differs_in_figures_alone(before, text)


def _gone(held: _Held, told: set[int]) -> list[tuple[Subject, str]]:
    """Return what something was said of last, and nothing is to be said any more; with why."""
    ended = [one for one, row in held.latest.items() if one not in told and row.word != NO_MORE]
    return [(held.subjects[one], CLOSED if one in held.closed else TAKEN_BACK) for one in ended]


def _write(connection: Connection, one: Told, text: dict[str, Any], now_ms: int, entry: int) -> None:
    detail = as_json(one.verdict)
    verdicts.put(
        connection,
        one.subject.id,
        at_ms=now_ms,
        word=text["word"],
        number=text["number"],
        reason=text["reason"],
        next_step=text["next_step"],
        probability=text["probability"],
        known_entry=entry,
        known_until_ms=one.known_until_ms,
        body=json.dumps(text | {"verdict": detail}, ensure_ascii=False, allow_nan=False),
    )


def _write_end(connection: Connection, subject: Subject, why: str, now_ms: int, entry: int) -> None:
    verdicts.put(
        connection,
        subject.id,
        at_ms=now_ms,
        word=NO_MORE,
        number="",
        reason=why,
        next_step="",
        probability=None,
        known_entry=entry,
        known_until_ms=None,
        body="{}",
    )
