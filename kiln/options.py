"""What could be done about a board, each with what would come of it: stay, move, more air, resaw."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kiln import diffusion, drying, fitness, lying, sorption, stress
from kiln.ensemble import Ensemble, State, time_ahead
from kiln.lanes import LANES
from kiln.lying import Spell
from kiln.question import Leg, Question
from kiln.records import Option, three
from shared.units import MS_PER_DAY, Array

SOON_DAYS = 45  # a date nearer than this needs no move; ours
CANDIDATE_DAYS = (0, 7, 14, 21, 30, 45, 60, 90, 120, 150, 180, 240)  # on which a move is tried
MAY_BE_FIT = 0.2  # chance that a board is fit already, from which on no move is advised; ours
SHOCK_DAYS = 3  # over which the greatest loss after a change is looked for
BETTER_DAYS = 7  # sooner than by staying, or it is not worth carrying
FAN_M_S = 1.0  # over the wood, of a fan that somebody puts up; ours
THICK_M = 0.016  # from which on resawing in two is a thought; ours
SUDDEN_TIMES = 2.0  # the loss of leaving it, from which on a change is called sudden; ours
LIKELY_TIMES = 5.0  # from which on it is likely to check the wood; ours
LEAST_PACE_PCT_PER_DAY = 0.1  # of a board left where it is; of less no multiple is told; ours


@dataclass(frozen=True)
class _Way:
    """The days from a change on: of the middle of the board [members, days; %MC] and of the whole."""

    first_day: int
    mean: Array
    middle: Array
    gap: Array  # core less shell


def options(crowd: Ensemble) -> tuple[Option, ...]:
    """Return what could be done, leaving it first."""
    question = crowd.question
    here, now = question.here, crowd.state_now
    found = [_told(crowd, question, _stay(crowd), "leave it here")]
    if question.plan:
        name = f"as planned: {', then '.join(leg.name for leg in question.plan)}"
        found = [_told(crowd, question, _stay(crowd), name, done_on=question.plan[0].first_day)]
        found.append(_told(crowd, question, _followed(crowd, question, now, (here,)), "leave it here"))
    for leg in question.elsewhere:
        found.append(_told(crowd, question, _followed(crowd, question, now, (leg,)), f"to {leg.name} now"))
        later = _best_day(crowd, leg)
        if later:
            name = f"to {leg.name} in {later} days"
            found.append(_told(crowd, question, _moved(crowd, leg, later, slice(None)), name))
    fan = replace(here.spell, lying=replace(here.spell.lying, air_speed_m_s=FAN_M_S))
    slower = here.spell.lying.air_speed_m_s is None or here.spell.lying.air_speed_m_s < FAN_M_S
    if slower and here.spell.lying.rest in (*lying.STACKED, lying.FREE):
        way = _followed(crowd, question, now, (replace(here, spell=fan),))
        found.append(_told(crowd, question, way, f"a fan, {FAN_M_S:g} m/s over the wood"))
    if question.piece.thickness_m >= THICK_M:
        found.append(_resawn(crowd))
    return tuple(found)


def best_move(crowd: Ensemble, ready_here_ms: int | None, chance_fit_now: float) -> Option | None:
    """Return the move to another place of the yard by which a board is fit soonest without being harmed.

    None where it is fit soon where it is, or no place makes it fit sooner; nor where it may well be fit already, so
    that measuring it tells more than carrying it about.
    """
    now_ms = crowd.question.way.end_ms
    if chance_fit_now > MAY_BE_FIT:
        return None
    if ready_here_ms is not None and ready_here_ms - now_ms <= SOON_DAYS * MS_PER_DAY:
        return None
    found = []
    for leg in crowd.question.elsewhere:
        day = _best_day(crowd, leg)
        if day is not None:
            found.append(_told(crowd, crowd.question, _moved(crowd, leg, day, slice(None)), f"to {leg.name}"))
    fit = [one for one in found if one.ready_ms[1] is not None]
    best = min(fit, key=lambda one: one.ready_ms[1] or 0, default=None)
    if best is None or best.ready_ms[1] is None:
        return None
    sooner = ready_here_ms is None or best.ready_ms[1] < ready_here_ms - BETTER_DAYS * MS_PER_DAY
    return best if sooner else None


def refuge(crowd: Ensemble, loss_pct_per_day: float) -> Option | None:
    """Return the place of the yard in which a board that loses too much would lose as much as it bears, and no more.

    None where it does not lose too much, no limit is known, or no place is mild enough: of those that are, the driest.
    """
    piece, question = crowd.question.piece, crowd.question
    most = stress.survived(piece.species.botanical_name, piece.thickness_m, question.own_loss)
    if most is None or loss_pct_per_day <= most.pct_per_day:
        return None
    found = [
        _told(crowd, question, _followed(crowd, question, crowd.state_now, (leg,)), f"to {leg.name}")
        for leg in question.elsewhere
    ]
    mild = [one for one in found if one.loss_pct_per_day[2] <= most.pct_per_day]
    return max(mild, key=lambda one: one.loss_pct_per_day[1], default=None)


def _best_day(crowd: Ensemble, leg: Leg) -> int | None:
    """The day of a move that makes a board fit soonest, of those on which it would not be harmed; None: none does.

    Tried with one block of members.
    """
    some = slice(0, LANES)
    days = crowd.course.profiles.shape[1] - 1 - crowd.now
    best: tuple[float, int] | None = None
    for day in (day for day in CANDIDATE_DAYS if day < days - SHOCK_DAYS):
        told = _told(crowd, crowd.question, _moved(crowd, leg, day, some), "", some)
        if not _bears(crowd.question, told) or told.ready_ms[1] is None:
            continue
        if best is None or told.ready_ms[1] < best[0]:
            best = told.ready_ms[1], day
    return best[1] if best else None


def _bears(question: Question, told: Option) -> bool:
    """Whether a board bears a change: dry enough to be brought in, or within the loss that its wood survives."""
    if told.mc_pct[1] <= question.limits.move_in_below:
        return True
    piece = question.piece
    most = stress.survived(piece.species.botanical_name, piece.thickness_m, question.own_loss)
    return most is not None and told.loss_pct_per_day[2] <= most.pct_per_day


def _stay(crowd: Ensemble) -> _Way:
    two, ahead = crowd.question.piece.two_faces, slice(crowd.now, None)
    profiles = crowd.profiles[:, ahead]
    return _way(0, crowd.mean_mc_pct[:, ahead], profiles, two)


def _way(first_day: int, mean: Array, profiles: Array, two_faces: bool) -> _Way:
    middle, shell, core = (
        100.0 * of(profiles, two_faces=two_faces) for of in (diffusion.mean_of, diffusion.shell_of, diffusion.core_of)
    )
    return _Way(first_day, mean, middle, core - shell)


def _moved(crowd: Ensemble, leg: Leg, day: int, some: slice) -> _Way:
    """A board that stays where it is for some days, and then goes elsewhere."""
    at = crowd.now + day
    state = crowd.course.profiles[some, at], crowd.course.short[some, at]
    return _followed(crowd, crowd.question, state, (replace(leg, first_day=day),), day, some)


def _followed(
    crowd: Ensemble,
    question: Question,
    state: State,
    legs: tuple[Leg, ...],
    begin: int = 0,
    some: slice = slice(None),
) -> _Way:
    """What comes of other legs than those of the ensemble, from a state after ``begin`` days on."""
    days = crowd.course.profiles.shape[1] - 1 - crowd.now
    ahead = time_ahead(question, crowd.boards[some], state, legs, days, begin)
    two = question.piece.two_faces
    first = diffusion.Course(state[0][:, None], state[1][:, None])
    course = first.then(ahead.course)
    lapse = crowd.lapse[some, crowd.now + begin :]
    profiles = course.profiles + lapse[:, :, None]
    return _way(begin, 100.0 * (course.means(two_faces=two) + lapse), profiles, two)


def _resawn(crowd: Ensemble) -> Option:
    """Sawn in two through the thickness now, and left where it is: one of the halves."""
    question = crowd.question
    old = question.piece.spells[-1]
    half = Spell(old.first_hour, old.thickness_m / 2.0, old.lying, slice_left=(0.0, 0.5))
    piece = replace(
        question.piece,
        spells=(*question.piece.spells, half),
        thickness_m=question.piece.thickness_m / 2.0,
    )
    # What it weighs is halved with its thickness, so its density stays.
    boards = crowd.boards.copy()
    boards[:, 0] += np.log(0.5)
    profiles, short = crowd.state_now
    whole = profiles if question.piece.two_faces else np.concatenate([profiles[:, :0:-1], profiles], axis=1)
    state = drying.changed(whole, piece, boards, half), short
    thin = replace(question, piece=piece)
    leg = replace(question.here, spell=replace(half, slice_left=None))
    way = _followed(replace(crowd, boards=boards), thin, state, (leg,))
    return _told(crowd, thin, way, "resaw it in two now")


def _told(
    crowd: Ensemble, question: Question, way: _Way, name: str, some: slice = slice(None), done_on: int = 0
) -> Option:
    """Say what comes of one way; ``done_on``: on which of its days the thing is done, after which it shocks."""
    target = float(sorption.emc_pct(question.destination_temperature_c, question.destination_rh_pct))
    at_ms = question.way.end_ms + (way.first_day + np.arange(way.mean.shape[1], dtype=np.int64)) * MS_PER_DAY
    fit = fitness.fit_each(way.middle, way.gap, crowd.isotherm_scale[some] * target, question.use)
    ready = fitness.ready_ms(at_ms, fit, 0)
    first, middle, last = fitness.ready_by_ms(ready, (0.1, 0.5, 0.9))
    done_on = min(done_on, way.mean.shape[1] - 2)
    losses = -np.diff(way.mean[:, done_on : done_on + SHOCK_DAYS + 1], axis=1)
    return Option(
        name,
        int(at_ms[done_on]),
        (first, middle, last),
        float(np.mean(np.isfinite(ready))),
        three(way.mean[:, done_on]),
        three(losses.max(axis=1)),
        three(way.gap[:, done_on:].max(axis=1)),
        three(way.mean[:, -1]),
    )


def sudden(loss_pct_per_day: float, left_pct_per_day: float) -> str:
    """Say what a loss [%MC/day] may do of which no limit is known, if it is many times that of leaving the board where
    it is; empty: it is not. The multiples are our judgement.
    """
    if left_pct_per_day < LEAST_PACE_PCT_PER_DAY or loss_pct_per_day < SUDDEN_TIMES * left_pct_per_day:
        return ""
    times = loss_pct_per_day / left_pct_per_day
    harm = "likely to check it" if times >= LIKELY_TIMES else "it may check it"
    return f"That is {times:.0f} times its pace if left here: {harm}, dense or thick wood first (judgement)"
