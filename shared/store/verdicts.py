"""The journal of verdicts: a row for every change of what is said of a board or a set."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from sqlalchemy import Connection, func, insert, select

from shared.store import schema as s
from shared.store.records import KeptVerdict


def put(
    connection: Connection,
    subject_id: int,
    *,
    at_ms: int,
    word: str,
    number: str,
    reason: str,
    next_step: str,
    probability: float | None,
    known_entry: int,
    known_until_ms: int | None,
    body: str,
) -> int:
    """Write down what is said of a board or set from ``at_ms`` (UTC ms) on; return the row's number.

    ``probability`` from 0 to 1, ``known_entry`` as ``facts.newest_entry`` gives it, ``body`` JSON. Whoever calls it
    has looked whether anything has changed: it is written in any case.
    """
    row = {
        "subject_id": subject_id,
        "at_ms": at_ms,
        "word": str(word),
        "number": number,
        "reason": reason,
        "next_step": next_step,
        "probability": probability,
        "known_entry": known_entry,
        "known_until_ms": known_until_ms,
        "body": body,
    }
    return int(connection.execute(insert(s.verdict).values(row).returning(s.verdict.c.id)).scalar_one())


def latest_by_subject(connection: Connection, at_ms: int | None = None) -> dict[int, KeptVerdict]:
    """Return what was said last of each board and set; ``at_ms`` (UTC ms): what was said last by that moment."""
    newest = select(func.max(s.verdict.c.id)).group_by(s.verdict.c.subject_id)
    if at_ms is not None:
        newest = newest.where(s.verdict.c.at_ms <= at_ms)
    found = connection.execute(select(s.verdict).where(s.verdict.c.id.in_(newest)))
    return {row.subject_id: _record(row) for row in found}


def history(connection: Connection, subject_id: int, since_ms: int | None = None) -> list[KeptVerdict]:
    """Return everything that was said of a board or set, in the order it was said; from ``since_ms`` (UTC ms) on."""
    query = select(s.verdict).where(s.verdict.c.subject_id == subject_id).order_by(s.verdict.c.id)
    if since_ms is not None:
        query = query.where(s.verdict.c.at_ms >= since_ms)
    return [_record(row) for row in connection.execute(query)]


def changes(
    connection: Connection, about: Collection[int] | None = None, *, limit: int, offset: int = 0
) -> list[KeptVerdict]:
    """Return when the word changed, newest first: the rows whose word is another than the one before of that subject.

    ``about``: only of these subjects; None: of all.
    """
    now, before = s.verdict, s.verdict.alias("before")
    earlier = (before.c.subject_id == now.c.subject_id) & (before.c.at_ms <= now.c.at_ms) & (before.c.id < now.c.id)
    last = select(before.c.word).where(earlier).order_by(before.c.at_ms.desc(), before.c.id.desc()).limit(1)
    changed = func.coalesce(last.correlate(now).scalar_subquery(), "") != now.c.word
    query = select(now).where(changed).order_by(now.c.id.desc()).limit(limit).offset(offset)
    if about is not None:
        query = query.where(now.c.subject_id.in_(sorted(about)))
    return [_record(row) for row in connection.execute(query)]


def _record(row: Any) -> KeptVerdict:
    return KeptVerdict(**{name: getattr(row, name) for name in KeptVerdict.__dataclass_fields__})
