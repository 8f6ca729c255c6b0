"""The clock of wood out of the water: each hour by its own temperature, and never surer than its source."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import water_clock
from kiln.errors import OutOfRange
from kiln.water_clock import allowed_days, clock
from shared.tables import constants

WEEK, TWO_WEEKS = 7 * 24.0, 14 * 24.0


def steady(temperature_c, hours, now_c="same", **how):
    return clock(np.full(int(hours), float(temperature_c)), hours, temperature_c if now_c == "same" else now_c, **how)


# E. M. Wengert, Decay concerns when storing and milling: logs out of the water keep for less than 1 week in warm
# weather, for 1 to 2 weeks in cold. Which temperatures those are is ours.
def test_a_week_of_warm_weather_uses_all_of_it():
    found = steady(22.0, WEEK)
    assert found.used_share == pytest.approx((1.0, 1.0))
    assert found.hours_left == pytest.approx((0.0, 0.0), abs=1e-9)
    assert found.used_up


def test_one_to_two_weeks_of_cold_weather_use_all_of_it():
    one, two = steady(3.0, WEEK), steady(3.0, TWO_WEEKS)
    assert one.used_share == pytest.approx((0.5, 1.0))
    assert not one.used_up
    assert one.may_be_used_up
    assert two.used_share == pytest.approx((1.0, 2.0))
    assert two.used_up


def test_beyond_warm_and_cold_it_goes_no_faster_and_no_slower():
    assert steady(45.0, 50).used_share == steady(20.0, 50).used_share
    assert steady(-15.0, 50).used_share == steady(5.0, 50).used_share


@given(st.floats(-30, 50), st.floats(-30, 50))
def test_colder_air_never_uses_more(one_c, other_c):
    cold, warm = sorted((one_c, other_c))
    for in_cold, in_warm in zip(allowed_days(cold), allowed_days(warm), strict=True):
        assert in_cold >= in_warm


@given(st.lists(st.floats(-20, 40), min_size=2, max_size=400), st.integers(0, 10_000))
def test_the_order_of_hours_does_not_matter_and_stretches_add_up(temperatures, seed):
    t = np.array(temperatures)
    whole = clock(t, float(len(t)), None).used_share
    mixed = clock(np.random.default_rng(seed).permutation(t), float(len(t)), None).used_share
    cut = len(t) // 2
    parts = [clock(part, float(len(part)), None).used_share for part in (t[:cut], t[cut:])]
    assert whole == pytest.approx(mixed)
    assert whole == pytest.approx((parts[0][0] + parts[1][0], parts[0][1] + parts[1][1]))
    assert whole[0] <= whole[1]


def test_hours_that_nobody_logged_may_have_been_warm_or_cold():
    logged, unlogged = steady(12.0, 48), clock(np.zeros(0), 48.0, None)
    assert unlogged.used_share[0] < logged.used_share[0] < logged.used_share[1] <= unlogged.used_share[1]
    assert unlogged.used_share == pytest.approx((48 / TWO_WEEKS, 48 / WEEK))
    assert unlogged.known_share == 0.0
    holes = clock(np.array([12.0, np.nan, 12.0, np.nan]), 4.0, 12.0)
    assert holes.known_share == pytest.approx(0.5)


def test_an_hour_begun_counts_in_part():
    assert clock(np.full(3, 20.0), 2.5, 20.0).used_share[0] == pytest.approx(2.5 / WEEK)
    assert clock(np.full(2, 20.0), 2.5, 20.0).used_share[1] == pytest.approx(2.5 / WEEK)


def test_what_is_left_is_told_at_the_temperature_of_now():
    found = steady(20.0, WEEK / 2, now_c=0.0)
    assert found.hours_left == pytest.approx((0.5 * WEEK, 0.5 * TWO_WEEKS))
    assert steady(20.0, WEEK / 2, now_c=None).hours_left == pytest.approx((0.5 * WEEK, 0.5 * TWO_WEEKS))


def test_the_words_name_time_left_and_what_to_do():
    fresh = steady(25.0, 24)
    assert water_clock.headline(fresh) == "about 6 days left"
    assert "Saw it within 6 days, or sink it again" in water_clock.next_step(fresh)
    cold = steady(2.0, 24)
    assert water_clock.headline(cold) == "6–13 days left"
    over = steady(25.0, 2 * WEEK)
    assert water_clock.headline(over) == "its time is used up"
    assert "decay may have begun" in water_clock.sentence(over)
    assert "today" in water_clock.next_step(over)
    either = steady(2.0, 10 * 24)
    assert water_clock.headline(either) == "at most 4 days left, perhaps none"


def test_in_frost_it_keeps_but_the_clock_is_not_trusted_to_stand():
    frozen = steady(-8.0, 24)
    assert "Frozen through it keeps" in water_clock.next_step(frozen)
    assert frozen.used_share[1] > 0.0


def test_a_stopped_clock_says_at_which_share_and_nothing_is_left_to_do():
    stopped = steady(20.0, WEEK / 4, stopped=True)
    assert water_clock.headline(stopped) == "used 25 % of the days before decay begins; then stacked"
    assert "laid in a stack" in water_clock.sentence(stopped)
    assert water_clock.next_step(stopped) == ""
    late = steady(20.0, 2 * WEEK, stopped=True)
    assert "soft or discoloured" in water_clock.next_step(late)


def test_nonsense_is_refused_by_name():
    with pytest.raises(OutOfRange, match="hours_out"):
        clock(np.zeros(0), -1.0, None)
    with pytest.raises(OutOfRange, match="hours of temperature"):
        clock(np.zeros(9), 8.0, None)


def test_what_is_ours_is_said_to_be():
    table = constants("reclaimed")
    assert table["warm_days"].status == table["cold_most_days"].status == "published"
    assert all("ours" in table[name].source for name in ("warm_c", "cold_c", "milder_factor", "collapse_bacterial"))
