"""What the product foretold of a synthetic board, held against what became of it.

Days count from the board's beginning, readings of a day at its end. Ready: the first day on which the mean of the
board's moisture over that day and the two before it is at or below the target, for truth and members alike. Asked are
boards that are not ready now, and of their members those that are not either. A date beyond the year that is looked
ahead counts as the end of that year.
"""

from __future__ import annotations

from typing import NamedTuple

import boards as synthetic
import numpy as np

from kiln import drying, ensemble, sorption

DAYS = (10, 25, 50, 90)  # on which every cell is scored
MORE_DAYS = (5, 15, 35, 70, 120, 160)  # and in between, to meet the moment at which half of the water is gone
TARGETS_PCT = {"20": 20.0, "12": 12.0}
NEAR_EMC, ABOVE_EMC_PCT = "emc+2.5", 2.5
HELD_DAYS = 3
FEWEST_WAITING = 8  # members that are not ready then, for quantiles of their dates
LOOK_AHEAD_DAYS = ensemble.LOOK_AHEAD_DAYS
AHEAD_DAYS = 30
PLAIN, OFFCUT, PRIOR = "weights+pins", "with offcut", "prior alone"
SHARES = (0.025, 0.10, 0.25, 0.50, 0.75, 0.90, 0.975)
FLOOR_DAYS = 30


class Score(NamedTuple):
    """One forecast of one date. Days from the board's start; %MC."""

    board: int
    climate: str
    kind: str
    day: int
    target: str
    ready: float  # the truth; of one never ready within the look-ahead the end of that
    never: bool  # in truth
    quantiles: tuple[float, ...]  # of the members' dates, at SHARES
    chance_never: float
    start_pct: float  # by the middle member
    now_pct: float
    target_pct: float
    true_now_pct: float
    true_ahead_pct: float  # AHEAD_DAYS on
    ahead_pct: tuple[float, float, float]  # the members': one in ten below, middle, one in ten above
    floor_share: float  # of section 3.1, in shares of the whole time
    above_floor_pct: float  # target over the least that this air brings this wood to


class Truth(NamedTuple):
    """What became of a board: when it was ready, and to what its air draws it."""

    ready: dict[str, float]
    emc_pct: float


def first_ready(mean_pct: np.ndarray, target_pct, first_day: int = 0) -> np.ndarray:
    """First day [boards] from ``first_day`` on at which the running mean is at or below the target; inf where none.

    ``mean_pct``: [boards, days] from day 0 on; ``target_pct``: one, or [boards, 1].
    """
    padded = np.concatenate([np.repeat(mean_pct[:, :1], HELD_DAYS - 1, axis=1), mean_pct], axis=1)
    total = np.cumsum(np.concatenate([np.zeros((len(padded), 1)), padded], axis=1), axis=1)
    running = (total[:, HELD_DAYS:] - total[:, :-HELD_DAYS]) / HELD_DAYS
    low = (running <= np.asarray(target_pct)) & (np.arange(running.shape[1]) >= first_day)
    return np.where(low.any(axis=1), np.argmax(low, axis=1).astype(float), np.inf)


def truth_of(board: synthetic.Board) -> Truth:
    """When a board really was ready for each target."""
    emc = float(board.own_emc_pct().mean())
    aims = {**TARGETS_PCT, NEAR_EMC: emc + ABOVE_EMC_PCT}
    course = board.course.mean_pct[None, :]
    return Truth({name: float(first_ready(course, aim)[0]) for name, aim in aims.items()}, emc)


def analytic_floor(start_pct: float, target_pct: float, emc_pct: float) -> float:
    """What 1 %MC that nobody can resolve makes of the date, as a share of the whole time; NaN near the EMC."""
    above = target_pct - emc_pct
    if above < 0.5 or start_pct <= target_pct:
        return float("nan")
    return float(1.0 / (above * np.log((start_pct - emc_pct) / above)))


def scores(board: synthetic.Board, truth: Truth, day: int, kind: str) -> list[Score]:
    """Ask the product at the end of ``day``; return a score for each target that the board has not reached."""
    question = board.question(day, data=kind != PRIOR, offcut=kind == OFFCUT)
    made = ensemble.ensemble(question, days=LOOK_AHEAD_DAYS)
    mean = made.mean_mc_pct
    assert len(made.at_ms) == day + LOOK_AHEAD_DAYS + 1, "the course is not by days"
    record_emc = _members_emc_pct(made)
    true = board.course.mean_pct
    found = []
    for name, ready in truth.ready.items():
        if ready <= day:
            continue
        aims = TARGETS_PCT[name] if name in TARGETS_PCT else (record_emc + ABOVE_EMC_PCT)[:, None]
        true_aim = TARGETS_PCT.get(name, truth.emc_pct + ABOVE_EMC_PCT)
        dates = first_ready(mean, aims, day)
        end = float(day + LOOK_AHEAD_DAYS)
        waiting = dates[dates > day]
        asked = waiting if len(waiting) >= FEWEST_WAITING else dates
        quantiles = np.quantile(np.minimum(asked, end), SHARES, method="weibull")
        now, ahead = mean[:, made.now], mean[:, made.now + AHEAD_DAYS]
        found.append(
            Score(
                board.number, board.climate, kind, day, name, min(ready, end), ready > end,
                tuple(float(one) for one in quantiles), float(np.mean(~np.isfinite(dates))),
                float(np.median(mean[:, 0])), float(np.median(now)), float(np.median(aims)),
                float(true[day]), float(true[day + AHEAD_DAYS]),
                tuple(float(one) for one in np.quantile(ahead, [0.1, 0.5, 0.9], method="weibull")),
                analytic_floor(float(true[0]), true_aim, truth.emc_pct), true_aim - _least_pct(board, day),
            )
        )  # fmt: skip
    return found


def _members_emc_pct(made) -> np.ndarray:
    """Each member's long-term EMC in the air of the whole record, as it holds that for true [members; %MC]."""
    record = made.question.record
    rh = drying.true_rh_pct(made.boards, record.rh_pct[None, ::3])
    t = np.clip(record.temperature_c[None, ::3], sorption.LOWEST_C, sorption.HIGHEST_C)
    return np.asarray(sorption.emc_pct(t, rh).mean(axis=1) * made.isotherm_scale)


def _least_pct(board: synthetic.Board, day: int) -> float:
    """The least that a month of the coming year's air would bring this wood to [%MC]."""
    first = (board.before_days + day) * 24
    year = board.own_emc_pct()[first : first + LOOK_AHEAD_DAYS * 24].reshape(-1, 24).mean(axis=1)
    return float(np.convolve(year, np.ones(FLOOR_DAYS) / FLOOR_DAYS, mode="valid").min())


def half_gone(score: Score) -> bool:
    """Whether by the middle member half of the water down to the target has left."""
    return score.now_pct - score.target_pct <= 0.5 * (score.start_pct - score.target_pct)


def half_over(score: Score) -> bool:
    """Whether by the middle member half of the time has passed."""
    return score.day >= 0.5 * score.quantiles[SHARES.index(0.50)]


def all_of(number: int, seed: int, known, fixed_days: tuple[int, ...], between: bool) -> list[Score]:
    """Every score of one board: on ``fixed_days``, and with ``between`` also until it was half way."""
    board = synthetic.make(number, seed, known)
    truth = truth_of(board)
    found: list[Score] = []
    for day in sorted({*fixed_days, *(DAYS + MORE_DAYS if between else ())}):
        if day >= max(truth.ready.values()):
            break
        if day in fixed_days or not _met(found, truth, day):
            for kind in (PLAIN, OFFCUT, PRIOR) if day in DAYS else (PLAIN, OFFCUT):
                found += scores(board, truth, day, kind)
    return found


def _met(found: list[Score], truth: Truth, day: int) -> bool:
    """Whether both halves have been met for each target still ahead, with data of either kind."""
    ahead = [name for name, ready in truth.ready.items() if ready > day and name != "12"]
    met = {(one.target, one.kind) for one in found if half_gone(one)}
    met &= {(one.target, one.kind) for one in found if half_over(one)}
    return all((name, kind) in met for name in ahead for kind in (PLAIN, OFFCUT))
