"""The time that a message names, as UTC ms.

* A number is an epoch; its size tells s, ms, µs or ns. So is a text of 10, 13, 16 or 19 digits.
* A text is an ISO 8601 date and time. With an offset it is plain; without one it is local time in the
  zone that the yard gives (``local_zone``), and refused when none is given.

A local time that the zone skipped (clocks went forward) is refused. One that it had twice (clocks went
back) is the occurrence within half the step of our own clock, which a message that comes straight from a
probe always has. When neither is (a log, a queue that waited), it is the first, unless the topic's previous
local time already lay after that, within two steps: then it is the second.
"""

from __future__ import annotations

import os
import re
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from sensors.messages import NUMBERS, BadPayload, short
from shared.errors import BadInput
from shared.units import MS_PER_S, ms_from_datetime

EARLIEST_YEAR, LATEST_YEAR = 2015, 5000  # no clock that is merely wrong gets to the latter
EARLIEST_MS = ms_from_datetime(datetime(EARLIEST_YEAR, 1, 1, tzinfo=UTC))
LATEST_MS = ms_from_datetime(datetime(LATEST_YEAR, 1, 1, tzinfo=UTC))
FIELDS = frozenset({"time", "timestamp", "ts", "at", "datetime", "date_time", "measured_at", "sampled_at", "last_seen"})
PER_MS = {"s": 1 / MS_PER_S, "ms": 1.0, "us": 1e3, "ns": 1e6}
BY_SIZE = ((1e11, "s"), (1e14, "ms"), (1e17, "us"), (1e20, "ns"))
DIGITS = re.compile(r"\d{10}(?:\.\d{1,9})?|\d{13}|\d{16}|\d{19}", re.ASCII)
LONGEST_TEXT = 40
LOCALTIME = Path("/etc/localtime")


def zone_named(name: str) -> tzinfo:
    """Return a time zone by its name, ``Europe/Berlin``; empty: this machine's own.

    Raises BadInput for a zone that nobody knows, and when this machine does not say which its own is.
    """
    wanted = name or os.environ.get("TZ", "").lstrip(":")
    try:
        if wanted:
            return ZoneInfo(wanted)
        if not LOCALTIME.exists():
            raise BadInput("setting local_zone", name, "a name like Europe/Berlin: this machine does not tell its own")
        _, found, told = str(LOCALTIME.resolve()).partition("/zoneinfo/")
        if found:
            return ZoneInfo(told)
        with LOCALTIME.open("rb") as file:
            return ZoneInfo.from_file(file, key="local")
    except (ValueError, OSError, LookupError) as error:  # ZoneInfoNotFoundError is a LookupError
        raise BadInput("setting local_zone", name or wanted, "a time zone's name, like Europe/Berlin") from error


def plausible(at_ms: int) -> int:
    """Return the time if a clock that is merely wrong could have said it; raises BadPayload otherwise."""
    if at_ms < EARLIEST_MS:
        raise BadPayload(f"time lies before {EARLIEST_YEAR}: the probe's clock is not set")
    if at_ms > LATEST_MS:
        raise BadPayload(f"time lies after the year {LATEST_YEAR}: the probe's clock is not set, or this is no time")
    return at_ms


class Clock:
    """Reads the times of one message; the same text within a message is the same time."""

    def __init__(self, now_ms: int, zone: tzinfo | None = None, previous_ms: int | None = None) -> None:
        """Take our own time, the zone of local times, and the topic's previous local time (UTC ms)."""
        self.now_ms = now_ms
        self.last_local_ms = previous_ms
        self._zone = zone
        self._read: dict[str, int] = {}
        self._last: tuple[Any, str, int] = (self, "", 0)

    def ms(self, raw: Any, unit: str = "") -> int:
        """Return UTC ms of a time as a message writes it; ``unit`` of a number (s, ms, us, ns), "" by its size.

        Raises BadPayload with the reason.
        """
        if raw is self._last[0] and unit == self._last[1]:  # the values of one object share their time
            return self._last[2]
        at_ms = self._ms(raw, unit)
        self._last = (raw, unit, at_ms)
        return at_ms

    def _ms(self, raw: Any, unit: str) -> int:
        if isinstance(raw, str):
            known = self._read.get(raw)
            if known is not None:
                return known
            digits = DIGITS.fullmatch(raw) is not None
            known = self._ms(float(raw) if "." in raw else int(raw), unit) if digits else self._from_text(raw)
            self._read[raw] = known
            return known
        if isinstance(raw, bool) or not isinstance(raw, NUMBERS):
            raise BadPayload(f"time is {short(raw)}, which is neither a number nor an ISO 8601 time")
        unit = unit or next((one for limit, one in BY_SIZE if abs(raw) < limit), "")
        if not unit or not abs(raw) < BY_SIZE[-1][0]:
            raise BadPayload(f"time is {short(raw)}, which is no epoch in s, ms, µs or ns")
        return plausible(round(raw / PER_MS[unit]))

    def _from_text(self, text: str) -> int:
        try:
            moment = datetime.fromisoformat(text) if len(text) <= LONGEST_TEXT else None
        except ValueError:
            moment = None
        if moment is None:
            raise BadPayload(f"time is {short(text)}, which is not an ISO 8601 time")
        if len(text) <= len("2026-11-18"):
            raise BadPayload(f"time is {short(text)}, which names a day and no time of day")
        if not EARLIEST_YEAR - 1 <= moment.year <= LATEST_YEAR:  # and far from the ends of what Python can hold
            return plausible(EARLIEST_MS - 1 if moment.year < EARLIEST_YEAR else LATEST_MS + 1)
        if moment.tzinfo is not None:
            return plausible(ms_from_datetime(moment))
        if self._zone is None:
            raise BadPayload(f"time is {short(text)}, which names no time zone: end it in Z or an offset like +01:00")
        self.last_local_ms = plausible(self._from_local(moment, text))
        return self.last_local_ms

    def _from_local(self, moment: datetime, text: str) -> int:
        """Return UTC ms of a local time in the zone, by the rule at the head of this file."""
        first, second = (moment.replace(tzinfo=self._zone, fold=fold) for fold in (0, 1))
        first_ms, second_ms = ms_from_datetime(first), ms_from_datetime(second)
        if first_ms == second_ms:
            return first_ms
        if first.utcoffset() < second.utcoffset():  # type: ignore[operator]
            raise BadPayload(f"time is {short(text)}, which {self._zone} skipped: its clocks went forward")
        step_ms = second_ms - first_ms
        for candidate_ms in (first_ms, second_ms):
            if abs(self.now_ms - candidate_ms) < step_ms / 2:
                return candidate_ms
        passed = self.last_local_ms is not None and first_ms < self.last_local_ms < second_ms + step_ms
        return second_ms if passed else first_ms
