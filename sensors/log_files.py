"""Log files of handheld loggers and spreadsheets: every row read, judged as a live reading is, and stored.

A bad row or cell never stops the file: it is listed with its number, field, value and what is accepted,
and the rest is taken. The store's key (series, time) makes a second import of the same file add nothing.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo

from sqlalchemy import Connection, exc

from sensors import log_times, quality, second_look
from sensors.log_cells import Cell, Row
from sensors.log_guess import TELL_EVERY, Layout
from sensors.log_numbers import LARGEST, NoNumber, number, shown
from sensors.log_structure import Column
from sensors.log_times import Clock, NoTime
from shared.errors import Refused
from shared.store import Store, facts, readings
from shared.store.records import Appended, NewReading, Quality, Quantity, Subject, SubjectKind, TimeSource
from shared.units import MS_PER_MINUTE

BATCH_ROWS = 2000  # in one transaction: a recorder beside us waits for it
KEPT_BAD = 1000  # bad cells remembered for the list; all are counted
TEN_MINUTES_MS = 10 * MS_PER_MINUTE  # the shortest span that is summed up
ANY_NUMBER = 2**31
NO_ROW = "a whole row: cells as in the heading, or one JSON object"

Progress = Callable[[int], None]
After = Callable[[Connection, Sequence[NewReading]], object]


@dataclass(frozen=True)
class Bad:
    """What could not be taken, in which row of which field, and what is accepted."""

    row: int
    field: str
    value: str
    accepted: str

    def __str__(self) -> str:
        """Return it as one sentence."""
        return f"row {self.row}: {self.field} is {self.value}; accepted: {self.accepted}."


@dataclass(frozen=True)
class LogRow:
    """One row as it was understood; ``at_ms`` None: its time was not."""

    number: int
    at_ms: int | None
    values: tuple[tuple[Quantity, float], ...]
    bad: tuple[Bad, ...]


@dataclass
class Span:
    """How many values of a quantity there are, how many are flagged, and between what they lie."""

    count: int = 0
    flagged: int = 0
    low: float = float("inf")
    high: float = float("-inf")


@dataclass
class Survey:
    """What is in a file, before anything is stored."""

    rows: int = 0
    empty_rows: int = 0  # with a time and no value
    first_ms: int | None = None
    last_ms: int | None = None
    spans: dict[Quantity, Span] = field(default_factory=dict)
    bad: list[Bad] = field(default_factory=list)
    bad_count: int = 0

    @property
    def readings(self) -> int:
        """How many readings the file holds."""
        return sum(span.count for span in self.spans.values())


@dataclass(frozen=True)
class Stored:
    """What became of a file's readings; ``summed_up``: left out, since only summaries are kept of their time."""

    new: int = 0
    repeated: int = 0
    conflicting: int = 0
    summed_up: int = 0

    def plus(self, one: Appended, summed_up: int) -> Stored:
        """Return the two together."""
        return Stored(
            self.new + one.new,
            self.repeated + one.repeated,
            self.conflicting + one.conflicting,
            self.summed_up + summed_up,
        )


def read(layout: Layout, tz: tzinfo | None, progress: Progress | None = None) -> Iterator[LogRow]:
    """Give every row below the heading, in the file's order; ``tz`` None takes local times as this machine's.

    ``progress`` is told how many rows have been read.
    """
    clock = Clock(tz, newest_first=layout.newest_first, usual_step_ms=layout.usual_step_ms)
    for count, row in enumerate(layout.heading.data(), 1):
        if progress and count % TELL_EVERY == 0:
            progress(count)
        yield _read_row(layout, clock, row)


def _read_row(layout: Layout, clock: Clock, row: Row) -> LogRow:
    wrong = _wrong_as_a_whole(layout, row)
    if wrong is not None:
        return LogRow(row.number, None, (), (wrong,))
    cell = layout.heading.time_cell(row)
    try:
        at_ms = clock.utc_ms(log_times.moment(cell, layout.order))
    except NoTime as error:
        value = shown(cell) if cell is not None else "empty, or no date with a time of day"
        return LogRow(row.number, None, (), (Bad(row.number, layout.heading.time_name, value, str(error)),))
    values, bad = [], []
    for column in layout.heading.columns:
        cell = row.cells[column.index] if column.index < len(row.cells) else None
        try:
            found = _value(column, cell, layout.decimal)
        except NoNumber as error:
            bad.append(Bad(row.number, column.heading, shown(cell), str(error)))
            continue
        if found is not None:
            values.append((column.quantity, found))
    return LogRow(row.number, at_ms, tuple(values), tuple(bad))


def _wrong_as_a_whole(layout: Layout, row: Row) -> Bad | None:
    heading = layout.heading
    if row.fault:
        return Bad(row.number, "row", f"{shown(row.cells[0] if row.cells else None)}, {row.fault}", NO_ROW)
    if heading.source.ragged:
        return None
    width = len(heading.row.cells)
    used = [one.index for one in heading.columns] + [
        one for one in (heading.moment, heading.day, heading.clock) if one is not None
    ]
    too_wide = any(str(cell).strip() for cell in row.cells[width:])
    if too_wide or len(row.cells) <= max(used):  # cut short by a flat battery, or a decimal comma that separates
        first = shown(row.cells[0] if row.cells else None)
        return Bad(row.number, "row", f"{first}, {len(row.cells)} cells long", f"{width} cells as in the heading")
    return None


def _value(column: Column, cell: Cell, decimal: str) -> float | None:
    """Return a cell's value in the program's unit; a unit in the cell itself goes before the heading's."""
    found = number(cell, decimal)
    if found is None:
        return None
    unit = found[1] or column.unit
    if column.quantity not in unit.quantities:
        raise NoNumber(f"a number, alone or with its unit, such as {column.unit.name}")
    value = unit.convert(found[0])
    if not abs(value) <= LARGEST:
        raise NoNumber(f"a number up to {LARGEST:g}")
    return value


def probe_of(store: Store, code: str) -> Subject:
    """Return the probe with this code, without a write; raises BadInput naming those there are, or Refused."""
    try:
        with store.reading() as connection:
            return facts.subject(connection, SubjectKind.PROBE, code)
    except exc.SQLAlchemyError as error:
        raise Refused(f"The store {store.path} cannot be read: {getattr(error, 'orig', None) or error}.") from error


def survey(rows: Iterable[LogRow], now_ms: int) -> Survey:
    """Go through the rows and return what is in them, judged as if they arrived at ``now_ms``."""
    seen = Survey()
    for row in rows:
        seen.rows += 1
        if row.bad:
            seen.bad_count += len(row.bad)
            seen.bad += row.bad[: max(KEPT_BAD - len(seen.bad), 0)]
        if row.at_ms is None or not row.values:
            seen.empty_rows += not row.bad
            continue
        seen.first_ms = row.at_ms if seen.first_ms is None else min(seen.first_ms, row.at_ms)
        seen.last_ms = row.at_ms if seen.last_ms is None else max(seen.last_ms, row.at_ms)
        for quantity, value in row.values:
            span = seen.spans.setdefault(quantity, Span())
            span.count += 1
            span.flagged += quality.judge(quantity, value, row.at_ms, now_ms) is not Quality.GOOD
            span.low, span.high = min(span.low, value), max(span.high, value)
    return seen


def store_rows(
    store: Store,
    probe_id: int,
    rows: Iterable[LogRow],
    now_ms: int,
    *,
    kept_from_ms: int = 0,
    after: After = second_look.after,
) -> Stored:
    """Store the rows as readings of a probe, in batches, and return what became of them.

    ``kept_from_ms``: single readings before this time may have been deleted (keep_raw_days), their summaries
    alone kept. ``after`` is called within each transaction with the connection and the rows of the batch: the
    second look. Raises Refused when the store cannot be written: what was stored stays, and a second import
    adds the rest.
    """
    total = Stored()
    coming = iter(rows)
    while batch := list(itertools.islice(coming, BATCH_ROWS)):
        try:
            with store.writing() as connection:
                made = _new_readings(connection, probe_id, batch, now_ms)
                kept = _not_summed_up(connection, made, kept_from_ms)
                appended = readings.append(connection, kept, now_ms)
                if appended.new:
                    after(connection, kept)
        except exc.SQLAlchemyError as error:
            raise Refused(
                f"The store cannot be written ({getattr(error, 'orig', None) or error}); {total.new} readings of the "
                "file are in it, and importing it again adds the rest."
            ) from error
        total = total.plus(appended, len(made) - len(kept))
    return total


def _new_readings(connection: Connection, probe_id: int, batch: Sequence[LogRow], now_ms: int) -> list[NewReading]:
    quantities = dict.fromkeys(quantity for row in batch for quantity, _ in row.values)
    series = {one: readings.series_of(connection, probe_id, one) for one in quantities}
    return [
        NewReading(
            series[quantity],
            row.at_ms,
            value,
            quality.judge(quantity, value, row.at_ms, now_ms),
            TimeSource.PAYLOAD,
        )
        for row in batch
        if row.at_ms is not None
        for quantity, value in row.values
    ]


def _not_summed_up(connection: Connection, made: list[NewReading], kept_from_ms: int) -> list[NewReading]:
    """Leave out what lies in ten minutes whose readings are gone: added once more, it would count twice."""
    old: dict[int, list[int]] = {}
    for one in made:
        if one.at_ms < kept_from_ms:
            old.setdefault(one.series_id, []).append(one.at_ms)
    gone = {(series_id, start) for series_id, times in old.items() for start in _gone(connection, series_id, times)}
    return [one for one in made if (one.series_id, one.at_ms - one.at_ms % TEN_MINUTES_MS) not in gone]


def _gone(connection: Connection, series_id: int, times: Sequence[int]) -> list[int]:
    """Return the beginnings of the ten minutes around these times that sum up more readings than are stored."""
    first, last = min(times) - min(times) % TEN_MINUTES_MS, max(times) + TEN_MINUTES_MS
    last -= last % TEN_MINUTES_MS
    held = Counter(
        one.at_ms - one.at_ms % TEN_MINUTES_MS for one in readings.raw(connection, series_id, first, last, ANY_NUMBER)
    )
    sums = readings.buckets(connection, series_id, TEN_MINUTES_MS, first, last)
    counted = zip(sums.bucket_ms.tolist(), (sums.n + sums.bad).tolist(), strict=True)
    return [start for start, count in counted if count > held[start]]
