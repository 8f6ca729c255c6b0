"""All that was entered, newest first: one page of it, each entry with what it replaced and what replaced it."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, literal, or_, select, union_all

from shared.store import facts
from shared.store import records as r
from shared.store import schema as s


@dataclass(frozen=True)
class Logged:
    """An entry in the log."""

    entry: r.Fact
    before: r.Fact | None  # the entry that it corrects or takes back
    later: r.Fact | None  # the entry that corrects it or takes it back
    later_stands: bool  # whether nothing has corrected that one


def newest(
    connection: Connection,
    records: Collection[type[r.Fact]],
    *,
    about: Collection[int] | None = None,
    limit: int,
    offset: int = 0,
) -> list[Logged]:
    """Return ``limit`` entries of these kinds, those entered last first, after the first ``offset`` of them.

    ``about``: only what is about one of these subjects or names one; None: everything. Withdrawals are entries too.
    Each table gives no more than its newest, so that the question does not grow with what is not shown.
    """
    kinds = list(records)
    parts = [_newest_of(number, kind, about, limit + offset) for number, kind in enumerate(kinds)]
    if not parts:
        return []
    every = union_all(*parts).subquery()
    order = every.c.entered_at_ms.desc(), every.c.kind, every.c.id.desc()
    rows = connection.execute(select(every.c.kind, every.c.id).order_by(*order).limit(limit).offset(offset)).all()
    found: dict[tuple[int, int], Logged] = {}
    for number in {row.kind for row in rows}:
        ids = [row.id for row in rows if row.kind == number]
        found |= {(number, one.entry.id): one for one in _logged(connection, kinds[number], ids)}
    return [found[row.kind, row.id] for row in rows]


def _newest_of(number: int, record: type[r.Fact], about: Collection[int] | None, most: int) -> Any:
    table = facts.TABLES[record]
    query = select(literal(number).label("kind"), table.c.id, table.c.entered_at_ms)
    if about is not None:
        query = query.where(_names_one(table, about))
    newest_first = query.order_by(table.c.entered_at_ms.desc(), table.c.id.desc()).limit(most).subquery()
    return select(newest_first)


def _names_one(table: Table, subjects: Collection[int]) -> ColumnElement[bool]:
    """Whether a row is about one of these subjects, or names it: the stack of a move, the set of a piece."""
    naming = [one for one in table.c if any(key.column is s.subject.c.id for key in one.foreign_keys)]
    return or_(*(one.in_(sorted(subjects)) for one in naming))


def _logged(connection: Connection, record: type[r.Fact], ids: Collection[int]) -> list[Logged]:
    entries = facts.having(connection, record, "id", ids)
    later = {one.supersedes: one for one in facts.having(connection, record, "supersedes", ids)}
    before_ids = [one.supersedes for one in entries if one.supersedes is not None]
    before = {one.id: one for one in facts.having(connection, record, "id", before_ids)}
    later_ids = [one.id for one in later.values()]
    corrected = {one.supersedes for one in facts.having(connection, record, "supersedes", later_ids)}

    def one_line(entry: r.Fact) -> Logged:
        after = later.get(entry.id)
        earlier = None if entry.supersedes is None else before.get(entry.supersedes)
        return Logged(entry, earlier, after, after is not None and after.id not in corrected)

    return [one_line(entry) for entry in entries]


def with_code(connection: Connection, code: str) -> list[r.Subject]:
    """Return whatever bears this code, of any kind, whatever the case of its letters."""
    wanted = code.strip().casefold()
    return [one for one in all_subjects(connection) if one.code.casefold() == wanted]


def all_subjects(connection: Connection) -> list[r.Subject]:
    """Return everything that was ever given a code."""
    rows: Iterable[Any] = connection.execute(select(s.subject).order_by(s.subject.c.id))
    return [r.Subject(row.id, r.SubjectKind(row.kind), row.code) for row in rows]
