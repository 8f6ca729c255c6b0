"""Entries that a phone has kept until there was signal: each is made once, whatever became of the answer to it.

A phone gives each entry a random key when it is made and sends it until it is answered, so the same entry may come any
number of times, by several pages at once, or after a restart. See ``shared.store.entry_keys``.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dashboards import entries, fields, typed_units
from dashboards.pages import acts
from shared.errors import BadInput, Refused
from shared.store import Connection, entry_keys, facts
from shared.store.entry_keys import KeptEntry
from shared.store.records import SubjectKind

KEY = re.compile(r"[A-Za-z0-9-]{16,64}")
ACTS = ("weigh-in", "pin", "outcome")  # on a board; what is measured or seen where there is no signal
UNDO = "undo"
LONGEST_TEXT = 1000
MOST_FIELDS = 12


class UsedKey(Refused):
    """A key under which something else was entered."""


@dataclass(frozen=True)
class Kept:
    """One entry as a phone sends it."""

    key: str
    act: str
    code: str  # of the board; of an undo empty
    by: str
    typed: Mapping[str, Any]  # as a form sends it; ``true_at`` may also be UTC ms

    @property
    def content(self) -> str:
        """A hash of what is asked, but for the key."""
        told = [self.act, self.code, self.by, dict(self.typed)]
        return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


@dataclass(frozen=True)
class Answer:
    """What is answered, the first time and every time."""

    sentence: str
    kind: str
    id: int
    again: bool  # it had been entered before


def read(told: Any) -> Kept:
    """Return an entry as it came in JSON, its shape checked; what it says is checked when it is made."""
    if not isinstance(told, dict):
        raise BadInput("entry", type(told).__name__, "an object with key, act, code, by and typed")
    key, act, code, by = (_text(told, name) for name in ("key", "act", "code", "by"))
    if not KEY.fullmatch(key):
        raise BadInput("key", key[:70], "16 to 64 letters, digits and dashes")
    if act not in (*ACTS, UNDO):
        raise BadInput("act", act, "one of " + ", ".join((*ACTS, UNDO)))
    return Kept(key, act, code, by, _typed(told.get("typed")))


def _text(told: Mapping[str, Any], name: str) -> str:
    value = told.get(name, "")
    if not isinstance(value, str) or len(value) > LONGEST_TEXT:
        raise BadInput(name, str(value)[:40], f"text of up to {LONGEST_TEXT} characters")
    return value


def _typed(told: Any) -> dict[str, Any]:
    if not isinstance(told, dict) or len(told) > MOST_FIELDS:
        raise BadInput("typed", str(told)[:40], f"an object of up to {MOST_FIELDS} fields")
    moment = told.get("true_at")
    if isinstance(moment, int) and not isinstance(moment, bool):
        others = {name: _text(told, name) for name in told if name != "true_at"}
        return {**others, "true_at": moment}
    return {name: _text(told, name) for name in told}


def enter(connection: Connection, kept: Kept, now_ms: int) -> Answer:
    """Make an entry inside one write transaction, or answer as when it was made.

    Raises BadInput or Refused as the entry does, and then its key is free: it may be mended and sent again. UsedKey
    where something else was entered under this key.
    """
    before = entry_keys.find(connection, kept.key)
    if before is not None:
        if before.content != kept.content:
            told = f"This was entered already, in other words: {before.sentence}"
            raise UsedKey(f"{told} Take that back if it is wrong, and enter it anew.")
        return Answer(before.sentence, before.kind, before.fact_id, again=True)
    made = _made(connection, kept, now_ms)
    entry_keys.keep(
        connection,
        KeptEntry(kept.key, kept.content, made.kind, made.fact_id, made.subject.id, made.sentence, now_ms),
    )
    return Answer(made.sentence, made.kind, made.fact_id, again=False)


def _made(connection: Connection, kept: Kept, now_ms: int) -> entries.Entered:
    typed: dict[str, Any] = typed_units.kept(kept.typed)  # the key is that of what was typed
    if kept.act == UNDO:
        kind = str(typed.get("kind", ""))
        if kind not in ACTS:
            raise BadInput("kind of entry", kind, "one of " + ", ".join(ACTS))
        return entries.undo(connection, kind, typed.get("id", ""), by=kept.by, now_ms=now_ms)
    moment = typed.get("true_at")
    if isinstance(moment, int) and now_ms < moment <= now_ms + fields.FUTURE_TOLERANCE_MS:
        typed["true_at"] = now_ms  # its clock is a little ahead of ours: what was entered is true from now on
    board = facts.subject(connection, SubjectKind.BOARD, kept.code)
    return acts.perform(connection, SubjectKind.BOARD, kept.act, board.code, typed, kept.by, now_ms)
