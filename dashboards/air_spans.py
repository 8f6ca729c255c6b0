"""Which span of time a chart of air shows: the last days, all on record, or from one date to another."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from dashboards import airs, display, fields
from shared.errors import BadInput
from shared.store import Store
from shared.units import MS_PER_DAY, ms_from_datetime

ALL = "all"
TEN_YEARS_DAYS = 3652
OFFERED = {"1": "1 day", "7": "7 days", "30": "30 days", "365": "1 year", str(TEN_YEARS_DAYS): "10 years", ALL: "all"}
USUAL = "7"
DATE_ACCEPTED = "a date that has come, such as 2026-01-31, from 1900 on"


@dataclass(frozen=True)
class Span:
    """A span of time, start ≤ t < end, and how it was asked for."""

    start_ms: int
    end_ms: int
    asked: str  # one of OFFERED; empty: from one date to another

    @property
    def query(self) -> str:
        """What stands behind the ? of its address."""
        return f"days={self.asked}" if self.asked else f"from={self.first_day}&to={self.last_day}"

    @property
    def first_day(self) -> str:
        """Its first day, as a date field takes it."""
        return f"{display.local(self.start_ms):%Y-%m-%d}"

    @property
    def last_day(self) -> str:
        """Its last day, as a date field takes it."""
        return f"{display.local(self.end_ms - 1):%Y-%m-%d}"

    @property
    def words(self) -> str:
        """The span in words: "Last 7 days", "3 Jan 2026 to 1 Mar 2026"."""
        if self.asked == ALL:
            return f"All on record, since {_day(self.start_ms)}"
        if self.asked:
            return f"Last {OFFERED[self.asked].removeprefix('1 ')}"
        first, last = _day(self.start_ms), _day(self.end_ms - 1)
        return first if first == last else f"{first} to {last}"


def span_of(store: Store, place_id: int, now_ms: int, days: str = "", first: str = "", last: str = "") -> Span:
    """Return the span that was asked for: two dates, both days included, go before ``days``.

    Raises BadInput for a length that is not offered and for dates that cannot be: one sentence, naming the field.
    """
    if first or last:
        return _between(now_ms, first, last)
    asked = str(days or USUAL)
    if asked not in OFFERED:
        raise BadInput("days", asked, ", ".join(OFFERED))
    start_ms = _begin_ms(store, place_id, now_ms) if asked == ALL else now_ms - int(asked) * MS_PER_DAY
    return Span(start_ms, now_ms, asked)


def _begin_ms(store: Store, place_id: int, now_ms: int) -> int:
    """When the air of a place was first logged; a day ago where it never was, or only since."""
    with store.reading() as connection:
        first_ms = airs.first_air_ms(connection, airs.positions(connection), place_id)
    return min(now_ms - MS_PER_DAY, now_ms if first_ms is None else first_ms)


def _between(now_ms: int, first: str, last: str) -> Span:
    today = f"{display.local(now_ms):%Y-%m-%d}"
    begin, until = _date("from", first or last, now_ms), _date("to", last or today, now_ms)
    if until < begin:
        raise BadInput("to", last, f"a date not before {first}")
    return Span(_midnight_ms(begin), min(_midnight_ms(until + timedelta(days=1)), now_ms), "")


def _date(field: str, typed: str, now_ms: int) -> datetime:
    try:
        midnight = datetime.strptime(typed.strip(), "%Y-%m-%d")  # noqa: DTZ007 - a day by the clock of this machine
        at_ms = ms_from_datetime(midnight.astimezone())
    except (ValueError, OverflowError):
        raise BadInput(field, typed[:40], DATE_ACCEPTED) from None
    if not fields.OLDEST_MS <= at_ms < now_ms:
        raise BadInput(field, typed, DATE_ACCEPTED)
    return midnight


def _midnight_ms(day: datetime) -> int:
    return ms_from_datetime(day.astimezone())


def midnight_ms(at_ms: int) -> int:
    """Return the beginning of the day of a moment, by the clock of this machine."""
    return _midnight_ms(display.local(at_ms).replace(tzinfo=None, hour=0, minute=0, second=0, microsecond=0))


def _day(at_ms: int) -> str:
    at = display.local(at_ms)
    return f"{at.day} {at:%b %Y}"


def earlier(span: Span) -> str:
    """Return the query of the span before: as many days, the last of them the day before this one began.

    Empty where all is shown already.
    """
    if span.asked == ALL:
        return ""
    begin = display.local(span.start_ms).replace(tzinfo=None)
    first, last = begin - timedelta(days=_days(span)), begin - timedelta(days=1)
    known = ms_from_datetime(first.astimezone()) >= fields.OLDEST_MS
    return f"from={first:%Y-%m-%d}&to={last:%Y-%m-%d}" if known else ""


def later(span: Span, now_ms: int) -> str:
    """Return the query of the span after; empty when it has not come yet."""
    if span.asked:
        return ""
    today = display.local(now_ms).replace(tzinfo=None, hour=0, minute=0, second=0, microsecond=0)
    first = display.local(span.end_ms - 1).replace(tzinfo=None, hour=0, minute=0, second=0, microsecond=0)
    first += timedelta(days=1)
    last = first + timedelta(days=_days(span) - 1)
    if first > today:
        return ""
    return f"from={first:%Y-%m-%d}&to={min(last, today):%Y-%m-%d}"


def _days(span: Span) -> int:
    return max(1, round((span.end_ms - span.start_ms) / MS_PER_DAY))
