"""Readings in and out: the batch insert with its summaries, and the queries on them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import (
    Connection,
    Delete,
    Integer,
    Select,
    Table,
    and_,
    bindparam,
    case,
    delete,
    func,
    select,
    table,
    true,
)
from sqlalchemy import column as col
from sqlalchemy.dialects.sqlite import Insert, insert

from shared.store import asked
from shared.store import schema as s
from shared.store.nearby import listed, these
from shared.store.records import (
    Appended,
    NewReading,
    Quality,
    Quantity,
    Reading,
    RecorderState,
    Reject,
    Series,
    TimeSource,
)
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, Array

TIERS: dict[int, Table] = {10 * MS_PER_MINUTE: s.tier_10min, MS_PER_HOUR: s.tier_hour, MS_PER_DAY: s.tier_day}
REJECT_PAYLOAD_BYTES = 4096

_SUMMARY = ["series_id", "bucket_ms", "n", "low", "high", "total", "bad"]
_stage = table("stage", col("series_id"), col("at_ms"), col("value"), col("quality"), col("time_source"))
_EMPTY_STAGE, _TO_STAGE, _COUNT_STAGE = delete(_stage), insert(_stage), select(func.count()).select_from(_stage)


@dataclass(frozen=True)
class Buckets:
    """A series summed up in equal spans of time: one entry of each array a span that holds readings."""

    bucket_ms: NDArray[np.int64]
    n: NDArray[np.int64]
    low: Array
    high: Array
    mean: Array
    bad: NDArray[np.int64]


def series_of(connection: Connection, probe_id: int, quantity: Quantity) -> int:
    """Return the id of a probe's series, made when it is new."""
    wanted = (s.series.c.probe_id == probe_id) & (s.series.c.quantity == quantity)
    found = connection.execute(select(s.series.c.id).where(wanted)).scalar()
    if found is not None:
        return int(found)
    made = insert(s.series).values(probe_id=probe_id, quantity=str(quantity)).returning(s.series.c.id)
    return int(connection.execute(made).scalar_one())


def all_series(connection: Connection) -> list[Series]:
    """Return every series."""
    rows = connection.execute(select(s.series.c.id, s.series.c.probe_id, s.series.c.quantity).order_by(s.series.c.id))
    return [Series(row.id, row.probe_id, Quantity(row.quantity)) for row in rows]


def append(connection: Connection, readings: Sequence[NewReading], arrived_ms: int) -> Appended:
    """Store a batch and its summaries in the open transaction.

    A key already there with the same value is a repeat and adds nothing; with another value it is
    kept as a conflict. Only rows really inserted enter the summaries.
    """
    if not readings:
        return Appended(0, 0, 0)
    made = insert(s.batch).values(arrived_ms=arrived_ms).returning(s.batch.c.id)
    batch_id = int(connection.execute(made).scalar_one())
    first: dict[tuple[int, int], NewReading] = {}
    others = []
    for one in readings:
        kept = first.setdefault((one.series_id, one.at_ms), one)
        if kept.value != one.value:
            others.append(one)
    connection.execute(_EMPTY_STAGE)
    connection.execute(_TO_STAGE, [_row(one) for one in first.values()])
    others = [one for one in others if not _is_stored(connection, one)]
    conflicting = _keep_conflicts(connection, others, batch_id)
    connection.execute(_without_stored())
    new = connection.execute(_COUNT_STAGE).scalar_one()
    connection.execute(_from_stage(), {"batch": batch_id})
    for span_ms in TIERS:
        connection.execute(_adding_to_tier(span_ms))
    return Appended(new, len(readings) - new - conflicting, conflicting)


def _row(one: NewReading) -> dict[str, float | int]:
    return {
        "series_id": one.series_id,
        "at_ms": one.at_ms,
        "value": one.value,
        "quality": int(one.quality),
        "time_source": int(one.time_source),
    }


def _is_stored(connection: Connection, one: NewReading) -> bool:
    """Tell whether this very value is the one stored: then it is a repeat, whatever else its batch says."""
    key = (s.reading.c.series_id == one.series_id) & (s.reading.c.at_ms == one.at_ms)
    return connection.execute(select(s.reading.c.value).where(key)).scalar() == one.value


# Statements of every batch are put together once: that costs more than to run them.


@cache
def _without_stored() -> Delete:
    """Take out of the stage what is stored already."""
    same = (s.reading.c.series_id == _stage.c.series_id) & (s.reading.c.at_ms == _stage.c.at_ms)
    return delete(_stage).where(select(1).select_from(s.reading).where(same).correlate(_stage).exists())


@cache
def _from_stage() -> Insert:
    """Store what is in the stage."""
    columns = ["series_id", "at_ms", "value", "quality", "time_source"]
    chosen = select(*(_stage.c[name] for name in columns), bindparam("batch", type_=Integer))
    return insert(s.reading).from_select([*columns, "batch_id"], chosen)


def _differing() -> Select[Any]:
    """Select what in the stage differs from what is stored under its key."""
    keys = and_(s.reading.c.series_id == _stage.c.series_id, s.reading.c.at_ms == _stage.c.at_ms)
    return (
        select(_stage.c.series_id, _stage.c.at_ms, _stage.c.value, bindparam("batch", type_=Integer))
        .select_from(_stage.join(s.reading, keys))
        .where(s.reading.c.value != _stage.c.value)
    )


@cache
def _counting_conflicts() -> Select[Any]:
    return select(func.count()).select_from(_differing().subquery())


@cache
def _conflicts_from_stage() -> Insert:
    names = ["series_id", "at_ms", "value", "batch_id"]
    return insert(s.conflict).from_select(names, _differing()).on_conflict_do_nothing()


def _keep_conflicts(connection: Connection, in_batch: Sequence[NewReading], batch_id: int) -> int:
    """Keep every value that differs from the one stored first; return how many messages said so."""
    count = int(connection.execute(_counting_conflicts(), {"batch": batch_id}).scalar_one())
    if count:
        connection.execute(_conflicts_from_stage(), {"batch": batch_id})
    if in_batch:
        rows = [{"series_id": o.series_id, "at_ms": o.at_ms, "value": o.value, "batch_id": batch_id} for o in in_batch]
        connection.execute(insert(s.conflict).on_conflict_do_nothing(), rows)
    return count + len(in_batch)


def _summary(span_ms: int, source):  # type: ignore[no-untyped-def]
    """Select one summary row for each span of ``source``'s rows."""
    good = source.c.quality == int(Quality.GOOD)
    value = case((good, source.c.value))
    start = source.c.at_ms - source.c.at_ms % span_ms
    columns = (
        source.c.series_id,
        start.label("bucket_ms"),
        func.count(value).label("n"),
        func.min(value).label("low"),
        func.max(value).label("high"),
        func.coalesce(func.sum(value), 0.0).label("total"),
        func.sum(case((good, 0), else_=1)).label("bad"),
    )
    return select(*columns).select_from(source).group_by(source.c.series_id, start)


@cache
def _adding_to_tier(span_ms: int) -> Insert:
    """Add the stage to a tier's summaries."""
    tier = TIERS[span_ms]
    statement = insert(tier).from_select(_SUMMARY, _summary(span_ms, _stage).where(true()))
    new, old = statement.excluded, tier.c
    # min() and max() of two arguments give NULL as soon as one is: fill each from the other.
    merged = {
        "n": old.n + new.n,
        "low": func.min(func.coalesce(old.low, new.low), func.coalesce(new.low, old.low)),
        "high": func.max(func.coalesce(old.high, new.high), func.coalesce(new.high, old.high)),
        "total": old.total + new.total,
        "bad": old.bad + new.bad,
    }
    return statement.on_conflict_do_update(index_elements=_SUMMARY[:2], set_=merged)


def set_quality(connection: Connection, series_id: int, at_ms: int, quality: Quality) -> None:
    """Change a stored reading's flag and rebuild the summaries that hold it."""
    set_qualities(connection, [(series_id, at_ms, quality)])


def set_qualities(connection: Connection, changes: Sequence[tuple[int, int, Quality]]) -> None:
    """Change the flags of stored readings, (series, UTC ms, flag), and rebuild the summaries that hold them.

    Values are not touched; a key that is not stored is passed over. Ten minutes some of whose readings are no
    longer kept cannot be summed up anew: their summary stays as it is.
    """
    if not changes:
        return
    key = (s.reading.c.series_id == bindparam("series")) & (s.reading.c.at_ms == bindparam("moment"))
    rows = [{"series": series_id, "moment": at_ms, "flag": int(flag)} for series_id, at_ms, flag in changes]
    connection.execute(s.reading.update().where(key).values(quality=bindparam("flag")), rows)
    for span_ms in TIERS:  # a longer span is summed up from the shorter ones, which come first
        starts = {(one, at_ms - at_ms % span_ms) for one, at_ms, _ in changes}
        spans = ((one, start, start + span_ms - 1) for one, start in sorted(starts))
        connection.execute(_rebuilding(span_ms), these(spans))


@cache
def _rebuilding(span_ms: int) -> Insert:
    """Sum up anew the spans (series, first and last ms) given: ten minutes from the readings, others from a tier."""
    _, (series, first, last) = listed(3)
    tier, finer = TIERS[span_ms], next((TIERS[one] for one in reversed(TIERS) if one < span_ms), None)
    if finer is None:
        inside = (s.reading.c.series_id == series) & s.reading.c.at_ms.between(first, last)
        made = _summary(span_ms, s.reading).where(inside)
    else:
        inside = (finer.c.series_id == series) & finer.c.bucket_ms.between(first, last)
        made = _summary_of_finer(span_ms, finer).where(inside)
    statement = insert(tier).from_select(_SUMMARY, made)
    new, old = statement.excluded, tier.c
    whole = old.n + old.bad == new.n + new.bad if finer is None else None
    values = {name: new[name] for name in _SUMMARY[2:]}
    return statement.on_conflict_do_update(index_elements=_SUMMARY[:2], set_=values, where=whole)


def _summary_of_finer(span_ms: int, finer):  # type: ignore[no-untyped-def]
    """Select one summary row for each span of the rows of a finer tier."""
    one = finer.c
    start = one.bucket_ms - one.bucket_ms % span_ms
    sums = (func.sum(one.n), func.min(one.low), func.max(one.high), func.sum(one.total), func.sum(one.bad))
    return select(one.series_id, start.label("bucket_ms"), *sums).group_by(one.series_id, start)


def add_rejects(connection: Connection, rejects: Iterable[tuple[str, bytes, str]], arrived_ms: int) -> None:
    """Keep messages that held no reading: (topic, payload, reason)."""
    rows = [
        {"arrived_ms": arrived_ms, "topic": topic, "payload": payload[:REJECT_PAYLOAD_BYTES], "reason": reason}
        for topic, payload, reason in rejects
    ]
    if rows:
        connection.execute(insert(s.reject), rows)


def recent_rejects(connection: Connection, count: int) -> list[Reject]:
    """Return the newest rejects, newest first."""
    rows = connection.execute(select(s.reject).order_by(s.reject.c.id.desc()).limit(count))
    return [Reject(row.id, row.arrived_ms, row.topic, row.payload, row.reason) for row in rows]


def latest(connection: Connection, series_id: int, quality: Quality | None = None) -> Reading | None:
    """Return a series' newest reading by its own clock, or the newest with this quality."""
    query = asked.newest(quality)
    values = {"series": series_id} | ({} if quality in (None, Quality.GOOD) else {"quality": int(quality)})
    row = connection.execute(query, values).first()
    return None if row is None else _reading(row)


def first_at_ms(connection: Connection, series_id: int) -> int | None:
    """Return the time of a series' first reading, or, where readings were cleared away, of its first summary."""
    readings_ms = select(func.min(s.reading.c.at_ms)).where(s.reading.c.series_id == series_id)
    summaries_ms = select(func.min(s.tier_10min.c.bucket_ms)).where(s.tier_10min.c.series_id == series_id)
    first, summed_up = (connection.execute(one).scalar() for one in (readings_ms, summaries_ms))
    if first is None or summed_up is None:
        return first if summed_up is None else int(summed_up)
    return int(first) if summed_up <= first < summed_up + min(TIERS) else int(summed_up)


def raw(connection: Connection, series_id: int, start_ms: int, end_ms: int, limit: int = 20_000) -> list[Reading]:
    """Return the readings of start ≤ time < end, in order, at most ``limit``."""
    span = s.reading.c.at_ms.between(start_ms, end_ms - 1)
    query = select(s.reading).where((s.reading.c.series_id == series_id) & span).order_by(s.reading.c.at_ms)
    return [_reading(row) for row in connection.execute(query.limit(limit))]


def _reading(row) -> Reading:  # type: ignore[no-untyped-def]
    return Reading(row.series_id, row.at_ms, row.value, Quality(row.quality), TimeSource(row.time_source))


def buckets(connection: Connection, series_id: int, span_ms: int, start_ms: int, end_ms: int) -> Buckets:
    """Return a series' summaries of ``span_ms`` (ten minutes, an hour or a day) over start ≤ time < end."""
    given = {"series": series_id, "first": start_ms, "last": end_ms - 1}
    rows = connection.execute(asked.summaries(TIERS[span_ms]), given).all()
    table_ = np.array([tuple(row) for row in rows], dtype=np.float64).reshape(len(rows), 6)
    n = table_[:, 1]
    mean = np.divide(table_[:, 4], n, out=np.full(len(rows), np.nan), where=n > 0)
    return Buckets(
        bucket_ms=table_[:, 0].astype(np.int64),
        n=n.astype(np.int64),
        low=table_[:, 2],
        high=table_[:, 3],
        mean=mean,
        bad=table_[:, 5].astype(np.int64),
    )


def count(connection: Connection) -> int:
    """Return how many readings are stored (from the daily summaries, so that it stays quick)."""
    total = select(func.coalesce(func.sum(s.tier_day.c.n + s.tier_day.c.bad), 0))
    return int(connection.execute(total).scalar_one())


def count_conflicts(connection: Connection) -> int:
    """Return how many values were kept as conflicts."""
    return int(connection.execute(select(func.count()).select_from(s.conflict)).scalar_one())


def newest_batch(connection: Connection) -> int:
    """Return the number of the newest batch: it grows whenever readings arrive."""
    return int(connection.execute(select(func.coalesce(func.max(s.batch.c.id), 0))).scalar_one())


def set_recorder_state(connection: Connection, state: RecorderState) -> None:
    """Note what the recorder says of itself."""
    values = {name: getattr(state, name) for name in RecorderState.__dataclass_fields__}
    statement = insert(s.recorder_state).values(id=1, **values)
    connection.execute(statement.on_conflict_do_update(index_elements=["id"], set_=values))


def recorder_state(connection: Connection) -> RecorderState | None:
    """Return what the recorder last said of itself; None when none has ever run."""
    row = connection.execute(select(s.recorder_state)).first()
    if row is None:
        return None
    return RecorderState(**{name: getattr(row, name) for name in RecorderState.__dataclass_fields__})
