"""How near a surface stands to the dew point of its air, asked without entering anything."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import control_marks, dew_gaps, dew_rule_words, dew_words, display
from dashboards.answers.boards import thing_of
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, bases_of
from dashboards.pages.forms import Field
from kiln import dew_gap
from kiln.control import worst
from kiln.dew_gap import Air, Held, Rule, State
from kiln.sentences import capital
from shared.errors import BadInput
from shared.tables import constants, limit

AIR_C, SURFACE_C = (-20.0, 50.0), (-30.0, 80.0)
RH_PCT = (5.0, 100.0)
SHEET_NAME = "the finish"

FIELDS = (
    Field("place", "Air of a place", "place", hint="Fills in what its probes say now."),
    Field("temperature_c", "Air", "signed", unit="°C", spoken="air temperature"),
    Field("rh_pct", "Humidity", "number", unit="%RH", spoken="humidity"),
    Field(
        "surface_c",
        "Surface of the work",
        "signed",
        unit="°C",
        spoken="surface temperature",
        hint="Read on the wood, and on the coldest metal of it. Empty: not known, and not taken for the room's.",
    ),
    Field(
        "rh_error_pct",
        "Humidity is known to ±",
        "number",
        unit="%RH",
        spoken="error of the humidity",
        hint="One standard error. Empty: 3, a hygrometer that nobody has checked.",
    ),
    Field(
        "sheet_gap_c", "The finish's data sheet asks for a gap of", "number", unit="C°", spoken="gap of the data sheet"
    ),
    Field("sheet_rh_pct", "for air of at most", "number", unit="%RH", spoken="humidity of the data sheet"),
    Field("sheet_surface_c", "and for a surface of at least", "signed", unit="°C", spoken="surface of the data sheet"),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    state, out = _state(asked), _out(asked)
    held = tuple(dew_gap.hold(one, state) for one in (*_sheet(asked), *dew_gap.rules()))
    decide = dew_gap.deciding(held)
    control = worst(state.at_best, *(one.control for one in decide))
    gap, of_air = state.gap_k, state.air_gap_k
    shown = of_air if gap is None else gap
    return Answer(
        headline=f"{control_marks.WORDS[control]}: {_figure(state)}",
        band=f"{'' if gap else 'the air alone: '}{dew_words.sides(shown)}, eight times in ten",
        sentence=" ".join(
            one
            for one in (
                dew_words.NO_VAPOUR,
                dew_rule_words.counted(decide, len(held)),
                dew_words.wetting(state, out=out),
                dew_words.cooled(state),
            )
            if one
        ),
        lines=(*_air_lines(state), *(_line(one, state, decides=one in decide) for one in held)),
        flags=(
            *dew_words.unsure(state, out=out),
            dew_words.LEAD,
            dew_words.contradiction(state),
            *dew_words.ADHESION,
            dew_words.DRYNESS,
        ),
        next_step=_next_step(known=bool(gap), out=out),
        formula=("gap = t of the surface − dew point of the air", "e = RH · pₛ(t); dew point: pₛ(t_d) = e"),
        bases=_bases(held),
        validity="air of −20 to 50 °C. It says nothing of the wood's moisture, nor of vapour in the room: ask that "
        "under /work-out/vapour.",
        topics=("finish-spray",),
        drawing=dew_gaps.drawing_of(state, held, measured=True),
        drawing_words=dew_words.DRAWING,
        key=control_marks.KEYS[control],
    )


def _out(asked: Asked) -> bool:
    """Whether vapour keeps people out of the room that was named."""
    place = thing_of(asked.yard.open_places, "place", asked.typed) if asked.yard is not None else None
    return place is not None and dew_gaps.stay_out(asked.yard, place)


def _next_step(*, known: bool, out: bool) -> str:
    if out:
        return dew_words.STAY_OUT
    return "" if known else "Measure the surface of the work with a thermometer, before any finish is open."


def _state(asked: Asked) -> State:
    t = asked.number("temperature_c", "air temperature", *AIR_C, "°C")
    rh = asked.number("rh_pct", "humidity", *RH_PCT, "%RH")
    error = asked.or_else("rh_error_pct", "error of the humidity", 0.0, 20.0, "%RH", limit("unchecked_hygrometer"))
    surface = asked.maybe("surface_c", "surface temperature", *SURFACE_C, "°C")
    table = constants("dew_gap")
    air = Air(t, table["thermometer_error"].value, rh, error)
    state = State(air, None if surface is None else dew_gap.measured(surface, table["surface_error"].value))
    if state.too_warm:
        most, at = display.with_unit(dew_gap.surface_above_air_k(), "C°", 0), display.with_unit(t, "°C")
        accepted = f"at most {most} warmer than the air of {at}; read it again, and let a hot piece cool first"
        raise BadInput("surface temperature", display.with_unit(surface, "°C"), accepted)
    return state


def _sheet(asked: Asked) -> tuple[Rule, ...]:
    return dew_gap.sheet_rules(
        SHEET_NAME,
        "as typed here",
        asked.maybe("sheet_gap_c", "gap of the data sheet", 0.0, 30.0, "C°"),
        asked.maybe("sheet_rh_pct", "humidity of the data sheet", 1.0, 100.0, "%RH"),
        asked.maybe("sheet_surface_c", "surface of the data sheet", *SURFACE_C, "°C"),
    )


def _figure(state: State) -> str:
    return dew_words.gap_figure(state) if state.gap_k else "surface not known"


def _air_lines(state: State) -> tuple[Line, ...]:
    if state.dew_c is None or state.air_gap_k is None:
        return ()
    own = "which a cold piece does not have"
    return (
        Line(f"{dew_words.point(state).capitalize()} of the air", dew_words.banded(state.dew_c, "°C")),
        Line("The air's own gap", dew_words.banded(state.air_gap_k, "C°"), own),
    )


def _line(one: Held, state: State, *, decides: bool) -> Line:
    after = "" if decides else " The data sheet comes before it."
    rule = one.rule
    return Line(
        capital(rule.words),
        dew_rule_words.limit_of(rule),
        f"{dew_rule_words.said(one, state)}{after}",
    )


def _bases(held: tuple[Held, ...]) -> tuple[Basis, ...]:
    rules = {one.rule.source: one.rule.status for one in held if not one.rule.sheet}
    return (
        Basis("dew point: ASHRAE Handbook Fundamentals, 2017, chapter 1", "published"),
        *(Basis(source, status) for source, status in rules.items()),
        *bases_of("dew_gap", "thinner_cools", "thermometer_error", "surface_error"),
    )


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in the air of a place as its probes say it now."""
    place = thing_of(yard.open_places, "place", typed)
    if place is None or place.air is None or not place.air.good:
        return {}
    air = place.air
    return {
        "temperature_c": f"{air.temperature_c:.1f}",
        "rh_pct": f"{air.rh_pct:.1f}",
        "rh_error_pct": f"{air.rh_error_pct:.2g}",
    }


QUESTION = Question(
    name="dew-gap",
    title="Surface against the dew point",
    lead="How near a surface stands to the dew point, and what rules that disagree say to that.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("place", "temperature_c", "rh_pct", "surface_c"),
    defers=True,
)
