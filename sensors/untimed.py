"""Readings without a time of their own: told apart from redeliveries, and from what lay in a queue.

A reading that brings its own time is known by (series, time) and may come as often as it likes. One
without gets the time at which it arrived, so that a second delivery would look like a second reading.
The rules:

1. Two that arrive in the same millisecond are two: the later gets the next free millisecond of its series.
2. A message is a repeat when the broker marks it as redelivered (DUP) and this recorder has stored a
   message with the same packet id, topic and payload in this session, whatever became of its
   acknowledgement. A broker must redeliver under the first packet id (MQTT 5, 4.4). It is dropped and counted.
3. When the recorder itself was started anew, what it knew is told from the store. The broker redelivers, first
   and in order, what the recorder before had not acknowledged; of these it had stored some, from the first on.
   How many: the largest number for which, in each series, they are the newest readings stored with a time of
   arrival, in the last stretch in which an acknowledgement can have been lost (IN_FLIGHT_MS and the longest wait
   for a commit, before the recorder's last sign of life), and for which none brings its own time and is not
   stored. Equal figures in a row can make that number too large: a figure dropped then is one that its series
   already holds from the same minute. Where the connection is lost again before all have come, that number may
   be too small: a reading is then stored twice, not lost.
4. Without DUP nothing is dropped. A probe that sends one message twice, or a broker that comes back from
   an older save of its queue, is taken at its word: two readings. (The embedded broker of a first run never
   sets DUP and gives new ids: there, what it sends again without a time of its own is stored again.)
5. A reading that may have waited in the broker's queue for longer than the clock tolerance (five minutes) has
   a time that says nothing: it is stored, and flagged as stamped too late. It may have waited when the recorder
   had read nothing for that long, and until the queue is shown to be empty: by a message that comes after a pause
   (PAUSE_S) in which the broker was free to send and did not. A message's expiry is not used: a broker says only
   what is left of it, and nobody says what it was.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from sensors import quality
from sensors.client import KEEPALIVE_S, Arrived
from shared.units import MS_PER_S

IN_FLIGHT_MS = round(1.5 * KEEPALIVE_S * MS_PER_S)  # after which either side calls the connection lost
AFTER_BEAT_MS = 60 * MS_PER_S  # what may have been stored after the last sign of life
PAUSE_S = 0.3
MOST_LATE_MS = quality.CLOCK_TOLERANCE_MS


class Memory:
    """What was stored under each packet id of the session, for messages without a time of their own."""

    def __init__(self) -> None:
        self._stored: dict[int, int] = {}  # at most 65,535 ids

    def forget(self) -> None:
        """The broker has begun a new session: its ids begin anew too."""
        self._stored.clear()

    def holds(self, message: Arrived) -> bool:
        """Tell whether this is the redelivery of a message already stored."""
        return message.repeated and self._stored.get(message.mid) == hash((message.topic, message.payload))

    def stored(self, message: Arrived, *, untimed: bool) -> None:
        """Note that a message is on disk; one known by its own time only frees the id."""
        if message.qos == 0:
            return
        if untimed:
            self._stored[message.mid] = hash((message.topic, message.payload))
        else:
            self._stored.pop(message.mid, None)


class Queue:
    """Whether what arrives now may have lain in the broker's queue for long."""

    def __init__(self, last_alive_ms: int | None, now_ms: int, now_s: float) -> None:
        """Begin with the recorder before: when it last gave a sign of life, None when nobody knows."""
        self._ms, self._s, self._busy_s = now_ms, now_s, now_s
        # A clock set back tells no span: what cannot be known to be short is long.
        self.may_be_late = last_alive_ms is None or abs(now_ms - last_alive_ms) > MOST_LATE_MS

    def new_session(self, now_ms: int, now_s: float) -> None:
        """Take note that the broker kept nothing for us."""
        self._ms, self._s, self.may_be_late = now_ms, now_s, False

    def read(self, now_ms: int, now_s: float) -> None:
        """Take note that something was read from the broker, be it a sign of life."""
        # Both clocks: one stands still while the machine sleeps, the other can be set back.
        silent_ms = max(now_ms - self._ms, (now_s - self._s) * MS_PER_S)
        if silent_ms > MOST_LATE_MS:
            self.may_be_late = True
            self._busy_s = now_s
        self._ms, self._s = now_ms, now_s

    def acknowledged(self, now_s: float) -> None:
        """Take note that the broker was allowed to send more."""
        self._busy_s = now_s

    def is_late(self, now_s: float) -> bool:
        """Tell of a message that has just come whether it may have waited for long."""
        if now_s - self._busy_s >= PAUSE_S:
            self.may_be_late = False
        self._busy_s = now_s
        return self.may_be_late


@dataclass(frozen=True)
class Redelivered:
    """A message of the session before: its (series, value) without a time, and its (series, time) with one."""

    untimed: Sequence[tuple[int, float]]
    timed: Sequence[tuple[int, int]] = ()


def stored_before(
    messages: Sequence[Redelivered],
    tails: Mapping[int, list[float]],
    is_stored: Callable[[int, int], bool],
) -> int:
    """Return how many of ``messages``, from the first on, the recorder before had stored.

    ``tails`` holds, for each series, the values stored with a time of arrival, in order, that can be among them;
    ``is_stored`` tells of a series and a time whether a reading is there.
    """
    said: dict[int, list[float]] = {}
    for message in messages:
        for series_id, value in message.untimed:
            said.setdefault(series_id, []).append(value)
    fitting = {series_id: _overlaps(tails.get(series_id, []), values) for series_id, values in said.items()}
    counted = dict.fromkeys(said, 0)
    unfit: set[int] = set()
    found = 0
    for number, message in enumerate(messages, start=1):
        if not all(is_stored(series_id, at_ms) for series_id, at_ms in message.timed):
            break
        for series_id, _ in message.untimed:
            counted[series_id] += 1
            (unfit.discard if counted[series_id] in fitting[series_id] else unfit.add)(series_id)
        if not unfit:
            found = number
    return found


def _overlaps(tail: list[float], said: list[float]) -> set[int]:
    """Return each length in which the end of ``tail`` is the beginning of ``said``."""
    longest = min(len(tail), len(said))
    starts = (n for n in range(1, longest + 1) if tail[len(tail) - n] == said[0])  # most fail at the first
    return {0, *(n for n in starts if tail[len(tail) - n :] == said[:n])}
