"""The clock of wood out of the water: how much of its time before decay is used, and what is left."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from dashboards import display, out_of_water
from dashboards.answers.boards import board_of
from dashboards.answers.records import Answer, Asked, Line, Question, bases_of
from dashboards.out_of_water import OutOfWater
from dashboards.pages.forms import Field
from kiln import water_clock
from kiln.water_clock import HOURS_A_DAY, Clock
from shared.errors import BadInput
from shared.tables import constants

T_C = (-40.0, 60.0)
UNLOGGED = "the rest may have been warm or cold"
LITTLE_LOGGED = 0.9  # below this share of hours with logged air it is said; judgement

FIELDS = (
    Field("board", "A board or log of the yard", "board", hint="By when it was lifted, and its logged air since."),
    Field("days_out", "or out of the water for", "number", unit="days", spoken="days out of the water"),
    Field(
        "temperature_c",
        "in a mean temperature of",
        "number",
        unit="°C",
        spoken="mean temperature",
        hint="Empty: not known, so cold or warm.",
    ),
    Field("now_c", "Temperature from now on", "number", unit="°C", spoken="temperature now", hint="Empty: the same."),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    held = None if asked.given("days_out") else _held(asked)
    one = held.clock if held is not None else _typed(asked)
    return Answer(
        headline=water_clock.headline(one),
        band=f"{water_clock.used_words(one)} of the time before decay is used",
        sentence=water_clock.sentence(one),
        lines=(*_of_entry(held), *_lines(one)),
        flags=_flags(one, held),
        next_step=water_clock.next_step(one),
        formula=(
            "used = Σ over its hours of 1 / (24 × days allowed at that hour's temperature)",
            "days allowed: 1 to 2 weeks up to cold, at most 1 week from warm on, along a straight line between",
        ),
        bases=bases_of("reclaimed", "warm_days", "cold_most_days", "warm_c", "cold_c"),
        validity="Logs and beams kept in the open air, not sprayed. Temperature of the air, not of the log. "
        "In warm weather the source says less than a week: the figure is the most.",
        topics=("heavy-boards",),
    )


def _held(asked: Asked) -> OutOfWater | None:
    board = board_of(asked.yard, asked.typed) if asked.yard is not None else None
    if board is None:
        return None
    found = out_of_water.read(asked.yard, board)
    if found is None:
        accepted = "a board or log of which was entered when it was lifted; or type how long it has been out"
        raise BadInput("board", board.subject.code, accepted)
    return found


def _typed(asked: Asked) -> Clock:
    hours = HOURS_A_DAY * asked.number("days_out", "days out of the water", 0.0, 365.0, "days")
    mean = asked.maybe("temperature_c", "mean temperature", *T_C, "°C")
    now = asked.maybe("now_c", "temperature now", *T_C, "°C")
    told = np.zeros(0) if mean is None else np.full(int(np.ceil(hours)), mean)
    return water_clock.clock(told, hours, mean if now is None else now)


def _of_entry(held: OutOfWater | None) -> tuple[Line, ...]:
    if held is None:
        return ()
    whose = "entered of the log it was sawn from" if held.of_log else ""
    return (
        Line("Lifted", display.moment(held.lifted.true_at_ms), whose),
        *((Line("Laid in a stack", display.moment(held.stopped_ms)),) if held.stopped_ms is not None else ()),
    )


def _lines(one: Clock) -> tuple[Line, ...]:
    now = "any weather" if one.now_c is None else f"{one.now_c:.0f} °C"
    least, most = (float(days) for days in water_clock.allowed_days(np.nan if one.now_c is None else one.now_c))
    return (
        Line("Out of the water for", f"{one.hours_out / HOURS_A_DAY:.1f} days"),
        Line(
            "Of that with a known temperature",
            f"{100 * one.known_share:.0f} %",
            UNLOGGED if one.known_share < 1.0 else "",
        ),
        Line(f"A whole clock at {now}", f"{least:.0f}–{most:.0f} days" if most - least >= 0.5 else f"{least:.0f} days"),
    )


def _flags(one: Clock, held: OutOfWater | None) -> tuple[str, ...]:
    warm, cold = constants("reclaimed")["warm_c"], constants("reclaimed")["cold_c"]
    said = [
        f"Which temperatures are warm ({warm.value:g} °C) and cold ({cold.value:g} °C) is our judgement; "
        "beyond them nothing is told."
    ]
    if one.known_share < LITTLE_LOGGED:
        said.append("Much of its time nobody logged the air: put a probe where it lies.")
    if held is not None and held.lifted_before:
        said.append("It was lifted before and sunk again: the time out of the water before that is not counted.")
    return tuple(said)


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in nothing: a board's clock is read from its entries and its air, hour by hour."""
    board_of(yard, typed)
    return {}


QUESTION = Question(
    name="out-of-water",
    title="Clock out of the water",
    lead="How much of the time before decay a log or board has used since it was lifted, and what is left.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("board", "days_out"),
)
