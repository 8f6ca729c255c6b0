"""The time of a row: text or a spreadsheet's date in, UTC milliseconds out.

A date such as 03/04/2026 has two readings, so that the order of day and month is always an argument. A
local time has two readings in the hour that autumn repeats and none in the hour that spring leaves out:

* repeated hour: of the two, the one that does not go back behind the row before; where both do not, the
  one whose step from the row before is nearer to the file's usual step; at the very first row, the
  earlier one (in a file with its newest row first all of this is turned round);
* hour left out: no such time; the row is refused.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from enum import StrEnum
from pathlib import Path
from zoneinfo import ZoneInfo

from sensors.log_cells import Cell
from shared.errors import BadInput
from shared.units import MS_PER_DAY, MS_PER_S, ms_from_datetime

EARLIEST_MS = ms_from_datetime(datetime(2015, 1, 1, tzinfo=UTC))  # as for live messages
LATEST_MS = ms_from_datetime(datetime(5000, 1, 1, tzinfo=UTC))
SHEET_DAY_0_MS = ms_from_datetime(datetime(1899, 12, 30, tzinfo=UTC))  # ECMA-376 Part 1, 18.17.4.1
SHEET_DAYS = (20_000.0, 80_000.0)  # a bare number in this span is a spreadsheet's count of days
EPOCHS = ((1e8, 1e11, 1e-3), (1e11, 1e14, 1.0), (1e14, 1e17, 1e3), (1e17, 1e20, 1e6))  # from, to, units a ms
LONGEST = 64  # characters of a time
ACCEPTED = "a date and time such as 2026-04-01 06:00, 01.04.2026 06:00 or 4/1/2026 6:00 AM"
IN_SPAN = "a time from 2015 on"

_CLOCK = (
    r"(?P<hour>[0-9]{1,2})[:.h](?P<minute>[0-9]{2})(?:[:.](?P<second>[0-9]{2})(?:[.,](?P<fraction>[0-9]{1,9}))?)?"
    r"(?:\s*(?P<half>[ap])\.?\s?m\.?)?(?:\s*(?P<zone>z|(?:utc|gmt)?\s*[+-][0-9]{1,2}(?::?[0-9]{2})?|utc|gmt))?"
)
_YEAR_FIRST = r"(?P<year>[0-9]{4})(?P<mark>[-/.])\s?(?P<month>[0-9]{1,2})(?P=mark)\s?(?P<day>[0-9]{1,2})\.?"
_TRIPLE = r"(?P<a>[0-9]{1,2})(?P<mark>[-/.])\s?(?P<b>[0-9]{1,2})(?P=mark)\s?(?P<year>[0-9]{4}|[0-9]{2})"
_NAMED = (
    r"(?P<day>[0-9]{1,2})[-/.\s]+(?P<name>[^\W\d_]{3,12})\.?[-/.\s,]+(?P<year>[0-9]{4}|[0-9]{2})",
    r"(?P<name>[^\W\d_]{3,12})\.?\s+(?P<day>[0-9]{1,2}),?\s+(?P<year>[0-9]{4})",
)
_COMPACT = re.compile(r"(20\d\d)(\d\d)(\d\d)[T ]?(?:(\d\d)(\d\d)(\d\d)?)?", re.ASCII)
_FORMS = [re.compile(rf"{one}(?:(?:\s*,\s*|\s+|t){_CLOCK})?", re.I) for one in (_YEAR_FIRST, _TRIPLE, *_NAMED)]
_OFFSET = re.compile(r"(?:utc|gmt)?\s*(?:(?P<sign>[+-])\s*(?P<hours>[0-9]{1,2})(?::?(?P<minutes>[0-9]{2}))?)?|z", re.I)
# By their first letters, English and German; further languages only where the letters are the same.
_MONTHS = {
    one: number
    for number, names in enumerate(
        ["jan jän", "feb", "mar mär mrz", "apr", "may mai", "jun", "jul", "aug", "sep", "oct okt", "nov", "dec dez"], 1
    )
    for one in names.split()
}


class DateOrder(StrEnum):
    """Which of the two small numbers of a date is the day."""

    DAY_FIRST = "day first"
    MONTH_FIRST = "month first"


class NoTime(Exception):
    """A cell that is no time; its text is what is accepted."""


def moment(cell: Cell, order: DateOrder | None) -> int | datetime:
    """Return UTC ms where the cell leaves no doubt, else the naive local time that it names.

    ``order`` None: dates of two small numbers are read day first, to see whether the rest makes sense.
    Raises NoTime.
    """
    if isinstance(cell, datetime):
        return cell if cell.tzinfo is None else _plausible(ms_from_datetime(cell))
    if isinstance(cell, date):
        return datetime.combine(cell, time())
    if isinstance(cell, bool) or cell is None or isinstance(cell, time | timedelta):
        raise NoTime(ACCEPTED)
    if isinstance(cell, str):
        return _from_text(" ".join(cell.split()), order)
    return _from_number(cell)


def joined(day: Cell, clock: Cell) -> Cell:
    """Return the cell that a date's and a clock's cell make together."""
    if isinstance(day, datetime | date) and isinstance(clock, datetime | time):
        return datetime.combine(_day(day), clock if isinstance(clock, time) else clock.time())
    if isinstance(day, datetime | date) and isinstance(clock, str):
        return f"{_day(day).isoformat()} {clock.strip()}"
    if isinstance(day, str) and isinstance(clock, datetime | time):
        return f"{day.strip()} {(clock if isinstance(clock, time) else clock.time()).isoformat()}"
    if isinstance(day, str) and isinstance(clock, str):
        return f"{day.strip()} {clock.strip()}"
    return None


def _day(day: date) -> date:
    return day.date() if isinstance(day, datetime) else day


def as_if_utc_ms(local: datetime) -> int:
    """Return what a local time would be in ms if it were UTC: fit for steps between rows, and for nothing else."""
    return ms_from_datetime(local.replace(tzinfo=UTC))


def small_numbers(cell: Cell) -> tuple[int, int] | None:
    """Return the two numbers of a date whose order can be doubted; None for every other cell."""
    found = _FORMS[1].match(cell.strip()) if isinstance(cell, str) else None
    return (int(found["a"]), int(found["b"])) if found else None


def offset(text: str) -> timezone | None:
    """Return the offset that a text such as Z, UTC, GMT+2 or +02:00 names; None when it names none."""
    found = _OFFSET.fullmatch(text.strip())
    if not found or not text.strip():
        return None
    if found["sign"] is None:
        return UTC
    ahead = timedelta(hours=int(found["hours"]), minutes=int(found["minutes"] or 0))
    if ahead > timedelta(hours=14) or int(found["minutes"] or 0) > 59:
        return None
    return timezone(-ahead if found["sign"] == "-" else ahead)


def _from_number(number: float) -> int | datetime:
    if SHEET_DAYS[0] < number < SHEET_DAYS[1]:
        at_ms = SHEET_DAY_0_MS + round(number * MS_PER_DAY)
        return datetime.fromtimestamp(at_ms / MS_PER_S, tz=UTC).replace(tzinfo=None)
    for low, high, per_ms in EPOCHS:
        if low <= number < high:
            return _plausible(round(number / per_ms))
    raise NoTime(f"{ACCEPTED}, or a count of s, ms, µs or ns since 1970")


def _plausible(at_ms: int) -> int:
    if not EARLIEST_MS <= at_ms < LATEST_MS:
        raise NoTime(IN_SPAN)
    return at_ms


def _from_text(text: str, order: DateOrder | None) -> int | datetime:
    if len(text) > LONGEST:
        raise NoTime(ACCEPTED)
    compact = _COMPACT.fullmatch(text)
    if compact:
        return _made(*(int(one or 0) for one in compact.groups()))
    try:
        return _from_number(float(text))
    except ValueError:
        pass
    found = next((match for form in _FORMS if (match := form.fullmatch(text))), None)
    if found is None:
        raise NoTime(ACCEPTED)
    year, month, day = _date(found.groupdict(), order)
    local = _made(year, month, day, *_clock(found))
    ahead = offset(found["zone"]) if found["zone"] else None
    if found["zone"] and ahead is None:
        raise NoTime("an offset from UTC of at most 14 hours")
    return local if ahead is None else _plausible(ms_from_datetime(local.replace(tzinfo=ahead)))


def _date(found: dict[str, str | None], order: DateOrder | None) -> tuple[int, int, int]:
    year = int(found["year"] or 0)
    year += 2000 if year < 100 else 0
    if found.get("name"):
        month = _MONTHS.get(str(found["name"]).lower()[:3])
        if month is None:
            raise NoTime(ACCEPTED)
        return year, month, int(found["day"] or 0)
    if found.get("a"):
        a, b = int(found["a"] or 0), int(found["b"] or 0)
        return (year, a, b) if order is DateOrder.MONTH_FIRST else (year, b, a)
    return year, int(found["month"] or 0), int(found["day"] or 0)


def _clock(found: re.Match[str]) -> tuple[int, int, int, int]:
    hour = int(found["hour"] or 0)
    if found["half"]:
        if not 1 <= hour <= 12:
            raise NoTime("an hour of 1 to 12 before AM or PM")
        hour = hour % 12 + (12 if found["half"].lower() == "p" else 0)
    microseconds = int((found["fraction"] or "").ljust(6, "0")[:6])
    return hour, int(found["minute"] or 0), int(found["second"] or 0), microseconds


def _made(*parts: int) -> datetime:
    try:
        made = datetime(*parts)  # type: ignore[arg-type]  # noqa: DTZ001 - local; Clock makes it UTC
    except ValueError:
        raise NoTime("a date and time that exists") from None
    if not 2015 <= made.year < 5000:
        raise NoTime(IN_SPAN)
    return made


# --- local to UTC ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Zone:
    """The zone of local times, None being this machine's, and where that was said."""

    tz: tzinfo | None
    said: str


def zone(option: str, in_file: timezone | None, setting: str) -> Zone:
    """Return the zone of a file's local times: the option's, else the file's own, the setting's, this machine's.

    Raises BadInput for a name that is no zone.
    """
    if option:
        return Zone(_zone("--zone", option), f"{option} (--zone)")
    if in_file is not None:
        return Zone(in_file, f"{in_file} (said in the file)")
    if setting:
        return Zone(_zone("setting local_zone", setting), f"{setting} (setting local_zone)")
    return Zone(None, f"{_machine_zone()} (this machine's; neither --zone nor the setting local_zone says another)")


def _zone(field: str, name: str) -> tzinfo:
    ahead = offset(name)
    if ahead is not None:
        return ahead
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        accepted = "a time zone such as Europe/Berlin, or an offset such as +01:00"
        raise BadInput(field, name.replace("\0", " "), accepted) from None


def _machine_zone() -> str:
    named = os.environ.get("TZ", "").removeprefix(":")
    link = Path("/etc/localtime").resolve().as_posix()
    return named or link.partition("zoneinfo/")[2] or str(datetime.now().astimezone().tzname())


class Clock:
    """Makes the local times of a file UTC, row after row: in the repeated hour the order of rows decides."""

    def __init__(self, tz: tzinfo | None, *, newest_first: bool = False, usual_step_ms: int = 0) -> None:
        """Prepare for one pass through a file; ``usual_step_ms``: how far its rows mostly lie apart."""
        self._tz, self._usual_ms = tz, usual_step_ms
        self._sign = -1 if newest_first else 1
        self._last_ms: int | None = None

    def utc_ms(self, local_or_ms: int | datetime) -> int:
        """Return the UTC ms of one row's time; raises NoTime for a local time that there was not."""
        chosen = local_or_ms if isinstance(local_or_ms, int) else self._from_local(local_or_ms)
        self._last_ms = _plausible(chosen)
        return chosen

    def _from_local(self, local: datetime) -> int:
        if not 2015 <= local.year < 5000:
            raise NoTime(IN_SPAN)
        early, late = self._utc_ms(local, 0), self._utc_ms(local, 1)
        if early > late:  # PEP 495: so it is where the clock has jumped over this time
            raise NoTime(
                "a time that existed: the clocks had been put forward past it "
                "(a logger that keeps winter time all year needs --zone with its offset, such as +01:00)"
            )
        return early if early == late else self._in_order(early, late)

    def _utc_ms(self, local: datetime, fold: int) -> int:
        here = local.replace(fold=fold) if self._tz is None else local.replace(tzinfo=self._tz, fold=fold)
        return round(here.timestamp() * MS_PER_S)  # without a zone: this machine's

    def _in_order(self, early: int, late: int) -> int:
        in_turn = (early, late) if self._sign > 0 else (late, early)
        if self._last_ms is None:
            return in_turn[0]
        onward = [one for one in in_turn if self._step_ms(one) >= 0]
        return min(onward, key=lambda one: abs(self._step_ms(one) - self._usual_ms), default=in_turn[1])

    def _step_ms(self, at_ms: int) -> int:
        return (at_ms - (self._last_ms or at_ms)) * self._sign
