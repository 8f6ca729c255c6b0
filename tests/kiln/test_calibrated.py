"""The chance that is stated of a share of members: one line in log-odds, its ends, and what it is laid over."""

import numpy as np
import pytest

from kiln import calibrated, forecast
from kiln.ensemble import MEMBERS
from kiln.errors import OutOfRange
from shared import tables
from shared.errors import BadInput
from shared.tables import loading
from tests.kiln.test_rest import air_of, crowd_of

SHARES = np.arange(MEMBERS + 1) / MEMBERS


def odds(chance):
    return chance / (1.0 - chance)


def test_even_odds_become_those_of_the_intercept():
    """By its definition: where as many say yes as no, the log-odds are the intercept alone."""
    assert np.log(odds(calibrated.as_held(0.5))) == pytest.approx(tables.constants("chance")["held_intercept"].value)


def test_it_is_one_line_in_log_odds():
    """Worked by hand of four shares: log-odds of 0.2 and 0.8 lie as far either side of those of 0.5."""
    low, middle, high = (np.log(odds(calibrated.as_held(share))) for share in (0.2, 0.5, 0.8))
    assert high - middle == pytest.approx(middle - low)
    assert (high - middle) / np.log(4.0) == pytest.approx(tables.constants("chance")["held_slope"].value)


def test_it_grows_with_the_share_and_never_leaves_nought_to_one():
    said = [calibrated.as_held(share) for share in SHARES]
    assert (np.diff(said) > 0.0).all()
    assert said[0] > 0.0 and said[-1] < 1.0


def test_sure_stays_sure_and_hardly_stays_hardly():
    """What READY takes is reached by all members, and what counts as not yet by none of them."""
    assert calibrated.as_held(1.0) > 0.99
    assert calibrated.as_held(0.9) > 0.9
    assert calibrated.as_held(0.0) < 0.05


def test_none_of_the_members_is_taken_as_half_a_one():
    assert calibrated.as_held(0.0) == calibrated.as_held(calibrated.LEAST_SHARE)
    assert pytest.approx(0.5 / (MEMBERS + 1)) == calibrated.LEAST_SHARE


def test_together_is_never_surer_than_the_least_of_its_parts():
    assert calibrated.of_all(0.5, [0.4, None, 0.9]) == 0.4
    assert calibrated.of_all(0.5, [0.95, None]) == calibrated.as_held(0.5)
    assert calibrated.of_all(1.0, []) == calibrated.as_held(1.0)
    assert calibrated.of_all(0.0, [0.0]) == 0.0


@pytest.mark.parametrize("share", [-0.1, 1.5])
def test_what_is_no_share_is_refused(share):
    with pytest.raises(OutOfRange, match="share"):
        calibrated.as_held(share)


def test_a_slope_that_would_turn_the_order_round_is_refused():
    row = {"name": "held_slope", "value": "-0.95"}
    with pytest.raises(BadInput, match=r"value is -0\.95"):
        loading.check_constant("chance", "chance.csv row 3", row)


def test_it_is_laid_over_what_is_stated_and_never_over_the_members():
    """Of a thin plate in a room that swings: moisture, room and all together as held, level and steady as they are."""
    made = forecast.project(crowd_of(0.003, air_of(np.full(40 * 24, 47.0))).question, MEMBERS, 30)
    share = float(made.fit_members.mean())
    each = (made.chance_level, made.chance_steady, made.chance_room, made.chance_moisture)
    assert made.chance_fit_now == calibrated.of_all(share, each)
    assert made.chance_fit_now <= min(one for one in each if one is not None)
    assert {round(one * MEMBERS, 9) % 1.0 for one in each[:2]} == {0.0}
    assert all(round(one * MEMBERS, 9) % 1.0 for one in each[2:])


def test_a_board_far_too_wet_by_every_member_is_told_so_without_a_rest():
    """Of the verdicts in which no member's moisture suited, none was of a board that was fit (docs/verdicts.md)."""
    made = forecast.project(crowd_of(0.003, air_of(np.full(40 * 24, 90.0))).question, MEMBERS, 30)
    assert (made.chance_moisture, made.chance_fit_now) == (0.0, 0.0)
