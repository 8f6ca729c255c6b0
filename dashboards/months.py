"""A place's months on record: the moisture that the air of each would bring wood to, from how many days of record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np

from dashboards import airs, climate_entries, display
from dashboards.months_kept import Basis, Kept
from kiln import sorption
from shared.store import Connection, Store, readings
from shared.store.records import PlaceClimate, Quantity
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array, ms_from_datetime

MONTHS_SHOWN = 12
HOURS_A_DAY = 24
LONGEST_MONTH = 31
# A probe that sits stuck over the end of a month is known to be by the days beside it.
BESIDE_MS = 2 * MS_PER_DAY
SEASONS = {"Jun–Aug": (6, 7, 8), "Dec–Feb": (12, 1, 2)}
FEWEST_DAYS = 15.0  # of record in each month of a season, so that it may stand for it; judgement
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
    temperature_c: float = float("nan")  # means over the same hours
    rh_pct: float = float("nan")


class _Asked(NamedTuple):
    """One month to be worked out: start ≤ t < after, and where the record of the place ends."""

    place_id: int
    start_ms: int
    after_ms: int
    last_ms: int

    @property
    def over(self) -> bool:
        """Whether nothing that is still to come can change it."""
        return self.after_ms + BESIDE_MS <= self.last_ms

    @property
    def read_ms(self) -> tuple[int, int]:
        """The whole hours that it is worked out from."""
        first_ms = (self.start_ms - BESIDE_MS) // MS_PER_HOUR * MS_PER_HOUR
        return first_ms, min(self.after_ms + BESIDE_MS, self.last_ms)


_kept: WeakKeyDictionary[Store, Kept[Month | None]] = WeakKeyDictionary()


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
        asked = [_Asked(place_id, one, after, last_ms) for one, after in pairwise([*starts, end_ms])]
        if not asked:
            return ()
        basis = Basis(connection, where, place_id, (asked[0].read_ms[0], asked[-1].read_ms[1]))
        found = [_month_of(store, connection, where, basis, one) for one in asked]
    return tuple(replace(one, usual_emc_pct=_usual_pct(usual, one.start_ms)) for one in found if one is not None)


def _month_of(store: Store, connection: Connection, where: airs.Positions, basis: Basis, asked: _Asked) -> Month | None:
    """One month, without the usual one; None: no hour of it is on record. One that is over is kept."""
    if not asked.over:
        return _worked_out(connection, where, asked)
    kept = _kept.setdefault(store, Kept())
    key = (asked.place_id, asked.start_ms, asked.after_ms, basis.key(*asked.read_ms))
    return kept.of(key, lambda: _worked_out(connection, where, asked))


def _worked_out(connection: Connection, where: airs.Positions, asked: _Asked) -> Month | None:
    air = airs.place_air(connection, where, asked.place_id, *asked.read_ms)
    here = air.known & (air.at_ms >= asked.start_ms) & (air.at_ms < asked.after_ms)
    if not here.any():
        return None
    t, rh = air.temperature_c[here], np.clip(air.rh_pct[here], 0.0, 100.0)
    emc = sorption.emc_pct(np.clip(t, sorption.LOWEST_C, sorption.HIGHEST_C), rh)
    return Month(
        start_ms=asked.start_ms,
        emc_pct=float(emc.mean()),
        days=float(here.sum()) / HOURS_A_DAY,
        usual_emc_pct=None,
        each=tuple(_each_day(air.at_ms[here], emc, asked.start_ms, asked.after_ms)),
        temperature_c=float(t.mean()),
        rh_pct=float(rh.mean()),
    )


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


def rows(found: tuple[Month, ...]) -> tuple[tuple[str, ...], ...]:
    """Return the months as rows of text: name, mean EMC, days of record, EMC of the usual month (a dash: none), mean
    temperature and humidity.
    """
    return tuple(
        (
            name_of(one),
            display.with_unit(one.emc_pct, "%"),
            _days(one.days),
            display.with_unit(one.usual_emc_pct, "%"),
            display.with_unit(one.temperature_c, "°C"),
            display.with_unit(one.rh_pct, "%", 0),
        )
        for one in found
    )


def _days(days: float) -> str:
    whole = round(days)
    return "less than a day" if whole < 1 else f"{whole} day{'' if whole == 1 else 's'}"


def seasons(found: tuple[Month, ...]) -> str:
    """Set the middle months of the year beside the first and last: humidity and EMC. Empty where either is too little
    on record.
    """
    told = []
    for name, numbers in SEASONS.items():
        own = [one for one in found if display.local(one.start_ms).month in numbers]
        if len(own) < len(numbers) or min(one.days for one in own) < FEWEST_DAYS:
            return ""
        weights = [one.days for one in own]
        rh, emc = (float(np.average(values, weights=weights)) for values in zip(*map(_damp, own), strict=True))
        told.append(f"{name}: {display.with_unit(rh, '%', 0)} RH, EMC {display.with_unit(emc, '%')}")
    return "; ".join(told) + "."


def _damp(one: Month) -> tuple[float, float]:
    return one.rh_pct, one.emc_pct


def below(found: tuple[Month, ...]) -> tuple[str, ...]:
    """Say in which months on record the air would have brought wood below each of the levels."""
    return tuple(_below(found, level) for level in LEVELS_PCT) if found else ()


def _below(found: tuple[Month, ...], level_pct: float) -> str:
    dry = [one.emc_pct < level_pct for one in found]
    would = f"this air would have held thin wood below {level_pct:g} %"
    if not any(dry):
        return f"In none of these months {would.replace('this air would', 'would this air')}."
    if all(dry):
        return f"In each of these months {would}."
    held, not_held = (_in_months(found, dry, which) for which in (True, False))
    return f"T{would[1:]} {held}; {not_held} not."


def _in_months(found: tuple[Month, ...], dry: list[bool], which: bool) -> str:
    """The months that are dry, or not: "in December, February and from May to November". None is there twice."""
    parts: list[str] = []
    for run in _runs(found, dry):
        if dry[run[0]] is not which:
            continue
        names = [f"{display.local(found[one].start_ms):%B}" for one in run]
        parts += [f"from {names[0]} to {names[-1]}"] if len(names) > 2 else names
    named = ["from" if one.startswith("from ") else "in" for one in parts]
    return display.listed(
        [
            f"in {one}" if word == "in" and before != "in" else one
            for one, word, before in zip(parts, named, ["", *named], strict=False)
        ]
    )


def _runs(found: tuple[Month, ...], dry: list[bool]) -> list[list[int]]:
    """The months in runs that follow each other in the calendar and are alike."""
    runs: list[list[int]] = []
    for index, one in enumerate(found):
        follows = index > 0 and one.start_ms - found[index - 1].start_ms < (LONGEST_MONTH + 1) * MS_PER_DAY
        if follows and dry[index] == dry[index - 1]:
            runs[-1].append(index)
        else:
            runs.append([index])
    return runs
