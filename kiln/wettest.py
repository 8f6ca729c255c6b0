"""The wettest board of some, now and to come; and what a few measured boards say of the mean of all.

Boards of a lot are drawn alike in what they share, member for member: in each member the wettest is looked for, and
the band is that over members.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from kiln import fitness
from kiln.limits import USUAL, Limits
from kiln.records import Z80, Band, Projection
from shared.units import MS_PER_DAY, Array

WEEK_MS = 7 * MS_PER_DAY
LEAST_BOARDS = 2


@dataclass(frozen=True)
class Wettest:
    """The wettest of some boards, week by week."""

    boards: int
    likeliest: str  # the board that is the wettest now in most members
    share: float  # of the members in which it is
    at_ms: NDArray[np.int64]  # the newest moment that all boards have logged air of, and every week from then on
    mc_pct: Band  # its mean at those moments [%MC]
    goal_mc_pct: float | None  # dry enough to be brought in, or below that for its use; None: it is
    below_ms: tuple[int | None, int | None, int | None]  # p10, p50, p90 of when it is down there; None: not in a year


def wettest(boards: Sequence[tuple[str, Projection]], limits: Limits = USUAL) -> Wettest | None:
    """Return the wettest of some boards by name; None of fewer than two, or where they have no week in common."""
    if len(boards) < LEAST_BOARDS:
        return None
    begin_ms = max(int(made.member_ms[0]) for _, made in boards)
    until_ms = min(int(made.member_ms[-1]) for _, made in boards)
    if until_ms < begin_ms:
        return None
    at_ms = np.arange(begin_ms, until_ms + 1, WEEK_MS, dtype=np.int64)
    members = min(len(made.member_mc_pct) for _, made in boards)
    each = np.array([_at(made, at_ms, members) for _, made in boards])
    members_pct = each.max(axis=0)
    often = np.bincount(each[:, :, 0].argmax(axis=0), minlength=len(boards)) / members
    band = Band.of(members_pct)
    goal = _goal(float(band.p50[0]), (limits.move_in_below, min(made.wanted_mc_pct[1] for _, made in boards)))
    below = (None, None, None) if goal is None else below_ms(at_ms, members_pct, goal)
    likeliest = int(often.argmax())
    return Wettest(len(boards), boards[likeliest][0], float(often[likeliest]), at_ms, band, goal, below)


def _at(made: Projection, at_ms: NDArray[np.int64], members: int) -> Array:
    """The members of one board at some moments [members, moments; %MC]."""
    return np.array([np.interp(at_ms, made.member_ms, one) for one in made.member_mc_pct[:members]])


def _goal(now_pct: float, goals: tuple[float, float]) -> float | None:
    return next((goal for goal in goals if now_pct > goal), None)


def below_ms(
    at_ms: NDArray[np.int64], members_pct: Array, goal_pct: float
) -> tuple[int | None, int | None, int | None]:
    """When 10, 50 and 90 in 100 members [members, moments; %MC] have been down at a moisture content; None: later.

    Between two moments along the straight line.
    """
    down = members_pct <= goal_pct
    first = down.argmax(axis=1)
    rows = np.arange(len(members_pct))
    before = np.maximum(first - 1, 0)
    above, under = members_pct[rows, before], members_pct[rows, first]
    share = np.where(first > 0, (above - goal_pct) / np.where(above > under, above - under, 1.0), 0.0)
    reached = at_ms[before] + share * (at_ms[first] - at_ms[before])
    early, middle, late = fitness.ready_by_ms(np.where(down.any(axis=1), reached, np.inf), (0.1, 0.5, 0.9))
    return early, middle, late


def mean_of_all(
    sampled_pct: Sequence[float], in_all: int, common_sd_pct: float = 0.0
) -> tuple[float, float, float] | None:
    """The mean of all boards by those measured, p10, p50 and p90 [%MC]; None of fewer than two.

    ``common_sd_pct``: what the mean of the measured ones may itself be wrong by, one standard deviation [%MC]: what
    their figures err by alike is not in their spread.

    Student's t with the correction for a finite population: m ± t s / √n · √(1 - n / N). It holds for
    boards that were picked without looking.
    Source: Cochran, Sampling Techniques, 3rd ed. 1977, chapter 2, from memory.
    """
    count = len(sampled_pct)
    if count < LEAST_BOARDS:
        return None
    left = max(0.0, 1.0 - count / max(in_all, count))
    mean, error = float(np.mean(sampled_pct)), float(np.std(sampled_pct, ddof=1)) / np.sqrt(count)
    half = float(np.hypot(student.ppf(0.9, count - 1) * error * np.sqrt(left), Z80 * common_sd_pct))
    return mean - half, mean, mean + half
