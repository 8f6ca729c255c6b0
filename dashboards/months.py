"""A place's months on record: the moisture that the air of each would bring wood to, from how many days of record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

import numpy as np

from dashboards import airs, climate_entries, display
from kiln import sorption
from shared.store import Connection, Store, readings
from shared.store.records import PlaceClimate, Quantity
from shared.units import MS_PER_HOUR, Array, ms_from_datetime

MONTHS_SHOWN = 12
HOURS_A_DAY = 24
LONGEST_MONTH = 31
LEVELS_PCT = (
    20.0,
    12.0,
)  # below which wood is brought in, and is dry enough for indoor work; common practice, no source


@dataclass(frozen=True)
class Day:
    """One day of a place's air, by the clock of this machine: EMC [%MC] over its hours on record; NaN where none is."""

    start_ms: int
    emc_pct: float  # mean
    low_pct: float  # least and greatest hour
    high_pct: float
    hours: int  # of record


@dataclass(frozen=True)
class Month:
    """One month of a place's air."""

    start_ms: int
    emc_pct: float  # mean over the hours on record [%MC]
    days: float  # of record
    usual_emc_pct: float | None  # by the usual temperature and humidity of that month; None: not entered
    each: tuple[Day, ...] = ()  # every day of it, until the record ends


def months(store: Store, place_id: int, now_ms: int, year: int | None = None) -> tuple[Month, ...]:
    """Return the months of a year, or the last twelve, of a place on record, oldest first; those without any hour are
    left out.

    The air of each hour is that of the hourly summaries of the probes that were there, as their checks correct them.
    """
    with store.reading() as connection:
        where, usual = airs.positions(connection), climate_entries.held(connection, place_id)
        last_ms = _end_ms(connection, where, place_id, now_ms)
        if last_ms is None:
            return ()
        starts, end_ms = _asked(last_ms, year)
        if not starts:
            return ()
        air = airs.place_air(connection, where, place_id, starts[0] // MS_PER_HOUR * MS_PER_HOUR, end_ms)
    emc = sorption.emc_pct(
        np.clip(air.temperature_c, sorption.LOWEST_C, sorption.HIGHEST_C), np.clip(air.rh_pct, 0.0, 100.0)
    )
    found = []
    for start_ms, after_ms in zip(starts, [*starts[1:], end_ms], strict=True):
        here = air.known & (air.at_ms >= start_ms) & (air.at_ms < after_ms)
        if here.any():
            days = float(here.sum()) / HOURS_A_DAY
            each = tuple(_each_day(air.at_ms[here], emc[here], start_ms, after_ms))
            found.append(Month(start_ms, float(emc[here].mean()), days, _usual_pct(usual, start_ms), each))
    return tuple(found)


def years(store: Store, place_id: int, now_ms: int) -> tuple[int, ...]:
    """Return the years, by the clock of this machine, from the first to the last air of a place on record."""
    with store.reading() as connection:
        where = airs.positions(connection)
        first_ms, last_ms = airs.first_air_ms(connection, where, place_id), _end_ms(connection, where, place_id, now_ms)
    if first_ms is None or last_ms is None:
        return ()
    return tuple(range(display.local(first_ms).year, display.local(last_ms - 1).year + 1))


def _asked(last_ms: int, year: int | None) -> tuple[list[int], int]:
    """The first moments of the months asked for, and where they end: with the record at the latest."""
    if year is None:
        return list(_starts_ms(last_ms)), last_ms
    every = [month_ms(year, month) for month in range(1, MONTHS_SHOWN + 1)]
    return [one for one in every if one < last_ms], min(last_ms, month_ms(year + 1, 1))


def month_ms(year: int, month: int) -> int:
    """Return the first moment of a month, by the clock of this machine."""
    return ms_from_datetime(datetime(year, month, 1).astimezone())


def _each_day(at_ms: Array, emc_pct: Array, start_ms: int, after_ms: int) -> Iterator[Day]:
    """The days of a month; ``at_ms`` and ``emc_pct`` are its known hours."""
    first = display.local(start_ms).replace(tzinfo=None)
    day_ms = start_ms
    for number in range(1, LONGEST_MONTH + 1):
        if day_ms >= after_ms:
            return
        next_ms = ms_from_datetime((first + timedelta(days=number)).astimezone())
        hours = emc_pct[(at_ms >= day_ms) & (at_ms < next_ms)]
        told = (float(hours.mean()), float(hours.min()), float(hours.max())) if len(hours) else (float("nan"),) * 3
        yield Day(day_ms, *told, len(hours))
        day_ms = next_ms


def _end_ms(connection: Connection, where: airs.Positions, place_id: int, now_ms: int) -> int | None:
    """The end of the last hour in which a probe of a place was heard there; None: none ever was."""
    ends = []
    for probe_id, begin_ms, finish_ms in where.probes_of(place_id):
        for series in readings.all_series(connection):
            last = readings.latest(connection, series.id) if series.probe_id == probe_id else None
            if last is not None and series.quantity is Quantity.RH_PCT and last.at_ms >= begin_ms:
                ends.append(min(last.at_ms, finish_ms, now_ms))
    return max(ends) // MS_PER_HOUR * MS_PER_HOUR + MS_PER_HOUR if ends else None


def _starts_ms(end_ms: int) -> Iterator[int]:
    """The first moments of the month that ends the record and of the eleven before it, by the clock of this machine."""
    last = display.local(end_ms - 1)
    for back in reversed(range(MONTHS_SHOWN)):
        year, month = divmod(last.year * MONTHS_SHOWN + last.month - 1 - back, MONTHS_SHOWN)
        yield month_ms(year, month + 1)


def _usual_pct(usual: PlaceClimate | None, start_ms: int) -> float | None:
    if usual is None:
        return None
    index = display.local(start_ms).month - 1
    t = min(max(usual.temperature_c[index], sorption.LOWEST_C), sorption.HIGHEST_C)
    return float(sorption.emc_pct(t, usual.rh_pct[index]))


def name_of(one: Month) -> str:
    """Return a month as "November 2026"."""
    return f"{display.local(one.start_ms):%B %Y}"


def rows(found: tuple[Month, ...]) -> tuple[tuple[str, str, str, str], ...]:
    """Return the months as rows of text: name, mean EMC, days of record, EMC of the usual month (a dash: none)."""
    return tuple(
        (
            name_of(one),
            display.with_unit(one.emc_pct, "%"),
            _days(one.days),
            display.with_unit(one.usual_emc_pct, "%"),
        )
        for one in found
    )


def _days(days: float) -> str:
    whole = round(days)
    return "less than a day" if whole < 1 else f"{whole} day{'' if whole == 1 else 's'}"


def below(found: tuple[Month, ...]) -> tuple[str, ...]:
    """Say in which months on record the air would have brought wood below each of the levels."""
    return tuple(_below(found, level) for level in LEVELS_PCT) if found else ()


def _below(found: tuple[Month, ...], level_pct: float) -> str:
    runs = [list(run) for is_below, run in groupby(found, key=lambda one: one.emc_pct < level_pct) if is_below]
    if not runs:
        return f"In none of these months would this air have held wood below {level_pct:g} %."
    if len(runs[0]) == len(found):
        return f"In each of these months this air would have held wood below {level_pct:g} %."
    told = [name_of(run[0]) if len(run) == 1 else f"{name_of(run[0])} to {name_of(run[-1])}" for run in runs]
    return f"Below {level_pct:g} %: {display.listed(told)}; not in the others."
