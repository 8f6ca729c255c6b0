"""A stack's loss shared out over its boards: what must hold whatever the boards, and a stack dried by a solved case."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln.load_cell.stack import Member, shared_out
from shared.errors import BadInput

WET = Member(20.0, 0.02, 10.0)
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
    stack = np.array([whole * (1.0 - lost_share)])
    told = sum(float(shared_out(boards, k, stack, np.zeros(1))[0][0]) for k in range(len(boards)))
    assert told == pytest.approx(stack[0], rel=1e-9)


@given(members)
def test_before_anything_is_lost_each_is_what_it_weighed(boards):
    stack = np.array([sum(one.mass_kg for one in boards)])
    for k, one in enumerate(boards):
        mass, sd = shared_out(boards, k, stack, np.zeros(1))
        assert mass[0] == pytest.approx(one.mass_kg, rel=1e-12)
        assert sd[0] == pytest.approx(one.error_kg, rel=1e-6)


def test_a_single_board_is_the_stack():
    mass, sd = shared_out([WET], 0, np.array([15.0]), np.array([0.05]))
    assert mass[0] == pytest.approx(15.0)
    assert sd[0] == pytest.approx(np.hypot(0.05, 0.02))  # nothing is shared, so nothing is uneven


def test_the_wetter_board_loses_more_and_a_dry_one_hardly_anything():
    dry = Member(11.2, 0.02, 10.0)
    stack = np.array([28.0])
    wet_kg, dry_kg = (float(shared_out([WET, dry], k, stack, np.zeros(1))[0][0]) for k in (0, 1))
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
        mass, sd = shared_out(boards, 0, np.array([now.sum()]), np.array([0.01]))
        off.append((mass[0] - now[0]) / sd[0])
    within = np.abs(off)
    assert 0.6 < np.mean(within < 1.0) < 0.95
    assert np.mean(within < 3.0) > 0.98


def test_many_weights_do_not_make_the_start_surer_than_it_was():
    stack = np.full(30, 30.0)
    _, sd = shared_out([WET, WET], 0, stack, np.zeros(30))
    of_mean = np.sqrt(np.mean(sd**2) / 30)
    assert of_mean >= WET.error_kg


@pytest.mark.parametrize("boards", [[], [Member(0.0, 0.1, 1.0)], [Member(1.0, 0.1, 0.0)]])
def test_what_cannot_be_is_refused(boards):
    with pytest.raises(BadInput, match="members"):
        shared_out(boards, 0, np.array([1.0]), np.array([0.1]))
