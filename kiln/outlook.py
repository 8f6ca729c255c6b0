"""Where a place's air would take a board: what it holds it at now and at best, and how well any date can be known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kiln import drying, sorption
from kiln.air_ahead import AHEAD_STEP_HOURS, AirAhead, air_ahead
from kiln.ensemble import SEED, Ensemble
from kiln.records import Z80
from shared.units import MS_PER_DAY, Array

MONTH_DAYS = 30  # over which air holds a board: it follows neither one day's air nor one week's
AT_REST_MC_PCT = 1.0  # so near to where its air holds it a board is said to rest; judgement


def emc_pct(crowd: Ensemble) -> Array:
    """EMC of each day's air for each member's wood [members, moments; %MC]: of the logged air, then of the drawn."""
    way, scale = crowd.question.way, crowd.isotherm_scale
    hours = len(way.at_ms)
    rh_pct = drying.true_rh_pct(crowd.boards, way.rh_pct[None], way.spread_rh_pct)
    logged = emc_or_nearest(way.temperature_c[None], rh_pct)
    edges = np.unique(np.concatenate([[0], np.arange(hours % 24, hours + 1, 24), [hours]])).astype(int)
    past = np.stack([logged[:, max(0, edge - 24) : max(edge, 1)].mean(axis=1) for edge in edges], axis=1)
    return np.asarray(np.concatenate([past * scale[:, None], _daily(crowd, crowd.air)], axis=1))


def _daily(crowd: Ensemble, drawn: AirAhead) -> Array:
    """EMC of each day of drawn air for each member's wood [members, days; %MC]."""
    emc = emc_or_nearest(drawn.temperature_c, drawn.rh_pct)
    return np.asarray(emc.reshape(len(emc), -1, 24 // AHEAD_STEP_HOURS).mean(axis=2) * crowd.isotherm_scale[:, None])


def emc_here_pct(crowd: Ensemble) -> Array:
    """The same of the days to come in the place where a board is now, whatever is planned [members, days; %MC]."""
    if not crowd.question.plan:
        return _daily(crowd, crowd.air)
    question, days = crowd.question, crowd.air.rh_pct.shape[1] * AHEAD_STEP_HOURS // 24
    drawn = air_ahead(question.record, question.way.end_ms, len(crowd.boards), days, SEED, question.climate)
    return _daily(crowd, replace(drawn, rh_pct=drying.true_rh_pct(crowd.boards, drawn.rh_pct)))


def emc_or_nearest(temperature_c: Array, rh_pct: Array) -> Array:
    """EMC where the curve covers the air; NaN stays; frost takes the value at the curve's cold end."""
    t = np.clip(temperature_c, sorption.LOWEST_C, sorption.HIGHEST_C)
    return sorption.emc_pct(t, np.clip(rh_pct, 0.0, 100.0))


def holds(emc: Array) -> Array:
    """Where the air of the next month holds each member [members; %MC]; ``emc`` [members, days to come]."""
    return np.asarray(emc[:, :MONTH_DAYS].mean(axis=1))


def floor(emc: Array, begin_ms: int) -> tuple[Array, Array]:
    """What the driest month to come holds each member at [members; %MC], and when its middle is [UTC ms].

    ``emc`` [members, days to come], the first of which ends a day after ``begin_ms``.
    """
    days = min(MONTH_DAYS, emc.shape[1])
    total = np.cumsum(np.concatenate([np.zeros((len(emc), 1)), emc], axis=1), axis=1)
    months = (total[:, days:] - total[:, :-days]) / days
    driest = np.argmin(months, axis=1)
    return np.asarray(months[np.arange(len(months)), driest]), begin_ms + (driest + days / 2.0) * MS_PER_DAY


def date_floor_days(crowd: Ensemble, ready_ms: Array) -> float | None:
    """By how many days the date may be off, in 8 of 10 cases, for what its oven-dry mass and isotherm leave unknown.

    What of the members' dates [UTC ms; infinite: none] goes with these two, by a straight line through all members:
    the air ahead and the pace have the rest. None where fewer than half have a date. Method ours; where a board nears
    what its air holds it at, this is most of the band (``docs/calibration.md`` has the law for one alone).
    """
    dated = np.isfinite(ready_ms)
    if dated.mean() < 0.5:
        return None
    days = (ready_ms[dated] - crowd.question.way.end_ms) / MS_PER_DAY
    unknown = crowd.boards[dated][
        :, [drying.UNKNOWNS.index(name) for name in ("ln_oven_dry_mass", "ln_isotherm_scale")]
    ]
    unknown = unknown - unknown.mean(axis=0)
    told, *_ = np.linalg.lstsq(unknown, days - days.mean(), rcond=None)
    return float(Z80 * np.std(unknown @ told))
