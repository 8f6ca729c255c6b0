"""The wettest board of a stack, against draws and closed forms from outside; and what a sample says of all."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from test_readiness import NOW, case, projection

from kiln import readiness, together, wettest
from shared.units import MS_PER_DAY, MS_PER_HOUR

WEEKS = NOW + 7 * MS_PER_DAY * np.arange(30, dtype=np.int64)
MEMBERS = 64


def board(members_pct, at_ms=WEEKS, **changes):
    """A projection whose members stay at a moisture content, or fall as told."""
    members = np.asarray(members_pct, float)
    if members.ndim == 1:
        members = np.repeat(members[:, None], len(at_ms), axis=1)
    return projection(mean=float(np.median(members[:, 0])), member_ms=at_ms, member_mc_pct=members, **changes)


def even(count=MEMBERS, seed=0):
    """Normal figures, evenly spread and shuffled."""
    figures = stats.norm.ppf((np.arange(count) + 0.5) / count)
    return np.random.default_rng(seed).permutation(figures)


def now_band(found):
    return np.array([found.mc_pct.p10[0], found.mc_pct.p50[0], found.mc_pct.p90[0]])


def test_boards_that_share_all_they_have_are_as_wet_as_one_of_them():
    members = 18.0 + even()
    found = wettest.wettest([("a", board(members)), ("b", board(members)), ("c", board(members))])
    one = np.quantile(members, [0.1, 0.5, 0.9], method="weibull")
    assert now_band(found) == pytest.approx(one)


# The greatest of n independent figures lies below x with the chance F(x)^n (David and Nagaraja, Order Statistics, 3rd
# ed. 2003, eq. 2.1.1; from memory).
def test_boards_that_share_nothing_are_as_wet_as_order_statistics_say():
    boards = [(str(k), board(18.0 + even(4096, seed=k))) for k in range(6)]
    found = wettest.wettest(boards)
    assert now_band(found) == pytest.approx(18.0 + stats.norm.ppf(np.array([0.1, 0.5, 0.9]) ** (1.0 / 6.0)), abs=0.05)


def test_the_board_that_is_most_often_the_wettest_is_named_with_how_often():
    found = wettest.wettest([("dry", board(14.0 + even(seed=1))), ("wet", board(16.0 + even(seed=2)))])
    assert found.likeliest == "wet"
    assert found.share == pytest.approx(stats.norm.cdf(2.0 / np.sqrt(2.0)), abs=0.06)
    assert together.wettest_sentence(found).startswith("The wettest of 2 boards now: 16.")


def test_boards_projected_at_other_hours_are_held_against_each_other_at_the_same_moments():
    falling = 30.0 - np.arange(30.0)[None, :] * 0.7 + even()[:, None] * 0.1
    later = WEEKS + 20 * MS_PER_HOUR
    moved = 30.0 - ((later - NOW) / (7 * MS_PER_DAY))[None, :] * 0.7 + even()[:, None] * 0.1
    found = wettest.wettest([("a", board(falling)), ("b", board(moved, later))])
    assert found.at_ms[0] == later[0]
    assert now_band(found) == pytest.approx(np.quantile(moved[:, 0], [0.1, 0.5, 0.9], method="weibull"), abs=1e-6)


def test_the_day_on_which_the_wettest_is_dry_enough_lies_between_the_weeks():
    slower = np.linspace(0.5, 0.8, MEMBERS)  # % a week
    wet = 24.0 - slower[:, None] * np.arange(30.0)[None, :]
    found = wettest.wettest([("a", board(wet - 3.0)), ("b", board(wet))])
    assert found.goal_mc_pct == 20.0
    by_hand = np.quantile(4.0 / slower * 7.0, [0.1, 0.5, 0.9], method="weibull")
    assert (np.array(found.below_ms) - NOW) / MS_PER_DAY == pytest.approx(by_hand, abs=0.7)
    told = together.below_sentence(found)
    assert (
        told
        == f"The wettest is below 20 % in about {round(by_hand[1])} days ({round(by_hand[0])}–{round(by_hand[2])})."
    )


def test_where_one_in_ten_is_later_than_is_looked_ahead_that_is_said():
    slower = np.linspace(0.5, 0.8, MEMBERS)  # % a week
    wet = 24.0 - slower[:, None] * np.arange(30.0)[None, :]
    found = wettest.wettest([("a", board(wet - 3.0)), ("b", board(wet))])
    weeks = np.arange(53, dtype=np.int64) * 7 * MS_PER_DAY
    year = replace(found, at_ms=found.at_ms[0] + weeks, below_ms=(*found.below_ms[:2], None))
    assert together.below_sentence(year).endswith(", or later than a year from now).")


def test_what_never_dries_has_no_day_and_what_is_dry_enough_needs_none():
    stays = wettest.wettest([("a", board(25.0 + even())), ("b", board(25.0 + even(seed=3)))])
    assert stays.below_ms == (None, None, None)
    assert together.below_sentence(stays) == "The wettest does not come below 20 % within 203 days."
    dry = wettest.wettest([("a", board(9.0 + 0.1 * even())), ("b", board(9.0 + 0.1 * even(seed=3)))])
    assert dry.goal_mc_pct is None
    assert together.below_sentence(dry) == ""
    damp = wettest.wettest([("a", board(15.0 + 0.1 * even())), ("b", board(15.0 + 0.1 * even(seed=3)))])
    assert damp.goal_mc_pct == projection().wanted_mc_pct[1]


def test_one_board_or_boards_without_a_week_in_common_have_no_wettest():
    one = board(18.0 + even())
    assert wettest.wettest([("a", one)]) is None
    assert wettest.wettest([("a", one), ("b", board(18.0 + even(), WEEKS + 400 * MS_PER_DAY))]) is None


@given(st.lists(st.tuples(st.floats(6.0, 120.0), st.floats(0.1, 20.0)), min_size=2, max_size=5))
def test_the_wettest_is_no_drier_than_any_board(sizes):
    boards = [(str(k), board(mean + sd * even(seed=k))) for k, (mean, sd) in enumerate(sizes)]
    found = wettest.wettest(boards)
    for _, made in boards:
        assert np.all(
            now_band(found) >= np.quantile(made.member_mc_pct[:, 0], [0.1, 0.5, 0.9], method="weibull") - 1e-9
        )


# Student's own interval for endless populations by SciPy; against draws from finite ones for the correction.
def test_a_sample_of_very_many_is_students_interval():
    sampled = [15.2, 16.8, 17.1, 18.9]
    expected = stats.t.interval(0.8, 3, loc=np.mean(sampled), scale=stats.sem(sampled))
    low, middle, high = wettest.mean_of_all(sampled, 10_000_000)
    assert (low, high) == pytest.approx(expected, rel=1e-5)
    assert middle == np.mean(sampled)


def test_eight_in_ten_samples_of_a_stack_hold_its_mean():
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(2000):
        stack = rng.normal(17.0, 1.5, 12)
        low, _middle, high = wettest.mean_of_all(list(rng.choice(stack, 6, replace=False)), 12)
        held += low <= stack.mean() <= high
    assert held / 2000 == pytest.approx(0.8, abs=0.03)


def test_all_boards_measured_leave_nothing_to_the_sample_and_one_says_nothing():
    assert wettest.mean_of_all([15.0, 17.0], 2) == (16.0, 16.0, 16.0)
    assert wettest.mean_of_all([15.0], 6) is None
    low, _middle, high = wettest.mean_of_all([15.0, 17.0], 2, common_sd_pct=1.0)
    assert high - low == pytest.approx(2 * 1.2816)  # of all boards, only what their figures err by alike is left


def test_a_stack_says_its_wettest_and_what_nobody_entered():
    wet = board(18.0 + even())
    waiting = readiness.judge(case(projection(mean=18.0, chance_fit_now=0.0)))
    members = [together.Judged("A1", wet, waiting), together.Judged("A2", board(17.0 + even(seed=2)), waiting)]
    verdict = together.judge_stack(members, 2, 40, together.wettest_of(members, NOW))
    told = " ".join(verdict.evidence)
    assert verdict.evidence[0] == "2 of 40 boards have been measured."
    assert "The wettest of 2 boards now: 18." in told
    assert "Nothing is known of the 38 that nobody entered but what these tell." in told
    assert "By the 2 measured, the mean of all 40 is 17." in told
    assert together.wettest_of(members, NOW + 8 * MS_PER_HOUR) is None  # its figures are no longer of now
