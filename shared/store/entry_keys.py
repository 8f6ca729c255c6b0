"""The keys of entries that were made away from the store: each is entered once, however often it is sent.

Whoever makes an entry gives it a random key at that moment. The key is kept in the transaction that makes the entry, so
there is never one without the other; whoever sends the same key again is told what was told the first time. The key
stays when the entry is taken back: what was thrown out once does not come in again.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, insert, select

from shared.store import schema as s


@dataclass(frozen=True)
class KeptEntry:
    """An entry that came with a key."""

    key: str  # as it was made where the entry was made
    content: str  # a hash of what was asked with it
    kind: str  # of the entry, as undo knows it
    fact_id: int
    subject_id: int
    sentence: str  # what was answered
    at_ms: int  # when it was entered (UTC ms)


def find(connection: Connection, key: str) -> KeptEntry | None:
    """Return what was entered under a key; None: nothing yet."""
    row = connection.execute(select(s.entry_key).where(s.entry_key.c.key == key)).first()
    return None if row is None else KeptEntry(**{name: getattr(row, name) for name in KeptEntry.__dataclass_fields__})


def keep(connection: Connection, entry: KeptEntry) -> None:
    """Write down what was entered under a key, inside the transaction that enters it."""
    connection.execute(insert(s.entry_key).values(vars(entry)))
