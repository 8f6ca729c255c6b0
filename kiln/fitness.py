"""Fit for its use or not: the conditions of a use, held against each member of an ensemble."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from kiln import sorption
from kiln.question import Question
from kiln.rest import Companion
from shared.tables import Use
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

HELD_DAYS = 3  # fit on this many days running before it counts
TOGETHER_MS = 3 * MS_PER_DAY  # pins read so close together are of one profile; judgement
# Mean of a parabola from 0 at the face to 1 at mid-thickness over the middle third, less that over the outer tenths.
CORE_LESS_SHELL = (1.0 - (1.0 / 3.0) ** 2 / 3.0) - (1.0 - (1.0 - 0.8**3) / (3.0 * 0.2))
TWO_DEPTHS_SHARE = 0.3  # of the half thickness, between two pin readings that tell a gradient; judgement


@dataclass(frozen=True)
class Met:
    """Which members meet each condition of a use now [members]; None: nothing tells of that one yet."""

    moisture: NDArray[np.bool_]
    level: NDArray[np.bool_] | None
    steady: NDArray[np.bool_] | None
    room: NDArray[np.bool_] | None
    room_asked: bool  # whether the use asks for a room at all

    @property
    def all_known(self) -> NDArray[np.bool_]:
        """Which members meet every condition of which something is known [members]."""
        met = self.moisture.copy()
        for one in (self.level, self.steady, self.room):
            if one is not None:
                met &= one
        return met


def met(
    question: Question,
    at_ms: NDArray[np.int64],
    mean: Array,
    off_target: Array,
    gap: Array,
    now: int,
    rest: Companion | None,
    target: Array,
    memory_hours: float,
) -> Met:
    """Hold the conditions of a use against each member, as it is now.

    ``mean`` [members, moments; %MC] of the whole; ``off_target`` and ``gap``, core less shell, of its middle now
    [members; %MC]; ``target`` [members; %MC]: what the destination's air holds it at.
    """
    use, tolerance = question.use, question.use.tolerance_mc_pct
    low = target * sorption.adsorption_ratio() - tolerance
    moisture = (off_target <= tolerance) & (off_target + target >= low)
    return Met(
        np.asarray(moisture),
        _level(question, gap, memory_hours),
        _steady(question, at_ms, mean, now, rest),
        _room(use, rest, target),
        use.room_tolerance_mc_pct is not None,
    )


def _steady(
    question: Question, at_ms: NDArray[np.int64], mean: Array, now: int, rest: Companion | None
) -> NDArray[np.bool_] | None:
    """Which members have kept still over the use's steady days; None when the way is shorter than that."""
    own = own_drift(question, at_ms, mean, now, rest)
    return None if own is None else np.asarray(np.abs(own) <= question.limits.steady)


def own_drift(
    question: Question, at_ms: NDArray[np.int64], mean: Array, now: int, rest: Companion | None
) -> Array | None:
    """How far each member has moved over the use's steady days, beyond what the air did to a piece at rest [%MC].

    None when the way is shorter than that. Without a companion all of the change counts as the piece's own.
    """
    days = question.use.steady_days
    since_ms = at_ms[now] - days * MS_PER_DAY
    if since_ms < at_ms[0]:
        return None
    begin = int(np.searchsorted(at_ms, since_ms))
    drift = mean[:, now] - mean[:, begin]
    swung = rest.around(days, 0) if rest is not None else None
    if swung is not None:
        own = drift - (swung[:, -1] - swung[:, 0])
        # Wood between its two branches does not follow a swing that its companion followed: the lesser change counts.
        drift = np.where(np.abs(own) < np.abs(drift), own, drift)
    return np.asarray(drift)


def _room(use: Use, rest: Companion | None, target: Array) -> NDArray[np.bool_] | None:
    """Which members find the room right: a piece at rest in it near the target on each day just past and to come."""
    if use.room_tolerance_mc_pct is None or rest is None:
        return None
    days = rest.around(use.room_days, use.room_ahead_days)
    if days is None:
        return None
    most = target + use.room_tolerance_mc_pct
    least = target * sorption.adsorption_ratio() - use.room_tolerance_mc_pct
    return np.asarray(((days <= most[:, None]) & (days >= least[:, None])).all(axis=1))


def _level(question: Question, gap: Array, memory_hours: float) -> NDArray[np.bool_] | None:
    """Which members are level enough; None while the profile rests on the assumed flat start.

    Fresh-sawn and water-reclaimed wood does begin alike through its thickness: its refit has read its pins already,
    and knows its profile far better than they do. Re-sawn and part-seasoned wood brings a gradient that nobody has
    entered: until the time in which it fades has passed, only pin readings at two depths tell, and then it is they
    that are judged.
    """
    pins = pin_gap(question, memory_hours)
    if pins is not None:
        apart, sd = pins
        # The pins' spread is dealt out to the members by their own order, wide gaps to those that had wide ones.
        ranks = (np.argsort(np.argsort(gap)) + 0.5) / len(gap)
        gap = apart + sd * ndtri(ranks)
    elif not told_of_core(question, memory_hours):
        return None
    return np.asarray(np.abs(gap) <= question.use.gradient_mc_pct)


def told_of_core(question: Question, memory_hours: float) -> bool:
    """Whether a board began level, or has been followed for so long that how it began has faded."""
    known_start = question.piece.origin in ("fresh-sawn", "water-reclaimed")
    return known_start or len(question.way.at_ms) >= memory_hours / 2.0


def pin_gap(question: Question, memory_hours: float) -> tuple[float, float] | None:
    """Core less shell by the newest pins at two depths within a few days, with one standard error [%MC].

    The readings' difference, which the meter's bias leaves alone, is taken to core and shell along a parabola.
    Pins of so long ago that their gradient has faded meanwhile no longer count; nor does any where the core is told
    without them: two readings err by more than most uses allow (``docs/verdicts.md``).
    """
    if told_of_core(question, memory_hours):
        return None
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


def wanted(target_mc_pct: float, use: Use) -> tuple[float, float]:
    """Least and greatest moisture that the use takes: between where wood rests that gains and that loses water."""
    least = target_mc_pct * sorption.adsorption_ratio() - use.tolerance_mc_pct
    return max(least, 0.0), target_mc_pct + use.tolerance_mc_pct


def fit_each(mean: Array, gradient: Array, target: Array, use: Use) -> NDArray[np.bool_]:
    """True where a member [members, moments] suits the use: near its own EMC in the air it will live in."""
    wet = mean <= (target + use.tolerance_mc_pct)[:, None]
    dry = mean >= (target * sorption.adsorption_ratio() - use.tolerance_mc_pct)[:, None]
    return np.asarray(wet & dry & (np.abs(gradient) <= use.gradient_mc_pct))


def ready_ms(at_ms: NDArray[np.int64], fit_each: NDArray[np.bool_], now: int) -> Array:
    """First moment from now on from which each member stays fit for HELD_DAYS; infinite where none."""
    ahead = fit_each[:, now:]
    held = ahead.copy()
    for shift in range(1, HELD_DAYS):
        held[:, :-shift] &= ahead[:, shift:]
        held[:, -shift:] = False
    first = np.argmax(held, axis=1)
    return np.where(held.any(axis=1), at_ms[now:][first].astype(float), np.inf)


def ready_by_ms(ready: Array, shares: tuple[float, ...]) -> tuple[int | None, ...]:
    """Return when so many of the members have been fit, of their first moments; None: not within the look-ahead.

    Of n members in order the truth lies below the k-th with a chance of k / (n + 1).
    """
    ordered = np.append(np.sort(ready), np.inf)
    picks = [ordered[max(int(np.ceil(share * len(ordered))) - 1, 0)] for share in shares]
    return tuple(int(pick) if np.isfinite(pick) else None for pick in picks)
