"""The air: every place now, and one place over a span of time."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from dashboards import air_history, charts, climate_entries, display, months
from dashboards.air_history import AirHistory
from dashboards.heard import PlaceNow
from dashboards.pages import climate_forms, entry_forms
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine, Link
from dashboards.situation import Situation
from kiln.records import Z80
from shared.errors import BadInput
from shared.store import Store
from shared.store.records import PlaceClimate
from shared.units import MS_PER_DAY, MS_PER_MINUTE

SPANS_DAYS = (1, 7, 30, 365)
USUAL_SPAN_DAYS = 7
UNCHECKED = "No valid check of its hygrometer: the band is wider for it."
TABLE_ROWS = 31


@dataclass(frozen=True)
class PlaceView:
    """One place now."""

    name: str = field(metadata={"help": "What the place is called"})
    code: str = field(metadata={"help": "Its code"})
    kind: str = field(metadata={"help": "Yard, shed, room, kiln or finish room"})
    temperature: str = field(metadata={"help": "Dry-bulb temperature"})
    rh: str = field(metadata={"help": "Relative humidity"})
    emc: str = field(metadata={"help": "Moisture that this air leads wood to, with band"})
    dew_point: str = field(metadata={"help": "Dew point"})
    wet_bulb: str = field(metadata={"help": "Wet bulb at the place's height above the sea"})
    checked: str = field(
        metadata={"help": "That nobody has checked the hygrometer, or the check is overdue; else empty"}
    )
    age: str = field(metadata={"help": "Age of the oldest of these readings; or that none is known"})
    believed: bool = field(metadata={"help": "Whether a believed probe stands behind it"})
    note: str = field(metadata={"help": "Why it is doubted, or that probes disagree; empty when neither"})
    probes: tuple[Link, ...] = field(metadata={"help": "The probes that measure it"})


@dataclass(frozen=True)
class AirPage:
    """Everything that air.html may use."""

    places: tuple[PlaceView, ...] = field(metadata={"help": "Every place in the order it was entered"})


@dataclass(frozen=True)
class PlacePage:
    """Everything that place.html may use."""

    place: PlaceView = field(metadata={"help": "The place now"})
    moves: str = field(metadata={"help": "Speed of its air over the wood, and that sun reaches it; empty: not said"})
    days: int = field(metadata={"help": "Span of the chart in days"})
    spans: tuple[int, ...] = field(metadata={"help": "Spans that can be chosen"})
    here: tuple[Link, ...] = field(metadata={"help": "Stacks and loose boards that are here"})
    table: tuple[tuple[str, ...], ...] = field(metadata={"help": "The chart as rows of text"})
    revision: str = field(metadata={"help": "Changes whenever the chart has to be drawn anew"})
    source: str = field(metadata={"help": "Which probes the chart rests on, and what its lines are"})
    months: tuple[tuple[str, ...], ...] = field(metadata={"help": "Its usual months as rows of text; empty: none"})
    on_record: tuple[tuple[str, ...], ...] = field(
        metadata={"help": "The last months on record: name, mean EMC, days of record, EMC of the usual month"}
    )
    below: tuple[str, ...] = field(metadata={"help": "In which of these months wood would be held below 20 and 12 %"})
    climate: EntryLine | None = field(metadata={"help": "Whose figures the usual months are; None: not entered"})
    forms: tuple[Form, ...] = field(metadata={"help": "Its usual months, correcting and closing the place"})


def span_days(typed: str | int) -> int:
    """Return a span for the chart; raises BadInput for one that is not offered."""
    for days in SPANS_DAYS:
        if str(typed) == str(days):
            return days
    raise BadInput("days", typed, ", ".join(map(str, SPANS_DAYS)))


def place_view(place: PlaceNow, now_ms: int) -> PlaceView:
    """Return one place as it is now."""
    air = place.air
    note = ""
    if air is not None:
        note = air.note if air.good else "No probe here is believed at the moment; these are the last figures heard."
    if place.fact.closed:
        note = "This place is closed; its history stays."
    return PlaceView(
        name=place.fact.name,
        code=place.subject.code,
        kind=place.fact.kind.value,
        temperature=display.with_unit(air.temperature_c if air else None, "°C"),
        rh=f"{display.with_unit(air.rh_pct, '%', 0)} ± {display.number(Z80 * air.rh_error_pct, 0)}"
        if air
        else display.NOTHING,
        emc=_emc(air.emc_pct, air.emc_error_pct) if air else display.NOTHING,
        dew_point=display.with_unit(air.dew_point_c if air else None, "°C"),
        wet_bulb=display.with_unit(air.wet_bulb_c if air else None, "°C"),
        checked="" if air is None or air.checked else UNCHECKED,
        age=display.age(air.at_ms, now_ms) if air else "no air logged here yet",
        believed=bool(air and air.good),
        note=note,
        probes=tuple(Link(probe.fact.name, f"/probes#{probe.subject.code}") for probe in place.probes),
    )


def _emc(emc_pct: float, error_pct: float) -> str:
    return display.band(emc_pct - error_pct, emc_pct, emc_pct + error_pct)


def air_page(now: Situation) -> AirPage:
    """Fill the page of all air."""
    return AirPage(places=tuple(place_view(place, now.now_ms) for place in now.open_places))


def place_page(now: Situation, place: PlaceNow, store: Store, days: int, by: str, attempt: Attempt | None) -> PlacePage:
    """Fill the page of one place."""
    code = place.subject.code
    history = history_of(store, place, now.now_ms, days)
    climate = climate_of(store, place)
    on_record = months.months(store, place.subject.id, now.now_ms)
    forms = (
        climate_forms.climate(code, by, climate),
        entry_forms.change_place(place, by),
        entry_forms.close_place(code, by),
    )
    here = place.subject.id
    stacks = [Link(f"stack {s.fact.name}", f"/stack/{s.subject.code}") for s in now.stacks if s.place_id == here]
    boards = [
        Link(f"board {b.fact.name}", f"/board/{b.subject.code}")
        for b in now.boards
        if b.place_id == here and b.stack_id is None
    ]
    return PlacePage(
        place=place_view(place, now.now_ms),
        moves=_moves(place),
        days=days,
        spans=SPANS_DAYS,
        here=tuple(stacks + boards),
        table=_table(history, now.now_ms),
        source=_source(history, days),
        revision=f"{days}-{place.air.at_ms // (10 * MS_PER_MINUTE) if place.air else 0}",
        months=climate_forms.rows(climate),
        on_record=months.rows(on_record),
        below=months.below(on_record),
        climate=climate_forms.entry_line(climate),
        forms=tuple(shown_again(form, attempt) for form in forms),
    )


def _moves(place: PlaceNow) -> str:
    speed, said = place.fact.air_speed_m_s, []
    if speed is not None:
        said.append(f"air at {speed:g} m/s over the wood")
    if place.fact.in_sun:
        said.append("sun reaches the wood")
    return " · ".join(said)


def history_of(store: Store, place: PlaceNow, now_ms: int, days: int) -> AirHistory:
    """Return the air of a place over the last ``days`` days."""
    return air_history.air_history(store, place.subject.id, now_ms - days * MS_PER_DAY, now_ms)


def climate_of(store: Store, place: PlaceNow) -> PlaceClimate | None:
    """Return the usual months of a place; None: nobody entered them."""
    with store.reading() as connection:
        return climate_entries.held(connection, place.subject.id)


def air_figure(store: Store, place: PlaceNow, now_ms: int, days: int) -> charts.Figure:
    """Return the chart of a place's air."""
    return charts.air_figure(charts.tracks(history_of(store, place, now_ms, days)))


def _source(history: AirHistory, days: int) -> str:
    heard = display.listed(history.probes) if history.probes else "no probe"
    daily = history.span_ms >= MS_PER_DAY
    step = "daily mean, with the lowest and highest of each day" if daily else "mean of each step"
    span = "day" if days == 1 else f"{days} days"
    return f"Last {span}, {step}; from {heard}. EMC from temperature and humidity by the sorption equation."


def _table(history: AirHistory, now_ms: int) -> tuple[tuple[str, ...], ...]:
    heard = np.flatnonzero(np.isfinite(history.temperature_c) & np.isfinite(history.rh_pct))
    rows = []
    for index in (heard[one] for one in charts.thinned(len(heard), TABLE_ROWS)):
        at_ms = int(history.at_ms[index])
        when = display.day(at_ms, now_ms) if history.span_ms >= MS_PER_DAY else display.moment(at_ms)
        rows.append(
            (
                when,
                display.with_unit(history.temperature_c[index], "°C"),
                display.with_unit(history.rh_pct[index], "%", 0),
                display.with_unit(history.emc_pct[index], "%"),
            )
        )
    return tuple(rows)
