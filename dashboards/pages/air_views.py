"""The drawings of a place's air with their words: temperature against humidity, and a year of days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from markupsafe import Markup

from dashboards import air_calendar, air_drawings, air_wanted, airs, display, months
from dashboards.air_calendar import Scale
from dashboards.air_drawings import Course, Spot
from dashboards.air_history import AirHistory
from dashboards.air_wanted import Wanted
from dashboards.heard import PlaceNow
from dashboards.months import Day, Month
from dashboards.situation import Situation
from kiln import sorption
from shared.errors import BadInput
from shared.store import Connection
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

NAMES_SHOWN = 6
WEEK = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True)
class SpotLine:
    """Another place's air now, as it is drawn."""

    sign: Markup = field(metadata={"help": "The shape it is drawn as"})
    shape: str = field(metadata={"help": "What that shape is called"})
    name: str = field(metadata={"help": "What the place is called"})
    link: str = field(metadata={"help": "Its page"})
    temperature: str = field(metadata={"help": "Its temperature"})
    rh: str = field(metadata={"help": "Its humidity"})
    emc: str = field(metadata={"help": "Its EMC"})


@dataclass(frozen=True)
class TradeView:
    """Temperature against humidity, with what wood makes of both."""

    drawing: Markup = field(metadata={"help": "The drawing"})
    sentence: str = field(metadata={"help": "What it shows, in words"})
    wanted: tuple[str, ...] = field(metadata={"help": "The air that the pieces here are meant for, and how this fits"})
    others: tuple[SpotLine, ...] = field(metadata={"help": "The other places, as they are drawn"})
    hours: tuple[tuple[str, ...], ...] = field(metadata={"help": "The hours drawn, as rows of text"})


@dataclass(frozen=True)
class DayCell:
    """One day of a month that is unfolded."""

    number: str = field(metadata={"help": "Its number in the month"})
    emc: str = field(metadata={"help": "Its mean EMC in %; a dash: none on record"})
    query: str = field(metadata={"help": "What asks for its chart; empty: nothing is on record"})
    few: bool = field(metadata={"help": "Whether only few of its hours are on record"})
    grain: str = field(metadata={"help": "The grain it is drawn with; empty: none"})


@dataclass(frozen=True)
class MonthView:
    """One month as a row of days."""

    name: str = field(metadata={"help": "Month and year"})
    key: str = field(metadata={"help": "By which its row is found, such as 2026-11"})
    mean: str = field(metadata={"help": "Its mean EMC, or that nothing is on record"})
    air: str = field(metadata={"help": "Its mean temperature and humidity; empty: nothing is on record"})
    drawing: Markup = field(metadata={"help": "Its days drawn; empty: nothing is on record"})
    query: str = field(metadata={"help": "What asks for the chart of all of it"})
    first_weekday: int = field(metadata={"help": "Weekday of its first day, Monday 1"})
    days: tuple[DayCell, ...] = field(metadata={"help": "Its days"})


@dataclass(frozen=True)
class YearView:
    """A year of days."""

    years: tuple[tuple[str, bool], ...] = field(metadata={"help": "Years on record, and whether each is shown"})
    latest: bool = field(metadata={"help": "Whether the last twelve months are shown, not a year"})
    legend: Markup = field(metadata={"help": "What the grains stand for"})
    scale: str = field(metadata={"help": "From what EMC to what the rows reach"})
    months: tuple[MonthView, ...] = field(metadata={"help": "The months, oldest first"})
    week: tuple[str, ...] = field(metadata={"help": "Days of the week, Monday first"})


# --- temperature against humidity ---


def course(connection: Connection, where: airs.Positions, place_id: int, end_ms: int) -> Course:
    """Return the known hours of the day that ends a span; the hour that is not over yet is told by what there is."""
    last_ms = -(-end_ms // MS_PER_HOUR) * MS_PER_HOUR
    air = airs.place_air(connection, where, place_id, last_ms - MS_PER_DAY, last_ms)
    t, rh = air.temperature_c[air.known], np.clip(air.rh_pct[air.known], 0.0, 100.0)
    return Course(air.at_ms[air.known].tolist(), t.tolist(), rh.tolist())


def means(history: AirHistory) -> str:
    """Return the mean air of a span with the least and greatest: "6.6 °C (4.1–9.0), 90 % RH (84–95), EMC 21.4 % …"."""
    if not history.heard.any():
        return ""
    t = _mean(history.temperature_c, history.temperature_low_c, history.temperature_high_c, "°C", 1)
    rh = _mean(history.rh_pct, history.rh_low_pct, history.rh_high_pct, "%", 0, " RH")
    emc = _mean(history.emc_pct, history.emc_low_pct, history.emc_high_pct, "%", 1)
    return f"{t}, {rh}, EMC {emc}"


def _mean(middle: Array, low: Array, high: Array, unit: str, decimals: int, of: str = "") -> str:
    """The mean of the steps on record, and between which single figures it lies."""
    shown = display.with_unit(float(np.nanmean(middle)), unit, decimals)
    ends = [display.number(float(one), decimals) for one in (np.nanmin(low), np.nanmax(high))]
    return f"{shown}{of} ({'–'.join(ends)})"


def spot(place: PlaceNow) -> Spot | None:
    """Return the air of a place now as a point; None where it is not known, or no longer believed."""
    air = place.air
    if air is None or not air.good:
        return None
    return Spot(place.fact.name, f"/place/{place.subject.code}", air.temperature_c, air.rh_pct)


def of_all(now: Situation) -> TradeView | None:
    """Return every place's air now; None where none is known."""
    spots = [one for one in map(spot, now.open_places) if one is not None]
    if not spots:
        return None
    wanted = air_wanted.wanted(now, -1)
    told = " ".join(f"{one.name}: {_air(one)}." for one in spots)
    sentence = f"Every place now, against the air that the pieces of the yard are meant for. {told}"
    drawing = air_drawings.trade_view(None, Course((), (), ()), spots, wanted, sentence)
    return TradeView(drawing, "", tuple(_wants(one) for one in wanted), _lines(spots), ())


def of_place(now: Situation, place: PlaceNow, history: AirHistory, last_day: Course | None) -> TradeView | None:
    """Return a place's last day before the end of a span, with the other places when that end is now: then its
    ``last_day`` is given.

    None where neither is known.
    """
    present = last_day is not None
    day = last_day
    if day is None:
        with now.store.reading() as connection:
            day = course(connection, airs.positions(connection), place.subject.id, history.end_ms)
    here = spot(place) if present else None
    others = [
        one for one in map(spot, now.open_places) if one is not None and one.link != f"/place/{place.subject.code}"
    ]
    others = others if present else []
    if here is None and not day.at_ms:
        return None
    wanted = air_wanted.wanted(now, place.subject.id)
    sentence = _sentence(place, here, day)
    told = tuple(air_wanted.told(history, one) + _pieces(one) for one in wanted)
    drawing = air_drawings.trade_view(here, day, others, wanted, " ".join([sentence, *(_wants(one) for one in wanted)]))
    return TradeView(drawing, sentence, told, _lines(others), _hours(day))


def _sentence(place: PlaceNow, here: Spot | None, day: Course) -> str:
    told = [f"{place.fact.name} now: {_air(here)}."] if here is not None else []
    if day.at_ms:
        ends = [(min(one), max(one)) for one in (day.temperature_c, day.rh_pct)]
        (low_c, high_c), (low_rh, high_rh) = ends
        count = len(day.at_ms)
        when = "the last 24 hours" if here is not None else f"the 24 hours until {display.moment(day.at_ms[-1])}"
        # The hour that is not over yet may have no reading so far.
        some = "" if count >= months.HOURS_A_DAY - 1 else f" ({count} of them on record)"
        told.append(
            f"In {when}{some} it went from {display.with_unit(low_c, '°C')} to {display.with_unit(high_c, '°C')} and "
            f"from {display.with_unit(low_rh, '%', 0)} to {display.with_unit(high_rh, '%', 0)} RH."
        )
    return " ".join(told)


def _emc(one: Spot) -> str:
    """The EMC of air; a dash where the sorption equation does not reach, at least so much near saturation."""
    if not sorption.LOWEST_C <= one.temperature_c <= sorption.HIGHEST_C:
        return display.NOTHING
    shown = display.with_unit(float(sorption.emc_pct(one.temperature_c, one.rh_pct)), "%")
    return f"at least {shown}" if sorption.near_saturation(one.rh_pct) else shown


def _air(one: Spot) -> str:
    t, rh = display.with_unit(one.temperature_c, "°C"), display.with_unit(one.rh_pct, "%", 0)
    return f"{t}, {rh} RH, EMC {_emc(one)}"


def _wants(one: Wanted) -> str:
    t, rh = display.with_unit(one.temperature_c, "°C", 0), display.with_unit(one.rh_pct, "%", 0)
    return f"{one.label} wants {rh} RH at {t}, or other air that holds wood at {one.span}."


def _pieces(one: Wanted) -> str:
    if not one.pieces:
        return " No piece for it lies here."
    shown = list(one.pieces[:NAMES_SHOWN])
    more = len(one.pieces) - len(shown)
    return f" Pieces for it that lie here: {display.listed([*shown, f'{more} more'] if more else shown)}."


def _lines(spots: Sequence[Spot]) -> tuple[SpotLine, ...]:
    return tuple(
        SpotLine(
            sign=air_drawings.sign(index),
            shape=air_drawings.shape_name(index),
            name=one.name,
            link=one.link,
            temperature=display.with_unit(one.temperature_c, "°C"),
            rh=display.with_unit(one.rh_pct, "%", 0),
            emc=_emc(one),
        )
        for index, one in enumerate(spots)
    )


def _hours(day: Course) -> tuple[tuple[str, ...], ...]:
    return tuple(
        (
            display.moment(at_ms),
            display.with_unit(t, "°C"),
            display.with_unit(rh, "%", 0),
            _emc(Spot("", "", t, rh)),
        )
        for at_ms, t, rh in zip(day.at_ms, day.temperature_c, day.rh_pct, strict=True)
    )


# --- a year of days ---


def year_asked(typed: str) -> int | None:
    """Return the year that was asked for; None: the last twelve months. Raises BadInput for what is no year."""
    if not typed:
        return None
    if not (typed.isascii() and typed.isdigit() and 1900 <= int(typed) <= 9998):
        raise BadInput("year", typed[:20], "a year such as 2026, from 1900 on")
    return int(typed)


def of_year(known: Sequence[int], year: int | None, found: Sequence[Month]) -> YearView | None:
    """Return the months found as rows of days, ``known``: the years on record; None where nothing ever was."""
    if not known:
        return None
    scale = air_calendar.scale([day for one in found for day in one.each])
    return YearView(
        years=tuple((str(one), one == year) for one in reversed(known)),
        latest=year is None,
        legend=air_calendar.legend(),
        scale=scale.words,
        months=tuple(_rows(found, scale)),
        week=WEEK,
    )


def _rows(found: Sequence[Month], scale: Scale) -> list[MonthView]:
    """The months, those that were left out in between as rows without days."""
    rows: list[MonthView] = []
    for one in found:
        if rows:
            rows += [_empty(start_ms) for start_ms in _between(rows[-1].key, one.start_ms)]
        rows.append(_month(one, scale))
    return rows


def _between(key: str, until_ms: int) -> list[int]:
    year, month = map(int, key.split("-"))
    starts = []
    while True:
        year, month = (year, month + 1) if month < months.MONTHS_SHOWN else (year + 1, 1)
        start_ms = months.month_ms(year, month)
        if start_ms >= until_ms:
            return starts
        starts.append(start_ms)


def _empty(start_ms: int) -> MonthView:
    at = display.local(start_ms)
    return MonthView(f"{at:%B %Y}", f"{at:%Y-%m}", "nothing on record", "", Markup(""), "", 1, ())


def _month(one: Month, scale: Scale) -> MonthView:
    at, mean = display.local(one.start_ms), display.with_unit(one.emc_pct, "%")
    heard = [day for day in one.each if day.hours]
    low, high = min(day.emc_pct for day in heard), max(day.emc_pct for day in heard)
    label = (
        f"{months.name_of(one)}: mean EMC {mean}, days from {display.number(low)} to {display.number(high)} %; "
        f"{len(heard)} of {len(one.each)} days on record"
    )
    last = display.local(one.each[-1].start_ms)
    return MonthView(
        name=months.name_of(one),
        key=f"{at:%Y-%m}",
        mean=mean,
        air=f"{display.with_unit(one.temperature_c, '°C')} · {display.with_unit(one.rh_pct, '%', 0)} RH",
        drawing=air_calendar.month_row(one.each, label, scale),
        query=f"from={at:%Y-%m-%d}&to={last:%Y-%m-%d}",
        first_weekday=at.weekday() + 1,
        days=tuple(_cell(day) for day in one.each),
    )


def _cell(one: Day) -> DayCell:
    at = display.local(one.start_ms)
    date = f"{at:%Y-%m-%d}"
    return DayCell(
        number=str(at.day),
        emc=display.number(one.emc_pct),
        query=f"from={date}&to={date}" if one.hours else "",
        few=0 < one.hours < air_calendar.FEW_HOURS,
        grain=air_calendar.grain(one.emc_pct) if one.hours else "",
    )
