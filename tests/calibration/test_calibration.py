"""Bands that hold what they say, over boards that dry by another model: a small part of docs/calibration.md."""

from functools import cache

import boards
import numpy as np
import pytest
import scoring
import summary
from scipy.stats import binom
from scoring import OFFCUT, PRIOR

BOARDS, DAY = 40, 25
WORST, BEST = 0.72, 0.90  # between which the band of a cell is to hold the truth
CHANCE = 0.001  # of a test that fails although the bands are as they should be


@cache
def asked():
    """Scores of the two targets' cells on one day, with an offcut's oven-dry mass and without any measurement."""
    found = []
    for number in range(BOARDS):
        board = boards.make(number, seed=2)
        truth = scoring.truth_of(board)
        if max(truth.ready.values()) > DAY:
            found += [one for kind in (OFFCUT, PRIOR) for one in scoring.scores(board, truth, DAY, kind)]
    return [one for one in found if any(summary.in_cell(one, target) for target in scoring.TARGETS_PCT)]


def of(kind):
    return [one for one in asked() if one.kind == kind]


def test_the_80_percent_band_holds_about_80_percent_of_the_dates():
    """Wide: a board asked for two targets counts as one, and what it should hold is itself 72 to 90 %."""
    scores = of(OFFCUT)
    independent = len({one.board for one in scores})
    held = summary.covered(scores, 0.8)
    assert independent >= BOARDS * 2 // 3
    assert binom.ppf(CHANCE, independent, WORST) / independent <= held
    assert held <= binom.ppf(1.0 - CHANCE, independent, BEST) / independent


def test_measurements_make_a_better_score_than_the_prior_alone():
    with_data, without = (np.mean([summary.interval_score(one) for one in of(kind)]) for kind in (OFFCUT, PRIOR))
    assert with_data < without


def test_measurements_bring_the_middle_nearer_to_the_truth():
    with_data, without = (
        np.median([summary.date_error(one) for one in of(kind) if not one.never]) for kind in (OFFCUT, PRIOR)
    )
    assert with_data < without


def test_ready_is_the_first_day_of_a_held_mean():
    course = np.array([[30.0, 20.0, 13.0, 11.0, 12.5, 11.0, 10.0, 10.0]])
    assert scoring.first_ready(course, 12.0) == [5]  # (11 + 12.5 + 11) / 3 = 11.5; the day before (13 + 11 + 12.5) / 3
    assert scoring.first_ready(course, 12.0, 7) == [7]
    assert np.isinf(scoring.first_ready(course, 9.0)).all()
    assert scoring.first_ready(np.repeat(course, 2, axis=0), np.array([[12.0], [11.0]])).tolist() == [5.0, 7.0]


def score(ready, quantiles, **others):
    plain = {"board": 0, "climate": "loft", "kind": OFFCUT, "day": 10, "target": "20"}
    chances = {"never": False, "chance_never": 0.0}
    amounts = {"start_pct": 80.0, "now_pct": 60.0, "target_pct": 20.0, "true_now_pct": 60.0, "true_ahead_pct": 30.0}
    rest = {"ahead_pct": (20.0, 30.0, 40.0), "floor_share": 0.05, "above_floor_pct": 10.0}
    return scoring.Score(ready=ready, quantiles=quantiles, **(plain | chances | amounts | rest | others))


def test_the_interval_score_is_width_and_ten_times_what_lies_outside():
    """Winkler, 1972; Gneiting and Raftery, 2007, Equation 43 (from memory): width + 2/alpha times the distance."""
    quantiles = (15.0, 20.0, 30.0, 40.0, 50.0, 80.0, 90.0)
    width = np.log(4.0)
    assert summary.interval_score(score(30.0, quantiles)) == pytest.approx(width)
    assert summary.interval_score(score(10.0, quantiles)) == pytest.approx(width + 10.0 * np.log(2.0))
    assert summary.interval_score(score(160.0, quantiles)) == pytest.approx(width + 10.0 * np.log(2.0))
    assert summary.date_error(score(50.0, quantiles)) == pytest.approx(0.2)
    assert summary.covered([score(80.0, quantiles), score(81.0, quantiles)], 0.8) == 0.5


def test_half_of_the_water_is_counted_down_to_the_target():
    assert not scoring.half_gone(score(50.0, (1.0,) * 7, now_pct=51.0))
    assert scoring.half_gone(score(50.0, (1.0,) * 7, now_pct=50.0))


def test_half_of_the_time_is_counted_to_the_middle_date():
    dates = (20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0)
    assert not scoring.half_over(score(90.0, dates, day=24))
    assert scoring.half_over(score(90.0, dates, day=25))


def test_the_floor_is_that_of_the_research_table():
    """1 %MC at a start of 80 %: 5 % of the time for 20 over 10 %, 12 % for 12 over 9.5 % (worked by hand)."""
    assert scoring.analytic_floor(80.0, 20.0, 10.0) == pytest.approx(1.0 / (10.0 * np.log(7.0)))
    assert scoring.analytic_floor(80.0, 12.0, 9.5) == pytest.approx(0.12, abs=0.005)


def test_a_board_measured_later_is_told_nothing_of_its_future():
    board = boards.make(3, seed=2)
    question = board.question(30, offcut=True)
    now_ms = board.start_ms + 30 * 86_400_000
    assert question.way.end_ms == question.record.end_ms == now_ms
    assert all(one.at_ms <= now_ms for one in question.data)
    assert len(question.record.at_ms) == (board.before_days + 30) * 24
    assert board.question(30, data=False).data == ()
