"""What finished boards teach of the model's lapse and of the loss that a yard's wood survives."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kiln import learning, stress
from kiln.records import Band, Measured
from shared.tables import constants
from shared.units import MS_PER_DAY

BEGAN = 1_790_000_000_000
OAK = "Quercus alba"


class Followed:
    """As much of a projection as is asked of a board that was harmed: its days, and its mean."""

    def __init__(self, mean_pct, known_days=None):
        mean = np.asarray(mean_pct, float)
        self.at_ms = BEGAN + np.arange(len(mean), dtype=np.int64) * MS_PER_DAY
        self.known_until_ms = int(self.at_ms[len(mean) - 1 if known_days is None else known_days])
        self.mean = Band(*(mean for _ in range(7)))


def harmed(loss, thickness_m=0.028, name="B12", wood=OAK):
    return learning.Harmed(name, wood, thickness_m, "checked", loss)


def test_the_greatest_loss_is_that_of_a_wet_day_before_the_harm_was_found():
    board = Followed([60.0, 57.0, 55.0, 51.5, 50.0, 44.0, 26.0, 24.0, 15.0])
    assert learning.greatest_loss(board, BEGAN + 3 * MS_PER_DAY) == pytest.approx(3.5)
    assert learning.greatest_loss(board, BEGAN + 4 * MS_PER_DAY) == pytest.approx(3.5)
    assert learning.greatest_loss(board, BEGAN + 90 * MS_PER_DAY) == pytest.approx(18.0)  # not the 9 of dry wood
    assert learning.greatest_loss(Followed([60.0, 57.0, 50.0], known_days=1), BEGAN + 90 * MS_PER_DAY) == 3.0
    assert learning.greatest_loss(Followed([20.0, 12.0]), BEGAN + 90 * MS_PER_DAY) is None
    assert learning.greatest_loss(board, BEGAN) is None


def test_a_yards_own_limit_is_below_the_least_loss_at_which_its_wood_was_harmed_and_says_whose():
    own = learning.own_safe_loss(OAK, 0.028, [harmed(2.8), harmed(1.5, name="B7"), harmed(0.4, wood="Acer rubrum")])
    assert own.pct_per_day < 1.5
    assert own.status == "this yard's own: B7 checked at 1.5 % a day"
    assert learning.own_safe_loss(OAK, 0.028, [harmed(0.4, wood="Acer rubrum")]) is None


# Two inches must lose 2.5 times more slowly than one (E. M. Wengert, 2000; as in tests/kiln/test_readiness.py).
@pytest.mark.parametrize("wood", [OAK, "Platanus occidentalis"])
def test_a_thicker_board_than_the_harmed_one_bears_less_and_a_thinner_one_no_more(wood):
    at = [learning.own_safe_loss(wood, t, [harmed(2.0, 0.0254, wood=wood)]).pct_per_day for t in (0.01, 0.0254, 0.0508)]
    assert at[0] == at[1]
    assert at[1] / at[2] == pytest.approx(2.5, rel=0.03)


@given(st.floats(0.05, 30.0), st.floats(0.008, 0.1), st.floats(0.008, 0.1), st.sampled_from([OAK, "Fagus grandifolia"]))
def test_what_is_survived_is_never_above_the_published_figure(loss, seen_at_m, thickness_m, wood):
    own = learning.own_safe_loss(wood, thickness_m, [harmed(loss, seen_at_m, wood=wood)])
    published = stress.safe_loss(wood, thickness_m)
    taken = stress.survived(wood, thickness_m, own)
    assert taken.pct_per_day <= published.pct_per_day
    assert taken.pct_per_day == min(own.pct_per_day, published.pct_per_day)
    assert stress.survived(wood, thickness_m, None) == published


def test_a_wood_without_a_published_figure_has_its_own():
    own = learning.own_safe_loss("Platanus occidentalis", 0.028, [harmed(4.0, wood="Platanus occidentalis")])
    assert stress.survived("Platanus occidentalis", 0.028, own) == own
    assert stress.survived("Platanus occidentalis", 0.028, None) is None


def measured(misfit, ground=True):
    return Measured(BEGAN, "weigh-in", 30.0, 0.5, misfit, "", ground)


def test_the_first_weigh_in_slips_and_bounds_say_nothing_of_the_lapse():
    told = learning.misfits([measured(3.0), measured(0.5), measured(-9.0), measured(1.0, ground=False), measured(-1.2)])
    assert told == (0.5, -1.2)


def test_without_finished_boards_the_lapse_is_as_believed():
    assert learning.lapse_factor([]) == 1.0
    assert learning.lapse_factor([(), ()]) == 1.0


# The mean of a scaled inverse chi-squared belief of ``lapse_boards_counted`` measurements after n more, up to the
# correction of its mean: Gelman and others, Bayesian Data Analysis, 3rd ed. 2013, section 2.6.
@pytest.mark.parametrize("factor", [0.8, 1.0, 1.5])
def test_many_boards_tell_by_how_much_the_model_misses_them(factor):
    drawn = factor * np.random.default_rng(1).standard_normal((400, 5))
    own = constants("lots")["lapse_boards_counted"].value
    count = drawn.size
    posterior = stats.invgamma((own + count) / 2.0, scale=(own + np.sum(drawn**2)) / 2.0)
    found = learning.lapse_factor([tuple(one) for one in drawn])
    assert found == pytest.approx(np.sqrt(posterior.mean() * (own + count - 2.0) / (own + count)))
    assert found == pytest.approx(factor, rel=0.05)
    assert abs(learning.lapse_factor([tuple(drawn[0])]) - 1.0) < abs(found - 1.0) + 0.1  # few boards: drawn towards 1


def test_the_factor_never_says_that_the_model_is_all_but_perfect_or_of_no_use():
    assert learning.lapse_factor([(0.0,) * 900]) == learning.LEAST_FACTOR
    assert learning.lapse_factor([(3.9,) * 900]) == learning.MOST_FACTOR
