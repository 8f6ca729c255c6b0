"""What people enter: kept for ever, corrected by a later entry, never by a change.

Every fact carries the time from which it is true, when and by whom it was entered, and which earlier
entry it supersedes. ``standing`` gives what is held now, or what was held at any moment in the past.
"""

from __future__ import annotations

from collections.abc import Collection
from enum import StrEnum
from functools import cache
from typing import Any, TypeVar, get_args, get_type_hints

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    Table,
    bindparam,
    exc,
    func,
    insert,
    or_,
    select,
    union_all,
)

from shared.errors import BadInput, Refused
from shared.store import records as r
from shared.store import schema as s

TABLES: dict[type[r.Fact], Table] = {
    r.PlaceFact: s.place_fact,
    r.ProbeFact: s.probe_fact,
    r.ProbePosition: s.probe_position,
    r.StackFact: s.stack_fact,
    r.StackPosition: s.stack_position,
    r.SetFact: s.set_fact,
    r.BoardFact: s.board_fact,
    r.BoardPosition: s.board_position,
    r.BoardRest: s.board_rest,
    r.BoardCoat: s.board_coat,
    r.BoardCut: s.board_cut,
    r.WaterEvent: s.water_event,
    r.Outcome: s.outcome,
    r.PlannedMove: s.planned_move,
    r.PlaceClimate: s.place_climate,
    r.SetMember: s.set_member,
    r.WeighIn: s.weigh_in,
    r.PinReading: s.pin_reading,
    r.CellLoad: s.cell_load,
    r.CellTare: s.cell_tare,
    r.OvenDryResult: s.oven_dry_result,
    r.BagTest: s.bag_test,
    r.MeterFact: s.meter_fact,
    r.MeterPair: s.meter_pair,
    r.HygrometerCheck: s.hygrometer_check,
    r.UsePlan: s.use_plan,
    r.OwnLimit: s.own_limit,
    r.Override: s.override,
    r.Lifted: s.lifted,
    r.Joint: s.joint,
    r.FinishFact: s.finish_fact,
    r.FinishRoom: s.finish_room,
    r.Sprayed: s.sprayed,
    r.SurfaceReading: s.surface_reading,
    r.Acknowledged: s.acknowledged,
    r.AirRegion: s.air_region,
}


def _words(record: type[r.Fact]) -> dict[str, type[StrEnum]]:
    """Return which fields of a record are words of a list, and of which."""
    found = {}
    for name, hint in get_type_hints(record).items():
        for one in get_args(hint) or (hint,):
            if isinstance(one, type) and issubclass(one, StrEnum):
                found[name] = one
    return found


WORDS = {record: _words(record) for record in TABLES}
F = TypeVar("F", bound=r.Fact)


def add_subject(connection: Connection, kind: r.SubjectKind, code: str) -> r.Subject:
    """Give a new thing its lasting code; a code already taken is refused."""
    if _with_code(connection, kind, code) is not None:
        raise Refused(f"There is already a {kind} called {code}; choose another name.")
    try:
        made = insert(s.subject).values(kind=str(kind), code=code).returning(s.subject.c.id)
        return r.Subject(int(connection.execute(made).scalar_one()), kind, code)
    except exc.IntegrityError as error:
        raise Refused(f"There is already a {kind} called {code}; choose another name.") from error


def subjects(connection: Connection, kind: r.SubjectKind, known_at_ms: int | None = None) -> list[r.Subject]:
    """Return everything of one kind, in the order it was added.

    ``known_at_ms``: that of which anything had been entered by then; None: all of it.
    """
    query = select(s.subject).where(s.subject.c.kind == str(kind)).order_by(s.subject.c.id)
    if known_at_ms is not None:
        query = query.where(or_(*(_told_by(table, known_at_ms) for table in TABLES.values())))
    return [r.Subject(row.id, r.SubjectKind(row.kind), row.code) for row in connection.execute(query)]


def _told_by(table: Table, known_at_ms: int) -> ColumnElement[bool]:
    told = (table.c.subject_id == s.subject.c.id) & (table.c.entered_at_ms <= known_at_ms)
    return select(1).select_from(table).where(told).correlate(s.subject).exists()


def subject(connection: Connection, kind: r.SubjectKind, code: str) -> r.Subject:
    """Return the thing with this code; raises BadInput naming those there are."""
    found = _with_code(connection, kind, code)
    if found is None:
        known = ", ".join(one.code for one in subjects(connection, kind)) or f"none yet; add a {kind} first"
        raise BadInput(str(kind), code, known)
    return found


def _with_code(connection: Connection, kind: r.SubjectKind, code: str) -> r.Subject | None:
    """Return the thing with this code, whatever the case of its letters (SQLite folds only a to z)."""
    wanted = code.strip().casefold()
    return next((one for one in subjects(connection, kind) if one.code.casefold() == wanted), None)


def add(
    connection: Connection,
    record: type[F],
    subject_id: int,
    *,
    true_at_ms: int,
    entered_at_ms: int,
    by: str,
    supersedes: int | None = None,
    withdrawn: bool = False,
    **values: Any,
) -> int:
    """Enter a fact and return its id; ``supersedes`` is the entry that it corrects.

    Raises Refused when that entry has been corrected by someone else in the meantime.
    """
    row = {
        "subject_id": subject_id,
        "true_at_ms": true_at_ms,
        "entered_at_ms": entered_at_ms,
        "entered_by": by,
        "supersedes": supersedes,
        "withdrawn": withdrawn,
        **values,
    }
    table = TABLES[record]
    if supersedes is not None:
        _refuse_second_correction(connection, table, supersedes)
    return int(connection.execute(insert(table).values(row).returning(table.c.id)).scalar_one())


def _refuse_second_correction(connection: Connection, table: Table, fact_id: int) -> None:
    row = connection.execute(select(table.c.entered_by).where(table.c.supersedes == fact_id)).first()
    if row is not None:
        raise Refused(
            f"{row.entered_by} has already changed this entry since you opened it; "
            "nothing was overwritten: look at it again and enter your change on top."
        )


def standing(
    connection: Connection, record: type[F], subject_id: int | None = None, known_at_ms: int | None = None
) -> list[F]:
    """Return the entries that stand, in order of the time they are true from.

    ``known_at_ms``: what was known at that moment; None: what is known now.
    """
    return _uncorrected(connection, record, subject_id, known_at_ms, withdrawn=False)


def taken_back(
    connection: Connection, record: type[F], subject_id: int | None = None, known_at_ms: int | None = None
) -> list[F]:
    """Return the entries that were withdrawn and not put back since: each is the entry that withdrew the one before.

    ``known_at_ms``: as it was known at that moment; None: now.
    """
    return _uncorrected(connection, record, subject_id, known_at_ms, withdrawn=True)


def _uncorrected(
    connection: Connection, record: type[F], subject_id: int | None, known_at_ms: int | None, *, withdrawn: bool
) -> list[F]:
    query = _uncorrected_query(TABLES[record], subject_id is not None, known_at_ms is not None, withdrawn)
    given = {"subject_id": subject_id, "known_at_ms": known_at_ms}
    values = {name: value for name, value in given.items() if value is not None}
    return [_record(record, row) for row in connection.execute(query, values)]


@cache
def _uncorrected_query(table: Table, of_one: bool, known_at: bool, withdrawn: bool) -> Select[Any]:
    """Return the question once and for all: putting it together costs more than the store needs to answer it."""
    later = table.alias("later")
    corrected = select(1).select_from(later).where(later.c.supersedes == table.c.id)
    query = select(table).where(table.c.withdrawn if withdrawn else ~table.c.withdrawn)
    if known_at:
        corrected = corrected.where(later.c.entered_at_ms <= bindparam("known_at_ms"))
        query = query.where(table.c.entered_at_ms <= bindparam("known_at_ms"))
    if of_one:
        query = query.where(table.c.subject_id == bindparam("subject_id"))
    return query.where(~corrected.correlate(table).exists()).order_by(table.c.true_at_ms, table.c.id)


def get(connection: Connection, record: type[F], fact_id: int) -> F:
    """Return one entry, standing or not."""
    table = TABLES[record]
    row = connection.execute(select(table).where(table.c.id == fact_id)).first()
    if row is None:
        raise BadInput(f"{table.name.replace('_', ' ')} entry", fact_id, "the number of an entry shown in its list")
    return _record(record, row)


def having(connection: Connection, record: type[F], column: str, ids: Collection[int]) -> list[F]:
    """Return the entries whose ``column`` ("id", "supersedes" or "subject_id") is one of some ids, standing or not."""
    table = TABLES[record]
    query = select(table).where(table.c[column].in_(sorted(ids))).order_by(table.c.id)
    return [_record(record, row) for row in connection.execute(query)]


def undo(connection: Connection, record: type[F], fact_id: int, *, entered_at_ms: int, by: str) -> int:
    """Take an entry back: a correction gives way to what it corrected, a first entry is withdrawn.

    The entry stays in the store; the undo is itself an entry and can be undone.
    """
    taken_back = get(connection, record, fact_id)
    before = get(connection, record, taken_back.supersedes) if taken_back.supersedes is not None else None
    template = before or taken_back
    return add(
        connection,
        record,
        template.subject_id,
        true_at_ms=template.true_at_ms,
        entered_at_ms=entered_at_ms,
        by=by,
        supersedes=fact_id,
        withdrawn=before.withdrawn if before else True,
        **own_values(template),
    )


def withdraw(connection: Connection, entry: r.Fact, *, entered_at_ms: int, by: str) -> int:
    """Take an entry back together with everything that it corrects; undoing this puts back the entry as it stands."""
    return add(
        connection,
        type(entry),
        entry.subject_id,
        true_at_ms=entry.true_at_ms,
        entered_at_ms=entered_at_ms,
        by=by,
        supersedes=entry.id,
        withdrawn=True,
        **own_values(entry),
    )


def own_values(entry: r.Fact) -> dict[str, Any]:
    """Return what an entry says, without what every entry carries."""
    return {name: value for name, value in vars(entry).items() if name not in r.Fact.__dataclass_fields__}


def at(entries: list[F], moment_ms: int) -> F | None:
    """Return the entry in force at a moment: the last that is true from then or before."""
    found = None
    for entry in entries:
        if entry.true_at_ms > moment_ms:
            break
        found = entry
    return found


def newest_entry(connection: Connection, known_at_ms: int | None = None) -> int:
    """Return a number that grows with every entry of any kind; ``known_at_ms``: what it was at that moment."""
    values = {} if known_at_ms is None else {"known_at_ms": known_at_ms}
    return int(connection.execute(_newest_query(known_at_ms is not None), values).scalar_one())


@cache
def _newest_query(known_at: bool) -> Select[Any]:
    """Return one question about all tables: open pages ask it twice a second."""
    found = []
    for table in TABLES.values():
        query = select(func.coalesce(func.max(table.c.id), 0).label("newest"))
        found.append(query.where(table.c.entered_at_ms <= bindparam("known_at_ms")) if known_at else query)
    return select(func.sum(union_all(*found).subquery().c.newest))


def _record(record: type[F], row: Any) -> F:
    values = {name: getattr(row, name) for name in record.__dataclass_fields__}
    for name, words in WORDS[record].items():
        if values[name] is not None:
            values[name] = words(values[name])
    return record(**values)
