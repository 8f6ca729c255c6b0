"""A crowd of believable boards, each in air of its own: through the past that was logged, and the time ahead.

Each member is another board that the measurements allow (``kiln.estimation``) in another air (``kiln.air_ahead``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kiln import air as airs
from kiln import diffusion, drying, estimation
from kiln import forecast_limits as limits
from kiln.air_ahead import AHEAD_STEP_HOURS, AirAhead, air_ahead
from kiln.question import Leg, Question, steps_of
from shared.units import MS_PER_DAY, MS_PER_HOUR, S_PER_HOUR, Array

MEMBERS = 64  # whole blocks of the solver's lanes
LOOK_AHEAD_DAYS = 365
SOLVED_SHARE = 0.9  # of the ensemble; with fewer its bands would no longer hold what they say
SEED = 20
_PER_DAY = 24 // AHEAD_STEP_HOURS


@dataclass(frozen=True)
class Ahead:
    """The time to come: its moments, the course of each member at them, and the air that each has."""

    at_ms: NDArray[np.int64]
    course: diffusion.Course
    air: AirAhead


@dataclass(frozen=True)
class Ensemble:
    """Boards [members, unknowns], their course at ``at_ms``, of which ``now`` is the last hour of logged air."""

    question: Question
    fitted: estimation.Fit
    boards: Array
    at_ms: NDArray[np.int64]
    course: diffusion.Course  # as the model has it
    lapse: Array  # what the model misses of each board, to be added to all of its thickness [members, moments; kg/kg]
    now: int
    air: AirAhead  # of the time ahead, as each member has it

    @property
    def isotherm_scale(self) -> Array:
        """How much of the printed isotherm each member holds [members]."""
        return np.asarray(np.exp(self.boards[:, 5]) * self.question.piece.isotherm_share)

    @property
    def mean_mc_pct(self) -> Array:
        """Of the whole board, as a scale has it [members, moments; %MC]."""
        return 100.0 * (self.course.means(two_faces=self.question.piece.two_faces) + self.lapse)

    @property
    def state_now(self) -> State:
        """Where the members stand at the last hour of logged air, as the model has it."""
        return self.course.profiles[:, self.now], self.course.short[:, self.now]

    @property
    def profiles(self) -> Array:
        """Through the thickness in the middle of the board [members, moments, nodes; kg/kg]."""
        return self.course.profiles + self.lapse[:, :, None]


def ensemble(question: Question, members: int = MEMBERS, days: int = LOOK_AHEAD_DAYS) -> Ensemble:
    """Return the refit of a board and its believable members through past and future. Deterministic.

    Raises ValueError, in words, when the air on record is too short to say anything, or no member could be solved.
    """
    fitted = refit(question)
    boards = limits.soaked_at_most(question.piece, _drawn(question, fitted, members))
    past_ms, past, seen = _past(question, boards)
    state = past.profiles[:, -1], past.short[:, -1]
    ahead = time_ahead(question, boards, state, (question.here, *question.plan), days)
    course, at_ms = past.then(ahead.course), np.concatenate([past_ms, ahead.at_ms])
    solved: NDArray[np.bool_] = np.asarray(np.isfinite(course.profiles).all(axis=(1, 2)))
    if solved.mean() < SOLVED_SHARE:
        raise ValueError("the drying model found no answer for this board in this air")
    taken = _stand_ins(solved)
    boards, course = boards[taken], diffusion.Course(course.profiles[taken], course.short[taken])
    means = course.means(two_faces=question.piece.two_faces)
    read = estimation.Likelihood(question.piece, list(question.data)).seen(seen)[taken]
    lapse = fitted.lapse(boards, read, at_ms, means, SEED)
    # What is missed never takes more than half of the water that there is.
    lapse = np.maximum(lapse, -0.5 * np.minimum(means, course.profiles.min(axis=2)))
    return Ensemble(question, fitted, boards, at_ms, course, lapse, len(past_ms) - 1, ahead.air.of(taken))


def _stand_ins(solved: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Which member stands in each place: itself, or the next that has an answer: boards of a lot stay in step."""
    found = np.flatnonzero(solved)
    following = np.searchsorted(found, np.arange(len(solved))) % len(found)
    return np.asarray(found[following])


def refit(question: Question) -> estimation.Fit:
    """Return what a board's measurements say of it."""
    gaps, steps = question.way.spread_rh_pct, data_steps(question)
    told = question.believed
    return estimation.fit(
        question.piece,
        hourly(question),
        list(question.data),
        steps,
        prior=told.prior if told else None,
        gap_rh_pct=gaps,
        lapse_factor=told.lapse_factor if told else 1.0,
    )


def _drawn(question: Question, fitted: estimation.Fit, members: int) -> Array:
    """Believable boards; member for member alike to those of the same lot in what the lot shares."""
    told = question.believed
    if told is None:
        return fitted.draw(members, SEED)
    return fitted.draw(members, SEED, told.own_seed, told.common_share)


def hourly(question: Question) -> diffusion.AirSteps:
    """The air of a board's way as one row of hours, with the sun that reached it."""
    way = question.way
    sun = question.sun_w_m2(int(way.at_ms[0]), len(way.at_ms))
    return diffusion.AirSteps(
        way.temperature_c[None],
        way.rh_pct[None],
        np.full(len(way.at_ms), float(S_PER_HOUR)),
        None if sun is None else sun[None],
    )


def data_steps(question: Question) -> NDArray[np.int64]:
    """After which hour of the way each measurement was made."""
    return steps_of([datum.at_ms for datum in question.data], question.way)


def _past(question: Question, boards: Array) -> tuple[NDArray[np.int64], diffusion.Course, diffusion.Course]:
    """The course at the end of each day so far and at the last logged hour, and at each measurement."""
    way = question.way
    hours = len(way.at_ms)
    t = airs.members_c(way, len(boards), SEED)
    days = np.unique(np.concatenate([[0], np.arange(hours % 24, hours + 1, 24), [hours]])).astype(np.int64)
    measured = data_steps(question)
    record = np.unique(np.concatenate([days, measured]))
    sun = question.sun_w_m2(int(way.at_ms[0]), hours)
    sun = None if sun is None else np.tile(sun, (len(boards), 1))
    rh = drying.true_rh_pct(boards, way.rh_pct[None], way.spread_rh_pct)
    steps = diffusion.AirSteps(t, rh, np.full(hours, float(S_PER_HOUR)), sun)
    found = drying.follow(question.piece, boards, steps, record)
    daily, read = (found.at(np.searchsorted(record, some)) for some in (days, measured))
    return np.asarray(way.at_ms[0] + days * MS_PER_HOUR, dtype=np.int64), daily, read


State = tuple[Array, Array]  # profiles [members, nodes] and ``short`` [members, 3] at one moment


def time_ahead(
    question: Question, boards: Array, state: State, legs: tuple[Leg, ...], days: int, begin: int = 0
) -> Ahead:
    """Carry boards on, leg by leg, from their state after ``begin`` days; the course is that at the end of each day.

    ``days`` are counted from the last logged hour, as the legs' first days are; the first leg begins by ``begin``.
    """
    legs = tuple(leg for leg in legs if leg.first_day < days)
    firsts = [max(leg.first_day, begin) for leg in legs]
    courses, airs_ahead = [], []
    for leg, first, end in zip(legs, firsts, [*firsts[1:], days], strict=True):
        course, drawn = _leg(question, boards, state, leg, first, end - first)
        state = course.profiles[:, -1], course.short[:, -1]
        courses.append(course)
        airs_ahead.append(drawn)
    whole = courses[0]
    for course in courses[1:]:
        whole = whole.then(course)
    at_ms = question.way.end_ms + np.arange(begin + 1, days + 1, dtype=np.int64) * MS_PER_DAY
    return Ahead(at_ms, whole, AirAhead.joined(airs_ahead))


def _leg(
    question: Question, boards: Array, state: State, leg: Leg, first_day: int, days: int
) -> tuple[diffusion.Course, AirAhead]:
    begin_ms = question.way.end_ms + first_day * MS_PER_DAY
    drawn = air_ahead(leg.record, begin_ms, len(boards), days, SEED, leg.climate)
    # The probe that misreads the air today misreads the record from which tomorrow's is drawn.
    drawn = replace(drawn, rh_pct=drying.true_rh_pct(boards, drawn.rh_pct))
    record = np.arange(_PER_DAY, days * _PER_DAY + 1, _PER_DAY, dtype=np.int64)
    rows = np.arange(len(boards), dtype=np.int64)
    dt_s = np.full(drawn.temperature_c.shape[1], float(AHEAD_STEP_HOURS * S_PER_HOUR))
    sun = question.sun_w_m2(begin_ms, days * 24) if leg.spell.lying.in_sun else None
    if sun is not None:
        sun = np.tile(sun.reshape(-1, AHEAD_STEP_HOURS).mean(axis=1), (len(boards), 1))
    steps = diffusion.AirSteps(drawn.temperature_c, drawn.rh_pct, dt_s, sun)
    start = drying.changed(state[0], question.piece, boards, leg.spell)
    who = drying.members(question.piece, boards, rows, leg.spell)
    found = diffusion.march_whole(start, who, steps, record, short=state[1], two_faces=question.piece.two_faces)
    return found, drawn
