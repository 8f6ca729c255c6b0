"""The store as it was known at a moment, so that what was said then can be worked out again.

SQLite looks for a table in the temporary schema first, and there a view may bear the table's name. So a connection on
which a view shadows each table, showing what was known by then and no more, lets the whole program run on the past as
it is. The views are of one connection, which is opened for this, used by nobody else, and closed.

What the store held at a moment: the entries made by then, and the batches of readings that had arrived (batches are
numbered as they arrive, so they are a row of numbers up to the last, whatever the clock did meanwhile). Summaries are
taken as they are, but those that hold a reading not known by then, or whose span was not over: these are summed up
anew from the readings. Where single readings were cleared away since, that cannot be done: a span that was over by
then keeps its summary, one that was not is left out; and in the days before the moment the mean of each ten minutes
stands in for the readings that are gone, so that it is still seen who was heard.

Not kept from then, and therefore as it is now: the flags of readings.

With ``hindsight`` it is not when something was entered or arrived that counts, but the entry's and the reading's own
time: what is known now of how it was then, for a history that was typed in or imported later. Corrections made since
count. Moves that were planned are left out, since what came of them is known.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Column, Connection, Integer, MetaData, Table, bindparam, insert, select

from shared.errors import Refused
from shared.store import readings as r
from shared.store import schema as s
from shared.store.engine import Store
from shared.store.facts import TABLES
from shared.store.keeping import driver
from shared.store.records import Quality, TimeSource
from shared.units import MS_PER_DAY

# What a thing is called and is like: in hindsight its first description also tells of the time before it.
DESCRIPTIONS = (
    *(s.place_fact, s.probe_fact, s.stack_fact, s.set_fact, s.meter_fact, s.place_climate),
    *(s.finish_fact, s.finish_room),
)
EMPTY = (s.recorder_state, s.projection, s.outbox)  # of the present alone, or a cache
TIMED = {s.reject: s.reject.c.arrived_ms, s.verdict: s.verdict.c.at_ms, s.entry_key: s.entry_key.c.at_ms}
FOR_EVER = 2**62
STAND_IN_DAYS = 8  # the program looks at single readings of the last week

_temporary = MetaData(schema="temp")
_known_subject = Table("known_subject", _temporary, Column("id", Integer, primary_key=True))
_known_series = Table("known_series", _temporary, Column("id", Integer, primary_key=True))
_stand_in = Table(
    "stand_in",
    _temporary,
    *(Column(one.name, one.type, primary_key=one.primary_key) for one in s.reading.c),
    sqlite_with_rowid=False,
)


def _twin(tier: Table, prefix: str, *columns: str) -> Table:
    """A temporary table beside a tier, with some of its columns, keyed as it is."""
    made = (Column(name, tier.c[name].type, primary_key=tier.c[name].primary_key) for name in columns)
    return Table(f"{prefix}_{tier.name}", _temporary, *made, sqlite_with_rowid=False)


_ANEW = {tier: _twin(tier, "anew", *tier.c.keys()) for tier in r.TIERS.values()}  # summed up anew
_LATE = {tier: _twin(tier, "late", "series_id", "bucket_ms") for tier in r.TIERS.values()}  # hold what came later


class AsKnown(Store):
    """A store as it was known at a moment: read like any other, never written to."""

    def __init__(self, store: Store, at_ms: int, *, hindsight: bool = False) -> None:
        """Name the moment [UTC ms]; ``hindsight``: as it is known now to have been then."""
        super().__init__(store.path)  # with connections of its own: no view ever meets another reader
        self.at_ms, self.hindsight = at_ms, hindsight
        self._held: Connection | None = None

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees the store as it was known then; inside ``held`` always the same one."""
        if self._held is not None:
            yield self._held
            return
        with self._opened() as connection:
            yield connection

    @contextmanager
    def held(self) -> Iterator[AsKnown]:
        """Keep one connection for many readings: what is known of the moment is put together once."""
        with self._opened() as connection:
            self._held = connection
            try:
                yield self
            finally:
                self._held = None

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Raise Refused: the past is not written to."""
        raise Refused("What was known at an earlier time is only shown; nothing can be entered into it.")
        yield  # which makes it a generator

    def create_or_upgrade(self) -> None:
        """Raise Refused: the past is not written to."""
        with self.writing():
            pass

    @contextmanager
    def _opened(self) -> Iterator[Connection]:
        connection = self._reader.connect()
        try:
            driver(connection).execute("PRAGMA temp_store=MEMORY")
            connection.detach()  # it never goes back to the pool: closing it ends it, with its views
            with connection.begin():
                _shadow(connection, self.at_ms, hindsight=self.hindsight)
                yield connection
        finally:
            connection.close()


def _shadow(connection: Connection, at_ms: int, *, hindsight: bool) -> None:
    """Lay a view over every table of the store."""
    _temporary.create_all(connection, checkfirst=False)
    newest = FOR_EVER if hindsight else _newest_batch(connection, at_ms)
    known = f"batch_id <= {newest} AND at_ms <= {at_ms if hindsight else FOR_EVER}"
    _lay(connection, s.batch, f"id <= {newest}")
    _lay(connection, s.conflict, known)
    _lay(connection, s.reading, known)
    _shadow_summaries(connection, at_ms, newest)
    _stand_in_for_cleared(connection, at_ms, known)
    for table in TABLES.values():
        _lay(connection, table, _true_by(table, at_ms) if hindsight else f"entered_at_ms <= {at_ms}")
        connection.execute(_adding(_known_subject, table.c.subject_id))
    _lay(connection, s.subject, "id IN (SELECT id FROM temp.known_subject)")
    connection.execute(_adding(_known_series, s.tier_day.c.series_id))
    _lay(connection, s.series, "id IN (SELECT id FROM temp.known_series)")
    for table in EMPTY:
        _lay(connection, table, "0")
    for table, column in TIMED.items():
        _lay(connection, table, f"{column.name} <= {at_ms}")


def _lay(connection: Connection, table: Table, where: str, and_all_of: str = "") -> None:
    """Lay a view over a table that shows some of its rows. Whole numbers alone are written into its text."""
    names = ", ".join(table.c.keys())
    more = f" UNION ALL SELECT {names} FROM temp.{and_all_of}" if and_all_of else ""
    shown = f"SELECT {names} FROM main.{table.name} AS one WHERE {where}{more}"
    connection.exec_driver_sql(f"CREATE TEMP VIEW {table.name} AS {shown}")


def _adding(to: Table, column: Column[int]):  # type: ignore[no-untyped-def]
    return insert(to).prefix_with("OR IGNORE").from_select(["id"], select(column).distinct())


def _true_by(table: Table, at_ms: int) -> str:
    """Which entries stand now and were true by a moment."""
    if table is s.planned_move:
        return "0"

    def stands(of: str) -> str:
        return f"NOT EXISTS (SELECT 1 FROM main.{table.name} AS later WHERE later.supersedes = {of}.id)"

    if table not in DESCRIPTIONS:
        return f"true_at_ms <= {at_ms} AND {stands('one')}"
    before = "(earlier.true_at_ms, earlier.id) < (one.true_at_ms, one.id)"
    earlier = f"earlier.subject_id = one.subject_id AND NOT earlier.withdrawn AND {before} AND {stands('earlier')}"
    first = f"NOT EXISTS (SELECT 1 FROM main.{table.name} AS earlier WHERE {earlier})"
    return f"{stands('one')} AND (true_at_ms <= {at_ms} OR {first})"


# --- readings and their summaries ------------------------------------------------------------------


def _newest_batch(connection: Connection, at_ms: int) -> int:
    """Return the number of the last batch that had arrived; 0: none. By halves: of batches there are millions."""
    low, high = 0, r.newest_batch(connection)
    next_one = select(s.batch.c.id, s.batch.c.arrived_ms).where(s.batch.c.id >= bindparam("from_id"))
    next_one = next_one.order_by(s.batch.c.id).limit(1)
    while low < high:
        middle = (low + high + 1) // 2
        found = connection.execute(next_one, {"from_id": middle}).one()
        if found.arrived_ms <= at_ms:
            low = found.id
        else:
            high = middle - 1
    return low


def _stand_in_for_cleared(connection: Connection, at_ms: int, known: str) -> None:
    """Have the mean of ten minutes stand in, in their middle, for readings that were cleared away since."""
    span_ms = min(r.TIERS)
    inside = f"read.series_id = one.series_id AND read.at_ms BETWEEN one.bucket_ms AND one.bucket_ms + {span_ms - 1}"
    found = connection.exec_driver_sql(
        f"INSERT INTO temp.{_stand_in.name} SELECT series_id, bucket_ms + {span_ms // 2}, total / n, "
        f"{int(Quality.GOOD)}, {int(TimeSource.PAYLOAD)}, 0 FROM {r.TIERS[span_ms].name} AS one "
        f"WHERE n > 0 AND bucket_ms BETWEEN {at_ms - STAND_IN_DAYS * MS_PER_DAY} AND {at_ms} "
        f"AND NOT EXISTS (SELECT 1 FROM main.reading AS read WHERE {inside})"
    )
    if found.rowcount:
        connection.exec_driver_sql(f"DROP VIEW temp.{s.reading.name}")
        _lay(connection, s.reading, known, _stand_in.name)


def _shadow_summaries(connection: Connection, at_ms: int, newest_batch: int) -> None:
    """Lay a view over each tier, the shortest spans first: longer ones are summed up from them."""
    series = [one.id for one in r.all_series(connection)]
    finer: Table | None = None
    for span_ms, tier in sorted(r.TIERS.items()):
        edge_ms = at_ms - at_ms % span_ms
        if finer is None:
            _find_late(connection, span_ms, tier, edge_ms, newest_batch)
        else:
            _late_within(connection, span_ms, tier, finer, edge_ms)
        _sum_up_anew(connection, span_ms, finer, tier, series, edge_ms)
        late = _LATE[tier].name
        same = "late.series_id = one.series_id AND late.bucket_ms = one.bucket_ms"
        kept = f"bucket_ms < {edge_ms} AND NOT EXISTS (SELECT 1 FROM temp.{late} AS late WHERE {same})"
        _lay(connection, tier, kept, _ANEW[tier].name)
        finer = tier


def _find_late(connection: Connection, span_ms: int, tier: Table, edge_ms: int, newest_batch: int) -> None:
    """Find the spans before the edge that hold a reading which came later, and all of whose readings are still there.

    The view over the readings is passed by: it does not show what came later.
    """
    late = _LATE[tier].name
    start = f"at_ms - at_ms % {span_ms}"
    connection.exec_driver_sql(
        f"INSERT INTO temp.{late} SELECT DISTINCT series_id, {start} FROM main.reading "
        f"WHERE batch_id > {newest_batch} AND at_ms < {edge_ms}"
    )
    inside = f"read.series_id = {late}.series_id AND read.at_ms BETWEEN {late}.bucket_ms AND bucket_ms + {span_ms - 1}"
    same = f"held.series_id = {late}.series_id AND held.bucket_ms = {late}.bucket_ms"
    connection.exec_driver_sql(
        f"DELETE FROM temp.{late} WHERE (SELECT n + bad FROM main.{tier.name} AS held WHERE {same}) "
        f"> (SELECT count(*) FROM main.reading AS read WHERE {inside})"
    )


def _late_within(connection: Connection, span_ms: int, tier: Table, finer: Table, edge_ms: int) -> None:
    """A longer span is late where one of the shorter ones within it is."""
    part = _LATE[finer]
    start = part.c.bucket_ms - part.c.bucket_ms % span_ms
    chosen = select(part.c.series_id, start).where(part.c.bucket_ms < edge_ms).distinct()
    connection.execute(insert(_LATE[tier]).from_select(["series_id", "bucket_ms"], chosen))


def _sum_up_anew(
    connection: Connection, span_ms: int, finer: Table | None, tier: Table, series: list[int], edge_ms: int
) -> None:
    """Sum up what was known of the spans that are late, and of those from the edge on."""
    source = s.reading if finer is None else finer
    moment = source.c.at_ms if finer is None else source.c.bucket_ms
    made = r._summary(span_ms, source) if finer is None else r._summary_of_finer(span_ms, source)
    late, to = _LATE[tier], _ANEW[tier]
    inside = (source.c.series_id == late.c.series_id) & moment.between(late.c.bucket_ms, late.c.bucket_ms + span_ms - 1)
    connection.execute(insert(to).from_select(to.c.keys(), made.join(late, inside)))
    onwards = made.where(source.c.series_id == bindparam("one"), moment >= edge_ms)
    for one in series:  # each of which is a stretch of the key
        connection.execute(insert(to).from_select(to.c.keys(), onwards), {"one": one})
