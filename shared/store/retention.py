"""How long single readings are kept, and how the room they leave is given back.

The summaries stay for ever; so a reading goes only after its summaries have been shown to hold it:

- its ten minutes are summed up anew from the readings and compared with what is stored;
- its hour and its day are summed up anew from their ten-minute summaries.

A summary that is missing or wrong is made anew first. Readings whose summary holds MORE than they do
are left where they are: they came late, after their neighbours had gone, and nothing is left to compare
with. Readings go in small chunks, each a transaction of its own, so that the recorder is never kept
waiting for long; a run that is cut short is simply run again.
"""

from __future__ import annotations

import math
import time
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

from sqlalchemy import Connection, Table, bindparam, delete, func, select, text
from sqlalchemy.dialects.sqlite import insert

from shared.store import schema as s
from shared.store.engine import Store
from shared.store.readings import TIERS, all_series
from shared.store.records import Quality
from shared.units import MS_PER_DAY, MS_PER_MINUTE

CHUNK_ROWS = 5000  # with chunks of this size no writer waited longer than 0.23 s; one deletion of all: 1.02 s
PAUSE_S = 0.05  # between two chunks, for whoever waits to write
FINE_MS = 10 * MS_PER_MINUTE
SAME_TOTAL = 1e-9  # two orders of adding the same numbers agree to this, relative to the sum of their sizes


class Row(NamedTuple):
    """A single reading."""

    at_ms: int
    value: float
    quality: int


class Sum(NamedTuple):
    """One summary: how many good values, least, greatest, total; how many bad."""

    n: int
    low: float | None
    high: float | None
    total: float
    bad: int

    @property
    def rows(self) -> int:
        """How many readings it sums up."""
        return self.n + self.bad

    def agrees(self, other: Sum) -> bool:
        """Tell whether both sum up the same readings."""
        size = max((abs(end) for end in (self.low, self.high) if end is not None), default=0.0) * self.n
        same_total = math.isclose(self.total, other.total, rel_tol=SAME_TOTAL, abs_tol=SAME_TOTAL * size + 1e-12)
        return same_total and (self.n, self.low, self.high, self.bad) == (other.n, other.low, other.high, other.bad)


@dataclass
class Trimmed:
    """What became of the readings that are older than they are kept."""

    deleted: int = 0
    chunks: int = 0
    mended: int = 0  # summaries that were missing or wrong and were made anew
    kept: int = 0  # readings left where they are, since their summary holds more than they do


@dataclass
class _Judged:
    """Buckets of one chunk: those to make anew, and the ten minutes whose readings stay."""

    anew: dict[int, Sum] = field(default_factory=dict)
    staying: set[int] = field(default_factory=set)


def horizon_ms(now_ms: int, keep_raw_days: int) -> int | None:
    """Return the start of the first day (UTC ms) whose single readings are kept; None: all are kept.

    Whole days, so that a summary has all of its readings or none of them.
    """
    return None if keep_raw_days == 0 else (now_ms // MS_PER_DAY - keep_raw_days) * MS_PER_DAY


def trim(
    store: Store, now_ms: int, keep_raw_days: int, pause_s: float = PAUSE_S, chunk_rows: int = CHUNK_ROWS
) -> Trimmed:
    """Delete single readings older than ``keep_raw_days`` (0: none), after their summaries were shown to hold them.

    The day of a probe's newest reading is always kept: what it last said stays known.
    ``now_ms`` is UTC ms. The recorder may go on writing; ``pause_s`` (s) is left to it between chunks.
    """
    done = Trimmed()
    horizon = horizon_ms(now_ms, keep_raw_days)
    if horizon is None:
        return done
    for series_id, newest_ms in _newest(store).items():
        start_ms: int | None = -(2**62)
        end_ms = min(horizon, newest_ms // MS_PER_DAY * MS_PER_DAY)
        while start_ms is not None:
            if done.chunks:
                time.sleep(pause_s)
            with store.writing() as connection:
                start_ms = _trim_chunk(connection, series_id, start_ms, end_ms, chunk_rows, done)
    return done


def _newest(store: Store) -> dict[int, int]:
    """Return when each series that has readings said its last; one at a time, which is a look at the key alone."""
    found = {}
    with store.reading() as connection:
        for one in all_series(connection):
            newest = select(func.max(s.reading.c.at_ms)).where(s.reading.c.series_id == one.id)
            found[one.id] = connection.execute(newest).scalar()
    return {series_id: at_ms for series_id, at_ms in found.items() if at_ms is not None}


def _trim_chunk(
    connection: Connection, series_id: int, start_ms: int, end_ms: int, chunk_rows: int, done: Trimmed
) -> int | None:
    """Delete one chunk; return where the next begins, None when there is none."""
    chunk = _summed_up(_oldest(connection, series_id, start_ms, end_ms, chunk_rows))
    if not chunk:
        return None
    staying = _settle_summaries(connection, series_id, chunk, done)
    if staying:
        # Perhaps only because the rest of those days has not been looked at yet.
        first_day, last_day = (at // MS_PER_DAY * MS_PER_DAY for at in (min(staying), max(staying)))
        days = _summed_up(_rows(connection, series_id, first_day, last_day + MS_PER_DAY))
        staying = _settle_summaries(connection, series_id, days, done) & chunk.keys()
    next_ms = max(chunk) + FINE_MS
    inside = (s.reading.c.series_id == series_id) & s.reading.c.at_ms.between(start_ms, next_ms - 1)
    going = (s.reading.c.at_ms - s.reading.c.at_ms % FINE_MS).not_in(sorted(staying))
    done.deleted += connection.execute(delete(s.reading).where(inside & going)).rowcount
    done.kept += sum(chunk[start].rows for start in staying)
    done.chunks += 1
    return next_ms


def _oldest(connection: Connection, series_id: int, start_ms: int, end_ms: int, limit: int) -> list[Row]:
    """Return the oldest readings of start ≤ time < end: whole buckets, about ``limit`` rows, at least one bucket."""
    rows = _rows(connection, series_id, start_ms, end_ms, limit + 1)
    if len(rows) <= limit:
        return rows
    cut_ms = rows[-1].at_ms - rows[-1].at_ms % FINE_MS
    if cut_ms > rows[0].at_ms:
        return [row for row in rows if row.at_ms < cut_ms]
    return _rows(connection, series_id, start_ms, cut_ms + FINE_MS)


def _rows(connection: Connection, series_id: int, start_ms: int, end_ms: int, limit: int | None = None) -> list[Row]:
    columns = select(s.reading.c.at_ms, s.reading.c.value, s.reading.c.quality).order_by(s.reading.c.at_ms)
    inside = (s.reading.c.series_id == series_id) & s.reading.c.at_ms.between(start_ms, end_ms - 1)
    return [Row(*row) for row in connection.execute(columns.where(inside).limit(limit))]


def _summed_up(rows: Iterable[Row]) -> dict[int, Sum]:
    """Sum up ten minutes after ten minutes, reading by reading."""
    buckets: defaultdict[int, list[Row]] = defaultdict(list)
    for row in rows:
        buckets[row.at_ms - row.at_ms % FINE_MS].append(row)
    made = {}
    for start, inside in buckets.items():
        good = [row.value for row in inside if row.quality == Quality.GOOD]
        ends = (min(good, default=None), max(good, default=None))
        made[start] = Sum(len(good), *ends, math.fsum(good), len(inside) - len(good))
    return made


def _settle_summaries(connection: Connection, series_id: int, raw: Mapping[int, Sum], done: Trimmed) -> set[int]:
    """Make sure that the summaries hold these ten minutes; return those whose readings must stay."""
    first, last = min(raw), max(raw)
    fine = _judge(raw, _held(connection, TIERS[FINE_MS], series_id, first, last))
    done.mended += _put(connection, TIERS[FINE_MS], series_id, fine.anew)
    staying = set(fine.staying)
    for finer_ms, span_ms in pairwise(sorted(TIERS)):
        begin, end = first // MS_PER_DAY * MS_PER_DAY, last // MS_PER_DAY * MS_PER_DAY + MS_PER_DAY - 1
        parts: defaultdict[int, list[Sum]] = defaultdict(list)
        for start, one in _held(connection, TIERS[finer_ms], series_id, begin, end).items():
            parts[start - start % span_ms].append(one)
        together = {start: _put_together(those) for start, those in parts.items()}
        coarse = _judge(together, _held(connection, TIERS[span_ms], series_id, begin, end))
        done.mended += _put(connection, TIERS[span_ms], series_id, coarse.anew)
        staying |= {start for start in raw if start - start % span_ms in coarse.staying}
    return staying


def _judge(expected: Mapping[int, Sum], held: Mapping[int, Sum]) -> _Judged:
    judged = _Judged()
    for start, wanted in expected.items():
        found = held.get(start)
        if found is not None and found.rows > wanted.rows:
            judged.staying.add(start)
        elif found is None or not wanted.agrees(found):
            judged.anew[start] = wanted
    return judged


def _put_together(parts: Iterable[Sum]) -> Sum:
    every = list(parts)
    low = min((one.low for one in every if one.low is not None), default=None)
    high = max((one.high for one in every if one.high is not None), default=None)
    return Sum(
        sum(one.n for one in every), low, high, math.fsum(one.total for one in every), sum(one.bad for one in every)
    )


def _held(connection: Connection, tier: Table, series_id: int, first_ms: int, last_ms: int) -> dict[int, Sum]:
    inside = (tier.c.series_id == series_id) & tier.c.bucket_ms.between(first_ms, last_ms)
    rows = connection.execute(select(tier).where(inside))
    return {row.bucket_ms: Sum(row.n, row.low, row.high, row.total, row.bad) for row in rows}


def _put(connection: Connection, tier: Table, series_id: int, made: Mapping[int, Sum]) -> int:
    if made:
        key = (tier.c.series_id == series_id) & (tier.c.bucket_ms == bindparam("start"))
        connection.execute(delete(tier).where(key), [{"start": start} for start in made])
        rows = [{"series_id": series_id, "bucket_ms": start, **one._asdict()} for start, one in made.items()]
        connection.execute(insert(tier), rows)
    return len(made)


# --- do the summaries hold what they should? -------------------------------------------------------

_COMPARED = """
SELECT count(*) FROM ({source}) AS made LEFT JOIN {tier} AS held USING (series_id, bucket_ms)
WHERE held.n IS NULL OR held.n + held.bad < made.n + made.bad
   OR (({strict} OR held.n + held.bad = made.n + made.bad)
       AND (held.n <> made.n OR held.bad <> made.bad OR held.low IS NOT made.low OR held.high IS NOT made.high
            OR abs(held.total - made.total) > 1e-12 + 1e-9 * made.n * coalesce(max(abs(made.low), abs(made.high)), 0)))
"""
_OF_READINGS = """
SELECT series_id, at_ms - at_ms % {span} AS bucket_ms, sum(quality = 0) AS n, sum(quality <> 0) AS bad,
       min(CASE WHEN quality = 0 THEN value END) AS low, max(CASE WHEN quality = 0 THEN value END) AS high,
       total(CASE WHEN quality = 0 THEN value END) AS total
FROM reading GROUP BY 1, 2
"""
_OF_SUMMARIES = """
SELECT series_id, bucket_ms - bucket_ms % {span} AS bucket_ms, sum(n) AS n, sum(bad) AS bad,
       min(low) AS low, max(high) AS high, total(total) AS total
FROM {finer} GROUP BY 1, 2
"""
_LEFT_OVER = """
SELECT count(*) FROM {tier} AS held WHERE NOT EXISTS (
    SELECT 1 FROM {finer} AS part WHERE part.series_id = held.series_id
    AND part.bucket_ms BETWEEN held.bucket_ms AND held.bucket_ms + {span} - 1)
"""


def disagreements(connection: Connection) -> list[str]:
    """Return a sentence for each tier of summaries that does not hold what it should.

    A ten-minute summary may hold more than the readings that are still there, never less or other.
    """
    told = []
    spans = sorted(TIERS)
    compared = _COMPARED.format(source=_OF_READINGS.format(span=FINE_MS), tier=TIERS[FINE_MS].name, strict="0")
    found = {spans[0]: int(connection.execute(text(compared)).scalar_one())}
    for finer_ms, span_ms in pairwise(spans):
        names = {"span": span_ms, "finer": TIERS[finer_ms].name, "tier": TIERS[span_ms].name}
        compared = _COMPARED.format(source=_OF_SUMMARIES.format(**names), strict="1", **names)
        lone = _LEFT_OVER.format(**names)
        found[span_ms] = sum(int(connection.execute(text(one)).scalar_one()) for one in (compared, lone))
    for span_ms, number in found.items():
        if number:
            of_what = "the readings" if span_ms == FINE_MS else "the finer summaries"
            told.append(f"{number} of the summaries in {TIERS[span_ms].name} do not agree with {of_what}")
    return told
