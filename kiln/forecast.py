"""What comes: the air ahead, the board in it, and the day it will be fit.

Each member of the ensemble is another believable board in another believable air (``kiln.air_ahead``).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kiln import calibrated, dangers, diffusion, drying, fitness, options, outlook, rest, sorption, telling
from kiln import forecast_limits as limits
from kiln.ensemble import LOOK_AHEAD_DAYS, MEMBERS, SOLVED_SHARE, Ensemble, ensemble
from kiln.question import Question
from kiln.records import Band, Dangers, Projection, three
from kiln.standing import DATE, LEVEL, MOISTURE, ROOM, STEADY
from shared.units import MS_PER_DAY, Array

__all__ = ["LOOK_AHEAD_DAYS", "MEMBERS", "Ensemble", "Question", "ensemble", "project", "told"]

PROFILES_PAST, PROFILES_AHEAD = 21, 16  # as many moments as are kept for looking through the thickness


def project(question: Question, members: int = MEMBERS, days: int = LOOK_AHEAD_DAYS) -> Projection:
    """Return the projection of one board. Deterministic: the same question gives the same numbers.

    Raises ValueError, in words, when the air on record is too short to say anything.
    """
    crowd = ensemble(question, members, days)
    return replace(told(crowd), dangers=_dangers(crowd))


def _dangers(crowd: Ensemble) -> Dangers | None:
    """What may harm it; None where its faces cannot be followed."""
    asked = crowd.question
    try:
        return dangers.of(
            crowd,
            asked.thicknesses,
            asked.sapwood,
            clean_since_ms=asked.clean_since_ms,
            mould_found_ms=asked.mould_found_ms,
            prongs=asked.prongs,
        )
    except ValueError:
        return None


def _spread(now: int, last: int) -> NDArray[np.intp]:
    """Return moments for profiles: evenly over what was, now, and closer together at first over what is to come."""
    past = np.linspace(0.0, now, PROFILES_PAST)
    ahead = now + (last - now) * np.linspace(0.0, 1.0, PROFILES_AHEAD) ** 2
    return np.unique(np.rint(np.concatenate([past, ahead])).astype(np.intp))


def told(crowd: Ensemble) -> Projection:
    """Say what an ensemble comes to."""
    question, fitted, boards, at_ms = crowd.question, crowd.fitted, crowd.boards, crowd.at_ms
    now = crowd.now
    two, profiles = question.piece.two_faces, crowd.profiles
    # The middle of the board, which edges and ends do not feel, is last to be fit; a scale weighs the whole.
    middle, shell, core = (
        100.0 * of(profiles, two_faces=two) for of in (diffusion.mean_of, diffusion.shell_of, diffusion.core_of)
    )
    mean, scale = crowd.mean_mc_pct, crowd.isotherm_scale
    target = float(sorption.emc_pct(question.destination_temperature_c, question.destination_rh_pct))
    fit_each = fitness.fit_each(middle, core - shell, scale * target, question.use)
    ready = fitness.ready_ms(at_ms, fit_each, now)
    emc = outlook.emc_pct(crowd)
    emc_here = outlook.emc_here_pct(crowd)
    driest, driest_ms = outlook.floor(emc_here, question.way.end_ms)
    held_at = outlook.holds(emc_here)
    memory_hours = limits.memory_hours(question.piece, boards)
    since = limits.air_counts_from(question, memory_hours)
    companion = rest.companion(crowd)
    off = middle[:, now] - scale * target
    met = fitness.met(question, at_ms, mean, off, (core - shell)[:, now], now, companion, scale * target, memory_hours)
    # From the (marked) face inwards; where both faces are followed, on to the other.
    nodes = profiles.shape[2]
    if two:
        depth = diffusion.node_positions_m(2.0, nodes, two_faces=True)
    else:
        depth, profiles = 1.0 - diffusion.node_positions_m(1.0, nodes)[::-1], profiles[:, :, ::-1]
    shown = _spread(now, len(at_ms) - 1)
    piece, way = question.piece, question.way
    loss = three(_loss_in_a_day(at_ms, mean, now))
    # Where no member's moisture suits, none has been found to (docs/verdicts.md).
    moisture = calibrated.as_held(float(met.moisture.mean())) if met.moisture.any() else 0.0
    said = (limits.soaked_note(piece, boards), crowd.air.note, limits.way_note(way), limits.sun_note(question))
    notes = tuple(note for note in said if note)
    return Projection(
        at_ms=at_ms,
        known_until_ms=question.way.end_ms,
        mean=Band.of(mean),
        shell=Band.of(shell),
        core=Band.of(core),
        emc=Band.of(emc),
        depth_fraction=depth,
        profile_ms=at_ms[shown],
        profiles=Band.of(100.0 * profiles[:, shown]),
        loss_pct_per_day=loss,
        target_mc_pct=target * question.piece.isotherm_share,
        off_target_mc_pct=three(off),
        off_target_together_mc_pct=three(_without_bias(off, boards)),
        ready_ms=_three_ms(ready, (0.1, 0.5, 0.9)),
        ready_by_ms=_three_ms(ready, (0.5, 0.8, 0.95)),
        date_floor_days=outlook.date_floor_days(crowd, ready),
        holds_mc_pct=three(held_at),
        floor_mc_pct=three(driest),
        floor_ms=int(np.median(driest_ms)),
        chance_at_rest=float(np.mean(np.abs(mean[:, now] - held_at) <= outlook.AT_REST_MC_PCT)),
        move=options.best_move(crowd, _three_ms(ready, (0.1, 0.5, 0.9))[1], float(fit_each[:, now].mean())),
        refuge=options.refuge(crowd, loss[1]),
        history=(),
        boards_taught=question.believed.boards if question.believed else 0,
        legs=tuple((question.way.end_ms + leg.first_day * MS_PER_DAY, leg.name) for leg in question.plan),
        member_ms=at_ms[now::7],
        member_mc_pct=mean[:, now::7],
        chance_fit=fit_each.mean(axis=0),
        chance_moisture=moisture,
        chance_steady=_share(met.steady),
        chance_level=_share(met.level),
        chance_room=None if met.room is None else calibrated.as_held(float(met.room.mean())),
        fit_members=met.all_known,
        rest_mc_pct=None if companion is None else three(companion.mean_mc_pct[:, companion.now]),
        room_mc_pct=_room(question, companion),
        tells=telling.tells(crowd, _asked(crowd, off, (core - shell)[:, now], companion, scale * target, ready)),
        plateau=rest.plateau_of(crowd, companion),
        pin_gap_mc_pct=fitness.pin_gap(question, memory_hours),
        wanted_mc_pct=fitness.wanted(target * question.piece.isotherm_share, question.use),
        chance_ready=float(np.mean(np.isfinite(ready))),
        chance_fit_now=calibrated.of_all(
            float(met.all_known.mean()), (moisture, _share(met.level), _share(met.steady))
        ),
        oven_dry_mass_kg=three(np.exp(boards[:, 0])),
        measured=fitted.measured,
        memory_days=(len(question.way.known) - since) / 24.0,
        air_measured_share=float(question.way.known[since:].mean()),
        frozen_hours=int(limits.outside(question.way)[since:].sum()),
        mass_strain_sd=fitted.mass_strain_sd,
        notes=notes,
    )


def _asked(
    crowd: Ensemble, off: Array, gap: Array, companion: rest.Companion | None, target: Array, ready: Array
) -> dict[str, Array]:
    """The figure of each member by which each condition is judged: what a measurement may narrow."""
    asked = {MOISTURE: off, LEVEL: gap}
    drift = fitness.own_drift(crowd.question, crowd.at_ms, crowd.mean_mc_pct, crowd.now, companion)
    if drift is not None:
        asked[STEADY] = drift
    if companion is not None:
        asked[ROOM] = companion.mean_mc_pct[:, companion.now] - target
    if np.isfinite(ready).mean() >= SOLVED_SHARE:
        latest = ready[np.isfinite(ready)].max()
        asked[DATE] = (np.minimum(ready, latest) - crowd.question.way.end_ms) / MS_PER_DAY
    return asked


def _share(met: NDArray[np.bool_] | None) -> float | None:
    return None if met is None else float(met.mean())


def _room(question: Question, companion: rest.Companion | None) -> tuple[float, float] | None:
    """The least and the most that a piece at rest there holds over the days that the use asks of the room [%MC]."""
    if companion is None or question.use.room_tolerance_mc_pct is None:
        return None
    days = companion.around(question.use.room_days, question.use.room_ahead_days)
    if days is None:
        return None
    middle = np.median(days, axis=0)
    return float(middle.min()), float(middle.max())


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


def _three_ms(ready: Array, shares: tuple[float, ...]) -> tuple[int | None, int | None, int | None]:
    first, second, third = fitness.ready_by_ms(ready, shares)
    return first, second, third
