"""What comes: the air ahead, the board in it, and the day it will be fit.

Each member of the ensemble is another believable board in another believable air (``kiln.air_ahead``).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kiln import diffusion, drying, fitness, sorption
from kiln import forecast_limits as limits
from kiln.air_ahead import AHEAD_STEP_HOURS, AirAhead
from kiln.ensemble import LOOK_AHEAD_DAYS, MEMBERS, Ensemble, ensemble
from kiln.question import Question
from kiln.records import Band, Projection
from shared.units import MS_PER_DAY, Array

__all__ = ["LOOK_AHEAD_DAYS", "MEMBERS", "Ensemble", "Question", "ensemble", "project"]

PROFILES_PAST, PROFILES_AHEAD = 21, 16  # as many moments as are kept for looking through the thickness


def project(question: Question, members: int = MEMBERS, days: int = LOOK_AHEAD_DAYS) -> Projection:
    """Return the projection of one board. Deterministic: the same question gives the same numbers.

    Raises ValueError, in words, when the air on record is too short to say anything.
    """
    return _told(ensemble(question, members, days))


def _spread(now: int, last: int) -> NDArray[np.intp]:
    """Return moments for profiles: evenly over what was, now, and closer together at first over what is to come."""
    past = np.linspace(0.0, now, PROFILES_PAST)
    ahead = now + (last - now) * np.linspace(0.0, 1.0, PROFILES_AHEAD) ** 2
    return np.unique(np.rint(np.concatenate([past, ahead])).astype(np.intp))


def _told(crowd: Ensemble) -> Projection:
    question, fitted, boards, at_ms = crowd.question, crowd.fitted, crowd.boards, crowd.at_ms
    now, ahead_air = crowd.now, crowd.air
    two, profiles = question.piece.two_faces, crowd.profiles
    # The middle of the board, which edges and ends do not feel, is last to be fit; a scale weighs the whole.
    middle, shell, core = (
        100.0 * of(profiles, two_faces=two) for of in (diffusion.mean_of, diffusion.shell_of, diffusion.core_of)
    )
    mean, scale = crowd.mean_mc_pct, crowd.isotherm_scale
    target = float(sorption.emc_pct(question.destination_temperature_c, question.destination_rh_pct))
    fit_each = fitness.fit_each(middle, core - shell, scale * target, question.use)
    ready = fitness.ready_ms(at_ms, fit_each, now)
    memory_hours = limits.memory_hours(question.piece, boards)
    since = limits.air_counts_from(question, memory_hours)
    # From the (marked) face inwards; where both faces are followed, on to the other.
    nodes = profiles.shape[2]
    if two:
        depth = diffusion.node_positions_m(2.0, nodes, two_faces=True)
    else:
        depth, profiles = 1.0 - diffusion.node_positions_m(1.0, nodes)[::-1], profiles[:, :, ::-1]
    shown = _spread(now, len(at_ms) - 1)
    piece, way = question.piece, question.way
    said = (limits.soaked_note(piece, boards), ahead_air.note, limits.way_note(way), limits.sun_note(question))
    notes = tuple(note for note in said if note)
    return Projection(
        at_ms=at_ms,
        known_until_ms=question.way.end_ms,
        mean=_band(mean),
        shell=_band(shell),
        core=_band(core),
        emc=_emc_band(question, boards, scale, ahead_air, len(at_ms), now),
        depth_fraction=depth,
        profile_ms=at_ms[shown],
        profiles=_band(100.0 * profiles[:, shown]),
        loss_pct_per_day=_three(_loss_in_a_day(at_ms, mean, now)),
        target_mc_pct=target * question.piece.isotherm_share,
        off_target_mc_pct=_three(middle[:, now] - scale * target),
        off_target_together_mc_pct=_three(_without_bias(middle[:, now] - scale * target, boards)),
        ready_ms=_ready_quantiles(ready),
        chance_fit=fit_each.mean(axis=0),
        chance_steady=fitness.chance_steady(at_ms, mean, now, question.use),
        chance_level=fitness.chance_level(question, (core - shell)[:, now], memory_hours),
        pin_gap_mc_pct=fitness.pin_gap(question, memory_hours),
        wanted_mc_pct=fitness.wanted(target * question.piece.isotherm_share, question.use),
        chance_ready=float(np.mean(np.isfinite(ready))),
        chance_fit_now=float(fit_each[:, now].mean()),
        oven_dry_mass_kg=_three(np.exp(boards[:, 0])),
        measured=fitted.measured,
        memory_days=(len(question.way.known) - since) / 24.0,
        air_measured_share=float(question.way.known[since:].mean()),
        frozen_hours=int(limits.outside(question.way)[since:].sum()),
        mass_strain_sd=fitted.mass_strain_sd,
        notes=notes,
    )


def _without_bias(values: Array, boards: Array) -> Array:
    """Each member's value as it would be with the middle bias of the hygrometer, by the straight line through all."""
    bias = boards[:, drying.RH_BIAS] - boards[:, drying.RH_BIAS].mean()
    spread = float(bias @ bias)
    return values if spread == 0.0 else np.asarray(values - bias * float(bias @ values) / spread)


def _loss_in_a_day(at_ms: NDArray[np.int64], mean: Array, now: int) -> Array:
    """Loss of each member over the last day of logged air [%MC/day]; of a younger board, over its first day."""
    if at_ms[now] - at_ms[0] >= MS_PER_DAY:
        begin, end = int(np.searchsorted(at_ms, at_ms[now] - MS_PER_DAY)), now
    else:
        begin, end = 0, min(int(np.searchsorted(at_ms, at_ms[0] + MS_PER_DAY)), len(at_ms) - 1)
    return np.asarray((mean[:, begin] - mean[:, end]) * (MS_PER_DAY / (at_ms[end] - at_ms[begin])))


def _ready_quantiles(ready: Array) -> tuple[int | None, int | None, int | None]:
    ordered = np.sort(ready)
    picks = [ordered[min(int(share * len(ordered)), len(ordered) - 1)] for share in (0.1, 0.5, 0.9)]
    ms = [int(pick) if np.isfinite(pick) else None for pick in picks]
    return ms[0], ms[1], ms[2]


def _band(values: Array) -> Band:
    p10, p50, p90 = np.quantile(values, [0.1, 0.5, 0.9], axis=0)
    return Band(p10, p50, p90)


def _three(values: Array) -> tuple[float, float, float]:
    p10, p50, p90 = np.quantile(values, [0.1, 0.5, 0.9])
    return float(p10), float(p50), float(p90)


def _emc_band(question: Question, boards: Array, scale: Array, ahead: AirAhead, moments: int, now: int) -> Band:
    """EMC of each day's air for this wood: of the logged air up to now, of the drawn air beyond."""
    way = question.way
    hours = len(way.at_ms)
    logged = _emc_or_nan(way.temperature_c[None], drying.true_rh_pct(boards, way.rh_pct[None], way.spread_rh_pct))
    edges = np.unique(np.concatenate([[0], np.arange(hours % 24, hours + 1, 24), [hours]])).astype(int)
    past = np.stack([logged[:, max(0, edge - 24) : max(edge, 1)].mean(axis=1) for edge in edges], axis=1)
    drawn = _emc_or_nan(ahead.temperature_c, ahead.rh_pct)
    daily = drawn.reshape(len(scale), -1, 24 // AHEAD_STEP_HOURS).mean(axis=2)
    band = _band(np.concatenate([past, daily], axis=1) * scale[:, None])
    assert len(band.p50) == moments and past.shape[1] == now + 1
    return band


def _emc_or_nan(temperature_c: Array, rh_pct: Array) -> Array:
    """EMC where the curve covers the air; NaN stays; frost takes the value at the curve's cold end."""
    t = np.clip(temperature_c, sorption.LOWEST_C, sorption.HIGHEST_C)
    return sorption.emc_pct(t, np.clip(rh_pct, 0.0, 100.0))
