"""Where a board's place would have it by now: a piece of the same wood that has always lain there.

Air swings, and wood follows it late. How far a board is from rest, how much of a change in its weight is the air's own
doing, and whether a room has been right for days are all asked of a companion: a piece like each member of the
ensemble, marched by the same solver through the record of the place where the board is now, from a start at rest. So
what is told is the plate's lagged moisture, not what the hygrometer says this minute.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kiln import air as airs
from kiln import diffusion, drying, outlook
from kiln import forecast_limits as limits
from kiln.ensemble import Ensemble, time_ahead
from kiln.lanes import LANES
from kiln.plateau import Plateau, plateau
from kiln.question import Question
from shared.units import MS_PER_HOUR, S_PER_HOUR, Array

AHEAD_DAYS = 7  # further than any use asks for the room
MEMORIES = 1.5  # times over which a start at rest must have been forgotten; judgement
LONGEST_DAYS = 180  # a thicker board follows nothing quicker; judgement
ABOVE_REST = 0.005  # [kg/kg] of a start that goes on to rest
LONGEST_FILM_HOURS = 14 * 24  # what a film, a wrap or a case adds at most before it is called slow; judgement
LEAST_KNOWN_SHARE = 0.5  # of the record's hours; with less it is no record of that air; judgement


@dataclass(frozen=True)
class Companion:
    """Pieces like the members of an ensemble, at rest where it lies, at the end of each day of logged air and ahead."""

    at_ms: NDArray[np.int64]
    mean_mc_pct: Array  # [members, moments; %MC]
    now: int  # the moment of the last hour of logged air

    def around(self, past_days: float, ahead_days: float) -> Array | None:
        """Its mean over so many days until now and after [members, moments; %MC]; None: not followed so long."""
        first, last = self.now - round(past_days), self.now + round(ahead_days)
        return self.mean_mc_pct[:, first : last + 1] if first >= 0 and last < len(self.at_ms) else None

    def swing(self, moments_ms: NDArray[np.int64]) -> Array:
        """By which share of their mass pieces at rest differ from now at earlier moments [moments]; middle member.

        Before the record begins it is taken as it was at its beginning.
        """
        mass = np.median(1.0 + self.mean_mc_pct / 100.0, axis=0)
        return np.asarray(np.interp(moments_ms, self.at_ms, mass) / mass[self.now] - 1.0)


def companion(crowd: Ensemble) -> Companion | None:
    """Return the companion of an ensemble; None where the air of its place is hardly on record."""
    question = crowd.question
    record = _record(question, limits.memory_hours(question.piece, crowd.boards))
    if record is None:
        return None
    here = question.here.spell
    piece = replace(question.piece, spells=(replace(here, first_hour=0),))
    alike = replace(question, piece=piece, plan=())
    hours = len(record.at_ms)
    boards = _at_rest(crowd, record)
    days = np.unique(np.append(np.arange(hours % 24, hours + 1, 24), hours)).astype(np.int64)
    rh_pct = drying.true_rh_pct(boards, record.rh_pct[None], record.spread_rh_pct)
    t_c = np.tile(record.temperature_c, (len(boards), 1))
    sun = alike.sun_w_m2(int(record.at_ms[0]), hours)
    sun = None if sun is None else np.tile(sun, (len(boards), 1))
    steps = diffusion.AirSteps(t_c, rh_pct, np.full(hours, float(S_PER_HOUR)), sun)
    past = drying.follow(piece, boards, steps, days)
    state = past.profiles[:, -1], past.short[:, -1]
    ahead = time_ahead(alike, boards, state, (alike.here,), AHEAD_DAYS)
    mean = 100.0 * past.then(ahead.course).means(two_faces=piece.two_faces)
    at_ms = np.concatenate([record.at_ms[0] + days * MS_PER_HOUR, ahead.at_ms]).astype(np.int64)
    return Companion(at_ms, mean, len(days) - 1) if np.isfinite(mean).all() else None


def _record(question: Question, memory_hours: float) -> airs.AirHours | None:
    """The newest stretch of the place's own air that ends with the board's way, holes filled."""
    record, end_ms = question.record, question.way.end_ms
    hours = round(min(max(MEMORIES * memory_hours, 30 * 24.0), LONGEST_DAYS * 24.0))
    chosen = (record.at_ms >= end_ms - hours * MS_PER_HOUR) & (record.at_ms < end_ms)
    known = record.known & chosen
    if not known.any():
        return None
    chosen &= record.at_ms >= record.at_ms[known.argmax()]
    part = airs.AirHours(*(getattr(record, name)[chosen] for name in airs.AirHours.__dataclass_fields__))
    if part.known.mean() < LEAST_KNOWN_SHARE or part.end_ms != end_ms:
        return None
    return airs.fill_holes(part)


def _at_rest(crowd: Ensemble, record: airs.AirHours) -> Array:
    """The members as they would begin: as wet as the mean of that air holds them, and level through their thickness."""
    rh_pct = drying.true_rh_pct(crowd.boards, record.rh_pct[None], record.spread_rh_pct)
    emc = outlook.emc_or_nearest(record.temperature_c[None], rh_pct).mean(axis=1) * crowd.isotherm_scale
    boards = crowd.boards.copy()
    boards[:, 1], boards[:, drying.START_GRADIENT] = np.log(emc / 100.0), 0.0
    return boards


def plateau_of(crowd: Ensemble, companion: Companion | None) -> Plateau | None:
    """How near its own resting mass a board stands by its weigh-ins since it last lay otherwise; None: there are none.

    What the air's own swing did to a piece at rest in the meantime is taken off each weight.
    """
    question = crowd.question
    begun_ms = int(question.way.at_ms[0]) + question.piece.spells[-1].first_hour * MS_PER_HOUR
    since_ms = max(question.here_since_ms, begun_ms)
    weighed = [d for d in question.data if d.kind == "weigh-in" and not d.bound and d.at_ms >= since_ms]
    data = {d.at_ms: d for d in weighed if d.cut_dry_kg == weighed[-1].cut_dry_kg}
    if not data:
        return None
    at_ms = np.array(sorted(data), dtype=np.int64)
    found = [data[one] for one in at_ms.tolist()]
    mass, error = np.array([d.value for d in found]), np.array([np.hypot(d.error, d.common_error) for d in found])
    swing = np.zeros(len(at_ms)) if companion is None else companion.swing(at_ms)
    tau_days = slowest_days(crowd, question.way)
    if not np.isfinite(tau_days):
        return None
    return plateau(at_ms, mass, error, tau_days, swing, question.limits.plateau / 100.0)


def slowest_days(crowd: Ensemble, air: airs.AirHours) -> float:
    """Time in which the slower members lose all but 1/e of what they stand above rest by, in steady air [day].

    Found by marching some of them in the mean of the given air, from a little above where it holds them: the film, a
    coat and a stack's own air count as they do everywhere else. The p90 of the members.
    """
    some = crowd.boards[:LANES].copy()
    piece = replace(crowd.question.piece, spells=(replace(crowd.question.here.spell, first_hour=0),))
    t_c, rh_pct = np.full((1, 1), air.temperature_c.mean()), drying.true_rh_pct(some, air.rh_pct.mean(keepdims=True))
    rest = outlook.emc_or_nearest(t_c, rh_pct)[:, 0] / 100.0 * crowd.isotherm_scale[:LANES]
    some[:, 1], some[:, drying.START_GRADIENT] = np.log(rest + ABOVE_REST), 0.0
    hours = round(limits.memory_hours(piece, crowd.boards)) + LONGEST_FILM_HOURS
    record = np.unique(np.geomspace(1.0, hours, 60).astype(np.int64))
    steps = diffusion.AirSteps(
        np.full((LANES, hours), t_c[0, 0]), np.tile(rh_pct, hours), np.full(hours, float(S_PER_HOUR))
    )
    mean = drying.follow(piece, some, steps, record).means(two_faces=piece.two_faces)
    left = np.minimum.accumulate((mean - rest[:, None]) / ABOVE_REST, axis=1)
    found = [np.interp(-np.exp(-1.0), -row, record) for row in left if np.isfinite(row).all()]
    return float(np.quantile(found, 0.9) / 24.0) if found else float("inf")
