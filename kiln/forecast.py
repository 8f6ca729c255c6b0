"""What comes: the air ahead, the board in it, and the day it will be fit.

Each member of the ensemble is another believable board in another believable air (``kiln.air_ahead``).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from kiln import air as airs
from kiln import diffusion, drying, estimation, sorption
from kiln import forecast_limits as limits
from kiln.air_ahead import AHEAD_STEP_HOURS, AirAhead, air_ahead
from kiln.question import Question, steps_of
from kiln.records import Band, Projection
from shared.tables import Use
from shared.units import MS_PER_DAY, MS_PER_HOUR, S_PER_HOUR, Array

MEMBERS = 48
LOOK_AHEAD_DAYS = 365
SOLVED_SHARE = 0.9  # of the ensemble; with fewer its bands would no longer hold what they say
HELD_DAYS = 3  # fit on this many days running before it counts
STEADY_MC_PCT = 0.5
PROFILES_PAST, PROFILES_AHEAD = 21, 16  # as many moments as are kept for looking through the thickness
TOGETHER_MS = 3 * MS_PER_DAY  # pins read so close together are of one profile; judgement
# Mean of a parabola from 0 at the face to 1 at mid-thickness over the middle third, less that over the outer tenths.
CORE_LESS_SHELL = (1.0 - (1.0 / 3.0) ** 2 / 3.0) - (1.0 - (1.0 - 0.8**3) / (3.0 * 0.2))
TWO_DEPTHS_SHARE = 0.3  # of the half thickness, between two pin readings that tell a gradient; judgement
_SEED = 20


def project(question: Question, members: int = MEMBERS, days: int = LOOK_AHEAD_DAYS) -> Projection:
    """Return the projection of one board. Deterministic: the same question gives the same numbers.

    Raises ValueError, in words, when the air on record is too short to say anything.
    """
    way = question.way
    sun = question.sun_w_m2(int(way.at_ms[0]), len(way.at_ms))
    hourly = diffusion.AirSteps(
        way.temperature_c[None],
        way.rh_pct[None],
        np.full(len(way.at_ms), float(S_PER_HOUR)),
        None if sun is None else sun[None],
    )
    data_steps = steps_of([datum.at_ms for datum in question.data], way)
    fitted = estimation.fit(question.piece, hourly, list(question.data), data_steps)
    boards = limits.soaked_at_most(question.piece, fitted.draw(members, _SEED))
    past_ms, past = _past(question, boards)
    ahead_ms, ahead, ahead_air = _ahead(question, boards, past, days)
    course = past.then(ahead)
    solved: NDArray[np.bool_] = np.asarray(np.isfinite(course.profiles).all(axis=(1, 2)))
    if solved.mean() < SOLVED_SHARE:
        raise ValueError("the drying model found no answer for this board in this air")
    boards, course = boards[solved], diffusion.Course(course.profiles[solved], course.short[solved])
    ahead_air = ahead_air.of(solved)
    at_ms = np.concatenate([past_ms, ahead_ms])
    return _told(question, fitted, boards, at_ms, course, len(past_ms) - 1, ahead_air)


def _past(question: Question, boards: Array) -> tuple[NDArray[np.int64], diffusion.Course]:
    """The course at the end of each day so far, and at the last logged hour."""
    way = question.way
    hours = len(way.at_ms)
    t, rh = airs.members_of(way, len(boards), _SEED)
    days = np.arange(hours % 24, hours + 1, 24)
    record = np.unique(np.concatenate([[0], days, [hours]])).astype(np.int64)
    sun = question.sun_w_m2(int(way.at_ms[0]), hours)
    sun = None if sun is None else np.tile(sun, (len(boards), 1))
    steps = diffusion.AirSteps(t, drying.true_rh_pct(boards, rh), np.full(hours, float(S_PER_HOUR)), sun)
    found = drying.follow(question.piece, boards, steps, record)
    return np.asarray(way.at_ms[0] + record * MS_PER_HOUR, dtype=np.int64), found


def _ahead(
    question: Question, boards: Array, past: diffusion.Course, days: int
) -> tuple[NDArray[np.int64], diffusion.Course, AirAhead]:
    drawn = air_ahead(question.record, question.way.end_ms, len(boards), days, _SEED)
    # The probe that misreads the air today misreads the record from which tomorrow's is drawn.
    drawn = replace(drawn, rh_pct=drying.true_rh_pct(boards, drawn.rh_pct))
    per_day = 24 // AHEAD_STEP_HOURS
    record = np.arange(per_day, days * per_day + 1, per_day, dtype=np.int64)
    rows = np.arange(len(boards), dtype=np.int64)
    dt_s = np.full(drawn.temperature_c.shape[1], float(AHEAD_STEP_HOURS * S_PER_HOUR))
    sun = question.sun_w_m2(question.way.end_ms, days * 24)
    if sun is not None:
        sun = np.tile(sun.reshape(-1, AHEAD_STEP_HOURS).mean(axis=1), (len(boards), 1))
    steps = diffusion.AirSteps(drawn.temperature_c, drawn.rh_pct, dt_s, sun)
    who = drying.members(question.piece, boards, rows)
    start, short, two = past.profiles[:, -1], past.short[:, -1], question.piece.two_faces
    found = diffusion.march_whole(start, who, steps, record, short=short, two_faces=two)
    at_ms = question.way.end_ms + (record // per_day) * MS_PER_DAY
    return at_ms, found, drawn


def _spread(now: int, last: int) -> NDArray[np.intp]:
    """Return moments for profiles: evenly over what was, now, and closer together at first over what is to come."""
    past = np.linspace(0.0, now, PROFILES_PAST)
    ahead = now + (last - now) * np.linspace(0.0, 1.0, PROFILES_AHEAD) ** 2
    return np.unique(np.rint(np.concatenate([past, ahead])).astype(np.intp))


def _told(
    question: Question,
    fitted: estimation.Fit,
    boards: Array,
    at_ms: NDArray[np.int64],
    course: diffusion.Course,
    now: int,
    ahead_air: AirAhead,
) -> Projection:
    two, profiles = question.piece.two_faces, course.profiles
    # The middle of the board, which edges and ends do not feel, is last to be fit; a scale weighs the whole.
    middle, shell, core = (
        100.0 * of(profiles, two_faces=two) for of in (diffusion.mean_of, diffusion.shell_of, diffusion.core_of)
    )
    mean = 100.0 * course.means(two_faces=two)
    scale = np.exp(boards[:, 5]) * question.piece.isotherm_share
    target = float(sorption.emc_pct(question.destination_temperature_c, question.destination_rh_pct))
    fit_each = _fit_each(middle, core - shell, scale * target, question.use)
    ready = _ready_ms(at_ms, fit_each, now)
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
        chance_steady=_chance_steady(at_ms, mean, now, question.use),
        chance_level=_chance_level(question, (core - shell)[:, now], memory_hours),
        pin_gap_mc_pct=_pin_gap(question, memory_hours),
        wanted_mc_pct=_wanted(target * question.piece.isotherm_share, question.use),
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
    bias = boards[:, drying.LOGARITHMIC] - boards[:, drying.LOGARITHMIC].mean()
    spread = float(bias @ bias)
    return values if spread == 0.0 else np.asarray(values - bias * float(bias @ values) / spread)


def _loss_in_a_day(at_ms: NDArray[np.int64], mean: Array, now: int) -> Array:
    """Loss of each member over the last day of logged air [%MC/day]; of a younger board, over its first day."""
    if at_ms[now] - at_ms[0] >= MS_PER_DAY:
        begin, end = int(np.searchsorted(at_ms, at_ms[now] - MS_PER_DAY)), now
    else:
        begin, end = 0, min(int(np.searchsorted(at_ms, at_ms[0] + MS_PER_DAY)), len(at_ms) - 1)
    return np.asarray((mean[:, begin] - mean[:, end]) * (MS_PER_DAY / (at_ms[end] - at_ms[begin])))


def _chance_steady(at_ms: NDArray[np.int64], mean: Array, now: int, use: Use) -> float | None:
    """Chance that the mean has kept still over the use's steady days; None when the way is shorter than that."""
    since_ms = at_ms[now] - use.steady_days * MS_PER_DAY
    if since_ms < at_ms[0]:
        return None
    begin = int(np.searchsorted(at_ms, since_ms))
    return float(np.mean(np.abs(mean[:, now] - mean[:, begin]) <= STEADY_MC_PCT))


def _chance_level(question: Question, gap: Array, memory_hours: float) -> float | None:
    """Chance that core and shell are close enough; None while the profile rests on the assumed flat start.

    Fresh-sawn and water-reclaimed wood does begin alike through its thickness. Re-sawn and part-seasoned
    wood brings a gradient that nobody has entered: until the time in which it fades has passed, only pin
    readings at two depths tell, and then it is they that are judged.
    """
    allowed = question.use.gradient_mc_pct
    pins = _pin_gap(question, memory_hours)
    if pins is not None:
        apart, sd = pins
        return float(ndtr((allowed - apart) / sd) - ndtr((-allowed - apart) / sd))
    known_start = question.piece.origin in ("fresh-sawn", "water-reclaimed")
    if not (known_start or len(question.way.at_ms) >= memory_hours / 2.0):
        return None
    return float(np.mean(np.abs(gap) <= allowed))


def _pin_gap(question: Question, memory_hours: float) -> tuple[float, float] | None:
    """Core less shell by the newest pins at two depths within a few days, with one standard error [%MC].

    The readings' difference, which the meter's bias leaves alone, is taken to core and shell along a parabola.
    Pins of so long ago that their gradient has faded meanwhile no longer count.
    """
    since_ms = question.way.end_ms - memory_hours / 2.0 * MS_PER_HOUR
    pins = [d for d in question.data if d.kind == "pin" and not d.bound and d.at_ms >= since_ms]
    if not pins:
        return None
    near = [d for d in pins if pins[-1].at_ms - d.at_ms <= TOGETHER_MS]
    deep, shallow = (pick(near, key=lambda d: d.depth_share or 0.0) for pick in (max, min))
    parabola = _parabola(deep.depth_share or 0.0) - _parabola(shallow.depth_share or 0.0)
    if (deep.depth_share or 0.0) - (shallow.depth_share or 0.0) < TWO_DEPTHS_SHARE:
        return None
    factor = CORE_LESS_SHELL / parabola
    return float(factor * (deep.value - shallow.value)), float(factor * np.hypot(deep.error, shallow.error))


def _parabola(share: float) -> float:
    return 1.0 - (1.0 - share) ** 2


def _wanted(target_mc_pct: float, use: Use) -> tuple[float, float]:
    """Least and greatest moisture that the use takes: between where wood rests that gains and that loses water."""
    least = target_mc_pct * sorption.adsorption_ratio() - use.tolerance_mc_pct
    return max(least, 0.0), target_mc_pct + use.tolerance_mc_pct


def _fit_each(mean: Array, gradient: Array, target: Array, use: Use) -> NDArray[np.bool_]:
    """True where a member [members, moments] suits the use: near its own EMC in the air it will live in."""
    wet = mean <= (target + use.tolerance_mc_pct)[:, None]
    dry = mean >= (target * sorption.adsorption_ratio() - use.tolerance_mc_pct)[:, None]
    return np.asarray(wet & dry & (np.abs(gradient) <= use.gradient_mc_pct))


def _ready_ms(at_ms: NDArray[np.int64], fit_each: NDArray[np.bool_], now: int) -> Array:
    """First moment from now on from which each member stays fit for HELD_DAYS; infinite where none."""
    ahead = fit_each[:, now:]
    held = ahead.copy()
    for shift in range(1, HELD_DAYS):
        held[:, :-shift] &= ahead[:, shift:]
        held[:, -shift:] = False
    first = np.argmax(held, axis=1)
    return np.where(held.any(axis=1), at_ms[now:][first].astype(float), np.inf)


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
    logged = _emc_or_nan(way.temperature_c[None], drying.true_rh_pct(boards, way.rh_pct[None]))
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
