"""Scores, gathered into cells: coverage, misses, interval scores, errors of dates, chances."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from boards import LOFT
from scoring import DAYS, MORE_DAYS, NEAR_EMC, OFFCUT, PLAIN, PRIOR, SHARES, Score, half_gone, half_over

ALPHA = 0.2  # of an 80 % band
FLOOR_APART_PCT = 1.5  # chances are judged only where the target lies so far from what this air brings the wood to
_AT = {share: i for i, share in enumerate(SHARES)}


@dataclass(frozen=True)
class Cell:
    """One target, day and kind of data; shares from 0 to 1."""

    target: str
    day: int
    kind: str
    n: int
    coverage: float
    truth_early: float  # share of boards ready before the band begins
    truth_late: float  # and after it ends
    coverage_50: float
    coverage_95: float
    interval: float  # Winkler, on the logarithm of days
    interval_prior: float
    median_error: float  # of the ready date, of boards ready within the look-ahead
    floor: float


def in_cell(score: Score, target: str) -> bool:
    """Whether a score belongs to a target's cells: 12 % is asked for in air that brings wood there."""
    return score.target == target and (target != "12" or score.climate == LOFT)


def band(score: Score, share: float) -> tuple[float, float]:
    """The middle ``share`` of the members' dates [days from the start]."""
    low, high = round((1.0 - share) / 2.0, 3), round((1.0 + share) / 2.0, 3)
    return score.quantiles[_AT[low]], score.quantiles[_AT[high]]


def covered(scores: list[Score], share: float) -> float:
    """Share of the true dates within the band, its ends included."""
    return float(np.mean([low <= one.ready <= high for one in scores for low, high in [band(one, share)]]))


def interval_score(score: Score) -> float:
    """Winkler's, in logarithms of days: width, and ten times what the truth lies beyond the band; less is better."""
    low, high = np.log(band(score, 1.0 - ALPHA))
    true = np.log(score.ready)
    return float(high - low + 2.0 / ALPHA * (max(low - true, 0.0) + max(true - high, 0.0)))


def date_error(score: Score) -> float:
    """Of the middle member's date, as a share of the true one; both in days from the start."""
    return abs(score.quantiles[_AT[0.5]] - score.ready) / score.ready


def _median_error(scores: list[Score]) -> float:
    errors = [date_error(one) for one in scores if not one.never]
    return float(np.median(errors)) if errors else float("nan")


def gathered(scores: list[Score], priors: list[Score], target: str, day: int, kind: str) -> Cell:
    """One cell of ``scores``, beside the prior's on the same boards and days."""
    floors = [one.floor_share for one in scores if np.isfinite(one.floor_share)]
    by_board = {(one.board, one.day, one.target): interval_score(one) for one in priors}
    beside = [by_board[one.board, one.day, one.target] for one in scores]
    return Cell(
        target, day, kind, len(scores), covered(scores, 0.8),
        float(np.mean([one.ready < band(one, 0.8)[0] for one in scores])),
        float(np.mean([one.ready > band(one, 0.8)[1] for one in scores])),
        covered(scores, 0.5), covered(scores, 0.95),
        float(np.mean([interval_score(one) for one in scores])), float(np.mean(beside)), _median_error(scores),
        float(np.median(floors)) if floors else float("nan"),
    )  # fmt: skip


def cells(every: list[Score]) -> list[Cell]:
    """The sixteen cells, and at the end all of them together."""
    priors = [one for one in every if one.kind == PRIOR]
    found, pooled = [], []
    for target in ("20", "12"):
        for kind in (PLAIN, OFFCUT):
            for day in DAYS:
                some = [one for one in every if in_cell(one, target) and one.day == day and one.kind == kind]
                if some:
                    found.append(gathered(some, priors, target, day, kind))
                    pooled += some
    return [*found, gathered(pooled, priors, "pooled", 0, "")]


def at_half(every: list[Score], target: str, kind: str, halfway: Callable[[Score], bool] = half_gone) -> list[Score]:
    """For each board its first score at which it was half way, where it was not ready yet."""
    closely = {one.board for one in every if one.day == MORE_DAYS[0]}  # asked about on the days in between too
    first: dict[int, Score] = {}
    for one in sorted(every, key=lambda score: score.day):
        if one.board in closely and in_cell(one, target) and one.kind == kind and halfway(one):
            first.setdefault(one.board, one)
    return list(first.values())


@dataclass(frozen=True)
class Half:
    """Errors at the moment when half of the water has left, or half of the time has passed."""

    half_of: str
    target: str
    kind: str
    n: int
    median_error: float
    coverage: float
    true_fraction: float  # of the whole time at which that moment came, median
    floor: float


def halves(every: list[Score]) -> list[Half]:
    """One for each target, kind of data and halfway moment."""
    found = []
    for name, halfway in (("water", half_gone), ("time", half_over)):
        for target in ("20", "12", NEAR_EMC):
            for kind in (PLAIN, OFFCUT):
                some = at_half(every, target, kind, halfway)
                if some:
                    found.append(_half(name, target, kind, some))
    return found


def _half(name: str, target: str, kind: str, some: list[Score]) -> Half:
    floors = [one.floor_share for one in some if np.isfinite(one.floor_share)]
    fraction = float(np.median([one.day / one.ready for one in some]))
    floor = float(np.median(floors)) if floors else float("nan")
    return Half(name, target, kind, len(some), _median_error(some), covered(some, 0.8), fraction, floor)


@dataclass(frozen=True)
class Ahead:
    """Moisture thirty days ahead [%MC]."""

    target: str
    kind: str
    day: int
    n: int
    median_error_pct: float
    coverage: float
    median_now_error_pct: float | None = None


def aheads(every: list[Score]) -> list[Ahead]:
    """At each scoring day, of the boards that were not ready for a target."""
    found = []
    for target in ("20", "12"):
        for kind in (PLAIN, OFFCUT, PRIOR):
            for day in DAYS:
                some = [one for one in every if in_cell(one, target) and one.day == day and one.kind == kind]
                if some:
                    error = float(np.median([abs(one.ahead_pct[1] - one.true_ahead_pct) for one in some]))
                    inside = float(np.mean([o.ahead_pct[0] <= o.true_ahead_pct <= o.ahead_pct[2] for o in some]))
                    now = float(np.median([abs(one.now_pct - one.true_now_pct) for one in some]))
                    found.append(Ahead(target, kind, day, len(some), error, inside, now))
    return found


@dataclass(frozen=True)
class Never:
    """The chance that a board will not be ready in the coming year, against what came."""

    kind: str
    n: int
    base_rate: float
    brier: float
    brier_base: float


def nevers(every: list[Score]) -> list[Never]:
    """Over both targets and both kinds of air, on the cells' days, where the answer is not a toss of a coin."""
    found = []
    for kind in (PLAIN, OFFCUT, PRIOR):
        some = [
            one
            for one in every
            if one.kind == kind
            and one.day in DAYS
            and one.target in ("20", "12")
            and abs(one.above_floor_pct) >= FLOOR_APART_PCT
        ]
        if some:
            truth = np.array([float(one.never) for one in some])
            said = np.array([one.chance_never for one in some])
            rate = float(truth.mean())
            brier = float(np.mean((said - truth) ** 2))
            found.append(Never(kind, len(some), rate, brier, rate * (1.0 - rate)))
    return found


def truly_in_cell(climate: str, target: str) -> bool:
    """Whether boards in such a climate are asked for a target."""
    return target == "20" or climate == LOFT
