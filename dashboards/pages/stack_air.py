"""A stack's page: the air beside it now and over a week, and what that air holds wood at."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from dashboards import air_history, display, stack_drawings
from dashboards.heard import AirNow, PlaceNow, ProbeNow
from dashboards.pages.parts import Link
from kiln.records import Z80, Projection
from shared.units import MS_PER_DAY

SPAN_DAYS = 7
UNCHECKED = "No valid check of its hygrometer: the band is wider for it."
BESIDE = (
    "Measured beside the stack, not in it. Between wet boards the air is damper than this: the forecast reckons with "
    "that from the air's speed, the stickers and where in the stack a board lies."
)


@dataclass(frozen=True)
class AirBeside:
    """The air that a stack stands in."""

    line: str = field(metadata={"help": "The air now in one line"})
    figures: tuple[tuple[str, str, str, str], ...] = field(
        metadata={"help": "Name, figure, kind of line, and where it is told how it comes about (empty: read as it is)"}
    )
    probes: tuple[Link, ...] = field(metadata={"help": "The probes behind it, each with its age or what is wrong"})
    doubt: str = field(metadata={"help": "Why it is doubted; empty: it is not"})
    unchecked: str = field(metadata={"help": "That no hygrometer here has a valid check; empty: it has, or no air"})
    week: Markup = field(metadata={"help": "EMC of the last seven days as a line; empty: none on record"})
    where: str = field(metadata={"help": "That it is measured beside the stack, and what is known of the air in it"})
    link: str = field(metadata={"help": "Path of the place's page"})
    months: str = field(metadata={"help": "Path of the place's months"})


def air_beside(situation: Any, place: PlaceNow | None) -> AirBeside | None:
    """Return the air of the place where a stack stands; None where nobody said where."""
    if place is None:
        return None
    air, now_ms, path = place.air, situation.now_ms, f"/place/{quote(place.subject.code)}"
    return AirBeside(
        line="no air logged here" if air is None else _line(air, now_ms),
        figures=() if air is None else _figures(air),
        probes=tuple(_probe(one, now_ms) for one in place.probes if one.rh is not None or one.state != "heard"),
        doubt="" if air is None else _doubt(air),
        unchecked="" if air is None or air.checked else UNCHECKED,
        week=_week(situation, place),
        where=BESIDE,
        link=path,
        months=f"{path}#by-month",
    )


def _line(air: AirNow, now_ms: int) -> str:
    warm, damp = display.with_unit(air.temperature_c, "°C"), display.with_unit(air.rh_pct, "%RH", 0)
    emc = display.with_unit(air.emc_pct, "%")
    doubted = "" if air.good else ", not believed"
    return f"{warm}, {damp}, EMC {emc} · {display.age(air.at_ms, now_ms)}{doubted}"


def _figures(air: AirNow) -> tuple[tuple[str, str, str, str], ...]:
    damp = f"{display.with_unit(air.rh_pct, '%', 0)} ± {display.number(Z80 * air.rh_error_pct, 0)}"
    low, high = air.emc_pct - air.emc_error_pct, air.emc_pct + air.emc_error_pct
    return (
        ("Temperature", display.with_unit(air.temperature_c, "°C"), "t", ""),
        ("RH", damp, "h", ""),
        ("Dew point", display.with_unit(air.dew_point_c, "°C"), "", "dew-point"),
        ("EMC, and its last 7 days", display.band(low, air.emc_pct, high), "e", "emc"),
    )


def _probe(one: ProbeNow, now_ms: int) -> Link:
    heard = one.rh or one.temperature
    age = display.age(heard.at_ms if heard else None, now_ms)
    told = age if one.state == "heard" else f"{one.state}, last heard {age}: left out"
    return Link(f"{one.fact.name} {told}", f"/probes#{quote(one.subject.code)}")


def _doubt(air: AirNow) -> str:
    if not air.good:
        return "No probe here is believed at the moment: these are the last figures heard."
    return air.note


def _week(situation: Any, place: PlaceNow) -> Markup:
    begin_ms = situation.now_ms - SPAN_DAYS * MS_PER_DAY
    history = air_history.air_history(situation.store, place.subject.id, begin_ms, situation.now_ms)
    return stack_drawings.week_line(history.at_ms, history.emc_pct, situation.now_ms)


def holds(made: Projection) -> str:
    """Say the floor of the air where a board lies, and what it holds it at in the month to come."""
    best, next_month = display.band(*made.floor_mc_pct), display.band(*made.holds_mc_pct)
    month = f"{display.local(made.floor_ms):%B}"
    until = ", until it is moved as planned" if made.legs else ""
    floor = f"The floor here: {best}, {month}, as expected{until}."
    return f"{floor} Over the month to come this air holds it at {next_month}."
