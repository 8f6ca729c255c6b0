"""Messages on their way out: kept until the broker has acknowledged them, and pruned some days after that."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, update

from shared.store import schema as s
from shared.store.records import Outgoing
from shared.units import MS_PER_DAY


def put(connection: Connection, *, topic: str, payload: str, retain: bool, made_ms: int) -> int:
    """Add a message and return its number.

    A retained one takes the place of an older one of its topic that was not sent: only the newest would be kept by
    the broker. It gets a number of its own, so that an acknowledgement of the older one does not count for it.
    """
    row = {
        "topic": topic,
        "payload": payload,
        "retain": retain,
        "made_ms": made_ms,
        "tries": 0,
        "next_try_ms": made_ms,
        "note": "",
    }
    made = int(connection.execute(insert(s.outbox).values(row).returning(s.outbox.c.id)).scalar_one())
    if retain:  # only now: SQLite gives the number of a last row that was deleted to the next
        older = (s.outbox.c.topic == topic) & s.outbox.c.retain & s.outbox.c.sent_ms.is_(None) & (s.outbox.c.id < made)
        connection.execute(delete(s.outbox).where(older))
    return made


def newest(connection: Connection, topic: str) -> str | None:
    """Return the payload of a topic's newest message, sent or not; None: there is none, or it was thrown away."""
    last = select(s.outbox.c.payload).where(s.outbox.c.topic == topic).order_by(s.outbox.c.id.desc()).limit(1)
    found = connection.execute(last).first()
    return None if found is None else str(found.payload)


def due(connection: Connection, now_ms: int, limit: int) -> list[Outgoing]:
    """Return what is to be sent now, at most ``limit``, the oldest first.

    Of each topic only the oldest that was not sent: the next follows when that is acknowledged, so none overtakes.
    """
    earlier = s.outbox.alias("earlier")
    before = (earlier.c.topic == s.outbox.c.topic) & earlier.c.sent_ms.is_(None) & (earlier.c.id < s.outbox.c.id)
    waits = select(1).select_from(earlier).where(before).correlate(s.outbox).exists()
    ripe = s.outbox.c.sent_ms.is_(None) & (s.outbox.c.next_try_ms <= now_ms) & ~waits
    found = connection.execute(select(s.outbox).where(ripe).order_by(s.outbox.c.id).limit(limit))
    return [_record(row) for row in found]


def sent(connection: Connection, message_id: int, at_ms: int) -> bool:
    """Write down that a message was acknowledged at ``at_ms`` (UTC ms); False: it is gone, or was sent before."""
    unsent = (s.outbox.c.id == message_id) & s.outbox.c.sent_ms.is_(None)
    changed = connection.execute(update(s.outbox).where(unsent).values(sent_ms=at_ms, tries=s.outbox.c.tries + 1))
    return changed.rowcount > 0


def failed(connection: Connection, message_id: int, next_try_ms: int, note: str) -> bool:
    """Write down that a try failed, why, and when to try next (UTC ms); False: it is gone, or was sent before."""
    unsent = (s.outbox.c.id == message_id) & s.outbox.c.sent_ms.is_(None)
    told = {"next_try_ms": next_try_ms, "note": note, "tries": s.outbox.c.tries + 1}
    return connection.execute(update(s.outbox).where(unsent).values(told)).rowcount > 0


def waiting(connection: Connection) -> int:
    """Return how many messages were not sent yet."""
    return int(connection.execute(select(func.count()).where(s.outbox.c.sent_ms.is_(None))).scalar_one())


def prune(connection: Connection, now_ms: int, days: float) -> int:
    """Throw away what was sent more than ``days`` before ``now_ms`` (UTC ms); return how many. What waits stays."""
    old = s.outbox.c.sent_ms < now_ms - int(days * MS_PER_DAY)
    return connection.execute(delete(s.outbox).where(old)).rowcount


def _record(row: Any) -> Outgoing:
    return Outgoing(**{name: getattr(row, name) for name in Outgoing.__dataclass_fields__})
