"""Sun on a level face: nothing at night, most at noon, and half of what a board takes in for each of its faces."""

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import sunshine
from kiln.errors import OutOfRange
from shared.errors import BadInput
from shared.tables import constants
from shared.units import MS_PER_DAY, MS_PER_HOUR, ms_from_datetime

times = st.integers(sunshine.FIRST_MS, sunshine.LAST_MS - 1)
latitudes, longitudes, shares = st.floats(-90.0, 90.0), st.floats(-180.0, 180.0), st.floats(0.0, 1.0)
MIDSUMMER = ms_from_datetime(datetime(2024, 6, 21, tzinfo=UTC))


def usual(name):
    return constants("sunshine")[name].value


def hours(start_ms, count, step_ms=MS_PER_HOUR):
    """Middles of the steps."""
    return start_ms + step_ms // 2 + step_ms * np.arange(count, dtype=np.int64)


@given(at=times, latitude=latitudes, longitude=longitudes, share=shares)
def test_never_below_nought_nor_above_what_the_sun_sends(at, latitude, longitude, share):
    found = sunshine.horizontal_w_m2(np.array([at]), latitude, longitude, share)
    assert 0.0 <= found[0] <= share * 1.035 * usual("solar_constant")


@given(at=times, latitude=latitudes, longitude=longitudes)
def test_there_is_no_sun_here_and_on_the_other_side_of_the_earth_at_once(at, latitude, longitude):
    other = longitude - 180.0 if longitude > 0.0 else longitude + 180.0
    here, there = (
        sunshine.top_of_air_w_m2(np.array([at]), *place) for place in ((latitude, longitude), (-latitude, other))
    )
    assert min(here[0], there[0]) < 1e-6


def test_midnight_sun_and_polar_night():
    day = hours(MIDSUMMER, 24)
    assert np.all(sunshine.top_of_air_w_m2(day, 80.0, 10.0) > 0.0)
    assert np.all(sunshine.top_of_air_w_m2(day, -80.0, 10.0) == 0.0)


def test_noon_comes_four_minutes_later_a_degree_further_west():
    fine = MIDSUMMER + 60_000 * np.arange(24 * 60, dtype=np.int64)
    noons = [fine[np.argmax(sunshine.top_of_air_w_m2(fine, 45.0, longitude))] for longitude in (0.0, -15.0)]
    assert noons[1] - noons[0] == pytest.approx(MS_PER_HOUR, abs=60_000)


def test_the_middles_of_the_hours_give_the_days_sum():
    hourly = sunshine.top_of_air_w_m2(hours(MIDSUMMER, 24), 45.0, 10.0).sum()
    by_minute = sunshine.top_of_air_w_m2(hours(MIDSUMMER, 24 * 60, 60_000), 45.0, 10.0).sum() / 60.0
    assert hourly == pytest.approx(by_minute, rel=0.005)


def test_clearness_may_be_a_number_or_one_for_each_time_or_the_usual():
    at = hours(MIDSUMMER, 24)
    top = sunshine.top_of_air_w_m2(at, 45.0, 10.0)
    each = np.linspace(0.2, 0.7, 24)
    assert sunshine.horizontal_w_m2(at, 45.0, 10.0, each) == pytest.approx(each * top)
    assert sunshine.horizontal_w_m2(at, 45.0, 10.0) == pytest.approx(usual("clearness") * top)


def test_a_board_gets_half_of_what_its_upper_face_takes_in():
    at = hours(MIDSUMMER, 24)
    falls = sunshine.horizontal_w_m2(at, 45.0, 10.0, 0.6)
    assert sunshine.absorbed_w_m2(at, 45.0, 10.0, 0.6, 1.0) == pytest.approx(falls / 2.0)
    assert sunshine.absorbed_w_m2(at, 45.0, 10.0, 0.6) == pytest.approx(usual("absorptance") * falls / 2.0)
    assert np.all(sunshine.absorbed_w_m2(at, 45.0, 10.0, 0.6, 0.0) == 0.0)


def test_the_shape_of_the_times_is_kept_and_a_single_one_is_welcome():
    at = hours(MIDSUMMER, 48).reshape(2, 24)
    assert sunshine.horizontal_w_m2(at, 45.0, 10.0, 0.5).shape == (2, 24)
    assert sunshine.horizontal_w_m2(np.int64(MIDSUMMER), 45.0, 10.0, 0.5).shape == ()


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("latitude_deg", (90.5, 0.0, 0.5, 0.5)),
        ("longitude_deg", (45.0, 200.0, 0.5, 0.5)),
        ("clearness", (45.0, 0.0, 1.1, 0.5)),
        ("clearness", (45.0, 0.0, -0.1, 0.5)),
        ("absorptance", (45.0, 0.0, 0.5, 40.0)),
    ],
)
def test_what_cannot_be_is_refused_by_name(field, values):
    with pytest.raises(OutOfRange, match=f"^{field} is .*; accepted: "):
        sunshine.absorbed_w_m2(np.array([MIDSUMMER]), *values)


@pytest.mark.parametrize("at_ms", [sunshine.FIRST_MS - 1, sunshine.LAST_MS, MIDSUMMER * 1000, -(2**62)])
def test_times_that_the_almanac_does_not_vouch_for_are_refused(at_ms):
    with pytest.raises(BadInput, match=f"^at_ms is {at_ms}; accepted: UTC milliseconds from 1950 to 2050"):
        sunshine.horizontal_w_m2(np.array([MIDSUMMER, at_ms]), 45.0, 0.0, 0.5)


def test_the_first_and_last_years_are_those_that_it_says():
    assert ms_from_datetime(datetime(1950, 1, 1, tzinfo=UTC)) == sunshine.FIRST_MS
    assert ms_from_datetime(datetime(2051, 1, 1, tzinfo=UTC)) == sunshine.LAST_MS
    assert ms_from_datetime(datetime(2000, 1, 1, 12, tzinfo=UTC)) == sunshine.J2000_MS
    assert sunshine.FIRST_MS % MS_PER_DAY == 0


@pytest.mark.parametrize("name", ["clearness", "absorptance", "absorptance_dark"])
def test_usual_values_say_how_far_they_may_be_off_and_how_they_are_known(name):
    row = constants("sunshine")[name]
    assert 0.0 < row.value < 1.0
    assert row.sd_ln >= 0.2 and row.source and row.status
