"""Messages on their way into the store, and what the store tells of those that bring no time of their own."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection

from sensors.client import Arrived
from sensors.payloads import BadPayload, Message, Value
from sensors.untimed import AFTER_BEAT_MS, IN_FLIGHT_MS, Redelivered, stored_before
from shared.store import readings
from shared.store.records import NewReading, Quantity, RecorderState, TimeSource
from shared.units import MS_PER_MINUTE, MS_PER_S

ALL = 1_000_000
REJECTS_LOOKED_AT = 5_000
AHEAD_MS = 10 * MS_PER_MINUTE  # how far a burst that was set apart by milliseconds may have run ahead of the clock

SeriesOf = Callable[[str, Quantity], int]


@dataclass
class Waiting:
    """A decoded message that is not yet on disk."""

    message: Arrived
    arrived_ms: int
    said: list[Message] = field(default_factory=list)
    reason: str | None = None
    repeat: bool = False  # stored already: what it says without a time is not stored again
    in_doubt: bool = False  # redelivered from before this recorder was started: the store must tell
    late: bool = False  # may have waited in the broker's queue for longer than a time of arrival allows

    def values(self) -> list[tuple[str, Value]]:
        """Return what it says, each with the topic of its probe."""
        return [(message.probe_topic, value) for message in self.said for value in message.values]

    @property
    def without_time(self) -> int:
        """How many of its readings bring no time; a reject counts as one, for it has no key either."""
        return 1 if self.reason is not None else sum(value.at_ms is None for _, value in self.values())


@dataclass(frozen=True)
class Written:
    """What became of a batch; ``ahead`` is for the next (``set_apart``)."""

    new: int
    repeated: int
    conflicting: int
    rejected: int
    ahead: dict[int, int]


@dataclass(frozen=True)
class Before:
    """The recorder before this one on the same store, as far as the store tells."""

    last_alive_ms: int
    started_ms: int
    reach_ms: int

    @classmethod
    def of(cls, state: RecorderState | None, now_ms: int, commit_every_s: float) -> Before | None:
        """Return it; None when there was none."""
        if state is None:
            return None
        return cls(state.beat_ms, now_ms, IN_FLIGHT_MS + round(commit_every_s * MS_PER_S))

    @property
    def span_ms(self) -> tuple[int, int]:
        """The times of arrival among which its last messages are."""
        end_ms = self.last_alive_ms + AFTER_BEAT_MS
        if self.last_alive_ms < self.started_ms < end_ms:
            end_ms = self.started_ms
        return self.last_alive_ms - self.reach_ms, end_ms


def repeats(connection: Connection, before: Before, batch: Sequence[Waiting], series_of: SeriesOf) -> list[Waiting]:
    """Return those of the messages in doubt that the recorder before had stored (rule 3 of ``untimed``)."""
    doubted = [one for one in batch if one.in_doubt and one.reason is None]
    found = _rejected_before(connection, before, [one for one in batch if one.in_doubt and one.reason is not None])
    if not any(one.without_time for one in doubted):
        return found
    seen = [_redelivered(one, series_of) for one in doubted]
    start_ms, end_ms = before.span_ms
    tails = {
        series_id: _values_at_arrival(connection, series_id, start_ms, end_ms)
        for series_id in {series_id for one in seen for series_id, _ in one.untimed}
    }

    def is_stored(series_id: int, at_ms: int) -> bool:
        return bool(readings.raw(connection, series_id, at_ms, at_ms + 1))

    return found + doubted[: stored_before(seen, tails, is_stored)]


def _redelivered(one: Waiting, series_of: SeriesOf) -> Redelivered:
    untimed, timed = [], []
    for topic, value in one.values():
        try:
            series_id = series_of(topic, value.quantity)
        except BadPayload:  # too many probes: it will be a reject
            continue
        if value.at_ms is None:
            untimed.append((series_id, value.value))
        else:
            timed.append((series_id, value.at_ms))
    return Redelivered(untimed, timed)


def _values_at_arrival(connection: Connection, series_id: int, start_ms: int, end_ms: int) -> list[float]:
    rows = readings.raw(connection, series_id, start_ms, end_ms, limit=ALL)
    return [row.value for row in rows if row.time_source is TimeSource.RECEIVED]


def _rejected_before(connection: Connection, before: Before, refused: Sequence[Waiting]) -> list[Waiting]:
    if not refused:
        return []
    start_ms, end_ms = before.span_ms
    kept = Counter(
        (one.topic, one.payload)
        for one in readings.recent_rejects(connection, REJECTS_LOOKED_AT)
        if start_ms <= one.arrived_ms < end_ms
    )
    found = []
    for one in refused:
        key = (one.message.topic, one.message.payload[: readings.REJECT_PAYLOAD_BYTES])
        if kept[key]:
            kept[key] -= 1
            found.append(one)
    return found


def set_apart(connection: Connection, rows: Sequence[NewReading], ahead: dict[int, int]) -> list[NewReading]:
    """Give each row with a time of arrival a millisecond of its own in its series (rule 1 of ``untimed``).

    ``ahead`` holds, for series whose rows have run ahead of the clock, the last time given; it is brought up to date.
    """
    arrived: dict[int, list[int]] = defaultdict(list)
    taken: dict[int, set[int]] = defaultdict(set)
    for row in rows:
        if row.time_source is TimeSource.RECEIVED:
            arrived[row.series_id].append(row.at_ms)
        else:
            taken[row.series_id].add(row.at_ms)
    for series_id, times in arrived.items():
        if ahead.get(series_id, 0) > max(times) + AHEAD_MS:  # the clock was set back meanwhile
            del ahead[series_id]
        start_ms = max(min(times), ahead.get(series_id, 0) + 1)
        end_ms = max(max(times), start_ms) + len(times) + AHEAD_MS
        taken[series_id].update(row.at_ms for row in readings.raw(connection, series_id, start_ms, end_ms, limit=ALL))
    return [_in_its_place(row, taken[row.series_id], ahead) for row in rows]


def _in_its_place(row: NewReading, taken: set[int], ahead: dict[int, int]) -> NewReading:
    if row.time_source is not TimeSource.RECEIVED:
        return row
    at_ms = max(row.at_ms, ahead.get(row.series_id, 0) + 1)
    while at_ms in taken:
        at_ms += 1
    taken.add(at_ms)
    if at_ms > row.at_ms:
        ahead[row.series_id] = at_ms
    else:
        ahead.pop(row.series_id, None)
    return row if at_ms == row.at_ms else row._replace(at_ms=at_ms)
