"""Through the thickness at any moment: drawn on one scale, chosen by number, refused where there is none."""

import re
from dataclasses import replace

import numpy as np
import pytest

from dashboards import projection, situation
from dashboards.pages import through
from shared.errors import BadInput


@pytest.fixture
def made(yard):
    projection.refresh(yard.store, board(yard).subject.id, yard.now_ms)
    return board(yard).projection


def board(yard, code="A1"):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    return next(one for one in now.boards if one.subject.code == code)


def test_moments_reach_from_the_first_to_the_last_with_now_among_them(made):
    assert made.profile_ms[0] == made.at_ms[0] and made.profile_ms[-1] == made.at_ms[-1]
    assert made.known_until_ms in made.profile_ms
    assert np.all(np.diff(made.profile_ms) > 0)
    assert made.profiles.p50.shape == (len(made.profile_ms), len(made.depth_fraction))


def test_at_each_moment_the_profile_holds_the_water_that_the_mean_says(made):
    """Shell and core lie where the profile puts them: the mean of its middle lies between its ends."""
    for row, at_ms in enumerate(made.profile_ms):
        mean = made.mean.p50[np.searchsorted(made.at_ms, at_ms)]
        profile = made.profiles.p50[row]
        assert profile.min() - 0.5 <= mean <= profile.max() + 0.5


def test_the_usual_moment_is_now_and_every_other_has_its_date(made, yard):
    one = through.at_moment(made, 0.03, yard.now_ms)
    assert one.moment == one.now and "last hour with logged air" in one.when and "logged so far" in one.rests_on
    first, last = (through.at_moment(made, 0.03, yard.now_ms, moment) for moment in (0, one.last))
    assert "ago" in first.when and first.rests_on == one.rests_on
    assert ", in " in last.when and "forecast" in last.rests_on
    assert len({first.profile, one.profile, last.profile}) == 3


def test_all_moments_are_drawn_on_one_scale(made, yard):
    scales = {
        tuple(re.findall(r'text-anchor="end" font-size="13">([\d.]+)</text>', str(drawn.profile)))
        for drawn in (through.at_moment(made, 0.03, yard.now_ms, moment) for moment in range(len(made.profile_ms)))
    }
    assert len(scales) == 1 and len(scales.pop()) == 3


def test_wet_first_days_do_not_press_a_quiet_plate_flat(made, yard):
    quiet = np.full_like(made.profiles.p90, 9.0)
    quiet[0] = 55.0
    plate = replace(made, profiles=replace(made.profiles, p10=quiet - 2.0, p50=quiet - 1.0, p90=quiet))

    def top(moment):
        drawn = str(through.at_moment(plate, 0.004, yard.now_ms, moment).profile)
        return max(float(one) for one in re.findall(r'text-anchor="end" font-size="13">([\d.]+)</text>', drawn))

    assert 9.0 <= top(None) <= 20.0 and top(0) >= 55.0


@pytest.mark.parametrize("moment", [-1, 10_000])
def test_a_moment_that_is_not_there_is_refused(made, yard, moment):
    with pytest.raises(BadInput, match="moment"):
        through.at_moment(made, 0.03, yard.now_ms, moment)
