"""What is asked of readings again and again, each question put together once: that costs more than its answer.

Parameters: ``series`` is a series' number; moments are UTC ms.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from sqlalchemy import Select, Table, bindparam, func, select

from shared.store import schema as s
from shared.store.records import Quality
from shared.units import MS_PER_DAY, MS_PER_HOUR

_SERIES: Any = bindparam("series")


@cache
def newest(quality: Quality | None) -> Select[Any]:
    """Ask for a series' newest reading, or the newest of a quality."""
    own = select(s.reading).where(s.reading.c.series_id == _SERIES).order_by(s.reading.c.at_ms.desc()).limit(1)
    if quality is None:
        return own
    flagged = own.where(s.reading.c.quality == int(quality))
    return flagged.where(s.reading.c.at_ms < _end_of_the_last_good_day()) if quality is Quality.GOOD else flagged


def _end_of_the_last_good_day() -> Any:
    """Where to begin to look for a good reading: a probe may have been stuck for months since."""
    day = s.tier_day.c
    last = select(day.bucket_ms).where((day.series_id == _SERIES) & (day.n > 0))
    return last.order_by(day.bucket_ms.desc()).limit(1).scalar_subquery() + MS_PER_DAY


@cache
def newest_times() -> Select[Any]:
    """Ask for the times of a series' newest readings, ``most`` of them."""
    own = select(s.reading.c.at_ms).where(s.reading.c.series_id == _SERIES)
    return own.order_by(s.reading.c.at_ms.desc()).limit(bindparam("most"))


@cache
def summaries(tier: Table) -> Select[Any]:
    """Ask for a series' summaries from ``first`` to ``last``, both included."""
    one = tier.c
    inside = (one.series_id == _SERIES) & one.bucket_ms.between(bindparam("first"), bindparam("last"))
    return select(one.bucket_ms, one.n, one.low, one.high, one.total, one.bad).where(inside).order_by(one.bucket_ms)


@cache
def flags() -> Select[Any]:
    """Ask how many of a series' readings since ``since`` carry each flag but GOOD; ``first``: the hour of that.

    The summaries tell which hours hold any, so that a week of good readings is not gone through for nothing.
    """
    hour, reading = s.tier_hour.c, s.reading.c
    troubled = (hour.series_id == _SERIES) & (hour.bucket_ms >= bindparam("first")) & (hour.bad > 0)
    within = reading.at_ms.between(hour.bucket_ms, hour.bucket_ms + (MS_PER_HOUR - 1))
    joined = s.tier_hour.join(s.reading, (reading.series_id == hour.series_id) & within)
    flagged = (reading.at_ms >= bindparam("since")) & (reading.quality != int(Quality.GOOD))
    counted = select(reading.quality, func.count()).select_from(joined)
    return counted.where(troubled & flagged).group_by(reading.quality)
