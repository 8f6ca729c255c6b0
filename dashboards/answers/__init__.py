"""Questions that anybody may ask at the bench, one file each: asked on a page or in the terminal, answered alike."""

from __future__ import annotations

from dashboards.answers import (
    air,
    bag,
    density,
    dew_gap,
    dust,
    hygrometer,
    lifting,
    movement,
    oven_dry,
    pins,
    saw_plan,
    substance,
    timbers,
    vapour,
    warming,
    water_clock,
)
from dashboards.answers.records import Question

QUESTIONS: dict[str, Question] = {
    one.name: one
    for one in (
        air.QUESTION,
        movement.QUESTION,
        density.QUESTION,
        bag.QUESTION,
        pins.QUESTION,
        hygrometer.QUESTION,
        oven_dry.QUESTION,
        water_clock.QUESTION,
        lifting.QUESTION,
        saw_plan.QUESTION,
        timbers.QUESTION,
        dust.QUESTION,
        vapour.QUESTION,
        substance.QUESTION,
        dew_gap.QUESTION,
        warming.QUESTION,
    )
}
