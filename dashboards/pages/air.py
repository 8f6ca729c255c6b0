"""The air: every place now, and one place over a span of time."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from markupsafe import Markup

from dashboards import air_charts, air_drawings, air_history, air_spans, airs, charts, climate_entries, display, months
from dashboards.air_charts import Mark
from dashboards.air_drawings import Course
from dashboards.air_history import AirHistory
from dashboards.air_spans import Span
from dashboards.heard import AirNow, PlaceNow
from dashboards.pages import air_checks, air_views, climate_forms, entry_forms
from dashboards.pages.air_checks import ProbeChecks, ProbeLine
from dashboards.pages.air_views import TradeView, YearView
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine, Link
from dashboards.situation import Situation
from kiln import sorption
from kiln.records import Z80
from kiln.spans import span_words
from shared.store import Store
from shared.store.records import PlaceClimate, PlaceKind
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

TABLE_ROWS = 31
NO_READINGS = "no readings"
LONGEST_DAY_MS = 25 * MS_PER_HOUR  # the one on which clocks go back
MOST_UNFOLDED = 3  # of things in a list that is no figure: a phone has no room for more


@dataclass(frozen=True)
class PlaceView:
    """One place now."""

    name: str = field(metadata={"help": "What the place is called"})
    code: str = field(metadata={"help": "Its code"})
    kind: str = field(metadata={"help": "Yard, shed, room, kiln or finish room"})
    temperature: str = field(metadata={"help": "Dry-bulb temperature"})
    rh: str = field(metadata={"help": "Relative humidity"})
    rh_band: str = field(metadata={"help": "How far the humidity may be off; empty: not known"})
    emc: str = field(metadata={"help": "Moisture that this air leads wood to"})
    emc_band: str = field(metadata={"help": "From where to where that moisture may lie; empty: not known"})
    dew_point: str = field(metadata={"help": "Dew point"})
    wet_bulb: str = field(metadata={"help": "Wet bulb at the place's height above the sea"})
    age: str = field(metadata={"help": "Age of the oldest of these readings; or that none is known"})
    believed: bool = field(metadata={"help": "Whether a believed probe stands behind it"})
    note: str = field(metadata={"help": "Why it is doubted, or that probes disagree; empty when neither"})
    probes: tuple[ProbeLine, ...] = field(metadata={"help": "The probes that hang there, each with its own age"})
    line: Markup = field(metadata={"help": "Its EMC over the last 24 hours, drawn; empty: nothing on record"})
    reach: str = field(metadata={"help": "Least and greatest EMC of these hours; empty: nothing on record"})
    silent: str = field(metadata={"help": "That no air was ever heard here, and what to do; empty: some was"})


@dataclass(frozen=True)
class AirPage:
    """Everything that air.html may use."""

    places: tuple[PlaceView, ...] = field(metadata={"help": "Every place in the order it was entered"})
    trade: TradeView | None = field(metadata={"help": "All of them by temperature and humidity; None: none is known"})


@dataclass(frozen=True)
class SpanLink:
    """A span that can be chosen."""

    text: str = field(metadata={"help": "What it is called"})
    query: str = field(metadata={"help": "What asks for it"})
    current: bool = field(metadata={"help": "Whether it is shown"})


@dataclass(frozen=True)
class PlacePage:
    """Everything that place.html may use."""

    place: PlaceView = field(metadata={"help": "The place now"})
    moves: str = field(metadata={"help": "Speed of its air over the wood, and that sun reaches it; empty: not said"})
    span: str = field(metadata={"help": "The span of the chart in words"})
    means: str = field(metadata={"help": "Its mean air with least and greatest; empty: nothing on record in it"})
    step: str = field(metadata={"help": 'What earlier and later go by, " day"; empty: as many days as the span has'})
    heard: bool = field(metadata={"help": "Whether any air of the place is on record"})
    query: str = field(metadata={"help": "What asks for the span of the chart"})
    spans: tuple[SpanLink, ...] = field(metadata={"help": "Spans that can be chosen"})
    earlier: str = field(metadata={"help": "What asks for the span before; empty: none"})
    later: str = field(metadata={"help": "What asks for the span after; empty: it has not come yet"})
    first_day: str = field(metadata={"help": "First day of the span, as a date field takes it"})
    last_day: str = field(metadata={"help": "Last day of the span, as a date field takes it"})
    today: str = field(metadata={"help": "Today, as a date field takes it"})
    here: tuple[Link, ...] = field(metadata={"help": "Stacks and loose boards that are here"})
    many_here: bool = field(metadata={"help": "Whether these are so many that they are folded"})
    table: tuple[tuple[str, ...], ...] = field(metadata={"help": "The chart as rows of text, gaps among them"})
    revision: str = field(metadata={"help": "Changes whenever the chart has to be drawn anew"})
    source: str = field(metadata={"help": "Which probes the chart rests on"})
    drawn: str = field(metadata={"help": "What its lines and bands are"})
    gaps: str = field(metadata={"help": "The times without readings; empty: none"})
    marks: tuple[tuple[str, str, str], ...] = field(
        metadata={"help": "What changed behind the air: letter on the chart, day, what happened"}
    )
    many_marks: bool = field(metadata={"help": "Whether these are so many that they are folded"})
    trade: TradeView | None = field(metadata={"help": "Its last day by temperature and humidity; None: not known"})
    year: YearView | None = field(metadata={"help": "Its days, month by month; None: nothing on record"})
    checks: tuple[ProbeChecks, ...] = field(metadata={"help": "Checks of the probes that hang there"})
    months: tuple[tuple[str, ...], ...] = field(metadata={"help": "Its usual months as rows of text; empty: none"})
    on_record: tuple[tuple[str, ...], ...] = field(
        metadata={"help": "The months on record: name, mean EMC, days of record, usual EMC, mean temperature, mean RH"}
    )
    seasons: str = field(metadata={"help": "Air of summer beside winter; empty: too little on record"})
    below: tuple[str, ...] = field(metadata={"help": "In which of these months wood would be held below 20 and 12 %"})
    climate: EntryLine | None = field(metadata={"help": "Whose figures the usual months are; None: not entered"})
    forms: tuple[Form, ...] = field(metadata={"help": "Its usual months, correcting and closing the place"})
    finish_path: str = field(metadata={"help": "Page of what is sprayed there; empty: it is no finish room"})


class Asked(NamedTuple):
    """What of a place's air was asked for."""

    span: Span
    year: int | None  # whose days are shown; None: the last twelve months


def place_view(place: PlaceNow, now_ms: int, day: Course) -> PlaceView:
    """Return one place as it is now, ``day``: its last 24 hours."""
    air = place.air
    note = ""
    if air is not None:
        note = air.note if air.good else "No probe here is believed at the moment; these are the last figures heard."
    if place.fact.closed:
        note = "This place is closed; its history stays."
    emc, emc_band = _emc(air)
    lines = air_checks.probe_lines(place, now_ms)
    return PlaceView(
        name=place.fact.name,
        code=place.subject.code,
        kind=place.fact.kind.value,
        temperature=display.with_unit(air.temperature_c if air else None, "°C"),
        rh=display.with_unit(air.rh_pct if air else None, "%", 0),
        rh_band=f"± {display.number(Z80 * air.rh_error_pct, 0)}" if air else "",
        emc=emc,
        emc_band=emc_band,
        dew_point=display.with_unit(air.dew_point_c if air else None, "°C"),
        wet_bulb=display.with_unit(air.wet_bulb_c if air else None, "°C"),
        age=display.age(air.at_ms, now_ms) if air else "no air logged here yet",
        believed=bool(air and air.good),
        note=note,
        probes=lines,
        line=air_drawings.day_line(day, now_ms - MS_PER_DAY, now_ms),
        reach=air_drawings.day_reach(day),
        silent=_silent(place, lines) if air is None else "",
    )


def _silent(place: PlaceNow, lines: tuple[ProbeLine, ...]) -> str:
    if place.fact.closed:
        return "No air is heard here."
    if lines:
        names = display.listed([one.name for one in lines])
        hang = "hangs here and has" if len(lines) == 1 else "hang here and have"
        return f"{names} {hang} not been heard yet."
    return "No probe hangs here. One that publishes temperature and humidity shows up by itself among the probes."


def _emc(air: AirNow | None) -> tuple[str, str]:
    """The EMC and its band; near saturation no more than a least one can be told."""
    if air is None or not np.isfinite(air.emc_pct):
        return display.NOTHING, ""
    low, high = (display.number(max(0.0, air.emc_pct + end * air.emc_error_pct)) for end in (-1, 1))
    shown = display.with_unit(air.emc_pct, "%")
    if sorption.near_saturation(air.rh_pct):
        return f"at least {shown}", f"from {low} up"
    return shown, f"{low}–{high}"


def air_page(now: Situation) -> AirPage:
    """Fill the page of all air."""
    with now.store.reading() as connection:
        where = airs.positions(connection)
        days = [air_views.course(connection, where, place.subject.id, now.now_ms) for place in now.open_places]
    places = tuple(place_view(one, now.now_ms, day) for one, day in zip(now.open_places, days, strict=True))
    return AirPage(places, air_views.of_all(now))


def place_page(
    now: Situation, place: PlaceNow, store: Store, asked: Asked, by: str, attempt: Attempt | None
) -> PlacePage:
    """Fill the page of one place."""
    code, span, here = place.subject.code, asked.span, place.subject.id
    history = history_of(store, place, span)
    climate = climate_of(store, place)
    on_record = months.months(store, here, now.now_ms, asked.year)
    known_years = months.years(store, here, now.now_ms)
    forms = (
        climate_forms.climate(code, by, climate),
        entry_forms.change_place(place, by),
        entry_forms.close_place(code, by),
    )
    lying = _lying(now, here)
    with store.reading() as connection:
        last_day = air_views.course(connection, airs.positions(connection), here, now.now_ms)
        checks = air_checks.checks_of(connection, place, now.now_ms)
        marks = air_checks.marks(connection, here, span.start_ms, span.end_ms)
    return PlacePage(
        place=place_view(place, now.now_ms, last_day),
        moves=_moves(place),
        span=span.words,
        means=air_views.means(history),
        step=" day" if span.end_ms - span.start_ms <= LONGEST_DAY_MS else "",
        heard=bool(known_years),
        query=span.query,
        spans=tuple(SpanLink(text, f"days={key}", key == span.asked) for key, text in air_spans.OFFERED.items()),
        earlier=air_spans.earlier(span),
        later=air_spans.later(span, now.now_ms),
        first_day=span.first_day,
        last_day=span.last_day,
        today=f"{display.local(now.now_ms):%Y-%m-%d}",
        here=lying,
        many_here=len(lying) > MOST_UNFOLDED,
        table=_table(history, now.now_ms),
        source=_source(history, span),
        drawn=air_charts.how_drawn(history),
        gaps=_gaps(history, now.now_ms),
        marks=tuple((one.letter, display.day(one.at_ms, now.now_ms), one.sentence) for one in marks),
        many_marks=len(marks) > MOST_UNFOLDED,
        revision=_revision(place, span, marks),
        trade=air_views.of_place(now, place, history, last_day if span.asked else None),
        year=air_views.of_year(known_years, asked.year, on_record),
        checks=checks,
        months=climate_forms.rows(climate),
        on_record=months.rows(on_record),
        seasons=months.seasons(on_record),
        below=months.below(on_record),
        climate=climate_forms.entry_line(climate),
        forms=tuple(shown_again(form, attempt) for form in forms),
        finish_path=f"/finish/room/{place.subject.code}" if place.fact.kind is PlaceKind.FINISH_ROOM else "",
    )


def _revision(place: PlaceNow, span: Span, marks: tuple[Mark, ...]) -> str:
    """A chart of days that are over changes only with the instruments; one until now with every ten minutes of air."""
    newest = place.air.at_ms // (10 * MS_PER_MINUTE) if place.air and span.asked else 0
    return f"{span.query}-{newest}-{len(marks)}"


def _lying(now: Situation, place_id: int) -> tuple[Link, ...]:
    stacks = [Link(f"stack {s.fact.name}", f"/stack/{s.subject.code}") for s in now.stacks if s.place_id == place_id]
    boards = [
        Link(f"board {b.fact.name}", f"/board/{b.subject.code}")
        for b in now.boards
        if b.place_id == place_id and b.stack_id is None
    ]
    return tuple(stacks + boards)


def _moves(place: PlaceNow) -> str:
    speed, said = place.fact.air_speed_m_s, []
    if speed is not None:
        said.append(f"air at {speed:g} m/s over the wood")
    if place.fact.in_sun:
        said.append("sun reaches the wood")
    return " · ".join(said)


def history_of(store: Store, place: PlaceNow, span: Span) -> AirHistory:
    """Return the air of a place over a span."""
    return air_history.air_history(store, place.subject.id, span.start_ms, span.end_ms)


def climate_of(store: Store, place: PlaceNow) -> PlaceClimate | None:
    """Return the usual months of a place; None: nobody entered them."""
    with store.reading() as connection:
        return climate_entries.held(connection, place.subject.id)


def air_figure(store: Store, place: PlaceNow, span: Span) -> charts.Figure:
    """Return the chart of a place's air."""
    with store.reading() as connection:
        marks = air_checks.marks(connection, place.subject.id, span.start_ms, span.end_ms)
    return air_charts.air_figure(history_of(store, place, span), marks)


def _source(history: AirHistory, span: Span) -> str:
    heard = display.listed(history.probes) if history.probes else "no probe"
    return f"{span.words}: temperature, humidity, EMC and dew point, from {heard}."


def _gaps(history: AirHistory, now_ms: int) -> str:
    found = air_history.gaps(history)
    if not found:
        return ""
    told = [f"{_when(history, start, now_ms)} ({span_words(end - start)})" for start, end in found[:TABLE_ROWS]]
    more = len(found) - len(told)
    return f"No readings from {display.listed([*told, f'{more} times more'] if more else told)}."


def _when(history: AirHistory, at_ms: int, now_ms: int) -> str:
    return display.day(at_ms, now_ms) if history.span_ms >= MS_PER_DAY else display.moment(at_ms)


def _table(history: AirHistory, now_ms: int) -> tuple[tuple[str, ...], ...]:
    heard = np.flatnonzero(history.heard)
    rows = [
        (int(history.at_ms[index]), _row(history, index, now_ms))
        for index in (heard[one] for one in charts.thinned(len(heard), TABLE_ROWS))
    ]
    for start_ms, end_ms in air_history.gaps(history):
        told = f"{NO_READINGS} for {span_words(end_ms - start_ms)}"
        rows.append((start_ms, (_when(history, start_ms, now_ms), told, *[display.NOTHING] * 3)))
    return tuple(row for _, row in sorted(rows))


def _row(history: AirHistory, index: int, now_ms: int) -> tuple[str, ...]:
    return (
        _when(history, int(history.at_ms[index]), now_ms),
        display.with_unit(history.temperature_c[index], "°C"),
        display.with_unit(history.rh_pct[index], "%", 0),
        display.with_unit(history.emc_pct[index], "%"),
        display.with_unit(history.dew_point_c[index], "°C"),
    )
