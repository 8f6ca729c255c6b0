"""A stack's loss shared out over its boards: what must hold whatever the boards, and a stack dried by a solved case."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln.likelihood import in_common
from kiln.load_cell import Thinned
from kiln.load_cell.stack import Member, shared_out
from kiln.observations import cell_weights
from shared.errors import BadInput

WET = Member(20.0, 0.02, 10.0)


def stack_of(mass_kg, sd_kg=0.0, common_kg=0.0):
    """Weights of a stack, an hour apart."""
    mass = np.atleast_1d(np.asarray(mass_kg, dtype=float))
    n, one = mass.size, np.ones(mass.size)
    return Thinned(3_600_000 * np.arange(n), mass, sd_kg * one, common_kg * one, 0.0 * one, np.zeros(n, dtype=np.intp))


def whole_sd(told):
    return np.sqrt(told.sd_kg**2 + told.common_sd_kg**2 + told.uneven_kg**2)


def covariance(told):
    """As a refit has it."""
    data = cell_weights(told, np.full(told.at_ms.size, 7))
    return in_common(data) + np.diag([one.error**2 for one in data])


members = st.lists(
    st.builds(
        lambda dry, mc: Member(dry * (1.0 + mc), 0.01, dry),
        st.floats(0.5, 50.0),
        st.floats(0.05, 1.5),
    ),
    min_size=1,
    max_size=12,
)


@given(members, st.floats(0.0, 0.3))
def test_the_boards_lose_together_what_the_stack_lost(boards, lost_share):
    """Conservation of mass, the only law there is here."""
    whole = sum(one.mass_kg for one in boards)
    left = whole * (1.0 - lost_share)
    told = sum(float(shared_out(boards, k, stack_of(left)).mass_kg[0]) for k in range(len(boards)))
    assert told == pytest.approx(left, rel=1e-9)


@given(members)
def test_before_anything_is_lost_each_is_what_it_weighed(boards):
    stack = stack_of(sum(one.mass_kg for one in boards))
    for k, one in enumerate(boards):
        told = shared_out(boards, k, stack)
        assert told.mass_kg[0] == pytest.approx(one.mass_kg, rel=1e-12)
        assert whole_sd(told)[0] == pytest.approx(one.error_kg, rel=1e-6)


def test_a_single_board_is_the_stack():
    told = shared_out([WET], 0, stack_of(15.0, 0.05, 0.03))
    assert told.mass_kg[0] == pytest.approx(15.0)
    assert told.sd_kg[0] == pytest.approx(0.05)
    assert told.common_sd_kg[0] == pytest.approx(np.hypot(0.02, 0.03))
    assert told.uneven_kg[0] == 0.0  # nothing is shared, so nothing is uneven


def test_the_wetter_board_loses_more_and_a_dry_one_hardly_anything():
    dry = Member(11.2, 0.02, 10.0)
    wet_kg, dry_kg = (float(shared_out([WET, dry], k, stack_of(28.0)).mass_kg[0]) for k in (0, 1))
    assert WET.mass_kg - wet_kg > 30.0 * (dry.mass_kg - dry_kg) > 0.0


@pytest.mark.parametrize("n", [2, 5, 20])
def test_boards_that_dry_alike_but_at_their_own_rates_lie_within_the_band(n):
    """Exponential drying to a common moisture content, rates by a lognormal of 25 %: the share's own assumption.

    The band must hold about two thirds of the boards at one deviation, and nearly all at three.
    """
    rng = np.random.default_rng(n)
    off = []
    for _ in range(300):
        dry_kg, mc = rng.uniform(5.0, 15.0, n), rng.uniform(0.5, 1.0, n)
        left = np.exp(-0.5 * rng.lognormal(0.0, 0.25, n))
        now = dry_kg * (1.0 + 0.12 + (mc - 0.12) * left)
        boards = [Member(d * (1.0 + m), 0.01, d) for d, m in zip(dry_kg, mc, strict=True)]
        told = shared_out(boards, 0, stack_of(now.sum(), 0.01))
        off.append((told.mass_kg[0] - now[0]) / whole_sd(told)[0])
    within = np.abs(off)
    assert 0.6 < np.mean(within < 1.0) < 0.95
    assert np.mean(within < 3.0) > 0.98


def test_many_weights_do_not_make_the_start_surer_than_it_was():
    told = shared_out([WET, WET], 0, stack_of(np.linspace(39.0, 30.0, 30), 0.001))
    assert 1.0 / np.sqrt(np.linalg.inv(covariance(told)).sum()) >= WET.error_kg


@pytest.mark.parametrize("dried", [0.5, 1.5, 3.0])
def test_the_whole_course_of_a_board_is_as_likely_as_it_is_told(dried):
    """Boards that dry as above, a weight a day: what they are off by, squared, in its own covariance, per weight.

    1 were it all just so; more would be a board told as surer than it is, which would bend the refit.
    """
    rng, seen = np.random.default_rng(3), []
    time = np.linspace(0.03, 1.0, 25)[:, None] * dried
    for _ in range(100):
        dry_kg, mc = rng.uniform(5.0, 15.0, 20), rng.uniform(0.5, 1.0, 20)
        now = dry_kg * (1.12 + (mc - 0.12) * np.exp(-time * rng.lognormal(0.0, 0.25, 20)))
        boards = [Member(d * (1.0 + m), 0.01, d) for d, m in zip(dry_kg, mc, strict=True)]
        told = shared_out(boards, 0, stack_of(now.sum(axis=1) + rng.normal(0.0, 0.2, 25), 0.2))
        off = told.mass_kg - now[:, 0]
        seen.append(off @ np.linalg.solve(covariance(told), off) / 25.0)
    assert 0.1 < np.mean(seen) < 1.0 and np.quantile(seen, 0.9) < 1.5


def test_what_a_board_loses_in_days_is_told_to_about_its_share_of_it():
    """A loss that shares one factor with all before it: no surer than that, and not as unsure as all lost so far."""
    told = shared_out([WET, WET], 0, stack_of([31.0, 30.0]))  # of 40
    both = covariance(told)
    change = np.sqrt(both[0, 0] + both[1, 1] - 2.0 * both[0, 1])
    least = abs(np.diff(told.uneven_kg)[0])
    assert least < change < 0.5 * told.uneven_kg[1]


@pytest.mark.parametrize("boards", [[], [Member(0.0, 0.1, 1.0)], [Member(1.0, 0.1, 0.0)]])
def test_what_cannot_be_is_refused(boards):
    with pytest.raises(BadInput, match="members"):
        shared_out(boards, 0, stack_of(1.0, 0.1))
